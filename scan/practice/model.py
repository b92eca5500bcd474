"""Rates from few throws: intervals, which of several is largest, and how much rounds differ.

Only arithmetic on counts lives here; what is counted is said in `history`, what follows from it in `focus`.
Every function is checked in ``tests/practice/test_model.py`` against the published value named there, and
explained in ``docs/practice.md``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from math import ceil, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: Every interval shown to a player covers this share. 90 % rather than 95 %: a plan for the week is a cheap
#: decision, and the width at 18 throws is already sobering.
LEVEL = 0.90

#: Jeffreys' prior for one rate: half a miss and half a clean throw.
PRIOR = 0.5

#: Before rounds can be compared, assume that they differ this much more than coin tosses would (variance
#: ratio), with the weight of so many rounds. Chosen on the simulation in tests/bench: it trades a slightly
#: wide interval for players whose rounds are alike against a too narrow one for everybody else.
USUAL_FACTOR = 1.5
USUAL_FACTOR_ROUNDS = 4.0


@dataclass(frozen=True, slots=True)
class Interval:
    """A range with the middle value beside it; all three in the same unit."""

    low: float
    middle: float
    high: float


def wilson(misses: float, throws: float, level: float = LEVEL) -> Interval:
    """Wilson's score interval of a rate.

    References
    ----------
    Newcombe, Stat. Med. 17 (1998) 857-872, method 3.
    """
    if throws <= 0:
        return Interval(0.0, float("nan"), 1.0)
    z = normal_quantile(level)
    rate = misses / throws
    spread = z * sqrt(z * z + 4 * misses * (1 - rate))
    low = (2 * misses + z * z - spread) / (2 * (throws + z * z))
    high = (2 * misses + z * z + spread) / (2 * (throws + z * z))
    return Interval(max(0.0, low), rate, min(1.0, high))


def jeffreys(misses: float, throws: float, level: float = LEVEL) -> Interval:
    """Jeffreys' interval of a rate: equal tails of Beta(misses + 1/2, clean + 1/2).

    Without a miss the lower end is 0 and with nothing but misses the upper end is 1, as Brown, Cai and
    DasGupta (2001) advise. Counts may be fractions, as weighted counts are.
    """
    if throws <= 0:
        return Interval(0.0, float("nan"), 1.0)
    low, high = beta_interval(misses + PRIOR, throws - misses + PRIOR, level)
    return Interval(0.0 if misses <= 0 else low, misses / throws, 1.0 if misses >= throws else high)


def beta_interval(a: float, b: float, level: float = LEVEL) -> tuple[float, float]:
    """Return the ends of the equal-tailed interval of a Beta(a, b)."""
    from shortpencil.scan.practice.special import betaincinv

    tail = (1 - level) / 2
    return float(betaincinv(a, b, tail)), float(betaincinv(a, b, 1 - tail))


def difference(
    first: tuple[float, float], second: tuple[float, float], level: float = LEVEL
) -> tuple[float, float]:
    """Return the interval of rate(first) - rate(second), Newcombe's hybrid of two Wilson intervals.

    Parameters
    ----------
    first, second : (misses, throws)

    References
    ----------
    Newcombe, Stat. Med. 17 (1998) 873-890, method 10.
    """
    one, two = wilson(*first, level), wilson(*second, level)
    gap = one.middle - two.middle
    low = gap - sqrt((one.middle - one.low) ** 2 + (two.high - two.middle) ** 2)
    high = gap + sqrt((one.high - one.middle) ** 2 + (two.middle - two.low) ** 2)
    return low, high


# -- which is largest ------------------------------------------------------------------------------------

#: Nodes of the trapezoid rule below. The integrand is smooth and dies off at both ends, where the rule
#: converges faster than any power of the step; 241 nodes give the published anchors to 7 digits.
_Z_NODES = np.linspace(-7.5, 7.5, 241)


def p_largest(
    quantiles: Sequence[Callable[[Floats, Floats], Floats]], cdfs: Sequence[Callable[[Floats], Floats]]
) -> Floats:
    """Probability that each of several independent unknowns is the largest; the sum is 1.

    P_i is the integral over u from 0 to 1 of the product of F_j(Q_i(u)) over the others. It is taken over
    u = Phi(z), so that both tails are reached; cutting the unknowns off at a fixed range instead loses the
    far tail and gave .985 where .99997 is right.

    Parameters
    ----------
    quantiles : for each unknown, a function of (u, 1 - u), both given so that neither tail is rounded off
    cdfs : for each unknown, its distribution function
    """
    below, above, weight = _nodes()
    result = np.empty(len(cdfs))
    for i, quantile in enumerate(quantiles):
        at = quantile(below, above)
        others = [cdf(at) for j, cdf in enumerate(cdfs) if j != i]
        result[i] = float(np.sum(weight * np.prod(others, axis=0))) if others else 1.0
    # Ties have no probability, so the parts sum to 1 up to the rule's error.
    return np.asarray(result / result.sum())


def _nodes() -> tuple[Floats, Floats, Floats]:
    """Return u, 1 - u and the weights of the rule, u = Phi(z) at `_Z_NODES`."""
    from shortpencil.scan.practice.special import ndtr

    weight = np.exp(-0.5 * _Z_NODES**2)
    return ndtr(_Z_NODES), ndtr(-_Z_NODES), weight / weight.sum()


def _from_the_nearer_end(
    below: Floats, above: Floats, lower: Callable[[Floats], Floats], upper: Callable[[Floats], Floats]
) -> Floats:
    """Return quantiles: `lower` of u where that is below one half, `upper` of 1 - u elsewhere."""
    near = below < 0.5
    at = np.empty_like(below)
    at[near], at[~near] = lower(below[near]), upper(above[~near])
    return at


def p_largest_rate(a: ArrayLike, b: ArrayLike) -> Floats:
    """Probability that each rate is the largest, for independent Beta(a, b) rates."""
    from shortpencil.scan.practice.special import betainc, betaincinv

    alpha, beta = np.asarray(a, dtype=float), np.asarray(b, dtype=float)

    def quantile(i: int) -> Callable[[Floats, Floats], Floats]:
        def of(below: Floats, above: Floats) -> Floats:
            return _from_the_nearer_end(
                below,
                above,
                lambda u: betaincinv(alpha[i], beta[i], u),
                lambda u: 1 - betaincinv(beta[i], alpha[i], u),
            )

        return of

    def cdf(i: int) -> Callable[[Floats], Floats]:
        return lambda at: np.asarray(betainc(alpha[i], beta[i], at))

    every = range(len(alpha))
    return p_largest([quantile(i) for i in every], [cdf(i) for i in every])


def p_rate_fell(before: tuple[float, float], after: tuple[float, float], prior: float = PRIOR) -> float:
    """Probability that the rate after is below the rate before.

    Parameters
    ----------
    before, after : (misses, throws)
    prior : misses and clean throws added to both, 1/2 (Jeffreys) or 1 (uniform)
    """
    a = [before[0] + prior, after[0] + prior]
    b = [before[1] - before[0] + prior, after[1] - after[0] + prior]
    return float(p_largest_rate(a, b)[0])


def p_most_frequent(counts: ArrayLike, prior: float = PRIOR) -> Floats:
    """Probability that each category is truly the most frequent, given counts of all categories.

    The shares have a Dirichlet(counts + prior) posterior; they are independent Gamma(counts + prior)
    variables up to a common factor, which leaves their order alone.
    """
    alpha = np.asarray(counts, dtype=float) + prior
    # Categories with the same count have the same answer: work it out once for each, times how many there
    # are. A list of causes has many zeros.
    distinct, where, times = np.unique(alpha, return_inverse=True, return_counts=True)
    if alpha.size == 1:
        return np.ones(1)
    full = np.array(_p_most_frequent(tuple(distinct.tolist()), tuple(times.tolist())))[where]
    return np.asarray(full / full.sum())


@lru_cache(maxsize=4096)  # the same few misses are counted for a focus, a season, a group, a charted month
def _p_most_frequent(distinct: tuple[float, ...], times: tuple[int, ...]) -> tuple[float, ...]:
    """Return, up to a factor, how probable it is that a category of each shape is the most frequent."""
    from shortpencil.scan.practice.special import gammainc, gammaincc, gammainccinv, gammaincinv

    below, above, weight = _nodes()
    result = []
    for i, shape in enumerate(distinct):
        at = _from_the_nearer_end(below, above, partial(gammaincinv, shape), partial(gammainccinv, shape))
        product = np.ones_like(at)
        for j, other in enumerate(distinct):
            many = times[j] - (1 if i == j else 0)
            if many:
                # log1p of the upper tail keeps the product exact where the distribution function is near 1
                upper = gammaincc(other, at)
                rare = upper < 0.5
                product[rare] *= np.exp(many * np.log1p(-upper[rare]))
                product[~rare] *= gammainc(other, at[~rare]) ** many
        result.append(float(np.sum(weight * product)))
    return tuple(result)


# -- rounds differ ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Spread:
    """How much rounds differ: chi-square of equal rates, its degrees of freedom, and the factor to use.

    `factor` is how many times larger the variance of a rate is taken to be than that of coin tosses.
    """

    chi_square: float
    degrees: int
    factor: float

    @property
    def ratio(self) -> float:
        """chi-square over degrees of freedom; about 1 where rounds are alike."""
        return self.chi_square / self.degrees if self.degrees else float("nan")


def spread_between(misses: ArrayLike, throws: ArrayLike) -> Spread:
    """How much the miss rate differs from round to round, beyond chance.

    The factor is the ratio drawn towards `USUAL_FACTOR` with the weight of a few rounds, and never below 1:
    a run of equal rounds is no reason to believe in narrower intervals than coin tosses have.
    """
    x, n = np.asarray(misses, dtype=float), np.asarray(throws, dtype=float)
    x, n = x[n > 0], n[n > 0]
    degrees = max(len(n) - 1, 0)
    rate = x.sum() / n.sum() if len(n) else 0.0
    chi_square = float(np.sum((x - n * rate) ** 2 / (n * rate * (1 - rate)))) if 0 < rate < 1 else 0.0
    if not 0 < rate < 1:
        degrees = 0
    factor = (chi_square + USUAL_FACTOR_ROUNDS * USUAL_FACTOR) / (degrees + USUAL_FACTOR_ROUNDS)
    return Spread(chi_square, degrees, max(1.0, factor))


@dataclass(frozen=True, slots=True)
class Pooled:
    """A rate pooled over rounds, later rounds counting more.

    `throws` is the number of equally weighted throws that would tell as much, (sum wn)^2 / sum w^2 n.
    """

    rate: float
    throws: float

    @property
    def misses(self) -> float:
        return self.rate * self.throws


def weights(rounds: int, half_life_rounds: float) -> Floats:
    """Weight of each round, oldest first: 1 for the last one, 1/2 at `half_life_rounds` before it."""
    age = np.arange(rounds - 1, -1, -1, dtype=float)
    return np.asarray(0.5 ** (age / half_life_rounds))


def pooled(misses: ArrayLike, throws: ArrayLike, weight: ArrayLike) -> Pooled:
    """Weighted rate, sum of w x over sum of w n; right also where rounds have unlike numbers of throws."""
    x, n, w = (np.asarray(v, dtype=float) for v in (misses, throws, weight))
    total = float(np.sum(w * n))
    if total <= 0:
        return Pooled(float("nan"), 0.0)
    return Pooled(float(np.sum(w * x)) / total, total**2 / float(np.sum(w * w * n)))


# -- tables and many comparisons -------------------------------------------------------------------------


def fisher_exact(table: Sequence[Sequence[int]]) -> tuple[float, float]:
    """Fisher's exact p values of a 2 x 2 table: (two-sided, one-sided for a larger first cell)."""
    from shortpencil.scan.practice.special import gammaln

    (a, b), (c, d) = table
    row, column, total = a + b, a + c, a + b + c + d
    cells = np.arange(max(0, row + column - total), min(row, column) + 1)

    def log_choose(n: int, k: NDArray[np.int64]) -> Floats:
        return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))

    log_p = log_choose(column, cells) + log_choose(total - column, row - cells)
    p = np.exp(log_p - log_choose(total, np.asarray(row)))
    observed = p[a - cells[0]]
    # The small factor keeps tables of equal probability together in spite of rounding, as R and SciPy do.
    return min(1.0, float(p[p <= observed * (1 + 1e-7)].sum())), min(1.0, float(p[cells >= a].sum()))


