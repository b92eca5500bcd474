"""Marks are put together to cards: on bent sheets, too, and never across two sheets."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.layout import PAPERS
from shortpencil.scan.vision.finding.grouping import Mark, cards_of, model_corners

PAPER = PAPERS["a4"]


def seen(points: np.ndarray, rise_mm: float, right_mm: float = 0.0) -> np.ndarray:
    """Places in px of card points on an arch across the sheet, by a camera 420 mm above, a little aslant."""
    half = PAPER.height_mm / 2
    # A circle's arc as long as the sheet that rises so far in its middle; paper does not stretch.
    radius = half**2 / (2 * rise_mm)
    turn = (points[:, 1] - half) / radius
    x, y = points[:, 0] - 105 + right_mm, radius * np.sin(turn)
    z = radius * (np.cos(turn) - np.cos(half / radius))
    lean = np.radians(14)
    y, z = y * np.cos(lean) - z * np.sin(lean), y * np.sin(lean) + z * np.cos(lean)
    return np.stack([x, y], axis=1) / (420 - z[:, None]) * 3000 + 1200


def marks(rise_mm: float, some: tuple[int, ...] = CORNER_IDS, right_mm: float = 0.0) -> list[Mark]:
    return [Mark(i, seen(model_corners(PAPER, i), rise_mm, right_mm)) for i in some]


@pytest.mark.parametrize("rise_mm", [0.5, 12.0, 20.0, 25.0])
def test_the_marks_of_an_arched_sheet_are_one_card(rise_mm: float) -> None:
    (card,) = cards_of(marks(rise_mm))
    assert set(card.marks) == set(CORNER_IDS)


def test_two_sheets_of_which_each_shows_two_marks_stay_two() -> None:
    left = marks(0.5, (CORNER_IDS[0], CORNER_IDS[3]), -115)
    right = marks(0.5, (CORNER_IDS[1], CORNER_IDS[2]), 115)
    cards = cards_of(left + right)
    assert [len(card.marks) for card in cards] == [2, 2]
