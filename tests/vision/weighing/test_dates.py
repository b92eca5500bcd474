"""Dates that a calendar has, years that are not older than the card."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.scan.vision.deciding.decode import decode
from tests.vision.marked_cards import cell_values, evidence_of, with_cell

FORM = load_form("round9")


def read(day: int, month: int, year: int, **unclear) -> dict:
    """The date fields of a card with this date; `unclear` are cells by place, with digits alike."""
    evidence = evidence_of(FORM, cell_values(FORM, {"date.day": day, "date.month": month, "date.year": year}))
    for cell, digits in unclear.items():
        logs = np.full(12, -14.0)
        logs[list(digits)] = 0.0
        evidence = with_cell(evidence, f"date.{cell.replace('_', '.')}", logs)
    return decode(FORM, evidence).fields


@pytest.mark.parametrize(("year", "flagged"), [(28, False), (27, True)])
def test_29_february_needs_a_leap_year(year, flagged):
    assert (read(29, 2, year)["date.day"].flag is not None) == flagged


def test_where_no_year_is_written_29_february_is_a_year_in_four():
    # Of 28 and 29, alike by their ink: the Gregorian calendar has the 29th in one year of four, no more than
    # that is known, and it is left to a person.
    cells = cell_values(FORM, {"date.day": 28, "date.month": 2})
    logs = np.full(12, -14.0)
    logs[[8, 9]] = 0.0
    day = decode(FORM, with_cell(evidence_of(FORM, cells), "date.day.2", logs)).fields["date.day"]
    assert day.flag is not None
    assert dict([(day.value, day.p), *day.alternatives])[29] == pytest.approx(1 / 5, abs=0.01)


def test_a_month_settles_a_day():
    assert read(30, 4, 26, day_2=(0, 1))["date.day"].value == 30


def test_a_day_settles_a_month():
    # 31 of September or of October: only one of them exists.
    found = read(31, 10, 26, month_1=(1, 10), month_2=(0, 9))["date.month"]
    assert (found.value, found.flag) == (10, None)


def test_a_year_is_not_long_before_the_card():
    assert read(1, 5, 26, year_1=(1, 2))["date.year"].value == 26


@pytest.mark.parametrize("year", [24, 29])
def test_a_four_like_a_nine_in_the_year_is_asked(year):
    # What is usual leans to neither so much that it would settle it.
    assert read(1, 5, year, year_2=(4, 9))["date.year"].flag is not None


def test_a_zero_may_lead():
    found = read(7, 6, 26, day_1=(0,), month_1=(0,))
    assert (found["date.day"].value, found["date.month"].value) == (7, 6)
    assert found["date.day"].flag is None
