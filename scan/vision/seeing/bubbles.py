"""Ink of a bubble to the likelihood of each answer: blank, filled, or neither.

A bubble is compared with the others of its shape on the same card: the palest of them show what print, paper
and camera alone look like here. That and the bubble itself go through a small network (`bubble_net`), which
knows the marks of hands: filled, rubbed out, struck out, ticked. It is also told how dark this card's marks
are, so that a faint pencil is not a faint mark. A few plain measures are taken beside it, for those who ask
how dark the marks are (`fading`).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import FloatImage, Floats, by_row, median, median_of_rows, percentile
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.bubble_net import CLASSES, bubble_net
from shortpencil.scan.vision.seeing.ink import CardInk, Windows, windows

__all__ = [
    "CLASSES",
    "FEATURES",
    "PALER_HALF",
    "PALER_QUARTER",
    "PATCH_RADIUS_PX",
    "BubbleInk",
    "Views",
    "bubble_log_likelihoods",
    "bubble_patches",
    "measure_bubbles",
    "pen_darkness",
    "views_of_some",
]

#: Patch side in px, and the bubble's radius in it: a patch shows 1.6 radii around the centre.
_PATCH_PX, PATCH_RADIUS_PX = 45, 14.0
#: The network looks at every second pixel, smoothed.
VIEW_PX = 23
_VIEW_RADIUS_PX = PATCH_RADIUS_PX / 2
_INNER, _RING = 0.82, (1.18, 1.5)  # in radii: clear of the outline inside, of outline and labels outside
_MIDDLE = 0.6

#: What is measured of a bubble, in the order of the columns of `BubbleInk.features`.
FEATURES = (
    "darkest",  # 95th percentile of the inside, in units of this card's pen
    "pen",  # darkness of this card's pen, in units of its black print
)

#: No likelihood is taken to be smaller than this: the training photos are simulated, and life has surprises.
_SURPRISE = 2e-4
#: Of bubbles that were not meant, so many were marked and rubbed out: two on a card of 18 holes. A guess:
#: nobody has counted them. With 0.02, on the same 88 tuning cards, 18 more fields were asked and five faint
#: marks silent where one is; of 209 that were rubbed out none was, either way.
_RUBBED_OUT = 0.008
#: What a rubber leaves is hardly darker than the first, in units of the card's pen: of 161 rubbed-out bubbles
#: on tuning cards 97 of 100 were paler. From the second on so much of what looks rubbed out is filled.
_GHOST_DARK, _MOST_MOVED = (0.38, 0.55), 0.98
_FILLED, _ERASED = CLASSES.index("filled"), CLASSES.index("erased")
#: Columns of `Views.measures`: the paler quarter and half of what a hand has added inside.
PALER_QUARTER, PALER_HALF = 1, 2
#: A dot, a slash, a ring where nothing else is done: so many of the meant bubbles are marked by that alone,
#: and so many that were not meant have one (a pen put down). Guesses: nobody has counted them. They are set
#: so that such a mark is a mark where a throw must have been, and is asked where only it speaks.
_SLOPPY, _STRAY = 0.01, 2e-4


@dataclass(frozen=True, slots=True)
class Views:
    """What the network looks at.

    Attributes
    ----------
    bubbles : (N, 2 * 529) halved patches of the ink, and of how much more it is than that of blank ones
    measures : (N, 24) of each bubble
    card : (7,) of the card as a whole
    """

    bubbles: FloatImage
    measures: FloatImage
    card: FloatImage


@dataclass(frozen=True, slots=True)
class BubbleInk:
    """What was measured at the bubbles of a card: `features` (N, 2) in the order of `ids`, and `views`."""

    ids: tuple[str, ...]
    features: Floats
    views: Views | None = None


@dataclass(frozen=True, slots=True)
class _Bubbles:
    """The bubbles of a layout: their windows, and which of them are printed alike.

    Attributes
    ----------
    shapes : bubbles of one shape, by their places in the layout's order
    columns : (N,) number of the shape and column, of which each has print of its own around its bubbles
    """

    ids: tuple[str, ...]
    windows: Windows
    shapes: tuple[NDArray[np.intp], ...]
    columns: NDArray[np.intp]


@once_a_layout
def _bubbles(layout: Layout) -> _Bubbles:
    cells = [cell for cell in layout.cells if cell.kind == "bubble"]
    sides = np.array([cell.box.w / 2 * _PATCH_PX / PATCH_RADIUS_PX for cell in cells])
    shapes = np.array([cell.shape for cell in cells])
    columns = np.array([f"{cell.shape} {'.'.join(cell.id.split('.')[1:])}" for cell in cells])
    return _Bubbles(
        tuple(cell.id for cell in cells),
        windows([cell.box for cell in cells], sides, _PATCH_PX),
        tuple(np.flatnonzero(shapes == shape) for shape in sorted({cell.shape for cell in cells})),
        np.unique(columns, return_inverse=True)[1] if cells else np.zeros(0, np.intp),
    )


def bubble_patches(ink: CardInk, layout: Layout) -> FloatImage:
    """Return (N, 45, 45) patches around the bubbles of a layout, in its order."""
    bubbles = _bubbles(layout)
    return bubbles.windows.of(ink) if bubbles.ids else np.zeros((0, _PATCH_PX, _PATCH_PX), np.float32)


def measure_bubbles(patches: FloatImage, layout: Layout, pen: float) -> BubbleInk:
    """Return the ink of every bubble; `patches` as from `bubble_patches`, `pen` as from `pen_darkness`."""
    bubbles = _bubbles(layout)
    if not bubbles.ids:
        return BubbleInk((), np.zeros((0, len(FEATURES))))
    seen = by_row(_halved(patches))
    usual = _blanks(seen, bubbles)
    return BubbleInk(
        bubbles.ids,
        _features(seen, usual, bubbles.columns, pen),
        _views(seen, usual, bubbles.columns, pen),
    )


def views_of_some(patches: FloatImage, layout: Layout, pen: float, some: NDArray[np.intp]) -> Views:
    """Return what the network would look at were there no more than `some` of the bubbles; to train it."""
    bubbles = _bubbles(layout)
    place = np.full(len(bubbles.ids), -1)
    place[some] = np.arange(len(some))
    shapes = [place[members][place[members] >= 0] for members in bubbles.shapes]
    fewer = _Bubbles(
        tuple(bubbles.ids[i] for i in some),
        bubbles.windows,
        tuple(members for members in shapes if len(members)),
        np.unique(bubbles.columns[some], return_inverse=True)[1],
    )
    seen = by_row(_halved(patches))
    return _views(seen, _blanks(seen, fewer), fewer.columns, pen)


def _halved(patches: FloatImage) -> FloatImage:
    """Patches (N, 45, 45) smoothed over three pixels each way, every second kept: (N, 23, 23)."""
    kept, between = patches[:, ::2] * np.float32(0.5), patches[:, 1::2] * np.float32(0.25)
    kept[:, 1:] += between
    kept[:, :-1] += between
    kept[:, 0] += between[:, 0]
    kept[:, -1] += between[:, -1]
    half, between = kept[:, :, ::2] * np.float32(0.5), kept[:, :, 1::2] * np.float32(0.25)
    half[:, :, 1:] += between
    half[:, :, :-1] += between
    half[:, :, 0] += between[:, :, 0]
    half[:, :, -1] += between[:, :, -1]
    return half


#: Of the bubbles of a shape and of a column, ordered by the ink in their middle, so many are blank on any
#: card but the fullest: their median shows the print. A column's third may be six bubbles.
_PALEST, _PALEST_OF_COLUMN = 0.25, 0.34
_LEAST_OF_COLUMN = 6


def _blanks(seen: FloatImage, bubbles: _Bubbles) -> FloatImage:
    """What the bubbles of each column look like without a hand, (C, 529), from the palest of this card."""
    masks = _masks()
    middle = seen @ masks.middle
    usual = np.empty((int(bubbles.columns.max()) + 1, seen.shape[1]), np.float32)
    for members in bubbles.shapes:
        usual[list(set(bubbles.columns[members].tolist()))] = _palest(seen, middle, members, _PALEST)
    # Around a bubble each column has print of its own, such as the figure beside a penalty bubble.
    for column in range(len(usual)):
        members = np.flatnonzero(bubbles.columns == column)
        if len(members) >= _LEAST_OF_COLUMN:
            own = _palest(seen, middle, members, _PALEST_OF_COLUMN)
            usual[column, masks.around] = own[masks.around]
    return usual


def _palest(seen: FloatImage, middle: FloatImage, members: NDArray[np.intp], share: float) -> FloatImage:
    """Median of the palest of some bubbles, (529,)."""
    count = max(round(len(members) * share), min(len(members), 3))
    return median_of_rows(seen[members[np.argsort(middle[members])[:count]]])


#: Marks of a card are measured against its pen, but no more than so many times what its darkest bubbles show:
#: a pen may be much paler in bubbles, or none may be known.
_ABOVE_DARKEST = 1.3
_PALEST_MARK, _DARKEST_MARKS = 0.08, 0.02


def _views(seen: FloatImage, blank: FloatImage, columns: NDArray[np.intp], pen: float) -> Views:
    """What the network looks at, given the halved patches (N, 529), blank ones by column, and the pen."""
    masks = _masks()
    inside = np.sort(seen[:, masks.inside], axis=1)
    dark = np.sort(inside[:, round(inside.shape[1] * 0.9)])
    top = float(dark[-max(3, round(len(dark) * _DARKEST_MARKS)) :].mean())
    scale = float(np.clip(min(pen, _ABOVE_DARKEST * top), _PALEST_MARK, 1.0))
    level = seen @ masks.middle
    palest = np.argsort(level)[: max(len(level) // 4, 1)]
    noise = median(seen[palest][:, masks.inside].std(axis=1))
    outline = float((blank @ masks.outline)[columns].mean())
    about = (scale, pen, top, noise + 0.003, float(level[palest].mean()) + 0.003, max(outline, 0.0) + 0.02)
    own, usual = (np.minimum(ink * np.float32(1 / scale), 2.0) for ink in (seen, blank))
    return Views(
        np.concatenate([own, own - usual[columns]], axis=1),
        _measures(own, usual, columns),
        np.append(np.log(np.array(about)), np.log(len(seen)) / 6).astype(np.float32),
    )


def _measures(own: FloatImage, usual: FloatImage, columns: NDArray[np.intp]) -> FloatImage:
    """Measures (N, 24) that no weighted sum gives: ranks, roughness, the shape of what was added."""
    masks = _masks()
    added, rim = own - _widened(usual)[columns], own[:, masks.rim] - usual[:, masks.rim][columns]
    inside, bare = (np.sort(ink[:, masks.inside], axis=1) for ink in (added, own))
    ring = np.sort(added[:, masks.ring], axis=1)
    steps = np.abs(own[:, 1:] - own[:, :-1])  # to the right; those past the edge lie in no mask
    steps[:, : 1 - VIEW_PX] += np.abs(own[:, VIEW_PX:] - own[:, :-VIEW_PX])
    arms = np.stack([np.sort(added[:, arm], axis=1)[:, -4:].mean(axis=1) for arm in masks.arms])
    drawn = np.maximum(added[:, masks.inside], 0)
    total, *moments = (drawn @ masks.moments).T
    mx, my, xx, yy, xy = (moment / np.maximum(total, 1e-3) for moment in moments)
    xx, yy, xy = xx - mx**2, yy - my**2, xy - mx * my
    middle, gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    inked = np.minimum(total / 4, 1)
    found = (
        *(_quantile(inside, percent) for percent in (10, 25, 50, 75, 90, 97)),
        *(_quantile(bare, percent) for percent in (10, 50, 90)),
        *(_quantile(ring, percent) for percent in (20, 50, 80, 95)),
        steps[:, masks.inside].mean(axis=1),
        steps[:, masks.ring].mean(axis=1),
        np.abs(rim).mean(axis=1),
        rim.mean(axis=1),
        np.sort(arms, axis=0)[0],
        np.sort(arms, axis=0)[1],
        arms.max(axis=0),
        np.sqrt(np.maximum(middle + gap, 0)) * inked,
        np.sqrt(np.maximum(middle - gap, 0)) * inked,
        np.hypot(mx, my) * inked,
        (inside > 0.35).mean(axis=1),
    )
    return np.asarray(np.clip(np.stack(found, axis=1), -2, 2), np.float32)


def _features(seen: FloatImage, blank: FloatImage, columns: NDArray[np.intp], pen: float) -> Floats:
    """Measures (N, 2) of what the hand added to the print."""
    masks = _masks()
    # The outline jitters by the error of registration: let it be a pixel wider than it is.
    by_hand = seen[:, masks.inside] - _widened(blank)[:, masks.inside][columns]
    ring = np.sort(seen[:, masks.ring] - blank[:, masks.ring][columns], axis=1)
    shade = np.clip(_quantile(ring, 20), -0.1, 0.25)[:, None]
    inside = np.sort(np.maximum(by_hand - shade, 0), axis=1)
    found = (
        _quantile(inside, 95) / pen,
        np.full(len(by_hand), pen),
    )
    return np.clip(np.stack(found, axis=1).astype(np.float64), 0, 2)


def _widened(blank: FloatImage) -> FloatImage:
    """Halved patches (N, 529), each pixel the darkest of the nine around it."""
    for axis in (1, 2):
        old = np.moveaxis(blank.reshape(-1, VIEW_PX, VIEW_PX), axis, 1)
        wide = old.copy()
        np.maximum(wide[:, 1:], old[:, :-1], out=wide[:, 1:])
        np.maximum(wide[:, :-1], old[:, 1:], out=wide[:, :-1])
        blank = np.moveaxis(wide, 1, axis)
    return np.asarray(blank.reshape(len(blank), -1), np.float32)


def _quantile(ranked: FloatImage, percent: float) -> FloatImage:
    """The value of the rank nearest to a percentile, along sorted rows."""
    return ranked[:, round((ranked.shape[1] - 1) * percent / 100)]


def pen_darkness(digits: FloatImage, bubbles: FloatImage) -> float:
    """Return the darkness of the pen used on this card: of the darkest strokes in digit boxes and bubbles.

    Falls back to that of a usual pencil (0.5) on a card with next to nothing on it.
    """
    inner = by_row(digits[:, 12:-12, 14:-14])
    inside = by_row(bubbles)[:, _inner_of_patch()]
    marked = inside[inside.mean(axis=1) > 0.15] if len(inside) else inside
    strokes = np.concatenate([inner[inner > 0.18], marked[marked > 0.18]])
    if strokes.size < 200:
        return 0.5
    return float(np.clip(percentile(strokes, 70), 0.22, 1.0))


@functools.cache
def _inner_of_patch() -> NDArray[np.intp]:
    """Places of a whole patch that are clear of the outline inside."""
    axis = (np.arange(_PATCH_PX) - (_PATCH_PX - 1) / 2) / PATCH_RADIUS_PX
    return np.flatnonzero(np.hypot(*np.meshgrid(axis, axis)).ravel() < _INNER)


def bubble_log_likelihoods(measured: BubbleInk) -> Mapping[str, tuple[float, float, float]]:
    """Return cell id -> natural log likelihoods of the ink given blank, filled, struck out."""
    if not measured.ids or measured.views is None:
        return {}
    logs = bubble_net().log_likelihoods(measured.views.bubbles, measured.views.measures, measured.views.card)
    rows = by_meaning(too_dark_for_a_ghost(logs, measured.views.measures[:, PALER_HALF])).tolist()
    return {cell: (b, f, c) for cell, (b, f, c) in zip(measured.ids, rows, strict=True)}


def too_dark_for_a_ghost(logs: NDArray[np.float64], darkness: FloatImage) -> NDArray[np.float64]:
    """Return log likelihoods (N, 5) given each of `CLASSES` with dark bubbles sooner filled than rubbed out.

    A rubber leaves some of the lead, never most of it: an even grey half as dark as this card's pen is a
    filled bubble whatever its texture. `darkness` (N,) is the median that a hand has added inside, in units
    of the card's pen.
    """
    low, high = _GHOST_DARK
    share = np.clip((darkness.astype(np.float64) - low) / (high - low), 0.0, _MOST_MOVED)
    found = logs.copy()
    with np.errstate(divide="ignore"):
        found[:, _FILLED] = np.logaddexp(logs[:, _FILLED], logs[:, _ERASED] + np.log(share))
    found[:, _ERASED] = logs[:, _ERASED] + np.log1p(-share)
    return found


def by_meaning(logs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log likelihoods (N, 5) given each of `CLASSES` -> (N, 3) given blank, filled, struck out.

    A bubble that was rubbed out is blank; a dot, a slash or a ring (the network's "unclear") may be either,
    and far sooner means a mark.
    """
    empty, filled, erased, struck, unclear = logs.T
    floor = np.log(_SURPRISE)
    blank = np.logaddexp(np.log1p(-_RUBBED_OUT - _STRAY) + empty, np.log(_RUBBED_OUT) + erased)
    blank = np.logaddexp(blank, np.log(_STRAY) + unclear)
    filled = np.logaddexp(np.log1p(-_SLOPPY) + filled, np.log(_SLOPPY) + unclear)
    columns = [np.logaddexp(np.log1p(-_SURPRISE) + column, floor) for column in (blank, filled, struck)]
    return np.stack(columns, axis=1)


