"""The sums that a card promises, from its form."""

from __future__ import annotations

from dataclasses import replace

from shortpencil.forms.catalog import load_form
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.rules import rules_of


def test_a_tally_is_of_the_throws_of_its_phase_alone() -> None:
    rules = rules_of(load_form("round9"))
    of = {tally.phase: tally.throws for tally in rules.tallies}
    assert of["drive"] == tuple(f"h0{n}.drive" for n in range(1, 10))
    assert of["approach"] == tuple(f"h0{n}.approach{k}" for n in range(1, 10) for k in (1, 2))
    assert of["putt"] == tuple(f"h0{n}.putt{k}" for n in range(1, 10) for k in (1, 2, 3))
    assert rules.total is not None
    assert rules.total.scores == tuple(f"h0{n}.score" for n in range(1, 10))


def test_a_card_declares_that_only_misses_are_marked_for_every_throw_or_not_at_all() -> None:
    form = load_form("short18")
    throws = {name for hole in rules_of(form).holes for name, _ in hole.throws}
    fields = tuple(
        replace(field, default=None) if field.id in throws and ".putt" in field.id else field
        for field in form.fields
    )
    assert rules_of(form).only_misses
    assert not rules_of(replace(form, fields=fields)).only_misses


def test_a_round_card_without_scores_promises_no_sum_of_them() -> None:
    rows = """
name = "drives"
title = "Drives"
record = "round"
[rows]
prefix = "h"
count = 3
[[rows.left]]
id = "drive"
type = "choose-one"
options = [{id = "clean", label = "clean"}, {id = "miss", label = "miss"}]
[[foot]]
id = "total"
type = "number"
digits = 2
"""
    rules = rules_of(form_from_toml(rows, source="drives"))
    assert (rules.holes, rules.total, rules.only_misses) == ((), None, False)
