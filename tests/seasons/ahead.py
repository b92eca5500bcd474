"""Choosing with the rest of the season in view, and what nobody can do better.

`unfolded` plays the rest of a season out, exactly but for two things: there are only two ways in which gains
may behave, each with a curve of its own for every phase, and what rounds and tests tell of which holds is a
normal log likelihood ratio. It is dynamic programming over the sessions that each phase had and over how
probable the second way is: what a session teaches counts with what it saves (dual control; Bellman 1961). Two
rules follow, neither with a law of the tool's own but its belief:

`looking_ahead` is the plan for the two shapes that the tool believes in, gains that taper and steady ones,
each with its mean curve by the player's own rounds so far. `soon_known` supposes that the truth will be known
after the next session (Littman, Cassandra and Kaelbling 1995): a session counts with the best rest of the
season for each truth drawn, so that what is done sooner or later in any case comes first.

`limit` is a bound: the strokes of somebody who knows all of a player, costs and gains in either world, but
not in which of two worlds the season is played. Who knows less cannot do better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shortpencil.scan.practice.choice import SMALLEST_COST_STROKES
from shortpencil.scan.practice.gains import EASE_SD, FAR, TESTS_DIFFER, Belief, Laws
from tests.seasons.advisers import Costs, Known, Value, known_from
from tests.seasons.worlds import (
    PHASES,
    ROUNDS,
    TEST,
    Chooser,
    Floats,
    Ints,
    Players,
    SoFar,
    World,
    all_knowing,
    odds_after,
    strokes_by_phase,
)

#: How probable the second way is, as log odds, in steps; and nodes for what a round and a test will tell.
PLAIN, FINE = (np.arange(-5.0, 5.01, 0.5), 3), (np.arange(-7.0, 7.01, 0.25), 7)
Grid = tuple[Floats, int]


@dataclass(frozen=True)
class Two:
    """Two ways in which gains may behave, by further sessions of a phase.

    `strokes` (2, J, P, 3) are those of a round; `round_tells` and `test_tells` (J, P, 3) the squared distance
    between both ways in sd of what one round, one test of ten shows of that phase.
    """

    strokes: Floats
    round_tells: Floats
    test_tells: Floats


def unfolded(two: Two, sessions: int, grid: Grid = PLAIN) -> Floats:
    """Return the strokes of the rounds to come, (2 ways, P, 3 first sessions, log odds of the second way).

    After each of `sessions` sessions comes a round; those behind the first are chosen best.
    """
    log_odds, nodes = grid
    p = 1 / (1 + np.exp(-log_odds))
    later: Floats = np.zeros(0)
    for at in range(sessions - 1, -1, -1):
        one, other = np.meshgrid(np.arange(at + 1), np.arange(at + 1), indexing="ij")
        held = one + other <= at
        done = (one[held], other[held], (at - one - other)[held])
        each = np.stack(
            [_having(two, done, k, later if at < sessions - 1 else None, grid, nodes) for k in range(PHASES)]
        )
        if at == 0:
            return np.moveaxis(each[:, :, 0], (0, 1, 2), (2, 0, 1))
        best = ((1 - p) * each[:, 0] + p * each[:, 1]).argmin(axis=0)
        later = np.zeros((2, sessions + 1, sessions + 1, *each.shape[3:]))
        later[:, done[0], done[1]] = np.take_along_axis(each, best[None, None], axis=0)[0]
    raise ValueError("a season without a session has nothing to choose")


def _having(two: Two, done: tuple[Ints, ...], k: int, later: Floats | None, grid: Grid, nodes: int) -> Floats:
    """Return the strokes to come where phase k is practised next, (2, states, P, log odds)."""
    log_odds = grid[0]
    now = [done[m] + (m == k) for m in range(PHASES)]
    strokes = sum(two.strokes[..., m][:, now[m]] for m in range(PHASES))
    result = np.repeat(strokes[..., None], len(log_odds), axis=-1)
    if later is None:
        return np.asarray(result)
    told = sum(two.round_tells[now[m], :, m] for m in range(PHASES)) + two.test_tells[now[k], :, k]
    at, weight = np.polynomial.hermite_e.hermegauss(nodes)
    step = log_odds[1] - log_odds[0]
    for way, sign in enumerate((-0.5, 0.5)):
        after = later[way, now[0], now[1]]
        for x, w in zip(at, weight / weight.sum(), strict=True):
            moved = log_odds + (sign * told + np.sqrt(told) * x)[..., None]
            place = np.clip((moved - log_odds[0]) / step, 0, len(log_odds) - 1.001)
            low = place.astype(np.int64)
            near, far = np.take_along_axis(after, low, -1), np.take_along_axis(after, low + 1, -1)
            result[way] += w * (near + (place - low) * (far - near))
    return np.asarray(result)


def _between(log_odds: Floats, at: Floats | float) -> tuple[Ints, Floats]:
    place = np.clip((at - log_odds[0]) / (log_odds[1] - log_odds[0]), 0, len(log_odds) - 1.001)
    low = np.asarray(place).astype(np.int64)
    return low, np.asarray(place - low)


# -- rules ---------------------------------------------------------------------------------------------------


def looking_ahead(known: Known) -> Floats:
    """Strokes to come, with what will be learnt on the way, for each phase that may come next; the fewest."""
    two, p = two_of(known)
    values = unfolded(two, ROUNDS - 1 - known.at)
    low, share = _between(PLAIN[0], np.log(p) - np.log1p(-p))
    rows = np.arange(len(p))
    near, far = values[:, rows, :, low], values[:, rows, :, low + 1]  # (P, 2, 3)
    each = near + share[:, None, None] * (far - near)
    return np.asarray(-((1 - p)[:, None] * each[:, 0] + p[:, None] * each[:, 1]))


def two_of(known: Known) -> tuple[Two, Floats]:
    """Return the two shapes as believed of each player by now, and the probability of steady gains, (P,)."""
    belief, shape = known.belief, known.shape
    alike = np.asarray(belief.laws.alike)
    p = np.clip(belief.p_alike().reshape(shape)[:, 0], 1e-3, 1 - 1e-3)
    weight = np.stack([belief.weight * ~alike, belief.weight * alike])
    weight = weight / np.maximum(weight.sum(axis=(2, 3), keepdims=True), 1e-12)
    start = _log_odds(belief, 0)
    rate, fall, square = np.empty((3, 2, ROUNDS, len(belief.weight)))
    for j in range(ROUNDS):
        now = _log_odds(belief, j)
        for found, of in ((rate, belief.rates_after(j)), (fall, now - start), (square, (now - start) ** 2)):
            found[:, j] = (weight * of).sum(axis=(2, 3))
    rate, fall, square = (a.reshape(2, ROUNDS, *shape) for a in (rate, fall, square))
    apart, unsure = (fall[0] - fall[1]) ** 2, np.maximum(square - fall**2, 0).mean(axis=0)
    scatter = np.maximum(rate.mean(axis=0) * (1 - rate.mean(axis=0)), 1e-3)
    # A test's ease is learnt with it: its doubt stands in for what is not known of it yet.
    by_round = apart / (TESTS_DIFFER / (known.throws * scatter) + unsure)
    by_test = apart / (TESTS_DIFFER / (TEST * scatter) + unsure + EASE_SD**2 / 2)
    return Two(known.throws * known.cost * rate, by_round, by_test), p


def _log_odds(belief: Belief, more: int) -> Floats:
    rate = belief.rates_after(more)
    return np.asarray(np.log(rate) - np.log1p(-rate))


def soon_known(known: Known, draws: int = 100) -> Floats:
    """Strokes saved in the rest of the season, were the truth known after the next session."""
    left = ROUNDS - 1 - known.at
    generator = np.random.default_rng([known.at, 9])
    cost = known.cost[..., None] + known.cost_sd[..., None] * generator.standard_normal((*known.shape, draws))
    gain = _drawn_gains(known.belief, known.shape, draws, left, generator)
    gain = gain * known.throws[..., None] * np.maximum(cost, SMALLEST_COST_STROKES)
    saved = np.empty(known.shape)
    for k in range(PHASES):
        first = np.zeros((known.shape[0], PHASES, draws), dtype=np.int64)
        first[:, k] = 1
        saved[:, k] = (left * gain[0, :, k] + _best_rest(gain, first, left - 1)).mean(axis=1)
    return saved


def _drawn_gains(
    belief: Belief, shape: tuple[int, ...], draws: int, left: int, generator: np.random.Generator
) -> Floats:
    """Return falls of the rate by each further session in truths drawn from the belief, (J, P, 3, draws)."""
    starts, laws = belief.weight.shape[1:]
    alike = np.asarray(belief.laws.alike)
    weight = belief.weight.reshape(*shape, starts, laws)
    of_law = weight.sum(axis=2)
    at = np.empty((*shape, draws), dtype=np.int64)
    for p in range(shape[0]):
        # A law that holds for all phases at once is drawn once; of the others each phase has its own.
        steady = generator.random(draws) < of_law[p, 0, alike].sum()
        shared = _choose(generator, of_law[p, 0] * alike, draws)
        for k in range(PHASES):
            law = np.where(steady, shared, _choose(generator, of_law[p, k] * ~alike, draws))
            below = np.cumsum(weight[p, k], axis=0)[:, law]
            start = (below < generator.random(draws) * below[-1]).sum(axis=0)
            at[p, k] = np.minimum(start, starts - 1) * laws + law
    rate = np.stack(
        [np.take_along_axis(belief.rates_after(j).reshape(*shape, -1), at, axis=-1) for j in range(left + 1)]
    )
    return np.asarray(rate[:-1] - rate[1:])


def _choose(generator: np.random.Generator, weight: Floats, draws: int) -> Ints:
    below = np.cumsum(weight)
    if below[-1] <= 0:
        return np.zeros(draws, dtype=np.int64)
    found = np.searchsorted(below, generator.random(draws) * below[-1], side="right")
    return np.minimum(found, len(weight) - 1)


def _best_rest(gain: Floats, done: Ints, left: int) -> Floats:
    """Return the strokes that `left` sessions save, each taken where it saves most, (P, draws)."""
    done = done.copy()
    saved = np.zeros((gain.shape[1], gain.shape[3]))
    for rounds in range(left, 0, -1):
        now = np.take_along_axis(gain, np.minimum(done, len(gain) - 1)[None], axis=0)[0]
        saved += rounds * now.max(axis=1)
        np.put_along_axis(
            done,
            now.argmax(axis=1)[:, None],
            np.take_along_axis(done, now.argmax(axis=1)[:, None], axis=1) + 1,
            axis=1,
        )
    return saved


# -- the bound -----------------------------------------------------------------------------------------------


def limit(
    worlds: Sequence[World],
    players: Sequence[Players],
    seed: int,
    beliefs: Sequence[float],
    *,
    tells: float = 1.0,
    grid: Grid = FINE,
) -> list[tuple[Floats, Floats]]:
    """Return regret in both worlds, (P,) each, of who knows all of a player but the world, by belief.

    The players of both worlds start alike, and misses cost them the same. `beliefs` is how probable the
    second world is held beforehand; `tells` 0 lets rounds and tests say nothing of the world.
    """
    one, other = players
    if not (np.allclose(one.odds, other.odds) and np.allclose(one.cost, other.cost)):
        raise ValueError("the players of both worlds must start alike")
    shape = one.odds.shape
    odds = np.stack(
        [
            [odds_after(w, p, np.full(shape, float(s)), 0) for s in range(ROUNDS)]
            for w, p in zip(worlds, players, strict=True)
        ]
    )
    strokes = np.stack(
        [strokes_by_phase(w, p.cost, of) for w, p, of in zip(worlds, players, odds, strict=True)]
    )
    world = worlds[0]
    apart, rate = tells * (odds[0] - odds[1]) ** 2, 1 / (1 + np.exp(-odds.mean(axis=0)))
    # Throws by phase: one a hole and those that strokes beyond it are, but for the one after a bad drive.
    throws = world.holes + strokes.mean(axis=0)
    throws[..., 1] += strokes.mean(axis=0)[..., 0]
    throws[..., 0] = world.holes
    seen = throws * rate * (1 - rate)
    test = 1 / (1 + np.exp(one.test_ease - odds.mean(axis=0)))
    tried = TEST * test * (1 - test)
    two = Two(strokes, apart * seen / (1 + seen * world.days**2), apart * tried / (1 + tried * _TEST_DAYS**2))
    values = unfolded(two, ROUNDS - 1, grid)
    start = strokes[:, 0].sum(axis=-1)
    best = [all_knowing(w, p, seed).total for w, p in zip(worlds, players, strict=True)]
    result = []
    for belief in beliefs:
        low, share = _between(grid[0], float(np.log(belief / (1 - belief))))
        told = values[..., low] + share * (values[..., low + 1] - values[..., low])  # (2, P, 3)
        pick = ((1 - belief) * told[0] + belief * told[1]).argmin(axis=1)
        total = start + told[:, np.arange(len(pick)), pick]
        result.append((total[0] - best[0], total[1] - best[1]))
    return result


#: A test of ten differs from day to day by so much (sd of log odds), as `tests.seasons.worlds` plays it.
_TEST_DAYS = 0.3


# -- who is told more ----------------------------------------------------------------------------------------


def informed(value: Value, world: World, players: Players, laws: Laws) -> Chooser:
    """Return a chooser that is told what misses cost; `laws` tell it what players of the worlds are like."""
    costs = Costs()

    def choose(so_far: SoFar) -> Ints:
        costs.add(so_far.seen[-1], first=len(so_far.seen) == 1)
        known = known_from(so_far, costs, laws)
        rate = known.belief.rate().reshape(known.shape)
        odds, step = np.log(rate) - np.log1p(-rate), 1e-3
        more, less = (strokes_by_phase(world, players.cost, odds + by) for by in (step, -step))
        known.cost = (more - less) / (2 * step * rate * (1 - rate)) / known.throws
        return np.asarray(value(known).argmax(axis=1))

    return choose


def laws_of(taper: World, steady: World, believed: float, parts: int = 5) -> Laws:
    """Return the laws of the players of two worlds as they are drawn, steady ones with so much belief."""

    def middles(ends: tuple[float, float]) -> Floats:
        return np.asarray(ends[0] + (ends[1] - ends[0]) * (np.arange(parts) + 0.5) / parts)

    most, speed = (a.ravel() for a in np.meshgrid(middles(taper.gap), middles(taper.speed)))
    a_session = middles(steady.gap)
    weight = [np.full(len(most), (1 - believed) / len(most)), np.full(parts, believed / parts)]
    return Laws(
        (*most.tolist(), *[FAR] * parts),
        (*speed.tolist(), *(a_session / FAR).tolist()),
        tuple(np.maximum(np.concatenate(weight), 1e-12).tolist()),
        (False,) * len(most) + (True,) * parts,
    )
