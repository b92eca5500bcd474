"""A reading as it is kept: JSON text in and out, so that a round can be composed anew after an answer.

The text is the published JSON of a card (`scan.reading.reading_to_json`) without record and pictures, which
have places of their own in the store.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

import msgspec

from shortpencil.scan.asking import ask_of, must_look
from shortpencil.scan.reading import (
    DIFFERING,
    MISCOUNTED,
    OVERRULED,
    SCRIBBLED,
    SEVERAL,
    STRUCK,
    UNCLEAR,
    UNSEEN,
    CardReading,
    CellReading,
    FieldReading,
    FieldValue,
    Finding,
    Lesson,
    reading_to_json,
)
from shortpencil.scan.records.composing.answers import Answer


def reading_text(reading: CardReading) -> str:
    """Return the text that stands for a reading; the same reading gives the same text."""
    data = reading_to_json(reading)
    del data["record"]
    try:
        text = msgspec.json.encode(data).decode()
    except UnicodeEncodeError:  # a name that is no text
        text = ""
    # What Python writes otherwise (1e-05 where msgspec has 0.00001), or has a word for (NaN), is left to it.
    if not text or "e-" in text or "0.0000" in text or not all(map(_is_plain, reading.quality.values())):
        return json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text


def _is_plain(found: float | str | bool) -> bool:
    return not isinstance(found, float) or 1e-4 <= abs(found) < 1e15 or found == 0


def reading_from_text(
    text: str, *, photo_sha256: str | None = None, pictures: Mapping[str, bytes] | None = None
) -> CardReading:
    """Return the reading of a text written by `reading_text`, with its photo and pictures put back."""
    data = json.loads(text)
    return CardReading(
        source=data["source"],
        status=data["status"],
        reason=data["reason"],
        serial=data["serial"],
        form=data["fingerprint"],
        form_name=data["form"],
        quality=data["quality"],
        cells={
            name: CellReading(cell["value"], cell["confidence"], cell["flag"])
            for name, cell in data["cells"].items()
        },
        fields={name: _field(name, answer) for name, answer in data["fields"].items()},
        findings=tuple(Finding(f["rule"], tuple(f["cells"]), f["says"]) for f in data["findings"]),
        pictures=dict(pictures or {}),
        photo_sha256=photo_sha256 or data.get("photo"),
        together=tuple(data.get("together", ())),
    )


class FieldSaid(msgspec.Struct, frozen=True):
    """What readings are compared by, of one field."""

    value: str | int | tuple[str, ...] | None
    flag: str | None


class _Fields(msgspec.Struct):
    fields: dict[str, FieldSaid]


@cache
def _fields_decoder() -> msgspec.json.Decoder[_Fields]:
    return msgspec.json.Decoder(_Fields)


def compared_fields(text: str) -> dict[str, FieldSaid]:
    """Return of a reading's text what readings are compared by: each field's value and flag, and no more.

    A twentieth of the work of `reading_from_text`.
    """
    return _fields_decoder().decode(text).fields


def speaking_text(reading: CardReading) -> str:
    """Return the text of a reading made of several photos: `reading_text` with the photo that shows it."""
    return json.dumps(
        {"photo": reading.photo_sha256, **json.loads(reading_text(reading))}, ensure_ascii=False
    )


def value_text(value: FieldValue) -> str:
    """Return a field's value as JSON text."""
    return json.dumps(value, ensure_ascii=False)


def value_from_text(text: str) -> FieldValue:
    """Return the field's value of a JSON text."""
    return _field_value(json.loads(text))


def answer_text(answer: Answer) -> str:
    """Return the JSON text of an entry: its value, alone or under a word that says how it was given."""
    if answer.takes_back:
        return json.dumps({"back_to": answer.value}, ensure_ascii=False)
    if answer.how:
        return json.dumps({answer.how: answer.value}, ensure_ascii=False)
    return value_text(answer.value)


def answer_from_text(text: str) -> tuple[FieldValue, str, bool]:
    """Return the value of an entry's text, how it was given, and whether it takes an answer back."""
    found = json.loads(text)
    if not isinstance(found, dict):
        return _field_value(found), "", False
    ((how, value),) = found.items()
    return _field_value(value), "" if how == "back_to" else how, how == "back_to"


def hands_text(hands: Mapping[str, Iterable[Lesson]]) -> str:
    """Return the JSON text of what is known of players' hands, for a process that opens no store."""
    plain = {
        player: [[box.digit, b64encode(box.view).decode()] for box in hand] for player, hand in hands.items()
    }
    return json.dumps(plain, ensure_ascii=False)


def hands_from_text(text: str) -> dict[str, tuple[Lesson, ...]]:
    """Return what is known of players' hands from a text written by `hands_text`."""
    return {
        player: tuple(Lesson(digit, b64decode(view)) for digit, view in hand)
        for player, hand in json.loads(text).items()
    }


def _field(name: str, data: Mapping[str, Any]) -> FieldReading:
    value, p, flag = _field_value(data["value"]), data["p"], data["flag"]
    alternatives = tuple((_field_value(other), chance) for other, chance in data["alternatives"])
    kind = data["kind"] if "kind" in data else _kind_told_by(flag)
    found = FieldReading(value, p, flag, data["source"], data["rule"], alternatives, data.get("ask"), kind)
    if "ask" in data or flag is None:
        return found
    return found._replace(ask=ask_of(name, value, p, alternatives, must=must_look(found)))


#: Earlier versions kept the sentence of a doubt without its kind: how it begins tells.
_BEGINNINGS = {
    "struck out": STRUCK,
    "written over": SCRIBBLED,
    "several are filled": SEVERAL,
    "the ink looks like": OVERRULED,
    "cannot be seen": UNSEEN,
    "the photos of this card": DIFFERING,
}


def _kind_told_by(flag: str | None) -> str | None:
    if flag is None:
        return None
    if "are both filled" in flag:
        return SEVERAL
    if flag.startswith("you counted") and "%" not in flag:
        return MISCOUNTED
    return next((kind for words, kind in _BEGINNINGS.items() if flag.startswith(words)), UNCLEAR)


def _field_value(value: Any) -> FieldValue:
    return tuple(value) if isinstance(value, list) else value
