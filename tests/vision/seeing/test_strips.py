"""A strip for words holds writing or not, whatever lines are printed in it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Cell, writing_lines
from shortpencil.scan.vision.deciding.flags import FlagRule
from shortpencil.scan.vision.flattening.flat import CARD_PX_PER_MM
from shortpencil.scan.vision.seeing.patches import written_shares

PX = CARD_PX_PER_MM
NOTES = Cell("notes.strip", "notes", "words", Box(10.0, 10.0, 80.0, 40.0), "strip")
ONE_LINE = Cell("words.strip", "words", "words", Box(10.0, 10.0, 80.0, 7.6), "strip")
LAYOUT: Any = SimpleNamespace(cells=[NOTES])


def sheet(cell: Cell, off_mm: float = 0.0) -> Any:
    """A sheet with a strip's printed lines, so far below where they should be."""
    even = np.ones((round(60 * PX), round(100 * PX)), np.float32)
    for y in writing_lines(cell.box):
        at = round((y + off_mm) * PX)
        even[at : at + 2, round(cell.box.x * PX) : round(cell.box.right * PX)] = 0.0
    return SimpleNamespace(even=even, grey_of=lambda share: 1.0 - share)


def test_a_field_for_notes_has_lines_a_strip_of_one_line_has_its_foot() -> None:
    assert writing_lines(NOTES.box) == pytest.approx((18.0, 26.0, 34.0, 42.0, 50.0))
    assert writing_lines(ONE_LINE.box) == pytest.approx((17.6,))


@pytest.mark.parametrize("off_mm", [-1.2, 0.0, 1.2])
def test_printed_lines_are_no_writing(off_mm: float) -> None:
    assert written_shares(sheet(NOTES, off_mm), LAYOUT) == {NOTES.id: 0.0}


def test_one_short_word_in_a_field_for_notes_is_writing() -> None:
    ink = sheet(NOTES)
    rows = slice(round(20.5 * PX), round(23.5 * PX))  # letters of 3 mm between two lines
    for x in np.arange(12.0, 32.0, 1.2):
        ink.even[rows, round(x * PX) : round(x * PX) + 3] = 0.2
    assert written_shares(ink, LAYOUT)[NOTES.id] > FlagRule().words_ink
