"""Cuts the pictures that are kept with a reading: strips with words, fields that a person must look at."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from forms.geometry import Box
from forms.layout import Layout
from scan.vision.arrays import GrayImage
from scan.vision.ink import px_slice

_MARGIN_MM = 1.6  # enough of the surroundings to recognise the place, not so much that the eye wanders


def field_box(layout: Layout, field_id: str) -> Box:
    """Return the box around all cells of a field."""
    boxes = [cell.box for cell in layout.cells if cell.field == field_id]
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y)


def field_pictures(flat: GrayImage, layout: Layout, fields: Iterable[str]) -> dict[str, bytes]:
    """Return PNG bytes by field id, cut from the flat card; no metadata."""
    pictures = {}
    for field_id in fields:
        rows, columns = px_slice(field_box(layout, field_id).grown(_MARGIN_MM))
        part = flat[rows, columns]
        if part.size:
            ok, data = cv2.imencode(".png", np.ascontiguousarray(part))
            if ok:
                pictures[field_id] = data.tobytes()
    return pictures
