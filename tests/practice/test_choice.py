"""What to practise next, beside what costs most."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from shortpencil.scan.practice.choice import (
    AHEAD,
    choice_of,
    counts_of,
    laws_of_group,
    target_of_choice,
    why_next,
)
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.sessions import OfTen, Session, practised_before, sessions_of, ten_tries_of
from shortpencil.scan.practice.words import MANY
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from shortpencil.scan.records.storing.told import ToldSession
from tests.practice.invented import Player, only_marked, rounds_of

START = date(2030, 4, 1)


def made(card, row, drill, count=5, tries=10, day=START):
    return PracticeSet(card, row, day, "Wren", drill, Value(tries, source="printed"), Value(count))


def rounds(count=10, **player):
    e = history_of(rounds_of(Player(**player), count, np.random.default_rng(2)))
    return e, focus_of(e)


def days_of(phase, count):
    return [Session(START + timedelta(days=4 * i), phase) for i in range(count)]


def test_without_a_known_session_what_costs_most_comes_first():
    e, f = rounds(miss=(0.3, 0.3, 0.5))
    choice = choice_of(e, f, [])
    assert choice.phase == f.phase == "putt"
    assert not choice.differs
    assert "no session is known" in why_next(choice)[0]


def test_a_choice_that_is_less_than_even_names_what_comes_next_to_it():
    """It said "another choice would lose little" right after "1.5 strokes against 0.1 with drives"."""
    seen = 0
    for seed in range(15):
        miss = tuple(np.random.default_rng(seed).uniform(0.2, 0.45, 3))
        e = history_of(rounds_of(Player(miss=miss), 8, np.random.default_rng(seed)))
        choice = choice_of(e, focus_of(e), days_of(seed % 3, 1 + seed % 5))
        said = why_next(choice)[-1]
        second = sorted(choice.phases, key=lambda p: -p.saves.middle)[1]
        told = second.phase == choice.costs_most and choice.differs
        if round(100 * choice.chosen.p_best) >= 50 or told:  # what was just compared is not told twice
            assert "next come" not in said
            continue
        seen += 1
        assert said.endswith(f"; next come {MANY[second.phase]}, about {10 * second.saves.middle:.1f}.")
    assert seen > 2


@pytest.mark.parametrize("sessions", [0, 4])
def test_where_one_phase_is_marked_nothing_is_said_to_gain_most(sessions):
    """It said "99 % that putts gain most from it" of somebody who marks putts alone."""
    e = history_of([only_marked(r, "putt") for r in rounds_of(Player(), 6, np.random.default_rng(2))])
    choice = choice_of(e, focus_of(e), days_of(2, sessions))
    assert choice.alone
    said = " ".join(why_next(choice))
    assert said.startswith("Practise putts next, since no others are marked")
    assert "%" not in said
    assert ("so far) should save about" in said) == bool(sessions)


def test_what_was_practised_often_gives_way_to_what_was_not():
    e, f = rounds(miss=(0.35, 0.3, 0.4), cost=(0.5, 0.6, 0.6))
    assert f.phase == "putt"
    choice = choice_of(e, f, days_of(2, 12))
    assert choice.phase != "putt"
    assert choice.differs
    said = " ".join(why_next(choice))
    assert f"Even so, practise {'approaches' if choice.phase == 'approach' else 'drives'} next" in said
    assert "(12 so far)" in said
    assert "(none so far)" in said
    assert choice.phases[2].left < choice.chosen.left == 1.0


def test_savings_that_read_alike_are_not_set_against_each_other():
    e, f = rounds(miss=(0.35, 0.3, 0.4), cost=(0.5, 0.6, 0.6))
    choice = choice_of(e, f, days_of(2, 12))
    other = next(p for p in choice.phases if p.phase == choice.costs_most)
    just_below = replace(other.saves, middle=choice.chosen.saves.middle - 1e-6)
    phases = tuple(replace(p, saves=just_below) if p is other else p for p in choice.phases)
    said = " ".join(why_next(replace(choice, phases=phases)))
    assert "hardly more than with putts (12 so far)" in said
    assert "against" in " ".join(why_next(choice))


def test_a_phase_that_costs_far_more_stays_in_spite_of_practice():
    e, f = rounds(miss=(0.05, 0.05, 0.6), cost=(0.2, 0.2, 0.8))
    choice = choice_of(e, f, days_of(2, 4))
    assert choice.phase == "putt"
    assert "next, too" in why_next(choice)[0]


def test_chances_sum_to_one_and_ranges_hold_the_middle():
    e, f = rounds()
    choice = choice_of(e, f, days_of(0, 3), [OfTen(START, 0, 6, 10)])
    assert sum(p.p_best for p in choice.phases) == pytest.approx(1)
    for p in choice.phases:
        assert p.saves.low <= p.saves.middle <= p.saves.high
    assert len(choice.ahead) == AHEAD
    assert choice.ahead[0] == choice.phase
    assert len(set(choice.ahead)) > 1


def test_the_same_rounds_bring_the_same_words():
    e, f = rounds()
    assert choice_of(e, f, days_of(0, 3)) == choice_of(e, f, days_of(0, 3))


def test_the_target_brings_the_causes_of_its_own_phase():
    e, f = rounds(miss=(0.35, 0.3, 0.4), cost=(0.5, 0.6, 0.6))
    choice = choice_of(e, f, days_of(2, 12))
    target = target_of_choice(choice, e, f)
    assert target.phase == target.causes.phase == choice.phase
    assert target.clean == pytest.approx(1 - f.phases[choice.number].recent.interval.middle)


def test_where_only_misses_are_marked_the_throws_are_taken_as_usual():
    played = rounds_of(Player(), 6, np.random.default_rng(2))
    e = history_of(played)
    only = e.__class__(
        **{name: getattr(e, name) for name in e.__slots__}
        | {"clean": np.zeros_like(e.clean), "unmarked": np.zeros_like(e.unmarked)}
    )
    rows, _, _ = counts_of(only, [], [])
    assert (rows.throws > rows.misses).all()


def test_a_group_of_which_none_practised_says_nothing():
    e, _ = rounds()
    assert laws_of_group([(e, [], [])]) is None
    assert laws_of_group([(e, days_of(0, 3), [])]) is not None


def test_a_small_fall_of_the_rate_saves_cost_times_throws_times_fall():
    """Putts until one drops, a miss stays out with chance c: N = 1 / (1 - c p) putts, by differentiation.

    The first order of Sutton, McAllester, Singh and Mansour (2000), theorem 1; one miss costs c N.
    """
    c, p, fall = 0.6, 0.4, 1e-5

    def putts(rate):
        return 1 / (1 - c * rate)

    saved = putts(p) - putts(p - fall)
    cost = c * putts(p)
    assert saved == pytest.approx(putts(p) * cost * fall, rel=1e-4)
    # what a clean phase saves for each miss is c alone: too little by the later misses
    clean = (putts(p) - 1) / (putts(p) * p)
    assert clean == pytest.approx(c)
    assert putts(p) * clean * fall < 0.8 * saved


# -- sessions ------------------------------------------------------------------------------------------------

PHASES_OF = {
    "ten-putts": ("putt",),
    "ladder": ("putt",),
    "gate": ("drive", "approach"),
    "ten-drives": ("drive",),
}


def test_a_card_tells_its_phase_by_its_drills():
    sets = [made("a", 1, "gate"), made("a", 2, "ten-drives"), made("b", 1, "ten-putts", day=START)]
    found = sessions_of(sets, [], PHASES_OF)
    assert [(s.day, s.phase) for s in found] == [(START, 0), (START, 2)]
    assert sessions_of([made("c", 1, "gate")], [], PHASES_OF) == ()  # drive or approach: open
    assert sessions_of([made("d", 1, "ten-putts", day=None)], [], PHASES_OF) == ()


def test_card_and_word_of_one_day_are_one_session():
    told = [ToldSession(START, "putt", 20), ToldSession(START, "putt", 25), ToldSession(START, "drive", 15)]
    found = sessions_of([made("b", 1, "ten-putts")], told, PHASES_OF)
    assert [(s.phase, s.minutes, s.worth) for s in found] == [(0, 15, 0.5), (2, 45, 1.5)]


def test_tests_of_one_day_are_added():
    sets = [made("b", 1, "ten-putts", 6), made("b", 5, "ten-putts", 8), made("b", 2, "ladder", 3)]
    assert ten_tries_of(sets, {"ten-putts": 2}) == (OfTen(START, 2, 14, 20),)


def test_practice_counts_from_the_next_day_on_and_fades():
    sessions = [Session(START, 2), Session(START + timedelta(days=200), 1)]
    days = [START, None, START + timedelta(days=200), START + timedelta(days=400)]
    got = practised_before(sessions, days)
    assert got[0] == pytest.approx([0, 0, 0])
    assert got[1] == pytest.approx([0, 0, 0])  # a round without a day stands where the one before it does
    assert got[2] == pytest.approx([0, 0, 0.5])
    assert got[3] == pytest.approx([0, 0.5, 0.25])
    assert practised_before(sessions, [START], with_same_day=True)[0] == pytest.approx([0, 0, 1])
