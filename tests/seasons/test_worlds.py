"""The invented seasons are what they say: exact truth, equal chances, nobody beats all knowledge."""

from __future__ import annotations

import numpy as np
import pytest

from tests.seasons import rules
from tests.seasons.worlds import (
    WORLDS,
    World,
    a_round,
    all_knowing,
    odds_after,
    play,
    players_of,
    strokes_by_phase,
)

BY_NAME = {world.name: world for world in WORLDS}


@pytest.mark.parametrize("name", ["taper", "beginners", "nine holes"])
def test_expected_strokes_are_what_rounds_bring_on_average(name: str) -> None:
    world = World("as played", "", days=0.0, holes=BY_NAME[name].holes, miss=BY_NAME[name].miss)
    players = players_of(world, 40, np.random.default_rng(1))
    odds = odds_after(world, players, np.zeros((40, 3)), 0)
    expected = strokes_by_phase(world, players.cost, odds).sum(axis=1) + 3 * world.holes
    scores = np.array(
        [a_round(world, players, odds, np.random.default_rng(seed)).score for seed in range(400)]
    )
    error = scores.std(axis=0) / np.sqrt(len(scores))
    z = (scores.mean(axis=0) - expected) / error
    assert np.abs(z.mean()) < 3 / np.sqrt(40)
    assert np.abs(z).max() < 4.5


def test_a_miss_lengthens_the_hole_by_its_cost() -> None:
    """The last throw of a phase tells its cost alone: drives, whose bad outcome brings exactly one throw."""
    world = World("as played", "", days=0.0, bad_luck=0.05, cost_low=(0.5,) * 3, cost_high=(0.5,) * 3)
    players = players_of(world, 2000, np.random.default_rng(2))
    seen = a_round(world, players, players.odds, np.random.default_rng(3))
    drives = seen.there & (seen.phase == 0)
    missed, clean = drives & seen.missed, drives & ~seen.missed
    told = seen.left[missed].mean() - seen.left[clean].mean()
    assert told == pytest.approx(0.45, abs=0.03)


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_nobody_does_better_than_all_knowing_on_average(world: World) -> None:
    players = players_of(world, 30, np.random.default_rng(4))
    best = all_knowing(world, players, 5).total
    idle = play(world, players, None, 5).total
    for name, rule in rules.SIMPLE.items():
        got = play(world, players, rule, 5).total
        if world.follows == 1.0:
            assert got.mean() >= best.mean() - 0.05, name
        if world.forget_rounds == float("inf") and world.follows == 1.0:
            assert (got >= best - 1e-9).all(), name  # programming is exact, player by player
        assert got.mean() <= idle.mean() + 1e-9, name  # practice never harms here


def test_a_season_is_the_same_again() -> None:
    world = BY_NAME["outcome"]
    players = players_of(world, 5, np.random.default_rng(6))
    one, two = (play(world, players, rules.by_last_count, 9) for _ in range(2))
    assert (one.strokes == two.strokes).all()
    assert (one.chosen == two.chosen).all()


def test_marks_are_as_the_world_says() -> None:
    players = players_of(BY_NAME["misses only"], 10, np.random.default_rng(7))
    seen = a_round(BY_NAME["misses only"], players, players.odds, np.random.default_rng(8))
    assert seen.clean.sum() == 0
    assert seen.misses.sum() > 0
    assert (seen.throws.sum(axis=1) == seen.score).all()
