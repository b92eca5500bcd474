"""How a doubtful field is asked: from its probability and from what a wrong value would change."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from shortpencil.scan.asking import ALONE_FROM, LEFT_BELOW, ask_of, risk_of
from shortpencil.scan.reading import GLANCE, ONE_BY_ONE, CardReading, FieldReading, reading_to_json
from shortpencil.scan.records.recording.kept import reading_from_text, reading_text


def test_both_thresholds_follow_from_seconds_and_from_the_share_that_an_eye_overlooks() -> None:
    # 1.5 s more for a question against three wrong values in ten, at 100 s each; 0.5 s against seven in ten
    assert pytest.approx(0.05) == ALONE_FROM
    assert pytest.approx(0.5 / 70) == LEFT_BELOW


@pytest.mark.parametrize(
    ("field", "value", "p", "others", "ask"),
    [
        ("h07.score", 4, 0.97, ((9, 0.03),), GLANCE),
        ("h07.score", 4, 0.80, ((9, 0.20),), ONE_BY_ONE),
        ("h07.putt1", "miss", 0.6, (), ONE_BY_ONE),
        ("h07.putt1.distance", 8, 0.6, ((9, 0.4),), GLANCE),
        ("h07.putt1.distance", 8, 0.9, ((9, 0.1),), None),
        ("h07.putt1.distance", 3, 0.9, ((8, 0.1),), GLANCE),
        ("h07.putt1.stance", None, 0.94, (("straddle", 0.06),), None),
        ("h07.why", 7, 0.95, ((2, 0.05),), GLANCE),
        ("h07.why", 7, 0.7, ((2, 0.3),), ONE_BY_ONE),
        ("date.day", 7, 0.97, ((2, 0.03),), GLANCE),
        ("r03.made", 7, 0.8, ((2, 0.2),), ONE_BY_ONE),
    ],
)
def test_a_field_is_asked_by_what_its_wrong_value_would_change(
    field: str, value: object, p: float, others: tuple, ask: str | None
) -> None:
    assert ask_of(field, value, p, others) == ask  # type: ignore[arg-type]


def test_what_must_be_looked_at_is_asked_one_by_one_however_sure_and_however_small() -> None:
    assert ask_of("h07.putt1.stance", "straddle", 0.999, (), must=True) == ONE_BY_ONE


def test_chances_that_no_alternative_names_count_with_full_weight() -> None:
    assert risk_of("h07.drive", "miss", 0.6, ()) == pytest.approx(0.4)
    assert risk_of("h07.putt1.distance", 8, 0.6, ((9, 0.3),)) == pytest.approx(0.3 * 0.02 + 0.1 * 0.1)


def reading(**fields: FieldReading) -> CardReading:
    return CardReading("photo.jpg", "read", serial="7K3MQ2XA", fields=fields)


def test_the_reading_as_json_says_of_each_field_how_it_is_asked_and_keeps_the_flag() -> None:
    card = reading(total=FieldReading(61, 0.97, "unclear", alternatives=((67, 0.03),), ask=GLANCE))
    shown = reading_to_json(card)["fields"]["total"]
    assert (shown["flag"], shown["ask"]) == ("unclear", GLANCE)
    assert reading_from_text(reading_text(card)).fields == card.fields


@pytest.mark.parametrize(
    ("flag", "ask"),
    [
        ("unclear: 4 (97%) or 9 (3%)", GLANCE),
        ("clean and miss are both filled", ONE_BY_ONE),
        ("struck out, and nothing else is filled", ONE_BY_ONE),
        ("written over or not a digit; your holes add up to 61, your total says 60", ONE_BY_ONE),
        ("the ink looks like 9, but your holes add up to 66, your total says 61", ONE_BY_ONE),
        ("cannot be seen in the picture", ONE_BY_ONE),
        (None, None),
    ],
)
def test_a_reading_kept_before_fields_said_how_they_are_asked_is_asked_by_its_flag(
    flag: str | None, ask: str | None
) -> None:
    card = reading(score=FieldReading(4, 0.97, flag, alternatives=((9, 0.03),)))
    data = json.loads(reading_text(card))
    del data["fields"]["score"]["ask"], data["fields"]["score"]["kind"]
    assert reading_from_text(json.dumps(data)).fields["score"].ask == ask


def test_a_reading_lists_what_is_asked_apart_from_what_is_doubtful() -> None:
    left = FieldReading(8, 0.95, "unclear", alternatives=((9, 0.05),))
    card = reading(a=left, b=replace_ask(left, GLANCE), c=FieldReading(3, 0.99))
    assert (card.flagged, card.asked) == (("a", "b"), ("b",))
    assert replace(card, fields={}).asked == ()


def replace_ask(answer: FieldReading, ask: str) -> FieldReading:
    return answer._replace(ask=ask)
