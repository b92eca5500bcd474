"""Rounds with doubtful values as whole rounds that may be true, each as often as it is probable. Pure.

A doubtful value has its probability and its alternatives, and those of one card hang together: where one of
two scores is a 9, the other is a 4, or the written total would be wrong. So whole cards are drawn and not
values. Of all joint distributions with just these probabilities for each value, the one drawn from is the
nearest (in relative entropy) to what the card's own sums and counts of throws make of them: it is found by
scaling, value by value, until every probability is right (iterative proportional fitting; Deming and Stephan
1940, Csiszár 1975). Draws are stratified, so that a dozen of them already have the right shares.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.units import to_metres
from shortpencil.scan.records.composing.compose import DISTANCE_DECIMALS, who_holed
from shortpencil.scan.records.composing.rounds import Hole, Round, Scalar, Throw, Value, is_day
from shortpencil.scan.records.composing.tidy import doubtful_values
from shortpencil.scan.vision.weighing.slips import Slips

Floats = NDArray[np.float64]

#: Joint values of what hangs together are listed up to so many; beyond, the surest of it are drawn alone.
_MOST_TOGETHER = 4096
_SCALINGS = 60
_EXACT = 1e-7

#: How often a player adds wrongly, a tally is off, more throws are marked than the score has room for: as the
#: decoder believes, which has said so of each value by itself.
_SLIPS = Slips()
#: Chance that fewer throws of a hole are marked than were made, all ways to forget them together.
_FEWER = 0.1

_COLUMNS = 6
#: Less than this beyond the named answers is the rounding of them.
_UNNAMED = 2e-3

Drawn = Mapping[str, Scalar]


def has_doubt(round_: Round) -> bool:
    """Say whether anything in a round is doubtful.

    Asked of a thousand rounds at each `focus`, of which few are: so without naming any place, which takes
    ten times as long.
    """
    head = (round_.played_on, round_.hand, round_.wind, round_.worst, round_.total)
    if any(value.status == "doubtful" for value in (*head, *round_.tallies.values())):
        return True
    for hole in round_.holes:
        if hole.maybe or "doubtful" in (hole.score.status, hole.penalty.status, hole.par.status):
            return True
        for throw in hole.throws:
            # Nearly all throws have at most a distance besides.
            distance = throw.distance
            if throw.execution.status == "doubtful" or (
                distance is not None and distance.status == "doubtful"
            ):
                return True
            for value in (
                throw.stance,
                throw.directions_from,
                throw.forehand_from,
                throw.cause,
                throw.words_from,
            ):
                if value is not None and value.status == "doubtful":
                    return True
    return False


def possible_rounds(round_: Round, count: int) -> tuple[Round, ...]:
    """Return so many whole rounds that may be true, without doubt in any; the same each time.

    A round without doubt is returned `count` times as it is.
    """
    values = dict(doubtful_values(round_))
    if not values:
        return (round_,) * count
    generator = np.random.default_rng(zlib.crc32(round_.id.encode()))
    drawn: list[dict[str, Scalar]] = [{} for _ in range(count)]
    checks = list(_checks(round_, values))
    for part in _parts(values, checks):
        joint = _joint(part, {name: values[name] for name in part}, checks)
        for one, at in zip(drawn, _stratified(joint.weight, count, generator), strict=True):
            one.update(zip(joint.names, joint.rows[at], strict=True))
        for name in set(part) - set(joint.names):
            options, chances = _options(values[name])
            for one, at in zip(drawn, _stratified(chances, count, generator), strict=True):
                one[name] = options[at]
    return tuple(settled_by(round_, one) for one in drawn)


def likeliest(round_: Round) -> Round:
    """Return the round with each doubtful value at its most probable."""
    return settled_by(round_, {place: value.value for place, value in doubtful_values(round_)})


# -- what hangs together ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Check:
    """One promise of the card: the doubtful values it ties, and how it weighs what they may be."""

    names: tuple[str, ...]
    weight: Callable[[Drawn], float]


@dataclass(frozen=True, slots=True)
class _Joint:
    names: tuple[str, ...]
    rows: list[tuple[Scalar, ...]]
    weight: Floats


def _options(value: Value) -> tuple[list[Scalar], Floats]:
    """Return what a value may be, with chances that add up to one.

    What no alternative names is shared out among those of a number, of which only the likeliest are named;
    of a choice it is ink that may be no answer at all, and so blank.
    """
    p = min(max(1.0 if value.p is None else value.p, 1e-9), 1.0)
    options: list[Scalar] = [value.value, *(other for other, _ in value.alternatives)]
    chances = np.array([p, *(max(chance, 1e-9) for _, chance in value.alternatives)])
    rest = 1.0 - float(chances.sum())
    if rest > _UNNAMED:
        numbers = any(isinstance(option, int) and not isinstance(option, bool) for option in options)
        if numbers and len(options) > 1:
            chances[1:] *= (1.0 - p) / float(chances[1:].sum())
        elif None in options:
            chances[options.index(None)] += rest
        else:
            options, chances = [*options, None], np.append(chances, rest)
    return options, chances / chances.sum()


def _stratified(weight: Floats, count: int, generator: np.random.Generator) -> list[int]:
    """Return `count` indices, each as often as its weight says, give or take one."""
    at = (np.arange(count) + generator.random(count)) / count
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), at, side="right"), len(weight) - 1)
    return [int(i) for i in generator.permutation(chosen)]


def _parts(values: Mapping[str, Value], checks: Sequence[_Check]) -> Iterator[tuple[str, ...]]:
    """Yield the groups of values that hang together, each value in one of them."""
    group = {name: {name} for name in values}
    for check in checks:
        merged = set().union(*(group[name] for name in check.names))
        for name in merged:
            group[name] = merged
    seen: set[str] = set()
    for name in values:
        if name not in seen:
            seen |= group[name]
            yield tuple(other for other in values if other in group[name])


def _joint(part: Sequence[str], values: Mapping[str, Value], checks: Sequence[_Check]) -> _Joint:
    """Return every way the most doubtful values of a group may be together, with its probability."""
    options = {name: _options(values[name]) for name in part}
    by_doubt = sorted(part, key=lambda name: float(options[name][1].max()))
    names: list[str] = []
    for name in by_doubt:
        if prod(len(options[n][0]) for n in (*names, name)) <= _MOST_TOGETHER:
            names.append(name)
    fixed = {name: values[name].value for name in part}
    rows = list(product(*(options[name][0] for name in names)))
    places = np.array(list(product(*(range(len(options[name][0])) for name in names)))).reshape(len(rows), -1)
    mine = [check for check in checks if set(check.names) <= set(part)]
    ways = [{**fixed, **dict(zip(names, row, strict=True))} for row in rows]
    weight = np.array([prod(check.weight(way) for check in mine) for way in ways])
    for i, name in enumerate(names):
        weight = weight * options[name][1][places[:, i]]
    for _ in range(_SCALINGS if mine and len(names) > 1 else 1):
        worst = 0.0
        for i, name in enumerate(names):
            chances = options[name][1]
            now = np.bincount(places[:, i], weight, len(chances))
            scale = chances / np.maximum(now, 1e-300)
            worst = max(worst, float(np.abs(now - chances).max()))
            weight = weight * scale[places[:, i]]
        if worst < _EXACT:
            break
    return _Joint(tuple(names), rows, weight / weight.sum())


def _checks(round_: Round, values: Mapping[str, Value]) -> Iterator[_Check]:
    """Yield the promises of the card that tie doubtful values and hold nothing unknown."""
    scores = {f"holes/{hole.number}/score": hole.score for hole in round_.holes}
    known = all(value.status != "waits" and value.value is not None for value in scores.values())
    if known and round_.total.status != "waits" and round_.total.value is not None:
        tied = tuple(name for name in (*scores, "total") if name in values)

        def adds_up(way: Drawn) -> float:
            total = way.get("total", round_.total.value)
            added = sum(_int(way.get(name, value.value)) for name, value in scores.items())
            return 1 - _SLIPS.total_wrong if added == total else _SLIPS.total_wrong

        if len(tied) > 1:
            yield _Check(tied, adds_up)
    for phase in round_.phase_ids:
        yield from _tally_check(round_, phase, values)
    for hole in round_.holes:
        yield from _hole_check(hole, values)


def _tally_check(round_: Round, phase: str, values: Mapping[str, Value]) -> Iterator[_Check]:
    tally = round_.tallies.get(phase)
    marks = {
        place: throw.execution
        for hole in round_.holes
        for place, throw in _throws(hole)
        if throw.phase == phase
    }
    if tally is None or tally.value is None or tally.status == "waits":
        return
    if any(value.status == "waits" for value in marks.values()):
        return
    own = f"tallies/{phase}"
    tied = tuple(name for name in (*marks, own) if name in values)

    def counts(way: Drawn) -> float:
        missed = sum(way.get(name, value.value) == "miss" for name, value in marks.items())
        return 1 - _SLIPS.tally_wrong if missed == way.get(own, tally.value) else _SLIPS.tally_wrong

    if len(tied) > 1:
        yield _Check(tied, counts)


def _hole_check(hole: Hole, values: Mapping[str, Value]) -> Iterator[_Check]:
    at = f"holes/{hole.number}"
    marks = {place: throw.execution for place, throw in _throws(hole)}
    names = (f"{at}/score", f"{at}/penalty", *marks)
    tied = tuple(name for name in names if name in values)
    surely = sum(f"{at}/throws/{throw.order}/execution" not in values for throw in hole.throws)
    open_ = [hole.score, hole.penalty, *marks.values()]
    if len(tied) < 2 or hole.score.value is None or any(value.status == "waits" for value in open_):
        return

    def fits(way: Drawn) -> float:
        thrown = _int(way.get(names[0], hole.score.value)) - _int(way.get(names[1], hole.penalty.value))
        there = surely + sum(way.get(place) in ("clean", "miss") for place in marks)
        return 1.0 if there == thrown else _FEWER if there < thrown else _SLIPS.throws_odd

    yield _Check(tied, fits)


def _throws(hole: Hole) -> Iterator[tuple[str, Throw]]:
    """Yield every throw that is or may be marked, with the place of its mark."""
    at = f"holes/{hole.number}"
    for throw in hole.throws:
        yield f"{at}/throws/{throw.order}/execution", throw
    for throw in hole.maybe:
        yield f"{at}/maybe/{throw.phase}{throw.order}/execution", throw


def _int(value: Scalar) -> int:
    return int(value) if isinstance(value, int | float) else 0


# -- a draw laid over the round --------------------------------------------------------------------------


def settled_by(round_: Round, drawn: Drawn) -> Round:
    """Return the round in which each doubtful value is known to be what was drawn."""

    def settle(place: str, value: Value) -> Value:
        if place not in drawn:
            return value
        return replace(value, value=drawn[place], status="known", alternatives=())

    day = settle("played_on", round_.played_on)
    return replace(
        round_,
        played_on=day if day.status != "known" or day.value is None or is_day(day.value) else Value(None),
        hand=settle("hand", round_.hand),
        wind=settle("wind", round_.wind),
        worst=settle("worst", round_.worst),
        total=settle("total", round_.total),
        tallies={phase: settle(f"tallies/{phase}", value) for phase, value in round_.tallies.items()},
        holes=tuple(_settled_hole(round_, hole, drawn) for hole in round_.holes),
    )


def _settled_hole(round_: Round, hole: Hole, drawn: Drawn) -> Hole:
    at = f"holes/{hole.number}/"
    if not any(place.startswith(at) for place in drawn):
        return hole

    def settle(name: str, value: Value) -> Value:
        place = at + name
        return (
            replace(value, value=drawn[place], status="known", alternatives=()) if place in drawn else value
        )

    score, penalty = settle("score", hole.score), settle("penalty", hole.penalty)
    throws: list[Throw] = []
    for phase in round_.phase_ids:
        known = [(f"throws/{t.order}/", t) for t in hole.throws if t.phase == phase]
        maybe = [(f"maybe/{t.phase}{t.order}/", t) for t in hole.maybe if t.phase == phase]
        here = [_settled_throw(throw, round_.unit, at + place, drawn) for place, throw in (*known, *maybe)]
        there = [
            _is_marked(throw) or (i < len(known) and f"{at}{known[i][0]}execution" not in drawn)
            for i, throw in enumerate(here)
        ]
        last = max((i for i, is_there in enumerate(there) if is_there), default=-1)
        last = max(last, 0) if phase == round_.tee and known else last
        throws += here[: last + 1]
    thrown = None
    if isinstance(score.known, int) and isinstance(penalty.known, int):
        thrown = score.known - penalty.known
    holed = who_holed([throw.phase for throw in throws], thrown, columns=_columns(round_), tee=round_.tee)
    ordered = [
        replace(throw, order=order, holed=is_in)
        for order, (throw, is_in) in enumerate(zip(throws, holed, strict=True), start=1)
    ]
    return replace(
        hole,
        score=score,
        penalty=penalty,
        par=settle("par", hole.par),
        throws=tuple(_notes_in_place(ordered)),
        maybe=(),
    )


def _columns(round_: Round) -> int:
    """Return how many throws of a hole the card has room for."""
    return sum(len(phase.columns) for phase in round_.phases)


def _is_marked(throw: Throw) -> bool:
    marked = throw.execution.value in ("clean", "miss")
    return marked or (throw.distance is not None and throw.distance.known is not None)


def _settled_throw(throw: Throw, unit: str, at: str, drawn: Drawn) -> Throw:
    def settle(name: str, value: Value | None) -> Value | None:
        place = at + name
        if value is None or place not in drawn:
            return value
        return replace(value, value=drawn[place], status="known", alternatives=())

    execution = settle("execution", throw.execution)
    assert execution is not None
    if execution.value is None:
        execution = replace(execution, value="unmarked")
    distance = settle("distance", throw.distance)
    way, forehand = (
        settle("directions_from", throw.directions_from),
        settle("forehand_from", throw.forehand_from),
    )
    metres = throw.distance_m
    if distance is not throw.distance and distance is not None:
        written = distance.known
        known = isinstance(written, int | float) and not isinstance(written, bool)
        metres = round(to_metres(written, unit), DISTANCE_DECIMALS) if known else None  # type: ignore[arg-type]
    return replace(
        throw,
        execution=execution,
        distance=distance,
        distance_m=metres,
        stance=settle("stance", throw.stance),
        cause=settle("cause", throw.cause),
        directions_from=way,
        directions=throw.directions if way is throw.directions_from else tuple(str(way.value or "").split()),  # type: ignore[union-attr]
        forehand_from=forehand,
        forehand=throw.forehand if forehand is throw.forehand_from else bool(forehand.value),  # type: ignore[union-attr]
    )


_NOTES = (
    "directions", "forehand", "cause", "words", "words_picture",
    "directions_from", "forehand_from", "words_from",
)  # fmt: skip
_NO_NOTES = Throw(order=0, phase="", execution=Value(None))


def _notes_in_place(throws: Iterable[Throw]) -> list[Throw]:
    """Return the throws with the notes at the first miss of their phase, or nowhere where none missed."""
    listed = list(throws)
    noted = next((t for t in listed if t.cause is not None or t.directions_from or t.words_picture), None)
    if noted is None:
        return listed
    first = next((t for t in listed if t.phase == noted.phase and t.execution.value == "miss"), None)
    if first is noted:
        return listed
    bare = {name: getattr(_NO_NOTES, name) for name in _NOTES}
    theirs = {name: getattr(noted, name) for name in _NOTES}
    return [replace(t, **bare) if t is noted else replace(t, **theirs) if t is first else t for t in listed]
