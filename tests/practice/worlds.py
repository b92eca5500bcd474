"""Worlds of invented players whose truth is known exactly: for calibration tables and small tests.

Written before the formulas that they judge, and sharing no code with `scan.practice` but the making of its
columns. A hole is played as a chain: a drive (missed or not) leaves trouble or not; approaches are thrown
until one comes near; where it comes to rest depends on the throw; putts are thrown until one is in, and a
putt that stays out leaves a short one. Each chance may depend on the hole, on the day, on the distance.
Because it is such a chain, the expected number of throws still to come follows from every situation by
arithmetic, and with it what one miss costs and what a clean phase would save: no truth here is measured with
noise worth naming.

A card has room for two approaches and three putts; what has no mark and no distance is not on it, but for a
drive. That is how cards are read, and the columns made here follow it.

`WORLDS` are for looking and tuning, `HELD_OUT` are for the report only. "storms" was held out until it showed
that costs of putts were too low where many stay out (`scan.practice.hidden`); "scramble" took its place.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.history import History, MissNote, RoundHead, columns_of

Floats = NDArray[np.float64]

PHASES = ("drive", "approach", "putt")
CAUSES = ("early", "late", "nose", "tilt", "wobble", "pace", "rushed", "balance", "choice", "other")
WAYS = ("left", "right", "long", "short")
CLEAN, MISS, UNMARKED = 0, 1, 2

HALF_WIDTH_M = 0.285
APPROACH_COLUMNS, PUTT_COLUMNS = 2, 3
MOST_APPROACHES, MOST_PUTTS = 7, 8
#: Distances at which the truth of the putting curve is told.
CURVE_M = np.array([2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0])

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class World:
    """What is true of all players of one world.

    Attributes
    ----------
    miss : usual miss rates by phase; `unlike` is the sd between players in log odds
    trouble, short, stays : ranges from which a player's own cost of a miss is drawn: added chance of trouble
        after a missed drive, of a further approach after a missed one, and log odds by which a missed putt
        drops less often
    alike : the same cost for a miss of every phase, half a stroke
    hole_miss, hole_bad : by how much (log odds) a hole one sd harder than usual raises misses and bad results
    day_miss, day_bad : the same for a day; `own_day` is a day's sd of one phase alone; `heavy` makes days
        heavy-tailed
    far : how misses of putts rise with the log of the distance
    curve : shape of the putting curve, "angle", "steep" or "spit-out"
    written : share of putts whose distance is written down
    drops_clean, stays_missed : chance that a missed putt that dropped is called clean, a clean one that
        stayed out is called a miss
    forgets_clean, forgets_miss : chance that the mark is forgotten
    learns : change of the log odds of a miss a round, all phases
    penalty : chance of a penalty throw after a missed drive
    courses : the player changes between so many
    """

    name: str
    says: str
    holes: int = 18
    miss: tuple[float, float, float] = (0.35, 0.30, 0.25)
    unlike: float = 0.45
    trouble: tuple[float, float] = (0.1, 0.5)
    short: tuple[float, float] = (0.05, 0.5)
    stays: tuple[float, float] = (1.0, 3.5)
    alike: bool = False
    hole_miss: float = 0.0
    hole_bad: float = 0.0
    day_miss: float = 0.0
    day_bad: float = 0.0
    own_day: float = 0.2
    heavy: bool = False
    far: float = 0.0
    curve: str = "angle"
    written: float = 1.0
    drops_clean: float = 0.0
    stays_missed: float = 0.0
    forgets_clean: float = 0.0
    forgets_miss: float = 0.0
    learns: float = 0.0
    penalty: float = 0.05
    courses: int = 1


_REAL = {"hole_miss": 0.4, "hole_bad": 0.4, "day_miss": 0.3, "day_bad": 0.3, "far": 0.8}

WORLDS = (
    World("plain", "nothing differs but the players"),
    World("days", "windy days raise misses and worsen what clean throws bring", day_miss=0.5, day_bad=0.5),
    World(
        "distance", "hard holes and long putts raise both", hole_miss=0.6, hole_bad=0.6, far=1.5, own_day=0.1
    ),
    World("alike", "costs alike, with days, holes and distances", alike=True, **_REAL),
    World("biased", "a putt that drops is called clean", drops_clean=0.6, stays_missed=0.3, **_REAL),
    World("misses only", "clean throws are never marked", forgets_clean=1.0, **_REAL),
    World("forgotten", "clean marks are forgotten more often", forgets_clean=0.4, forgets_miss=0.1, **_REAL),
    World("beginners", "most throws miss", miss=(0.6, 0.55, 0.5), **_REAL),
    World("experts", "few throws miss", miss=(0.10, 0.09, 0.07), **_REAL),
    World("nine", "nine holes a round", holes=9, **_REAL),
    World("learning", "everything gets better, 0.02 in log odds a round", learns=-0.02, **_REAL),
    World(
        "storms",
        "rare stormy days, penalties, spit-outs, forgotten marks",
        day_miss=0.4,
        day_bad=0.5,
        heavy=True,
        hole_miss=0.3,
        hole_bad=0.5,
        far=1.0,
        penalty=0.2,
        curve="spit-out",
        forgets_clean=0.15,
        forgets_miss=0.1,
    ),
)

HELD_OUT = (
    World(
        "wanderer",
        "six courses of nine holes, half of the distances written, misses unlike between players",
        holes=9,
        unlike=0.8,
        hole_miss=0.5,
        hole_bad=0.5,
        day_miss=0.2,
        day_bad=0.4,
        far=1.2,
        courses=6,
        written=0.5,
        curve="steep",
    ),
    World(
        "scramble",
        "beginners on steep ground: long putts, penalties, spit-outs, marks forgotten, few distances",
        miss=(0.5, 0.45, 0.4),
        unlike=0.6,
        hole_miss=0.5,
        hole_bad=0.6,
        day_miss=0.3,
        day_bad=0.4,
        far=1.2,
        penalty=0.15,
        curve="spit-out",
        written=0.6,
        forgets_clean=0.25,
        forgets_miss=0.1,
    ),
)


@dataclass(frozen=True)
class Players:
    """Parameters of P players of one world, one row each."""

    world: World
    odds: Floats  # (P, 3) log odds of a miss on a usual hole on a usual day; putts from 5 m
    trouble: Floats  # (P, 2) chance of trouble after a clean and after a missed drive
    short: Floats  # (P, 2) chance of a further approach
    stays: Floats  # (P,) log odds lost by a missed putt
    sigma: Floats  # (P,) of the clean putt's curve, radians
    causes: Floats  # (P, 10) shares of causes
    hard: Floats  # (P, courses, H) how hard the holes are, in sd
    par: NDArray[np.int64]  # (P, courses, H)


@dataclass(frozen=True)
class Played:
    """Rounds of P players: what happened, in columns over all throws, in the order thrown."""

    players: Players
    rounds: int
    course: NDArray[np.int64]  # (P, R)
    score: NDArray[np.int64]  # (P, R, H)
    penalty: NDArray[np.int64]  # (P, R, H)
    throw: dict[str, NDArray]  # player, round, hole, order, phase, column, missed, holed, distance, extra


@dataclass(frozen=True)
class Truth:
    """What is true of each of P players, on the average of their days.

    Rate, misses and cost are those of throws that a card has a column for. `cost` is how many more throws a
    missed throw brings than a clean one in the same situation, averaged over misses; `saved` is how many
    strokes a round fewer it would be if the phase were always clean; `curve` is the chance of holing from
    `CURVE_M`.
    """

    rate: Floats  # (P, 3)
    misses: Floats  # (P, 3) a round
    cost: Floats  # (P, 3)
    saved: Floats  # (P, 3) strokes a round
    curve: Floats  # (P, len(CURVE_M))
    causes: Floats  # (P, 10)


def _sigmoid(z: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-z)))


def _logit(p: Floats | float) -> Floats:
    p = np.clip(p, 1e-6, 1 - 1e-6)
    return np.asarray(np.log(p / (1 - p)))


def players_of(world: World, count: int, generator: np.random.Generator) -> Players:
    """Return `count` players of `world`."""
    g = generator
    odds = _logit(np.array(world.miss)) + world.unlike * g.standard_normal((count, 3))
    trouble = np.full((count, 2), 0.10)
    trouble[:, 1] += g.uniform(*world.trouble, count)
    short = np.full((count, 2), 0.06)
    short[:, 1] += g.uniform(*world.short, count)
    stays = g.uniform(*world.stays, count)
    sigma = np.radians(1.9) * np.exp(0.25 * g.standard_normal(count))
    lead = g.integers(len(CAUSES), size=count)
    causes = g.dirichlet(np.ones(len(CAUSES) - 1), size=count)
    top = g.uniform(0.25, 0.6, count)
    shares = np.empty((count, len(CAUSES)))
    for i in range(count):
        rest = causes[i] * (1 - top[i])
        shares[i] = np.insert(rest, lead[i], top[i])
    par = 3 + (g.random((count, world.courses, world.holes)) < 0.15).astype(np.int64)
    hard = g.standard_normal((count, world.courses, world.holes))
    players = Players(world, odds, trouble, short, stays, sigma, shares, hard, par)
    return _with_costs(players, 0.5) if world.alike else players


def _with_costs(players: Players, strokes: float) -> Players:
    """Return players whose costs of a miss on a usual hole and day are all `strokes`, by bisection."""
    count = len(players.odds)
    flat = replace(
        players,
        hard=np.zeros((count, 1, 1)),
        par=np.full((count, 1, 1), 3, dtype=np.int64),
    )
    for phase in (2, 1, 0):  # putts first: the others' costs contain them
        low, high = np.full(count, -0.05), np.full(count, 6.0 if phase == 2 else 0.93)
        for _ in range(30):
            middle = (low + high) / 2
            flat = _bite(flat, phase, middle)
            values = _values(flat, np.zeros((count, 1)), np.zeros((count, 1), dtype=np.int64), None)
            dear = _typical_cost(flat, values, phase) > strokes
            high, low = np.where(dear, middle, high), np.where(dear, low, middle)
        players = _bite(players, phase, (low + high) / 2)
        flat = _bite(flat, phase, (low + high) / 2)
    return players


def _bite(players: Players, phase: int, by: Floats) -> Players:
    if phase == 2:
        return replace(players, stays=by)
    field = "trouble" if phase == 0 else "short"
    both = getattr(players, field).copy()
    both[:, 1] = np.clip(both[:, 0] + by, 0.01, 0.97)
    return replace(players, **{field: both})


def _typical_cost(players: Players, v: dict[str, Floats], phase: int) -> Floats:
    if phase == 0:
        return (v["drive"][..., 1] - v["drive"][..., 0])[:, 0, 0]
    if phase == 1:
        return (v["approach_q"][..., 1, 0, 1] - v["approach_q"][..., 1, 0, 0])[:, 0, 0]
    at = np.full((len(players.odds), 1, 1), 5.0)
    hole = _holed_chance(players, at, np.zeros_like(at))
    return ((1 - hole[..., 1]) * v["again"][..., 1] - (1 - hole[..., 0]) * v["again"][..., 0])[:, 0, 0]


# -- chances ---------------------------------------------------------------------------------------------


def _holed_chance(players: Players, distance: Floats, worse: Floats) -> Floats:
    """Chance of holing (..., 2), clean and missed; the first axis is the player."""
    from scipy.special import ndtr

    shape = (len(players.odds),) + (1,) * (distance.ndim - 1)
    sigma, stays = players.sigma.reshape(shape), players.stays.reshape(shape)
    angle = 2 * ndtr(np.arcsin(np.minimum(HALF_WIDTH_M / distance, 1.0)) / sigma) - 1
    if players.world.curve == "steep":
        # a logistic curve in metres, through one half where the angle curve is
        even = HALF_WIDTH_M / np.sin(np.minimum(0.6744898 * sigma, 1.5))
        clean = 0.45 * (even - distance)
    elif players.world.curve == "spit-out":
        clean = _logit(0.92 * angle)
    else:
        clean = _logit(angle)
    return np.stack([_sigmoid(clean - worse), _sigmoid(clean - worse - stays)], axis=-1)


def _putt_missed(players: Players, distance: Floats, shift: Floats) -> Floats:
    shape = (len(players.odds),) + (1,) * (distance.ndim - 1)
    far = players.world.far * np.log(distance / 5.0)
    return _sigmoid(players.odds[:, 2].reshape(shape) + far + shift)


_FIRST_PUTT_M, _FIRST_LOG_SD = (5.0, 8.0), 0.5
_NEXT_PUTT_M, _NEXT_LOG_SD = (2.0, 3.0), 0.4


def _putt_distance(median: float, log_sd: float, z: Floats | float, hard: Floats | float) -> Floats:
    return np.clip(median * np.exp(log_sd * np.asarray(z) + 0.1 * np.asarray(hard)), 0.5, 25.0)


def _values(
    players: Players,
    day: Floats,
    course: NDArray[np.int64],
    clean_phase: int | None,
    own: Floats | None = None,
) -> dict[str, Floats]:
    """Expected throws to come by situation, for days (P, R) and courses (P, R); every value (P, R, H, ...).

    With `clean_phase`, that phase is never missed. `own` are (P, R, 3) shifts of the log odds of a miss.
    """
    w = players.world
    index = np.arange(len(players.odds))[:, None]
    hard, par = players.hard[index, course], players.par[index, course]  # (P, R, H)
    day3 = np.broadcast_to(day[:, :, None], hard.shape)
    own = np.zeros((*day.shape, 3)) if own is None else own
    more = w.hole_miss * hard + w.day_miss * day3
    worse = w.hole_bad * hard + w.day_bad * day3

    def missed(phase: int) -> Floats:
        if phase == clean_phase:
            return np.zeros_like(hard)
        return _sigmoid(players.odds[:, None, None, phase] + more + own[:, :, None, phase])

    # Putts: U_e = throws still to come, the next putt included, after a putt of execution e stayed out.
    def putting(median: float, log_sd: float) -> tuple[Floats, Floats]:
        """Return, for a putt whose distance is drawn, the chance of (stays out, execution e), (P,R,H,2)."""
        stays = np.zeros((*hard.shape, 2))
        for z, weight in zip(_NODES, _WEIGHTS, strict=True):
            x = _putt_distance(median, log_sd, z, hard)
            p = (
                np.zeros_like(hard)
                if clean_phase == 2
                else _putt_missed(players, x, more + own[:, :, None, 2])
            )
            out = 1 - _holed_chance(players, x, 0.5 * worse)
            stays += weight * np.stack([(1 - p) * out[..., 0], p * out[..., 1]], axis=-1)
        return stays

    a, b = putting(_NEXT_PUTT_M[0], _NEXT_LOG_SD), putting(_NEXT_PUTT_M[1], _NEXT_LOG_SD)
    # u0 = 1 + a0 u0 + a1 u1, u1 = 1 + b0 u0 + b1 u1
    det = (1 - a[..., 0]) * (1 - b[..., 1]) - a[..., 1] * b[..., 0]
    again = np.stack([(1 - b[..., 1] + a[..., 1]) / det, (1 - a[..., 0] + b[..., 0]) / det], axis=-1)
    first = np.stack([1 + (putting(m, _FIRST_LOG_SD) * again).sum(axis=-1) for m in _FIRST_PUTT_M], axis=-1)
    # Approaches: value of being `left` approaches away, without and with trouble.
    tall = (slice(None), None, None)
    fails = np.stack(
        [_sigmoid(_logit(players.short[:, e])[tall] + worse) for e in (0, 1)], axis=-1
    )  # (P, R, H, 2)
    most = 3
    value = np.zeros((*hard.shape, most + 1, 2))
    approach_q = np.zeros((*hard.shape, most + 1, 2, 2))
    for flag in (0, 1):
        p = (
            np.zeros_like(hard)
            if clean_phase == 1
            else _sigmoid(players.odds[:, None, None, 1] + more + own[:, :, None, 1] + TROUBLE_MISS * flag)
        )
        chance = np.stack([1 - p, p], axis=-1)
        for left in range(1, most + 1):
            nxt = first if left == 1 else np.stack([value[..., left - 1, flag]] * 2, axis=-1)
            stay = (chance * fails).sum(axis=-1)
            value[..., left, flag] = (1 + (chance * (1 - fails) * nxt).sum(axis=-1)) / (1 - stay)
            approach_q[..., left, flag, :] = fails * value[..., left, flag][..., None] + (1 - fails) * nxt
    troubled = np.stack([_sigmoid(_logit(players.trouble[:, e])[tall] + worse) for e in (0, 1)], axis=-1)
    at = (par - 2)[..., None]
    easy = np.take_along_axis(value[..., 0], at, axis=-1)
    hard_way = np.take_along_axis(value[..., 1], at + 1, axis=-1)
    drive = (1 - troubled) * easy + troubled * hard_way
    drive[..., 1] += w.penalty
    p = missed(0)
    total = 1 + (1 - p) * drive[..., 0] + p * drive[..., 1]
    return {
        "total": total,
        "drive": drive,
        "drive_missed": p,
        "troubled": troubled,
        "approach_q": approach_q,
        "fails": fails,
        "again": again,
        "more": more,
        "worse": worse,
        "hard": hard,
        "par": par,
    }


#: An approach out of trouble is missed more often: a reason for scores that no card writes down.
TROUBLE_MISS = 0.4


def _days(
    players: Players, rounds: int, generator: np.random.Generator
) -> tuple[Floats, NDArray[np.int64], Floats]:
    count = len(players.odds)
    if players.world.heavy:
        day = generator.standard_t(3, (count, rounds)) / np.sqrt(3)
    else:
        day = generator.standard_normal((count, rounds))
    course = generator.integers(players.world.courses, size=(count, rounds))
    own = players.world.own_day * generator.standard_normal((count, rounds, 3))
    return day, course, own


def play(  # noqa: PLR0915 - a hole from tee to target, told in the order it is played
    players: Players,
    rounds: int,
    generator: np.random.Generator,
    shift: Floats | None = None,
    days: tuple[Floats, NDArray[np.int64], Floats] | None = None,
) -> Played:
    """Return `rounds` rounds of each player; `shift` (P, R, 3) is added to the log odds of a miss."""
    g, world = generator, players.world
    count, holes = len(players.odds), world.holes
    day, course, own = days or _days(players, rounds, g)
    own = own + world.learns * np.arange(rounds)[None, :, None]
    if shift is not None:
        own = own + shift
    v = _values(players, day, course, None, own)
    shape = (count, rounds, holes)
    rows: list[dict[str, NDArray]] = []
    order = np.zeros(shape, dtype=np.int64)
    penalty = np.zeros(shape, dtype=np.int64)

    def note(
        where: tuple,
        phase: int,
        column: int,
        missed: NDArray,
        holed: NDArray,
        distance: NDArray,
        extra: NDArray,
        p: NDArray,
    ) -> None:
        order[where] += 1
        size = len(where[0])
        rows.append(
            {
                "player": where[0],
                "round": where[1],
                "hole": where[2],
                "order": order[where].copy(),
                "phase": np.full(size, phase),
                "column": np.full(size, column),
                "missed": missed,
                "holed": holed,
                "distance": distance,
                "extra": extra,
                "p": p,
            }
        )

    everywhere = np.nonzero(np.ones(shape, dtype=bool))
    no = np.full(len(everywhere[0]), np.nan)
    missed = g.random(shape)[everywhere] < v["drive_missed"][everywhere]
    note(
        everywhere,
        0,
        0,
        missed,
        np.zeros(len(missed), dtype=bool),
        no,
        (v["drive"][..., 1] - v["drive"][..., 0])[everywhere],
        v["drive_missed"][everywhere],
    )
    e = missed.astype(int).reshape(shape)
    penalty += (e == 1) & (g.random(shape) < world.penalty)
    troubled = g.random(shape) < np.take_along_axis(v["troubled"], e[..., None], axis=-1)[..., 0]
    flag = troubled.astype(int)
    left = v["par"] - 2 + flag
    last = np.zeros(shape, dtype=np.int64)
    for column in range(MOST_APPROACHES):
        at = np.nonzero(left > 0)
        if not len(at[0]):
            break
        p = _sigmoid(players.odds[at[0], 1] + v["more"][at] + own[at[0], at[1], 1] + TROUBLE_MISS * flag[at])
        missed = g.random(len(p)) < p
        q = v["approach_q"][(*at, left[at], flag[at])]
        note(
            at, 1, column, missed, np.zeros(len(p), dtype=bool), np.full(len(p), np.nan), q[:, 1] - q[:, 0], p
        )
        ok = g.random(len(p)) >= v["fails"][(*at, missed.astype(int))]
        if column == MOST_APPROACHES - 1:
            ok[:] = True
            left[at] = 1
        last[at] = missed
        left[at] -= ok
    median = np.array(_FIRST_PUTT_M)[last]
    x = _putt_distance(1.0, _FIRST_LOG_SD, g.standard_normal(shape), v["hard"]) * median
    x = np.clip(x, 0.5, 25.0)
    out = np.ones(shape, dtype=bool)
    for column in range(MOST_PUTTS):
        at = np.nonzero(out)
        if not len(at[0]):
            break
        d = x[at]
        p = _sigmoid(
            players.odds[at[0], 2] + world.far * np.log(d / 5.0) + v["more"][at] + own[at[0], at[1], 2]
        )
        missed = g.random(len(p)) < p
        one = replace(
            players, sigma=players.sigma[at[0]], stays=players.stays[at[0]], odds=players.odds[at[0]]
        )
        chance = _holed_chance(one, d, 0.5 * v["worse"][at])
        holed = g.random(len(p)) < chance[np.arange(len(p)), missed.astype(int)]
        if column == MOST_PUTTS - 1:
            holed[:] = True
        again = v["again"][at]
        note(
            at,
            2,
            column,
            missed,
            holed,
            d,
            (1 - chance[:, 1]) * again[:, 1] - (1 - chance[:, 0]) * again[:, 0],
            p,
        )
        out[at] = ~holed
        nxt = np.array(_NEXT_PUTT_M)[missed.astype(int)]
        x[at] = _putt_distance(1.0, _NEXT_LOG_SD, g.standard_normal(len(p)), v["hard"][at]) * nxt
    throw = {k: np.concatenate([r[k] for r in rows]) for k in rows[0]}
    by = np.lexsort((throw["order"], throw["hole"], throw["round"], throw["player"]))
    throw = {k: c[by] for k, c in throw.items()}
    return Played(players, rounds, course, order + penalty, penalty, throw)


def _even_days(
    players: Players, rounds: int, generator: np.random.Generator
) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Days like those of `_days`, but evenly spread over what days can be: few make a good average."""
    from scipy.special import ndtri, stdtrit

    count = len(players.odds)
    even = (np.arange(rounds) + 0.5) / rounds
    draws = generator.permuted(np.tile(even, (4, count, 1)), axis=2)
    day = stdtrit(3, draws[0]) / np.sqrt(3) if players.world.heavy else ndtri(draws[0])
    course = np.tile(np.arange(rounds) % players.world.courses, (count, 1))
    own = players.world.own_day * np.moveaxis(ndtri(draws[1:]), 0, -1)
    return day, course, own


