from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice import phases
from shortpencil.scan.practice.cost import Costs, Spread
from shortpencil.scan.practice.history import history_of
from tests.practice.invented import Player, hole, one_round, rounds_of, throw


def plain(drive, approach, putt, id_="a"):
    """A round with (misses, clean) throws of each phase, all on nine holes."""
    throws = [
        ("drive", "miss"),
    ] * drive[0]
    throws += [("drive", "clean")] * drive[1] + [("approach", "miss")] * approach[0]
    throws += (
        [("approach", "clean")] * approach[1] + [("putt", "miss")] * putt[0] + [("putt", "clean")] * putt[1]
    )
    return one_round(id_, [hole(1, [throw(i, p, e) for i, (p, e) in enumerate(throws, start=1)])])


def test_counts_of_one_round_by_hand():
    drive, approach, putt = phases.phases_of(history_of([plain((7, 11), (4, 14), (9, 21))]))
    assert (drive.last.misses, drive.last.marked, drive.last.rounds) == (7, 18, 1)
    assert drive.last.interval.middle == pytest.approx(7 / 18)
    assert putt.misses_a_round == 9
    assert approach.recent.interval.low < 4 / 18 < approach.recent.interval.high
    assert drive.p_highest_rate + approach.p_highest_rate + putt.p_highest_rate == pytest.approx(1)
    assert drive.p_highest_rate > putt.p_highest_rate  # 39 % against 30 %
    assert putt.p_costs_most > drive.p_costs_most  # nine misses against seven, a miss costs the same


def test_one_round_interval_is_jeffreys_widened_by_the_usual_factor():
    from scipy.stats import beta  # outside check

    (drive, _, _) = phases.phases_of(history_of([plain((7, 11), (4, 14), (9, 21))]))
    x, n = 7 / 1.5, 18 / 1.5
    expected = beta.ppf([0.05, 0.95], x + 0.5, n - x + 0.5)
    assert (drive.last.interval.low, drive.last.interval.high) == pytest.approx(expected)


def test_strokes_lost_against_simulation():
    truth = [(18.0, 8.5, 10.5, 0.40, 0.10), (22.0, 6.5, 14.5, 0.55, 0.12), (27.0, 7.5, 20.5, 0.60, 0.15)]
    lost = [phases._StrokesLost(*t[:3], Spread(*t[3:]), 0.0) for t in truth]
    generator = np.random.default_rng(2)
    draws = [
        n * generator.beta(a, b, 400_000) * np.maximum(0.02, generator.normal(c, sd, 400_000))
        for n, a, b, c, sd in truth
    ]
    share = np.bincount(np.argmax(draws, axis=0), minlength=3) / 400_000
    got = phases.p_largest([s.quantile for s in lost], [s.cdf for s in lost])
    assert got == pytest.approx(share, abs=0.005)
    for s, d in zip(lost, draws, strict=True):
        assert s.mean == pytest.approx(d.mean(), rel=0.005)
        ends = s.interval()
        assert (ends.low, ends.high) == pytest.approx(np.quantile(d, [0.05, 0.95]), rel=0.02)


def test_an_unsure_number_of_throws_widens_the_range():
    sure = phases._StrokesLost(22.0, 60.5, 140.5, Spread(0.55, 0.05), 0.0).interval()
    unsure = phases._StrokesLost(22.0, 60.5, 140.5, Spread(0.55, 0.05), 0.04).interval()
    assert unsure.low < sure.low < sure.high < unsure.high
    same = phases._throws_unsure(np.array([[18, 20, 30]] * 40), np.ones(40))
    varied = phases._throws_unsure(np.array([[18, 16, 30], [18, 24, 30]] * 20), np.ones(40))
    assert (same[0], same[2]) == pytest.approx((varied[0], varied[2]))
    # sd 4 about 20, 40 rounds: 4 / sqrt(40) / 20 = .0316
    assert varied[1] == pytest.approx(0.0316, rel=0.02)


def test_dear_misses_outweigh_many():
    e = history_of([plain((9, 9), (2, 16), (7, 23), str(i)) for i in range(6)])
    cost, sure = np.array([0.2, 0.5, 0.8]), np.array([0.02] * 3)
    known = Costs(cost, sure, (100, 100, 100), cost, sure, (True, True, True))
    drive, _, putt = phases.phases_of(e, costs=known)
    assert drive.misses_a_round > putt.misses_a_round
    assert putt.p_costs_most > 0.9 > drive.p_costs_most


def test_later_rounds_count_more_and_old_ones_not_at_all():
    old = [plain((16, 2), (4, 14), (6, 24), f"a{i}") for i in range(40)]
    new = [plain((2, 16), (4, 14), (6, 24), f"b{i}") for i in range(40)]
    drive = phases.phases_of(history_of(old + new))[0]
    assert drive.all.interval.middle == pytest.approx(0.5)
    assert drive.recent.interval.middle < 0.15
    assert drive.recent.rounds == 25


def test_unmarked_throws_make_no_rate():
    r = one_round("a", [hole(1, [throw(1, "drive", "unmarked"), throw(2, "putt", "unmarked", True)])])
    for p in phases.phases_of(history_of([r])):
        assert p.recent.marked == 0
        assert np.isnan(p.recent.interval.middle)
        assert (p.recent.interval.low, p.recent.interval.high) == (0.0, 1.0)
        assert p.strokes_a_round.middle == pytest.approx(0, abs=1e-6)


def test_a_prior_from_others_draws_a_newcomer_in():
    e = history_of([plain((9, 9), (4, 14), (6, 24))])
    own = phases.phases_of(e)[0]
    others = phases.PhasePrior((6.0, 6.0, 6.0), (14.0, 14.0, 14.0))
    drawn = phases.phases_of(e, prior=others)[0]
    assert 0.3 < drawn.recent.interval.middle < own.recent.interval.middle


def test_more_rounds_settle_a_difference_that_stays():
    def after(rounds, drives=(8, 10)):
        e = history_of([plain(drives, (3, 15), (4, 26), str(i)) for i in range(rounds)])
        return phases.outlook_of(phases.phases_of(e), rounds, 5.0, 0.9, 40)

    assert 1 <= after(2).more_rounds <= 12
    near = after(2, (5, 13)).more_rounds
    assert near is None or near > after(2).more_rounds
    assert after(6, (4, 14)).at_stake > 0


def test_order_of_rounds_in_memory_does_not_matter():
    rounds = rounds_of(Player(), 8, np.random.default_rng(11))
    one, two = phases.phases_of(history_of(rounds)), phases.phases_of(history_of(rounds[::-1]))
    assert one == two
    assert replace(one[0], phase="x") != two[0]


def test_days_on_which_more_is_thrown_and_more_of_it_missed_widen_the_range():
    # Five rounds of 4, 4, 4, 8 and 10 misses (mean 6, variance 32 / 5), all of one weight; rate and throws
    # are each unsure by a tenth. Drawn with the weight of 8 rounds towards errors that rise together,
    # (.1 + .1)^2 for the mean of five rounds: (5 x 6.4 / 36 + 8 x .04 x 5) / (4 + 8) a round, a fifth of it.
    misses, weight = np.array([4, 4, 4, 8, 10]), np.ones(5)
    one_round = (5 * 6.4 / 36 + 8 * 0.04 * 5) / 12
    got = phases._with_days(misses, weight, 0.1, 0.1)
    assert got == pytest.approx((one_round / 5 - 0.1**2) ** 0.5)
    even = phases._with_days(np.full(5, 6), weight, 0.1, 0.1)
    assert 0.1 <= even < got, "rounds alike tell of no days, and still throws are unsure"
