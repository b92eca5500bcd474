"""Each phase's misses: how often, what they cost, and which phase probably costs most.

Three views of the same misses stand beside each other, since they can disagree: the plain count (the pencil's
own method), the rate, and the strokes that misses cost a round. `focus` chooses by the third; at a first
round, where a miss is taken to cost the same in every phase, that is the plain count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.cost import DEARER_DAYS, Costs, Spread, costs_of
from shortpencil.scan.practice.history import NO_PHASE, History, first_throws_known
from shortpencil.scan.practice.marks import Marks, marks_of
from shortpencil.scan.practice.model import (
    LEVEL,
    PRIOR,
    USUAL_FACTOR,
    USUAL_FACTOR_ROUNDS,
    Interval,
    beta_interval,
    jeffreys,
    p_largest,
    p_largest_rate,
    pooled,
    spread_between,
    weights,
)

Floats = NDArray[np.float64]

#: Rounds after which a round counts half. Our choice: about a month of weekly play; an option of `focus`.
HALF_LIFE_ROUNDS = 5.0

#: Rounds older than this many half-lives (weight below 1/32) are left out of what is called recent.
RECENT_HALF_LIVES = 5

_COST_NODES = 40
_GRID = 160
_SMALLEST_COST_STROKES = 0.02


@dataclass(frozen=True, slots=True)
class Window:
    """Misses of one phase over some rounds; `interval` is the rate, 0 to 1."""

    label: str
    rounds: int
    misses: int
    marked: int
    interval: Interval


@dataclass(frozen=True, slots=True)
class PhaseEvidence:
    """Everything known about the misses of one phase.

    Where only misses are marked, windows have misses and no marked throws, and rates are NaN; but for first
    throws of holes on a card that declares the rest clean.

    Attributes
    ----------
    last, recent, all : the rate in the last round, in recent rounds (later ones count more), in all
    misses_a_round : weighted mean of recent rounds
    cost : strokes that one miss costs
    cost_learnt : whether the phase's own throws tell it; else it is what is believed of anybody
    saved_a_miss : strokes saved for each miss fewer, later ones of the phase counted once
    strokes_a_round : strokes a round that this phase would save, lately, if it were never missed; less than
        misses times cost where one miss brings the next
    p_highest_rate : probability that its miss rate is the highest of the phases
    p_costs_most : probability that it costs most strokes a round
    spread_factor : how many times larger than by chance the rate varies between rounds
    learnt : sd of the strokes a round that later rounds take the place of (rates), and that only more
        rounds take away (costs)
    """

    phase: str
    last: Window
    recent: Window
    all: Window
    misses_a_round: float
    cost: Interval
    cost_learnt: bool
    saved_a_miss: Interval
    strokes_a_round: Interval
    p_highest_rate: float
    p_costs_most: float
    spread_factor: float
    learnt: tuple[float, float]


@dataclass(frozen=True, slots=True)
class PhasePrior:
    """Misses and clean throws that a rate is believed to stand for before any are seen, by phase."""

    misses: tuple[float, ...]
    clean: tuple[float, ...]


def phases_of(
    history: History,
    *,
    half_life_rounds: float = HALF_LIFE_ROUNDS,
    prior: PhasePrior | None = None,
    costs: Costs | None = None,
    marks: Marks | None = None,
) -> tuple[PhaseEvidence, ...]:
    """Return the evidence of each phase, in the order thrown.

    Parameters
    ----------
    history : at least one round
    half_life_rounds : rounds after which a round counts half
    prior : what other players suggest (see `players`), or None for Jeffreys' prior
    costs : strokes a miss costs; None to learn them from `history`
    marks : how the player marks; None to see it in `history`
    """
    ids = history.phase_ids
    believed = prior or PhasePrior((PRIOR,) * len(ids), (PRIOR,) * len(ids))
    marks = marks or marks_of(history)
    costs = costs or marks.costs(costs_of(history))
    recent = recent_rounds(history.rounds, half_life_rounds)
    weight = weights(history.rounds, half_life_rounds)[recent]
    misses, marked = history.misses, history.marked * ~marks.only_misses[:, None]
    # Where most of what is recent has only misses marked there are counts, no rates; else these rounds wait.
    counted = weight @ marks.only_misses[recent] > weight.sum() / 2
    if not counted:
        weight = weight * ~marks.only_misses[recent]
    first = _first_throws(history, recent, weight) if counted else NO_PHASE
    if first != NO_PHASE:
        known = first_throws_known(history)
        marked = marked.copy()
        marked[:, first] = history.marked[:, first] * known
        weight_of_first = weight * known[recent]
    thrown = marked + marks.bare
    alpha, beta, factors, each, per_round = [], [], [], [], []
    for k in range(len(ids)):
        if k == first:
            factor = spread_between(misses[recent, k], marked[recent, k]).factor
            now = pooled(misses[recent, k], marked[recent, k], weight_of_first)
            seen = (now.misses / factor, now.throws / factor)
            a, b = seen[0] + believed.misses[k], seen[1] - seen[0] + believed.clean[k]
            per_round.append(float(weight_of_first @ marked[recent, k]) / float(weight_of_first.sum()))
            each.append(now.rate)
        elif counted:
            a, b, factor = _counted(misses[recent, k], weight)
            per_round.append(_MANY_THROWS)
            each.append(float("nan"))
        else:
            factor = spread_between(misses[recent, k], marked[recent, k]).factor
            now = pooled(misses[recent, k], marked[recent, k], weight)
            seen = (now.misses / factor, now.throws / factor) if now.throws else (0.0, 0.0)
            a, b = seen[0] + believed.misses[k], seen[1] - seen[0] + believed.clean[k]
            share = float(weight @ marks.bare[recent, k]) / max(float(weight @ thrown[recent, k]), 1e-9)
            a, b, lower = _with_bare(a, b, share, *marks.forgotten)
            per_round.append(float(weight @ thrown[recent, k]) / float(weight.sum()) if now.throws else 0.0)
            each.append(now.rate * lower)
        alpha.append(a)
        beta.append(b)
        factors.append(factor)
    highest = np.full(len(ids), np.nan) if counted else p_largest_rate(alpha, beta)
    unsure = _misses_unsure(
        history, misses[recent], thrown[recent], weight, list(map(_rate_share, alpha, beta)), costs
    )
    lost = [
        _StrokesLost(per_round[k], alpha[k], beta[k], costs.saving(k), 0.0 if counted else float(unsure[k]))
        for k in range(len(ids))
    ]
    most = p_largest([s.quantile for s in lost], [s.cdf for s in lost])
    result = []
    for k, phase in enumerate(ids):
        has_rate = not counted or k == first
        rate = _rate(each[k], alpha[k], beta[k], prior) if has_rate else Interval(0.0, float("nan"), 1.0)
        result.append(
            PhaseEvidence(
                phase=phase,
                last=_window("last round", misses[-1:, k], marked[-1:, k], factors[k]),
                recent=Window(
                    "recent rounds",
                    int(recent.sum()),
                    int(misses[recent, k].sum()),
                    int(marked[recent, k].sum()) if has_rate else 0,
                    rate,
                ),
                all=_window("all rounds", misses[:, k], marked[:, k], factors[k]),
                misses_a_round=float(weight @ misses[recent, k] / weight.sum()),
                cost=costs.cost(k).interval(),
                cost_learnt=costs.learnt[k],
                saved_a_miss=costs.saving(k).interval(),
                strokes_a_round=lost[k].interval(),
                p_highest_rate=float(highest[k]),
                p_costs_most=float(most[k]),
                spread_factor=factors[k],
                learnt=lost[k].learnt,
            )
        )
    return tuple(result)


def _first_throws(history: History, recent: NDArray[np.bool_], weight: Floats) -> int:
    """Return the phase that begins a hole where its throws are known in most of what is recent."""
    known = first_throws_known(history)[recent]
    return history.tee if weight @ known > weight.sum() / 2 else NO_PHASE


#: Stands for "many" where only misses are counted: a rate of so many throws is as good as a count.
_MANY_THROWS = 400.0


def _counted(misses: NDArray[np.int64], weight: Floats) -> tuple[float, float, float]:
    """Return misses and other throws of `_MANY_THROWS` a round that stand for counts, and their spread.

    The spread is the variance of counts over their mean (1 for the counts of rare events), drawn to the usual
    factor as that of rates is.
    """
    rounds, mean = _worth(weight), float(weight @ misses / weight.sum())
    square = float(np.sum((misses - misses.mean()) ** 2)) / max(float(misses.mean()), 1e-9)
    factor = max(1.0, (square + USUAL_FACTOR_ROUNDS * USUAL_FACTOR) / (len(misses) - 1 + USUAL_FACTOR_ROUNDS))
    return mean * rounds / factor + PRIOR, (_MANY_THROWS - mean) * rounds / factor + PRIOR, factor


def _with_bare(a: float, b: float, share: float, ratio: float, doubt: float) -> tuple[float, float, float]:
    """Return the Beta distribution of the miss rate of all throws, with the factor on the marked ones' rate.

    A `share` of the throws has no mark; they were missed `ratio` (sd `doubt`) times as often as marked ones.
    Mean and variance of the product are matched.
    """
    if share <= 0:
        return a, b, 1.0
    factor, factor_sd = 1 - share * (1 - ratio), share * doubt
    mean = a / (a + b)
    square = mean * (a + 1) / (a + b + 1) * (factor**2 + factor_sd**2)
    mean *= factor
    worth = mean * (1 - mean) / max(square - mean**2, 1e-9) - 1
    return mean * worth, (1 - mean) * worth, factor


def _throws_unsure(marked: NDArray[np.int64], weight: Floats) -> Floats:
    """Return by phase the standard error of the throws a round, as a share of them.

    A tenth of the throws as variance, with the weight of two rounds, stands in while rounds are few.
    """
    mean = weight @ marked / weight.sum()
    squares = weight @ (marked - mean) ** 2 / weight.sum() * len(weight)
    variance = (squares + 2 * 0.1 * mean) / (len(weight) + 1)
    return np.asarray(np.sqrt(variance / _worth(weight)) / np.maximum(mean, 1e-9))


def _misses_unsure(
    history: History,
    misses: NDArray[np.int64],
    thrown: NDArray[np.int64],
    weight: Floats,
    rate_share: Sequence[float],
    costs: Costs,
) -> Floats:
    """Return by phase what makes strokes a round unsure besides rate and cost, as a share of them.

    How many throws a round brings; and that a bad day brings more throws of a phase, more of them missed
    (`_with_days`), and each miss dearer. The number of first throws is that of the holes, on any day.
    """
    unsure = _throws_unsure(thrown, weight)
    for k, phase in enumerate(history.phases):
        if k == history.tee:
            continue
        unsure[k] = _with_days(misses[:, k], weight, float(unsure[k]), rate_share[k])
        saving = costs.saving(k)
        cost_share = saving.total_sd / max(saving.mean, _SMALLEST_COST_STROKES)
        # Costs are learnt from all rounds, misses from recent ones: errors go together by what both share.
        both = DEARER_DAYS[phase.role] * min(_worth(weight) / history.rounds, 1.0) ** 0.5
        unsure[k] = np.sqrt(unsure[k] ** 2 + 2 * both * np.hypot(rate_share[k], unsure[k]) * cost_share)
    return unsure


def _with_days(misses: NDArray[np.int64], weight: Floats, throws: float, rate: float) -> float:
    """Return the share to add in squares to `rate`, so that both are the standard error of misses a round.

    Errors of throws a round and of the rate, `throws` and `rate` as shares, are not independent. How unlike
    the misses of rounds are tells, drawn towards errors that rise together with the weight of `_DAYS_ROUNDS`.
    Never below `throws`.
    """
    worth, mean = _worth(weight), float(weight @ misses / weight.sum())
    seen = float(weight @ (misses - mean) ** 2 / weight.sum()) * len(misses) / max(mean, 1e-9) ** 2
    one_round = (seen + _DAYS_ROUNDS * (rate + throws) ** 2 * worth) / (len(misses) - 1 + _DAYS_ROUNDS)
    return float(np.sqrt(max(one_round / worth - rate**2, throws**2)))


#: Chosen on the worlds in tests, where errors of misses a round were then 1.0 times what is told of them, 1.2
#: times before.
_DAYS_ROUNDS = 8.0


def _rate_share(a: float, b: float) -> float:
    """Return the standard deviation of a Beta(a, b) rate as a share of its mean."""
    return float(np.sqrt(b / (a * (a + b + 1))))


def _rate(seen: float, a: float, b: float, prior: PhasePrior | None) -> Interval:
    """Return the recent rate: as counted under Jeffreys' prior, drawn to the others' under theirs."""
    if prior is None and np.isnan(seen):
        return Interval(0.0, seen, 1.0)
    low, high = beta_interval(a, b)
    middle = seen if prior is None else a / (a + b)
    return Interval(0.0 if middle == 0 else low, middle, 1.0 if middle == 1 else high)


def recent_rounds(rounds: int, half_life_rounds: float) -> NDArray[np.bool_]:
    """Say of each round, oldest first, whether it is recent enough to count."""
    recent = np.zeros(rounds, dtype=bool)
    recent[-max(1, ceil(RECENT_HALF_LIVES * half_life_rounds)) :] = True
    return recent


@dataclass(frozen=True, slots=True)
class Outlook:
    """What more rounds would bring.

    Attributes
    ----------
    more_rounds : rounds after which some phase is clear in about two cases of five; None if out of sight
    at_stake : strokes a round that the choice gives up on average where another phase truly costs most
    """

    more_rounds: int | None
    at_stake: float


def outlook_of(
    phases: Sequence[PhaseEvidence], rounds: int, half_life_rounds: float, clear: float, most: int
) -> Outlook:
    """Return how many rounds like the ones so far would make a phase clear, and what the choice may cost.

    Truths are drawn from what is believed now; for each, what will be believed after more rounds lies between
    now and the truth, by how much doubt is gone by then. Rates are learnt from recent rounds only, so that
    their doubt stops shrinking; costs from all rounds, so that theirs goes on.
    """
    mean = np.array([p.strokes_a_round.middle for p in phases])
    rate_sd = np.array([p.learnt[0] for p in phases])
    cost_sd = np.array([p.learnt[1] for p in phases])
    now = rate_sd**2 + cost_sd**2
    draws = np.random.default_rng(0).standard_normal((2, _OUTLOOK_DRAWS, len(phases)))
    truth = np.maximum(mean + np.sqrt(now) * draws[0], 0.0)
    at = int(np.argmax([p.p_costs_most for p in phases]))
    loss = truth.max(axis=1) - truth[:, at]
    at_stake = float(loss[loss > 0].mean()) if np.any(loss > 0) else 0.0
    worth = _rounds_worth(rounds, half_life_rounds)
    for more in _LOOK_AHEAD:
        if more > most:
            break
        later = rate_sd**2 * worth / _rounds_worth(rounds + more, half_life_rounds)
        later = later + cost_sd**2 * _cost_doubt_left(rounds, more)
        gone = np.clip(1 - later / np.maximum(now, 1e-12), 0.0, 1.0)
        believed = mean + gone * (truth - mean) + np.sqrt(later * gone) * draws[1]
        if float(np.mean(_largest(believed, later) >= clear)) >= _DRAWS_THAT_SETTLE:
            return Outlook(more, at_stake)
    return Outlook(None, at_stake)


_OUTLOOK_DRAWS = 300
#: Of 173 players in five worlds (tuning seeds) to whom a number was told, a phase was clear after it for
#: 39 %, which is what is told (`Focus.outlook`); with .45 for 48 %, with .55 for 62 %.
_DRAWS_THAT_SETTLE = 0.4
_LOOK_AHEAD = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40)


def _cost_doubt_left(rounds: int, more: int) -> float:
    """Return the share of a cost's variance that is left after more rounds.

    It shrinks with the rounds there are, counting those that the prior is worth.
    """
    return (rounds + PRIOR_COST_ROUNDS) / (rounds + more + PRIOR_COST_ROUNDS)


#: Rounds whose throws tell as much of a cost as is believed before any: .3 against about .55 over the root of
#: the rounds (on the worlds in tests).
PRIOR_COST_ROUNDS = 3.0


def _largest(mean: Floats, variance: Floats) -> Floats:
    """Return for each row the probability of the likeliest phase to be the largest, normal doubts."""
    from shortpencil.scan.practice.special import ndtr

    best = np.zeros(len(mean))
    for i in range(mean.shape[1]):
        p = np.ones(len(mean))
        for j in range(mean.shape[1]):
            if j != i:
                p *= ndtr((mean[:, i] - mean[:, j]) / np.sqrt(variance[i] + variance[j] + 1e-12))
        best = np.maximum(best, p)
    return best


def _rounds_worth(rounds: int, half_life_rounds: float) -> float:
    return _worth(weights(rounds, half_life_rounds))


def _worth(weight: Floats) -> float:
    """Return the number of equally weighted rounds that would tell as much."""
    return float(weight.sum() ** 2 / np.sum(weight**2))


def _window(label: str, misses: NDArray[np.int64], marked: NDArray[np.int64], factor: float) -> Window:
    n = int(marked.sum())
    # misses of rounds without clean marks stand only where there is nothing else
    x = int(misses[marked > 0].sum()) if n else int(misses.sum())
    if not n:
        return Window(label, int((misses > 0).sum()), x, 0, Interval(0.0, float("nan"), 1.0))
    found = jeffreys(x / factor, n / factor)
    return Window(label, int((marked > 0).sum()), x, n, Interval(found.low, x / n, found.high))


class _StrokesLost:
    """Distribution of throws a round x miss rate x cost of a miss.

    The cost's posterior is cut into `_COST_NODES` equally likely values, never below a small positive one:
    a miss that helps the score is taken for chance. What else is unsure, `unsure` as a share of the strokes
    (`_misses_unsure`), is added to the cost's error.
    """

    def __init__(self, throws_a_round: float, a: float, b: float, cost: Spread, unsure: float) -> None:
        from shortpencil.scan.practice.special import betainc

        cost_share = cost.total_sd / max(cost.mean, _SMALLEST_COST_STROKES)
        rate_share = _rate_share(a, b)
        nodes = cost.quantiles((np.arange(_COST_NODES) + 0.5) / _COST_NODES, unsure)
        scale = np.maximum(nodes, _SMALLEST_COST_STROKES) * max(throws_a_round, 1e-9)
        self.mean = float(scale.mean()) * a / (a + b)
        self.learnt = (self.mean * float(np.hypot(rate_share, unsure)), self.mean * cost_share)
        top = float(scale.max())
        # Finer where the mass is: quantiles of the rate at the middle cost would miss the tails of the cost.
        self._at = top * np.linspace(0.0, 1.0, _GRID) ** 1.5
        self._p = betainc(a, b, np.minimum(self._at[:, None] / scale, 1.0)).mean(axis=1)

    def cdf(self, at: Floats) -> Floats:
        return np.asarray(np.interp(at, self._at, self._p))

    def quantile(self, below: Floats, above: Floats) -> Floats:
        return np.asarray(np.interp(below, self._p, self._at))

    def interval(self, level: float = LEVEL) -> Interval:
        tail = (1 - level) / 2
        ends = np.interp([tail, 1 - tail], self._p, self._at)
        return Interval(float(ends[0]), self.mean, float(ends[1]))
