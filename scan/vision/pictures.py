"""Cuts the pictures that are kept with a reading: the card, strips with words, fields to look at."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from forms.geometry import Box
from forms.layout import Layout
from scan.vision.arrays import GrayImage
from scan.vision.ink import px_slice
from scan.vision.rectify import CARD_PX_PER_MM

#: The whole card: a bubble's rim and a pencilled digit are clear at this size, in about 130 kB. A JPEG, since
#: WebP halves the bytes but takes 200 ms where this takes 4 (one core, A4).
_CARD_PX_PER_MM = 6.0
_CARD_QUALITY = 50
MARGIN_MM = 1.6  # enough of the surroundings to recognise the place, not so much that the eye wanders


def field_box(layout: Layout, field_id: str) -> Box:
    """Return the box around all cells of a field."""
    boxes = [cell.box for cell in layout.cells if cell.field == field_id]
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y)


def card_picture(flat: GrayImage) -> bytes:
    """Return the whole flat card as a JPEG without metadata, smaller than the flat card itself."""
    scale = _CARD_PX_PER_MM / CARD_PX_PER_MM
    small = cv2.resize(flat, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)  # area: 5 ms more
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, _CARD_QUALITY])
    return data.tobytes()


def field_pictures(flat: GrayImage, layout: Layout, fields: Iterable[str]) -> dict[str, bytes]:
    """Return PNG bytes by field id, cut from the flat card; no metadata."""
    pictures = {}
    for field_id in fields:
        rows, columns = px_slice(field_box(layout, field_id).grown(MARGIN_MM))
        part = flat[rows, columns]
        if part.size:
            ok, data = cv2.imencode(".png", np.ascontiguousarray(part))
            if ok:
                pictures[field_id] = data.tobytes()
    return pictures
