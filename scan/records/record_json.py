"""A round as JSON and back, in the form that `round.schema.json` publishes.

`round_to_json` leaves out what is null or the default, so that a record stays readable; `round_from_json`
takes that form only. What a person types by hand is brought into it first, by `scan.records.typed`; whether
a record is right is the matter of `scan.records.schema`.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from scan.records.rounds import RECORD_SCHEMA, Hole, PracticeSet, Round, Throw, Value

_HEAD_VALUES = ("played_on", "hand", "wind", "worst", "total")
_THROW_VALUES = ("distance", "stance", "directions_from", "forehand_from", "cause", "words_from")


def round_to_json(round_: Round) -> dict[str, Any]:
    """Return the published JSON of a round, plain types only."""
    return {
        "schema": RECORD_SCHEMA,
        "id": round_.id,
        "form": round_.form,
        **_given({"player": round_.player, "course": round_.course, "layout": round_.layout}),
        "unit": round_.unit,
        **{name: _value_json(getattr(round_, name)) for name in _HEAD_VALUES},
        "tallies": {phase: _value_json(value) for phase, value in round_.tallies.items()},
        "holes": [_hole_json(hole) for hole in round_.holes],
        **_given(
            {
                "sources": list(round_.sources),
                "recorded_at": time_text(round_.recorded_at),
                "waiting": list(round_.waiting),
                "notes": dict(round_.notes),
            }
        ),
    }


def round_text(round_: Round) -> str:
    """Return the JSON of a round as the one text that stands for it: same round, same text."""
    return json.dumps(round_to_json(round_), ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def round_from_json(data: Mapping[str, Any]) -> Round:
    """Return the round that a record in the published JSON describes.

    The record must have been checked by `schema.problems_of`, or written by `round_to_json`.
    """
    head = {name: _value(data[name]) for name in _HEAD_VALUES}
    return Round(
        id=data["id"],
        form=data["form"],
        player=data.get("player"),
        course=data.get("course"),
        layout=data.get("layout"),
        unit=data["unit"],
        tallies={phase: _value(value) for phase, value in data["tallies"].items()},
        holes=tuple(_hole(hole) for hole in data["holes"]),
        sources=tuple(data.get("sources", ())),
        recorded_at=time_from(data.get("recorded_at")),
        waiting=tuple(data.get("waiting", ())),
        notes=dict(data.get("notes", {})),
        **head,
    )


def rounds_from_texts(texts: Iterable[str]) -> tuple[Round, ...]:
    """Return the rounds that many stored texts describe.

    A thousand rounds are half a million objects, none of which refers back to another: looking for circles
    among them while they are made takes as long as making them, so that waits until they are there.
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        return tuple(round_from_json(json.loads(text)) for text in texts)
    finally:
        if collects:
            gc.enable()


def practice_to_json(done: PracticeSet) -> dict[str, Any]:
    """Return the JSON of one set of a practice card."""
    return {
        "card": done.card,
        "row": done.row,
        **_given({"day": done.day and done.day.isoformat(), "player": done.player}),
        "drill": done.drill,
        "tries": _value_json(done.tries),
        "made": _value_json(done.made),
    }


def practice_from_json(data: Mapping[str, Any]) -> PracticeSet:
    """Return the set that `practice_to_json` described."""
    return PracticeSet(
        card=data["card"],
        row=data["row"],
        day=date.fromisoformat(data["day"]) if data.get("day") else None,
        player=data.get("player"),
        drill=data["drill"],
        tries=_value(data["tries"]),
        made=_value(data["made"]),
    )


def time_text(time: datetime | None) -> str | None:
    """Return a time as RFC 3339 text in UTC, as in ``2026-05-31T18:04:00Z``; None stays None."""
    if time is None:
        return None
    if time.tzinfo is None:
        raise ValueError("a time in a record needs a time zone")
    return time.astimezone(UTC).isoformat().replace("+00:00", "Z")


def time_from(text: str | None) -> datetime | None:
    """Return the time of an RFC 3339 text, in UTC."""
    return datetime.fromisoformat(text).astimezone(UTC) if text else None


def _given(items: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in items.items() if value not in (None, [], {})}


def _value_json(value: Value) -> dict[str, Any]:
    more: dict[str, Any] = {
        "p": value.p,
        "rule": value.rule,
        "by": value.by,
        "at": time_text(value.at),
        "over": value.over,
        "how": value.how,
    }
    if value.status != "known":
        more["status"] = value.status
    if value.alternatives:
        more["alternatives"] = [list(pair) for pair in value.alternatives]
    return {"value": value.value, "source": value.source, **{k: v for k, v in more.items() if v is not None}}


def _hole_json(hole: Hole) -> dict[str, Any]:
    return {
        "number": hole.number,
        "score": _value_json(hole.score),
        "penalty": _value_json(hole.penalty),
        "par": _value_json(hole.par),
        **_given({"length_m": hole.length_m}),
        "throws": [_throw_json(throw) for throw in hole.throws],
        **_given({"maybe": [_throw_json(throw) for throw in hole.maybe]}),
    }


def _throw_json(throw: Throw) -> dict[str, Any]:
    values = {name: getattr(throw, name) for name in _THROW_VALUES}
    return {
        "order": throw.order,
        "phase": throw.phase,
        "execution": _value_json(throw.execution),
        **{name: _value_json(value) for name, value in values.items() if value is not None},
        **_given(
            {
                "holed": throw.holed,
                "distance_m": throw.distance_m,
                "directions": list(throw.directions),
                "forehand": throw.forehand,
                "words": throw.words,
                "words_picture": throw.words_picture,
            }
        ),
    }


def _value(data: Mapping[str, Any]) -> Value:
    p = data.get("p")
    if len(data) == 2 + (p is not None):  # nearly all of them; a value is frozen, so that it can be shared
        return _plain(data["value"], data["source"], p)
    return Value(
        value=data["value"],
        source=data["source"],
        p=p,
        status=data.get("status", "known"),
        rule=data.get("rule"),
        by=data.get("by"),
        at=time_from(data.get("at")),
        over=data.get("over"),
        how=data.get("how"),
        alternatives=tuple((other, p) for other, p in data.get("alternatives", ())),
    )


def _plain(value: Any, source: str, p: float | None) -> Value:
    """Return a value of which nothing more is known; the commonest are made once."""
    if p is None or (p == 1.0 and isinstance(p, float)):
        return _shared(type(value).__name__, value, source, p)
    return Value(value, source, p)


@lru_cache(maxsize=4096)
def _shared(kind: str, value: Any, source: str, p: float | None) -> Value:
    # by its type as well: True, 1 and 1.0 are equal and not the same
    return Value(value, source, p)


def _hole(data: Mapping[str, Any]) -> Hole:
    return Hole(
        number=data["number"],
        score=_value(data["score"]),
        penalty=_value(data["penalty"]),
        par=_value(data["par"]),
        length_m=data.get("length_m"),
        throws=tuple(_throw(throw) for throw in data["throws"]),
        maybe=tuple(_throw(throw) for throw in data.get("maybe", ())),
    )


def _throw(data: Mapping[str, Any]) -> Throw:
    get = data.get
    named = {name: _value(data[name]) for name in _THROW_VALUES if name in data} if len(data) > 3 else {}
    return Throw(
        data["order"],
        data["phase"],
        _value(data["execution"]),
        get("holed"),
        distance_m=get("distance_m"),
        directions=tuple(get("directions", ())),
        forehand=get("forehand"),
        words=get("words"),
        words_picture=get("words_picture"),
        **named,
    )
