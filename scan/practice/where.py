"""Where it goes wrong: by hole, by course, by how long the hole or the approach is. Only what stands out.

Asking about eighteen holes and three phases finds something by chance alone. So all questions are asked at
once, adjusted for how many they are (Benjamini and Hochberg 1995), and told are only those that stand out. A
range is drawn towards the others of its kind by as much as these are alike (a hole's misses towards those of
the other holes), since whatever is picked for standing out does so partly by chance.

Where values are doubtful each question is asked of every draw of whole rounds that may be true: its p value
is the mean of the draws' (`doubt.pooled_chance`), its range theirs and what they differ by.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, first_upper
from shortpencil.scan.practice import words
from shortpencil.scan.practice.cost import same_hole
from shortpencil.scan.practice.doubt import pooled_chance, pooled_interval
from shortpencil.scan.practice.history import MISS, NO_PHASE, UNMARKED, History, only_misses
from shortpencil.scan.practice.model import (
    LEVEL,
    Interval,
    adjusted,
    fisher_exact,
    jeffreys,
    spread_between,
    trend,
)

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: A hole is asked about from so many plays on, a course from so many rounds, a length from so many throws.
LEAST_PLAYS, LEAST_ROUNDS, LEAST_THROWS = 5, 3, 20

#: Expected share of false ones among what is told.
FALSE_SHARE = 0.10

#: Throws that the usual rate stands for in a hole's range, before holes show how alike they are.
ALIKE_THROWS = 12.0

#: One hole in so many is like no other: a tree in the line, a pond. Its range follows its own throws.
ODD_HOLES = 0.1
ODD_STROKES_SD = 1.5


ELSEWHERE = N_(
    "{course}: {missed} of {thrown} {many} missed ({percent}, range {range}), against {others} of {of} "
    "({usual}) elsewhere"
)
FROM_FAR = N_(
    "{many} from over {length}: {missed} of {thrown} missed ({percent}, range {range}), against {others} of "
    "{of} ({usual}) on shorter ones"
)
ON_LONG_HOLES = N_(
    "{many} on holes over {length}: {missed} of {thrown} missed ({percent}, range {range}), against {others} "
    "of {of} ({usual}) on shorter ones"
)


@dataclass(frozen=True, slots=True)
class Spot:
    """One place asked about: a sentence about it, its p value, and that adjusted for all questions.

    `interval` is the miss rate there, or strokes more than usual there.
    """

    kind: str  # "hole" | "score" | "course" | "length"
    says: str
    interval: Interval
    p: float
    p_adjusted: float

    @property
    def stands_out(self) -> bool:
        """Whether it is told after allowing for the number of questions."""
        return self.p_adjusted <= FALSE_SHARE


@dataclass(frozen=True, slots=True)
class _Asked:
    kind: str
    about: str  # what tells it from the other questions of its kind, the same in every draw
    says: Callable[[], str]
    interval: Interval
    p: float


def spots_of(
    history: History, length: Callable[[float], str], possible: Sequence[History] = ()
) -> tuple[Spot, ...]:
    """Return all places asked about, the most telling first; `length` says metres in the player's unit.

    `possible`: where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`).
    """
    asked = _together([_asked(one, length) for one in possible or (history,)])
    p_adjusted = adjusted([a.p for a in asked])
    spots = [
        Spot(a.kind, a.says() if q <= FALSE_SHARE else "", a.interval, a.p, float(q))
        for a, q in zip(asked, p_adjusted, strict=True)
    ]
    return tuple(sorted(spots, key=lambda s: s.p))


def _asked(history: History, length: Callable[[float], str]) -> list[_Asked]:
    full = ~only_misses(history)
    return [
        *_holes(history, full),
        *_scores(history),
        *_courses(history, full),
        *_lengths(history, full, length),
    ]


def _together(draws: Sequence[list[_Asked]]) -> list[_Asked]:
    """Return the questions that every draw can be asked, each with what all draws say.

    The counts told are those of the draw nearest to the mean of all.
    """
    if len(draws) == 1:
        return draws[0]
    by_question = [{(a.kind, a.about): a for a in draw} for draw in draws]
    result = []
    for question, first in by_question[0].items():
        found = [draw[question] for draw in by_question if question in draw]
        if len(found) < len(draws):
            continue
        interval = pooled_interval([a.interval for a in found])
        nearest = min(found, key=lambda a: abs(a.interval.middle - interval.middle))
        p = pooled_chance([a.p for a in found])
        result.append(_Asked(first.kind, first.about, nearest.says, interval, p))
    return result


def _holes(history: History, full: Mask) -> list[_Asked]:
    """Ask of each hole and phase whether it is missed more or less often than on the course's other holes.

    Both sides are of the same rounds, so that days cancel and counts stand as they are.
    """
    hole = same_hole(history)
    course = _course(history)
    marked = (history.throw_execution != UNMARKED) & full[history.hole_round[history.throw_hole]]
    kinds = int(hole.max()) + 1 if len(hole) else 0
    asked = []
    for k, phase in enumerate(history.phase_ids):
        at = marked & (history.throw_phase == k)
        key = hole[history.throw_hole[at]]
        n = np.bincount(key, minlength=kinds)
        x = np.bincount(key, history.throw_execution[at] == MISS, kinds).astype(int)
        for c in np.unique(course):
            on = np.unique(hole[course == c])
            on = on[n[on] >= LEAST_PLAYS]
            if len(on) < 3:
                continue
            alike = _alike(x[on], n[on])
            for h in on:
                own, rest = (int(x[h]), int(n[h])), (int(x[on].sum() - x[h]), int(n[on].sum() - n[h]))
                usual = rest[0] / rest[1]
                interval = _drawn(own, usual, alike)
                asked.append(
                    _Asked(
                        "hole",
                        f"{_where(history, int(np.flatnonzero(hole == h)[0]))} {phase}",
                        _hole_says(history, int(np.flatnonzero(hole == h)[0]), phase, own, usual, interval),
                        interval,
                        _fisher(own, rest),
                    )
                )
    return asked


def _hole_says(
    history: History, at: int, phase: str, own: tuple[int, int], usual: float, interval: Interval
) -> Callable[[], str]:
    return lambda: _(
        "{hole}: {missed} of {thrown} {many} missed, likely {range} in the long run, against {usual} on the "
        "other holes",
        hole=_hole_name(history, at),
        missed=own[0],
        thrown=own[1],
        many=words.MANY[phase],
        range=words.percent_range(interval),
        usual=words.percent(usual),
    )


def _scores(history: History) -> list[_Asked]:
    """Ask of each hole whether it takes more strokes than the player's other holes of the same par."""
    hole, course = same_hole(history), _course(history)
    par = np.nan_to_num(history.hole_par, nan=0.0)
    known = ~np.isnan(history.hole_score)
    asked: list[_Asked] = []
    for c in np.unique(course):
        for p in np.unique(par[(course == c) & known]):
            at = known & (course == c) & (par == p)
            # a day's level is common to all holes of the day
            by_day = np.bincount(history.hole_round[at], history.hole_score[at])
            played = np.bincount(history.hole_round[at])
            y = (
                history.hole_score
                - (by_day / np.maximum(played, 1))[np.minimum(history.hole_round, len(played) - 1)]
            )
            names = np.unique(hole[at])
            plays = np.array([int((at & (hole == h)).sum()) for h in names])
            names = names[plays >= LEAST_PLAYS]
            if len(names) >= 3:
                asked += _of_par(history, hole, at, y, names, int(p))
    return asked


def _of_par(
    history: History, hole: NDArray[np.int64], at: Mask, y: Floats, names: NDArray[np.int64], par: int
) -> list[_Asked]:
    from shortpencil.scan.practice.special import stdtr

    groups = [y[at & (hole == h)] for h in names]
    means = np.array([g.mean() for g in groups])
    within = float(sum(((g - g.mean()) ** 2).sum() for g in groups))
    free = sum(len(g) - 1 for g in groups)
    variance = max(within / max(free, 1), 1e-6)
    error = np.array([variance / len(g) for g in groups])
    between = max(float(np.mean((means - means.mean()) ** 2 - error)), 0.01)
    asked = []
    for h, g, e in zip(names, groups, error, strict=True):
        z = float(g.mean()) / sqrt(float(e))
        interval = _drawn_strokes(float(g.mean()), float(e), between)
        p = float(2 * stdtr(max(free, 1), -abs(z)))
        first = int(np.flatnonzero(hole == h)[0])
        asked.append(
            _Asked(
                "score",
                _where(history, first),
                _score_says(history, first, len(g), interval, par),
                interval,
                p,
            )
        )
    return asked


def _score_says(history: History, at: int, plays: int, interval: Interval, par: int) -> Callable[[], str]:
    low, high = sorted((abs(interval.low), abs(interval.high)))
    if interval.middle > 0:
        of_par = N_(
            "{hole} takes you {strokes} strokes more than your other par {par}s there "
            "(range {low} to {high}; {rounds})"
        )
        of_any = N_(
            "{hole} takes you {strokes} strokes more than your other holes there "
            "(range {low} to {high}; {rounds})"
        )
    else:
        of_par = N_(
            "{hole} takes you {strokes} strokes fewer than your other par {par}s there "
            "(range {low} to {high}; {rounds})"
        )
        of_any = N_(
            "{hole} takes you {strokes} strokes fewer than your other holes there "
            "(range {low} to {high}; {rounds})"
        )
    return lambda: _(
        of_par if par else of_any,
        hole=_hole_name(history, at),
        strokes=words.strokes(interval.middle),
        par=par,
        low=words.strokes(low),
        high=words.strokes(high),
        rounds=words.rounds(plays),
    )


def _courses(history: History, full: Mask) -> list[_Asked]:
    """Ask of each course whether a phase is missed more or less often there than elsewhere."""
    names = [h.course for h in history.heads]
    asked = []
    for name in dict.fromkeys(n for n in names if n):
        here = np.array([n == name for n in names]) & full
        there = np.array([n is not None and n != name for n in names]) & full
        if min(int(here.sum()), int(there.sum())) < LEAST_ROUNDS:
            continue
        for k, phase in enumerate(history.phase_ids):
            factor = _factor(history, k, here, there)
            own, rest = _counts(history, here, k), _counts(history, there, k)
            if min(own[1], rest[1]) < LEAST_THROWS:
                continue
            interval = jeffreys(own[0] / factor, own[1] / factor)
            says = _against(ELSEWHERE, own, rest, interval, course=str(name), many=words.MANY[phase])
            asked.append(_Asked("course", f"{name} {phase}", says, interval, _fisher(own, rest, factor)))
    return asked


def _lengths(history: History, full: Mask, length: Callable[[float], str]) -> list[_Asked]:
    """Ask whether misses go with the length of an approach where written, or with that of the hole."""
    asked = []
    marked = (history.throw_execution != UNMARKED) & full[history.hole_round[history.throw_hole]]
    of_hole = history.hole_length_m
    hole_length = of_hole[history.throw_hole] if len(of_hole) else np.full(len(marked), np.nan)
    questions = [
        *((k, history.throw_distance_m, FROM_FAR) for k in history.between),
        *((k, hole_length, ON_LONG_HOLES) for k in (history.tee,) if k != NO_PHASE),
        *((k, hole_length, ON_LONG_HOLES) for k in history.between),
    ]
    for k, far, what in questions:
        at = marked & (history.throw_phase == k) & ~np.isnan(far)
        if at.sum() < LEAST_THROWS or len(np.unique(far[at])) < 3:
            continue
        missed = (history.throw_execution[at] == MISS).astype(float)
        factor = _factor(history, k, full, np.zeros_like(full))
        z = trend(missed, np.ones(len(missed)), far[at])[0]
        middle = float(np.median(far[at]))
        long = far[at] > middle
        own = (int(missed[long].sum()), int(long.sum()))
        rest = (int(missed[~long].sum()), int((~long).sum()))
        if min(own[1], rest[1]) < LEAST_THROWS // 2:
            continue
        interval = jeffreys(own[0] / factor, own[1] / factor)
        many = first_upper(words.MANY[history.phase_ids[k]])
        says = _against(what, own, rest, interval, many=many, length=length(middle))
        asked.append(_Asked("length", f"{what} {k}", says, interval, _two_sided(z / sqrt(factor))))
    return asked


def _against(
    sentence: str, own: tuple[int, int], rest: tuple[int, int], interval: Interval, **values: str
) -> Callable[[], str]:
    return lambda: _(
        sentence,
        missed=own[0],
        thrown=own[1],
        percent=words.percent(own[0] / own[1]),
        range=words.percent_range(interval),
        others=rest[0],
        of=rest[1],
        usual=words.percent(rest[0] / rest[1]),
        **values,
    )


def _alike(x: NDArray[np.int64], n: NDArray[np.int64]) -> float:
    """Return the throws that the usual rate stands for: many where holes are alike, few where they are not.

    By moments from the spread of the rates; what is left of the variance beyond chance is the holes' own.
    """
    rate = float(x.sum() / n.sum())
    if not 0 < rate < 1:
        return ALIKE_THROWS
    chance = rate * (1 - rate)
    own = float(np.sum(n * (x / n - rate) ** 2) - (len(n) - 1) * chance)
    own /= float(n.sum() - np.sum(n**2) / n.sum())
    # drawn towards the usual with the weight of a few holes, as a share of the variance
    share = (len(n) * np.clip(own / chance, 0.0, 0.9) + 5 / (ALIKE_THROWS + 1)) / (len(n) + 5)
    return float(1 / share - 1)


def _drawn(own: tuple[int, int], usual: float, alike: float) -> Interval:
    """Return a hole's rate, drawn towards the others' unless it is an odd one."""
    from shortpencil.scan.practice.special import betainc, betaln

    x, n = own
    near = (max(usual * alike, 0.05), max((1 - usual) * alike, 0.05))
    chance = [betaln(x + a, n - x + b) - betaln(a, b) for a, b in (near, (1.0, 1.0))]
    odd = 1 / (1 + (1 - ODD_HOLES) / ODD_HOLES * np.exp(np.clip(chance[0] - chance[1], -50, 50)))
    at = np.linspace(0.0, 1.0, 501)
    below = np.zeros(len(at))
    middle = 0.0
    for (a, b), share in ((near, 1 - odd), ((1.0, 1.0), odd)):
        below += share * betainc(x + a, n - x + b, at)
        middle += share * (x + a) / (n + a + b)
    return _ends(at, below, float(middle))


def _drawn_strokes(mean: float, error: float, between: float) -> Interval:
    """Return by how many strokes a hole differs, drawn towards none unless it is an odd one."""
    from shortpencil.scan.practice.special import ndtr

    fits = [np.exp(-0.5 * mean**2 / (error + v)) / sqrt(error + v) for v in (between, ODD_STROKES_SD**2)]
    odd = ODD_HOLES * fits[1] / max(ODD_HOLES * fits[1] + (1 - ODD_HOLES) * fits[0], 1e-300)
    at = np.linspace(mean - 5 * sqrt(error) - 1, mean + 5 * sqrt(error) + 1, 601)
    below, middle = np.zeros(len(at)), 0.0
    for v, share in ((between, 1 - odd), (ODD_STROKES_SD**2, odd)):
        keep = v / (v + error)
        below += share * ndtr((at - keep * mean) / sqrt(keep * error))
        middle += share * keep * mean
    return _ends(at, below, float(middle))


def _ends(at: Floats, below: Floats, middle: float) -> Interval:
    tail = (1 - LEVEL) / 2
    low, high = np.interp([tail, 1 - tail], below, at)
    return Interval(float(low), middle, float(high))


def _course(history: History) -> NDArray[np.int64]:
    """Return for each hole played the number of its course and layout."""
    names: dict[tuple[str | None, str | None], int] = {}
    of_round = [names.setdefault((h.course, h.layout), len(names)) for h in history.heads]
    return np.asarray(of_round, dtype=np.int64)[history.hole_round]


def _where(history: History, at: int) -> str:
    """Return what tells a hole from others, in every draw the same."""
    head = history.heads[history.hole_round[at]]
    return f"{head.course} {head.layout} {history.hole_number[at]} {history.hole_par[at]}"


def _hole_name(history: History, at: int) -> str:
    course = history.heads[history.hole_round[at]].course
    number = int(history.hole_number[at])
    if course:
        return _("Hole {number}, {course}", number=number, course=course)
    return _("Hole {number}", number=number)


def _counts(history: History, rounds: Mask, k: int) -> tuple[int, int]:
    return int(history.misses[rounds, k].sum()), int(history.marked[rounds, k].sum())


def _factor(history: History, k: int, *groups: Mask) -> float:
    """Return by how much rounds of the same group differ, over chance."""
    factors = [spread_between(history.misses[g, k], history.marked[g, k]).factor for g in groups if g.any()]
    return max(factors)


def _fisher(own: tuple[int, int], rest: tuple[int, int], factor: float = 1.0) -> float:
    def row(group: tuple[int, int]) -> tuple[int, int]:
        return round(group[0] / factor), round((group[1] - group[0]) / factor)

    return fisher_exact([row(own), row(rest)])[0]


def _two_sided(z: float) -> float:
    from shortpencil.scan.practice.special import ndtr

    return float(2 * ndtr(-abs(z)))