def truth_of(players: Players, generator: np.random.Generator, rounds: int = 60, at: float = 0.0) -> Truth:
    """Return the truth of each player on the average of many days; `at` is the round, where they learn."""
    count = len(players.odds)
    still = replace(players, world=replace(players.world, learns=0.0))
    day, course, own = _even_days(still, rounds, generator)
    own = own + players.world.learns * at
    every = play(still, rounds, generator, days=(day, course, own)).throw
    shown = every["column"] < np.array([1, APPROACH_COLUMNS, PUTT_COLUMNS])[every["phase"]]
    t = {name: column[shown] for name, column in every.items()}
    key = t["player"] * 3 + t["phase"]

    def by(values: NDArray) -> Floats:
        return np.bincount(key, values, count * 3).reshape(count, 3)

    # Chances of a miss in place of misses: the situations are drawn, what happens in them is not.
    throws, missed = by(np.ones(len(key))), by(t["p"])
    cost = by(t["p"] * t["extra"]) / missed
    total = [_values(still, day, course, k, own)["total"].sum(axis=2).mean(axis=1) for k in (None, 0, 1, 2)]
    saved = np.stack([total[0] - total[k] for k in (1, 2, 3)], axis=1)
    # The curve on the average of days and holes, at distances of its own.
    w = players.world
    hole = np.arange(rounds) % w.holes
    hard = still.hard[np.arange(count)[:, None], course, hole]
    more = (w.hole_miss * hard + w.day_miss * day + own[:, :, 2])[:, :, None]
    worse = 0.5 * (w.hole_bad * hard + w.day_bad * day)[:, :, None]
    x = np.broadcast_to(CURVE_M, (count, rounds, len(CURVE_M)))
    p = _putt_missed(still, x, more)
    chance = _holed_chance(still, x, np.broadcast_to(worse, x.shape))
    curve = ((1 - p) * chance[..., 0] + p * chance[..., 1]).mean(axis=1)
    return Truth(missed / throws, missed / rounds, cost, saved, curve, players.causes)


