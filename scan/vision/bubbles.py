"""Ink of a bubble to the likelihood of each answer: blank, filled, cancelled.

A bubble is compared with the other bubbles of its shape on the same card: most are blank, so their pixelwise
median is what print, paper and camera alone look like here, and what exceeds it is the hand. Ink is then
measured against the pen of this card, so that a faint pencil is not a faint mark.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from forms.layout import Layout
from scan.vision.arrays import Bools, FloatImage, Floats, InkImage
from scan.vision.rectify import CARD_PX_PER_MM

#: Patch side in px, and the bubble's radius in it: a patch shows 1.6 radii around the centre.
_PATCH_PX, _RADIUS_PX = 45, 14.0
_INNER, _RING = 0.82, (1.18, 1.58)  # in radii: clear of the outline, inside and outside


@dataclass(frozen=True, slots=True)
class BubbleInk:
    """What was measured at the bubbles of a card, in the order of `ids`.

    Attributes
    ----------
    ids : cell ids
    cover : (N,) share of the inside that the hand darkened, 0 to 1
    dark : (N,) mean darkness of the inside in units of this card's pen
    arms : (N,) darkness of the weakest of the four diagonal arms outside, in units of the pen
    pen : darkness of this card's pen, in units of its black print
    """

    ids: tuple[str, ...]
    cover: Floats
    dark: Floats
    arms: Floats
    pen: float


def measure_bubbles(ink: InkImage, layout: Layout, pen: float) -> BubbleInk:
    """Return the ink of every bubble of a flat card; `pen` as from `pen_darkness`."""
    cells = [cell for cell in layout.cells if cell.kind == "bubble"]
    if not cells:
        empty = np.zeros(0)
        return BubbleInk((), empty, empty, empty, pen)
    patches = np.stack([_patch(ink, cell.box.centre.x, cell.box.centre.y, cell.box.w / 2) for cell in cells])
    by_hand = np.empty_like(patches)
    shapes = np.array([cell.shape for cell in cells])
    for shape in np.unique(shapes):
        of_shape = shapes == shape
        blank = np.median(patches[of_shape], axis=0)
        # The outline jitters by the error of registration: let it be a pixel wider than it is.
        blank = cv2.dilate(blank, np.ones((3, 3), np.uint8))
        by_hand[of_shape] = np.clip(patches[of_shape] - blank, 0, None)
    inner, sectors = _masks()
    inside = by_hand[:, inner]
    threshold = max(0.10, 0.35 * pen)
    cover = (inside > threshold).mean(axis=1)
    dark = inside.mean(axis=1) / pen
    arms = np.stack([np.sort(by_hand[:, s], axis=1)[:, -12:].mean(axis=1) for s in sectors], axis=1)
    return BubbleInk(
        tuple(cell.id for cell in cells),
        cover.astype(np.float64),
        dark.astype(np.float64),
        (arms.min(axis=1) / pen).astype(np.float64),
        pen,
    )


def pen_darkness(digit_patches: FloatImage, ink: InkImage, layout: Layout) -> float:
    """Return the darkness of the pen used on this card: of the darkest strokes in digit boxes and bubbles.

    Falls back to that of a usual pencil (0.5) on a card with next to nothing on it.
    """
    inner = digit_patches[:, 12:-12, 14:-14].reshape(len(digit_patches), -1)
    strokes = inner[inner > 0.18]
    bubbles = [
        _patch(ink, c.box.centre.x, c.box.centre.y, c.box.w / 2)[_masks()[0]]
        for c in layout.cells
        if c.kind == "bubble"
    ]
    if bubbles:
        means = np.stack(bubbles)
        marked = means[means.mean(axis=1) > 0.15]
        if len(marked):
            strokes = np.concatenate([strokes, marked[marked > 0.18]])
    if strokes.size < 200:
        return 0.5
    return float(np.clip(np.percentile(strokes, 70), 0.22, 1.0))


def bubble_log_likelihoods(measured: BubbleInk) -> Mapping[str, tuple[float, float, float]]:
    """Return cell id -> natural log likelihoods of the ink given blank, filled, cancelled or unclear.

    The densities below were set on simulated cards of the tuning set (docs/reading.md): what a bubble looks
    like when left alone, when marked in any of the accepted ways, and when dotted, slashed, ringed, erased or
    struck out.
    """
    strength = 0.5 * (measured.cover + np.clip(measured.dark, 0, 1.2))
    blank = 0.998 * _half_normal(strength, 0.025) + 0.002 * _half_normal(strength, 0.10) + 1e-9
    filled = _sigmoid((strength - 0.30) / 0.03) * 1.3 + 1e-9
    residue = 4.0 * _sigmoid((strength - 0.06) / 0.012) * _sigmoid((0.30 - strength) / 0.03)
    struck = _sigmoid((measured.arms - 0.55) / 0.06) * _sigmoid((strength - 0.62) / 0.04) * 4.0
    cancelled = 0.9 * residue + struck + 1e-9
    return {
        cell: (float(b), float(f), float(c))
        for cell, b, f, c in zip(measured.ids, np.log(blank), np.log(filled), np.log(cancelled), strict=True)
    }


def _half_normal(x: Floats, scale: float) -> Floats:
    return np.asarray(np.sqrt(2 / np.pi) / scale * np.exp(-0.5 * (x / scale) ** 2))


def _sigmoid(x: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -60, 60))))


def _patch(ink: InkImage, x_mm: float, y_mm: float, radius_mm: float) -> FloatImage:
    """Square patch around a bubble whose radius becomes `_RADIUS_PX`; outside the card it is paper."""
    scale = radius_mm * CARD_PX_PER_MM / _RADIUS_PX
    half = (_PATCH_PX - 1) / 2
    to_ink = np.array(
        [
            [scale, 0, x_mm * CARD_PX_PER_MM - 0.5 - half * scale],
            [0, scale, y_mm * CARD_PX_PER_MM - 0.5 - half * scale],
        ]
    )
    return np.asarray(
        cv2.warpAffine(
            ink,
            to_ink,
            (_PATCH_PX, _PATCH_PX),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        ),
        np.float32,
    )


@functools.cache
def _masks() -> tuple[Bools, list[Bools]]:
    """Inside of a bubble, and the four diagonal sectors of the ring outside it."""
    axis = np.arange(_PATCH_PX) - (_PATCH_PX - 1) / 2
    y, x = np.meshgrid(axis, axis, indexing="ij")
    r = np.hypot(x, y) / _RADIUS_PX
    ring = (r > _RING[0]) & (r < _RING[1])
    diagonal = np.abs(np.abs(x) - np.abs(y)) < 0.75 * np.maximum(np.abs(x), np.abs(y))
    sectors = [ring & diagonal & (x * sx > 0) & (y * sy > 0) for sx in (-1, 1) for sy in (-1, 1)]
    return r < _INNER, sectors
