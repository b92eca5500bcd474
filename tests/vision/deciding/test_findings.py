"""Broken promises in the player's words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.rules import rules_of
from shortpencil.scan.vision.deciding.findings import broken_promises, far_off_counts
from shortpencil.scan.vision.deciding.verdicts import UNREADABLE

FORM = load_form("round9")
RULES = rules_of(FORM)

HOLE = {
    "h01.score": 4,
    "h01.penalty": "1",
    "h01.drive": "miss",
    "h01.approach1": "miss",
    "h01.putt1": "clean",
}


def says(values: dict) -> list[tuple[str, str]]:
    return [(finding.rule, finding.says) for finding in broken_promises(FORM, RULES, values)]


def test_a_card_that_holds_breaks_nothing():
    assert says(HOLE | {"tally.drive": 1, "tally.approach": 1, "total": 4}) == []


@pytest.mark.parametrize(
    ("change", "rule", "words"),
    [
        ({"total": 5}, "total", "your holes add up to 4, your total says 5"),
        ({"tally.drive": 2}, "tally.drive", "you counted 2 missed drives, the marks show 1"),
        ({"tally.putt": 1}, "tally.putt", "you counted 1 missed putt, the marks show 0"),
        (
            {"h01.score": 3},
            "throws",
            "hole 1: 3 throws are marked and 1 penalty throw, but the score says 3",
        ),
        ({"date.day": 31, "date.month": 4}, "date", "there is no day 31 in month 4"),
        ({"date.day": 3, "date.month": 13}, "date", "there is no month 13"),
        ({"date.day": 32}, "date", "there is no day 32"),
    ],
)
def test_a_broken_promise_is_said(change, rule, words):
    assert says(HOLE | change) == [(rule, words)]


@pytest.mark.parametrize(
    ("phase", "label", "one", "two"),
    [
        ("approach", "Annäherung", "1 missed approach", "2 missed approaches"),  # a built-in card in German
        ("brush", "brush", "1 missed brush throw", "2 missed brush throws"),
        ("up", "Up & down", "1 missed Up & down throw", "2 missed Up & down throws"),
    ],
)
def test_misses_of_any_phase_are_counted_in_words(phase, label, one, two):
    rule = replace(RULES.tallies[0], phase=phase, label=label, tally="tally.any")
    rules = replace(RULES, tallies=(rule,))
    for marks, count, words in (("clean", 1, one), ("clean", 2, two)):
        values = HOLE | {"h01.drive": marks, "tally.any": count}
        assert [f.says for f in broken_promises(FORM, rules, values) if f.rule == f"tally.{phase}"] == [
            f"you counted {words}, the marks show 0"
        ]


@pytest.mark.parametrize(
    "change",
    [
        {"h01.score": 6},  # marks get forgotten
        {"total": None},  # broken off before the foot
        {"total": 9, "h02.drive": "clean"},  # a played hole without score: nobody knows the sum
        {"total": 9, "h01.score": UNREADABLE},
        {"tally.drive": 2, "h05.drive": UNREADABLE},
        {"date.day": 29, "date.month": 2},  # leap years are for whoever knows the century
        {"date.day": 31},
    ],
)
def test_what_may_be_as_it_is_breaks_nothing(change):
    assert says(HOLE | change) == []


def test_a_finding_names_the_cells_it_rests_on():
    (finding,) = broken_promises(FORM, RULES, HOLE | {"tally.drive": 2})
    assert {"tally.drive.1", "tally.drive.2", "h01.drive.miss", "h09.drive.clean"} <= set(finding.cells)


SHEETS = {name: load_form(name) for name in ("putting-ladder", "field-work")}


@pytest.mark.parametrize(
    ("name", "values", "says"),
    [
        (
            "putting-ladder",
            {"r03.dropped": ("1", "2", "5"), "r03.made": 4},
            "row 3: you counted 4, the bubbles show 3",
        ),
        ("putting-ladder", {"r03.dropped": ("1", "2", "5"), "r03.made": 3}, None),
        ("putting-ladder", {"r03.dropped": None, "r03.made": 3}, None),  # who leaves the bubbles out
        (
            "field-work",
            {"t01.execution": "clean", "t02.execution": "miss", "clean": 2},
            "clean throws: you counted 2, the marks show 1",
        ),
        ("field-work", {"t01.execution": "clean", "t02.execution": "clean", "clean": 2}, None),
    ],
)
def test_a_practice_sheet_whose_count_is_wrong_says_so(
    name: str, values: dict[str, object], says: str | None
) -> None:
    form = SHEETS[name]
    found = broken_promises(form, rules_of(form), values)
    assert [finding.says for finding in found] == ([] if says is None else [says])
    assert all(finding.rule == "counted" for finding in found)
    assert far_off_counts(rules_of(form), values) == {}


def test_a_count_that_is_off_by_three_is_asked() -> None:
    form = SHEETS["putting-ladder"]
    values = {"r03.dropped": ("1", "2", "5"), "r03.made": 6}
    assert far_off_counts(rules_of(form), values) == {"r03.made": "row 3: you counted 6, the bubbles show 3"}