# -- what the player writes down -------------------------------------------------------------------------


def cards_of(
    played: Played,
    generator: np.random.Generator,
    *,
    first_day: date = date(2030, 4, 1),
    kinder: Floats | float = 0.0,
) -> Iterator[History]:
    """Yield each player's rounds as columns, marked as people of that world mark them.

    `kinder` is the chance that a miss is called clean by an eye that has grown kind: one for all, or (P, 3).
    """
    g, w, t = generator, played.players.world, played.throw
    called = t["missed"].copy()
    putt = t["phase"] == 2
    size = len(called)
    called &= ~(t["missed"] & putt & t["holed"] & (g.random(size) < w.drops_clean))
    called |= ~t["missed"] & putt & ~t["holed"] & (g.random(size) < w.stays_missed)
    kind = np.broadcast_to(kinder, (len(played.players.odds), 3))[t["player"], t["phase"]]
    called &= ~(g.random(size) < kind)
    forgets = np.where(called, w.forgets_miss, w.forgets_clean)
    unmarked = g.random(size) < forgets
    execution = np.where(unmarked, UNMARKED, called.astype(int))
    written = putt & (g.random(size) < w.written) & (t["column"] < 2)
    # Who marks only misses writes a distance beside a miss only.
    written &= ~unmarked if w.forgets_clean >= 1 else True
    on_card = t["column"] < np.where(t["phase"] == 1, APPROACH_COLUMNS, PUTT_COLUMNS)
    shown = on_card & (~unmarked | written)
    # A throw is known where it or a later one of its phase on the hole is on the card; a drive always is.
    hole_key = ((t["player"] * played.rounds + t["round"]) * w.holes + t["hole"]) * 3 + t["phase"]
    last = np.full(int(hole_key.max()) + 1, -1)
    np.maximum.at(last, hole_key[shown], t["column"][shown])
    known = on_card & ((t["column"] <= last[hole_key]) | (t["phase"] == 0))
    ends = np.searchsorted(t["player"], np.arange(len(played.players.odds) + 1))
    for i, (low, high) in enumerate(pairwise(ends)):
        these = np.arange(low, high)[known[low:high]]
        yield _history(played, i, these, execution, written, first_day, g)


