"""Putts by distance: holed and executed rates, a fitted curve, and the distance of even chance.

The default shape is the one-parameter angle curve of golf putting, adapted to a basket:

    p(x) = 2 Phi(asin(w / x) / sigma) - 1

for a putt from x metres at a catching zone of half-width w. In golf it beats the two-parameter logistic curve
on 5,988 putts. Only w / sigma can be learnt from putts that went in or not, so sigma is never shown: height,
wind and chains that spit out are all folded into it. The rival is a logistic curve with a weak prior; it
takes over only where it foretells left-out rounds better.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import log, pi, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scan.practice import words
from scan.practice.evidence import CLEAN, EDGE_M, PUTT, PUTTING_AREA_M, UNMARKED, Evidence
from scan.practice.model import LEVEL, Interval, jeffreys, normal_quantile, spread_between

Floats = NDArray[np.float64]

#: Half of the chain support's width of about 57 cm. A choice: w only scales sigma, the curve is the same.
HALF_WIDTH_M = 0.285

#: Fewer putts than this, or fewer than two of either result, make no curve.
LEAST_PUTTS, LEAST_OF_EITHER = 10, 2

#: Weak prior of sigma: 2.5 degrees, and twice or half of it within one standard deviation.
PRIOR_SIGMA_RAD, PRIOR_LOG_SD = 2.5 * pi / 180, log(2)
_SIGMA_GRID = np.exp(np.linspace(log(0.2), log(40), 500)) * pi / 180

#: Weak prior of the logistic curve, on a distance scaled to standard deviation 1/2 (after Gelman et al. 2008,
#: with a normal in place of their Cauchy).
PRIOR_INTERCEPT_SD, PRIOR_SLOPE_SD = 10.0, 2.5

#: The rival must foretell left-out rounds this much better (sum of log scores) to take over.
BETTER_BY = 2.0
FOLDS, LEAST_FOLDS = 10, 3

#: A distance of even chance further than this, in longest putts recorded, is a guess and not given.
IN_SIGHT = 1.5

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

    shape: str  # "angle" | "logistic"
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


def putting_of(evidence: Evidence, unit: str = "m") -> Putting:
    """Return what the putts with a written distance say; distances in words are in `unit`."""
    of = (evidence.throw_phase == PUTT) & ~np.isnan(evidence.throw_distance_m)
    x = evidence.throw_distance_m[of]
    holed = evidence.throw_holed[of]
    execution = evidence.throw_execution[of]
    straddle = evidence.throw_straddle[of] == 1
    at_round = evidence.hole_round[evidence.throw_hole[of]]
    known = holed >= 0
    curve, too_few = _curve(x[known], holed[known] == 1, at_round[known], evidence.rounds)
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
        inside=group(f"inside the putting area ({length(PUTTING_AREA_M, unit)})", area),
        beyond=group("beyond the putting area", ~area),
        stances=(group("straddle", straddle & area), group("other stances", ~straddle & area)),
        curve=curve,
        too_few=too_few,
        edge=int((np.abs(x - PUTTING_AREA_M) <= EDGE_M).sum()),
    )


def length(metres: float, unit: str, decimals: int = 0) -> str:
    """Return a length in the player's unit, as in ``7 m`` or ``23 ft``."""
    from forms.units import M_PER_FOOT

    return f"{metres:.{decimals}f} m" if unit == "m" else f"{metres / M_PER_FOOT:.0f} ft"


def _band(low: float, high: float, unit: str) -> str:
    if low == 0:
        return f"up to {length(high, unit, 1)}"
    if high > 50:
        return f"over {length(low, unit, 1)}"
    return f"{length(low, unit, 1).split()[0]} to {length(high, unit, 1)}"


def _curve(
    x: Floats, holed: NDArray[np.bool_], at_round: NDArray[np.int64], rounds: int
) -> tuple[Curve | None, str | None]:
    made = int(holed.sum())
    if len(x) < LEAST_PUTTS or min(made, len(x) - made) < LEAST_OF_EITHER:
        return None, (
            f"{words.count(len(x), 'putt')} with a distance, {made} holed: too few for a curve. It takes "
            f"{LEAST_PUTTS}, with at least {LEAST_OF_EITHER} holed and {LEAST_OF_EITHER} not."
        )
    factor = spread_between(
        np.bincount(at_round, ~holed, minlength=rounds), np.bincount(at_round, minlength=rounds)
    ).factor
    longest = float(x.max())
    grid = np.linspace(0.5, max(12.0, longest * 1.15), 120)
    _, fold = np.unique(at_round, return_inverse=True)
    counts = _counted(x, holed, fold % FOLDS)
    if _logistic_foretells_better(counts):
        return _logistic_curve(counts, factor, grid, longest), None
    return _angle_curve(counts, factor, grid, longest), None


