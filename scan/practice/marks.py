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
HONEST_LOSS, HONEST_LOSS_SD, COLOURED_SHARE = 2.2, 0.9, 0.15
#: Where no distance is written long putts are missed more often and drop less often, missed or not: among
#: honest players a miss then seems to lose so much more, and players differ more (variance).
FAR_LOSS, FAR_LOSS_VARIANCE = 0.5, 0.64
_STEP = 0.25
_LOSS, _COLOUR = np.arange(0.0, 9.1, _STEP), np.arange(0.5, 4.1, _STEP)
#: Losses at which putts are judged: every loss with every colour.
_SEEN = np.arange(0.0, 13.1, _STEP)
#: Clean putts by distance before any are seen: log odds from 5 m, their change with the log of the distance,
#: its bend, and how those without a distance differ; mean and sd, wide.
_CLEAN_MEAN, _CLEAN_SD = np.array([1.0, -3.0, 0.0, 0.0]), np.array([2.0, 2.0, 1.0, 2.0])
_FROM_M, _NEAREST_M = 5.0, 0.5


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
    putts = _marked_putts(history)
    p_coloured, scale = coloured(putts)
    table = putts.table()
    return Marks(
        only_misses=only,
        bare=bare,
        forgotten=_forgotten(history, ~only),
        p_coloured=p_coloured,
        cost_scale=scale,
        dropped=(int(table[:, 1].sum()), int(table[CLEAN, 1])),
        stayed=(int(table[:, 0].sum()), int(table[MISS, 0])),
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


@dataclass(frozen=True, slots=True)
class MarkedPutts:
    """Marked putts whose result is known, a row a distance and mark; NaN where no distance is written."""

    distance_m: Floats
    missed: NDArray[np.bool_]
    tries: Floats
    dropped: Floats

    def table(self) -> Floats:
        """Return putts by mark (clean, missed) and result (out, in), (2, 2)."""
        stayed = self.tries - self.dropped
        return np.array([[n[self.missed == m].sum() for n in (stayed, self.dropped)] for m in (CLEAN, MISS)])


def _marked_putts(history: History) -> MarkedPutts:
    at = (
        (history.throw_phase == history.putt)
        & results_known(history)
        & (history.throw_execution != UNMARKED)
        & (history.throw_holed >= 0)
    )
    # By half metres: a curve of log odds hardly bends within one, and years of putts are few rows.
    halves = np.rint(2 * np.nan_to_num(history.throw_distance_m[at], nan=-1.0)).astype(np.int64)
    key = halves * 2 + history.throw_execution[at]
    kinds, where = np.unique(key, return_inverse=True)
    distance = np.where(kinds < 0, np.nan, (kinds // 2) / 2)
    tries, dropped = np.zeros((2, len(kinds)))
    np.add.at(tries, where, 1.0)
    np.add.at(dropped, where, history.throw_holed[at])
    return MarkedPutts(distance, kinds % 2 == MISS, tries, dropped)


def coloured(putts: MarkedPutts) -> tuple[float, tuple[float, float]]:
    """Return the probability that results colour marks, and what a putt's cost is multiplied by if they do.

    How much less often a missed putt drops than a clean one from the same distance, in log odds, is judged by
    logistic regression (`_by_loss`). What it seems to lose beyond what honest players' putts lose is colour;
    a cost goes with the difference between the chances of staying out, at the loss without colour.
    """
    table = putts.table()
    if table[MISS].sum() < 3 or table[CLEAN].sum() < 3:
        return COLOURED_SHARE, (1.0, 0.0)
    log_seen = _by_loss(putts)
    seen = np.exp(log_seen - log_seen.max())
    unwritten = float(putts.tries[np.isnan(putts.distance_m)].sum() / putts.tries.sum())
    middle = HONEST_LOSS + FAR_LOSS * unwritten
    prior = (1 + (_LOSS - middle) ** 2 / (HONEST_LOSS_SD**2 + FAR_LOSS_VARIANCE * unwritten) / 4) ** -2.5
    prior /= prior.sum()
    with_colour = np.arange(len(_LOSS))[:, None] + np.rint(_COLOUR / _STEP).astype(np.int64)
    honest = (1 - COLOURED_SHARE) * float(prior @ seen[: len(_LOSS)])
    weight = COLOURED_SHARE * prior * seen[with_colour].mean(axis=1)
    total = float(weight.sum())
    if total <= 0:
        return 0.0, (1.0, 0.0)
    out, missed = float(table[:, 0].sum() / table.sum()), float(table[MISS].sum() / table.sum())
    lost = _staying_out(np.append(_LOSS, max(float(seen @ _SEEN / seen.sum()), 0.1)), missed, out)
    scale = np.minimum(lost[:-1] / max(float(lost[-1]), 1e-6), 1.0)
    one, two = float(weight @ scale) / total, float(weight @ scale**2) / total
    return total / (total + honest), (one, float(np.sqrt(max(two - one**2, 0.0))))


def _by_loss(putts: MarkedPutts) -> Floats:
    """Return the log probability of the putts for each of `_SEEN` that a missed one may lose, (L,).

    Logistic regression on the distance, its coefficients under `_CLEAN_MEAN` and `_CLEAN_SD` and integrated
    out by Laplace's approximation (Tierney and Kadane 1986), one for each loss, all at once. Pooling log odds
    ratios of bands of distance with half a putt added to each cell drew the loss down while putts are few.
    """
    unwritten = np.isnan(putts.distance_m)
    metres = np.where(unwritten, _FROM_M, np.maximum(putts.distance_m, _NEAREST_M))
    far = np.log(metres / _FROM_M)
    columns = np.column_stack([np.ones(len(far)), far, far**2, unwritten])
    n, k, precision = putts.tries, putts.dropped, np.diag(_CLEAN_SD**-2.0)
    lost = -_SEEN[:, None] * putts.missed
    at = np.tile(_CLEAN_MEAN, (len(_SEEN), 1))

    def worth(at: Floats) -> Floats:
        z = at @ columns.T + lost
        return np.asarray(
            z @ k - np.logaddexp(0, z) @ n - 0.5 * (((at - _CLEAN_MEAN) / _CLEAN_SD) ** 2).sum(1)
        )

    now = worth(at)
    for _step in range(40):
        p = 1 / (1 + np.exp(-(at @ columns.T + lost)))
        curved = np.einsum("lr,ri,rj->lij", n * p * (1 - p), columns, columns) + precision
        slope = (k - n * p) @ columns - (at - _CLEAN_MEAN) @ precision
        step = np.linalg.solve(curved, slope[:, :, None])[:, :, 0]
        new = worth(at + step)
        while np.any(worse := (new < now - 1e-9) & (np.abs(step).max(axis=1) > 1e-12)):
            step[worse] /= 2
            new = worth(at + step)
        at, now = at + step, new
        if float(np.abs(step).max()) < 1e-8:
            break
    return np.asarray(now - 0.5 * np.linalg.slogdet(curved)[1])


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
