import re
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shortpencil.forms.errors import InputError
from shortpencil.forms.rules import PHASES
from shortpencil.scan.practice import plan as p
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import CAUSE_WORDS
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.putting import Curve
from tests.practice.invented import Player, rounds_of
from tests.practice.test_causes import noted

TEXT = files("shortpencil.scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
DRILLS = p.drills_from_toml(TEXT, "drills.toml")


def a_focus(phase="drive", cause=4, rounds=8):
    shares = tuple(float(i == cause) for i in range(10))
    rates = tuple(0.6 if x == phase else 0.15 for x in PHASES)
    player = Player(miss=rates, notes=phase, causes=shares)
    return focus_of(history_of(rounds_of(player, rounds, np.random.default_rng(1))))


def test_built_in_list_has_a_block_for_each_cause_in_each_phase():
    for cause in CAUSE_WORDS:
        for phase in PHASES:
            for box in ("block", "mixed"):
                drill = p._find(DRILLS.drills, box, phase, cause)
                assert phase in drill.phases, (cause, phase, box)
                assert cause in drill.causes, (cause, phase, box)


@pytest.mark.parametrize("cause", range(10))
def test_no_putt_is_practised_like_a_drive_nor_a_drive_like_an_approach(cause):
    putts = p.plan_of(a_focus("putt", cause=cause), 45, DRILLS)
    said = " ".join(f"{s.drill.title} {s.drill.how} {s.drill.cue}" for s in putts.steps if s.drill)
    assert not re.search(r"half power|first 10 m|run-up", said, re.IGNORECASE)
    drives = p.plan_of(a_focus("drive", cause=cause), 45, DRILLS)
    lengths = re.findall(r"(\d+) m\b", " ".join(s.drill.title for s in drives.steps if s.drill))
    assert not [length for length in lengths if 20 < int(length) < 60]


def test_thirty_minutes_of_putting():
    f = a_focus("putt", cause=0)
    got = p.plan_of(f, 30, DRILLS, repeat=True)
    # ten putts take 2 minutes; the 28 that are left lie between the boxes of 20 and of 30 minutes
    assert [(s.box, s.minutes) for s in got.steps] == [
        ("warm-up", 5),
        ("again", 2),
        ("block", 11),
        ("mixed", 8),
        ("test", 4),
    ]
    assert got.step("block").drill.id == "finger-to-the-pole"
    assert got.step("mixed").drill.id == "distance-ladder"
    assert got.step("test").throws == 10
    assert got.cue == "finger to the pole"
    assert got.throws <= 60


@pytest.mark.parametrize("phase", ["drive", "approach"])
def test_a_note_on_mixing_says_nothing_of_distances_where_something_else_is_mixed(phase):
    got = p.plan_of(a_focus(phase, cause=0), 45, DRILLS)
    assert got.step("mixed").drill.title == "Gate at 10 m", "disc and power change"
    (note,) = (note for note in got.notes if "may help it last" in note)
    assert "distance" not in note


@pytest.mark.parametrize(
    ("minutes", "boxes"), [(20, [5, 7, 6, 2]), (30, [5, 12, 9, 4]), (45, [7, 16, 16, 6])]
)
def test_boxes_of_the_listed_lengths(minutes, boxes):
    assert p._divide(minutes, DRILLS.boxes, DRILLS.tests[0]) == boxes


@settings(max_examples=60, deadline=None)
@given(
    minutes=st.integers(p.LEAST_MINUTES, p.MOST_MINUTES),
    phase=st.sampled_from(PHASES),
    cause=st.integers(0, 9),
    young=st.booleans(),
)
def test_every_plan_fits_its_minutes_and_its_limits(minutes, phase, cause, young):
    f = _focus_cached(phase, cause)
    got = p.plan_of(f, minutes, DRILLS, under_16=young)
    limits = DRILLS.limits.halved() if young else DRILLS.limits
    assert sum(s.minutes for s in got.steps) == minutes
    assert got.throws <= limits.throws
    assert sum(s.throws for s in got.steps if s.drill and s.drill.full_power) <= limits.full_power
    assert all(s.throws > 0 for s in got.steps if s.drill)
    assert all(s.throws % s.drill.stations == 0 for s in got.steps if s.drill)
    # a throw never has less than its seconds, nor, outside of odd minutes, more than twice as much
    for s in got.steps:
        if s.drill:
            assert s.throws * s.drill.seconds <= 60 * s.minutes + 30, (s.box, s.minutes)
            assert s.minutes <= 2 * s.throws * s.drill.seconds / 60 + 6, (s.box, s.minutes)
    assert all(s.minutes > 0 for s in got.steps)
    assert set(words.CAUTIONS) <= set(got.cautions)
    assert 1 <= got.aim.count <= 10


_CACHE = {}


def _focus_cached(phase, cause):
    if (phase, cause) not in _CACHE:
        _CACHE[phase, cause] = a_focus(phase, cause, rounds=3)
    return _CACHE[phase, cause]


def test_under_sixteen_gets_half():
    assert p.Limits(60, 20).halved() == p.Limits(30, 10)


def test_the_aim_is_one_better_than_the_present_rate_with_what_is_usual_beside_it():
    got = p.plan_of(a_focus("putt"), 30, DRILLS, success=0.62)
    assert got.aim.count == 7
    # exact binomial(10, .62): P(X <= 3) = .04, P(X <= 4) = .14, P(X <= 7) = .80, P(X <= 8) = .94
    assert got.aim.usual == (4, 8)
    assert p.plan_of(a_focus("putt"), 30, DRILLS, success=1.0).aim.count == 10


def test_a_cause_without_a_drill_gets_the_one_for_looking_and_a_note():
    f = focus_of(noted(*[("sun_in_eyes", ["left"], False)] * 6))
    got = p.plan_of(f, 20, DRILLS)
    assert got.step("block").drill.id == "look-and-write"
    assert any("sun in eyes" in n and "--drills" in n for n in got.notes)


def test_a_drill_for_each_way_in_each_phase_while_no_cause_is_known():
    for way in ("left", "right", "long", "short"):
        for phase in PHASES:
            for box in ("block", "mixed"):
                drill = p._find(DRILLS.drills, box, phase, None, way)
                assert way in drill.ways, (way, phase, box)


def test_dont_know_gets_no_drill_of_its_own_but_a_note():
    got = p.plan_of(focus_of(noted(*[("other", ["long"], False)] * 8)), 20, DRILLS)
    assert got.cause is None
    assert "long" in got.step("block").drill.ways
    assert "Note the cause next time" in got.notes[0]
    assert "mostly go long" in got.notes[0]


def test_the_ladder_goes_from_four_fifths_to_half_of_the_players_own_putts():
    distance = np.linspace(0.5, 30, 300)
    curve = Curve(distance, distance, np.exp(-distance / 10), distance, None, 20.0)
    # exp(-d / 10) is .8 at 2.23 m and .5 at 6.93 m
    assert p.ladder_of(curve, "m") == (2.0, 4.0, 5.5, 7.0)
    assert p.ladder_of(curve, "ft") == (7.0, 12.0, 18.0, 23.0)
    assert p.ladder_of(None, "m") == (5.0, 6.0, 7.0, 8.0)


def test_a_sure_putter_gets_a_ladder_within_reach():
    distance = np.linspace(0.5, 30, 300)
    curve = Curve(distance, distance, np.full(300, 0.95) - distance / 1000, distance, None, 20.0)
    assert max(p.ladder_of(curve, "m")) <= 15
    assert len(p.ladder_of(curve, "m")) == p.LADDER_STEPS


def test_distances_are_told_in_the_unit_of_the_card():
    metres = p.plan_of(a_focus("putt", cause=0), 30, DRILLS)
    feet = p.plan_of(a_focus("putt", cause=0), 30, DRILLS, unit="ft")
    assert "4, 5, 6, 7 and 8 m" in metres.step("test").drill.how
    assert "13, 16, 20, 23 and 26 ft" in feet.step("test").drill.how
    assert feet.step("mixed").drill.title == "Ladder 16, 20, 23, 26 ft"
    for unit in ("m", "ft"):
        for phase in PHASES:
            for cause in range(10):
                plan = p.plan_of(_focus_cached(phase, cause), 45, DRILLS, unit=unit)
                done = [s.drill for s in plan.steps if s.drill]
                told = " ".join(f"{d.title} {d.how} {d.counts}" for d in done)
                assert "{" not in told + plan.cue
                assert unit == "m" or " m " not in f"{told} {plan.cue} "


def test_more_minutes_are_not_filled_with_more_of_the_same():
    short, long = (p.plan_of(a_focus("putt", cause=0), m, DRILLS) for m in (45, 120))
    assert long.throws == short.throws
    assert {s.box for s in long.steps} >= {"break", "dry", "walk"}
    assert any("Two sessions on two days" in n for n in long.notes)


def test_five_minutes_begin_warm_and_end_with_the_test():
    got = p.plan_of(a_focus("putt", cause=0), 5, DRILLS)
    assert [s.box for s in got.steps] == ["block", "test"]
    assert "Warm up 5 minutes before you begin" in got.notes[0]
    assert got.length == "5 minutes after a warm-up, 20 throws"


def test_no_second_test_where_it_would_break_the_limits():
    young = p.plan_of(a_focus("drive"), 45, DRILLS, under_16=True, repeat=True)
    assert "again" not in {s.box for s in young.steps}
    assert "again" in {s.box for s in p.plan_of(a_focus("drive"), 45, DRILLS, repeat=True).steps}


def test_a_first_session_has_no_last_test_to_repeat_unless_the_caller_knows_of_one():
    assert "again" not in {s.box for s in p.plan_of(a_focus("drive"), 45, DRILLS).steps}


def test_no_cause_noted_makes_a_session_for_looking():
    got = p.plan_of(focus_of(noted(*[(None, ["left"], False)] * 6)), 20, DRILLS)
    assert got.cause is None
    assert "Note the cause next time" in got.notes[0]


def test_no_promise_of_what_is_disputed():
    notes = " ".join(p.plan_of(a_focus(), 30, DRILLS).notes)
    assert "may help it last" in notes
    assert "another day" in notes


@pytest.mark.parametrize("minutes", [0, 4, 121])
def test_too_few_or_too_many_minutes_are_refused(minutes):
    with pytest.raises(InputError, match=rf"5 to 120 minutes.*found {minutes}"):
        p.plan_of(a_focus(), minutes, DRILLS)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("[limits]", "[limits"), "syntax error"),
        (
            ('box = "block"\ntitle = "Standing', 'box = "start"\ntitle = "Standing'),
            "line-at-half-power: expected 'block'",
        ),
        (('title = "Grip ladder"', "title = 3"), "grip-ladder: expected a text for 'title', found 3"),
        (
            (
                'phases = ["putt"]\nbox = "block"\ntitle = "Finger',
                'phases = ["putts"]\nbox = "block"\ntitle = "Finger',
            ),
            "Did you mean 'putt'?",
        ),
        (("sets = 3\ntries = 8", "sets = 0\ntries = 8"), "whole number from 1 to 10 for 'sets', found 0"),
        (("stations = 2", "stations = 7"), "whole turns of its 7 stations"),
        (("boxes = [5, 7, 6, 2]", "boxes = [5, 7, 6, 3]"), "sum to its minutes"),
        (("throws = 60", 'throws = "many"'), "'throws', found 'many'"),
    ],
)
def test_broken_drill_lists_are_refused_by_name(change, message):
    assert change[0] in TEXT
    with pytest.raises(InputError, match=r"own\.toml") as error:
        p.drills_from_toml(TEXT.replace(*change, 1), "own.toml")
    assert message in str(error.value)


def test_a_list_without_a_test_is_refused():
    with pytest.raises(InputError, match="at least one \\[\\[test\\]\\]"):
        p.drills_from_toml(TEXT.split("[[test]]")[0], "own.toml")
