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

from forms.rules import PHASES
from scan.practice.cost import Costs, costs_of
from scan.practice.evidence import Evidence
from scan.practice.model import (
    LEVEL,
    PRIOR,
    Interval,
    beta_interval,
    jeffreys,
    normal_quantile,
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

_COST_NODES = 25
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

    Attributes
    ----------
    last, recent, all : the rate in the last round, in recent rounds (later ones count more), in all
    misses_a_round : weighted mean of recent rounds
    cost : strokes that one miss costs
    strokes_a_round : strokes that misses of this phase cost in a round, lately
    p_highest_rate : probability that its miss rate is the highest of the phases
    p_costs_most : probability that it costs most strokes a round
    spread_factor : how many times larger than by chance the rate varies between rounds
    """

    phase: str
    last: Window
    recent: Window
    all: Window
    misses_a_round: float
    marked_a_round: float
    cost: Interval
    strokes_a_round: Interval
    p_highest_rate: float
    p_costs_most: float
    spread_factor: float


@dataclass(frozen=True, slots=True)
class PhasePrior:
    """Misses and clean throws that a rate is believed to stand for before any are seen, by phase."""

    misses: tuple[float, float, float] = (PRIOR, PRIOR, PRIOR)
    clean: tuple[float, float, float] = (PRIOR, PRIOR, PRIOR)


def phases_of(
    evidence: Evidence,
    *,
    half_life_rounds: float = HALF_LIFE_ROUNDS,
    prior: PhasePrior | None = None,
    costs: Costs | None = None,
) -> tuple[PhaseEvidence, ...]:
    """Return the evidence of each phase, in the order drive, approach, putt.

    Parameters
    ----------
    evidence : at least one round
    half_life_rounds : rounds after which a round counts half
    prior : what other players suggest (see `players`), or None for Jeffreys' prior
    costs : strokes a miss costs; None to learn them from `evidence`
    """
    believed = prior or PhasePrior()
    costs = costs or costs_of(evidence)
    recent = recent_rounds(evidence.rounds, half_life_rounds)
    weight = weights(evidence.rounds, half_life_rounds)[recent]
    misses, marked = evidence.misses, evidence.marked
    alpha, beta, factors, each = [], [], [], []
    for k in range(len(PHASES)):
        factor = spread_between(misses[recent, k], marked[recent, k]).factor
        now = pooled(misses[recent, k], marked[recent, k], weight)
        seen = (now.misses / factor, now.throws / factor) if now.throws else (0.0, 0.0)
        alpha.append(seen[0] + believed.misses[k])
        beta.append(seen[1] - seen[0] + believed.clean[k])
        factors.append(factor)
        each.append(now.rate)
    per_round = weight @ marked[recent] / weight.sum()
    highest = p_largest_rate(alpha, beta)
    unsure = _throws_unsure(marked[recent], weight)
    lost = [
        _StrokesLost(
            float(per_round[k]), alpha[k], beta[k], costs.saved[k], costs.saved_sd[k], float(unsure[k])
        )
        for k in range(len(PHASES))
    ]
    most = p_largest([s.quantile for s in lost], [s.cdf for s in lost])
    result = []
    for k, phase in enumerate(PHASES):
        rate = _rate(each[k], alpha[k], beta[k], prior)
        result.append(
            PhaseEvidence(
                phase=phase,
                last=_window("last round", misses[-1:, k], marked[-1:, k], factors[k]),
                recent=Window(
                    "recent rounds",
                    int(recent.sum()),
                    int(misses[recent, k].sum()),
                    int(marked[recent, k].sum()),
                    rate,
                ),
                all=_window("all rounds", misses[:, k], marked[:, k], factors[k]),
                misses_a_round=float(weight @ misses[recent, k] / weight.sum()),
                marked_a_round=float(per_round[k]),
                cost=costs.interval(k),
                strokes_a_round=lost[k].interval(),
                p_highest_rate=float(highest[k]),
                p_costs_most=float(most[k]),
                spread_factor=factors[k],
            )
        )
    return tuple(result)


def _throws_unsure(marked: NDArray[np.int64], weight: Floats) -> Floats:
    """Return by phase the standard error of the throws a round, as a share of them.

    A tenth of the throws as variance, with the weight of two rounds, stands in while rounds are few.
    """
    mean = weight @ marked / weight.sum()
    squares = weight @ (marked - mean) ** 2 / weight.sum() * len(weight)
    variance = (squares + 2 * 0.1 * mean) / (len(weight) + 1)
    rounds_worth = weight.sum() ** 2 / np.sum(weight**2)
    return np.asarray(np.sqrt(variance / rounds_worth) / np.maximum(mean, 1e-9))


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


def p_costs_most_after(
    phases: Sequence[PhaseEvidence], at: int, rounds: int, more: int, half_life_rounds: float
) -> float:
    """Probability that phase number `at` is found to cost most after `more` rounds like the ones so far."""
    gain = _rounds_worth(rounds + more, half_life_rounds) / _rounds_worth(rounds, half_life_rounds)
    lost = []
    for p in phases:
        # The interval's width carries weights, spread and prior; recover the throws it stands for.
        throws = _throws_behind(p) * gain
        rate = min(max(p.recent.interval.middle, 0.01), 0.99)
        sd = (p.cost.high - p.cost.low) / (2 * normal_quantile()) / gain**0.5
        lost.append(
            _StrokesLost(
                p.marked_a_round, rate * throws + PRIOR, (1 - rate) * throws + PRIOR, p.cost.middle, sd, 0.0
            )
        )
    return float(p_largest([s.quantile for s in lost], [s.cdf for s in lost])[at])


def _rounds_worth(rounds: int, half_life_rounds: float) -> float:
    w = weights(rounds, half_life_rounds)
    return float(w.sum() ** 2 / np.sum(w * w))


def _throws_behind(p: PhaseEvidence) -> float:
    rate = min(max(p.recent.interval.middle, 0.03), 0.97)
    width = max(p.recent.interval.high - p.recent.interval.low, 1e-6)
    return max(1.0, rate * (1 - rate) * (2 * normal_quantile() / width) ** 2)


def _window(label: str, misses: NDArray[np.int64], marked: NDArray[np.int64], factor: float) -> Window:
    x, n = int(misses.sum()), int(marked.sum())
    found = jeffreys(x / factor, n / factor)
    return Window(
        label, int((marked > 0).sum()), x, n, Interval(found.low, x / n if n else found.middle, found.high)
    )


class _StrokesLost:
    """Distribution of throws a round x miss rate x cost of a miss.

    The cost's posterior is cut into `_COST_NODES` equally likely values, never below a small positive one:
    a miss that helps the score is taken for chance. Rate and cost are taken as independent, but not the
    number of throws: costly misses bring more throws, which are there to be missed. So its error,
    `throws_unsure` as a share of it, is added to the cost's as if the three moved together. Without that the
    interval for putts covered 80 % where it said 90 %.
    """

    def __init__(
        self, throws_a_round: float, a: float, b: float, cost: float, cost_sd: float, throws_unsure: float
    ) -> None:
        from scipy.special import betainc, ndtri

        cost_share = cost_sd / max(cost, _SMALLEST_COST_STROKES)
        rate_share = float(np.sqrt(b / (a * (a + b + 1))))
        more = throws_unsure**2 + 2 * throws_unsure * (min(cost_share, 1.0) + min(rate_share, 1.0))
        wider = float(np.sqrt(cost_sd**2 + more * cost**2))
        nodes = cost + wider * ndtri((np.arange(_COST_NODES) + 0.5) / _COST_NODES)
        scale = np.maximum(nodes, _SMALLEST_COST_STROKES) * max(throws_a_round, 1e-9)
        self.mean = float(scale.mean()) * a / (a + b)
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
