"""Handwritten digits and words as pen strokes.

Digits come from real handwriting: small grey pictures of single digits are thinned to the path that the pen
took, so that they can be drawn again at any size with any pen. One writer keeps to samples that lean and widen
alike, and adds habits that the sample set lacks (flagged 1, crossed 7, open 4, slashed 0). The pictures are
arguments: nothing here knows where they lie.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.marks import path, wander
from tests.simulator.pens import Pen, Stroke, some_pen

Rng = np.random.Generator
Points = NDArray[np.float64]

_UP = 4  # 28 px pictures are thinned at 112 px: fine enough for smooth paths, quick enough for thousands


@dataclass(frozen=True, slots=True)
class Glyph:
    """A digit as paths in a frame with the digit's height as 1, centred on (0, 0), y down.

    `weight` per path is the stroke's width relative to the digit's usual width, (N,).
    """

    paths: tuple[Points, ...]
    weight: tuple[NDArray[np.float64], ...]


class GlyphBank:
    """Digits of real hands as glyphs, thinned when first asked for.

    Parameters
    ----------
    images : (N, 28, 28) uint8, ink bright on black
    labels : (N,) 0..9
    """

    def __init__(self, images: NDArray[np.uint8], labels: NDArray[np.integer]) -> None:
        self.images = images
        self.by_digit = {d: np.flatnonzero(labels == d) for d in range(10)}
        self.slant = _slants(images)
        self._glyphs: dict[int, Glyph | None] = {}

    def glyph(self, index: int) -> Glyph | None:
        """Return the glyph of picture `index`; None where thinning finds no usable path."""
        if index not in self._glyphs:
            self._glyphs[index] = glyph_of(self.images[index])
        return self._glyphs[index]


def _slants(images: NDArray[np.uint8]) -> Points:
    """Lean of each picture's ink, (N,), x per unit of y up, from its second moments."""
    ink = images.astype(np.float64)
    total = np.maximum(ink.sum(axis=(1, 2)), 1.0)
    at = np.arange(images.shape[1], dtype=float)
    x = np.einsum("nij,j->n", ink, at) / total
    y = np.einsum("nij,i->n", ink, at) / total
    xy = np.einsum("nij,i,j->n", ink, at, at) / total - x * y
    yy = np.einsum("nij,i->n", ink, at * at) / total - y * y
    return -xy / np.maximum(yy, 1e-9)


def glyph_of(image: NDArray[np.uint8]) -> Glyph | None:
    """Paths of one 28 x 28 digit, bright on black."""
    big = cv2.resize(image, None, fx=_UP, fy=_UP, interpolation=cv2.INTER_CUBIC)
    big = cv2.GaussianBlur(big, (0, 0), 1.2)
    mask = big > max(90, 0.42 * float(big.max()))
    if mask.sum() < 60:
        return None
    radius = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    lines = _trace(_thin(mask))
    usual = float(np.median(radius[mask & (radius >= cv2.dilate(radius, np.ones((3, 3))) - 1e-3)]))
    lines = _without_spurs(lines, radius, usual)
    if not lines:
        return None
    extent = np.concatenate(lines)
    height = max(float(np.ptp(extent[:, 1])), 0.45 * float(np.ptp(extent[:, 0])), 8.0)
    centre = (extent.min(axis=0) + extent.max(axis=0)) / 2
    paths, weights = [], []
    for line in lines:
        smooth = _smoothed(line)
        rows, columns = np.clip(np.round(smooth[:, ::-1]).astype(int), 0, mask.shape[0] - 1).T
        paths.append((smooth - centre) / height)
        weights.append(np.clip(radius[rows, columns] / max(usual, 0.5), 0.6, 1.6).astype(float))
    return Glyph(tuple(paths), tuple(weights))


