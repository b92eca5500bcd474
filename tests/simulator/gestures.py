"""Movements of a hand over a bubble, wider than habit: to fill, to take back, to hesitate; and pens, rubbers.

Written from how graphite, ink and rubbers behave, and apart from `marks` and `pens`: a reader trained on one
of the two is tried on the other. A gesture returns paths in units of the bubble's radius about its middle.
Ink is optical density on a patch of paper; nothing here knows what a reader looks for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Points = NDArray[np.float64]
Floats = NDArray[np.float32]
Gesture = Callable[[Rng], list[Points]]


def _spin(points: Points, angle: float) -> Points:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def _smooth(points: Points, every: float = 0.06) -> Points:
    """Points along a path at even steps, in radii."""
    if len(points) < 2:
        return points
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T) + 1e-9)])
    at = np.linspace(0, along[-1], max(int(along[-1] / every), 2))
    return np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)])


def _to_and_fro(rng: Rng, reach: float, pitch: float, angle: float, raw: float = 0.08) -> Points:
    rows = np.arange(-reach, reach + 1e-6, pitch)
    points = []
    for i, t in enumerate(rows):
        half = np.sqrt(max(reach**2 - t**2, (0.15 * reach) ** 2)) * rng.uniform(0.85, 1.08)
        ends = [(-half, t), (half, t + pitch / 2)]
        points += ends if i % 2 else ends[::-1]
    return _spin(np.array(points) + rng.normal(0, raw, (len(points), 2)), angle)


def _line(rng: Rng, length: float, angle: float, off: float = 0.12, bow: float = 0.06) -> Points:
    middle = rng.normal(0, off, 2)
    ends = np.array([[-length, 0.0], [0.0, rng.normal(0, bow) * length], [length, 0.0]])
    return _smooth(_spin(ends, angle) + middle)


def _round(rng: Rng, turns: float, inner: float, outer: float, wobble: float = 0.05) -> Points:
    t = np.linspace(0, 2 * np.pi * turns, max(int(24 * turns), 8))
    r = np.linspace(inner, outer, len(t)) + rng.normal(0, wobble, len(t))
    start, squash = rng.uniform(0, 6.28), rng.uniform(0.88, 1.12)
    way = float(rng.choice([-1, 1]))
    return np.column_stack([r * np.cos(way * t + start) * squash, r * np.sin(way * t + start) / squash])


def full(rng: Rng) -> list[Points]:
    """Filled with care, no white left."""
    reach = rng.uniform(0.78, 0.98)
    angle = rng.uniform(0, np.pi)
    paths = [_to_and_fro(rng, reach, rng.uniform(0.1, 0.2), angle, 0.04)]
    if rng.random() < 0.6:
        paths.append(_to_and_fro(rng, reach, rng.uniform(0.14, 0.3), angle + rng.uniform(0.5, 2.5), 0.05))
    if rng.random() < 0.5:
        paths.append(_round(rng, rng.uniform(1, 2), reach * 0.95, reach, 0.03))
    return paths


def spiral(rng: Rng) -> list[Points]:
    """Round and round, outwards."""
    return [_round(rng, rng.uniform(2.2, 6.0), rng.uniform(0.02, 0.2), rng.uniform(0.7, 1.05), 0.05)]


def zigzag(rng: Rng) -> list[Points]:
    """A few passes with white between them."""
    angle = rng.uniform(0, np.pi)
    return [_to_and_fro(rng, rng.uniform(0.7, 1.1), rng.uniform(0.28, 0.62), angle)]


def hatch(rng: Rng) -> list[Points]:
    """Separate lines side by side."""
    angle, reach = rng.uniform(0, np.pi), rng.uniform(0.7, 1.05)
    rows = np.arange(-reach * 0.85, reach * 0.85, rng.uniform(0.22, 0.5))
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    lines = [_line(rng, np.sqrt(max(reach**2 - t**2, 0.1)), angle, 0.02) + across * t for t in rows]
    return lines if len(lines) >= 3 else full(rng)


def cross(rng: Rng) -> list[Points]:
    """An x of about the bubble's size."""
    lean, reach = rng.normal(0, 0.18), rng.uniform(0.62, 1.15)
    paths = [_line(rng, reach * rng.uniform(0.85, 1.15), s * rng.normal(0.8, 0.12) + lean) for s in (1, -1)]
    return paths + ([_line(rng, reach, 0.8 + lean)] if rng.random() < 0.15 else [])


