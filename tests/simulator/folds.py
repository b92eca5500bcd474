"""Folds between the landmarks of a card: sharp lines through a block of rows, crossing folds, rolled corners.

A sheet that was folded small and pressed flat again stands up only along its lines: the paper is steep there
and level two centimetres on. What is measured at a few places of the sheet tells little of that.
"""

from __future__ import annotations

import numpy as np

from tests.simulator.handling import Crease, Curl

Rng = np.random.Generator


def some_folds(rng: Rng, hard: float) -> tuple[Crease, ...]:
    """Return one or two folds that run down or across the sheet at any place; `hard` 0..1 and beyond."""
    down = _fold(rng, hard, 90.0)
    kind = rng.random()
    if kind < 0.45:
        return (down,)
    if kind < 0.75:  # folded once more: the two cross
        return (down, _fold(rng, hard, 0.0))
    return (down, _fold(rng, hard, float(rng.choice([90.0, rng.uniform(0, 180)]))))


def _fold(rng: Rng, hard: float, turn_deg: float) -> Crease:
    """Return a fold from edge to edge that the paper forgets within some centimetres."""
    return Crease(
        x=float(rng.uniform(0.12, 0.88)),
        y=float(rng.uniform(0.2, 0.8)),
        turn_deg=turn_deg + float(rng.normal(0, 3)),
        keeps_deg=float(rng.choice([-1, 1]) * rng.uniform(12, 25 + 40 * hard)),
        eases_mm=float(rng.uniform(8, 30)),
        worn=float(rng.uniform(0, 0.8)),
    )


def some_rolled_corners(rng: Rng, hard: float) -> tuple[Curl, ...]:
    """Return one or two corners that roll up steeply, over the last three to seven centimetres."""
    corners = rng.choice([55.0, 125.0, 235.0, 305.0], int(rng.integers(1, 3)), replace=False)
    return tuple(
        Curl(
            float(corner + rng.normal(0, 8)),
            float(rng.uniform(0.6, 0.82)),
            float(rng.uniform(3, 6 + 10 * hard)),
        )
        for corner in corners
    )
