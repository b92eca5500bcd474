"""Have phases come to be missed less as they were practised: one statement, wrong in one case of twenty.

The misses of each round are set beside how much of the phase had been practised by then, on the scale on
which a session is assumed to work (the first ones most). If practice changes nothing, misses don't follow
that scale. The trend test of Cochran and Armitage tells how surprising it would be, with counts divided by
how much more than chance the rounds differ. The rounds that came just before the first session are left out:
they chose the phase, because it looked bad in them. First all practised phases are taken together; only if
these fell, single phases are named, each of which must stand out the more, the more there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forms.rules import PHASES
from scan.practice import words
from scan.practice.effect import CHOOSING_ROUNDS, throws_for
from scan.practice.evidence import Evidence
from scan.practice.model import Interval, jeffreys, spread_between, trend
from scan.practice.sessions import Session

Floats = NDArray[np.float64]

#: It is said that misses fell (or rose) where chance alone would bring as much in one case of twenty.
SURPRISE = 0.05
#: Fewer sessions or rounds than these are not judged.
LEAST_SESSIONS, LEAST_ROUNDS = 3, 6
#: A session takes about a fifth of what is left; the shape of the scale, not how much is gained.
USUAL_SPEED = 0.2
WORTH_KNOWING = 0.10

OTHER_REASONS = (
    "A kinder or stricter eye, other courses or calmer days can look the same; the tests of ten depend less "
    "on them."
)


@dataclass(frozen=True, slots=True)
class Helped:
    """What became of the misses of a practised phase.

    Attributes
    ----------
    verdict : "fell", "rose", "open", or "early" where there is too little to judge
    p : probability of so steep a fall if practice changed nothing, one-sided; NaN where it is early
    first, last : rate in the first and last third of the rounds compared, with counts
    others : change of the other phases over the same thirds, in shares
    throws_needed : throws on either side to see a fall of ten points in four cases of five
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
    throws_needed: int


def helped_of(evidence: Evidence, sessions: Sequence[Session]) -> tuple[Helped, ...]:
    """Return what became of each practised phase, in the order drive, approach, putt."""
    days = [h.day for h in evidence.heads]
    dated = np.array([d is not None for d in days], dtype=bool)
    at = np.array([d.toordinal() for d in days if d is not None], dtype=float)
    misses, marked = evidence.misses[dated], evidence.marked[dated]
    order = np.argsort(at, kind="stable")
    at, misses, marked = at[order], misses[order], marked[order]
    practised = [k for k in range(len(PHASES)) if any(s.phase == k for s in sessions)]
    doses = {k: _dose(at, [s for s in sessions if s.phase == k]) for k in practised}
    chance = {
        k: p_fall(misses[:, k].astype(float), marked[:, k].astype(float), doses[k])
        for k in practised
        if _enough(k, doses[k], sessions)
    }
    fell = p_together(list(chance.values())) < SURPRISE
    return tuple(
        _helped(
            k,
            misses,
            marked,
            doses[k],
            sessions,
            _verdict(chance[k], len(chance), fell) if k in chance else "early",
            chance.get(k, float("nan")),
        )
        for k in practised
    )


def p_together(chances: Sequence[float]) -> float:
    """Return how probable it is that all phases together fell so much if practice changed nothing.

    The sum of their normal deviates over the root of their number (Stouffer's method); 1 without phases.
    """
    from scipy.special import ndtr, ndtri

    if not chances:
        return 1.0
    inside = np.clip(chances, 1e-12, 1 - 1e-12)
    return float(ndtr(ndtri(inside).sum() / np.sqrt(len(inside))))


def _verdict(p: float, judged: int, fell_together: bool) -> str:
    """Return what is said of one phase: that it fell only where they all did together."""
    limit = SURPRISE / judged
    if p < limit and fell_together:
        return "fell"
    return "rose" if p > 1 - limit else "open"


def p_fall(misses: Floats, throws: Floats, dose: Floats) -> float:
    """Return how probable so steep a fall of misses with practice is if there is none (one-sided).

    Parameters
    ----------
    misses, throws : of each round, oldest first
    dose : how much had been practised before each round, in sessions
    """
    from scipy.special import ndtr

    kept = compared(dose)
    x, n, d = misses[kept], throws[kept], dose[kept]
    factor = spread_between(x, n).factor
    z, _ = trend(x / factor, n / factor, -np.expm1(-USUAL_SPEED * d))
    return float(ndtr(z))


