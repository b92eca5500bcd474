"""What practice has changed so far and what one more session can still change, phase by phase.

The assumption, stated once: **sessions of one phase lower its misses quickly at first and ever less later.**
In log odds of a miss, after s sessions,

    miss(s) = start - most x (1 - exp(-speed x s)).

The gains of single learners follow such an exponential (Heathcote, Brown and Mewhort 2000, Psychon. Bull.
Rev. 7:185-207: 40 data sets of laboratory tasks, 475 people, each better fitted by an exponential than by a
power law). For this sport it is an assumption, so it has a rival: **steady** gains, each session as good as
the one before, with no end in sight and alike in all phases. Which of the two holds, and how large `most` and
`speed` are, differs between people: each law on a grid has a weight before anything is seen, and the player's
own rounds and tests of ten change these weights by Bayes' rule, exactly on the grid. A group's rounds change
them before the player's do.

Every function takes many rows at once, a row being one phase of one player, the phases of a player one after
another: whole seasons can be simulated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Log odds of a miss before any practice, from 2 to 92 %; believed near 30 % before anything is seen.
START = np.arange(-4.0, 2.6, 0.15)
START_MEAN, START_SD = -0.85, 1.0

#: Falls that practice may bring at most, in log odds, and speeds: a session takes 4 to 45 % of what is left.
MOST = (0.3, 0.6, 1.0, 1.6)
SPEED = (0.04, 0.1, 0.25, 0.6)
#: Large falls are believed rarer than small ones: weight exp(-most / this).
USUAL_MOST = 0.8
#: Steady gains: so much in log odds a session, towards an end so far off that none is in sight.
STEADY = (0.01, 0.02, 0.03, 0.045)
FAR = 80.0
#: Weights before anything is seen. That practice changes nothing in a phase: 1 in 20 of the laws that taper.
#: That gains are steady: 1 in 3, chosen on the tuning seeds of tests/bench/bench_season.py, where it trades
#: strokes if gains are steady against strokes if they taper; docs/practice.md, section 11, has the table.
WEIGHT_NONE = 0.05
WEIGHT_STEADY = 1 / 3

#: What was practised is half gone after so many days. People lost about 30 % of their speed of typing in one
#: to nine months (Baddeley and Longman 1978, as restated in a replication); 200 days lose 30 % in 103.
FADES_DAYS = 200.0

#: The test of ten may be easier or harder than throws on the course by this much (sd, log odds).
EASE_SD = 0.8
_EASE = np.linspace(-1.6, 1.6, 9)
#: Tests differ from day to day: ten tries say as much as so many fewer independent ones.
TESTS_DIFFER = 1.3

#: Sessions count in steps; beyond the most, more of them change nothing that could be told.
_STEP = 0.25
_MOST_SESSIONS = 60.0
#: What a group says of the laws has the usual weights beside it, with the worth of so many players.
_GROUP_PLAYERS = 4.0


@dataclass(frozen=True, slots=True)
class Laws:
    """Pairs of most and speed, and the weight of each before anything is seen; L of them.

    Where a law is `alike`, it holds for all phases of a player at once; of the others each phase has its own.
    """

    most: tuple[float, ...]
    speed: tuple[float, ...]
    weight: tuple[float, ...]
    alike: tuple[bool, ...]

    @property
    def p_alike(self) -> float:
        """Weight of all laws that hold for all phases at once."""
        return sum(w for w, alike in zip(self.weight, self.alike, strict=True) if alike)


@dataclass(frozen=True, slots=True)
class Counts:
    """Misses of (B, T) throws, and the sessions before each count, by row."""

    misses: Floats
    throws: Floats
    sessions: Floats


@dataclass(frozen=True, slots=True)
class Belief:
    """Weights of start and law by row, (B, S, L), which sum to 1; sessions so far, (B,)."""

    weight: Floats
    laws: Laws
    sessions: Floats

    def rates_after(self, more: float = 0.0) -> Floats:
        """Rate of misses after `more` further sessions, by start and law, (B, S, L)."""
        return np.asarray(_rates(self.laws)[_steps(self.sessions + more)])

    def rate(self, more: float = 0.0) -> Floats:
        """Expected rate of misses after `more` further sessions, (B,)."""
        return np.asarray(np.einsum("bsl,bsl->b", self.weight, self.rates_after(more)))

    def p_alike(self) -> Floats:
        """Probability of the laws that hold for all phases at once, by row, (B,): that gains are steady."""
        return np.asarray(self.weight[:, :, np.asarray(self.laws.alike)].sum(axis=(1, 2)))

    def gain(self, more: float = 0.0) -> Floats:
        """Expected fall of the rate by one session, after `more` others, (B,)."""
        return self.rate(more) - self.rate(more + 1)


@cache
def usual_laws() -> Laws:
    """Return the laws with their weights before anything is seen."""
    tapers = 1 - WEIGHT_STEADY
    sizes = np.exp(-np.array(MOST) / USUAL_MOST)
    sizes = tapers * (1 - WEIGHT_NONE) * sizes / sizes.sum() / len(SPEED)
    laws = [(0.0, 0.1, tapers * WEIGHT_NONE, False)]
    laws += [(most, speed, float(w), False) for most, w in zip(MOST, sizes, strict=True) for speed in SPEED]
    laws += [(FAR, a_session / FAR, WEIGHT_STEADY / len(STEADY), True) for a_session in STEADY]
    most, speed, weight, alike = zip(*laws, strict=True)
    return Laws(most, speed, weight, alike)


def fall(sessions: Floats, most: Floats | float, speed: Floats | float) -> Floats:
    """Return the fall of the log odds after so many sessions, most x (1 - exp(-speed x sessions))."""
    return np.asarray(most * -np.expm1(-speed * sessions))


def learnt(
    rounds: Counts, now: Floats, tests: Counts | None = None, laws: Laws | None = None, *, phases: int = 3
) -> Belief:
    """Return what rounds and tests tell of start and law, row by row.

    Parameters
    ----------
    rounds : misses of throws; counts may be fractions, as weighted counts are
    now : sessions so far, (B,)
    tests : failures of tries, in tests of ten; how much easier they are than the course is learnt with it
    laws : None for the usual ones
    phases : so many rows after one another are one player's, who may learn alike in all of them
    """
    laws = laws or usual_laws()
    log = _log_weights(rounds, tests, laws)
    by_law = np.logaddexp.reduce(log, axis=1)
    of_law = _laws_of(by_law, laws, phases)
    weight = np.exp(log - by_law[:, None, :]) * of_law[:, None, :]
    return Belief(weight, laws, now)


def _laws_of(by_law: Floats, laws: Laws, phases: int) -> Floats:
    """Return the probability of each law by row, (B, L), from the log likelihood of each."""
    alike = np.asarray(laws.alike)
    log = by_law.reshape(-1, phases, by_law.shape[1])
    result = np.zeros_like(log)
    evidence = np.full((2, len(log)), -np.inf)
    if not alike.all():
        share = np.log(np.asarray(laws.weight)[~alike])
        own = log[:, :, ~alike] + share - np.logaddexp.reduce(share)
        whole = np.logaddexp.reduce(own, axis=2)
        evidence[0] = whole.sum(axis=1) + np.logaddexp.reduce(share)
        result[:, :, ~alike] = np.exp(own - whole[:, :, None])
    if alike.any():
        same = log[:, :, alike].sum(axis=1) + np.log(np.asarray(laws.weight)[alike])
        evidence[1] = np.logaddexp.reduce(same, axis=1)
        result[:, :, alike] = np.exp(same - evidence[1][:, None])[:, None, :]
    p_alike = np.exp(evidence[1] - np.logaddexp.reduce(evidence, axis=0))
    result *= np.where(alike, p_alike[:, None, None], 1 - p_alike[:, None, None])
    return np.asarray(result.reshape(by_law.shape))


def group_laws(rows: Sequence[tuple[Counts, Counts | None]], *, phases: int = 3) -> Laws:
    """Return the laws with the weights that other players' rounds and tests give them.

    The weights of a mixture, by expectation and maximization, with the usual weights beside them as if they
    had been seen in `_GROUP_PLAYERS` players: a small group moves them little.
    """
    usual = usual_laws()
    if not rows:
        return usual
    by_law = np.concatenate(
        [np.logaddexp.reduce(_log_weights(rounds, tests, usual), axis=1) for rounds, tests in rows]
    )
    alike, before = np.asarray(usual.alike), np.asarray(usual.weight)
    players = len(by_law) / phases
    laws = usual
    for _ in range(200):
        told = _laws_of(by_law, laws, phases).sum(axis=0) / phases
        # Players learn alike or not: that is one share. Within either the laws share by themselves.
        together = (told[alike].sum() + _GROUP_PLAYERS * usual.p_alike) / (players + _GROUP_PLAYERS)
        weight = told + _GROUP_PLAYERS * before
        weight[alike] *= together / weight[alike].sum()
        weight[~alike] *= (1 - together) / weight[~alike].sum()
        laws = Laws(usual.most, usual.speed, tuple(float(w) for w in weight), usual.alike)
    return laws


def _log_weights(rounds: Counts, tests: Counts | None, laws: Laws) -> Floats:
    """Log likelihood of the marks with the prior of the start, (B, S, L)."""
    table = _rates(laws)
    cells = table.reshape(len(table), -1)
    log = _log_likelihood(rounds, lambda used: cells[used], len(table))
    if tests is not None and tests.throws.size:
        odds = np.log(cells) - np.log1p(-cells)

        def easier(by: float) -> Callable[[Ints], Floats]:
            return lambda used: np.asarray(1 / (1 + np.exp(by - odds[used])))

        told = [
            _log_likelihood(tests, easier(ease), len(table)) - 0.5 * (ease / EASE_SD) ** 2 for ease in _EASE
        ]
        log = log + np.logaddexp.reduce(told, axis=0)
    start = -0.5 * ((START - START_MEAN) / START_SD) ** 2
    return np.asarray(log.reshape(len(log), *table.shape[1:]) + start[:, None])


def _log_likelihood(marks: Counts, rates: Callable[[Ints], Floats], steps: int) -> Floats:
    """Log likelihood of counts, (B, S x L): counts with equally many sessions behind them are one count."""
    rows = np.arange(len(marks.misses))
    missed, clean = np.zeros((2, len(rows), steps))
    at = _steps(marks.sessions)
    for t in range(marks.misses.shape[1]):
        missed[rows, at[:, t]] += marks.misses[:, t]
        clean[rows, at[:, t]] += marks.throws[:, t] - marks.misses[:, t]
    used = np.flatnonzero((missed + clean).any(axis=0))
    rate = rates(used)
    return np.asarray(missed[:, used] @ np.log(rate) + clean[:, used] @ np.log1p(-rate))


@cache
def _rates(laws: Laws) -> Floats:
    """Rate of misses after 0, 1, 2 … steps of sessions, by start and law, (N, S, L)."""
    sessions = np.arange(0.0, _MOST_SESSIONS + _STEP / 2, _STEP)
    down = fall(sessions[:, None], np.asarray(laws.most), np.asarray(laws.speed))
    return np.asarray(1 / (1 + np.exp(down[:, None, :] - START[:, None])))


def _steps(sessions: Floats) -> Ints:
    return np.rint(np.minimum(sessions, _MOST_SESSIONS) / _STEP).astype(np.int64)
