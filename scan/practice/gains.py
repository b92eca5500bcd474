"""What practice has changed so far and what one more session can still change, phase by phase.

The assumption, stated once: **sessions of one phase lower its misses quickly at first and ever less later.**
In log odds of a miss, after s sessions,

    miss(s) = start - most x (1 - exp(-speed x s)),

an exponential, since the gains of single learners follow one (Heathcote, Brown and Mewhort 2000, Psychon.
Bull. Rev. 7:185-207: 40 data sets of laboratory tasks, 475 people, each better fitted by an exponential than
by a power law). For this sport it is an assumption. How large `most` and `speed` are differs between people:
each pair on a grid has a weight before anything is seen, and the player's own rounds and tests of ten change
these weights by Bayes' rule, exactly on the grid. A group's rounds change them before the player's do.

Every function takes many rows at once, a row being one phase of one player: whole seasons can be simulated.
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
#: Nearly steady gains, 3 to 5 % of the odds a session with no end in sight.
STEADY = ((1.6, 0.02), (2.4, 0.02))
#: Weights before anything is seen. That practice changes nothing: 1 in 20. That gains are steady: 1 in 5,
#: chosen on the seasons of tests/bench/bench_season.py: it trades strokes where gains are steady (regret 6.3
#: at 0, 4.3 at 0.2, 2.6 at 0.6) against strokes where they taper (1.8, 2.0, 4.4); in one player's season the
#: two can't be told apart.
WEIGHT_NONE = 0.05
WEIGHT_STEADY = 0.2

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
#: What a group says of the laws has the usual weights beside it, with the worth of so many rows.
_GROUP_ROWS = 12.0


@dataclass(frozen=True, slots=True)
class Laws:
    """Pairs of most and speed, and the weight of each before anything is seen; L of them."""

    most: tuple[float, ...]
    speed: tuple[float, ...]
    weight: tuple[float, ...]


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

    def gain(self, more: float = 0.0) -> Floats:
        """Expected fall of the rate by one session, after `more` others, (B,)."""
        return self.rate(more) - self.rate(more + 1)


@cache
def usual_laws() -> Laws:
    """Return the laws with their weights before anything is seen."""
    sizes = np.exp(-np.array(MOST) / USUAL_MOST)
    sizes = (1 - WEIGHT_NONE - WEIGHT_STEADY) * sizes / sizes.sum() / len(SPEED)
    pairs = [(0.0, 0.1, WEIGHT_NONE)]
    pairs += [(most, speed, float(w)) for most, w in zip(MOST, sizes, strict=True) for speed in SPEED]
    pairs += [(most, speed, WEIGHT_STEADY / len(STEADY)) for most, speed in STEADY]
    most, speed, weight = zip(*pairs, strict=True)
    return Laws(most, speed, weight)


def fall(sessions: Floats, most: Floats | float, speed: Floats | float) -> Floats:
    """Return the fall of the log odds after so many sessions, most x (1 - exp(-speed x sessions))."""
    return np.asarray(most * -np.expm1(-speed * sessions))


def learnt(rounds: Counts, now: Floats, tests: Counts | None = None, laws: Laws | None = None) -> Belief:
    """Return what rounds and tests tell of start and law, row by row.

    Parameters
    ----------
    rounds : misses of throws; counts may be fractions, as weighted counts are
    now : sessions so far, (B,)
    tests : failures of tries, in tests of ten; how much easier they are than the course is learnt with it
    laws : None for the usual ones
    """
    laws = laws or usual_laws()
    log = _log_weights(rounds, tests, laws) + np.log(np.asarray(laws.weight))
    weight = np.exp(log - log.max(axis=(1, 2), keepdims=True))
    return Belief(weight / weight.sum(axis=(1, 2), keepdims=True), laws, now)


def group_laws(rows: Sequence[tuple[Counts, Counts | None]]) -> Laws:
    """Return the laws with the weights that other players' rounds and tests give them.

    The weights of a mixture, by expectation and maximization, with the usual weights beside them as if they
    had been seen in `_GROUP_ROWS` rows: a small group moves them little.
    """
    laws = usual_laws()
    usual = np.asarray(laws.weight)
    if not rows:
        return laws
    log = np.concatenate(
        [np.logaddexp.reduce(_log_weights(rounds, tests, laws), axis=1) for rounds, tests in rows]
    )
    likely = np.exp(log - log.max(axis=1, keepdims=True))
    weight = usual
    for _ in range(200):
        share = likely * weight
        share /= share.sum(axis=1, keepdims=True)
        weight = (share.sum(axis=0) + _GROUP_ROWS * usual) / (len(share) + _GROUP_ROWS)
    return Laws(laws.most, laws.speed, tuple(float(w) for w in weight))


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
