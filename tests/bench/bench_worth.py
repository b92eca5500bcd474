"""How much one wrong value of each kind changes what `focus` tells: the weights of `scan.asking`.

    python -m tests.bench.bench_worth --players 12

Invented players of 2, 10 and 30 rounds; in the last round one value of each kind is changed, twice a player.
Told are the mean change of the probabilities of the phases (half the sum of the differences), of strokes a
round (the largest of the phases), of the curve of putts (its largest between 2 and 10 m) and of the
probability that the leading cause leads.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw
from tests.practice.invented import Player, rounds_of

KINDS = (
    "score",
    "putt",
    "approach",
    "drive",
    "penalty",
    "par",
    "distance 5",
    "distance 1",
    "cause",
    "stance",
)


def told(rounds: list[Round]) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """What the advice says: probabilities, strokes, the curve, the leading cause's probability."""
    history = history_of(rounds)
    focus, putting = focus_of(history), putting_of(history)
    assert focus is not None
    curve = [putting.curve.at(d) for d in range(2, 11)] if putting.curve else [0.0] * 9
    leading = focus.causes.leading
    return (
        np.array([p.p_costs_most for p in focus.phases]),
        np.array([p.strokes_a_round.middle for p in focus.phases]),
        np.array(curve),
        leading.p_leads if leading else 0.0,
    )


def changed(played: Round, kind: str, rng: np.random.Generator) -> Round | None:
    """The round with one value of a kind made wrong; None where it has none."""
    name, _, by = kind.partition(" ")
    fits = {
        "distance": lambda t: t.distance_m is not None,
        "cause": lambda t: t.cause is not None,
        "stance": lambda t: t.stance is not None,
    }.get(name, lambda t: t.phase == name)
    holes = list(played.holes)
    if name in ("score", "penalty", "par"):
        at = int(rng.integers(len(holes)))
        value = getattr(holes[at], name)
        other = {"score": int(value.value) + int(rng.choice([-1, 1, 5])), "penalty": 1, "par": 4}[name]
        holes[at] = replace(holes[at], **{name: replace(value, value=other)})
        return replace(played, holes=tuple(holes))
    places = [(i, j) for i, h in enumerate(holes) for j, t in enumerate(h.throws) if fits(t)]
    if not places:
        return None
    i, j = places[int(rng.integers(len(places)))]
    throws = list(holes[i].throws)
    throws[j] = _wrong(throws[j], name, float(by or 0), rng)
    holes[i] = Hole(**{**_parts(holes[i]), "throws": tuple(throws)})
    return replace(played, holes=tuple(holes))


def _parts(hole: Hole) -> dict[str, object]:
    return {name: getattr(hole, name) for name in Hole.__slots__}


def _wrong(throw: Throw, name: str, by: float, rng: np.random.Generator) -> Throw:
    if name == "distance":
        assert throw.distance is not None
        assert throw.distance_m is not None
        off = max(1.0, throw.distance_m + by * int(rng.choice([-1, 1])))
        return replace(throw, distance=replace(throw.distance, value=off), distance_m=off)
    if name == "cause":
        assert throw.cause is not None
        return replace(throw, cause=replace(throw.cause, value="tilt"))
    if name == "stance":
        assert throw.stance is not None
        return replace(throw, stance=replace(throw.stance, value=None if throw.stance.value else "straddle"))
    other = "clean" if throw.execution.value == "miss" else "miss"
    return replace(throw, execution=replace(throw.execution, value=other))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--players", type=int, default=12)
    parser.add_argument("--rounds", default="2,10,30")
    args = parser.parse_args()
    rng = np.random.default_rng(5)
    print(f"{'rounds':>6} {'changed':<12} focus, points  strokes  curve, points  cause, points")
    for count in map(int, args.rounds.split(",")):
        found: dict[str, list[tuple[float, float, float, float]]] = {kind: [] for kind in KINDS}
        for _ in range(args.players):
            miss = tuple(np.clip(rng.normal(0.3, 0.08, 3), 0.1, 0.6))
            rounds = rounds_of(Player(miss=miss), count, rng)  # type: ignore[arg-type]
            before = told(rounds)
            for kind in KINDS * 2:
                other = changed(rounds[-1], kind, rng)
                if other is None:
                    continue
                after = told([*rounds[:-1], other])
                apart = [np.abs(a - b) for a, b in zip(before, after, strict=True)]
                found[kind].append((apart[0].sum() / 2, apart[1].max(), apart[2].max(), float(apart[3])))
        for kind in KINDS:
            p, strokes, curve, cause = np.mean(found[kind], axis=0) if found[kind] else [np.nan] * 4
            row = f"{100 * p:13.2f} {strokes:8.3f} {100 * curve:14.2f} {100 * cause:14.2f}"
            print(f"{count:>6} {kind:<12} {row}")


if __name__ == "__main__":
    main()
