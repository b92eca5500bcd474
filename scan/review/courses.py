"""Each course over the rounds: what every hole took, how often the player missed there, with ranges. Pure.

References
----------
Wilson's interval for a share: L. D. Brown, T. T. Cai, A. DasGupta, Interval Estimation for a Binomial
Proportion, Statistical Science 16 (2001), equation 4.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt

from shortpencil.scan.records.composing.rounds import Hole, Round
from shortpencil.scan.review.played import length_said

Z_90 = 1.6448536269514722  # standard normal quantile of 0.95


@dataclass(frozen=True, slots=True)
class CourseKey:
    """What tells one course from another: its name, its layout, how many holes were played."""

    course: str
    layout: str
    holes: int


@dataclass(frozen=True, slots=True)
class CourseHole:
    """One hole over all rounds of a course.

    Attributes
    ----------
    scores : how often each score was made, from the lowest
    misses : missed throws by phase
    missed, marked : missed throws, and all that are marked, of rounds whose card asks for clean throws, too:
        where only misses are marked there is no share of them
    low, high : holds the true share of misses nine times in ten; 0 and 1 where nothing is marked
    """

    number: int
    par: int | None
    length: str
    scores: tuple[tuple[int, int], ...]
    misses: tuple[int, ...]
    missed: int
    marked: int
    low: float
    high: float

    @property
    def played(self) -> int:
        """On how many rounds the score is known."""
        return sum(count for _, count in self.scores)

    @property
    def mean(self) -> float | None:
        """Mean score; None where none is known."""
        return sum(score * count for score, count in self.scores) / self.played if self.played else None


@dataclass(frozen=True, slots=True)
class CourseLine:
    """One course in a line of the list."""

    key: CourseKey
    rounds: int
    last: date | None
    best: int | None
    mean: float | None
    par: int | None


def key_of(round_: Round) -> CourseKey | None:
    """Return the course of a round; None where none is known."""
    return CourseKey(round_.course, round_.layout or "", len(round_.holes)) if round_.course else None


def course_lines(rounds: Iterable[Round]) -> list[CourseLine]:
    """Return every course, the one with most rounds first."""
    by_key: dict[CourseKey, list[Round]] = {}
    for round_ in rounds:
        key = key_of(round_)
        if key is not None:
            by_key.setdefault(key, []).append(round_)
    lines = [_line(key, played) for key, played in by_key.items()]
    return sorted(lines, key=lambda line: (-line.rounds, line.key.course, line.key.layout))


def _line(key: CourseKey, rounds: Sequence[Round]) -> CourseLine:
    whole = [total for round_ in rounds if (total := _whole_score(round_)) is not None]
    days = [round_.day for round_ in rounds if round_.day]
    pars = {_par(round_) for round_ in rounds} - {None}
    return CourseLine(
        key,
        len(rounds),
        max(days, default=None),
        min(whole, default=None),
        sum(whole) / len(whole) if whole else None,
        pars.pop() if len(pars) == 1 else None,
    )


def course_games(rounds: Sequence[Round]) -> list[tuple[tuple[str, ...], list[CourseHole]]]:
    """Return the holes of one course for each game that was played there, the most played one first."""
    games: dict[tuple[str, ...], list[Round]] = {}
    for round_ in rounds:
        games.setdefault(round_.phase_ids, []).append(round_)
    in_order = sorted(games.items(), key=lambda game: -len(game[1]))
    return [(phases, course_holes(played)) for phases, played in in_order]


def course_holes(rounds: Sequence[Round]) -> list[CourseHole]:
    """Return the holes of one course; `rounds` are all of that course and layout, and of one game."""
    numbers = sorted({hole.number for round_ in rounds for hole in round_.holes})
    asking: dict[int, list[Hole]] = {}
    for hole in (hole for round_ in rounds if not round_.only_misses for hole in round_.holes):
        asking.setdefault(hole.number, []).append(hole)
    found = []
    for number in numbers:
        holes = [(r, h) for r in rounds for h in r.holes if h.number == number]
        scores = Counter(hole.score.known for _, hole in holes if isinstance(hole.score.known, int))
        phases = holes[-1][0].phase_ids
        missed = [t.phase for _, hole in holes for t in hole.throws if t.execution.known == "miss"]
        asked = [t.execution.known for hole in asking.get(number, ()) for t in hole.throws]
        shares = asked.count("miss"), asked.count("miss") + asked.count("clean")
        newest, last = holes[-1]
        par = last.par.known
        found.append(
            CourseHole(
                number,
                par if isinstance(par, int) else None,
                _length(last.length_m, newest.unit),
                tuple(sorted((int(score or 0), count) for score, count in scores.items())),
                tuple(missed.count(phase) for phase in phases),
                *shares,
                *share_range(*shares),
            )
        )
    return found


def share_range(count: int, of: int, z: float = Z_90) -> tuple[float, float]:
    """Return Wilson's interval for a share; the whole range where nothing was counted."""
    if of == 0:
        return 0.0, 1.0
    share = count / of
    middle = (count + z * z / 2) / (of + z * z)
    half = z * sqrt(of) / (of + z * z) * sqrt(share * (1 - share) + z * z / (4 * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def _length(length_m: float | None, unit: str) -> str:
    if length_m is None:
        return ""
    return length_said(length_m, unit)


def _whole_score(round_: Round) -> int | None:
    scores = [hole.score.known for hole in round_.holes]
    return sum(int(s or 0) for s in scores) if all(isinstance(s, int) for s in scores) else None


def _par(round_: Round) -> int | None:
    pars = [hole.par.known for hole in round_.holes]
    return sum(int(p or 0) for p in pars) if all(isinstance(p, int) for p in pars) else None
