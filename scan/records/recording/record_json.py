"""A round as JSON and back, in the form that `rounds.schema.json` publishes.

`round_to_json` leaves out what is null or the default, so that a record stays readable; `round_from_json`
takes that form only. What a person types by hand is brought into it first, by `typed`; whether a record is
right is the matter of `schema`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

import msgspec

from shortpencil.forms.form import USUAL_PHASES, Phase
from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.rounds import (
    RECORD_SCHEMA,
    Hole,
    PracticeSet,
    Round,
    Throw,
    Value,
    values_of,
)

_HEAD_VALUES = ("played_on", "hand", "wind", "worst", "total")


def round_to_json(round_: Round) -> dict[str, Any]:
    """Return the published JSON of a round, plain types only."""
    return {
        "schema": RECORD_SCHEMA,
        "id": round_.id,
        "form": round_.form,
        **_given({"player": round_.player, "course": round_.course, "layout": round_.layout}),
        "unit": round_.unit,
        **({} if round_.phases == USUAL_PHASES else {"phases": [_phase_json(p) for p in round_.phases]}),
        **{name: _value_json(getattr(round_, name)) for name in _HEAD_VALUES},
        # By name: a round that comes from the store shows the same text as one just read.
        "tallies": {phase: _value_json(value) for phase, value in sorted(round_.tallies.items())},
        "holes": [_hole_json(hole) for hole in round_.holes],
        **_given(
            {
                "sources": list(round_.sources),
                "recorded_at": time_text(round_.recorded_at),
                "waiting": list(round_.waiting),
                "notes": dict(round_.notes),
                "extra": {name: _value_json(value) for name, value in round_.extra.items()},
            }
        ),
    }


def round_text(round_: Round) -> str:
    """Return the JSON of a round as the one text that stands for it: same round, same text."""
    return text_of(round_to_json(round_))


def text_of(data: Mapping[str, Any]) -> str:
    """Return the text that stands for a round whose JSON `round_to_json` made."""
    text = msgspec.json.encode(data, order="sorted").decode()
    # Very small numbers are written in two ways, 1e-05 and 1e-5, and so are very large ones, which only stand
    # where a person wrote over something; the texts that are stored have Python's.
    if "e-" in text or "0.0000" in text or '"over":' in text:
        return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text


def round_from_json(data: Mapping[str, Any]) -> Round:
    """Return the round that a record in the published JSON describes.

    The record must have been checked by `schema.problems_of`, or written by `round_to_json`.
    """
    try:
        round_ = msgspec.convert(data, Round)
    except msgspec.ValidationError:  # a whole number may be written 7.0
        data = _whole(data)
        round_ = msgspec.convert(data, Round)
    if any(value.at is not None and value.at.tzinfo is not UTC for value in values_of(round_)):
        round_ = msgspec.convert(_in_utc(data), Round)
    at = round_.recorded_at
    return round_ if at is None else replace(round_, recorded_at=at.astimezone(UTC))


def round_from_text(text: str | bytes) -> Round:
    """Return the round that a stored text describes; the text is as `round_text` wrote it."""
    try:
        return _decoder().decode(text)
    except msgspec.ValidationError:  # 7.0 for 7, or what JSON has no word for
        return round_from_json(json.loads(text))


def rounds_from_texts(texts: Iterable[str | bytes]) -> Iterator[Round]:
    """Yield the rounds that many stored texts describe."""
    return map(round_from_text, texts)


@cache
def _decoder() -> msgspec.json.Decoder[Round]:
    return msgspec.json.Decoder(Round)


def _whole(data: Any) -> Any:
    """Return a record whose counts are whole numbers where it has them as 7.0."""
    if isinstance(data, list):
        return [_whole(item) for item in data]
    if not isinstance(data, Mapping):
        return data
    return {
        key: int(item)
        if key in ("schema", "number", "order") and isinstance(item, float) and item.is_integer()
        else _whole(item)
        for key, item in data.items()
    }


def _in_utc(data: Any) -> Any:
    """Return a record whose times are all told in UTC."""
    if isinstance(data, list):
        return [_in_utc(item) for item in data]
    if not isinstance(data, Mapping):
        return data
    return {
        key: time_text(time_from(item)) if key == "at" and isinstance(item, str) else _in_utc(item)
        for key, item in data.items()
        if key != "notes"  # texts by field id, whatever the id
    } | ({"notes": data["notes"]} if "notes" in data else {})


def practice_to_json(done: PracticeSet) -> dict[str, Any]:
    """Return the JSON of one set of a practice card."""
    return {
        "card": done.card,
        "row": done.row,
        **_given({"day": done.day and done.day.isoformat(), "player": done.player}),
        "drill": done.drill,
        "tries": _value_json(done.tries),
        "made": _value_json(done.made),
        **_given({"distance_m": done.distance_m and _value_json(done.distance_m)}),
    }


def practice_from_json(data: Mapping[str, Any]) -> PracticeSet:
    """Return the set that `practice_to_json` described."""
    return PracticeSet(
        card=data["card"],
        row=int(data["row"]),
        day=date.fromisoformat(data["day"]) if data.get("day") else None,
        player=data.get("player"),
        drill=data["drill"],
        tries=_value(data["tries"]),
        made=_value(data["made"]),
        distance_m=_value(data["distance_m"]) if data.get("distance_m") else None,
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
    data: dict[str, Any] = {"value": value.value, "source": value.source}
    if value.p is not None:
        data["p"] = value.p
    if value.rule is not None:
        data["rule"] = value.rule
    if value.by is not None:
        data["by"] = value.by
    if value.at is not None:
        data["at"] = time_text(value.at)
    if value.over is not None:
        data["over"] = value.over
    if value.how is not None:
        data["how"] = value.how
    if value.status != "known":
        data["status"] = value.status
    if value.alternatives:
        data["alternatives"] = [list(pair) for pair in value.alternatives]
    return data


def _phase_json(phase: Phase) -> dict[str, Any]:
    return {"id": phase.id, "label": phase.label, "role": phase.role, "columns": list(phase.columns)}


def phases_of(data: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the ids of the phases of a record's game, in the order thrown."""
    return tuple(phase["id"] for phase in data["phases"]) if "phases" in data else PHASES


