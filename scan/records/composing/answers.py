"""What a person answered about a field: checked against the form, laid over the reading, never lost.

An answer says who, when and over what. Answers are kept in the order given; the last one of a field stands,
unless it was taken back. Taking back is an entry too: it names no value of its own, and the field is again
what it was before the answer, doubt of the reader included.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from unicodedata import normalize

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.form import Field, Form
from shortpencil.scan.reading import FieldReading, FieldValue

#: Signs that no text of a record may hold: PostgreSQL stores no NUL, no file in UTF-8 holds half a surrogate
#: pair, and the other control characters are only ever an accident or an attack on a terminal.
FORBIDDEN_SIGNS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


#: How an entry was given, where it is no answer to a question.
AT_A_GLANCE, LEFT = "glance", "left"


class AnsweredMeanwhile(RecordError):
    """Somebody else answered the field after the person who answers now had looked at it."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One entered value of a field, with what stood there before (`over`).

    With `takes_back` the entry withdraws the field's last standing answer: `over` is the value withdrawn and
    `value` what stands there again. `how` is empty for an answer to a question; `AT_A_GLANCE` for a value
    that was accepted on the page of all doubtful cells; `LEFT` where the person could not tell either, or did
    not want to: the field keeps its doubt, and is not asked again.
    """

    field: str
    value: FieldValue
    by: str
    at: datetime
    over: FieldValue = None
    takes_back: bool = False
    how: str = ""


def standing(answers: Iterable[Answer]) -> tuple[Answer, ...]:
    """Return the answers that count: without those taken back, and without the entries that say so."""
    kept: list[Answer] = []
    for answer in answers:
        if not answer.takes_back:
            kept.append(answer)
            continue
        last = next((i for i in reversed(range(len(kept))) if kept[i].field == answer.field), None)
        if last is not None:
            del kept[last]
    return tuple(kept)


def apply_answer(
    fields: Mapping[str, FieldReading], field_id: str, value: FieldValue, who: str, when: datetime
) -> tuple[dict[str, FieldReading], Answer]:
    """Return the fields with `value` in place of what stood there, and the answer that says so.

    The new field is certain, unflagged and of source "entered"; the answer keeps what it replaced.
    """
    if when.tzinfo is None:
        raise ValueError("an answer's time needs a time zone")
    before = fields.get(field_id)
    answer = Answer(field_id, value, who, when.astimezone(UTC), before.value if before else None)
    return {**fields, field_id: FieldReading(value, 1.0, source="entered")}, answer


def lay_over(fields: Mapping[str, FieldReading], answers: Iterable[Answer]) -> dict[str, FieldReading]:
    """Return the fields as they stand after all answers, in the order given."""
    result = dict(fields)
    for answer in standing(answers):
        if answer.how != LEFT:
            result, _ = apply_answer(result, answer.field, answer.value, answer.by, answer.at)
    return result


def left_as_doubt(answers: Iterable[Answer]) -> frozenset[str]:
    """Return the fields whose last standing entry leaves them as doubt."""
    last = {answer.field: answer.how for answer in standing(answers)}
    return frozenset(field for field, how in last.items() if how == LEFT)


def checked_answer(form: Form, field_id: str, value: object) -> FieldValue:
    """Return `value` as the form's field can hold it; None stands for "nothing is marked".

    Raises
    ------
    InputError
        when the form has no such field or the field cannot hold the value; says what it can hold
    """
    try:
        field = form.field(field_id)
    except KeyError:
        raise InputError(f"expected a field of the form {form.name!r}, found {field_id!r}.") from None
    if value is None or value in ((), [], ""):
        return None
    if field.type == "choose-many":
        return _many(field, value)
    if field.type == "choose-one":
        return _one(field, value)
    if field.type == "words":
        return _words(field, value)
    return _number(field, form, value)


def _one(field: Field, value: object) -> str:
    ids = [option.id for option in field.options]
    if value not in ids:
        raise InputError(f"{field.id}: expected one of {', '.join(ids)}, or nothing; found {value!r}.")
    return str(value)


def _many(field: Field, value: object) -> tuple[str, ...]:
    ids = [option.id for option in field.options]
    chosen = value if isinstance(value, list | tuple) else (value,)
    if any(item not in ids for item in chosen):
        raise InputError(f"{field.id}: expected any of {', '.join(ids)}, or nothing; found {value!r}.")
    return tuple(option for option in ids if option in chosen)


def _number(field: Field, form: Form, value: object) -> int:
    top = 10**field.digits - 1
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= top:
        raise InputError(f"{field.id}: expected a whole number from 0 to {top}, found {value!r}.")
    numbers = [cause.number for cause in form.causes]
    if field.id.endswith(".why") and numbers and value not in numbers:
        raise InputError(
            f"{field.id}: expected the number of a cause on this card "
            f"({', '.join(str(n) for n in sorted(numbers))}), found {value}."
        )
    return value


def _words(field: Field, value: object) -> str:
    if not isinstance(value, str) or FORBIDDEN_SIGNS.search(value) or len(value) > 500:
        raise InputError(
            f"{field.id}: expected a text of at most 500 signs without control characters, found {value!r}."
        )
    return normalize("NFC", value.strip())
