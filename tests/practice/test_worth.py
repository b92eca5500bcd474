"""What an answer is worth: score, misses, focus and curve, by the functions that the advice itself uses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice.worth import worth_of
from shortpencil.scan.records.composing.places import field_of_place
from shortpencil.scan.records.composing.rounds import Hole, Round, Value
from tests.practice.invented import Player, rounds_of

ROUNDS = rounds_of(Player(name="Wren"), 5, np.random.default_rng(9))


def unclear(value: object, other: object, p: float = 0.7) -> Value:
    return Value(value, source="read", p=p, status="doubtful", alternatives=((other, 1 - p),))  # type: ignore[arg-type]


def with_hole(played: Round, at: int, **changes: object) -> Round:
    holes = list(played.holes)
    holes[at] = replace(holes[at], **changes)  # type: ignore[arg-type]
    return replace(played, holes=tuple(holes), tallies={}, total=Value(None))


def doubtful_score() -> Round:
    score = ROUNDS[-1].holes[3].score.value
    return with_hole(ROUNDS[-1], 3, score=unclear(score, int(score) + 5))  # type: ignore[arg-type]


def doubtful_throw(hole: Hole, at: int, **changes: Value) -> Hole:
    throws = list(hole.throws)
    throws[at] = replace(throws[at], **changes)  # type: ignore[arg-type]
    return replace(hole, throws=tuple(throws))


def test_a_round_without_doubt_has_nothing_to_be_worth_asking() -> None:
    assert worth_of(ROUNDS[-1], ROUNDS) == ()


def test_a_score_is_worth_the_strokes_it_may_be_off() -> None:
    (worth,) = worth_of(doubtful_score(), ROUNDS)
    # 5 more with .3: expected distance from the mean 1.5 is .7 * 1.5 + .3 * 3.5 = 2.1
    assert worth.strokes == pytest.approx(2.1)
    assert worth.place == "holes/4/score"
    assert "your score by 2.1 on average" in worth.says


def test_a_mark_is_worth_more_than_a_metre_of_distance() -> None:
    hole = ROUNDS[-1].holes[0]
    mark = hole.throws[0].execution.value
    putt = next(i for i, t in enumerate(hole.throws) if t.distance_m)
    metres = float(hole.throws[putt].distance_m or 0)
    other = "clean" if mark == "miss" else "miss"
    hole = doubtful_throw(hole, 0, execution=unclear(mark, other))
    hole = doubtful_throw(hole, putt, distance=unclear(metres, metres + 1))
    first, second = worth_of(with_hole(ROUNDS[-1], 0, throws=hole.throws), ROUNDS)
    assert first.place.endswith("execution")
    assert dict(first.misses)["drive"] == pytest.approx(0.42)  # 2 * .7 * .3
    assert first.focus > 0
    assert second.place.endswith("distance")
    assert second.strokes == 0
    assert second.total < first.total / 5


def test_what_changes_next_to_nothing_says_so() -> None:
    hole = ROUNDS[-1].holes[0]
    putt = next(i for i, t in enumerate(hole.throws) if t.stance is not None)
    hole = doubtful_throw(hole, putt, stance=unclear(None, "straddle", 0.9))
    (worth,) = worth_of(with_hole(ROUNDS[-1], 0, throws=hole.throws), ROUNDS)
    assert worth.says == "the answer changes next to nothing"
    assert worth.total < 0.01


def test_a_first_round_has_worth_too() -> None:
    assert worth_of(doubtful_score())[0].strokes == pytest.approx(2.1)


@pytest.mark.parametrize(
    ("place", "field"),
    [
        ("holes/4/score", "h04.score"),
        ("holes/4/throws/1/execution", "h04.drive"),
        ("holes/4/throws/2/execution", "h04.approach1"),
        ("holes/4/throws/1/cause", "h04.why"),
        ("holes/4/throws/1/directions_from", "h04.way"),
        ("holes/4/maybe/putt3/execution", "h04.putt3"),
        ("holes/4/maybe/putt2/distance", "h04.putt2.distance"),
        ("tallies/putt", "tally.putt"),
        ("played_on", "date.day"),
        ("total", "total"),
    ],
)
def test_a_place_of_a_record_is_a_field_of_the_card(place: str, field: str) -> None:
    assert field_of_place(ROUNDS[-1], place) == field