def tee_of(data: Mapping[str, Any]) -> str | None:
    """Return the phase that begins a hole in a record's game, if it has one."""
    if "phases" not in data:
        return PHASES[0]
    return next((phase["id"] for phase in data["phases"] if phase["role"] == "tee"), None)


def _hole_json(hole: Hole) -> dict[str, Any]:
    data: dict[str, Any] = {
        "number": hole.number,
        "score": _value_json(hole.score),
        "penalty": _value_json(hole.penalty),
        "par": _value_json(hole.par),
    }
    if hole.length_m is not None:
        data["length_m"] = hole.length_m
    data["throws"] = [_throw_json(throw) for throw in hole.throws]
    if hole.maybe:
        data["maybe"] = [_throw_json(throw) for throw in hole.maybe]
    return data


def _throw_json(throw: Throw) -> dict[str, Any]:
    data: dict[str, Any] = {
        "order": throw.order,
        "phase": throw.phase,
        "execution": _value_json(throw.execution),
    }
    if throw.distance is not None:
        data["distance"] = _value_json(throw.distance)
    if throw.stance is not None:
        data["stance"] = _value_json(throw.stance)
    if throw.directions_from is not None:
        data["directions_from"] = _value_json(throw.directions_from)
    if throw.forehand_from is not None:
        data["forehand_from"] = _value_json(throw.forehand_from)
    if throw.cause is not None:
        data["cause"] = _value_json(throw.cause)
    if throw.words_from is not None:
        data["words_from"] = _value_json(throw.words_from)
    if throw.holed is not None:
        data["holed"] = throw.holed
    if throw.distance_m is not None:
        data["distance_m"] = throw.distance_m
    if throw.directions:
        data["directions"] = list(throw.directions)
    if throw.forehand is not None:
        data["forehand"] = throw.forehand
    if throw.words is not None:
        data["words"] = throw.words
    if throw.words_picture is not None:
        data["words_picture"] = throw.words_picture
    return data


def _value(data: Mapping[str, Any]) -> Value:
    return msgspec.convert(_in_utc(data), Value)
