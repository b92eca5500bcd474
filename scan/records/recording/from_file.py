"""What waits in a round that came from a file, and answers to it: the record itself is answered.

No card and no reading stand behind such a round, so its places are named by the record: ``hole3.score``,
``hole3.throw2.execution``, ``played_on``, ``tally.drive``. A field that waited on the card and has no place
that waits in the record keeps the card's name for it; what is said of it becomes a note.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.shown import whole_letters
from shortpencil.forms.units import to_metres
from shortpencil.scan.records.composing.answers import FORBIDDEN_SIGNS
from shortpencil.scan.records.composing.compose import DISTANCE_DECIMALS, who_holed
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.recording.record_json import (
    phases_of,
    round_from_json,
    round_to_json,
    tee_of,
    time_text,
)
from shortpencil.scan.records.recording.schema import SCHEMA_FILE, problems_of, where_of

Path = tuple[str | int, ...]
_HEAD = ("played_on", "hand", "wind", "worst", "total")
_FROM = "_from"
_MOST_WORDS = 500


@dataclass(frozen=True, slots=True)
class Place:
    """One value of a record that waits for a person.

    Attributes
    ----------
    name : what to call it in a command or an address
    says : the same in a player's words
    options : what it may be, where that is a choice
    kind : "number", "day", "flag" or "text": what it takes
    """

    name: str
    says: str
    options: tuple[str, ...] = ()
    kind: str = "text"


def waiting_places(round_: Round) -> tuple[Place, ...]:
    """Return what waits in a round, in the order of the record."""
    data = round_to_json(round_)
    waiting = [path for path, value in _values(data) if value.get("status") == "waits"]
    known = {name for path in waiting for name in (_name(path, data), *_field_ids(path, data))}
    others = [name for name in round_.waiting if name not in known]
    found = [_place(path, data) for path in waiting]
    return (*found, *(Place(name, f"{name}, as it stands on the card") for name in others))


def with_waiting_told(round_: Round) -> Round:
    """Return the round with a list of what waits in it, where values wait and no list says so."""
    if round_.waiting:
        return round_
    names = tuple(place.name for place in waiting_places(round_))
    return _with_list(round_, names) if names else round_


def with_waiting_retold(before: Round, after: Round) -> Round:
    """Return `after` with its list of what waits brought up to date: what a change settled waits no more."""

    def names(round_: Round) -> set[str]:
        data = round_to_json(round_)
        waiting = [path for path, value in _values(data) if value.get("status") == "waits"]
        return {name for path in waiting for name in (_name(path, data), *_field_ids(path, data))}

    gone = names(before) - names(after)
    return _with_list(after, tuple(name for name in after.waiting if name not in gone)) if gone else after


def with_answer(round_: Round, name: str, text: str, who: str, when: datetime) -> Round:
    """Return the round with an answer in a place that waits.

    Parameters
    ----------
    name, text : the place and what holds there, as typed; empty for "nothing"
    who, when : who says so and when, with a time zone

    Raises
    ------
    InputError
        when nothing of that name waits, or the place cannot hold the value; says what it can hold
    """
    places = {place.name: place for place in waiting_places(round_)}
    if name not in places:
        waits = ", ".join(places) or "nothing"
        raise InputError(f"{round_.id}: expected a place that waits ({waits}), found {name!r}.")
    text = whole_letters(text)
    if FORBIDDEN_SIGNS.search(text) or len(text) > _MOST_WORDS:
        raise InputError(f"{name}: expected at most {_MOST_WORDS} signs without control characters.")
    data = round_to_json(round_)
    path = next((at for at, value in _values(data) if _waits_as(at, value, data) == name), None)
    if path is None:
        notes = {**data.get("notes", {}), **({name: text.strip()} if text.strip() else {})}
        data["notes"] = notes
    else:
        value = _typed(places[name], text.strip())
        data = _put(data, path, value, who, when)
        problems = [problem for problem in problems_of(data) if problem.path[: len(path)] == path]
        if problems:
            raise InputError(f"{places[name].says}: {problems[0].says}.")
    gone = {name, *(_field_ids(path, data) if path is not None else ())}
    answered = round_from_json(data)
    still = any(value.get("status") == "waits" for _, value in _values(data))
    left = tuple(one for one in round_.waiting if one not in gone)
    return _with_list(answered, left if still else tuple(one for one in left if one in places))


def _with_list(round_: Round, waiting: tuple[str, ...]) -> Round:
    data = {**round_to_json(round_), "waiting": list(waiting)}
    return round_from_json(data)


def _typed(place: Place, text: str) -> str | int | float | bool | None:
    """Return what was typed as the kind of value that the place takes; the schema judges the rest."""
    if not text:
        return None
    if place.kind == "flag":
        if text.lower() not in ("yes", "no", "true", "false"):
            raise InputError(f"{place.says}: expected yes or no, found {text!r}.")
        return text.lower() in ("yes", "true")
    if place.kind == "number":
        try:
            number = float(text)
        except ValueError:
            raise InputError(f"{place.says}: expected a number, found {text!r}.") from None
        return int(number) if number.is_integer() and abs(number) < 10**9 else number
    return " ".join(text.split())


def _put(data: dict[str, Any], path: Path, value: object, who: str, when: datetime) -> dict[str, Any]:
    """Return the record with a value entered, and with what follows from it."""
    if when.tzinfo is None:
        raise ValueError("an answer's time needs a time zone")
    out = deepcopy(data)
    *above, key = path
    holder: Any = out
    for step in above:
        holder = holder[step]
    before = holder[key].get("value")
    entered = {"value": value, "source": "entered", "by": who, "at": time_text(when.astimezone(UTC))}
    holder[key] = entered | ({} if before is None else {"over": before})
    if key == "execution" and value is None:
        holder[key]["value"] = "unmarked"
    if key == "distance":
        known = isinstance(value, int | float)
        metres = round(to_metres(value, out["unit"]), DISTANCE_DECIMALS) if known else None  # type: ignore[arg-type]
        holder["distance_m"] = metres
    if key == "directions_from":
        holder["directions"] = str(value).split() if value else []
    if key in ("forehand_from", "words_from"):
        holder[str(key).removesuffix(_FROM)] = value
    if key in ("score", "penalty"):
        _say_who_holed(holder, out)
    return out


def _say_who_holed(hole: dict[str, Any], data: Mapping[str, Any]) -> None:
    """Say who holed out where the score did not tell before: by the rule that holds for typed rounds."""
    score, penalty = (
        None if hole[name].get("status") == "waits" else hole[name]["value"] for name in ("score", "penalty")
    )
    if not isinstance(score, int) or not isinstance(penalty, int):
        return
    throws = hole["throws"]
    found = who_holed([throw["phase"] for throw in throws], score - penalty, tee=tee_of(data))
    for throw, holed in zip(throws, found, strict=True):
        throw["holed"] = holed


# -- places of a record ----------------------------------------------------------------------------------


def _values(data: Mapping[str, Any]) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    """Yield each value of a record with its path, in the order of the card."""
    for key in _HEAD:
        yield (key,), data[key]
    for phase in phases_of(data):
        if phase in data["tallies"]:
            yield ("tallies", phase), data["tallies"][phase]
    for i, hole in enumerate(data["holes"]):
        for key in ("par", "score", "penalty"):
            yield ("holes", i, key), hole[key]
        for j, throw in enumerate(hole["throws"]):
            for key, value in throw.items():
                if isinstance(value, Mapping) and "source" in value:
                    yield ("holes", i, "throws", j, key), value


def _waits_as(path: Path, value: Mapping[str, Any], data: Mapping[str, Any]) -> str | None:
    return _name(path, data) if value.get("status") == "waits" else None


def _name(path: Path, data: Mapping[str, Any]) -> str:
    key = str(path[-1]).removesuffix(_FROM)
    if path[0] == "tallies":
        return f"tally.{key}"
    if path[0] != "holes":
        return key
    hole = data["holes"][path[1]]
    if len(path) == 3:
        return f"hole{hole['number']}.{key}"
    return f"hole{hole['number']}.throw{hole['throws'][path[3]]['order']}.{key}"


def _place(path: Path, data: Mapping[str, Any]) -> Place:
    key = str(path[-1])
    says = where_of(path, data).replace("_from", "").replace("played_on", "day").replace("tallies", "tally")
    if len(path) == 5:
        phase = data["holes"][path[1]]["throws"][path[3]]["phase"]
        says = says.replace(f", {key.removesuffix(_FROM)}", f" ({phase}), {key.removesuffix(_FROM)}")
    return Place(_name(path, data), says, *_kind(path, data))


def _kind(path: Path, data: Mapping[str, Any]) -> tuple[tuple[str, ...], str]:
    """Return the choices and the kind of a place, as the published schema has them."""
    key = str(path[-1])
    if key == "execution":
        return ("clean", "miss", "unmarked"), "text"
    if key == "played_on":
        return (), "day"
    if key == "forehand_from":
        return ("yes", "no"), "flag"
    if key == "worst":
        return phases_of(data), "text"
    part = _schema()["properties"] if path[0] in _HEAD else {}
    choices = part.get(key, {}).get("properties", {}).get("value", {}).get("enum", [])
    if choices:
        return tuple(str(one) for one in choices if one is not None), "text"
    numbers = ("total", "score", "penalty", "par", "distance")
    return (), "number" if key in numbers or path[0] == "tallies" else "text"


@cache
def _schema() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    return found


def _field_ids(path: Path, data: Mapping[str, Any]) -> frozenset[str]:
    """Return what the fields of a card are called that a place of the record stands for."""
    key = str(path[-1])
    if path[0] == "tallies":
        return frozenset((f"tally.{key}",))
    if key == "played_on":
        return frozenset(("date.day", "date.month", "date.year"))
    if path[0] != "holes":
        return frozenset((key,))
    hole = data["holes"][path[1]]
    row = f"h{hole['number']:02d}"
    if len(path) == 3:
        return frozenset((f"{row}.{key}",))
    second = {"directions_from": "way", "forehand_from": "forehand", "cause": "why", "words_from": "words"}
    if key in second:
        return frozenset((f"{row}.{second[key]}",))
    throw = hole["throws"][path[3]]
    of_phase = [one["order"] for one in hole["throws"] if one["phase"] == throw["phase"]]
    number = of_phase.index(throw["order"]) + 1
    end = "" if key == "execution" else f".{key}"
    names = {f"{row}.{throw['phase']}{number}{end}"}
    columns = next((p["columns"] for p in data.get("phases", ()) if p["id"] == throw["phase"]), ())
    names |= {f"{row}.{column}{end}" for column in columns[number - 1 : number]}
    return frozenset(names | ({f"{row}.{throw['phase']}{end}"} if number == 1 else set()))
