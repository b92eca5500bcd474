"""Invented players: rounds made from known miss rates, costs, causes and sides, for tests and benchmarks.

The generator shares no code with `scan.practice`. All numbers in it are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value

PHASES = ("drive", "approach", "putt")
CAUSES = ("early", "late", "nose", "tilt", "wobble", "pace", "rushed", "balance", "choice", "other")
WAYS = ("left", "right", "long", "short")


@dataclass(frozen=True)
class Player:
    """Truth of one invented player.

    `miss` are miss rates by phase, `cost` the chance that a miss costs a stroke; `spread` is the standard
    deviation between rounds of the log odds of a miss; `causes` and `ways` are shares.
    """

    name: str | None = None
    hand: str = "right"
    miss: tuple[float, float, float] = (0.35, 0.30, 0.25)
    cost: tuple[float, float, float] = (0.4, 0.5, 0.6)
    spread: float = 0.0
    causes: tuple[float, ...] = (0.1, 0.4, 0.1, 0.1, 0.05, 0.1, 0.05, 0.05, 0.0, 0.05)
    ways: tuple[float, ...] = (0.2, 0.5, 0.15, 0.15)
    unmarked: float = 0.0
    notes: str = "counted"  # "counted": notes for the phase with most misses; or a phase; or "" for none
    forms: tuple[str, ...] = field(default=("round18",))


def known(value: object, **more: object) -> Value:
    return Value(value, p=1.0, **more)  # type: ignore[arg-type]


def blank() -> Value:
    return Value(None)


def throw(order: int, phase: str, execution: str, holed: bool = False, **more: object) -> Throw:
    return Throw(order=order, phase=phase, execution=known(execution), holed=holed, **more)  # type: ignore[arg-type]


def hole(number: int, throws: list[Throw], par: int | None = 3, penalty: int = 0) -> Hole:
    return Hole(
        number=number,
        score=known(len(throws) + penalty),
        penalty=known(penalty),
        par=known(par),
        throws=tuple(throws),
    )


def one_round(id_: str, holes: list[Hole], day: date | None = None, **more: object) -> Round:
    values: dict[str, object] = {
        "form": "invented",
        "played_on": known(day.isoformat() if day else None),
        "player": None,
        "course": "Windmill Park",
        "layout": "white",
        "hand": known("right"),
        "unit": "m",
        "wind": blank(),
        "worst": blank(),
        "tallies": {},
        "total": blank(),
        "holes": tuple(holes),
    }
    values.update(more)
    return Round(id=id_, **values)  # type: ignore[arg-type]


def only_marked(played: Round, *phases: str) -> Round:
    """Return the round with the marks of these phases alone."""
    holes = [
        replace(
            h,
            throws=tuple(
                t if t.phase in phases else replace(t, execution=known("unmarked")) for t in h.throws
            ),
        )
        for h in played.holes
    ]
    return replace(played, holes=tuple(holes))


def only_misses_marked(played: Round) -> Round:
    """Return the round without its clean marks."""
    holes = [
        replace(
            h,
            throws=tuple(
                t if t.execution.value == "miss" else replace(t, execution=known("unmarked"))
                for t in h.throws
            ),
        )
        for h in played.holes
    ]
    return replace(played, holes=tuple(holes))


def rounds_of(
    player: Player,
    count: int,
    generator: np.random.Generator,
    *,
    start: date = date(2030, 4, 1),
    every_days: int = 5,
    prefix: str = "r",
    holes: int = 18,
) -> list[Round]:
    """`count` rounds of one player, each on its own day."""
    return [
        _round(player, f"{prefix}{i:05d}", start + timedelta(days=every_days * i), generator, holes)
        for i in range(count)
    ]


def one_of(items: tuple[str, ...], shares: tuple[float, ...], generator: np.random.Generator) -> str:
    """Return one item by its share; much faster than `Generator.choice` for one draw."""
    at = generator.random() * sum(shares)
    for item, share in zip(items, shares, strict=True):
        at -= share
        if at < 0:
            return item
    return items[-1]


def _round(player: Player, id_: str, day: date, generator: np.random.Generator, holes: int) -> Round:
    odds = np.log(np.array(player.miss) / (1 - np.array(player.miss)))
    rate = 1 / (1 + np.exp(-(odds + player.spread * generator.standard_normal(3))))
    played = [_hole(player, number, rate, generator) for number in range(1, holes + 1)]
    misses = [
        sum(t.phase == p and t.execution.value == "miss" for h in played for t in h.throws) for p in PHASES
    ]
    worst = PHASES[int(np.argmax(misses))]
    about = worst if player.notes == "counted" else player.notes
    noted = [_annotated(player, h, about, generator) for h in played] if about else played
    return one_round(
        id_,
        noted,
        day,
        player=player.name,
        hand=known(player.hand),
        worst=known(worst),
        tallies={p: known(m) for p, m in zip(PHASES, misses, strict=True)},
        total=known(sum(int(h.score.value) for h in played)),  # type: ignore[arg-type]
        wind=known("calm" if generator.random() < 0.5 else "breeze"),
    )


def _hole(player: Player, number: int, rate: np.ndarray, generator: np.random.Generator) -> Hole:
    """A par 3 hole: drive, approaches, putts; a costly miss adds a throw of its own or the next phase."""

    def mark(phase: int) -> tuple[str, bool]:
        missed = bool(generator.random() < rate[phase])
        costly = missed and bool(generator.random() < player.cost[phase])
        return ("unmarked" if generator.random() < player.unmarked else "miss" if missed else "clean"), costly

    throws: list[Throw] = []

    def add(phase: str, execution: str, holed: bool = False, **more: object) -> None:
        throws.append(throw(len(throws) + 1, phase, execution, holed, **more))

    execution, costly = mark(0)
    add("drive", execution)
    for _ in range(1 + int(costly)):
        execution, again = mark(1)
        add("approach", execution)
    if again and len(throws) < 4:
        execution, _ = mark(1)
        add("approach", execution)
    for place in range(3):
        execution, costly = mark(2)
        holed = not costly or place == 2
        # Distances follow the result, so that costs stay as given: holed putts are nearer.
        near, far = (2, 9) if holed else (4, 13)
        if place:
            near, far = 1, 5
        distance = float(near + int(generator.random() * (far - near)))
        straddle = known("straddle") if generator.random() < 0.25 else blank()
        add(
            "putt",
            execution,
            holed,
            distance=known(distance),
            distance_m=distance,
            stance=straddle if place == 0 else None,
        )
        if holed:
            break
    return hole(number, throws)


def _annotated(player: Player, played: Hole, phase: str, generator: np.random.Generator) -> Hole:
    throws = list(played.throws)
    for i, t in enumerate(throws):
        if t.phase == phase and t.execution.value == "miss":
            throws[i] = Throw(
                order=t.order,
                phase=t.phase,
                execution=t.execution,
                holed=t.holed,
                distance=t.distance,
                distance_m=t.distance_m,
                stance=t.stance,
                directions=(one_of(WAYS, player.ways, generator),),
                forehand=False,
                cause=known(one_of(CAUSES, player.causes, generator)),
            )
            break
    return replace(played, length_m=None, throws=tuple(throws), maybe=())
