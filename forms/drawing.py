"""A sheet as strokes, fills and words in mm: everything that is printed, and nothing about PDF.

Black is kept for what the eye must find and for what the reader's camera locks on to; outlines of boxes and
bubbles are grey, so that ink stands out from print.
"""

from __future__ import annotations

from dataclasses import dataclass

from forms.fiducials import MARKER_MM, QUIET_MM, dark_modules, dark_runs
from forms.form import UNITS, Form, hand_is_printed
from forms.geometry import Box, Point, box_around
from forms.layout import (
    FOLD_CLEAR_MM,
    MARGIN_MM,
    QR_MODULE_MM,
    QR_QUIET_MODULES,
    ROWS_TOP_MM,
    STUD_MM,
    Cell,
    ColumnPlace,
    Sheet,
)
from forms.serials import plain_code

#: Outlines are black hairlines. A grey is printed as dots, and the dots go first: on a copier, with little
#: toner, in the sun (the first edition: a grey of 0.52, 0.28 mm wide). Thin black holds.
OUTLINE_GREY = 0.0
OUTLINE_MM = 0.16
RULE_GREY, RULE_MM = 0.5, 0.12  # furniture: lighter than what is written into
HAIR_MM = 0.18  # the thinnest line a photocopy keeps
LABEL_PT = 8.0  # nothing a player must read is smaller


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled rectangle; `grey` runs from 0 (black) to 1 (white)."""

    box: Box
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke."""

    start: Point
    end: Point
    width_mm: float
    grey: float


@dataclass(frozen=True, slots=True)
class Outline:
    """The edge of a box with rounded corners; `radius_mm` of half the width makes a circle."""

    box: Box
    radius_mm: float
    width_mm: float
    grey: float


@dataclass(frozen=True, slots=True)
class Blob:
    """A filled box with rounded corners."""

    box: Box
    radius_mm: float
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Words:
    """One line of type; shrunk to `fit_mm` where it would be wider. `at` is on the baseline."""

    text: str
    at: Point
    size_pt: float
    bold: bool = False
    anchor: str = "left"  # "left" | "middle" | "right"
    grey: float = 0.0
    fit_mm: float | None = None


Shape = Fill | Line | Outline | Blob | Words


@dataclass(frozen=True, slots=True)
class CardIdentity:
    """What makes one printed card different from the next of the same form."""

    serial: str
    fingerprint: str
    qr_rows: tuple[str, ...]  # "#" for a dark module
    player: str = ""


def draw(sheet: Sheet, identity: CardIdentity) -> tuple[Shape, ...]:
    """Return everything on the printed sheet, in drawing order."""
    shapes: list[Shape] = []
    shapes += _rules(sheet)
    shapes += _cells(sheet)
    shapes += _marks_for_the_camera(sheet, identity)
    shapes += _title(sheet, identity)
    shapes += _field_labels(sheet)
    shapes += _headings(sheet)
    shapes += _column_labels(sheet)
    shapes += _row_labels(sheet)
    shapes += _causes(sheet)
    shapes += _help(sheet)
    return tuple(shapes)


def _cells(sheet: Sheet) -> list[Shape]:
    """Outlines of all cells; a strip in a row needs none, the rule below the row serves."""
    rows = {field.id for field in sheet.form.fields if field.row is not None and field.type == "words"}
    return [shape for cell in sheet.layout.cells if cell.field not in rows for shape in _cell(cell)]