def wide_cross(rng: Rng) -> list[Points]:
    """An x from corner to corner of the square about the bubble, as boxes are ticked; gone over by some."""
    lean, reach = rng.normal(0, 0.12), rng.uniform(1.1, 1.8)
    paths = [_line(rng, reach * rng.uniform(0.88, 1.12), s * rng.normal(0.78, 0.1) + lean) for s in (1, -1)]
    return paths + [p + rng.normal(0, 0.08, 2) for p in paths if rng.random() < 0.2]


def coil(rng: Rng) -> list[Points]:
    """Round and round from the rim inwards, the turns apart or close; some leave the middle white."""
    turns, rim, end = rng.uniform(1.8, 5.0), rng.uniform(0.7, 1.05), rng.uniform(0.05, 0.4)
    return [_round(rng, turns, rim, end * rim, rng.uniform(0.01, 0.06))]


def tick(rng: Rng) -> list[Points]:
    """A tick: short down, long up, mostly beyond the edge."""
    reach = rng.uniform(0.75, 1.55)
    points = np.array([[-0.8, -0.15], [-0.25, 0.65], [1.05, -1.1]]) + rng.normal(0, 0.13, (3, 2))
    if rng.random() < 0.1:
        points[:, 0] *= -1
    return [_smooth(points * reach + rng.normal(0, 0.12, 2))]


def dash(rng: Rng) -> list[Points]:
    """A bar gone over two or three times."""
    angle = rng.normal(0.1, 0.35)
    return [_line(rng, rng.uniform(0.7, 1.15), angle, 0.1) for _ in range(int(rng.integers(2, 5)))]


def most(rng: Rng) -> list[Points]:
    """Filled but for a side."""
    away, reach = rng.uniform(0, 6.28), rng.uniform(0.62, 0.8)
    shift = np.array([np.cos(away), np.sin(away)]) * (0.95 - reach)
    turn = rng.uniform(0, np.pi)
    return [
        p + shift for p in (_to_and_fro(rng, reach, 0.15, turn, 0.04), _round(rng, 2, reach * 0.6, reach))
    ]


def over(rng: Rng) -> list[Points]:
    """Filled well beyond the edge."""
    reach, angle = rng.uniform(1.05, 1.55), rng.uniform(0, np.pi)
    paths = [_to_and_fro(rng, reach, rng.uniform(0.14, 0.32), angle, 0.09)]
    if rng.random() < 0.6:
        paths.append(
            _to_and_fro(rng, reach * rng.uniform(0.7, 1.0), 0.25, angle + rng.uniform(0.4, 2.7), 0.09)
        )
    if rng.random() < 0.4:
        paths.append(_round(rng, rng.uniform(1, 3), reach * 0.6, reach))
    return paths


def sweep(rng: Rng) -> list[Points]:
    """Filled by a few strokes that run over the edge on both sides."""
    reach, angle = rng.uniform(1.05, 1.6), rng.uniform(0, np.pi)
    return [_to_and_fro(rng, reach, rng.uniform(0.25, 0.6), angle, 0.12) for _ in range(rng.integers(1, 3))]


def aside(rng: Rng) -> list[Points]:
    """Filled, but off the middle by up to half a radius."""
    away = rng.uniform(0, 6.28)
    shift = np.array([np.cos(away), np.sin(away)]) * rng.uniform(0.2, 0.5)
    return [p * rng.uniform(0.75, 1.0) + shift for p in full(rng)]


