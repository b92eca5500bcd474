"""Ink on the edge of a digit box, where the outline is printed, is seen; what lies beside the box is not."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.seeing.digits import PATCH_PX
from shortpencil.scan.vision.seeing.patches import beside_the_middle, writing_in

SIZE = (5.0, 6.4)  # mm; a pixel of a patch is 0.18 mm
LEVEL = 0.6
LEFT, RIGHT, TOP, BOTTOM = 10, 38, 6, 42  # of the box in its patch, px


def boxes(seed: int = 0) -> np.ndarray:
    """Forty blank boxes with their outline, each up to a pixel beside its place."""
    rng = np.random.default_rng(seed)
    patches = np.abs(rng.normal(0.02, 0.01, (40, PATCH_PX, PATCH_PX))).astype(np.float32)
    for patch in patches:
        dx, dy = rng.integers(-1, 2, 2)
        for x in (LEFT + dx, RIGHT + dx):
            patch[TOP + dy : BOTTOM + dy, x : x + 2] = 0.35
        for y in (TOP + dy, BOTTOM + dy):
            patch[y : y + 2, LEFT + dx : RIGHT + dx] = 0.35
    return patches


def touched(patches: np.ndarray, level: float | None = LEVEL) -> list[int]:
    sizes = np.tile(SIZE, (len(patches), 1))
    found = beside_the_middle(patches, sizes, writing_in(patches).strength, level)
    return np.flatnonzero(found).tolist()


def test_blank_boxes_whose_outlines_jitter_are_left_alone() -> None:
    assert touched(boxes()) == []


@pytest.mark.parametrize("row", [TOP + 3, BOTTOM - 6])
def test_a_stroke_along_the_edge_is_seen_though_the_middle_is_bare(row: int) -> None:
    patches = boxes()
    patches[7, row : row + 3, 14:32] = LEVEL
    assert writing_in(patches).bare()[7]
    assert touched(patches) == [7]


def test_what_stands_beside_the_box_or_is_paler_than_the_pen_is_not() -> None:
    patches = boxes()
    patches[3, 8:40, 0:4] = LEVEL  # the box before, or a figure
    patches[4, 12:36, LEFT + 3 : LEFT + 6] = 0.15
    assert touched(patches) == []


def test_on_a_card_without_writing_nothing_is_looked_for() -> None:
    patches = boxes()
    patches[7, 12:36, LEFT + 3 : LEFT + 6] = LEVEL
    assert touched(patches, None) == []
