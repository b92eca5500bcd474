"""A round that came from a file, changed by hand: a changed value says by whom, when, over what. Pure.

A round that was read from its card is changed through its card's fields (`answers`), which the store lays
over the reading; a round from a file has no card, so that its record itself is changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from shortpencil.forms.errors import InputError
from shortpencil.forms.shown import whole_letters
from shortpencil.forms.units import to_metres
from shortpencil.scan.records.composing.compose import DISTANCE_DECIMALS, who_holed
from shortpencil.scan.records.composing.rounds import (
    EXECUTIONS,
    FIRST_YEAR,
    LAST_YEAR,
    Hole,
    Round,
    Scalar,
    Throw,
    Value,
    is_day,
)
from shortpencil.scan.records.recording.from_file import with_waiting_retold

WAYS = ("left", "right", "long", "short")
MOST_SCORE, MOST_PAR, MOST_PENALTY, MOST_DISTANCE = 99, 9, 9, 9999


@dataclass(frozen=True, slots=True)
class ThrowGiven:
    """One throw as a person gives it; distance in the round's unit."""

    phase: str
    execution: str
    distance: int | None = None
    stance: str | None = None
    directions: tuple[str, ...] = ()
    forehand: bool = False
    cause: str | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class HoleGiven:
    """One hole as a person gives it."""

    score: int | None
    par: int | None
    penalty: int
    throws: tuple[ThrowGiven, ...]


@dataclass(frozen=True, slots=True)
class HeadGiven:
    """The head of a round as a person gives it; an empty text is nothing."""

    played_on: str
    player: str
    course: str
    layout: str
    wind: str
    hand: str
    resolve: str


def with_hole(round_: Round, number: int, given: HoleGiven, by: str, at: datetime) -> Round:
    """Return the round with one hole as given; values that stay the same keep where they came from.

    Raises
    ------
    InputError
        when there is no such hole, or a value can't be
    """
    hole = next((hole for hole in round_.holes if hole.number == number), None)
    if hole is None:
        raise InputError("expected a hole of this round, found none of that number.")
    _check(given, round_.phase_ids)
    stamp = (by, at.astimezone(UTC))
    score, penalty = _value(hole.score, given.score, stamp), _value(hole.penalty, given.penalty, stamp)
    changed = replace(
        hole,
        score=score,
        penalty=penalty,
        par=_value(hole.par, given.par, stamp),
        throws=_throws(round_, hole, given.throws, score.known, penalty.known, stamp),
    )
    after = replace(round_, holes=tuple(changed if h is hole else h for h in round_.holes))
    return with_waiting_retold(round_, after)


def with_head(round_: Round, given: HeadGiven, by: str, at: datetime) -> Round:
    """Return the round with its head as given; InputError when the day is none of the calendar."""
    if given.played_on and not is_day(given.played_on):
        raise InputError(
            f"expected a day of the calendar from {FIRST_YEAR} to {LAST_YEAR}, found none. Give it as year, "
            "month and day."
        )
    stamp = (by, at.astimezone(UTC))
    notes = {key: text for key, text in round_.notes.items() if key != "resolve"}
    after = replace(
        round_,
        played_on=_value(round_.played_on, given.played_on or None, stamp),
        player=whole_letters(given.player) or None,
        course=whole_letters(given.course) or None,
        layout=given.layout or None,
        wind=_value(round_.wind, given.wind or None, stamp),
        hand=_value(round_.hand, given.hand or None, stamp),
        notes=notes | ({"resolve": given.resolve} if given.resolve else {}),
    )
    return with_waiting_retold(round_, after)


def _check(given: HoleGiven, known: Sequence[str]) -> None:
    for name, number, most in (
        ("score", given.score, MOST_SCORE),
        ("par", given.par, MOST_PAR),
        ("penalty throws", given.penalty, MOST_PENALTY),
        *(("distance", throw.distance, MOST_DISTANCE) for throw in given.throws),
    ):
        if number is not None and not 0 <= number <= most:
            raise InputError(f"{name}: expected a whole number from 0 to {most}.")
    for throw in given.throws:
        if (
            throw.phase not in known
            or throw.execution not in ("", *EXECUTIONS)
            or set(throw.directions) - set(WAYS)
        ):
            raise InputError(
                "expected a throw with its phase, clean or miss, and ways; found something else."
            )
    phases = [known.index(throw.phase) for throw in given.throws]
    if phases != sorted(phases):
        raise InputError(f"expected the throws in order: {', then '.join(known)}.")


def _throws(
    round_: Round,
    hole: Hole,
    given: Sequence[ThrowGiven],
    score: Scalar,
    penalty: Scalar,
    stamp: tuple[str, datetime],
) -> tuple[Throw, ...]:
    thrown = score - penalty if isinstance(score, int) and isinstance(penalty, int) else None
    holed = who_holed([throw.phase for throw in given], thrown, tee=round_.tee)
    before = {phase: [t for t in hole.throws if t.phase == phase] for phase in round_.phase_ids}
    throws = []
    for order, (throw, is_in) in enumerate(zip(given, holed, strict=True), start=1):
        same = before[throw.phase]
        old = same.pop(0) if same else None
        throws.append(replace(_throw(old, throw, round_.unit, stamp), order=order, holed=is_in))
    return tuple(throws)


def _throw(old: Throw | None, given: ThrowGiven, unit: str, stamp: tuple[str, datetime]) -> Throw:
    metres = None if given.distance is None else round(to_metres(given.distance, unit), DISTANCE_DECIMALS)
    ways = " ".join(way for way in WAYS if way in given.directions) or None
    words = given.words or None
    forehand = given.forehand or (False if old is not None and old.forehand is not None else None)
    return Throw(
        order=0,
        phase=given.phase,
        execution=_execution(old, given.execution, stamp),
        holed=None,
        distance=_maybe(old.distance if old else None, given.distance, stamp),
        distance_m=metres,
        stance=_maybe(old.stance if old else None, given.stance, stamp),
        directions=tuple(ways.split()) if ways else (),
        directions_from=_maybe(old.directions_from if old else None, ways, stamp),
        forehand=forehand,
        forehand_from=_maybe(old.forehand_from if old else None, forehand, stamp),
        cause=_maybe(old.cause if old else None, given.cause, stamp),
        words=words,
        words_from=_maybe(old.words_from if old else None, words, stamp) if words else None,
        words_picture=old.words_picture if old else None,
    )


def _execution(old: Throw | None, given: str, stamp: tuple[str, datetime]) -> Value:
    """Return whether a throw went as planned; nothing given leaves what waits, and is unmarked otherwise."""
    waits = old is not None and old.execution.status == "waits"
    return _value(old.execution if old else None, given or ("" if waits else "unmarked"), stamp)


def _maybe(old: Value | None, new: Scalar, stamp: tuple[str, datetime]) -> Value | None:
    """Return a value that need not be there: none before and none given stays none."""
    return None if old is None and new is None else _value(old, new, stamp)


def _value(old: Value | None, new: Scalar, stamp: tuple[str, datetime]) -> Value:
    if old is not None and old.status == "known" and (old.value == new or (not old.value and not new)):
        return old
    if old is not None and old.status == "waits" and not new:
        return old  # nobody said anything of it: it waits on
    by, at = stamp
    return Value(new, source="entered", by=by, at=at, over=None if old is None else old.value)
