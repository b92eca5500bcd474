"""Do the marks lie where the bubbles are looked for? Where most lie between them, so does all that is read.

On a sheet without outlines a strong fold can carry the small squares so far that marks beside them are taken
for them. Then the rows are looked for between the rows. A hand may miss a bubble by half of it; not all do.
"""

from __future__ import annotations

import numpy as np

from shortpencil.scan.vision.arrays import FloatImage, by_row, median, median_of_rows, percentile
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


def marks_beside_their_places(patches: FloatImage) -> str | None:
    """Return why to take the photo again where the marks lie between the bubbles, or None.

    `patches` (N, 45, 45) are of the ink around each bubble.
    """
    if len(patches) < _FEWEST:
        return None
    # Every second pixel each way tells as much.
    axis = (np.arange(patches.shape[-1])[::2] - (patches.shape[-1] - 1) / 2) / PATCH_RADIUS_PX
    x, y = (side.ravel() for side in np.meshgrid(axis, axis))
    radius = np.hypot(x, y)
    count = round(_STROKE_SHARE * len(radius))
    near = np.flatnonzero(radius < _REACH)
    every = np.arange(patches[0].size).reshape(patches.shape[1:])[::2, ::2].ravel()
    flat = by_row(patches).take(every[near], axis=1)
    x, y, radius = x[near], y[near], radius[near]
    palest = np.argsort(flat[:, radius < _INSIDE].mean(axis=1))[: max(len(flat) // 4, 3)]
    added = np.maximum(flat - median_of_rows(flat[palest]), 0)
    strokes = np.partition(added, -count, axis=1)[:, -count:].mean(axis=1)
    marked = strokes > max(_OF_DARKEST * float(percentile(strokes, 97)), _LEAST_INK)
    if marked.sum() < _FEWEST:
        return None
    ink = added[marked]
    total = ink.sum(axis=1)
    off = np.hypot(ink @ x / total, ink @ y / total)
    return carried_away(float((off > _ANOTHERS).mean())) if median(off) > _BESIDE else None
