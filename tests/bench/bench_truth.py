"""Do the ranges hold, and are the probabilities what they say? In worlds whose truth is known; by hand:

``nice python tests/bench/bench_truth.py [--players 100] [--worlds plain,days] [--rounds 1,5,30,100]
[--outlook]``

Told are, for each world and number of rounds, how often a 90 % range holds the truth, how often a statement
with a probability is right beside the probability told, and what the choice is worth. Worlds marked * were
not looked at while the formulas were made. `--outlook` tells instead how often a phase was clear after the
number of rounds that the page told players of six rounds, and 40 rounds later where it told none. Seeds: 500
upwards to tune with, 900 upwards with ``--report``.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait for each other cost fourfold
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shortpencil.scan.practice.causes import causes_of
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.phases import phases_of, recent_rounds
from shortpencil.scan.practice.putting import putting_of
from tests.practice.worlds import (
    CAUSES,
    CURVE_M,
    HELD_OUT,
    PHASES,
    WORLDS,
    World,
    cards_of,
    first_rounds,
    play,
    players_of,
    truth_of,
)

HALF_LIFE = 5.0
CHUNK = 50


def mean_age(rounds: int) -> float:
    """Return how many rounds ago, on weighted average, what is told of recent rounds happened."""
    age = np.arange(rounds)[::-1]
    weight = 0.5 ** (age / HALF_LIFE) * recent_rounds(rounds, HALF_LIFE)
    return float(weight @ age / weight.sum())


def judged(e: History, truth: dict[str, np.ndarray]) -> dict[str, float]:
    """Return what of one player's numbers held, by name; missing where nothing was told."""
    found = phases_of(e)
    row: dict[str, float] = {}
    for k, f in enumerate(found):
        short = PHASES[k][0]
        for name, interval, true in (
            ("rate", f.recent.interval, truth["rate"][k]),
            ("cost", f.cost, truth["cost"][k]),
            ("strokes", f.strokes_a_round, truth["saved"][k]),
        ):
            if np.isfinite(interval.middle):
                row[f"{name} {short}"] = interval.low <= true <= interval.high
                row[f"{name} {short} off"] = interval.middle - true
                row[f"{name} {short} wide"] = interval.high - interval.low
    p = np.array([f.p_costs_most for f in found])
    ours, worst = int(p.argmax()), int(np.argmax(truth["saved"]))
    row |= {"p most": p[ours], "right": ours == worst}
    row["brier"] = float(np.sum((p - (np.arange(3) == worst)) ** 2))
    row["worth"] = truth["saved"][ours] / truth["saved"].max()
    row["worth count"] = truth["saved"][int(e.misses.sum(axis=0).argmax())] / truth["saved"].max()
    for level, low, high in (("clear", 0.9, 1.01), ("likely", 0.7, 0.9), ("open", 0.0, 0.7)):
        if low <= p[ours] < high:
            row |= {f"{level} told": p[ours], f"{level} right": ours == worst}
    phase = int(np.bincount([n.phase for n in e.notes], minlength=3).argmax())
    causes = causes_of(e, phase, PHASES[phase])
    if causes.leading is not None:
        lead = causes.leading
        true = truth["causes"][CAUSES.index(lead.id)]
        row["share"] = lead.share.low <= true <= lead.share.high
        row["share off"] = lead.share.middle - true
        row |= {"cause told": lead.p_leads, "cause right": true == truth["causes"].max()}
    curve = putting_of(e).curve
    if curve is not None:
        for at in (3.0, 5.0, 7.0, 9.0):
            if at <= curve.longest_m:
                true = truth["curve"][list(CURVE_M).index(at)]
                low, high = (float(np.interp(at, curve.distance_m, c)) for c in (curve.low, curve.high))
                # as it is told, in whole percent: a band of 99.7 to 99.9 % is read as 100 %
                row[f"curve {at:.0f}"] = low - 0.005 <= true <= high + 0.005
                row[f"curve {at:.0f} wide"] = high - low
    return row


