"""Is a record what the published JSON Schema (2020-12) says, and if not, where and why, in a player's words.

The schema lies beside this file and is the contract; the few things that a JSON Schema cannot say (days that
exist, numbers that are unique) are checked here too. A compiled validator says whether a record is right (0.1
ms a round of 18 holes); only where it is not, one written in Python is loaded to say where and why (8 ms).
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from shortpencil.forms.errors import RecordError
from shortpencil.forms.form_check import ROLES
from shortpencil.scan.language import carried
from shortpencil.scan.records.composing.rounds import FIRST_YEAR, LAST_YEAR, Round, is_day
from shortpencil.scan.records.recording.record_json import round_to_json, text_of, time_from

if TYPE_CHECKING:
    import jsonschema_rs
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import ValidationError

_END = r"\Z"

SCHEMA_FILE = Path(__file__).with_name("rounds.schema.json")


#: Where something stands in a record: keys and indices.
Place = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with a record: where (as in ``hole 7, throw 2, execution``) and what.

    `path` is the same place as keys and indices into the record.
    """

    where: str
    says: str
    path: Place = ()

    def __str__(self) -> str:
        return f"{self.where}: {self.says}" if self.where else self.says


def is_full(data: object) -> bool:
    """Say whether a record is in the published form, as far as a JSON Schema can say."""
    return _fits("round", data)


def problems_of(data: object, *, fits: bool = False, entered: bool = True) -> list[Problem]:
    """Return everything that is wrong with a record in the published JSON; nothing when it may be stored.

    Parameters
    ----------
    fits : the record is known to pass `is_full`
    entered : some value may say when it was entered; without, these times are not looked for
    """
    if not fits and not _fits("round", data) and (found := _problems("round", data)):
        return found
    return list(_beyond_the_schema(cast(Mapping[str, Any], data), entered))


def practice_problems_of(data: object) -> list[Problem]:
    """Return everything that is wrong with a set of a practice card."""
    found: list[Problem] = []
    if not _fits("practice", data) and (found := _problems("practice", data)):
        return found
    data = cast(Mapping[str, Any], data)
    tries, made, day = data["tries"]["value"], data["made"]["value"], data.get("day")
    if made is not None and (tries is None or made > tries):
        found.append(
            Problem("made", f"expected at most as many as tries, found {made} of {tries}", ("made",))
        )
    if day is not None and not is_day(day):
        found.append(Problem("day", _no_day(day), ("day",)))
    return found


def checked_text(round_: Round) -> str:
    """Return a round's text after checking it, as it must be before it is stored.

    Raises
    ------
    RecordError
        naming everything in the record that the schema does not allow
    """
    data = round_to_json(round_)
    found = problems_of(data)
    if found:
        raise RecordError(
            f"round {round_.id}: expected a record that fits the schema, found {'; '.join(map(str, found))}. "
            "Nothing was stored."
        )
    return text_of(data)


def _fits(part: str, data: object) -> bool:
    """Say whether the compiled validator lets a record pass; False also where it cannot take it in."""
    try:
        return _compiled(part).is_valid(data)
    except (ValueError, TypeError, OverflowError, RecursionError):  # half a character, a number beyond all
        return False


@functools.cache
def schema_of(part: str) -> dict[str, Any]:
    """Return the schema of a round, or of another of the schema's definitions, by itself."""
    schema = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    return {"$schema": schema["$schema"], "$ref": f"#/$defs/{part}", "$defs": schema["$defs"]}


@functools.cache
def _compiled(part: str) -> jsonschema_rs.Draft202012Validator:
    from jsonschema_rs import Draft202012Validator

    return Draft202012Validator(schema_of(part))


@functools.cache
def _explaining(part: str) -> Draft202012Validator:
    """Return what says of each thing in a record what is wrong with it."""
    from jsonschema import Draft202012Validator

    schema = schema_of(part)
    return Draft202012Validator(_without_references({"$ref": schema["$ref"]}, schema["$defs"]))


def _without_references(node: Any, definitions: Mapping[str, Any]) -> Any:
    """Return a schema in which each reference is replaced by what it names; it means the same.

    Looking references up takes a third of the time otherwise. The schema has no circles, and beside a
    reference stand only `properties` that say more of the same keys.
    """
    if isinstance(node, list):
        return [_without_references(item, definitions) for item in node]
    if not isinstance(node, dict):
        return node
    own = {k: _without_references(v, definitions) for k, v in node.items() if k != "$ref"}
    if isinstance(own.get("pattern"), str):  # Python's $ also stands before a last line break
        own["pattern"] = own["pattern"].removesuffix("$") + _END
    if "$ref" not in node:
        return own
    named = _without_references(definitions[node["$ref"].removeprefix("#/$defs/")], definitions)
    both = named.get("properties", {}) | own.get("properties", {})
    return {**named, **own, **({"properties": both} if both else {})}


