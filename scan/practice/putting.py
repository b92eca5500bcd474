"""Putts by distance: holed and executed rates, a curve with its band, and the distance of even chance.

Before a putt is seen the curve is the angle curve of golf putting, adapted to a basket:

    p(x) = 2 Phi(asin(w / x) / sigma) - 1

for a putt from x metres at a catching zone of half-width w. But nobody's putts follow a curve of one
number for years: chains spit out, arms tire, misses and clean putts mix. So there are many such curves, for
steadier and less steady arms and for chains that let more or fewer out, and around each the log odds may lie
higher or lower, fall faster or slower, and bend (a Gaussian process, by Laplace's approximation). Each of
them counts by how probable it makes the putts. A band that trusts the one-number curve held the truth in 64
to 87 % of cases where it said 90, and in a tenth of them after a hundred rounds; one in which all distances
shift alike was too low and too narrow within 4 m; one in which log odds rise in proportion to the log of
sigma, which they do not, held it in two of three cases at 2 and 3 m.

Putts of practice (ladders) share the curve but for an offset, another Gaussian process, learnt with it. So a
ladder tells how chances fall with the distance; how high they are on the course only as far as putts of
rounds have told how much easier practice is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import inf, pi
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shortpencil.forms.rules import LADDER_SHEET
from shortpencil.scan.language import _, ngettext, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.history import CLEAN, UNMARKED, History, results_known
from shortpencil.scan.practice.model import LEVEL, Interval, jeffreys, spread_between, weights
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.composing.validate import EDGE_M, PUTTING_AREA_M

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

#: Arms that are tried, in sd of the log of sigma, as likely as a normal has them. Levels and bends around
#: each curve are wider than the steps between them.
_ARMS = np.linspace(-2.4, 2.4, 9)
#: The share of putts in the chains that come out again, and how probable each is before any putt. Ours, from
#: no data. Without it a steady arm holes every putt from 2 m, and where chains do spit out a band said so.
SPIT_OUT: tuple[tuple[float, float], ...] = ((0.0, 0.8), (0.03, 0.1), (0.1, 0.1))

#: A putt of practice is not a putt of a round. How much easier it is believed to be before any is seen (log
#: odds, with its sd, that of `gains.EASE_SD`), how that may change with the log of the distance and bend
#: (sds), and how days of practice differ (sd). From no data; of four tried on invented players
#: (`tests.bench.bench_ladder`, seed 2) the one that is least sure costs the least where practice is far
#: easier or easier from far alone, and hardly more where it is not.
EASIER, EASIER_SD, EASIER_SLOPE_SD, EASIER_BEND_SD, DAY_SD = 0.3, 0.8, 0.6, 0.4, 0.4

#: A band is worked out at so many distances and drawn straight between them; its ends are looked for among so
#: many log odds at each.
_KNOTS, _STEPS = 48, 49

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


class Rung(NamedTuple):
    """Putts of practice from one distance on one day."""

    day: date
    distance_m: float
    tries: int
    holed: int


@dataclass(frozen=True, slots=True)
class Ladders:
    """Putts of practice, counted by distance, later days counting more.

    Attributes
    ----------
    distance : (D,) different distances, m
    tries, holed : (D,) counts, fractions allowed
    days : on which they were thrown; as many as tell as much, all counting alike
    """

    distance: Floats
    tries: Floats
    holed: Floats
    days: float


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
    practice: tuple[Group, ...] = ()  # of ladders, a group a distance
    practice_m: tuple[float, ...] = ()  # these distances


def putting_of(history: History, unit: str = "m", rungs: Sequence[Rung] = ()) -> Putting:
    """Return what the putts with a written distance say; distances in words are in `unit`.

    `rungs` are putts of practice. They stand by themselves, and help the curve of rounds as far as is learnt
    how much easier practice is.
    """
    of = (history.throw_phase == history.putt) & ~np.isnan(history.throw_distance_m)
    x = history.throw_distance_m[of]
    holed = history.throw_holed[of]
    execution = history.throw_execution[of]
    straddle = history.throw_straddle[of] == 1
    at_round = history.hole_round[history.throw_hole[of]]
    known = results_known(history)[of]
    ladders = ladders_of(rungs, [head.day for head in history.heads])
    curve, too_few = _curve(x[known], holed[known] == 1, at_round[known], history.rounds, ladders)
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
        practice=tuple(_of_practice(rungs, metres, curve, unit) for metres in _distances(rungs)),
        practice_m=_distances(rungs),
    )


def rungs_of(sets: Iterable[PracticeSet]) -> tuple[Rung, ...]:
    """Return the putts of practice that say from where and on which day; what waits counts nowhere."""
    found = []
    for one in sets:
        metres = None if one.distance_m is None else one.distance_m.known
        made, tries = one.made.known, one.tries.known
        if one.drill != LADDER_SHEET or one.day is None or not isinstance(metres, int | float):
            continue
        if isinstance(made, int) and isinstance(tries, int) and 0 <= made <= tries and tries and metres > 0:
            found.append(Rung(one.day, float(metres), tries, made))
    return tuple(found)


def ladders_of(rungs: Sequence[Rung], played: Sequence[date | None]) -> Ladders | None:
    """Return putts of practice by distance, or None where there are none.

    A rung counts half where `PUTT_HALF_LIFE_ROUNDS` rounds came after it, as putts of rounds do.

    Parameters
    ----------
    rungs : of any days
    played : days of the rounds
    """
    if not rungs:
        return None
    rounds = [day for day in played if day is not None]
    days = sorted({rung.day for rung in rungs})
    worth = {d: 0.5 ** (sum(r > d for r in rounds) / PUTT_HALF_LIFE_ROUNDS) for d in days}
    of_days, of_rungs = np.array(list(worth.values())), np.array([worth[rung.day] for rung in rungs])
    tries = np.array([rung.tries for rung in rungs], dtype=float)
    # old ones tell of another putter: worth as many as tell the same unweighted, as with putts of rounds
    of_rungs *= float((of_rungs * tries).sum() / (of_rungs**2 * tries).sum())
    distance, where = np.unique([rung.distance_m for rung in rungs], return_inverse=True)
    holed = np.array([rung.holed for rung in rungs], dtype=float)
    return Ladders(
        distance,
        np.bincount(where, of_rungs * tries).astype(float),
        np.bincount(where, of_rungs * holed).astype(float),
        float(of_days.sum() ** 2 / (of_days @ of_days)),
    )


def _distances(rungs: Sequence[Rung]) -> tuple[float, ...]:
    return tuple(sorted({rung.distance_m for rung in rungs}))


def _of_practice(rungs: Sequence[Rung], metres: float, curve: Curve | None, unit: str) -> Group:
    """Return the putts of practice from one distance, beside what the curve of rounds expects from there."""
    n = sum(rung.tries for rung in rungs if rung.distance_m == metres)
    k = sum(rung.holed for rung in rungs if rung.distance_m == metres)
    nothing = jeffreys(0, 0)
    return Group(
        length(metres, unit), n, k, jeffreys(k, n), 0, 0, nothing, curve.at(metres) if curve else None
    )


def ladders_said(putting: Putting) -> str | None:
    """Return what dropped in practice, and what is expected in a round from there; None without ladders."""
    if not putting.practice:
        return None
    tries, made = sum(g.tries for g in putting.practice), sum(g.holed_count for g in putting.practice)
    if putting.curve is None:
        return ngettext(
            "On putting ladders {made} of {n} putt dropped. By themselves ladders make no curve of rounds: "
            "only putts of rounds tell how much easier practice is for you.",
            "On putting ladders {made} of {n} putts dropped. By themselves ladders make no curve of rounds: "
            "only putts of rounds tell how much easier practice is for you.",
            tries,
            made=made,
        )
    return ngettext(
        "On putting ladders {made} of {n} putt dropped; from there {expected} would be expected in a round. "
        "The curve is of rounds; ladders help it as far as rounds tell how much easier practice is for you.",
        "On putting ladders {made} of {n} putts dropped; from there {expected} would be expected in a round. "
        "The curve is of rounds; ladders help it as far as rounds tell how much easier practice is for you.",
        tries,
        made=made,
        expected=f"{sum((g.expected or 0) * g.tries for g in putting.practice):.0f}",
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
    x: Floats,
    holed: NDArray[np.bool_],
    at_round: NDArray[np.int64],
    rounds: int,
    ladders: Ladders | None = None,
) -> tuple[Curve | None, str | None]:
    made = int(holed.sum())
    if len(x) < LEAST_PUTTS or min(made, len(x) - made) < LEAST_OF_EITHER:
        return None, ngettext(
            "{n} putt with a distance, {made} holed: no curve yet. It takes {least}, with at least "
            "{either} holed and {either} not.",
            "{n} putts with a distance, {made} holed: no curve yet. It takes {least}, with at least "
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
    fit = fit_curve(distance, np.bincount(where, weight), np.bincount(where, weight * holed), ladders)
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
    """Fitted curves of log odds, K of them: an arm and a share that the chains spit out each.

    Attributes
    ----------
    distance : (D,) distances of the putts, m
    share : (K,) how probable each curve is; those of no account are left out
    sigma, spit_out : (K,) its arm, radians, and its share spat out
    pull, known : (K, D), (K, D, D) what the putts pull, and what they take off the doubt
    log_evidence : log of the probability of the putts, with binomial constants left out
    """

    distance: Floats
    share: Floats
    sigma: Floats
    spit_out: Floats
    pull: Floats
    known: Floats
    log_evidence: float

    def log_odds(self, distance: Floats) -> tuple[Floats, Floats]:
        """Return mean and sd of the log odds of holing from each distance, over all curves."""
        mean, sd = self._each(distance)
        middle = self.share @ mean
        return middle, np.sqrt(self.share @ (sd**2 + (mean - middle) ** 2))

    def band(self, distance: Floats) -> tuple[Floats, Floats, Floats]:
        """Return low, middle and high chances; nobody holes more from further away, and the band says so.

        `distance` rises.
        """
        low, median, high = self._quantiles(distance, (0.5 - LEVEL / 2, 0.5, 0.5 + LEVEL / 2))
        falls = np.minimum.accumulate(median), np.maximum.accumulate(median[::-1])[::-1]
        middle = _chance((falls[0] + falls[1]) / 2)
        low = np.maximum.accumulate(_chance(low)[::-1])[::-1]
        high = np.minimum.accumulate(_chance(high))
        return np.minimum(low, middle), middle, np.maximum(high, middle)

    def _quantiles(self, distance: Floats, shares: Sequence[float]) -> list[Floats]:
        """Return the log odds below which are these shares, (D,) each."""
        from shortpencil.scan.practice.special import ndtr

        few = len(distance) <= _KNOTS
        at = distance if few else np.geomspace(distance[0], distance[-1], _KNOTS)
        mean, sd = self._each(at)
        ends = (mean - 2.5 * sd).min(axis=0), (mean + 2.5 * sd).max(axis=0)
        odds = np.linspace(*ends, _STEPS)
        below = np.einsum("k,tkd->td", self.share, ndtr((odds[:, None, :] - mean) / sd))
        found = [
            np.array([np.interp(share, below[:, d], odds[:, d]) for d in range(len(at))]) for share in shares
        ]
        return found if few else [np.interp(distance, at, one) for one in found]

    def _each(self, distance: Floats) -> tuple[Floats, Floats]:
        """Return mean and sd of each curve's log odds, (K, D)."""
        cross = _kernel(distance, self.distance)
        mean = prior_log_odds(distance, self.sigma, self.spit_out) + self.pull @ cross.T
        known = ((cross @ self.known) * cross).sum(axis=2)
        return mean, np.sqrt(np.maximum(_kernel_at(distance) - known, 1e-12))


