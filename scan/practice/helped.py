"""Did it help: one rule and one sentence, wherever the question is answered.

**It helped** is said where what was practised is missed less since then, by more than chance brings in one
case of twenty, and by more than the phases that were not practised. The misses of each round are set beside
how much had been practised by then, on the scale on which a session is assumed to work (the first ones
most). If practice changes nothing, misses don't follow that scale; the trend test of Cochran and Armitage
tells how surprising it would be, with counts divided by how much more than chance the rounds differ. The
rounds that came just before the first session are left out: they chose the phase, because it looked bad in
them. First all practised phases are taken together; only if these fell, single phases are named, each of
which must stand out the more, the more there are. Marks can't tell better throws from a kinder eye; that is
said each time (`OTHER_REASONS`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isnan

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, first_upper
from shortpencil.scan.practice import words
from shortpencil.scan.practice.doubt import pooled_chance
from shortpencil.scan.practice.history import History, only_misses
from shortpencil.scan.practice.model import Interval, jeffreys, spread_between, throws_for, trend
from shortpencil.scan.practice.sessions import Session

Floats = NDArray[np.float64]

#: It is said that misses fell (or rose) where chance alone would bring as much in one case of twenty.
SURPRISE = 0.05
#: Beyond the phases hardly practised it must have fallen as chance brings in one case of ten. It trades
#: what is said of nothing where all phases change by themselves against what is seen: 100 players a line, 10
#: rounds on either side, at .05, .1, .2: said where all phases got better by themselves 1, 2, 3 %;
#: where practice had helped 55, 70, 74 % (plain), 32, 44, 52 % (nine holes).
SURPRISE_BEYOND = 0.10
#: The rounds that weighed most in the choice, at least half at the usual half-life; they are not "before".
CHOOSING_ROUNDS = 5
#: Fewer sessions or rounds than these are not judged.
LEAST_SESSIONS, LEAST_ROUNDS = 3, 6
#: A session takes about a fifth of what is left; the shape of the scale, not how much is gained.
USUAL_SPEED = 0.2
WORTH_KNOWING = 0.10

HELPED, NOT_BEYOND, WORSE, OPEN, EARLY = "helped", "not beyond", "worse", "open", "early"
NO_RATES, UNMARKED = "no rates", "unmarked"

#: In English; who shows it says it in the language that is spoken.
OTHER_REASONS = N_(
    "A kinder or stricter eye, other courses or calmer days can look the same; the tests of ten depend less "
    "on them."
)


@dataclass(frozen=True, slots=True)
class Helped:
    """What became of the misses of a practised phase.

    Attributes
    ----------
    verdict : "fell"; "not beyond" where it fell, but what was not practised may have done as well; "rose";
        "open"; "alone open" where it does not stand out by itself, though the practised phases together do;
        "early" where there is too little to judge; "no rates" where mostly only misses are marked;
        "unmarked" where no throw of the phase is
    p : probability of so steep a fall if practice changed nothing, one-sided; NaN where it is early
    first, last : rate in the first and last third of the rounds compared, with counts
    others : change of the other phases over the same thirds, in shares; NaN where none is marked
    base : rate that a fall is told from, that at first; NaN where nothing was missed, or all
    throws_needed : throws on either side to see the fall of `worth_knowing` in four cases of five
    """

    phase: str
    sessions: int
    verdict: str
    p: float
    first: Interval
    first_counts: tuple[int, int]
    last: Interval
    last_counts: tuple[int, int]
    others: float
    base: float
    throws_needed: int


@dataclass(frozen=True, slots=True)
class Judged:
    """The one statement about practice, and what became of each practised phase.

    Attributes
    ----------
    verdict : `HELPED`; `NOT_BEYOND` where misses fell, but what was not practised did as well; `WORSE`;
        `OPEN`; `EARLY` where there is too little to judge
    p : probability of such a fall of all practised phases together if practice changed nothing
    p_beyond : the same of what they fell by more than the phases hardly practised; None where there is none
    phases : in the order drive, approach, putt
    """

    verdict: str
    p: float
    p_beyond: float | None
    phases: tuple[Helped, ...]

    def helped(self, phase: str) -> bool:
        """Whether it may be said that practice of this phase helped, as far as marks can tell."""
        return any(h.phase == phase and h.verdict == "fell" for h in self.phases)


def judged(
    history: History,
    sessions: Sequence[Session],
    since: tuple[int, date] | None = None,
    possible: Sequence[History] = (),
) -> Judged:
    """Return whether practice helped.

    Parameters
    ----------
    history : of one player's rounds
    sessions : all that are known, oldest first
    since : a phase practised since a day, where fewer than `LEAST_SESSIONS` of it are known from then on:
        its rounds from that day on are compared with those before
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`);
        the chances are the means of theirs, the counts told are those of values that are known
    """
    own = _of_one(history, sessions, since)
    draws = [_of_one(one, sessions, since) for one in possible] or [own]
    chance = {
        k: pooled_chance([draw.chance[k] for draw in draws])
        for k in own.chance
        if all(k in draw.chance for draw in draws)
    }
    p = pooled_chance([p_together([draw.chance[k] for k in chance]) for draw in draws])
    beyond = [draw.p_beyond for draw in draws if draw.p_beyond is not None]
    p_beyond = pooled_chance(beyond) if len(beyond) == len(draws) else None
    ids = history.phase_ids
    verdict = EARLY if not chance else _verdict(p, p_beyond)
    early = NO_RATES if 2 * int(only_misses(history).sum()) > history.rounds else EARLY

    def said_of(k: int) -> str:
        if k in chance:
            return _phase_verdict(k, chance, verdict)
        return early if history.marked[:, k].any() else UNMARKED

    phases = tuple(
        _helped(k, ids[k], own.misses, own.marked, dose, sessions, said_of(k), chance)
        for k, dose in own.doses.items()
        if k in chance or own.times[k]
    )
    return Judged(verdict, p, p_beyond, phases)


@dataclass(frozen=True, slots=True)
class _Of:
    """What one draw of rounds says: counts, doses and sessions by phase, and how surprising each fall is."""

    misses: Floats
    marked: Floats
    doses: Mapping[int, Floats]
    times: Mapping[int, int]
    chance: Mapping[int, float]
    p_beyond: float | None


def _of_one(history: History, sessions: Sequence[Session], since: tuple[int, date] | None) -> _Of:
    at, misses, marked = _compared_rounds(history)
    doses = {k: _dose(at, [s for s in sessions if s.phase == k]) for k in range(misses.shape[1])}
    times = {k: sum(s.phase == k for s in sessions) for k in doses}
    if (
        since is not None
        and sum(s.phase == since[0] and s.day >= since[1] for s in sessions) < LEAST_SESSIONS
    ):
        phase, day = since
        doses[phase] = _dose(at, [Session(day - timedelta(days=1), phase)])
        times[phase] = max(times[phase], LEAST_SESSIONS)
    chance = {
        k: p_fall(misses[:, k], marked[:, k], doses[k])
        for k in doses
        if times[k] >= LEAST_SESSIONS and _enough(doses[k], marked[:, k])
    }
    p_beyond = _p_beyond(misses, marked, {k: doses[k] for k in chance})
    return _Of(misses, marked, doses, times, chance, p_beyond)


def _verdict(p: float, p_beyond: float | None) -> str:
    if p < SURPRISE:
        return HELPED if p_beyond is None or p_beyond < SURPRISE_BEYOND else NOT_BEYOND
    return WORSE if p > 1 - SURPRISE else OPEN


def _phase_verdict(k: int, chance: Mapping[int, float], verdict: str) -> str:
    """Return what is said of one phase: that it fell only where all practised ones did together."""
    limit = SURPRISE / len(chance)
    together = verdict in (HELPED, NOT_BEYOND)
    if chance[k] < limit and together:
        return "fell" if verdict == HELPED else NOT_BEYOND
    if chance[k] > 1 - limit:
        return "rose"
    return "alone open" if together else "open"


def p_together(chances: Sequence[float]) -> float:
    """Return how probable it is that all phases together fell so much if practice changed nothing.

    The sum of their normal deviates over the root of their number (Stouffer's method); 1 without phases.
    """
    from shortpencil.scan.practice.special import ndtr, ndtri

    if not chances:
        return 1.0
    inside = np.clip(chances, 1e-12, 1 - 1e-12)
    return float(ndtr(ndtri(inside).sum() / np.sqrt(len(inside))))


def p_fall(misses: Floats, throws: Floats, dose: Floats) -> float:
    """Return how probable so steep a fall of misses with practice is if there is none (one-sided).

    How much rounds differ is learnt from few of them, so the normal deviate is read as one of Student's t.

    Parameters
    ----------
    misses, throws : of each round, oldest first
    dose : how much had been practised before each round, in sessions
    """
    kept = compared(dose)
    x, n, d = misses[kept], throws[kept], dose[kept]
    factor = spread_between(x, n).factor
    z, _ = trend(x / factor, n / factor, _scale(d))
    return _student(z, len(x))


def slope(misses: Floats, throws: Floats, scores: Floats) -> tuple[float, float]:
    """Return how the log odds of a miss change with a score, one-step estimate and variance.

    Score statistic over its variance, O - E over V, which for two groups is Peto's one-step log odds ratio.

    References
    ----------
    Yusuf, Peto, Lewis, Collins and Sleight, Prog. Cardiovasc. Dis. 27 (1985) 335-371, appendix.
    """
    total = float(throws.sum())
    if total < 2:
        return 0.0, np.inf
    rate, mean = float(misses.sum()) / total, float(throws @ scores) / total
    apart = scores - mean
    variance = rate * (1 - rate) * float(throws @ apart**2) * total / (total - 1)
    if variance <= 0:
        return 0.0, np.inf
    return float(misses @ apart) / variance, 1 / variance


def _p_beyond(misses: Floats, marked: Floats, doses: Mapping[int, Floats]) -> float | None:
    """Return how probable it is that practised phases fell by so much more than the others by chance.

    The mean slope of the practised phases is compared with that of the others, taken as one, against the mean
    of the practised ones' doses.
    """
    others = [k for k in range(misses.shape[1]) if k not in doses]
    if not doses or not others:
        return None
    kept = np.all([compared(dose) for dose in doses.values()], axis=0)
    slopes = [_slope(misses[kept, k], marked[kept, k], dose[kept]) for k, dose in doses.items()]
    mean_dose = np.mean(list(doses.values()), axis=0)
    other = _slope(misses[kept][:, others].sum(axis=1), marked[kept][:, others].sum(axis=1), mean_dose[kept])
    variance = sum(v for _, v in slopes) / len(slopes) ** 2 + other[1]
    if not np.isfinite(variance):
        return None
    beyond = float(np.mean([b for b, _ in slopes])) - other[0]
    return _student(beyond / float(np.sqrt(variance)), int(kept.sum()))


def _slope(misses: Floats, throws: Floats, dose: Floats) -> tuple[float, float]:
    factor = spread_between(misses, throws).factor
    return slope(misses / factor, throws / factor, _scale(dose))


def _scale(dose: Floats) -> Floats:
    return np.asarray(-np.expm1(-USUAL_SPEED * dose))


def _student(z: float, rounds: int) -> float:
    from shortpencil.scan.practice.special import stdtr

    return float(stdtr(max(rounds - 2, 1), z))


def compared(dose: Floats) -> NDArray[np.bool_]:
    """Say which rounds are compared: all but the last ones before the first session."""
    kept = np.ones(len(dose), dtype=bool)
    first = int(np.argmax(dose > 0)) if (dose > 0).any() else len(dose)
    kept[max(0, first - CHOOSING_ROUNDS) : first] = False
    return kept


def _compared_rounds(history: History) -> tuple[Floats, Floats, Floats]:
    """Return day, misses and marked throws of the rounds that have a day and rates, by day."""
    usable = np.array([h.day is not None for h in history.heads], dtype=bool) & ~only_misses(history)
    at = np.array([h.day.toordinal() if h.day else 0 for h in history.heads], dtype=float)[usable]
    order = np.argsort(at, kind="stable")
    misses, marked = history.misses[usable], history.marked[usable]
    return at[order], misses[order].astype(float), marked[order].astype(float)


def judged_sentence(found: Judged) -> str | None:
    """Return the one statement in words; None where it is too early for any."""
    if found.verdict == HELPED:
        if found.p_beyond is None:
            return _(
                "It helped, going by your marks: what you practised is missed less than before, by more than "
                "chance brings in one case of twenty."
            )
        return _(
            "It helped, going by your marks: what you practised is missed less than before, by more than "
            "chance brings in one case of twenty, and by more than what you did not practise."
        )
    if found.verdict == NOT_BEYOND:
        return _(
            "Whether it helped is open: what you practised is missed less than before, but beside what you "
            "did not practise the difference could be chance."
        )
    if found.verdict == WORSE:
        return _(
            "It did not show: what you practised is missed more than before, by more than chance brings in "
            "one case of twenty."
        )
    return _("Whether it helped is open: the change could be chance.") if found.verdict == OPEN else None


#: What is said of one phase, by verdict.
_OF_ONE = {
    EARLY: N_(
        "{many}: {times}; too early to judge. It takes {sessions} sessions and {rounds} "
        "rounds beside the ones before the first."
    ),
    NO_RATES: N_(
        "{many}: {times}; whether they helped can't be judged from cards that mark only misses. Mark clean "
        "throws too, or go by the tests of ten."
    ),
    UNMARKED: N_(
        "{many}: {times}; none are marked in your rounds, so nothing can be said of whether they helped."
    ),
    "fell": N_(
        "{many}: missed less since you practise them, {counts}; {times}, the other phases changed by "
        "{others} meanwhile."
    ),
    NOT_BEYOND: N_(
        "{many}: missed less than before, {counts}; {times}, the other phases changed by {others} meanwhile."
    ),
    "rose": N_(
        "{many}: missed more, in spite of {times}: {counts}; the other phases changed by {others} meanwhile."
    ),
    "alone open": N_("{many}: by itself no change that stands out from chance, {counts}; {times}."),
    OPEN: N_("{many}: no change that stands out from chance, {counts}; {times}."),
}
#: The same where nothing else is marked.
_OF_ONE_ALONE = _OF_ONE | {
    "fell": N_("{many}: missed less since you practise them, {counts}; {times}."),
    "rose": N_("{many}: missed more, in spite of {times}: {counts}."),
}


def sentence(helped: Helped) -> str:
    """Return the statement in words."""
    alone = isnan(helped.others)
    told = _(
        (_OF_ONE_ALONE if alone else _OF_ONE)[helped.verdict],
        many=first_upper(words.MANY[helped.phase]),
        times=words.sessions(helped.sessions),
        counts=_counts_said(helped),
        others="" if alone else words.points(helped.others),
        sessions=LEAST_SESSIONS,
        rounds=LEAST_ROUNDS,
    )
    if helped.verdict not in ("alone open", OPEN) or isnan(helped.base):
        return told
    needed = _(
        "A fall from {base} to {worth_knowing} shows, four times in five, once there are about {throws} "
        "throws at first and as many lately.",
        base=words.percent(helped.base),
        worth_knowing=words.percent(worth_knowing(helped.base)),
        throws=helped.throws_needed,
    )
    return f"{told} {needed}"


def _counts_said(helped: Helped) -> str:
    (x1, n1), (x2, n2) = helped.first_counts, helped.last_counts
    return _(
        "{first} at first ({x1} of {n1}), {last} lately ({x2} of {n2})",
        first=words.percent(helped.first.middle),
        x1=x1,
        n1=n1,
        last=words.percent(helped.last.middle),
        x2=x2,
        n2=n2,
    )


def _dose(at: Floats, sessions: Sequence[Session]) -> Floats:
    days = np.array([s.day.toordinal() for s in sessions], dtype=float)
    worth = np.array([s.worth for s in sessions])
    return np.asarray(((days[None, :] < at[:, None]) * worth).sum(axis=1))


def _enough(dose: Floats, marked: Floats) -> bool:
    kept = compared(dose) & (marked > 0)
    return int(kept.sum()) >= LEAST_ROUNDS and len(np.unique(dose[kept])) > 1


def _helped(
    k: int,
    phase: str,
    misses: Floats,
    marked: Floats,
    dose: Floats,
    sessions: Sequence[Session],
    verdict: str,
    chance: Mapping[int, float],
) -> Helped:
    kept = compared(dose)
    x, n = misses[kept], marked[kept]
    sides = _thirds(x, n)
    factor = spread_between(x[:, k], n[:, k]).factor
    others = [i for i in range(x.shape[1]) if i != k]
    change = _share(sides[1], others) - _share(sides[0], others)
    first, last = (_side(x_[k], n_[k], factor) for x_, n_ in sides)
    base = first.middle if 0 < first.middle < 1 else float("nan")
    return Helped(
        phase=phase,
        sessions=sum(s.phase == k for s in sessions),
        verdict=verdict,
        p=chance.get(k, float("nan")),
        first=first,
        first_counts=(int(sides[0][0][k]), int(sides[0][1][k])),
        last=last,
        last_counts=(int(sides[1][0][k]), int(sides[1][1][k])),
        others=change,
        base=base,
        throws_needed=0 if isnan(base) else throws_for(base, worth_knowing(base)),
    )


def _thirds(misses: Floats, throws: Floats) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Return misses and throws by phase of the first and the last third of some rounds."""
    third = max(1, len(misses) // 3)
    first, last = slice(0, third), slice(len(misses) - third, None)
    return (
        (misses[first].sum(axis=0), throws[first].sum(axis=0)),
        (misses[last].sum(axis=0), throws[last].sum(axis=0)),
    )


@dataclass(frozen=True, slots=True)
class FirstAndLast:
    """Miss rates of a phase at first and lately, as told; whether it rose by more than chance brings."""

    first: float
    last: float
    rose: bool


def first_and_last(history: History, sessions: Sequence[Session]) -> dict[int, FirstAndLast]:
    """Return the miss rates at first and lately, as `judged` tells them, of phases that it can judge."""
    own = _of_one(history, sessions, None)
    found = {}
    for k in own.chance:
        kept = compared(own.doses[k])
        (x1, n1), (x2, n2) = _thirds(own.misses[kept], own.marked[kept])
        if n1[k] and n2[k]:
            rose = own.chance[k] > 1 - SURPRISE
            found[k] = FirstAndLast(float(x1[k] / n1[k]), float(x2[k] / n2[k]), rose)
    return found


def worth_knowing(rate: float) -> float:
    """Return the rate that a fall worth knowing leads to: ten points less, but at most by half."""
    return rate - min(WORTH_KNOWING, rate / 2)


def _share(side: tuple[Floats, Floats], phases: Sequence[int]) -> float:
    x, n = side[0][list(phases)].sum(), side[1][list(phases)].sum()
    return float(x / n) if n else float("nan")


def _side(x: float, n: float, factor: float) -> Interval:
    found = jeffreys(x / factor, n / factor)
    return Interval(found.low, x / n if n else float("nan"), found.high)
