"""A small round form and readings of it, built by hand for the tests of this room.

The form has the columns of a round card and as many holes as a test wants; no picture is involved.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from datetime import UTC, datetime

from shortpencil.forms.form import Course, CourseHole, Form, form_from_toml
from shortpencil.scan.reading import ONE_BY_ONE, CardReading, CellReading, FieldReading, FieldValue

RECORDED_AT = datetime(2026, 6, 1, 18, 30, tzinfo=UTC)
PHOTO = "a" * 64

_CHOICE = """
[[rows.left]]
id = "{id}"
type = "choose-one"
options = [{{id = "clean", label = "clean"}}, {{id = "miss", label = "miss"}}]
"""

_DATE = """
[[head]]
id = "date.day"
type = "number"
digits = 2
[[head]]
id = "date.month"
type = "number"
digits = 2
[[head]]
id = "date.year"
type = "number"
digits = 2
"""

#: A sheet that is no round: three ends with their sums.
ENDS = (
    """
name = "ends"
title = "Six ends"
"""
    + _DATE
    + """
[[head]]
id = "player"
type = "words"
label = "Player"
line = 2
[rows]
prefix = "e"
count = 3
labels = ["18 m", "25 m", "30 m"]
[[rows.left]]
id = "sum"
type = "number"
digits = 2
label = "sum"
[[rows.left]]
id = "felt"
type = "choose-many"
label = "felt"
arrange = "line"
options = [{ id = "calm", label = "calm" }, { id = "rushed", label = "rushed" }]
[[rows.left]]
id = "note"
type = "words"
label = "note"
"""
)

TOML = (
    """
name = "test-round"
edition = 1
title = "Round"
record = "round"
"""
    + _DATE
    + """
[[head]]
id = "player"
type = "words"
[[head]]
id = "hand"
type = "choose-one"
options = [{id = "right", label = "right"}, {id = "left", label = "left"}]
[[head]]
id = "wind"
type = "choose-one"
default = "calm"
options = [{id = "calm", label = "calm"}, {id = "windy", label = "windy"}]

[rows]
prefix = "h"
count = HOLES

[[rows.left]]
id = "par"
type = "number"
digits = 1
without_course = true
[[rows.left]]
id = "score"
type = "number"
digits = 2
[[rows.left]]
id = "penalty"
type = "choose-one"
options = [{id = "1", label = "1"}, {id = "2", label = "2"}]
"""
    + "".join(
        _CHOICE.format(id=name) for name in ("drive", "approach1", "approach2", "putt1", "putt2", "putt3")
    )
    + """
[[rows.left]]
id = "putt1.distance"
type = "number"
digits = 2
[[rows.left]]
id = "putt2.distance"
type = "number"
digits = 2
[[rows.left]]
id = "putt1.stance"
type = "choose-one"
options = [{id = "straddle", label = "straddle"}]
[[rows.right]]
id = "way"
type = "choose-many"
options = [{id = "left", label = "left"}, {id = "right", label = "right"},
    {id = "long", label = "long"}, {id = "short", label = "short"}]
[[rows.right]]
id = "forehand"
type = "choose-one"
options = [{id = "yes", label = "yes"}]
[[rows.right]]
id = "why"
type = "number"
digits = 1
[[rows.right]]
id = "words"
type = "words"

[[right-head]]
id = "worst"
type = "choose-one"
options = [{id = "drive", label = "drive"}, {id = "approach", label = "approach"},
    {id = "putt", label = "putt"}]

[[foot]]
id = "tally.drive"
type = "number"
digits = 2
[[foot]]
id = "tally.approach"
type = "number"
digits = 2
[[foot]]
id = "tally.putt"
type = "number"
digits = 2
[[foot]]
id = "total"
type = "number"
digits = 3

[[causes]]
number = 0
id = "early"
label = "released early"
[[causes]]
number = 1
id = "late"
label = "released late"
"""
)


@functools.cache
def round_form(holes: int = 3, *, unit: str = "m", course: bool = False) -> Form:
    """Return a round form; with `course`, pars 3, 4, 5, 3, … and lengths are printed in."""
    layout = None
    if course:
        rows = tuple(CourseHole(n, 3 + (n - 1) % 3, 80.0 + n, f"{80 + n} m") for n in range(1, holes + 1))
        layout = Course("Alder Meadow", "long", rows)
    return form_from_toml(TOML.replace("HOLES", str(holes)), source="test form", unit=unit, course=layout)


def reading(
    form: Form,
    answers: Mapping[str, FieldValue],
    *,
    serial: str = "ABCD2345",
    flags: Mapping[str, str] | None = None,
    photo: str = PHOTO,
    pictures: Mapping[str, bytes] | None = None,
) -> CardReading:
    """Return a reading in which `answers` are marked, `flags` must be looked at and all else is blank."""
    unknown = {*answers, *(flags or {})} - {field.id for field in form.fields}
    assert not unknown, unknown
    fields = {}
    for field in form.fields:
        flag = (flags or {}).get(field.id)
        p = 0.991 if flag else 0.9991  # no other answer to weigh: such a field waits
        ask = ONE_BY_ONE if flag else None
        fields[field.id] = FieldReading(answers.get(field.id), p, flag, ask=ask)
    cells = {cell: CellReading(None, 0.999) for field in form.fields for cell in field.cell_ids}
    return CardReading(
        source="card.jpg",
        status="read",
        serial=serial,
        form="FP2345",
        form_name=form.name,
        quality={"sharpness": 0.9},
        cells=cells,
        fields=fields,
        pictures=pictures or {},
        photo_sha256=photo,
    )


#: Three holes as a player marks them: 3 with two misses, 4 with a penalty, 2 clean.
PLAYED: dict[str, FieldValue] = {
    "date.day": 31,
    "date.month": 5,
    "date.year": 26,
    "h01.score": 3,
    "h01.drive": "miss",
    "h01.putt1": "miss",
    "h01.putt1.distance": 7,
    "h01.putt1.stance": "straddle",
    "h01.putt2": "clean",
    "h02.score": 4,
    "h02.penalty": "1",
    "h02.drive": "miss",
    "h02.approach1": "clean",
    "h02.putt1": "clean",
    "h02.way": ("left",),
    "h02.why": 1,
    "h03.score": 2,
    "h03.drive": "clean",
    "h03.putt1": "clean",
    "worst": "drive",
    "tally.drive": 2,
    "tally.approach": 0,
    "tally.putt": 1,
    "total": 9,
}