def fit_curve(
    distance: ArrayLike, tries: ArrayLike, holed: ArrayLike, ladders: Ladders | None = None
) -> CurveFit:
    """Return the curves of counted putts: Gaussian processes of log odds, each by Laplace's approximation.

    One for each arm of `_ARMS` and share of `SPIT_OUT`, fitted at once. Putts of practice share the curve,
    but for an offset that is learnt with it (`_kernel_of_practice`).

    Parameters
    ----------
    distance : (D,) different distances, m, of putts of rounds
    tries, holed : (D,) counts, fractions allowed
    ladders : putts of practice, or None

    References
    ----------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), algorithms 3.1 and 3.2.
    """
    x, n, k = (np.asarray(v, dtype=float) for v in (distance, tries, holed))
    played = len(x)
    if ladders is not None:
        more = (ladders.distance, ladders.tries, ladders.holed)
        x, n, k = (np.append(a, b) for a, b in zip((x, n, k), more, strict=True))
    arms, spits = np.repeat(_ARMS, len(SPIT_OUT)), np.tile(np.array(SPIT_OUT), (len(_ARMS), 1))
    sigma, spit_out = PRIOR_SIGMA_RAD * np.exp(STEADY_SD * arms), spits[:, 0]
    believed = np.exp(-0.5 * arms**2) * spits[:, 1]
    kernel, prior = _kernel(x, x), prior_log_odds(x, sigma, spit_out)
    if ladders is not None:
        kernel[played:, played:] += _kernel_of_practice(ladders)
        prior[:, played:] += EASIER
    pull = np.zeros(prior.shape)

    def worth(at: Floats) -> Floats:
        away = at @ kernel
        z = prior + away
        return np.asarray(z @ k - np.logaddexp(0, z) @ n - 0.5 * (at * away).sum(axis=1))

    now = worth(pull)
    for _step in range(60):
        away = pull @ kernel
        p = _chance(prior + away)
        weight = np.maximum(n * p * (1 - p), 1e-12)
        root = np.sqrt(weight)
        inverse = np.linalg.inv(np.eye(len(x)) + root[:, :, None] * kernel * root[:, None, :])
        b = weight * away + k - n * p
        step = b - root * (inverse @ (root * (b @ kernel))[:, :, None])[:, :, 0] - pull
        new = worth(pull + step)
        while np.any(worse := (new < now - 1e-9) & (np.abs(step).max(axis=1) > 1e-12)):
            step[worse] /= 2
            new = worth(pull + step)
        pull, now = pull + step, new
        if float(np.max(np.abs(step))) < 1e-8:
            break
    log_each = now + 0.5 * np.linalg.slogdet(inverse)[1] + np.log(believed / believed.sum())
    log_evidence = float(np.logaddexp.reduce(log_each))
    share = np.exp(log_each - log_evidence)
    counts = share > _OF_NO_ACCOUNT
    known = root[counts, :, None] * inverse[counts] * root[counts, None, :]
    share = share[counts] / share[counts].sum()
    return CurveFit(x, share, sigma[counts], spit_out[counts], pull[counts], known, log_evidence)


