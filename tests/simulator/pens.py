"""Pens and pencils: strokes in millimetres become ink on a sheet, with the faults that real ones have.

A stroke is a path with a pressure. Ink is laid down as optical density (log10 of what the light loses), so
that passes over each other darken as they do on paper. Pencil meets the paper's tooth and stays patchy; a
ball skips; felt bleeds. The sheet is an sRGB picture; densities act on linear light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Picture = NDArray[np.uint8]

#: Fine enough that a ball pen's 0.4 mm line is about 16 samples wide before it is averaged down.
SAMPLES_PER_MM = 40.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """One movement of the pen on the paper.

    Attributes
    ----------
    points_mm : (N, 2) path, card frame
    pressure : (N,) 0..1, 0.5 is usual
    """

    points_mm: NDArray[np.float64]
    pressure: NDArray[np.float64]

    def moved(self, dx_mm: float, dy_mm: float) -> Stroke:
        return replace(self, points_mm=self.points_mm + np.array([dx_mm, dy_mm]))

    def pressed(self, factor: float) -> Stroke:
        return replace(self, pressure=np.clip(self.pressure * factor, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Pen:
    """What a pen does to paper.

    Attributes
    ----------
    kind : "pencil", "ball", "gel" or "felt"
    width_mm : line width at pressure 0.5
    density : (R, G, B) optical density of one full pass
    grain : 0..1 how much the paper's tooth shows
    skip : 0..1 share of a line where the ball lays little ink
    bleed_mm : how far ink creeps into the fibres
    coarse : how many times as coarse as usual the paper's tooth is
    soft : over how much of the tooth's height, 0 to 1, a lead goes from bare to full
    left, skip_mm : ink where the ball skips, and how far apart the ends of its skips lie
    """

    name: str
    kind: str
    width_mm: float
    density: tuple[float, float, float]
    grain: float = 0.0
    skip: float = 0.0
    bleed_mm: float = 0.0
    coarse: float = 1.0
    soft: float = 0.55
    left: float = 0.28
    skip_mm: float = 0.35

    def made(self, wide: float, dark: float, skip: float = 1.0) -> Pen:
        """Another copy of it: so many times as wide, as dark, as dry."""
        red, green, blue = self.density
        return replace(
            self,
            width_mm=self.width_mm * wide,
            density=(red * dark, green * dark, blue * dark),
            skip=self.skip * skip,
        )


# Densities: graphite is a neutral grey that never gets really black (0.3 light to about 0.9); ball pen ink is
# thin, gel and felt are opaque. Judged by eye against written paper, not measured.
PENS: dict[str, Pen] = {
    pen.name: pen
    for pen in (
        Pen("pencil-4H", "pencil", 0.36, (0.31, 0.31, 0.305), grain=0.75),
        Pen("pencil-HB", "pencil", 0.42, (0.58, 0.58, 0.57), grain=0.7),
        Pen("pencil-2B", "pencil", 0.52, (0.74, 0.74, 0.73), grain=0.6),
        Pen("pencil-4B", "pencil", 0.68, (0.92, 0.92, 0.90), grain=0.55),
        Pen("pencil-blunt", "pencil", 0.78, (0.55, 0.55, 0.54), grain=0.8),
        Pen("ball-blue", "ball", 0.38, (0.95, 0.72, 0.26), grain=0.15, skip=0.06),
        Pen("ball-black", "ball", 0.38, (0.85, 0.88, 0.80), grain=0.15, skip=0.06),
        Pen("ball-thin", "ball", 0.27, (0.80, 0.62, 0.24), grain=0.2, skip=0.14),
        Pen("ball-dying", "ball", 0.36, (0.60, 0.48, 0.20), grain=0.35, skip=0.32),
        Pen("ball-red", "ball", 0.40, (0.12, 0.75, 0.60), grain=0.15, skip=0.06),
        Pen("gel-black", "gel", 0.50, (1.35, 1.35, 1.30), bleed_mm=0.03),
        Pen("gel-blue", "gel", 0.50, (1.45, 1.15, 0.45), bleed_mm=0.03),
        Pen("felt-black", "felt", 0.95, (1.20, 1.18, 1.12), bleed_mm=0.10),
        Pen("felt-blue", "felt", 0.85, (1.25, 0.85, 0.30), bleed_mm=0.10),
        Pen("felt-thin", "felt", 0.55, (1.10, 1.08, 1.02), bleed_mm=0.06),
    )
}

#: How much of a lamp each kind of ink mirrors, 1 the most: gel dries shiny, pressed graphite is a mirror of
#: its own, felt sinks in. Judged by eye.
GLOSS: dict[str, float] = {"pencil": 0.7, "ball": 0.5, "gel": 1.0, "felt": 0.2}

#: How often people take which pen to the course: mostly a pencil, then a ball pen from the car.
PEN_SHARES: dict[str, float] = {
    "pencil-HB": 0.24,
    "pencil-2B": 0.14,
    "pencil-4B": 0.05,
    "pencil-4H": 0.05,
    "pencil-blunt": 0.06,
    "ball-blue": 0.15,
    "ball-black": 0.11,
    "ball-thin": 0.05,
    "ball-dying": 0.03,
    "ball-red": 0.01,
    "gel-black": 0.03,
    "gel-blue": 0.02,
    "felt-black": 0.02,
    "felt-blue": 0.01,
    "felt-thin": 0.03,
}


@lru_cache(maxsize=12)
def _noise_tile(seed: int, size: int, sigma_px: float) -> Floats:
    """Smooth periodic noise, uniform on 0..1 by rank, (size, size)."""
    noise = np.random.default_rng(seed).standard_normal((size, size)).astype(np.float32)
    pad = int(4 * sigma_px) + 1
    wide = cv2.GaussianBlur(cv2.copyMakeBorder(noise, pad, pad, pad, pad, cv2.BORDER_WRAP), (0, 0), sigma_px)
    noise = wide[pad:-pad, pad:-pad]
    noise = noise / noise.std()
    # The normal distribution's own function makes it uniform: a threshold then is a share of the surface.
    return (0.5 * (1.0 + np.tanh(0.8 * noise))).astype(np.float32)


def tooth(shape: tuple[int, int], corner: tuple[int, int], px_per_mm: float) -> Floats:
    """Height of the paper's tooth, 0 (valley) to 1 (peak), for the patch whose top left pixel is `corner`."""
    size = 512
    fine = _noise_tile(11, size, max(0.05 * px_per_mm, 0.45))
    coarse = _noise_tile(12, size, max(0.13 * px_per_mm, 0.8))
    rows = (np.arange(shape[0]) + corner[1]) % size
    columns = (np.arange(shape[1]) + corner[0]) % size
    at = np.ix_(rows, columns)
    return np.asarray(0.7 * fine[at] + 0.3 * coarse[at], dtype=np.float32)


