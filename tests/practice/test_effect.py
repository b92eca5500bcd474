from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from shortpencil.scan.practice import effect as f
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.helped import OTHER_REASONS, judged, judged_sentence
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.model import difference, p_rate_fell
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.report import effect_sentences, report_of
from shortpencil.scan.practice.sessions import Session
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from tests.practice import worlds
from tests.practice.invented import Player, blank, hole, known, one_round, only_marked, rounds_of, throw
from tests.practice.test_plan import DRILLS

START = date(2030, 4, 1)


def counted(*drives, approach=(5, 13), putt=(8, 22)):
    """A round a day with (misses, clean) drives and the same approaches and putts."""
    rounds = []
    for i, drive in enumerate(drives):
        throws = []
        for phase, (missed, clean) in zip(
            ("drive", "approach", "putt"), (drive, approach, putt), strict=True
        ):
            throws += [(phase, "miss")] * missed + [(phase, "clean")] * clean
        holes = [hole(1, [throw(k, p, e) for k, (p, e) in enumerate(throws, start=1)])]
        rounds.append(one_round(f"{i:03d}", holes, START + timedelta(days=i)))
    return history_of(rounds)


def test_rounds_that_chose_the_focus_are_not_before():
    e = counted(*[(6, 12)] * 4, *[(12, 6)] * 5, *[(6, 12)] * 4)
    got = f.effect_of(e, 0, START + timedelta(days=9))
    assert (got.before.rounds, got.before.misses, got.before.throws) == (4, 24, 72)
    assert (got.after.rounds, got.after.misses, got.after.throws) == (4, 24, 72)
    assert got.left_out == 5
    assert got.p_fell == pytest.approx(0.5)
    assert got.net_change.middle == pytest.approx(0, abs=1e-9)


def test_what_is_beyond_the_others_follows_from_the_two_changes_told():
    # Approaches rise and putts fall by as many: together they do not change, though the log odds of one that
    # is seldom missed rise by more.
    one = counted(*[(6, 12)] * 9, approach=(1, 17), putt=(9, 9))
    two = counted(*[(9, 9)] * 4, approach=(4, 14), putt=(6, 12))
    rounds = [*one.heads, *two.heads]
    days = [START + timedelta(days=i) for i in range(len(rounds))]
    both = replace(
        worlds.joined(one, two), heads=tuple(replace(h, day=d) for h, d in zip(rounds, days, strict=True))
    )
    got = f.effect_of(both, 0, days[9])
    change, others = got.change.middle, got.others_change.middle
    assert others == pytest.approx(0, abs=0.03)
    assert change == pytest.approx(9 / 18 - 6 / 18)
    assert got.net_change.middle == pytest.approx(change - others, abs=0.03)


def test_change_is_newcombes_with_the_spread_taken_off():
    e = counted(*[(8, 12)] * 3, *[(9, 11)] * 5, *[(5, 15)] * 3)
    got = f.effect_of(e, 0, START + timedelta(days=8))
    factor = f.spread_between([8] * 3 + [5] * 3, [20] * 6).factor
    before, after = (24 / factor, 60 / factor), (15 / factor, 60 / factor)
    assert (got.change.low, got.change.high) == pytest.approx(difference(after, before))
    assert got.change.middle == pytest.approx(-9 / 60)
    # the spread is learnt from six rounds: Student's t with 4 degrees in place of the normal
    from scipy.stats import norm, t

    assert got.p_fell == pytest.approx(t.cdf(norm.ppf(p_rate_fell(before, after)), 4))
    assert got.p_fell > 0.8


def test_what_all_phases_did_is_no_effect():
    better = {"approach": (2, 16), "putt": (3, 27)}
    worse = counted(*[(9, 9)] * 9, approach=(5, 13), putt=(8, 22))
    improved = counted(*[(9, 9)] * 9, *[(4, 14)] * 6)
    # the same improvement in every phase, by putting together two halves
    import dataclasses

    later = counted(*[(4, 14)] * 15, **better)
    misses = worse.misses.tolist() + later.misses[9:].tolist()
    clean = worse.clean.tolist() + later.clean[9:].tolist()
    both = dataclasses.replace(later, misses=np.array(misses), clean=np.array(clean))
    since = START + timedelta(days=9)
    alone, together = f.effect_of(improved, 0, since), f.effect_of(both, 0, since)
    assert alone.p_net_fell > 0.95
    assert together.p_fell > 0.95
    assert together.p_net_fell < 0.75
    assert together.others_change.high < 0