def _thin(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Thin to lines one pixel wide (Zhang and Suen, Communications of the ACM 27(3), 1984)."""
    image = np.pad(mask, 1).astype(np.uint8)
    while True:
        changed = False
        for step in (0, 1):
            n = image[:-2, 1:-1], image[:-2, 2:], image[1:-1, 2:], image[2:, 2:]
            s = image[2:, 1:-1], image[2:, :-2], image[1:-1, :-2], image[:-2, :-2]
            p = (*n, *s)  # clockwise from the pixel above
            count = p[0] + p[1] + p[2] + p[3] + p[4] + p[5] + p[6] + p[7]
            turns = sum(((p[i] == 0) & (p[(i + 1) % 8] == 1)).astype(np.uint8) for i in range(8))
            one = p[0] * p[2] * (p[4] if step == 0 else p[6])
            two = (p[2] if step == 0 else p[0]) * p[4] * p[6]
            gone = (
                (image[1:-1, 1:-1] == 1)
                & (count >= 2)
                & (count <= 6)
                & (turns == 1)
                & (one == 0)
                & (two == 0)
            )
            if gone.any():
                image[1:-1, 1:-1][gone] = 0
                changed = True
        if not changed:
            return image[1:-1, 1:-1].astype(bool)


_AROUND = ((0, -1), (1, 0), (0, 1), (-1, 0), (1, -1), (1, 1), (-1, 1), (-1, -1))


def _trace(thin: NDArray[np.bool_]) -> list[Points]:
    """Lines (N, 2) as x, y along a thinned drawing; at a crossing the pen goes on as straight as it can."""
    pixels = {(int(x), int(y)) for y, x in np.argwhere(thin)}
    links: dict[tuple[int, int], set[tuple[int, int]]] = {p: set() for p in pixels}
    for x, y in pixels:
        for dx, dy in _AROUND:
            q = (x + dx, y + dy)
            if q not in pixels:
                continue
            # A diagonal beside a square step would make a triangle out of every corner.
            if dx and dy and ((x + dx, y) in pixels or (x, y + dy) in pixels):
                continue
            links[(x, y)].add(q)
    lines = []
    while True:
        open_ends = [p for p, q in links.items() if len(q) == 1]
        start = min(open_ends, key=lambda p: (p[1], p[0]), default=None)
        if start is None:
            start = min((p for p, q in links.items() if q), key=lambda p: (p[1], p[0]), default=None)
        if start is None:
            return lines
        lines.append(_walk(links, start))


def _walk(links: dict[tuple[int, int], set[tuple[int, int]]], start: tuple[int, int]) -> Points:
    walked = [start]
    here = start
    while links[here]:
        back = np.array(walked[max(len(walked) - 7, 0)])
        heading = np.array(here) - back

        def straightness(q: tuple[int, int], here=here, heading=heading) -> float:
            step = np.array(q) - np.array(here)
            return float(step @ heading / (np.hypot(*step) + 1e-9))

        ahead = max(sorted(links[here]), key=straightness)
        links[here].discard(ahead)
        links[ahead].discard(here)
        walked.append(ahead)
        here = ahead
    return np.array(walked, dtype=float)


def _without_spurs(lines: list[Points], radius: NDArray[np.float32], usual: float) -> list[Points]:
    """Drop side branches that thinning grew and that no pen drew."""
    length = [float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0 for line in lines]
    longest = max(length, default=0.0)
    if longest < 6.0:
        return []
    return [
        line for line, l in zip(lines, length, strict=True) if l >= max(2.2 * usual, 0.06 * longest) and l > 3
    ]


def _smoothed(line: Points, sigma: float = 2.2) -> Points:
    """Round off the pixel steps; ends stay where they are, closed loops stay closed."""
    if len(line) < 5:
        return line
    closed = np.abs(line[0] - line[-1]).max() <= 1 and len(line) > 12
    pad = int(3 * sigma) + 1
    if closed:
        padded = np.concatenate([line[-pad - 1 : -1], line, line[1 : pad + 1]])
    else:
        padded = np.concatenate([2 * line[0] - line[pad:0:-1], line, 2 * line[-1] - line[-2 : -pad - 2 : -1]])
        if len(padded) < len(line) + 2 * pad:  # a line shorter than the kernel
            padded = np.pad(line, ((pad, pad), (0, 0)), mode="edge")
    x = np.arange(-pad, pad + 1)
    kernel = np.exp(-0.5 * (x / sigma) ** 2)
    kernel /= kernel.sum()
    smooth = np.column_stack([np.convolve(padded[:, i], kernel, "valid") for i in (0, 1)])
    return smooth[::2] if len(smooth) > 8 else smooth


def _curve(*points: tuple[float, float]) -> Points:
    """A smooth curve through a few points: quadratic corner cutting, three times."""
    line = np.array(points, dtype=float)
    for _ in range(3):
        if len(line) < 3:
            break
        a, b = line[:-1], line[1:]
        cut = np.empty((2 * len(a), 2))
        cut[0::2], cut[1::2] = 0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b
        cut[0], cut[-1] = line[0], line[-1]
        line = cut
    return line


def _styled(digit: int, style: str, rng: Rng) -> list[Points]:
    """Our own drawings of forms that the sample set hardly has, in the frame of `Glyph`, jittered."""
    shapes: dict[tuple[int, str], list[Points]] = {
        (0, "slashed"): [
            _curve(
                (0.05, -0.5),
                (-0.3, -0.42),
                (-0.34, 0.1),
                (-0.2, 0.52),
                (0.16, 0.52),
                (0.34, 0.1),
                (0.3, -0.42),
                (0.0, -0.52),
            ),
            _curve((0.3, -0.5), (-0.28, 0.52)),
        ],
        (1, "flag"): [np.array([(-0.24, -0.18), (0.08, -0.5), (0.06, 0.5)])],
        (1, "based"): [
            np.array([(-0.2, -0.24), (0.04, -0.5), (0.02, 0.5)]),
            np.array([(-0.24, 0.5), (0.26, 0.49)]),
        ],
        (1, "plain"): [np.array([(0.02, -0.5), (0.0, 0.0), (-0.02, 0.5)])],
        (4, "open"): [
            np.array([(-0.18, -0.5), (-0.32, 0.12), (0.34, 0.1)]),
            np.array([(0.16, -0.34), (0.1, 0.5)]),
        ],
        (4, "closed"): [np.array([(0.1, 0.5), (0.14, -0.5), (-0.34, 0.16), (0.34, 0.15)])],
        (7, "crossed"): [
            np.array([(-0.3, -0.46), (0.32, -0.48), (0.0, 0.1), (-0.1, 0.5)]),
            np.array([(-0.2, 0.03), (0.26, 0.0)]),
        ],
        (9, "straight"): [
            _curve((0.26, -0.4), (-0.02, -0.56), (-0.34, -0.3), (-0.16, 0.02), (0.14, -0.06), (0.27, -0.38)),
            np.array([(0.27, -0.42), (0.24, 0.5)]),
        ],
        (2, "looped"): [
            _curve((-0.3, -0.3), (-0.1, -0.56), (0.34, -0.46), (0.22, -0.02), (-0.36, 0.54), (-0.2, 0.3))[
                :-2
            ],
            _curve((-0.32, 0.47), (-0.05, 0.36), (0.12, 0.5), (0.36, 0.42)),
        ],
        (6, "tall"): [
            _curve(
                (0.16, -0.5),
                (-0.2, -0.25),
                (-0.34, 0.3),
                (-0.05, 0.58),
                (0.32, 0.32),
                (0.08, 0.02),
                (-0.28, 0.24),
            )
        ],
        (5, "two-stroke"): [
            _curve((-0.2, -0.48), (-0.24, -0.06), (0.1, -0.2), (0.4, 0.2), (0.1, 0.56), (-0.32, 0.42)),
            np.array([(-0.2, -0.47), (0.3, -0.5)]),
        ],
        (3, "flat-top"): [
            np.array([(-0.28, -0.48), (0.28, -0.5), (-0.02, -0.08)]),
            _curve((-0.02, -0.08), (0.36, -0.02), (0.3, 0.46), (-0.02, 0.58), (-0.32, 0.38)),
        ],
    }
    warp = np.eye(2) + rng.normal(0, 0.05, (2, 2))
    return [(p + rng.normal(0, 0.018, p.shape)) @ warp.T for p in shapes[(digit, style)]]


STYLES: dict[int, tuple[str, ...]] = {
    0: ("slashed",),
    1: ("flag", "based", "plain"),
    2: ("looped",),
    3: ("flat-top",),
    4: ("open", "closed"),
    5: ("two-stroke",),
    6: ("tall",),
    7: ("crossed",),
    9: ("straight",),
}


@dataclass(frozen=True, slots=True)
class Writer:
    """One hand: how big, how slanted, how hard, with which pen, how careful, and which digits are its own.

    Attributes
    ----------
    size : digit height as a share of the box height
    slant : x per y; drift_mm and jitter_mm : habitual and random miss of the middle of a box
    styles : digit -> name in `STYLES`, where this hand has a form of its own
    samples : digit -> indices into the bank, all leaning alike
    mark_shares : kind of bubble mark -> how often
    """

    pen: Pen
    size: float
    slant: float
    widen: float
    pressure: float
    shake_mm: float
    drift_mm: tuple[float, float]
    jitter_mm: float
    turn_deg: float
    styles: dict[int, str] = field(default_factory=dict)
    samples: dict[int, tuple[int, ...]] = field(default_factory=dict)
    mark_shares: dict[str, float] = field(default_factory=dict)
    careful: float = 0.7

    def with_pen(self, pen: Pen) -> Writer:
        return replace(self, pen=pen)


#: Share of hands that write a digit in a form of their own; guesses, on the generous side.
_STYLE_SHARE = {0: 0.08, 1: 0.45, 2: 0.12, 3: 0.12, 4: 0.4, 5: 0.2, 6: 0.15, 7: 0.4, 9: 0.3}


def some_writer(
    rng: Rng,
    bank: GlyphBank | None,
    *,
    pen: Pen | None = None,
    careful: float | None = None,
    share_styled: float = 1.0,
) -> Writer:
    """Return a hand.

    Parameters
    ----------
    bank : digits to take samples from; None draws every digit in our own forms (no 8 then: taken as plain)
    careful : 0 sloppy to 1 neat; drawn at random if None
    share_styled : factor on how often a hand has forms of its own; 0 leaves only the bank's samples
    """
    care = float(rng.beta(3.0, 1.8)) if careful is None else careful
    slant = float(rng.normal(0.18, 0.16))
    styles = {
        d: str(rng.choice(names))
        for d, names in STYLES.items()
        if rng.random() < _STYLE_SHARE[d] * share_styled
    }
    samples = {} if bank is None else {d: _alike(bank, d, slant, rng) for d in range(10)}
    return Writer(
        pen=pen or some_pen(rng),
        size=float(np.clip(rng.normal(0.70, 0.09), 0.48, 0.95)),
        slant=slant,
        widen=float(np.clip(rng.normal(1.0, 0.1), 0.75, 1.25)),
        pressure=float(np.clip(rng.normal(0.52, 0.09), 0.32, 0.8)),
        shake_mm=0.03 + 0.10 * (1 - care) * float(rng.uniform(0.4, 1.0)),
        drift_mm=(float(rng.normal(0, 0.25)), float(rng.normal(0, 0.25))),
        jitter_mm=0.10 + 0.35 * (1 - care),
        turn_deg=float(rng.normal(0, 2.5)),
        styles=styles,
        samples=samples,
        mark_shares=_mark_habits(rng, care),
        careful=care,
    )


def _mark_habits(rng: Rng, care: float) -> dict[str, float]:
    """One main way to fill a bubble, and lapses: the sloppier the more."""
    if rng.random() < 0.25 + 0.65 * care:
        main = str(rng.choice(["solid", "scribble", "spiral", "partial"], p=[0.5, 0.3, 0.12, 0.08]))
    else:
        main = str(
            rng.choice(["scribble", "cross", "tick", "overrun", "dash"], p=[0.3, 0.3, 0.12, 0.2, 0.08])
        )
    lapse = 0.03 + 0.20 * (1 - care)
    shares = {"solid": 0.25, "scribble": 0.35, "partial": 0.2, "overrun": 0.2}
    if care < 0.55:
        shares = {**shares, "cross": 0.15, "dash": 0.1}
    total = sum(shares.values())
    habits = {k: lapse * v / total for k, v in shares.items()}
    habits[main] = habits.get(main, 0.0) + 1.0 - lapse
    return habits


def _alike(bank: GlyphBank, digit: int, slant: float, rng: Rng, count: int = 4) -> tuple[int, ...]:
    """Some of the bank's samples of a digit that lean about as much as this hand."""
    pool = bank.by_digit[digit]
    tried = rng.choice(pool, size=min(24, len(pool)), replace=False)
    near = tried[np.argsort(np.abs(bank.slant[tried] - slant))[: count * 2]]
    chosen = rng.permutation(near)[:count]
    return tuple(int(i) for i in chosen if bank.glyph(int(i)) is not None)


def digit_strokes(
    digit: int,
    box: tuple[float, float, float, float],
    writer: Writer,
    rng: Rng,
    bank: GlyphBank | None,
) -> list[Stroke]:
    """One digit of this hand in a box (x, y, w, h in mm)."""
    x, y, w, h = box
    height = h * writer.size * float(rng.normal(1.0, 0.05))
    if digit in writer.styles and (bank is None or rng.random() < 0.92):
        paths = _styled(digit, writer.styles[digit], rng)
        lean = _lean(writer.slant * 0.8)
        weights = [np.ones(len(p)) for p in paths]
        paths = [p @ lean.T for p in paths]
    else:
        paths, weights = _sampled(digit, writer, rng, bank)
    everything = np.concatenate(paths)
    width = max(float(np.ptp(everything[:, 0])) * height * writer.widen, 0.3)
    # A hand squeezes a wide digit into the box rather than write over the edge, if it is careful.
    fit = min(1.0, (w * (0.9 + 0.15 * (1 - writer.careful))) / width)
    turn = np.radians(writer.turn_deg + float(rng.normal(0, 2.0)))
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    stretch = np.diag([height * writer.widen * fit, height])
    centre = np.array([x + w / 2, y + h / 2]) + np.array(writer.drift_mm) + rng.normal(0, writer.jitter_mm, 2)
    strokes = []
    for p, weight in zip(paths, weights, strict=True):
        placed = centre + p @ (rotate @ stretch).T
        stroke = path(placed, rng, writer.pressure, writer.shake_mm)
        swell = np.interp(np.linspace(0, 1, len(stroke.pressure)), np.linspace(0, 1, len(weight)), weight)
        strokes.append(Stroke(stroke.points_mm, np.clip(stroke.pressure * (0.5 + 0.5 * swell), 0.03, 1.0)))
    return strokes


def _sampled(
    digit: int, writer: Writer, rng: Rng, bank: GlyphBank | None
) -> tuple[list[Points], list[NDArray[np.float64]]]:
    indices = writer.samples.get(digit, ())
    if bank is None or not indices:
        name = str(rng.choice(STYLES[digit])) if digit in STYLES else "plain"
        paths = _styled(digit, name, rng) if digit in STYLES else _plain_eight(rng)
        return paths, [np.ones(len(p)) for p in paths]
    glyph = bank.glyph(int(rng.choice(indices)))
    assert glyph is not None, "a writer's samples all have glyphs"
    warp = np.eye(2) + rng.normal(0, 0.03, (2, 2))
    return [p @ warp.T for p in glyph.paths], list(glyph.weight)


def _plain_eight(rng: Rng) -> list[Points]:
    t = np.linspace(0.4, 2 * np.pi + 0.4, 40)
    p = np.column_stack([0.27 * np.sin(2 * t) * (1.0 + 0.12 * np.cos(t)), -0.5 * np.cos(t)])
    return [p + rng.normal(0, 0.006, p.shape)]


def _lean(slant: float) -> Points:
    return np.array([[1.0, -slant], [0.0, 1.0]])


def scribbled_out(box: tuple[float, float, float, float], rng: Rng, pressure: float = 0.6) -> list[Stroke]:
    """A digit struck out: a zigzag over the whole box."""
    x, y, w, h = box
    count = int(rng.integers(6, 11))
    ys = np.linspace(y + 0.12 * h, y + 0.88 * h, count) + rng.normal(0, 0.2, count)
    xs = np.where(np.arange(count) % 2 == 0, x + 0.1 * w, x + 0.9 * w) + rng.normal(0, 0.25, count)
    return [path(np.column_stack([xs, ys]), rng, pressure, 0.08)]


# Small letters as control points, x from 0, baseline y = 0, x-height 1, up is negative; drawn for this file.
_LETTERS: dict[str, tuple[float, list[list[tuple[float, float]]]]] = {
    "a": (0.95, [[(0.8, -0.8), (0.3, -1.05), (0.0, -0.4), (0.3, 0.05), (0.75, -0.5), (0.8, -0.9), (0.78, -0.1), (0.98, 0)]]),
    "b": (0.9, [[(0.1, -1.9), (0.08, 0.0)], [(0.1, -0.6), (0.5, -1.1), (0.85, -0.5), (0.5, 0.08), (0.08, -0.1)]]),
    "c": (0.8, [[(0.75, -0.8), (0.4, -1.1), (0.0, -0.5), (0.3, 0.08), (0.8, -0.15)]]),
    "d": (0.95, [[(0.75, -0.8), (0.3, -1.05), (0.0, -0.4), (0.3, 0.05), (0.75, -0.5)], [(0.82, -1.9), (0.8, 0.0)]]),
    "e": (0.8, [[(0.05, -0.5), (0.8, -0.6), (0.5, -1.15), (0.0, -0.6), (0.25, 0.1), (0.8, -0.12)]]),
    "f": (0.6, [[(0.65, -1.75), (0.3, -1.95), (0.25, -1.0), (0.22, 0.05)], [(0.0, -1.0), (0.55, -1.02)]]),
    "g": (0.9, [[(0.75, -0.8), (0.3, -1.05), (0.0, -0.4), (0.4, 0.0), (0.78, -0.8), (0.75, 0.5), (0.3, 0.85), (0.0, 0.6)]]),
    "h": (0.95, [[(0.1, -1.9), (0.08, 0.0)], [(0.1, -0.5), (0.5, -1.15), (0.8, -0.7), (0.8, 0.0), (0.95, -0.02)]]),
    "i": (0.4, [[(0.15, -1.0), (0.15, -0.05), (0.4, 0.0)], [(0.17, -1.5), (0.2, -1.48)]]),
    "j": (0.4, [[(0.25, -1.0), (0.22, 0.6), (-0.15, 0.8)], [(0.25, -1.5), (0.28, -1.48)]]),
    "k": (0.85, [[(0.1, -1.9), (0.08, 0.0)], [(0.7, -1.0), (0.12, -0.45), (0.8, 0.0)]]),
    "l": (0.4, [[(0.12, -1.9), (0.1, -0.1), (0.4, 0.0)]]),
    "m": (1.4, [[(0.05, -1.0), (0.06, 0.0)], [(0.06, -0.6), (0.4, -1.15), (0.62, -0.6), (0.62, 0.0)], [(0.62, -0.6), (0.95, -1.15), (1.2, -0.6), (1.2, 0.0), (1.4, -0.02)]]),
    "n": (0.95, [[(0.05, -1.0), (0.06, 0.0)], [(0.06, -0.6), (0.45, -1.15), (0.75, -0.6), (0.76, 0.0), (0.95, -0.02)]]),
    "o": (0.85, [[(0.45, -1.02), (0.0, -0.85), (0.05, 0.05), (0.6, 0.08), (0.85, -0.5), (0.5, -1.05)]]),
    "p": (0.9, [[(0.06, -1.0), (0.05, 0.85)], [(0.08, -0.6), (0.5, -1.1), (0.85, -0.5), (0.5, 0.08), (0.08, -0.1)]]),
    "q": (0.9, [[(0.75, -0.8), (0.3, -1.05), (0.0, -0.4), (0.4, 0.0), (0.78, -0.8)], [(0.8, -1.0), (0.78, 0.85)]]),
    "r": (0.65, [[(0.06, -1.0), (0.06, 0.0)], [(0.06, -0.5), (0.3, -1.0), (0.65, -0.95)]]),
    "s": (0.7, [[(0.65, -0.9), (0.2, -1.1), (0.05, -0.7), (0.65, -0.35), (0.4, 0.1), (0.0, -0.05)]]),
    "t": (0.6, [[(0.25, -1.6), (0.22, -0.1), (0.6, 0.0)], [(0.0, -1.05), (0.55, -1.08)]]),
    "u": (0.95, [[(0.05, -1.0), (0.05, -0.1), (0.4, 0.12), (0.75, -0.4), (0.76, -1.0), (0.76, 0.0), (0.95, -0.02)]]),
    "v": (0.8, [[(0.0, -1.0), (0.38, 0.0), (0.78, -1.0)]]),
    "w": (1.2, [[(0.0, -1.0), (0.3, 0.0), (0.58, -0.8), (0.85, 0.0), (1.15, -1.0)]]),
    "x": (0.8, [[(0.0, -1.0), (0.75, 0.0)], [(0.72, -1.0), (0.0, 0.02)]]),
    "y": (0.85, [[(0.05, -1.0), (0.4, -0.1)], [(0.8, -1.0), (0.3, 0.6), (0.0, 0.8)]]),
    "z": (0.8, [[(0.05, -0.98), (0.72, -1.0), (0.0, 0.0), (0.78, -0.02)]]),
}  # fmt: skip


def word_strokes(text: str, box: tuple[float, float, float, float], writer: Writer, rng: Rng) -> list[Stroke]:
    """A few words on a strip in this hand: small letters, uneven, on a wandering line."""
    x, y, w, h = box
    unit = h * float(rng.uniform(0.24, 0.32)) * (0.8 + 0.3 * writer.size)  # x-height in mm
    squeeze = min(1.0, w * 0.96 / max(_text_width(text) * unit, 0.1))
    lean = _lean(writer.slant)
    at, base = x + 0.02 * w + float(rng.uniform(0, 0.6)), y + h * 0.68
    slope = float(rng.normal(0, 0.012))
    pace = rng.normal(1.0, 0.06, len(text) + 1)
    strokes = []
    start = at
    for letter, wide in zip(text.lower(), pace, strict=False):
        if letter not in _LETTERS:
            at += unit * squeeze * 0.6
            continue
        advance, shapes = _LETTERS[letter]
        scale = unit * float(rng.normal(1.0, 0.06))
        lift = float(rng.normal(0, 0.06)) * unit + slope * (at - start)
        for shape in shapes:
            points = np.array(shape) + rng.normal(0, 0.035, (len(shape), 2))
            points = _curve(*map(tuple, points)) @ lean.T * scale * np.array([squeeze * wide, 1.0])
            placed = points + np.array([at, base + lift])
            strokes.append(path(placed, rng, writer.pressure * 0.95, writer.shake_mm * 0.6))
        at += (advance + 0.22) * unit * squeeze * wide
    return strokes


def _text_width(text: str) -> float:
    return sum(_LETTERS[c][0] + 0.22 if c in _LETTERS else 0.6 for c in text.lower())


__all__ = [
    "STYLES",
    "Glyph",
    "GlyphBank",
    "Writer",
    "digit_strokes",
    "glyph_of",
    "scribbled_out",
    "some_writer",
    "wander",
    "word_strokes",
]
