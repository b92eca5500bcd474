"""Looks for the studs, the small black squares between the rows, near where they are expected."""

from __future__ import annotations

import functools

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import STUD_MM
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, Homography, PointsMm, PointsPx, median
from shortpencil.scan.vision.flattening.bend import Bend
from shortpencil.scan.vision.opening.levels import Levels, sampled

#: A stud is 6 px wide in the patches that are searched.
_PX_PER_MM = 4.0
_RIM_MM = 0.8  # paper around a stud that belongs to its picture
#: One printer printed them all: what is so many times as dark as they usually are is a pen's mark. Over a
#: sheet toner varies by 1.7 times; print as dark as a pen tells nothing, and nothing is left out.
_MARK_DARKNESS = 2.2
_LEAST_TO_COMPARE = 8


@functools.cache
def _template() -> FloatImage:
    """Dark square on paper, with paper around, softened as a camera would."""
    side = round((STUD_MM + 2 * _RIM_MM) * _PX_PER_MM)
    template = np.full((side, side), 255, np.float32)
    edge = round(_RIM_MM * _PX_PER_MM)
    template[edge : side - edge, edge : side - edge] = 0
    return np.asarray(cv2.GaussianBlur(template, (0, 0), 0.18 * _PX_PER_MM), np.float32)


def stud_offsets(
    photo: Levels, px_per_mm: float, transform: Homography, bend: Bend, studs: PointsMm, reach_mm: float
) -> tuple[PointsMm, Floats, Floats]:
    """Where each stud lies relative to expectation (N, 2) in mm, its likeness to one (N,), its darkness (N,).

    Darkness is the share of the light of the paper around it that it swallows.
    """
    offsets, scores = np.zeros_like(studs), np.zeros(len(studs))
    if not len(studs):
        return offsets, scores, np.zeros(0)
    template = _template()
    side = len(template)
    pictures = np.zeros((len(studs), side, side), np.uint8)
    half_mm = reach_mm + template.shape[0] / _PX_PER_MM / 2
    size = round(2 * half_mm * _PX_PER_MM) | 1
    if (size - template.shape[0]) % 2:
        size += 1  # the response then has a middle
    steps = (np.arange(size) - (size - 1) / 2) / _PX_PER_MM
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(1, -1, 2)
    expected = studs + bend.at(studs)
    # As `project`, a tenth of its time for 200,000 points.
    around = (expected[:, None] + grid).reshape(-1, 1, 2)
    at = np.asarray(cv2.perspectiveTransform(around, transform), np.float64).reshape(-1, 2)
    gray, scale = photo.coarsest(px_per_mm, _PX_PER_MM)
    patches = sampled(gray, scale, at, (len(studs) * size, size)).reshape(len(studs), size, size)
    visible = _visible(at.reshape(len(studs), size, size, 2), photo.gray.shape)
    n = size - template.shape[0] + 1
    # Of two equal candidates the nearer to expectation is likelier: a filled bubble can look like a stud.
    axis = (np.arange(n) - n // 2) / _PX_PER_MM
    preference = 0.12 * (axis[:, None] ** 2 + axis[None, :] ** 2) / reach_mm**2
    for i in np.flatnonzero(visible):
        response = np.asarray(
            cv2.matchTemplate(patches[i].astype(np.float32), template, cv2.TM_CCOEFF_NORMED), np.float32
        )
        row, column = divmod(int(np.argmax(response - preference)), n)
        scores[i] = response[row, column]
        dx, dy = peak(response, row, column)
        offsets[i] = ((column + dx - n // 2) / _PX_PER_MM, (row + dy - n // 2) / _PX_PER_MM)
        pictures[i] = patches[i, row : row + side, column : column + side]
    return offsets, scores, _darkness(pictures)


def _darkness(pictures: NDArray[np.uint8]) -> Floats:
    """(N,) of the middles of pictures (N, side, side), against their paper: the brightest sixth."""
    flat = pictures.reshape(len(pictures), -1)
    rank = round(0.85 * flat.shape[1])
    paper = np.partition(flat, rank, axis=1)[:, rank].astype(float)
    middle = pictures.shape[1] // 2
    inside = pictures[:, middle - 1 : middle + 2, middle - 1 : middle + 2].mean(axis=(1, 2))
    return np.asarray(1 - inside / np.maximum(paper, 1.0))


def as_printed(found: Bools, darkness: Floats) -> Bools:
    """Which of the studs found (N,) are no darker than print of this card is; pens write over pale print.

    How much a place looks like a stud says nothing of how dark it is: on a card of pale toner a filled bubble
    beside a stud that is written over looks more like it than the stud itself.
    """
    if found.sum() < _LEAST_TO_COMPARE:
        return found
    return np.asarray(found & (darkness <= _MARK_DARKNESS * median(darkness[found])))


def _visible(at: PointsPx, shape: tuple[int, ...]) -> Bools:
    """Which patches (N, size, size, 2) lie in the picture by half at least; most do with all corners."""
    last = np.array(shape[::-1]) - 1.0
    corners = at[:, :: at.shape[1] - 1, :: at.shape[2] - 1]
    if ((corners >= 0) & (corners <= last)).all():
        return np.ones(len(at), bool)
    inside = ((at >= 0) & (at <= last)).all(axis=3)
    return np.asarray(inside.reshape(len(at), -1).mean(axis=1) >= 0.5)


def peak(response: FloatImage, row: int, column: int) -> tuple[float, float]:
    """Top of the parabola through a maximum and its neighbours, as (dx, dy) in px."""
    if not (0 < row < response.shape[0] - 1 and 0 < column < response.shape[1] - 1):
        return 0.0, 0.0

    def top(before: float, here: float, after: float) -> float:
        curve = before - 2 * here + after
        return 0.0 if curve >= -1e-9 else min(max(0.5 * (before - after) / curve, -0.5), 0.5)

    here = float(response[row, column])
    dx = top(float(response[row, column - 1]), here, float(response[row, column + 1]))
    dy = top(float(response[row - 1, column]), here, float(response[row + 1, column]))
    return dx, dy
