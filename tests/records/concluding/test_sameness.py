"""When two photos of a sheet show one round, and when that is sure enough for one that shows too little."""

from __future__ import annotations

import math

from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.answers import Answer
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding.sameness import (
    DIFFERS,
    SLIP,
    SURE,
    Comparison,
    compare,
    fields_of_round,
)
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form

FORM = round_form()


def against(marks: dict[str, FieldReading], others: dict[str, FieldReading]) -> Comparison:
    blank = reading(FORM, {}).fields
    return compare(FORM, {**blank, **marks}, {**blank, **others})


def test_a_photo_that_shows_too_little_needs_a_hundred_to_one() -> None:
    assert math.exp(SURE) > 100
    assert not Comparison(against=-SURE).surely_same_round
    assert Comparison(against=-SURE - 0.01).surely_same_round
    assert not Comparison(against=SURE).surely_same_round


def test_two_scores_that_agree_speak_by_their_odds_and_one_that_differs_against() -> None:
    """Bayes factors by hand: (1 - 0.7) / (1 - 0.005) for each that agrees, 0.7 / 0.005 where one differs."""
    agree = {f"h0{n}.score": FieldReading(3, 0.999) for n in (1, 2)}
    assert against(agree, agree).against == 2 * math.log((1 - DIFFERS["number"]) / (1 - SLIP))
    other = {**agree, "h02.score": FieldReading(5, 0.999)}
    found = against(agree, other)
    assert found.changed == ("h02.score",)
    assert math.isclose(
        found.against, math.log((1 - DIFFERS["number"]) / (1 - SLIP)) + math.log(DIFFERS["number"] / SLIP)
    )
    assert not found.same_round


def test_what_a_person_entered_counts_as_good_as_what_was_read() -> None:
    stored = {**reading(FORM, {}).fields, "h01.score": FieldReading(3, 0.999)}
    answer = Answer("h01.score", 4, "Robin", RECORDED_AT, over=3)

    def changed(score: int, *answers: Answer) -> tuple[object, ...]:
        found = compare(FORM, stored, {**stored, "h01.score": FieldReading(score, 0.999)}, answers)
        return (*found.changed, *found.values.values())

    assert changed(4) == ("h01.score", (3, 4))
    assert changed(4, answer) == changed(3, answer) == ()
    assert changed(5, answer) == ("h01.score", (4, 5))
    back = Answer("h01.score", 3, "Robin", RECORDED_AT, over=4, takes_back=True)
    assert changed(4, answer, back) == ("h01.score", (3, 4))


def test_a_worst_phase_that_nobody_marked_is_no_mark_of_the_round() -> None:
    for marked in ("drive", None):
        round_ = round_from_reading(FORM, reading(FORM, {**PLAYED, "worst": marked}), recorded_at=RECORDED_AT)
        assert round_.worst.value == "drive"
        assert fields_of_round(FORM, round_)["worst"].value == marked


def test_a_throw_without_a_mark_is_no_mark() -> None:
    marks = {**PLAYED, "h01.drive": None}
    round_ = round_from_reading(FORM, reading(FORM, marks), recorded_at=RECORDED_AT)
    assert round_.holes[0].throws[0].execution.value == "unmarked"
    assert fields_of_round(FORM, round_)["h01.drive"].value is None
    assert compare(FORM, fields_of_round(FORM, round_), reading(FORM, marks).fields).same_marks
