"""Putts by distance: holed and executed rates, a curve with its band, and the distance of even chance.

Before a putt is seen the curve is the angle curve of golf putting, adapted to a basket:

    p(x) = 2 Phi(asin(w / x) / sigma) - 1

for a putt from x metres at a catching zone of half-width w. But nobody's putts follow a curve of one
number for years: chains spit out, arms tire, misses and clean putts mix. So the arm may be steadier or less
steady, which matters most near the basket; and the log odds may lie higher or lower, fall faster or slower,
and bend, each by as much as the putts themselves ask for (a Gaussian process around that curve, by Laplace's
approximation). A band that trusts the one-number curve held the truth in 64 to 87 % of cases where it said
90, and in a tenth of them after a hundred rounds; one in which all distances shift alike was too low and too
narrow within 4 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shortpencil.scan.language import _, ngettext, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.history import CLEAN, UNMARKED, History, results_known
from shortpencil.scan.practice.model import Interval, jeffreys, normal_quantile, spread_between, weights
from shortpencil.scan.records.validate import EDGE_M, PUTTING_AREA_M

Floats = NDArray[np.float64]

#: Half of the chain support's width of about 57 cm. A choice: w only scales sigma, the curve is the same.
HALF_WIDTH_M = 0.285

#: Fewer putts than this, or fewer than two of either result, make no curve.
LEAST_PUTTS, LEAST_OF_EITHER = 10, 2

#: The curve before any putt: 2.5 degrees, and nearer than 1.5 m all are alike.
PRIOR_SIGMA_RAD, NEAR_M = 2.5 * pi / 180, 1.5

#: How far log odds may be from that: by a steadier arm (sd of the log of sigma), all alike (sd), with the log
#: of the distance (sd of the slope), and a bend (sd, and the length over which it bends, as a log of
#: distance). Chosen by the probability of the putts (`CurveFit.log_evidence`) in nine worlds of
#: tests/practice, 540 curves: 1.1 higher a curve, as a logarithm, than without the arm's term.
STEADY_SD, LEVEL_SD, SLOPE_SD, BEND_SD, BEND_LENGTH = 0.4, 0.7, 0.5, 0.5, 0.45

#: A distance of even chance further than this, in longest putts recorded, is a guess and not given.
IN_SIGHT = 1.5

#: Rounds after which a putt counts half for the curve; longer than for miss rates, since a curve needs putts
#: from all distances.
PUTT_HALF_LIFE_ROUNDS = 20.0

#: Edges of the distance bands; the last one before "beyond" is the edge of the putting area.
BAND_EDGES_M = (0.0, 3.5, 5.5, 7.5, PUTTING_AREA_M + EDGE_M, 100.0)


@dataclass(frozen=True, slots=True)
class Group:
    """Putts of one kind: holed of tries, and executed of marked; shares with their range."""

    label: str
    tries: int
    holed_count: int
    holed: Interval
    marked: int
    clean_count: int
    clean: Interval
    expected: float | None = None  # share the curve expects from the same distances


@dataclass(frozen=True, slots=True)
class Curve:
    """Chance of holing by distance, as middle and range on a grid of distances.

    `even_m` is the distance of even chance; None where the curve never comes down to it in sight.
    """

    distance_m: Floats
    low: Floats
    middle: Floats
    high: Floats
    even_m: Interval | None
    longest_m: float

    def at(self, distance_m: float) -> float:
        """Return the chance of holing from that distance."""
        return float(np.interp(distance_m, self.distance_m, self.middle))


@dataclass(frozen=True, slots=True)
class Putting:
    """All about putts with a written distance; `too_few` says in words why there is no curve."""

    putts: int
    bands: tuple[Group, ...]
    inside: Group
    beyond: Group
    stances: tuple[Group, ...]
    curve: Curve | None
    too_few: str | None
    edge: int  # putts within `EDGE_M` of the edge of the putting area


def putting_of(history: History, unit: str = "m") -> Putting:
    """Return what the putts with a written distance say; distances in words are in `unit`."""
    of = (history.throw_phase == history.putt) & ~np.isnan(history.throw_distance_m)
    x = history.throw_distance_m[of]
    holed = history.throw_holed[of]
    execution = history.throw_execution[of]
    straddle = history.throw_straddle[of] == 1
    at_round = history.hole_round[history.throw_hole[of]]
    known = results_known(history)[of]
    curve, too_few = _curve(x[known], holed[known] == 1, at_round[known], history.rounds)
    area = x <= PUTTING_AREA_M + EDGE_M

    def group(label: str, these: NDArray[np.bool_]) -> Group:
        tried, marked = these & known, these & (execution != UNMARKED)
        n, k = int(tried.sum()), int((tried & (holed == 1)).sum())
        m, c = int(marked.sum()), int((marked & (execution == CLEAN)).sum())
        expected = float(np.interp(x[tried], curve.distance_m, curve.middle).mean()) if curve and n else None
        return Group(label, n, k, jeffreys(k, n), m, c, jeffreys(c, m), expected)

    bands = tuple(
        group(_band(low, high, unit), (x > low) & (x <= high)) for low, high in pairwise(BAND_EDGES_M)
    )
    return Putting(
        putts=len(x),
        bands=bands,
        inside=group(_("inside the putting area ({length})", length=length(PUTTING_AREA_M, unit)), area),
        beyond=group(_("beyond the putting area"), ~area),
        stances=(group(_("straddle"), straddle & area), group(_("other stances"), ~straddle & area)),
        curve=curve,
        too_few=too_few,
        edge=int((np.abs(x - PUTTING_AREA_M) <= EDGE_M).sum()),
    )


def holed_said(group: Group) -> str:
    """Return how many putts of one kind were holed, in words."""
    return _(
        "{label}: {holed} of {tries} holed ({percent}, range {range})",
        label=group.label,
        holed=group.holed_count,
        tries=group.tries,
        percent=words.percent(group.holed.middle),
        range=words.percent_range(group.holed),
    )


def length(metres: float, unit: str, decimals: int = 0) -> str:
    """Return a length in the player's unit, as in ``7 m`` or ``23 ft``."""
    from shortpencil.forms.units import M_PER_FOOT

    return f"{number(metres, decimals)} m" if unit == "m" else f"{metres / M_PER_FOOT:.0f} ft"


