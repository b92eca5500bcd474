"""A card of misses: no mark says clean, so the card declares; and no gap, no rate is made of that."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.rules import rules_of
from shortpencil.scan.practice.cost import costs_of
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of, only_misses, rated, results_known
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.validate import validate

FORM = load_form("short18")
WHEN = datetime(2026, 6, 21, 18, 0, tzinfo=UTC)
DAY = {"date.day": 21, "date.month": 6, "date.year": 26}


def played(**missed: int) -> Round:
    """Eighteen holes in four throws each; `missed` counts the first holes on which a column missed."""
    marks: dict[str, object] = {**DAY, **{f"h{hole:02d}.score": 4 for hole in range(1, 19)}}
    for column, count in missed.items():
        marks |= {f"h{hole:02d}.{column}": "miss" for hole in range(1, count + 1)}
    fields = {f.id: FieldReading(marks.get(f.id), 0.999) for f in FORM.fields}
    card = CardReading("s.jpg", "read", serial="8JSHR4Z5", fields=fields, photo_sha256="c" * 64)
    return round_from_reading(FORM, card, recorded_at=WHEN)


def test_the_form_declares_it() -> None:
    assert rules_of(FORM).only_misses
    assert not rules_of(load_form("round18")).only_misses
    assert "No mark says: clean" in FORM.statement


def test_a_throw_that_must_have_been_made_and_has_no_mark_was_clean() -> None:
    first = played(approach2=1).holes[0]
    assert [(t.phase, t.execution.known, t.execution.source) for t in first.throws] == [
        ("drive", "clean", "default"),
        ("approach", "clean", "default"),
        ("approach", "miss", "read"),
    ]


def test_throws_without_a_mark_are_no_gap() -> None:
    assert [f.says for f in validate(played(drive=6, putt1=3))] == []


@pytest.mark.parametrize("missed", [{"drive": 6, "putt1": 3}, {"drive": 1}, {"approach1": 18}])
def test_the_advice_counts_its_misses_and_makes_a_rate_of_drives_alone(missed: dict[str, int]) -> None:
    history = history_of([played(**missed)])
    assert only_misses(history).tolist() == [True]
    assert not results_known(history).any()
    assert int(history.misses.sum()) == sum(missed.values())
    # A hole has one drive; how many approaches and putts there were, no card tells.
    drives = missed.get("drive", 0)
    assert history.clean.tolist() == [[18 - drives, 0, 0]]
    assert rated(history).marked.tolist() == [[18, 0, 0]]
    assert not rated(history).hole_misses.any()
    focus = focus_of(history)
    assert focus is not None
    assert [p.recent.marked for p in focus.phases] == [18, 0, 0]
    assert focus.phases[0].recent.interval.middle == pytest.approx(drives / 18)
    assert all(np.isnan(p.recent.interval.middle) for p in focus.phases[1:])
    assert focus.by_rate == focus.by_count
    (said,) = [remark for remark in focus.remarks if "mark only misses" in remark]
    assert "Drives have a rate, since a hole has one; approaches and putts have counts" in said


def test_what_a_missed_drive_costs_is_learnt_from_short_cards() -> None:
    """Drives are missed on the first six holes, which take a stroke more each time."""
    marks = {f"h{hole:02d}.score": 4 if hole <= 6 else 3 for hole in range(1, 19)}
    rounds = []
    for day in range(1, 9):
        own = {
            **DAY,
            "date.day": day,
            **marks,
            **{f"h{(hole + day) % 18 + 1:02d}.drive": "miss" for hole in range(6)},
        }
        own |= {f"h{hole:02d}.score": 4 if own.get(f"h{hole:02d}.drive") else 3 for hole in range(1, 19)}
        fields = {f.id: FieldReading(own.get(f.id), 0.999) for f in FORM.fields}
        card = CardReading("s.jpg", "read", serial=f"8JSHR4Z{day}", fields=fields, photo_sha256=f"{day}" * 64)
        rounds.append(round_from_reading(FORM, card, recorded_at=WHEN))
    costs = costs_of(history_of(rounds))
    assert costs.mean[0] == pytest.approx(1.0, abs=0.15)
    assert 0.5 < costs.mean[1] < 0.75, "of the others only what dear drives make likely"
    assert costs.mean[1] == pytest.approx(costs.mean[2])


@pytest.mark.parametrize("name", ["round18", "short18"])
def test_the_german_card_keeps_the_same_under_the_same_ids(name: str) -> None:
    own, german = load_form(name), load_form(f"{name}-de")
    assert [(f.id, f.type, f.digits, [o.id for o in f.options]) for f in own.fields] == [
        (f.id, f.type, f.digits, [o.id for o in f.options]) for f in german.fields
    ]
    assert [(c.number, c.id) for c in own.causes] == [(c.number, c.id) for c in german.causes]
    assert rules_of(own) == rules_of(german)
