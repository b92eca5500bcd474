"""Ink of a bubble to the likelihood of each answer: blank, filled, cancelled or unclear.

A bubble is compared with the other bubbles of its shape on the same card: most are blank, so their pixelwise
median is what print, paper and camera alone look like here, and what exceeds it is the hand. Where many are
filled only the palest are taken, and where all are, the inside is taken to be paper. The ink is
measured against the pen of this card, so that a faint pencil is not a faint mark, and against the paper just
outside the bubble, so that the shade of a fold is not a mark either. A dozen measures of the ink (how much,
how dark, where, of what shape) then go through a small trained classifier; `bubbles.json` holds its weights
and says what it was trained on.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from forms.layout import Layout
from scan.vision.arrays import Bools, FloatImage, Floats, by_row
from scan.vision.ink import CardInk, Windows, windows
from scan.vision.per_layout import once_a_layout

#: Patch side in px, and the bubble's radius in it: a patch shows 1.6 radii around the centre.
_PATCH_PX, _RADIUS_PX = 45, 14.0
_INNER, _RING = 0.82, (1.18, 1.5)  # in radii: clear of the outline inside, of outline and labels outside
_MIDDLE = 0.6

#: What is measured of a bubble, in the order of the columns of `BubbleInk.features`.
FEATURES = (
    "cover",  # share of the inside that the hand darkened
    "dark",  # mean darkness of the inside, in units of this card's pen; so are the next seven
    "darkest",  # 95th percentile of the inside
    "lightest",  # 10th percentile of the inside
    "core",  # mean within 0.4 radii
    "rim",  # mean from 0.55 radii to the outline
    "around",  # mean of the ring outside the outline
    "around_dark",  # 90th percentile of that ring
    "weakest_arm",  # the weakest of the four diagonal arms outside: a struck-out mark has all four
    "strongest_arm",
    "length",  # spread of the ink along its longest direction, in radii; a slash is long
    "width",  # and across it; a slash is narrow
    "pen",  # darkness of this card's pen, in units of its black print
)

#: Classes of the classifier. What is unclear or struck out counts as "cancelled" for the decoder.
CLASSES = ("blank", "filled", "unclear", "struck")

#: No likelihood is taken to be smaller than this: the training photos are simulated, and life has surprises.
_SURPRISE = 2e-4


@dataclass(frozen=True, slots=True)
class BubbleInk:
    """What was measured at the bubbles of a card: `features` (N, 13) in the order of `ids`."""

    ids: tuple[str, ...]
    features: Floats


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
    sides = np.array([cell.box.w / 2 * _PATCH_PX / _RADIUS_PX for cell in cells])
    shapes = np.array([cell.shape for cell in cells])
    columns = np.array([f"{cell.shape} {'.'.join(cell.id.split('.')[1:])}" for cell in cells])
    return _Bubbles(
        tuple(cell.id for cell in cells),
        windows([cell.box for cell in cells], sides, _PATCH_PX),
        tuple(np.flatnonzero(shapes == shape) for shape in np.unique(shapes)),
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
    by_hand = by_row(patches) - _blanks(by_row(patches), bubbles)
    return BubbleInk(bubbles.ids, _features(by_hand, pen))


#: The median of so many bubbles of a shape is as good as that of all of them.
_ENOUGH = 96
#: Mean ink in the middle of the palest blank bubbles of a card (5 of 100): 0.012 at most on tuning photos in
#: 38 conditions, in dusk. Nothing is printed there. Beyond this, none of a shape is blank.
_PALEST_PAPER = 0.03
#: The others that are blank show at most so many times as much and this much more, or this share of what the
#: darkest marks show and at most 0.08: print that shines through leaves nothing in some and 0.07 in others.
_ABOVE_PALEST = 2.0, 0.02
_OF_DARKEST, _MOST_PAPER = 0.15, 0.08
#: The median of all is that of blank bubbles up to this share of filled ones: it is then their rank 0.8, the
#: rank that is taken of them alone where more are filled. The classifier was trained on cards with less.
_MOSTLY_BLANK, _RANK_OF_BLANK = 0.625, 0.8
#: Rank that shows the print around filled bubbles only: few of them overrun at the same place.
_RANK_OF_FILLED = 0.2


def _blanks(patches: FloatImage, bubbles: _Bubbles) -> FloatImage:
    """What each bubble would look like without a hand, (N, 2025), from the others of this card."""
    masks = _masks()
    middle = np.take(patches, masks.middle, axis=1).mean(axis=1)
    usual = np.empty((int(bubbles.columns.max()) + 1, patches.shape[1]), np.float32)
    blank = np.zeros(len(patches), bool)
    for members in bubbles.shapes:
        blank[members] = _blank_like(middle[members])
        usual[np.unique(bubbles.columns[members])] = _usual(patches, members, blank[members])
    # Around a bubble each column has print of its own, such as the figure beside a penalty bubble. More than
    # half of a column may be filled, so the blank ones are looked for among the palest third, or among as
    # many as there are.
    around = masks.around
    beside = np.take(patches, around, axis=1)
    for column in range(len(usual)):
        members = np.flatnonzero(bubbles.columns == column)
        if len(members) >= 6:
            rank = min(0.3, max(float(blank[members].mean()), 0.05))
            usual[column, around] = np.maximum(_ranked(beside[members], rank), usual[column, around])
    # The outline jitters by the error of registration: let it be a pixel wider than it is.
    alike = [cv2.dilate(one.reshape(_PATCH_PX, _PATCH_PX), np.ones((3, 3), np.uint8)) for one in usual]
    wide = np.asarray(np.stack(alike), np.float32).reshape(usual.shape)
    for members in bubbles.shapes:
        if not blank[members].any():
            wide[np.ix_(np.unique(bubbles.columns[members]), masks.inside)] = 0.0
    return wide[bubbles.columns]


def _blank_like(middle: FloatImage) -> Bools:
    """Which bubbles of a shape hold no more ink than its palest few, (N,); none if those hold too much."""
    ranked = np.sort(middle)
    palest, darkest = float(ranked[len(ranked) // 20]), float(ranked[-1 - len(ranked) // 20])
    if palest > _PALEST_PAPER:
        return np.zeros(len(middle), bool)
    most = max(_ABOVE_PALEST[0] * palest + _ABOVE_PALEST[1], min(_OF_DARKEST * darkest, _MOST_PAPER))
    return np.asarray(middle <= most)


def _usual(patches: FloatImage, members: NDArray[np.intp], blank: Bools) -> FloatImage:
    """What bubbles of one shape look like without a hand, (2025,), by those that seem `blank`.

    Of none such it shows no more than the print around.
    """
    if blank.mean() >= _MOSTLY_BLANK:
        return _ranked(patches[_some(members)], 0.5)
    if blank.any():
        return _ranked(patches[_some(members[blank])], _RANK_OF_BLANK)
    return _ranked(patches[_some(members)], _RANK_OF_FILLED)


def _some(members: NDArray[np.intp]) -> NDArray[np.intp]:
    return members[:: -(-len(members) // _ENOUGH)]


def _ranked(patches: FloatImage, share: float) -> FloatImage:
    """The value of the rank `share` at each pixel of patches (N, P)."""
    # Sorted whole: NumPy sorts rows with wide registers, and one rank alone would take longer.
    by_pixel = np.ascontiguousarray(patches.T)
    by_pixel.sort(axis=1)
    return by_pixel[:, round((len(patches) - 1) * share)]


def _features(by_hand: FloatImage, pen: float) -> Floats:
    """Measures (N, 13) of patches (N, 2025) of what the hand added to the print."""
    masks = _masks()
    ring = np.take(by_hand, masks.ring, axis=1)
    ring_ranked = np.sort(ring, axis=1)
    shade = np.clip(_quantile(ring_ranked, 20), -0.1, 0.25)[:, None]
    ring = np.maximum(ring - shade, 0)
    ring_ranked = np.maximum(ring_ranked - shade, 0)
    inside = np.maximum(np.take(by_hand, masks.inside, axis=1) - shade, 0)
    inside_ranked = np.sort(inside, axis=1)
    marked = inside > max(0.08, 0.35 * pen)
    arms = [np.sort(ring[:, s], axis=1)[:, -12:].mean(axis=1) for s in masks.sectors]
    inside_mean, core, rim = (inside @ masks.parts).T
    length, width = _spread(inside, masks)
    columns = (
        marked.mean(axis=1),
        inside_mean / pen,
        _quantile(inside_ranked, 95) / pen,
        _quantile(inside_ranked, 10) / pen,
        core / pen,
        rim / pen,
        ring.mean(axis=1) / pen,
        _quantile(ring_ranked, 90) / pen,
        np.min(arms, axis=0) / pen,
        np.max(arms, axis=0) / pen,
        length,
        width,
        np.full(len(by_hand), pen),
    )
    return np.clip(np.stack(columns, axis=1).astype(np.float64), 0, 2)


def _quantile(ranked: FloatImage, percent: float) -> FloatImage:
    """The value of the rank nearest to a percentile, along sorted rows."""
    return ranked[:, round((ranked.shape[1] - 1) * percent / 100)]


def _spread(inside: FloatImage, masks: _Masks) -> tuple[Floats, Floats]:
    """Standard deviations of the ink inside along its long and short axis, in radii; 0 without ink."""
    total, *moments = (inside @ masks.moments).astype(np.float64).T
    mx, my, xx, yy, xy = (moment / np.maximum(total, 1e-6) for moment in moments)
    xx, yy, xy = xx - mx**2, yy - my**2, xy - mx * my
    middle, gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    inked = total > 3.0
    length = np.sqrt(np.maximum(middle + gap, 0)) * inked
    width = np.sqrt(np.maximum(middle - gap, 0)) * inked
    return np.asarray(length), np.asarray(width)


def pen_darkness(digits: FloatImage, bubbles: FloatImage) -> float:
    """Return the darkness of the pen used on this card: of the darkest strokes in digit boxes and bubbles.

    Falls back to that of a usual pencil (0.5) on a card with next to nothing on it.
    """
    inner = by_row(digits[:, 12:-12, 14:-14])
    inside = np.take(by_row(bubbles), _masks().inside, axis=1)
    marked = inside[inside.mean(axis=1) > 0.15] if len(inside) else inside
    strokes = np.concatenate([inner[inner > 0.18], marked[marked > 0.18]])
    if strokes.size < 200:
        return 0.5
    return float(np.clip(np.percentile(strokes, 70), 0.22, 1.0))


@dataclass(frozen=True, slots=True)
class Classifier:
    """Two hidden layers with tanh; `shares` are the classes' shares in training, `temperature` calibrates."""

    mean: Floats
    scale: Floats
    weights: tuple[Floats, ...]
    biases: tuple[Floats, ...]
    shares: Floats
    temperature: float

    def log_likelihoods(self, features: Floats) -> Floats:
        """Return (N, 4): natural log of p(class | ink) / p(class), the likelihood up to a constant."""
        hidden = (features - self.mean) / self.scale
        for weight, bias in zip(self.weights[:-1], self.biases[:-1], strict=True):
            hidden = np.tanh(hidden @ weight + bias)
        logits = (hidden @ self.weights[-1] + self.biases[-1]) / self.temperature
        logits -= logits.max(axis=1, keepdims=True)
        p = np.exp(logits)
        p = p / p.sum(axis=1, keepdims=True)
        return np.asarray(np.log((1 - _SURPRISE) * p / self.shares + _SURPRISE))