def _history(
    played: Played,
    player: int,
    these: NDArray[np.int64],
    execution: NDArray,
    written: NDArray,
    first_day: date,
    g: np.random.Generator,
) -> History:
    w, t = played.players.world, played.throw
    rounds, holes = played.rounds, w.holes
    hole = t["round"][these] * holes + t["hole"][these]
    phase, marks = t["phase"][these], execution[these]
    score = played.score[player].reshape(-1).astype(float)
    penalty = played.penalty[player].reshape(-1).astype(float)
    course = played.course[player]
    par = played.players.par[player][course].reshape(-1).astype(float)
    by_round = np.bincount((t["round"][these] * 3 + phase)[marks == MISS], minlength=rounds * 3)
    misses = by_round.reshape(rounds, 3)
    # Place among the known throws of the hole, as a card is read.
    start = np.searchsorted(hole, np.arange(rounds * holes))
    place = np.arange(len(hole)) - start[hole] + 1
    thrown = np.bincount(hole, minlength=rounds * holes)
    whole = thrown + penalty == score
    last = place == thrown[hole]
    columns = 1 + APPROACH_COLUMNS + PUTT_COLUMNS
    holed = np.where(
        ~last, 0, np.where(whole[hole], 1, np.where((phase == 0) | (thrown[hole] == columns), 0, -1))
    )
    distance = np.where(written[these], np.round(t["distance"][these]), np.nan)
    distance = np.where(distance < 1, 1.0, distance)
    heads = tuple(
        RoundHead(
            id=f"p{player}r{r}",
            day=first_day + timedelta(days=5 * r),
            player=f"P{player}",
            course=f"Course {course[r] + 1}",
            layout="white",
            hand="right",
            wind=None,
            worst=None,
        )
        for r in range(rounds)
    )
    return columns_of(
        list(heads),
        list(_notes(played.players.causes[player], misses, hole, phase, marks, holes, g)),
        np.repeat(np.arange(rounds), holes),
        np.tile(np.arange(1, holes + 1), rounds),
        np.column_stack([score, par, penalty]),
        hole,
        phase * 3 + marks,
        place,
        holed,
        distance,
        np.zeros(len(hole), dtype=np.int64),
    )


