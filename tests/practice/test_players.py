import numpy as np
import pytest

from shortpencil.scan.practice import players as g
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.phases import phases_of
from tests.practice.invented import Player, rounds_of
from tests.practice.test_phases import plain


def club(size, rounds=6, spread_between_players=0.3, seed=1):
    generator = np.random.default_rng(seed)
    everyone = {}
    for i in range(size):
        odds = np.log(
            [0.35 / 0.65, 0.30 / 0.70, 0.25 / 0.75]
        ) + spread_between_players * generator.standard_normal(3)
        player = Player(name=f"p{i:02d}", miss=tuple(1 / (1 + np.exp(-odds))))
        everyone[player.name] = history_of(rounds_of(player, rounds, generator, prefix=f"{i}-"))
    return everyone


def test_beta_of_rates_is_recovered():
    generator = np.random.default_rng(2)
    n = np.full(300, 60.0)
    x = generator.binomial(60, generator.beta(9, 21, 300)).astype(float)
    a, b = g._beta_of(np.sum([g._log_likelihood_of(*pair) for pair in zip(x, n, strict=True)], axis=0))
    assert a / (a + b) == pytest.approx(0.3, abs=0.015)
    assert a + b == pytest.approx(30, rel=0.3)


def test_equal_players_make_a_strong_prior_and_unlike_players_a_weak_one():
    same, unlike = (
        g.prior_from(club(12, spread_between_players=0.0)),
        g.prior_from(club(12, spread_between_players=1.0)),
    )
    assert same.misses[0] + same.clean[0] > 3 * (unlike.misses[0] + unlike.clean[0])


def test_a_newcomer_is_drawn_to_the_group_and_an_old_hand_is_not():
    prior = g.prior_from(club(12))
    three = history_of([plain((12, 6), (5, 13), (8, 22), str(i)) for i in range(3)])
    many = history_of([plain((12, 6), (5, 13), (8, 22), f"{i:03d}") for i in range(40)])
    own, drawn = phases_of(three)[0], phases_of(three, prior=prior)[0]
    assert 0.4 < drawn.recent.interval.middle < own.recent.interval.middle
    assert (
        drawn.recent.interval.high - drawn.recent.interval.low
        < own.recent.interval.high - own.recent.interval.low
    )
    assert phases_of(many, prior=prior)[0].recent.interval.middle > 0.55


def test_pooling_errs_less_than_own_rates_alone():
    generator = np.random.default_rng(7)
    truth, everyone = {}, {}
    for i in range(30):
        odds = np.log([0.35 / 0.65, 0.30 / 0.70, 0.25 / 0.75]) + 0.3 * generator.standard_normal(3)
        player = Player(name=f"p{i:02d}", miss=tuple(1 / (1 + np.exp(-odds))))
        truth[player.name] = np.array(player.miss)
        everyone[player.name] = history_of(rounds_of(player, 3, generator))
    alone, pooled = [], []
    for name, e in everyone.items():
        prior = g.prior_from({k: v for k, v in everyone.items() if k != name})
        rates = np.array([p.recent.interval.middle for p in phases_of(e)])
        drawn = np.array([p.recent.interval.middle for p in phases_of(e, prior=prior)])
        alone.append(np.mean((rates - truth[name]) ** 2))
        pooled.append(np.mean((drawn - truth[name]) ** 2))
    assert np.mean(pooled) < 0.8 * np.mean(alone)


def test_too_few_others_make_no_prior():
    assert g.prior_from(club(g.LEAST_OTHERS - 1)) is None
    assert g.prior_from({}) is None


def test_small_cells_are_hidden():
    got = g.group_of(club(14))
    shown = [c.players for c in got.cells if c.players is not None]
    assert all(n >= g.LEAST_IN_CELL for n in shown)
    assert any(c.players is None for c in got.cells)
    assert list(got.foci) == sorted(got.foci)
    assert got.hidden_players is None or got.hidden_players >= g.LEAST_IN_CELL


def test_a_group_too_small_shows_no_cell_at_all():
    got = g.group_of(club(4))
    assert all(c.players is None for c in got.cells)
    assert got.hidden_players is None
    assert len(got.foci) == 4


def test_each_member_is_drawn_towards_the_others_and_not_towards_itself():
    everyone = club(6, rounds=3)
    got = g.group_of(everyone)
    for alias, history in everyone.items():
        rest = {name: e for name, e in everyone.items() if name != alias}
        alone = phases_of(history, prior=g.prior_from(rest))
        for one, two in zip(got.foci[alias].phases, alone, strict=True):
            assert one.recent.interval.middle == pytest.approx(two.recent.interval.middle)


def test_players_without_a_focus_are_named_with_the_reason():
    everyone = club(3) | {"quiet": history_of([])}
    assert "no round yet" in g.group_of(everyone).without["quiet"]