def _problems(part: str, data: object) -> list[Problem]:
    def place(error: ValidationError) -> list[str]:
        return [f"{step:06d}" if isinstance(step, int) else step for step in error.absolute_path]

    errors = sorted(_explaining(part).iter_errors(data), key=place)
    found = [
        Problem(where_of(error.absolute_path, data), _in_words(error), tuple(error.absolute_path))
        for error in errors
    ]
    found = found or [
        Problem(where_of(path, data), f"expected a text of whole characters, found {_shown(text)}", path)
        for path, text in _half_characters(data, ())
    ]
    return found or [Problem("", "expected plain JSON, found a number or a text that other programs refuse")]


def _half_characters(data: object, path: Place) -> Iterator[tuple[Place, str]]:
    """Yield each text with half of a character: JSON can write it (RFC 8259, 8.2), no store can keep it."""
    if isinstance(data, str):
        if not data.isascii() and any("\ud800" <= sign <= "\udfff" for sign in data):
            yield path, data
    elif isinstance(data, Mapping):
        for key, item in data.items():
            yield from _half_characters(key, path)
            yield from _half_characters(item, (*path, key))
    elif isinstance(data, list):
        for index, item in enumerate(data):
            yield from _half_characters(item, (*path, index))


def where_of(path: Iterable[object], data: object) -> str:
    """Return a path into a record in a player's words: ``hole 7, throw 2, execution``."""
    words, steps, at = [], list(path), data
    for step, following in zip(steps, [*steps, None][1:], strict=True):
        parent = at
        try:
            at = at[step]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            at = None
        if isinstance(step, int):
            words.append(str(_number_of(at, step)))
        elif step in ("holes", "throws") and isinstance(following, int):
            words.append(str(step)[:-1])
        elif not (step == "value" and isinstance(parent, dict) and "source" in parent):
            words.append(str(step))
    return _with_commas(words)


def _with_commas(words: list[str]) -> str:
    """Join words, a number to the noun before it: ``hole 7, throw 2, execution``."""
    parts: list[str] = []
    for word in words:
        if parts and word.isdecimal():
            parts[-1] += f" {word}"
        else:
            parts.append(word)
    return ", ".join(parts)


def _number_of(item: object, index: int) -> int:
    """Return the number a person knows a hole or throw by: its own, or its place counted from 1."""
    if isinstance(item, dict):
        own = item.get("number", item.get("order"))
        if isinstance(own, int) and not isinstance(own, bool):
            return own
    return index + 1


_TYPE_WORDS = {
    "integer": "a whole number",
    "number": "a number",
    "string": "a text",
    "boolean": "true or false",
    "object": "an object {…}",
    "array": "a list […]",
    "null": "null",
}


def _type(limit: Any, found: Any) -> str:
    kinds = limit if isinstance(limit, list) else [limit]
    return f"expected {' or '.join(_TYPE_WORDS[kind] for kind in kinds)}, found {_shown(found)}"


def _enum(limit: Any, found: Any) -> str:
    return f"expected one of {', '.join(map(_shown, limit))}; found {_shown(found)}"


def _required(limit: Any, found: Any) -> str:
    return f"{', '.join(repr(key) for key in limit if key not in found)} is missing"


#: JSON Schema keyword -> sentence, from what the schema allows and what the record holds.
_SENTENCES: dict[str, Callable[[Any, Any], str]] = {
    "type": _type,
    "enum": _enum,
    "required": _required,
    "const": lambda limit, found: f"expected {_shown(limit)}, found {_shown(found)}",
    "minimum": lambda limit, found: f"expected at least {limit}, found {_shown(found)}",
    "maximum": lambda limit, found: f"expected at most {limit}, found {_shown(found)}",
    "minLength": lambda limit, found: "expected a text or null, found an empty text",
    "maxLength": lambda limit, found: f"expected at most {limit} signs, found {len(found)}",
    "maxItems": lambda limit, found: f"expected at most {limit} items, found {len(found)}",
    "minItems": lambda limit, found: f"expected {limit} items, found {len(found)}",
    "uniqueItems": lambda limit, found: "expected each item once, found one twice",
    "pattern": lambda limit, found: (
        f"expected a text of the form {limit.removesuffix(_END)}$, found {_shown(found)}"
    ),
}


def _in_words(error: ValidationError) -> str:
    """Return what a schema error means as expected and found."""
    keyword, schema, found = str(error.validator), error.schema, cast(Any, error.instance)
    if keyword == "additionalProperties" and isinstance(schema, Mapping) and "properties" in schema:
        unknown = sorted(set(found) - set(schema["properties"]))
        known = ", ".join(sorted(schema["properties"]))
        return f"expected only {known}; found {', '.join(map(repr, unknown))}"
    sentence = _SENTENCES.get(keyword)
    return sentence(error.validator_value, found) if sentence else error.message


