"""Words in small handwritten letters, drawn for this simulator: no font lies behind them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.simulator.marks import BoxMm, path
from tests.simulator.pens import Stroke

Rng = np.random.Generator
Points = NDArray[np.float64]

#: One letter a line: advance, then strokes as control points x,y; baseline y = 0, x-height 1, up is negative.
_TABLE = """
a 0.95 | 0.8,-0.8 0.3,-1.05 0,-0.4 0.3,0.05 0.75,-0.5 0.8,-0.9 0.78,-0.1 0.98,0
b 0.9 | 0.1,-1.9 0.08,0 | 0.1,-0.6 0.5,-1.1 0.85,-0.5 0.5,0.08 0.08,-0.1
c 0.8 | 0.75,-0.8 0.4,-1.1 0,-0.5 0.3,0.08 0.8,-0.15
d 0.95 | 0.75,-0.8 0.3,-1.05 0,-0.4 0.3,0.05 0.75,-0.5 | 0.82,-1.9 0.8,0
e 0.8 | 0.05,-0.5 0.8,-0.6 0.5,-1.15 0,-0.6 0.25,0.1 0.8,-0.12
f 0.6 | 0.65,-1.75 0.3,-1.95 0.25,-1 0.22,0.05 | 0,-1 0.55,-1.02
g 0.9 | 0.75,-0.8 0.3,-1.05 0,-0.4 0.4,0 0.78,-0.8 0.75,0.5 0.3,0.85 0,0.6
h 0.95 | 0.1,-1.9 0.08,0 | 0.1,-0.5 0.5,-1.15 0.8,-0.7 0.8,0 0.95,-0.02
i 0.4 | 0.15,-1 0.15,-0.05 0.4,0 | 0.17,-1.5 0.2,-1.48
j 0.4 | 0.25,-1 0.22,0.6 -0.15,0.8 | 0.25,-1.5 0.28,-1.48
k 0.85 | 0.1,-1.9 0.08,0 | 0.7,-1 0.12,-0.45 0.8,0
l 0.4 | 0.12,-1.9 0.1,-0.1 0.4,0
m 1.4 | 0.05,-1 0.06,0 | 0.06,-0.6 0.4,-1.15 0.62,-0.6 0.62,0 | 0.62,-0.6 0.95,-1.15 1.2,-0.6 1.2,0 1.4,-0.02
n 0.95 | 0.05,-1 0.06,0 | 0.06,-0.6 0.45,-1.15 0.75,-0.6 0.76,0 0.95,-0.02
o 0.85 | 0.45,-1.02 0,-0.85 0.05,0.05 0.6,0.08 0.85,-0.5 0.5,-1.05
p 0.9 | 0.06,-1 0.05,0.85 | 0.08,-0.6 0.5,-1.1 0.85,-0.5 0.5,0.08 0.08,-0.1
q 0.9 | 0.75,-0.8 0.3,-1.05 0,-0.4 0.4,0 0.78,-0.8 | 0.8,-1 0.78,0.85
r 0.65 | 0.06,-1 0.06,0 | 0.06,-0.5 0.3,-1 0.65,-0.95
s 0.7 | 0.65,-0.9 0.2,-1.1 0.05,-0.7 0.65,-0.35 0.4,0.1 0,-0.05
t 0.6 | 0.25,-1.6 0.22,-0.1 0.6,0 | 0,-1.05 0.55,-1.08
u 0.95 | 0.05,-1 0.05,-0.1 0.4,0.12 0.75,-0.4 0.76,-1 0.76,0 0.95,-0.02
v 0.8 | 0,-1 0.38,0 0.78,-1
w 1.2 | 0,-1 0.3,0 0.58,-0.8 0.85,0 1.15,-1
x 0.8 | 0,-1 0.75,0 | 0.72,-1 0,0.02
y 0.85 | 0.05,-1 0.4,-0.1 | 0.8,-1 0.3,0.6 0,0.8
z 0.8 | 0.05,-0.98 0.72,-1 0,0 0.78,-0.02
"""


def _letters() -> dict[str, tuple[float, list[Points]]]:
    letters = {}
    for line in _TABLE.strip().splitlines():
        head, *strokes = line.split(" | ")
        name, advance = head.split()
        shapes = [np.array([[float(v) for v in p.split(",")] for p in s.split()]) for s in strokes]
        letters[name] = (float(advance), shapes)
    return letters


_LETTERS = _letters()


def curve(*points: Points | tuple[float, float]) -> Points:
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


def lettering(
    text: str,
    box: BoxMm,
    rng: Rng,
    *,
    size: float,
    slant: float,
    pressure: float,
    shake_mm: float,
) -> list[Stroke]:
    """A few words on a strip: small letters, uneven, on a wandering line.

    Parameters
    ----------
    size : of the writer's hand, about 0.7; slant : x per y, to the right
    """
    x, y, w, h = box
    unit = h * float(rng.uniform(0.24, 0.32)) * (0.8 + 0.3 * size)  # x-height in mm
    squeeze = min(1.0, w * 0.96 / max(_text_width(text) * unit, 0.1))
    lean = np.array([[1.0, -slant], [0.0, 1.0]])
    at, base = x + 0.02 * w + float(rng.uniform(0, 0.6)), y + h * 0.68
    slope = float(rng.normal(0, 0.012))
    pace = rng.normal(1.0, 0.06, len(text) + 1)
    strokes: list[Stroke] = []
    start = at
    for letter, wide in zip(text.lower(), pace, strict=False):
        if letter not in _LETTERS:
            at += unit * squeeze * 0.6
            continue
        advance, shapes = _LETTERS[letter]
        scale = unit * float(rng.normal(1.0, 0.06))
        lift = float(rng.normal(0, 0.06)) * unit + slope * (at - start)
        for shape in shapes:
            points = shape + rng.normal(0, 0.035, shape.shape)
            points = curve(*points) @ lean.T * scale * np.array([squeeze * wide, 1.0])
            placed = points + np.array([at, base + lift])
            strokes.append(path(placed, rng, pressure * 0.95, shake_mm * 0.6))
        at += (advance + 0.22) * unit * squeeze * wide
    return strokes


def _text_width(text: str) -> float:
    return sum(_LETTERS[c][0] + 0.22 if c in _LETTERS else 0.6 for c in text.lower())
