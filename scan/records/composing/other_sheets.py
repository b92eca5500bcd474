"""Sheets that are no rounds, as rows: drills, field tests, ends of another sport, whatever a form asks.

A sheet of a form that is no round card has no game to be composed by. What it says comes back as it was
asked: one row a field, with the answers given in review over what the machine read. The same rows carry the
fields of a round card that the game does not know.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from shortpencil.forms.form import Field, Form
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.answers import LEFT, Answer, lay_over, standing
from shortpencil.scan.records.composing.card_values import P_DECIMALS, day_of
from shortpencil.scan.records.composing.practice_sets import has_sets
from shortpencil.scan.records.composing.rounds import Round, Scalar

#: What waits or is doubtful counts nowhere; what is written holds words that nobody has typed yet.
STATUSES = ("known", "blank", "written", "waits", "doubtful")
_STATUS_OF_WORDS: Mapping[Scalar, str] = {None: "blank", "": "written"}


@dataclass(frozen=True, slots=True)
class OtherSheet:
    """A stored sheet that is no round.

    Attributes
    ----------
    serial, form, player : as on the card
    read : the fields as the machine read them
    answers : what was entered over that, oldest first
    waiting : ids of the fields that a person must look at
    """

    serial: str
    form: Form
    player: str | None
    read: Mapping[str, FieldReading]
    answers: tuple[Answer, ...]
    waiting: tuple[str, ...]

    @property
    def fields(self) -> Mapping[str, FieldReading]:
        """The fields as they stand after the answers."""
        return lay_over(self.read, self.answers)

    @property
    def day(self) -> date | None:
        """The day written on the sheet; None where there is none, or it is doubtful."""
        return day_of(self.fields)

    @property
    def answered(self) -> int:
        """How many fields say something that may count."""
        return sum(row["status"] in ("known", "written") for row in field_rows(self))


def sheet_row(sheet: OtherSheet) -> dict[str, Any]:
    """Return the row of a sheet: what it is, whose, when, what waits."""
    return {
        "sheet": sheet.serial,
        "form": sheet.form.name,
        "title": sheet.form.title,
        "day": sheet.day,
        "player": sheet.player,
        "unit": sheet.form.unit,
        "answered": sheet.answered,
        "waiting": " ".join(sheet.waiting) or None,
    }


def field_rows(sheet: OtherSheet) -> Iterator[dict[str, Any]]:
    """Yield the row of each field in the order of the form; what waits has no value."""
    by_person = {answer.field for answer in standing(sheet.answers) if answer.how != LEFT}
    fields = sheet.fields
    for field in sheet.form.fields:
        found = fields.get(field.id)
        yield {
            "sheet": sheet.serial,
            "row": 0 if field.row is None else sheet.form.row_numbers[field.row - 1],
            "row_label": None if field.row is None else sheet.form.row_label(field.row),
            "field": field.id if field.row is None else field.id.split(".", 1)[1],
            **_said(field, found, field.id in by_person, field.id in sheet.waiting),
        }


def extra_rows(round_: Round) -> Iterator[dict[str, Any]]:
    """Yield the row of each field of a round card that the game does not know."""
    for name, value in round_.extra.items():
        row, _, rest = name.partition(".")
        number = re.fullmatch(r"[A-Za-z]{1,10}(\d\d)", row)
        yield {
            "sheet": round_.id,
            "row": int(number[1]) if number and rest else 0,
            "row_label": None,
            "field": rest if number and rest else name,
            "value": None if value.known in (None, "") else str(value.known),
            "status": _STATUS_OF_WORDS.get(value.value, "known") if value.status == "known" else value.status,
            "p": value.p,
            "source": value.source,
        }


def _said(field: Field, found: FieldReading | None, by_person: bool, waits: bool) -> dict[str, Any]:
    """Return value, status, probability and source of one field."""
    if found is None:
        return {"value": None, "status": "blank", "p": None, "source": None}
    p = None if by_person else round(found.p, P_DECIMALS)
    source = "entered" if by_person else found.source
    text = text_of_value(found.value)
    if waits or found.flag is not None:
        return {"value": None, "status": "waits" if waits else "doubtful", "p": p, "source": source}
    if text is None and field.default is not None:
        return {"value": field.default, "status": "known", "p": p, "source": "default"}
    if text == "":
        return {"value": None, "status": "written", "p": p, "source": source}
    return {"value": text, "status": "blank" if text is None else "known", "p": p, "source": source}


def left_out(sheets: Sequence[OtherSheet]) -> str:
    """Return why the advice does not speak of these sheets, in a sentence; empty where there are none.

    Practice cards and sheets that count putts or throws are left out: their sets are part of the advice.
    """
    kinds = Counter(sheet.form.title for sheet in sheets if not has_sets(sheet.form))
    if not kinds:
        return ""
    count = sum(kinds.values())
    named = ", ".join(f"{number} × {title}" for title, number in sorted(kinds.items()))
    return (
        f"{count} {'sheet is' if count == 1 else 'sheets are'} not part of this advice ({named}): the advice "
        "goes by the throws of rounds, which such a sheet does not tell of. "
        "`shortpencil export` has what stands on it."
    )


def text_of_value(value: object) -> str | None:
    """Return a field's value as the text of a table; None where nothing is marked."""
    if isinstance(value, tuple):
        return " ".join(value) or None
    return None if value is None else str(value)
