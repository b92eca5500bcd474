"""Corner marks to a flat picture of the card: homography first, then a correction for paper that is not flat.

The correction is measured at the studs, the small black squares printed between the rows: each is looked for
near the place where the homography expects it, and the misfits, smoothed by a thin-plate spline (Bookstein
1989), bend the sheet back.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import cv2
import numpy as np

from forms.geometry import Box
from forms.layout import STUD_MM, Layout
from scan.vision.arrays import Bools, FloatImage, Floats, GrayImage, Homography, PointsMm, project
from scan.vision.corners import Corners, fit_card, model_corners

#: Resolution of the flat picture. A digit box of 5 mm is 40 px wide, twice what the digit network looks at.
CARD_PX_PER_MM = 8.0

_STUD_PX_PER_MM = 8.0
#: How far a stud may lie from where it is expected, look by look: each look expects it where the last one's
#: studs say. The second reaches far for those that a strong bend has carried away; the last is fine.
_STUD_REACH_MM = (4.0, 7.0, 1.6)
_STUD_MIN_SCORE = (0.70, 0.66, 0.55)  # normalised correlation; a blank or inked patch scores below 0.5
_MESH_MM = 4.0


@dataclass(frozen=True, slots=True)
class Bend:
    """Displacement field of the paper: where a point of the card really lies, minus where it should, in mm.

    A thin-plate spline through `knots` (N, 2); `weights` (N + 3, 2). No knots: flat.
    """

    knots: PointsMm
    weights: Floats

    def at(self, points: PointsMm) -> PointsMm:
        """Displacement (M, 2) at `points` (M, 2)."""
        if len(self.knots) == 0:
            return np.zeros_like(points)
        basis = np.hstack([_radial(points, self.knots), np.ones((len(points), 1)), points])
        return np.asarray(basis @ self.weights)


FLAT = Bend(np.zeros((0, 2)), np.zeros((0, 2)))


@dataclass(frozen=True, slots=True)
class Anchors:
    """Points of the card whose displacement was measured by sight: `knots` (N, 2) and `values` (N, 2), mm."""

    knots: PointsMm
    values: PointsMm


@dataclass(frozen=True, slots=True)
class Registration:
    """How the card lies in the photo.

    Attributes
    ----------
    card_to_photo : (3, 3) homography from bent-back mm to px
    bend : local displacement in mm, applied before the homography
    studs_found, studs_total : how many landmarks supported it
    residual_mm : median misfit left at the studs found
    px_per_mm : resolution of the photo on the card, mean over the sheet
    """

    card_to_photo: Homography
    bend: Bend
    studs_found: int
    studs_total: int
    residual_mm: float
    px_per_mm: float

    def to_photo(self, points: PointsMm) -> PointsMm:
        """Photo px (N, 2) of card points (N, 2)."""
        return project(self.card_to_photo, points + self.bend.at(points))


def register(gray: GrayImage, corners: Corners, layout: Layout) -> Registration:
    """Return how a card of that layout lies in the photo."""
    transform, _ = fit_card(corners.marks, layout.paper)
    scale = resolution(transform, layout)
    studs = np.array([(p.x, p.y) for p in layout.studs]).reshape(-1, 2)
    marks_card = np.vstack([model_corners(layout.paper, marker) for marker in corners.marks])
    marks_photo = np.vstack([mark.corners for mark in corners.marks.values()])
    marks_off = _back(transform, marks_photo) - marks_card
    # The marks' own corners already tell a little about the bend.
    bend, found, residual = spline(marks_card, marks_off, smoothing=0.05), np.zeros(len(studs), bool), 0.0
    for look, (reach, floor) in enumerate(zip(_STUD_REACH_MM, _STUD_MIN_SCORE, strict=True)):
        if look == 1 and found.all():
            continue  # nothing was carried far away
        off, scores = _stud_offsets(gray, transform, bend, studs, reach)
        found = scores >= floor
        measured = bend.at(studs) + off
        found &= plausible(studs, measured, found)
        knots = np.vstack([marks_card, studs[found]])
        values = np.vstack([marks_off, measured[found]])
        bend = spline(knots, values, smoothing=0.02)
        left = np.linalg.norm(bend.at(studs[found]) - measured[found], axis=1)
        residual = float(np.median(left)) if len(left) else 0.0  # a form without rows has no studs
    rough = Registration(transform, bend, int(found.sum()), len(studs), residual, scale)
    anchors = Anchors(np.vstack([marks_card, studs[found]]), np.vstack([marks_off, bend.at(studs[found])]))
    return settle(gray, rough, layout, anchors)


def settle(gray: GrayImage, rough: Registration, layout: Layout, anchors: Anchors) -> Registration:
    """Return the registration corrected by the printed outlines, tile by tile.

    The outlines of all boxes and bubbles in a tile are laid over the picture and moved until they fit best.
    One outline may be inked over; a dozen together are not mistaken. A tile that fits nowhere well, as under
    a thumb, says nothing.
    """
    wanted = outline_picture(layout)
    current = rough
    for tile_mm, reach_mm in ((26.0, 2.6), (18.0, 1.1)):
        if reach_mm > 2 and rough.studs_found >= 0.9 * rough.studs_total > 0 and _is_nearly_flat(anchors):
            continue  # the fine look reaches far enough
        flat, covered = flatten(gray, current, layout, TILE_PX_PER_MM)
        lines = _thin_lines(flat)
        lines[covered == 0] = 0
        centres, off = _tile_offsets(lines, wanted, tile_mm, reach_mm)
        if len(centres) < 4:
            continue
        measured = current.bend.at(centres) + off
        good = plausible(centres, measured, np.ones(len(centres), bool))
        knots = np.vstack([anchors.knots, centres[good]])
        values = np.vstack([anchors.values, measured[good]])
        bend = spline(knots, values, smoothing=0.004)
        left = np.linalg.norm(bend.at(centres[good]) - measured[good], axis=1)
        current = replace(current, bend=bend, residual_mm=float(np.median(left)))
    return current


def _is_nearly_flat(anchors: Anchors) -> bool:
    """Say whether no mark or stud lies further than 0.8 mm from where flat paper would have it."""
    return bool(np.abs(anchors.values).max() < 0.8)


TILE_PX_PER_MM = 4.0
_MIN_TILE_SCORE = 0.25  # ink and shadows alone correlate below 0.15 with outlines that are not there


@functools.lru_cache(maxsize=8)
def outline_picture(layout: Layout) -> FloatImage:
    """Return the outlines of all boxes and bubbles of a layout as a picture, 1 on the line, 0 elsewhere."""
    k, fine = TILE_PX_PER_MM, 16.0
    size = (round(layout.paper.width_mm * k), round(layout.paper.height_mm * k))
    picture = np.zeros((size[1], size[0]), np.uint8)
    shift = 4  # OpenCV draws at 1/16 px

    def at(x_mm: float, y_mm: float) -> tuple[int, int]:
        return round((x_mm * k - 0.5) * fine), round((y_mm * k - 0.5) * fine)

    for cell in layout.cells:
        box = cell.box.grown(-0.14)
        if cell.shape == "round":
            centre = at(box.centre.x, box.centre.y)
            cv2.circle(picture, centre, round(box.w / 2 * k * fine), 255, 1, cv2.LINE_AA, shift)
        elif cell.kind != "words":
            cv2.rectangle(picture, at(box.x, box.y), at(box.right, box.bottom), 255, 1, cv2.LINE_AA, shift)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.6), np.float32) / 255.0


def _thin_lines(flat: GrayImage) -> FloatImage:
    """What is narrower than 1.5 mm and darker than around it; strokes are cut to the strength of print."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    dark = cv2.morphologyEx(flat, cv2.MORPH_BLACKHAT, kernel).astype(np.float32)
    usual = max(float(np.percentile(dark, 90)), 4.0)
    return np.asarray(np.minimum(dark, 1.5 * usual), np.float32)