def dab(rng: Rng) -> list[Points]:
    """A small solid spot in the middle: a third to two thirds of the width."""
    reach = rng.uniform(0.42, 0.68)
    return [p * reach / 0.9 + rng.normal(0, 0.07, 2) for p in full(rng)]


def plus(rng: Rng) -> list[Points]:
    """An upright cross."""
    return [_spin(p, np.pi / 4) for p in cross(rng)]


def loops(rng: Rng) -> list[Points]:
    """Curls side by side, as one writes eeee."""
    t = np.linspace(0, 2 * np.pi * rng.uniform(3, 5), 90)
    x = np.linspace(-0.75, 0.75, 90) + 0.3 * np.cos(t)
    return [_spin(np.column_stack([x, rng.uniform(0.55, 0.9) * np.sin(t)]), rng.normal(0, 0.5))]


def star(rng: Rng) -> list[Points]:
    """Lines through the middle, three or four."""
    first, count = rng.uniform(0, np.pi), int(rng.integers(3, 5))
    return [_line(rng, rng.uniform(0.7, 1.0), first + np.pi * k / count) for k in range(count)]


def dot(rng: Rng) -> list[Points]:
    """The pen rested."""
    at = rng.normal(0, 0.35, 2)
    return [at + rng.normal(0, 0.05, (int(rng.integers(1, 5)), 2))]


def slash(rng: Rng) -> list[Points]:
    """One stroke."""
    return [_line(rng, rng.uniform(0.6, 1.4), rng.choice([-0.8, 0.8, 0.1]) + rng.normal(0, 0.3))]


def ring(rng: Rng) -> list[Points]:
    """Circled, on the outline or about it."""
    radius = rng.uniform(0.95, 1.55)
    return [_round(rng, rng.uniform(0.9, 1.8), radius, radius * rng.uniform(0.92, 1.1), 0.03)]


def scrap(rng: Rng) -> list[Points]:
    """A start of something: less than two fifths of it filled."""
    reach = rng.uniform(0.2, 0.42)
    return [_to_and_fro(rng, reach, 0.16, rng.uniform(0, 3.1), 0.05) + rng.normal(0, 0.3, 2)]


def big_x(rng: Rng) -> list[Points]:
    """Struck out by a large x."""
    reach, lean = rng.uniform(1.35, 2.3), rng.normal(0, 0.15)
    return [_line(rng, reach * rng.uniform(0.9, 1.1), s * rng.normal(0.78, 0.12) + lean) for s in (1, -1)]


def through(rng: Rng) -> list[Points]:
    """Struck out by one to three lines one way."""
    angle, reach = rng.choice([0.0, 0.75, -0.75, 0.4]) + rng.normal(0, 0.15), rng.uniform(1.5, 2.4)
    return [_line(rng, reach * rng.uniform(0.85, 1.1), angle, 0.3) for _ in range(int(rng.integers(1, 4)))]


def sawn(rng: Rng) -> list[Points]:
    """Struck out by a coarse zigzag that runs over both sides."""
    passes, reach = int(rng.integers(3, 7)), rng.uniform(1.35, 2.1)
    x = np.linspace(-0.8, 0.8, 2 * passes) * rng.uniform(0.7, 1.2)
    y = np.where(np.arange(2 * passes) % 2, reach, -reach) * rng.uniform(0.8, 1.1, 2 * passes)
    return [_smooth(_spin(np.column_stack([x, y]), rng.choice([0, 1.57, 0.8]) + rng.normal(0, 0.2)))]


def tangle(rng: Rng) -> list[Points]:
    """Struck out by a tangle well beyond the bubble."""
    knots = rng.normal(0, 1, (int(rng.integers(9, 16)), 2))
    return [_smooth(np.clip(knots * rng.uniform(0.85, 1.2), -2.1, 2.1))]


