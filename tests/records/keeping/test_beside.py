"""The rounds that one player played on one day, without a look at the others."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from shortpencil.scan.records.store import Store
from tests.practice.invented import Player, rounds_of


def test_a_round_comes_with_those_of_its_player_and_day_and_no_others(store: Store) -> None:
    (one,) = rounds_of(Player(name="Wren"), 1, np.random.default_rng(1))
    same, later = date(2026, 8, 2), date(2026, 8, 3)
    given = [
        (same, "Wren"),
        (same, None),
        (same, "Wren"),
        (later, "Wren"),
        (same, None),
        (None, "Wren"),
        (None, "Wren"),
    ]
    for at, (day, player) in enumerate(given):
        played_on = replace(one.played_on, value=day and day.isoformat())
        store.add_rounds([replace(one, id=f"R{at}", player=player, played_on=played_on)])
    every = store.summaries()
    assert [line.played_on for line in every].count(None) == 2
    for line in every:
        expected = tuple(
            other
            for other in every
            if other.id == line.id
            or (line.played_on and (other.played_on, other.player) == (line.played_on, line.player))
        )
        assert store.summaries(beside=line.id) == expected
    assert store.summaries(beside="NONE") == ()