def trend(misses: ArrayLike, throws: ArrayLike, scores: ArrayLike | None = None) -> tuple[float, float]:
    """Linear trend of rates over ordered groups: (z, two-sided p), Cochran and Armitage in Mantel's form.

    z squared is (N - 1) r^2, r the correlation of score and outcome over single throws (Agresti's M^2).
    A positive z means that the rate rises with the score.
    """
    from shortpencil.scan.practice.special import ndtr

    x, n = np.asarray(misses, dtype=float), np.asarray(throws, dtype=float)
    s = np.arange(len(n), dtype=float) if scores is None else np.asarray(scores, dtype=float)
    total = n.sum()
    if total < 2:
        return 0.0, 1.0
    mean_score, rate = float(np.sum(n * s)) / total, float(x.sum()) / total
    covariance = float(np.sum(x * s)) / total - rate * mean_score
    variance = (float(np.sum(n * s * s)) / total - mean_score**2) * rate * (1 - rate)
    if variance <= 0:
        return 0.0, 1.0
    z = sqrt(total - 1) * covariance / sqrt(variance)
    return z, float(2 * ndtr(-abs(z)))


def adjusted(p_values: ArrayLike) -> Floats:
    """P values adjusted for how many there are, Benjamini and Hochberg (1995).

    Keeping those at or below q holds the expected share of false ones among them at q.
    """
    p = np.asarray(p_values, dtype=float)
    if p.size == 0:
        return p
    order = np.argsort(p)[::-1]
    scaled = p[order] * p.size / np.arange(p.size, 0, -1)
    result = np.empty_like(p)
    result[order] = np.minimum(1.0, np.minimum.accumulate(scaled))
    return result


