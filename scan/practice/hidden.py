"""Throws that a score tells of and no column shows: after which putts do they come.

A card has columns for two approaches and three putts, and marks are forgotten. Leaving out every hole whose
score tells of more throws than are known leaves out the long ones, and with them what missed putts cost: in
worlds of many putts the cost of a miss then came out .05 to .15 stroke too low. So a hidden throw is counted
after the known putts of its hole with the probability that it was a putt. That follows from how often holes
with one, two and three known putts, and with few and with full approaches, have one: behind a single putt
that has a mark it is taken for an approach.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.history import (
    NO_PHASE,
    History,
    columns_are_full,
    known_by_hole,
    only_misses,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Fewer holes with a score than these say nothing of what is hidden.
LEAST_HOLES = 20
#: The share of holes of one kind that hide a throw is taken for this beforehand, with the weight of so many.
USUAL_SHARE, USUAL_HOLES = 0.05, 5.0


@dataclass(frozen=True, slots=True)
class Hidden:
    """What scores tell beyond the columns.

    Attributes
    ----------
    left : (T,) throws that each hole still took after each throw, as expected; -1 where that is unknown. As
        `History.throw_left`, and for the putts of holes with hidden throws too
    between : (H, P) hidden throws of each hole that are no putts, as expected, by phase: the last one between
        tee and target that has no column left
    """

    left: Floats
    between: Floats


def hidden_of(history: History) -> Hidden:
    """Return what scores tell of throws that no column shows."""
    left = history.throw_left.astype(float)
    holes, putt = len(history.hole_round), history.putt
    if putt == NO_PHASE or not holes:
        return Hidden(left, np.zeros((holes, len(history.phases))))
    known = known_by_hole(history)
    columns = max(int(history.columns[:, putt].max()), 1)
    thrown = history.hole_score - np.nan_to_num(history.hole_penalty)
    hidden = np.nan_to_num(thrown - known.sum(axis=1), nan=-1.0)
    told = (hidden >= 0) & (known[:, putt] > 0) & ~only_misses(history)[history.hole_round]
    if int(told.sum()) < LEAST_HOLES:
        return Hidden(left, np.zeros(known.shape))
    over = columns_are_full(history, known).astype(np.int64)
    putts = np.clip(known[:, putt], 1, columns) - 1
    p_putt = _p_putt(over[told], putts[told], hidden[told] > 0, columns)[over, putts]
    at = history.throw_hole
    use = (history.throw_phase == putt) & (left < 0) & (told & (hidden > 0))[at]
    after = known.sum(axis=1)[at] - _place_on_hole(history)
    left[use] = (after + (hidden * p_putt)[at])[use]
    between = np.zeros(known.shape)
    rest = np.where(told & (over == 1), hidden * (1 - p_putt), 0.0)
    for k in reversed(history.between):
        full = known[:, k] >= history.columns[history.hole_round, k]
        between[full, k], rest = rest[full], np.where(full, 0.0, rest)
    return Hidden(left, between)


def _p_putt(over: Ints, putts: Ints, hides: NDArray[np.bool_], columns: int) -> Floats:
    """Return how probably a hidden throw is a putt, (2, columns): by full approaches, by known putts less 1.

    A hole hides an approach or a putt, independently: 1 - P(hides) = (1 - A) (1 - P), A by approaches, P by
    putts, P = 0 behind one putt.
    """
    kind = over * columns + putts
    count = np.bincount(kind, minlength=2 * columns).reshape(2, columns).astype(float)
    seen = np.bincount(kind, hides, minlength=2 * columns).reshape(2, columns)
    share = (seen + USUAL_SHARE * USUAL_HOLES) / (count + USUAL_HOLES)
    approach = share[:, :1]
    one = np.clip(1 - (1 - share) / (1 - approach), 0.0, 1.0)
    putt = (one * count).sum(axis=0) / np.maximum(count.sum(axis=0), 1.0)
    only_putt, only_approach = putt * (1 - approach), approach * (1 - putt)
    return np.asarray(only_putt / np.maximum(only_putt + only_approach, 1e-9))


def _place_on_hole(history: History) -> NDArray[np.int64]:
    """Return 1 for the first known throw of a hole, 2 for the second, and so on."""
    start = np.searchsorted(history.throw_hole, history.throw_hole)
    return np.arange(len(history.throw_hole)) - start + 1
