"""Cards and rounds as tables for the pages: what stands where, and where each value came from. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from shortpencil.forms.form import Field
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.forms.rules import many_said
from shortpencil.scan.language import N_, _, day_said, ngettext
from shortpencil.scan.records.composing.answers import LEFT, standing
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.tidy import round_row
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.storing.summary import Summary
from shortpencil.scan.review.views import box_of
from shortpencil.scan.review.wording import key_of, name_of, printed_name, row_said, said

#: Sign and word of each provenance; the word is for screen readers and the legend, the sign for the table.
STATES = {
    "waits": ("?", N_("waits for you")),
    "doubtful": ("≈", N_("doubtful, counts by its probability")),
    "entered": ("✎", N_("entered by a person")),
    "inferred": ("∑", N_("inferred from the card's sums")),
    "read": ("", N_("read from the ink")),
    "printed": ("", N_("printed on the card")),
    "empty": ("", N_("nothing there")),
}
_SHORT = {
    "par": N_("par"),
    "score": N_("score"),
    "penalty": N_("pen."),
    "drive": N_("drive"),
    "approach1": N_("app. 1"),
    "approach2": N_("app. 2"),
    "putt1": N_("putt 1"),
    "putt1.distance": N_("dist. 1"),
    "putt1.stance": N_("stance"),
    "putt2": N_("putt 2"),
    "putt2.distance": N_("dist. 2"),
    "putt3": N_("putt 3"),
    "way": N_("way"),
    "forehand": N_("forehand"),
    "why": N_("why"),
    "words": N_("words"),
}


@dataclass(frozen=True, slots=True)
class Spot:
    """One field of a card: where it lies, what it holds, where that came from."""

    field: str
    name: str
    text: str
    state: str
    box: Box
    marks: tuple[Box, ...]
    digits: tuple[tuple[Box, str], ...]

    @property
    def sign(self) -> str:
        return STATES[self.state][0]

    @property
    def state_said(self) -> str:
        return _(STATES[self.state][1])


def card_table(card: Card, layout: Layout) -> dict[str, Any]:
    """Return what the page of a whole card shows: spots, rows as a table, what else there is, the words."""
    spots = {field.id: _spot(card, layout, field) for field in card.form.fields}
    # What is written in words has a strip and a box of its own; other words are put in from the table.
    words = [field for field in card.form.fields if field.type == "words" and _is_written(card, field)]
    others = [field for field in card.form.fields if field not in words]
    in_rows = [field for field in others if field.row is not None]
    columns = list(dict.fromkeys(key_of(card.form, field) for field in in_rows))
    by_place = {(field.row, key_of(card.form, field)): spots[field.id] for field in in_rows}
    rows = [
        (card.form.row_numbers[row - 1], [by_place.get((row, column)) for column in columns])
        for row in range(1, card.form.rows + 1)
    ]
    labels = {key_of(card.form, field): name_of(card.form, field) for field in in_rows}
    return {
        "spots": list(spots.values()),
        "columns": [
            (_(_SHORT[column]) if column in _SHORT else labels[column], labels[column]) for column in columns
        ],
        "rows": rows,
        "others": [spots[field.id] for field in others if field.row is None],
        "words": [(spots[field.id], _row_name(card, field)) for field in words],
        "states": {state: (sign, _(says)) for state, (sign, says) in STATES.items()},
    }


def _row_name(card: Card, field: Field) -> str:
    if field.row is None:
        return name_of(card.form, field)
    return row_said(card.form, field.row)


def _is_written(card: Card, field: Field) -> bool:
    if printed_name(card, field.id):
        return False
    found = card.fields.get(field.id)
    return field.id in card.reading.pictures or (found is not None and found.value is not None)


def _spot(card: Card, layout: Layout, field: Field) -> Spot:
    found = card.fields.get(field.id)
    value = found.value if found is not None else None
    printed = printed_name(card, field.id)
    empty = value is None or value == ()
    entered = any(answer.field == field.id and answer.how != LEFT for answer in standing(card.answers))
    if field.id in card.waiting:
        state = "waits"
    elif entered:
        state = "entered"
    elif printed:
        state = "printed"
    elif found is not None and found.flag is not None:
        state = "doubtful"
    elif empty:
        state = "empty"
    else:
        state = "inferred" if found is not None and found.source == "inferred" else "read"
    cells = [cell for cell in layout.cells if cell.field == field.id]
    chosen = set(value if isinstance(value, tuple) else (value,))
    marks = tuple(c.box for c in cells if c.kind == "bubble" and c.id.removeprefix(f"{field.id}.") in chosen)
    digits: tuple[tuple[Box, str], ...] = ()
    if isinstance(value, int):
        shown = str(value).rjust(len(cells))
        digits = tuple((c.box, d) for c, d in zip(cells, shown, strict=False) if d != " ")
    text = printed or ("" if empty else said(card.form, field, value))
    return Spot(field.id, name_of(card.form, field), text, state, box_of(layout, field.id), marks, digits)


def round_score(round_: Round) -> str:
    """Return how many holes of a round are scored, and its score, in words."""
    row = round_row(round_)
    return ngettext(
        "{n} hole, score {score}", "{n} holes, score {score}", row["holes_scored"], score=row["score"]
    )


@dataclass(frozen=True, slots=True)
class Strip:
    """The misses of one phase, round by round, as bars; heights from 0 to 1 of the most of any phase."""

    phase: str
    bars: tuple[tuple[float, int, str], ...]
    said: str


def season(lines: Sequence[Summary]) -> list[Strip]:
    """Return the misses of each phase over rounds of one game, from the columns of the list of rounds."""
    phases = lines[0].phases if lines else ()
    counts = {phase: [line.misses_of(phase) for line in lines] for phase in phases}
    most = max((count for row in counts.values() for count in row), default=0) or 1
    played = [line.played_on for line in lines]
    days = [day_said(day) if day else _("no date") for day in played]
    return [
        Strip(
            many_said(phase),
            tuple((count / most, count, day) for count, day in zip(row, days, strict=True)),
            _(
                "Missed {phase}, round by round: {counts}.",
                phase=many_said(phase),
                counts=", ".join(map(str, row)),
            ),
        )
        for phase, row in counts.items()
    ]
