"""Rounds and sessions by day, month by month, as a calendar. Pure."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from shortpencil.forms.rules import FIELD_SHEET, LADDER_SHEET, many_said
from shortpencil.scan.language import _, month_said, weekday_said
from shortpencil.scan.records.composing.practice_sets import PHASES_OF_SHEETS, phase_of_drills
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.storing.summary import Summary
from shortpencil.scan.records.storing.told import ToldSession
from shortpencil.scan.review.naming import Name, count_said


def weekdays() -> list[str]:
    """Return the names of the days of the week, Monday first (ISO 8601)."""
    return [weekday_said(date(2024, 1, number)) for number in range(1, 8)]  # 1 January 2024 is a Monday


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing done on a day: a round or a session; `url` leads there, "" for a told session.

    `session` is whose practice of which phase it was, None where that is not known.
    """

    kind: str
    says: str
    url: str
    session: tuple[str | None, str] | None = None


@dataclass(frozen=True, slots=True)
class Day:
    """One square of the calendar."""

    day: date
    entries: tuple[Entry, ...]

    @property
    def name(self) -> str:
        """The day without its year."""
        return _("{day} {month}", day=self.day.day, month=month_said(self.day.month))

    @property
    def said(self) -> str:
        """The day and what was done on it, for a screen reader."""
        what = "; ".join(entry.says for entry in self.entries) or _("nothing")
        return f"{self.name}: {what}"

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
        """How many sessions of practice there were: of one phase, sheets and what was told are one."""
        return len({entry.session or entry.url for entry in self.entries if entry.kind == "session"})


@dataclass(frozen=True, slots=True)
class Month:
    """One month: its weeks, Monday first, None for days of other months."""

    name: str
    weeks: tuple[tuple[Day | None, ...], ...]
    said: str
    done: bool


def entries_of(
    lines: Sequence[Summary],
    names: Mapping[str, Name],
    sets: Iterable[PracticeSet],
    told: Iterable[ToldSession],
    phases: Mapping[str, Sequence[str]] = PHASES_OF_SHEETS,
) -> dict[date, list[Entry]]:
    """Return what was done on each day: rounds, then cards and sheets of practice, then sessions told.

    `phases` are those that each drill serves: a card and a session told of one phase are one session.
    """
    found: dict[date, list[Entry]] = {}
    for line in lines:
        if line.played_on:
            name = names[line.id]
            says = _(
                "{round}, {course}, {player}, score {score}",
                round=name.nth or _("round"),
                course=name.course,
                player=name.player,
                score=line.score,
            )
            found.setdefault(line.played_on, []).append(
                Entry("round", says, f"/rounds/{quote(line.id, safe='')}")
            )
    cards: dict[tuple[date, str, str | None], list[str]] = {}
    for done in sets:
        if done.day:
            cards.setdefault((done.day, done.card, done.player), []).append(done.drill)
    for (day, card, player), drills in cards.items():
        whose = f", {player}" if player else ""
        says = _card_said(drills) + whose
        found.setdefault(day, []).append(
            Entry("session", says, f"/card/{quote(card, safe='')}", _session(player, drills, phases))
        )
    for session in told:
        whose = f", {session.player}" if session.player else ""
        minutes, phase = session.minutes, many_said(session.phase)
        says = _("{minutes} minutes of {phase}", minutes=minutes, phase=phase) + whose
        found.setdefault(session.day, []).append(Entry("session", says, "", (session.player, session.phase)))
    return found


def _session(
    player: str | None, drills: Sequence[str], phases: Mapping[str, Sequence[str]]
) -> tuple[str | None, str] | None:
    phase = phase_of_drills(drills, phases)
    return None if phase is None else (player, phase)


def _card_said(drills: Sequence[str]) -> str:
    """Return what a card of these sets is: that of a session, or one of the practice sheets."""
    if drills[0] == FIELD_SHEET:  # all its throws are one set
        return _("field work")
    sets = count_said(len(drills), "set")
    if drills[0] == LADDER_SHEET:
        return _("putting ladder, {sets}", sets=sets)
    return _("practice card, {sets}", sets=sets)


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
        said = ", ".join(done) or _("nothing")
        months.append(Month(month_said(number), rows, said, bool(done)))
    return months
