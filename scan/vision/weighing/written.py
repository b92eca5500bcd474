"""A sum as the player wrote it: right, blank, or off as sums in the head go."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from shortpencil.scan.vision.weighing.likelihoods import Floats
from shortpencil.scan.vision.weighing.slips import OFF_BY, OFF_BY_ANYTHING


@lru_cache(maxsize=16)
def slip_kernel(wrong: float) -> Floats:
    """Chance that a written sum is off by -11 … 11, the middle being right; see `written_sum`."""
    kernel = np.zeros(23)
    for off, share in OFF_BY.items():
        kernel[11 + off] = kernel[11 - off] = wrong * share / 2
    kernel[11] = 1 - wrong
    kernel.flags.writeable = False
    return kernel


@dataclass(frozen=True, slots=True)
class WrittenSum:
    """One sum written by the player, weighed by its ink.

    Attributes
    ----------
    likelihood : (S,) P(ink | true sum), for sums 0 to S - 1
    """

    likelihood: Floats
    _full: Floats
    _kernel: Floats
    _anything: float
    _blank: Floats  # (S,) P(blank | true sum) P(ink | blank)
    _some: Floats  # (S,) P(something written | true sum)

    def says_nothing(self, least: float) -> bool:
        """Whether the field is blank for sure, whatever the true sum."""
        return bool((self.likelihood - self._blank <= least * self.likelihood).all())

    def explain(self, sums: Floats) -> tuple[Floats, float]:
        """Posterior of each value written (V,) and of a blank, given that (S,) of the true sum."""
        share = sums / self.likelihood
        values = len(self._full)
        some = share * self._some
        onto = np.convolve(some, self._kernel)[11 : 11 + values]
        near = np.zeros(values)
        near[: len(onto)] = onto
        posterior = self._full * (near + some.sum() * self._anything)
        return posterior, float((share * self._blank).sum())


def written_sum(
    full: Floats, blank: float, size: int, p_wrong: float, p_blank: float, p_zero_blank: float
) -> WrittenSum:
    """Weigh a sum: `full` (V,) P(ink | value), `blank` P(ink | blank), `size` S of the possible sums."""
    kernel = slip_kernel(p_wrong)
    anything = p_wrong * OFF_BY_ANYTHING / len(full)
    padded = np.zeros(size + 22)
    count = min(len(full), size + 11)
    padded[11 : 11 + count] = full[:count]
    near = np.convolve(padded, kernel[::-1], mode="valid")[:size]
    some = np.full(size, 1 - p_blank)
    some[0] = 1 - p_zero_blank
    likelihood = (1 - some) * blank + some * (near + anything * full.sum())
    return WrittenSum(likelihood, full, kernel, anything, (1 - some) * blank, some)
