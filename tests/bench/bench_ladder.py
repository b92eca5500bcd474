"""What putting ladders add to the curve of putts in rounds, for invented players whose truth is known.

    python -m tests.bench.bench_ladder --seed 7100 --players 200

Nothing of `scan.practice` makes the players. Each world says how much easier practice is (log odds at 5 m,
and how that changes with the log of the distance, mean and sd each). Printed are, with and without ladders,
how often the 90 % band of the curve holds the true chance from 2 to 12 m in a round, how wide it is, the
error of its middle in points and the mean of (error with - without), with its standard error.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr

from shortpencil.scan.practice.putting import Curve, Rung, _curve, ladders_of

Floats = NDArray[np.float64]

AT = np.arange(2.0, 13.0)
#: Easier by, at 5 m, and by so much more a log of the distance: mean and sd.
WORLDS = {
    "alike": ((0.0, 0.0), (0.0, 0.0)),
    "easier": ((0.6, 0.3), (0.0, 0.0)),
    "harder": ((-0.5, 0.2), (0.0, 0.0)),
    "far easier": ((1.5, 0.0), (0.0, 0.0)),
    "easier from far": ((0.3, 0.3), (0.8, 0.3)),
    "easier from near": ((0.3, 0.3), (-0.6, 0.3)),
    "all kinds": ((0.3, 0.7), (0.1, 0.4)),
}
#: Rounds and days with a ladder.
SEASONS = ((2, 1), (3, 6), (10, 3), (10, 15), (40, 15))
START = date(2030, 4, 1)
RUNGS = (np.arange(3.0, 11.0), np.arange(2.0, 13.0, 2.0))


def log_odds_of(draws: np.random.Generator) -> Callable[[Floats], Floats]:
    """Return a player's log odds of holing in a round, by distance."""
    if draws.random() < 0.3:  # a straight line, which no angle makes
        even, slope = draws.normal(6.0, 1.5), draws.normal(0.6, 0.12)
        return lambda x: np.asarray(slope * (even - x))
    sigma = np.radians(2.5) * np.exp(0.45 * draws.standard_normal())
    spit_out, level, slope = 0.05 * (draws.random() < 0.3), *draws.normal(0, 0.35, 2)

    def log_odds(x: Floats) -> Floats:
        chance = (1 - spit_out) * (2 * ndtr(np.arcsin(0.285 / np.maximum(x, 0.6)) / sigma) - 1)
        chance = np.clip(chance, 1e-6, 1 - 1e-6)
        return np.asarray(np.log(chance / (1 - chance)) + level + slope * np.log(x / 5.0))

    return log_odds


def season(
    world: str, rounds: int, days: int, draws: np.random.Generator
) -> tuple[Floats, Curve | None, Curve | None]:
    """Return a player's true chances at `AT`, and the curve without and with their ladders."""
    f = log_odds_of(draws)
    easier, more = (draws.normal(mean, sd) for mean, sd in WORLDS[world])
    at_round = np.repeat(np.arange(rounds), draws.poisson(12, rounds))
    x = np.clip(np.round(np.exp(np.log(4) + 0.55 * draws.standard_normal(len(at_round)))), 1.0, 20.0)
    holed = draws.random(len(x)) < expit(f(x) + draws.normal(0, 0.3, rounds)[at_round])
    true = expit(f(AT)[:, None] + draws.normal(0, 0.3, 400)).mean(axis=1)
    rungs = []
    heights = RUNGS[int(draws.integers(2))]
    for day in range(days):
        that_day = draws.normal(0, 0.35)
        for metres in heights:
            chance = expit(float(f(metres)) + easier + more * np.log(metres / 5.0) + that_day)
            made = int(draws.binomial(10, chance))
            rungs.append(Rung(START + timedelta(days=day), float(metres), 10, made))
            if made < 7 and draws.random() < 0.6:  # up while seven or more drop, as a rule
                break
    played = [START + timedelta(days=int(d)) for d in np.linspace(0, max(days, 1), rounds)]
    curves = [_curve(x, holed, at_round, rounds, some)[0] for some in (None, ladders_of(rungs, played))]
    return true, curves[0], curves[1]


def told(true: Floats, curve: Curve) -> tuple[float, float, float, float]:
    """Return how much of it the band holds, its width, the error of the middle and that with its sign."""
    low, middle, high = (np.interp(AT, curve.distance_m, of) for of in (curve.low, curve.middle, curve.high))
    held = (low <= true) & (true <= high)
    away = middle - true
    return float(held.mean()), float((high - low).mean()), float(np.abs(away).mean()), float(away.mean())


def compared(world: str, rounds: int, days: int, players: int, seed: int) -> Floats:
    """Return `told` of each player that has a curve, without and with ladders, (N, 2, 4)."""
    draws = np.random.default_rng(seed)
    found = []
    for _ in range(players):
        true, without, with_them = season(world, rounds, days, draws)
        if without is not None and with_them is not None:
            found.append([told(true, without), told(true, with_them)])
    return np.array(found)


def _error(of: Floats) -> float:
    return float(of.std(ddof=1) / len(of) ** 0.5)


def main() -> None:
    """Print a line a world and season."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--players", type=int, default=200)
    asked = parser.parse_args()
    for number, world in enumerate(WORLDS):
        for rounds, days in SEASONS:
            of = compared(world, rounds, days, asked.players, asked.seed + number)
            (held, width, error, sign), (held_, width_, error_, sign_) = 100 * of.mean(axis=0)
            more = 100 * (of[:, 1, 2] - of[:, 0, 2])
            line = [
                f"{world:<16} {rounds:>3} rounds, {days:>2} ladders, {len(of):>3} players",
                f"held {held:.0f} -> {held_:.0f} %",
                f"width {width:.1f} -> {width_:.1f}",
                f"error {error:.2f} -> {error_:.2f} ({more.mean():+.2f}, {_error(more):.2f})",
                f"signed {sign:+.1f} -> {sign_:+.1f}",
            ]
            print("; ".join(line), flush=True)


if __name__ == "__main__":
    main()
