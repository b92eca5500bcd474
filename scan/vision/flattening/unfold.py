"""Lays a card flat: by marks, studs and outlines, and along its rules where these show that it is still bent.

Between the studs a fold moves cells by millimetres, up or down most of all, since the paper stands up there
and is seen aslant. Rules tell that movement; tiles of outlines, upright ones too, then tell the one to the
left or right. Of a card that lies flat nothing changes.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import Bools, Floats, GrayImage, PointsMm
from shortpencil.scan.vision.finding.grouping import Corners
from shortpencil.scan.vision.flattening.bend import Bend, apart, plausible, spline
from shortpencil.scan.vision.flattening.flat import Registration, flatten
from shortpencil.scan.vision.flattening.outlines import (
    OUTLINE_PX_PER_MM,
    thin_lines,
    tile_offsets,
    upright_outlines_of,
)
from shortpencil.scan.vision.flattening.rectify import OUTLINE_SMOOTHING, Anchors, register
from shortpencil.scan.vision.flattening.rules import BENT_MM, Traced, is_bent, rules_of, trace, with_pale
from shortpencil.scan.vision.opening.levels import Levels

#: A knot every 16 mm of a rule, every 4 mm where it is off by a third of what counts as bent.
_KNOT_BINS, _BENT_KNOT_BINS = 8, 2
#: So near to a knot of a rule, the rules tell what is up and down; elsewhere the tiles do.
_NEAR_RULES_MM = 12.0
#: Once the rules are straight, tiles that are off by more up or down fit by chance.
_AGREES_MM = 0.4
_TILE_REACH_MM = 2.1


def lay_flat(levels: Levels, corners: Corners, layout: Layout) -> tuple[Registration, GrayImage, GrayImage]:
    """Return how a card lies in the photo, its flat picture and what of it is covered, as `flatten` does."""
    registration, anchors = register(levels, corners, layout)
    flat, covered = flatten(levels, registration, layout)
    lines = _lines(flat, covered, layout)
    dark = trace(lines, layout, rules_of(layout).dark)
    if not is_bent(dark):
        return registration, flat, covered
    registration = _along(with_pale(lines, layout, dark), levels, registration, anchors, layout)
    return registration, *flatten(levels, registration, layout)


def _lines(flat: GrayImage, covered: GrayImage, layout: Layout) -> GrayImage:
    """Thin lines at 4 px/mm of a finer flat picture."""
    k = OUTLINE_PX_PER_MM
    size = round(layout.paper.width_mm * k), round(layout.paper.height_mm * k)
    coarse = np.asarray(cv2.resize(flat, size, interpolation=cv2.INTER_LINEAR), np.uint8)
    if covered.min() == 255:
        return thin_lines(coarse, None)
    shown = np.asarray(cv2.resize(covered, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    return thin_lines(coarse, shown)


def _along(
    rules: Traced, levels: Levels, bent: Registration, anchors: Anchors, layout: Layout
) -> Registration:
    """Return the registration bent along the rules, then looked over by tiles once more."""
    places, down = _knots(rules, bent.bend, layout)
    tiles = bent.bend.knots[len(anchors.knots) :]
    bend = apart(bent.bend, _down(anchors, tiles, bent.bend.at(tiles), places, down))
    straight = replace(bent, bend=bend)
    lines = thin_lines(*flatten(levels, straight, layout, OUTLINE_PX_PER_MM))
    centres, off = tile_offsets(lines, layout, _TILE_REACH_MM, 1, upright_outlines_of(layout))
    good = _believed(centres, off, bend, places)
    centres, told = centres[good], bend.at(centres[good]) + off[good]
    across = spline(np.vstack([anchors.knots, centres]), np.vstack([anchors.values, told]), OUTLINE_SMOOTHING)
    return replace(bent, bend=apart(across, _down(anchors, centres, told, places, down)))


def _knots(rules: Traced, bend: Bend, layout: Layout) -> tuple[PointsMm, Floats]:
    """Points (N, 2) of the rules that were seen, and how far the paper has carried each down (N,), mm."""
    printed = rules_of(layout)
    bins = np.arange(len(printed.xs))
    often = (np.abs(rules.down_mm) > BENT_MM / 3) & (bins % _BENT_KNOT_BINS == 0)
    chosen = rules.seen & (often | (bins % _KNOT_BINS == 0))
    row, column = np.nonzero(chosen)
    places = np.stack([printed.xs[column], printed.ys[row]], axis=1)
    return places, bend.at(places)[:, 1] + rules.down_mm[chosen]


def _down(anchors: Anchors, tiles: PointsMm, told: PointsMm, places: PointsMm, down: Floats) -> Bend:
    """Return the bend whose y the rules tell, and the tiles that are far from any rule."""
    far = _far_from(tiles, places)
    knots = np.vstack([anchors.knots, tiles[far], places])
    values = np.concatenate([anchors.values[:, 1], told[far, 1], down])
    return spline(knots, np.stack([values, values], axis=1), OUTLINE_SMOOTHING)


def _believed(centres: PointsMm, off: PointsMm, bend: Bend, places: PointsMm) -> Bools:
    """Which tiles (N,) to believe: those that leave straight rules straight, and far from rules as ever."""
    usual = plausible(centres, bend.at(centres) + off, np.ones(len(centres), bool))
    return np.where(_far_from(centres, places), usual, np.abs(off[:, 1]) < _AGREES_MM)


def _far_from(points: PointsMm, places: PointsMm) -> Bools:
    apart = np.hypot(points[:, :1] - places[:, 0], points[:, 1:] - places[:, 1])
    return np.asarray(apart.min(axis=1, initial=np.inf) > _NEAR_RULES_MM)
