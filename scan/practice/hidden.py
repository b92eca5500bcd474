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

from scan.practice.evidence import APPROACH, PUTT, Evidence, only_misses

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

APPROACH_COLUMNS, PUTT_COLUMNS = 2, 3
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
        `Evidence.throw_left`, and for the putts of holes with hidden throws too
    approaches : (H,) hidden throws of each hole that are approaches, as expected
    """

    left: Floats
    approaches: Floats


def hidden_of(evidence: Evidence) -> Hidden:
    """Return what scores tell of throws that no column shows."""
    left = evidence.throw_left.astype(float)
    holes = len(evidence.hole_round)
    known = np.bincount(evidence.throw_hole * 3 + evidence.throw_phase, minlength=holes * 3).reshape(holes, 3)
    thrown = evidence.hole_score - np.nan_to_num(evidence.hole_penalty)
    hidden = np.nan_to_num(thrown - known.sum(axis=1), nan=-1.0)
    told = (hidden >= 0) & (known[:, PUTT] > 0) & ~only_misses(evidence)[evidence.hole_round]
    if int(told.sum()) < LEAST_HOLES:
        return Hidden(left, np.zeros(holes))
    over = (known[:, APPROACH] >= APPROACH_COLUMNS).astype(np.int64)
    putts = np.clip(known[:, PUTT], 1, PUTT_COLUMNS) - 1
    p_putt = _p_putt(over[told], putts[told], hidden[told] > 0)[over, putts]
    at = evidence.throw_hole
    use = (evidence.throw_phase == PUTT) & (left < 0) & (told & (hidden > 0))[at]
    after = known.sum(axis=1)[at] - _place_on_hole(evidence)
    left[use] = (after + (hidden * p_putt)[at])[use]
    return Hidden(left, np.where(told & (over == 1), hidden * (1 - p_putt), 0.0))


def _p_putt(over: Ints, putts: Ints, hides: NDArray[np.bool_]) -> Floats:
    """Return how probably a hidden throw is a putt, (2, 3): by full approaches, and known putts less one.

    A hole hides an approach or a putt, independently: 1 - P(hides) = (1 - A) (1 - P), A by approaches, P by
    putts, P = 0 behind one putt.
    """
    kind = over * PUTT_COLUMNS + putts
    count = np.bincount(kind, minlength=2 * PUTT_COLUMNS).reshape(2, PUTT_COLUMNS).astype(float)
    seen = np.bincount(kind, hides, minlength=2 * PUTT_COLUMNS).reshape(2, PUTT_COLUMNS)
    share = (seen + USUAL_SHARE * USUAL_HOLES) / (count + USUAL_HOLES)
    approach = share[:, :1]
    one = np.clip(1 - (1 - share) / (1 - approach), 0.0, 1.0)
    putt = (one * count).sum(axis=0) / np.maximum(count.sum(axis=0), 1.0)
    only_putt, only_approach = putt * (1 - approach), approach * (1 - putt)
    return np.asarray(only_putt / np.maximum(only_putt + only_approach, 1e-9))


def _place_on_hole(evidence: Evidence) -> NDArray[np.int64]:
    """Return 1 for the first known throw of a hole, 2 for the second, and so on."""
    start = np.searchsorted(evidence.throw_hole, evidence.throw_hole)
    return np.arange(len(evidence.throw_hole)) - start + 1