@lru_cache(maxsize=1)
def _tables() -> tuple[Floats, NDArray[np.uint8]]:
    encoded = np.arange(256, dtype=np.float32) / 255.0
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    grid = np.arange(4096, dtype=np.float32) / 4095.0
    back = np.where(grid <= 0.0031308, grid * 12.92, 1.055 * grid ** (1 / 2.4) - 0.055)
    return linear.astype(np.float32), np.round(back * 255.0).astype(np.uint8)


def to_linear(picture: Picture) -> Floats:
    """Linear light 0..1 of an sRGB picture (IEC 61966-2-1 transfer curve)."""
    return _tables()[0][picture]


def to_srgb(linear: Floats) -> Picture:
    """SRGB bytes of linear light; values outside 0..1 are cut."""
    return _tables()[1][np.clip(linear * 4095.0 + 0.5, 0, 4095).astype(np.uint16)]


def draw(
    sheet: Picture, px_per_mm: float, strokes: Sequence[Stroke], pen: Pen, rng: np.random.Generator
) -> None:
    """Draw strokes on a sheet, in place.

    Parameters
    ----------
    sheet : (H, W, 3) sRGB, `px_per_mm` pixels to the millimetre, top left corner of pixel (0, 0) at (0, 0) mm
    """
    patch = ink_patch(sheet.shape[:2], px_per_mm, strokes, pen, rng)
    if patch is None:
        return
    density, (x0, y0) = patch
    lay(sheet, density, (x0, y0), pen)