def _band(low: float, high: float, unit: str) -> str:
    if low == 0:
        return _("up to {length}", length=length(high, unit, 1))
    if high > 50:
        return _("over {length}", length=length(low, unit, 1))
    return words.from_to(length(low, unit, 1).split()[0], length(high, unit, 1))


def _curve(
    x: Floats, holed: NDArray[np.bool_], at_round: NDArray[np.int64], rounds: int
) -> tuple[Curve | None, str | None]:
    made = int(holed.sum())
    if len(x) < LEAST_PUTTS or min(made, len(x) - made) < LEAST_OF_EITHER:
        return None, ngettext(
            "{n} putt with a distance, {made} holed: too few for a curve. It takes {least}, with at least "
            "{either} holed and {either} not.",
            "{n} putts with a distance, {made} holed: too few for a curve. It takes {least}, with at least "
            "{either} holed and {either} not.",
            len(x),
            made=made,
            least=LEAST_PUTTS,
            either=LEAST_OF_EITHER,
        )
    # Rounds that differ more than by chance tell less: their putts count for `factor` times fewer.
    factor = spread_between(
        np.bincount(at_round, ~holed, minlength=rounds), np.bincount(at_round, minlength=rounds)
    ).factor
    # Putts of long ago tell of another putter: weighted, and worth as many as tell the same unweighted.
    weight = weights(rounds, PUTT_HALF_LIFE_ROUNDS)[at_round]
    weight *= float(weight.sum() / (weight @ weight)) / factor
    distance, where = np.unique(x, return_inverse=True)
    fit = fit_curve(distance, np.bincount(where, weight), np.bincount(where, weight * holed))
    longest = float(x.max())
    grid = np.linspace(0.5, max(12.0, longest * 1.15), 120)
    low, middle, high = fit.band(grid)
    return Curve(grid, low, middle, high, _even(fit, longest), longest), None


def _even(fit: CurveFit, longest: float) -> Interval | None:
    """Return the distance of even chance, None where it is out of sight of the longest putt.

    The far end of its range is infinite where that is out of sight.
    """
    reach = np.linspace(0.5, longest * IN_SIGHT, 400)

    def first_below(curve: Floats) -> float:
        below = np.flatnonzero(curve <= 0.5)
        return float(reach[below[0]]) if below.size else inf

    low, middle, high = (first_below(curve) for curve in fit.band(reach))
    return None if middle == inf else Interval(low, middle, high)


