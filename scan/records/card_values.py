"""The fields of one card as values with provenance: read, answered, default, or waiting for a person."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from forms.form import Form
from scan.reading import CardReading, FieldReading
from scan.records.answers import Answer, lay_over, standing
from scan.records.rounds import Scalar, Value, is_day

CENTURY = 2000  # the card has two boxes for the year; it was first printed in this century
DATE_FIELDS = ("date.day", "date.month", "date.year")
P_DECIMALS = 6  # as in the published JSON of a reading, so that a round composed from that is the same
NOT_ASKED = Value(None, source="default")


class CardValues:
    """The fields of one card as they stand, answered for by machine or person."""

    def __init__(self, form: Form, reading: CardReading, answers: tuple[Answer, ...]) -> None:
        self.form = form
        self.pictures = reading.pictures
        self._read = reading.fields
        self._fields = lay_over(reading.fields, answers)
        self._answers = {answer.field: answer for answer in standing(answers)}
        self._defaults = {field.id: field.default for field in form.fields}

    def value(self, field_id: str | None) -> Value:
        """Return the field's value with its provenance; an unmarked choice with a default gets that."""
        if field_id is None or field_id not in self._defaults:
            return NOT_ASKED
        answer, found = self._answers.get(field_id), self._fields.get(field_id)
        default = self._defaults[field_id]
        if answer is not None:
            value = _scalar(answer)
            source = "entered"
            if value is None and default is not None:
                value = default
            over = self._over(answer)
            return Value(value, source, by=answer.by, at=answer.at, over=over)
        if found is None:
            return Value(default, source="default")
        value, p = _scalar(found), round(found.p, P_DECIMALS)
        status = "waits" if found.flag is not None else "known"
        if value is None and default is not None:
            return Value(default, "default", p, status)
        rule = found.rule if found.source == "inferred" else None
        return Value(value, found.source, p, status, rule)

    def value_or(self, field_id: str, fallback: Value) -> Value:
        """Return the field's value, or `fallback` where the card does not ask or nothing is marked."""
        value = self.value(field_id)
        return fallback if value.value is None and value.status == "known" else value

    def marks(self, field_id: str) -> bool:
        """Say whether a hand answered the field; a default is no mark."""
        value = self.value(field_id)
        return value.value is not None and value.source != "default"

    def own_words(self) -> list[str]:
        """Ids of the strips for words that stand outside the rows and have no place in the round's head."""
        outside = [field.id for field in self.form.fields if field.type == "words" and field.row is None]
        return [name for name in outside if name not in ("player", "course", "layout")]

    def played_on(self) -> Value:
        """Return the date; it waits when a part waits or is missing, or when there is no such day."""
        parts = [self.value(name) for name in DATE_FIELDS]
        if all(part.value is None and part.status == "known" for part in parts):
            return parts[0] if parts[0] is NOT_ASKED else replace(parts[0], p=_least(parts))
        text = _date_text([part.value for part in parts])
        entered = [part for part in parts if part.at is not None]
        waits = any(part.status == "waits" for part in parts) or not is_day(text)
        status = "waits" if waits else "known"
        if not entered:
            return Value(text, p=_least(parts), status=status)
        latest = max(entered, key=lambda part: part.at or datetime.min.replace(tzinfo=UTC))
        before = [self._read[name].value if name in self._read else None for name in DATE_FIELDS]
        over = None if before == [None, None, None] else _date_text(before)
        return Value(text, "entered", status=status, by=latest.by, at=latest.at, over=over)

    def waiting(self) -> tuple[str, ...]:
        """Ids of the fields a person must look at before the round is whole, in the form's order."""
        flagged = {name for name, found in self._fields.items() if found.flag is not None}
        day = self.played_on()
        if day.status == "waits" and not flagged & set(DATE_FIELDS):
            blank = {name for name in DATE_FIELDS if self.value(name).value is None}
            flagged |= blank or set(DATE_FIELDS)
        for field in self.form.fields:
            if field.id.endswith(".why") and self.cause(field.id).status == "waits":
                flagged.add(field.id)
        return tuple(field.id for field in self.form.fields if field.id in flagged)

    def cause(self, field_id: str | None) -> Value:
        """Return the cause's id in place of its number; a number that is not on the list waits."""
        value = self.value(field_id)
        if value.value is None or not self.form.causes:
            return value if value.value is None else replace(value, value=str(value.value))
        ids = {cause.number: cause.id for cause in self.form.causes}
        number, over = whole_of(value.value), whole_of(value.over)
        return replace(
            value,
            value=ids.get(number, str(value.value)) if number is not None else str(value.value),
            over=ids.get(over, value.over) if over is not None else value.over,
            status=value.status if number in ids else "waits",
        )

    def _over(self, answer: Answer) -> Scalar:
        return " ".join(answer.over) if isinstance(answer.over, tuple) else answer.over


def _scalar(answer: Answer | FieldReading) -> Scalar:
    """Return the answer as one scalar: several options joined by spaces, none of them as None."""
    return (" ".join(answer.value) or None) if isinstance(answer.value, tuple) else answer.value


def text_of(value: Value) -> str | None:
    """Return a value as text where it may count and is not blank."""
    return str(value.known) if value.known else None


def whole_of(value: Scalar) -> int | None:
    """Return a whole number as one; None for anything else, truth values included."""
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _least(parts: Iterable[Value]) -> float | None:
    """Return the smallest probability: a bound no part of the whole is surer than."""
    return min((part.p for part in parts if part.p is not None), default=None)


def _date_text(day_month_year: Iterable[object]) -> str:
    """Return the date as written, in ISO order; a part that is missing shows as question marks."""
    day, month, year = day_month_year
    shown_year = f"{CENTURY + year:04d}" if isinstance(year, int) else "????"
    return "-".join(
        [shown_year, *(f"{part:02d}" if isinstance(part, int) else "??" for part in (month, day))]
    )
