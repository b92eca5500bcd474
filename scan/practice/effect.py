"""Did practice help: the focus phase before and after, beside the other phases over the same dates.

Whoever practises what looked worst will see it improve, practised or not: it looked worst partly by chance.
Three guards against that. The rounds that chose the focus are not used as "before". The other phases over
the same dates show what changed anyway (season, course, a stricter eye). And what the choice alone would
bring is worked out and said. There is a range and a probability, and no verdict.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, exp, sqrt

from forms.rules import PHASES
from scan.practice.evidence import Evidence
from scan.practice.model import (
    LEVEL,
    PRIOR,
    Interval,
    difference,
    expected_worst_seen,
    jeffreys,
    normal_quantile,
    p_rate_fell,
    spread_between,
)
from scan.records.rounds import PracticeSet

#: The rounds that weighed most in the choice, at least half at the usual half-life; they are not "before".
CHOOSING_ROUNDS = 5
#: Fewer rounds than this on a side are not compared.
LEAST_ROUNDS = 2
#: A fall worth knowing of, in points of the miss rate, for the number of rounds still needed.
WORTH_KNOWING = 0.10


@dataclass(frozen=True, slots=True)
class Side:
    """Misses of one phase over some rounds, with the rate's range."""

    rounds: int
    misses: int
    throws: int
    rate: Interval


@dataclass(frozen=True, slots=True)
class Effect:
    """What changed in a phase since practice began.

    Attributes
    ----------
    change : after minus before, in shares; below zero is fewer misses
    p_fell : probability that the miss rate is lower than before
    net_change, p_net_fell : the same, over and above what the other phases did meanwhile
    by_choice : fall that choosing the worst-looking phase brings on average if nothing changes at all, had
        the choosing rounds been used as "before"
    throws_needed : throws on either side for a fall of `WORTH_KNOWING` to be seen in four of five cases
    """

    phase: str
    since: date
    before: Side
    after: Side
    left_out: int
    change: Interval
    p_fell: float
    others_change: Interval
    net_change: Interval
    p_net_fell: float
    by_choice: float
    throws_needed: int


@dataclass(frozen=True, slots=True)
class Tested:
    """Makes of tries in practice on one day, for one drill."""

    day: date | None
    drill: str
    made: int
    tries: int
    rate: Interval


def effect_of(evidence: Evidence, phase: int, since: date) -> Effect | str:
    """Return what changed in `phase` since `since`, the day of its first practice; or why it can't be told.

    The last `CHOOSING_ROUNDS` rounds before that day are left out.
    """
    days = [h.day for h in evidence.heads]
    earlier = [i for i, d in enumerate(days) if d is not None and d < since]
    after = [i for i, d in enumerate(days) if d is not None and d >= since]
    before = earlier[:-CHOOSING_ROUNDS]
    if len(after) < LEAST_ROUNDS or len(before) < LEAST_ROUNDS:
        return (
            f"{len(before)} rounds before and {len(after)} after the first practice can be compared; it "
            f"takes {LEAST_ROUNDS} on each side. The {min(CHOOSING_ROUNDS, len(earlier))} rounds that chose "
            "the focus don't count as before: what looks worst looks better next time, practised or not."
        )
    factors = [
        spread_between(evidence.misses[[*before, *after], k], evidence.marked[[*before, *after], k]).factor
        for k in range(3)
    ]
    one = [_pair(evidence, before, k, factors[k]) for k in range(3)]
    two = [_pair(evidence, after, k, factors[k]) for k in range(3)]
    own_one, own_two = one[phase], two[phase]
    if min(own_one[1], own_two[1]) <= 0:
        return f"No {PHASES[phase]} is marked on one side, so nothing can be compared."
    low, high = difference(own_two, own_one)
    others = [k for k in range(3) if k != phase]
    other_one, other_two = _sum(one[k] for k in others), _sum(two[k] for k in others)
    other_low, other_high = difference(other_two, other_one)
    net, p_net = _net(own_one, own_two, [(one[k], two[k]) for k in others])
    choosing = earlier[-CHOOSING_ROUNDS:]
    return Effect(
        phase=PHASES[phase],
        since=since,
        before=_side(evidence, before, phase, factors[phase]),
        after=_side(evidence, after, phase, factors[phase]),
        left_out=len(choosing),
        change=Interval(low, own_two[0] / own_two[1] - own_one[0] / own_one[1], high),
        p_fell=p_rate_fell(own_one, own_two),
        others_change=Interval(other_low, _rate(other_two) - _rate(other_one), other_high),
        net_change=net,
        p_net_fell=p_net,
        by_choice=_by_choice(evidence, phase, before, choosing),
        throws_needed=throws_for(_rate(own_one), max(0.02, _rate(own_one) - WORTH_KNOWING)),
    )