def expected_worst_seen(rates, throws):
    """Observed rate that the worst-looking of several groups has on average, by exact enumeration."""
    from scipy.special import bdtr

    # Observed rates x/n of all groups on one axis; P(max <= v) is the product of the groups' own.
    values = np.unique(np.concatenate([np.arange(n + 1) / n for n in throws]))
    below = [bdtr(np.floor(values * n + 1e-9), n, p) for p, n in zip(rates, throws, strict=True)]
    return float(np.sum(values * np.diff(np.prod(below, axis=0), prepend=0.0)))


@pytest.mark.parametrize(("rate", "throws", "seen"), [(0.3, 30, 0.371), (0.3, 54, 0.353), (0.4, 18, 0.498)])
def test_the_worst_of_three_equal_phases_looks_worse_than_it_is(rate, throws, seen):
    # recomputed with SciPy: three equal phases at 30 %, 30 throws each: the worst looks 37.1 % on average
    assert expected_worst_seen([rate] * 3, [throws] * 3) == pytest.approx(seen, abs=5e-4)
    rates, count = np.full((20_000, 3), rate), np.full((1, 3), throws)
    nothing, alike = np.zeros(3), np.ones(3)
    for phase in range(3):
        got = f.too_bad_by_choice(rates, count, np.ones(1), nothing, alike, [1.0] * 3, phase)
        assert got == pytest.approx(seen - rate, abs=0.004)


def test_how_the_phase_was_chosen_decides_how_much_better_it_will_look():
    rates, count, none = np.tile([0.5, 0.3, 0.3], (4000, 1)), np.full((5, 3), 18), np.zeros(3)
    weight = 0.5 ** (np.arange(5)[::-1] / 5)

    def looks(worth, phase):
        return f.too_bad_by_choice(rates, count, weight, none, np.array(worth), [1.0] * 3, phase)

    # chosen for its cost, against the highest rate: its misses had nothing to do with it
    assert looks([0.1, 0.9, 0.1], 1) == pytest.approx(0.0, abs=0.003)
    # the cheap phase with the highest rate is hardly ever chosen, and then nothing can be said
    assert looks([0.1, 0.9, 0.1], 0) is None
    # near a tie, chance has its part
    assert looks([0.3, 0.5, 0.1], 1) > 0.015


def test_what_choosing_alone_brings_is_said():
    e = counted(*[(6, 12)] * 30)
    got = f.effect_of(e, 0, START + timedelta(days=20))
    assert got.by_choice is None, "putts have more misses and look costlier: drives were not chosen for that"
    assert f.effect_of(e, 2, START + timedelta(days=20)).by_choice < 0.01, "chosen, but not for its rate"
    e = counted(*[(6, 12)] * 30, putt=(11, 19))
    assert 0.005 < f.effect_of(e, 2, START + timedelta(days=20)).by_choice < 0.08


def test_helped_needs_both_the_fall_and_what_is_beyond_the_other_phases():
    better = f.effect_of(counted(*[(9, 9)] * 9, *[(3, 15)] * 8), 0, START + timedelta(days=9))
    assert better.helped
    assert not f.effect_of(counted(*[(9, 9)] * 17), 0, START + timedelta(days=9)).helped


def test_rounds_with_only_misses_marked_are_on_neither_side():
    from dataclasses import replace

    rounds = rounds_of(Player(), 16, np.random.default_rng(5))
    bare = [
        replace(
            r,
            id=f"m{r.id}",
            holes=tuple(
                replace(
                    h,
                    throws=tuple(
                        t if t.execution.value == "miss" else replace(t, execution=blank()) for t in h.throws
                    ),
                )
                for h in r.holes
            ),
        )
        for r in rounds[:3]
    ]
    one = f.effect_of(history_of(rounds), 0, rounds[10].day)
    two = f.effect_of(history_of([*rounds, *bare]), 0, rounds[10].day)
    assert (one.before.misses, one.before.throws) == (two.before.misses, two.before.throws)


@pytest.mark.parametrize("number", [1, 3])
def test_nothing_changed_is_seldom_called_help(number):
    # A small sample of the tables in docs/practice.md: 40 players for whom nothing changed.
    from tests.bench.bench_helped import helped

    rows = helped(worlds.WORLDS[number], 40, 9, 8, 0.0, 77)
    assert len(rows) == 40
    # at one in twenty each, more than 6 of 40 has a chance of 1 %
    assert sum(r["said"] for r in rows) <= 6
    assert np.mean([r["change held"] for r in rows]) > 0.75


