"""Digits and non-digits drawn as pen strokes: the shapes MNIST has too few of, or none.

MNIST was written in the United States; its 1 is mostly a bare bar, its 7 uncrossed, its 0 never slashed.
Score cards also hold what is no digit at all: scribbles, ticks, crosses, letters. Each shape is a list of
strokes in a unit square (x right, y down), bent at random, and comes back as straight segments of equal count
so that a batch of them is one array.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]  # (P, 2), x and y in the unit square
Rng = np.random.Generator

SEGMENTS = 80  # enough for a dense scribble; shorter drawings repeat their last point

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
    """A ring, closed, open or run over; slashed either way, barred or dotted as some write it."""
    start = rng.uniform(-170, 20)
    # A gap of up to 50 degrees, or an overlap of up to 70 that runs inside or outside of the start.
    sweep = 360 + rng.choice([0.0, rng.uniform(-50, 0), rng.uniform(0, 70)])
    half_width = rng.uniform(0.22, 0.5)
    ring = _arc((0.5, 0.5), (half_width, 0.5), start, start + rng.choice([-1, 1]) * sweep)
    drift = 1 + rng.normal(0, 0.07) * np.linspace(0, 1, len(ring))[:, None]
    ring = 0.5 + (ring - 0.5) * drift
    if rng.random() < 0.12:  # ends in a little loop or hook at the top
        ring = np.concatenate([ring, ring[-1] + _line((0.1, 0.1), (0.22, rng.uniform(-0.12, 0.1)))])
    kind = rng.random()
    if kind < 0.5:
        angle = np.radians(rng.uniform(28, 82)) * (1 if rng.random() < 0.88 else -1)
        reach = rng.uniform(0.2, 0.72)
        step = np.array([np.cos(angle), -np.sin(angle)]) * reach
        middle = np.array([0.5, 0.5]) + rng.normal(0, 0.05, 2)
        return [ring, np.stack([middle + step, middle - step])]
    if kind < 0.54:
        return [ring, _line((0.5, 0.46), (0.52, 0.54))]
    return [ring]


def _one(rng: Rng) -> list[Points]:
    """A bar; with a flag from short to as long as itself, with a foot, a hook or a curl."""
    lean = rng.uniform(-0.08, 0.08)
    top, foot = (0.5 + lean, 0.0), (0.5 - lean, 1.0)
    strokes: list[Points] = []
    kind = rng.random()
    if kind < 0.24:
        bow = rng.normal(0, 0.03)
        strokes.append(_curve([top, (0.5 + bow, 0.5), foot]))
    elif kind < 0.5:  # a short flag
        reach = rng.uniform(0.08, 0.3)
        strokes.append(_line((top[0] - reach, reach * rng.uniform(0.6, 1.6) + 0.03), top, foot))
    elif kind < 0.84:  # a long one, 25 to 70 degrees down: level, it were a 7
        drop = rng.uniform(0.2, 0.95)
        reach = min(drop / np.tan(np.radians(rng.uniform(30, 72))), 0.62)
        drop = max(drop, reach * 0.5)
        flag = (top[0] - reach, drop)
        if rng.random() < 0.45:  # bent, as an upstroke is
            mid = (top[0] - reach * rng.uniform(0.3, 0.6), drop * rng.uniform(0.35, 0.65))
            strokes.append(np.concatenate([_curve([flag, mid, top]), _line(foot)]))
        else:
            strokes.append(_line(flag, top, foot))
        if rng.random() < 0.2:  # two strokes that do not quite meet
            gap = rng.normal(0, 0.05, 2)
            strokes = [_line(flag, (top[0] + gap[0], top[1] + abs(gap[1]))), _line(top, foot)]
    else:  # a hook at the top that falls steeply
        reach = rng.uniform(0.1, 0.22)
        hook = [(top[0] - reach, rng.uniform(0.14, 0.3)), (top[0] - 0.3 * reach, 0.06), top]
        strokes.append(np.concatenate([_curve(hook), _line(foot)]))
    ends = rng.random()
    if ends < 0.36:
        left, right = rng.uniform(0.1, 0.42), rng.uniform(0.1, 0.42)
        y = 1.0 + rng.uniform(-0.05, 0.06)
        base = _line((foot[0] - left, y + rng.normal(0, 0.03)), (foot[0] + right, y + rng.normal(0, 0.03)))
        strokes.append(base)
    elif ends < 0.44:  # runs out into a curl
        out = rng.choice([-1, 1]) * rng.uniform(0.06, 0.2)
        strokes[-1] = np.concatenate([strokes[-1], _line((foot[0] + out, foot[1] - rng.uniform(0, 0.06)))])
    return strokes


def _two(rng: Rng) -> list[Points]:
    rise, far = rng.uniform(0.16, 0.34), rng.uniform(0.7, 0.92)
    top = [(rng.uniform(0.02, 0.16), rise), (0.3, 0.03), (0.62, 0.0), (far, 0.25), (0.58, 0.6)]
    if rng.random() < 0.12:  # hooked start
        top.insert(0, (0.2, rise + 0.08))
    kind = rng.random()
    end_y = rng.uniform(0.88, 1.04)
    if kind < 0.36:  # looped foot
        loop = [(0.18, 0.97), (0.03, 0.93), (0.12, rng.uniform(0.74, 0.86)), (0.55, 0.97), (0.98, end_y)]
        return [_curve([*top, *loop])]
    if kind < 0.7:
        return [np.concatenate([_curve([*top, (rng.uniform(0.02, 0.14), 1.0)]), _line((0.95, end_y))])]
    if kind < 0.8:  # angular
        return [_line((0.08, rng.uniform(0.02, 0.2)), (0.4, 0.0), (0.82, 0.06), (0.06, 1.0), (0.95, end_y))]
    return [_curve([*top, (0.12, 0.98), (0.5, 0.98), (0.92, end_y)])]


def _three(rng: Rng) -> list[Points]:
    kind = rng.random()
    if kind < 0.36:  # flat top
        belly = _curve([(0.4, 0.4), (0.8, 0.52), (0.85, 0.8), (0.5, 1.0), (0.1, 0.88)])
        top_y = rng.uniform(-0.04, 0.08)
        return [np.concatenate([_line((0.12, top_y), (0.85, 0.0)), belly])]
    waist, waist_y = rng.uniform(0.25, 0.55), rng.uniform(0.38, 0.52)
    upper = [(0.12, 0.14), (0.45, 0.0), (0.82, 0.2), (waist, waist_y)]
    lower = [(waist, waist_y), (0.88, 0.7), (0.5, 1.0), (0.08, rng.uniform(0.76, 0.92))]
    if kind < 0.5:  # a little loop at the waist
        bend = [(waist - 0.1, waist_y + 0.04), (waist - 0.04, waist_y - 0.06)]
        return [_curve([*upper[:-1], *bend, *lower[1:]])]
    if kind < 0.75:
        return [_curve([*upper[:3], (waist + 0.06, waist_y), *lower[1:]])]
    return [np.concatenate([_curve(upper), _curve(lower)])]


def _four(rng: Rng) -> list[Points]:
    bar_y = rng.uniform(0.46, 0.74)
    end = rng.uniform(0.8, 1.08)
    kind = rng.random()
    x = rng.uniform(0.56, 0.82)
    slip = rng.uniform(-0.14, 0.05)
    if kind < 0.42:  # open, with two strokes
        left_top = rng.uniform(0.04, 0.4)
        corner = (rng.uniform(0.0, 0.16), bar_y + rng.normal(0, 0.02))
        if rng.random() < 0.3:  # rounded, like a u
            hook = _curve(
                [(left_top, 0.0), (corner[0], 0.35), (0.14, bar_y), (0.5, bar_y), (end, bar_y - 0.03)]
            )
        else:
            hook = _line((left_top, rng.uniform(-0.03, 0.1)), corner, (end, bar_y + rng.normal(0, 0.03)))
        return [hook, _line((x, rng.uniform(-0.02, bar_y - 0.05)), (x + slip, rng.uniform(0.85, 1.0)))]
    if kind < 0.53:  # open like a cup or a bare corner that hangs on its stem, which may start low
        left_top, top = rng.uniform(0.05, 0.4), rng.uniform(-0.02, 0.5 * bar_y)
        corner = (rng.uniform(0.0, 0.2), bar_y * rng.uniform(0.86, 1.0))
        cup = [
            (left_top, rng.uniform(0.0, 0.12)),
            corner,
            (0.4, bar_y + 0.02),
            (x, bar_y * rng.uniform(0.8, 0.95)),
        ]
        stem = _line((x + rng.uniform(-0.02, 0.08), top), (x + slip, 1.0))
        return [_curve(cup) if rng.random() < 0.6 else _line(*cup), stem]
    if kind < 0.64:  # open, in one go: down, across, up and down again
        left_top = rng.uniform(0.05, 0.35)
        up = (x, rng.uniform(0.0, 0.3))
        return [_line((left_top, 0.0), (0.05, bar_y), (x - 0.02, bar_y - 0.03), up, (x + slip, 1.0))]
    if kind < 0.8:  # closed
        return [
            _line((x, 0.0), (0.02, bar_y), (end, bar_y)),
            _line((x, rng.uniform(0.0, 0.3)), (x + slip, 1.0)),
        ]
    if kind < 0.93:  # closed, the stem last and in one go
        return [_line((x + 0.06, bar_y + 0.02), (0.02, bar_y), (x, 0.0), (x + slip, 1.0))]
    corner = (0.02, bar_y)
    return [
        _curve([(x, 0.0), (0.3, 0.2), corner]),
        _line(corner, (end, bar_y)),
        _line((x, 0.0), (x + slip, 1.0)),
    ]


def _five(rng: Rng) -> list[Points]:
    belly_y = rng.uniform(0.34, 0.5)
    end = (rng.uniform(0.0, 0.2), rng.uniform(0.82, 0.98))
    body = _curve([(0.2, belly_y), (0.55, belly_y - 0.05), (0.88, 0.66), (0.55, 1.0), end])
    left = rng.uniform(0.14, 0.3)
    kind = rng.random()
    if kind < 0.42:  # the flag drawn last and not quite joined
        gap, sink = rng.uniform(-0.08, 0.14), rng.uniform(-0.08, 0.07)
        flag = _line((left + gap, sink), (rng.uniform(0.7, 1.05), sink + rng.normal(0, 0.05)))
        return [np.concatenate([_line((left, 0.02)), body]), flag]
    if kind < 0.52:  # like an S
        return [_curve([(0.85, 0.02), (0.3, 0.06), (0.18, 0.34), (0.6, 0.46), (0.85, 0.72), (0.5, 1.0), end])]
    if kind < 0.62:  # angular
        side = rng.uniform(0.75, 0.92)
        return [_line((0.85, 0.0), (left, 0.02), (left, 0.45), (side, 0.5), (side, 0.98), (0.1, 1.0))]
    rise = rng.normal(0, 0.05)
    return [np.concatenate([_line((rng.uniform(0.7, 1.0), rise), (left, 0.02)), body])]


def _six(rng: Rng) -> list[Points]:
    top = (rng.uniform(0.3, 0.85), 0.0)
    loop_y = rng.uniform(0.4, 0.64)
    back = rng.uniform(0.02, 0.2)
    shut = (rng.uniform(0.06, 0.34), rng.uniform(0.62, 0.86))
    way = [top, (rng.uniform(0.12, 0.34), 0.32), (back, 0.7), (0.42, 1.0), (0.86, 0.78), (0.55, loop_y), shut]
    if rng.random() < 0.2:
        way.insert(0, (top[0] + 0.14, rng.uniform(0.04, 0.12)))  # a hook at the start
    if rng.random() < 0.15:
        way.append((0.3, 0.95))  # runs on inside
    return [_curve(way)]


def _seven(rng: Rng) -> list[Points]:
    foot = (rng.uniform(0.12, 0.62), 1.0)
    corner = (rng.uniform(0.78, 0.98), rng.uniform(-0.04, 0.07))
    start = [(rng.uniform(0.0, 0.14), rng.uniform(-0.02, 0.1))]
    if rng.random() < 0.3:
        start.insert(0, (start[0][0] + rng.uniform(-0.04, 0.06), rng.uniform(0.14, 0.28)))  # little serif
    elif rng.random() < 0.2:
        start.append((0.4, rng.uniform(0.04, 0.12)))  # a wave
    leg = (
        _curve([corner, (rng.uniform(0.5, 0.66), 0.45), foot]) if rng.random() < 0.5 else _line(corner, foot)
    )
    strokes = [np.concatenate([_line(*start), leg])]
    if rng.random() < 0.6:
        y, half = rng.uniform(0.34, 0.66), rng.uniform(0.14, 0.42)
        middle = corner[0] + (foot[0] - corner[0]) * y + rng.normal(0, 0.06)
        tilt = rng.uniform(-0.1, 0.12)
        strokes.append(_line((middle - half, y + tilt), (middle + half, y - tilt)))
    return strokes


def _eight(rng: Rng) -> list[Points]:
    kind = rng.random()
    if kind < 0.4:  # two rings, meeting, apart or run into one another, closed or not
        upper = rng.uniform(0.17, 0.28)
        lower = 0.5 - upper + rng.uniform(-0.05, 0.05)
        rings = []
        for y, ry, rx, from_deg in (
            (upper, upper, rng.uniform(0.16, 0.34), rng.uniform(-120, 120)),
            (1 - lower, lower, rng.uniform(0.22, 0.42), rng.uniform(-150, 60)),
        ):
            middle = (0.5 + rng.normal(0, 0.04), y)
            rings.append(_arc(middle, (rx, ry), from_deg, from_deg + 360 + rng.choice([0, -25, 20, 45])))
        return rings
    end = rng.uniform(-0.12, 0.14)
    near, waist = rng.uniform(0.14, 0.28), rng.uniform(0.42, 0.54)
    way = [
        (0.8, rng.uniform(0.06, 0.2)),
        (0.45, 0.0),
        (near, 0.2),
        (0.52, waist),
        (0.84, 0.76),
        (0.5, 1.0),
        (0.14, 0.78),
        (0.5, waist),
        (0.8, 0.12 + end),
    ]
    if kind < 0.55:  # left open at the top
        way[-1] = (rng.uniform(0.66, 0.9), rng.uniform(-0.06, 0.1))
        way[0] = (rng.uniform(0.5, 0.66), rng.uniform(0.0, 0.1))
    if kind > 0.85:  # the other way round
        way = [(1 - x, y) for x, y in way]
    return [_curve(way)]


def _nine(rng: Rng) -> list[Points]:
    x, ry = rng.uniform(0.66, 0.92), rng.uniform(0.17, 0.31)
    rx = rng.uniform(0.22, 0.4)
    start = rng.uniform(-70, -5)
    loop = _arc((x - rx, ry), (rx, ry), start, start - rng.uniform(290, 370))
    kind = rng.random()
    if kind < 0.3:  # straight tail, as a separate or joined stroke
        tail = _line((x, rng.uniform(0.0, 0.25)), (x + rng.uniform(-0.22, 0.08), 1.0))
        return [np.concatenate([loop, tail])] if rng.random() < 0.4 else [loop, tail]
    if kind < 0.62:  # like a g: the tail swings far left, at times up again
        far = x - rng.uniform(0.4, 0.75)
        ends = [(far, rng.uniform(0.78, 0.98))]
        if rng.random() < 0.2:
            ends.append((far + 0.1, 0.72))
        return [loop, _curve([(x, ry * 0.8), (x - 0.02, 0.7), (x - rng.uniform(0.2, 0.34), 1.0), *ends])]
    if kind < 0.72:  # a tail that loops
        return [loop, _curve([(x, ry * 0.8), (x, 0.7), (x - 0.2, 1.0), (x - 0.45, 0.86), (x - 0.1, 0.66)])]
    return [loop, _curve([(x, ry * 0.8), (x - 0.05, 0.6), (x - rng.uniform(0.1, 0.4), 1.0)])]


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

# How far a hand strays from the drawing, in parts of its height; and each stroke from the others.
_STRAY = 0.04
_APART = 0.025
_STRAY_OF = {1: 0.03, 7: 0.02}  # more, and one were the other to the eye
#: Of drawings with several strokes, those whose pen was not lifted between two of them.
_UNLIFTED = 0.05
_MAY_STAY_DOWN = (1, 4, 7)


def _segments(strokes: list[Points], rng: Rng, stray: float, apart: float = 0.0) -> NDArray[np.float32]:
    """The strokes as SEGMENTS straight pieces; pieces between two strokes are left out."""
    pieces = []
    for stroke in strokes:
        sway = rng.normal(0, stray, (4, 2))  # one slow sway per stroke, not a tremor per point
        t = np.linspace(0, 3, len(stroke))
        bent = stroke + np.stack([np.interp(t, np.arange(4), sway[:, k]) for k in (0, 1)], axis=1)
        if apart and len(strokes) > 1:
            middle = bent.mean(axis=0)
            bent = middle + (bent - middle) * rng.normal(1, 2 * apart) + rng.normal(0, apart, 2)
        pieces.append(np.concatenate([bent[:-1], bent[1:]], axis=1))
    flat = np.concatenate(pieces)[:SEGMENTS]
    room = SEGMENTS - len(flat)
    return np.concatenate([flat, np.repeat(flat[-1:], room, axis=0)]).astype(np.float32)


def draw(digits: int, symbols: int, scribbles: int, seed: int) -> Drawings:
    """So many drawings of each kind; digits in turn 0, 1, 2 ..., the same for the same seed."""
    rng = np.random.default_rng(seed)
    segments, answers, kinds = [], [], []
    for n in range(digits):
        strokes = DIGITS[n % 10](rng)
        if len(strokes) > 1 and n % 10 in _MAY_STAY_DOWN and rng.random() < _UNLIFTED:
            strokes = [np.concatenate(strokes)]
        segments.append(_segments(strokes, rng, _STRAY_OF.get(n % 10, _STRAY), _APART))
        answers.append(n % 10)
        kinds.append(0)
    for count, drawers, kind in ((symbols, SYMBOLS, SYMBOL), (scribbles, SCRIBBLES, SCRIBBLE)):
        for n in range(count):
            segments.append(_segments(drawers[n % len(drawers)](rng), rng, _STRAY))
            answers.append(SCRAP)
            kinds.append(kind)
    return Drawings(np.stack(segments), np.array(answers, np.int64), np.array(kinds, np.int64))


def redraw(ways: Sequence[Sequence[Points]], answers: Sequence[int], copies: int, seed: int) -> Drawings:
    """Real pen paths, each `copies` times as the same hand might write it again.

    Parameters
    ----------
    ways : of each digit its strokes, (P, 2) points in any unit, x right and y down
    """
    rng = np.random.default_rng(seed)
    segments, told = [], []
    for strokes, answer in zip(ways, answers, strict=True):
        points = np.concatenate(strokes)
        size = max(float(np.ptp(points, axis=0).max()), 1e-6)
        low = points.min(axis=0)
        parts = SEGMENTS // max(len(strokes), 1)
        unit = [_evenly((np.asarray(s) - low) / size, max(parts - 1, 1)) for s in strokes]
        for _ in range(copies):
            segments.append(_segments(unit, rng, _STRAY_AGAIN, _APART_AGAIN))
            told.append(answer)
    return Drawings(np.stack(segments), np.array(told, np.int64), np.zeros(len(told), np.int64))


#: A hand strays less from what it wrote itself.
_STRAY_AGAIN, _APART_AGAIN = 0.025, 0.018


def _evenly(stroke: Points, most: int) -> Points:
    """A stroke by at most `most` straight pieces of equal length, finer ones smoothed through."""
    if len(stroke) == 1:
        return np.concatenate([stroke, stroke + 0.01])
    steps = np.hypot(*np.diff(stroke, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if along[-1] <= 0:
        return np.concatenate([stroke[:1], stroke[:1] + 0.01])
    count = int(np.clip(round(along[-1] / 0.05), 1, most))
    at = np.linspace(0, along[-1], count + 1)
    return np.stack([np.interp(at, along, stroke[:, k]) for k in (0, 1)], axis=1)
