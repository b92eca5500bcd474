"""A flat picture of a card to ink: 0 where this card's own paper is, 1 where its own black print is.

Nothing is measured on an absolute scale. Paper is estimated around each place, so that shadows and yellowed
sheets cancel out; black is that of the card's corner marks, so that a faint printer and a hazy lens cancel
out as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from shortpencil.forms.fiducials import dark_modules
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import (
    FloatImage,
    Floats,
    GrayImage,
    InkImage,
    centres_of,
    median,
    percentile,
)
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM
from shortpencil.scan.vision.per_layout import once_a_layout

#: Of the picture of the paper.
PAPER_PX_PER_MM = 2.0
#: Strokes and outlines are narrower than this; closing lifts them to the paper around.
_CLOSE_MM = 2.5
#: A filled bubble is 3.4 mm wide. The median of a window more than twice as wide is paper even over a group
#: of filled bubbles, and, unlike a mean, keeps the sharp edge of a shadow where it is. At half the resolution
#: it takes a third of the time; on 14 photos, four of them with the shadow of a hand, it differed by 0.5 % of
#: the paper at 99 % of all places, and in the worst photo by 5 % at one place in a thousand.
_MEDIAN_PX = 9  # of a picture with one pixel per mm
_MOST_INK = 1.2  # pens are at times blacker than the print
#: Pens stay as dark as they are when the cartridge runs empty. Measured against pale print they would be
#: black to the rims of their blurred strokes, and an open four a six. On 40 tuning photos of pale prints 0.4
#: asks 290 cells where the print's own black asks 319, on 32 photocopies 506 and 529; 0.5 takes pale outlines
#: for hidden ones, and refuses two.
LEAST_BLACK = 0.4


@dataclass(frozen=True, slots=True)
class CardInk:
    """The ink of a card: its picture in even light, and what is black in it.

    Attributes
    ----------
    even : (H, W), 255 where bare paper is, 0 where no light comes back
    contrast : darkness of the black print, as a share of the paper's light: 0 to 1
    paper : grey of bare paper at each place, `PAPER_PX_PER_MM`; None where nobody asks
    """

    even: GrayImage
    contrast: float
    paper: FloatImage | None = None

    @property
    def black(self) -> float:
        """Darkness that counts as ink 1: of the print, or of a usual one where the print is pale."""
        return max(self.contrast, LEAST_BLACK)

    def of(self, even: GrayImage) -> InkImage:
        """Ink, 0 paper to 1 black, of grey values in even light, in their shape."""
        if not even.size:
            return np.zeros(even.shape, np.float32)
        share = 1.0 - np.arange(256) / 255.0
        table = np.clip(share / self.black, 0.0, _MOST_INK).astype(np.float32)
        return np.asarray(cv2.LUT(even.reshape(-1, even.shape[-1]), table), np.float32).reshape(even.shape)

    def grey_of(self, ink: float) -> np.uint8:
        """Return the grey value, rounded up, that shows so much ink; what is darker shows more."""
        return np.uint8(np.ceil(255.0 * (1.0 - ink * self.black)))

    def picture(self) -> InkImage:
        """The ink of the whole card."""
        return self.of(self.even)


def paper_around(flat: GrayImage, layout: Layout) -> FloatImage:
    """Return the grey value of bare paper at each place, never below 8, at 2 px per mm."""
    scale = PAPER_PX_PER_MM / CARD_PX_PER_MM
    small = cv2.resize(flat, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    size = int(_CLOSE_MM * PAPER_PX_PER_MM) | 1
    closed = cv2.morphologyEx(
        small, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    )
    per_mm = 1 / PAPER_PX_PER_MM
    coarse = cv2.resize(closed, None, fx=per_mm, fy=per_mm, interpolation=cv2.INTER_AREA)
    median = cv2.medianBlur(coarse, _MEDIAN_PX).astype(np.float32)
    smooth = cv2.resize(median, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_LINEAR)
    paper = np.maximum(smooth, np.float32(8.0))
    _fill_marks(paper, layout)
    return paper


def _fill_marks(paper: FloatImage, layout: Layout) -> None:
    """Corner marks and code are wider than the window: take the paper beside them."""
    for box in (*(f.box for f in layout.fiducials), layout.qr):
        rows, columns = px_slice(box.grown(1.0), PAPER_PX_PER_MM)
        block = paper[px_slice(box.grown(3.0), PAPER_PX_PER_MM)]
        if block.size:
            ring = [block[:2].ravel(), block[-2:].ravel(), block[:, :2].ravel(), block[:, -2:].ravel()]
            paper[rows, columns] = float(percentile(np.concatenate(ring), 75))


@once_a_layout
def _black_modules(layout: Layout) -> tuple[tuple[slice, slice], ...]:
    """Where the middles of the corner marks' dark modules lie in the flat picture."""
    return tuple(px_slice(m.grown(-0.5)) for fiducial in layout.fiducials for m in dark_modules(fiducial))


def black_of(even: GrayImage, layout: Layout, covered: GrayImage) -> float:
    """Return the darkness (1 - grey / paper) of this card's black print, from its corner marks."""
    values = [
        even[place].ravel()
        for place in _black_modules(layout)
        if covered[place].size and covered[place].min() == 255
    ]
    if not values:
        return 0.8
    return float(np.clip(1 - median(np.concatenate(values)) / 255.0, 0.15, 1.0))


def ink_of(flat: GrayImage, covered: GrayImage, layout: Layout) -> CardInk:
    """Return the ink of a flat card."""
    paper = paper_around(flat, layout)
    light = cv2.resize(255.0 / paper, (flat.shape[1], flat.shape[0]), interpolation=cv2.INTER_LINEAR)
    even = np.asarray(cv2.multiply(flat, light, dtype=cv2.CV_8U), np.uint8)
    return CardInk(even, black_of(even, layout, covered), paper)


@dataclass(frozen=True, slots=True)
class Windows:
    """Where square windows around some boxes lie in the flat picture: `at` (N * side_px, side_px, 2), px."""

    at: FloatImage
    side_px: int

    def of(self, ink: CardInk) -> InkImage:
        """Ink (N, side_px, side_px) of the windows of one card; beyond the card is paper."""
        even = np.empty(self.at.shape[:2], np.uint8)
        nowhere: Any = None  # see `levels.remapped`
        for start in range(0, len(even), _MOST_ROWS):
            some = slice(start, start + _MOST_ROWS)
            even[some] = cv2.remap(
                ink.even,
                self.at[some],
                nowhere,
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=255,
            )
        return ink.of(even).reshape(len(even) // self.side_px, self.side_px, self.side_px)


#: OpenCV fills no picture of more rows than 16 bits can count; a form may have a thousand bubbles.
_MOST_ROWS = 32_000


def windows(boxes: Sequence[Box], side_mm: Floats, side_px: int) -> Windows:
    """Return square windows of `side_mm` (N,) around boxes; pixel k covers [k, k + 1] / side_px of a side."""
    centres = centres_of(boxes) * CARD_PX_PER_MM - 0.5
    steps = (np.arange(side_px) - (side_px - 1) / 2) * (side_mm[:, None] * CARD_PX_PER_MM / side_px)
    at = np.empty((len(boxes), side_px, side_px, 2), np.float32)
    at[..., 0] = (centres[:, :1] + steps)[:, None, :]
    at[..., 1] = (centres[:, 1:] + steps)[:, :, None]
    return Windows(at.reshape(-1, side_px, 2), side_px)