def rows_of(
    world: World, players: int, rounds: tuple[int, ...], seed: int
) -> dict[int, list[dict[str, float]]]:
    """Return the judged rows of `players` players by number of rounds."""
    rows: dict[int, list[dict[str, float]]] = {n: [] for n in rounds}
    for start in range(0, players, CHUNK):
        g = np.random.default_rng([seed, start])
        some = players_of(world, min(CHUNK, players - start), g)
        truths = {
            n: truth_of(some, g, at=n - 1 - mean_age(n)) if world.learns or n == rounds[0] else None
            for n in rounds
        }
        for i, e in enumerate(cards_of(play(some, max(rounds), g), g)):
            for n in rounds:
                truth = truths[n] or truths[rounds[0]]
                assert truth is not None
                one = {name: getattr(truth, name)[i] for name in truth.__dataclass_fields__}
                cut = first_rounds(e, n)
                if cut.misses.sum():
                    rows[n].append(judged(cut, one))
    return rows


def mean_of(rows: list[dict[str, float]], key: str) -> float:
    """Return the mean of what was told under a name; NaN where nothing was."""
    told = [r[key] for r in rows if key in r]
    return float(np.mean(told)) if told else float("nan")


COLUMNS = (
    *(f"{name} {short}" for name in ("rate", "cost", "strokes") for short in "dap"),
    "share",
    *(f"curve {at}" for at in (3, 5, 7, 9)),
)
P_COLUMNS = (
    *("p most", "right", "brier", "worth", "worth count"),
    *(f"{name} {what}" for name in ("clear", "likely", "open", "cause") for what in ("told", "right")),
)


OUTLOOK_ROUNDS, MOST_MORE = 6, 40


def outlooks(world: World, players: int, seed: int) -> list[tuple[int | None, bool]]:
    """Return, of players to whom no phase is clear yet, the number told, and whether it was clear by then."""
    g = np.random.default_rng([seed, 1])
    found = []
    for e in cards_of(play(players_of(world, players, g), OUTLOOK_ROUNDS + MOST_MORE, g), g):
        now = focus_of(first_rounds(e, OUTLOOK_ROUNDS))
        if now is None or now.level == "clear":
            continue
        later = focus_of(first_rounds(e, OUTLOOK_ROUNDS + (now.more_rounds or MOST_MORE)))
        found.append((now.more_rounds, later is not None and later.level == "clear"))
    return found


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=100)
    parser.add_argument("--worlds", default="")
    parser.add_argument("--rounds", default="1,5,30,100")
    parser.add_argument("--report", action="store_true")
    parser.add_argument(
        "--outlook", action="store_true", help="how often the number of rounds told came true"
    )
    parser.add_argument("--off", action="store_true", help="print biases and widths too")
    args = parser.parse_args()
    rounds = tuple(int(n) for n in args.rounds.split(","))
    wanted = args.worlds.split(",") if args.worlds else None
    seed = 900 if args.report else 500
    every = (*WORLDS, *HELD_OUT) if args.report or wanted else WORLDS
    for number, world in enumerate(every):
        if wanted and world.name not in wanted:
            continue
        name = f"{world.name}{'*' if world in HELD_OUT else ''}"
        if args.outlook:
            told = outlooks(world, args.players, seed + number)
            for kind, of in (
                ("a number", [c for n, c in told if n]),
                ("none", [c for n, c in told if not n]),
            ):
                print(f"{name}: told {kind}: {len(of)} players, clear then: {sum(of)}", flush=True)
            continue
        rows = rows_of(world, args.players, rounds, seed + number)
        print(f"\n{name}: {world.says}; {args.players} players")
        print(f"{'rounds':<8}" + "".join(f"{c:>10}" for c in COLUMNS))
        for n in rounds:
            print(f"{n:<8}" + "".join(f"{100 * mean_of(rows[n], c):>10.0f}" for c in COLUMNS))
            if args.off:
                for what in ("off", "wide"):
                    print(
                        f"{what:<8}" + "".join(f"{mean_of(rows[n], f'{c} {what}'):>10.3f}" for c in COLUMNS)
                    )
        print(f"{'rounds':<8}" + "".join(f"{c:>13}" for c in P_COLUMNS))
        for n in rounds:
            told = "".join(f"{mean_of(rows[n], c):>13.3f}" for c in P_COLUMNS)
            print(f"{n:<8}{told}", flush=True)


if __name__ == "__main__":
    main()
