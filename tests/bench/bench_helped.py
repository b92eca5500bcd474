"""How often "it helped" is said of practice that changed nothing, and of practice that did; by hand:

``nice python tests/bench/bench_helped.py [--players 200] [--worlds plain,days] [--sides 10,10] [--report]
[--said] [--seed 47]``

A player has some rounds, practises what `focus` says, has some more rounds. Told are shares of players for
whom a fall is given .95 or more (plain, and beyond the other phases), for whom "it helped" is said; how often
the 90 % ranges of the change hold the true one; and how much better the choice alone was said to look next
time against how much better it did look. In "kinder eye" nothing changes but a fifth of the misses of that
phase are called clean afterwards: no marks can tell that from better throws. `--said` tells only how often
"it helped" is said, a tenth of the work for each player.
"""

from __future__ import annotations

import argparse
import os
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait for each other cost fourfold
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shortpencil.scan.practice.effect import Effect, effect_of
from shortpencil.scan.practice.helped import judged
from shortpencil.scan.practice.phases import phases_of
from tests.practice.worlds import (
    HELD_OUT,
    PHASES,
    WORLDS,
    World,
    cards_of,
    joined,
    play,
    players_of,
    truth_of,
)

START = date(2030, 4, 1)
SAID_SEED = 47  # nothing was chosen on it
CHUNK = 50


def helped(
    world: World, players: int, before: int, after: int, fall: float, seed: int, kinder: float = 0.0
) -> list[dict[str, float]]:
    """Return one row a player; practice lowers the chosen phase's log odds of a miss by `fall`."""
    rows = []
    for start in range(0, players, CHUNK):
        g = np.random.default_rng([seed, start])
        some = players_of(world, min(CHUNK, players - start), g)
        first = list(cards_of(play(some, before, g), g, first_day=START))
        found = [phases_of(e) for e in first]
        chosen = np.array([int(np.argmax([p.p_costs_most for p in f])) for f in found])
        shift = np.zeros((len(chosen), after, 3))
        shift[np.arange(len(chosen)), :, chosen] = -fall
        shift += world.learns * before
        since = START + timedelta(days=5 * before)
        odds = some.odds.copy()
        odds[np.arange(len(chosen)), chosen] -= fall
        then = replace(some, odds=odds + world.learns * before)
        # A kind eye judges only the phase that was practised: others are marked by the same cards as before.
        kind = kinder * (np.arange(3) == chosen[:, None])
        second = list(cards_of(play(some, after, g, shift), g, first_day=since, kinder=kind))
        still = replace(world, learns=0.0)
        now, later = (truth_of(replace(p, world=still), g, rounds=30).rate for p in (some, then))
        for i, (a, b) in enumerate(zip(first, second, strict=True)):
            got = effect_of(joined(a, b), int(chosen[i]), since)
            if not isinstance(got, Effect):
                continue
            k = int(chosen[i])
            change = later[i, k] - now[i, k]
            rates = [f.recent.interval.middle for f in found[i]]
            choosing = slice(max(0, before - 5), before)
            looked = a.misses[choosing, k].sum() / max(a.marked[choosing, k].sum(), 1)
            row = {
                "p .95": got.p_fell >= 0.95,
                "net .95": got.p_net_fell >= 0.95,
                "said": bool(getattr(got, "helped", False)),
                "change held": got.change.low <= change <= got.change.high,
                "net held": got.net_change.low <= change <= got.net_change.high,
            }
            if got.by_choice is not None:
                kind_of = "worst rate" if k == int(np.argmax(rates)) else "not worst rate"
                row |= {f"told {kind_of}": got.by_choice, f"true {kind_of}": looked - now[i, k]}
            rows.append(row)
    return rows


def said(world: World, players: int, before: int, after: int, fall: float, seed: list[int]) -> float:
    """Return the share of players for whom it is said that practice of the phase `focus` named helped."""
    g = np.random.default_rng(seed)
    some = players_of(world, players, g)
    first = list(cards_of(play(some, before, g), g, first_day=START))
    chosen = [int(np.argmax([p.p_costs_most for p in phases_of(e)])) for e in first]
    shift = np.zeros((players, after, 3))
    shift[np.arange(players), :, chosen] = -fall
    since = START + timedelta(days=5 * before)
    second = cards_of(play(some, after, g, shift + world.learns * before), g, first_day=since)
    found = [
        judged(joined(a, b), (), (k, since)).helped(PHASES[k])
        for a, b, k in zip(first, second, chosen, strict=True)
    ]
    return float(np.mean(found))


KEYS = ("p .95", "net .95", "said", "change held", "net held")
POINTS = ("told worst rate", "true worst rate", "told not worst rate", "true not worst rate")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=200)
    parser.add_argument("--worlds", default="")
    parser.add_argument("--sides", default="10,10")
    parser.add_argument("--falls", default="0,0.5,0.8")
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--said", action="store_true", help="only how often it is said")
    parser.add_argument("--seed", type=int, default=SAID_SEED, help="for --said")
    args = parser.parse_args()
    before, after = (int(n) for n in args.sides.split(","))
    wanted = args.worlds.split(",") if args.worlds else None
    if args.said:
        for number, world in enumerate((*WORLDS, *HELD_OUT)):
            for fall in (float(f) for f in args.falls.split(",")):
                if not wanted or world.name in wanted:
                    seed = [args.seed, number, int(10 * fall)]
                    told = said(world, args.players, before, after, fall, seed)
                    print(f"{world.name:<14}{fall:>5}{args.players:>6}{100 * told:>8.1f}", flush=True)
        return
    cases = [(w, 0.0) for w in (*WORLDS, *HELD_OUT)] + [(replace(WORLDS[0], name="kinder eye"), 0.2)]
    print(
        f"{before} rounds, practice, {after} rounds; {args.players} players a line; shares in %, points last"
    )
    print(
        f"{'world':<14}{'fall':>5}{'n':>6}"
        + "".join(f"{k:>13}" for k in KEYS)
        + "".join(f"{k:>21}" for k in POINTS)
    )
    for number, (world, kinder) in enumerate(cases):
        if wanted and world.name not in wanted:
            continue
        for fall in (float(f) for f in args.falls.split(",")):
            seed = (1900 if args.report else 1500) + number
            rows = helped(world, args.players, before, after, fall, seed, kinder)
            told = "".join(f"{100 * np.mean([r[k] for r in rows]):>13.1f}" for k in KEYS)
            points = ""
            for k in POINTS:
                some = [r[k] for r in rows if k in r]
                points += f"{100 * np.mean(some) if some else np.nan:>15.1f} ({len(some):>3})"
            print(f"{world.name:<14}{fall:>5}{len(rows):>6}{told}{points}", flush=True)


if __name__ == "__main__":
    main()
