"""How a player marks: only misses, some throws forgotten, results that colour the mark. Nobody's fault.

Marks are made by people after a round. Three habits change what counts mean, and each shows in the player's
own columns: a card of misses only has no clean marks while its scores tell of more throws; forgotten throws
are those that the scores tell of and the marks do not, and how they ended says which kind was forgotten; and
where nearly every putt that dropped is called clean and nearly every one that stayed out is called a miss,
the eye may have followed the disc. What cannot be known then widens a range; it never narrows one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.cost import Colour, Costs
from shortpencil.scan.practice.history import (
    CLEAN,
    MISS,
    NO_PHASE,
    UNMARKED,
    History,
    bare_throws,
    only_misses,
    results_known,
)
from shortpencil.scan.practice.results import good_results

Floats = NDArray[np.float64]

#: A forgotten throw was missed from never to as often as a marked one, each as likely before results speak.
_FORGOTTEN = np.linspace(0.0, 1.0, 21)

#: What a missed putt loses in log odds of dropping, among honest players (Student's t, 4 degrees of
#: freedom: of some nearly every clean putt drops); and how much more it seems to lose where results colour
#: the mark, in one player of seven. Ours, from no data; on the worlds in tests.
HONEST_LOSS, HONEST_LOSS_SD, COLOURED_SHARE, MOST_COLOUR = 2.2, 0.9, 0.15, 4.0
_LOSS = np.linspace(0.0, 9.0, 91)
_COLOUR = np.linspace(0.4, MOST_COLOUR, 37)
#: Bands of distance within which putts are compared, m; those without a distance are one more.
_BANDS_M = (0.0, 3.5, 5.5, 7.5, 100.0)


@dataclass(frozen=True, slots=True)
class Marks:
    """How one player marks.

    Attributes
    ----------
    only_misses : (R,) whether a round's marks are of misses only
    bare : (R, P) throws without a mark by round and phase, as far as scores tell of them
    forgotten : mean and sd of how often a throw without a mark was a miss, as a share of how often a marked
        one is; 1 where it made no difference
    p_coloured : probability that results colour the marks of putts
    cost_scale : mean and sd of what a missed putt's cost is then multiplied by
    putt : number of the phase that these are of
    dropped, stayed : putts that dropped, and how many of them are called clean; putts that stayed out, and
        how many of them are called missed
    """

    only_misses: NDArray[np.bool_]
    bare: NDArray[np.int64]
    forgotten: tuple[float, float]
    p_coloured: float
    cost_scale: tuple[float, float]
    dropped: tuple[int, int]
    stayed: tuple[int, int]
    putt: int

    def costs(self, costs: Costs) -> Costs:
        """Return costs that allow for marks of putts that results may have coloured."""
        if self.putt == NO_PHASE:
            return costs
        return replace(costs, colour=Colour(self.putt, self.p_coloured, *self.cost_scale))


def marks_of(history: History) -> Marks:
    """Return how the player of these rounds marks."""
    bare, only = bare_throws(history), only_misses(history)
    table = _putts_by_band(history)
    p_coloured, scale = coloured(table)
    total = table.sum(axis=0)
    return Marks(
        only_misses=only,
        bare=bare,
        forgotten=_forgotten(history, ~only),
        p_coloured=p_coloured,
        cost_scale=scale,
        dropped=(int(total[:, 1].sum()), int(total[CLEAN, 1])),
        stayed=(int(total[:, 0].sum()), int(total[MISS, 0])),
        putt=history.putt,
    )


def _forgotten(history: History, full: NDArray[np.bool_]) -> tuple[float, float]:
    """Return mean and sd of how often a throw without a mark was a miss, as a share of a marked one's rate.

    Throws without a mark whose result is known tell: good results are as frequent among them as their clean
    and missed ones make them. Only drives and putts with a distance are asked, which a card knows of whether
    or not they are marked; others are known without a mark only where a later one followed.
    """
    good, known = good_results(history)
    of_full = full[history.hole_round[history.throw_hole]]
    log_weight = np.zeros(len(_FORGOTTEN))
    for phase in (history.tee, history.putt):
        at = known & (history.throw_phase == phase) & of_full
        if phase == history.putt:
            at &= ~np.isnan(history.throw_distance_m)
        marks = history.throw_execution[at]
        n = np.bincount(marks, minlength=3)[:3].astype(float)
        k = np.bincount(marks, good[at].astype(float), minlength=3)[:3]
        if not (n[CLEAN] and n[MISS] and n[UNMARKED]):
            continue
        share = (k + 0.5) / (n + 1)
        rate = n[MISS] / (n[CLEAN] + n[MISS])
        p = share[CLEAN] + (share[MISS] - share[CLEAN]) * rate * _FORGOTTEN
        # The marked throws' own shares are known only so well: that doubt makes the others worth fewer.
        doubt = share[CLEAN] * (1 - share[CLEAN]) / n[CLEAN]
        worth = n[UNMARKED] / (1 + n[UNMARKED] * doubt / max(float(p.mean() * (1 - p.mean())), 1e-3))
        seen = k[UNMARKED] / n[UNMARKED] * worth
        log_weight += seen * np.log(p) + (worth - seen) * np.log1p(-p)
    weight = np.exp(log_weight - log_weight.max())
    weight = weight / weight.sum()
    mean = float(weight @ _FORGOTTEN)
    return mean, float(np.sqrt(max(weight @ (_FORGOTTEN - mean) ** 2, 0.0)))


def _putts_by_band(history: History) -> NDArray[np.int64]:
    """Return putts by band of distance, mark (clean, missed) and result (out, in), (B, 2, 2)."""
    at = (
        (history.throw_phase == history.putt)
        & results_known(history)
        & (history.throw_execution != UNMARKED)
        & (history.throw_holed >= 0)
    )
    distance = np.nan_to_num(history.throw_distance_m[at], nan=-1.0)
    near = np.maximum(np.searchsorted(_BANDS_M, distance) - 1, 0)  # a 0 that was written belongs to the first
    band = np.where(distance < 0, len(_BANDS_M) - 1, near)
    key = (band * 2 + history.throw_execution[at]) * 2 + history.throw_holed[at]
    return np.asarray(np.bincount(key, minlength=len(_BANDS_M) * 4).reshape(-1, 2, 2), dtype=np.int64)


def coloured(table: NDArray[np.int64]) -> tuple[float, tuple[float, float]]:
    """Return the probability that results colour marks, and what a putt's cost is multiplied by if they do.

    Within a band of distance, the log odds ratio of dropping tells what a missed putt loses (half a putt
    added to each cell; bands pooled by their precision). What it loses beyond what honest players' putts lose
    is colour; a cost goes with the difference between the chances of staying out, at the loss without colour.
    """
    cells = table.astype(float)
    told = cells.sum(axis=(1, 2)) > 0
    cells = cells[told] + 0.5
    if not len(cells) or table[:, MISS].sum() < 3 or table[:, CLEAN].sum() < 3:
        return COLOURED_SHARE, (1.0, 0.0)
    log_ratio = np.log(cells[:, CLEAN, 1] * cells[:, MISS, 0] / (cells[:, CLEAN, 0] * cells[:, MISS, 1]))
    precision = 1 / (1 / cells).sum(axis=(1, 2))
    seen, sd = float(precision @ log_ratio / precision.sum()), float(precision.sum() ** -0.5)
    prior = (1 + ((_LOSS - HONEST_LOSS) / HONEST_LOSS_SD) ** 2 / 4) ** -2.5
    prior /= prior.sum()

    def fits(loss: Floats) -> Floats:
        return np.asarray(np.exp(-0.5 * ((seen - loss) / sd) ** 2))

    honest = (1 - COLOURED_SHARE) * prior * fits(_LOSS)
    with_colour = COLOURED_SHARE * prior * fits(_LOSS[:, None] + _COLOUR[None, :]).mean(axis=1)
    total = float(honest.sum() + with_colour.sum())
    if total <= 0:
        return 1.0, (1.0, 0.3)
    p = float(with_colour.sum()) / total
    if with_colour.sum() <= 0:
        return p, (1.0, 0.0)
    out, missed = float(table[:, :, 0].sum() / table.sum()), float(table[:, MISS].sum() / table.sum())
    lost = _staying_out(np.append(_LOSS, max(seen, 0.1)), missed, out)
    scale = np.minimum(lost[:-1] / max(float(lost[-1]), 1e-6), 1.0)
    weight = with_colour / with_colour.sum()
    one, two = float(weight @ scale), float(weight @ scale**2)
    return p, (one, float(np.sqrt(max(two - one**2, 0.0))))


def _staying_out(loss: Floats, missed: float, out: float) -> Floats:
    """Return how much more often a missed putt stays out than a clean one, for each loss in log odds.

    The share of missed putts and of putts that stay out are held as they are.
    """
    low, high = np.full(len(loss), -20.0), np.full(len(loss), 20.0)
    for _ in range(60):
        middle = (low + high) / 2
        share = (1 - missed) / (1 + np.exp(-middle)) + missed / (1 + np.exp(-(middle + loss)))
        high, low = np.where(share > out, middle, high), np.where(share > out, low, middle)
    return np.asarray(1 / (1 + np.exp(-(low + loss))) - 1 / (1 + np.exp(-low)))