def wave(rng: Rng) -> list[Points]:
    """Struck out by a wavy line, twice or thrice."""
    x = np.linspace(-1.0, 1.0, 60) * rng.uniform(1.5, 2.3)
    paths = []
    for _ in range(int(rng.integers(2, 4))):
        y = rng.uniform(0.2, 0.5) * np.sin(x * rng.uniform(3, 6) + rng.uniform(0, 6)) + rng.normal(0, 0.25)
        paths.append(_spin(np.column_stack([x, y]), rng.normal(0, 0.25)))
    return paths


FILLS: dict[str, Gesture] = {
    g.__name__: g
    for g in (
        full,
        spiral,
        coil,
        zigzag,
        hatch,
        cross,
        wide_cross,
        tick,
        dash,
        most,
        over,
        sweep,
        aside,
        dab,
        plus,
        loops,
        star,
    )
}
DOUBTS: dict[str, Gesture] = {g.__name__: g for g in (dot, slash, ring, scrap)}
#: Left out of what a reader learns from, so that it can be tried on what it never saw.
HELD_OUT = ("plus", "loops", "star", "wave", "dab")
#: Who marks by crossing lines does not take a mark back by more of them.
CROSSES = ("cross", "wide_cross", "plus", "star")
STRIKES: dict[str, Gesture] = {g.__name__: g for g in (big_x, through, sawn, tangle, wave)}


@dataclass(frozen=True, slots=True)
class Tool:
    """What writes.

    Attributes
    ----------
    kind : "graphite", "ball", "liquid" (gel, roller), "felt" or "wax"
    width_mm : of a line
    density : optical density of one firm pass, as a grey camera sees it
    tooth : 0..1 how much of the paper's tooth stays white
    skip : 0..1 share of a line that a ball leaves out
    bleed_mm : how far ink creeps
    """

    name: str
    kind: str
    width_mm: float
    density: float
    tooth: float = 0.0
    skip: float = 0.0
    bleed_mm: float = 0.0


#: name -> kind, then ranges of width, density, tooth, skip, bleed. Wider than shops sell.
_TOOLS: dict[str, tuple[str, tuple[float, ...]]] = {
    "hard pencil": ("graphite", (0.22, 0.45, 0.10, 0.30, 0.5, 0.9, 0, 0, 0, 0)),
    "pencil": ("graphite", (0.30, 0.60, 0.28, 0.65, 0.4, 0.8, 0, 0, 0, 0)),
    "soft pencil": ("graphite", (0.45, 0.95, 0.50, 1.05, 0.3, 0.7, 0, 0, 0, 0)),
    "blunt pencil": ("graphite", (0.75, 1.40, 0.22, 0.65, 0.4, 0.9, 0, 0, 0, 0)),
    "ball": ("ball", (0.25, 0.48, 0.50, 1.10, 0.0, 0.3, 0.0, 0.12, 0, 0)),
    "drying ball": ("ball", (0.22, 0.42, 0.35, 0.95, 0.0, 0.35, 0.15, 0.45, 0, 0)),
    "red ball": ("ball", (0.25, 0.45, 0.18, 0.40, 0.0, 0.3, 0.0, 0.15, 0, 0)),
    "gel": ("liquid", (0.32, 0.75, 0.70, 1.60, 0.0, 0.1, 0, 0, 0.0, 0.05)),
    "fine felt": ("felt", (0.40, 0.80, 0.60, 1.40, 0.0, 0.2, 0, 0, 0.02, 0.10)),
    "felt": ("felt", (0.80, 1.70, 0.45, 1.40, 0.0, 0.2, 0, 0, 0.05, 0.22)),
    "crayon": ("wax", (0.80, 1.60, 0.25, 0.80, 0.6, 0.95, 0, 0, 0, 0)),
    "dry roller": ("liquid", (0.30, 0.60, 0.40, 1.00, 0.3, 0.6, 0.1, 0.3, 0.0, 0.03)),
}
TOOLS = tuple(_TOOLS)