@dataclass(frozen=True, slots=True)
class _Counts:
    """Putts by fold of rounds and by distance: tries and holed, (F, D) each; distances (D,)."""

    distance: Floats
    tries: Floats
    holed: Floats


def _counted(x: Floats, holed: NDArray[np.bool_], fold: NDArray[np.intp]) -> _Counts:
    distinct, where = np.unique(x, return_inverse=True)
    folds, width = int(fold.max()) + 1, len(distinct)
    key = fold * width + where
    tries = np.bincount(key, minlength=folds * width).astype(float).reshape(folds, width)
    made = np.bincount(key, holed, folds * width).astype(float).reshape(folds, width)
    return _Counts(distinct, tries, made)


# -- the angle curve -------------------------------------------------------------------------------------


def angle_chance(distance: ArrayLike, sigma_rad: ArrayLike, half_width: float = HALF_WIDTH_M) -> Floats:
    """Chance of holing by the angle curve; nearer than the half-width it is that of the right angle."""
    from scipy.special import ndtr

    reach = np.arcsin(np.minimum(half_width / np.asarray(distance, dtype=float), 1.0))
    return np.asarray(2 * ndtr(reach / np.asarray(sigma_rad, dtype=float)) - 1)


def even_chance_distance(sigma_rad: float, half_width: float = HALF_WIDTH_M) -> float:
    """Distance at which the angle curve is 1/2."""
    return half_width / sin(min(normal_quantile(0.5) * sigma_rad, pi / 2))


@dataclass(frozen=True, slots=True)
class AngleFit:
    """Most likely sigma with its standard error, both in radians, and the log-likelihood."""

    sigma_rad: float
    error_rad: float
    log_likelihood: float


def fit_angle(distance: ArrayLike, tries: ArrayLike, holed: ArrayLike, half_width: float) -> AngleFit:
    """Return the most likely angle curve of counted putts (no prior); for checks and for comparison."""
    x, n, k = (np.asarray(v, dtype=float) for v in (distance, tries, holed))

    def log_likelihood(log_sigma: float) -> float:
        return _log_binomial(angle_chance(x, np.exp(log_sigma), half_width), n, k)

    low, high = log(1e-4), log(3.0)
    ratio = (sqrt(5) - 1) / 2
    for _ in range(80):  # golden section; one parameter, one peak
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        if log_likelihood(a) > log_likelihood(b):
            high = b
        else:
            low = a
    peak, step = (low + high) / 2, 1e-4
    curvature = (
        log_likelihood(peak + step) - 2 * log_likelihood(peak) + log_likelihood(peak - step)
    ) / step**2
    sigma = float(np.exp(peak))
    return AngleFit(sigma, sigma / sqrt(-curvature), log_likelihood(peak))


def _angle_posterior(distance: Floats, tries: Floats, holed: Floats) -> Floats:
    """Return weights of `_SIGMA_GRID` given counted putts."""
    p = angle_chance(distance[None, :], _SIGMA_GRID[:, None])
    log_weight = _log_binomial_rows(p, tries, holed)
    log_weight -= 0.5 * (np.log(_SIGMA_GRID / PRIOR_SIGMA_RAD) / PRIOR_LOG_SD) ** 2
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _angle_curve(counts: _Counts, factor: float, grid: Floats, longest: float) -> Curve:
    # Rounds that differ more than by chance tell less: their putts count for `factor` times fewer.
    n, k = counts.tries.sum(axis=0) / factor, counts.holed.sum(axis=0) / factor
    weight = _angle_posterior(counts.distance, n, k)
    # The chance falls as sigma grows, so quantiles of sigma are quantiles of the curve, from the other end.
    tail = (1 - LEVEL) / 2
    small, middle, large = (_weighted_quantile(_SIGMA_GRID, weight, q) for q in (tail, 0.5, 1 - tail))
    even: Interval | None = Interval(
        even_chance_distance(large), even_chance_distance(middle), even_chance_distance(small)
    )
    if even is not None and even.middle > longest * IN_SIGHT:
        even = None
    return Curve(
        "angle",
        grid,
        angle_chance(grid, large),
        angle_chance(grid, middle),
        angle_chance(grid, small),
        even,
        longest,
    )


def _weighted_quantile(values: Floats, weight: Floats, q: float) -> float:
    return float(np.interp(q, np.cumsum(weight) - weight / 2, values))


# -- the logistic curve ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LogisticFit:
    """Coefficients, their covariance, and the log-likelihood at them (without binomial constants)."""

    coefficients: Floats
    covariance: Floats
    log_likelihood: float


