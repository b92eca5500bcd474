"""How often the focus is right, on invented players whose truth is known; by hand:

``python tests/bench/bench_focus_simulation.py [--players 1000] [--figure docs/figures/focus_simulation.svg]``

Each player has miss rates, costs of a miss, causes and a spread between rounds of their own. Known is then
which phase truly costs most strokes a round: throws a round x miss rate x what one miss costs, worked out
exactly for the invented player, not measured. Two worlds: in one the costs of a miss differ between phases,
in the other they are the same, which is what the plain count takes for granted.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from forms.drawing import Shape
from scan.practice.causes import CLEAR, causes_of
from scan.practice.effect import Effect, effect_of
from scan.practice.evidence import evidence_of
from scan.practice.model import p_rate_fell
from scan.practice.phases import phases_of
from scan.practice.picture import (
    HEAD_PT,
    LIGHT,
    SMALL_PT,
    SOFT,
    Picture,
    dashed,
    dot,
    line,
    path,
    text,
    to_svg,
)
from tests.practice.invented import CAUSES, PHASES, Player, rounds_of

ROUNDS = (1, 3, 10, 30)
HOLES = 18


def a_player(generator: np.random.Generator, equal_costs: bool) -> Player:
    """Return an invented player: miss rates about 30 %, one cause leading with 40 %, rounds that differ."""
    odds = np.log(0.3 / 0.7) + 0.4 * generator.standard_normal(3)
    rest = generator.dirichlet(np.ones(len(CAUSES) - 1)) * 0.6
    lead = int(generator.integers(len(CAUSES)))
    cost = (0.5, 0.5, 0.45) if equal_costs else tuple(generator.uniform((0.2, 0.3, 0.4), (0.6, 0.7, 0.9)))
    return Player(
        miss=tuple(1 / (1 + np.exp(-odds))),
        cost=cost,
        spread=float(generator.uniform(0.0, 0.5)),
        causes=(*rest[:lead], 0.4, *rest[lead:]),
    )


def truth_of(player: Player) -> tuple[np.ndarray, np.ndarray]:
    """Return the mean miss rates and the strokes a round that misses of each phase cost.

    In the invented game a costly drive brings one approach more, a costly last approach one more, a costly
    putt a next one, up to three; so the score moves by d, a and t + 2 t^2 a hole, each a rate times a cost.
    """
    nodes, weight = np.polynomial.hermite_e.hermegauss(21)
    odds = np.log(np.array(player.miss) / (1 - np.array(player.miss)))
    rates = (1 / (1 + np.exp(-(odds[:, None] + player.spread * nodes)))) @ (weight / weight.sum())
    d, a, t = rates * np.array(player.cost)
    return rates, HOLES * np.array([d, a, t + 2 * t * t])


def focus_world(players: int, equal_costs: bool, seed: int) -> dict[int, dict[str, float]]:
    """Return shares by number of rounds: focus right by three rules, ranges that hold the truth, causes."""
    generator = np.random.default_rng(seed)
    rows: dict[int, list[dict[str, float]]] = {n: [] for n in ROUNDS}
    for _ in range(players):
        player = a_player(generator, equal_costs)
        rates, lost = truth_of(player)
        worst, cause = int(lost.argmax()), CAUSES[int(np.argmax(player.causes))]
        rounds = rounds_of(player, max(ROUNDS), generator)
        for n in ROUNDS:
            e = evidence_of(rounds[:n])
            found = phases_of(e)
            p = [f.p_costs_most for f in found]
            ours, count = int(np.argmax(p)), int(e.misses.sum(axis=0).argmax())
            notes = causes_of(e, ours, PHASES[ours])
            share = next((c for c in notes.causes if c.id == cause), None)
            rows[n].append(
                {
                    "ours": ours == worst,
                    "count": count == worst,
                    "rate": int(np.argmax([f.p_highest_rate for f in found])) == worst,
                    "p": max(p),
                    "clear": max(p) >= CLEAR,
                    "clear and right": max(p) >= CLEAR and ours == worst,
                    "lost, ours": lost[ours] / lost.max(),
                    "lost, count": lost[count] / lost.max(),
                    "rate held": np.mean(
                        [
                            f.recent.interval.low <= r <= f.recent.interval.high
                            for f, r in zip(found, rates, strict=True)
                        ]
                    ),
                    "strokes held": np.mean(
                        [
                            f.strokes_a_round.low <= s <= f.strokes_a_round.high
                            for f, s in zip(found, lost, strict=True)
                        ]
                    ),
                    "share held": np.nan if not notes.notes else share.share.low <= 0.4 <= share.share.high,
                    "cause right": np.nan if not notes.notes else notes.leading.id == cause,
                    "cause clear": np.nan if not notes.notes else notes.level == "clear",
                    "cause clear and right": np.nan
                    if not notes.notes
                    else notes.level == "clear" and notes.leading.id == cause,
                }
            )
    return {n: {k: float(np.nanmean([r[k] for r in rows[n]])) for k in rows[n][0]} for n in ROUNDS}


def effect_world(players: int, seed: int, fall: float, before: int = 10, after: int = 10) -> dict[str, float]:
    """Return how often a fall is called likely (.90) where practice lowered the log odds of a miss by `fall`.

    Compared are the five rounds that chose the focus as "before", and our way without them.
    """
    generator = np.random.default_rng(seed)
    rows = []
    for _ in range(players):
        player = replace(
            a_player(generator, False), miss=tuple(np.clip(generator.normal(0.3, 0.03, 3), 0.1, 0.6))
        )
        rounds = rounds_of(player, before, generator)
        e = evidence_of(rounds)
        k = int(np.argmax([f.p_costs_most for f in phases_of(e)]))
        miss = list(player.miss)
        odds = np.log(miss[k] / (1 - miss[k])) - fall
        miss[k] = float(1 / (1 + np.exp(-odds)))
        since = rounds[-1].day + timedelta(days=5)
        later = rounds_of(replace(player, miss=tuple(miss)), after, generator, start=since, prefix="s")
        both = evidence_of([*rounds, *later])
        got = effect_of(both, k, since)
        assert isinstance(got, Effect)

        def pair(at: slice, e: object = both, k: int = k) -> tuple[int, int]:
            return int(e.misses[at, k].sum()), int(e.marked[at, k].sum())  # type: ignore[attr-defined]

        plain = p_rate_fell(pair(slice(before - 5, before)), pair(slice(before, None)))
        rows.append(
            {
                "choosing rounds as before": plain >= CLEAR,
                "other rounds as before": got.p_fell >= CLEAR,
                "the same, beyond other phases": got.p_net_fell >= CLEAR,
            }
        )
    return {k: float(np.mean([r[k] for r in rows])) for k in rows[0]}


def figure(
    worlds: dict[str, dict[int, dict[str, float]]], effects: dict[str, dict[str, float]], players: int
) -> Picture:
    """Return the three panels: focus right, ranges that hold the truth, falls that are none."""
    width, panel = 182.0, 52.0
    shapes: list[Shape] = []
    (unequal, equal) = worlds.values()
    shapes += _panel(
        0,
        panel,
        "Right phase, costs differ",
        [(unequal, "ours", True), (unequal, "count", False)],
        ("focus", "plain count"),
    )
    shapes += _panel(
        65,
        panel,
        "Right phase, costs alike",
        [(equal, "ours", True), (equal, "count", False)],
        ("focus", "plain count"),
    )
    shapes += _panel(
        130,
        panel,
        "90 % ranges hold the truth",
        [(unequal, "rate held", True), (unequal, "strokes held", False)],
        ("miss rate", "strokes a round"),
        target=0.9,
    )
    y = 64.0
    shapes.append(text(0, y, "How often a fall of misses is given 90 % or more", size_pt=HEAD_PT, bold=True))
    shapes.append(
        text(
            0,
            y + 3.8,
            "10 rounds before, 10 after; the worst-looking phase was practised",
            size_pt=SMALL_PT,
            grey=SOFT,
        )
    )
    for column, (name, shares) in enumerate(effects.items()):
        x = 62 + column * 62
        shapes.append(text(x, y + 8.6, name, size_pt=SMALL_PT, bold=True))
        for row, (how, share) in enumerate(shares.items()):
            at = y + 13.6 + row * 5.2
            if column == 0:
                shapes.append(text(0, at, how, size_pt=SMALL_PT))
            shapes.append(
                line(
                    x,
                    at - 1,
                    x + 40 * share,
                    at - 1,
                    width_mm=2.2,
                    grey=0.0 if how != "choosing rounds as before" else 0.6,
                )
            )
            shapes.append(text(x + 40 * share + 2, at, f"{share * 100:.0f} %", size_pt=SMALL_PT))
    return Picture(
        "How often the focus is right, on invented players",
        f"{players} invented players with a known worst phase; shares after 1, 3, 10 and 30 rounds.",
        width,
        y + 28,
        tuple(shapes),
    )


def _panel(
    x0: float, width: float, title: str, series: list, names: tuple[str, str], target: float | None = None
) -> list[Shape]:
    top, base, left = 12.0, 48.0, x0 + 9
    shapes: list[Shape] = [text(x0, 3.6, title, size_pt=HEAD_PT, bold=True)]

    def at(n: int) -> float:
        return left + 3 + (width - 14) * np.log(n) / np.log(max(ROUNDS))

    def y(share: float) -> float:
        return base - (base - top) * share

    for tick in (0, 0.25, 0.5, 0.75, 1.0):
        shapes.append(line(left, y(tick), x0 + width, y(tick), width_mm=0.15, grey=LIGHT))
        shapes.append(
            text(left - 1, y(tick) + 1, f"{tick * 100:.0f} %", size_pt=SMALL_PT, anchor="right", grey=SOFT)
        )
    if target is not None:
        shapes += dashed(left, y(target), x0 + width, y(target))
    for n in ROUNDS:
        shapes.append(text(at(n), base + 3.8, str(n), size_pt=SMALL_PT, anchor="middle", grey=SOFT))
    shapes.append(text(x0 + width, base + 7.4, "rounds", size_pt=SMALL_PT, anchor="right", grey=SOFT))
    for world, key, filled in series:
        points = [(at(n), y(world[n][key])) for n in ROUNDS]
        shapes += path(points, width_mm=0.5, grey=0.0 if filled else 0.45)
        for point in points:
            shapes += dot(*point, radius_mm=1.1, filled=filled)
    shapes += dot(x0 + 1.2, 7.0, radius_mm=1.0, filled=True)
    shapes.append(text(x0 + 3.2, 8.0, names[0], size_pt=SMALL_PT))
    shapes += dot(x0 + 24.2, 7.0, radius_mm=1.0, filled=False)
    shapes.append(text(x0 + 26.2, 8.0, names[1], size_pt=SMALL_PT))
    return shapes


def main() -> None:
    """Run both worlds and the effects, print tables, write the figure if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=1000)
    parser.add_argument("--figure", type=Path)
    args = parser.parse_args()
    worlds = {}
    for name, equal in (("costs of a miss differ", False), ("costs of a miss alike", True)):
        worlds[name] = focus_world(args.players, equal, seed=20)
        print(f"\n{name}, {args.players} players")
        keys = list(worlds[name][1])
        print(f"{'rounds':<26}" + "".join(f"{n:>8}" for n in ROUNDS))
        for key in keys:
            print(f"{key:<26}" + "".join(f"{worlds[name][n][key]:>8.3f}" for n in ROUNDS))
    effects = {
        "nothing changed": effect_world(args.players, 21, 0.0),
        "misses fell (30 % to 16 %)": effect_world(args.players, 22, 0.8),
    }
    print("\na fall of misses given .90 or more")
    for name, shares in effects.items():
        print(f"{name:<30}" + "   ".join(f"{k}: {v:.3f}" for k, v in shares.items()))
    if args.figure:
        args.figure.write_text(to_svg(figure(worlds, effects, args.players)), encoding="utf-8")
        print(f"\n{args.figure}")


if __name__ == "__main__":
    main()