@functools.cache
def classifier() -> Classifier:
    """Return the classifier of this package."""
    data = json.loads(files("scan.vision").joinpath("bubbles.json").read_text("utf-8"))
    if tuple(data["features"]) != FEATURES:
        raise ValueError("bubbles.json was trained on other measures than this module takes")
    return Classifier(
        np.array(data["mean"]),
        np.array(data["scale"]),
        tuple(np.array(w) for w in data["weights"]),
        tuple(np.array(b) for b in data["biases"]),
        np.array(data["shares"]),
        float(data["temperature"]),
    )


def bubble_log_likelihoods(measured: BubbleInk) -> Mapping[str, tuple[float, float, float]]:
    """Return cell id -> natural log likelihoods of the ink given blank, filled, cancelled or unclear."""
    if not measured.ids:
        return {}
    blank, filled, unclear, struck = classifier().log_likelihoods(measured.features).T
    cancelled = np.logaddexp(unclear, struck) - np.log(2)
    return {
        cell: (float(b), float(f), float(c))
        for cell, b, f, c in zip(measured.ids, blank, filled, cancelled, strict=True)
    }


@dataclass(frozen=True, slots=True)
class _Masks:
    """Parts of a patch.

    Attributes
    ----------
    inside, ring : places in a patch of 2025 pixels
    middle : places inside that the outline does not reach, however blurred and however small the bubble
    around : places of the ring and some pixels more on each side
    sectors : places in the ring of its four diagonal arms
    parts : (inside, 3) weights that make the means of the inside, of its core and of its rim
    moments : (inside, 6) 1, x, y, x², y², xy in radii
    """

    inside: NDArray[np.intp]
    middle: NDArray[np.intp]
    ring: NDArray[np.intp]
    around: NDArray[np.intp]
    sectors: tuple[NDArray[np.intp], ...]
    parts: FloatImage
    moments: FloatImage