def lay(sheet: Picture, density: Floats, corner: tuple[int, int], pen: Pen, strength: float = 1.0) -> None:
    """Darken the patch of `sheet` at `corner` by `density` (h, w) times the pen's colour."""
    x0, y0 = corner
    h, w = density.shape
    part = sheet[y0 : y0 + h, x0 : x0 + w]
    colour = np.array(pen.density, dtype=np.float32) * np.float32(strength * np.log(10.0))
    part[:] = to_srgb(to_linear(part) * np.exp(-density[..., None] * colour))


def ink_patch(
    shape: tuple[int, int],
    px_per_mm: float,
    strokes: Sequence[Stroke],
    pen: Pen,
    rng: np.random.Generator,
) -> tuple[Floats, tuple[int, int]] | None:
    """Passes of ink (0 none, 1 one full pass) and the patch's top left pixel; None if it misses the sheet."""
    strokes = [s for s in strokes if len(s.points_mm) > 0]
    if not strokes:
        return None
    everything = np.concatenate([s.points_mm for s in strokes])
    margin = pen.width_mm + 3 * pen.bleed_mm + 0.2
    low = np.floor((everything.min(axis=0) - margin) * px_per_mm).astype(int)
    high = np.ceil((everything.max(axis=0) + margin) * px_per_mm).astype(int) + 1
    x0, y0 = int(max(low[0], 0)), int(max(low[1], 0))
    x1, y1 = int(min(high[0], shape[1])), int(min(high[1], shape[0]))
    if x1 <= x0 or y1 <= y0:
        return None
    oversample = max(1, round(SAMPLES_PER_MM / px_per_mm))
    scale = px_per_mm * oversample
    layers = np.zeros((y1 - y0, x1 - x0), dtype=np.float32)
    for stroke in strokes:
        # Each stroke is drawn in a window of its own: a word is long and thin, its letters are small.
        near = np.floor((stroke.points_mm.min(axis=0) - margin) * px_per_mm).astype(int)
        far = np.ceil((stroke.points_mm.max(axis=0) + margin) * px_per_mm).astype(int) + 1
        left, top = max(int(near[0]), x0), max(int(near[1]), y0)
        right, bottom = min(int(far[0]), x1), min(int(far[1]), y1)
        if right <= left or bottom <= top:
            continue
        corner = (left * oversample, top * oversample)
        layer = _layer(stroke, pen, scale, corner, (bottom - top, right - left), oversample, rng)
        window = layers[top - y0 : bottom - y0, left - x0 : right - x0]
        # Passes of a ball or felt pen over wet ink add less than passes on dry paper.
        window += layer if pen.kind == "pencil" else layer * np.where(window > 0.4, 0.45, 1.0)
    return _deposit(layers, pen, (x0, y0), px_per_mm), (x0, y0)


