"""Cards whose bubbles are marked in every way, straight to flat grey pictures: thousands in minutes.

A printed page, inks, a copier or none, a camera or scanner: everything acts on grey reflectance, wider than
anyone should believe in. No corner is looked for and nothing is registered; that cells lie a little beside
where they are looked for is drawn too. `scenario` makes whole photos; this makes many bubbles. Families of
marks, tools and prints can be left out, so that a reader can be tried on those that it never saw.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.blanks import Blank, blank_card
from tests.simulator.gestures import (
    CROSSES,
    DOUBTS,
    FILLS,
    HELD_OUT,
    STRIKES,
    TOOLS,
    Points,
    Tool,
    ink_of_paths,
    paper_tooth,
    rubbed,
    some_tool,
)

Rng = np.random.Generator
Floats = NDArray[np.float32]
Picture = NDArray[np.uint8]

PX_PER_MM = 8.0
_PATCH_MM = 9.5

#: Left out where "known" families are asked for, and the only ones where "new" are.
NEW_MARKS = HELD_OUT
NEW_TOOLS = ("crayon", "dry roller", "red ball")
NEW_PRINTS = ("cornered", "banded")
PRINTS = ("plain", "pale", "broken", "dark", "gone", "screened", "cornered", "banded")

#: Kinds of a bubble, by what was meant: see `Card.kinds`.
KINDS = ("empty", "filled", "erased", "struck", "unclear")


@dataclass(frozen=True, slots=True)
class Card:
    """A flat picture of a card, with what was done to each bubble.

    Attributes
    ----------
    flat : (H, W) grey, 6 px per mm of the card
    form, paper : of the layout
    kinds, styles : bubble id -> one of `KINDS`, and in which way; what is not named is empty
    tool, print_, photo : how it was written, printed and seen
    """

    flat: Picture
    form: str
    paper: str
    kinds: Mapping[str, str]
    styles: Mapping[str, str]
    tool: str
    print_: str
    photo: str


def card(
    seed: int,
    families: str = "all",
    fields: tuple[str, str] | None = None,
    blanks: Mapping[tuple[str, str], Blank] | None = None,
) -> Card:
    """Return one card of one hand.

    Parameters
    ----------
    families : "known", "new" or "all": which marks, tools and prints may occur
    fields : form and paper, or drawn
    blanks : what is written on, by form and paper; by default what this version prints
    """
    rng = np.random.default_rng([seed, 77])
    form, paper = fields or (
        str(rng.choice(["round18", "round18", "round9", "round27"])),
        str(rng.choice(["a4", "letter"])),
    )
    blank = blank_card(form, paper=paper, px_per_mm=PX_PER_MM) if blanks is None else blanks[form, paper]
    print_ = _one_of(PRINTS, NEW_PRINTS, families, rng)
    name = _one_of(TOOLS, NEW_TOOLS, families, rng)
    tool = some_tool(name, rng)
    tone = _printed(1 - blank.page.astype(np.float32) / 255, print_, rng)
    density = np.zeros_like(tone)
    kinds, styles = _filled_in(density, _cells_of(blank), tool, families, rng)
    paper_light = float(rng.uniform(0.55, 0.95))
    sheet = paper_light * (1 - tone * float(rng.uniform(0.88, 0.97))) * np.exp(np.float32(-2.303) * density)
    sheet = _worn(sheet, rng)
    copied = rng.random() < 0.2
    if copied:
        sheet = _copied(sheet, rng)
    photo, flat = _seen(sheet, rng)
    return Card(flat, form, paper, kinds, styles, name, print_, photo + (" copied" if copied else ""))


def _one_of(every: tuple[str, ...], new: tuple[str, ...], families: str, rng: Rng) -> str:
    known = tuple(name for name in every if name not in new)
    if families == "new" and rng.random() < 0.6:
        return str(rng.choice(new))
    return str(rng.choice(every if families == "all" else known))


def _cells_of(blank: Blank) -> dict[str, list[Any]]:
    """Field -> its cells, of the bubbles and boxes."""
    fields: dict[str, list[Any]] = {}
    for cell in blank.field_map["cells"]:
        if cell["kind"] != "words":
            fields.setdefault(str(cell["id"]).rsplit(".", 1)[0], []).append(cell)
    return fields


@dataclass(slots=True)
class _Hand:
    """One person with a card, some pens and habits of their own."""

    density: Floats
    tooth: Floats
    tool: Tool
    second: Tool
    pencil: Tool
    fills: list[str]
    weights: NDArray[np.float64]
    strikes: list[str]
    strike: str
    firm: float
    care: float
    rng: Rng
    kinds: dict[str, str]
    styles: dict[str, str]

    def put(self, cell: Any, paths: list[Points], what: Tool, pressure: float, rub: bool = False) -> None:
        """Draw paths given in radii, about where the bubble is."""
        x, y, w, h = cell["box_mm"]
        radius = min(w, h) / 2
        middle = np.array([x + w / 2, y + h / 2]) + self.rng.normal(0, self.care * radius, 2)
        paths = [p * radius for p in paths]
        _ink(self.density, middle, paths, what, pressure, self.tooth, self.rng, rub)

    def mark(self, cell: Any, kind: str) -> None:
        """Do one thing to a bubble."""
        rng = self.rng
        style = fill = str(rng.choice(self.fills, p=self.weights))
        pressure = self.firm * rng.uniform(0.8, 1.2)
        if kind == "filled":
            if rng.random() < 0.05:
                style, pressure = f"light {fill}", pressure * rng.uniform(0.4, 0.7)
            if rng.random() < 0.015:  # rubbed out, then filled after all
                self.put(cell, FILLS[str(rng.choice(self.fills))](rng), self.pencil, self.firm, rub=True)
            self.put(cell, FILLS[fill](rng), self.second if rng.random() < 0.01 else self.tool, pressure)
        elif kind == "erased":
            self.put(cell, FILLS[fill](rng), self.pencil, pressure, rub=True)
        elif kind == "struck":
            how = self.strike if rng.random() < 0.7 else str(rng.choice(self.strikes))
            if how == "big_x" and fill in CROSSES:
                how = str(rng.choice([strike for strike in self.strikes if strike != "big_x"]))
            style = f"{how} over {fill}"
            self.put(cell, FILLS[fill](rng), self.tool, pressure)
            with_ = self.second if rng.random() < 0.05 else self.tool
            self.put(cell, STRIKES[how](rng), with_, pressure * rng.uniform(0.9, 1.3))
        elif kind == "unclear":
            style = str(rng.choice(list(DOUBTS)))
            self.put(cell, DOUBTS[style](rng), self.tool, pressure)
        self.kinds[str(cell["id"])] = kind
        self.styles[str(cell["id"])] = style


def _some_hand(density: Floats, tool: Tool, families: str, rng: Rng) -> _Hand:
    fills = [g for g in FILLS if families != "known" or g not in NEW_MARKS]
    weights = rng.dirichlet(np.full(len(fills), 0.12))
    habit = float(rng.choice([0.9, rng.uniform(0.3, 0.9)]))  # some mark as it comes
    if families == "new":
        weights = weights * np.where(np.isin(fills, NEW_MARKS), 2.0, 0.7)
    strikes = [g for g in STRIKES if families != "known" or g not in NEW_MARKS]
    return _Hand(
        density,
        paper_tooth(rng, 512, PX_PER_MM),
        tool,
        second=some_tool(str(rng.choice([t for t in TOOLS if t not in NEW_TOOLS])), rng),
        pencil=tool if tool.kind == "graphite" else some_tool("pencil", rng),
        fills=fills,
        weights=habit * weights / weights.sum() + (1 - habit) / len(fills),
        strikes=strikes,
        # The card asks for a large x.
        strike="big_x" if rng.random() < 0.4 else str(rng.choice(strikes)),
        firm=float(np.clip(rng.lognormal(0, 0.22), 0.5, 1.5)),
        care=float(rng.uniform(0.03, 0.22)),
        rng=rng,
        kinds={},
        styles={},
    )


def _filled_in(
    density: Floats, fields: Mapping[str, list[Any]], tool: Tool, families: str, rng: Rng
) -> tuple[dict[str, str], dict[str, str]]:
    """Mark the card, in place; return kinds and styles."""
    hand = _some_hand(density, tool, families, rng)
    shares = [rng.uniform(0.03, 0.25), rng.uniform(0.2, 0.65), rng.uniform(0.6, 0.98)]
    share, trouble = float(rng.choice(shares, p=[0.3, 0.55, 0.15])), float(rng.uniform(0.02, 0.14))
    for cells in fields.values():
        if cells[0]["kind"] == "digit":
            for cell in cells:
                if rng.random() < 0.55:
                    _scrawl(density, cell, tool, hand.firm, hand.tooth, rng)
            continue
        order = [cells[i] for i in rng.permutation(len(cells))]
        if rng.random() < share:
            hand.mark(order.pop(), "filled")
            if order and rng.random() < 0.012:
                hand.mark(order.pop(), "filled")
        for cell in order[:1]:
            if rng.random() < trouble:
                hand.mark(cell, str(rng.choice(["erased", "struck", "unclear"], p=[0.45, 0.3, 0.25])))
        for cell in order[1:] or order[:1]:
            if str(cell["id"]) not in hand.kinds and rng.random() < 0.02:
                _specks(density, cell, rng)
                hand.styles[str(cell["id"])] = "specks"
    return hand.kinds, hand.styles


def _ink(
    density: Floats,
    middle: NDArray[np.float64],
    paths: list[Points],
    tool: Tool,
    pressure: float,
    tooth: Floats,
    rng: Rng,
    rub: bool,
) -> None:
    side = round(_PATCH_MM * PX_PER_MM)
    x0, y0 = (round(float(m) * PX_PER_MM - side / 2) for m in middle)
    rest = middle * PX_PER_MM - np.array([x0 + side / 2, y0 + side / 2])
    at = int(rng.integers(tooth.shape[0] - side)), int(rng.integers(tooth.shape[0] - side))
    grain = tooth[at[0] : at[0] + side, at[1] : at[1] + side]
    patch = ink_of_paths([p + rest / PX_PER_MM for p in paths], pressure, tool, grain, PX_PER_MM, rng)
    if rub:
        patch = rubbed(patch, PX_PER_MM, rng)
    top, left = max(-y0, 0), max(-x0, 0)
    part = density[max(y0, 0) : y0 + side, max(x0, 0) : x0 + side]
    patch = patch[top : top + part.shape[0], left : left + part.shape[1]]
    if tool.kind == "graphite":
        part += patch
    else:
        part[:] = np.maximum(part, patch) + 0.3 * np.minimum(part, patch)


def _scrawl(density: Floats, cell: Any, tool: Tool, firm: float, tooth: Floats, rng: Rng) -> None:
    """Something like a digit: a few bent strokes, as high as the box."""
    x, y, w, h = cell["box_mm"]
    knots = rng.uniform(-1, 1, (int(rng.integers(3, 6)), 2)) * np.array([0.3 * w, 0.38 * h])
    t = np.linspace(0, len(knots) - 1, 24)
    curve = np.column_stack([np.interp(t, np.arange(len(knots)), knots[:, i]) for i in (0, 1)])
    middle = np.array([x + w / 2, y + h / 2]) + rng.normal(0, 0.06 * h, 2)
    _ink(density, middle, [curve], tool, firm, tooth, rng, False)


def _specks(density: Floats, cell: Any, rng: Rng) -> None:
    x, y, w, h = cell["box_mm"]
    for _ in range(int(rng.integers(1, 4))):
        at = (rng.uniform((x - 0.5, y - 0.5), (x + w + 0.5, y + h + 0.5)) * PX_PER_MM * 16).astype(int)
        radius = int(rng.uniform(0.06, 0.25) * PX_PER_MM * 16)
        cv2.circle(density, tuple(map(int, at)), radius, float(rng.uniform(0.1, 0.8)), -1, cv2.LINE_8, 4)


def _printed(tone: Floats, how: str, rng: Rng) -> Floats:
    """Ink as designed, 0 to 1, to ink as it lies on the paper."""
    soft = cv2.GaussianBlur(tone, (0, 0), float(rng.uniform(0.02, 0.06)) * PX_PER_MM)
    if how == "pale":
        soft = soft ** float(rng.uniform(1.0, 1.7)) * float(rng.uniform(0.35, 0.9))
    elif how == "broken":
        grain = _noise(tone.shape, float(rng.uniform(0.06, 0.3)), rng)
        soft = soft * np.clip(0.5 + 2.5 * (soft - rng.uniform(0.1, 0.6) - 0.3 * grain), 0, 1)
    elif how == "dark":  # a copy that darkens and thickens
        soft = cv2.GaussianBlur(soft, (0, 0), float(rng.uniform(0.04, 0.14)) * PX_PER_MM)
        soft = np.clip(soft * rng.uniform(1.5, 4.5) - rng.uniform(0, 0.25), 0, 1)
    elif how == "gone":  # a copy that burns pale tones out
        least = rng.uniform(0.15, 0.65)
        soft = np.clip((soft - least) / (1 - least) * 1.3, 0, 1)
    elif how == "screened":
        rows, columns = np.mgrid[0 : tone.shape[0], 0 : tone.shape[1]].astype(np.float32)
        k = 2 * np.pi / (float(rng.uniform(0.18, 0.4)) * PX_PER_MM)
        angle = float(rng.uniform(0, 1.5))
        u, v = columns * np.cos(angle) + rows * np.sin(angle), rows * np.cos(angle) - columns * np.sin(angle)
        dots = np.clip((soft - 0.5 - 0.25 * (np.cos(k * u) + np.cos(k * v))) * 3 + 0.5, 0, 1)
        soft = np.where((soft > 0.04) & (soft < 0.9), cv2.GaussianBlur(dots, (0, 0), 0.4), soft)
    elif how == "cornered":  # only parts of each outline come out
        soft = soft * (_noise(tone.shape, float(rng.uniform(0.5, 1.2)), rng) > rng.uniform(-0.8, 0.3))
    elif how == "banded":
        rows = np.arange(tone.shape[0])[:, None] / PX_PER_MM
        soft = soft * (0.6 + 0.4 * np.sin(rows * 2 * np.pi / rng.uniform(2, 25) + rng.uniform(0, 6)))
    if rng.random() < 0.25:
        soft = soft + 0.5 * (_noise(tone.shape, 0.08, rng) > 3.6)
    return np.asarray(np.clip(soft, 0, 1), np.float32)


def _noise(shape: tuple[int, ...], grain_mm: float, rng: Rng) -> Floats:
    """Smooth noise of unit spread, periodic, so that little of it must be drawn."""
    tile = rng.standard_normal((400, 400)).astype(np.float32)
    tile = cv2.GaussianBlur(tile, (0, 0), max(grain_mm * PX_PER_MM, 0.3), borderType=cv2.BORDER_REFLECT)
    tile = tile / max(float(tile.std()), 1e-6)
    reps = (shape[0] // 400 + 1, shape[1] // 400 + 1)
    return np.asarray(np.tile(tile, reps)[: shape[0], : shape[1]], np.float32)


def _worn(sheet: Floats, rng: Rng) -> Floats:
    """Stains, smudges, creases, the other side shining through."""
    height, width = sheet.shape
    if rng.random() < 0.15:  # shows through, mirrored and soft
        sheet = sheet * (
            1 - rng.uniform(0.01, 0.09) * (1 - cv2.GaussianBlur(sheet[:, ::-1], (0, 0), 3) / 0.9)
        )
    if rng.random() < 0.2:
        for _ in range(int(rng.integers(1, 5))):
            at = rng.uniform(0, 1, 2) * (width, height)
            veil = np.zeros((height // 8 + 1, width // 8 + 1), np.float32)
            axes = (int(rng.uniform(2, 25)), int(rng.uniform(2, 25)))
            cv2.ellipse(
                veil,
                tuple(map(int, at / 8)),
                axes,
                float(rng.uniform(0, 180)),
                0,
                360,
                1.0,
                int(rng.choice([-1, 2])),
            )
            veil = cv2.GaussianBlur(veil, (0, 0), float(rng.uniform(0.3, 5)))
            sheet = sheet * (1 - rng.uniform(0.02, 0.2) * cv2.resize(veil, (width, height)))
    if rng.random() < 0.2:
        for _ in range(int(rng.integers(1, 7))):
            ends = (rng.uniform(0, 1, (2, 2)) * (width, height)).astype(int)
            crease = np.zeros((height, width), np.float32)
            cv2.line(crease, tuple(map(int, ends[0])), tuple(map(int, ends[1])), 1.0, int(rng.integers(1, 6)))
            sheet = sheet * (1 + rng.uniform(-0.18, 0.08) * cv2.GaussianBlur(crease, (0, 0), 1.5))
    return np.asarray(np.clip(sheet * (1 + 0.012 * _noise(sheet.shape, 0.1, rng)), 0.02, 1), np.float32)


def _copied(sheet: Floats, rng: Rng) -> Floats:
    """The filled card through an office copier: soft, then pale tones burnt out or dark ones filled."""
    soft = cv2.GaussianBlur(sheet, (0, 0), float(rng.uniform(0.04, 0.13)) * PX_PER_MM)
    white = float(np.percentile(soft[::9, ::9], 80))
    ink = np.clip(1 - soft / white, 0, 1)
    # How pale is left white, and how steeply it turns black.
    ink = np.clip((ink - rng.uniform(0.0, 0.32)) * rng.uniform(1.0, 2.6), 0, 1)
    if rng.random() < 0.3:
        ink = np.clip(ink * (1 + 0.5 * _noise(sheet.shape, 0.06, rng)), 0, 1)
    ink = np.maximum(ink, rng.uniform(0.3, 0.9) * (_noise(sheet.shape, 0.09, rng) > rng.uniform(3.3, 4.5)))
    return np.asarray(0.88 * (1 - 0.95 * ink), np.float32)


def _seen(sheet: Floats, rng: Rng) -> tuple[str, Picture]:
    """A camera or scanner: its name, and the flat picture as a reader would lay it out, 6 px per mm."""
    device = str(rng.choice(["near", "far", "scan", "dim"], p=[0.4, 0.35, 0.1, 0.15]))
    px = float(
        {
            "near": rng.uniform(5.5, 11),
            "far": rng.uniform(3.0, 6),
            "scan": rng.uniform(5.8, 12),
            "dim": rng.uniform(3.2, 8),
        }[device]
    )
    px = min(px, 9.5)
    height, width = sheet.shape
    light = _light(sheet.shape, device, rng)
    scene = sheet * light
    angle = float(rng.normal(0, 6)) if device != "scan" else float(rng.normal(0, 0.6))
    scale = px / PX_PER_MM
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle, scale)
    size = (int(width * scale * 1.06), int(height * scale * 1.06))
    turn[:, 2] += np.array(size) / 2 - np.array([width / 2, height / 2])
    if scale < 1:
        scene = cv2.GaussianBlur(scene, (0, 0), 0.45 / scale)
    seen = cv2.warpAffine(scene, turn, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = _blurred(seen, device, px, rng)
    exposure = float(rng.uniform(0.55, 1.0))
    if rng.random() < 0.2:
        exposure = float(rng.uniform(1.0, 1.35))  # the paper is burnt out
    seen = seen / 0.9 * exposure
    electrons = float(rng.uniform(60, 600) if device == "dim" else rng.uniform(600, 9000))
    noise = np.sqrt(np.maximum(seen, 0.01) / electrons).astype(np.float32)
    grain = rng.standard_normal(seen.shape, np.float32)
    if rng.random() < 0.4:
        grain = cv2.GaussianBlur(grain, (0, 0), 0.7) * 1.8
    seen = np.clip(seen + noise * grain, 0, 1)
    encoded = np.where(
        seen < 0.0031,
        seen * 12.9,
        1.055 * np.power(np.maximum(seen, 1e-4), 1 / float(rng.uniform(1.8, 2.6))) - 0.055,
    )
    bow = float(rng.uniform(-0.1, 0.5))
    encoded = encoded + bow * (encoded - 0.5) * encoded * (1 - encoded) * 2
    picture = np.clip(encoded * 255, 0, 255).astype(np.uint8)
    if device == "dim" and rng.random() < 0.6:
        picture = cv2.medianBlur(picture, 3)
    if rng.random() < 0.6:
        soft = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.8, 2.0)))
        k = float(rng.uniform(0.2, 1.3))
        picture = cv2.addWeighted(picture, 1 + k, soft, -k, 0)
    for _ in range(2 if rng.random() < 0.3 else 1):
        quality = int(rng.uniform(22, 96))
        picture = cv2.imdecode(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 0)
    return device, _laid_flat(picture, turn, (height, width), rng)


def _light(shape: tuple[int, ...], device: str, rng: Rng) -> Floats:
    """Light on the sheet: falls off, is crossed by shadows' edges."""
    height, width = shape
    if device == "scan":
        return np.full(shape, 1.0, np.float32)
    y, x = np.mgrid[0 : height // 8 + 1, 0 : width // 8 + 1].astype(np.float32)
    x, y = x * 8 / width - 0.5, y * 8 / height - 0.5
    angle = rng.uniform(0, 6.28)
    light = 1 + rng.uniform(0, 0.7) * (x * np.cos(angle) + y * np.sin(angle))
    light -= rng.uniform(0, 0.5) * (x**2 + y**2)
    if rng.random() < 0.2:
        angle, off = rng.uniform(0, 6.28), rng.uniform(-0.35, 0.35)
        side = (x * np.cos(angle) + y * np.sin(angle) - off) / rng.uniform(0.003, 0.12)
        side = side + rng.uniform(0, 2) * np.sin(12 * (x - y))
        light *= 1 - rng.uniform(0.1, 0.65) / (1 + np.exp(-np.clip(side, -20, 20)))
    return np.asarray(cv2.resize(np.clip(light, 0.05, 2), (width, height)), np.float32)


def _blurred(seen: Floats, device: str, px: float, rng: Rng) -> Floats:
    wide = float(rng.uniform(0.3, 0.9))
    if rng.random() < 0.35:
        wide = float(rng.uniform(0.05, 0.3)) * px  # up to 0.3 mm out of focus
    seen = cv2.GaussianBlur(seen, (0, 0), max(wide, 0.3))
    if device in ("dim", "near", "far") and rng.random() < 0.2:
        reach = max(int(rng.uniform(0.1, 0.7) * px), 1)
        kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
        angle = rng.uniform(0, np.pi)
        off = np.array([np.cos(angle), np.sin(angle)]) * reach / 2
        cv2.line(
            kernel,
            tuple(np.round(reach - off).astype(int).tolist()),
            tuple(np.round(reach + off).astype(int).tolist()),
            1.0,
            1,
        )
        seen = cv2.filter2D(seen, -1, kernel / kernel.sum())
    return np.asarray(seen, np.float32)


def _laid_flat(picture: Picture, turn: NDArray[np.float64], shape: tuple[int, ...], rng: Rng) -> Picture:
    """The page again at 6 px per mm, its places missed by hundredths of a millimetre, at times tenths."""
    k = 6.0
    height, width = round(shape[0] / PX_PER_MM * k), round(shape[1] / PX_PER_MM * k)
    off_mm = float(rng.uniform(0.02, 0.09) if rng.random() < 0.85 else rng.uniform(0.09, 0.32))
    coarse = rng.standard_normal((height // 120 + 2, width // 120 + 2, 2)).astype(np.float32) * off_mm
    miss = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC) * PX_PER_MM
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    x, y = (x + 0.5) / k * PX_PER_MM - 0.5 + miss[..., 0], (y + 0.5) / k * PX_PER_MM - 0.5 + miss[..., 1]
    at_x = (turn[0, 0] * x + turn[0, 1] * y + turn[0, 2]).astype(np.float32)
    at_y = (turn[1, 0] * x + turn[1, 1] * y + turn[1, 2]).astype(np.float32)
    return np.asarray(cv2.remap(picture, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
