"""Digits and non-digits drawn as pen strokes: the shapes MNIST has too few of, or none.

MNIST was written in the United States; its 1 is mostly a bare bar, its 7 uncrossed, its 0 never slashed.
Score cards also hold what is no digit at all: scribbles, ticks, crosses, letters. Each shape is a list of
strokes in a unit square (x right, y down), bent at random, and comes back as straight segments of equal count
so that a batch of them is one array.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]  # (P, 2), x and y in the unit square
Rng = np.random.Generator

SEGMENTS = 64  # enough for a dense scribble; shorter drawings repeat their last point

SCRAP = 11
SYMBOL, SCRIBBLE = 1, 2  # a scribble may also be drawn over a digit to cancel it


@dataclass(frozen=True, slots=True)
class Drawings:
    """Segments (G, SEGMENTS, 4) as x0, y0, x1, y1; answers (G,); kind (G,) 0 digit, 1 symbol, 2 scribble."""

    segments: NDArray[np.float32]
    answers: NDArray[np.int64]
    kinds: NDArray[np.int64]


def _curve(points: list[tuple[float, float]], per_piece: int = 6) -> Points:
    """Catmull-Rom spline through the points."""
    p = np.array([points[0], *points, points[-1]], np.float64)
    t = np.linspace(0, 1, per_piece, endpoint=False)[:, None]
    pieces = [
        0.5
        * (
            2 * p[i]
            + (p[i + 1] - p[i - 1]) * t
            + (2 * p[i - 1] - 5 * p[i] + 4 * p[i + 1] - p[i + 2]) * t**2
            + (3 * p[i] - p[i - 1] - 3 * p[i + 1] + p[i + 2]) * t**3
        )
        for i in range(1, len(p) - 2)
    ]
    return np.concatenate([*pieces, p[-1:]])


def _line(*points: tuple[float, float]) -> Points:
    return np.array(points, np.float64)


def _arc(centre: tuple[float, float], radii: tuple[float, float], from_deg: float, to_deg: float) -> Points:
    """Elliptic arc, angles clockwise from the right (y runs down)."""
    steps = max(4, round(abs(to_deg - from_deg) / 20))
    a = np.radians(np.linspace(from_deg, to_deg, steps + 1))
    return np.stack([centre[0] + radii[0] * np.cos(a), centre[1] + radii[1] * np.sin(a)], axis=1)


def _zero(rng: Rng) -> list[Points]:
    start = rng.uniform(-130, -50)
    # A gap of up to 50 degrees, or an overlap of up to 40.
    sweep = 360 + rng.choice([0.0, rng.uniform(-50, 0), rng.uniform(0, 40)])
    half_width = rng.uniform(0.24, 0.5)
    ring = _arc((0.5, 0.5), (half_width, 0.5), start, start + rng.choice([-1, 1]) * sweep)
    if rng.random() < 0.45:
        over = rng.uniform(-0.12, 0.15)
        slash = _line(
            (0.5 + half_width + over - 0.12, 0.1 - over), (0.5 - half_width - over + 0.12, 0.9 + over)
        )
        return [ring, slash]
    return [ring]


def _one(rng: Rng) -> list[Points]:
    lean = rng.uniform(-0.06, 0.06)
    bar = [(0.5 + lean, 0.0), (0.5 - lean, 1.0)]
    strokes: list[Points] = []
    style = rng.integers(4)
    if style in (1, 3):  # a short flag, falling away at 35 degrees or more: level, it were a 7
        reach = rng.uniform(0.1, 0.32)
        flag = (0.5 + lean - reach, reach * rng.uniform(0.7, 1.5) + 0.03)
        strokes.append(_line(flag, *bar))
    else:
        strokes.append(_line(*bar))
    if style in (2, 3):
        half = rng.uniform(0.12, 0.34)
        strokes.append(_line((0.5 - lean - half, 1.0), (0.5 - lean + half, 1.0 + rng.uniform(-0.04, 0.04))))
    return strokes


def _two(rng: Rng) -> list[Points]:
    top = [(0.1, 0.28), (0.3, 0.03), (0.7, 0.02), (0.85, 0.28), (0.6, 0.6)]
    if rng.random() < 0.35:  # looped foot
        return [_curve([*top, (0.2, 0.97), (0.08, 0.9), (0.25, 0.82), (0.6, 0.98), (0.95, 0.93)])]
    if rng.random() < 0.5:
        return [np.concatenate([_curve([*top, (0.1, 1.0)]), _line((0.92, 1.0 + rng.uniform(-0.05, 0.05)))])]
    return [_curve([*top, (0.12, 0.98), (0.5, 0.98), (0.92, 0.97)])]


def _three(rng: Rng) -> list[Points]:
    if rng.random() < 0.45:  # flat top
        belly = _curve([(0.4, 0.4), (0.8, 0.52), (0.85, 0.8), (0.5, 1.0), (0.1, 0.88)])
        return [np.concatenate([_line((0.12, 0.02), (0.85, 0.0)), belly])]
    waist = rng.uniform(0.35, 0.5)
    return [
        np.concatenate(
            [
                _curve([(0.12, 0.14), (0.45, 0.0), (0.82, 0.2), (waist, 0.47)]),
                _curve([(waist, 0.47), (0.88, 0.7), (0.5, 1.0), (0.08, 0.86)]),
            ]
        )
    ]


def _four(rng: Rng) -> list[Points]:
    bar_y = rng.uniform(0.52, 0.7)
    if rng.random() < 0.6:  # open, drawn with two strokes
        x = rng.uniform(0.6, 0.8)
        hook = _line((rng.uniform(0.1, 0.3), 0.0), (rng.uniform(0.02, 0.14), bar_y), (1.0, bar_y))
        return [hook, _line((x, rng.uniform(0.0, 0.4)), (x + rng.uniform(-0.1, 0.04), 1.0))]
    x = rng.uniform(0.6, 0.78)
    return [_line((x, 0.0), (0.02, bar_y), (1.0, bar_y)), _line((x, rng.uniform(0.0, 0.3)), (x, 1.0))]


def _five(rng: Rng) -> list[Points]:
    body = _curve([(0.2, 0.44), (0.55, 0.38), (0.88, 0.66), (0.55, 1.0), (0.08, 0.9)])
    left = rng.uniform(0.2, 0.28)
    if rng.random() < 0.5:  # the flag drawn last and not quite joined
        gap = rng.uniform(0, 0.08)
        flag = _line((left + gap, rng.uniform(-0.03, 0.05)), (0.9, rng.uniform(-0.05, 0.04)))
        return [np.concatenate([_line((left, 0.02)), body]), flag]
    return [np.concatenate([_line((0.85, 0.0), (left, 0.02)), body])]


def _six(rng: Rng) -> list[Points]:
    top = (rng.uniform(0.45, 0.8), 0.0)
    loop_y = rng.uniform(0.44, 0.58)
    return [
        _curve(
            [
                top,
                (0.22, 0.32),
                (0.08, 0.7),
                (0.4, 1.0),
                (0.86, 0.78),
                (0.55, loop_y),
                (0.12, rng.uniform(0.68, 0.8)),
            ]
        )
    ]


def _seven(rng: Rng) -> list[Points]:
    foot = (rng.uniform(0.25, 0.5), 1.0)
    corner = (0.9, rng.uniform(-0.02, 0.06))
    start = [(0.06, rng.uniform(0.0, 0.08))]
    if rng.random() < 0.35:
        start.insert(0, (rng.uniform(0.02, 0.1), rng.uniform(0.14, 0.24)))  # little serif
    leg = _curve([corner, (0.6, 0.45), foot]) if rng.random() < 0.5 else _line(corner, foot)
    strokes = [np.concatenate([_line(*start), leg])]
    if rng.random() < 0.7:
        y, half, middle = rng.uniform(0.4, 0.6), rng.uniform(0.18, 0.34), rng.uniform(0.5, 0.68)
        strokes.append(_line((middle - half, y + 0.04), (middle + half, y - rng.uniform(-0.04, 0.08))))
    return strokes


def _eight(rng: Rng) -> list[Points]:
    if rng.random() < 0.3:  # two rings
        upper = rng.uniform(0.19, 0.26)
        lower = 0.5 - upper + rng.uniform(-0.01, 0.02)
        return [
            _arc((0.5, upper), (rng.uniform(0.2, 0.32), upper), 90, 450),
            _arc((0.5, 1 - lower), (rng.uniform(0.26, 0.4), lower), -90, 270),
        ]
    end = rng.uniform(-0.1, 0.12)
    return [
        _curve(
            [
                (0.8, 0.12),
                (0.45, 0.0),
                (0.2, 0.2),
                (0.52, 0.48),
                (0.84, 0.76),
                (0.5, 1.0),
                (0.14, 0.78),
                (0.5, 0.48),
                (0.8, 0.12 + end),
            ]
        )
    ]


def _nine(rng: Rng) -> list[Points]:
    x, ry = rng.uniform(0.74, 0.9), rng.uniform(0.2, 0.3)
    loop = _arc((x - 0.36, ry), (0.36, ry), rng.uniform(-50, -5), rng.uniform(-50, -5) - 335)
    style = rng.integers(3)
    if style == 0:  # straight tail, as a separate or joined stroke
        return [loop, _line((x, rng.uniform(0.0, 0.2)), (x + rng.uniform(-0.16, 0.08), 1.0))]
    if style == 1:
        return [loop, _curve([(x, ry * 0.8), (x - 0.02, 0.7), (x - 0.3, 1.0), (x - 0.6, 0.92)])]
    return [loop, _curve([(x, ry * 0.8), (x - 0.05, 0.6), (x - 0.2, 1.0)])]


def _zigzag(rng: Rng) -> list[Points]:
    """Back and forth over the whole square, level, upright or slanted."""
    turns = int(rng.integers(6, 16))
    along = np.linspace(0, 1, turns)
    points = np.stack([(np.arange(turns) % 2) * 1.0, along], axis=1) + rng.normal(0, 0.07, (turns, 2))
    angle = rng.uniform(0, np.pi)
    turned = (points - 0.5) @ np.array(
        [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    ) + 0.5
    return [_curve([(float(x), float(y)) for x, y in turned], per_piece=3) if rng.random() < 0.5 else turned]


def _coil(rng: Rng) -> list[Points]:
    """Loops on loops."""
    a = np.linspace(0, 2 * np.pi * rng.uniform(2.5, 5), 60)
    # Shrinking, or it were a 0 drawn twice.
    r = 0.5 * (1 - rng.uniform(0.45, 0.9) * np.linspace(0, 1, a.size)) + rng.normal(0, 0.03, a.size)
    drift = rng.uniform(-0.3, 0.3) * np.linspace(-1, 1, a.size)
    return [np.stack([0.5 + r * np.cos(a) + drift, 0.5 + r * np.sin(a)], axis=1)]


def _bars(rng: Rng) -> list[Points]:
    """Two to four strikes side by side."""
    n = int(rng.integers(2, 5))
    angle = rng.choice([0.0, rng.uniform(-0.9, 0.9)])
    step = rng.uniform(0.1, 0.25)
    direction, normal = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    middles = [0.5 + (k - (n - 1) / 2) * step * normal for k in range(n)]
    return [
        np.stack([m - 0.6 * direction, m + 0.6 * direction]) + rng.normal(0, 0.04, (2, 2)) for m in middles
    ]


def _cross(rng: Rng) -> list[Points]:
    return [_line((0, 0), (1, 1)), _line((1, rng.uniform(-0.1, 0.1)), (0, 1))]


def _dash(rng: Rng) -> list[Points]:
    # Within 25 degrees of level: steeper is a leaning 1.
    rise = rng.uniform(-0.2, 0.2)
    return [_curve([(0, 0.5 + rise), (0.5, 0.5 + rng.uniform(-0.06, 0.06)), (1, 0.5 - rise)])]


def _tick(rng: Rng) -> list[Points]:
    low = rng.uniform(0.25, 0.4)
    return [_line((0, rng.uniform(0.5, 0.75)), (low, 1), (1, rng.uniform(-0.05, 0.15)))]


def _plus(rng: Rng) -> list[Points]:
    return [_line((0.5, 0), (0.5, 1)), _line((0, 0.5), (1, rng.uniform(0.42, 0.58)))]


def _hash(rng: Rng) -> list[Points]:
    return [
        _line((0.35, 0), (0.28, 1)),
        _line((0.75, 0), (0.68, 1)),
        _line((0, 0.33), (1, 0.3)),
        _line((0, 0.7), (1, 0.66)),
    ]


def _question(rng: Rng) -> list[Points]:
    dot = _line((0.48, 0.97), (0.52, 1.0))
    return [_curve([(0.15, 0.2), (0.5, 0), (0.85, 0.22), (0.52, 0.5), (0.5, 0.76)]), dot]


def _equals(rng: Rng) -> list[Points]:
    return [_line((0, 0.3), (1, 0.3)), _line((0, 0.65), (1, 0.65))]


# Letters no one can take for a digit: not B, D, G, I, L (l), O, Q, S, U, Y, Z, b, g, q, which writers do
# confuse.
_LETTERS: dict[str, list[list[tuple[float, float]]]] = {
    "A": [[(0, 1), (0.5, 0), (1, 1)], [(0.2, 0.62), (0.8, 0.62)]],
    "E": [[(0.9, 0), (0.1, 0), (0.1, 1), (0.9, 1)], [(0.1, 0.5), (0.75, 0.5)]],
    "F": [[(0.9, 0), (0.1, 0), (0.1, 1)], [(0.1, 0.48), (0.75, 0.48)]],
    "H": [[(0.05, 0), (0.05, 1)], [(0.95, 0), (0.95, 1)], [(0.05, 0.5), (0.95, 0.5)]],
    "K": [[(0.1, 0), (0.1, 1)], [(0.9, 0), (0.1, 0.55), (0.95, 1)]],
    "M": [[(0, 1), (0.1, 0), (0.5, 0.65), (0.9, 0), (1, 1)]],
    "N": [[(0.05, 1), (0.05, 0), (0.95, 1), (0.95, 0)]],
    "P": [[(0.1, 1), (0.1, 0), (0.6, 0), (0.85, 0.13), (0.85, 0.38), (0.6, 0.5), (0.1, 0.52)]],
    "R": [[(0.1, 1), (0.1, 0), (0.6, 0), (0.85, 0.25), (0.6, 0.5), (0.1, 0.5), (0.9, 1)]],
    "T": [[(0, 0), (1, 0)], [(0.5, 0), (0.5, 1)]],
    "V": [[(0, 0), (0.5, 1), (1, 0)]],
    "W": [[(0, 0), (0.25, 1), (0.5, 0.3), (0.75, 1), (1, 0)]],
    "h": [[(0.1, 0), (0.1, 1)], [(0.1, 0.6), (0.5, 0.42), (0.8, 0.6), (0.85, 1)]],
    "n": [[(0.1, 0.3), (0.1, 1)], [(0.1, 0.55), (0.5, 0.32), (0.85, 0.5), (0.9, 1)]],
    "k": [[(0.1, 0), (0.1, 1)], [(0.8, 0.4), (0.1, 0.7), (0.85, 1)]],
    "e": [[(0.1, 0.6), (0.85, 0.55), (0.75, 0.2), (0.35, 0.15), (0.08, 0.6), (0.4, 1), (0.9, 0.85)]],
}


def _letter(rng: Rng) -> list[Points]:
    strokes = _LETTERS[str(rng.choice(list(_LETTERS)))]
    return [_curve(s) if len(s) > 4 and rng.random() < 0.4 else _line(*s) for s in strokes]


Draw = Callable[[Rng], list[Points]]
DIGITS: tuple[Draw, ...] = (_zero, _one, _two, _three, _four, _five, _six, _seven, _eight, _nine)
SYMBOLS: tuple[Draw, ...] = (_dash, _dash, _tick, _plus, _hash, _question, _equals, _letter, _letter, _letter)
SCRIBBLES: tuple[Draw, ...] = (_zigzag, _zigzag, _coil, _bars, _cross)

# How far a hand strays from the drawing, in parts of its height.
_STRAY = 0.045


def _segments(strokes: list[Points], rng: Rng, stray: float) -> NDArray[np.float32]:
    """The strokes as SEGMENTS straight pieces; pieces between two strokes are left out."""
    pieces = []
    for stroke in strokes:
        sway = rng.normal(0, stray, (4, 2))  # one slow sway per stroke, not a tremor per point
        t = np.linspace(0, 3, len(stroke))
        bent = stroke + np.stack([np.interp(t, np.arange(4), sway[:, k]) for k in (0, 1)], axis=1)
        pieces.append(np.concatenate([bent[:-1], bent[1:]], axis=1))
    flat = np.concatenate(pieces)[:SEGMENTS]
    room = SEGMENTS - len(flat)
    return np.concatenate([flat, np.repeat(flat[-1:], room, axis=0)]).astype(np.float32)


def draw(digits: int, symbols: int, scribbles: int, seed: int) -> Drawings:
    """So many drawings of each kind; digits in turn 0, 1, 2 ..., the same for the same seed."""
    rng = np.random.default_rng(seed)
    segments, answers, kinds = [], [], []
    for n in range(digits):
        segments.append(_segments(DIGITS[n % 10](rng), rng, _STRAY))
        answers.append(n % 10)
        kinds.append(0)
    for count, drawers, kind in ((symbols, SYMBOLS, SYMBOL), (scribbles, SCRIBBLES, SCRIBBLE)):
        for n in range(count):
            segments.append(_segments(drawers[n % len(drawers)](rng), rng, _STRAY))
            answers.append(SCRAP)
            kinds.append(kind)
    return Drawings(np.stack(segments), np.array(answers, np.int64), np.array(kinds, np.int64))