@functools.cache
def _masks() -> _Masks:
    axis = (np.arange(_PATCH_PX) - (_PATCH_PX - 1) / 2) / _RADIUS_PX
    y, x = np.meshgrid(axis, axis, indexing="ij")
    r = np.hypot(x, y)
    inside, ring = r < _INNER, (r > _RING[0]) & (r < _RING[1])
    diagonal = np.abs(np.abs(x) - np.abs(y)) < 0.75 * np.maximum(np.abs(x), np.abs(y))
    sectors = [diagonal & (x * sx > 0) & (y * sy > 0) for sx in (-1, 1) for sy in (-1, 1)]
    xi, yi, ri = x[inside], y[inside], r[inside]
    parts = np.stack([np.ones_like(ri), ri < 0.4, ri > 0.55], axis=1)
    return _Masks(
        np.flatnonzero(inside),
        np.flatnonzero(r < _MIDDLE),
        np.flatnonzero(ring),
        np.flatnonzero((r > 1.1) & (r < _RING[1] + 0.15)),
        tuple(np.flatnonzero(sector[ring]) for sector in sectors),
        (parts / parts.sum(axis=0)).astype(np.float32),
        np.stack([np.ones_like(xi), xi, yi, xi * xi, yi * yi, xi * yi], axis=1).astype(np.float32),
    )
