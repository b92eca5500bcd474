"""A season of choosing what to practise, in worlds whose truth is known; run by hand:

``python tests/bench/bench_season.py [--players 60] [--worlds taper,steady] [--report] [--rivals] [--whole]
[--only rule,group] [--believed 0.1] [--seed 1700]``

Regret is how many strokes more a season takes than with all knowledge, on average over players, with its
standard error. `rule` is the tool's rule, `headline` what costs most again and again (what the tool said
before it knew of sessions), `group` the rule told how practice worked for forty others of its world; for
these costs are learnt from sums. `--whole` takes the whole way instead, from records to advice, beside the
rule; last comes how much more it gives up, player by player.
`--rivals` compares ways of choosing, with as much belief in steady gains as `--believed` says. Players and
chances of `--report` are other ones than those that rules were chosen on; worlds marked * were left out of
all choosing.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait for each other cost fourfold
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shortpencil.scan.practice.gains import Laws, group_laws
from tests.seasons.advisers import RIVALS, believing, counts_of_all, expected, headline, rival, whole_tool
from tests.seasons.ahead import looking_ahead, soon_known
from tests.seasons.rules import SIMPLE
from tests.seasons.worlds import WORLDS, Chooser, World, all_knowing, play, players_of

TUNED, REPORTED = 100, 900
WAYS = RIVALS | {"ahead": looking_ahead, "soon known": soon_known}


def group_of(world: World, seed: int, players: int = 40) -> Laws:
    """Return what others of this world, advised by the tool's rule, tell of how practice works."""
    others = players_of(world, players, np.random.default_rng(seed + 50))
    told: list[Laws] = []
    choose = rival(expected)

    def listening(so_far: object) -> object:
        picked = choose(so_far)  # type: ignore[arg-type]
        if len(so_far.seen) == 29:  # type: ignore[attr-defined]
            told.append(group_laws([counts_of_all(so_far)]))  # type: ignore[arg-type]
        return picked

    play(world, others, listening, seed + 51)  # type: ignore[arg-type]
    return told[0]


def main() -> None:
    """Print a line for each world."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=60)
    parser.add_argument("--worlds")
    parser.add_argument("--whole", action="store_true", help="the whole way, records to advice")
    parser.add_argument("--report", action="store_true", help="seeds that nothing was chosen on")
    parser.add_argument(
        "--rivals", action="store_true", help="compare rules for choosing, many players at once"
    )
    parser.add_argument("--believed", type=float, help="that gains are steady, beforehand, for --rivals")
    parser.add_argument("--only", help="of the rules these, with commas between")
    parser.add_argument("--seed", type=int, help="another one")
    args = parser.parse_args()
    seed = args.seed or (REPORTED if args.report else TUNED)
    wanted = args.worlds.split(",") if args.worlds else [w.name for w in WORLDS]
    names = list(WAYS) if args.rivals else ["rule", "headline", "group", *SIMPLE]
    names = ["whole tool", "rule"] if args.whole else names
    names = args.only.split(",") if args.only else names
    print(f"{'world':<14}{'no practice':>12}" + "".join(f"{n:>14}" for n in names), flush=True)
    for world in WORLDS:
        if world.name not in wanted:
            continue
        began = time.process_time()
        players = players_of(world, args.players, np.random.default_rng(seed))
        best = all_knowing(world, players, seed + 1).total
        choosers: dict[str, Chooser] = dict(SIMPLE)
        if args.rivals:
            laws = None if args.believed is None else believing(args.believed)
            choosers = {name: rival(value, laws) for name, value in WAYS.items()}
        else:
            choosers |= {
                "whole tool": whole_tool(),
                "rule": rival(expected),
                "headline": rival(headline),
            }
            if "group" in names:
                choosers["group"] = rival(expected, group_of(world, seed))
        idle = play(world, players, None, seed + 1).total - best
        regrets = [play(world, players, choosers[name], seed + 1).total - best for name in names]
        if args.whole:
            regrets.append(regrets[0] - regrets[-1])
        errors = [r.std(ddof=1) / np.sqrt(len(r)) for r in regrets]
        cells = [f"{idle.mean():>12.1f}"]
        cells += [f"{r.mean():>7.2f} ({e:.2f})" for r, e in zip(regrets, errors, strict=True)]
        star = "*" if world.held_out else ""
        print(f"{world.name + star:<14}{''.join(cells)}  {time.process_time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