def some_tool(name: str, rng: Rng) -> Tool:
    """Return a copy of a tool, each a little unlike the next."""
    kind, ranges = _TOOLS[name]
    drawn = [float(rng.uniform(a, b)) for a, b in zip(ranges[::2], ranges[1::2], strict=True)]
    return Tool(name, kind, *drawn)


def paper_tooth(rng: Rng, size: int, px_per_mm: float) -> Floats:
    """Heights 0..1 of a paper's tooth, uniform by rank, (size, size)."""
    noise = np.zeros((size, size), np.float32)
    for grain_mm, weight in ((0.07, 1.0), (0.16, 0.8), (0.4, 0.35)):
        layer = rng.standard_normal((size, size)).astype(np.float32)
        noise += weight * _unit(cv2.GaussianBlur(layer, (0, 0), max(grain_mm * px_per_mm, 0.4)))
    return np.asarray(0.5 * (1 + np.tanh(0.8 * _unit(noise))), np.float32)


def _unit(field: Floats) -> Floats:
    return field / max(float(field.std()), 1e-6)


def ink_of_paths(
    paths: Sequence[Points], pressure: float, tool: Tool, tooth: Floats, px_per_mm: float, rng: Rng
) -> Floats:
    """Optical density that a tool leaves along paths, on a patch of paper of the shape of `tooth`.

    Parameters
    ----------
    paths : of points in mm from the patch's middle
    pressure : 1 is firm
    """
    height, width = tooth.shape
    fine = 1 if tool.width_mm > 0.5 else 2
    amount = np.zeros((height, width), np.float32)
    for path in paths:
        layer = np.zeros((height * fine, width * fine), np.uint8)
        px = (path * px_per_mm + np.array([width, height]) / 2) * fine - 0.5
        wide = tool.width_mm * px_per_mm * fine * (0.75 + 0.25 * min(pressure, 1.5))
        level = _flow(len(px), tool, rng) * (0.85 + 0.15 * pressure)
        at = np.round(px * 16).astype(np.int32)
        if len(at) == 1:
            cv2.circle(layer, tuple(map(int, at[0])), max(int(wide * 8), 8), 255, -1, cv2.LINE_AA, 4)
        for i in range(len(at) - 1):
            shade = int(np.clip(level[i] * 230, 0, 255))
            thick = max(round(wide * (0.9 + 0.2 * level[i])), 1)
            cv2.line(layer, tuple(map(int, at[i])), tuple(map(int, at[i + 1])), shade, thick, cv2.LINE_8, 4)
        one = cv2.resize(layer, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        amount += one * (1.0 if tool.kind in ("graphite", "wax") else np.where(amount > 0.4, 0.3, 1.0))
    return _laid(amount * np.float32(pressure), tool, tooth, px_per_mm)


def _flow(count: int, tool: Tool, rng: Rng) -> NDArray[np.float64]:
    """Share of ink along a path: a ball rolls dry and recovers, a hand presses unevenly."""
    knots = rng.standard_normal(max(count // 9, 1) + 3)
    swell = np.interp(np.linspace(0, len(knots) - 1, max(count, 1)), np.arange(len(knots)), knots)
    flow = 1.0 + 0.12 * swell
    if tool.skip > 0:
        knots = rng.standard_normal(max(count // 4, 1) + 3)
        wet = np.interp(np.linspace(0, len(knots) - 1, max(count, 1)), np.arange(len(knots)), knots)
        flow = flow * np.clip(0.6 + 2.0 * (wet - np.quantile(wet, tool.skip)), 0.06, 1.0)
    return np.asarray(flow)


def _laid(amount: Floats, tool: Tool, tooth: Floats, px_per_mm: float) -> Floats:
    """Passes of a tool -> density: graphite and wax catch on the tooth, ink sinks in and creeps."""
    if tool.bleed_mm > 0:
        soft = cv2.GaussianBlur(amount, (0, 0), max(tool.bleed_mm * px_per_mm, 0.3))
        drawn = np.clip((soft + 0.25 * (tooth - 0.5) * (soft > 0.03) - 0.15) / 0.4, 0, 1.3)
        amount = np.maximum(amount, drawn)
    if tool.kind in ("graphite", "wax"):
        rounded = cv2.GaussianBlur(amount, (0, 0), max(0.12 * tool.width_mm * px_per_mm, 0.3))
        reaches = np.clip(0.5 + (1.3 * rounded - tool.tooth * (1.05 - tooth)) / 0.5, 0, 1)
        return np.asarray(tool.density * reaches * (1 - np.exp(-1.9 * amount)) * 1.15, np.float32)
    broken = np.clip(0.5 + (1.6 * amount - tool.tooth * (1.1 - tooth)) / 0.4, 0, 1)
    return np.asarray(tool.density * broken * np.minimum(amount, 1.4), np.float32)


def rubbed(density: Floats, px_per_mm: float, rng: Rng) -> Floats:
    """Return what a rubber leaves of a mark: the groove's ghost, a smear, crumbs, roughened paper."""
    height, width = density.shape
    left = rng.uniform(0.02, 0.2) if rng.random() < 0.75 else rng.uniform(0.15, 0.38)
    pushed = np.zeros((15, 15), np.float32)
    angle = rng.uniform(0, np.pi)
    reach = int(np.clip(rng.uniform(0.2, 1.2) * px_per_mm, 2, 7))
    off = np.array([np.cos(angle), np.sin(angle)]) * reach
    cv2.line(pushed, (int(7 - off[0]), int(7 - off[1])), (int(7 + off[0]), int(7 + off[1])), 1.0, 1)
    smear = cv2.filter2D(density, -1, pushed / pushed.sum())
    smear = cv2.GaussianBlur(smear, (0, 0), 0.25 * px_per_mm)
    # A rubber goes over it in strokes and may miss a rim.
    cover = np.ones((height, width), np.float32)
    if rng.random() < 0.3:
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        side = (x - width / 2) * np.cos(angle) + (y - height / 2) * np.sin(angle)
        cover = np.clip(1 - (side - rng.uniform(0.8, 1.6) * px_per_mm) / (0.5 * px_per_mm), 0.55, 1)
    firm = np.maximum(density - 0.6 * float(density.max()), 0) * rng.uniform(0, 0.3)
    ghost = density * left + firm * left * 2 + smear * rng.uniform(0.0, 0.12)
    ghost = ghost * cover + density * (1 - cover) * rng.uniform(0.3, 0.6)
    if rng.random() < 0.5:  # roughened paper scatters light: a little darker or brighter, mottled
        rough = cv2.GaussianBlur(
            rng.standard_normal((height, width)).astype(np.float32), (0, 0), 0.1 * px_per_mm
        )
        zone = cv2.GaussianBlur((density > 0.05).astype(np.float32), (0, 0), 0.5 * px_per_mm)
        ghost += zone * (0.02 * _unit(rough) * rng.uniform(0, 1) + rng.uniform(-0.01, 0.02))
    for _ in range(int(rng.poisson(1.2))):  # crumbs of rubber and graphite
        at = rng.normal(0, 1.5, 2) * px_per_mm + np.array([width, height]) / 2
        end = at + rng.normal(0, 0.35, 2) * px_per_mm
        spot = np.zeros((height, width), np.float32)
        cv2.line(
            spot, tuple(map(int, at)), tuple(map(int, end)), float(rng.uniform(0.05, 0.3)), 1, cv2.LINE_AA
        )
        ghost = np.maximum(ghost, spot)
    return np.asarray(ghost, np.float32)
