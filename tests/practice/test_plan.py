from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forms.errors import InputError
from forms.rules import PHASES
from scan.practice import plan as p
from scan.practice import words
from scan.practice.causes import CAUSE_WORDS
from scan.practice.evidence import evidence_of
from scan.practice.focus import focus_of
from tests.practice.invented import Player, rounds_of
from tests.practice.test_causes import noted

TEXT = files("scan.practice").joinpath("drills.toml").read_text(encoding="utf-8")
DRILLS = p.drills_from_toml(TEXT, "drills.toml")


def a_focus(phase="drive", cause=4, rounds=8):
    shares = tuple(float(i == cause) for i in range(10))
    rates = tuple(0.6 if x == phase else 0.15 for x in PHASES)
    player = Player(miss=rates, notes=phase, causes=shares)
    return focus_of(evidence_of(rounds_of(player, rounds, np.random.default_rng(1))))


def test_built_in_list_has_a_block_for_each_cause_in_each_phase():
    for cause in CAUSE_WORDS:
        for phase in PHASES:
            for box in ("block", "mixed"):
                drill = p._find(DRILLS.drills, box, phase, cause)
                assert phase in drill.phases, (cause, phase, box)
                assert cause in drill.causes, (cause, phase, box)


def test_thirty_minutes_of_putting():
    f = a_focus("putt", cause=0)
    got = p.plan_of(f, 30, DRILLS)
    # default boxes of 30 minutes: 5 warm-up, 12 block, 9 mixed, 4 test
    assert [s.minutes for s in got.steps] == [5, 12, 9, 4]
    assert got.step("block").drill.id == "finger-to-the-pole"
    assert got.step("mixed").drill.id == "distance-ladder"
    assert got.step("test").throws == 10
    assert got.cue == "finger to the pole"
    assert got.throws <= 60


@pytest.mark.parametrize(
    ("minutes", "boxes"), [(20, [4, 8, 6, 2]), (30, [5, 12, 9, 4]), (45, [7, 16, 16, 6])]
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


def test_no_cause_noted_makes_a_session_for_looking():
    got = p.plan_of(focus_of(noted(*[(None, ["left"], False)] * 6)), 20, DRILLS)
    assert got.cause is None
    assert "for looking" in got.notes[0]


def test_no_promise_of_what_is_disputed():
    notes = " ".join(p.plan_of(a_focus(), 30, DRILLS).notes)
    assert "may help it last" in notes
    assert "another day" in notes


@pytest.mark.parametrize("minutes", [0, 9, 121])
def test_too_few_or_too_many_minutes_are_refused(minutes):
    with pytest.raises(InputError, match=rf"10 to 120 minutes.*found {minutes}"):
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
                'phases = ["tee"]\nbox = "block"\ntitle = "Finger',
            ),
            "'phases'",
        ),
        (("sets = 3\ntries = 8", "sets = 0\ntries = 8"), "whole number from 1 to 10 for 'sets', found 0"),
        (("boxes = [4, 8, 6, 2]", "boxes = [4, 8, 6, 3]"), "sum to its minutes"),
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
