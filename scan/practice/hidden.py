"""Throws that a score tells of and no column shows: after which putts do they come.

A card has columns for two approaches and three putts, and marks are forgotten. Leaving out every hole whose
score tells of more throws than are known leaves out the long ones, and with them what missed putts cost: in
worlds of many putts the cost of a miss then came out .05 to .15 stroke too low. So a hidden throw is counted
after the known putts of its hole with the probability that it was a putt. That follows from how often known
putts, clean and missed, are followed by another, and from how often marks are forgotten. Comparing holes of
many putts with holes of one instead took hidden approaches for putts, since hard holes have more of both; and
a fourth putt held as probable behind a clean third one as behind a missed one made a miss seem cheaper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.history import (
    NO_PHASE,
    UNMARKED,
    History,
    columns_are_full,
    known_by_hole,
    only_misses,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Fewer holes with a score than these say nothing of what is hidden.
LEAST_HOLES = 20
#: Holes of one kind are taken to hide so many throws each beforehand, with the weight of so many holes.
USUAL_HIDDEN, USUAL_HOLES = 0.05, 5.0
#: So often a putt is followed by another beforehand, with the same weight.
USUAL_NEXT = 0.2


@dataclass(frozen=True, slots=True)
class Hidden:
    """What scores tell beyond the columns.

    Attributes
    ----------
    left : (T,) throws that each hole still took after each throw, as expected; -1 where that is unknown. As
        `History.throw_left`, and for the putts of holes with hidden throws too
    unsure : (T,) sd of `left`, the same for all putts of a hole: its hidden throws were putts or were not
    between : (H, P) hidden throws of each hole that are no putts, as expected, by phase: the last one between
        tee and target that has no column left
    """

    left: Floats
    unsure: Floats
    between: Floats


def hidden_of(history: History) -> Hidden:
    """Return what scores tell of throws that no column shows."""
    left = history.throw_left.astype(float)
    unsure = np.zeros(len(left))
    holes, putt = len(history.hole_round), history.putt
    if putt == NO_PHASE or not holes:
        return Hidden(left, unsure, np.zeros((holes, len(history.phases))))
    known = known_by_hole(history)
    columns = max(int(history.columns[:, putt].max()), 1)
    thrown = history.hole_score - np.nan_to_num(history.hole_penalty)
    hidden = np.nan_to_num(thrown - known.sum(axis=1), nan=-1.0)
    told = (hidden >= 0) & (known[:, putt] > 0) & ~only_misses(history)[history.hole_round]
    if int(told.sum()) < LEAST_HOLES:
        return Hidden(left, unsure, np.zeros(known.shape))
    over = columns_are_full(history, known).astype(np.int64)
    putts = np.clip(known[:, putt], 1, columns) - 1
    mark = _last_mark(history, putt)
    mean = _mean_hidden(over[told], putts[told], mark[told], hidden[told], columns)
    p_putt = np.minimum(_more_putts(history, known, columns) / mean, 1.0)[over, putts, mark]
    at = history.throw_hole
    use = (history.throw_phase == putt) & (left < 0) & (told & (hidden > 0))[at]
    after = known.sum(axis=1)[at] - _place_on_hole(history)
    left[use] = (after + (hidden * p_putt)[at])[use]
    unsure[use] = (hidden * np.sqrt(p_putt * (1 - p_putt)))[at][use]
    between = np.zeros(known.shape)
    rest = np.where(told & (over == 1), hidden * (1 - p_putt), 0.0)
    for k in reversed(history.between):
        full = known[:, k] >= history.columns[history.hole_round, k]
        between[full, k], rest = rest[full], np.where(full, 0.0, rest)
    return Hidden(left, unsure, between)


def _last_mark(history: History, putt: int) -> Ints:
    """Return the mark of the last known putt of each hole, (H,)."""
    mark = np.full(len(history.hole_round), UNMARKED, dtype=np.int64)
    at = history.throw_phase == putt
    mark[history.throw_hole[at]] = history.throw_execution[at]  # in the order thrown: the last one stays
    return mark


def _mean_hidden(over: Ints, putts: Ints, mark: Ints, hidden: Floats, columns: int) -> Floats:
    """Return how many throws a hole hides on average, (2, columns, 3).

    By full approaches, by known putts less 1 and by the mark of the last of these.
    """
    shape = (2, columns, 3)
    kind = np.ravel_multi_index((over, putts, mark), shape)
    count = np.bincount(kind, minlength=6 * columns).reshape(shape).astype(float)
    seen = np.bincount(kind, hidden, minlength=6 * columns).reshape(shape)
    of_any = (seen.sum(axis=2) + USUAL_HIDDEN * USUAL_HOLES) / (count.sum(axis=2) + USUAL_HOLES)
    return np.asarray((seen + of_any[:, :, None] * USUAL_HOLES) / (count + USUAL_HOLES))


def _more_putts(history: History, known: Ints, columns: int) -> Floats:
    """Return how many putts come after the last known one of a hole on average, (columns, 3).

    By known putts less 1 and by the mark of the last. A putt in the last column is followed as often as one
    in the column before it. One in another column is followed by a hidden one where that left nothing on the
    card.
    """
    at = (history.throw_phase == history.putt) & _full(history)
    hole = history.throw_hole[at]
    no_putts = known.sum(axis=1) - known[:, history.putt]
    place = np.minimum(_place_on_hole(history)[at] - no_putts[hole], columns) - 1
    kind = place * 3 + history.throw_execution[at]
    followed = known[hole, history.putt] > place + 1
    count = np.bincount(kind, minlength=3 * columns).reshape(columns, 3).astype(float)
    next_known = np.bincount(kind, followed, minlength=3 * columns).reshape(columns, 3)
    of_any = (next_known.sum(axis=1) + USUAL_NEXT * USUAL_HOLES) / (count.sum(axis=1) + USUAL_HOLES)
    share = (next_known + of_any[:, None] * USUAL_HOLES) / (count + USUAL_HOLES)
    written = np.bincount(place, ~np.isnan(history.throw_distance_m[at]), minlength=columns)
    leaves_nothing = _forgotten(history) * (1 - written / np.maximum(count.sum(axis=1), 1.0))
    result = np.zeros((columns, 3))
    for k in range(columns - 1):
        comes = np.minimum(share[k] / (1 - leaves_nothing[k + 1]), 1.0)
        result[k] = comes * leaves_nothing[k + 1] / (1 - share[k])
        result[k + 1] = comes  # of the last column this stays
    # a further one may stay out as well
    return np.asarray(result / (1 - min(float(of_any[columns - 2]), 0.5)))


def _forgotten(history: History) -> float:
    """Return the share of drives without a mark, which are known all the same; below 1."""
    drives = (history.throw_phase == history.tee) & _full(history)
    bare = int(np.sum(history.throw_execution[drives] == UNMARKED))
    return bare / (int(drives.sum()) + 1)


def _full(history: History) -> NDArray[np.bool_]:
    """Say of each throw whether its round has more than its misses marked."""
    return np.asarray(~only_misses(history)[history.hole_round[history.throw_hole]])


def _place_on_hole(history: History) -> NDArray[np.int64]:
    """Return 1 for the first known throw of a hole, 2 for the second, and so on."""
    start = np.searchsorted(history.throw_hole, history.throw_hole)
    return np.arange(len(history.throw_hole)) - start + 1
