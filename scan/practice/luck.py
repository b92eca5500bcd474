"""Luck of a round: how much of its score the player's own marks do not explain.

What a round's marks would usually bring is learnt from the player's other rounds: strokes against par on a
hole, by its misses of each phase. What is left over is bounces, gusts, a hard or an easy day, everything the
marks do not see. The weights of the misses here are for prediction only; what a miss *costs* is another
question, answered in `cost`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.doubt import pooled_interval
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.model import LEVEL, Interval, normal_quantile

Floats = NDArray[np.float64]

#: Strokes that a miss goes with, before any hole is seen, and how freely that is learnt. Our choice.
PRIOR_MISS_STROKES = 0.5
PRIOR_MISS_SD = 0.5
#: A throw without a mark may have been a miss; it stands for part of one.
PRIOR_UNMARKED_STROKES = 0.15
#: Scatter of a hole's score around what its misses explain, with the weight of ten holes.
PRIOR_SCATTER_STROKES = 0.8
PRIOR_SCATTER_HOLES = 10
#: The level of a course against par is learnt freely.
PRIOR_LEVEL_SD = 3.0

#: A round's luck is judged against the player's other rounds; fewer than these say too little.
LUCK_ROUNDS = 3

_FIRST_MISS = 2  # columns: level where par is known, level where it is not, each phase, unmarked


@dataclass(frozen=True, slots=True)
class _Fit:
    coefficients: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class HoleSurprise:
    """A hole where score and execution disagree; positive strokes are more than the throws would bring."""

    number: int
    score: int
    misses: int
    strokes: float


@dataclass(frozen=True, slots=True)
class Luck:
    """Score of a round against what its own marks would usually bring.

    `strokes` is score minus expected; its interval speaks of how well the expectation is known.
    """

    score: int
    strokes: Interval
    holes: int
    compared_rounds: int
    surprises: tuple[HoleSurprise, ...]


def pooled_luck(found: Sequence[Luck | None]) -> Luck | None:
    """Return what several draws of whole rounds say of a round's luck; None where one can't tell.

    Holes are named where score and execution disagree in most draws.
    """
    known = [one for one in found if one is not None]
    if len(known) < len(found) or not known:
        return None
    holes: dict[int, list[HoleSurprise]] = {}
    for one in known:
        for surprise in one.surprises:
            holes.setdefault(surprise.number, []).append(surprise)
    often = [of for of in holes.values() if 2 * len(of) > len(known)]
    told = [replace(of[0], strokes=float(np.mean([s.strokes for s in of]))) for of in often]
    return Luck(
        score=round(float(np.mean([one.score for one in known]))),
        strokes=pooled_interval([one.strokes for one in known]),
        holes=known[0].holes,
        compared_rounds=known[0].compared_rounds,
        surprises=tuple(sorted(told, key=lambda s: -abs(s.strokes))[:3]),
    )


def luck_of(history: History, at: int) -> Luck | None:
    """Luck of round number `at` (0-based), or None where it can't be told yet.

    The expectation is learnt from the player's other rounds, on the same course and layout where there are
    enough, since a hard course is no bad luck.
    """
    x, y, known = _design(history)
    this = known & (history.hole_round == at)
    if not this.any():
        return None
    head = history.heads[at]
    others = np.array([i != at for i in range(history.rounds)])
    same = others & np.array([(h.course, h.layout) == (head.course, head.layout) for h in history.heads])
    if head.course is not None and same.sum() >= LUCK_ROUNDS:
        others = same
    if others.sum() < LUCK_ROUNDS:
        return None
    fit = _fit(x[known & others[history.hole_round]], y[known & others[history.hole_round]])
    rest = y[this] - x[this] @ fit.coefficients
    total = x[this].sum(axis=0)
    reach = normal_quantile(LEVEL) * sqrt(float(total @ fit.covariance @ total))
    middle = float(rest.sum())
    where = np.flatnonzero(this)
    order = np.argsort(-np.abs(rest))[:3]
    surprises = tuple(
        HoleSurprise(
            int(history.hole_number[where[i]]),
            int(history.hole_score[where[i]]),
            int(history.hole_misses[where[i]].sum()),
            float(rest[i]),
        )
        for i in order
        if abs(rest[i]) >= 1.0
    )
    return Luck(
        score=int(history.hole_score[where].sum()),
        strokes=Interval(middle - reach, middle, middle + reach),
        holes=len(where),
        compared_rounds=int(others.sum()),
        surprises=surprises,
    )


def _design(history: History) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return rows of the regression, strokes to explain, and which holes have a score."""
    par_known = ~np.isnan(history.hole_par)
    count = len(history.phases)
    x = np.empty((len(history.hole_round), _FIRST_MISS + count + 1))
    x[:, 0], x[:, 1] = par_known, ~par_known
    x[:, _FIRST_MISS : _FIRST_MISS + count] = history.hole_misses
    x[:, -1] = history.hole_unmarked
    # Where par is unknown the level is that of a par 3 by default; the free level takes up the rest.
    y = history.hole_score - np.where(par_known, history.hole_par, 3.0)
    return x, y, ~np.isnan(history.hole_score)


def _fit(x: Floats, y: Floats) -> _Fit:
    """Linear regression with a normal prior; two passes, the second with the scatter that the first found."""
    count = x.shape[1] - _FIRST_MISS - 1
    prior_mean = np.array([0.5, 0.5, *[PRIOR_MISS_STROKES] * count, PRIOR_UNMARKED_STROKES])
    prior_precision = 1 / np.array([PRIOR_LEVEL_SD] * 2 + [PRIOR_MISS_SD] * (count + 1)) ** 2
    gram, moment = x.T @ x, x.T @ y
    scatter = PRIOR_SCATTER_STROKES
    coefficients: Floats = prior_mean
    covariance: Floats = np.diag(1 / prior_precision)
    for _ in range(2):
        covariance = np.asarray(np.linalg.inv(gram / scatter**2 + np.diag(prior_precision)), dtype=np.float64)
        coefficients = covariance @ (moment / scatter**2 + prior_precision * prior_mean)
        rest = y - x @ coefficients
        weight = PRIOR_SCATTER_HOLES
        scatter = sqrt((weight * PRIOR_SCATTER_STROKES**2 + float(rest @ rest)) / (weight + len(y)))
    return _Fit(coefficients, covariance)
