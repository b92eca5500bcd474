"""The fields of one card as values with provenance: read, answered, default, or waiting for a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime

from msgspec.structs import replace

from shortpencil.forms.form import Form
from shortpencil.scan.asking import MATTERS, SURE, is_asked, must_look
from shortpencil.scan.reading import CardReading, FieldReading, FieldValue
from shortpencil.scan.records.composing.answers import LEFT, Answer, lay_over, left_as_doubt, standing
from shortpencil.scan.records.composing.rounds import Scalar, Value, is_day

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
        given = standing(answers)
        self._answers = {answer.field: answer for answer in given if answer.how != LEFT}
        self._left = left_as_doubt(given)
        self._defaults = {field.id: field.default for field in form.fields}
        self._made: dict[str, Value] = {}  # most are asked for two or three times

    def value(self, field_id: str | None) -> Value:
        """Return the field's value with its provenance; an unmarked choice with a default gets that."""
        if field_id is None or field_id not in self._defaults:
            return NOT_ASKED
        made = self._made.get(field_id)
        if made is None:
            made = self._made[field_id] = self._value(field_id)
        return made

    def _value(self, field_id: str) -> Value:
        answer, found = self._answers.get(field_id), self._fields.get(field_id)
        default = self._defaults[field_id]
        if answer is not None:
            value = _scalar(answer)
            source = "entered"
            if value is None and default is not None:
                value = default
            over = self._over(answer)
            return Value(value, source=source, by=answer.by, at=answer.at, over=over, how=answer.how or None)
        if found is None:
            return Value(default, source="default")
        value, p = _scalar(found), round(found.p, P_DECIMALS)
        status, others = _status_of(found), _others_of(found)
        if value is None and default is not None:
            return Value(default, source="default", p=p, status=status, alternatives=others)
        rule = found.rule if found.source == "inferred" else None
        return Value(value, source=found.source, p=p, status=status, rule=rule, alternatives=others)

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
        states = {part.status for part in parts}
        status = "waits" if "waits" in states or not is_day(text) else "known"
        if status == "known" and "doubtful" in states:
            status = "doubtful"
        if not entered:
            return Value(text, p=_least(parts), status=status)
        latest = max(entered, key=lambda part: part.at or datetime.min.replace(tzinfo=UTC))
        before = [self._read[name].value if name in self._read else None for name in DATE_FIELDS]
        over = None if before == [None, None, None] else _date_text(before)
        return Value(text, source="entered", status=status, by=latest.by, at=latest.at, over=over)

    def waiting(self, how: str = MATTERS) -> tuple[str, ...]:
        """Ids of the fields that a person is to look at, in the form's order.

        `how` is the way in which the player wants to be asked. What was left as doubt is not asked again.
        """
        flagged = {
            name for name, found in self._fields.items() if is_asked(found, how) and name not in self._left
        }
        day = self.played_on()
        if day.status == "waits" and not flagged & set(DATE_FIELDS):
            blank = {name for name in DATE_FIELDS if self.value(name).value is None}
            flagged |= blank or set(DATE_FIELDS)
        for field in self.form.fields:
            found = self._fields.get(field.id)
            known = found is not None and found.flag is None
            if known and field.id.endswith(".why") and self.cause(field.id).status == "waits":
                flagged.add(field.id)
        return tuple(field.id for field in self.form.fields if field.id in flagged)

    def cause(self, field_id: str | None) -> Value:
        """Return the cause's id in place of its number; a number that is not on the list waits."""
        value = self.value(field_id)
        if not self.form.causes:
            return value if value.value is None else replace(value, value=str(value.value), alternatives=())
        ids: dict[Scalar, Scalar] = {cause.number: cause.id for cause in self.form.causes}
        listed = replace(value, alternatives=tuple((ids.get(v, _text(v)), p) for v, p in value.alternatives))
        if value.value is None:
            return listed
        number = whole_of(value.value)
        return replace(
            listed,
            value=ids.get(number, str(value.value)),
            over=ids.get(value.over, value.over),
            status=value.status if number in ids else "waits",
        )

    def possible(self, field_id: str) -> bool:
        """Say whether a field that is doubtful, and most probably blank, may be marked after all."""
        value = self.value(field_id)
        return value.status == "doubtful" and any(other is not None for other, _ in value.alternatives)

    def _over(self, answer: Answer) -> Scalar:
        return " ".join(answer.over) if isinstance(answer.over, tuple) else answer.over


def _scalar(answer: Answer | FieldReading) -> Scalar:
    """Return the answer as one scalar: several options joined by spaces, none of them as None."""
    return _plain(answer.value)


def _status_of(found: FieldReading) -> str:
    if found.flag is None:
        return "known"
    chances = found.p + sum(p for _, p in found.alternatives)
    # Where cells are spoilt the guesses stand apart from the answer and add up to one by themselves; a flag
    # on an answer that is sure and has no other leaves nothing to weigh.
    if must_look(found) or chances > 1 + 1e-3 or (not found.alternatives and found.p >= SURE):
        return "waits"
    return "doubtful"


def _others_of(found: FieldReading) -> tuple[tuple[Scalar, float], ...]:
    """Return the alternatives of a doubtful field, each as one scalar."""
    if _status_of(found) != "doubtful":
        return ()
    return tuple((_plain(value), round(p, P_DECIMALS)) for value, p in found.alternatives)


def _text(value: Scalar) -> Scalar:
    return None if value is None else str(value)


def _plain(value: FieldValue) -> Scalar:
    return (" ".join(value) or None) if isinstance(value, tuple) else value


def day_of(fields: Mapping[str, FieldReading], *, doubtful: bool = False) -> date | None:
    """Return the day written on a card; None where blank, not a day, or doubtful unless that serves."""
    parts = []
    for name in reversed(DATE_FIELDS):
        answer = fields.get(name)
        if answer is None or not isinstance(answer.value, int) or (answer.flag is not None and not doubtful):
            return None
        parts.append(answer.value)
    try:
        return date(CENTURY + parts[0], parts[1], parts[2])
    except ValueError:
        return None


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