def compared(dose: Floats) -> NDArray[np.bool_]:
    """Say which rounds are compared: all but the last ones before the first session."""
    kept = np.ones(len(dose), dtype=bool)
    first = int(np.argmax(dose > 0)) if (dose > 0).any() else len(dose)
    kept[max(0, first - CHOOSING_ROUNDS) : first] = False
    return kept


def together_sentence(helped: Sequence[Helped]) -> str | None:
    """Return what is said of all practised phases together; None where none can be judged."""
    chances = [h.p for h in helped if h.verdict != "early"]
    if not chances:
        return None
    if p_together(chances) < SURPRISE:
        return (
            "It helped, going by your marks: taken together, what you practised is missed less than before, "
            "more than chance brings in one season of twenty."
        )
    return "Whether it helped is open: taken together, the change could be chance."


def sentence(helped: Helped) -> str:
    """Return the statement in words."""
    many = words.MANY[helped.phase].capitalize()
    (x1, n1), (x2, n2) = helped.first_counts, helped.last_counts
    counts = (
        f"{words.percent(helped.first.middle)} at first ({x1} of {n1}), "
        f"{words.percent(helped.last.middle)} lately ({x2} of {n2})"
    )
    times = words.count(helped.sessions, "session")
    others = f"the other phases changed by {words.points(helped.others)} meanwhile"
    if helped.verdict == "early":
        return (
            f"{many}: {times}; too early to judge. It takes {LEAST_SESSIONS} sessions and {LEAST_ROUNDS} "
            "rounds beside the ones before the first."
        )
    if helped.verdict == "fell":
        return f"{many}: missed less since you practise them, {counts}; {times}, {others}."
    if helped.verdict == "rose":
        return f"{many}: missed more, in spite of {times}: {counts}; {others}."
    return (
        f"{many}: no change that stands out from chance, {counts}; {times}. A fall of ten points shows, "
        f"four times in five, once there are about {helped.throws_needed} throws at first and as many lately."
    )


def _dose(at: Floats, sessions: Sequence[Session]) -> Floats:
    days = np.array([s.day.toordinal() for s in sessions], dtype=float)
    worth = np.array([s.worth for s in sessions])
    return np.asarray(((days[None, :] < at[:, None]) * worth).sum(axis=1))


def _enough(k: int, dose: Floats, sessions: Sequence[Session]) -> bool:
    kept = compared(dose)
    return (
        sum(s.phase == k for s in sessions) >= LEAST_SESSIONS
        and int(kept.sum()) >= LEAST_ROUNDS
        and len(np.unique(dose[kept])) > 1
    )


def _helped(
    k: int,
    misses: NDArray[np.int64],
    marked: NDArray[np.int64],
    dose: Floats,
    sessions: Sequence[Session],
    verdict: str,
    p: float,
) -> Helped:
    kept = compared(dose)
    x, n = misses[kept].astype(float), marked[kept].astype(float)
    third = max(1, len(x) // 3)
    sides = []
    for part in (slice(0, third), slice(len(x) - third, None)):
        sides.append((x[part].sum(axis=0), n[part].sum(axis=0)))
    factor = spread_between(x[:, k], n[:, k]).factor
    others = [i for i in range(len(PHASES)) if i != k]
    change = [_share(sides[1], others) - _share(sides[0], others)]
    first, last = (_side(x_[k], n_[k], factor) for x_, n_ in sides)
    base = first.middle if 0 < first.middle < 1 else 0.3
    return Helped(
        phase=PHASES[k],
        sessions=sum(s.phase == k for s in sessions),
        verdict=verdict,
        p=p,
        first=first,
        first_counts=(int(sides[0][0][k]), int(sides[0][1][k])),
        last=last,
        last_counts=(int(sides[1][0][k]), int(sides[1][1][k])),
        others=change[0],
        throws_needed=throws_for(base, max(0.02, base - WORTH_KNOWING)),
    )


def _share(side: tuple[Floats, Floats], phases: Sequence[int]) -> float:
    x, n = side[0][list(phases)].sum(), side[1][list(phases)].sum()
    return float(x / n) if n else float("nan")


def _side(x: float, n: float, factor: float) -> Interval:
    found = jeffreys(x / factor, n / factor)
    return Interval(found.low, x / n if n else float("nan"), found.high)
