"""What a belief in steady gains trades: draws docs/figures/exchange.svg and prints its numbers; by hand.

``python -m tests.bench.draw_exchange [--players 80]``

The tool's rule plays seasons of two worlds, gains that taper and gains that are steady, with more and more
belief beforehand in the second; seeds that nothing was chosen on. Regret in strokes with its standard error.
Told besides: how well a season tells the two apart, as the share of pairs of players, one of each world, in
which the one with steady gains is given the higher probability of them.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from shortpencil.scan.practice.gains import WEIGHT_STEADY, Laws, usual_laws
from tests.seasons.advisers import Known, expected, headline, rival
from tests.seasons.rules import SIMPLE
from tests.seasons.worlds import WORLDS, Chooser, Floats, Players, World, all_knowing, play, players_of

FIGURE = Path(__file__).parents[2] / "docs" / "figures" / "exchange.svg"
BELIEFS = (0.0, 0.15, WEIGHT_STEADY, 0.5, 0.65, 0.8, 0.9, 1.0)
SEED = 5000
TOLD_AFTER = (5, 10, 15, 20, 28)
WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 620, 400, 60, 20, 350
PER_STROKE = 38.0

Told = tuple[float, float]  # regret and its standard error


def believing(steady: float) -> Laws:
    """The usual laws, with so much belief in steady gains."""
    usual = usual_laws()
    of = np.where(usual.alike, steady / usual.p_alike, (1 - steady) / (1 - usual.p_alike))
    return replace(usual, weight=tuple(float(w) for w in np.maximum(np.array(usual.weight) * of, 1e-12)))


def regret(world: World, players: Players, best: Floats, choose: Chooser) -> Told:
    """Strokes a season takes more than with all knowledge."""
    more = play(world, players, choose, SEED + 1).total - best
    return float(more.mean()), float(more.std(ddof=1) / np.sqrt(len(more)))


def told_apart(worlds: Sequence[World], count: int) -> list[tuple[int, float, float, float]]:
    """After so many sessions: mean probability of steady gains in both worlds, share of pairs in order."""
    believed: list[dict[int, Floats]] = []
    for world in worlds:
        kept: dict[int, Floats] = {}

        def listening(known: Known, kept: dict[int, Floats] = kept) -> Floats:
            kept[known.at] = known.belief.p_alike().reshape(known.shape)[:, 0]
            return expected(known)

        play(world, players_of(world, count, np.random.default_rng(SEED)), rival(listening), SEED + 1)
        believed.append(kept)
    rows = []
    for at in TOLD_AFTER:
        one, other = (kept[at] for kept in believed)
        order = float((other[:, None] > one).mean() + 0.5 * (other[:, None] == one).mean())
        rows.append((at, float(one.mean()), float(other.mean()), order))
    return rows


def drawn(beliefs: Sequence[tuple[float, Told, Told]], simple: Sequence[tuple[str, Told, Told]]) -> str:
    """The picture: regret where gains taper to the right, where they are steady upwards."""

    def at(taper: Told, steady: Told) -> tuple[float, float]:
        return LEFT + PER_STROKE * taper[0], BOTTOM - PER_STROKE * steady[0] / 1.6

    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        'font-family="sans-serif" font-size="12" aria-labelledby="t"><title id="t">Strokes given up in a '
        "season where gains taper and where they are steady, by what is believed beforehand</title>"
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        f'<path d="M{LEFT} {TOP}V{BOTTOM}H{WIDTH - 20}" fill="none" stroke="black"/>',
        f'<text x="{LEFT}" y="{HEIGHT - 12}">strokes given up in a season where gains taper</text>',
        f'<text x="{-BOTTOM}" y="14" transform="rotate(-90)">where gains are steady</text>',
    ]
    for tick in range(0, 15, 2):
        x, y = at((tick, 0), (tick, 0))
        lines.append(f'<text x="{x:.0f}" y="{BOTTOM + 16}" text-anchor="middle">{tick}</text>')
        lines.append(f'<text x="{LEFT - 8}" y="{y + 4:.0f}" text-anchor="end">{tick}</text>')
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at(one, two) for _, one, two in beliefs))
    lines.append(f'<polyline points="{points}" fill="none" stroke="black" stroke-width="2"/>')
    for belief, one, two in beliefs:
        x, y = at(one, two)
        ours = abs(belief - WEIGHT_STEADY) < 1e-9
        lines.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{6 if ours else 3.5}"/>')
        said = f"believed {belief:.2f}" + (" (the rule)" if ours else "")
        below = 18 if belief > 0.85 else -6  # away from the rule that takes the highest cost each time
        lines.append(f'<text x="{x + 5:.1f}" y="{y + below:.1f}">{said}</text>')
    for name, one, two in simple:
        x, y = at(one, two)
        lines.append(
            f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="none" stroke="black"/>'
        )
        lines.append(f'<text x="{x + 9:.1f}" y="{y - 4:.1f}">{name}</text>')
    return "\n".join([*lines, "</svg>", ""])


def main() -> None:
    """Play, print and draw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=80)
    args = parser.parse_args()
    worlds = [next(w for w in WORLDS if w.name == name) for name in ("taper", "steady", "costs alike")]
    players = [players_of(w, args.players, np.random.default_rng(SEED)) for w in worlds]
    best = [all_knowing(w, p, SEED + 1).total for w, p in zip(worlds, players, strict=True)]

    def all_of(choose: Chooser) -> list[Told]:
        return [regret(w, p, b, choose) for w, p, b in zip(worlds, players, best, strict=True)]

    for at, one, other, order in told_apart(worlds[:2], args.players):
        print(
            f"after {at:>2} sessions: steady believed {one:.2f} and {other:.2f}, in order {order:.2f}",
            flush=True,
        )
    rules = [(f"{belief:.2f}", rival(expected, believing(belief))) for belief in BELIEFS]
    named = {"last count": SIMPLE["last count"], "rotation": SIMPLE["rotation"]}
    rules += [("highest cost", rival(headline)), *named.items()]
    rows = []
    for name, choose in rules:
        told = all_of(choose)
        rows.append((name, *told[:2]))
        print(f"{name:<14}" + "".join(f"{mean:>8.2f} ({error:.2f})" for mean, error in told), flush=True)
    count = len(BELIEFS)
    beliefs = [(b, one, two) for b, (_, one, two) in zip(BELIEFS, rows[:count], strict=True)]
    FIGURE.write_text(drawn(beliefs, rows[count:]), encoding="utf-8")


if __name__ == "__main__":
    main()