@pytest.mark.parametrize(("days", "since"), [(6, 3), (20, 20), (20, 0)])
def test_too_few_rounds_on_a_side_are_said_to_be_too_few(days, since):
    got = f.effect_of(counted(*[(6, 12)] * days), 0, START + timedelta(days=since))
    assert isinstance(got, str)
    assert "that takes 2 rounds each" in got
    assert ("it chose the phase" in got or "they chose the phase" in got) == (since > 0)


def test_who_practised_from_the_start_is_told_what_the_season_says():
    """Before, `focus` said that nothing can be compared, `season` of the same player whether it helped."""
    e = counted(*[(12 - i // 3, 6 + i // 3) for i in range(24)])
    sessions = [Session(START + timedelta(days=i), 0) for i in range(23)]
    got = f.effect_of(e, 0, START, sessions, said=False)
    assert isinstance(got, str)
    together = judged_sentence(judged(e, sessions))
    assert together.startswith("It helped, going by your marks")
    assert got.startswith(together)
    assert OTHER_REASONS in got  # each time
    assert "(so far 0 from before the first practice, 24 since)." in got
    assert "do not count" not in got  # none were left out


def test_where_one_phase_is_marked_nothing_stands_beside_its_change():
    """It ended with an error: the change of no throws is no number."""
    e = history_of([only_marked(r, "putt") for r in rounds_of(Player(), 14, np.random.default_rng(1))])
    report = report_of(
        e, focus_of(e), plan_of(focus_of(e), 30, DRILLS), effect=f.effect_of(e, 2, e.heads[9].day)
    )
    said = " ".join(effect_sentences(report))
    assert "No other phase is marked on both sides" in said
    assert "nan" not in said


def test_rounds_without_a_date_are_on_neither_side():
    rounds = rounds_of(Player(), 14, np.random.default_rng(1))
    import dataclasses

    undated = [dataclasses.replace(r, id=f"u{r.id}", played_on=blank()) for r in rounds[:3]]
    one = f.effect_of(history_of(rounds), 0, rounds[10].day)
    two = f.effect_of(history_of([*rounds, *undated]), 0, rounds[10].day)
    assert (one.before.rounds, one.after.rounds) == (two.before.rounds, two.after.rounds) == (5, 4)


# Throws per period for 80 % power, two-sided 5 % (recomputed with SciPy)
NEEDED = {
    (0.3, 0.2): 294,
    (0.4, 0.3): 356,
    (0.5, 0.4): 388,
    (0.4, 0.2): 82,
    (0.5, 0.3): 93,
    (0.5, 0.25): 58,
    (0.3, 0.1): 62,
}


@pytest.mark.parametrize(("rates", "throws"), list(NEEDED.items()))
def test_throws_that_are_needed(rates, throws):
    assert f.throws_for(*rates) == throws


def a_set(row, made, tries, day=START, drill="ten-putts"):
    return PracticeSet("c", row, day, None, drill, Value(tries), Value(made))


def test_practice_results_add_up_by_day_and_drill():
    sets = [
        a_set(1, 6, 10),
        a_set(2, 7, 10),
        a_set(1, 9, 10, START + timedelta(days=2)),
        a_set(3, 3, 8, drill="gate"),
    ]
    got = f.practice_results(sets)
    assert [(t.day, t.drill, t.made, t.tries) for t in got] == [
        (START, "gate", 3, 8),
        (START, "ten-putts", 13, 20),
        (START + timedelta(days=2), "ten-putts", 9, 10),
    ]
    assert got[1].rate.low < 0.65 < got[1].rate.high


def test_blank_waiting_and_impossible_sets_count_nowhere():
    sets = [
        PracticeSet("c", 1, START, None, "d", Value(10), Value(None)),
        PracticeSet("c", 2, START, None, "d", Value(10), Value(7, status="waits")),
        PracticeSet("c", 3, START, None, "d", Value(10), known(12)),
        PracticeSet("c", 4, START, None, "d", Value(0), known(0)),
    ]
    assert f.practice_results(sets) == ()


def test_the_last_unbroken_series_of_practice_says_what_was_practised_since_when():
    phases = {"ten-putts": ("putt",), "ten-drives": ("drive",), "gate": ("drive", "approach")}
    day = [START + timedelta(days=i) for i in range(9)]
    sets = [a_set(1, 5, 10, day[0]), a_set(1, 5, 10, day[2], "ten-drives"), a_set(1, 5, 10, day[4])]
    sets += [a_set(2, 5, 10, day[5], "gate"), a_set(1, 6, 10, day[6])]
    assert f.practised_since(sets, phases) == ("putt", day[4])
    assert f.practised_since(sets[:2], phases) == ("drive", day[2])
    assert f.practised_since([], phases) is None
    assert f.practised_since([a_set(1, 5, 10, day[0], "gate")], phases) is None
