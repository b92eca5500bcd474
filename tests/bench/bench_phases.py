"""Do ranges hold in a game of four phases? `python -m tests.bench.bench_phases --players 200 --seed 31`.

Invented players on the card of four phases (`tests.practice.test_games.four_phase_rounds`): each missed throw
but a drive brings one more throw of its phase with a chance of .7 (`--again`), so that what a miss costs is
known.
"""

from __future__ import annotations

import argparse

import numpy as np

from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.phases import phases_of
from tests.practice.test_games import FOUR, four_phase_rounds

AGAIN = 0.7
HOLES = np.array([18, 6, 18, 18])  # fairway throws on every third hole


def main() -> None:
    """Print how often 90 % ranges held the truth, by phase."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=200)
    parser.add_argument("--rounds", default="5,15")
    parser.add_argument("--seed", type=int, default=2024)
    parser.add_argument("--again", type=float, default=AGAIN, help="chance that a missed one brings another")
    args = parser.parse_args()
    generator = np.random.default_rng(args.seed)
    print(f"{'rounds':<7}{'range of':<9}" + "".join(f"{p.id:>9}" for p in FOUR))
    for rounds in map(int, args.rounds.split(",")):
        held, off, found = np.zeros((3, len(FOUR))), np.zeros(len(FOUR)), 0
        for player in range(args.players):
            miss = generator.uniform(0.15, 0.5, len(FOUR))
            cost = np.where([p.role == "tee" for p in FOUR], 0, args.again / (1 - args.again * miss))
            lost = HOLES * miss * cost
            cards = four_phase_rounds(rounds, np.random.default_rng([args.seed, player]), miss, args.again)
            told = phases_of(history_of(cards))
            for k, p in enumerate(told):
                ranges = (p.recent.interval, p.cost, p.strokes_a_round)
                truths = (miss[k], cost[k], lost[k])
                held[:, k] += [r.low <= truth <= r.high for r, truth in zip(ranges, truths, strict=True)]
                off[k] += p.cost.middle - cost[k]
            found += int(np.argmax(lost) == np.argmax([p.p_costs_most for p in told]))
        for name, row in zip(("rate", "cost", "strokes"), held, strict=True):
            print(f"{rounds:<7}{name:<9}" + "".join(f"{100 * n / args.players:>8.0f}%" for n in row))
        print(f"{rounds:<7}{'cost off':<9}" + "".join(f"{x / args.players:>9.2f}" for x in off))
        print(f"{rounds:<7}the phase that costs most was named for {100 * found / args.players:.0f} %")


if __name__ == "__main__":
    main()
