"""Choosers that are told what a player's cards tell: the tool itself, its headline alone, and rival rules.

`whole_tool` goes the whole way for each player: rounds as records, history, focus, choice. The rules below
share with it what is believed of gains (`scan.practice.gains`) and differ in how they choose; for them costs
are learnt from sums, many players at once. `expected` is the tool's own rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from math import comb

import numpy as np

from shortpencil.scan.practice.choice import (
    LEARN_HALF_LIFE_ROUNDS,
    ONLY_MISSES,
    SMALLEST_COST_STROKES,
    USUAL_THROWS_A_HOLE,
    choice_of,
)
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.gains import (
    FADES_DAYS,
    TESTS_DIFFER,
    Belief,
    Counts,
    Laws,
    learnt,
    usual_laws,
)
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.sessions import OfTen, Session
from shortpencil.scan.records.composing.rounds import Round
from tests.practice.invented import PHASES, hole, known, one_round, throw
from tests.seasons.worlds import TEST, Chooser, Floats, Ints, Seen, SoFar

START = date(2030, 4, 1)
EVERY_DAYS, SESSION_AFTER_DAYS = 5, 2


# -- the whole tool ------------------------------------------------------------------------------------------


def whole_tool(laws: Laws | None = None, *, headline: bool = False) -> Chooser:
    """Return the tool as a chooser; `headline` asks for the phase that costs most and forgets sessions."""
    rounds: list[list[Round]] = []

    def choose(so_far: SoFar) -> Ints:
        seen, at = so_far.seen[-1], len(so_far.seen) - 1
        if at == 0:
            rounds[:] = [[] for _ in seen.score]
        picked = []
        for p in range(len(seen.score)):
            rounds[p].append(round_of(seen, p, at))
            history = history_of(rounds[p])
            focus = focus_of(history)
            if focus is None:
                picked.append(at % 3)
            elif headline:
                picked.append(focus.number)
            else:
                sessions, tests = practice_of(so_far, p)
                picked.append(choice_of(history, focus, sessions, tests, laws=laws).number)
        return np.array(picked)

    return choose


def practice_of(so_far: SoFar, p: int) -> tuple[list[Session], list[OfTen]]:
    """Return the sessions and tests of one player."""
    sessions, tests = [], []
    for i, done in enumerate(so_far.sessions):
        day = START + timedelta(days=EVERY_DAYS * i + SESSION_AFTER_DAYS)
        sessions.append(Session(day, int(done[p])))
        made = so_far.tests[i]
        if made is not None:
            tests.append(OfTen(day, int(done[p]), int(made[p]), TEST))
    return sessions, tests


def round_of(seen: Seen, p: int, at: int) -> Round:
    """Return one player's round as a record; of throws without a mark only those before a marked one."""
    holes = []
    for number in range(int(seen.hole.max()) + 1):
        of = np.flatnonzero((seen.hole == number) & seen.thrown[p])
        last = int(np.flatnonzero(seen.there[p, of]).max(initial=-1))
        throws = []
        for order, i in enumerate(of[: last + 1], start=1):
            mark = "unmarked" if not seen.there[p, i] else "miss" if seen.missed[p, i] else "clean"
            throws.append(throw(order, PHASES[seen.phase[i]], mark, holed=order == len(of)))
        scored = hole(number + 1, throws)
        holes.append(replace(scored, score=known(len(of))))
    return one_round(f"r{at:03d}", holes, START + timedelta(days=EVERY_DAYS * at))


# -- rival rules ---------------------------------------------------------------------------------------------

#: From belief (rows of P x 3), throws a round, mean and sd of costs, each (P, 3), to a value for each phase.
Value = Callable[["Known"], Floats]


class Known:
    """What a rival rule is told: belief, throws a round, costs, sessions so far."""

    def __init__(
        self,
        belief: Belief,
        throws: Floats,
        rate_lately: Floats,
        cost: Floats,
        cost_sd: Floats,
        at: int,
    ) -> None:
        self.belief, self.throws, self.rate_lately = belief, throws, rate_lately
        self.cost, self.cost_sd, self.at = cost, cost_sd, at

    @property
    def shape(self) -> tuple[int, ...]:
        return self.throws.shape

    def gains(self) -> tuple[Floats, Floats]:
        """Gain of the next session by start and law, (P x 3, S x L), and the weights."""
        gain = self.belief.rates_after(0) - self.belief.rates_after(1)
        return gain.reshape(len(gain), -1), self.belief.weight.reshape(len(gain), -1)


def expected(known: Known) -> Floats:
    """The tool's rule: what the next session is expected to save."""
    return known.throws * known.cost * known.belief.gain().reshape(known.shape)


