"""Rows and facts of a round: nothing that waits or is doubtful is in them as known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from shortpencil.scan.records.composing.rounds import Throw, Value
from shortpencil.scan.records.composing.tidy import (
    doubtful_values,
    hole_rows,
    misses_by_phase,
    settled,
    sums,
    throw_facts,
    throw_rows,
)
from tests.practice.invented import hole, known, one_round, throw

FACTS = ("round", "hole", "throw", "phase", "execution", "holed", "distance_m", "stance", "direction",
         "forehand", "cause", "words")  # fmt: skip
OF_A_HAND = ("execution", "distance", "stance", "direction", "forehand", "cause", "words")


def putt(status: str) -> Throw:
    """A missed putt of which each value has this status."""

    def value(shown: object, other: object) -> Value:
        others = ((other, 0.3),) if status == "doubtful" else ()
        return Value(shown, p=0.7, status=status, alternatives=others)  # type: ignore[arg-type]

    return Throw(
        order=1,
        phase="putt",
        execution=value("miss", "clean"),
        holed=False,
        distance=value(7, 1),
        distance_m=7.0,
        stance=value("straddle", None),
        directions=("left",),
        directions_from=value("left", "right"),
        forehand=True,
        forehand_from=value(True, False),
        cause=value("late", "early"),
        words="late",
        words_from=value("late", None),
    )


@pytest.mark.parametrize("status", ["waits", "doubtful", "known"])
def test_of_a_throw_only_what_is_known_is_a_fact(status: str) -> None:
    round_ = one_round("R1", [replace(hole(1, []), throws=(putt(status),))])
    (row,), (facts,) = throw_rows(round_), throw_facts(round_)
    shown = {"execution": "miss", "distance": 7, "distance_m": 7.0, "stance": "straddle", "direction": "left",
             "forehand": True, "cause": "late", "words": "late"}  # fmt: skip
    is_fact = status == "known"
    assert {name: row[name] for name in shown} == {name: v if is_fact else None for name, v in shown.items()}
    assert {row[f"{name}_status"] for name in OF_A_HAND} == {status}
    stored = dict(zip(FACTS, facts, strict=True))
    assert {name: stored[name] for name in shown if name in stored} == {
        name: v if is_fact else None for name, v in shown.items() if name in stored
    }
    assert misses_by_phase(round_) == ({"putt": 1} if is_fact else {})


@pytest.mark.parametrize("status", ["waits", "doubtful"])
def test_a_settled_throw_has_no_guess_and_keeps_its_doubt(status: str) -> None:
    round_ = settled(one_round("R1", [replace(hole(1, []), throws=(putt(status),))]))
    ((kept,),) = (one.throws for one in round_.holes)
    assert (kept.distance_m, kept.directions, kept.forehand, kept.words) == (None, (), None, None)
    assert kept.execution.value == (None if status == "waits" else "miss")
    assert kept.distance is not None
    assert kept.distance.alternatives == (() if status == "waits" else ((1, 0.3),))


def test_throws_are_the_score_less_the_penalties() -> None:
    """Official Rules of Disc Golf, 808.D: a score is the throws and the penalty throws."""
    four = [throw(n, "putt", "miss") for n in range(1, 5)]
    holes = [
        hole(1, four, penalty=2),
        replace(hole(2, four), score=known(1), penalty=known(2)),
        hole(3, four),
    ]
    holes.append(replace(hole(4, four), penalty=Value(None, status="waits")))
    assert [row["throws"] for row in hole_rows(one_round("R1", holes))] == [4, None, 4, None]


def test_a_par_is_that_of_the_scored_holes_and_of_none_where_one_is_not_known() -> None:
    ace = [throw(1, "drive", "clean", holed=True)]
    unscored = replace(hole(3, ace, par=5), score=Value(None))
    found = sums(one_round("R1", [hole(1, ace), hole(2, ace, par=4), unscored]))
    assert found == {"holes": 3, "holes_scored": 2, "score": 2, "par_scored": 7}
    assert sums(one_round("R1", [hole(1, ace), hole(2, ace, par=None)]))["par_scored"] is None
    assert sums(one_round("R1", [unscored]))["par_scored"] is None


def test_each_doubtful_value_is_named_with_its_place() -> None:
    two = Value(2, p=0.6, status="doubtful", alternatives=((3, 0.4),))
    doubted = replace(hole(7, [putt("doubtful")]), maybe=(putt("doubtful"),), par=two)
    round_ = one_round("R1", [doubted], tallies={"putt": two}, total=two)
    values = ["execution", "distance", "stance", "directions_from", "forehand_from", "cause", "words_from"]
    assert [place for place, _ in doubtful_values(round_)] == [
        "total",
        "tallies/putt",
        "holes/7/par",
        *(f"holes/7/throws/1/{name}" for name in values),
        *(f"holes/7/maybe/putt1/{name}" for name in values),
    ]
