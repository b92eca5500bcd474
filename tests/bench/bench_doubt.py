"""Doubt carried against full review and against leaving doubtful values out: error and coverage.

    python -m tests.bench.bench_doubt --players 1000 --rounds 10 --doubts 3

Players of the worlds in `tests/practice/worlds.py`, whose truth is known. On each card some values are
doubtful: marks, scores, distances of putts. Their posterior is simulated: a probability between one half and
0.98, and the reader's guess is right just as often as it says. What is told of each player is compared with
the truth in four ways of treating these values: reviewed (known as they are), carried by their probability,
left out (unknown), and taken as the reader guesses. A share covered has a standard error of about
0.9 points for 1,000 players.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from shortpencil.scan.practice.doubt import pooled_phases, pooled_putting, possible_evidence
from shortpencil.scan.practice.evidence import Evidence, evidence_of
from shortpencil.scan.practice.phases import PhaseEvidence, phases_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.records.doubt import likeliest
from shortpencil.scan.records.rounds import Hole, Round, Throw, Value
from tests.practice.worlds import CURVE_M, PHASES, WORLDS, cards_of, play, players_of, truth_of

WAYS = ("reviewed", "carried", "left out", "as guessed")
EXECUTIONS = ("clean", "miss", "unmarked")


def rounds_from(evidence: Evidence) -> list[Round]:
    """The rounds that such columns came from."""
    by_hole: dict[int, list[int]] = {}
    for at, hole in enumerate(evidence.throw_hole):
        by_hole.setdefault(int(hole), []).append(at)
    holes: dict[int, list[Hole]] = {}
    for h in range(len(evidence.hole_round)):
        throws = [_throw(evidence, at, order) for order, at in enumerate(by_hole.get(h, ()), start=1)]
        numbers = (evidence.hole_score[h], evidence.hole_penalty[h], evidence.hole_par[h])
        values = [Value(None if np.isnan(n) else int(n)) for n in numbers]
        made = Hole(int(evidence.hole_number[h]), values[0], values[1], values[2], None, tuple(throws))
        holes.setdefault(int(evidence.hole_round[h]), []).append(made)
    return [_round(evidence, r, holes[r]) for r in range(evidence.rounds)]


def _throw(evidence: Evidence, at: int, order: int) -> Throw:
    metres, holed = float(evidence.throw_distance_m[at]), int(evidence.throw_holed[at])
    written = None if np.isnan(metres) else metres
    return Throw(
        order,
        PHASES[int(evidence.throw_phase[at])],
        Value(EXECUTIONS[int(evidence.throw_execution[at])]),
        None if holed < 0 else bool(holed),
        distance=Value(written) if evidence.throw_phase[at] == 2 else None,
        distance_m=written,
    )


def _round(evidence: Evidence, at: int, holes: list[Hole]) -> Round:
    head, blank = evidence.heads[at], Value(None)
    return Round(
        f"{head.id}-{at}",
        "invented",
        Value(head.day.isoformat() if head.day else None),
        None,
        head.course,
        head.layout,
        Value("right"),
        "m",
        blank,
        blank,
        {},
        blank,
        tuple(holes),
    )


def doubted(played: Round, count: int, rng: np.random.Generator) -> Round:
    """The round with so many doubtful values in place of what is true."""
    places = [(h, None) for h, hole in enumerate(played.holes) if hole.score.value is not None]
    for h, hole in enumerate(played.holes):
        for t, throw in enumerate(hole.throws):
            if throw.execution.value in ("clean", "miss"):
                places.append((h, (t, "execution")))  # type: ignore[arg-type]
            if throw.distance_m is not None:
                places.append((h, (t, "distance")))  # type: ignore[arg-type]
    holes = list(played.holes)
    for at in rng.permutation(len(places))[: rng.poisson(count)]:
        h, which = places[at]
        hole = holes[h]
        if which is None:
            score = int(hole.score.value)  # type: ignore[arg-type]
            others = [other for other in (score - 1, score + 1, score + 5) if other >= len(hole.throws)]
            holes[h] = replace(hole, score=_doubtful(score, others, rng))
            continue
        t, kind = which
        throw = hole.throws[t]
        if kind == "execution":
            other = "miss" if throw.execution.value == "clean" else "clean"
            new = replace(throw, execution=_doubtful(throw.execution.value, [other], rng))
        else:
            true = round(float(throw.distance_m))  # type: ignore[arg-type]
            value = _doubtful(float(max(true, 1)), [float(true + 1), float(max(1, true - 3))], rng)
            new = replace(throw, distance=value, distance_m=None)
        holes[h] = replace(hole, throws=(*hole.throws[:t], new, *hole.throws[t + 1 :]))
    return replace(played, holes=tuple(holes))


def _doubtful(true: object, others: list, rng: np.random.Generator) -> Value:
    """A posterior whose guess is the truth just as often as it says."""
    p = float(rng.uniform(0.5, 0.98))
    options = [true, others[int(rng.integers(len(others)))]]
    best = 0 if rng.random() < p else 1
    return Value(options[best], "read", p, "doubtful", alternatives=((options[1 - best], 1 - p),))


@dataclass
class Told:
    """What was told in one way of treating doubt, over all players."""

    rate: list[np.ndarray] = field(default_factory=list)
    strokes: list[np.ndarray] = field(default_factory=list)
    curve: list[np.ndarray] = field(default_factory=list)
    p: list[np.ndarray] = field(default_factory=list)


def ways_of(rounds: list[Round]) -> Iterator[tuple[list[PhaseEvidence] | tuple[PhaseEvidence, ...], object]]:
    """What is told in three ways of treating the doubt in these rounds: carried, left out, as guessed."""
    possible = possible_evidence(rounds) or (evidence_of(rounds),)
    yield (
        pooled_phases([phases_of(one) for one in possible]),
        pooled_putting([putting_of(one) for one in possible]),
    )
    for evidence in (evidence_of(rounds), evidence_of(likeliest(one) for one in rounds)):
        yield phases_of(evidence), putting_of(evidence)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--players", type=int, default=1000)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--doubts", type=float, default=3.0, help="doubtful values a card, on average")
    parser.add_argument("--worlds", default="plain,distance")
    parser.add_argument("--seed", type=int, default=14)
    args = parser.parse_args()
    worlds = [world for world in WORLDS if world.name in args.worlds.split(",")]
    told = {way: Told() for way in WAYS}
    truths: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    rng = np.random.default_rng(args.seed)
    done = 0
    for world in worlds:
        count = args.players // len(worlds)
        players = players_of(world, count, rng)
        truth = truth_of(players, rng)
        for i, evidence in enumerate(cards_of(play(players, args.rounds, rng), rng)):
            rounds = rounds_from(evidence)
            unclear = [doubted(one, args.doubts, rng) for one in rounds]
            reviewed = evidence_of(rounds)
            found = [(phases_of(reviewed), putting_of(reviewed)), *ways_of(unclear)]
            for way, (phases, putting) in zip(WAYS, found, strict=True):
                _note(told[way], phases, putting)
            truths.append((truth.rate[i], truth.saved[i], truth.curve[i]))
            done += 1
            if done % 50 == 0:
                print(f"  {done} players", flush=True)
    _print(told, truths, args)


def _note(told: Told, phases: object, putting: object) -> None:
    told.rate.append(np.array([_ends(p.recent.interval) for p in phases]))  # type: ignore[attr-defined]
    told.strokes.append(np.array([_ends(p.strokes_a_round) for p in phases]))  # type: ignore[attr-defined]
    told.p.append(np.array([p.p_costs_most for p in phases]))  # type: ignore[attr-defined]
    curve = putting.curve  # type: ignore[attr-defined]
    at = (
        [np.interp(CURVE_M, curve.distance_m, getattr(curve, n)) for n in ("low", "middle", "high")]
        if curve
        else []
    )
    told.curve.append(np.array(at).T if curve else np.full((len(CURVE_M), 3), np.nan))


def _ends(interval: object) -> tuple[float, float, float]:
    return interval.low, interval.middle, interval.high  # type: ignore[attr-defined]


def _print(told: dict[str, Told], truths: list, args: argparse.Namespace) -> None:
    rate, saved, curve = (np.array([t[k] for t in truths]) for k in range(3))
    worst = saved.argmax(axis=1)
    print(
        f"{len(truths)} players, {args.rounds} rounds, {args.doubts:g} doubtful values a card, {args.worlds}"
    )
    print(f"{'':<11} covered, %: rate strokes curve | error: rate, points strokes curve | told true Brier")
    for way, found in told.items():
        cells = []
        for got, true in ((found.rate, rate), (found.strokes, saved), (found.curve, curve)):
            low, middle, high = np.moveaxis(np.array(got), -1, 0)
            known = ~np.isnan(middle)
            inside = (low <= true) & (true <= high)
            cells.append((100 * inside[known].mean(), float(np.abs(middle - true)[known].mean())))
        p = np.array(found.p)
        right = float((p.argmax(axis=1) == worst).mean())
        brier = float(((p - np.eye(3)[worst]) ** 2).sum(axis=1).mean())
        covered = " ".join(f"{share:6.1f}" for share, _ in cells)
        errors = f"{100 * cells[0][1]:6.2f} {cells[1][1]:6.3f} {100 * cells[2][1]:6.2f}"
        print(f"{way:<11} {covered} | {errors} | {p.max(axis=1).mean():.3f} {right:.3f} {brier:.3f}")


if __name__ == "__main__":
    main()
