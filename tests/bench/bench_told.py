"""Is what the season page tells true: what a session saves, which phase gains most, "it helped"; by hand:

``nice python tests/bench/bench_told.py [--players 60] [--worlds taper,steady] [--report] [--helped]``

Players of `tests/seasons` follow the tool's rule; after 5, 10, 20 and 29 sessions the tool is asked what to
practise next. Told are the probability that no other phase gains more and how often that was so, how often
the 90 % range of what a session saves holds the truth, and the mean told over the mean true saving, with the
cost of a miss as it is and with what a phase without misses would save for each miss. `--helped` tells how
often "it helped" is said after 30 rounds, where practice works as in that world and where nothing changes.
"""

from __future__ import annotations

import argparse
import os
import sys
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait for each other cost fourfold
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from shortpencil.scan.practice.choice import Choice, choice_of
from shortpencil.scan.practice.focus import Focus, focus_of
from shortpencil.scan.practice.helped import judged
from shortpencil.scan.practice.history import History, history_of
from tests.seasons.advisers import expected, practice_of, rival, round_of
from tests.seasons.worlds import (
    ROUNDS,
    WORLDS,
    Ints,
    Players,
    SoFar,
    World,
    faded,
    odds_after,
    play,
    players_of,
    strokes_by_phase,
)

TUNED, REPORTED = 300, 1300
AFTER = (5, 10, 20, 29)


def followed(world: World, players: Players, seed: int) -> SoFar:
    """Return the season of players who follow the tool's rule."""
    kept: list[SoFar] = []
    choose = rival(expected)

    def listening(so_far: SoFar) -> Ints:
        kept[:] = [so_far]
        return choose(so_far)

    play(world, players, listening, seed)
    return kept[0]


def history_after(so_far: SoFar, p: int, rounds: int) -> History:
    """Return one player's first rounds as columns."""
    return history_of([round_of(so_far.seen[i], p, i) for i in range(rounds)])


def true_savings(world: World, players: Players, so_far: SoFar, sessions: int) -> np.ndarray:
    """Return the strokes a round that one more session of each phase saves, (P, 3)."""
    done = np.zeros((players.count, 3))
    for i in range(sessions):
        done = faded(world, done, i)
        done[np.arange(players.count), so_far.sessions[i]] += 1
    at = sessions
    before = strokes_by_phase(world, players.cost, odds_after(world, players, done, at))
    after = strokes_by_phase(world, players.cost, odds_after(world, players, done + 1, at))
    return np.asarray(before - after)


def with_saved(focus: Focus) -> Focus:
    """Return the focus with what each miss fewer saves in a phase without any, in place of its cost."""
    return replace(focus, phases=tuple(replace(p, cost=p.saved_a_miss) for p in focus.phases))


def told(world: World, count: int, seed: int) -> None:
    """Print the lines of one world."""
    players = players_of(world, count, np.random.default_rng(seed))
    so_far = followed(world, players, seed + 1)
    for sessions in AFTER:
        true = true_savings(world, players, so_far, sessions)
        rows = []
        for p in range(count):
            history = history_after(so_far, p, sessions + 1)
            focus = focus_of(history)
            if focus is None:
                continue
            done, tests = practice_of(so_far, p)
            done, tests = done[:sessions], tests[:sessions]
            as_it_is = choice_of(history, focus, done, tests)
            saved = choice_of(history, with_saved(focus), done, tests)
            rows.append(_row(as_it_is, saved, true[p]))
        mean = {key: float(np.mean([r[key] for r in rows])) for key in rows[0]}
        print(
            f"{world.name:<14}{sessions:>9}{100 * mean['told']:>8.0f}{100 * mean['right']:>7.0f}"
            f"{100 * mean['held']:>7.0f}{mean['saves'] / mean['true']:>13.2f}"
            f"{mean['saves by saved'] / mean['true']:>11.2f}{mean['lost']:>12.4f}"
            f"{mean['lost by saved']:>11.4f}",
            flush=True,
        )


def _row(choice: Choice, saved: Choice, true: np.ndarray) -> dict[str, float]:
    return {
        "told": choice.chosen.p_best,
        "right": choice.number == int(true.argmax()),
        "held": float(
            np.mean([e.saves.low <= t <= e.saves.high for e, t in zip(choice.phases, true, strict=True)])
        ),
        "saves": float(np.mean([e.saves.middle for e in choice.phases])),
        "saves by saved": float(np.mean([e.saves.middle for e in saved.phases])),
        "true": float(true.mean()),
        "lost": float(true.max() - true[choice.number]),
        "lost by saved": float(true.max() - true[saved.number]),
    }


def helped(world: World, count: int, seed: int) -> None:
    """Print how often it is said of this world, and of the same one where practice changes nothing."""
    shares = []
    for gap in ((0.0, 0.0), world.gap):
        one = replace(world, gap=gap)
        players = players_of(one, count, np.random.default_rng(seed))
        so_far = followed(one, players, seed + 1)
        said = [
            judged(history_after(so_far, p, ROUNDS), practice_of(so_far, p)[0]).verdict for p in range(count)
        ]
        shares += [said.count("helped") / count, said.count("not beyond") / count]
    print(f"{world.name:<14}" + "".join(f"{100 * s:>9.1f}" for s in shares), flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=60)
    parser.add_argument("--worlds", default="taper,steady,speeds,days,outcome,beginners,experts,one stuck")
    parser.add_argument("--report", action="store_true", help="seeds that nothing was chosen on")
    parser.add_argument("--helped", action="store_true")
    parser.add_argument("--seed", type=int, help="another one")
    args = parser.parse_args()
    seed = args.seed or (REPORTED if args.report else TUNED)
    if args.helped:
        print("nothing changed: helped, not beyond; practice works: helped, not beyond; % of players")
    else:
        print(
            f"{'world':<14}{'sessions':>9}{'told':>8}{'right':>7}{'held':>7}{'told / true':>13}"
            f"{'by saved':>11}{'given up':>12}{'by saved':>11}"
        )
    for world in WORLDS:
        if world.name in args.worlds.split(","):
            (helped if args.helped else told)(world, args.players, seed)


if __name__ == "__main__":
    main()
