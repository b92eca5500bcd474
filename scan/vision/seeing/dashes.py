"""Is what stands in a digit box a dash? People strike through a box that has nothing to say: it means blank.

A dash is one short, nearly level bar and nothing else, clear of the outline. What the digit network calls no
digit and this calls a dash is blank with more right than an empty box; anything more than a bar, a digit
struck out among them, is left to a person.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import FloatImage, Floats
from shortpencil.scan.vision.evidence import ANSWERS, BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.digits import PATCH_MARGIN_MM, PATCH_PX

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
    found = [row for row in no_digit if is_dash(patches[row], *sizes_mm[row].tolist())]
    return np.array(found, np.int64)


def is_dash(patch: FloatImage, width_mm: float, height_mm: float) -> bool:
    """Say whether a box of that size holds a dash and nothing else; `patch` (48, 48) as for the network."""
    step = (height_mm + PATCH_MARGIN_MM) / PATCH_PX
    at = (np.arange(PATCH_PX) - (PATCH_PX - 1) / 2) * step  # mm from the middle of the box
    rows, columns = np.abs(at) < height_mm / 2 - _RIM_MM, np.abs(at) < width_mm / 2 - _RIM_MM
    inner = patch[rows][:, columns].astype(float)
    ink = inner * (inner > _STROKE * inner.max())
    total = max(float(ink.sum()), 1e-9)
    middle_y = float(ink.sum(axis=1) @ at[rows]) / total
    dx, dy = at[columns] - float(ink.sum(axis=0) @ at[columns]) / total, at[rows] - middle_y
    xx, yy, xy = (ink.sum(axis=0) @ dx**2) / total, (ink.sum(axis=1) @ dy**2) / total, (dy @ ink @ dx) / total
    along, across, slope = _axes(float(xx), float(yy), float(xy))
    # Distance of each place from the bar's axis, in mm.
    off = np.abs(dy[:, None] - slope * dx) / np.hypot(1, slope)
    beside = float(ink[off > max(across, 2 * step)].sum()) / total
    return (
        along >= _LENGTH_MM
        and across <= _THICKNESS_MM
        and along >= _SLENDER * across
        and abs(slope) <= _SLOPE
        and abs(middle_y) <= _OFF_MIDDLE * height_mm
        and beside <= _MOST_BESIDE
    )


def _axes(xx: float, yy: float, xy: float) -> tuple[float, float, float]:
    """Length and thickness in mm of the even bar with these second moments, and its slope."""
    middle, apart = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    angle = 0.5 * math.atan2(2 * xy, xx - yy)
    # An even bar of length l has the variance l² / 12 along itself.
    return math.sqrt(12 * (middle + apart)), math.sqrt(12 * max(middle - apart, 0.0)), math.tan(angle)
