"""What a card asks: a form read from TOML text, with its fields, its options and its list of causes.

A form is data. It names its fields (choose one, choose many, number, words) and roughly where they stand
(head, one row a hole, foot); `forms.layout` finds the millimetres. The built-in round cards are such files in
`forms/builtin`; nothing else in the program knows a card by name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from forms.errors import InputError
from forms.files import parsed_toml
from forms.shown import found

FIELD_TYPES = ("choose-one", "choose-many", "number", "words")
RECORDS = ("round", "practice", "sheet")
SHAPES = ("round", "square")
UNITS = {"m": "metres", "ft": "feet"}
HANDS = ("right", "left")
_OPTION_ID = re.compile(r"[\w-]{1,40}")
FIELD_ID = re.compile(r"[\w-]{1,40}(\.[\w-]{1,40})*")
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
    `without_course` leaves it out when the course is printed in, `without_hand` when the hand is.
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
    help: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """A card as a set of questions, with everything a reader of answers must know.

    `columns` are the wishes for the layout; they play no part once a layout exists and do not travel in the
    field map.
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

    def field(self, field_id: str) -> Field:
        """Return the field of that id; KeyError when the form has none."""
        for candidate in self.fields:
            if candidate.id == field_id:
                return candidate
        raise KeyError(field_id)

    def row_id(self, row: int) -> str:
        """Return the id of a row (1-based place in the table), as in ``h07``."""
        return f"{self.prefix}{self.row_numbers[row - 1]:02d}"


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
    reader = _Reader(source)
    rows = reader.table(data, "rows") if "rows" in data else {}
    columns = tuple(
        reader.column(item, place)
        for place in PLACES
        for item in reader.tables(_part(data, place), place)
        if not (course is not None and item.get("without_course", False))
        and not (hand_is_printed(hand) and item.get("without_hand", False))
    )
    count = reader.whole(rows, "count", 0, 0, 60) if rows else 0
    prefix = reader.words(rows, "prefix", "r")
    numbers = _row_numbers(course, count, source)
    form = Form(
        name=reader.text(data, "name"),
        edition=reader.whole(data, "edition", 1, 1, 9999),
        title=reader.text(data, "title"),
        record=reader.one_of(data, "record", RECORDS, "sheet"),
        statement=reader.words(data, "statement"),
        unit=unit,
        hand=hand,
        prefix=prefix,
        rows=count,
        row_numbers=numbers,
        row_group=reader.whole(rows, "group", 3, 1, 60) if rows else 3,
        causes=reader.causes(data),
        course=course,
        fields=_fields(columns, prefix, numbers),
        columns=columns,
        help=reader.lines(data, "help"),
    )
    ids = [f.id for f in form.fields]
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise InputError(f"{source}: each field needs an id of its own, but {', '.join(twice)} stands twice.")
    return form


def _part(data: Mapping[str, Any], place: str) -> Any:
    rows = data.get("rows", {})
    if place in ("left", "right"):
        return rows.get(place, []) if isinstance(rows, dict) else []
    return data.get(place, [])


