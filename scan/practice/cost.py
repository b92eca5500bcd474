"""What a miss costs in strokes, by phase, from the player's own throws.

The cost of a miss is how many more throws (penalties included) the hole took after a missed throw than after
a clean one in the same place: first drives with first drives, second putts with second putts, on holes of the
same par. Explaining a hole's score by the number of its misses instead would be simpler and wrong: a second
putt is there to be missed only where the first one stayed out, so that misses come with high scores also
where they cost nothing (in simulation, putts came out a third too dear, and more data did not help).
While throws are few, the cost is drawn towards one prior value, the same in all phases.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from forms.rules import PHASES
from scan.practice.evidence import MISS, UNMARKED, Evidence
from scan.practice.model import LEVEL, Interval, normal_quantile

Floats = NDArray[np.float64]

#: Before a throw is seen, a miss costs about half a stroke in each phase: some are saved by the next throw,
#: some cost a whole one. Our choice; equal in all phases, so that a first round's focus is the plain count.
PRIOR_COST_STROKES = 0.5
PRIOR_COST_SD = 0.3
#: Scatter of the throws left around their mean, with the weight of this many throws.
PRIOR_SCATTER_STROKES = 0.8
PRIOR_SCATTER_THROWS = 10

#: Costs are learnt from so many rounds on; before, a miss costs the same in every phase, since the bounces
#: of a single round would weigh as much as its misses.
COST_ROUNDS = 2

_PLACES = 4  # the first, second, third, any later throw of a phase on a hole


@dataclass(frozen=True, slots=True)
class Costs:
    """Strokes that one miss costs: posterior mean and sd by phase, and the throws behind it."""

    mean: Floats
    sd: Floats
    throws: tuple[int, int, int]

    def interval(self, phase: int, level: float = LEVEL) -> Interval:
        """Return the cost of one miss of `phase` with its interval, in strokes; a cost is not negative."""
        reach = normal_quantile(level) * float(self.sd[phase])
        middle = max(0.0, float(self.mean[phase]))
        return Interval(max(0.0, middle - reach), middle, middle + reach)


def costs_of(evidence: Evidence) -> Costs:
    """Return the cost of a miss by phase; a throw without a mark, or with an unknown rest, counts nowhere."""
    mean, sd = np.full(3, PRIOR_COST_STROKES), np.full(3, PRIOR_COST_SD)
    throws = [0, 0, 0]
    if evidence.rounds < COST_ROUNDS:
        return Costs(mean, sd, (0, 0, 0))
    use = (evidence.throw_left >= 0) & (evidence.throw_execution != UNMARKED)
    par = np.nan_to_num(evidence.hole_par, nan=0).astype(np.int64)[evidence.throw_hole]
    stratum = np.clip(par, 0, 9) * _PLACES + np.minimum(place_in_phase(evidence), _PLACES - 1)
    for k in range(len(PHASES)):
        at = use & (evidence.throw_phase == k)
        missed = (evidence.throw_execution[at] == MISS).astype(float)
        throws[k] = len(missed)
        mean[k], sd[k] = _slope(
            missed, evidence.throw_left[at].astype(float), stratum[at], evidence.throw_hole[at]
        )
    return Costs(mean, sd, (throws[0], throws[1], throws[2]))


def place_in_phase(evidence: Evidence) -> NDArray[np.int64]:
    """Return 0 for the first throw of a phase on its hole, 1 for the second, and so on."""
    key = evidence.throw_hole * 3 + evidence.throw_phase
    place = np.zeros(len(key), dtype=np.int64)
    # Throws of one phase on one hole stand together, but for a drive thrown again later: rare, and its place
    # then is that of a first one, which is what it is.
    for back in range(1, _PLACES):
        same = np.zeros(len(key), dtype=bool)
        same[back:] = key[back:] == key[:-back]
        place += same
    return place


def _slope(
    missed: Floats, left: Floats, stratum: NDArray[np.int64], hole: NDArray[np.int64]
) -> tuple[float, float]:
    """Return mean and sd of the extra throws after a miss, within strata, under the normal prior."""
    count = np.maximum(np.bincount(stratum), 1)
    x = missed - (np.bincount(stratum, missed) / count)[stratum]
    y = left - (np.bincount(stratum, left) / count)[stratum]
    spread = float(x @ x)
    if spread == 0:
        return PRIOR_COST_STROKES, PRIOR_COST_SD
    slope = float(x @ y) / spread
    # Misses scatter more than clean throws, and putts on one hole hang together: the variance is summed by
    # hole from the residuals themselves (White's estimate with clusters), with a few throws of usual scatter
    # added. Taking one scatter for all throws made the putts' interval cover 77 % where it said 90 %.
    score = np.bincount(hole, x * (y - slope * x))
    usual = PRIOR_SCATTER_THROWS * PRIOR_SCATTER_STROKES**2 * spread / len(x)
    variance = (float(score @ score) + usual) / spread**2
    precision = 1 / variance + 1 / PRIOR_COST_SD**2
    mean = (slope / variance + PRIOR_COST_STROKES / PRIOR_COST_SD**2) / precision
    return mean, sqrt(1 / precision)
