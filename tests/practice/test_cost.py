from dataclasses import replace

import numpy as np
import pytest

from scan.practice import cost
from scan.practice.evidence import evidence_of
from tests.practice.invented import Player, blank, hole, known, one_round, rounds_of, throw


def test_costs_are_equal_after_one_round():
    e = evidence_of(rounds_of(Player(), 1, np.random.default_rng(2)))
    got = cost.costs_of(e)
    assert got.mean == pytest.approx([cost.PRIOR_COST_STROKES] * 3)
    assert got.sd == pytest.approx([cost.PRIOR_COST_SD] * 3)
    assert got.holes == 0


def test_costs_against_ordinary_least_squares_when_holes_are_many():
    import statsmodels.api as sm  # outside check

    e = evidence_of(rounds_of(Player(), 200, np.random.default_rng(2)))
    design = np.column_stack([np.ones(len(e.hole_score)), e.hole_misses])
    outside = sm.OLS(e.hole_score - e.hole_par, design).fit()
    got = cost.costs_of(e)
    assert got.mean == pytest.approx(outside.params[1:], abs=0.01)
    assert got.sd == pytest.approx(outside.bse[1:], rel=0.03)


def test_few_holes_draw_costs_towards_the_prior():
    player = Player(cost=(0.0, 0.5, 1.0))
    sure = cost.costs_of(evidence_of(rounds_of(player, 100, np.random.default_rng(6)))).mean
    few = cost.costs_of(evidence_of(rounds_of(player, 2, np.random.default_rng(6)))).mean
    assert sure[0] < 0.1
    assert abs(few[0] - cost.PRIOR_COST_STROKES) < abs(sure[0] - cost.PRIOR_COST_STROKES)


def test_par_that_is_unknown_changes_no_cost():
    rounds = rounds_of(Player(), 40, np.random.default_rng(7))
    bare = [replace(r, holes=tuple(replace(h, par=blank()) for h in r.holes)) for r in rounds]
    with_par, without = cost.costs_of(evidence_of(rounds)), cost.costs_of(evidence_of(bare))
    assert without.mean == pytest.approx(with_par.mean, abs=1e-9)


def test_luck_is_score_minus_what_the_marks_would_bring():
    rounds = rounds_of(Player(), 30, np.random.default_rng(8))
    # the last round again, but each hole took one throw more, after the same marks
    worse = replace(
        rounds[-1],
        id="z",
        holes=tuple(replace(h, score=known(h.score.value + 1)) for h in rounds[-1].holes),
    )
    e = evidence_of([*rounds, worse])
    same, more = cost.luck_of(e, 29), cost.luck_of(e, 30)
    assert more.score == same.score + 18
    assert more.strokes.middle - same.strokes.middle == pytest.approx(18, abs=1.5)
    assert more.strokes.low < more.strokes.middle < more.strokes.high
    assert more.surprises[0].strokes > 1


def test_luck_needs_other_rounds_and_a_score():
    rounds = rounds_of(Player(), 3, np.random.default_rng(9))
    assert cost.luck_of(evidence_of(rounds), 2) is None
    bare = one_round("x", [replace(hole(1, [throw(1, "drive", "miss")]), score=blank())])
    assert cost.luck_of(evidence_of([bare]), 0) is None


def test_luck_interval_holds_its_share_of_repeated_worlds():
    # With no luck but chance, the expectation of a new round lies in the interval about 90 % of the time.
    # True expectation by brute force: the mean score of holes with the same misses in a large sample.
    big = evidence_of(rounds_of(Player(), 600, np.random.default_rng(10)))
    truth = cost.costs_of(big)
    inside = 0
    for seed in range(40):
        e = evidence_of(rounds_of(Player(), 12, np.random.default_rng(100 + seed)))
        got = cost.luck_of(e, 11)
        x, y, _ = cost._design(e)
        last = e.hole_round == 11
        true_luck = float((y[last] - x[last] @ truth.coefficients).sum())
        inside += got.strokes.low <= true_luck <= got.strokes.high
    assert 30 <= inside <= 40
