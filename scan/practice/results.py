"""Execution and result apart: how throws that went as planned ended, and how the missed ones did.

The rule for a good result, our choice: a putt's result is good when it was holed. The result of a drive or an
approach is good when the hole took no more throws after it (penalties included) than is usual for this
player from there, the median of their own throws of the same phase in the same place on holes of the same
par. Par itself says nothing here: it is set for an expert.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.cost import place_in_phase
from shortpencil.scan.practice.history import CLEAN, MISS, History, results_known
from shortpencil.scan.practice.model import Interval, jeffreys

#: A median of fewer throws than this gives way to the one of the whole phase.
USUAL_THROWS = 10


@dataclass(frozen=True, slots=True)
class TwoByTwo:
    """One phase's throws by execution and result; `left_out` have no mark or no known result.

    `good_when_clean` and `good_when_missed` are the shares of clean throws that ended well, and of missed
    ones that did all the same.
    """

    phase: str
    clean_good: int
    clean_bad: int
    missed_good: int
    missed_bad: int
    left_out: int
    good_when_clean: Interval
    good_when_missed: Interval

    @property
    def throws(self) -> int:
        return self.clean_good + self.clean_bad + self.missed_good + self.missed_bad


def two_by_two(history: History) -> tuple[TwoByTwo, ...]:
    """Return the table of each phase, in the order thrown."""
    good, known = good_results(history)
    tables = []
    for k, phase in enumerate(history.phase_ids):
        of_phase = history.throw_phase == k
        clean = of_phase & known & (history.throw_execution == CLEAN)
        missed = of_phase & known & (history.throw_execution == MISS)
        (clean_good, clean_bad), (missed_good, missed_bad) = (
            (int((these & good).sum()), int((these & ~good).sum())) for these in (clean, missed)
        )
        tables.append(
            TwoByTwo(
                phase,
                clean_good,
                clean_bad,
                missed_good,
                missed_bad,
                int(of_phase.sum() - clean.sum() - missed.sum()),
                jeffreys(clean_good, clean_good + clean_bad),
                jeffreys(missed_good, missed_good + missed_bad),
            )
        )
    return tuple(tables)


def good_results(history: History) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Say of each throw whether its result was good, and whether that is known."""
    putt = history.throw_phase == history.putt
    known = np.where(putt, results_known(history), history.throw_left >= 0)
    usual = _usual_left(history)
    good = np.where(putt, history.throw_holed == 1, history.throw_left <= usual)
    return good & known, np.asarray(known)


def _usual_left(history: History) -> NDArray[np.float64]:
    """Return for each throw the median of throws left from its place, 0 where nothing is known."""
    par = np.clip(np.nan_to_num(history.hole_par, nan=0), 0, 9).astype(np.int64)[history.throw_hole]
    place = np.minimum(place_in_phase(history), 3)
    stratum = (history.throw_phase * 10 + par) * 4 + place
    known = history.throw_left >= 0
    usual = np.zeros(len(stratum))
    for phase in range(len(history.phases)):
        of_phase = (history.throw_phase == phase) & known
        if of_phase.any():
            usual[history.throw_phase == phase] = np.median(history.throw_left[of_phase])
    # One stratum has at most 40 names a phase, so a loop over those that occur is short.
    for name in np.unique(stratum[known]):
        at = (stratum == name) & known
        if at.sum() >= USUAL_THROWS:
            usual[stratum == name] = np.median(history.throw_left[at])
    return usual
