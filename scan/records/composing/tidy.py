"""Rounds as rows, one fact each: what is exported, and what the tables of the store hold.

A value that waits for a person or is doubtful is null here, and the column named ``…_status`` beside it says
so: "known", "blank" (nothing is marked, or the card does not ask), "waits" or "doubtful". What a doubtful one
may be, and how probably, is a table of its own. Distances stand as written, with their
unit, and in metres.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from shortpencil.forms.form import USUAL_PHASES
from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.rounds import Hole, PracticeSet, Round, Throw, Value, values_of

Row = dict[str, Any]

#: A row of a table of the store, in the order of its columns.
Facts = tuple[Any, ...]

STATUSES = ("known", "blank", "waits", "doubtful")

#: Of these nothing is exported as known.
OPEN = ("waits", "doubtful")


def status_of(value: Value | None) -> str | None:
    """Return "known", "blank", "waits" or "doubtful"; None for a value that is not there at all."""
    if value is None:
        return None
    if value.status != "known":
        return value.status
    return "blank" if value.value is None else "known"


def round_row(round_: Round) -> Row:
    """Return the row of a round: its head, its sums as far as known, the player's own sums."""
    missed = misses_by_phase(round_)
    return {
        "round": round_.id,
        "form": round_.form,
        **_with_status("day", round_.played_on, known=round_.day),
        "player": round_.player,
        "course": round_.course,
        "layout": round_.layout,
        "unit": round_.unit,
        **_with_status("hand", round_.hand),
        **_with_status("wind", round_.wind),
        **_with_status("worst", round_.worst),
        **sums(round_),
        # None where the round's game has no such phase.
        **{
            f"misses_{phase}": missed.get(phase, 0) if phase in round_.phase_ids else None for phase in PHASES
        },
        **_with_status("total", round_.total),
        **{
            key: item
            for phase in PHASES
            for key, item in _with_status(f"tally_{phase}", round_.tallies.get(phase)).items()
        },
        "waiting": " ".join(round_.waiting) or None,
        "recorded_at": round_.recorded_at,
        "photos": " ".join(round_.sources) or None,
    }


def sums(round_: Round) -> Row:
    """Return how many holes a round has, and score and par over those whose score is known."""
    scored = [hole for hole in round_.holes if isinstance(hole.score.known, int)]
    pars = [hole.par.known for hole in scored]
    return {
        "holes": len(round_.holes),
        "holes_scored": len(scored),
        "score": sum(int(hole.score.known or 0) for hole in scored),
        "par_scored": sum(int(par) for par in pars if par is not None) if _all_known(pars) else None,
    }


def miss_facts(round_: Round) -> list[Facts]:
    """Return what is known of each phase, as the table `misses` of the store has it."""
    missed = misses_by_phase(round_)
    return [
        (round_.id, place, phase, missed.get(phase, 0), _known(round_.tallies.get(phase)))
        for place, phase in enumerate(round_.phase_ids, start=1)
    ]


def phase_rows(round_: Round) -> Iterator[Row]:
    """Yield the row of each phase of a round of another game than the usual one, in the order thrown."""
    if round_.phases == USUAL_PHASES:
        return
    for place, phase in enumerate(round_.phases, start=1):
        yield {
            "round": round_.id,
            "place": place,
            "phase": phase.id,
            "label": phase.label,
            "role": phase.role,
            "columns": " ".join(phase.columns),
            "misses": misses(round_, phase.id),
            **_with_status("tally", round_.tallies.get(phase.id)),
        }


def settled(round_: Round) -> Round:
    """Return the round without guesses: what waits is null, and only its status is left.

    What is doubtful stays, with its probability and its alternatives.
    """
    if all(value.status == "known" for value in values_of(round_)):
        return round_
    return replace(
        round_,
        played_on=_settled(round_.played_on),
        hand=_settled(round_.hand),
        wind=_settled(round_.wind),
        worst=_settled(round_.worst),
        total=_settled(round_.total),
        extra={name: _settled(value) for name, value in round_.extra.items()},
        tallies={phase: _settled(value) for phase, value in round_.tallies.items()},
        holes=tuple(
            replace(
                hole,
                score=_settled(hole.score),
                penalty=_settled(hole.penalty),
                par=_settled(hole.par),
                throws=tuple(_settled_throw(throw) for throw in hole.throws),
                maybe=tuple(_settled_throw(throw) for throw in hole.maybe),
            )
            for hole in round_.holes
        ),
    )


def _settled(value: Value) -> Value:
    return value if value.status != "waits" else Value(None, source=value.source, status=value.status)


def _settled_throw(throw: Throw) -> Throw:
    def settle(value: Value | None) -> Value | None:
        return None if value is None else _settled(value)

    def waits(value: Value | None) -> bool:
        return value is not None and value.status != "known"

    return replace(
        throw,
        execution=_settled(throw.execution),
        distance_m=None if waits(throw.distance) else throw.distance_m,
        directions=() if waits(throw.directions_from) else throw.directions,
        forehand=None if waits(throw.forehand_from) else throw.forehand,
        words=None if waits(throw.words_from) else throw.words,
        distance=settle(throw.distance),
        stance=settle(throw.stance),
        cause=settle(throw.cause),
        directions_from=settle(throw.directions_from),
        forehand_from=settle(throw.forehand_from),
        words_from=settle(throw.words_from),
    )


def hole_rows(round_: Round) -> Iterator[Row]:
    """Yield the row of each hole in the round's order."""
    for hole in round_.holes:
        yield {
            "round": round_.id,
            "hole": hole.number,
            **_with_status("score", hole.score),
            **_with_status("penalty", hole.penalty),
            **_with_status("par", hole.par),
            "length_m": hole.length_m,
            "throws": _throw_count(hole),
        }