@dataclass(frozen=True, slots=True)
class _Masks:
    """Parts of a halved patch.

    Attributes
    ----------
    inside, ring, around : places in it, clear of the outline inside, outside, and from the outline outwards
    middle : (529,) weights of the mean where the outline does not reach, however blurred
    outline : (529,) weights of how much darker the outline is than the middle
    rim : places on and beside the outline
    arms : places of the four diagonal arms outside
    moments : (inside, 6) 1, x, y, x², y², xy in radii
    """

    inside: NDArray[np.intp]
    ring: NDArray[np.intp]
    around: NDArray[np.intp]
    middle: FloatImage
    outline: FloatImage
    rim: NDArray[np.intp]
    arms: tuple[NDArray[np.intp], ...]
    moments: FloatImage


@functools.cache
def _masks() -> _Masks:
    axis = (np.arange(VIEW_PX) - (VIEW_PX - 1) / 2) / _VIEW_RADIUS_PX
    x, y = (side.ravel() for side in np.meshgrid(axis, axis))
    r, inside = np.hypot(x, y), np.hypot(x, y) < _INNER
    diagonal = (r > _RING[0]) & (np.abs(np.abs(x) - np.abs(y)) < 0.75 * np.maximum(np.abs(x), np.abs(y)))
    xi, yi = x[inside], y[inside]
    middle = (r < _MIDDLE) / (r < _MIDDLE).sum()
    outline = (np.abs(r - 0.95) < 0.1) / (np.abs(r - 0.95) < 0.1).sum()
    return _Masks(
        np.flatnonzero(inside),
        np.flatnonzero((r > _RING[0]) & (r < _RING[1])),
        np.flatnonzero(r > 1.1),
        middle.astype(np.float32),
        (outline - middle).astype(np.float32),
        np.flatnonzero(np.abs(r - 0.95) < 0.17),
        tuple(np.flatnonzero(diagonal & (x * sx > 0) & (y * sy > 0)) for sx in (-1, 1) for sy in (-1, 1)),
        np.stack([np.ones_like(xi), xi, yi, xi * xi, yi * yi, xi * yi], axis=1).astype(np.float32),
    )