def _shown(item: object) -> str:
    text = json.dumps(item, ensure_ascii=True, default=str)
    return text if len(text) <= 60 else text[:57] + "…"


def _no_day(day: object) -> str:
    return carried(f"expected a day of the calendar from {FIRST_YEAR} to {LAST_YEAR}, found {_shown(day)}")


_ORDERS = list(range(1, 100))  # a hole has at most 99 throws


def _beyond_the_schema(data: Mapping[str, Any], entered: bool) -> Iterator[Problem]:
    """Yield what a JSON Schema cannot say: numbers that are unique, days and times that exist."""

    def problem(says: str, *path: str | int) -> Problem:
        return Problem(where_of(path, data), says, path)

    day = data["played_on"]
    if day.get("status", "known") == "known" and day["value"] is not None and not is_day(day["value"]):
        yield problem(_no_day(day["value"]), "played_on")
    if "phases" in data:
        yield from (problem(says, *path) for says, path in _of_other_phases(data))
    numbers = set()
    for at, hole in enumerate(data["holes"]):
        if hole["number"] in numbers:
            yield problem("expected each hole once, found it twice", "holes", at)
        numbers.add(hole["number"])
        throws = hole["throws"]
        orders = [throw["order"] for throw in throws]
        if orders != _ORDERS[: len(orders)]:
            found = ", ".join(map(str, orders))
            yield problem(f"expected throws numbered 1, 2, … in this order; found {found}", "holes", at)
        if None in [throw["execution"]["value"] for throw in throws]:
            for nth, throw in enumerate(throws):
                execution = throw["execution"]
                if execution["value"] is None and execution.get("status", "known") == "known":
                    says = "expected clean, miss or unmarked, found null; null is for what waits"
                    yield problem(says, "holes", at, "throws", nth, "execution")
    for path, text in _times(data, entered):
        try:
            time_from(text)
        except (ValueError, OverflowError):
            yield problem(f"expected a time that exists, found {_shown(text)}", *path)


def _of_other_phases(data: Mapping[str, Any]) -> Iterator[tuple[str, Place]]:
    """Yield what is wrong with the phases of a game of its own, and where other ones are named."""
    yield from ((says, ("phases",)) for says in _wrong_with_phases(data["phases"]))
    phases = [phase["id"] for phase in data["phases"]]
    named: list[tuple[Any, Place]] = [(data["worst"]["value"], ("worst", "value"))]
    named += [(phase, ("tallies",)) for phase in data["tallies"]]
    named += [
        (throw["phase"], ("holes", at, kind, nth, "phase"))
        for at, hole in enumerate(data["holes"])
        for kind in ("throws", "maybe")
        for nth, throw in enumerate(hole.get(kind, ()))
    ]
    for phase, path in named:
        if phase not in phases and not (phase is None and path[0] == "worst"):
            yield f"expected one of {', '.join(map(_shown, phases))}; found {_shown(phase)}", path


def _wrong_with_phases(phases: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield what does not go together in the phases of a game."""
    for name in ("id", "columns"):
        used = [one for phase in phases for one in ([phase[name]] if name == "id" else phase[name])]
        if len(set(used)) < len(used):
            yield f"expected {name} of its own for each phase, found one twice"
    roles = [phase["role"] for phase in phases]
    order = [ROLES.index(role) for role in roles]
    if order != sorted(order) or any(roles.count(role) > 1 for role in ("tee", "target")):
        yield "expected them in the order thrown: at most one tee, then between, at most one target"


def _times(data: Mapping[str, Any], entered: bool) -> Iterator[tuple[Place, str]]:
    """Yield each time of a record with its path: when it was made, and when a value was entered."""
    if isinstance(made := data.get("recorded_at"), str):
        yield ("recorded_at",), made
    if not entered:
        return
    yield from _entered(data, ())
    yield from _entered(data["tallies"], ("tallies",))
    yield from _entered(data.get("extra", {}), ("extra",))
    for at, hole in enumerate(data["holes"]):
        for name in ("score", "penalty", "par"):
            if "at" in hole[name]:
                yield from _entered({name: hole[name]}, ("holes", at))
        for kind in ("throws", "maybe"):
            for nth, throw in enumerate(hole.get(kind, ())):
                yield from _entered(throw, ("holes", at, kind, nth))


def _entered(values: Mapping[str, Any], path: Place) -> list[tuple[Place, str]]:
    return [
        ((*path, name, "at"), value["at"])
        for name, value in values.items()
        # Of JSON every object is a dict, and to ask for just that costs half.
        if type(value) is dict and "at" in value and name != "notes" and isinstance(value["at"], str)
    ]
