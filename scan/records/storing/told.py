"""Sessions of practice that a player tells by hand, for days on which no practice card was filled in.

They live in a table of their own and are small: who, which day, which phase, how many minutes. A session told
by mistake is taken back, not changed. Like every other record they go when the player is forgotten.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy import (
    CheckConstraint,
    Column,
    Connection,
    Date,
    Index,
    Integer,
    String,
    Table,
    delete,
    insert,
    select,
)

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.rounds import FIRST_YEAR, has_year
from shortpencil.scan.records.storing import tables

LEAST_MINUTES, MOST_MINUTES = 1, 600

sessions = Table(
    "sessions",
    tables.metadata,
    Column("id", Integer, primary_key=True),
    Column("player", String(tables.NAME)),
    Column("day", Date, nullable=False),
    Column("phase", String(8), nullable=False),
    Column("minutes", Integer, nullable=False),
    Column("told_at", String(32), nullable=False),  # UTC, RFC 3339
    CheckConstraint("phase <> ''", name="phase"),
    CheckConstraint(f"minutes BETWEEN {LEAST_MINUTES} AND {MOST_MINUTES}", name="minutes"),
    Index(None, "player"),
    sqlite_autoincrement=True,
)


@dataclass(frozen=True, slots=True)
class ToldSession:
    """One session as told: `minutes` of one phase on one day; `number` names it in the store, 0 before."""

    day: date
    phase: str
    minutes: int
    player: str | None = None
    number: int = 0


def phases_known(connection: Connection) -> tuple[str, ...]:
    """Return the phases a session can be of: the usual ones, then those of rounds on cards of one's own."""
    phase = tables.misses.c.phase
    found = connection.execute(select(phase).distinct().where(phase.not_in(PHASES)))
    return (*PHASES, *sorted(found.scalars()))


def phases_called(connection: Connection) -> dict[str, str]:
    """Return what the newest round of each phase of one's own calls it: id -> label."""
    called = {}
    for phase in phases_known(connection)[len(PHASES) :]:
        of = select(tables.misses.c.round).where(tables.misses.c.phase == phase)
        rounds = tables.rounds
        newest = (
            select(rounds.c.record)
            .where(rounds.c.id.in_(of))
            .order_by(rounds.c.recorded_at.desc(), rounds.c.id)
            .limit(1)
        )
        for known in json.loads(connection.execute(newest).scalar_one()).get("phases", ()):
            if known["id"] == phase:
                called[phase] = str(known["label"])
    return called


def checked(session: ToldSession, today: date, phases: Sequence[str] = PHASES) -> ToldSession:
    """Return the session; InputError where it can't have been. `phases` are those of `phases_known`."""
    if session.phase not in phases:
        raise InputError(f"expected a phase of a round ({', '.join(phases)}), found {session.phase!r}.")
    if not LEAST_MINUTES <= session.minutes <= MOST_MINUTES:
        raise InputError(
            f"expected {LEAST_MINUTES} to {MOST_MINUTES} minutes of practice, found {session.minutes}."
        )
    if session.day > today:
        raise InputError(
            f"expected a day that has come, found {session.day.isoformat()}; today is {today.isoformat()}."
        )
    if not has_year(session.day.year):
        raise InputError(f"expected a day from {FIRST_YEAR} on, found {session.day.isoformat()}.")
    return session


def put_session(connection: Connection, session: ToldSession, at: datetime) -> ToldSession:
    """Write a session; return it with its number."""
    values = {
        "player": session.player,
        "day": session.day,
        "phase": session.phase,
        "minutes": session.minutes,
        "told_at": at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
    }
    done = connection.execute(insert(sessions).values(**values))
    key = done.inserted_primary_key
    assert key is not None
    return ToldSession(session.day, session.phase, session.minutes, session.player, int(key[0]))


def told_sessions(connection: Connection) -> tuple[ToldSession, ...]:
    """Return every session told by hand, by day."""
    rows = connection.execute(select(sessions).order_by(sessions.c.day, sessions.c.id))
    return tuple(ToldSession(row.day, row.phase, row.minutes, row.player, row.id) for row in rows)


def take_back_session(connection: Connection, number: int) -> ToldSession:
    """Remove a session told by mistake and return it; RecordError when there is none of that number."""
    row = connection.execute(select(sessions).where(sessions.c.id == number)).one_or_none()
    if row is None:
        raise RecordError(
            f"expected the number of a session told by hand, found {number}. List them: shortpencil practised"
        )
    connection.execute(delete(sessions).where(sessions.c.id == number))
    return ToldSession(row.day, row.phase, row.minutes, row.player, row.id)
