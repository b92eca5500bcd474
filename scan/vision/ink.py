"""A flat picture of a card to ink: 0 where this card's own paper is, 1 where its own black print is.

Nothing is measured on an absolute scale. Paper is estimated around each place, so that shadows and yellowed
sheets cancel out; black is that of the card's corner marks, so that a faint printer and a hazy lens cancel
out as well.
"""

from __future__ import annotations

import cv2
import numpy as np

from forms.fiducials import dark_modules
from forms.geometry import Box, Point
from forms.layout import Layout
from scan.vision.arrays import FloatImage, GrayImage, InkImage
from scan.vision.rectify import CARD_PX_PER_MM

_PAPER_PX_PER_MM = 2.0
#: Strokes and outlines are narrower than this; closing lifts them to the paper around.
_CLOSE_MM = 2.5
#: A filled bubble is 3.4 mm wide. The median of a window more than twice as wide is paper even over a group
#: of filled bubbles, and, unlike a mean, keeps the sharp edge of a shadow where it is.
_MEDIAN_MM = 9.5


def paper_around(flat: GrayImage) -> FloatImage:
    """Return the grey value of bare paper at each place, (H, W) float, never below 8."""
    scale = _PAPER_PX_PER_MM / CARD_PX_PER_MM
    small = cv2.resize(flat, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    size = int(_CLOSE_MM * _PAPER_PX_PER_MM) | 1
    closed = cv2.morphologyEx(
        small, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    )
    paper = cv2.medianBlur(closed, int(_MEDIAN_MM * _PAPER_PX_PER_MM) | 1)
    paper = cv2.GaussianBlur(paper, (0, 0), 1.0)
    full = cv2.resize(paper, (flat.shape[1], flat.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.maximum(full.astype(np.float32), 8.0)


def px_slice(box: Box) -> tuple[slice, slice]:
    """Return (rows, columns) of a box of the card in the flat picture."""
    x0, y0 = round(box.x * CARD_PX_PER_MM), round(box.y * CARD_PX_PER_MM)
    x1, y1 = round(box.right * CARD_PX_PER_MM), round(box.bottom * CARD_PX_PER_MM)
    return slice(max(y0, 0), max(y1, 0)), slice(max(x0, 0), max(x1, 0))


def black_of(share: FloatImage, layout: Layout, covered: GrayImage) -> float:
    """Return the darkness (1 - grey / paper) of this card's black print, from its corner marks."""
    values = []
    for fiducial in layout.fiducials:
        for module in dark_modules(fiducial):
            rows, columns = px_slice(module.grown(-0.5))
            if covered[rows, columns].size and covered[rows, columns].min() == 255:
                values.append(share[rows, columns].ravel())
    if not values:
        return 0.8
    return float(np.clip(np.median(np.concatenate(values)), 0.15, 1.0))


def ink_of(flat: GrayImage, covered: GrayImage, layout: Layout) -> tuple[InkImage, float]:
    """Return the ink picture of a flat card and the contrast of its print (0 to 1)."""
    paper = paper_around(flat)
    _fill_marks(paper, layout)
    share = 1.0 - flat.astype(np.float32) / paper
    black = black_of(share, layout, covered)
    return np.clip(share / black, 0.0, 1.2).astype(np.float32), black


def _fill_marks(paper: FloatImage, layout: Layout) -> None:
    """Corner marks and code are wider than the window: take the paper beside them."""
    for box in (*(f.box for f in layout.fiducials), layout.qr):
        rows, columns = px_slice(box.grown(1.0))
        ring = []
        outer_rows, outer_columns = px_slice(box.grown(3.0))
        block = paper[outer_rows, outer_columns]
        if block.size:
            ring = [block[:8].ravel(), block[-8:].ravel(), block[:, :8].ravel(), block[:, -8:].ravel()]
            paper[rows, columns] = float(np.percentile(np.concatenate(ring), 75))


def window(ink: InkImage, centre: Point, side_mm: float, side_px: int) -> FloatImage:
    """Return a square (side_px, side_px) of ink around a point of the card; beyond the card is paper."""
    scale = side_mm * CARD_PX_PER_MM / side_px
    half = (side_px - 1) / 2
    to_ink = np.array(
        [
            [scale, 0, centre.x * CARD_PX_PER_MM - 0.5 - half * scale],
            [0, scale, centre.y * CARD_PX_PER_MM - 0.5 - half * scale],
        ]
    )
    return np.asarray(
        cv2.warpAffine(
            ink,
            to_ink,
            (side_px, side_px),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        ),
        np.float32,
    )
