"""All doubtful cells of a card on one page: the ink beside the value as the tool would write it. Pure.

What is drawn beside the ink are the same cells in the same places and at the same scale, with the value put
into them: so the eye compares a shape with a shape and reads nothing. Each further answer that the reader
holds possible is one turn away. No probability is shown: a number would invite a yes that was not seen.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from shortpencil.forms.errors import InputError
from shortpencil.forms.form import Field, Form
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Cell, Layout
from shortpencil.scan.reading import FieldReading, FieldValue
from shortpencil.scan.records.composing.answers import checked_answer
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.concluding.looks import Look, seen_together
from shortpencil.scan.review.questions import WORTH_OFFERING
from shortpencil.scan.review.views import FIELD_MARGIN_MM, box_of
from shortpencil.scan.review.wording import name_of, place_of, said

#: Letters that turn a pair to its next answer; `u` takes back.
LETTERS = "abcdefghijklmnopqrstvwxyz"
#: Further answers on the page; whatever else it may be is asked alone.
MOST_OTHERS = 3
#: How "it is none of these" travels.
ELSE = "else"


@dataclass(frozen=True, slots=True)
class Drawn:
    """One cell as the tool would fill it: a digit in its box, or a bubble, filled or not."""

    box: Box
    kind: str
    shape: str
    text: str = ""
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Candidate:
    """One answer: how it travels, what it is called, and what the cells would look like with it."""

    value: str
    label: str
    cells: tuple[Drawn, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """One doubtful field: the part of the card that shows it, and what it may hold, the likeliest first."""

    field: str
    place: str
    name: str
    key: str
    seen: int
    view: Box
    candidates: tuple[Candidate, ...]


def pairs_of(card: Card, layout: Layout) -> tuple[Pair, ...]:
    """Return the fields of a card that are seen together, in the order of the holes."""
    together = set(seen_together(card.reading, card.waiting))
    fields = [field for field in card.form.fields if field.id in together]
    fields.sort(key=lambda field: field.row or 0)  # the head first; sorting keeps the order within a row
    keys = [*LETTERS, *[""] * len(fields)]
    return tuple(_pair(card, layout, field, key) for field, key in zip(fields, keys, strict=False))


def _pair(card: Card, layout: Layout, field: Field, key: str) -> Pair:
    read = card.reading.fields[field.id]
    cells = [cell for cell in layout.cells if cell.field == field.id]
    return Pair(
        field=field.id,
        place=place_of(card.form, field),
        name=name_of(card.form, field),
        key=key,
        seen=sum(answer.field == field.id for answer in card.answers),
        view=box_of(layout, field.id).grown(FIELD_MARGIN_MM),
        candidates=tuple(
            Candidate(
                json.dumps(value),
                said(card.form, field, value),
                _drawn(field, cells, value, _written(cells, card, value)),
            )
            for value in _answers(read)
        ),
    )


def _answers(read: FieldReading) -> Sequence[FieldValue]:
    others = [value for value, p in read.alternatives if p >= WORTH_OFFERING]
    return [read.value, *others[:MOST_OTHERS]]


def _written(cells: Sequence[Cell], card: Card, value: FieldValue) -> str:
    """Return a number as it stands in its boxes, a sign a box: zeros before it too."""
    if not isinstance(value, int):
        return " " * len(cells)
    read = [reading.value if (reading := card.reading.cells.get(cell.id)) else None for cell in cells]
    signs = "".join(" " if sign is None else str(int(sign)) for sign in read)
    if signs.strip().isdigit() and int(signs) == value:
        return signs
    return str(value).rjust(len(cells))


def _drawn(field: Field, cells: Sequence[Cell], value: FieldValue, written: str) -> tuple[Drawn, ...]:
    if field.type == "number":
        signs = zip(cells, written, strict=False)
        return tuple(Drawn(cell.box, "digit", "", sign.strip()) for cell, sign in signs)
    chosen = set(value if isinstance(value, tuple) else (value,))
    return tuple(
        Drawn(cell.box, "bubble", cell.shape, filled=cell.id.removeprefix(f"{field.id}.") in chosen)
        for cell in cells
    )


@dataclass(frozen=True, slots=True)
class Given:
    """What a page sends back: what was looked over, and the fields that are to be asked alone."""

    looks: tuple[Look, ...]
    alone: tuple[str, ...]


def given_of(form: Form, fields: Sequence[str], values: Sequence[str], seen: Sequence[str]) -> Given:
    """Return what a page's form says, each field with its value and its count of entries.

    Raises
    ------
    InputError
        when they do not fit each other or the form
    """
    if not fields or not len(fields) == len(values) == len(seen):
        raise InputError("expected a value for each field of the page, found some without. Load it again.")
    looks, alone = [], []
    for name, text, count in zip(fields, values, seen, strict=True):
        if text == ELSE:
            alone.append(name)
            continue
        if not (count.isascii() and count.isdigit() and len(count) < 10):
            raise InputError("expected the count of entries of each field, found none. Load the page again.")
        try:
            value = json.loads(text)
        except ValueError:
            raise InputError(f"{name}: expected a value of the page, found {text[:40]!r}.") from None
        looks.append(Look(name, checked_answer(form, name, value), int(count)))
    return Given(tuple(looks), tuple(alone))