def _layer(
    stroke: Stroke,
    pen: Pen,
    scale: float,
    corner: tuple[int, int],
    size: tuple[int, int],
    oversample: int,
    rng: np.random.Generator,
) -> Floats:
    """One stroke's pressure on each pixel, averaged down from the oversampled drawing."""
    big = np.zeros((size[0] * oversample, size[1] * oversample), dtype=np.uint8)
    points = stroke.points_mm * scale - np.array(corner) - 0.5
    pressure = stroke.pressure
    spread = {"pencil": 0.5, "ball": 0.25, "gel": 0.25, "felt": 0.35}[pen.kind]
    width = pen.width_mm * scale * (1.0 - spread / 2 + spread * pressure)
    level = pressure.copy() if pen.kind == "pencil" else 0.75 + 0.25 * np.clip(pressure * 1.6, 0, 1)
    if pen.skip > 0 and len(points) > 2:
        level = level * _skips(points, pen, scale, rng)
    fixed = np.round(points * 16).astype(np.int32)
    if len(points) == 1:
        radius = max(int(width[0] * 8), 8)
        cv2.circle(big, tuple(map(int, fixed[0])), radius, int(255 * min(level[0], 1.0)), -1, cv2.LINE_8, 4)
    else:
        # Plain numbers: taken out of arrays one by one, they cost more than the lines that they draw.
        at = [tuple(point) for point in fixed.tolist()]
        whole = np.maximum(np.round(width), 1).astype(int).tolist()
        shade = np.clip(level * 255, 0, 255).astype(int).tolist()
        for i in range(len(at) - 1):
            cv2.line(big, at[i], at[i + 1], shade[i], whole[i], cv2.LINE_8, 4)
    small = cv2.resize(big, (size[1], size[0]), interpolation=cv2.INTER_AREA) if oversample > 1 else big
    return small.astype(np.float32) / np.float32(255.0)


def _skips(
    points: NDArray[np.float64], pen: Pen, scale: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Factor along the line: 1 where ink flows, near 0 where the ball skips, in runs of about half a mm."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))]) / scale
    knots = np.arange(0, along[-1] + 1.2, pen.skip_mm)
    flow = rng.standard_normal(len(knots))
    value = np.interp(along, knots, flow)
    threshold = np.quantile(rng.standard_normal(400), pen.skip)
    return np.clip(0.55 + (value - threshold) * 2.2, pen.left, 1.0)


def _deposit(layers: Floats, pen: Pen, corner: tuple[int, int], px_per_mm: float) -> Floats:
    """Pressure summed over the passes -> ink on the paper."""
    if pen.bleed_mm > 0:
        layers = _bleed(layers, pen.bleed_mm * px_per_mm, corner, px_per_mm)
    if pen.grain > 0:
        height = tooth(layers.shape, corner, px_per_mm * pen.coarse)
        if pen.kind == "pencil":
            # A lead is round: it presses hardest along the middle of its line.
            layers = 0.35 * layers + 0.65 * cv2.GaussianBlur(layers, (0, 0), max(0.09 * px_per_mm, 0.3))
        # Light pressure only reaches the peaks of the tooth, heavy pressure fills the valleys.
        bite = np.clip(0.5 + (1.5 * layers - pen.grain * (1.05 - height)) / pen.soft, 0.0, 1.0)
        amount = np.minimum(1.6 * layers, 0.55 + 0.45 * layers) if pen.kind == "pencil" else layers
        return (bite * np.minimum(amount, 1.5) * (layers > 0.01)).astype(np.float32)
    return (layers * (1.0 + 0.06 * (tooth(layers.shape, corner, px_per_mm) - 0.5))).astype(np.float32)


def _bleed(layers: Floats, radius_px: float, corner: tuple[int, int], px_per_mm: float) -> Floats:
    """Feather the edges: ink follows the fibres outwards, farther where the paper drinks more."""
    soft = cv2.GaussianBlur(layers, (0, 0), max(radius_px, 0.3))
    drink = tooth(layers.shape, corner, px_per_mm) - 0.5
    return np.maximum(
        layers * 0.96, np.clip((soft + 0.22 * drink - 0.16) / 0.5, 0, 1.2) * (soft > 0.02)
    ).astype(np.float32)


def some_pen(rng: np.random.Generator) -> Pen:
    """Return a pen as often as people use it, each copy a little unlike the next."""
    names = list(PEN_SHARES)
    shares = np.array([PEN_SHARES[n] for n in names])
    pen = PENS[str(rng.choice(names, p=shares / shares.sum()))]
    dark = float(rng.uniform(0.88, 1.12))
    return pen.made(float(rng.uniform(0.85, 1.2)), dark)
