"""A layout to and from the published JSON text: all that a reader of photos needs to know about a sheet.

Origin at the top left of the sheet, x right, y down, millimetres. The text is canonical (sorted, fixed
rounding): the same layout gives the same bytes, and the fingerprint of a form is the hash of this text
without the fingerprint itself.
"""

from __future__ import annotations

import json
from typing import Any

from forms.errors import InputError
from forms.fiducials import Fiducial
from forms.form import Cause, Course, CourseHole, Field, Form, Option
from forms.geometry import Box, Point
from forms.layout import Cell, Layout, Paper
from forms.serials import fingerprint_of

FIELD_MAP_SCHEMA = 1


def layout_to_json(layout: Layout) -> str:
    """Return the field map of a layout as JSON text, its fingerprint included."""
    body = _body(layout)
    return json.dumps(
        {"schema": FIELD_MAP_SCHEMA, "form": body["name"], "fingerprint": _fingerprint(body), **body},
        ensure_ascii=False,
        indent=1,
    )


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
    try:
        data = json.loads(text)
        if data["schema"] != FIELD_MAP_SCHEMA:
            raise InputError(
                f"{source}: expected field map schema {FIELD_MAP_SCHEMA}, found {data['schema']!r}."
            )
        layout = _layout(data)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(
            f"{source}: expected a field map written by `print --map`, found something else ({error!r})."
        ) from error
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
        },
        "course": _course_json(form.course),
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


def _layout(data: dict[str, Any]) -> Layout:
    page = data["page"]
    return Layout(
        form=_form(data),
        paper=Paper(page["name"], page["width_mm"], page["height_mm"]),
        cells=tuple(
            Cell(c["id"], c["field"], c["kind"], Box(*c["box_mm"]), c["shape"], c["page"])
            for c in data["cells"]
        ),
        fiducials=tuple(Fiducial(f["id"], Box(*f["box_mm"])) for f in data["fiducials"]),
        studs=tuple(Point(*xy) for xy in data["studs"]),
        qr=Box(*data["qr"]["box_mm"]),
        plain_code=Box(*data["plain_code"]["box_mm"]),
        edition=data["layout_edition"],
    )


def _form(data: dict[str, Any]) -> Form:
    rows = data["rows"]
    course = data["course"]
    return Form(
        name=data["name"],
        edition=data["edition"],
        title=data["title"],
        record=data["record"],
        statement=data["statement"],
        unit=data["unit"],
        hand=data["hand"],
        prefix=rows["prefix"],
        rows=rows["count"],
        row_numbers=tuple(rows["numbers"]),
        row_group=rows["group"],
        causes=tuple(Cause(c["number"], c["id"], c["label"]) for c in data["causes"]),
        course=None
        if course is None
        else Course(
            course["name"],
            course["layout"],
            tuple(CourseHole(h["number"], h["par"], h["length_m"], h["length"]) for h in course["holes"]),
        ),
        fields=tuple(
            Field(
                field_id,
                f["type"],
                f["label"],
                tuple(Option(o["id"], o["label"], o["shape"]) for o in f.get("options", ())),
                f.get("digits", 0),
                f.get("row"),
                f.get("default"),
            )
            for field_id, f in data["fields"].items()
        ),
    )