def _cell(cell: Cell) -> list[Shape]:
    box = cell.box
    if cell.shape == "strip":
        if box.h > 12:  # a field for notes gets lines to write on
            lines = int(box.h // 8.0)
            ys = [box.y + (i + 1) * box.h / lines for i in range(lines)]
        else:
            ys = [box.bottom]
        return [Line(Point(box.x, y), Point(box.right, y), OUTLINE_MM, OUTLINE_GREY) for y in ys]
    radius = {"round": box.w / 2, "square": 0.5, "box": 0.6}[cell.shape]
    inner = box.grown(-OUTLINE_MM / 2)
    return [Outline(inner, radius, OUTLINE_MM, OUTLINE_GREY)]


def _marks_for_the_camera(sheet: Sheet, identity: CardIdentity) -> list[Shape]:
    layout = sheet.layout
    shapes: list[Shape] = [Fill(box) for f in layout.fiducials for box in dark_modules(f)]
    shapes += [Fill(box_around(p, STUD_MM, STUD_MM)) for p in layout.studs]
    quiet = QR_QUIET_MODULES * QR_MODULE_MM
    code = dark_runs(identity.qr_rows, layout.qr.x + quiet, layout.qr.y + quiet, QR_MODULE_MM)
    shapes += [Fill(box) for box in code]
    box = layout.plain_code
    shapes.append(
        Words(
            plain_code(identity.serial, identity.fingerprint),
            Point(box.centre.x, box.bottom - 1.2),
            8.5,
            True,
            "middle",
        )
    )
    return shapes


def _title(sheet: Sheet, identity: CardIdentity) -> list[Shape]:
    form = sheet.form
    left = MARGIN_MM + MARKER_MM + QUIET_MM + 0.6
    room = sheet.fold.x - FOLD_CLEAR_MM - left
    under = [form.title, f"distances in {UNITS[form.unit]}"]
    if hand_is_printed(form.hand):
        under.append(f"{form.hand}-handed")
    shapes: list[Shape] = [
        Words("shortpencil", Point(left, 15.4), 18.0, True, fit_mm=room),
        Words(" · ".join(under), Point(left, 20.4), 9.0, fit_mm=room),
    ]
    for cell in sheet.layout.cells:
        if cell.field == "player" and identity.player:
            at = Point(cell.box.x + 1.0, cell.box.bottom - 1.8)
            shapes.append(Words(identity.player, at, 11.0, True, fit_mm=cell.box.w - 2.0))
    if form.course:
        x = sheet.fold.x + FOLD_CLEAR_MM
        limit = sheet.layout.qr.x - 1.0 - x
        shapes.append(Words(form.course.name, Point(x, 25.8), 10.0, True, fit_mm=limit))
        shapes.append(Words(form.course.layout, Point(x, 30.0), 8.5, fit_mm=limit))
    return shapes


def _field_labels(sheet: Sheet) -> list[Shape]:
    shapes: list[Shape] = [
        Words(text, at, 8.5, bold=text.startswith("One thing"))
        for text, at in sheet.labels
        if text and not text.startswith("The phase")
    ]
    if any(column.place == "foot" for column in sheet.form.columns):
        at = Point(MARGIN_MM + STUD_MM + 2.0, sheet.foot_top + 3.4)
        shapes.append(Words("Add up: the misses of each phase, and the score", at, 9.0, True))
    for column in sheet.form.columns:
        if column.arrange != "line" or column.place in ("left", "right"):
            continue
        for option in column.options:
            box = sheet.layout.cell(f"{column.id}.{option.id}").box
            shapes.append(Words(option.label, Point(box.right + 1.0, box.centre.y + 1.05), 8.5))
    return shapes


def _headings(sheet: Sheet) -> list[Shape]:
    """The two passes, each with its one sentence."""
    form = sheet.form
    shapes: list[Shape] = []
    left = MARGIN_MM + STUD_MM + 1.0
    if form.record != "round":
        if form.statement:
            shapes += _paragraph(
                form.statement, Point(left, ROWS_TOP_MM - 12.0), sheet.layout.paper.width_mm - 2 * left
            )
        return shapes
    room = sheet.fold.x - FOLD_CLEAR_MM - left
    shapes.append(Words("1", Point(left, ROWS_TOP_MM - 14.2), 13.0, True))
    shapes.append(
        Words(
            "Every throw: did it go as planned?",
            Point(left + 4.2, ROWS_TOP_MM - 14.2),
            10.0,
            True,
            fit_mm=room - 4.2,
        )
    )
    shapes += _paragraph(form.statement, Point(left + 4.2, ROWS_TOP_MM - 10.6), room - 4.2)
    shapes += _legend(form, Point(sheet.fold.x - FOLD_CLEAR_MM, ROWS_TOP_MM - 14.2))
    x = sheet.right_block_x + 1.0
    limit = sheet.layout.paper.width_mm - MARGIN_MM - x
    shapes.append(Words("2", Point(x, ROWS_TOP_MM - 14.2), 13.0, True))
    shapes.append(
        Words(
            "Only the phase with most misses",
            Point(x + 4.2, ROWS_TOP_MM - 14.2),
            10.0,
            True,
            fit_mm=limit - 4.2,
        )
    )
    return shapes


def _legend(form: Form, end: Point) -> list[Shape]:
    """What round and square bubbles mean, set so that it ends at `end`."""
    throw = next((c for c in form.columns if {o.shape for o in c.options} == {"round", "square"}), None)
    if throw is None:
        return []
    shapes: list[Shape] = []
    x = end.x - sum(5.6 + len(option.label) * 1.6 for option in throw.options)
    for option in throw.options:
        box = box_around(Point(x + 1.6, end.y - 1.1), 3.2, 3.2)
        radius = box.w / 2 if option.shape == "round" else 0.5
        shapes.append(Outline(box, radius, OUTLINE_MM, 0.0))
        shapes.append(Words(option.label, Point(box.right + 1.0, end.y), 8.5, True))
        x += 5.6 + len(option.label) * 1.6
    return shapes


def _paragraph(
    text: str, at: Point, width_mm: float, size_pt: float = LABEL_PT, lead_mm: float = 3.3
) -> list[Shape]:
    """Break a sentence into lines by the usual width of letters; printing shrinks what is still too wide."""
    per_line = int(width_mm / (size_pt * 0.176))
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= per_line:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return [
        Words(line, Point(at.x, at.y + i * lead_mm), size_pt, fit_mm=width_mm) for i, line in enumerate(lines)
    ]


def _column_labels(sheet: Sheet) -> list[Shape]:
    """Two lines above the rows: the throw on the first, what to write on the second."""
    shapes: list[Shape] = []
    upper, lower = ROWS_TOP_MM - 3.9, ROWS_TOP_MM - 1.0
    run: list[ColumnPlace] = []
    for place in (*sheet.columns, None):
        if run and (place is None or _upper(place) != _upper(run[0]) or not _upper(place)):
            if _upper(run[0]):
                middle = (run[0].x + run[-1].x + run[-1].w) / 2
                shapes.append(Words(_upper(run[0]), Point(middle, upper), LABEL_PT, True, "middle"))
                if len(run) > 1:
                    y = upper + 0.7
                    shapes.append(Line(Point(run[0].x, y), Point(run[-1].x + run[-1].w, y), HAIR_MM, 0.3))
            run = []
        if place is not None:
            run.append(place)
            text = place.column.label.split("|")[-1].replace("{unit}", sheet.form.unit)
            middle = place.x + place.w / 2
            if place.column.arrange == "cross":
                shapes += _cross_labels(place)
            elif place.column.type == "words":
                shapes.append(Words(text, Point(place.x, lower), LABEL_PT, True))
            else:
                bold = "|" not in place.column.label
                shapes.append(Words(text, Point(middle, lower), LABEL_PT, bold, "middle"))
    return shapes


def _upper(place: ColumnPlace) -> str:
    parts = place.column.label.split("|")
    return parts[0] if len(parts) > 1 else ""


def _cross_labels(place: ColumnPlace) -> list[Shape]:
    labels = [option.label for option in place.column.options]
    middle = place.x + place.w / 2
    return [
        Words(labels[2], Point(middle, ROWS_TOP_MM - 6.6), LABEL_PT, False, "middle"),
        Words(f"{labels[0]}   {labels[1]}", Point(middle, ROWS_TOP_MM - 3.8), LABEL_PT, False, "middle"),
        Words(labels[3], Point(middle, ROWS_TOP_MM - 1.0), LABEL_PT, False, "middle"),
    ]


def _rules(sheet: Sheet) -> list[Shape]:
    """Thin lines between the rows, darker between groups of rows: the only furniture of the table."""
    shapes: list[Shape] = []
    if not sheet.row_tops:
        return shapes
    left = MARGIN_MM + STUD_MM + 1.0
    right = sheet.layout.paper.width_mm - MARGIN_MM - STUD_MM - 1.0
    studs = {round(p.y, 3) for p in sheet.layout.studs}
    ys = [*sheet.row_tops, sheet.row_tops[-1] + sheet.pitch]
    for y in ys:
        dark = any(abs(y - s) < 1.0 for s in studs)
        shapes.append(
            Line(Point(left, y), Point(right, y), 0.25 if dark else RULE_MM, 0.15 if dark else RULE_GREY)
        )
    return shapes


def _row_labels(sheet: Sheet) -> list[Shape]:
    form = sheet.form
    shapes: list[Shape] = []
    left = MARGIN_MM + STUD_MM + 1.0
    size = min(12.0, sheet.pitch * 1.45)
    cross = next((p for p in sheet.columns if p.column.place == "right"), None)
    for row, top in enumerate(sheet.row_tops, start=1):
        middle = top + sheet.pitch / 2
        text = str(form.row_numbers[row - 1])
        shapes.append(Words(text, Point(left + 5.0, middle + size * 0.125), size, True, "right"))
        if form.course:
            hole = form.course.holes[row - 1]
            shapes += _hole_label(hole.par, hole.length_written, left + 6.0, middle)
        shapes += _bubble_digits(sheet, row)
        if cross is not None:
            shapes.append(
                Words(text, Point(sheet.right_block_x + 4.6, middle + 1.1), 9.0, True, "right", grey=0.25)
            )
    return shapes


def _bubble_digits(sheet: Sheet, row: int) -> list[Shape]:
    """A small figure beside each bubble that stands for a number, as the penalty throws do."""
    shapes: list[Shape] = []
    for place in sheet.columns:
        for option in place.column.options:
            if option.label.isdigit():
                box = sheet.layout.cell(f"{sheet.form.row_id(row)}.{place.column.id}.{option.id}").box
                at = Point(box.x - 0.5, box.centre.y + 0.85)
                shapes.append(Words(option.label, at, 6.5, False, "right", grey=0.3))
    return shapes


def _hole_label(par: int | None, length: str | None, x: float, middle: float) -> list[Shape]:
    shapes: list[Shape] = []
    if par is not None:
        shapes.append(Words(f"par {par}", Point(x, middle - 0.3), 7.5, fit_mm=5.8))
    if length:
        shapes.append(Words(length, Point(x, middle + 2.6), 7.5, fit_mm=5.8))
    return shapes


def _causes(sheet: Sheet) -> list[Shape]:
    form = sheet.form
    if not form.causes:
        return []
    x = sheet.right_block_x + 1.0
    width = sheet.layout.paper.width_mm - MARGIN_MM - STUD_MM - 1.0 - x
    top = sheet.foot_top + 4.4
    shapes: list[Shape] = [Words("why, as one digit", Point(x, top), 9.0, True)]
    half = (len(form.causes) + 1) // 2
    quiet_top = sheet.layout.fiducials[2].box.y - QUIET_MM
    for i, cause in enumerate(form.causes):
        column, line = divmod(i, half)
        at = Point(x + column * width / 2, top + 4.2 + line * 3.9)
        room = width / 2 - 5.0
        if column and at.y > quiet_top - 0.5:
            room = sheet.layout.fiducials[2].box.x - QUIET_MM - at.x - 4.4
        shapes.append(Words(str(cause.number), Point(at.x + 1.8, at.y), 8.5, True, "right"))
        shapes.append(Words(cause.label, Point(at.x + 3.4, at.y), 8.5, fit_mm=room))
    return shapes


def _help(sheet: Sheet) -> list[Shape]:
    """How to mark, as three small pictures with a line of text each."""
    x = MARGIN_MM + MARKER_MM + QUIET_MM + 2.0
    y = sheet.layout.paper.height_mm - MARGIN_MM - 11.4
    shapes: list[Shape] = []
    room = sheet.fold.x - FOLD_CLEAR_MM - x - 10.6
    for i, text in enumerate(sheet.form.help[:3]):
        middle = y + i * 5.0
        shapes += _example(i, Point(x + 2.0, middle))
        shapes.append(Words(text, Point(x + 10.6, middle + 1.0), LABEL_PT, fit_mm=room))
    return shapes


def _example(kind: int, at: Point) -> list[Shape]:
    """A filled bubble; a struck-out one beside its right neighbour; a digit in its box."""
    size = 3.0
    one = box_around(at, size, size)
    two = box_around(Point(at.x + 4.2, at.y), size, size)

    def outline(box: Box) -> Shape:
        return Outline(box, size / 2, OUTLINE_MM, OUTLINE_GREY)

    def blob(box: Box) -> Shape:
        return Blob(box.grown(-0.15), size / 2 - 0.15, 0.2)

    if kind == 0:
        return [outline(one), blob(one), outline(two)]
    if kind == 1:
        strokes: list[Shape] = [
            Line(Point(at.x - 2.2, at.y - 2.0), Point(at.x + 2.2, at.y + 2.0), 0.45, 0.0),
            Line(Point(at.x - 2.2, at.y + 2.0), Point(at.x + 2.2, at.y - 2.0), 0.45, 0.0),
        ]
        return [outline(one), blob(one), *strokes, outline(two), blob(two)]
    tall = box_around(at, 3.0, 4.2)
    return [
        Outline(tall, 0.4, OUTLINE_MM, OUTLINE_GREY),
        Outline(box_around(Point(at.x + 4.2, at.y), 3.0, 4.2), 0.4, OUTLINE_MM, OUTLINE_GREY),
        Words("4", Point(at.x + 4.2, at.y + 1.2), 9.5, True, "middle", grey=0.2),
    ]
