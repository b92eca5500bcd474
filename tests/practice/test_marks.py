from dataclasses import replace

import numpy as np
import pytest

from shortpencil.forms.drawing import Words
from shortpencil.scan.practice import marks
from shortpencil.scan.practice.cost import COLOURED_MISSES, Spread, costs_of
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import bare_throws, history_of, only_misses, rated
from shortpencil.scan.practice.over_time import lengths_of
from shortpencil.scan.practice.phases import phases_of
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.practice.rate_charts import time_charts
from shortpencil.scan.practice.results import two_by_two
from shortpencil.scan.practice.screen import screen
from tests.practice import worlds
from tests.practice.invented import hole, known, one_round, throw


def world(name):
    return next(w for w in worlds.WORLDS if w.name == name)


def some(name, players=1, rounds=12, seed=5):
    g = np.random.default_rng(seed)
    return list(worlds.cards_of(worlds.play(worlds.players_of(world(name), players, g), rounds, g), g))


def test_throws_that_only_the_score_tells_of():
    # five throws by the score: the drive and the first putt are marked; an approach and, since a putt is
    # known, whatever came last are not
    throws = [throw(1, "drive", "miss"), throw(2, "putt", "miss")]
    one = replace(hole(1, throws), score=known(4))
    assert bare_throws(history_of([one_round("a", [one])])).tolist() == [[0, 1, 1]]
    # both approach columns are filled: the further throw had no place on the card
    full = [throw(1, "drive", "miss"), throw(2, "approach", "miss"), throw(3, "approach", "clean")]
    over = replace(hole(1, [*full, throw(4, "putt", "clean", None)]), score=known(5))
    assert bare_throws(history_of([one_round("a", [over])])).tolist() == [[0, 0, 0]]


def test_where_there_is_no_rate_there_is_no_scale():
    (e,) = some("misses only")
    (picture,) = time_charts(e, "drive", lengths_of(rated(e), 0))
    said = [shape.text for shape in picture.shapes if isinstance(shape, Words)]
    assert any("no clean throws are marked" in text for text in said)
    assert not [text for text in said if "%" in text]


def test_a_card_of_misses_only_makes_counts_and_no_rates():
    (e,) = some("misses only")
    assert only_misses(e).all()
    f = focus_of(e)
    assert all(np.isnan(p.recent.interval.middle) and not p.recent.marked for p in f.phases)
    assert all(p.recent.misses > 0 and p.strokes_a_round.middle > 0 for p in f.phases)
    assert f.by_rate == f.by_count
    assert any("mark only misses" in r for r in f.remarks)
    assert sum(p.p_costs_most for p in f.phases) == pytest.approx(1)
    # nothing is made of results that only missed throws have
    assert putting_of(e).curve is None
    assert all(t.clean_good + t.clean_bad == 0 for t in two_by_two(e)[2:])


def test_no_absurd_aim_for_a_card_of_misses_only():
    from importlib.resources import files

    from shortpencil.scan.practice.plan import drills_from_toml

    (e,) = some("misses only")
    f = focus_of(e)
    text = files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
    plan = plan_of(f, 30, drills_from_toml(text, "drills.toml"))
    assert plan.aim.usual is None
    assert plan.aim.count >= 5
    lines = screen(e, f, plan)
    assert not any("nan" in line for line in lines)
    assert not any("100 %" in line for line in lines)


def test_a_few_cards_of_misses_only_among_others_are_left_out_of_the_rates():
    (e,) = some("plain", rounds=10)
    (bare,) = some("misses only", rounds=3)
    both = worlds.joined(bare, e)
    alone, mixed = phases_of(e), phases_of(both)
    for one, two in zip(alone, mixed, strict=True):
        assert two.recent.interval.middle == pytest.approx(one.recent.interval.middle, abs=0.02)
    assert any("with only misses marked are left out" in r for r in focus_of(both).remarks)


def test_who_marks_everything_and_misses_everything_marks_everything():
    holes = [
        hole(n, [throw(1, "drive", "miss"), throw(2, "approach", "miss"), throw(3, "putt", "miss", True)])
        for n in range(1, 19)
    ]
    e = history_of([one_round("a", holes)])
    assert not only_misses(e).any()
    assert phases_of(e)[0].recent.interval.middle == 1.0


def test_forgotten_clean_marks_lower_the_rate_and_widen_its_range():
    held, seen = [], []
    g = np.random.default_rng(8)
    players = worlds.players_of(world("forgotten"), 10, g)
    truth = worlds.truth_of(players, g, rounds=30)
    for i, e in enumerate(worlds.cards_of(worlds.play(players, 20, g), g)):
        for k, p in enumerate(phases_of(e)):
            seen.append(p.recent.misses / p.recent.marked - p.recent.interval.middle)
            held.append(p.recent.interval.low <= truth.rate[i, k] <= p.recent.interval.high)
    assert np.mean(seen) > 0.02
    assert np.mean(held) > 0.75
    assert any("have no mark" in r for r in focus_of(e).remarks)


