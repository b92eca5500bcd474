"""A form on a sheet of paper: where each cell lies, in mm, or by how much the form does not fit.

The engine knows three zones: a head, a table of rows in two blocks, a foot. No cell, marker or code comes
near the two lines on which the sheet is folded to pocket size; rows and columns step over them. Positions are
found once and published in the field map (`forms.field_map`); a printed edition never changes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from shortpencil.forms.errors import LayoutError
from shortpencil.forms.fiducials import MARKER_MM, QUIET_MM, Fiducial, corner_fiducials
from shortpencil.forms.form import Column, Form
from shortpencil.forms.geometry import Box, Point, box_around, distance_to_fold
from shortpencil.forms.letters import text_width_mm

#: Change this when any cell of any built-in form moves: old prints then keep their own field maps.
LAYOUT_EDITION = 2

MARGIN_MM = 10.0  # printers leave up to 6.35 mm unprinted; "fit to page" squeezes the rest
FOLD_CLEAR_MM = 2.0  # people fold to within about 1.5 mm

BUBBLE_MM = 3.4
DIGIT_W_MM, DIGIT_H_MM = 5.0, 7.0
DIGIT_GAP_MM = 1.2  # boxes set apart are read better than touching ones (Garris & Dimmick 1996)
STUD_MM = 1.6
QR_MODULE_MM = 0.9  # 2.6 pixels at the 2.9 px/mm of a 1000-pixel picture
QR_MODULES, QR_QUIET_MODULES = 21, 4  # version 1 and its quiet zone, ISO/IEC 18004

HEAD_FIRST_MM = 15.6  # middle of the first line of the head, beside the title
HEAD_LINE_MM = 9.4
HEAD_GAP_MM = 2.6
STRIP_H_MM = 7.6
NOTES_MM, NOTES_LINE_MM = 12.0, 8.0  # a strip higher than the first gets lines so far apart
FOOT_STRIP_MM = 13.0  # a strip in the foot with its label above
ROWS_TOP_MM = 59.0
MAX_PITCH_MM, MIN_PITCH_MM = 11.0, 6.2
ROW_EDGE_MM = 0.7  # clear space above and below the cells of a row
CHAR_MM = 1.62  # mean width of a letter at 8.5 pt, to keep room for labels
LABEL_PT = 8.0  # nothing a player must read is smaller
FIELD_PT = 8.5  # labels of head and foot
ROW_LABEL_PT = 9.0
LABEL_GAP_MM = 0.8  # between the heads of two columns, and between a bubble and its label
FOOT_STRIP_W_MM = 40.0
FOOT_FIELDS_MM = 16.0  # from the foot's top to the end of its boxes
_CODES_END_MM = 39.5  # below it a line of the head may run to the right edge
_SPLIT_WORTH_MM = 12.0  # a line of bubbles is split at the fold when moving it would waste more


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet size; A4 by ISO 216, Letter by ANSI/ASME Y14.1 size A."""

    name: str
    width_mm: float
    height_mm: float


