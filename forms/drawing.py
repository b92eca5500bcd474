"""A sheet as strokes, fills and words in mm: everything that is printed, and nothing about PDF.

Black is kept for what the eye must find and for what the reader's camera locks on to; outlines of boxes and
bubbles are grey, so that ink stands out from print.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from shortpencil.forms.errors import LayoutError
from shortpencil.forms.fiducials import MARKER_MM, QUIET_MM, dark_modules, dark_runs
from shortpencil.forms.form import Form, hand_is_printed, legend_of
from shortpencil.forms.geometry import Box, Point, box_around
from shortpencil.forms.layout import (
    FIELD_PT,
    FOLD_CLEAR_MM,
    LABEL_GAP_MM,
    LABEL_PT,
    MARGIN_MM,
    QR_MODULE_MM,
    QR_QUIET_MODULES,
    ROW_LABEL_PT,
    STUD_MM,
    Cell,
    ColumnPlace,
    Sheet,
    cross_labels,
    foot_right_x,
    lower_label,
    upper_label,
    writing_lines,
)
from shortpencil.forms.letters import CAP_HEIGHT, text_width_mm
from shortpencil.forms.serials import plain_code
from shortpencil.forms.units import pt_to_mm

#: Outlines are black hairlines. A grey is printed as dots, and the dots go first: on a copier, with little
#: toner, in the sun (the first edition: a grey of 0.52, 0.28 mm wide). Thin black holds.
OUTLINE_GREY = 0.0
OUTLINE_MM = 0.16
RULE_GREY, RULE_MM = 0.5, 0.12  # furniture: lighter than what is written into
HAIR_MM = 0.18  # the thinnest line a photocopy keeps


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
    _refuse_overprinting(sheet, shapes)
    return tuple(shapes)


def _refuse_overprinting(sheet: Sheet, shapes: list[Shape]) -> None:
    """Refuse a sheet on which words would lie over words, over a cell, over a code, or leave the paper."""
    paper, form = sheet.layout.paper, sheet.form
    words = sorted(((box_of(s), s.text) for s in shapes if isinstance(s, Words)), key=lambda item: item[0].y)
    things = [(cell.box, f"the cell {cell.id}") for cell in sheet.layout.cells if cell.kind != "words"]
    things += [(f.box.grown(QUIET_MM / 2), "a corner mark") for f in sheet.layout.fiducials]
    things.append((sheet.layout.qr, "the QR code"))
    things = sorted((*things, *((box, f"'{text}'") for box, text in words)), key=lambda item: item[0].y)
    tallest = max(box.h for box, _ in things)
    tops = [box.y for box, _ in things]
    for box, text in words:
        beyond = max(-box.x, -box.y, box.right - paper.width_mm, box.bottom - paper.height_mm)
        if beyond > 0:
            raise LayoutError(
                f"{form.name}: '{text}' lies {beyond:.1f} mm beyond the edge of {paper.name}. Shorten it."
            )
        near = things[bisect_left(tops, box.y - tallest) : bisect_left(tops, box.bottom)]
        for other, name in near:
            if other is not box and box.overlaps(other):
                over = min(box.right, other.right) - max(box.x, other.x)
                raise LayoutError(
                    f"{form.name}: '{text}' would be printed {over:.1f} mm over {name}. "
                    "Shorten it, or make room with gap_mm, another line or fewer fields."
                )


def box_of(words: Words) -> Box:
    """Return the box that a line of type fills, from the height of its capitals to the baseline."""
    width, size = text_width_mm(words.text, words.size_pt, bold=words.bold), words.size_pt
    if words.fit_mm is not None and width > words.fit_mm > 0:
        width, size = words.fit_mm, words.size_pt * words.fit_mm / width
    x = words.at.x - {"left": 0.0, "middle": width / 2, "right": width}[words.anchor]
    height = CAP_HEIGHT * pt_to_mm(size)
    return Box(x, words.at.y - height, width, height)


def _cells(sheet: Sheet) -> list[Shape]:
    """Outlines of all cells; a strip in a row needs none, the rule below the row serves."""
    rows = {field.id for field in sheet.form.fields if field.row is not None and field.type == "words"}
    return [shape for cell in sheet.layout.cells if cell.field not in rows for shape in _cell(cell)]


def _cell(cell: Cell) -> list[Shape]:
    box = cell.box
    if cell.shape == "strip":
        ys = writing_lines(box)
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
    under = [form.title]
    if any("{unit}" in column.label for column in form.columns):
        under.append(form.says(f"distances-{form.unit}"))
    if hand_is_printed(form.hand):
        under.append(form.says("left-handed"))
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
    resolves = {column.label for column in sheet.form.columns if column.place == "foot-right"}
    shapes: list[Shape] = [
        Words(text, at, FIELD_PT, bold=text in resolves) for text, at in sheet.labels if text
    ]
    foot = any(column.place == "foot" for column in sheet.form.columns)
    if foot and (sheet.form.record == "round" or "add-up" in sheet.form.words):
        at = Point(MARGIN_MM + STUD_MM + 2.0, sheet.foot_top + 3.4)
        shapes.append(Words(sheet.form.says("add-up"), at, 9.0, True))
    for column in sheet.form.columns:
        if column.arrange != "line" or column.place in ("left", "right"):
            continue
        for option in column.options:
            box = sheet.layout.cell(f"{column.id}.{option.id}").box
            shapes.append(Words(option.label, Point(box.right + 1.0, box.centre.y + 1.05), 8.5))
    return shapes


def _headings(sheet: Sheet) -> list[Shape]:
    """The two passes, each with its one sentence; a sheet that is no round has its statement only."""
    form = sheet.form
    left = MARGIN_MM + STUD_MM + 1.0
    top = sheet.rows_top - 14.2
    right_edge = sheet.layout.paper.width_mm - MARGIN_MM
    has_right = any(column.place == "right" for column in form.columns)
    has_right_head = any(column.place == "right-head" for column in form.columns)
    if form.record != "round":
        end = sheet.right_block_x if has_right_head else right_edge - STUD_MM - 1.0
        return _paragraph(form.statement, Point(left, top + 2.2), end - left) if form.statement else []
    room = sheet.fold.x - FOLD_CLEAR_MM - left if has_right else right_edge - STUD_MM - 1.0 - left
    legend = _legend(form, Point(left + room, top))
    beside = min((shape.at.x for shape in legend if isinstance(shape, Words)), default=left + room) - 6.0
    indent = 4.2 if has_right else 0.0  # passes are numbered where there are two
    shapes: list[Shape] = [Words("1", Point(left, top), 13.0, True)] if has_right else []
    shapes += [
        Words(
            form.says("first-pass"),
            Point(left + indent, top),
            10.0,
            True,
            fit_mm=(beside - left if legend else room) - indent,
        ),
        *_paragraph(form.statement, Point(left + indent, top + 3.6), room - indent),
        *legend,
    ]
    if has_right:
        x = sheet.right_block_x + 1.0
        words = Words(form.says("second-pass"), Point(x + 4.2, top), 10.0, True, fit_mm=right_edge - x - 4.2)
        shapes += [Words("2", Point(x, top), 13.0, True), words]
    return shapes


def _legend(form: Form, end: Point) -> list[Shape]:
    """What round and square bubbles mean, set so that it ends at `end`."""
    throw = legend_of(form.columns)
    if throw is None:
        return []
    shapes: list[Shape] = []
    widths = [
        max(len(o.label) * 1.6, text_width_mm(o.label, FIELD_PT, bold=True) - 0.4) for o in throw.options
    ]
    x = end.x - sum(5.6 + width for width in widths)
    for option, width in zip(throw.options, widths, strict=True):
        box = box_around(Point(x + 1.6, end.y - 1.1), 3.2, 3.2)
        radius = box.w / 2 if option.shape == "round" else 0.5
        shapes.append(Outline(box, radius, OUTLINE_MM, 0.0))
        shapes.append(Words(option.label, Point(box.right + 1.0, end.y), 8.5, True))
        x += 5.6 + width
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
    upper, lower = sheet.rows_top - 3.9, sheet.rows_top - 1.0
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
            text = lower_label(place.column, sheet.form.unit)
            middle = place.x + place.w / 2
            if place.column.arrange == "cross":
                shapes += [
                    Words(text, Point(middle, lower - up), LABEL_PT, False, "middle")
                    for text, up in zip(cross_labels(place.column), (5.6, 2.8, 0.0), strict=True)
                ]
            elif place.column.type == "words":
                shapes.append(Words(text, Point(place.x, lower), LABEL_PT, True))
            else:
                bold = "|" not in place.column.label
                shapes.append(Words(text, Point(middle, lower), LABEL_PT, bold, "middle"))
    return shapes


def _upper(place: ColumnPlace) -> str:
    return upper_label(place.column)


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
        text = form.row_label(row)
        if form.row_labels:
            shapes.append(Words(text, Point(left + 0.6, middle + 1.1), ROW_LABEL_PT, True))
        else:
            shapes.append(Words(text, Point(left + 5.0, middle + size * 0.125), size, True, "right"))
        if form.course:
            hole = form.course.holes[row - 1]
            par = None if hole.par is None else f"{form.says('par')} {hole.par}"
            shapes += _hole_label(par, hole.length_written, left + 6.0, middle)
        shapes += _bubble_labels(sheet, row)
        if cross is not None:
            right = cross.x - cross.column.gap_mm - 0.8 if form.row_labels else sheet.right_block_x + 4.6
            at = Point(right, middle + 1.1)
            shapes.append(Words(text, at, ROW_LABEL_PT, True, "right", grey=0.25))
    return shapes


def _bubble_labels(sheet: Sheet, row: int) -> list[Shape]:
    """A label beside each bubble that nothing else explains; a small figure where a bubble is a number."""
    shapes: list[Shape] = []
    for place in sheet.columns:
        for option in place.column.options:
            box = sheet.layout.cell(f"{sheet.form.row_id(row)}.{place.column.id}.{option.id}").box
            if place.column.beside:
                at = Point(box.right + LABEL_GAP_MM, box.centre.y + 1.0)
                shapes.append(Words(option.label, at, LABEL_PT))
            elif option.label.isdigit():
                at = Point(box.x - 0.5, box.centre.y + 0.85)
                shapes.append(Words(option.label, at, 6.5, False, "right", grey=0.3))
    return shapes


def _hole_label(par: str | None, length: str | None, x: float, middle: float) -> list[Shape]:
    shapes: list[Shape] = []
    if par is not None:
        shapes.append(Words(par, Point(x, middle - 0.3), 7.5, fit_mm=5.8))
    if length:
        shapes.append(Words(length, Point(x, middle + 2.6), 7.5, fit_mm=5.8))
    return shapes


def _causes(sheet: Sheet) -> list[Shape]:
    form = sheet.form
    if not form.causes:
        return []
    x = foot_right_x(sheet.layout.paper, sheet.right_block_x)
    width = sheet.layout.paper.width_mm - MARGIN_MM - STUD_MM - 1.0 - x
    top = sheet.foot_top + 4.4
    shapes: list[Shape] = [Words(form.says("causes"), Point(x, top), 9.0, True)]
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
