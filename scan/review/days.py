"""Rounds and sessions by day, month by month, as a calendar. Pure."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from shortpencil.forms.rules import MANY
from shortpencil.scan.records.rounds import PracticeSet
from shortpencil.scan.records.summary import Summary
from shortpencil.scan.records.told import ToldSession
from shortpencil.scan.review.naming import Name, count_said

MONTHS = calendar.month_name
WEEKDAYS = tuple((calendar.day_abbr[n], calendar.day_name[n]) for n in range(7))  # ISO 8601: Monday first


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing done on a day: a round or a session; `url` leads there, "" for a told session."""

    kind: str
    says: str
    url: str


@dataclass(frozen=True, slots=True)
class Day:
    """One square of the calendar."""

    day: date
    entries: tuple[Entry, ...]

    @property
    def said(self) -> str:
        """The day and what was done on it, for a screen reader."""
        what = "; ".join(entry.says for entry in self.entries) or "nothing"
        return f"{self.day.day} {self.day:%B}: {what}"

    @property
    def link(self) -> str:
        """Where a click on the day leads: to what was done first, or to the list of all days."""
        return next((entry.url for entry in self.entries if entry.url), "#done")

    @property
    def rounds(self) -> int:
        """How many rounds were played."""
        return sum(entry.kind == "round" for entry in self.entries)

    @property
    def sessions(self) -> int:
        """How many sessions of practice there were."""
        return sum(entry.kind == "session" for entry in self.entries)


@dataclass(frozen=True, slots=True)
class Month:
    """One month: its weeks, Monday first, None for days of other months."""

    name: str
    weeks: tuple[tuple[Day | None, ...], ...]
    said: str


def entries_of(
    lines: Sequence[Summary],
    names: Mapping[str, Name],
    sets: Iterable[PracticeSet],
    told: Iterable[ToldSession],
) -> dict[date, list[Entry]]:
    """Return what was done on each day: rounds first, then practice cards, then sessions told by hand."""
    found: dict[date, list[Entry]] = {}
    for line in lines:
        if line.played_on:
            name = names[line.id]
            says = f"{name.nth or 'round'}, {name.course}, {name.player}, score {line.score}"
            found.setdefault(line.played_on, []).append(
                Entry("round", says, f"/rounds/{quote(line.id, safe='')}")
            )
    cards: dict[tuple[date, str, str | None], int] = {}
    for done in sets:
        if done.day:
            key = (done.day, done.card, done.player)
            cards[key] = cards.get(key, 0) + 1
    for (day, card, player), rows in cards.items():
        whose = f", {player}" if player else ""
        says = f"practice card, {count_said(rows, 'set')}{whose}"
        found.setdefault(day, []).append(Entry("session", says, f"/card/{quote(card, safe='')}"))
    for session in told:
        whose = f", {session.player}" if session.player else ""
        says = f"{session.minutes} minutes of {MANY[session.phase]}{whose}"
        found.setdefault(session.day, []).append(Entry("session", says, ""))
    return found


def months_of(year: int, entries: Mapping[date, Sequence[Entry]]) -> list[Month]:
    """Return the twelve months of a year."""
    weeks = calendar.Calendar(firstweekday=0)
    months = []
    for number in range(1, 13):
        rows = tuple(
            tuple(Day(day, tuple(entries.get(day, ()))) if day.month == number else None for day in week)
            for week in weeks.monthdatescalendar(year, number)
        )
        days = [day for row in rows for day in row if day is not None]
        rounds, sessions = sum(d.rounds for d in days), sum(d.sessions for d in days)
        done = [count_said(n, noun) for n, noun in ((rounds, "round"), (sessions, "session")) if n]
        said = ", ".join(done) or "nothing"
        months.append(Month(MONTHS[number], rows, said))
    return months
