"""What a card asks: a form read from TOML text, with its fields, its options and its list of causes.

A form is data. It names its fields (choose one, choose many, number, words) and roughly where they stand
(head, one row a hole, foot); `forms.layout` finds the millimetres. The built-in round cards are such files in
`forms/builtin`; nothing else in the program knows a card by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import parsed_toml
from shortpencil.forms.form_check import BLOCKS, WORDS, check_form

UNITS = {"m": "metres", "ft": "feet"}
HANDS = ("right", "left")
PLACES = ("head", "left", "right", "right-head", "foot", "foot-right", "notes")


@dataclass(frozen=True, slots=True)
class Option:
    """One answer of a choice; `shape` is the outline of its bubble."""

    id: str
    label: str
    shape: str = "round"


@dataclass(frozen=True, slots=True)
class Cause:
    """One numbered reason for a miss; `id` is what records keep, since numbers may be dealt anew."""

    number: int
    id: str
    label: str


@dataclass(frozen=True, slots=True)
class Field:
    """One question of the form.

    `digits` counts the boxes of a number. `row` is the row it stands in (1, 2, …) or None outside the rows.
    `default` is the option that an unmarked choice stands for, where the form says so.
    """

    id: str
    type: str
    label: str
    options: tuple[Option, ...] = ()
    digits: int = 0
    row: int | None = None
    default: str | None = None

    @property
    def cell_ids(self) -> tuple[str, ...]:
        """Ids of the field's cells in reading order."""
        if self.type in ("choose-one", "choose-many"):
            return tuple(f"{self.id}.{option.id}" for option in self.options)
        if self.type == "number":
            return tuple(f"{self.id}.{place}" for place in range(1, self.digits + 1))
        return (f"{self.id}.strip",)