def _notes(
    shares: Floats,
    misses: NDArray,
    hole: NDArray,
    phase: NDArray,
    marks: NDArray,
    holes: int,
    g: np.random.Generator,
) -> tuple[MissNote, ...]:
    """One note a hole, on the first miss of the round's phase with most misses."""
    about = misses.argmax(axis=1)
    these = (marks == MISS) & (phase == about[hole // holes])
    _, first = np.unique(hole[these], return_index=True)
    where = hole[these][first]
    causes = np.minimum(np.searchsorted(np.cumsum(shares), g.random(len(where))), len(CAUSES) - 1)
    return tuple(
        MissNote(
            round=int(h // holes),
            hole=int(h % holes) + 1,
            phase=int(about[h // holes]),
            directions=(),
            forehand=False,
            hand="right",
            cause=CAUSES[c],
            words=None,
            picture=None,
        )
        for h, c in zip(where, causes, strict=True)
    )


def first_rounds(history: History, rounds: int) -> History:
    """Return the first `rounds` rounds of some columns."""
    holes = int(np.searchsorted(history.hole_round, rounds))
    throws = int(np.searchsorted(history.throw_hole, holes))
    cut = {
        name: getattr(history, name)[:size]
        for size, names in (
            (rounds, ("heads", "misses", "clean", "unmarked")),
            (
                holes,
                (
                    "hole_round",
                    "hole_number",
                    "hole_score",
                    "hole_par",
                    "hole_penalty",
                    "hole_misses",
                    "hole_unmarked",
                ),
            ),
            (
                throws,
                (
                    "throw_hole",
                    "throw_phase",
                    "throw_execution",
                    "throw_left",
                    "throw_holed",
                    "throw_distance_m",
                    "throw_straddle",
                ),
            ),
        )
        for name in names
    }
    return replace(history, **cut, notes=tuple(n for n in history.notes if n.round < rounds))


def joined(first: History, second: History) -> History:
    """Return the rounds of `first`, then those of `second`, days as they stand."""
    rounds, holes = first.rounds, len(first.hole_round)
    values = {}
    for name in first.__slots__:
        a, b = getattr(first, name), getattr(second, name)
        if name == "notes":
            values[name] = (*a, *(n._replace(round=n.round + rounds) for n in b))
        elif name == "heads":
            values[name] = (*a, *b)
        elif name == "phases":
            values[name] = a
        else:
            add = rounds if name == "hole_round" else holes if name == "throw_hole" else 0
            values[name] = np.concatenate([a, b + add if add else b])
    return History(**values)
