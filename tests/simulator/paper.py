"""Sheets of paper: what printers do to a page, and what pockets, rain and coffee do to a sheet.

A sheet is an sRGB picture of its colour under even white light. Light, shape and lens come later, elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.pens import Picture, to_linear, to_srgb

Rng = np.random.Generator

#: Linear reflectance (R, G, B) of papers that people have at home; judged by eye, not measured.
STOCKS: dict[str, tuple[float, float, float]] = {
    "office": (0.84, 0.86, 0.90),
    "bright": (0.88, 0.89, 0.92),
    "cream": (0.84, 0.80, 0.68),
    "recycled": (0.63, 0.61, 0.55),
    "yellow": (0.86, 0.78, 0.32),
    "pale-blue": (0.64, 0.76, 0.86),
    "pale-green": (0.66, 0.82, 0.62),
    "pink": (0.87, 0.62, 0.66),
}

SHEETS_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


@dataclass(frozen=True, slots=True)
class PrintJob:
    """How a page came out of the printer.

    Attributes
    ----------
    scale_x, scale_y : 1 is true size; drivers shrink to fit, fusers shrink paper along the path
    shift_mm, turn_deg : of the print on the sheet
    sheet_mm : the paper in the tray; None takes the page's own size
    kind : "grey" (true greys), "laser" (halftone dots), "copy" (a copy of a copy: contrast, dirt)
    toner : 1 full, 0.25 nearly empty
    streaks : 0..1
    """

    scale_x: float = 1.0
    scale_y: float = 1.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    sheet_mm: tuple[float, float] | None = None
    kind: str = "grey"
    toner: float = 1.0
    streaks: float = 0.0


@dataclass(frozen=True, slots=True)
class Wear:
    """What a sheet went through after it was printed; shares 0..1, counts, or None for no."""

    folds: tuple[str, ...] = ()  # of "half", "quarter", "third-1", "third-2"
    fold_wear: float = 0.5
    drops: int = 0
    coffee: float = 0.0
    smudge: float = 0.0
    dirt: float = 0.0
    show_through: float = 0.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of paper, printed, perhaps filled in, with everything that is true about it.

    Attributes
    ----------
    rgb : (H, W, 3) sRGB, `px_per_mm` pixels to the mm; the outer corner of pixel (0, 0) is the sheet's corner
    card_to_sheet : (2, 3) field map mm -> sheet mm
    cells, fields, marks, review : the answers as drawn; empty for a blank sheet
    edge_mm : (N, 2) outline of what is left of the sheet, None when it is whole
    gloss : (H, W) how much the ink at each pixel mirrors, 0..255; None where nothing glares
    """

    rgb: Picture
    px_per_mm: float
    size_mm: tuple[float, float]
    card_to_sheet: NDArray[np.float64]
    form: str = ""
    fingerprint: str | None = None
    serial: str | None = None
    cells: Mapping[str, bool | int | None] = field(default_factory=dict)
    fields: Mapping[str, object] = field(default_factory=dict)
    marks: Mapping[str, str] = field(default_factory=dict)
    edge_mm: NDArray[np.float64] | None = None
    gloss: NDArray[np.uint8] | None = None
    review: tuple[str, ...] = ()

    def on_sheet(self, card_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sheet mm of points (N, 2) given in the field map's mm."""
        return np.asarray(card_mm, dtype=float) @ self.card_to_sheet[:, :2].T + self.card_to_sheet[:, 2]


@lru_cache(maxsize=8)
def rasterise(pdf: Path | bytes, page: int = 1, px_per_mm: float = 12.0) -> NDArray[np.uint8]:
    """Grey picture (H, W) of a page of a PDF (1-based), cached: many sheets come from one print file."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[page - 1].render(scale=px_per_mm * 25.4 / 72.0, grayscale=True)
        picture = np.array(bitmap.to_numpy(), copy=True)
    finally:
        document.close()
    return picture[..., 0] if picture.ndim == 3 else picture


def print_sheet(page: NDArray[np.uint8], px_per_mm: float, job: PrintJob, stock: str, rng: Rng) -> Sheet:
    """Print one page.

    Parameters
    ----------
    page : (H, W) grey, 255 unprinted, `px_per_mm` pixels to the mm
    """
    page_mm = (page.shape[1] / px_per_mm, page.shape[0] / px_per_mm)
    sheet_mm = job.sheet_mm or page_mm
    card_to_sheet = _placement(page_mm, sheet_mm, job)
    size = (round(sheet_mm[0] * px_per_mm), round(sheet_mm[1] * px_per_mm))
    plain = np.allclose(card_to_sheet, [[1, 0, 0], [0, 1, 0]], atol=1e-9)
    if plain and page.shape == size[::-1]:
        tone = page.copy()
    else:
        # Pixel (i, j) covers ((i, j) + 1/2) / px_per_mm mm at its centre.
        to_px = card_to_sheet.copy()
        to_px[:, 2] = card_to_sheet[:, 2] * px_per_mm + card_to_sheet[:, :2] @ [0.5, 0.5] - 0.5
        tone = cv2.warpAffine(page, to_px, size, flags=cv2.INTER_LINEAR, borderValue=255)
    ink = 255 - tone
    ink = _engine(ink, px_per_mm, job, rng)
    return Sheet(_on_stock(ink, px_per_mm, stock, rng), px_per_mm, sheet_mm, card_to_sheet)


def _placement(
    page_mm: tuple[float, float], sheet_mm: tuple[float, float], job: PrintJob
) -> NDArray[np.float64]:
    """Card mm -> sheet mm (2, 3): scaled and turned about the middle of the sheet, then shifted."""
    c, s = np.cos(np.radians(job.turn_deg)), np.sin(np.radians(job.turn_deg))
    linear = np.array([[c, -s], [s, c]]) @ np.diag([job.scale_x, job.scale_y])
    middle = np.array(sheet_mm) / 2 + np.array(job.shift_mm)
    return np.column_stack([linear, middle - linear @ (np.array(page_mm) / 2)])


def _engine(ink: NDArray[np.uint8], px_per_mm: float, job: PrintJob, rng: Rng) -> NDArray[np.uint8]:
    """Ink as wished (0..255) -> ink as it lies on the paper."""
    if job.kind == "laser":
        # A print engine of two levels: greys become dots on a 45 degree screen of about 100 lines to the
        # inch.
        rows, columns = np.mgrid[0 : ink.shape[0], 0 : ink.shape[1]].astype(np.float32)
        pitch = 0.25 * px_per_mm / np.sqrt(2.0) * np.sqrt(2.0)
        angle = np.float32(2 * np.pi / pitch * np.sqrt(0.5))
        screen = 127.5 + 63.0 * (np.cos((rows + columns) * angle) + np.cos((rows - columns) * angle))
        grey = (ink > 8) & (ink < 215)
        dots = np.clip((ink.astype(np.float32) - screen) * 4.0 + 127.0, 0, 255).astype(np.uint8)
        ink = np.where(grey, dots, ink)
    if job.kind == "copy":
        steps = np.arange(256, dtype=np.float32)
        curve = np.clip((steps - 52.0) * 1.75, 0, 255).astype(np.uint8)
        ink = cv2.LUT(cv2.GaussianBlur(ink, (0, 0), 0.07 * px_per_mm), curve)
        ink = _speckled(ink, px_per_mm, 0.5, rng)
    else:
        # Toner and ink spread by a few hundredths of a millimetre.
        ink = cv2.GaussianBlur(ink, (0, 0), max(0.035 * px_per_mm, 0.25))
    strength = _toner(ink.shape, job, rng)
    if strength is not None:
        ink = cv2.multiply(ink, strength, scale=1.0 / 255.0)
    return ink


def _toner(shape: tuple[int, ...], job: PrintJob, rng: Rng) -> NDArray[np.uint8] | None:
    """Share of full density over the sheet, 0..255; None if it is full everywhere."""
    if job.toner >= 0.999 and job.streaks <= 0:
        return None
    h, w = shape[0] // 16 + 1, shape[1] // 16 + 1
    level = np.full((h, w), job.toner, dtype=np.float32)
    lack = 1.0 - job.toner
    patches = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 6)
    level += 0.30 * lack * patches / max(float(patches.std()), 1e-6)
    across = cv2.GaussianBlur(rng.standard_normal((1, w)).astype(np.float32), (0, 0), 5)
    level += 0.25 * lack * across / max(float(across.std()), 1e-6)
    strength = np.clip(cv2.resize(level, shape[1::-1]) * 255, 25, 255).astype(np.uint8)
    for _ in range(round(8 * job.streaks)):
        at, wide = int(rng.uniform(0, shape[1])), int(rng.uniform(1, 10))
        part = strength[:, at : at + wide]
        part[:] = (part * rng.uniform(0.15, 0.7)).astype(np.uint8)
    if lack > 0.3:
        # An empty cartridge leaves grains, not an even grey.
        grain = rng.integers(0, 256, (512, 512), dtype=np.uint8)
        tiles = np.tile(grain, (shape[0] // 512 + 1, shape[1] // 512 + 1))[: shape[0], : shape[1]]
        missing = cv2.compare(tiles, float(255 * (1.0 - 0.55 * lack)), cv2.CMP_GT)
        strength[missing > 0] //= 3
    return strength


def _speckled(ink: NDArray[np.uint8], px_per_mm: float, amount: float, rng: Rng) -> NDArray[np.uint8]:
    """Toner dust where nothing was printed."""
    count = int(amount * 0.008 * ink.size / px_per_mm**2)
    ys, xs = rng.integers(0, ink.shape[0], count), rng.integers(0, ink.shape[1], count)
    for x, y in zip(xs, ys, strict=True):
        radius = max(int(rng.exponential(0.07) * px_per_mm), 0)
        cv2.circle(ink, (int(x), int(y)), radius, int(rng.uniform(90, 255)), -1)
    return ink


def _on_stock(ink: NDArray[np.uint8], px_per_mm: float, stock: str, rng: Rng) -> Picture:
    """Ink 0..255 on paper of a colour, with the paper's cloudiness and fibres."""
    white = np.array(STOCKS[stock], dtype=np.float32)
    black = np.float32(0.045)
    share = np.arange(256, dtype=np.float32)[:, None] / 255.0
    table = to_srgb(white * (1.0 - share) + black * share)  # (256, 3)
    rgb = cv2.LUT(cv2.merge([ink, ink, ink]), table[None].reshape(1, 256, 3))
    strength = 3.0 if stock == "recycled" else 1.0
    grain = _grain(rng.integers(0, 1 << 30), px_per_mm, strength)
    reps = (rgb.shape[0] // grain.shape[0] + 1, rgb.shape[1] // grain.shape[1] + 1)
    tile = np.tile(grain, reps)[: rgb.shape[0], : rgb.shape[1]]
    return cv2.subtract(rgb, cv2.merge([tile, tile, tile]))


def _grain(seed: int, px_per_mm: float, strength: float) -> NDArray[np.uint8]:
    """How much darker the paper is than its colour, a 512 px tile: fibres and clouds, one or two per cent."""
    rng = np.random.default_rng(seed)
    fine = cv2.GaussianBlur(rng.standard_normal((512, 512)).astype(np.float32), (0, 0), 0.8)
    cloud = cv2.resize(
        rng.standard_normal((32, 32)).astype(np.float32), (512, 512), interpolation=cv2.INTER_CUBIC
    )
    tile = 2.0 + strength * (0.9 * fine / fine.std() + 0.6 * cloud)
    if strength > 2:  # recycled paper has dark fibres that one can see
        for _ in range(60):
            x, y = rng.uniform(0, 512, 2)
            a, length = rng.uniform(0, 3.2), rng.uniform(0.3, 1.5) * px_per_mm
            end = (int(x + length * np.cos(a)), int(y + length * np.sin(a)))
            cv2.line(tile, (int(x), int(y)), end, float(rng.uniform(12, 40)), 1)
    return np.clip(tile, 0, 60).astype(np.uint8)


FOLD_LINES: dict[str, tuple[str, float]] = {
    "half": ("y", 0.5),
    "quarter": ("x", 0.5),
    "third-1": ("y", 1 / 3),
    "third-2": ("y", 2 / 3),
    "eighth-1": ("y", 1 / 4),
    "eighth-2": ("y", 3 / 4),
}


def worn(sheet: Sheet, wear: Wear, rng: Rng) -> Sheet:
    """Return the sheet after its day outside; the given one stays as it is."""
    rgb = sheet.rgb.copy()
    s = sheet.px_per_mm
    if wear.show_through > 0:
        _show_through(rgb, s, wear.show_through, rng)
    if wear.smudge > 0:
        for _ in range(1 + int(4 * wear.smudge)):
            _smudge(rgb, s, wear.smudge, rng)
    for _ in range(wear.drops):
        _raindrop(rgb, s, rng)
    if wear.coffee > 0:
        _coffee(rgb, s, wear.coffee, rng)
    for name in wear.folds:
        _crease(rgb, s, *FOLD_LINES[name], wear.fold_wear, rng)
    if wear.dirt > 0:
        _dirt(rgb, s, wear.dirt, rng)
    return replace(sheet, rgb=rgb)


def _tint(part: Picture, amount: NDArray[np.float32], density: tuple[float, float, float]) -> None:
    """Darken `part` in place: optical density `density` times `amount` (h, w)."""
    colour = np.array(density, dtype=np.float32) * np.float32(np.log(10.0))
    part[:] = to_srgb(to_linear(part) * np.exp(-amount[..., None] * colour))


def _window(rgb: Picture, x: float, y: float, half: float) -> tuple[slice, slice]:
    h, w = rgb.shape[:2]
    return (
        slice(max(int(y - half), 0), min(int(y + half), h)),
        slice(max(int(x - half), 0), min(int(x + half), w)),
    )


def _grid(at: tuple[slice, slice], x: float, y: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    ys, xs = np.mgrid[at[0], at[1]].astype(np.float32)
    return xs - np.float32(x), ys - np.float32(y)


def _raindrop(rgb: Picture, s: float, rng: Rng) -> None:
    """A dried or fresh drop: the ink under it runs a little, its rim is darker."""
    x, y = rng.uniform(0, rgb.shape[1]), rng.uniform(0, rgb.shape[0])
    radius = rng.uniform(1.5, 5.0) * s
    at = _window(rgb, x, y, radius * 1.5)
    part = rgb[at]
    if part.size == 0:
        return
    dx, dy = _grid(at, x, y)
    turn = np.arctan2(dy, dx)
    edge = radius * (
        1 + 0.10 * np.sin(2 * turn + rng.uniform(0, 6)) + 0.05 * np.sin(5 * turn + rng.uniform(0, 6))
    )
    inside = np.clip((edge - np.hypot(dx, dy)) / (0.25 * s) + 0.5, 0, 1)[..., None]
    run = cv2.GaussianBlur(part, (0, 0), rng.uniform(0.10, 0.28) * s)
    part[:] = (part * (1 - inside) + run * inside).astype(np.uint8)
    rim = np.exp(-(((np.hypot(dx, dy) - edge) / (0.35 * s)) ** 2))
    _tint(part, (0.035 * inside[..., 0] + rng.uniform(0.01, 0.05) * rim).astype(np.float32), (1.0, 1.05, 1.2))


def _coffee(rgb: Picture, s: float, amount: float, rng: Rng) -> None:
    """The ring that a cup left, and a splash or two."""
    x, y = rng.uniform(0.1, 0.9) * rgb.shape[1], rng.uniform(0.1, 0.9) * rgb.shape[0]
    radius = rng.uniform(28, 40) * s
    at = _window(rgb, x, y, radius * 1.15)
    part = rgb[at]
    dx, dy = _grid(at, x, y)
    turn = np.arctan2(dy, dx)
    distance = np.hypot(dx, dy) - radius * (1 + 0.012 * np.sin(3 * turn + rng.uniform(0, 6)))
    gap = np.clip(0.6 + 0.7 * np.sin(turn + rng.uniform(0, 6)) + 0.2 * np.sin(7 * turn), 0.05, 1.2)
    ring = np.exp(-((distance / (0.7 * s)) ** 2)) + 0.35 * np.exp(-(((distance + 1.4 * s) / (1.6 * s)) ** 2))
    ring += 0.10 * (distance < 0)
    _tint(part, (amount * 0.30 * ring * gap).astype(np.float32), (0.45, 0.75, 1.25))


def _smudge(rgb: Picture, s: float, amount: float, rng: Rng) -> None:
    """A hand wiped over: darkness is dragged along, mostly that of soft pencil."""
    x, y = rng.uniform(0.1, 0.9) * rgb.shape[1], rng.uniform(0.15, 0.95) * rgb.shape[0]
    half = rng.uniform(8, 22) * s
    at = _window(rgb, x, y, half)
    part = rgb[at]
    if min(part.shape[:2]) < 8:
        return
    length = max(int(rng.uniform(2, 6) * s) | 1, 3)
    angle = rng.normal(0.2, 0.4)
    kernel = np.zeros((length, length), dtype=np.float32)
    mid = length // 2
    step = (int(mid * np.cos(angle)), int(mid * np.sin(angle)))
    cv2.line(kernel, (mid - step[0], mid - step[1]), (mid + step[0], mid + step[1]), 1.0, 1)
    dragged = cv2.filter2D(part, -1, kernel / kernel.sum())
    dx, dy = _grid(at, x, y)
    where = np.exp(-((dx / (0.5 * half)) ** 2) - (dy / (0.3 * half)) ** 2) * amount * 0.45
    darker = np.minimum(part, dragged).astype(np.float32)
    part[:] = (part * (1 - where[..., None]) + darker * where[..., None]).astype(np.uint8)
    _tint(part, (0.05 * amount * where).astype(np.float32), (1.0, 1.0, 1.0))


def _dirt(rgb: Picture, s: float, amount: float, rng: Rng) -> None:
    """Specks of soil and a thumb mark."""
    for _ in range(int(rng.poisson(70 * amount))):
        x, y = int(rng.uniform(0, rgb.shape[1])), int(rng.uniform(0, rgb.shape[0]))
        radius = max(rng.exponential(0.16) * s, 0.6)
        at = _window(rgb, x, y, radius * 2 + 2)
        dx, dy = _grid(at, x, y)
        spot = np.clip(radius - np.hypot(dx, dy * rng.uniform(0.7, 1.5)) + 0.5, 0, 1)
        _tint(rgb[at], (spot * rng.uniform(0.1, 0.7)).astype(np.float32), (0.8, 1.0, 1.3))
    if rng.random() < amount:
        x, y = rng.choice([0.06, 0.94]) * rgb.shape[1], rng.uniform(0.2, 0.9) * rgb.shape[0]
        at = _window(rgb, x, y, 12 * s)
        dx, dy = _grid(at, x, y)
        ridges = 0.6 + 0.4 * np.sin(np.hypot(dx * 1.3, dy + 6 * s) / (0.24 * s))
        thumb = np.exp(-((dx / (6 * s)) ** 4) - (dy / (8 * s)) ** 4) * ridges
        _tint(rgb[at], (0.10 * amount * thumb).astype(np.float32), (0.8, 1.0, 1.2))


def _show_through(rgb: Picture, s: float, amount: float, rng: Rng) -> None:
    """The back of the sheet shines through: blurred lines of mirrored type."""
    h, w = int(rgb.shape[0] / s * 3), int(rgb.shape[1] / s * 3)
    back = np.zeros((h, w), dtype=np.float32)
    y = 45
    while y < h - 40:
        x = 45
        while x < w - 60:
            word = int(rng.uniform(8, 40))
            texture = (rng.random((9, word)) < 0.5).astype(np.float32)
            back[y : y + 9, x : x + word] = texture[:, : max(min(word, w - x), 0)]
            x += word + 7
        y += 17
    back = cv2.GaussianBlur(back, (0, 0), 1.6)
    factor = np.clip(255 * (1.0 - 0.16 * amount * back), 0, 255).astype(np.uint8)
    big = cv2.resize(factor, rgb.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    cv2.multiply(rgb, cv2.merge([big, big, big]), dst=rgb, scale=1.0 / 255.0)


def _crease(rgb: Picture, s: float, axis: str, where: float, wear: float, rng: Rng) -> None:
    """Along a fold print breaks off and fibres stand up: a fine, uneven line."""
    picture = rgb if axis == "y" else rgb.transpose(1, 0, 2)
    middle = where * picture.shape[0] + rng.normal(0, 0.3) * s
    half = int(1.6 * s)
    part = picture[int(middle) - half : int(middle) + half]
    length = part.shape[1]
    waver = np.interp(np.arange(length), np.linspace(0, length, 40), rng.normal(0, 0.08 * s, 40)) + half
    distance = np.abs(np.arange(part.shape[0])[:, None] - waver[None, :])
    rough = np.interp(
        np.arange(length), np.arange(0, length, 4), rng.uniform(0.3, 1.0, len(range(0, length, 4)))
    )
    line = np.exp(-((distance / (0.18 * s)) ** 2)) * rough
    linear = to_linear(np.ascontiguousarray(part))
    paper = np.median(linear[:: max(half // 2, 1), ::16].reshape(-1, 3), axis=0)
    worn_off = (0.75 * wear * line)[..., None].astype(np.float32)
    linear = linear * (1 - worn_off) + paper * 0.93 * worn_off
    soft = np.exp(-((distance / (0.5 * s)) ** 2)) * rough
    part[:] = to_srgb(linear * (1.0 - 0.09 * wear * soft[..., None]).astype(np.float32))


def torn(sheet: Sheet, corners: int, reach_mm: float, rng: Rng) -> Sheet:
    """Return the sheet without some of its corners; paper tears unevenly and leaves a white, fibrous rim."""
    w, h = sheet.size_mm
    rgb = sheet.rgb.copy()
    missing = set(rng.permutation(4)[:corners].tolist())
    edge: list[NDArray[np.float64]] = []
    at = np.array([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)])
    for i, corner in enumerate(at):
        before, after = at[i - 1] - corner, at[(i + 1) % 4] - corner
        if i not in missing:
            edge.append(corner[None])
            continue
        a = corner + before / np.hypot(*before) * reach_mm * rng.uniform(0.8, 1.25)
        b = corner + after / np.hypot(*after) * reach_mm * rng.uniform(0.8, 1.25)
        t = np.linspace(0, 1, 40)[:, None]
        jag = np.cumsum(rng.normal(0, 0.5, 40))
        jag -= np.linspace(jag[0], jag[-1], 40)
        across = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
        tear = a + (b - a) * t + across * jag[:, None]
        edge.append(tear)
        rim = np.round(tear * sheet.px_per_mm * 16).astype(np.int32)
        cv2.polylines(rgb, [rim], False, (246, 246, 244), int(1.1 * sheet.px_per_mm), cv2.LINE_AA, 4)
    return replace(sheet, rgb=rgb, edge_mm=np.concatenate(edge))


def sheened(sheet: Sheet, amount: float, rng: Rng) -> Sheet:
    """Return the sheet as it looks under a lamp: in one or two spots glossy ink is as light as paper."""
    if sheet.gloss is None:
        return sheet
    h, w = sheet.gloss.shape
    y, x = np.mgrid[0 : h // 8 + 1, 0 : w // 8 + 1].astype(np.float32) * 8
    spot = np.full(x.shape, 0.25, dtype=np.float32)
    for _ in range(int(rng.integers(1, 3))):
        cx, cy, size = rng.uniform(0.2, 0.8) * w, rng.uniform(0.2, 0.8) * h, rng.uniform(0.15, 0.3) * h
        spot += np.exp(-(((x - cx) / size) ** 2 + ((y - cy) / size) ** 2))
    mirror = cv2.resize(np.minimum(spot, 1.0), (w, h)) * sheet.gloss * np.float32(amount / 255.0)
    inked = sheet.gloss > 8
    light = to_linear(sheet.rgb[inked])
    rgb = sheet.rgb.copy()
    rgb[inked] = to_srgb(np.minimum(light + 0.9 * mirror[inked][:, None], 1.0))
    return replace(sheet, rgb=rgb)


def photocopied(sheet: Sheet, rng: Rng, darkness: float = 0.5) -> Sheet:
    """Return a copy of a filled-in sheet on plain paper: grey or harder, a little off, with dust."""
    grey = cv2.cvtColor(sheet.rgb, cv2.COLOR_RGB2GRAY)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.06 * sheet.px_per_mm)
    level = float(np.percentile(grey[::7, ::7], 80))
    steps = np.arange(256, dtype=np.float32)
    # A darker setting keeps faint pencil and brings the paper's dirt along.
    contrast = rng.uniform(1.15, 1.6)
    curve = 255 - np.clip((level * (0.93 + 0.05 * darkness) - steps) * contrast * 255 / max(level, 1), 0, 255)
    page = cv2.LUT(grey, curve.astype(np.uint8))
    job = PrintJob(
        scale_x=float(rng.normal(1.0, 0.004)),
        scale_y=float(rng.normal(1.0, 0.004)),
        shift_mm=(float(rng.normal(0, 1.0)), float(rng.normal(0, 1.0))),
        turn_deg=float(rng.normal(0, 0.4)),
        toner=float(rng.uniform(0.75, 1.0)),
        streaks=float(rng.uniform(0, 0.4)),
    )
    page = 255 - _speckled(255 - page, sheet.px_per_mm, 0.6, rng)
    copy = print_sheet(page, sheet.px_per_mm, job, "office", rng)
    both = np.vstack([copy.card_to_sheet, [0, 0, 1]]) @ np.vstack([sheet.card_to_sheet, [0, 0, 1]])
    return replace(sheet, rgb=copy.rgb, card_to_sheet=both[:2])