def _tile_offsets(
    lines: FloatImage, wanted: FloatImage, tile_mm: float, reach_mm: float
) -> tuple[PointsMm, PointsMm]:
    """Centres (N, 2) of the tiles that fit somewhere, and where, relative to expectation (N, 2), mm."""
    k = TILE_PX_PER_MM
    side, reach = round(tile_mm * k), round(reach_mm * k)
    padded = cv2.copyMakeBorder(lines, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0.0)
    height, width = wanted.shape
    centres, offsets = [], []
    for y in range(0, height - side // 2, side * 2 // 3):
        for x in range(0, width - side // 2, side * 2 // 3):
            template = wanted[y : y + side, x : x + side]
            # Lines in one direction only would let the tile slide along them: boxes and circles have both.
            if template.sum() < 0.6 * side:
                continue
            h, w = template.shape
            region = padded[y : y + h + 2 * reach, x : x + w + 2 * reach]
            response = np.asarray(cv2.matchTemplate(region, template, cv2.TM_CCOEFF_NORMED), np.float32)
            row, column = np.unravel_index(int(np.argmax(response)), response.shape)
            best = float(response[row, column])
            at_edge = row in (0, response.shape[0] - 1) or column in (0, response.shape[1] - 1)
            if best < _MIN_TILE_SCORE or at_edge:
                continue
            dx, dy = _peak(response, int(row), int(column))
            weight = template.sum(axis=0) @ np.arange(w), template.sum(axis=1) @ np.arange(h)
            middle = np.array(weight) / template.sum()
            centres.append(((x + middle[0] + 0.5) / k, (y + middle[1] + 0.5) / k))
            offsets.append(((column + dx - reach) / k, (row + dy - reach) / k))
    return np.array(centres).reshape(-1, 2), np.array(offsets).reshape(-1, 2)


def resolution(card_to_photo: Homography, layout: Layout) -> float:
    """Return photo px per mm of card, mean over the sheet."""
    w, h = layout.paper.width_mm, layout.paper.height_mm
    corner_points = np.array([(0, 0), (w, 0), (w, h), (0, h)], float)
    quad = project(card_to_photo, corner_points).astype(np.float32)
    return float(np.sqrt(cv2.contourArea(quad) / (w * h)))


def _back(transform: Homography, points: PointsMm) -> PointsMm:
    return project(np.asarray(np.linalg.inv(transform), np.float64), points)


def _radial(a: PointsMm, b: PointsMm) -> Floats:
    """Thin-plate kernel r² log r between two sets of points, in units of 100 mm for good conditioning."""
    squared = ((a[:, None, :] - b[None, :, :]) / 100.0) ** 2
    r2 = squared.sum(axis=2)
    return np.asarray(0.5 * r2 * np.log(np.maximum(r2, 1e-12)))


def spline(knots: PointsMm, values: PointsMm, smoothing: float) -> Bend:
    """Thin-plate spline through `values` at `knots`; `smoothing` trades misfit against bending."""
    n = len(knots)
    affine = np.hstack([np.ones((n, 1)), knots])
    system = np.zeros((n + 3, n + 3))
    system[:n, :n] = _radial(knots, knots) + smoothing * np.eye(n)
    system[:n, n:] = affine
    system[n:, :n] = affine.T
    right = np.vstack([values, np.zeros((3, 2))])
    return Bend(knots, np.asarray(np.linalg.lstsq(system, right, rcond=None)[0], np.float64))


def _stud_template() -> FloatImage:
    """Dark square on paper, with 0.8 mm of paper around, softened as a camera would."""
    side = round((STUD_MM + 1.6) * _STUD_PX_PER_MM)
    template = np.full((side, side), 255, np.float32)
    edge = round(0.8 * _STUD_PX_PER_MM)
    template[edge : side - edge, edge : side - edge] = 0
    return np.asarray(cv2.GaussianBlur(template, (0, 0), 0.18 * _STUD_PX_PER_MM), np.float32)


def _stud_offsets(
    gray: GrayImage, transform: Homography, bend: Bend, studs: PointsMm, reach_mm: float
) -> tuple[PointsMm, Floats]:
    """Where each stud lies relative to expectation (N, 2) in mm, and how much it looks like one (N,)."""
    template = _stud_template()
    half = reach_mm + template.shape[0] / _STUD_PX_PER_MM / 2
    size = round(2 * half * _STUD_PX_PER_MM) | 1
    steps = (np.arange(size) - size // 2) / _STUD_PX_PER_MM
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    offsets, scores = np.zeros_like(studs), np.zeros(len(studs))
    shifts = bend.at(studs)
    height, width = gray.shape
    for i, stud in enumerate(studs):
        at = project(transform, grid + stud + shifts[i])
        if (
            at[:, 0].min() < 0
            or at[:, 1].min() < 0
            or at[:, 0].max() > width - 1
            or at[:, 1].max() > height - 1
        ):
            inside = (at[:, 0] >= 0) & (at[:, 1] >= 0) & (at[:, 0] <= width - 1) & (at[:, 1] <= height - 1)
            if inside.mean() < 0.5:
                continue
        patch = _sample(gray, at, (size, size))
        response = np.asarray(cv2.matchTemplate(patch, template, cv2.TM_CCOEFF_NORMED), np.float32)
        # Of two equal candidates the nearer to expectation is likelier: a filled bubble can look like a stud.
        n = response.shape[0]
        axis = (np.arange(n) - n // 2) / _STUD_PX_PER_MM
        distance2 = axis[:, None] ** 2 + axis[None, :] ** 2
        preferred = response - 0.12 * distance2 / reach_mm**2
        row, column = np.unravel_index(int(np.argmax(preferred)), response.shape)
        scores[i] = response[row, column]
        dx, dy = _peak(response, int(row), int(column))
        offsets[i] = ((column + dx - n // 2) / _STUD_PX_PER_MM, (row + dy - n // 2) / _STUD_PX_PER_MM)
    return offsets, scores


def _peak(response: FloatImage, row: int, column: int) -> tuple[float, float]:
    """Top of the parabola through a maximum and its neighbours, as (dx, dy) in px."""
    if not (0 < row < response.shape[0] - 1 and 0 < column < response.shape[1] - 1):
        return 0.0, 0.0

    def top(before: float, here: float, after: float) -> float:
        curve = before - 2 * here + after
        return 0.0 if curve >= -1e-9 else float(np.clip(0.5 * (before - after) / curve, -0.5, 0.5))

    here = float(response[row, column])
    dx = top(float(response[row, column - 1]), here, float(response[row, column + 1]))
    dy = top(float(response[row - 1, column]), here, float(response[row + 1, column]))
    return dx, dy


def plausible(studs: PointsMm, measured: PointsMm, found: Bools) -> Bools:
    """Studs whose displacement agrees with that of their neighbours; paper bends, it does not jump."""
    good = found.copy()
    for i in np.flatnonzero(found):
        others = found.copy()
        others[i] = False
        if others.sum() < 3:
            break
        distance = np.linalg.norm(studs - studs[i], axis=1)
        near = np.flatnonzero(others)[np.argsort(distance[others])[:5]]
        median = np.median(measured[near], axis=0)
        allowed = 0.5 + 0.03 * float(np.median(distance[near]))
        good[i] = np.linalg.norm(measured[i] - median) < allowed
    return good


def _sample(gray: GrayImage, at: PointsMm, shape: tuple[int, int]) -> FloatImage:
    """Grey values at photo points, as a float picture of `shape`; outside the photo the edge repeats."""
    xs = at[:, 0].reshape(shape).astype(np.float32)
    ys = at[:, 1].reshape(shape).astype(np.float32)
    return cv2.remap(gray, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)


def crop(gray: GrayImage, card_to_photo: Homography, box: Box, px_per_mm: float) -> GrayImage:
    """Return a flat picture of a part of the card, by the homography alone."""
    w, h = round(box.w * px_per_mm), round(box.h * px_per_mm)
    to_card = np.array([[1 / px_per_mm, 0, box.x], [0, 1 / px_per_mm, box.y], [0, 0, 1]])
    return np.asarray(
        cv2.warpPerspective(
            gray,
            card_to_photo @ to_card,
            (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    )


def flatten(
    gray: GrayImage, registration: Registration, layout: Layout, px_per_mm: float = CARD_PX_PER_MM
) -> tuple[GrayImage, GrayImage]:
    """Return the flat card and a mask (255 where the photo covers it), both (H, W).

    Pixel (column, row) shows the card at ((column + 0.5) / px_per_mm, (row + 0.5) / px_per_mm) mm.
    """
    width_mm, height_mm = layout.paper.width_mm, layout.paper.height_mm
    width, height = round(width_mm * px_per_mm), round(height_mm * px_per_mm)
    # The map is smooth: it is computed on a mesh and interpolated to pixels. Over 4 mm, perspective departs
    # from a straight line by some hundredths of a pixel. Mesh points are centres of mesh cells, as `resize`
    # has it; it repeats the outermost ones over the last 2 mm of the sheet, where nothing is printed.
    nx, ny = int(np.ceil(width_mm / _MESH_MM)), int(np.ceil(height_mm / _MESH_MM))
    xs, ys = (np.arange(nx) + 0.5) * _MESH_MM, (np.arange(ny) + 0.5) * _MESH_MM
    mesh = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    coarse = registration.to_photo(mesh).reshape(ny, nx, 2).astype(np.float32)
    cell = round(_MESH_MM * px_per_mm)
    size = (nx * cell, ny * cell)
    photo_x, photo_y = (
        cv2.resize(np.ascontiguousarray(coarse[..., axis]), size, interpolation=cv2.INTER_LINEAR)[
            :height, :width
        ]
        for axis in (0, 1)
    )
    flat = cv2.remap(gray, photo_x, photo_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    last_x, last_y = gray.shape[1] - 1, gray.shape[0] - 1
    if (coarse >= 0).all() and (coarse <= (last_x, last_y)).all():
        return np.asarray(flat, np.uint8), np.full((height, width), 255, np.uint8)
    covered = (photo_x >= 0) & (photo_x <= last_x) & (photo_y >= 0) & (photo_y <= last_y)
    return np.asarray(flat, np.uint8), np.where(covered, 255, 0).astype(np.uint8)
