"""What a belief in steady gains trades, and what nobody can have: draws docs/figures/exchange.svg; by hand.

``python -m tests.bench.draw_exchange [--players 80]``

The tool's rule plays seasons of two worlds, gains that taper and gains that are steady, with more and more
belief beforehand in the second; so do rules that look ahead, one that is told more than any card can tell,
and one that knows all but the world (`tests/seasons/ahead.py`). Seeds that nothing was chosen on. Regret in
strokes with its standard error. Told besides: how well a season tells the two apart, as the share of pairs of
players, one of each world, in which the one with steady gains is given the higher probability of them.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from shortpencil.scan.practice.gains import WEIGHT_STEADY, Laws
from tests.seasons.advisers import Known, believing, expected, headline, rival
from tests.seasons.ahead import informed, laws_of, limit, looking_ahead, soon_known
from tests.seasons.rules import SIMPLE
from tests.seasons.worlds import WORLDS, Chooser, Floats, Players, World, all_knowing, play, players_of

FIGURE = Path(__file__).parents[2] / "docs" / "figures" / "exchange.svg"
BELIEFS = (0.0, 0.15, WEIGHT_STEADY, 0.5, 0.65, 0.8, 0.9, 1.0)
AHEAD, SOON = (0.15, WEIGHT_STEADY, 0.5, 0.65), (0.02, 0.05, 0.1, 0.2, WEIGHT_STEADY)
INFORMED = (WEIGHT_STEADY, 0.5, 0.65, 0.8, 0.9)
LIMITS = (0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95)
#: What is asked: below half of 4.3 where gains taper, and where they are steady not above the highest cost.
ASKED = 2.15
SEED = 5000
TOLD_AFTER = (5, 10, 15, 20, 28)
WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 620, 400, 60, 20, 350
PER_STROKE = 38.0

Told = tuple[float, float]  # regret and its standard error


def regret(world: World, players: Players, best: Floats, choose: Chooser) -> Told:
    """Strokes a season takes more than with all knowledge."""
    more = play(world, players, choose, SEED + 1).total - best
    return float(more.mean()), float(more.std(ddof=1) / np.sqrt(len(more)))


def told_apart(
    worlds: Sequence[World], count: int, laws: Laws | None = None
) -> list[tuple[int, float, float, float]]:
    """After so many sessions: mean probability of steady gains in both worlds, share of pairs in order.

    `laws` are believed of gains beforehand, None for the tool's own.
    """
    believed: list[dict[int, Floats]] = []
    for world in worlds:
        kept: dict[int, Floats] = {}

        def listening(known: Known, kept: dict[int, Floats] = kept) -> Floats:
            kept[known.at] = known.belief.p_alike().reshape(known.shape)[:, 0]
            return expected(known)

        play(world, players_of(world, count, np.random.default_rng(SEED)), rival(listening, laws), SEED + 1)
        believed.append(kept)
    rows = []
    for at in TOLD_AFTER:
        one, other = (kept[at] for kept in believed)
        order = float((other[:, None] > one).mean() + 0.5 * (other[:, None] == one).mean())
        rows.append((at, float(one.mean()), float(other.mean()), order))
    return rows


#: A curve of the picture: its name, its stroke, and where it goes.
Curve = tuple[str, str, Sequence[tuple[Told, Told]]]


def drawn(
    beliefs: Sequence[tuple[float, Told, Told]],
    curves: Sequence[Curve],
    simple: Sequence[tuple[str, Told, Told]],
    asked: tuple[float, float],
) -> str:
    """The picture: regret where gains taper to the right, where they are steady upwards."""

    def at(taper: Told, steady: Told) -> tuple[float, float]:
        return LEFT + PER_STROKE * taper[0], BOTTOM - PER_STROKE * steady[0] / 1.6

    corner = at((asked[0], 0), (asked[1], 0))
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        'font-family="sans-serif" font-size="12" aria-labelledby="t"><title id="t">Strokes given up in a '
        "season where gains taper and where they are steady, by what is believed beforehand</title>"
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        f'<rect x="{LEFT}" y="{corner[1]:.1f}" width="{corner[0] - LEFT:.1f}" '
        f'height="{BOTTOM - corner[1]:.1f}" fill="#ddd"/><text x="{LEFT + 4}" y="{BOTTOM - 5}">asked</text>',
        f'<path d="M{LEFT} {TOP}V{BOTTOM}H{WIDTH - 20}" fill="none" stroke="black"/>',
        f'<text x="{LEFT}" y="{HEIGHT - 12}">strokes given up in a season where gains taper</text>',
        f'<text x="{-BOTTOM}" y="14" transform="rotate(-90)">where gains are steady</text>',
    ]
    for tick in range(0, 15, 2):
        x, y = at((tick, 0), (tick, 0))
        lines.append(f'<text x="{x:.0f}" y="{BOTTOM + 16}" text-anchor="middle">{tick}</text>')
        lines.append(f'<text x="{LEFT - 8}" y="{y + 4:.0f}" text-anchor="end">{tick}</text>')
    solid: Curve = ("the rule", 'stroke="black" stroke-width="2"', [told[1:] for told in beliefs])
    for i, (name, stroke, told) in enumerate((solid, *curves)):
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at(one, two) for one, two in told))
        y = TOP + 14 + 18 * i
        lines.append(f'<polyline points="{points}" fill="none" {stroke}/>')
        lines.append(f'<path d="M{WIDTH - 300} {y - 4}h26" fill="none" {stroke}/>')
        lines.append(f'<text x="{WIDTH - 268}" y="{y}">{name}</text>')
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


def said(name: str, told: Sequence[Told]) -> None:
    """Print one line."""
    print(f"{name:<28}" + "".join(f"{mean:>8.2f} ({error:.2f})" for mean, error in told), flush=True)


def main() -> None:
    """Play, print and draw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=80)
    args = parser.parse_args()
    worlds = [next(w for w in WORLDS if w.name == name) for name in ("taper", "steady", "costs alike")]
    players = [players_of(w, args.players, np.random.default_rng(SEED)) for w in worlds]
    best = [all_knowing(w, p, SEED + 1).total for w, p in zip(worlds, players, strict=True)]

    def all_of(choose: Callable[[int], Chooser], count: int = 3) -> list[Told]:
        return [regret(worlds[i], players[i], best[i], choose(i)) for i in range(count)]

    def told_of(name: str, belief: float, choose: Callable[[int], Chooser], count: int = 3) -> list[Told]:
        told = all_of(choose, count)
        said(f"{name} {belief:.2f}", told)
        return told

    for name, laws in (("as the tool", None), ("told of the worlds", laws_of(*worlds[:2], WEIGHT_STEADY))):
        for at, one, other, order in told_apart(worlds[:2], args.players, laws):
            print(
                f"{name}, after {at:>2} sessions: steady believed {one:.2f} and {other:.2f}, "
                f"in order {order:.2f}",
                flush=True,
            )
    beliefs = []
    for b in BELIEFS:
        told = told_of("the rule", b, lambda i, b=b: rival(expected, believing(b)))  # type: ignore[misc]
        beliefs.append((b, told[0], told[1]))
    named = {"last count": SIMPLE["last count"], "rotation": SIMPLE["rotation"]}
    simple = []
    for name, choose in (("highest cost", rival(headline)), *named.items()):
        told = all_of(lambda i, choose=choose: choose)  # type: ignore[misc]
        said(name, told)
        simple.append((name, told[0], told[1]))
    curves: list[Curve] = []
    for name, stroke, value, of in (
        ("looking ahead", 'stroke="black" stroke-dasharray="2 3"', looking_ahead, AHEAD),
        ("all known after a session", 'stroke="black" stroke-dasharray="7 3"', soon_known, SOON),
    ):
        each = [
            told_of(name, b, lambda i, b=b, value=value: rival(value, believing(b)))  # type: ignore[misc]
            for b in of
        ]
        curves.append((name, stroke, [(told[0], told[1]) for told in each]))
    each = [
        told_of(
            "costs and the worlds told",
            b,
            lambda i, b=b: informed(expected, worlds[i], players[i], laws_of(*worlds[:2], b)),  # type: ignore[misc]
            2,
        )
        for b in INFORMED
    ]
    curves.append(
        ("costs and the worlds told", 'stroke="#888" stroke-width="2"', [(one, two) for one, two in each])
    )
    for name, stroke, tells in (
        ("all told but the world", 'stroke="#888" stroke-width="2" stroke-dasharray="7 3"', 1.0),
        ("the same, never learning it", 'stroke="#888" stroke-width="2" stroke-dasharray="2 3"', 0.0),
    ):
        found = limit(worlds[:2], players[:2], SEED + 1, LIMITS, tells=tells)
        points = []
        for b, pair in zip(LIMITS, found, strict=True):
            told = [(float(r.mean()), float(r.std(ddof=1) / np.sqrt(len(r)))) for r in pair]
            said(f"{name} {b:.2f}", told)
            points.append((told[0], told[1]))
        curves.append((name, stroke, points))
    highest = next(told[1][0] for told in [simple[0][1:]])
    FIGURE.write_text(drawn(beliefs, curves, simple, (ASKED, highest)), encoding="utf-8")


if __name__ == "__main__":
    main()