PAPERS = {"a4": Paper("a4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}


@dataclass(frozen=True, slots=True)
class Cell:
    """One thing printed and read by itself. `shape`: "round" or "square" bubble, "box", or "strip"."""

    id: str
    field: str
    kind: str  # "bubble" | "digit" | "words"
    box: Box
    shape: str
    page: int = 1


@dataclass(frozen=True, slots=True)
class Layout:
    """What a reader must know of a printed sheet. `form` carries no wishes (`columns`) any more."""

    form: Form
    paper: Paper
    cells: tuple[Cell, ...]
    fiducials: tuple[Fiducial, ...]
    studs: tuple[Point, ...]
    qr: Box
    plain_code: Box
    edition: int = LAYOUT_EDITION

    def cell(self, cell_id: str) -> Cell:
        """Return the cell of that id; KeyError when there is none."""
        for candidate in self.cells:
            if candidate.id == cell_id:
                return candidate
        raise KeyError(cell_id)


@dataclass(frozen=True, slots=True)
class ColumnPlace:
    """Where one column of the table lies across the sheet."""

    column: Column
    x: float
    w: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """A layout with what only the drawing needs: where rows, columns and zones are."""

    layout: Layout
    form: Form
    columns: tuple[ColumnPlace, ...]
    row_tops: tuple[float, ...]
    pitch: float
    fold: Point
    right_block_x: float
    rows_top: float
    foot_top: float
    labels: tuple[tuple[str, Point], ...]  # labels of head and foot fields: text, left end of the baseline


def arrange(form: Form, paper: Paper) -> Sheet:
    """Return the sheet that holds `form`.

    Raises
    ------
    LayoutError
        naming the zone that overflows and by how many mm
    """
    fold = Point(paper.width_mm / 2, paper.height_mm / 2)
    qr, code_line = arrange_codes(paper)
    head_cells, head_labels, rows_top = _head(form, paper, fold, qr)
    columns, right_block_x = _columns(form, paper, fold)
    foot_mm = _foot_height(form)
    row_tops, pitch = _rows(form, paper, fold, rows_top, foot_mm)
    row_cells = _row_cells(form, columns, row_tops, pitch)
    rows_end = row_tops[-1] + pitch if row_tops else rows_top
    has_notes = any(c.place == "notes" for c in form.columns)
    foot_top = paper.height_mm - MARGIN_MM - foot_mm if has_notes else rows_end + 1.0
    if foot_top < fold.y + FOLD_CLEAR_MM and foot_top + FOOT_FIELDS_MM > fold.y - FOLD_CLEAR_MM:
        foot_top = fold.y + FOLD_CLEAR_MM
    notes_cells, notes_labels = _notes(form, paper, fold, rows_end + 2.0, foot_top - 1.0)
    second_cells, second_labels = _right_head(form, paper, right_block_x, rows_top, fold)
    foot_cells, foot_labels = _foot(form, paper, fold, foot_top, right_block_x)
    order = {field.id: i for i, field in enumerate(form.fields)}
    cells = (
        # rounded to a micrometre, so that the printed sheet and its field map agree to the last digit
        replace(cell, box=_rounded(cell.box))
        for cell in head_cells + row_cells + second_cells + notes_cells + foot_cells
    )
    layout = Layout(
        form=replace(form, columns=(), help=(), words={}),
        paper=paper,
        cells=tuple(sorted(cells, key=lambda c: order[c.field])),
        fiducials=tuple(
            replace(f, box=_rounded(f.box))
            for f in corner_fiducials(paper.width_mm, paper.height_mm, MARGIN_MM)
        ),
        studs=_studs(paper, fold, columns, row_tops, pitch, form.row_group, right_block_x),
        qr=_rounded(qr),
        plain_code=_rounded(code_line),
    )
    _check(layout)
    return Sheet(
        layout,
        form,
        columns,
        row_tops,
        pitch,
        fold,
        right_block_x,
        rows_top,
        foot_top,
        head_labels + second_labels + notes_labels + foot_labels,
    )


def with_cells(sheet: Sheet, form: Form, cells: Iterable[Cell]) -> Sheet:
    """Return a sheet that asks all of `form`: the cells that `sheet` has, and `cells` placed by hand.

    Raises
    ------
    LayoutError
        when a cell lies where none may
    """
    order = {field.id: i for i, field in enumerate(form.fields)}
    placed = (*sheet.layout.cells, *(replace(cell, box=_rounded(cell.box)) for cell in cells))
    layout = replace(
        sheet.layout,
        form=replace(form, columns=(), help=(), words={}),
        cells=tuple(sorted(placed, key=lambda cell: order[cell.field])),
    )
    _check(layout)
    return replace(sheet, layout=layout)


def writing_lines(box: Box) -> tuple[float, ...]:
    """Return the heights in mm of the lines printed in a strip for words: one; more in a field for notes."""
    count = int(box.h // NOTES_LINE_MM) if box.h > NOTES_MM else 1
    return tuple(box.y + (i + 1) * box.h / count for i in range(count))


def _rounded(box: Box) -> Box:
    return Box(round(box.x, 3), round(box.y, 3), round(box.w, 3), round(box.h, 3))


def arrange_codes(paper: Paper) -> tuple[Box, Box]:
    """Boxes of the QR code, quiet zone included, and of the plain line below it.

    They lie left of the top right marker on every card of a sheet size, since a reader must find them before
    it knows the form.
    """
    side = (QR_MODULES + 2 * QR_QUIET_MODULES) * QR_MODULE_MM
    right = paper.width_mm - MARGIN_MM - MARKER_MM - QUIET_MM
    qr = Box(right - side, MARGIN_MM - 2.0, side, side)
    return qr, Box(qr.x - 2.5, qr.bottom + 0.4, qr.w + 5.0, 4.4)


def _cells_of(column: Column, field_id: str, x: float, middle: float, row_h: float) -> list[Cell]:
    """Cells of one field whose left edge is at `x`, centred on the height `middle`."""
    if column.type == "number":
        h = min(DIGIT_H_MM, row_h - 2 * ROW_EDGE_MM)
        w = _box_width(column)
        return [
            Cell(
                f"{field_id}.{i + 1}",
                field_id,
                "digit",
                Box(x + i * (w + DIGIT_GAP_MM), middle - h / 2, w, h),
                "box",
            )
            for i in range(column.digits)
        ]
    if column.type == "words":
        h = min(STRIP_H_MM, row_h - 2 * ROW_EDGE_MM)
        return [
            Cell(f"{field_id}.strip", field_id, "words", Box(x, middle - h / 2, column.width_mm, h), "strip")
        ]
    size = bubble_size(row_h, column)
    return [
        Cell(
            f"{field_id}.{option.id}",
            field_id,
            "bubble",
            box_around(Point(x + dx, middle + dy), size, size),
            option.shape,
        )
        for option, (dx, dy) in zip(column.options, _bubble_offsets(column, row_h), strict=True)
    ]


def _box_width(column: Column) -> float:
    """Width of each box of a number."""
    return column.box_mm or DIGIT_W_MM


def bubble_size(row_h: float, column: Column | None = None) -> float:
    """Width of a bubble in a row of that height; small rows get small bubbles that still stand clear."""
    usual = min(BUBBLE_MM, 0.375 * row_h)
    if column is None or not column.bubble_mm:
        return usual
    over = {"stack": len(column.options), "cross": 2}.get(column.arrange, 1)
    return max(min(column.bubble_mm, (row_h - 2 * ROW_EDGE_MM) / over - 0.4), usual)


def _bubble_offsets(column: Column, row_h: float) -> list[tuple[float, float]]:
    """Bubble centres from the column's left edge and the row's middle."""
    size = bubble_size(row_h, column)
    n = len(column.options)
    if column.arrange == "cross":
        if n != 4:
            raise LayoutError(f"{column.id}: a cross has four bubbles, this choice has {n}.")
        up, side = max(0.235 * row_h, size / 2 + 0.2), 4.3 + size - bubble_size(row_h)
        middle = side + size / 2
        return [(middle - side, 0.0), (middle + side, 0.0), (middle, -up), (middle, up)]
    if column.arrange == "line":
        return [(size / 2 + x, 0.0) for x in _line_starts(column, size)]
    step = min(max(2 * 0.235 * row_h, size + 0.4), (row_h - 2 * 0.4 - size) / max(n - 1, 1))
    if n > 1 and step < size:
        raise LayoutError(
            f"{column.id}: {n} bubbles of {size:.1f} mm do not stand above each other in {row_h:.1f} mm, "
            f'{(size - step) * (n - 1):.1f} mm are missing. Take arrange = "line".'
        )
    return [(size / 2, (i - (n - 1) / 2) * step) for i in range(n)]


def label_mm(label: str) -> float:
    """Room to keep for a label of head or foot; the clear space behind it may be 0.6 mm short."""
    return max(len(label) * CHAR_MM, text_width_mm(label, FIELD_PT) - 0.6)


def _beside_mm(label: str) -> float:
    """Room for an option's label beside its bubble in a row."""
    return LABEL_GAP_MM + text_width_mm(label, LABEL_PT)


def _line_starts(column: Column, size: float) -> list[float]:
    """Left edges of bubbles that stand in a line, each with its label behind it."""
    starts = [0.0]
    for option in column.options[:-1]:
        room = _beside_mm(option.label) + 1.6 if column.beside else 1.0 + label_mm(option.label) + 2.0
        starts.append(starts[-1] + (size if column.bubble_mm else BUBBLE_MM) + room)
    return [x + (column.split_mm if i >= column.split_at else 0.0) for i, x in enumerate(starts)]


def _width_of(column: Column, row_h: float) -> float:
    if column.type == "number":
        return column.digits * _box_width(column) + (column.digits - 1) * DIGIT_GAP_MM
    if column.type == "words":
        return column.width_mm
    size = bubble_size(row_h, column)
    rights = (
        dx + size / 2 + (_beside_mm(option.label) if column.beside else 0.0)
        for option, (dx, _) in zip(column.options, _bubble_offsets(column, row_h), strict=True)
    )
    return max(rights)


def row_label_mm(form: Form) -> float:
    """Room before the left block: for the numbers of the rows, or for their labels, pars and lengths."""
    widest = max((text_width_mm(label, ROW_LABEL_PT, bold=True) for label in form.row_labels), default=0.0)
    return 11.1 if form.course else max(5.6, widest + 2.0)


def _columns(form: Form, paper: Paper, fold: Point) -> tuple[tuple[ColumnPlace, ...], float]:
    """Places of the columns, left block first, and the x where the right block begins."""
    limit = paper.width_mm - MARGIN_MM - STUD_MM - 1.0
    left = _apart(
        replace(c, width_mm=c.width_mm or 30.0) if c.type == "words" else c
        for c in form.columns
        if c.place == "left"
    )
    places, x = _block(form, left, MARGIN_MM + STUD_MM + 1.0 + row_label_mm(form), limit, fold.x)
    block_x = x + 4.4  # a stud stands in this gap
    right = _apart(c for c in form.columns if c.place == "right")
    if not right:
        _refuse_overflow(form, "the row", x, limit)
        return tuple(places), x
    x = block_x + max(5.4, row_label_mm(form) if form.row_labels else 0.0)  # the row's number again
    fixed = sum(_width_of(c, MAX_PITCH_MM) for c in right if not _fills(c)) + sum(c.gap_mm for c in right)
    fills = [c for c in right if _fills(c)]
    share = (limit - x - fixed) / len(fills) if fills else 0.0
    if fills and share < 15.0:
        raise LayoutError(
            f"{form.name}: a strip for words needs 15 mm, but only {share:.1f} mm are left in the row. "
            f"Take {15 - share:.1f} mm from the other columns."
        )
    start = x
    for _ in range(4):  # stepping over the fold costs room, which the strips give
        wide = [replace(c, width_mm=share) if _fills(c) else c for c in right]
        more, x = _block(form, wide, start, limit, fold.x)
        if not fills or x <= limit + 1e-6 or share - (x - limit) / len(fills) < 15.0:
            break
        share -= (x - limit) / len(fills)
    _refuse_overflow(form, "the row", x, limit)
    return (*places, *more), block_x


def _apart(columns: Iterable[Column]) -> list[Column]:
    """Return the columns of a block with the clear space between any two that a pencil needs."""
    return [replace(c, gap_mm=max(c.gap_mm, DIGIT_GAP_MM)) if i else c for i, c in enumerate(columns)]


def _block(
    form: Form, columns: list[Column], x: float, limit: float, fold: float
) -> tuple[list[ColumnPlace], float]:
    """Places of one block's columns from `x` on, and where they end; no head lies over its neighbour's."""
    places: list[ColumnPlace] = []
    ends = {"upper": -1e9, "lower": -1e9}  # of the heads so far
    for run in _runs(columns):
        start = x
        while True:
            made, after = _run(run, start, limit, fold)
            heads = _heads(form, made)
            over = max(ends[line] + LABEL_GAP_MM - low for line, low, _ in heads)
            if over <= 1e-6:
                break
            start += over
        places += made
        x = after
        for line, _, high in heads:
            ends[line] = max(ends[line], high)
    return places, x


def _runs(columns: list[Column]) -> list[list[Column]]:
    """Columns in groups: neighbours with the same upper line in their heads share it."""
    runs: list[list[Column]] = []
    for column in columns:
        if runs and upper_label(column) and upper_label(column) == upper_label(runs[-1][0]):
            runs[-1].append(column)
        else:
            runs.append([column])
    return runs


def _run(columns: list[Column], x: float, limit: float, fold: float) -> tuple[list[ColumnPlace], float]:
    places = []
    for column in columns:
        w = _width_of(column, MAX_PITCH_MM)
        at = _past_fold(x + column.gap_mm, w, fold)
        if at - x - column.gap_mm > _SPLIT_WORTH_MM and column.arrange == "line" and len(column.options) > 1:
            column, w, at = _split(column, x + column.gap_mm, fold)  # noqa: PLW2901 (a wish, then a place)
        places.append(ColumnPlace(replace(column, width_mm=w), at, w))
        x = at + w
    return places, x


def _split(column: Column, x: float, fold: float) -> tuple[Column, float, float]:
    """Return a line of bubbles that steps over the fold, its width, and where it begins."""
    size = bubble_size(MAX_PITCH_MM, column)
    for i, (option, start) in enumerate(zip(column.options, _line_starts(column, size), strict=True)):
        end = x + start + size + (_beside_mm(option.label) if column.beside else 0.0)
        if end > fold - FOLD_CLEAR_MM:
            split = replace(column, split_at=i, split_mm=max(fold + FOLD_CLEAR_MM - x - start, 0.0))
            if i == 0:  # nothing of it stands before the fold
                return column, _width_of(column, MAX_PITCH_MM), fold + FOLD_CLEAR_MM
            return split, _width_of(split, MAX_PITCH_MM), x
    return column, _width_of(column, MAX_PITCH_MM), x


def _heads(form: Form, run: list[ColumnPlace]) -> list[tuple[str, float, float]]:
    """Extents of the heads of a run of columns: (line, left end, right end)."""
    heads = []
    if upper := upper_label(run[0].column):
        middle, half = (run[0].x + run[-1].x + run[-1].w) / 2, text_width_mm(upper, LABEL_PT, bold=True) / 2
        heads.append(("upper", middle - half, middle + half))
    for place in run:
        column = place.column
        if column.arrange == "cross":
            half = max(text_width_mm(text, LABEL_PT) for text in cross_labels(column)) / 2
            at = place.x + place.w / 2
            heads += [("upper", at - half, at + half), ("lower", at - half, at + half)]
            continue
        text = lower_label(column, form.unit)
        w = text_width_mm(text, LABEL_PT, bold=column.type == "words" or "|" not in column.label)
        low = place.x if column.type == "words" else place.x + place.w / 2 - w / 2
        heads.append(("lower", low, low + w))
    return heads


def upper_label(column: Column) -> str:
    """Return the upper line of a column's head; empty where there is none."""
    parts = column.label.split("|")
    return parts[0] if len(parts) > 1 else ""


def lower_label(column: Column, unit: str) -> str:
    """Return the lower line of a column's head."""
    return column.label.split("|")[-1].replace("{unit}", unit)


def cross_labels(column: Column) -> tuple[str, str, str]:
    """Return the three lines above a cross: above, left and right, below."""
    left, right, up, down = (option.label for option in column.options)
    return up, f"{left}   {right}", down


def _fills(column: Column) -> bool:
    return column.type == "words" and column.width_mm == 0


def _refuse_overflow(form: Form, zone: str, needed: float, limit: float) -> None:
    if needed > limit + 1e-6:
        raise LayoutError(
            f"{form.name}: {zone} is {needed - limit:.1f} mm too wide for the sheet. "
            "Take a column out or narrow the gaps."
        )


def _past_fold(x: float, w: float, fold: float) -> float:
    """Move a thing of width `w` right, beyond the fold, if it would come too near to it."""
    if x < fold + FOLD_CLEAR_MM and x + w > fold - FOLD_CLEAR_MM:
        return fold + FOLD_CLEAR_MM
    return x


def _rows(
    form: Form, paper: Paper, fold: Point, rows_top: float, foot_mm: float
) -> tuple[tuple[float, ...], float]:
    """Tops of the rows and their height: the largest that fits, with the fold between two rows."""
    if form.rows == 0:
        return (), MAX_PITCH_MM
    bottom = paper.height_mm - MARGIN_MM - foot_mm
    edge = 0.45  # clear space that every row leaves above and below its cells, whatever its height
    top_end = fold.y - FOLD_CLEAR_MM + edge
    low_start = fold.y + FOLD_CLEAR_MM - edge

    def pitch_with(above: int) -> float:
        upper = (top_end - rows_top) / above if above else MAX_PITCH_MM
        below = form.rows - above
        lower = (bottom - low_start) / below if below else MAX_PITCH_MM
        return min(upper, lower, MAX_PITCH_MM)

    # A fold between two groups of rows looks calmer and is worth a few per cent of the height.
    best = max(pitch_with(k) for k in range(form.rows + 1))
    near = [k for k in range(form.rows + 1) if pitch_with(k) >= 0.94 * best]
    above = max(near, key=lambda k: (k % form.row_group == 0 and best < MAX_PITCH_MM, pitch_with(k), k))
    pitch = pitch_with(above)
    if pitch < MIN_PITCH_MM:
        raise LayoutError(
            f"{form.name}: {form.rows} rows need {MIN_PITCH_MM} mm each, there is room for {pitch:.1f} mm on "
            f"{paper.name}: {form.rows * (MIN_PITCH_MM - pitch):.0f} mm too high. Take fewer rows."
        )
    upper = [rows_top + i * pitch for i in range(above)]
    lower = [low_start + i * pitch for i in range(form.rows - above)]
    return tuple(upper + lower), pitch


def _row_cells(
    form: Form, columns: tuple[ColumnPlace, ...], tops: tuple[float, ...], pitch: float
) -> list[Cell]:
    lefts = [(place.column, place.x + (place.w - _width_of(place.column, pitch)) / 2) for place in columns]
    return [
        cell
        for row, top in enumerate(tops, start=1)
        for column, x in lefts
        for cell in _cells_of(column, f"{form.row_id(row)}.{column.id}", x, top + pitch / 2, pitch)
    ]


def _head(
    form: Form, paper: Paper, fold: Point, qr: Box
) -> tuple[list[Cell], tuple[tuple[str, Point], ...], float]:
    """Cells and labels of the head, and where the rows may begin.

    The lines stand between the left marker and the QR code, those below the code over the whole sheet. What a
    line has no room for goes on in the next.
    """
    left = MARGIN_MM + MARKER_MM + QUIET_MM + 0.6
    columns = [c for c in form.columns if c.place == "head"]
    cells: list[Cell] = []
    labels: list[tuple[str, Point]] = []
    late = 0.0  # lines that were added so far
    middle = HEAD_FIRST_MM
    for line in sorted({c.line for c in columns}):
        items = _led(_date_order([c for c in columns if c.line == line], form, paper))
        rest: list[Column] = items
        while rest:
            middle = HEAD_FIRST_MM + (line - 1 + late) * HEAD_LINE_MM
            if abs(middle - fold.y) < DIGIT_H_MM / 2 + FOLD_CLEAR_MM:
                late += 1
                continue
            below = middle - HEAD_LINE_MM / 2 > _CODES_END_MM
            right = paper.width_mm - MARGIN_MM - 0.5 if below else qr.x - 1.0
            start = fold.x + FOLD_CLEAR_MM if middle == HEAD_FIRST_MM else left  # the title stands there
            items, rest = _fitting(rest, start, right, middle, fold.x, form)
            placed, named = _line_of_fields(items, start, right, middle, fold.x, form)
            cells += placed
            labels += named
            late += bool(rest)
    return cells, tuple(labels), ROWS_TOP_MM + max(0.0, middle - (HEAD_FIRST_MM + 2 * HEAD_LINE_MM))


def _fitting(
    items: list[Column], left: float, right: float, middle: float, fold: float, form: Form
) -> tuple[list[Column], list[Column]]:
    """Return the fields that a line has room for, one at least, and the others."""
    for count in range(len(items), 1, -1):
        strips = [c for c in items[:count] if _fills(c)]
        fixed = sum(_labelled_width(c) for c in items[:count]) + HEAD_GAP_MM * (count - 1)
        if strips and (right - left - fixed) / len(strips) < 15.0:
            continue
        try:
            _line_of_fields(items[:count], left, right, middle, fold, form)
        except LayoutError:
            continue
        return items[:count], items[count:]
    return items[:1], items[1:]


def _date_order(items: list[Column], form: Form, paper: Paper) -> list[Column]:
    """Put the month first where people write it so: Letter paper and feet, as in the United States."""
    if paper.name != "letter" or form.unit != "ft":
        return items
    places = {c.id: i for i, c in enumerate(items)}
    ordered = list(items)
    for item in items:
        stem, _, part = item.id.rpartition(".")
        if part == "day" and (month := places.get(f"{stem}.month")) is not None:
            day = places[item.id]
            ordered[day], ordered[month] = items[month], items[day]
    return ordered


def _led(items: list[Column]) -> list[Column]:
    """Give the lead word to the first of the fields that it stands before, whatever their order."""
    leads = [c.lead for c in items if c.lead]
    if not leads:
        return items
    group = [c for c in items if c.id.split(".")[0] == next(c.id for c in items if c.lead).split(".")[0]]
    return [replace(c, label=f"{leads[0]}: {c.label}") if c is group[0] else c for c in items]


def _line_of_fields(
    items: list[Column], left: float, right: float, middle: float, fold: float, form: Form
) -> tuple[list[Cell], list[tuple[str, Point]]]:
    """Fields side by side, each behind its label; strips share what is left, and end before the fold."""
    cells: list[Cell] = []
    labels: list[tuple[str, Point]] = []
    x = left
    strips = [c for c in items if _fills(c)]
    fixed = sum(_labelled_width(c) for c in items if not _fills(c)) + HEAD_GAP_MM * (len(items) - 1)
    share = (right - left - fixed - sum(_label_width(c) for c in strips)) / max(len(strips), 1)
    for i, item in enumerate(items):
        column = replace(item, width_mm=share) if _fills(item) else item
        at = x + _label_width(column)
        if column.type == "words":
            end = right if i == len(items) - 1 else at + column.width_mm
            following = _labelled_width(items[i + 1]) + share if i + 1 < len(items) else 0.0
            if at < fold < end + HEAD_GAP_MM + following:
                end = fold - FOLD_CLEAR_MM
            column = replace(column, width_mm=end - at)
        elif _crosses(column, at, middle, fold):
            x = fold + FOLD_CLEAR_MM
            at = x + _label_width(column)
        labels.append((column.label, Point(x, middle + 1.1)))
        cells += _cells_of(column, column.id, at, middle, HEAD_LINE_MM)
        x = at + _width_of(column, MAX_PITCH_MM) + HEAD_GAP_MM
        if column.type.startswith("choose"):
            x += 1.0 + label_mm(column.options[-1].label)
        if fold - FOLD_CLEAR_MM <= x < fold + FOLD_CLEAR_MM:
            x = fold + FOLD_CLEAR_MM
    _refuse_overflow(form, "a line of the head", x - HEAD_GAP_MM, right + 0.5)
    return cells, labels


def _crosses(column: Column, x: float, middle: float, fold: float) -> bool:
    return any(
        c.box.x < fold + FOLD_CLEAR_MM and c.box.right > fold - FOLD_CLEAR_MM
        for c in _cells_of(column, column.id, x, middle, HEAD_LINE_MM)
    )


def _label_width(column: Column) -> float:
    return label_mm(column.label) + 1.2 if column.label else 0.0


def _labelled_width(column: Column) -> float:
    return _label_width(column) + _width_of(column, MAX_PITCH_MM)


def _right_head(
    form: Form, paper: Paper, block_x: float, rows_top: float, fold: Point
) -> tuple[list[Cell], tuple[tuple[str, Point], ...]]:
    """Cells of the choice above the right block: which phase the second pass is about."""
    cells: list[Cell] = []
    labels: list[tuple[str, Point]] = []
    x = block_x + 1.0
    for column in (c for c in form.columns if c.place == "right-head"):
        middle = rows_top - 11.6
        column = _with_strip(column)  # noqa: PLW2901 (a wish, then a place)
        at = _past_fold(x, _width_of(column, MAX_PITCH_MM), fold.x)
        if form.record != "round":  # the heading of a round's second pass says what is asked
            labels.append((column.label, Point(x, middle - 4.0)))
        cells += _cells_of(column, column.id, at, middle, HEAD_LINE_MM)
        x = at + _width_of(column, MAX_PITCH_MM) + 4.0
        if column.options:
            x += 1.0 + label_mm(column.options[-1].label)
    _refuse_overflow(form, "the head of the right block", x - 4.0, paper.width_mm - MARGIN_MM)
    return cells, tuple(labels)


def _with_strip(column: Column) -> Column:
    """Return a field of foot or right head; a strip for words gets a width where it has none."""
    return replace(column, width_mm=FOOT_STRIP_W_MM) if _fills(column) else column


def _foot_height(form: Form) -> float:
    """Height in mm that the foot needs: sums, then the list of causes beside the marking help."""
    sums = 16.0 if any(c.place == "foot" for c in form.columns) else 2.0
    strips = FOOT_STRIP_MM * sum(c.place == "foot-right" for c in form.columns)
    causes = 5.4 + 3.9 * ((len(form.causes) + 1) // 2) if form.causes else 0.0
    return max(sums + 16.0, causes + strips, MARKER_MM + QUIET_MM + 1.0)


def foot_right_x(paper: Paper, right_block_x: float) -> float:
    """Where the right half of the foot begins: under the right block, and never left of the fold."""
    beyond = paper.width_mm / 2 + FOLD_CLEAR_MM
    left = right_block_x + 1.0
    return left if beyond <= left < 0.7 * paper.width_mm else beyond


def _foot(
    form: Form, paper: Paper, fold: Point, top: float, block_x: float
) -> tuple[list[Cell], tuple[tuple[str, Point], ...]]:
    """Cells and labels of the foot: the player's sums on the left, a strip on the right."""
    cells: list[Cell] = []
    labels: list[tuple[str, Point]] = []
    x = MARGIN_MM + STUD_MM + 2.0
    for column in (_with_strip(c) for c in form.columns if c.place == "foot"):
        w = _width_of(column, MAX_PITCH_MM)
        if column.options:
            w += 1.0 + label_mm(column.options[-1].label)
        x = _past_fold(x, w, fold.x)
        labels.append((column.label, Point(x, top + 7.4)))
        cells += _cells_of(column, column.id, x, top + 12.2, HEAD_LINE_MM)
        x += max(w, label_mm(column.label)) + 4.0
    last = [c for c in form.columns if c.place == "foot-right"]
    left = foot_right_x(paper, block_x)
    _refuse_overflow(form, "the foot", x - 4.0, left if last or form.causes else paper.width_mm - MARGIN_MM)
    right = paper.width_mm - MARGIN_MM - MARKER_MM - QUIET_MM - 1.0
    for i, column in enumerate(reversed(last)):
        bottom = paper.height_mm - MARGIN_MM - 0.6 - i * FOOT_STRIP_MM
        labels.append((column.label, Point(left, bottom - STRIP_H_MM - 1.2)))
        wide = replace(column, width_mm=right - left)
        cells += _cells_of(wide, column.id, left, bottom - STRIP_H_MM / 2, HEAD_LINE_MM)
    return cells, tuple(labels)


def _notes(
    form: Form, paper: Paper, fold: Point, top: float, bottom: float
) -> tuple[list[Cell], tuple[tuple[str, Point], ...]]:
    """Strips for words in the room that the rows leave free, side by side, left and right of the fold."""
    columns = [c for c in form.columns if c.place == "notes"]
    if not columns:
        return [], ()
    if len(columns) > 2:
        raise LayoutError(f"{form.name}: there is room for two fields in 'notes', found {len(columns)}.")
    top = max(top, fold.y + FOLD_CLEAR_MM) + 5.0
    if bottom - top < 12.0:
        raise LayoutError(
            f"{form.name}: the notes need 12 mm of height, {max(bottom - top, 0):.1f} mm are free. "
            "Take them out."
        )
    edges = (
        (MARGIN_MM + STUD_MM + 1.0, fold.x - FOLD_CLEAR_MM - 1.0),
        (fold.x + FOLD_CLEAR_MM + 1.0, paper.width_mm - MARGIN_MM - STUD_MM - 1.0),
    )
    cells, labels = [], []
    for column, (left, right) in zip(columns, edges, strict=False):
        box = Box(left, top, right - left, bottom - top)
        cells.append(Cell(f"{column.id}.strip", column.id, "words", box, "strip"))
        labels.append((column.label, Point(left, top - 1.6)))
    return cells, tuple(labels)


def _studs(
    paper: Paper,
    fold: Point,
    columns: tuple[ColumnPlace, ...],
    tops: tuple[float, ...],
    pitch: float,
    group: int,
    block_x: float,
) -> tuple[Point, ...]:
    """Small black squares between row groups: they lead the eye and tell the reader how the paper bends."""
    if not tops:
        return ()
    xs = [MARGIN_MM + STUD_MM / 2, paper.width_mm - MARGIN_MM - STUD_MM / 2]
    if any(place.column.place == "right" for place in columns):
        xs.append(block_x - 2.2)
    between = [place.x - place.column.gap_mm / 2 for place in columns if place.column.stud]
    clear = STUD_MM / 2 + 1.0  # of the fold
    xs += [fold.x - clear if abs(x - fold.x) < clear else x for x in between]
    xs.sort()
    ys = []
    for i, top in enumerate(tops):
        if i % group == 0 or top - (tops[i - 1] + pitch) > 0.01:
            if i and top - (tops[i - 1] + pitch) > 0.01:
                ys += [tops[i - 1] + pitch - ROW_EDGE_MM, top + ROW_EDGE_MM]
            else:
                ys.append(top)
    ys.append(tops[-1] + pitch)
    return tuple(Point(round(x, 3), round(y, 3)) for y in ys for x in xs)


def _check(layout: Layout) -> None:
    """Refuse a layout that breaks a promise of the card; the message names the cells and the measure."""
    paper, form = layout.paper, layout.form
    printable = Box(0, 0, paper.width_mm, paper.height_mm).grown(-MARGIN_MM)
    quiet = [fiducial.box.grown(QUIET_MM) for fiducial in layout.fiducials] + [layout.qr]
    for cell in layout.cells:
        if not printable.contains(cell.box):
            over = max(
                printable.x - cell.box.x,
                printable.y - cell.box.y,
                cell.box.right - printable.right,
                cell.box.bottom - printable.bottom,
            )
            raise LayoutError(f"{form.name}: {cell.id} lies {over:.1f} mm outside the printable area.")
        if distance_to_fold(cell.box, paper.width_mm, paper.height_mm) <= 0:
            raise LayoutError(f"{form.name}: {cell.id} lies on a fold line of {paper.name}.")
        for zone in quiet:
            if zone.overlaps(cell.box):
                raise LayoutError(f"{form.name}: {cell.id} comes too near to a corner mark or the QR code.")
    # As `Box.overlaps`, in half the time of all of a layout: 6,000 pairs of cells are beside each other.
    from_top = [(c.box.y, c.box.x, c.box.right, c.box.bottom, c) for c in layout.cells]
    from_top.sort(key=lambda edges: edges[0])
    for i, (_, left, right, bottom, one) in enumerate(from_top):
        for top, other_left, other_right, _, other in from_top[i + 1 :]:
            if top >= bottom:
                break
            if left < other_right and other_left < right:
                raise LayoutError(f"{form.name}: {one.id} and {other.id} overlap.")
