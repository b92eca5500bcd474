"""A round in a line: what `rounds` lists, read from the columns of the store without opening any record."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

#: Version of the store's tables; `migrations` brings older ones up to it.
STORE_SCHEMA = 12

#: Oldest round first, those without a date last; SQL that SQLite and PostgreSQL both understand.
ORDER = ("played_on IS NULL", "played_on", "recorded_at", "id")


@dataclass(frozen=True, slots=True)
class Summary:
    """One round in a line; sums are over the holes whose score is known.

    The names are those of the columns of the store's table of rounds, but for `misses`: the phases of the
    round's game in the order thrown, each with its known misses, which are rows of a table of their own.
    `par_scored` is None where the par of a scored hole is unknown; `waits` counts the fields that a person
    must look at.
    """

    id: str
    played_on: date | None
    player: str | None
    course: str | None
    layout: str | None
    holes: int
    holes_scored: int
    score: int
    par_scored: int | None
    waits: int
    misses: tuple[tuple[str, int], ...] = ()

    @property
    def over_par(self) -> int | None:
        """Score less par over the scored holes; None where that is not known."""
        return None if self.par_scored is None else self.score - self.par_scored

    @property
    def phases(self) -> tuple[str, ...]:
        """Ids of the phases of the round's game, in the order thrown."""
        return tuple(phase for phase, _ in self.misses)

    def misses_of(self, phase: str) -> int:
        """Return the known misses of a phase; 0 where the game has no such phase."""
        return dict(self.misses).get(phase, 0)


#: The columns of the table of rounds that a line is made of, in the order of its fields.
COLUMNS = tuple(name for name in Summary.__slots__ if name != "misses")


def with_misses(rows: Iterable[Sequence[Any]], misses: Iterable[Sequence[Any]]) -> tuple[Summary, ...]:
    """Return the lines of rounds, each with its misses.

    Parameters
    ----------
    rows : values of `COLUMNS`
    misses : round, phase and count, each round's in the order thrown
    """
    found: dict[str, list[tuple[str, int]]] = {}
    for round_, phase, count in misses:
        found.setdefault(round_, []).append((phase, count))
    return tuple(
        Summary(**dict(zip(COLUMNS, row, strict=True)), misses=tuple(found.get(row[0], ()))) for row in rows
    )


@dataclass(frozen=True, slots=True)
class Undated:
    """What is said of a round whose day is not known.

    Attributes
    ----------
    perhaps : the day that the reader thinks it was, where it is doubtful or still asked
    read_on : when its photo was read
    """

    perhaps: date | None
    read_on: date | None


#: Id, record and time of the rounds without a known day: few, so that opening their records costs little.
UNDATED = "SELECT id, record, recorded_at FROM rounds WHERE played_on IS NULL"


def undated_of(record: str, recorded_at: str | None) -> Undated:
    """Return what the record of a round without a known day says of it."""
    text = (json.loads(record).get("played_on") or {}).get("value")
    read_on = datetime.fromisoformat(recorded_at).date() if recorded_at else None
    try:
        return Undated(date.fromisoformat(text) if isinstance(text, str) else None, read_on)
    except ValueError:  # no day of the calendar: the card's page asks for it
        return Undated(None, read_on)