def drawn(known: Known) -> Floats:
    """Thompson's rule: choose each with the probability of being best, by one draw of all that is unknown."""
    generator = np.random.default_rng([known.at, 5])
    gain, weight = known.gains()
    at = (weight.cumsum(axis=1) < generator.random(len(gain))[:, None]).sum(axis=1)
    got = gain[np.arange(len(gain)), np.minimum(at, gain.shape[1] - 1)].reshape(known.shape)
    cost = known.cost + known.cost_sd * generator.standard_normal(known.shape)
    return known.throws * np.maximum(cost, SMALLEST_COST_STROKES) * got


def with_bonus(known: Known) -> Floats:
    """An upper bound: the expectation and one standard deviation of it."""
    gain, weight = known.gains()
    mean = (gain * weight).sum(axis=1)
    sd = np.sqrt(((gain - mean[:, None]) ** 2 * weight).sum(axis=1)).reshape(known.shape)
    mean = mean.reshape(known.shape)
    return known.throws * (known.cost * mean + np.hypot(sd * known.cost, mean * known.cost_sd))


def worth_of_knowing(known: Known) -> Floats:
    """Knowledge gradient: expectation, and what a session's test of ten may teach about the next choice.

    The best of three after the test is worth, on average, more than the best before it by s f(-d / s), where
    f(z) = z Phi(z) + phi(z), d the lead and s the sd of what the test moves (Frazier, Powell, Dayanik 2008).
    It counts for the rounds left, but at most ten.
    """
    from scipy.special import ndtr

    value = expected(known)
    gain, weight = known.gains()
    rate = known.belief.rates_after(1).reshape(len(gain), -1)
    failures = np.arange(TEST + 1)
    moved = np.zeros(len(gain))
    mean = (gain * weight).sum(axis=1)
    for m in failures:
        like = rate**m * (1 - rate) ** (TEST - m)
        joint = (like * weight).sum(axis=1)
        after = (like * weight * gain).sum(axis=1) / joint
        moved += comb(TEST, int(m)) * joint * (after - mean) ** 2
    s = known.throws * known.cost * np.sqrt(moved).reshape(known.shape)
    other = np.stack([np.delete(value, k, axis=1).max(axis=1) for k in range(3)], axis=1)
    z = -np.abs(value - other) / np.maximum(s, 1e-12)
    knowing = s * (z * ndtr(z) + np.exp(-z * z / 2) / np.sqrt(2 * np.pi))
    return value + min(10, max(0, 29 - known.at)) * knowing


def headline(known: Known) -> Floats:
    """What costs most lately, the focus, whatever was practised."""
    return known.throws * known.cost * known.rate_lately


def shared_out(known: Known) -> Floats:
    """Strokes lost, divided by one more than the sessions done: counts practice and knows no law."""
    rate = known.belief.rate().reshape(known.shape)
    return known.throws * known.cost * rate / (1 + known.belief.sessions.reshape(known.shape))


RIVALS: dict[str, Value] = {
    "expected": expected,
    "drawn": drawn,
    "bonus": with_bonus,
    "knowing": worth_of_knowing,
    "shared out": shared_out,
}


def rival(value: Value, laws: Laws | None = None) -> Chooser:
    """Return a chooser that takes the phase of highest value."""
    costs = Costs()

    def choose(so_far: SoFar) -> Ints:
        costs.add(so_far.seen[-1], first=len(so_far.seen) == 1)
        return np.asarray(value(known_from(so_far, costs, laws)).argmax(axis=1))

    return choose


def believing(steady: float) -> Laws:
    """The usual laws, with so much belief in steady gains."""
    usual = usual_laws()
    of = np.where(usual.alike, steady / usual.p_alike, (1 - steady) / (1 - usual.p_alike))
    return replace(usual, weight=tuple(float(w) for w in np.maximum(np.array(usual.weight) * of, 1e-12)))


def known_from(so_far: SoFar, costs: Costs, laws: Laws | None) -> Known:
    """Return what a rival is told, from the history of all players at once."""
    marks, tests = counts_of_all(so_far)
    now = practised(so_far)[:, -1].reshape(-1)
    mean, sd = costs.told()
    throws, misses = _throws(so_far), np.stack([s.misses for s in so_far.seen], axis=1)
    recent = 0.5 ** (np.arange(throws.shape[1] - 1, -1, -1) / 5)
    a_round = np.einsum("t,ptk->pk", recent / recent.sum(), throws)
    return Known(
        learnt(marks, now, tests, laws),
        a_round,
        np.einsum("t,ptk->pk", recent / recent.sum(), misses) / np.maximum(a_round, 1e-9),
        np.maximum(mean, SMALLEST_COST_STROKES),
        sd,
        len(so_far.sessions),
    )


