"""Cuts the pictures that are kept with a reading: the card, strips with words, fields to look at."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import GrayImage
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.flattening.rectify import Registration, cuts
from shortpencil.scan.vision.opening.levels import Levels

#: A bubble's rim and a pencilled digit are clear at 6 px/mm, in about 130 kB. A JPEG, since WebP halves the
#: bytes but takes 200 ms where this takes 3 (one core, A4).
_CARD_QUALITY = 50
#: Of a field that is asked or has words; what a phone shows of a card has 9 to 12.
FIELD_PX_PER_MM = 8.0
MARGIN_MM = 1.6  # enough of the surroundings to recognise the place, not so much that the eye wanders


def field_box(layout: Layout, field_id: str) -> Box:
    """Return the box around all cells of a field."""
    boxes = [cell.box for cell in layout.cells if cell.field == field_id]
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y)


def card_picture(flat: GrayImage) -> bytes:
    """Return the whole flat card as a JPEG without metadata."""
    _, data = cv2.imencode(".jpg", flat, [cv2.IMWRITE_JPEG_QUALITY, _CARD_QUALITY])
    return data.tobytes()


def field_pictures(flat: GrayImage, layout: Layout, fields: Iterable[str]) -> dict[str, bytes]:
    """Return PNG bytes by field id, cut from the flat card; no metadata."""
    return _as_png((name, flat[px_slice(field_box(layout, name).grown(MARGIN_MM))]) for name in fields)


def sharp_field_pictures(
    photo: GrayImage | Levels, registration: Registration, layout: Layout, fields: Iterable[str]
) -> dict[str, bytes]:
    """Return PNG bytes by field id, cut flat from the photo itself; no metadata."""
    sheet = Box(0, 0, layout.paper.width_mm, layout.paper.height_mm)
    names = list(fields)
    boxes = [_within(field_box(layout, name).grown(MARGIN_MM), sheet) for name in names]
    return _as_png(zip(names, cuts(photo, registration, boxes, FIELD_PX_PER_MM), strict=True))


def _as_png(parts: Iterable[tuple[str, GrayImage]]) -> dict[str, bytes]:
    pictures = {}
    for name, part in parts:
        if part.size:
            ok, data = cv2.imencode(".png", np.ascontiguousarray(part))
            if ok:
                pictures[name] = data.tobytes()
    return pictures


def _within(box: Box, sheet: Box) -> Box:
    x, y = max(box.x, sheet.x), max(box.y, sheet.y)
    return Box(x, y, min(box.right, sheet.right) - x, min(box.bottom, sheet.bottom) - y)
