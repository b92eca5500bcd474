"""Sessions of practice, from practice cards and as told by hand, and where they lie between the rounds.

A session is one day's practice of one phase. A practice card tells its phase by its drills, above all by its
test of ten; a session told by hand says it. Both on one day and of one phase are one session. A session
counts by its minutes, half an hour as one; what was practised fades (`gains.FADES_DAYS`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.rules import PHASES
from shortpencil.scan.practice.gains import FADES_DAYS
from shortpencil.scan.records.composing.practice_sets import phase_of_drills
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.storing.told import ToldSession

Floats = NDArray[np.float64]

#: A session of so many minutes counts as one; longer ones count a little more, shorter ones less. Our choice.
USUAL_MINUTES = 30
LEAST_WORTH, MOST_WORTH = 0.25, 1.5
#: An aim goes by so many of the newest tests of its phase: one of ten tells a rate to 15 points, three to 9.
LATE_TESTS = 3


@dataclass(frozen=True, slots=True)
class OfTen:
    """Makes of tries in tests of one phase on one day."""

    day: date
    phase: int
    made: int
    tries: int


@dataclass(frozen=True, slots=True)
class Session:
    """One day's practice of one phase; `minutes` where they were told."""

    day: date
    phase: int
    minutes: int | None = None

    @property
    def worth(self) -> float:
        """How much of a usual session it was."""
        if self.minutes is None:
            return 1.0
        return min(max(self.minutes / USUAL_MINUTES, LEAST_WORTH), MOST_WORTH)


def sessions_of(
    sets: Iterable[PracticeSet],
    told: Iterable[ToldSession],
    phases: Mapping[str, Sequence[str]],
    ids: Sequence[str] = PHASES,
) -> tuple[Session, ...]:
    """Return every session, oldest first.

    Parameters
    ----------
    sets : of practice cards; a card without a day, or whose drills leave its phase open, tells no session
    told : by hand
    phases : the phases that each drill serves
    ids : of the phases of the player's game; a session of another one is left out
    """
    found: dict[tuple[date, int], int | None] = {}
    for day, name in _of_cards(sets, phases):
        if name in ids:
            found[day, ids.index(name)] = None
    for t in told:
        if t.phase in ids:
            before = found.get((t.day, ids.index(t.phase)))
            found[t.day, ids.index(t.phase)] = t.minutes + (before or 0)
    return tuple(Session(day, phase, minutes) for (day, phase), minutes in sorted(found.items(), key=_by_day))


def of_no_phase(
    sets: Iterable[PracticeSet],
    told: Iterable[ToldSession],
    phases: Mapping[str, Sequence[str]],
    ids: Sequence[str],
) -> dict[str, int]:
    """Count the sessions of phases that a game does not have, which count nowhere in it, by phase."""
    days = {*_of_cards(sets, phases), *((t.day, t.phase) for t in told)}
    return dict(Counter(phase for _, phase in sorted(days) if phase not in ids))


def ten_tries_of(sets: Iterable[PracticeSet], tests: Mapping[str, int]) -> tuple[OfTen, ...]:
    """Return the tests of ten on practice cards, oldest first; `tests` gives the phase of each test's id."""
    totals: dict[tuple[date, int], list[int]] = {}
    for s in sets:
        made, tries = s.made.known, s.tries.known
        if s.day is None or s.drill not in tests or not isinstance(made, int) or not isinstance(tries, int):
            continue
        if 0 <= made <= tries:
            at = totals.setdefault((s.day, tests[s.drill]), [0, 0])
            at[0] += made
            at[1] += tries
    return tuple(OfTen(day, phase, m, n) for (day, phase), (m, n) in sorted(totals.items()) if n)


def lately(tests: Sequence[OfTen], phase: int) -> tuple[int, int]:
    """Return makes and tries of the last tests of a phase; 0 of 0 where there is none."""
    mine = [t for t in tests if t.phase == phase][-LATE_TESTS:]
    return sum(t.made for t in mine), sum(t.tries for t in mine)


def practised_before(
    sessions: Sequence[Session],
    days: Sequence[date | None],
    *,
    with_same_day: bool = False,
    phases: int = len(PHASES),
) -> Floats:
    """Return how much of each of so many phases had been practised, faded, before each of these days, (D, P).

    A day that is not known stands where the one before it stood. A session on the day of a round is taken to
    have come after it, unless `with_same_day`.
    """
    result = np.zeros((len(days), phases))
    if not sessions:
        return result
    at = np.array([s.day.toordinal() for s in sessions], dtype=float)
    worth = np.zeros((len(sessions), phases))
    worth[np.arange(len(sessions)), [s.phase for s in sessions]] = [s.worth for s in sessions]
    last = None
    for i, day in enumerate(days):
        last = day or last
        if last is None:
            continue
        age = last.toordinal() - at
        past = age >= 0 if with_same_day else age > 0
        result[i] = (0.5 ** (age[past] / FADES_DAYS)) @ worth[past]
    return result


def _of_cards(sets: Iterable[PracticeSet], phases: Mapping[str, Sequence[str]]) -> Iterable[tuple[date, str]]:
    """Yield day and phase of each practice card: the phase that all its drills serve, where it is one."""
    cards: dict[str, tuple[date, list[str]]] = {}
    for s in sets:
        if s.day is not None and isinstance(s.made.known, int) and s.drill in phases:
            cards[s.card] = (s.day, [*cards.get(s.card, (s.day, []))[1], s.drill])
    for day, drills in cards.values():
        phase = phase_of_drills(drills, phases)
        if phase is not None:
            yield day, phase


def _by_day(item: tuple[tuple[date, int], int | None]) -> tuple[date, int]:
    return item[0]