@dataclass(frozen=True, slots=True)
class CourseHole:
    """What a course layout says of one hole."""

    number: int
    par: int | None = None
    length_m: float | None = None
    length_written: str | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """A course in one of its layouts, as printed into the rows of a card."""

    name: str
    layout: str
    holes: tuple[CourseHole, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A field repeated in each row, or a field of head or foot, with the wishes for its place.

    `arrange` puts a choice's bubbles in a "stack", a "line" or a "cross" (left, right, above, below).
    `gap_mm` is clear space before it; `width_mm` the wish of a strip for words (0: all that is left);
    `box_mm` the width of each box of a number (0: the usual one). `lead` stands once before a line of fields
    that belong together, as "Date" does; `stud` puts a small square into the gap before a column of the rows.
    `without_course` leaves it out when the course is printed in, `without_hand` when the hand is. `bubble_mm`
    is the width of its bubbles (0: the usual one). `beside`: the options' labels stand beside the bubbles,
    since nothing else says what these mean. From the bubble `split_at` on, a line of bubbles is shifted by
    `split_mm`, over the fold.
    """

    id: str
    type: str
    label: str
    place: str
    options: tuple[Option, ...] = ()
    digits: int = 0
    arrange: str = "stack"
    gap_mm: float = 0.0
    width_mm: float = 0.0
    box_mm: float = 0.0
    line: int = 0
    lead: str = ""
    stud: bool = False
    default: str | None = None
    without_course: bool = False
    without_hand: bool = False
    bubble_mm: float = 0.0
    beside: bool = False
    split_at: int = 0
    split_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of the game: what records call it, and the columns of its throws in the order thrown.

    `role` says where on a hole its throws fall: "tee" (one throw, the first), "between" (any number) or
    "target" (the last, which end the hole).
    """

    id: str
    label: str
    role: str
    columns: tuple[str, ...]


#: The phases of a round card that declares none, as every card before declared phases was printed.
USUAL_PHASES = (
    Phase("drive", "drive", "tee", ("drive",)),
    Phase("approach", "approach", "between", ("approach1", "approach2")),
    Phase("putt", "putt", "target", ("putt1", "putt2", "putt3")),
)


@dataclass(frozen=True, slots=True)
class Form:
    """A card as a set of questions, with everything a reader of answers must know.

    `row_labels` stand before the rows in place of their numbers. `columns`, `help` and `words` (the sentences
    that the card itself prints) are wishes for the layout; they play no part once a layout exists and do not
    travel in the field map.
    """

    name: str
    edition: int
    title: str
    record: str
    statement: str
    unit: str
    hand: str
    prefix: str
    rows: int
    row_numbers: tuple[int, ...]
    causes: tuple[Cause, ...]
    course: Course | None
    fields: tuple[Field, ...]
    columns: tuple[Column, ...] = ()
    row_group: int = 3
    help: tuple[str, ...] = ()
    row_labels: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    phases: tuple[Phase, ...] = USUAL_PHASES

    @property
    def makes_rounds(self) -> bool:
        """Whether its cards are kept as rounds."""
        return self.record == "round"

    def field(self, field_id: str) -> Field:
        """Return the field of that id; KeyError when the form has none."""
        for candidate in self.fields:
            if candidate.id == field_id:
                return candidate
        raise KeyError(field_id)

    def row_id(self, row: int) -> str:
        """Return the id of a row (1-based place in the table), as in ``h07``."""
        return f"{self.prefix}{self.row_numbers[row - 1]:02d}"

    def row_label(self, row: int) -> str:
        """Return what is printed before a row (1-based place in the table): its label, or its number."""
        return self.row_labels[row - 1] if self.row_labels else str(self.row_numbers[row - 1])

    def says(self, sentence: str) -> str:
        """Return one of the sentences that the card itself prints, in this form's words."""
        return self.words.get(sentence, WORDS[sentence])


def hand_is_printed(hand: str) -> bool:
    """Whether the card says the throwing hand in type: only the one that is not the usual one."""
    return hand != "right"


def form_from_toml(
    text: str, *, source: str, unit: str = "m", hand: str = "right", course: Course | None = None
) -> Form:
    """Return the form that a TOML text describes, for players who write distances in `unit`.

    Parameters
    ----------
    text : the form's TOML
    source : what to call the text in messages, usually its file name
    unit : "m" or "ft"
    hand : "right" or "left", the throwing hand the printed card takes for granted
    course : a layout whose pars and lengths are printed in, or None

    Raises
    ------
    InputError
        naming the place in the text that is not what it must be
    """
    data = parsed_toml(text, source, "a form")
    check_form(data, text, source)
    rows = data.get("rows", {})
    record = data.get("record", "sheet")
    asked = (
        _column(item, place)
        for place in PLACES
        for item in (rows if place in BLOCKS else data).get(place, [])
        if not (course is not None and item.get("without_course", False))
        and not (hand_is_printed(hand) and item.get("without_hand", False))
    )
    columns = _with_labels(asked, has_legend=record == "round")
    count = rows.get("count", 0)
    prefix = rows.get("prefix", "r")
    numbers = _row_numbers(course, count, source)
    return Form(
        name=data["name"],
        edition=data.get("edition", 1),
        title=data["title"],
        record=record,
        statement=data.get("statement", ""),
        unit=unit,
        hand=hand,
        prefix=prefix,
        rows=count,
        row_numbers=numbers,
        row_group=rows.get("group", 3),
        row_labels=tuple(rows.get("labels", ())) if course is None else (),
        causes=tuple(Cause(c["number"], c["id"], c["label"]) for c in data.get("causes", [])),
        course=course,
        fields=_fields(columns, prefix, numbers),
        columns=columns,
        help=tuple(data.get("help", ())),
        words=dict(data.get("words", {})),
        phases=_phases(data.get("phases", ()), {c.id for c in columns if c.place in BLOCKS}),
    )


def _row_numbers(course: Course | None, count: int, source: str) -> tuple[int, ...]:
    if course is None:
        return tuple(range(1, count + 1))
    if len(course.holes) != count:
        called, there = course.layout or course.name, len(course.holes)
        raise InputError(
            f"{source}: this form has {count} holes, but the layout {called!r} has {there}. "
            "Take the form with as many holes as the layout."
        )
    return tuple(hole.number for hole in course.holes)


def _fields(columns: tuple[Column, ...], prefix: str, numbers: tuple[int, ...]) -> tuple[Field, ...]:
    """Every field in reading order: head, then row by row, then the second head and the foot."""
    outside = [c for c in columns if c.place not in ("left", "right")]
    in_rows = [c for c in columns if c.place in ("left", "right")]
    fields = [_field(c, c.id, None) for c in outside if c.place == "head"]
    for row, number in enumerate(numbers, start=1):
        fields += [_field(c, f"{prefix}{number:02d}.{c.id}", row) for c in in_rows]
    fields += [_field(c, c.id, None) for c in outside if c.place != "head"]
    return tuple(fields)


def _field(column: Column, field_id: str, row: int | None) -> Field:
    return Field(field_id, column.type, column.label, column.options, column.digits, row, column.default)


def legend_of(columns: Iterable[Column]) -> Column | None:
    """Return the column whose round and square bubbles the legend above the rows explains, if any."""
    return next((c for c in columns if {option.shape for option in c.options} == {"round", "square"}), None)


def _with_labels(columns: Iterable[Column], *, has_legend: bool) -> tuple[Column, ...]:
    """Return the columns, told of each whether its options' labels must stand beside the bubbles.

    They need not where something else says what a bubble means: the cross above the column, a small figure,
    the column's own head over a single bubble, or the legend of round and square above the rows of a round.
    """
    columns = tuple(columns)
    legend = legend_of(columns) if has_legend else None
    return tuple(
        replace(
            column,
            beside=column.place in BLOCKS
            and bool(column.options)
            and column.arrange != "cross"
            and not all(option.label.isdigit() for option in column.options)
            and not (len(column.options) == 1 and bool(column.label))
            and not (legend is not None and column.options == legend.options),
        )
        for column in columns
    )


def _phases(items: Iterable[Mapping[str, Any]], columns: set[str]) -> tuple[Phase, ...]:
    """Return the phases of a game: as declared, or the usual ones.

    A card that declares the usual phases with the columns that it has of them plays the usual game, whether
    it has room for three putts or for two.
    """
    declared = tuple(
        Phase(item["id"], item.get("label", item["id"]), item["role"], tuple(item["columns"]))
        for item in items
    )
    usual = tuple(replace(p, columns=tuple(c for c in p.columns if c in columns)) for p in USUAL_PHASES)
    return USUAL_PHASES if declared in ((), usual) else declared


def _column(item: Mapping[str, Any], place: str) -> Column:
    """Return the column that a checked table of the form describes."""
    kind = item["type"]
    return Column(
        id=item["id"],
        type=kind,
        label=item.get("label", ""),
        place=place,
        options=tuple(
            Option(option["id"], option["label"], option.get("shape", "round"))
            for option in item.get("options", [])
        ),
        digits=item.get("digits", 1) if kind == "number" else 0,
        arrange=item.get("arrange", "stack" if place in BLOCKS else "line"),
        gap_mm=float(item.get("gap_mm", 0.0)),
        width_mm=float(item.get("width_mm", 0.0)),
        box_mm=float(item.get("box_mm", 0.0)),
        bubble_mm=float(item.get("bubble_mm", 0.0)),
        line=item.get("line", 1),
        lead=item.get("lead", ""),
        stud=item.get("stud", False),
        default=item.get("default"),
        without_course=item.get("without_course", False),
        without_hand=item.get("without_hand", False),
    )
