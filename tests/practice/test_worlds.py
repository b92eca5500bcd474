"""The worlds themselves: their arithmetic against their own play, their columns against a real record."""

from dataclasses import fields, replace

import numpy as np
import pytest

from shortpencil.scan.practice.history import history_of
from tests.practice import worlds
from tests.practice.invented import hole, known, one_round, throw

STORMY = worlds.WORLDS[-1]


def test_expected_scores_are_the_mean_of_many_rounds():
    g = np.random.default_rng(3)
    players = worlds.players_of(STORMY, 6, g)
    days = worlds._even_days(players, 400, g)
    expected = worlds._values(players, days[0], days[1], None, days[2])["total"].sum(axis=2).mean(axis=1)
    played = worlds.play(players, 400, g, days=days)
    seen = played.score.sum(axis=2)
    error = seen.std(axis=1) / np.sqrt(400)
    assert np.all(np.abs(seen.mean(axis=1) - expected) < 4 * error)


@pytest.mark.parametrize("phase", [0, 1, 2])
def test_strokes_saved_are_what_a_phase_without_misses_saves(phase):
    g = np.random.default_rng(4)
    players = worlds.players_of(worlds.WORLDS[2], 5, g)
    truth = worlds.truth_of(players, g)
    odds = players.odds.copy()
    odds[:, phase] = -40.0
    days = worlds._even_days(players, 600, g)
    as_is = worlds.play(players, 600, g, days=days).score.sum(axis=2)
    clean = worlds.play(replace(players, odds=odds), 600, g, days=days).score.sum(axis=2)
    error = np.sqrt(as_is.var(axis=1) / 600 + clean.var(axis=1) / 600)
    assert np.all(np.abs(as_is.mean(axis=1) - clean.mean(axis=1) - truth.saved[:, phase]) < 4 * error)


def test_rates_and_curve_are_those_of_many_rounds():
    g = np.random.default_rng(5)
    players = worlds.players_of(worlds.WORLDS[1], 4, g)
    truth = worlds.truth_of(players, g)
    played = worlds.play(players, 800, g)
    t = played.throw
    for i in range(4):
        for k in range(3):
            at = (t["player"] == i) & (t["phase"] == k) & (t["column"] < (1, 2, 3)[k])
            assert t["missed"][at].mean() == pytest.approx(truth.rate[i, k], abs=0.02)
        near = (t["player"] == i) & (t["phase"] == 2) & (np.abs(t["distance"] - 5) < 0.5)
        assert t["holed"][near].mean() == pytest.approx(truth.curve[i, 3], abs=0.05)


def test_costs_alike_are_alike():
    g = np.random.default_rng(6)
    truth = worlds.truth_of(worlds.players_of(worlds.WORLDS[3], 40, g), g)
    assert truth.cost.mean() == pytest.approx(0.53, abs=0.06)
    assert np.all(truth.cost.std(axis=0) < 0.1)


def test_columns_are_those_of_the_same_rounds_kept_as_records():
    g = np.random.default_rng(7)
    players = worlds.players_of(replace(STORMY, written=0.7), 1, g)
    played = worlds.play(players, 5, g)
    (e,) = worlds.cards_of(played, g)
    rounds = []
    for r, head in enumerate(e.heads):
        holes = []
        for h in np.flatnonzero(e.hole_round == r):
            throws = []
            for i in np.flatnonzero(e.throw_hole == h):
                distance = e.throw_distance_m[i]
                written = {} if np.isnan(distance) else {"distance_m": distance, "distance": known(distance)}
                throws.append(
                    throw(
                        len(throws) + 1,
                        worlds.PHASES[e.throw_phase[i]],
                        ("clean", "miss", "unmarked")[e.throw_execution[i]],
                        {1: True, 0: False, -1: None}[int(e.throw_holed[i])],
                        **written,
                    )
                )
            penalty = int(e.hole_penalty[h])
            one = hole(int(e.hole_number[h]), throws, int(e.hole_par[h]), penalty)
            holes.append(replace(one, score=known(int(e.hole_score[h]))))
        rounds.append(one_round(head.id, holes, head.day))
    again = history_of(rounds)
    for f in fields(e):
        if f.name not in ("heads", "notes", "hole_length_m"):
            np.testing.assert_array_equal(getattr(again, f.name), getattr(e, f.name), err_msg=f.name)


def test_cut_and_joined_is_the_same():
    g = np.random.default_rng(8)
    played = worlds.play(worlds.players_of(worlds.WORLDS[0], 1, g), 6, g)
    (e,) = worlds.cards_of(played, g)
    first = worlds.first_rounds(e, 4)
    both = worlds.joined(first, first)
    assert first.misses.sum() + first.misses.sum() == both.misses.sum()
    assert both.hole_round[-1] == 7
    np.testing.assert_array_equal(both.throw_left[: len(first.throw_left)], first.throw_left)
    assert sum(n.round >= 4 for n in both.notes) == len(first.notes)


def test_what_is_not_marked_is_not_on_the_card():
    g = np.random.default_rng(9)
    played = worlds.play(worlds.players_of(worlds.WORLDS[5], 1, g), 10, g)
    (e,) = worlds.cards_of(played, g)
    assert e.clean.sum() == 0
    assert np.count_nonzero(e.throw_phase == 0) == 180
    assert e.misses.sum() > 60