def test_how_unmarked_drives_ended_tells_which_were_forgotten():
    clean = [marks.marks_of(e).forgotten[0] for e in some("forgotten", 6, 60)]
    alike = replace(world("forgotten"), forgets_clean=0.3, forgets_miss=0.3)
    g = np.random.default_rng(9)
    played = worlds.play(worlds.players_of(alike, 6, g), 60, g)
    both = [marks.marks_of(e).forgotten[0] for e in worlds.cards_of(played, g)]
    assert np.mean(both) > np.mean(clean) + 0.2


def test_coloured_putts_are_noticed_and_honest_ones_hardly_ever():
    honest = [marks.marks_of(e).p_coloured for e in some("alike", 15, 30)]
    strong = replace(world("biased"), drops_clean=0.85, stays_missed=0.6)
    g = np.random.default_rng(10)
    played = worlds.play(worlds.players_of(strong, 15, g), 30, g)
    told = [marks.marks_of(e) for e in worlds.cards_of(played, g)]
    assert sum(p >= 0.5 for p in honest) <= 2
    assert sum(m.p_coloured >= 0.5 for m in told) >= 9
    noticed = next(m for m in told if m.p_coloured >= 0.7)
    assert noticed.cost_scale[0] < 0.9
    assert noticed.cost_scale[1] > 0.05


def test_colour_makes_a_putt_cheaper_and_its_range_wider_and_leaves_the_others():
    (e,) = some("plain", rounds=10)
    m = replace(marks.marks_of(e), p_coloured=0.5, cost_scale=(0.6, 0.2))
    costs = costs_of(e)
    got = m.costs(costs)
    assert got.cost(2).mean == pytest.approx(0.8 * costs.mean[2])
    assert got.cost(2).total_sd > costs.sd[2]
    # who calls putts that drop clean misses more than are marked: all together are less coloured than one
    assert got.saving(2).mean == pytest.approx((0.5 + 0.5 * 0.6 * COLOURED_MISSES) * costs.saved[2])
    assert replace(m, cost_scale=(0.95, 0.2)).costs(costs).saving(2).mean == pytest.approx(costs.saved[2])
    assert [got.cost(k).mean for k in (0, 1)] == pytest.approx(costs.mean[:2])


def test_an_honest_and_a_coloured_player_can_have_the_same_table():
    """So no range of the true rate can hold for both: docs/advice-ranges.md, the world "biased"."""

    def shares(missed, drops_clean, drops_missed, called_clean, called_missed):
        good, bad = (1 - missed) * drops_clean, (1 - missed) * (1 - drops_clean)
        dropped, stayed = missed * drops_missed, missed * (1 - drops_missed)
        return [
            good + dropped * called_clean,
            dropped * (1 - called_clean),
            bad * (1 - called_missed),
            stayed + bad * called_missed,
        ]

    coloured = shares(0.25, 0.85, 0.40, 0.6, 0.3)
    clean_in, missed_in, _, missed_out = coloured
    rate = missed_in + missed_out
    honest = shares(rate, clean_in / (1 - rate), missed_in / rate, 0.0, 0.0)
    assert honest == pytest.approx(coloured)
    # 22 % missed of which 18 % drop against 90 % of the clean ones, in truth 25 %, 40 % and 85 %
    assert (rate, missed_in / rate, clean_in / (1 - rate)) == pytest.approx((0.224, 0.179, 0.899), abs=5e-4)


def test_a_small_chance_of_colour_moves_the_low_end_of_a_range_and_not_the_high_one():
    plain, one_in_ten = Spread(0.5, 0.05), Spread(0.5, 0.05, p=0.1, scale=0.4, doubt=0.1)
    a, b = plain.interval(), one_in_ten.interval()
    assert a.high - b.high == pytest.approx(0.05 * (1.645 - 1.593), abs=1e-3)  # the honest ones' .9444
    # half of the coloured ones, about 0.2 (sd .059), are below the low end
    assert b.low == pytest.approx(0.2, abs=0.02)
    assert one_in_ten.mean == pytest.approx(0.5 * (0.9 + 0.1 * 0.4))
    # against a hundred thousand draws
    g = np.random.default_rng(3)
    sd = np.hypot(0.05 * 0.4, 0.55 * 0.1)
    drawn = np.where(g.random(100_000) < 0.1, g.normal(0.2, sd, 100_000), g.normal(0.5, 0.05, 100_000))
    shares = np.array([0.03, 0.2, 0.3, 0.7, 0.95])
    assert one_in_ten.quantiles(shares) == pytest.approx(np.quantile(drawn, shares), abs=0.004)
    assert one_in_ten.total_sd == pytest.approx(drawn.std(), abs=0.002)


