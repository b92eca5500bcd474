"""A group's advice: one game, a plan for each focus, and nobody without an alias."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from shortpencil.scan.advice import Asked
from shortpencil.scan.group_advice import advise_group
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of


def test_each_player_has_a_plan_or_a_reason_and_is_counted(tmp_path: Path) -> None:
    with open_store(tmp_path / "club.sqlite") as store:
        for seed, name in enumerate(("Wren", "Ash")):
            store.add_rounds(rounds_of(Player(name=name), 8, np.random.default_rng(seed), prefix=name))
        found = advise_group(store, Asked(minutes=20))
    assert found is not None
    assert set(found.plans) == set(found.group.foci)
    assert set(found.group.foci) | set(found.group.without) == {"Wren", "Ash"} == set(found.played)
    assert {count for count, _day in found.played.values()} == {8}
    assert all(plan.minutes == 20 for plan in found.plans.values())
    assert found.left_out is None
    page = found.page()
    assert "Wren" in page
    assert "Ash" in page


def test_rounds_without_an_alias_are_no_group(tmp_path: Path) -> None:
    with open_store(tmp_path / "club.sqlite") as store:
        store.add_rounds(rounds_of(Player(name=None), 3, np.random.default_rng(1)))
        assert advise_group(store) is None