# -- the curve -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CurveFit:
    """A fitted curve of log odds: distances, their prior log odds, what the putts pull, and its doubt.

    `log_evidence` is the log of the probability of the putts, with binomial constants left out.
    """

    distance: Floats
    pull: Floats
    root_weight: Floats
    inverse: Floats
    log_evidence: float

    def log_odds(self, distance: Floats) -> tuple[Floats, Floats]:
        """Return mean and sd of the log odds of holing from each distance."""
        cross = _kernel(distance, self.distance)
        mean = prior_log_odds(distance) + cross @ self.pull
        known = cross * self.root_weight
        own = np.einsum("ij,jk,ik->i", known, self.inverse, known)
        return mean, np.sqrt(np.maximum(_kernel_at(distance) - own, 0.0))

    def band(self, distance: Floats) -> tuple[Floats, Floats, Floats]:
        """Return low, middle and high chances; nobody holes more from further away, and the band says so."""
        mean, sd = self.log_odds(distance)
        reach = normal_quantile() * sd
        falls = np.minimum.accumulate(mean), np.maximum.accumulate(mean[::-1])[::-1]
        middle = _chance((falls[0] + falls[1]) / 2)
        low = np.maximum.accumulate(_chance(mean - reach)[::-1])[::-1]
        high = np.minimum.accumulate(_chance(mean + reach))
        return np.minimum(low, middle), middle, np.maximum(high, middle)


def fit_curve(distance: ArrayLike, tries: ArrayLike, holed: ArrayLike) -> CurveFit:
    """Return the curve of counted putts: a Gaussian process of log odds, by Laplace's approximation.

    Parameters
    ----------
    distance : (D,) different distances, m
    tries, holed : (D,) counts, fractions allowed

    References
    ----------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), algorithms 3.1 and 3.2.
    """
    x, n, k = (np.asarray(v, dtype=float) for v in (distance, tries, holed))
    kernel, prior = _kernel(x, x), prior_log_odds(x)
    pull = np.zeros(len(x))

    def worth(at: Floats) -> float:
        z = prior + kernel @ at
        return float(k @ z - n @ np.logaddexp(0, z) - 0.5 * at @ kernel @ at)

    for _step in range(60):
        away = kernel @ pull
        p = _chance(prior + away)
        weight = np.maximum(n * p * (1 - p), 1e-12)
        root = np.sqrt(weight)
        inverse = np.linalg.inv(np.eye(len(x)) + root[:, None] * kernel * root)
        b = weight * away + k - n * p
        step = b - root * (inverse @ (root * (kernel @ b))) - pull
        while worth(pull + step) < worth(pull) - 1e-9 and float(np.max(np.abs(step))) > 1e-12:
            step = step / 2
        pull = pull + step
        if float(np.max(np.abs(step))) < 1e-10:
            break
    log_evidence = worth(pull) + 0.5 * float(np.linalg.slogdet(inverse)[1])
    return CurveFit(x, pull, root, np.asarray(inverse), log_evidence)


def prior_log_odds(distance: Floats) -> Floats:
    """Return the log odds of holing before any putt is seen."""
    p = np.clip(angle_chance(np.maximum(distance, NEAR_M), PRIOR_SIGMA_RAD), 1e-6, 1 - 1e-6)
    return np.asarray(np.log(p / (1 - p)))


def gained_by_steadiness(distance: Floats) -> Floats:
    """Return by how much the angle curve's log odds rise as the log of sigma falls, at the usual sigma.

    About 12 at 2 m, 3 at 5 m and 1.6 at 10 m: who misses fewer from afar hardly ever misses near.
    """
    reach = np.arcsin(HALF_WIDTH_M / np.maximum(distance, NEAR_M)) / PRIOR_SIGMA_RAD
    p = angle_chance(np.maximum(distance, NEAR_M), PRIOR_SIGMA_RAD)
    density = np.exp(-0.5 * reach**2) / np.sqrt(2 * pi)
    return np.asarray(2 * reach * density / (p * (1 - p)))


def _kernel(one: Floats, other: Floats) -> Floats:
    a, b = _far(one)[:, None], _far(other)[None, :]
    steady = gained_by_steadiness(one)[:, None] * gained_by_steadiness(other)[None, :]
    bend = np.exp(-0.5 * ((a - b) / BEND_LENGTH) ** 2)
    return np.asarray(STEADY_SD**2 * steady + LEVEL_SD**2 + SLOPE_SD**2 * a * b + BEND_SD**2 * bend)


def _kernel_at(distance: Floats) -> Floats:
    steady = STEADY_SD**2 * gained_by_steadiness(distance) ** 2
    return np.asarray(steady + LEVEL_SD**2 + SLOPE_SD**2 * _far(distance) ** 2 + BEND_SD**2)


def _far(distance: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(distance, NEAR_M) / 5.0))


def _chance(log_odds: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-log_odds)))


def angle_chance(distance: ArrayLike, sigma_rad: ArrayLike, half_width: float = HALF_WIDTH_M) -> Floats:
    """Chance of holing by the angle curve; nearer than the half-width it is that of the right angle."""
    from shortpencil.scan.practice.special import ndtr

    reach = np.arcsin(np.minimum(half_width / np.asarray(distance, dtype=float), 1.0))
    return np.asarray(2 * ndtr(reach / np.asarray(sigma_rad, dtype=float)) - 1)