def counts_of_all(so_far: SoFar) -> tuple[Counts, Counts | None]:
    """Return rounds and tests of all players with the sessions behind each, as the tool counts them."""
    misses, throws = np.stack([s.misses for s in so_far.seen], axis=1).astype(float), _throws(so_far)
    count, rounds, _ = misses.shape
    weight = 0.5 ** (np.arange(rounds - 1, -1, -1) / LEARN_HALF_LIFE_ROUNDS)

    def rows(array: Floats) -> Floats:
        return np.moveaxis(array, 2, 1).reshape(count * 3, -1)

    x, n, before = rows(misses), rows(throws), practised(so_far)
    rate = x.sum(axis=1, keepdims=True) / np.maximum(n.sum(axis=1, keepdims=True), 1)
    chance = np.maximum(n * rate * (1 - rate), 1e-9)
    factor = np.maximum(1, (((x - n * rate) ** 2 / chance).sum(axis=1) + 6) / (rounds + 3))
    scale = weight / factor[:, None]
    return Counts(x * scale, n * scale, rows(before[:, :rounds])), _tests(so_far, before)


def _throws(so_far: SoFar) -> Floats:
    """Throws that misses are compared with, (P, R, 3), as the tool takes them."""
    misses = np.stack([s.misses for s in so_far.seen], axis=1).astype(float)
    clean = np.stack([s.clean for s in so_far.seen], axis=1).astype(float)
    only = clean.sum(axis=(1, 2)) < ONLY_MISSES * misses.sum(axis=(1, 2))
    usual = so_far.world.holes * np.array(list(USUAL_THROWS_A_HOLE.values()))
    return np.where(only[:, None, None], np.maximum(usual, misses), misses + clean)


def practised(so_far: SoFar) -> Floats:
    """Sessions, faded as the tool takes them to, before each round and now, (P, R + 1, 3)."""
    count = len(so_far.seen[0].score)
    kept = 0.5 ** (EVERY_DAYS / FADES_DAYS)
    now = np.zeros((count, 3))
    before = [now]
    for done in so_far.sessions:
        now = now * kept
        now[np.arange(count), done] += 1
        before.append(now.copy())
    return np.stack([*before, now], axis=1)


def _tests(so_far: SoFar, before: Floats) -> Counts | None:
    if not so_far.sessions or so_far.tests[0] is None:
        return None
    count, number = len(so_far.seen[0].score), len(so_far.sessions)
    failed, tries = np.zeros((2, count, 3, number))
    for i, (done, made) in enumerate(zip(so_far.sessions, so_far.tests, strict=True)):
        assert made is not None
        failed[np.arange(count), done, i] = (TEST - made) / TESTS_DIFFER
        tries[np.arange(count), done, i] = TEST / TESTS_DIFFER
    behind = np.moveaxis(before[:, 1 : number + 1], 2, 1).reshape(count * 3, -1)
    return Counts(failed.reshape(count * 3, -1), tries.reshape(count * 3, -1), behind)


class Costs:
    """Cost of a miss by phase, from sums over throws in the same place: a plain stand-in for `costs_of`."""

    def __init__(self) -> None:
        self._sums = np.zeros(0)
        self._rounds = 0

    def add(self, seen: Seen, *, first: bool) -> None:
        if first:
            self._sums, self._rounds = np.zeros((len(seen.score), 3, 4, 5)), 0
        self._rounds += 1
        place = np.minimum(seen.place, 3)
        for k in range(3):
            for j in range(4):
                there = seen.there & (seen.phase == k) & (place == j)
                m, y = (there & seen.missed).astype(float), np.where(there, seen.left, 0).astype(float)
                parts = (there.astype(float), m, y, m * y, y * y)
                for at, part in enumerate(parts):
                    self._sums[:, k, j, at] += part.sum(axis=1)

    def told(self) -> tuple[Floats, Floats]:
        """Posterior mean and sd, (P, 3), under the same weak prior as the tool's."""
        n, m, y, my, yy = np.moveaxis(self._sums, -1, 0)
        safe = np.maximum(n, 1)
        xx, xy = (m - m * m / safe).sum(axis=2), (my - m * y / safe).sum(axis=2)
        rest = (yy - y * y / safe).sum(axis=2)
        known = (xx > 0) & (self._rounds >= 2)
        slope = np.where(known, xy / np.maximum(xx, 1e-9), 0.5)
        scatter = (np.maximum(rest - slope * xy, 0) + 6.4) / (n.sum(axis=2) + 10)
        variance = np.where(known, 1.2 * scatter / np.maximum(xx, 1e-9), 1e9)
        precision = 1 / variance + 1 / 0.09
        return (slope / variance + 0.5 / 0.09) / precision, np.sqrt(1 / precision)
