"""Several doubtful fields of a card looked at together: what each entry says. Pure.

A value that the person lets stand is kept as accepted at a glance; one that they mend is an answer like any
other. What must be looked at alone is refused here, whatever a page sends.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from shortpencil.forms.errors import InputError
from shortpencil.scan.asking import must_look
from shortpencil.scan.reading import ONE_BY_ONE, CardReading, FieldReading, FieldValue
from shortpencil.scan.records.composing.answers import AT_A_GLANCE, LEFT, Answer, apply_answer, checked_answer
from shortpencil.scan.records.concluding.cards import Card


@dataclass(frozen=True, slots=True)
class Look:
    """One field among others on a page.

    Attributes
    ----------
    value : what the person lets stand, or says in place of it
    seen : how many entries the field had when the page was made
    """

    field: str
    value: FieldValue
    seen: int


def seen_together(reading: CardReading, waiting: Iterable[str]) -> tuple[str, ...]:
    """Return those of the waiting fields that may be seen on one page with others."""
    fields = ((name, reading.fields.get(name)) for name in waiting)
    return tuple(name for name, found in fields if found is not None and _may_be_seen_together(found))


def _may_be_seen_together(found: FieldReading) -> bool:
    return found.flag is not None and found.ask != ONE_BY_ONE and not must_look(found)


def answer_of_look(card: Card, look: Look, who: str, when: datetime) -> Answer:
    """Return the entry that a look makes.

    Raises
    ------
    InputError
        when the field cannot hold the value, or must be looked at alone
    """
    value = checked_answer(card.form, look.field, look.value)
    now = card.fields.get(look.field, FieldReading(None, 0.0))
    if now.flag is not None and not _may_be_seen_together(now):
        raise InputError(
            f"{look.field}: expected a field that may be seen among others, found one to ask alone."
        )
    _, answer = apply_answer(card.fields, look.field, value, who, when)
    accepted = now.flag is not None and value == (None if now.value == () else now.value)
    return Answer(
        answer.field, answer.value, answer.by, answer.at, answer.over, how=AT_A_GLANCE if accepted else ""
    )


def left_answer(card: Card, field: str, who: str, when: datetime) -> Answer:
    """Return the entry that leaves a field as doubt; InputError when there is no doubt to leave."""
    now = card.fields.get(field)
    if now is None or now.flag is None:
        raise InputError(f"{field}: expected a doubtful field to leave as it is, found one that is not.")
    if when.tzinfo is None:
        raise ValueError("an answer's time needs a time zone")
    return Answer(field, now.value, who, when.astimezone(UTC), now.value, how=LEFT)
