"""Edges of shadows: cells they cross are told; strokes there are believed less, solid marks as before."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.vision.doubting.shade import crossed_by_edges, marks_doubted, ones_doubted
from shortpencil.scan.vision.evidence import ANSWERS
from shortpencil.scan.vision.seeing.ink import PAPER_PX_PER_MM

LAYOUT = builtin_layout("round18", "a4", "m", "right")
SHAPE = (
    round(LAYOUT.paper.height_mm * PAPER_PX_PER_MM),
    round(LAYOUT.paper.width_mm * PAPER_PX_PER_MM),
)


def edge_at(y_mm: float, dark: float) -> np.ndarray:
    """Paper that is lit above a line across the card and in shadow below it."""
    paper = np.full(SHAPE, 220.0, np.float32)
    paper[round(y_mm * PAPER_PX_PER_MM) :] *= dark
    return paper


def test_cells_along_an_edge_are_told_and_no_others() -> None:
    middle = LAYOUT.cell("h09.drive.miss").box.centre.y
    crossed = crossed_by_edges(edge_at(middle, 0.5), LAYOUT)
    for cell in LAYOUT.cells:
        if cell.kind == "words":
            continue
        if cell.box.y < middle < cell.box.bottom:
            assert cell.id in crossed
        elif not cell.box.grown(1.0).y < middle < cell.box.grown(1.0).bottom:
            assert cell.id not in crossed


@pytest.mark.parametrize("dark", [0.9, 1.0])
def test_soft_shade_and_even_light_cross_nothing(dark: float) -> None:
    assert crossed_by_edges(edge_at(150.0, dark), LAYOUT) == frozenset()
    slope = np.linspace(220.0, 90.0, SHAPE[1], dtype=np.float32)[None, :].repeat(SHAPE[0], axis=0)
    assert crossed_by_edges(slope, LAYOUT) == frozenset()


def test_a_stroke_across_a_bubble_is_doubted_where_an_edge_crosses_and_a_solid_mark_is_not() -> None:
    rim, solid = np.zeros((2, 45, 45), np.float32)
    rim[20:25] = 0.8
    solid[8:37, 8:37] = 0.8
    says = (-12.0, 0.0, -6.0)
    bubbles = {"a": says, "b": says, "c": says}
    doubted = marks_doubted(bubbles, np.stack([rim, solid, rim]), {"a", "b"})
    assert doubted["a"] == pytest.approx((-math.log(20), 0.0, -6.0))
    assert doubted["b"] == doubted["c"] == says
    blank = {"a": (0.0, -9.0, -5.0)}
    assert marks_doubted(blank, rim[None], {"a"}) == blank


def test_no_bubbles_are_none_still() -> None:
    assert marks_doubted({}, np.zeros((0, 45, 45), np.float32), {"a"}) == {}


def test_a_one_is_held_below_certainty_only_where_an_edge_crosses() -> None:
    p = np.full((3, 12), 1e-5)
    p[:2, ANSWERS.index("1")] = p[2, ANSWERS.index("4")] = 1 - 11e-5
    held = np.exp(ones_doubted(np.log(p).astype(np.float32), np.array([True, False, True])))
    assert held[0, ANSWERS.index("1")] == pytest.approx(0.95, abs=1e-4)
    assert held[0, ANSWERS.index("blank")] == pytest.approx(0.05, abs=1e-3)
    assert held[1:] == pytest.approx(p[1:], rel=1e-4)
    assert held.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
