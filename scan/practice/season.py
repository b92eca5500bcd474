"""A season at a glance: what was practised, what the rounds and the tests of ten say, what to aim for next.

Everything the terminal, the page and the sheet tell is worked out here once. A season is the year up to the
newest day that the store knows, or so many months of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, first_upper, month_said, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.choice import Choice, assumed, why_next
from shortpencil.scan.practice.doubt import pooled_interval
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.helped import OTHER_REASONS, Judged, judged, judged_sentence, sentence
from shortpencil.scan.practice.history import History, only_misses, rated
from shortpencil.scan.practice.model import Interval, jeffreys, spread_between
from shortpencil.scan.practice.over_time import by_use, holes_of_rounds
from shortpencil.scan.practice.plan import TEST_TRIES
from shortpencil.scan.practice.sessions import OfTen, Session, lately

MOST_MONTHS = 12
#: Sessions a week that a plan supposes: as many as lately, within these; and where none is known, two.
USUAL_A_WEEK, MOST_A_WEEK = 2, 4
LATELY_DAYS = 42
WEEKS = 4
#: After so many weeks of a plan, or so many rounds, it pays to ask again.
LOOK_AGAIN_WEEKS, LOOK_AGAIN_ROUNDS = 2, 3


@dataclass(frozen=True, slots=True)
class Month:
    """One month: rounds, miss rates by phase (None without marks), sessions by phase, what cost most."""

    first: date
    rounds: int
    rates: tuple[Interval | None, ...]
    sessions: tuple[int, ...]
    costs_most: str | None  # None too where nothing was compared

    @property
    def name(self) -> str:
        """Month and year, as in ``May 2030``."""
        return f"{month_said(self.first.month, short=True)} {self.first.year}"


@dataclass(frozen=True, slots=True)
class Season:
    """One player's season.

    Attributes
    ----------
    months : oldest first, every month from the first round or session to the last
    holes : of rounds of so many holes, the usual length, are the months' rates; None where all are alike
    bare : whether rounds among them have only misses marked
    judged : whether practice helped, and what became of each practised phase
    aim : what to reach until `until`, one sentence
    weeks : the phases of the sessions of the next weeks
    """

    player: str | None
    first: date
    last: date
    rounds: int
    months: tuple[Month, ...]
    holes: int | None
    bare: bool
    sessions: tuple[Session, ...]
    tests: tuple[OfTen, ...]
    judged: Judged
    focus: Focus
    choice: Choice
    aim: str
    until: date
    weeks: tuple[tuple[str, ...], ...]

    @property
    def phases(self) -> tuple[str, ...]:
        """Ids of the phases of the game, in the order thrown."""
        return tuple(phase.phase for phase in self.focus.phases)


def season_of(
    history: History,
    focus: Focus,
    choice: Choice,
    sessions: Sequence[Session],
    tests: Sequence[OfTen],
    foci: Sequence[tuple[date, str]],
    reach: int,
    *,
    player: str | None = None,
    months: int = MOST_MONTHS,
    possible: Sequence[History] = (),
    today: date | None = None,
) -> Season:
    """Return the season up to the newest day.

    Parameters
    ----------
    history : of all rounds; those without a day are left out
    focus, choice : as of now
    sessions, tests : oldest first
    foci : what cost most as of the end of each month with rounds, by the first day of that month
    reach : what the plan of the next session aims at in the test of ten
    months : how many months back, the newest one included
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`)
    today : the aim is for the month after it, or after the newest day where that is later or nothing is given
    """
    known = [h.day for h in history.heads if h.day is not None] + [s.day for s in sessions]
    last = max(known)
    first = max(_months_before(last.replace(day=1), months - 1), min(known).replace(day=1))
    mine = tuple(s for s in sessions if s.day >= first)
    until = max(last, today or last) + timedelta(days=30)
    weeks = weeks_of(choice, sessions, last)
    shown = np.array([h.day is not None and h.day >= first for h in history.heads], bool)
    lengths = by_use(holes_of_rounds(history)[shown])
    each = _months(possible or (history,), mine, dict(foci), first, last, lengths[:1])
    return Season(
        player=player,
        first=min(d for d in known if d >= first),
        last=last,
        rounds=sum(month.rounds for month in each),  # with those whose day is doubtful
        months=each,
        holes=lengths[0] if len(lengths) > 1 else None,
        bare=bool((only_misses(history) & shown).any()),
        sessions=mine,
        tests=tuple(t for t in tests if t.day >= first),
        judged=judged(history, sessions, possible=possible),
        focus=focus,
        choice=choice,
        aim=_aim(choice, weeks, tests, reach, until),
        until=until,
        weeks=weeks,
    )


def weeks_of(choice: Choice, sessions: Sequence[Session], last: date) -> tuple[tuple[str, ...], ...]:
    """Return the phases to practise in each of the next weeks, as things stand."""
    lately = sum((last - s.day).days < LATELY_DAYS for s in sessions)
    a_week = min(max(round(lately * 7 / LATELY_DAYS), 1), MOST_A_WEEK) if lately else USUAL_A_WEEK
    ahead = choice.ahead
    return tuple(tuple(ahead[week * a_week : (week + 1) * a_week]) for week in range(WEEKS))


def months_with_rounds(history: History, months: int = MOST_MONTHS) -> list[tuple[date, int]]:
    """Return the last months with rounds, by first day, with how many rounds there were by their end."""
    counted: dict[date, int] = {}
    for i, head in enumerate(history.heads):
        if head.day is not None:
            counted[head.day.replace(day=1)] = i + 1
    return sorted(counted.items())[-months:]


def _months(
    draws: Sequence[History],
    sessions: Sequence[Session],
    foci: dict[date, str],
    first: date,
    last: date,
    length: Sequence[int],
) -> tuple[Month, ...]:
    """Return the months; rates are of rounds of so many holes, since 9 and 18 never share a chart.

    Where only misses are marked, nobody knows how many throws there were: a phase has a rate then only where
    the card tells (`rated`).
    """
    count = len(draws[0].phases)
    counted = [_Rates.of_rounds(rated(one), length) for one in draws]
    result = []
    at = first.replace(day=1)
    while at <= last:
        each = [one.month(at) for one in counted]
        rates: list[Interval | None] = []
        for k in range(count):
            told = [rate for month in each if (rate := month[k]) is not None]
            rates.append(pooled_interval(told, 0.0, 1.0) if len(told) == len(each) else None)
        done = [s for s in sessions if s.day.replace(day=1) == at]
        result.append(
            Month(
                first=at,
                rounds=sum(month == at for month in counted[0].of),
                rates=tuple(rates),
                sessions=tuple(sum(s.phase == k for s in done) for k in range(count)),
                costs_most=foci.get(at),
            )
        )
        at = _months_before(at, -1)
    return tuple(result)


@dataclass(frozen=True, slots=True)
class _Rates:
    """Rounds with the month of each, which of them are of the usual length, and how much they differ."""

    history: History
    of: tuple[date | None, ...]
    alike: NDArray[np.bool_]
    factor: tuple[float, ...]

    @classmethod
    def of_rounds(cls, history: History, length: Sequence[int]) -> _Rates:
        factor = (
            spread_between(history.misses[-90:, k], history.marked[-90:, k]).factor
            for k in range(len(history.phases))
        )
        of = tuple(h.day.replace(day=1) if h.day else None for h in history.heads)
        return cls(history, of, np.isin(holes_of_rounds(history), length), tuple(factor))

    def month(self, first: date) -> list[Interval | None]:
        """Return the miss rates of a month by phase, None without marks."""
        at = np.array([month == first for month in self.of], dtype=bool) & self.alike
        rates: list[Interval | None] = []
        for k, factor in enumerate(self.factor):
            x, n = float(self.history.misses[at, k].sum()), float(self.history.marked[at, k].sum())
            told = jeffreys(x / factor, n / factor)
            rates.append(Interval(told.low, x / n, told.high) if n else None)
        return rates


def _months_before(first: date, months: int) -> date:
    """Return the first day of the month so many months earlier."""
    count = first.year * 12 + first.month - 1 - months
    return date(count // 12, count % 12 + 1, 1)


def _aim(
    choice: Choice, weeks: Sequence[Sequence[str]], tests: Sequence[OfTen], reach: int, until: date
) -> str:
    """Return one aim for the next month: sessions done, and the same aim in the test as each session has."""
    planned = sum(len(week) for week in weeks)
    made, tries = lately(tests, choice.number)
    so_far = _("lately {made} of {tries}", made=made, tries=tries) if tries else _("not tested yet")
    return _(
        "Until {day}: the {planned} sessions planned here, and {reach} of {tries} in the test of {many} "
        "({so_far}).",
        day=words.day(until),
        planned=planned,
        reach=reach,
        tries=TEST_TRIES,
        many=words.MANY[choice.phase],
        so_far=so_far,
    )


# -- in words ------------------------------------------------------------------------------------------------


def head_line(season: Season) -> str:
    """Whose season, how many rounds and sessions, from when to when."""
    parts = [
        words.whose(season.player),
        words.rounds(season.rounds),
        words.sessions(len(season.sessions)),
        words.span([season.first, season.last]),
    ]
    return " · ".join(part for part in parts if part)


def next_sentences(season: Season) -> list[str]:
    """Return what costs most, what to practise next, and on what assumption."""
    costs = season.focus.costs_said
    said = [_most(season.focus), " ".join([*([costs] if costs else []), *why_next(season.choice)])]
    return [*said, assumed(season.choice)] if season.choice.known_sessions else said


_MOST = {
    "clear": N_("{many} cost most lately: about {strokes} strokes a round (range {range})."),
    "likely": N_(
        "{many} likely cost most lately ({probability}): about {strokes} strokes a round (range {range})."
    ),
    "not settled": N_(
        "{many} may cost most lately ({probability}): about {strokes} strokes a round (range {range})."
    ),
}


def _most(focus: Focus) -> str:
    """Say what costs most, no surer than it is."""
    alone = N_(
        "Only {only} are marked, so there is nothing to compare: about {strokes} strokes a round (range "
        "{range})."
    )
    return _(
        alone if focus.alone else _MOST[focus.level],
        many=first_upper(words.MANY[focus.phase]),
        only=words.MANY[focus.phase],
        probability=words.probability(focus.p),
        strokes=words.strokes(focus.chosen.strokes_a_round.middle),
        range=words.strokes_range(focus.chosen.strokes_a_round),
    )


def changed_sentences(season: Season) -> list[str]:
    """Return what changed with practice and what did not, phase by phase; which rounds the months show."""
    months = []
    if season.holes is not None:
        months.append(
            ngettext(
                "Months show the rounds of {n} hole; all else counts every round.",
                "Months show the rounds of {n} holes; all else counts every round.",
                season.holes,
            )
        )
    if season.bare:
        months.append(
            _(
                "Rounds with only misses marked tell the share of first throws at most: nobody knows how "
                "many others there were."
            )
        )
    if not season.judged.phases:
        return [_("No session is known yet, so nothing can be said of what practice changed."), *months]
    together = judged_sentence(season.judged)
    told = [together] if together else []
    told += [sentence(h) for h in season.judged.phases]
    return [*told, _(OTHER_REASONS), *months] if together else [*told, *months]


def tests_sentences(season: Season) -> list[str]:
    """Return the tests of ten by phase, oldest first."""
    said = []
    for k, phase in enumerate(season.phases):
        mine = [t for t in season.tests if t.phase == k]
        if mine:
            made = ", ".join(f"{t.made}" if t.tries == TEST_TRIES else f"{t.made}/{t.tries}" for t in mine)
            many = first_upper(words.MANY[phase])
            said.append(_("{many}, of {tries}: {made}", many=many, tries=TEST_TRIES, made=made))
    return said


def weeks_sentences(season: Season) -> list[str]:
    """Return the plan of the next weeks: sessions, tests, when to look again."""
    said = []
    last = 0
    for number, phases in enumerate(season.weeks, start=1):
        if number < len(season.weeks) and Counter(season.weeks[number]) == Counter(phases):
            continue  # weeks that are alike are told once
        planned = words.listing(_counted(phases))
        if number == last + 1:
            said.append(_("Week {number}: {planned}.", number=number, planned=planned))
        else:
            said.append(
                _("Weeks {first} to {last}, each: {planned}.", first=last + 1, last=number, planned=planned)
            )
        last = number
    said.append(
        _("Each session ends with the test of ten; from twenty minutes on it begins with the last one again.")
    )
    said.append(
        _(
            "Ask again after week {week} or {rounds} rounds, whichever comes first: "
            "new marks may change the plan.",
            week=LOOK_AGAIN_WEEKS,
            rounds=LOOK_AGAIN_ROUNDS,
        )
    )
    return said


def _counted(phases: Sequence[str]) -> list[str]:
    times = {phase: phases.count(phase) for phase in dict.fromkeys(phases)}
    return [
        words.MANY[phase] if n == 1 else f"{words.MANY[phase]} {words.times(n)}" for phase, n in times.items()
    ]
