"""Answers taken back, and answers to a field that somebody else answered meanwhile."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from shortpencil.forms.errors import RecordError
from shortpencil.scan.records.composing.answers import Answer, AnsweredMeanwhile, standing
from shortpencil.scan.records.store import Store
from tests.records.test_store import add

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def test_only_the_last_answer_of_the_field_is_taken_back() -> None:
    first, other = Answer("total", 60, "Robin", NOON), Answer("worst", "putt", "Robin", NOON)
    second = Answer("total", 61, "Wren", NOON, over=60)
    back = Answer("total", 60, "Robin", NOON, over=61, takes_back=True)
    assert standing([first, other, second, back]) == (first, other)
    assert standing([first, other, second, back, back]) == (other,)
    assert standing([back]) == ()


def test_a_field_waits_again_when_its_answer_is_taken_back(store: Store) -> None:
    add(store, flags={"total": "faint"})
    before = store.rounds()[0]
    serial = before.id
    store.answer(serial, "total", 60, "Robin", NOON)
    assert store.card(serial).waiting == ()
    again = store.take_back(serial, "total", "Robin", NOON)
    assert again == before
    card = store.card(serial)
    assert card.waiting == ("total",)
    assert (card.answers[0].value, card.answers[0].takes_back) == (60, False)
    assert card.answers[1].takes_back
    assert card.answers[1].over == 60


def test_of_two_answers_the_last_is_taken_back_and_the_first_stands_again(store: Store) -> None:
    add(store, flags={"total": "faint"})
    serial = store.rounds()[0].id
    store.answer(serial, "total", 60, "Robin", NOON)
    store.answer(serial, "total", 61, "Wren", NOON)
    round_ = store.take_back(serial, "total", "Wren", NOON)
    assert round_ is not None
    assert (round_.total.value, round_.total.by) == (60, "Robin")
    last = store.answers(serial)[-1]
    assert (last.value, last.over, last.takes_back) == (60, 61, True)


def test_what_was_given_at_another_moment_stays(store: Store) -> None:
    add(store, flags={"total": "faint", "worst": "faint"})
    serial = store.rounds()[0].id
    store.answer(serial, "worst", "putt", "Robin", NOON - timedelta(seconds=1))
    store.answer(serial, "total", 60, "Robin", NOON)
    assert store.take_back_all(serial, NOON, "Robin", NOON) == 1
    assert [(a.field, a.value) for a in standing(store.answers(serial))] == [("worst", "putt")]


def test_nothing_can_be_taken_back_twice(store: Store) -> None:
    add(store, flags={"total": "faint"})
    serial = store.rounds()[0].id
    store.answer(serial, "total", 60, "Robin", NOON)
    store.take_back(serial, "total", "Robin", NOON)
    with pytest.raises(RecordError, match="can be taken back"):
        store.take_back(serial, "total", "Robin", NOON)
    assert len(store.answers(serial)) == 2


def test_an_answer_to_a_field_that_changed_meanwhile_is_refused(store: Store) -> None:
    add(store, flags={"total": "faint"})
    serial = store.rounds()[0].id
    store.answer(serial, "total", 60, "Robin", NOON, seen=0)
    with pytest.raises(AnsweredMeanwhile, match="Look again"):
        store.answer(serial, "total", 61, "Wren", NOON, seen=0)
    with pytest.raises(AnsweredMeanwhile):
        store.take_back(serial, "total", "Wren", NOON, seen=0)
    assert [answer.by for answer in store.answers(serial)] == ["Robin"]
    store.answer(serial, "total", 61, "Wren", NOON, seen=1)
    assert store.card(serial).fields["total"].value == 61


def test_what_waits_is_told_without_opening_a_card(store: Store, tmp_path: Path) -> None:
    add(store, flags={"total": "faint"})
    assert [(w.serial, (w.field,)) for w in store.waiting()] == list(store.waiting_fields())
    assert store.form_text("no such form") is None
