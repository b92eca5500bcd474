"""A round as it is kept: head, holes, throws, each value with its provenance. Plain frozen values.

A value is *read* (by the machine, with a probability), *inferred* (a rule of the card settled it), *printed*
(it was on the card before the round), *entered* (by a person, over what stood there) or *imported*. A value
that waits for a person is kept with status "waits" and counts nowhere until it is answered. A *doubtful* one
is neither fact nor unknown: it has its probability and its alternatives, and what is worked out from rounds
weighs it by them (`doubt`).

They are structs of msgspec, which makes them out of JSON six times as fast as dataclasses are made (0.1 and
0.6 ms a round of 18 holes), a tenth faster where their fields stand in the order of a stored text, which is
that of their names. To everyone who asks they are dataclasses, so that `dataclasses.replace` works.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any, ClassVar, TypeVar

import msgspec

from shortpencil.forms.form import USUAL_PHASES, Phase

RECORD_SCHEMA = 1

#: What a value can hold.
Scalar = str | int | float | bool | None

EXECUTIONS = ("clean", "miss", "unmarked")
STATUSES = ("known", "waits", "doubtful")
SOURCES = ("read", "inferred", "printed", "entered", "imported", "default")

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
#: Years that a day may have. The game is younger than the first; and next to the calendar's own ends, the
#: years 1 and 9999, there is no month before and no month after.
FIRST_YEAR, LAST_YEAR = 1900, 2199


def is_day(text: Scalar) -> bool:
    """Say whether a text is a day that may be kept, as in ``2026-05-31``; other forms of ISO 8601 are not."""
    if not isinstance(text, str) or not _DAY.fullmatch(text) or not has_year(int(text[:4])):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def has_year(year: int) -> bool:
    """Say whether a day of this year may be kept."""
    return FIRST_YEAR <= year <= LAST_YEAR


class _Kept(msgspec.Struct, frozen=True, gc=False):
    """What all of them are: frozen, compared by value, never part of a circle of references."""

    __dataclass_fields__: ClassVar[dict[str, dataclasses.Field[Any]]]


_Any = TypeVar("_Any", bound=_Kept)


def _as_dataclass(cls: type[_Any]) -> type[_Any]:
    """Let a struct say its fields as a dataclass does."""
    fields = {}
    for name in cls.__struct_fields__:
        one: dataclasses.Field[Any] = dataclasses.field()
        one.name = name
        one._field_type = dataclasses._FIELD  # type: ignore[attr-defined]  # what `replace` asks for
        fields[name] = one
    cls.__dataclass_fields__ = fields
    return cls


class _OfOneValue(_Kept, frozen=True, gc=False):
    """What is told of a value without its name."""

    value: Scalar


@_as_dataclass
class Value(_OfOneValue, frozen=True, gc=False, kw_only=True, forbid_unknown_fields=True):
    """One value and where it came from.

    Attributes
    ----------
    value : what it is; None when blank or unknown
    source : one of `SOURCES`
    p : probability that it is right, where a machine read it
    status : "known", "waits" when a person must look before it counts, or "doubtful"
    rule : the rule that settled it, when inferred
    by, at, over : who entered it, when (UTC), and what stood there before
    how : "glance" where it was accepted beside others, else None
    alternatives : of a doubtful value, the others with their probability, best first
    """

    alternatives: tuple[tuple[Scalar, float | int], ...] = ()
    at: datetime | None = None
    by: str | None = None
    how: str | None = None
    over: Scalar = None
    p: float | int | None = None
    rule: str | None = None
    source: str = "read"
    status: str = "known"

    @property
    def known(self) -> Scalar:
        """The value where it counts as known, None where it waits or is doubtful."""
        return self.value if self.status == "known" else None


@_as_dataclass
class Throw(_Kept, frozen=True, gc=False, kw_only=True, forbid_unknown_fields=True):
    """One throw of a hole, in the order thrown.

    `execution` holds "clean", "miss" or "unmarked". `holed` follows from the order: the last throw of a
    finished hole; None where that cannot be known. Directions, cause, words and forehand belong to the second
    pass and are empty but for misses of the worst phase. `directions`, `forehand` and `words` hold what may
    count; where each came from stands beside it in `..._from`, whose value is the same answer as one scalar
    (directions joined by spaces), and which may still wait for a person.
    """

    cause: Value | None = None  # a cause id, e.g. "late"
    directions: tuple[str, ...] = ()
    directions_from: Value | None = None
    distance: Value | None = None  # as written, in the round's unit
    distance_m: float | int | None = None
    execution: Value
    forehand: bool | None = None
    forehand_from: Value | None = None
    holed: bool | None = None
    order: int
    phase: str
    stance: Value | None = None
    words: str | None = None
    words_from: Value | None = None
    words_picture: str | None = None  # key of the picture of the strip: the field's id on this card


@_as_dataclass
class Hole(_Kept, frozen=True, gc=False, kw_only=True, forbid_unknown_fields=True):
    """One hole: its layout as far as known, its score, its throws.

    `throws` are those that are marked, or that must have happened since a later one is marked. Their `order`
    counts from 1 among these; a hole may have had more throws than are known one by one. `maybe` are throws
    of which it is doubtful whether they are marked; their `order` is their column in their phase.
    """

    length_m: float | int | None = None
    maybe: tuple[Throw, ...] = ()
    number: int
    par: Value
    penalty: Value
    score: Value
    throws: tuple[Throw, ...] = ()


@_as_dataclass
class Round(
    _Kept,
    frozen=True,
    gc=False,
    kw_only=True,
    forbid_unknown_fields=True,
    tag_field="schema",
    tag=RECORD_SCHEMA,
):
    """One round of one player.

    `id` is the card's serial, or one made at import. `form` is the fingerprint of the field map. `tallies`
    and `total` are the player's own sums as written. `phases` are those of its game, in the order thrown.
    """

    course: str | None = None
    # What the card asks beyond the game, by field id, as answered; blank fields are left out.
    extra: dict[str, Value] = msgspec.field(default_factory=dict)
    form: str
    hand: Value
    holes: tuple[Hole, ...]
    id: str
    layout: str | None = None
    # What stands on the card but belongs to no throw, by field id: a cause where nothing missed.
    notes: dict[str, str] = msgspec.field(default_factory=dict)
    phases: tuple[Phase, ...] = USUAL_PHASES
    played_on: Value  # ISO date as text
    player: str | None = None  # an alias chosen by the player
    recorded_at: datetime | None = None
    sources: tuple[str, ...] = ()  # SHA-256 of the photos
    tallies: dict[str, Value]
    total: Value
    unit: str
    waiting: tuple[str, ...] = ()  # ids of fields that wait for a person
    wind: Value
    worst: Value

    @property
    def phase_ids(self) -> tuple[str, ...]:
        """Ids of the phases of its game, in the order thrown."""
        return tuple(phase.id for phase in self.phases)

    @property
    def only_misses(self) -> bool:
        """Whether its card asks for misses alone: what is not marked on it is declared clean."""
        return any(throw.execution.source == "default" for hole in self.holes for throw in hole.throws)

    @property
    def tee(self) -> str | None:
        """The phase that begins a hole, if its game has one."""
        return next((phase.id for phase in self.phases if phase.role == "tee"), None)

    @property
    def day(self) -> date | None:
        """The date played, where it is known."""
        known = self.played_on.known
        return date.fromisoformat(str(known)) if known else None

    @property
    def lies_ahead(self) -> bool:
        """Whether its day lies after the day it was read; it may be tomorrow already where the player is."""
        if self.day is None or self.recorded_at is None:
            return False
        return self.day > self.recorded_at.date() + timedelta(days=1)


@_as_dataclass
class PracticeSet(_Kept, frozen=True, gc=False, forbid_unknown_fields=True):
    """One row of a practice card: so many made of so many tries of one drill on one day.

    `card` is the card's serial (or one made at import) and `row` the place on it, counted from 1.
    `distance_m` is from where, in metres, where the card says so; None where it does not.
    """

    card: str
    row: int
    day: date | None
    player: str | None
    drill: str
    tries: Value
    made: Value
    distance_m: Value | None = None


def counts_of(round_: Round) -> Iterator[Value]:
    """Yield every value of a round that is a whole number where it is known."""
    yield round_.total
    yield from round_.tallies.values()
    for hole in round_.holes:
        yield from (hole.score, hole.penalty, hole.par)


def values_of(round_: Round) -> Iterator[Value]:
    """Yield every value of a round."""
    yield from (round_.played_on, round_.hand, round_.wind, round_.worst, round_.total)
    yield from round_.tallies.values()
    yield from round_.extra.values()
    for hole in round_.holes:
        yield from (hole.score, hole.penalty, hole.par)
        for throw in (*hole.throws, *hole.maybe):
            yield throw.execution
            for value in (
                throw.distance,
                throw.stance,
                throw.cause,
                throw.directions_from,
                throw.forehand_from,
                throw.words_from,
            ):
                if value is not None:
                    yield value