def _row_numbers(course: Course | None, count: int, source: str) -> tuple[int, ...]:
    if course is None:
        return tuple(range(1, count + 1))
    if len(course.holes) != count:
        raise InputError(
            f"{source}: this form has {count} holes, but the layout {course.layout!r} has "
            f"{len(course.holes)}. Take the form with as many holes as the layout."
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


class _Reader:
    """Takes typed values out of TOML tables; every complaint names the form and the key."""

    def __init__(self, source: str) -> None:
        self._source = source

    def text(self, table: Mapping[str, Any], key: str) -> str:
        value = table.get(key)
        if not isinstance(value, str) or not value.strip():
            raise InputError(f"{self._source}: expected a text for {key!r}, found {found(value)}.")
        return value

    def id(self, table: Mapping[str, Any], pattern: re.Pattern[str]) -> str:
        value = self.text(table, "id")
        if not pattern.fullmatch(value):  # ids are joined with dots to those of cells, and kept in one line
            raise InputError(
                f"{self._source}: expected an id of letters, digits, '-' and '_', found {found(value)}."
            )
        return value

    def words(self, table: Mapping[str, Any], key: str, default: str = "") -> str:
        value = table.get(key, default)
        if not isinstance(value, str):
            raise InputError(f"{self._source}: expected a text for {key!r}, found {found(value)}.")
        return value

    def lines(self, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
        value = table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(line, str) for line in value):
            raise InputError(f"{self._source}: expected a list of texts for {key!r}, found {found(value)}.")
        return tuple(value)

    def whole(self, table: Mapping[str, Any], key: str, default: int, low: int, high: int) -> int:
        value = table.get(key, default)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise InputError(
                f"{self._source}: expected a whole number from {low} to {high} for {key!r}, "
                f"found {found(value)}."
            )
        return value

    def length(self, table: Mapping[str, Any], key: str) -> float:
        value = table.get(key, 0.0)
        if not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value <= 300:
            raise InputError(
                f"{self._source}: expected millimetres (0 to 300) for {key!r}, found {found(value)}."
            )
        return float(value)

    def one_of(self, table: Mapping[str, Any], key: str, allowed: tuple[str, ...], default: str) -> str:
        value = table.get(key, default)
        if value not in allowed:
            raise InputError(
                f"{self._source}: expected one of {', '.join(allowed)} for {key!r}, found {found(value)}."
            )
        return str(value)

    def table(self, data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        value = data[key]
        if not isinstance(value, dict):
            raise InputError(f"{self._source}: expected a table [{key}], found {found(value)}.")
        return value

    def tables(self, value: Any, key: str) -> list[Mapping[str, Any]]:
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise InputError(f"{self._source}: expected a list of tables [[{key}]], found {found(value)}.")
        return value

    def column(self, item: Mapping[str, Any], place: str) -> Column:
        field_id = self.id(item, FIELD_ID)
        kind = self.one_of(item, "type", FIELD_TYPES, "words")
        options = tuple(self.option(o, field_id) for o in self.tables(item.get("options", []), "options"))
        if kind.startswith("choose") and not options:
            raise InputError(f"{self._source}: the choice {field_id!r} needs options.")
        default = item.get("default")
        if default is not None and default not in [o.id for o in options]:
            raise InputError(
                f"{self._source}: the default of {field_id!r} must be one of its options, "
                f"found {found(default)}."
            )
        return Column(
            id=field_id,
            type=kind,
            label=self.words(item, "label"),
            place=place,
            options=options,
            digits=self.whole(item, "digits", 1, 1, 6) if kind == "number" else 0,
            arrange=self.one_of(item, "arrange", ("stack", "line", "cross"), "stack"),
            gap_mm=self.length(item, "gap_mm"),
            width_mm=self.length(item, "width_mm"),
            box_mm=self.length(item, "box_mm"),
            line=self.whole(item, "line", 1, 1, 9),
            lead=self.words(item, "lead"),
            stud=bool(item.get("stud", False)),
            default=default,
            without_course=bool(item.get("without_course", False)),
            without_hand=bool(item.get("without_hand", False)),
            help=self.words(item, "help"),
        )

    def option(self, item: Any, field_id: str) -> Option:
        if not isinstance(item, dict) or not isinstance(item.get("id"), str):
            raise InputError(
                f'{self._source}: expected options like {{id = "miss", label = "miss"}} in {field_id!r}, '
                f"found {found(item)}."
            )
        return Option(
            self.id(item, _OPTION_ID),
            self.words(item, "label", item["id"]),
            self.one_of(item, "shape", SHAPES, "round"),
        )

    def causes(self, data: Mapping[str, Any]) -> tuple[Cause, ...]:
        causes = []
        for item in self.tables(data.get("causes", []), "causes"):
            number = self.whole(item, "number", -1, 0, 9)
            causes.append(Cause(number, self.text(item, "id"), self.text(item, "label")))
        numbers = [cause.number for cause in causes]
        if len(set(numbers)) != len(numbers):
            raise InputError(f"{self._source}: each cause needs a number of its own, found {numbers}.")
        return tuple(causes)