def practice_results(sets: Sequence[PracticeSet]) -> tuple[Tested, ...]:
    """Return the makes of tries of each drill and day, oldest first; sets with a blank count nowhere."""
    totals: dict[tuple[date | None, str], list[int]] = {}
    for s in sets:
        made, tries = s.made.known, s.tries.known
        if isinstance(made, int) and isinstance(tries, int) and 0 <= made <= tries and tries > 0:
            at = totals.setdefault((s.day, s.drill), [0, 0])
            at[0] += made
            at[1] += tries
    ordered = sorted(totals.items(), key=lambda item: (item[0][0] or date.min, item[0][1]))
    return tuple(Tested(day, drill, m, n, jeffreys(m, n)) for (day, drill), (m, n) in ordered)


def practised_since(
    sets: Sequence[PracticeSet], phases: Mapping[str, Sequence[str]]
) -> tuple[int, date] | None:
    """Return the phase practised last and the first day of that unbroken series, from practice cards.

    `phases` are the phases each drill serves; a drill of several phases does not tell which it was.
    """
    days: list[tuple[date, int]] = []
    for s in sets:
        served = phases.get(s.drill, ())
        if s.day is not None and len(served) == 1 and isinstance(s.made.known, int):
            days.append((s.day, PHASES.index(served[0])))
    days.sort()
    if not days:
        return None
    phase = days[-1][1]
    series = len(days)
    while series and days[series - 1][1] == phase:
        series -= 1
    return phase, days[series][0]


def throws_for(before: float, after: float, power: float = 0.8, level: float = 0.95) -> int:
    """Throws on either side that show a change from one rate to the other with that power.

    The usual formula for two proportions; it takes throws as independent, which is optimistic.
    """
    from scipy.special import ndtri

    if before == after:
        return 10**6
    mean = (before + after) / 2
    reach = normal_quantile(level) * sqrt(2 * mean * (1 - mean))
    reach += float(ndtri(power)) * sqrt(before * (1 - before) + after * (1 - after))
    return ceil((reach / (before - after)) ** 2)


def _net(
    before: tuple[float, float],
    after: tuple[float, float],
    others: Sequence[tuple[tuple[float, float], tuple[float, float]]],
) -> tuple[Interval, float]:
    """Change over and above that of the others: difference of changes in log odds, told in points.

    The log odds of a Beta(a, b) rate have mean psi(a) - psi(b) and variance psi'(a) + psi'(b).
    """
    from scipy.special import ndtr

    own_mean, own_variance = _log_odds_change(before, after)
    told = [_log_odds_change(*pair) for pair in others if pair[0][1] > 0 and pair[1][1] > 0]
    mean = own_mean - (sum(m for m, _ in told) / len(told) if told else 0.0)
    variance = own_variance + (sum(v for _, v in told) / len(told) ** 2 if told else 0.0)
    reach = normal_quantile(LEVEL) * sqrt(variance)
    base = (before[0] + PRIOR) / (before[1] + 2 * PRIOR)

    def points(shift: float) -> float:
        odds = base / (1 - base) * exp(shift)
        return odds / (1 + odds) - base

    middle = Interval(points(mean - reach), points(mean), points(mean + reach))
    return middle, float(ndtr(-mean / sqrt(variance)))


def _log_odds_change(before: tuple[float, float], after: tuple[float, float]) -> tuple[float, float]:
    from scipy.special import polygamma, psi

    mean = variance = 0.0
    for sign, (x, n) in ((-1, before), (1, after)):
        a, b = x + PRIOR, n - x + PRIOR
        mean += sign * float(psi(a) - psi(b))
        variance += float(polygamma(1, a) + polygamma(1, b))
    return mean, variance


def _by_choice(evidence: Evidence, phase: int, before: Sequence[int], choosing: Sequence[int]) -> float:
    """Return how much too bad the chosen phase looks on average in the rounds that chose it."""
    rates, throws = [], []
    for k in range(3):
        x = float(evidence.misses[list(before), k].sum()) + 1
        n = float(evidence.marked[list(before), k].sum()) + 2
        rates.append(x / n)
        throws.append(max(1, int(evidence.marked[list(choosing), k].sum())))
    return max(0.0, expected_worst_seen(rates, throws, phase) - rates[phase])


def _pair(evidence: Evidence, rounds: Sequence[int], k: int, factor: float) -> tuple[float, float]:
    at = list(rounds)
    return float(evidence.misses[at, k].sum()) / factor, float(evidence.marked[at, k].sum()) / factor


def _side(evidence: Evidence, rounds: Sequence[int], k: int, factor: float) -> Side:
    at = list(rounds)
    x, n = int(evidence.misses[at, k].sum()), int(evidence.marked[at, k].sum())
    found = jeffreys(x / factor, n / factor)
    return Side(len(at), x, n, Interval(found.low, x / n if n else float("nan"), found.high))


def _sum(pairs: Iterable[tuple[float, float]]) -> tuple[float, float]:
    every = list(pairs)
    return sum(x for x, _ in every), sum(n for _, n in every)


def _rate(pair: tuple[float, float]) -> float:
    return pair[0] / pair[1] if pair[1] else float("nan")
