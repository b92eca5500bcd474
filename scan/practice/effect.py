"""Did practice help: the focus phase before and after, beside the other phases over the same dates.

Whoever practises what looked worst will see it improve, practised or not: it looked worst partly by chance.
Three guards against that. The rounds that chose the focus are not used as "before". The other phases over
the same dates show what changed anyway (season, course, an eye that grew stricter for all throws). And what
the choice alone would bring is worked out and said. Here are counts and ranges; whether it helped is said by
the one rule of `helped`. Marks can't tell better throws from a kinder eye; how the throws ended, which no eye
colours, stands beside them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import _, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.cost import costs_of
from shortpencil.scan.practice.doubt import pooled_interval
from shortpencil.scan.practice.helped import (
    CHOOSING_ROUNDS,
    OTHER_REASONS,
    Judged,
    judged,
    judged_sentence,
    sentence,
    worth_knowing,
)
from shortpencil.scan.practice.history import History, only_misses
from shortpencil.scan.practice.marks import marks_of
from shortpencil.scan.practice.model import (
    LEVEL,
    PRIOR,
    Interval,
    difference,
    jeffreys,
    normal_quantile,
    p_rate_fell,
    spread_between,
    throws_for,
    weights,
)
from shortpencil.scan.practice.phases import HALF_LIFE_ROUNDS, recent_rounds
from shortpencil.scan.practice.results import good_results
from shortpencil.scan.practice.sessions import Session
from shortpencil.scan.records.composing.rounds import PracticeSet

Floats = NDArray[np.float64]

#: Fewer rounds than this on a side are not compared.
LEAST_ROUNDS = 2

#: Draws of what the choosing rounds could have been, the same ones every time.
_CHOICE_DRAWS, _FEWEST_CHOSEN = 2000, 20


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
    by_choice : fall that the choice alone brings on average if nothing changes at all, had the choosing
        rounds been used as "before"; None where the phase did not look the costliest then
    ended_well : shares of its throws that ended well, before and after, with the probability that it rose;
        None where results are not known
    throws_needed : throws on either side for a fall of `worth_knowing` to be seen in four of five cases
    judged : whether it helped, by the one rule of `helped`
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
    by_choice: float | None
    ended_well: tuple[Interval, Interval, float] | None
    throws_needed: int
    judged: Judged

    @property
    def helped(self) -> bool:
        """Whether it may be said that practice helped, as far as marks can tell."""
        return self.judged.helped(self.phase)


@dataclass(frozen=True, slots=True)
class Tested:
    """Makes of tries in practice on one day, for one drill; `title` is what it is called, where known."""

    day: date | None
    drill: str
    made: int
    tries: int
    rate: Interval
    title: str = ""


def effect_of(
    history: History,
    phase: int,
    since: date,
    sessions: Sequence[Session] = (),
    *,
    said: bool = True,
    possible: Sequence[History] = (),
) -> Effect | str:
    """Return what changed in `phase` since `since`, the day of its first practice; or why it can't be told.

    The last `CHOOSING_ROUNDS` rounds before that day are left out.

    Parameters
    ----------
    sessions : all that are known
    said : whether a person said that the phase is practised since that day; then it is judged without any
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`)
    """
    told = judged(history, sessions, (phase, since) if said else None, possible=possible)
    draws = [_effect(one, phase, since, told) for one in possible or (history,)]
    known = [one for one in draws if isinstance(one, Effect)]
    if len(known) < len(draws):
        return " ".join([*_judged_said(told), next(one for one in draws if isinstance(one, str))])
    return known[0] if len(known) == 1 else _pooled(known)


def _judged_said(told: Judged) -> list[str]:
    """Return what the season says as well: the one statement, each phase, what else may look the same."""
    if (said := judged_sentence(told)) is None:
        return []
    return [said, *map(sentence, told.phases), _(OTHER_REASONS)]


def _pooled(draws: Sequence[Effect]) -> Effect:
    """Return what several draws of whole rounds say: mean counts and chances, ranges with doubt."""

    def mean(name: str) -> float:
        return float(np.mean([getattr(one, name) for one in draws]))

    chosen = [one.by_choice for one in draws if one.by_choice is not None]
    ended = [one.ended_well for one in draws if one.ended_well is not None]
    return replace(
        draws[0],
        before=_pooled_side([one.before for one in draws]),
        after=_pooled_side([one.after for one in draws]),
        change=pooled_interval([one.change for one in draws], -1.0, 1.0),
        p_fell=mean("p_fell"),
        others_change=pooled_interval([one.others_change for one in draws], -1.0, 1.0),
        net_change=pooled_interval([one.net_change for one in draws], -1.0, 1.0),
        p_net_fell=mean("p_net_fell"),
        by_choice=float(np.mean(chosen)) if 2 * len(chosen) > len(draws) else None,
        ended_well=(
            pooled_interval([before for before, _after, _p in ended], 0.0, 1.0),
            pooled_interval([after for _before, after, _p in ended], 0.0, 1.0),
            float(np.mean([p for _before, _after, p in ended])),
        )
        if len(ended) == len(draws)
        else None,
        throws_needed=round(mean("throws_needed")),
    )


def _pooled_side(draws: Sequence[Side]) -> Side:
    misses, throws = (round(float(np.mean([getattr(one, n) for one in draws]))) for n in ("misses", "throws"))
    return Side(draws[0].rounds, misses, throws, pooled_interval([one.rate for one in draws], 0.0, 1.0))


def _not_compared(before: int, after: int, choosing: int) -> str:
    """Say why rounds before and after are not compared side by side."""
    said = _(
        "Before and after can't be set side by side: that takes {least} rounds each with clean throws marked "
        "too (so far {before} from before the first practice, {after} since).",
        least=LEAST_ROUNDS,
        before=before,
        after=after,
    )
    if not choosing:
        return said
    left_out = ngettext(
        "The last {n} round before it does not count: it chose the phase, and what looks worst looks better "
        "next time, practised or not.",
        "The last {n} rounds before it do not count: they chose the phase, and what looks worst looks better "
        "next time, practised or not.",
        choosing,
    )
    return f"{said} {left_out}"


def _effect(history: History, phase: int, since: date, told: Judged) -> Effect | str:
    days = [h.day for h in history.heads]
    # Rounds with only misses marked have no rates to compare.
    full = ~only_misses(history)
    earlier = [i for i, d in enumerate(days) if d is not None and d < since and full[i]]
    after = [i for i, d in enumerate(days) if d is not None and d >= since and full[i]]
    before = earlier[:-CHOOSING_ROUNDS]
    if len(after) < LEAST_ROUNDS or len(before) < LEAST_ROUNDS:
        return _not_compared(len(before), len(after), len(earlier) - len(before))
    count, ids = range(len(history.phases)), history.phase_ids
    factors = [
        spread_between(history.misses[[*before, *after], k], history.marked[[*before, *after], k]).factor
        for k in count
    ]
    one = [_pair(history, before, k, factors[k]) for k in count]
    two = [_pair(history, after, k, factors[k]) for k in count]
    own_one, own_two = one[phase], two[phase]
    if min(own_one[1], own_two[1]) <= 0:
        return _("No {one} is marked on one side, so nothing can be compared.", one=words.ONE[ids[phase]])
    low, high = difference(own_two, own_one)
    others = [k for k in count if k != phase]
    other_one, other_two = _sum(one[k] for k in others), _sum(two[k] for k in others)
    other_low, other_high = difference(other_two, other_one)
    net, p_net = _net(own_one, own_two, other_one, other_two)
    choosing = earlier[-CHOOSING_ROUNDS:]
    compared = len(before) + len(after)
    return Effect(
        phase=ids[phase],
        since=since,
        before=_side(history, before, phase, factors[phase]),
        after=_side(history, after, phase, factors[phase]),
        left_out=len(choosing),
        change=Interval(low, own_two[0] / own_two[1] - own_one[0] / own_one[1], high),
        p_fell=_with_few_rounds(p_rate_fell(own_one, own_two), compared),
        others_change=Interval(other_low, _rate(other_two) - _rate(other_one), other_high),
        net_change=net,
        p_net_fell=_with_few_rounds(p_net, compared),
        by_choice=_by_choice(history, phase, before, choosing, factors),
        ended_well=_ended_well(history, phase, before, after),
        throws_needed=throws_for(_rate(own_one), worth_knowing(_rate(own_one))),
        judged=told,
    )


def _with_few_rounds(p: float, rounds: int) -> float:
    """Return a probability that allows for rounds' spread being learnt from these few rounds.

    Its normal deviate is read as one of Student's t, as for a difference of two means of as many rounds.
    """
    from shortpencil.scan.practice.special import ndtri, stdtr

    return float(stdtr(max(rounds - 2, 1), ndtri(np.clip(p, 1e-12, 1 - 1e-12))))


def practice_results(
    sets: Sequence[PracticeSet], titles: Mapping[str, str] | None = None
) -> tuple[Tested, ...]:
    """Return the makes of tries of each drill and day, oldest first; sets with a blank count nowhere.

    `titles` are what drills are called, by id.
    """
    called = titles or {}
    totals: dict[tuple[date | None, str], list[int]] = {}
    for s in sets:
        made, tries = s.made.known, s.tries.known
        if isinstance(made, int) and isinstance(tries, int) and 0 <= made <= tries and tries > 0:
            at = totals.setdefault((s.day, s.drill), [0, 0])
            at[0] += made
            at[1] += tries
    ordered = sorted(totals.items(), key=lambda item: (item[0][0] or date.min, item[0][1]))
    return tuple(
        Tested(day, drill, m, n, jeffreys(m, n), called.get(drill, "")) for (day, drill), (m, n) in ordered
    )


def practised_since(
    sets: Sequence[PracticeSet], phases: Mapping[str, Sequence[str]]
) -> tuple[str, date] | None:
    """Return the phase practised last and the first day of that unbroken series, from practice cards.

    `phases` are the phases each drill serves; a drill of several phases does not tell which it was.
    """
    days: list[tuple[date, str]] = []
    for s in sets:
        served = phases.get(s.drill, ())
        if s.day is not None and len(served) == 1 and isinstance(s.made.known, int):
            days.append((s.day, served[0]))
    days.sort()
    if not days:
        return None
    phase = days[-1][1]
    series = len(days)
    while series and days[series - 1][1] == phase:
        series -= 1
    return phase, days[series][0]


def _net(
    before: tuple[float, float],
    after: tuple[float, float],
    others_before: tuple[float, float],
    others_after: tuple[float, float],
) -> tuple[Interval, float]:
    """Change over and above that of the others: difference of changes in log odds, told in points.

    The others are taken as one, as their change is told: the mean of each one's change in log odds stood
    beside it as +20 points, where this phase rose by 4 and the others fell by 8.
    The log odds of a Beta(a, b) rate have mean psi(a) - psi(b) and variance psi'(a) + psi'(b).
    """
    from shortpencil.scan.practice.special import ndtr

    own_mean, own_variance = _log_odds_change(before, after)
    known = others_before[1] > 0 and others_after[1] > 0
    other_mean, other_variance = _log_odds_change(others_before, others_after) if known else (0.0, 0.0)
    mean, variance = own_mean - other_mean, own_variance + other_variance
    reach = normal_quantile(LEVEL) * sqrt(variance)
    base = (before[0] + PRIOR) / (before[1] + 2 * PRIOR)

    def points(shift: float) -> float:
        odds = base / (1 - base) * exp(shift)
        return odds / (1 + odds) - base

    middle = Interval(points(mean - reach), points(mean), points(mean + reach))
    return middle, float(ndtr(-mean / sqrt(variance)))


def _log_odds_change(before: tuple[float, float], after: tuple[float, float]) -> tuple[float, float]:
    from scipy.special import polygamma

    from shortpencil.scan.practice.special import psi

    mean = variance = 0.0
    for sign, (x, n) in ((-1, before), (1, after)):
        a, b = x + PRIOR, n - x + PRIOR
        mean += sign * float(psi(a) - psi(b))
        variance += float(polygamma(1, a) + polygamma(1, b))
    return mean, variance


def _by_choice(
    history: History, phase: int, before: Sequence[int], choosing: Sequence[int], factors: Sequence[float]
) -> float | None:
    """Return how much too bad the chosen phase looks on average in the rounds that chose it.

    What these rounds could have been is drawn from the rates that the rounds before them speak for; in each
    draw the rule of `focus` chooses, strokes a round with later rounds counting more. The average is over the
    draws in which it chooses this phase, and in which this has the highest miss rate or not, as it had.
    """
    rounds = [*before, *choosing]
    weight = weights(len(rounds), HALF_LIFE_ROUNDS) * recent_rounds(len(rounds), HALF_LIFE_ROUNDS)
    costs = marks_of(history).costs(costs_of(history))
    worth = np.maximum([costs.saving(k).mean for k in range(len(history.phases))], 0.0)
    misses, marked = history.misses[rounds].astype(float), history.marked[rounds]
    if int(np.argmax(weight @ misses * worth)) != phase:
        return None
    thrown = np.maximum(weight @ marked, 1e-9)
    highest = int(np.argmax(weight @ misses / thrown)) == phase
    draw = np.random.default_rng(0)
    old, new = slice(0, len(before)), slice(len(before), len(rounds))
    x, n = misses[old].sum(axis=0) / factors, marked[old].sum(axis=0) / np.asarray(factors)
    rate = draw.beta(x + PRIOR, n - x + PRIOR, (_CHOICE_DRAWS, len(factors)))
    return too_bad_by_choice(
        rate, marked[new], weight[new], weight[old] @ misses[old], worth, factors, phase, thrown, highest
    )


def too_bad_by_choice(
    rate: Floats,
    count: NDArray[np.int64],
    weight: Floats,
    earlier: Floats,
    worth: Floats,
    factors: Sequence[float],
    phase: int,
    thrown: Floats | None = None,
    highest: bool = True,
) -> float | None:
    """Return how far a phase's misses are above its rate on average where it is chosen for costing most.

    Parameters
    ----------
    rate : (D, P) miss rates, one row a draw
    count : (C, P) throws of the choosing rounds
    weight : (C,) what a choosing round counts
    earlier : (P,) weighted misses of the rounds before
    worth : (P,) strokes a miss costs
    factors : by how much rounds differ, variance over that of chance
    phase : the one chosen; None comes back where it hardly ever would be
    thrown : (P,) weighted throws, to ask too that the phase has the highest miss rate (or not: `highest`);
        None not to ask
    """
    draw = np.random.default_rng(1)
    # A rate of its own for each round, as unlike as rounds are: variance `factor` times that of chance.
    alike = np.maximum((np.maximum(count, 2) - 1) / np.maximum(np.asarray(factors) - 1, 1e-3) - 1, 1.0)
    one = rate[:, None, :]
    own = draw.beta(np.maximum(one * alike, 1e-6), np.maximum((1 - one) * alike, 1e-6))
    could = draw.binomial(count, own)
    misses = earlier + np.einsum("dck,c->dk", could, weight)
    strokes = misses * worth
    # Even costs make ties of counts; a hair of chance settles them, as the choice between equals does.
    chosen = (strokes + 1e-6 * draw.random(strokes.shape)).argmax(axis=1) == phase
    if thrown is not None:
        chosen &= ((misses / thrown).argmax(axis=1) == phase) == highest
    too_bad = could[:, :, phase].sum(axis=1) / max(int(count[:, phase].sum()), 1) - rate[:, phase]
    return float(too_bad[chosen].mean()) if chosen.sum() >= _FEWEST_CHOSEN else None


def _ended_well(
    history: History, phase: int, before: Sequence[int], after: Sequence[int]
) -> tuple[Interval, Interval, float] | None:
    """Return the shares of throws that ended well before and after, and the probability that it rose."""
    good, known = good_results(history)
    at = known & (history.throw_phase == phase)
    day = history.hole_round[history.throw_hole]
    n = np.bincount(day[at], minlength=history.rounds)
    bad = np.bincount(day[at & ~good], minlength=history.rounds)
    one, two = list(before), list(after)
    factor = spread_between(bad[[*one, *two]], n[[*one, *two]]).factor
    pairs = [(float(bad[these].sum()) / factor, float(n[these].sum()) / factor) for these in (one, two)]
    if min(pair[1] for pair in pairs) <= 0:
        return None
    first, second = (jeffreys(count - x, count) for x, count in pairs)
    return first, second, p_rate_fell(pairs[0], pairs[1])


def _pair(history: History, rounds: Sequence[int], k: int, factor: float) -> tuple[float, float]:
    at = list(rounds)
    return float(history.misses[at, k].sum()) / factor, float(history.marked[at, k].sum()) / factor


def _side(history: History, rounds: Sequence[int], k: int, factor: float) -> Side:
    at = list(rounds)
    x, n = int(history.misses[at, k].sum()), int(history.marked[at, k].sum())
    found = jeffreys(x / factor, n / factor)
    return Side(len(at), x, n, Interval(found.low, x / n if n else float("nan"), found.high))


def _sum(pairs: Iterable[tuple[float, float]]) -> tuple[float, float]:
    every = list(pairs)
    return sum(x for x, _ in every), sum(n for _, n in every)


def _rate(pair: tuple[float, float]) -> float:
    return pair[0] / pair[1] if pair[1] else float("nan")