def fit_logistic(
    design: ArrayLike, tries: ArrayLike, successes: ArrayLike, prior_sd: ArrayLike | None = None
) -> LogisticFit:
    """Return the logistic regression of counted successes, by Newton steps.

    Parameters
    ----------
    design : (N, K) rows of explaining values, a column of ones included
    tries, successes : (N,)
    prior_sd : (K,) standard deviations of a normal prior around 0; None for none
    """
    x, n, k = (np.asarray(v, dtype=float) for v in (design, tries, successes))
    precision = np.zeros(x.shape[1]) if prior_sd is None else 1 / np.asarray(prior_sd, dtype=float) ** 2

    def worth(at: Floats) -> float:
        # log(1 + e^z) without overflow; constants of the binomial left out
        z = x @ at
        return float(k @ z - n @ np.logaddexp(0, z) - 0.5 * precision @ at**2)

    b = np.zeros(x.shape[1])
    for _ in range(60):
        p = 1 / (1 + np.exp(-(x @ b)))
        information = (x * (n * p * (1 - p))[:, None]).T @ x + np.diag(precision)
        step = np.linalg.solve(information, x.T @ (k - n * p) - precision * b)
        while worth(b + step) < worth(b) - 1e-9 and np.max(np.abs(step)) > 1e-12:
            step = step / 2
        b = b + step
        if float(np.max(np.abs(step))) < 1e-10:
            break
    return LogisticFit(b, np.asarray(np.linalg.inv(information)), worth(b) + 0.5 * float(precision @ b**2))


def _logistic(distance: Floats, tries: Floats, holed: Floats) -> tuple[LogisticFit, float, float]:
    """Return the fit with the weak prior on the scaled distance, and the distance's mean and scale."""
    centre = float(tries @ distance / tries.sum())
    scale = 2 * sqrt(float(tries @ (distance - centre) ** 2 / tries.sum())) or 1.0
    design = np.column_stack([np.ones(len(distance)), (distance - centre) / scale])
    return fit_logistic(design, tries, holed, [PRIOR_INTERCEPT_SD, PRIOR_SLOPE_SD]), centre, scale


def _logistic_curve(counts: _Counts, factor: float, grid: Floats, longest: float) -> Curve:
    n, k = counts.tries.sum(axis=0) / factor, counts.holed.sum(axis=0) / factor
    fit, centre, scale = _logistic(counts.distance, n, k)
    rows = np.column_stack([np.ones(len(grid)), (grid - centre) / scale])
    middle = rows @ fit.coefficients
    reach = normal_quantile() * np.sqrt(np.einsum("ij,jk,ik->i", rows, fit.covariance, rows))
    a, b = fit.coefficients
    even = None
    if b < 0:
        slope = np.array([-1 / b, a / b**2])
        spread = normal_quantile() * sqrt(float(slope @ fit.covariance @ slope)) * scale
        distance = centre - a / b * scale
        if 0 < distance <= longest * IN_SIGHT:
            even = Interval(max(0.0, distance - spread), distance, distance + spread)

    def chance(z: Floats) -> Floats:
        return np.asarray(1 / (1 + np.exp(-z)))

    return Curve(
        "logistic", grid, chance(middle - reach), chance(middle), chance(middle + reach), even, longest
    )


def _logistic_foretells_better(counts: _Counts) -> bool:
    """Compare the two shapes on left-out rounds; rounds stay whole, since their putts share a day."""
    folds = len(counts.tries)
    gain = 0.0
    if folds < LEAST_FOLDS:
        return False
    for out in range(folds):
        n = counts.tries.sum(axis=0) - counts.tries[out]
        k = counts.holed.sum(axis=0) - counts.holed[out]
        if not 0 < k.sum() < n.sum():
            return False
        sigma = _weighted_quantile(_SIGMA_GRID, _angle_posterior(counts.distance, n, k), 0.5)
        fit, centre, scale = _logistic(counts.distance, n, k)
        z = fit.coefficients[0] + fit.coefficients[1] * (counts.distance - centre) / scale
        rival = _log_binomial(1 / (1 + np.exp(-z)), counts.tries[out], counts.holed[out])
        own = _log_binomial(angle_chance(counts.distance, sigma), counts.tries[out], counts.holed[out])
        gain += rival - own
    return gain > BETTER_BY


def _log_binomial(p: Floats, n: Floats, k: Floats) -> float:
    return float(_log_binomial_rows(p[None, :], n, k)[0])


def _log_binomial_rows(p: Floats, n: Floats, k: Floats) -> Floats:
    # A chance of exactly 0 or 1 would make one surprise infinitely telling.
    inside = np.clip(p, 1e-6, 1 - 1e-6)
    return np.asarray(np.log(inside) @ k + np.log1p(-inside) @ (n - k))
