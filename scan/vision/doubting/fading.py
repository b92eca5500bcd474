"""Where marks fade from sight: under a lamp pencil mirrors as bright as paper, and pale marks burn out.

A hand presses about as hard everywhere. Where the marks around a cell are much paler than the card's marks
are elsewhere, the light has taken what is missing, and a cell that looks blank may be one whose mark has
vanished altogether. Such cells are not taken for blank so easily; most are then asked about, and where there
are many, the photo is.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, centres_of, median, medians, percentile
from shortpencil.scan.vision.doubting.partial import outlines_shown, that_may_have_vanished
from shortpencil.scan.vision.doubting.visibility import blank_ones
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.bubbles import FEATURES, BubbleInk
from shortpencil.scan.vision.seeing.ink import PAPER_PX_PER_MM
from shortpencil.scan.vision.seeing.patches import Writing, cells_of_kind

#: Marks are compared with so many nearest ones: their median does not mind a single light touch.
_NEAREST = 7
#: With fewer marks on a card nothing is known of how they should look.
_LEAST_MARKS = 12
_LEAST_WRITTEN = 5
#: What is paler than this, in units of the card's pen, or than so many times what most bubbles show, may be
#: grain, dirt or the rest of the print.
_LEAST_MARK, _ABOVE_BLANK = 0.25, 2.0
#: Marks less dark than this share of what is usual fade. On tuning photos of the 19 cells that glare or
#: sheen had taken in silence all lay where marks had 0.17 to 0.5 of their usual darkness; on usual photos 99
#: of 100 cells lie where they have 0.84 or more.
_FADES = 0.5
#: Where paper is as bright as a picture can show, nobody knows how much brighter it was: pens paler than
#: this, in units of the card's black, may have gone with it.
_BURNT_OUT, _PALE_PEN = 253.0, 0.16
#: On such paper even dark marks thin out and vanish where the card's own outlines do: where the five nearest
#: have less ink than this share of what is usual, and a usual digit times that share has less than the last.
#: On tuning photos eight cells that a burnt-out patch had taken in silence had 0.26 to 0.6, and 0.08 to 0.39.
_OUTLINES_THERE, _NEAREST_OUTLINES, _STILL_DARK = 0.65, 5, 0.45
#: Digits as pale as that, and hardly a bubble marked: more was written than can be seen. Bubbles are filled
#: with many strokes, so a pale pen shows there first.
_FEW_BUBBLES = 6
#: Chance that a mark has left no trace there.
FADING_LOSES = 0.2


@dataclass(frozen=True, slots=True)
class _Places:
    """The cells with an outline, bubbles first.

    Attributes
    ----------
    distances : (N, N) between their middles, mm
    at : rows and columns (2, N) of their middles in the picture of the paper
    """

    distances: Floats
    at: NDArray[np.intp]


@once_a_layout
def _places(layout: Layout) -> _Places:
    cells = [*cells_of_kind(layout, "bubble"), *cells_of_kind(layout, "digit")]
    at = centres_of(cell.box for cell in cells)
    apart = np.hypot(at[:, :1] - at[:, 0], at[:, 1:] - at[:, 1])
    px = np.maximum(np.round(at[:, ::-1].T * PAPER_PX_PER_MM - 0.5), 0).astype(np.intp)
    return _Places(np.asarray(apart, np.float64), px)


def darkness_around(darkness: Floats, seen: Bools, distances: Floats) -> Floats:
    """Return the median darkness of the marks nearest to each cell, itself left out, (N,).

    Parameters
    ----------
    darkness : (N,) of each cell's mark, 1 where it is as dark as this card's marks usually are
    seen : (N,) bool, cells in which there is a mark
    distances : (N, N) between the cells
    """
    marks = np.flatnonzero(seen)
    if len(marks) < _LEAST_MARKS:
        return np.ones(len(darkness))
    apart = distances[:, marks].copy()
    apart[marks, np.arange(len(marks))] = np.inf
    near = np.argpartition(apart, _NEAREST - 1, axis=1)[:, :_NEAREST]
    return np.asarray(medians(darkness[marks][near]))


def faded_cells(
    bubbles: BubbleInk,
    writing: Writing,
    paper: FloatImage | None,
    layout: Layout,
    dirt: Bools | None = None,
) -> frozenset[str]:
    """Return the cells whose marks may have vanished.

    Around them marks are much paler than elsewhere on the card, or the paper is burnt out and the pen pale.

    Parameters
    ----------
    bubbles, writing : marks as they were measured, in the order of `layout`
    paper : grey of bare paper at `PAPER_PX_PER_MM`, or None where it is not known
    dirt : (N,) boxes that the network takes for blank, if it was asked: what little ink they show is dirt, a
        crease or the print, and no mark that has paled
    """
    in_bubbles = bubbles.features[:, FEATURES.index("darkest")]
    usual = usual_strength(writing)
    in_boxes = np.zeros(len(writing.strength))
    written = np.zeros(len(in_boxes), bool)
    if usual is not None:
        in_boxes = (writing.strength - writing.floor) / (usual - writing.floor)
        written = writing.written() if dirt is None else writing.written() & ~dirt
    darkness = np.minimum(np.concatenate([in_bubbles, in_boxes]), 1.2)
    bare = blank_ones(in_bubbles)
    blank = median(in_bubbles if bare is None else in_bubbles[bare]) if len(in_bubbles) else 0.0
    seen = np.concatenate([in_bubbles > max(_LEAST_MARK, _ABOVE_BLANK * blank), written])
    places = _places(layout)
    pale = np.zeros(len(seen), bool)
    if (darkness[seen] < _FADES).sum() > _NEAREST // 2:  # else no median of so many is as pale
        pale = darkness_around(darkness, seen, places.distances) < _FADES
    is_pale_pen = usual is not None and usual < _PALE_PEN
    if is_pale_pen and seen[: len(in_bubbles)].sum() < _FEW_BUBBLES:
        pale[:] = True
    if paper is not None and is_pale_pen:
        pale |= _is_burnt_out(paper, places)
    return _named(pale, layout)


def burnt_out_cells(
    bubbles: FloatImage, digits: FloatImage, writing: Writing, paper: FloatImage, layout: Layout
) -> frozenset[str]:
    """Return the cells on burnt-out paper around which the card's own print has thinned out.

    Parameters
    ----------
    bubbles, digits : ink around the bubbles and digit boxes of `layout`, as cut for reading
    writing : what is written in the boxes
    paper : grey of bare paper at `PAPER_PX_PER_MM`
    """
    places = _places(layout)
    burnt_out = _is_burnt_out(paper, places)
    if not burnt_out.any():
        return frozenset()
    shown = outlines_shown(bubbles, digits, layout)
    count = min(_NEAREST_OUTLINES, len(shown))
    near = np.argpartition(places.distances, count - 1, axis=1)[:, :count]
    share = medians(shown[near]) / max(median(shown), 1e-6)
    vanishes = (share < _OUTLINES_THERE) & (share * (usual_strength(writing) or 0.0) < _STILL_DARK)
    return _named(burnt_out & vanishes, layout)


def _is_burnt_out(paper: FloatImage, places: _Places) -> Bools:
    """Cells (N,) whose paper is as bright as a picture can show."""
    rows, columns = (np.minimum(places.at[i], paper.shape[i] - 1) for i in (0, 1))
    return np.asarray(paper[rows, columns] >= _BURNT_OUT)


def _named(some: Bools, layout: Layout) -> frozenset[str]:
    """Ids of the cells that a mask (N,) names, bubbles first."""
    cells = (*cells_of_kind(layout, "bubble"), *cells_of_kind(layout, "digit"))
    return frozenset(cell.id for cell, is_one in zip(cells, some, strict=True) if is_one)


def usual_strength(writing: Writing) -> float | None:
    """Return the ink of a usual digit of this card, or None where next to nothing is written."""
    strong = writing.strength[writing.written()]
    # The median would be that of a half-faded card.
    return float(percentile(strong, 70)) if len(strong) >= _LEAST_WRITTEN else None


def blank_doubted(evidence: Evidence, faded: Collection[str]) -> Evidence:
    """Return the evidence with marks possible in the `faded` cells that look blank."""
    if not faded:
        return evidence
    doubted = replace(
        evidence,
        bubbles={cell: logs for cell, logs in evidence.bubbles.items() if cell in faded},
        digits={cell: logs for cell, logs in evidence.digits.items() if cell in faded},
    )
    weaker = that_may_have_vanished(doubted, FADING_LOSES)
    return replace(
        evidence,
        bubbles={**evidence.bubbles, **weaker.bubbles},
        digits={**evidence.digits, **weaker.digits},
    )
