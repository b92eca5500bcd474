from dataclasses import replace

import numpy as np
import pytest

from scan.practice import cost
from scan.practice.evidence import evidence_of
from tests.practice.invented import Player, blank, hole, one_round, rounds_of, throw


def test_costs_are_equal_after_one_round():
    got = cost.costs_of(evidence_of(rounds_of(Player(), 1, np.random.default_rng(2))))
    assert got.mean == pytest.approx([cost.PRIOR_COST_STROKES] * 3)
    assert got.sd == pytest.approx([cost.PRIOR_COST_SD] * 3)
    assert got.throws == (0, 0, 0)


def test_cost_by_hand():
    # 200 holes: after a clean drive 2 more throws, after a missed one 2 or 3, half and half
    def played(missed, extra):
        throws = [throw(1, "drive", "miss" if missed else "clean"), throw(2, "approach", "clean")]
        throws += [throw(3, "approach", "clean")] * extra
        return hole(1, [*throws, throw(3 + extra, "putt", "clean", True)])

    rounds = [one_round(str(i), [played(True, i % 2), played(False, 0)]) for i in range(200)]
    got = cost.costs_of(evidence_of(rounds))
    assert got.mean[0] == pytest.approx(0.5, abs=0.01)
    assert got.throws == (400, 500, 400)
    assert got.interval(0).low < 0.5 < got.interval(0).high
    assert got.interval(0).high - got.interval(0).low < 0.15
    # nothing but clean approaches: no comparison, the prior stands
    assert (got.mean[1], got.sd[1]) == pytest.approx((cost.PRIOR_COST_STROKES, cost.PRIOR_COST_SD))


def test_slope_and_its_error_against_clustered_least_squares():
    import statsmodels.api as sm  # outside check

    e = evidence_of(rounds_of(Player(), 120, np.random.default_rng(2)))
    at = e.throw_phase == 2
    place = np.minimum(cost.place_in_phase(e)[at], 3)
    design = np.column_stack([e.throw_execution[at] == 1, *(place == i for i in range(3))]).astype(float)
    fit = sm.OLS(e.throw_left[at], design).fit(
        cov_type="cluster", cov_kwds={"groups": e.throw_hole[at], "use_correction": False}
    )
    got = cost.costs_of(e)
    assert got.mean[2] == pytest.approx(fit.params[0], abs=0.01)
    assert got.sd[2] == pytest.approx(fit.bse[0], rel=0.05)


def test_costs_come_out_as_made():
    # Invented putts: a miss stays out with probability c and may be missed again, so a miss in a first putt
    # costs c (1 + t), t = p c, in a second c, in a third nothing: on average (t + 2 t^2) / (M p), with M =
    # 1 + t + t^2 putts a hole. Invented approaches: only the last one before the putt can cost, so c / M with
    # M = 1 + .35 x .4 + .3 x .5 approaches a hole.
    p, c = 0.25, 0.6
    t = p * c
    putt = (t + 2 * t * t) / ((1 + t + t * t) * p)
    approach = 0.5 / (1 + 0.35 * 0.4 + 0.3 * 0.5)
    player = Player(miss=(0.35, 0.30, p), cost=(0.4, 0.5, c))
    got = cost.costs_of(evidence_of(rounds_of(player, 400, np.random.default_rng(3))))
    assert got.mean == pytest.approx([0.4, approach, putt], abs=0.04)


def test_few_throws_draw_costs_towards_the_prior():
    player = Player(cost=(0.0, 0.5, 1.0))
    sure = cost.costs_of(evidence_of(rounds_of(player, 100, np.random.default_rng(6)))).mean
    few = cost.costs_of(evidence_of(rounds_of(player, 2, np.random.default_rng(6)))).mean
    assert sure[0] < 0.1
    assert abs(few[0] - cost.PRIOR_COST_STROKES) < abs(sure[0] - cost.PRIOR_COST_STROKES)


def test_par_and_throws_without_a_mark_change_no_cost():
    rounds = rounds_of(Player(), 40, np.random.default_rng(7))
    bare = [replace(r, holes=tuple(replace(h, par=blank()) for h in r.holes)) for r in rounds]
    assert cost.costs_of(evidence_of(bare)).mean == pytest.approx(cost.costs_of(evidence_of(rounds)).mean)
    unmarked = [replace(r, holes=tuple(unmark(h) for h in r.holes)) for r in rounds]
    assert (
        cost.costs_of(evidence_of([*rounds, *unmarked])).throws == cost.costs_of(evidence_of(rounds)).throws
    )


def unmark(h):
    return replace(h, throws=tuple(replace(t, execution=blank()) for t in h.throws))
