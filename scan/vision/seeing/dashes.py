"""Is what stands in a digit box a dash? People strike through a box that has nothing to say: it means blank.

A dash is one short, nearly level bar and nothing else, clear of the outline. What the digit network calls no
digit and this calls a dash is blank with more right than an empty box; anything more than a bar, a digit
struck out among them, is left to a person.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats
from shortpencil.scan.vision.evidence import ANSWERS, BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.digits import PATCH_MARGIN_MM

#: What the digit network is less sure of to be no digit is looked at as usual.
_NO_DIGIT = np.log(0.9)
#: What a dash says of its box: of 1,424 simulated ones 1,405 are told, and of 34,956 other boxes with ink,
#: 404 overwritten and 281 struck out among them, one, which meant a blank, too (hands of the part "tune").
DASH = np.full(len(ANSWERS), np.log(0.0002), np.float32)
DASH[[BLANK_BOX, SCRAP_BOX]] = np.log(0.995), np.log(0.003)
#: The outline and its blur reach so far into a box, in mm.
_RIM_MM = 0.7
#: Ink below this share of the box's strongest is the edge of the stroke or dirt.
_STROKE = 0.4
#: A bar at least so long and at most so thick, in mm, and so many times as long as it is thick: the shortest
#: written 7s and 1s have their length the other way.
_LENGTH_MM, _THICKNESS_MM, _SLENDER = 1.0, 1.3, 2.0
#: How far from level, as a slope: writing goes uphill more often than down.
_SLOPE = 0.5
#: How far from the middle of the box, as a share of its height: the foot of a 2 and the top of a 7 lie
#: further.
_OFF_MIDDLE = 0.22
#: Share of the inked places that may lie off the bar by more than its thickness.
_MOST_BESIDE = 0.06


def dashes(log_p: FloatImage, patches: FloatImage, sizes_mm: Floats) -> NDArray[np.int64]:
    """Return which rows hold a dash.

    Parameters
    ----------
    log_p : (N, 12) of the digit network
    patches : (N, 48, 48) as it was given them
    sizes_mm : (N, 2) of the boxes
    """
    chance = log_p - np.logaddexp.reduce(log_p, axis=1, keepdims=True)
    no_digit = np.flatnonzero(chance[:, SCRAP_BOX] > _NO_DIGIT)  # a handful of boxes on a card
    found = [
        row
        for row in no_digit
        if are_dashes(patches[[row]], sizes_mm[row, 1] + PATCH_MARGIN_MM, tuple(sizes_mm[row]))[0]
    ]
    return np.array(found, np.int64)


def are_dashes(patches: FloatImage, side_mm: float, box_wh_mm: tuple[float, float]) -> Bools:
    """Say which boxes of one size hold a dash and nothing else, (N,).

    Parameters
    ----------
    patches : (N, P, P) ink of windows around the boxes
    side_mm : side of a window
    """
    px = patches.shape[1]
    step = side_mm / px
    at = (np.arange(px) + 0.5) * step - side_mm / 2  # mm from the middle of the box
    width, height = box_wh_mm
    rows, columns = np.abs(at) < height / 2 - _RIM_MM, np.abs(at) < width / 2 - _RIM_MM
    inner, y, x = patches[:, rows][:, :, columns].astype(float), at[rows], at[columns]
    ink = inner * (inner > _STROKE * inner.max(axis=(1, 2), keepdims=True))
    total = np.maximum(ink.sum(axis=(1, 2)), 1e-9)
    mean_x = (ink.sum(axis=1) @ x) / total
    mean_y = (ink.sum(axis=2) @ y) / total
    dx, dy = x - mean_x[:, None], y - mean_y[:, None]
    xx = (ink.sum(axis=1) * dx**2).sum(axis=1) / total
    yy = (ink.sum(axis=2) * dy**2).sum(axis=1) / total
    xy = np.einsum("nij,ni,nj->n", ink, dy, dx) / total
    along, across, slope = _axes(xx, yy, xy)
    # Distance of each place from the bar's axis, in mm.
    off = (
        np.abs(dy[:, :, None] - slope[:, None, None] * dx[:, None, :]) / np.sqrt(1 + slope**2)[:, None, None]
    )
    thick = np.maximum(across, 2 * step)
    beside = (ink * (off > thick[:, None, None])).sum(axis=(1, 2)) / total
    found: Bools = (
        (along >= _LENGTH_MM)
        & (across <= _THICKNESS_MM)
        & (along >= _SLENDER * across)
        & (np.abs(slope) <= _SLOPE)
        & (np.abs(mean_y) <= _OFF_MIDDLE * height)
        & (beside <= _MOST_BESIDE)
    )
    return found


def _axes(xx: Floats, yy: Floats, xy: Floats) -> tuple[Floats, Floats, Floats]:
    """Length and thickness in mm of the even bar with these second moments, and its slope, each (N,)."""
    middle, apart = (xx + yy) / 2, np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    # An even bar of length l has the variance l² / 12 along itself.
    return np.sqrt(12 * (middle + apart)), np.sqrt(12 * np.maximum(middle - apart, 0.0)), np.tan(angle)
