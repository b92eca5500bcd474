"""Invented seasons: many players at once, whose rates, costs and ways of learning are known.

A season is `ROUNDS` rounds with one session of practice between two of them. What a session brings follows
from the world; what the chooser sees are marks and tests of ten, as cards tell them. The truth, strokes a
round as expected for this player today, is worked out exactly and never measured. Nothing here is shared with
`scan.practice`, and all numbers are invented.

The game on a hole: a drive; one approach more if the drive came out badly; approaches until one comes out
well; putts until one is holed. A missed throw comes out badly with the chance that is its cost, a clean one
with a small chance of bad luck. So the score of a hole is 1 + q + (1 + q' + q'^2 ...) + (1 + q'' + ...).

The worlds were written, and those held out were named, before any rule for choosing was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 30
MOST = 5  # throws of one phase on a hole; the last comes out well
TEST = 10
PHASES = 3


@dataclass(frozen=True)
class World:
    """What holds for every player of a world; ranges are drawn from uniformly, player by player.

    `law` says how the log odds of a miss fall with sessions of that phase: "taper" (exponential), "power",
    "steady", "late" (nothing at first, then a lot). `gap` is the fall that practice can bring at most
    (steady: in one session), `speed` the share of what is left that one session takes, as -log.
    `speed_log` draws the speed log-uniformly. `forget_rounds` is the half-life of what was practised.
    """

    name: str
    says: str
    held_out: bool = False
    law: str = "taper"
    miss: float = 0.30
    miss_sd: float = 0.4
    gap: tuple[float, float] = (0.2, 0.55)
    speed: tuple[float, float] = (0.1, 0.4)
    speed_log: bool = False
    alike: bool = False  # the phases of one player learn alike
    unlearnable: bool = False  # one phase of each player does not learn
    cost_low: tuple[float, float, float] = (0.2, 0.3, 0.4)
    cost_high: tuple[float, float, float] = (0.6, 0.7, 0.9)
    bad_luck: float = 0.05
    days: float = 0.2  # sd between rounds of the log odds, by phase
    days_shared: float = 0.0
    holes: int = 18
    forget_rounds: float = float("inf")
    winter: bool = False  # after half of the rounds, half of what was practised is gone
    kept_clean: float = 1.0  # share of clean throws that are marked
    good_called_clean: float = 0.0  # misses that came out well, marked clean
    bad_called_miss: float = 0.0  # clean throws that came out badly, marked missed
    drift_sd: float = 0.0  # sd of what a phase changes by itself over the season, log odds
    tests: bool = True
    follows: float = 1.0  # share of sessions done as chosen; the others are putts


WORLDS: tuple[World, ...] = (
    World("taper", "gains that taper"),
    World("steady", "steady gains", law="steady", gap=(0.015, 0.04), alike=True),
    World("speeds", "learning speeds differ", speed=(0.03, 0.7), speed_log=True, gap=(0.1, 0.8)),
    World("days", "days differ", days=0.5, days_shared=0.3),
    World("forgetting", "what was practised fades", forget_rounds=8.0, gap=(0.3, 0.8)),
    World("outcome", "marks follow the outcome", good_called_clean=0.5, bad_called_miss=0.3),
    World("misses only", "only misses are marked", kept_clean=0.0),
    World("costs alike", "a miss costs the same everywhere", cost_low=(0.5,) * 3, cost_high=(0.5,) * 3),
    World("beginners", "beginners", miss=0.55, gap=(0.4, 1.1), speed=(0.05, 0.3)),
    World("experts", "experts", miss=0.12, gap=(0.2, 0.5)),
    World("nine holes", "nine holes", holes=9),
    World("no tests", "sessions told, no tests of ten", tests=False),
    World("power", "gains by a power law", held_out=True, law="power", speed=(0.3, 1.2), gap=(0.3, 0.8)),
    World("one stuck", "one phase that does not learn", held_out=True, unlearnable=True),
    World("late", "nothing at first, then a lot", held_out=True, law="late", speed=(0.4, 0.9)),
    World(
        "winter", "half is gone after a break; half-life 15", held_out=True, winter=True, forget_rounds=15.0
    ),
    World("own mind", "every second session is putts, whatever is said", held_out=True, follows=0.5),
    World("drift", "phases change by themselves", held_out=True, drift_sd=0.5, days=0.3),
)


@dataclass(frozen=True)
class Players:
    """Truth of P players, each array (P, 3): log odds at the start, cost of a miss, gap, speed, drift."""

    odds: Floats
    cost: Floats
    gap: Floats
    speed: Floats
    drift: Floats
    test_ease: Floats

    @property
    def count(self) -> int:
        return len(self.odds)


def players_of(world: World, count: int, generator: np.random.Generator) -> Players:
    """Draw the players of a world."""
    shape = (count, PHASES)
    odds = np.log(world.miss / (1 - world.miss)) + world.miss_sd * generator.standard_normal(shape)
    cost = generator.uniform(world.cost_low, world.cost_high, shape)
    wide = (count, 1) if world.alike else shape
    gap = np.broadcast_to(generator.uniform(*world.gap, wide), shape).copy()
    low, high = world.speed
    speed = (
        np.exp(generator.uniform(np.log(low), np.log(high), wide))
        if world.speed_log
        else generator.uniform(low, high, wide)
    )
    speed = np.broadcast_to(speed, shape).copy()
    stuck = generator.integers(PHASES, size=count)
    if world.unlearnable:
        gap[np.arange(count), stuck] = 0.0
    drift = world.drift_sd * generator.standard_normal(shape)
    ease = 0.5 * generator.standard_normal(shape)
    return Players(odds, cost, gap, speed, drift, ease)


def odds_after(world: World, players: Players, practised: Floats, at: int) -> Floats:
    """Log odds of a miss, (P, 3), after so many sessions of each phase, in round number `at` from 0."""
    if world.law == "steady":
        fall = players.gap * practised
    elif world.law == "power":
        fall = players.gap * (1 - (1 + practised) ** -players.speed)
    elif world.law == "late":
        curve = 1 / (1 + np.exp(-players.speed * (practised - 5)))
        start = 1 / (1 + np.exp(players.speed * 5))
        fall = players.gap * (curve - start) / (1 - start)
    else:
        fall = players.gap * (1 - np.exp(-players.speed * practised))
    return np.asarray(players.odds + players.drift * at / (ROUNDS - 1) - fall)


def strokes_by_phase(world: World, cost: Floats, odds: Floats) -> Floats:
    """Expected throws of a round beyond one of each phase a hole, by the phase that brings them, (…, 3)."""
    bad = _bad(world, cost, 1 / (1 + np.exp(-odds)))
    more = sum(bad[..., 1:] ** j for j in range(1, MOST))
    return np.asarray(world.holes * np.concatenate([bad[..., :1], more], axis=-1))


def _bad(world: World, cost: Floats, rate: Floats) -> Floats:
    return np.asarray(rate * cost + (1 - rate) * world.bad_luck)


@dataclass(frozen=True)
class Seen:
    """What the cards tell of one round of all players: (P, 3) marks, and throws left with the mark of each.

    `left`, `missed` and `place` are (P, M) over all possible throws; `thrown` says which happened, `there`
    which are marked, too. `score` is (P,).
    """

    misses: Ints
    clean: Ints
    throws: Ints
    score: Ints
    thrown: NDArray[np.bool_]
    there: NDArray[np.bool_]
    missed: NDArray[np.bool_]
    left: Ints
    phase: Ints  # (M,)
    place: Ints  # (M,)
    hole: Ints  # (M,)


def a_round(world: World, players: Players, odds: Floats, generator: np.random.Generator) -> Seen:
    """Play a round with these log odds of a miss, and mark it as people of this world do."""
    count, holes = players.count, world.holes
    day = world.days * generator.standard_normal((count, PHASES))
    day = day + world.days_shared * generator.standard_normal((count, 1))
    rate = 1 / (1 + np.exp(-(odds + day)))
    # slots on a hole: the drive, the approach that a bad drive brings, approaches, putts
    phase = np.array([0, 1, *[1] * MOST, *[2] * MOST])
    slots = len(phase)
    u = generator.random((count, holes, slots, 4))
    miss = u[..., 0] < rate[:, None, phase]
    chance = np.where(miss, players.cost[:, None, phase], world.bad_luck)
    bad = u[..., 1] < chance
    bad[..., 1] = False  # the throw that puts a bad drive right
    bad[..., [1 + MOST, 1 + 2 * MOST]] = False  # the last possible one comes out well
    thrown = np.ones((count, holes, slots), dtype=bool)
    thrown[..., 1] = bad[..., 0]
    for first in (2, 2 + MOST):
        for j in range(1, MOST):
            thrown[..., first + j] = thrown[..., first + j - 1] & bad[..., first + j - 1]
    order = np.cumsum(thrown, axis=-1)
    score = order[..., -1]
    left = score[..., None] - order
    called_clean = miss & ~bad & (u[..., 2] < world.good_called_clean)
    called_miss = ~miss & bad & (u[..., 2] < world.bad_called_miss)
    marked_miss = (miss & ~called_clean) | called_miss
    kept = marked_miss | (u[..., 3] < world.kept_clean)
    there = thrown & kept
    by_phase = phase[None, :] == np.arange(PHASES)[:, None]
    misses = (there & marked_miss).sum(axis=1) @ by_phase.T
    clean = (there & ~marked_miss).sum(axis=1) @ by_phase.T
    throws = thrown.sum(axis=1) @ by_phase.T
    place = np.zeros((count, holes, slots), dtype=np.int64)
    for k in range(PHASES):
        of = np.flatnonzero(phase == k)
        place[..., of] = np.cumsum(thrown[..., of], axis=-1) - 1
    flat = (count, holes * slots)
    return Seen(
        misses=misses.astype(np.int64),
        clean=clean.astype(np.int64),
        throws=throws.astype(np.int64),
        score=score.sum(axis=1).astype(np.int64),
        thrown=thrown.reshape(flat),
        there=there.reshape(flat),
        missed=marked_miss.reshape(flat),
        left=left.reshape(flat).astype(np.int64),
        phase=np.tile(phase, holes),
        place=place.reshape(flat),
        hole=np.repeat(np.arange(holes), slots),
    )


@dataclass
class SoFar:
    """What a chooser may look at: rounds so far, sessions so far, tests so far.

    `sessions` holds one (P,) array of phases for every session, done between rounds i and i + 1; `tests` the
    makes of ten of that phase, (P,), or None.
    """

    world: World
    seen: list[Seen]
    sessions: list[Ints]
    tests: list[Ints | None]


#: A chooser is told the history and names a phase for each player.
Chooser = Callable[[SoFar], Ints]


@dataclass(frozen=True)
class Season:
    """How a season went: expected strokes, (P, ROUNDS), and the phases chosen, (P, ROUNDS - 1)."""

    strokes: Floats
    chosen: Ints

    @property
    def total(self) -> Floats:
        """Expected strokes of the season by player, beyond one throw of each phase a hole."""
        return np.asarray(self.strokes.sum(axis=1))


def play(
    world: World, players: Players, choose: Chooser | None, seed: int, *, practise: bool = True
) -> Season:
    """Play a season; the same seed deals the same chances to every chooser. `practise` False: no practice."""
    practised = np.zeros((players.count, PHASES))
    so_far = SoFar(world, [], [], [])
    strokes, chosen = [], []
    rows = np.arange(players.count)
    for at in range(ROUNDS):
        odds = odds_after(world, players, practised, at)
        strokes.append(strokes_by_phase(world, players.cost, odds).sum(axis=1))
        if not practise or choose is None:
            continue
        so_far.seen.append(a_round(world, players, odds, np.random.default_rng([seed, at, 1])))
        if at == ROUNDS - 1:
            break
        pick = np.asarray(choose(so_far))
        chance = np.random.default_rng([seed, at, 2])
        done = np.where(chance.random(players.count) < world.follows, pick, 2)
        practised = faded(world, practised, at)
        practised[rows, done] += 1
        so_far.sessions.append(done)
        so_far.tests.append(_tested(world, players, practised, done, at, chance) if world.tests else None)
        chosen.append(pick)
    return Season(np.stack(strokes, axis=1), np.stack(chosen, axis=1) if chosen else np.zeros((0, 0), int))


def faded(world: World, practised: Floats, at: int) -> Floats:
    """What is left of earlier sessions when round number `at` is over."""
    left = practised * 0.5 ** (1 / world.forget_rounds)
    return left * 0.5 if world.winter and at == ROUNDS // 2 else left


def _tested(
    world: World, players: Players, practised: Floats, done: Ints, at: int, chance: np.random.Generator
) -> Ints:
    odds = odds_after(world, players, practised, at)
    rows = np.arange(players.count)
    ease = players.test_ease[rows, done] + 0.3 * chance.standard_normal(players.count)
    p = 1 / (1 + np.exp(odds[rows, done] - ease))
    return np.asarray(chance.binomial(TEST, p), dtype=np.int64)


def all_knowing(world: World, players: Players, seed: int) -> Season:
    """Play the season of someone who knows every law.

    Where sessions simply add up, this is exact (dynamic programming over how many sessions each phase had).
    Where they fade or are not followed, it takes at each moment what saves most over the rounds to come:
    good, not proved best.
    """
    if world.forget_rounds == float("inf") and not world.winter and world.follows == 1.0:
        return _by_programming(world, players)

    def choose(so_far: SoFar) -> Ints:
        at = len(so_far.seen) - 1
        practised = np.zeros((players.count, PHASES))
        rows = np.arange(players.count)
        for i, done in enumerate(so_far.sessions):
            practised = faded(world, practised, i)
            practised[rows, done] += 1
        saved = np.zeros((players.count, PHASES))
        without, having = faded(world, practised, at), faded(world, practised, at) + 1
        for later in range(at + 1, ROUNDS):
            saved += strokes_by_phase(world, players.cost, odds_after(world, players, without, later))
            saved -= strokes_by_phase(world, players.cost, odds_after(world, players, having, later))
            without, having = faded(world, without, later), faded(world, having, later)
        return np.asarray(saved.argmax(axis=1))

    return play(world, players, choose, seed)


def _by_programming(world: World, players: Players) -> Season:
    count = players.count
    # strokes of each phase in round `at` after s sessions: (ROUNDS, s, P, 3)
    cost = np.empty((ROUNDS, ROUNDS, count, PHASES))
    for at in range(ROUNDS):
        for s in range(ROUNDS):
            odds = odds_after(world, players, np.full((count, PHASES), float(s)), at)
            cost[at, s] = strokes_by_phase(world, players.cost, odds)
    best: list[Floats] = []
    value = np.zeros((ROUNDS + 1, ROUNDS + 1, count))
    s1, s2 = np.meshgrid(np.arange(ROUNDS), np.arange(ROUNDS), indexing="ij")
    for at in range(ROUNDS - 1, -1, -1):
        s3 = at - s1 - s2
        now = cost[at, s1, :, 0] + cost[at, s2, :, 1] + cost[at, np.clip(s3, 0, ROUNDS - 1), :, 2]
        ahead = np.stack([value[1:, :-1], value[:-1, 1:], value[:-1, :-1]])
        best.append(ahead.argmin(axis=0))
        value = np.zeros((ROUNDS + 1, ROUNDS + 1, count))
        after = ahead.min(axis=0) if at < ROUNDS - 1 else 0.0
        value[:-1, :-1] = np.where((s3 >= 0)[..., None], now + after, np.inf)
        value[-1], value[:, -1] = np.inf, np.inf
    best.reverse()
    done = np.zeros((count, PHASES), dtype=np.int64)
    rows = np.arange(count)
    strokes, chosen = [], []
    for at in range(ROUNDS):
        strokes.append(cost[at, done, rows[:, None], np.arange(PHASES)].sum(axis=1))
        if at < ROUNDS - 1:
            pick = best[at][done[:, 0], done[:, 1], rows]
            done[rows, pick] += 1
            chosen.append(pick)
    return Season(np.stack(strokes, axis=1), np.stack(chosen, axis=1))
