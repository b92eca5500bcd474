"""Miss rates over time: limits of what chance brings, a smoothed line, and whether something changed.

Looking at many things finds something by chance alone. So the chance of a change is stated for the three
phases together (nothing changed anywhere: even odds to begin with), and the screen of other questions is
adjusted for how many were asked. From fewer than `CHART_ROUNDS` rounds nothing is drawn, and from fewer than
`CHANGE_ROUNDS` no change is spoken of: two rounds make no trend.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shortpencil.scan.language import N_, _
from shortpencil.scan.practice import words
from shortpencil.scan.practice.doubt import pooled_chance, pooled_interval
from shortpencil.scan.practice.history import MISS, NO_PHASE, UNMARKED, History
from shortpencil.scan.practice.model import (
    Interval,
    adjusted,
    fisher_exact,
    jeffreys,
    log_beta_binomial,
    p_rate_fell,
    spread_between,
    trend,
)

Floats = NDArray[np.float64]

CHART_ROUNDS = 5
CHANGE_ROUNDS = 8
#: A change needs so many rounds on either side.
LEAST_SIDE = 3

#: Weight of the newest round in the smoothed line; the handbook's example uses the same.
SMOOTHING = 0.3
LIMIT_SD = 3.0

#: Probability, before the data, that at least one of three phases changed at some point.
PRIOR_ANY_CHANGE = 0.5

#: Expected share of false ones among what the screen lets through.
FALSE_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class Chart:
    """A p-chart with a smoothed line: rates of rounds, the centre, and limits of chance for each round.

    `outside` are the rounds beyond their limits; `smoothed` is the smoothed deviation put back on the rate
    scale, with its own limits `smoothed_low` and `smoothed_high`.
    """

    phase: str
    rounds: tuple[int, ...]  # indices of rounds with marked throws
    rate: Floats
    throws: Floats
    centre: float
    low: Floats
    high: Floats
    outside: tuple[int, ...]
    smoothed: Floats
    smoothed_low: Floats
    smoothed_high: Floats


@dataclass(frozen=True, slots=True)
class Point:
    """One round of a chart: its misses of marked throws, and the range of its rate.

    Where values are doubtful, counts are means of whole rounds that may be true, to the nearest whole one,
    and `doubt` is the sd of the rate between these; else 0.
    """

    round: int
    misses: int
    throws: int
    rate: Interval
    doubt: float = 0.0


@dataclass(frozen=True, slots=True)
class OfLength:
    """The rounds of so many holes, oldest first, with their chart where they are enough."""

    holes: int
    points: tuple[Point, ...]
    chart: Chart | None

    @property
    def rounds(self) -> tuple[int, ...]:
        """Indices of the rounds."""
        return tuple(point.round for point in self.points)


@dataclass(frozen=True, slots=True)
class Change:
    """The one most likely moment at which a miss rate changed, and how probable it is that it did at all.

    `at` is the first round after it; `p_fell` the probability that the rate after is lower, given a change.
    """

    phase: str
    p_changed: float
    at: int
    before: Interval
    after: Interval
    before_throws: int
    after_throws: int
    p_fell: float


@dataclass(frozen=True, slots=True)
class Noticed:
    """One question of the screen: two groups of throws, their misses and rates, and whether it stands out."""

    question: str
    first: tuple[int, int]
    second: tuple[int, int]
    first_rate: Interval
    second_rate: Interval
    p: float
    p_adjusted: float

    @property
    def stands_out(self) -> bool:
        """Whether it is let through after allowing for the number of questions."""
        return self.p_adjusted <= FALSE_SHARE


def holes_of_rounds(history: History) -> NDArray[np.int64]:
    """Return the number of holes of each round, (R,)."""
    return np.bincount(history.hole_round, minlength=history.rounds).astype(np.int64)


def by_use(holes: NDArray[np.int64]) -> list[int]:
    """Return the lengths of some rounds, most rounds first; of two as frequent the longer."""
    lengths, counts = np.unique(holes, return_counts=True)
    return [length for _, length in sorted(zip(counts.tolist(), lengths.tolist(), strict=True), reverse=True)]


def lengths_of(history: History, phase: int, possible: Sequence[History] = ()) -> tuple[OfLength, ...]:
    """Return what one phase's charts show: rounds of 9 and of 18 holes never stand in one.

    Those of the length that was played most come first; of lengths played as often, the longer.

    Parameters
    ----------
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`)
    """
    draws = possible or (history,)
    holes = holes_of_rounds(history)
    marked = np.flatnonzero(np.all([one.marked[:, phase] > 0 for one in draws], axis=0))
    found = ((length, marked[holes[marked] == length]) for length in by_use(holes[marked]))
    return tuple(
        OfLength(
            length,
            tuple(_point(draws, int(r), phase) for r in rounds),
            _pooled_chart([chart_of(one, phase, rounds) for one in draws]),
        )
        for length, rounds in found
    )


def _point(draws: Sequence[History], at: int, phase: int) -> Point:
    counts = np.array([(one.misses[at, phase], one.marked[at, phase]) for one in draws], dtype=float)
    rates = counts[:, 0] / counts[:, 1]
    misses, throws = (round(float(n)) for n in counts.mean(axis=0))
    told = pooled_interval([jeffreys(*of) for of in counts.tolist()], 0.0, 1.0)
    doubt = float(np.sqrt(_between(rates))) if np.ptp(rates) else 0.0
    return Point(at, misses, throws, told, doubt)


def _between(draws: Floats) -> Floats:
    """Return the variance that differing draws add, (1 + 1/M) times their own (Rubin 1987), over axis 0."""
    count = len(draws)
    return np.asarray((1 + 1 / count) * draws.var(axis=0, ddof=1) if count > 1 else np.zeros(draws.shape[1:]))


def _pooled_chart(draws: Sequence[Chart | None]) -> Chart | None:
    """Return one chart for those of several draws of the same rounds.

    A round's limits are widened by how much its rate differs between draws, so that no doubtful round lies
    outside for what it may not have been.
    """
    found = [one for one in draws if one is not None]
    if len(found) < len(draws) or len(found) == 1:
        return found[0] if len(found) == len(draws) else None

    def mean(name: str) -> Floats:
        return np.asarray(np.mean([getattr(one, name) for one in found], axis=0))

    centre = float(np.mean([one.centre for one in found]))

    def limits(low: str, high: str, about: str) -> tuple[Floats, Floats]:
        doubt = LIMIT_SD**2 * _between(np.array([getattr(one, about) - one.centre for one in found]))
        down, up = centre - mean(low), mean(high) - centre
        return (
            np.clip(centre - np.sqrt(down**2 + doubt), 0, 1),
            np.clip(centre + np.sqrt(up**2 + doubt), 0, 1),
        )

    rate, (low, high) = mean("rate"), limits("low", "high", "rate")
    smoothed_low, smoothed_high = limits("smoothed_low", "smoothed_high", "smoothed")
    rounds = found[0].rounds
    return replace(
        found[0],
        rate=rate,
        throws=mean("throws"),
        centre=centre,
        low=low,
        high=high,
        outside=tuple(rounds[i] for i in np.flatnonzero((rate < low) | (rate > high))),
        smoothed=mean("smoothed"),
        smoothed_low=smoothed_low,
        smoothed_high=smoothed_high,
    )


def chart_of(history: History, phase: int, only: ArrayLike | None = None) -> Chart | None:
    """Return the chart of one phase, or None with fewer than `CHART_ROUNDS` rounds.

    Parameters
    ----------
    only : indices of the rounds that it shows; None for all
    """
    misses, throws = history.misses[:, phase], history.marked[:, phase]
    rounds = np.flatnonzero(throws > 0)
    if only is not None:
        rounds = np.intersect1d(rounds, np.asarray(only, dtype=np.int64))
    if len(rounds) < CHART_ROUNDS:
        return None
    x, n = misses[rounds].astype(float), throws[rounds].astype(float)
    factor = spread_between(x, n).factor
    centre, low, high = p_chart(x, n, factor)
    rate = x / n
    sd = np.sqrt(max(centre * (1 - centre), 1e-9) * factor / n)
    # Rounds have unlike numbers of throws, so the deviation in standard deviations is smoothed, not the rate.
    z = ewma((rate - centre) / sd, SMOOTHING, 0.0)
    reach = LIMIT_SD * sqrt(SMOOTHING / (2 - SMOOTHING))
    beyond = np.flatnonzero((rate < low) | (rate > high))
    return Chart(
        phase=history.phase_ids[phase],
        rounds=tuple(int(r) for r in rounds),
        rate=rate,
        throws=n,
        centre=centre,
        low=low,
        high=high,
        outside=tuple(int(rounds[i]) for i in beyond),
        smoothed=np.clip(centre + z * sd, 0, 1),
        smoothed_low=np.clip(centre - reach * sd, 0, 1),
        smoothed_high=np.clip(centre + reach * sd, 0, 1),
    )


def p_chart(misses: ArrayLike, throws: ArrayLike, factor: float = 1.0) -> tuple[float, Floats, Floats]:
    """Centre, lower and upper limits of a p-chart: three standard deviations of each round's own size.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2; `factor` widens for rounds that differ.
    """
    x, n = np.asarray(misses, dtype=float), np.asarray(throws, dtype=float)
    centre = float(x.sum() / n.sum())
    reach = LIMIT_SD * np.sqrt(centre * (1 - centre) * factor / n)
    return centre, np.clip(centre - reach, 0, 1), np.clip(centre + reach, 0, 1)


def ewma(values: ArrayLike, weight: float, start: float) -> Floats:
    """Exponentially weighted moving average, one value for each of `values`."""
    result, at = [], start
    for value in np.asarray(values, dtype=float):
        at = weight * value + (1 - weight) * at
        result.append(at)
    return np.asarray(result, dtype=float)


def changes_of(history: History, possible: Sequence[History] = ()) -> tuple[Change, ...]:
    """Return the most likely change of each phase that has enough rounds, in the order of the phases.

    `possible`: where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`).
    A phase's change is told where each of them has enough rounds.
    """
    each = [{change.phase: change for change in _changes(one)} for one in possible or (history,)]
    found = ([one[phase] for one in each if phase in one] for phase in history.phase_ids)
    return tuple(_pooled_change(changes) for changes in found if len(changes) == len(each))


def _pooled_change(draws: Sequence[Change]) -> Change:
    """Return one change for those of several draws: the moment that most of them name, as they tell of it."""
    if len(draws) == 1:
        return draws[0]
    at = Counter(one.at for one in draws).most_common(1)[0][0]
    same = [one for one in draws if one.at == at]
    return replace(
        same[0],
        p_changed=float(np.mean([one.p_changed for one in draws])),
        before=pooled_interval([one.before for one in same], 0.0, 1.0),
        after=pooled_interval([one.after for one in same], 0.0, 1.0),
        before_throws=round(float(np.mean([one.before_throws for one in same]))),
        after_throws=round(float(np.mean([one.after_throws for one in same]))),
        p_fell=float(np.mean([one.p_fell for one in draws])),
    )


def _changes(history: History) -> tuple[Change, ...]:
    # The phases are independent a priori: even odds that none changed gives each this chance.
    ids = history.phase_ids
    prior = 1 - (1 - PRIOR_ANY_CHANGE) ** (1 / len(ids))
    found = (
        change_in(history.misses[:, k], history.marked[:, k], phase, prior) for k, phase in enumerate(ids)
    )
    return tuple(change for change in found if change is not None)


def change_in(misses: ArrayLike, throws: ArrayLike, phase: str, prior: float) -> Change | None:
    """Return the most likely single change of a miss rate, or None with too few rounds.

    Rates before and after have a uniform prior; the moment is any that leaves `LEAST_SIDE` rounds on either
    side. Counts are divided by the spread between rounds first, so that a windy day is no change.
    """
    x, n = np.asarray(misses, dtype=float), np.asarray(throws, dtype=float)
    rounds = np.flatnonzero(n > 0)
    if len(rounds) < CHANGE_ROUNDS:
        return None
    factor = _spread_within_runs(x[rounds], n[rounds])
    sum_x, sum_n = np.cumsum(x[rounds]) / factor, np.cumsum(n[rounds]) / factor
    cut = np.arange(LEAST_SIDE, len(rounds) - LEAST_SIDE + 1)
    left = log_beta_binomial(sum_x[cut - 1], sum_n[cut - 1], 1.0, 1.0)
    right = log_beta_binomial(sum_x[-1] - sum_x[cut - 1], sum_n[-1] - sum_n[cut - 1], 1.0, 1.0)
    none = float(log_beta_binomial(sum_x[-1:], sum_n[-1:], 1.0, 1.0)[0])
    split = left + right
    top = float(split.max())
    log_odds = log(prior / (1 - prior)) + top + log(float(np.mean(np.exp(split - top)))) - none
    p_changed = float(1 / (1 + np.exp(-np.clip(log_odds, -700, 700))))
    k = int(cut[int(np.argmax(split))])
    one, two = (sum_x[k - 1], sum_n[k - 1]), (sum_x[-1] - sum_x[k - 1], sum_n[-1] - sum_n[k - 1])
    return Change(
        phase=phase,
        p_changed=p_changed,
        at=int(rounds[k]),
        before=jeffreys(*one),
        after=jeffreys(*two),
        before_throws=int(n[rounds][:k].sum()),
        after_throws=int(n[rounds][k:].sum()),
        p_fell=p_rate_fell(one, two),
    )


def _spread_within_runs(x: Floats, n: Floats) -> float:
    """Return the spread between neighbouring rounds: a change in the middle must not count as spread.

    Differences of neighbours have twice the variance of one round, whatever the level does slowly.
    """
    rate = float(x.sum() / n.sum())
    if not 0 < rate < 1:
        return 1.0
    gaps = np.diff(x / n)
    expected = rate * (1 - rate) * (1 / n[1:] + 1 / n[:-1])
    ratio = gaps**2 / expected
    from shortpencil.scan.practice.model import USUAL_FACTOR, USUAL_FACTOR_ROUNDS

    return max(
        1.0,
        float((ratio.sum() + USUAL_FACTOR * USUAL_FACTOR_ROUNDS) / (len(ratio) + USUAL_FACTOR_ROUNDS)),
    )


FIRST_AND_LAST = N_("{phase}: first third of the round and last, whose holes may differ too")
CALM_AND_WINDY = N_("{phase}: without wind and in wind")


_Asked = tuple[str, tuple[int, int], tuple[int, int], float]


def noticed_in(history: History, possible: Sequence[History] = ()) -> tuple[Noticed, ...]:
    """Ask a fixed list of questions about misses, adjusted for how many there are; strongest first.

    Does a phase drift over the rounds; is it worse on the last third of the holes than on the first, in wind
    than without; is the straddle putt executed less often than the others.

    `possible`: where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`).
    What each of them can be asked is asked; a p value is the mean of theirs.
    """
    each = [
        {question: (one, other, p) for question, one, other, p in _asked(h)} for h in possible or (history,)
    ]
    questions = [question for question in each[0] if all(question in one for one in each)]
    pooled = [_pooled_question([one[question] for one in each]) for question in questions]
    p_adjusted = adjusted([found[-1] for found in pooled])
    noticed = (
        Noticed(question, *found, float(q))
        for question, found, q in zip(questions, pooled, p_adjusted, strict=True)
    )
    return tuple(sorted(noticed, key=lambda n: n.p))


def _pooled_question(
    draws: Sequence[tuple[tuple[int, int], tuple[int, int], float]],
) -> tuple[tuple[int, int], tuple[int, int], Interval, Interval, float]:
    """Return both groups as mean counts, both rates, and the p value, of one question in several draws."""
    groups = []
    for side in (0, 1):
        counts = np.array([one[side] for one in draws], dtype=float)
        misses, throws = (round(float(n)) for n in counts.mean(axis=0))
        groups.append(
            ((misses, throws), pooled_interval([jeffreys(*of) for of in counts.tolist()], 0.0, 1.0))
        )
    (first, first_rate), (second, second_rate) = groups
    return first, second, first_rate, second_rate, pooled_chance([one[-1] for one in draws])


def _asked(history: History) -> list[_Asked]:
    """Return each question that one history can be asked: what it is, two groups, and their p value."""
    asked: list[_Asked] = []
    factor = [
        spread_between(history.misses[:, k], history.marked[:, k]).factor for k in range(len(history.phases))
    ]
    if history.rounds >= CHANGE_ROUNDS:
        half = history.rounds // 2
        for k, phase in enumerate(history.phase_ids):
            z = trend(history.misses[:, k], history.marked[:, k])[0]
            asked.append(
                (
                    _("{phase}: earlier rounds and later ones", phase=words.PHASE[phase]),
                    _counts(history.misses[:half, k], history.marked[:half, k]),
                    _counts(history.misses[half:, k], history.marked[half:, k]),
                    _two_sided(z / sqrt(factor[k])),
                )
            )
    for question, first, second, k in _groups(history):
        if min(first[1], second[1]) >= 10:
            asked.append((question, first, second, _fisher(first, second, factor[k])))
    return asked


def _groups(history: History) -> list[tuple[str, tuple[int, int], tuple[int, int], int]]:
    """Return (question, first group, second group, phase) with groups as (misses, marked throws)."""
    groups = []
    # Where on the course: by the place of the hole in its round, not by its number (shotgun starts).
    first_hole = np.searchsorted(history.hole_round, np.arange(history.rounds))
    holes = holes_of_rounds(history)
    place = np.arange(len(history.hole_round)) - first_hole[history.hole_round]
    third = place * 3 // np.maximum(holes[history.hole_round], 1)
    marked = history.throw_execution != UNMARKED
    missed = history.throw_execution == MISS
    windy = np.array([h.wind not in (None, "none", "calm") for h in history.heads], dtype=bool)
    calm = np.array([h.wind in ("none", "calm") for h in history.heads], dtype=bool)
    at_round = history.hole_round[history.throw_hole] if len(history.throw_hole) else np.empty(0, int)

    def counted(these: NDArray[np.bool_]) -> tuple[int, int]:
        return int((these & missed).sum()), int((these & marked).sum())

    for k, phase in enumerate(history.phase_ids):
        of_phase = history.throw_phase == k
        early, late = third[history.throw_hole] == 0, third[history.throw_hole] == 2
        sides = (FIRST_AND_LAST, early, late), (CALM_AND_WINDY, calm[at_round], windy[at_round])
        for question, one, other in sides:
            asked = _(question, phase=words.PHASE[phase])
            groups.append((asked, counted(of_phase & one), counted(of_phase & other), k))
    putt = history.putt
    if putt == NO_PHASE:
        return groups
    putts, straddle = history.throw_phase == putt, history.throw_straddle == 1
    asked = _("{phase}: straddle and other stances", phase=words.PHASE[history.phase_ids[putt]])
    return [*groups, (asked, counted(putts & straddle), counted(putts & ~straddle), putt)]


def _counts(misses: NDArray[np.int64], marked: NDArray[np.int64]) -> tuple[int, int]:
    return int(misses.sum()), int(marked.sum())


def _fisher(first: tuple[int, int], second: tuple[int, int], factor: float) -> float:
    """Fisher's exact p of two groups, their counts divided by the spread between rounds."""

    def row(group: tuple[int, int]) -> tuple[int, int]:
        return round(group[0] / factor), round((group[1] - group[0]) / factor)

    return fisher_exact([row(first), row(second)])[0]


def _two_sided(z: float) -> float:
    from shortpencil.scan.practice.special import ndtr

    return float(2 * ndtr(-abs(z)))
