"""What hands do to bubbles: good marks, careless marks, and the ones that even a person has to look at twice.

Each function takes a bubble's box and returns strokes; a pen draws them. `MARKS` says what each mark means.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator import gestures
from tests.simulator.pens import Stroke

Rng = np.random.Generator
BoxMm = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A kind of mark.

    Attributes
    ----------
    means : what the player meant by it; None where nobody can say
    unclear : a careful person would ask
    """

    draw: Callable[[BoxMm, Rng], list[Stroke]]
    means: bool | None
    unclear: bool


def path(points: NDArray[np.float64], rng: Rng, pressure: float = 0.5, shake_mm: float = 0.05) -> Stroke:
    """Return a hand-drawn curve through `points` (N, 2): rounded, with tremor and a swelling pressure."""
    if len(points) == 1:
        return Stroke(points.astype(float), np.array([pressure]))
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(np.maximum(steps, 1e-6))])
    at = np.linspace(0.0, along[-1], max(int(along[-1] / 0.18), 3))
    dense = np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)])
    if len(dense) > 6:
        # Corners round off over about 0.3 mm, since a hand cannot turn on the spot.
        kernel = np.array([0.06, 0.24, 0.40, 0.24, 0.06])
        padded = np.concatenate([dense[[0, 0]], dense, dense[[-1, -1]]])
        dense = np.column_stack([np.convolve(padded[:, i], kernel, "valid") for i in (0, 1)])
    dense = dense + wander(len(dense), rng, shake_mm)
    swell = 1.0 + 0.16 * wander(len(dense), rng, 1.0)[:, 0]
    taper = np.minimum(1.0, 0.55 + np.minimum(np.arange(len(dense)), np.arange(len(dense))[::-1]) / 5.0)
    return Stroke(dense, np.clip(pressure * swell * taper, 0.03, 1.0))


