"""Do the marks lie where the bubbles are looked for? Where most lie between them, so does all that is read.

On a sheet without outlines a strong fold can carry the small squares so far that marks beside them are taken
for them. Then the rows are looked for between the rows. A hand may miss a bubble by half of it; not all do.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import FloatImage, Floats, by_row, median, median_of_rows, percentile
from shortpencil.scan.vision.doubting.partial import carried_away
from shortpencil.scan.vision.seeing.bubbles import PATCH_RADIUS_PX

#: Marks: the darkest of a bubble's surroundings, two strokes' worth, against the darkest marks of the
#: card, and at least so much of the card's black. With fewer marks nothing is known.
_STROKE_SHARE, _OF_DARKEST, _LEAST_INK, _FEWEST = 0.06, 0.4, 0.15, 20
#: How far around a bubble's centre ink is looked at, and the half that is blank on most cards, in radii.
_REACH, _INSIDE = 1.6, 0.6
#: Centres of ink so far from the bubble's, in radii, in the middle of all marks: on a card 5 mm beside its
#: place 1.0, on 144 others of every kind, rough ones too, at most 0.47.
_BESIDE = 0.75
#: A mark so far off may be another row's.
_ANOTHERS = 0.5


@dataclass(frozen=True, slots=True)
class _Around:
    """Every second pixel each way of a patch, which tells as much as all.

    Attributes
    ----------
    near : (K,) places within reach; inside : (I,) those of them, among these, that are blank on most cards
    x, y : (K,) in radii; stroke : how many pixels two strokes cover
    """

    near: NDArray[np.intp]
    inside: NDArray[np.intp]
    x: Floats
    y: Floats
    stroke: int


@functools.cache
def _around(side_px: int) -> _Around:
    axis = (np.arange(side_px)[::2] - (side_px - 1) / 2) / PATCH_RADIUS_PX
    x, y = (side.ravel() for side in np.meshgrid(axis, axis))
    radius = np.hypot(x, y)
    near = np.flatnonzero(radius < _REACH)
    every = np.arange(side_px * side_px).reshape(side_px, side_px)[::2, ::2].ravel()
    inside = np.flatnonzero(radius[near] < _INSIDE)
    return _Around(every[near], inside, x[near], y[near], round(_STROKE_SHARE * len(radius)))


def marks_beside_their_places(patches: FloatImage) -> str | None:
    """Return why to take the photo again where the marks lie between the bubbles, or None.

    `patches` (N, 45, 45) are of the ink around each bubble.
    """
    if len(patches) < _FEWEST:
        return None
    around = _around(patches.shape[-1])
    flat = by_row(patches)[:, around.near]
    palest = np.argsort(flat[:, around.inside].mean(axis=1))[: max(len(flat) // 4, 3)]
    added = np.maximum(flat - median_of_rows(flat[palest]), 0)
    strokes = np.partition(added, -around.stroke, axis=1)[:, -around.stroke :].mean(axis=1)
    marked = strokes > max(_OF_DARKEST * float(percentile(strokes, 97)), _LEAST_INK)
    if marked.sum() < _FEWEST:
        return None
    ink = added[marked]
    total = ink.sum(axis=1)
    off = np.hypot(ink @ around.x / total, ink @ around.y / total)
    return carried_away(float((off > _ANOTHERS).mean())) if median(off) > _BESIDE else None
