"""A layout to and from the published JSON text: all that a reader of photos needs to know about a sheet.

Origin at the top left of the sheet, x right, y down, millimetres. The text is canonical (sorted, fixed
rounding): the same layout gives the same bytes, and the fingerprint of a form is the hash of this text
without the fingerprint itself.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.fiducials import CORNER_IDS, Fiducial
from shortpencil.forms.files import parsed_json
from shortpencil.forms.form import (
    HANDS,
    UNITS,
    USUAL_PHASES,
    Cause,
    Course,
    CourseHole,
    Field,
    Form,
    Option,
    Phase,
)
from shortpencil.forms.form_check import (
    FIELD_ID,
    FIELD_TYPES,
    LONGEST_TEXT,
    MOST_PHASES,
    PHASE_ID,
    RECORDS,
    ROLES,
    SHAPES,
)
from shortpencil.forms.geometry import Box, Point
from shortpencil.forms.layout import Cell, Layout, Paper
from shortpencil.forms.serials import fingerprint_of
from shortpencil.forms.shown import found, is_text, one_line

FIELD_MAP_SCHEMA = 1

CELL_KINDS = ("bubble", "digit", "words")
CELL_SHAPES = ("round", "square", "box", "strip")
#: Sheets that a printer takes, and the smallest thing on one that could be read.
_PAGE_MM = (50.0, 500.0)
_LEAST_MM = 0.5
_LONGEST = 2000


def layout_to_json(layout: Layout) -> str:
    """Return the field map of a layout as JSON text, its fingerprint included."""
    from msgspec.json import format as indented

    body = _body(layout)
    named = {"schema": FIELD_MAP_SCHEMA, "form": body["name"], "fingerprint": _fingerprint(body), **body}
    # `json` indents 240 kB in Python, sign by sign: 19 ms. Without lines it writes them in C, and the text
    # with lines is made of that: 5 ms, the same to the byte.
    return indented(json.dumps(named, ensure_ascii=False), indent=1)


def fingerprint(layout: Layout) -> str:
    """Return the six signs that name this layout in codes and catalogs."""
    return _fingerprint(_body(layout))


def layout_from_json(text: str, source: str = "field map") -> Layout:
    """Return the layout of a field map.

    Raises
    ------
    InputError
        when the text is no field map, or its content does not match its own fingerprint
    """
    data = parsed_json(text, source, "a field map written by `print --map`")
    if not isinstance(data, dict) or "schema" not in data:
        raise InputError(
            f"{source}: expected a field map written by `print --map`, found {found(data)}. Take that file."
        )
    if data["schema"] != FIELD_MAP_SCHEMA:
        raise InputError(
            f"{source}: expected field map schema {FIELD_MAP_SCHEMA}, found {found(data['schema'])}. "
            "A newer shortpencil reads it."
        )
    layout = _layout(_Part(data, source))
    if fingerprint(layout) != data.get("fingerprint"):
        raise InputError(f"{source}: the field map was changed after it was printed; take the original file.")
    return layout


def _fingerprint(body: dict[str, Any]) -> str:
    return fingerprint_of(json.dumps(body, ensure_ascii=False, sort_keys=True, separators=(",", ":")))


def _box(box: Box) -> list[float]:
    return [round(v, 3) for v in (box.x, box.y, box.w, box.h)]


def _body(layout: Layout) -> dict[str, Any]:
    form = layout.form
    return {
        "name": form.name,
        "edition": form.edition,
        "layout_edition": layout.edition,
        "title": form.title,
        "record": form.record,
        "statement": form.statement,
        "unit": form.unit,
        "hand": form.hand,
        "page": {
            "name": layout.paper.name,
            "width_mm": layout.paper.width_mm,
            "height_mm": layout.paper.height_mm,
        },
        "rows": {
            "prefix": form.prefix,
            "count": form.rows,
            "group": form.row_group,
            "numbers": list(form.row_numbers),
            **({"labels": list(form.row_labels)} if form.row_labels else {}),
        },
        "course": _course_json(form.course),
        **({"phases": [_phase_json(phase) for phase in form.phases]} if form.phases != USUAL_PHASES else {}),
        "causes": [{"number": c.number, "id": c.id, "label": c.label} for c in form.causes],
        "fields": {field.id: _field_json(field) for field in form.fields},
        "cells": [
            {
                "id": cell.id,
                "field": cell.field,
                "kind": cell.kind,
                "shape": cell.shape,
                "page": cell.page,
                "box_mm": _box(cell.box),
            }
            for cell in layout.cells
        ],
        "fiducials": [{"id": f.id, "box_mm": _box(f.box)} for f in layout.fiducials],
        "studs": [[round(p.x, 3), round(p.y, 3)] for p in layout.studs],
        "qr": {"box_mm": _box(layout.qr)},
        "plain_code": {"box_mm": _box(layout.plain_code)},
    }


def _field_json(field: Field) -> dict[str, Any]:
    data: dict[str, Any] = {"type": field.type, "label": field.label}
    if field.options:
        data["options"] = [{"id": o.id, "label": o.label, "shape": o.shape} for o in field.options]
    if field.digits:
        data["digits"] = field.digits
    if field.row is not None:
        data["row"] = field.row
    if field.default is not None:
        data["default"] = field.default
    return data


def _phase_json(phase: Phase) -> dict[str, Any]:
    return {"id": phase.id, "label": phase.label, "role": phase.role, "columns": list(phase.columns)}


def _course_json(course: Course | None) -> dict[str, Any] | None:
    if course is None:
        return None
    return {
        "name": course.name,
        "layout": course.layout,
        "holes": [
            {"number": h.number, "par": h.par, "length_m": h.length_m, "length": h.length_written}
            for h in course.holes
        ],
    }


def _layout(data: _Part) -> Layout:
    page = data.part("page")
    form = _form(data)
    paper = Paper(page.text("name"), page.number("width_mm", *_PAGE_MM), page.number("height_mm", *_PAGE_MM))
    layout = Layout(
        form=form,
        paper=paper,
        cells=tuple(
            Cell(
                c.text("id"),
                c.text("field"),
                c.one_of("kind", CELL_KINDS),
                c.box(),
                c.one_of("shape", CELL_SHAPES),
                c.whole("page", 1, 1),
            )
            for c in data.parts("cells")
        ),
        fiducials=tuple(Fiducial(f.whole("id", 0, 49), f.box()) for f in data.parts("fiducials")),
        studs=tuple(Point(*xy) for xy in data.points("studs")),
        qr=data.part("qr").box(),
        plain_code=data.part("plain_code").box(),
        edition=data.whole("layout_edition", 1, 9999),
    )
    ids = [cell.id for cell in layout.cells]
    if sorted(ids) != sorted(cell for field in form.fields for cell in field.cell_ids):
        raise data.wrong("cells", "the cells of its fields, each once", ids)
    if sorted(mark.id for mark in layout.fiducials) != sorted(CORNER_IDS):
        raise data.wrong("fiducials", "the four corner marks", [mark.id for mark in layout.fiducials])
    sheet = Box(0.0, 0.0, paper.width_mm, paper.height_mm)
    boxes = [*(c.box for c in layout.cells), *(mark.box for mark in layout.fiducials)]
    if not all(sheet.contains(box) for box in (*boxes, layout.qr, layout.plain_code)):
        raise data.wrong("box_mm", "boxes on the sheet", "one that lies outside")
    return layout


def _form(data: _Part) -> Form:
    rows = data.part("rows")
    course = data.part("course") if data.has("course") else None
    return Form(
        name=data.text("name"),
        edition=data.whole("edition", 1, 9999),
        title=data.text("title"),
        record=data.one_of("record", RECORDS),
        statement=data.text("statement"),
        unit=data.one_of("unit", tuple(UNITS)),
        hand=data.one_of("hand", HANDS),
        prefix=rows.text("prefix"),
        rows=rows.whole("count", 0, 60),
        row_numbers=rows.wholes("numbers", rows.whole("count", 0, 60), 1, 60),
        row_group=rows.whole("group", 1, 60),
        row_labels=rows.texts("labels", rows.whole("count", 0, 60)) if rows.has("labels") else (),
        phases=_phases(data),
        causes=tuple(
            Cause(c.whole("number", 0, 9), c.text("id"), c.text("label")) for c in data.parts("causes")
        ),
        course=None
        if course is None
        else Course(
            course.text("name"),
            course.text("layout"),
            tuple(
                CourseHole(
                    h.whole("number", 1, 60),
                    h.whole("par", 2, 6) if h.has("par") else None,
                    h.number("length_m", 0.0, 2000.0) if h.has("length_m") else None,
                    h.text("length") if h.has("length") else None,
                )
                for h in course.parts("holes")
            ),
        ),
        fields=tuple(_field(name, f, rows.whole("count", 0, 60)) for name, f in data.named("fields")),
    )


def _phases(data: _Part) -> tuple[Phase, ...]:
    if not data.has("phases"):
        return USUAL_PHASES
    phases = tuple(
        Phase(p.text("id"), p.text("label"), p.one_of("role", ROLES), p.texts("columns"))
        for p in data.parts("phases")[:MOST_PHASES]
    )
    # What a form's own check refuses is no game that a record can hold either.
    ids = [phase.id for phase in phases]
    places = [ROLES.index(phase.role) for phase in phases]
    columns = [column for phase in phases for column in phase.columns]
    if (
        not all(re.fullmatch(PHASE_ID, id_) for id_ in ids)
        or any(len(set(some)) < len(some) for some in (ids, columns))
        or places != sorted(places)
        or any(places.count(ROLES.index(role)) > 1 for role in ("tee", "target"))
    ):
        raise data.wrong("phases", "phases in the order thrown, each with an id and columns of its own", ids)
    return phases


def _field(name: str, f: _Part, rows: int) -> Field:
    options = tuple(
        Option(o.text("id"), o.text("label"), o.one_of("shape", SHAPES)) for o in f.parts("options", ())
    )
    default = f.text("default") if f.has("default") else None
    only_misses = default == "clean" and [option.id for option in options] == ["miss"]
    if default is not None and default not in [option.id for option in options] and not only_misses:
        raise f.wrong("default", "one of the options", default)
    return Field(
        name,
        f.one_of("type", FIELD_TYPES),
        f.text("label"),
        options,
        f.whole("digits", 1, 6) if f.has("digits") else 0,
        f.whole("row", 1, max(rows, 1)) if f.has("row") else None,
        default,
    )


class _Part:
    """A JSON object of a field map, with typed values; every complaint says where."""

    def __init__(self, data: Any, where: str) -> None:
        if not isinstance(data, dict):
            raise InputError(f"{where}: expected an object, found {found(data)}.")
        self._data, self._where = data, where

    def wrong(self, key: str, expected: str, value: Any) -> InputError:
        return InputError(
            f"{self._where}, {key}: expected {expected}, found {found(value)}. Take the original file, as "
            "`print --map` wrote it."
        )

    def has(self, key: str) -> bool:
        return self._data.get(key) is not None

    def _checked(self, key: str, fits: bool, expected: str) -> Any:
        if not fits:
            raise self.wrong(key, expected, self._data.get(key, "nothing"))
        return self._data[key]

    def text(self, key: str) -> str:
        value = self._data.get(key)
        fits = is_text(value) and len(str(value)) <= _LONGEST
        return str(self._checked(key, fits, f"a text of at most {_LONGEST} signs"))

    def one_of(self, key: str, allowed: Sequence[str]) -> str:
        value = self._data.get(key)
        return str(self._checked(key, isinstance(value, str) and value in allowed, f"one of {allowed}"))

    def whole(self, key: str, low: int, high: int) -> int:
        value = self._data.get(key)
        return int(self._checked(key, _is_whole(value, low, high), f"a whole number from {low} to {high}"))

    def number(self, key: str, low: float, high: float) -> float:
        value = self._data.get(key)
        # As it stands, whole or not: the fingerprint was made of it.
        return self._checked(key, _is_number(value, low, high), f"a number from {low} to {high}")  # type: ignore[no-any-return]

    def wholes(self, key: str, count: int, low: int, high: int) -> tuple[int, ...]:
        value = self._data.get(key)
        fits = isinstance(value, list) and len(value) == count
        fits = fits and all(_is_whole(item, low, high) for item in value or ())
        return tuple(self._checked(key, fits, f"{count} whole numbers from {low} to {high}"))

    def texts(self, key: str, count: int | None = None) -> tuple[str, ...]:
        value = self._data.get(key)
        fits = isinstance(value, list) and count in (None, len(value))
        fits = fits and all(is_text(item) and len(item) <= LONGEST_TEXT for item in value or ())
        return tuple(
            self._checked(
                key, fits, f"{'' if count is None else f'{count} '}texts of at most {LONGEST_TEXT} signs"
            )
        )

    def box(self) -> Box:
        value = self._data.get("box_mm")
        fits = isinstance(value, list) and len(value) == 4
        fits = fits and all(_is_number(item, 0.0, _PAGE_MM[1]) for item in value or ())
        box = Box(*self._checked("box_mm", fits, "four millimetres: x, y, width, height"))
        if min(box.w, box.h) < _LEAST_MM:
            raise self.wrong("box_mm", f"a box of at least {_LEAST_MM} mm", value)
        return box

    def points(self, key: str) -> list[list[float]]:
        value = self._data.get(key)
        fits = isinstance(value, list) and all(
            isinstance(xy, list) and len(xy) == 2 and all(_is_number(v, 0.0, _PAGE_MM[1]) for v in xy)
            for xy in value
        )
        return list(self._checked(key, fits, "points of two millimetres"))

    def part(self, key: str) -> _Part:
        return _Part(self._data.get(key), f"{self._where}, {key}")

    def parts(self, key: str, default: Any = None) -> list[_Part]:
        value = list(default) if default is not None and key not in self._data else self._data.get(key)
        if not isinstance(value, list):
            raise self.wrong(key, "a list", value)
        return [_Part(item, f"{self._where}, {key} {n}") for n, item in enumerate(value, start=1)]

    def named(self, key: str) -> list[tuple[str, _Part]]:
        part = self.part(key)
        for name in part._data:
            if not re.fullmatch(FIELD_ID, name):
                raise self.wrong(key, "ids of letters, digits, '-' and '_'", name)
        return [(name, _Part(item, f"{part._where} {one_line(name)}")) for name, item in part._data.items()]


def _is_whole(value: Any, low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _is_number(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