def throws_for(before: float, after: float, power: float = 0.8, level: float = 0.95) -> int:
    """Throws on either side that show a change from one rate to the other with that power.

    The usual formula for two proportions; it takes throws as independent, which is optimistic.
    """
    from shortpencil.scan.practice.special import ndtri

    if before == after:
        return 10**6
    mean = (before + after) / 2
    reach = normal_quantile(level) * sqrt(2 * mean * (1 - mean))
    reach += float(ndtri(power)) * sqrt(before * (1 - before) + after * (1 - after))
    return ceil((reach / (before - after)) ** 2)


def first_that(holds: Callable[[int], bool], most: int) -> int | None:
    """Return the smallest number from 1 to `most` for which a statement holds that stays true, or None."""
    if not holds(most):
        return None
    low, high = 0, most  # it does not hold at low, it holds at high
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle
    return high


def normal_quantile(level: float = LEVEL) -> float:
    """Return how many standard deviations on either side of the mean hold the share `level` of a normal."""
    from shortpencil.scan.practice.special import ndtri

    return float(ndtri(0.5 + level / 2))


def log_beta_binomial(misses: Floats, throws: Floats, a: Floats | float, b: Floats | float) -> Floats:
    """Log chance of one sequence with x misses in n under a Beta(a, b) rate, B(a+x, b+n-x) / B(a, b)."""
    from shortpencil.scan.practice.special import betaln

    return np.asarray(betaln(a + misses, b + throws - misses) - betaln(a, b))
