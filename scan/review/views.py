"""Which part of the card's picture shows a field: boxes in mm, drawn by the page as SVG over one picture.

The card's frame is the picture's frame, so a box of the layout is a box of the drawing, and zooming is a view
box. The page thus shows any field with one stored picture and no decoding on the server.
"""

from __future__ import annotations

from dataclasses import dataclass

from shortpencil.forms.form import Field
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.records.concluding.cards import Card

#: As `scan.vision.flattening.pictures` cuts them: a field's own picture shows this much around its cells.
FIELD_MARGIN_MM = 1.6
CLOSE_MM = 3.2  # around a field in the close-up
ASKED_MM = 0.9  # the outline keeps off the ink
ROW_MM = 1.5  # above and below a row
LEAST_CLOSE_W_MM, LEAST_CLOSE_H_MM = 26.0, 14.0


@dataclass(frozen=True, slots=True)
class Region:
    """A part of the card: `view` is seen, `asked` is the field, `own` its own picture."""

    view: Box
    asked: Box
    own: Box


def box_of(layout: Layout, field_id: str) -> Box:
    """Return the box around all cells of a field."""
    return _around([cell.box for cell in layout.cells if cell.field == field_id])


def pieces(layout: Layout, card: Card) -> list[tuple[str, Box]]:
    """Return the fields that have a picture of their own, and where each lies on the card.

    Of a card whose own picture was not kept they are all there is to see.
    """
    cells = {cell.field for cell in layout.cells}
    names = (name for name in card.reading.pictures if name in cells)
    return [(name, box_of(layout, name).grown(FIELD_MARGIN_MM)) for name in names]


def close_up(layout: Layout, field: Field) -> Region:
    """Return the part around a field, large enough that a hand's digits are seen whole."""
    box = box_of(layout, field.id)
    view = _at_least(box.grown(CLOSE_MM), LEAST_CLOSE_W_MM, LEAST_CLOSE_H_MM)
    return Region(_inside(view, layout), box.grown(ASKED_MM), box.grown(FIELD_MARGIN_MM))


def surroundings(layout: Layout, field: Field) -> Region:
    """Return the field's row across the whole card; outside the rows, the band of the card it stands in."""
    box = box_of(layout, field.id)
    if field.row is None:
        band = box.grown(6.0)
    else:
        same_row = [other.id for other in layout.form.fields if other.row == field.row]
        band = _around([cell.box for cell in layout.cells if cell.field in same_row]).grown(ROW_MM)
    margin = 6.0
    view = Box(margin, band.y, layout.paper.width_mm - 2 * margin, band.h)
    return Region(_inside(view, layout), box.grown(ASKED_MM), box.grown(FIELD_MARGIN_MM))


def whole(layout: Layout) -> Box:
    """Return the whole sheet."""
    return Box(0.0, 0.0, layout.paper.width_mm, layout.paper.height_mm)


def _around(boxes: list[Box]) -> Box:
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y)


def _at_least(box: Box, w_mm: float, h_mm: float) -> Box:
    more_w, more_h = max(0.0, w_mm - box.w), max(0.0, h_mm - box.h)
    return Box(box.x - more_w / 2, box.y - more_h / 2, box.w + more_w, box.h + more_h)


def _inside(box: Box, layout: Layout) -> Box:
    """Return the box moved and cut so that it lies on the sheet."""
    w, h = min(box.w, layout.paper.width_mm), min(box.h, layout.paper.height_mm)
    x = min(max(box.x, 0.0), layout.paper.width_mm - w)
    y = min(max(box.y, 0.0), layout.paper.height_mm - h)
    return Box(x, y, w, h)