def wander(count: int, rng: Rng, size: float, every: int = 7) -> NDArray[np.float64]:
    """Slow random drift (count, 2) of standard deviation about `size`."""
    knots = max(count // every, 1) + 3
    drift = rng.standard_normal((knots, 2)) * size
    at = np.linspace(0.5, knots - 1.5, count)
    return np.column_stack([np.interp(at, np.arange(knots), drift[:, i]) for i in (0, 1)])


def _frame(box: BoxMm, rng: Rng, off: float = 0.06) -> tuple[NDArray[np.float64], float]:
    """Centre of the mark (a hand does not hit the middle) and half the bubble's smaller side."""
    x, y, w, h = box
    half = min(w, h) / 2
    return np.array([x + w / 2, y + h / 2]) + rng.normal(0, off * half, 2), half


def _turn(points: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def _zigzag(
    centre: NDArray[np.float64], half: float, rng: Rng, passes: int, reach: float, angle: float
) -> NDArray[np.float64]:
    """To and fro across a disc of radius `half` times `reach`, `passes` times."""
    across = np.linspace(-0.86, 0.86, passes) + rng.normal(0, 0.05, passes)
    points = []
    for i, t in enumerate(across):
        length = np.sqrt(max(1.0 - t * t, 0.08)) * rng.uniform(0.88, 1.06)
        ends = [(-length, t), (length, t + rng.normal(0, 0.05))]
        points += ends if i % 2 == 0 else ends[::-1]
    return centre + _turn(np.array(points) * half * reach, angle)


def solid(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Filled with care: round the rim, then to and fro until no white is left."""
    centre, half = _frame(box, rng)
    turns = np.linspace(0, 2 * np.pi * rng.uniform(1.0, 1.3), 26) + rng.uniform(0, 6.28)
    rim = centre + half * 0.74 * np.column_stack([np.cos(turns), np.sin(turns)])
    angle = rng.uniform(0, np.pi)
    fill = _zigzag(centre, half, rng, int(rng.integers(7, 10)), 0.80, angle)
    more = _zigzag(centre, half, rng, int(rng.integers(6, 9)), 0.76, angle + rng.uniform(0.6, 1.6))
    p = rng.uniform(0.45, 0.7)
    return [path(rim, rng, p, 0.04), path(fill, rng, p, 0.04), path(more, rng, p, 0.04)]


def scribble(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Filled in haste: one zigzag with white between the passes."""
    centre, half = _frame(box, rng, 0.12)
    fill = _zigzag(centre, half, rng, int(rng.integers(5, 8)), rng.uniform(0.8, 1.0), rng.normal(0.75, 0.35))
    return [path(fill, rng, rng.uniform(0.4, 0.7))]


def spiral(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Filled by going round and round."""
    centre, half = _frame(box, rng, 0.1)
    turns = np.linspace(0, 2 * np.pi * rng.uniform(3.0, 4.5), 80)
    radius = half * rng.uniform(0.78, 0.92) * np.linspace(0.12, 1.0, 80)
    points = centre + radius[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    return [path(points, rng, rng.uniform(0.4, 0.65), 0.07)]


def cross(box: BoxMm, rng: Rng) -> list[Stroke]:
    """An x from corner to corner, gone over once more by some."""
    centre, half = _frame(box, rng, 0.15)
    reach = half * rng.uniform(0.75, 1.15)
    lean = rng.normal(0.0, 0.15)
    strokes = []
    for sign in (1, -1):
        a = _turn(np.array([[-1.0, -sign], [0.1 * rng.normal(), 0.0], [1.0, sign]]) * 0.8 * reach, lean)
        strokes.append(path(centre + a, rng, rng.uniform(0.5, 0.8)))
        if rng.random() < 0.3:
            again = centre + a + rng.normal(0, 0.07, a.shape)
            strokes.append(path(again, rng, rng.uniform(0.5, 0.8)))
    return strokes


def tick(box: BoxMm, rng: Rng) -> list[Stroke]:
    """A tick whose long arm leaves the bubble to the upper right."""
    centre, half = _frame(box, rng, 0.15)
    reach = half * rng.uniform(0.9, 1.3)
    points = np.array([[-0.75, -0.10], [-0.30, 0.62], [0.25, -0.35], [1.05, -1.10]])
    points = points + rng.normal(0, 0.06, points.shape)
    return [path(centre + points * reach, rng, rng.uniform(0.5, 0.8))]


def partial(box: BoxMm, rng: Rng) -> list[Stroke]:
    """At least 60 % covered, one side left white."""
    centre, half = _frame(box, rng, 0.03)
    away = rng.uniform(0, 2 * np.pi)
    shift = half * 0.16 * np.array([np.cos(away), np.sin(away)])
    p = rng.uniform(0.5, 0.7)
    # Along the chord that faces the white side, so that the side stays white all the way.
    fill = _zigzag(centre + shift, half * 0.86, rng, 8, 0.84, away + np.pi / 2)
    more = _zigzag(centre + shift, half * 0.84, rng, 7, 0.82, away + np.pi / 2 + rng.normal(0, 0.2))
    return [path(fill, rng, p, 0.03), path(more, rng, p, 0.03)]


def overrun(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Filled, with passes that run over the edge, sometimes towards the neighbour."""
    centre, half = _frame(box, rng, 0.15)
    angle = rng.uniform(0, np.pi)
    p = rng.uniform(0.45, 0.75)
    fill = _zigzag(centre, half, rng, int(rng.integers(7, 10)), rng.uniform(1.05, 1.3), angle)
    more = _zigzag(centre, half, rng, 7, 1.0, angle + rng.uniform(0.3, 1.2))
    return [path(fill, rng, p, 0.08), path(more, rng, p, 0.08)]


def line_through(box: BoxMm, rng: Rng) -> list[Stroke]:
    """A thick horizontal dash drawn to and fro two or three times."""
    centre, half = _frame(box, rng, 0.1)
    points = _zigzag(centre, half, rng, int(rng.integers(3, 5)), 1.0, rng.normal(0.2, 0.3))
    points[:, 1] = centre[1] + (points[:, 1] - centre[1]) * 0.55
    return [path(points, rng, rng.uniform(0.6, 0.8))]


def dot(box: BoxMm, rng: Rng) -> list[Stroke]:
    """The pen rested here; well under a tenth of the bubble."""
    centre, half = _frame(box, rng, 0.35)
    if rng.random() < 0.5:
        return [Stroke(centre[None], np.array([rng.uniform(0.5, 0.9)]))]
    points = centre + rng.normal(0, half * 0.10, (3, 2))
    return [path(points, rng, rng.uniform(0.4, 0.7), 0.02)]


def slash(box: BoxMm, rng: Rng) -> list[Stroke]:
    """One stroke through the bubble."""
    centre, half = _frame(box, rng, 0.12)
    reach = half * rng.uniform(0.8, 1.25)
    points = _turn(
        np.array([[-1.0, 0.0], [0.0, rng.normal(0, 0.06)], [1.0, 0.0]]) * reach, -rng.normal(0.8, 0.25)
    )
    return [path(centre + points, rng, rng.uniform(0.45, 0.75))]


def ring(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Circled instead of filled."""
    centre, half = _frame(box, rng, 0.12)
    turns = np.linspace(0, 2 * np.pi * rng.uniform(1.0, 1.15), 40) + rng.uniform(0, 6.28)
    radius = half * rng.uniform(1.15, 1.45)
    wobble = np.linspace(1.0, rng.uniform(0.88, 1.1), 40)[:, None]
    points = centre + radius * wobble * np.column_stack(
        [np.cos(turns) * rng.uniform(0.95, 1.15), np.sin(turns)]
    )
    return [path(points, rng, rng.uniform(0.45, 0.7))]


def faint(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Filled, but with hardly any pressure."""
    return [s.pressed(rng.uniform(0.5, 0.7)) for s in scribble(box, rng)]


def strike_out(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Cancels a mark: long strokes right through it, well past the bubble on both sides."""
    centre, half = _frame(box, rng, 0.1)
    strokes = []
    # Mostly the big X that the card asks for; some use two or three strokes one way.
    leans = [0.8, -0.8] if rng.random() < 0.75 else [0.7] * int(rng.integers(2, 4))
    for lean in leans:
        points = _turn(np.array([[-1.0, 0.0], [1.0, 0.0]]) * half * rng.uniform(1.6, 2.2), lean)
        points = _turn(points, rng.normal(0, 0.14))
        strokes.append(path(centre + points + rng.normal(0, 0.12, 2), rng, rng.uniform(0.6, 0.85)))
    return strokes


def cancelled(box: BoxMm, rng: Rng) -> list[Stroke]:
    """A good mark, crossed out with long strokes."""
    return solid(box, rng) + strike_out(box, rng)


def specks(box: BoxMm, rng: Rng) -> list[Stroke]:
    """Dirt: a few tiny spots in and around the bubble."""
    x, y, w, h = box
    spots = rng.uniform((x - 0.5, y - 0.5), (x + w + 0.5, y + h + 0.5), (int(rng.integers(1, 5)), 2))
    return [Stroke(spot[None], np.array([rng.uniform(0.05, 0.4)])) for spot in spots]


def _gestured(way: gestures.Gesture) -> Callable[[BoxMm, Rng], list[Stroke]]:
    """A movement of `gestures` in the strokes of this module."""

    def draw(box: BoxMm, rng: Rng) -> list[Stroke]:
        centre, half = _frame(box, rng, 0.1)
        return [path(centre + points * half, rng, rng.uniform(0.45, 0.75)) for points in way(rng)]

    return draw


#: Wider than the hands of `handwriting` go on their own: for those who ask for them.
WIDE_FILLS = tuple(f"wide {name}" for name in gestures.FILLS if name not in gestures.HELD_OUT)

MARKS: dict[str, Mark] = {
    "solid": Mark(solid, True, False),
    "scribble": Mark(scribble, True, False),
    "spiral": Mark(spiral, True, False),
    "cross": Mark(cross, True, False),
    "tick": Mark(tick, True, False),
    "partial": Mark(partial, True, False),
    "overrun": Mark(overrun, True, False),
    "dash": Mark(line_through, True, False),
    "faint": Mark(faint, True, True),
    "slash": Mark(slash, True, True),
    "ring": Mark(ring, True, True),
    "dot": Mark(dot, False, True),
    "cancelled": Mark(cancelled, False, True),
    "specks": Mark(specks, False, False),
    "erased": Mark(solid, False, False),  # drawn, then rubbed out by `hands`
    **{f"wide {name}": Mark(_gestured(way), True, False) for name, way in gestures.FILLS.items()},
}