def throw_rows(round_: Round) -> Iterator[Row]:
    """Yield the row of each known throw, hole by hole, in the order thrown."""
    for hole in round_.holes:
        for throw in hole.throws:
            yield _throw_row(round_, hole, throw)


def doubt_rows(round_: Round) -> Iterator[Row]:
    """Yield a row for each value that a doubtful one may have, the likeliest first."""
    for place, value in doubtful_values(round_):
        pairs = ((value.value, value.p), *value.alternatives)
        for rank, (shown, p) in enumerate(pairs, start=1):
            yield {"round": round_.id, "place": place, "rank": rank, "value": _as_text(shown), "p": p}


def doubtful_values(round_: Round) -> Iterator[tuple[str, Value]]:
    """Yield each doubtful value of a round with its place, as in ``holes/7/throws/2/execution``."""
    named: list[tuple[str, Value | None]] = [
        (name, getattr(round_, name)) for name in ("played_on", "hand", "wind", "worst", "total")
    ]
    named += [(f"tallies/{phase}", value) for phase, value in round_.tallies.items()]
    for hole in round_.holes:
        at = f"holes/{hole.number}"
        named += [(f"{at}/{name}", getattr(hole, name)) for name in ("score", "penalty", "par")]
        for kind, throws in (("throws", hole.throws), ("maybe", hole.maybe)):
            for throw in throws:
                number = throw.order if kind == "throws" else f"{throw.phase}{throw.order}"
                named += [(f"{at}/{kind}/{number}/{name}", getattr(throw, name)) for name in THROW_VALUES]
    yield from ((place, value) for place, value in named if value is not None and value.status == "doubtful")


#: Values of a throw.
THROW_VALUES = (
    "execution", "distance", "stance", "directions_from", "forehand_from", "cause", "words_from"
)  # fmt: skip


def _as_text(value: object) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    return None if value is None else str(value)


def hole_facts(round_: Round) -> list[Facts]:
    """Return what is known of each hole, as the table `holes` has it: its row without statuses and counts."""
    return [
        (round_.id, hole.number, hole.score.known, hole.penalty.known, hole.par.known, hole.length_m)
        for hole in round_.holes
    ]


def throw_facts(round_: Round) -> list[Facts]:
    """Return what is known of each throw, as the table `throws` has it: its row without statuses and unit."""
    return [
        (
            round_.id,
            hole.number,
            throw.order,
            throw.phase,
            throw.execution.known,
            throw.holed,
            None if _is_open(throw.distance) else throw.distance_m,
            _known(throw.stance),
            None if _is_open(throw.directions_from) else " ".join(throw.directions) or None,
            None if _is_open(throw.forehand_from) else throw.forehand,
            _known(throw.cause),
            None if _is_open(throw.words_from) else throw.words,
        )
        for hole in round_.holes
        for throw in hole.throws
    ]


def _known(value: Value | None) -> Any:
    return None if value is None else value.known


def _is_open(value: Value | None) -> bool:
    return value is not None and value.status in OPEN


def practice_row(done: PracticeSet) -> Row:
    """Return the row of one set of a practice card."""
    return {
        "card": done.card,
        "row": done.row,
        "day": done.day,
        "player": done.player,
        "drill": done.drill,
        **_with_status("tries", done.tries),
        **_with_status("made", done.made),
        **_with_status("distance_m", done.distance_m),
    }


def misses_by_phase(round_: Round) -> dict[str, int]:
    """Count the known misses of each phase that has any; what is unmarked or waits is none."""
    counts: dict[str, int] = {}
    for hole in round_.holes:
        for throw in hole.throws:
            if throw.execution.known == "miss":
                counts[throw.phase] = counts.get(throw.phase, 0) + 1
    return counts


def misses(round_: Round, phase: str) -> int:
    """Count the known misses of a phase; what is unmarked or waits is none."""
    return misses_by_phase(round_).get(phase, 0)


def _throw_row(round_: Round, hole: Hole, throw: Throw) -> Row:
    return {
        "round": round_.id,
        "hole": hole.number,
        "throw": throw.order,
        "phase": throw.phase,
        **_with_status("execution", throw.execution),
        "holed": throw.holed,
        **_with_status("distance", throw.distance),
        "distance_unit": None if throw.distance is None else round_.unit,
        "distance_m": None if status_of(throw.distance) in OPEN else throw.distance_m,
        **_with_status("stance", throw.stance),
        **_beside("direction", " ".join(throw.directions) or None, throw.directions_from),
        **_beside("forehand", throw.forehand, throw.forehand_from),
        **_with_status("cause", throw.cause),
        **_beside("words", throw.words, throw.words_from),
    }


def _beside(name: str, shown: object, origin: Value | None) -> Row:
    """Return a fact that is kept apart from where it came from, with its status."""
    status = status_of(origin)
    if status in OPEN:
        return {name: None, f"{name}_status": status}
    if shown is not None:
        status = "known"
    elif status is not None:
        status = "blank"
    return {name: shown, f"{name}_status": status}


def _with_status(name: str, value: Value | None, **known: object) -> Row:
    shown = known.get("known", None if value is None else value.known)
    return {name: shown, f"{name}_status": status_of(value)}


def _throw_count(hole: Hole) -> int | None:
    """Return how many throws the hole took, by score and penalties; None where these are not known."""
    score, penalty = hole.score.known, hole.penalty.known
    if not isinstance(score, int) or not isinstance(penalty, int) or score < penalty:
        return None
    return score - penalty


def _all_known(pars: list[Any]) -> bool:
    return bool(pars) and all(isinstance(par, int) for par in pars)
