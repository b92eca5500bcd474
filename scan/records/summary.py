"""A round in a line: what `rounds` lists, read from the columns of the store without opening any record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

#: Version of the store's tables; `migrations` brings older ones up to it.
STORE_SCHEMA = 7

#: Oldest round first, those without a date last; SQL that SQLite and PostgreSQL both understand.
ORDER = ("played_on IS NULL", "played_on", "recorded_at", "id")


@dataclass(frozen=True, slots=True)
class Summary:
    """One round in a line; sums are over the holes whose score is known.

    The names are those of the columns of the store's table of rounds. `par_scored` is None where the par of a
    scored hole is unknown; `waits` counts the fields that a person must look at.
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
    misses_drive: int
    misses_approach: int
    misses_putt: int
    waits: int

    @property
    def over_par(self) -> int | None:
        """Score less par over the scored holes; None where that is not known."""
        return None if self.par_scored is None else self.score - self.par_scored
