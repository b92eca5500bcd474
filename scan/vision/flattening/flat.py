"""Flat pictures of a card, whole or in part, through its registration: homography, lens and bend at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import GrayImage, Homography, PointsMm
from shortpencil.scan.vision.finding.lens import Lens, through
from shortpencil.scan.vision.flattening.bend import Bend
from shortpencil.scan.vision.opening.levels import Levels, levels_of, remapped

#: Resolution of the flat picture: a stroke of 0.4 mm is 2.4 px wide; the digit network looks at 3.7 px/mm.
CARD_PX_PER_MM = 6.0
_MESH_MM = 4.0


@dataclass(frozen=True, slots=True)
class Registration:
    """How the card lies in the photo.

    Attributes
    ----------
    card_to_photo : (3, 3) homography from bent-back mm to px, of the straight picture if there is a lens
    bend : local displacement in mm, applied before the homography
    studs_found, studs_total : how many landmarks supported it
    residual_mm : median misfit left at the studs found
    px_per_mm : resolution of the photo on the card, mean over the sheet
    lens : None where it keeps straight lines straight, or where nothing tells
    tiles_found : share of the parts of the sheet whose outlines were found near where they should be
    """

    card_to_photo: Homography
    bend: Bend
    studs_found: int
    studs_total: int
    residual_mm: float
    px_per_mm: float
    lens: Lens | None = None
    tiles_found: float = 1.0

    def to_photo(self, points: PointsMm) -> PointsMm:
        """Photo px (N, 2) of card points (N, 2)."""
        return through(self.lens, self.card_to_photo, points + self.bend.at(points))


def resolution(card_to_photo: Homography, layout: Layout, lens: Lens | None = None) -> float:
    """Return photo px per mm of card, mean over the sheet."""
    w, h = layout.paper.width_mm, layout.paper.height_mm
    around = np.array([(0, 0), (w, 0), (w, h), (0, h)], float)
    if lens is not None:  # the sheet's edges are bowed
        shares = np.arange(8)[:, None] / 8
        around = np.vstack(
            [a + shares * (b - a) for a, b in zip(around, np.roll(around, -1, 0), strict=True)]
        )
    outline = through(lens, card_to_photo, around).astype(np.float32)
    return float(np.sqrt(cv2.contourArea(outline) / (w * h)))


def px_slice(box: Box, px_per_mm: float = CARD_PX_PER_MM) -> tuple[slice, slice]:
    """Return (rows, columns) of a box of the card in the flat picture."""
    x0, y0 = round(box.x * px_per_mm), round(box.y * px_per_mm)
    x1, y1 = round(box.right * px_per_mm), round(box.bottom * px_per_mm)
    return slice(max(y0, 0), max(y1, 0)), slice(max(x0, 0), max(x1, 0))


def flatten(
    photo: GrayImage | Levels, registration: Registration, layout: Layout, px_per_mm: float = CARD_PX_PER_MM
) -> tuple[GrayImage, GrayImage]:
    """Return the flat card and a mask (255 where the photo covers it), both (H, W).

    Pixel (column, row) shows the card at ((column + 0.5) / px_per_mm, (row + 0.5) / px_per_mm) mm.
    """
    levels = levels_of(photo)
    width_mm, height_mm = layout.paper.width_mm, layout.paper.height_mm
    width, height = round(width_mm * px_per_mm), round(height_mm * px_per_mm)
    gray, scale = levels.coarsest(registration.px_per_mm, px_per_mm)
    coarse = ((_mesh(registration, width_mm, height_mm) + 0.5) * scale - 0.5).astype(np.float32)
    ny, nx = coarse.shape[:2]
    cell = round(_MESH_MM * px_per_mm)
    # The map is smooth: between the points of the mesh it is interpolated. Over 4 mm, perspective departs
    # from a straight line by some hundredths of a pixel.
    at = cv2.resize(coarse, (nx * cell, ny * cell), interpolation=cv2.INTER_LINEAR)[:height, :width]
    flat = remapped(gray, np.asarray(at, np.float32))
    last = np.array([gray.shape[1] - 1, gray.shape[0] - 1])
    if (coarse >= 0).all() and (coarse <= last).all():
        return flat, np.full((height, width), 255, np.uint8)
    covered = ((at >= 0) & (at <= last)).all(axis=2)
    return flat, np.where(covered, 255, 0).astype(np.uint8)


def cut(photo: GrayImage | Levels, registration: Registration, box: Box, px_per_mm: float) -> GrayImage:
    """Return a flat picture of a part of the card, from the photo itself and as sharp as it is there."""
    return cuts(photo, registration, [box], px_per_mm)[0]


def cuts(
    photo: GrayImage | Levels, registration: Registration, boxes: Sequence[Box], px_per_mm: float
) -> list[GrayImage]:
    """Return flat pictures of parts of the card, from the photo itself and as sharp as they are there."""
    gray, cell = levels_of(photo).gray, round(_MESH_MM * px_per_mm)
    meshes = [_mesh_of(box) for box in boxes]
    if not meshes:
        return []
    photo_points = registration.to_photo(np.vstack([mesh.reshape(-1, 2) for mesh in meshes]))
    parts, first = [], 0
    for box, mesh in zip(boxes, meshes, strict=True):
        ny, nx = mesh.shape[:2]
        coarse = photo_points[first : first + ny * nx].reshape(mesh.shape).astype(np.float32)
        first += ny * nx
        at = cv2.resize(coarse, (nx * cell, ny * cell), interpolation=cv2.INTER_LINEAR)
        at = at[cell : cell + round(box.h * px_per_mm), cell : cell + round(box.w * px_per_mm)]
        parts.append(remapped(gray, np.asarray(at, np.float32)))
    return parts


@lru_cache(maxsize=256)  # most are asked for in every photo
def _mesh_of(box: Box) -> PointsMm:
    """Middles (ny, nx, 2) of the mesh cells that cover a box and one more on each side, mm."""
    nx, ny = (int(np.ceil(side / _MESH_MM)) + 2 for side in (box.w, box.h))
    xs, ys = box.x + (np.arange(nx) - 0.5) * _MESH_MM, box.y + (np.arange(ny) - 0.5) * _MESH_MM
    mesh = np.stack(np.meshgrid(xs, ys), axis=-1)
    mesh.flags.writeable = False
    return mesh


def _mesh(registration: Registration, width_mm: float, height_mm: float) -> PointsMm:
    """Photo points (ny, nx, 2) of the middles of mesh cells of 4 mm that cover the sheet.

    The bend is worked out on every second line of the mesh and interpolated by cubics: a spline with two
    hundred knots is dear. One cell more on each side keeps the sheet's edges true.
    """
    nx, ny = (int(np.ceil(side / _MESH_MM)) for side in (width_mm, height_mm))
    wide, high = -(-nx // 2) + 2, -(-ny // 2) + 2
    far = 2 * _MESH_MM
    xs, ys = (np.arange(wide) - 0.5) * far, (np.arange(high) - 0.5) * far
    bend = registration.bend.at(np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)).reshape(high, wide, 2)
    fine = cv2.resize(bend, (2 * wide, 2 * high), interpolation=cv2.INTER_CUBIC)[2 : 2 + ny, 2 : 2 + nx]
    xs, ys = (np.arange(nx) + 0.5) * _MESH_MM, (np.arange(ny) + 0.5) * _MESH_MM
    points = np.asarray(np.stack(np.meshgrid(xs, ys), axis=-1) + fine, np.float64)
    at = through(registration.lens, registration.card_to_photo, points.reshape(-1, 2))
    return at.reshape(ny, nx, 2)
