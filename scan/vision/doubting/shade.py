"""The sharp edge of a shadow looks like ink: where one crosses a cell, marks are believed less.

Paper is estimated over some millimetres, so that marks do not count as shade. Where the light changes within
one, the estimate is too bright on the dark side, and a dark rim is left along the edge: a stroke to whoever
looks at one cell. Where the paper itself says that an edge is near, such a stroke is asked about.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import Bools, FloatImage, by_row, centres_of
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.ink import PAPER_PX_PER_MM
from shortpencil.scan.vision.seeing.patches import held_down

_AROUND_MM = 0.5
#: Paper that changes by more than this share within a cell and its surroundings is crossed by an edge. On
#: 108 tuning photos, 40 of them with the shadow of a hand, such an edge crossed 209 of the 213 blank bubbles
#: that looked filled in shadows, and were not solid, and all 46 blank boxes that looked like a one; of the
#: filled bubbles 129 of 3,047 there, and elsewhere only 25 of 5,200, on a car's bonnet.
_STEP = 0.2
#: The rim is narrower than a bubble: dark all over is filled whatever the light does. Ink that all but the
#: palest sixth of a bubble's inside must show. 0.3 would tell eight less of those blank ones and ask about
#: half as many filled ones.
_SOLID = 0.55
#: Crossed by an edge, ink speaks for a mark by no more than this factor, and a one is believed so far.
_MOST_FOR_MARK = np.log(20.0)
_MOST_ONE = 0.95


@dataclass(frozen=True, slots=True)
class _Places:
    """Cells of one size: their ids, where they are in the picture of the paper, and a window's size, px."""

    ids: tuple[str, ...]
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    window: tuple[int, int]


@once_a_layout
def _places(layout: Layout) -> tuple[_Places, ...]:
    cells = [cell for cell in layout.cells if cell.kind != "words"]
    found = []
    for w, h in sorted({(c.box.w, c.box.h) for c in cells}):
        some = [c for c in cells if (c.box.w, c.box.h) == (w, h)]
        at = centres_of(c.box for c in some) * PAPER_PX_PER_MM - 0.5
        nearest = np.maximum(np.round(at), 0).astype(np.intp)
        window = [int((side + 2 * _AROUND_MM) * PAPER_PX_PER_MM) | 1 for side in (w, h)]
        found.append(_Places(tuple(c.id for c in some), nearest[:, 1], nearest[:, 0], (window[0], window[1])))
    return tuple(found)


def crossed_by_edges(paper: FloatImage, layout: Layout) -> frozenset[str]:
    """Return the cells across which the light changes sharply; `paper` is its grey at 2 px per mm."""
    coarse = np.clip(paper, 0, 255).astype(np.uint8)
    if float(coarse.min()) >= (1 - _STEP) * float(coarse.max()):  # no sharp change anywhere
        return frozenset()
    height, width = coarse.shape
    crossed: list[str] = []
    for places in _places(layout):
        kernel = np.ones((places.window[1], places.window[0]), np.uint8)
        at = np.minimum(places.rows, height - 1), np.minimum(places.columns, width - 1)
        bright, dark = (f(coarse, kernel)[at].astype(float) for f in (cv2.dilate, cv2.erode))
        steps = dark < (1 - _STEP) * bright
        crossed += [name for name, step in zip(places.ids, steps, strict=True) if step]
    return frozenset(crossed)


def marks_doubted(
    bubbles: Mapping[str, tuple[float, float, float]],
    patches: FloatImage,
    crossed: Collection[str],
) -> dict[str, tuple[float, float, float]]:
    """Return the log likelihoods (blank, filled, cancelled) with marks believed less in some cells.

    Parameters
    ----------
    bubbles : by cell, in the order of `patches`
    patches : (N, P, P) ink around the bubbles
    crossed : cells that an edge of the light crosses; marks that are dark all over are believed there
    """
    doubted = dict(bubbles)
    some = [i for i, cell in enumerate(bubbles) if cell in crossed]
    if not some:
        return doubted
    inside = np.sort(_inside(patches[some]), axis=1)
    cells = list(bubbles)
    for i, least in zip(some, inside[:, inside.shape[1] // 6].tolist(), strict=True):
        blank, filled, cancelled = bubbles[cells[i]]
        if least < _SOLID:
            doubted[cells[i]] = (max(blank, filled - _MOST_FOR_MARK), filled, cancelled)
    return doubted


def _inside(patches: FloatImage) -> FloatImage:
    """Ink within 0.7 radii (N, Q) of bubbles; a patch shows 1.6 radii."""
    side = patches.shape[-1]
    axis = (np.arange(side) - (side - 1) / 2) * 3.2 / side
    near = np.hypot(*np.meshgrid(axis, axis)) < 0.7
    return by_row(patches)[:, near.ravel()]


def ones_doubted(log_p: FloatImage, crossed: Bools) -> FloatImage:
    """Return log probabilities (N, 12) with "1" held down where an edge crosses, in favour of blank."""
    return held_down(log_p, crossed, "1", _MOST_ONE, "blank")