def putts_of(cells, distance_m=5.0):
    """Marked putts from one distance: clean out and in, missed out and in."""
    (clean_out, clean_in), (missed_out, missed_in) = cells
    return marks.MarkedPutts(
        np.full(2, distance_m),
        np.array([False, True]),
        np.array([clean_out + clean_in, missed_out + missed_in], dtype=float),
        np.array([clean_in, missed_in], dtype=float),
    )


def test_what_a_missed_putt_loses_is_the_log_odds_ratio_with_woolfs_error():
    """From one distance: log(ad / bc), variance 1/a + 1/b + 1/c + 1/d (Woolf 1955, Ann. Hum. Genet. 19)."""
    cells = [[1000, 4000], [3000, 2000]]  # an odds ratio of 6
    log_p = marks._by_loss(putts_of(cells))
    p = np.exp(log_p - log_p.max()) / np.exp(log_p - log_p.max()).sum()
    spline = np.polyfit(marks._SEEN[4:11], log_p[4:11], 4)
    losses = np.linspace(1, 2.5, 3001)
    assert losses[np.polyval(spline, losses).argmax()] == pytest.approx(np.log(6), abs=0.01)
    curved = -np.polyval(np.polyder(spline, 2), np.log(6))
    assert 1 / curved == pytest.approx(1 / 1000 + 1 / 4000 + 1 / 3000 + 1 / 2000, rel=0.02)
    assert p[7] + p[8] > 0.99  # 1.75 and 2.0


def test_what_a_missed_putt_loses_is_integrated_as_a_thousand_draws_have_it():
    """Laplace's approximation against importance sampling of the coefficients, at three losses."""
    g = np.random.default_rng(4)
    metres = np.repeat([2.0, 4.0, 7.0, np.nan], 2)
    missed, n = np.tile([False, True], 4), np.array([20, 8, 25, 10, 20, 14, 12, 9], dtype=float)
    k = np.array([20, 5, 20, 4, 8, 1, 8, 2], dtype=float)
    got = marks._by_loss(marks.MarkedPutts(metres, missed, n, k))
    far = np.where(np.isnan(metres), 0, np.log(np.nan_to_num(metres, nan=5.0) / 5))
    columns = np.column_stack([np.ones(8), far, far**2, np.isnan(metres)])
    drawn = marks._CLEAN_MEAN + marks._CLEAN_SD * g.standard_normal((400_000, 4))
    z = drawn @ columns.T
    told = []
    for loss in (1.0, 2.0, 4.0):
        odds = z - loss * missed
        told.append(np.log(np.exp(odds @ k - np.logaddexp(0, odds) @ n + 60).mean()))
    at = [list(marks._SEEN).index(loss) for loss in (1.0, 2.0, 4.0)]
    assert np.diff(got[at]) == pytest.approx(np.diff(told), abs=0.15)


def test_few_putts_say_little_of_colour_and_many_that_follow_results_a_lot():
    p, (scale, _) = marks.coloured(putts_of([[10, 40], [30, 20]]))
    assert p < 0.1
    # from log 6 = 1.8 with colour to some 1 without: part of the difference
    assert 0.2 < scale < 0.9
    assert marks.coloured(putts_of([[0, 2], [2, 0]])) == (marks.COLOURED_SHARE, (1.0, 0.0))
    assert marks.coloured(putts_of([[2, 300], [200, 3]]))[0] > 0.5
    # without a distance long putts explain some of it
    assert (
        marks.coloured(putts_of([[2, 300], [200, 3]], np.nan))[0]
        < marks.coloured(putts_of([[2, 300], [200, 3]]))[0]
    )


def test_the_chance_of_staying_out_holds_the_shares_of_misses_and_of_putts_that_stay_out():
    # no loss, no difference
    assert marks._staying_out(np.array([0.0]), 0.5, 0.4) == pytest.approx(0.0, abs=1e-9)
    assert marks._staying_out(np.array([np.log(6)]), 0.5, 0.4) == pytest.approx(0.4, abs=1e-6)


def test_the_remark_on_coloured_putts_is_gentle_and_has_its_counts():
    (e,) = some("plain")
    m = replace(marks.marks_of(e), p_coloured=0.8, dropped=(80, 78), stayed=(40, 37))
    from shortpencil.scan.practice.focus import _coloured

    said = _coloured(m)
    assert said.startswith("Of 80 putts that dropped you call 78 clean, of 40 that stayed out 37 missed.")
    assert _coloured(replace(m, p_coloured=0.2)) is None
