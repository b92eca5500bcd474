"""Which boxes of a card tell how its player writes: only those whose digit something else vouches for.

Two things vouch: a person's answer, and a written sum that comes out right. What the network alone believes
teaches nothing, however sure it is: a hand that is misread in silence would teach its own misreading.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from shortpencil.forms.form import Form
from shortpencil.forms.rules import rules_of
from shortpencil.scan.reading import SCRIBBLED, CardReading, CellReading, FieldReading
from shortpencil.scan.records.composing.answers import Answer, lay_over, standing

#: What vouches for a digit: a person, or the card's own sums.
PERSON, SUMS = "person", "sums"

#: A number that no person entered teaches only from this posterior on, and only where its sum is written and
#: comes out right. For a wrong one to get here, two numbers must be wrong by the same amount, both this sure.
SURE = 0.9999


class Vouched(NamedTuple):
    """The digit that a box holds, and what vouches for it."""

    digit: int
    by: str


def vouched_for(
    form: Form, card: CardReading, answers: Iterable[Answer], written: Collection[str]
) -> dict[str, Vouched]:
    """Return the boxes whose digits are known for certain, by cell id.

    Parameters
    ----------
    form : the form of the card
    card : as the machine read it
    answers : every answer given about the card, oldest first
    written : ids of the boxes that have ink
    """
    answers = tuple(answers)
    # A glance overlooks some wrong values, and what was left as doubt says nothing.
    answered = {answer.field for answer in standing(answers) if not answer.how}
    fields = lay_over(card.fields, answers)
    by_sums = _summed_up(form, fields)
    found: dict[str, Vouched] = {}
    for field in form.fields:
        reading = fields.get(field.id)
        if field.type != "number" or reading is None or not isinstance(reading.value, int):
            continue
        before = card.fields.get(field.id)
        if before is not None and before.kind == SCRIBBLED:
            continue  # its ink shows no digit, whatever the person answers
        by = PERSON if field.id in answered else SUMS if field.id in by_sums else None
        if by is not None:
            digits = _digits_in(reading.value, field.cell_ids, written, card.cells)
            found.update({cell: Vouched(digit, by) for cell, digit in digits.items()})
    return found


def _summed_up(form: Form, fields: Mapping[str, FieldReading]) -> set[str]:
    """Fields whose numbers a written sum confirms: the sum's own, and the scores that make it."""
    rules = rules_of(form)
    found: set[str] = set()
    if rules.total is not None:
        scores = [_sure(fields, name) for name in rules.total.scores]
        total = _sure(fields, rules.total.total)
        if total is not None and None not in scores and sum(s for s in scores if s is not None) == total:
            found.update((rules.total.total, *rules.total.scores))
    for tally in rules.tallies:
        count = _sure(fields, tally.tally)
        throws = [fields.get(name) for name in tally.throws]
        certain = all(throw is not None and throw.flag is None and throw.p >= SURE for throw in throws)
        misses = sum(throw is not None and throw.value == "miss" for throw in throws)
        if certain and count is not None and count == misses:
            found.add(tally.tally)
    return found


def _sure(fields: Mapping[str, FieldReading], name: str) -> int | None:
    """The number of a field, or None where it is not certain."""
    reading = fields.get(name)
    if reading is None or reading.flag is not None or reading.p < SURE:
        return None
    return reading.value if isinstance(reading.value, int) else None


def _digits_in(
    value: int, cells: tuple[str, ...], written: Collection[str], boxes: Mapping[str, CellReading]
) -> dict[str, int]:
    """Digits of a number by box; none where it is not plain which box holds which digit.

    A number stands at the right, perhaps with zeros before it, or at the left. Those zeros teach nothing: a
    tail of the neighbouring row looks like ink in a box that is blank.
    """
    text = str(value)
    spare = len(cells) - len(text)
    right, left = cells[spare:], cells[: len(text)]
    before, after = cells[:spare], cells[len(text) :]
    if spare < 0:
        return {}
    if all(cell in written for cell in right) and all(
        cell not in written or ((box := boxes.get(cell)) is not None and not box.value) for cell in before
    ):
        return dict(zip(right, map(int, text), strict=True))
    if all(cell in written for cell in left) and not any(cell in written for cell in after):
        return dict(zip(left, map(int, text), strict=True))
    return {}
