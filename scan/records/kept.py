"""A reading as it is kept: JSON text in and out, so that a round can be composed anew after an answer.

The text is the published JSON of a card (`scan.reading.reading_to_json`) without record and pictures, which
have places of their own in the store.
"""

from __future__ import annotations

import json
import re
from base64 import b64decode, b64encode
from collections.abc import Iterable, Mapping
from typing import Any

from scan.asking import ask_of
from scan.reading import (
    CardReading,
    CellReading,
    FieldReading,
    FieldValue,
    Finding,
    Lesson,
    reading_to_json,
)


def reading_text(reading: CardReading) -> str:
    """Return the text that stands for a reading; the same reading gives the same text."""
    data = reading_to_json(reading)
    del data["record"]
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))


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


def answer_text(value: FieldValue, takes_back: bool) -> str:
    """Return the JSON text of an entry: its value, or what stands again after an answer was taken back."""
    return json.dumps({"back_to": value}, ensure_ascii=False) if takes_back else value_text(value)


def answer_from_text(text: str) -> tuple[FieldValue, bool]:
    """Return the value of an entry's text, and whether it takes an answer back."""
    found = json.loads(text)
    if isinstance(found, dict):
        return _field_value(found["back_to"]), True
    return _field_value(found), False


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


#: How a flag begins, or what it holds, where a person must look whatever the probability: for readings kept
#: before a field said how it is asked.
_MUST_LOOK = re.compile(
    r"^(struck out|written over|several are filled|the ink looks like|cannot be seen|the photos of this card)"
    r"|are both filled"
)


def _field(name: str, data: Mapping[str, Any]) -> FieldReading:
    value, p, flag = _field_value(data["value"]), data["p"], data["flag"]
    alternatives = tuple((_field_value(other), chance) for other, chance in data["alternatives"])
    if "ask" in data or flag is None:
        ask = data.get("ask")
    else:
        ask = ask_of(name, value, p, alternatives, must=_MUST_LOOK.search(flag) is not None)
    return FieldReading(value, p, flag, data["source"], data["rule"], alternatives, ask)


def _field_value(value: Any) -> FieldValue:
    return tuple(value) if isinstance(value, list) else value
