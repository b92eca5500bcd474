"""Ink of a bubble to the likelihood of each answer: blank, filled, cancelled or unclear.

A bubble is compared with the other bubbles of its shape on the same card: most are blank, so their pixelwise
median is what print, paper and camera alone look like here, and what exceeds it is the hand. The ink is
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

from forms.geometry import Box
from forms.layout import Cell, Layout
from scan.vision.arrays import Bools, FloatImage, Floats, InkImage
from scan.vision.ink import window

#: Patch side in px, and the bubble's radius in it: a patch shows 1.6 radii around the centre.
_PATCH_PX, _RADIUS_PX = 45, 14.0
_INNER, _RING = 0.82, (1.18, 1.5)  # in radii: clear of the outline inside, of outline and labels outside

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


def bubble_patches(ink: InkImage, layout: Layout) -> FloatImage:
    """Return (N, 45, 45) patches around the bubbles of a layout, in its order."""
    boxes = [cell.box for cell in layout.cells if cell.kind == "bubble"]
    return (
        np.stack([_patch(ink, box) for box in boxes])
        if boxes
        else np.zeros((0, _PATCH_PX, _PATCH_PX), np.float32)
    )


def measure_bubbles(patches: FloatImage, layout: Layout, pen: float) -> BubbleInk:
    """Return the ink of every bubble; `patches` as from `bubble_patches`, `pen` as from `pen_darkness`."""
    cells = [cell for cell in layout.cells if cell.kind == "bubble"]
    if not cells:
        return BubbleInk((), np.zeros((0, len(FEATURES))))
    return BubbleInk(tuple(cell.id for cell in cells), _features(patches - _blanks(patches, cells), pen))


def _blanks(patches: FloatImage, cells: list[Cell]) -> FloatImage:
    """What each bubble would look like without a hand, (N, 45, 45), from the others of this card."""
    blanks = np.empty_like(patches)
    shapes = np.array([cell.shape for cell in cells])
    for shape in np.unique(shapes):
        blanks[shapes == shape] = np.median(patches[shapes == shape], axis=0)
    # Around a bubble each column has print of its own, such as the figure beside a penalty bubble. More than
    # half of a column may be filled, so the blank ones are looked for among the palest third.
    columns = np.array([".".join(cell.id.split(".")[1:]) for cell in cells])
    outside = ~_masks().disc
    for column in np.unique(columns):
        of_column = columns == column
        if of_column.sum() >= 6:
            palest = np.percentile(patches[of_column], 30, axis=0).astype(np.float32)
            blanks[of_column] = np.where(outside, np.maximum(palest, blanks[of_column]), blanks[of_column])
    # The outline jitters by the error of registration: let it be a pixel wider than it is.
    return np.stack([cv2.dilate(blank, np.ones((3, 3), np.uint8)) for blank in blanks])


def _features(by_hand: FloatImage, pen: float) -> Floats:
    """Measures (N, 13) of patches (N, 45, 45) of what the hand added to the print."""
    masks = _masks()
    ring = by_hand[:, masks.ring]
    shade = np.clip(np.percentile(ring, 20, axis=1), -0.1, 0.25)
    hand = np.clip(by_hand - shade[:, None, None], 0, None)
    inside, ring = hand[:, masks.inside], hand[:, masks.ring]
    marked = inside > max(0.08, 0.35 * pen)
    arms = np.stack([np.sort(hand[:, s], axis=1)[:, -12:].mean(axis=1) for s in masks.sectors], axis=1)
    length, width = _spread(hand, masks)
    columns = (
        marked.mean(axis=1),
        inside.mean(axis=1) / pen,
        np.percentile(inside, 95, axis=1) / pen,
        np.percentile(inside, 10, axis=1) / pen,
        hand[:, masks.core].mean(axis=1) / pen,
        hand[:, masks.rim].mean(axis=1) / pen,
        ring.mean(axis=1) / pen,
        np.percentile(ring, 90, axis=1) / pen,
        arms.min(axis=1) / pen,
        arms.max(axis=1) / pen,
        length,
        width,
        np.full(len(hand), pen),
    )
    return np.clip(np.stack(columns, axis=1).astype(np.float64), 0, 2)


def _spread(hand: FloatImage, masks: _Masks) -> tuple[Floats, Floats]:
    """Standard deviations of the ink inside along its long and short axis, in radii; 0 without ink."""
    weight = hand[:, masks.inside].astype(np.float64)
    x, y = masks.x[masks.inside], masks.y[masks.inside]
    total = weight.sum(axis=1)
    safe = np.maximum(total, 1e-6)
    mx, my = weight @ x / safe, weight @ y / safe
    xx = weight @ (x * x) / safe - mx**2
    yy = weight @ (y * y) / safe - my**2
    xy = weight @ (x * y) / safe - mx * my
    middle, gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    inked = total > 3.0
    length = np.sqrt(np.maximum(middle + gap, 0)) * inked
    width = np.sqrt(np.maximum(middle - gap, 0)) * inked
    return np.asarray(length), np.asarray(width)


def pen_darkness(digits: FloatImage, bubbles: FloatImage) -> float:
    """Return the darkness of the pen used on this card: of the darkest strokes in digit boxes and bubbles.

    Falls back to that of a usual pencil (0.5) on a card with next to nothing on it.
    """
    inner = digits[:, 12:-12, 14:-14].reshape(len(digits), -1)
    inside = bubbles[:, _masks().inside]
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


def _patch(ink: InkImage, box: Box) -> FloatImage:
    """Square patch (45, 45) around a bubble whose radius becomes `_RADIUS_PX`."""
    return window(ink, box.centre, box.w / 2 * _PATCH_PX / _RADIUS_PX, _PATCH_PX)


@dataclass(frozen=True, slots=True)
class _Masks:
    """Parts of a patch, (45, 45) bool each, and its coordinates in radii."""

    disc: Bools
    inside: Bools
    core: Bools
    rim: Bools
    ring: Bools
    sectors: tuple[Bools, ...]
    x: Floats
    y: Floats


@functools.cache
def _masks() -> _Masks:
    axis = (np.arange(_PATCH_PX) - (_PATCH_PX - 1) / 2) / _RADIUS_PX
    y, x = np.meshgrid(axis, axis, indexing="ij")
    r = np.hypot(x, y)
    ring = (r > _RING[0]) & (r < _RING[1])
    diagonal = np.abs(np.abs(x) - np.abs(y)) < 0.75 * np.maximum(np.abs(x), np.abs(y))
    sectors = tuple(ring & diagonal & (x * sx > 0) & (y * sy > 0) for sx in (-1, 1) for sy in (-1, 1))
    return _Masks(r < 1.1, r < _INNER, r < 0.4, (r > 0.55) & (r < _INNER), ring, sectors, x, y)
