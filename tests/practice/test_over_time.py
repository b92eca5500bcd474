import numpy as np
import pytest

from shortpencil.scan.practice import over_time as o
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.rate_charts import time_charts
from tests.practice.invented import Player, rounds_of
from tests.practice.test_model import NIST_COUNTS
from tests.practice.test_phases import plain


def test_p_chart_of_the_handbook():
    # NIST/SEMATECH e-Handbook 6.3.3.2, 30 samples of 50 (quoted, V): centre .2313, limits .0524 and .4102
    # (the handbook prints .4103; unrounded .410239, .052428)
    centre, low, high = o.p_chart(NIST_COUNTS, [50] * 30)
    assert centre == pytest.approx(0.2313, abs=6e-5)
    assert (low[0], high[0]) == pytest.approx((0.052428, 0.410239), abs=1e-6)
    rate = np.array(NIST_COUNTS) / 50
    assert (np.flatnonzero((rate < low) | (rate > high)) + 1).tolist() == [15, 23]
    kept = [c for i, c in enumerate(NIST_COUNTS, start=1) if i not in (15, 23)]
    # Montgomery (from memory, V): without them .2150, .3893, .0407, and sample 21 (.40) lies above
    centre, low, high = o.p_chart(kept, [50] * 28)
    assert (centre, high[0], low[0]) == pytest.approx((0.2150, 0.3893, 0.0407), abs=6e-5)
    assert high[0] < 20 / 50


def test_limits_follow_the_size_of_each_round_and_its_spread():
    _, low, high = o.p_chart([45, 90], [90, 180])
    assert high[0] - low[0] > high[1] - low[1]
    _, low_wide, high_wide = o.p_chart([45, 90], [90, 180], factor=4.0)
    assert (high_wide - low_wide) == pytest.approx(2 * (high - low))


