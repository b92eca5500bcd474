"""Doubt carried against full review and against leaving doubtful values out: error and coverage.

    python -m tests.bench.bench_doubt --players 1000 --rounds 10 --doubts 3

Players of the worlds in `tests/practice/worlds.py`, whose truth is known. On each card some values are
doubtful: marks, scores, distances of putts. Their posterior is simulated: a probability between one half and
0.98 that comes true as often as it says, for each answer (`Reader`). What is told of each player is compared
with the truth in four ways of treating these values: reviewed (known as they are), carried by their
probability, left out (unknown), and taken as the reader guesses. A share covered has a standard error of
about 0.9 points for 1,000 players. The curve's is told twice: exactly, and as it is told, in whole percent.

``--coloured 0.15`` lets results colour the marks of putts of so many players, as one player in seven is
believed to do (`scan.practice.marks`), and tells of them and of the others apart, too. ``--reviewed`` skips
the doubtful values and tells the first way alone, in a sixth of the time.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from shortpencil.scan.practice.doubt import pooled_phases, pooled_putting, possible_histories
from shortpencil.scan.practice.focus import NOTICED
from shortpencil.scan.practice.history import History, history_of
from shortpencil.scan.practice.marks import marks_of
from shortpencil.scan.practice.phases import PhaseEvidence, phases_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.records.composing.doubt import likeliest
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value
from tests.practice.invented import one_round
from tests.practice.worlds import (
    CURVE_M,
    PHASES,
    WORLDS,
    World,
    cards_of,
    play,
    players_of,
    truth_of,
)

HALF_A_POINT = 0.005
#: Habits of those whose marks follow results, weak to strong, equally many of each: missed putts that dropped
#: called clean, and clean ones that stayed out called missed. The middle one is that of the world *biased*.
HABITS = ((0.3, 0.15), (0.6, 0.3), (0.85, 0.6))
WAYS = ("reviewed", "carried", "left out", "as guessed")
EXECUTIONS = ("clean", "miss", "unmarked")


def rounds_from(history: History) -> list[Round]:
    """The rounds that such columns came from."""
    by_hole: dict[int, list[int]] = {}
    for at, hole in enumerate(history.throw_hole):
        by_hole.setdefault(int(hole), []).append(at)
    holes: dict[int, list[Hole]] = {}
    for h in range(len(history.hole_round)):
        throws = [_throw(history, at, order) for order, at in enumerate(by_hole.get(h, ()), start=1)]
        numbers = (history.hole_score[h], history.hole_penalty[h], history.hole_par[h])
        values = [Value(None if np.isnan(n) else int(n)) for n in numbers]
        made = Hole(
            number=int(history.hole_number[h]),
            score=values[0],
            penalty=values[1],
            par=values[2],
            throws=tuple(throws),
        )
        holes.setdefault(int(history.hole_round[h]), []).append(made)
    return [_round(history, r, holes[r]) for r in range(history.rounds)]


def _throw(history: History, at: int, order: int) -> Throw:
    metres, holed = float(history.throw_distance_m[at]), int(history.throw_holed[at])
    written = None if np.isnan(metres) else metres
    return Throw(
        order=order,
        phase=PHASES[int(history.throw_phase[at])],
        execution=Value(EXECUTIONS[int(history.throw_execution[at])]),
        holed=None if holed < 0 else bool(holed),
        distance=Value(written) if history.throw_phase[at] == 2 else None,
        distance_m=written,
    )


def _round(history: History, at: int, holes: list[Hole]) -> Round:
    head = history.heads[at]
    return one_round(f"{head.id}-{at}", holes, head.day, course=head.course, layout=head.layout)


#: How far apart the ink of two answers is, in sd: log likelihood ratios of plus or minus half its square.
INK = 1.5
SUREST = 0.98


class Reader:
    """A reader that doubts: its probability of each answer is the one that Bayes' rule gives.

    Beforehand it knows how often marks, scores (by par and by the throws known) and distances occur on cards
    of that world, as the real one knows them of cards in general; of this player it knows nothing. Then it
    sees ink. A probability that is right for the guess alone and not for each answer would not do: of two
    answers of which one is rare, half the drawn ones would be the rare one.
    """

    def __init__(self, cards: Iterable[History]) -> None:
        self._marks: Counter[tuple[int, str]] = Counter()
        self._scores: Counter[tuple[int, int, int]] = Counter()
        self._metres: Counter[int] = Counter()
        for card in cards:
            for phase, mark in zip(card.throw_phase, card.throw_execution, strict=True):
                self._marks[int(phase), EXECUTIONS[int(mark)]] += 1
            known = np.bincount(card.throw_hole, minlength=len(card.hole_round))
            for par, throws, score in zip(card.hole_par, known, card.hole_score, strict=True):
                self._scores[int(par), int(throws), int(score)] += 1
            self._metres.update(card.throw_distance_m[~np.isnan(card.throw_distance_m)].round().astype(int))

    def mark(self, true: str, phase: str, rng: np.random.Generator) -> Value | None:
        other = "miss" if true == "clean" else "clean"
        at = PHASES.index(phase)
        return self._seen(true, other, self._marks[at, true], self._marks[at, other], rng)

    def score(self, hole: Hole, rng: np.random.Generator) -> Value | None:
        true, par, known = int(hole.score.value), int(hole.par.value), len(hole.throws)  # type: ignore[arg-type]
        other = true + int(rng.choice([-5, -1, 1, 5]))  # what is mistaken for what is mistaken back
        if other < max(known, 1):
            return None
        return self._seen(true, other, self._scores[par, known, true], self._scores[par, known, other], rng)

    def metres(self, true: int, rng: np.random.Generator) -> Value | None:
        other = true + int(rng.choice([-3, -1, 1, 3]))
        if other < 1:
            return None
        return self._seen(float(true), float(other), self._metres[true], self._metres[other], rng)

    @staticmethod
    def _seen(true: object, other: object, usual: int, rare: int, rng: np.random.Generator) -> Value | None:
        """What is read of one value; None where it is sure enough to be no doubt."""
        ink = INK**2 / 2 + INK * rng.standard_normal()
        p = 1 / (1 + np.exp(-ink) * (rare + 0.5) / (usual + 0.5))
        if max(p, 1 - p) > SUREST:
            return None
        first, second = ((true, p), (other, 1 - p)) if p >= 0.5 else ((other, 1 - p), (true, p))
        return Value(
            first[0],
            source="read",
            p=float(first[1]),
            status="doubtful",
            alternatives=((second[0], float(second[1])),),
        )


def doubted(played: Round, count: int, reader: Reader, rng: np.random.Generator) -> Round:
    """The round with so many doubtful values in place of what is true, fewer where nothing else is unsure."""
    places: list[tuple[int, int, str]] = []
    for h, hole in enumerate(played.holes):
        if hole.score.value is not None:
            places.append((h, -1, "score"))
        for t, throw in enumerate(hole.throws):
            if throw.execution.value in ("clean", "miss"):
                places.append((h, t, "execution"))
            if throw.distance_m is not None:
                places.append((h, t, "distance"))
    holes, left = list(played.holes), rng.poisson(count)
    for at in rng.permutation(len(places)):
        h, t, kind = places[at]
        seen = _read(holes[h], t, kind, reader, rng) if left else None
        if seen is not None:
            holes[h], left = seen, left - 1
    return replace(played, holes=tuple(holes))


def _read(hole: Hole, t: int, kind: str, reader: Reader, rng: np.random.Generator) -> Hole | None:
    if kind == "score":
        value = reader.score(hole, rng)
        return None if value is None else replace(hole, score=value)
    throw = hole.throws[t]
    if kind == "execution":
        value = reader.mark(str(throw.execution.value), throw.phase, rng)
        new = None if value is None else replace(throw, execution=value)
    else:
        value = reader.metres(max(round(float(throw.distance_m)), 1), rng)  # type: ignore[arg-type]
        new = None if value is None else replace(throw, distance=value, distance_m=None)
    return None if new is None else replace(hole, throws=(*hole.throws[:t], new, *hole.throws[t + 1 :]))


@dataclass
class Told:
    """What was told in one way of treating doubt, over all players."""

    rate: list[np.ndarray] = field(default_factory=list)
    cost: list[np.ndarray] = field(default_factory=list)
    strokes: list[np.ndarray] = field(default_factory=list)
    curve: list[np.ndarray] = field(default_factory=list)
    p: list[np.ndarray] = field(default_factory=list)


def ways_of(rounds: list[Round]) -> Iterator[tuple[list[PhaseEvidence] | tuple[PhaseEvidence, ...], object]]:
    """What is told in three ways of treating the doubt in these rounds: carried, left out, as guessed."""
    possible = possible_histories(rounds) or (history_of(rounds),)
    yield (
        pooled_phases([phases_of(one) for one in possible]),
        pooled_putting([putting_of(one) for one in possible]),
    )
    for history in (history_of(rounds), history_of(likeliest(one) for one in rounds)):
        yield phases_of(history), putting_of(history)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--players", type=int, default=1000)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--doubts", type=float, default=3.0, help="doubtful values a card, on average")
    parser.add_argument("--worlds", default="plain,distance")
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument("--coloured", type=float, default=0.0, help="share of players with such marks")
    parser.add_argument("--reviewed", action="store_true", help="no doubtful values")
    args = parser.parse_args()
    worlds = [world for world in WORLDS if world.name in args.worlds.split(",")]
    ways = WAYS[:1] if args.reviewed else WAYS
    told = {way: Told() for way in ways}
    truths: list[Truths] = []
    coloured: list[bool] = []
    believed: list[float] = []
    rng = np.random.default_rng(args.seed)
    for world in worlds:
        reader: Reader | None = None
        for marked, count in _marking(world, args.players // len(worlds), args.coloured):
            players = players_of(marked, count, rng)
            truth = truth_of(players, rng)
            reader = reader or Reader(cards_of(play(players_of(world, 60, rng), 4, rng), rng))
            for i, history in enumerate(cards_of(play(players, args.rounds, rng), rng)):
                rounds = rounds_from(history)
                reviewed = history_of(rounds)
                found = [(phases_of(reviewed), putting_of(reviewed))]
                if not args.reviewed:
                    found += ways_of([doubted(one, args.doubts, reader, rng) for one in rounds])
                for way, (phases, putting) in zip(ways, found, strict=True):
                    _note(told[way], phases, putting)
                truths.append((truth.rate[i], truth.cost[i], truth.saved[i], truth.curve[i]))
                coloured.append(marked is not world)
                believed.append(marks_of(reviewed).p_coloured)
                if len(truths) % 50 == 0:
                    print(f"  {len(truths)} players", flush=True)
    print(f"{args.rounds} rounds, {args.doubts:g} doubtful values a card, {args.worlds}")
    follow = np.array(coloured)
    groups = [("all", np.ones(len(truths), dtype=bool))]
    if follow.any():
        groups += [("marks follow results", follow), ("marks do not", ~follow)]
    for who, these in groups:
        p = np.array(believed)[these]
        print(
            f"{who}: {these.sum()} players; that marks follow results is believed with {p.mean():.3f}, "
            f"told to {100 * (p >= NOTICED).mean():.1f} %"
        )
        _print(told, truths, these)


#: Rate, cost, strokes and curve of one player.
Truths = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _marking(world: World, count: int, coloured: float) -> Iterator[tuple[World, int]]:
    """The world as it is, and as it is for those whose marks follow results; with how many players each."""
    each = round(count * coloured / len(HABITS))
    yield world, count - each * len(HABITS)
    for dropped, stayed in HABITS if each else ():
        yield replace(world, drops_clean=dropped, stays_missed=stayed), each


def _note(told: Told, phases: object, putting: object) -> None:
    told.rate.append(np.array([_ends(p.recent.interval) for p in phases]))  # type: ignore[attr-defined]
    told.cost.append(np.array([_ends(p.cost) for p in phases]))  # type: ignore[attr-defined]
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


def _print(told: dict[str, Told], truths: list[Truths], these: np.ndarray) -> None:
    rate, cost, saved, curve = (np.array([t[k] for t in truths])[these] for k in range(4))
    worst = saved.argmax(axis=1)
    print(
        f"{'':<11} covered, %: rate cost (by phase) strokes (by phase) curve, as told | "
        "error: rate strokes curve | told true Brier"
    )
    for way, found in told.items():
        held: dict[str, list[float]] = {}
        errors = []
        for name, true in (("rate", rate), ("cost", cost), ("strokes", saved), ("curve", curve)):
            low, middle, high = np.moveaxis(np.array(getattr(found, name))[these], -1, 0)
            known = ~np.isnan(middle)
            errors.append(float(np.abs(middle - true)[known].mean()))
            inside = (low <= true) & (true <= high)
            held[name] = [100 * inside[known].mean()]
            if name in ("cost", "strokes"):
                held[name] += list(100 * inside.mean(axis=0))
            if name == "curve":
                inside = (low - HALF_A_POINT <= true) & (true <= high + HALF_A_POINT)
                held[name].append(100 * inside[known].mean())
        p = np.array(found.p)[these]
        right = float((p.argmax(axis=1) == worst).mean())
        brier = float(((p - np.eye(3)[worst]) ** 2).sum(axis=1).mean())
        covered = "   ".join(" ".join(f"{share:5.1f}" for share in shares) for shares in held.values())
        off = f"{100 * errors[0]:6.2f} {errors[2]:6.3f} {100 * errors[3]:6.2f}"
        print(f"{way:<11} {covered} | {off} | {p.max(axis=1).mean():.3f} {right:.3f} {brier:.3f}")


if __name__ == "__main__":
    main()