#: Curves less probable than this are left out of a band.
_OF_NO_ACCOUNT = 1e-4


def prior_log_odds(distance: Floats, sigma: Floats, spit_out: Floats) -> Floats:
    """Return the log odds of holing of K curves before any putt is seen, (K, D)."""
    from shortpencil.scan.practice.special import ndtr

    reach = np.arcsin(HALF_WIDTH_M / np.maximum(distance, NEAR_M))
    # from the chance of staying out, which near the basket is too small to be one less something
    out = 2 * ndtr(-reach / sigma[:, None])
    out = np.maximum(spit_out[:, None] + (1 - spit_out[:, None]) * out, 1e-9)
    return np.asarray(np.log1p(-out) - np.log(out))


def _kernel(one: Floats, other: Floats) -> Floats:
    a, b = _far(one)[:, None], _far(other)[None, :]
    bend = np.exp(-0.5 * ((a - b) / BEND_LENGTH) ** 2)
    return np.asarray(LEVEL_SD**2 + SLOPE_SD**2 * a * b + BEND_SD**2 * bend)


def _kernel_of_practice(ladders: Ladders) -> Floats:
    """Return how the offsets of putts of practice go together, (D, D)."""
    a = _far(ladders.distance)
    bend = np.exp(-0.5 * ((a[:, None] - a[None, :]) / BEND_LENGTH) ** 2)
    level = EASIER_SD**2 + DAY_SD**2 / ladders.days
    return np.asarray(level + EASIER_SLOPE_SD**2 * np.outer(a, a) + EASIER_BEND_SD**2 * bend)


def _kernel_at(distance: Floats) -> Floats:
    return np.asarray(LEVEL_SD**2 + SLOPE_SD**2 * _far(distance) ** 2 + BEND_SD**2)


def _far(distance: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(distance, NEAR_M) / 5.0))


def _chance(log_odds: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-log_odds)))


def angle_chance(distance: ArrayLike, sigma_rad: ArrayLike, half_width: float = HALF_WIDTH_M) -> Floats:
    """Chance of holing by the angle curve; nearer than the half-width it is that of the right angle."""
    from shortpencil.scan.practice.special import ndtr

    reach = np.arcsin(np.minimum(half_width / np.asarray(distance, dtype=float), 1.0))
    return np.asarray(2 * ndtr(reach / np.asarray(sigma_rad, dtype=float)) - 1)