def test_ewma_of_the_handbook():
    # NIST/SEMATECH e-Handbook 6.3.2.4 (data from memory, V): lambda .3, start 50, s 2.0539
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6]
    x += [52.4, 53.6, 52.1]
    expected = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52]
    expected += [50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    got = o.ewma(x, 0.3, 50.0)
    assert got == pytest.approx(expected, abs=0.0055)
    reach = 3 * 2.0539 * (0.3 / 1.7) ** 0.5
    assert (50 + reach, 50 - reach) == pytest.approx((52.5884, 47.4115), abs=1e-3)
    assert np.all(np.abs(got - 50) < reach)


def test_ewma_of_rates():
    # own example, arithmetic: misses 9 7 8 5 6 4 of 18, lambda .3, started at the first
    rates = np.array([9, 7, 8, 5, 6, 4]) / 18
    got = o.ewma(rates, 0.3, rates[0])
    assert got == pytest.approx([0.5, 0.4667, 0.46, 0.4053, 0.3837, 0.3353], abs=6e-5)


def test_rounds_of_nine_and_of_eighteen_holes_never_stand_in_one_chart():
    long = rounds_of(Player(), 7, np.random.default_rng(1))
    short = rounds_of(Player(), 3, np.random.default_rng(2), holes=9)
    mixed = history_of([*long[:4], *short, *long[4:]])
    eighteen, nine = o.lengths_of(mixed, 0)
    assert (eighteen.holes, nine.holes) == (18, 9)
    assert sorted((*eighteen.rounds, *nine.rounds)) == list(range(10))
    assert eighteen.chart.rounds == eighteen.rounds
    assert nine.chart is None  # too few for limits of chance
    alone = o.chart_of(history_of(long), 0)
    assert eighteen.chart.rate == pytest.approx(alone.rate)
    assert eighteen.chart.centre == pytest.approx(alone.centre)
    titles = [picture.title for picture in time_charts(mixed, "drive", (eighteen, nine))]
    assert titles == [f"Missed drives, round by round, {holes} holes" for holes in (18, 9)]
    (only,) = time_charts(history_of(long), "drive", o.lengths_of(history_of(long), 0))
    assert only.title == "Missed drives, round by round"


def test_no_chart_and_no_change_from_few_rounds():
    few = history_of(rounds_of(Player(), o.CHART_ROUNDS - 1, np.random.default_rng(1)))
    assert o.chart_of(few, 0) is None
    some = history_of(rounds_of(Player(), o.CHANGE_ROUNDS - 1, np.random.default_rng(1)))
    assert o.chart_of(some, 0) is not None
    assert o.changes_of(some) == ()


def test_a_round_far_out_is_marked():
    rounds = [plain((5, 13), (5, 13), (8, 22), str(i)) for i in range(12)]
    rounds[7] = plain((17, 1), (5, 13), (8, 22), "7")
    chart = o.chart_of(history_of(rounds), 0)
    assert chart.outside == (7,)
    assert o.chart_of(history_of(rounds), 1).outside == ()
    assert np.all((chart.smoothed_low <= chart.centre) & (chart.centre <= chart.smoothed_high))


def test_a_change_is_found_where_it_was_made():
    rounds = [plain((9, 9), (5, 13), (8, 22), f"a{i}") for i in range(10)]
    rounds += [plain((3, 15), (5, 13), (8, 22), f"b{i}") for i in range(10)]
    drive, approach, putt = o.changes_of(history_of(rounds))
    assert (drive.at, drive.before_throws, drive.after_throws) == (10, 180, 180)
    assert drive.p_changed > 0.95
    assert drive.p_fell > 0.99
    assert drive.before.low > drive.after.high
    assert max(approach.p_changed, putt.p_changed) < 0.1


def test_probability_of_a_change_by_hand():
    # 8 rounds with 3 on either side leave the cuts 3, 4, 5: the beta functions written out
    x, n = np.array([9, 9, 9, 9, 3, 3, 3, 3]), np.full(8, 18)
    got = o.change_in(x, n, "drive", 0.5)
    factor = o._spread_within_runs(x.astype(float), n.astype(float))

    def beta(a, b):
        from math import lgamma

        return lgamma(a) + lgamma(b) - lgamma(a + b)

    def marginal(misses, throws):
        return beta(misses / factor + 1, (throws - misses) / factor + 1)

    cuts = [
        np.exp(marginal(x[:k].sum(), n[:k].sum()) + marginal(x[k:].sum(), n[k:].sum())) for k in (3, 4, 5)
    ]
    none = np.exp(marginal(x.sum(), n.sum()))
    assert got.p_changed == pytest.approx(np.mean(cuts) / (np.mean(cuts) + none), rel=1e-9)
    assert got.at == 4


def test_changes_are_seldom_seen_where_nothing_changed():
    seen = 0
    for seed in range(25):
        e = history_of(rounds_of(Player(spread=0.3), 20, np.random.default_rng(seed)))
        seen += any(c.p_changed >= 0.9 for c in o.changes_of(e))
    assert seen <= 3


def test_spread_of_windy_rounds_is_no_change():
    alternating = [plain(((12, 6) if i % 2 else (3, 15)), (5, 13), (8, 22), str(i)) for i in range(20)]
    assert o.changes_of(history_of(alternating))[0].p_changed < 0.2


def test_questions_are_adjusted_for_how_many_were_asked():
    e = history_of(rounds_of(Player(), 12, np.random.default_rng(3)))
    found = o.noticed_in(e)
    assert len(found) >= 7
    assert all(n.p_adjusted >= n.p for n in found)
    assert [n.p for n in found] == sorted(n.p for n in found)
    drift = next(n for n in found if n.question == "drive: earlier rounds and later ones")
    assert drift.first[1] + drift.second[1] == e.marked[:, 0].sum()


def test_a_real_difference_stands_out():
    rounds = [plain((9, 9), (5, 13), (8, 22), f"a{i}") for i in range(10)]
    rounds += [plain((3, 15), (5, 13), (8, 22), f"b{i}") for i in range(10)]
    first = o.noticed_in(history_of(rounds))[0]
    assert first.question == "drive: earlier rounds and later ones"
    assert first.stands_out
    assert (first.first, first.second) == ((90, 180), (30, 180))
