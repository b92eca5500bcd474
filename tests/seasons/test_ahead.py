"""Playing the rest of a season out agrees with trying every order of sessions, and its bound is one."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from tests.seasons.advisers import Known, believing, expected, rival
from tests.seasons.ahead import PLAIN, Two, limit, looking_ahead, soon_known, unfolded
from tests.seasons.worlds import ROUNDS, WORLDS, Floats, all_knowing, play, players_of

BY_NAME = {world.name: world for world in WORLDS}
SESSIONS, PLAYERS = 4, 3


def two(tells: float) -> Two:
    g = np.random.default_rng(3)
    strokes = 5 - np.cumsum(g.random((2, SESSIONS + 1, PLAYERS, 3)), axis=1)
    told = np.full((SESSIONS + 1, PLAYERS, 3), tells)
    return Two(strokes, told, told)


def in_order(strokes: Floats, order: tuple[int, ...]) -> Floats:
    """Strokes of the rounds after each of these sessions, (2, P)."""
    total = np.zeros((2, PLAYERS))
    for i in range(1, len(order) + 1):
        total += sum(strokes[:, order[:i].count(k), :, k] for k in range(3))
    return total


def mixed(values: Floats, p: Floats) -> Floats:
    """(P, 3 first sessions, log odds): what is expected, given how probable the second way is."""
    return np.asarray((1 - p) * values[0] + p * values[1])


def test_who_learns_nothing_takes_the_best_of_all_orders() -> None:
    game = two(0.0)
    p = 1 / (1 + np.exp(-PLAIN[0]))
    found = mixed(unfolded(game, SESSIONS), p)
    for first in range(3):
        orders = [(first, *rest) for rest in product(range(3), repeat=SESSIONS - 1)]
        each = np.stack([in_order(game.strokes, order) for order in orders])  # (orders, 2, P)
        best = ((1 - p) * each[:, 0, :, None] + p * each[:, 1, :, None]).min(axis=0)
        assert found[:, first] == pytest.approx(best)


def test_who_learns_all_after_a_round_takes_the_best_order_of_the_way_that_holds() -> None:
    game = two(400.0)
    p = 1 / (1 + np.exp(-PLAIN[0]))
    middle = len(p) // 2
    found = mixed(unfolded(game, SESSIONS), p)[..., middle]
    for first in range(3):
        orders = [(first, *rest) for rest in product(range(3), repeat=SESSIONS - 1)]
        each = np.stack([in_order(game.strokes, order) for order in orders]).min(axis=0)  # (2, P)
        # At the ends of the grid of log odds, 5, the other way still has a chance of 1 in 150.
        assert found[:, first] == pytest.approx(each.mean(axis=0), abs=0.05)


def test_what_rounds_tell_is_worth_something_and_never_costs() -> None:
    p = 1 / (1 + np.exp(-PLAIN[0]))
    none, some, much = (mixed(unfolded(two(t), SESSIONS), p).min(axis=1) for t in (0.0, 1.0, 400.0))
    middle = len(p) // 2
    assert (some <= none + 1e-3).all()
    assert (much[:, middle] <= some[:, middle] + 1e-3).all()
    assert (some[:, middle] < none[:, middle]).any()


def test_nobody_who_knows_less_is_below_the_bound() -> None:
    worlds = [BY_NAME["taper"], BY_NAME["steady"]]
    players = [players_of(w, 3, np.random.default_rng(4)) for w in worlds]
    beliefs = (0.02, 0.5, 0.98)
    bounds = limit(worlds, players, 5, beliefs, grid=PLAIN)
    for belief, (one, other) in zip(beliefs, bounds, strict=True):
        bound = (1 - belief) * one.mean() + belief * other.mean()
        assert bound >= 0
        if belief != 0.5:
            sure = one if belief < 0.5 else other
            assert sure.mean() < 0.1  # who is nearly sure of the world, and right, gives nearly nothing up
        rule = rival(expected, believing(belief))
        lost = [
            (play(w, p, rule, 5).total - all_knowing(w, p, 5).total).mean()
            for w, p in zip(worlds, players, strict=True)
        ]
        assert (1 - belief) * lost[0] + belief * lost[1] > bound


def test_before_the_last_session_looking_ahead_is_the_tools_own_rule() -> None:
    picked: dict[int, tuple[Floats, Floats]] = {}

    def listening(known: Known) -> Floats:
        value = expected(known)
        if known.at == ROUNDS - 2:
            picked[known.at] = (value, looking_ahead(known))
        return value

    world = BY_NAME["speeds"]
    play(world, players_of(world, 6, np.random.default_rng(8)), rival(listening), 9)
    value, ahead = picked[ROUNDS - 2]
    assert ahead - ahead[:, :1] == pytest.approx(value - value[:, :1], abs=1e-9)


def test_the_bound_wants_players_who_start_alike() -> None:
    worlds = [BY_NAME["taper"], BY_NAME["beginners"]]
    players = [players_of(w, 2, np.random.default_rng(4)) for w in worlds]
    with pytest.raises(ValueError, match="start alike"):
        limit(worlds, players, 5, (0.5,))


def test_were_all_known_soon_a_season_is_played_well_too() -> None:
    world = BY_NAME["taper"]
    players = players_of(world, 6, np.random.default_rng(6))
    best, idle = all_knowing(world, players, 7).total, play(world, players, None, 7).total
    got = play(world, players, rival(soon_known), 7).total
    assert (got >= best - 1e-9).all()
    assert (got - best).mean() < 0.3 * (idle - best).mean()
