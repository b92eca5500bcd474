"""Doubt in the advice: probabilities are means over whole rounds that may be true, ranges are wider."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from shortpencil.scan.advice import load_drills
from shortpencil.scan.practice.choice import choice_of
from shortpencil.scan.practice.doubt import (
    doubt_remark,
    pooled_causes,
    pooled_chance,
    pooled_interval,
    pooled_phases,
    pooled_putting,
    pooled_tables,
    possible_histories,
)
from shortpencil.scan.practice.effect import Effect, effect_of
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.helped import judged
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.luck import luck_of, pooled_luck
from shortpencil.scan.practice.model import Interval, jeffreys, normal_quantile
from shortpencil.scan.practice.over_time import changes_of, chart_of, lengths_of, noticed_in
from shortpencil.scan.practice.phases import phases_of
from shortpencil.scan.practice.plan import plan_of, target_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.practice.rate_charts import time_charts
from shortpencil.scan.practice.report import report_of
from shortpencil.scan.practice.results import two_by_two
from shortpencil.scan.practice.season import season_of
from shortpencil.scan.practice.sessions import Session
from shortpencil.scan.practice.where import spots_of
from shortpencil.scan.records.composing.rounds import Round, Value
from tests.practice.invented import Player, rounds_of

RNG = np.random.default_rng(3)
ROUNDS = rounds_of(Player(name="Wren"), 6, RNG)


def doubted(played: Round, p: float = 0.6, holes: int = 18) -> Round:
    """The round with the drive of each hole doubtful."""
    changed = []
    for at, hole in enumerate(played.holes):
        drive = hole.throws[0]
        true = drive.execution.value
        other = "clean" if true == "miss" else "miss"
        unclear = Value(true, source="read", p=p, status="doubtful", alternatives=((other, 1 - p),))
        first = replace(drive, execution=unclear) if at < holes else drive
        changed.append(replace(hole, throws=(first, *hole.throws[1:])))
    return replace(played, holes=tuple(changed), tallies={})


DOUBTED = [*ROUNDS[:-1], doubted(ROUNDS[-1])]


def test_rounds_without_doubt_are_worked_out_once() -> None:
    assert possible_histories(ROUNDS) == ()
    assert doubt_remark(ROUNDS) is None


def test_ranges_are_pooled_by_rubins_rules() -> None:
    """Rubin 1987, ch. 3: total variance = mean within + (1 + 1/M) between; worked by hand for two draws."""
    z = normal_quantile()
    found = pooled_interval([Interval(1 - z, 1.0, 1 + z), Interval(3 - z, 3.0, 3 + z)])
    # within 1, between 2, so that 1 + 1.5 * 2 = 4: a standard deviation of 2
    assert found.middle == pytest.approx(2.0)
    assert (found.low, found.high) == pytest.approx((2 - 2 * z, 2 + 2 * z))


def test_the_mean_of_p_values_is_the_p_value_by_rubins_rules() -> None:
    """z of variance 1, draws of it with variance 0.5 around 2: the tail of 2 / root of 1.5."""
    from scipy.stats import norm

    draws = norm.sf(np.random.default_rng(5).normal(2.0, 0.5**0.5, 200_000))
    assert pooled_chance(list(draws)) == pytest.approx(norm.sf(2.0 / 1.5**0.5), abs=5e-4)


LONG = rounds_of(Player(name="Wren", miss=(0.5, 0.3, 0.3)), 16, np.random.default_rng(11))
#: The drives of the last five rounds are doubtful, in truth all as they stand.
LATELY_DOUBTED = [*LONG[:-5], *(doubted(played, 0.7) for played in LONG[-5:])]
SESSIONS = [Session(played.day + timedelta(days=2), 0) for played in LONG[6:] if played.day]


def test_where_luck_and_the_season_say_the_same_of_draws_that_agree() -> None:
    history = history_of(LONG)
    twice = (history, history)
    for pooled, one in zip(spots_of(history, str, twice), spots_of(history, str), strict=True):
        assert (pooled.kind, pooled.says, pooled.p) == (one.kind, one.says, pytest.approx(one.p))
        assert pooled.interval.low == pytest.approx(one.interval.low)
        assert pooled.interval.high == pytest.approx(one.interval.high)
    luck = luck_of(history, 15)
    assert luck is not None
    both = pooled_luck([luck, luck])
    assert both is not None
    assert both.surprises == luck.surprises
    assert both.strokes.low == pytest.approx(luck.strokes.low)
    assert judged(history, SESSIONS, possible=twice) == judged(history, SESSIONS)
    focus = focus_of(history)
    assert focus is not None
    once = choice_of(history, focus, SESSIONS)
    assert choice_of(history, focus, SESSIONS, possible=twice) == once
    assert pooled_luck([luck, None]) is None


def test_where_luck_and_the_season_weigh_doubtful_values() -> None:
    history, possible = history_of(LATELY_DOUBTED), possible_histories(LATELY_DOUBTED)
    assert history.marked[-1, 0] == 0, "left out, nothing would be known of the last drives"
    luck = pooled_luck([luck_of(one, 15) for one in possible])
    known = luck_of(history_of(LONG), 15)
    assert luck is not None
    assert known is not None
    assert luck.score == known.score
    wide = [one.strokes.high - one.strokes.low for one in (luck, known)]
    assert wide[0] > wide[1]
    drives = {s.says for s in spots_of(history_of(LONG), str)}
    assert len(spots_of(history, str, possible)) >= len(drives)
    without, carried = judged(history, SESSIONS), judged(history, SESSIONS, possible=possible)
    assert 0 < carried.p < 1
    assert carried.p != without.p
    focus = focus_of(history, possible=possible)
    assert focus is not None
    choice = choice_of(history, focus, SESSIONS, possible=possible)
    season = season_of(history, focus, choice, SESSIONS, (), (), 8, possible=possible)
    exact = season_of(history_of(LONG), focus, choice, SESSIONS, (), (), 8)
    told, true = (s.months[-1].rates[0] for s in (season, exact))
    assert told is not None, "all of that month's drives are doubtful, and still there is a rate"
    assert true is not None
    assert told.low < true.middle < told.high
    assert told.high - told.low > true.high - true.low


def test_a_season_counts_as_many_rounds_as_its_months() -> None:
    day = LONG[-1].played_on.value
    either = Value(day, source="read", p=0.9, status="doubtful", alternatives=((f"{str(day)[:-2]}28", 0.1),))
    unsure = [*LONG[:-1], replace(LONG[-1], played_on=either)]
    history, possible = history_of(unsure), possible_histories(unsure)
    focus = focus_of(history, possible=possible)
    assert focus is not None
    season = season_of(
        history, focus, choice_of(history, focus, (), possible=possible), (), (), (), 8, possible=possible
    )
    assert season.rounds == sum(month.rounds for month in season.months) == len(LONG)


def test_charts_changes_and_tables_say_the_same_of_draws_that_agree() -> None:
    history = history_of(LONG)
    twice = (history, history)
    (pooled,), (one,) = lengths_of(history, 0, twice), lengths_of(history, 0)
    assert [(p.round, p.misses, p.throws, p.doubt) for p in pooled.points] == [
        (r, int(history.misses[r, 0]), int(history.marked[r, 0]), 0.0) for r in range(16)
    ]
    assert pooled.chart is not None
    assert one.chart is not None
    for name in ("rate", "centre", "low", "high", "smoothed", "smoothed_low", "smoothed_high"):
        assert getattr(pooled.chart, name) == pytest.approx(getattr(one.chart, name)), name
    assert pooled.chart.outside == one.chart.outside
    for got, exact in zip(changes_of(history, twice), changes_of(history), strict=True):
        assert (got.phase, got.at, got.before_throws) == (exact.phase, exact.at, exact.before_throws)
        assert (got.p_changed, got.p_fell) == pytest.approx((exact.p_changed, exact.p_fell))
        assert got.before.low == pytest.approx(exact.before.low)
    for asked, alone in zip(noticed_in(history, twice), noticed_in(history), strict=True):
        assert (asked.question, asked.first, asked.second) == (alone.question, alone.first, alone.second)
        assert (asked.p, asked.p_adjusted) == pytest.approx((alone.p, alone.p_adjusted))
    for table, exact_table in zip(pooled_tables([two_by_two(history)] * 2), two_by_two(history), strict=True):
        assert table.clean_good == exact_table.clean_good
        assert table.good_when_missed.high == pytest.approx(exact_table.good_when_missed.high)


def test_charts_and_tables_show_doubtful_rounds_with_their_doubt() -> None:
    history, possible = history_of(LATELY_DOUBTED), possible_histories(LATELY_DOUBTED)
    (known,) = lengths_of(history, 0)
    assert known.rounds == tuple(range(11)), "left out, the last rounds have no drives to show"
    (carried,) = lengths_of(history, 0, possible)
    assert carried.rounds == tuple(range(16))
    assert [p.doubt > 0 for p in carried.points] == [False] * 11 + [True] * 5
    true = history_of(LONG)
    for point in carried.points[-5:]:
        assert point.throws == 18
        exact = jeffreys(int(true.misses[point.round, 0]), 18)
        assert point.rate.high - point.rate.low > exact.high - exact.low
    chart, of_truth = carried.chart, chart_of(true, 0)
    assert chart is not None
    assert of_truth is not None
    wide, usual = chart.high - chart.low, of_truth.high - of_truth.low
    assert wide[-5:].min() > wide[:11].max(), "limits are wider where a round is doubtful"
    assert wide[:11] == pytest.approx(usual[:11], rel=0.25)
    tables, exact_tables = pooled_tables([two_by_two(one) for one in possible]), two_by_two(true)
    assert tables[0].throws == pytest.approx(exact_tables[0].throws, abs=2)
    assert two_by_two(history)[0].throws < exact_tables[0].throws - 60
    drift = next(n for n in noticed_in(history, possible) if n.question.startswith("drive: earlier"))
    assert drift.second[1] == 8 * 18
    second = jeffreys(*drift.second)
    assert drift.second_rate.high - drift.second_rate.low > second.high - second.low
    change = changes_of(history, possible)[0]
    assert 0 < change.p_changed < 1
    assert change.before_throws + change.after_throws == 16 * 18


def test_what_changed_since_practice_began_carries_doubt() -> None:
    since = SESSIONS[0].day
    true, history = history_of(LONG), history_of(LATELY_DOUBTED)
    exact = effect_of(true, 0, since, SESSIONS)
    assert isinstance(exact, Effect)
    twice = effect_of(true, 0, since, SESSIONS, possible=(true, true))
    assert isinstance(twice, Effect)
    assert (twice.before, twice.after, twice.by_choice) == (exact.before, exact.after, exact.by_choice)
    assert (twice.change.low, twice.p_net_fell) == pytest.approx((exact.change.low, exact.p_net_fell))
    carried = effect_of(history, 0, since, SESSIONS, possible=possible_histories(LATELY_DOUBTED))
    left_out = effect_of(history, 0, since, SESSIONS)
    assert isinstance(carried, Effect)
    assert isinstance(left_out, Effect)
    assert carried.after.throws == exact.after.throws
    assert left_out.after.throws == exact.after.throws - 5 * 18
    assert carried.after.rate.high - carried.after.rate.low > exact.after.rate.high - exact.after.rate.low
    assert carried.change.low < exact.change.middle < carried.change.high


def test_the_report_carries_doubt_into_its_charts_and_tables() -> None:
    history, possible = history_of(LATELY_DOUBTED), possible_histories(LATELY_DOUBTED)
    focus = focus_of(history, possible=possible)
    assert focus is not None
    plan = plan_of(target_of(focus), 30, load_drills(None))
    report = report_of(history, focus, plan, possible=possible)
    assert report.tables == pooled_tables([two_by_two(one) for one in possible])
    assert [of.points for of in report.lengths] == [
        of.points for of in lengths_of(history, focus.number, possible)
    ]
    (picture,) = time_charts(history, "drive", lengths_of(history, 0, possible))
    (without,) = time_charts(history, "drive", lengths_of(history, 0))
    assert any(getattr(s, "text", "").startswith("dots: rounds, bars: doubt") for s in picture.shapes)
    assert not any("doubt" in getattr(s, "text", "") for s in without.shapes)
    assert picture.description.count(" of 18") == 16


def test_draws_that_agree_pool_to_themselves() -> None:
    one = history_of(ROUNDS)
    (pooled, *_), (alone, *_) = pooled_phases([phases_of(one)] * 4), phases_of(one)
    assert pooled.p_costs_most == pytest.approx(alone.p_costs_most)
    assert pooled.strokes_a_round.high == pytest.approx(alone.strokes_a_round.high)
    assert pooled.all.misses == alone.all.misses


def test_a_pooled_range_is_never_narrower_than_those_it_is_made_of_on_average() -> None:
    draws = [phases_of(one) for one in possible_histories(DOUBTED)]
    pooled = pooled_phases(draws)
    for k, phase in enumerate(pooled):
        widths = [one[k].strokes_a_round.high - one[k].strokes_a_round.low for one in draws]
        width = phase.strokes_a_round.high - phase.strokes_a_round.low
        assert width >= 0.99 * float(np.mean(widths))


def test_doubtful_drives_count_by_their_probability() -> None:
    p = 0.6
    true = ROUNDS[-1]
    missed = sum(hole.throws[0].execution.value == "miss" for hole in true.holes)
    expected = p * missed + (1 - p) * (18 - missed)
    counts = [int(one.misses[-1, 0]) for one in possible_histories(DOUBTED, 40)]
    assert np.mean(counts) == pytest.approx(expected, abs=0.5)
    assert int(history_of(DOUBTED).misses[-1, 0]) == 0, "as known facts none of them counts"


def test_the_focus_under_doubt_has_probabilities_that_sum_to_one_and_says_so() -> None:
    said = [str(doubt_remark(DOUBTED))]
    focus = focus_of(history_of(DOUBTED), possible=possible_histories(DOUBTED), remarks=said)
    assert focus is not None
    assert sum(phase.p_costs_most for phase in focus.phases) == pytest.approx(1.0)
    assert any(
        "18 values on your cards are doubtful and count by their probability" in r for r in focus.remarks
    )


def test_causes_and_putts_under_doubt_lie_between_those_of_the_draws() -> None:
    draws = possible_histories(DOUBTED)
    focus = focus_of(history_of(ROUNDS))
    assert focus is not None
    putting = [putting_of(one) for one in draws]
    pooled = pooled_putting(putting)
    assert pooled.curve is not None
    middles = [one.curve.at(5.0) for one in putting if one.curve]
    assert min(middles) - 1e-9 <= pooled.curve.at(5.0) <= max(middles) + 1e-9
    causes = pooled_causes([focus.causes] * 3)
    assert causes.leading == focus.causes.leading or causes.leading is None


def test_one_doubtful_value_is_told_in_the_singular() -> None:
    one = [*ROUNDS[:-1], doubted(ROUNDS[-1], holes=1)]
    assert "1 value on your cards is doubtful and counts by its probability" in str(doubt_remark(one))


def test_a_distance_of_0_is_no_bug_whether_known_or_drawn() -> None:
    played = ROUNDS[-1]
    holes = []
    for hole in played.holes:
        throws = [
            replace(
                t,
                distance=Value(0, source="read", p=0.6, status="doubtful", alternatives=((8, 0.4),)),
                distance_m=None,
            )
            if t.distance_m is not None
            else t
            for t in hole.throws
        ]
        holes.append(replace(hole, throws=tuple(throws)))
    unclear = [*ROUNDS[:-1], replace(played, holes=tuple(holes))]
    focus = focus_of(history_of(unclear), possible=possible_histories(unclear))
    assert focus is not None
    assert pooled_putting([putting_of(one) for one in possible_histories(unclear)]).putts > 0


def test_the_group_weighs_doubt_as_each_player_does() -> None:
    from shortpencil.scan.practice.players import group_of

    draws = possible_histories(DOUBTED)
    own = focus_of(history_of(DOUBTED), possible=draws)
    group = group_of({"Wren": history_of(DOUBTED)}, possible={"Wren": draws})
    assert own is not None
    assert group.foci["Wren"].p == pytest.approx(own.p)
