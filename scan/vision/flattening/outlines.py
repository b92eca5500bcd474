"""Lays the printed outlines of boxes and bubbles over the flat card and measures by how much they are off.

One outline may be inked over; a dozen together are not mistaken. So the outlines of a tile of the card are
moved together until they fit best. A tile that fits nowhere well, as under a thumb, says nothing.

An outline is a row of points. How dark the thin lines of the picture are under the points of each cell is
added up for every shift within reach, for all cells of one shape at a time; what a tile says is the mean over
its cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Cell, Layout
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, GrayImage, PointsMm, centres_of, median
from shortpencil.scan.vision.opening.levels import grey_at
from shortpencil.scan.vision.per_layout import once_a_layout

#: An outline is 0.28 mm wide, about a pixel.
OUTLINE_PX_PER_MM = 4.0
_STEP_MM = 0.25  # between points along an outline; 0.4 is off by 0.03 mm more at 99 %
#: Darker lines than this many times the usual ones count as this: a stroke must not draw a tile to itself.
_CAP = 1.2
TILE_MM = 18.0
_TILE_STEP_MM = 12.0
#: Rows and columns repeat: a tile that a fold has carried away by a row fits its neighbours' outlines.
#: Bubbles and boxes repeat differently, so it fits them less well than its own. Astray are tiles that fit
#: worse here than the first share of the middle tile, and better elsewhere by the second. On 21 bent sheets
#: of the tuning set 54 of 79 tiles that were off by more than 1.2 mm are told, and none of 4,260 that were
#: off by less than 0.5; most of the others show no outlines at all, and are asked for that.
_FITS_HERE, _FITS_BETTER = 0.6, 0.1
_ASTRAY_REACH_MM = 6.0  # a row of bubbles is 4.6 mm high
_LEAST_CELLS = 4  # a tile of fewer fits by chance
#: A tile fits where its outlines are darker than elsewhere by this share of what they are in the middle tile
#: of the card; ink and shadows alone reach half of it.
_MIN_FIT = 0.4
#: What a tile says counts only if most of its cells say so themselves: if each shows more under its own
#: outline than usually within reach, by so many standard deviations, in the median over the tile's cells. On
#: tuning photos 99 of 100 tiles show 1.7 and more where outlines can be seen, on copies and burnt-out paper
#: without any 1.1 and less (tiles of few cells 2.1). There marks and dust drew tiles to themselves: cells
#: were off by 0.8 mm in the median where the studs alone leave 0.1.
_AGREES, _FEW_AGREE = 1.4, 2.2
#: Grey levels that are no line whatever the spread: the noise of a clean picture.
_LEAST_SPREAD = 0.3


@dataclass(frozen=True, slots=True)
class _Tiling:
    """Size of the tiles, and how far it is from each to the one on its right and to the one below."""

    wide_mm: float
    high_mm: float
    right_mm: float
    down_mm: float


_SQUARE = _Tiling(TILE_MM, TILE_MM, _TILE_STEP_MM, _TILE_STEP_MM)
#: A column of boxes over some rows: along a fold that runs down the sheet all of them are moved alike.
_UPRIGHT = _Tiling(8.0, 33.0, 4.0, 33.0)


@dataclass(frozen=True, slots=True)
class Alike:
    """Cells of one shape and size, whose outlines are the same points around different middles.

    Attributes
    ----------
    cells : (N,) their places among `Outlines.ids`
    rows, columns : (N,) pixel at the top left of each one's outline
    down, right : (P,) pixels of the outline's points from there
    """

    cells: NDArray[np.intp]
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    down: NDArray[np.intp]
    right: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Outlines:
    """The outlines of a layout, shape by shape, and the tiles that they make.

    Attributes
    ----------
    ids : (C,) the cells
    shapes : the outlines
    tiles : (T, C) which cells belong to which tile, 1 or 0
    members : (T, M) the same as places among `ids`, filled up with -1
    count : (T,) points of each tile
    centres : (T, 2) middle of each tile's points, mm
    rounding : (T, 2) by how much the nearest pixels are off, mm: along x for lines across x, along y for
    lines
        across y
    """

    ids: tuple[str, ...]
    shapes: tuple[Alike, ...]
    tiles: FloatImage
    members: NDArray[np.intp]
    count: Floats
    centres: PointsMm
    rounding: PointsMm


def _points(cell: Cell) -> tuple[PointsMm, PointsMm]:
    """Points along the middle of a cell's outline (N, 2), mm, and the squares of the line's normal there."""
    box = cell.box.grown(-0.14)
    if cell.shape == "round":
        around = np.arange(0, 2 * np.pi, _STEP_MM / (box.w / 2))
        normal = np.stack([np.cos(around), np.sin(around)], axis=1)
        return np.array([box.centre.x, box.centre.y]) + normal * (box.w / 2), normal**2
    xs = np.arange(box.x, box.right, _STEP_MM)
    ys = np.arange(box.y, box.bottom, _STEP_MM)
    sides = [np.stack([xs, np.full_like(xs, y)], axis=1) for y in (box.y, box.bottom)]
    sides += [np.stack([np.full_like(ys, x), ys], axis=1) for x in (box.x, box.right)]
    normal2 = np.repeat([[0.0, 1.0], [1.0, 0.0]], [2 * len(xs), 2 * len(ys)], axis=0)
    return np.vstack(sides), normal2


@once_a_layout
def outlines_of(layout: Layout) -> Outlines:
    """Return the outlines of all boxes and bubbles of a layout, in square tiles."""
    return _outlines(layout, _SQUARE)


@once_a_layout
def upright_outlines_of(layout: Layout) -> Outlines:
    """Return the same, in upright tiles too: these tell finely how a fold down the sheet moves its sides."""
    return _outlines(layout, _SQUARE, _UPRIGHT)


def _outlines(layout: Layout, *tilings: _Tiling) -> Outlines:
    """Return the outlines of all boxes and bubbles in the tiles of all tilings."""
    k = OUTLINE_PX_PER_MM
    cells = [cell for cell in layout.cells if cell.kind != "words"]
    alike: dict[tuple[str, float, float], list[int]] = {}
    for i, cell in enumerate(cells):
        alike.setdefault((cell.shape, round(cell.box.w, 6), round(cell.box.h, 6)), []).append(i)
    shapes = []
    # Sums over the points of each cell: 1, place (2), how far the nearest pixel is off (2), its weight (2).
    sums = np.zeros((len(cells), 7))
    for members in alike.values():
        middles = centres_of(cells[i].box for i in members)
        points, normal2 = _points(cells[members[0]])
        # From the middle, so that the pixels of opposite sides are off by the same.
        points = points - middles[0]
        pixels, middle_pixels = (np.round(at).astype(np.intp) for at in (points * k, middles * k - 0.5))
        off = (middle_pixels - (middles * k - 0.5))[:, None] + (pixels - points * k)
        first = pixels.min(axis=0)
        columns, rows = (middle_pixels + first).T
        right, down = (pixels - first).T
        shapes.append(Alike(np.array(members), rows, columns, down, right))
        sums[members, 0] = len(points)
        sums[members, 1:3] = len(points) * middles + points.sum(axis=0)
        sums[members, 3:5] = (off / k * normal2).sum(axis=1)
        sums[members, 5:7] = normal2.sum(axis=0)
    middles = centres_of(c.box for c in cells)
    tiles = np.vstack([_tiles(middles, tiling) for tiling in tilings])
    count, places, off, weight = np.split(tiles @ sums, (1, 3, 5), axis=1)
    return Outlines(
        tuple(cell.id for cell in cells),
        tuple(shapes),
        tiles.astype(np.float32),
        _members(tiles),
        count[:, 0],
        places / count,
        off / np.maximum(weight, 1e-9),
    )


def _members(tiles: Bools) -> NDArray[np.intp]:
    """Places (T, M) of the members of each tile, filled up with -1."""
    members = np.full((len(tiles), int(tiles.sum(axis=1).max(initial=1))), -1, np.intp)
    for own, tile in zip(members, tiles, strict=True):
        own[: tile.sum()] = np.flatnonzero(tile)
    return members


def _tiles(centres: PointsMm, tiling: _Tiling) -> Bools:
    """Membership (T, C) of cells in overlapping tiles; tiles without cells are left out."""
    if not len(centres):
        return np.zeros((0, 0), bool)
    across = _strips(centres[:, 0], tiling.wide_mm, tiling.right_mm)
    down = _strips(centres[:, 1], tiling.high_mm, tiling.down_mm)
    tiles = (down[:, None] & across).reshape(-1, len(centres))
    # At an edge two tiles may hold the same cells.
    distinct = sorted({tile.tobytes() for tile in tiles[tiles.any(axis=1)]})
    return np.frombuffer(b"".join(distinct), bool).reshape(len(distinct), -1)


def _strips(along: Floats, size_mm: float, step_mm: float) -> Bools:
    """Membership (S, C) of places (C,) along an axis in strips of a size, one a step."""
    first = np.arange(0.0, along.max() + 1, step_mm)[:, None]
    return np.asarray((along >= first) & (along < first + size_mm))


def thin_lines(flat: GrayImage, covered: GrayImage | None) -> GrayImage:
    """What is narrower than 1.5 mm and darker than around it; strokes are cut to about the print.

    `covered` is 255 where the photo shows the card, else 0.
    """
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    dark = np.asarray(cv2.morphologyEx(flat, cv2.MORPH_BLACKHAT, around), np.uint8)
    if covered is not None:
        dark &= covered
    usual = max(grey_at(dark[::3, ::3], 0.9), 4.0)
    # NumPy's minimum of bytes and one byte takes five times as long.
    _, capped = cv2.threshold(dark, int(min(_CAP * usual, 255.0)), 255, cv2.THRESH_TRUNC)
    # A line of one pixel draws the top of a parabola to whole pixels; softened, its place between them
    # counts. 0.6 px took 0.011 mm from the error at 99 % on tuning photos; beyond 1 px, neighbours mix.
    return np.asarray(cv2.GaussianBlur(capped, (0, 0), 0.6), np.uint8)


def tile_offsets(
    lines: GrayImage, layout: Layout, reach_mm: float, step_px: int, outlines: Outlines | None = None
) -> tuple[PointsMm, PointsMm]:
    """Centres (N, 2) of the tiles that fit somewhere, and where, relative to expectation (N, 2), mm.

    Parameters
    ----------
    lines : as from `thin_lines`
    reach_mm : how far to look
    step_px : between shifts that are tried; what lies between is interpolated
    outlines : those of the layout in other tiles than square ones
    """
    outlines = outlines or outlines_of(layout)
    if not outlines.ids:
        return np.zeros((0, 2)), np.zeros((0, 2))
    k = OUTLINE_PX_PER_MM
    shifts, response, by_cell = _responses(lines, outlines, reach_mm, step_px)
    n, reach = len(shifts), int(shifts[-1])
    best = response.argmax(axis=1)
    agrees = _agreeing(by_cell, outlines, best)
    if not agrees.any():
        return np.zeros((0, 2)), np.zeros((0, 2))
    fit = response.max(axis=1) - response.mean(axis=1)
    rows, columns = np.divmod(best, n)
    inner = (rows > 0) & (rows < n - 1) & (columns > 0) & (columns < n - 1)
    good = np.flatnonzero(inner & agrees & (fit > _MIN_FIT * median(fit[agrees])))
    found = np.stack([columns[good], rows[good]], axis=1) + _tops(response[good], rows[good], columns[good])
    offsets = (found * step_px - reach) / k + outlines.rounding[good]
    return outlines.centres[good], offsets


def _agreeing(by_cell: FloatImage, outlines: Outlines, at: NDArray[np.intp]) -> Bools:
    """Say of which tiles (T,) most cells show their own outline at the shift `at` (T,) that fits the tile."""
    usual, spread = by_cell.mean(axis=1), by_cell.std(axis=1) + _LEAST_SPREAD
    shown = (by_cell[outlines.members, at[:, None]] - usual[outlines.members]) / spread[outlines.members]
    count = (outlines.members >= 0).sum(axis=1)
    shown[outlines.members < 0] = np.inf
    shown.sort(axis=1)
    tile = np.arange(len(at))
    middle = (shown[tile, (count - 1) // 2] + shown[tile, count // 2]) / 2
    return np.asarray(middle > np.where(count >= _LEAST_CELLS, _AGREES, _FEW_AGREE))


_MOST_BYTES_IN_16_BITS = 65_536 // 255


def _responses(
    lines: GrayImage, outlines: Outlines, reach_mm: float, step_px: int
) -> tuple[NDArray[np.intp], FloatImage, FloatImage]:
    """Shifts tried along each axis (n,), px, and how dark outlines are at each: tiles (T, n * n), cells.

    The second axis goes through the shifts along y, and for each of them through those along x. Those of the
    cells (C, n * n) are means over each one's points, as those of the tiles are.
    """
    reach = int(np.ceil(reach_mm * OUTLINE_PX_PER_MM / step_px)) * step_px
    shifts = np.arange(-reach, reach + 1, step_px)
    padded = cv2.copyMakeBorder(lines, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    by_cell = np.empty((len(outlines.ids), len(shifts) ** 2), np.float32)
    for shape in outlines.shapes:
        # The cells lie along the last axis, so that one shift of all of them is one row in memory.
        height, width = (np.arange(along.max() + 2 * reach + 1) for along in (shape.down, shape.right))
        corner = shape.rows * padded.shape[1] + shape.columns
        around = padded.take(height[:, None, None] * padded.shape[1] + width[:, None] + corner, mode="clip")
        # Sums of bytes: as whole numbers of 16 bits, where they have room, they take half the memory.
        kind = np.uint16 if len(shape.down) < _MOST_BYTES_IN_16_BITS else np.float32
        around = around.astype(kind)
        under = np.zeros((len(shifts), len(shifts), len(corner)), kind)
        for down, right in zip(shape.down, shape.right, strict=True):
            last_down, last_right = down + 2 * reach + 1, right + 2 * reach + 1
            under += around[down:last_down:step_px, right:last_right:step_px]
        by_cell[shape.cells] = under.reshape(-1, len(corner)).T
    by_tile = ((outlines.tiles @ by_cell) / outlines.count[:, None]).astype(np.float32)
    for shape in outlines.shapes:
        by_cell[shape.cells] /= np.float32(len(shape.down))
    return shifts, by_tile, by_cell


def cells_astray(lines: GrayImage, covered: GrayImage, layout: Layout) -> frozenset[str]:
    """Return the cells of tiles whose outlines fit better elsewhere than where they are taken to be.

    Parameters
    ----------
    lines : as from `thin_lines`
    covered : 255 where the photo shows the card; what it does not show is not astray
    """
    outlines = outlines_of(layout)
    if not outlines.ids:
        return frozenset()
    shifts, response, by_cell = _responses(lines, outlines, _ASTRAY_REACH_MM, 2)
    apart = np.maximum(np.abs(shifts)[:, None], np.abs(shifts)[None, :]).ravel() / OUTLINE_PX_PER_MM
    usual = response.mean(axis=1)
    here = response[:, apart <= 0.5].max(axis=1) - usual
    far = np.flatnonzero(apart > 1.2)
    best = far[response[:, far].argmax(axis=1)]
    elsewhere = response[np.arange(len(best)), best] - usual
    middle = median(here)
    astray = (here < _FITS_HERE * middle) & (elsewhere - here > _FITS_BETTER * middle)
    astray &= _agreeing(by_cell, outlines, best)
    astray &= outlines.tiles.sum(axis=1) >= _LEAST_CELLS
    height, width = covered.shape
    shown = np.empty(len(outlines.ids), bool)
    for shape in outlines.shapes:
        rows = np.minimum(shape.rows[:, None] + shape.down, height - 1)
        columns = np.minimum(shape.columns[:, None] + shape.right, width - 1)
        shown[shape.cells] = covered[rows, columns].min(axis=1) == 255
    astray &= ~(outlines.tiles[:, ~shown] > 0).any(axis=1)
    cells = np.flatnonzero(outlines.tiles[astray].any(axis=0))
    return frozenset(outlines.ids[i] for i in cells)


def _tops(response: FloatImage, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Floats:
    """Tops (N, 2) of the parabolas through each maximum and its neighbours, as (dx, dy) in steps."""
    n = round(np.sqrt(response.shape[1])) if len(response) else 1
    which, at = np.arange(len(response)), rows * n + columns
    tops = []
    for step in (1, n):
        before, here, after = (response[which, at + k * step].astype(np.float64) for k in (-1, 0, 1))
        curve = np.minimum(before - 2 * here + after, -1e-9)
        tops.append(np.clip(0.5 * (before - after) / curve, -0.5, 0.5))
    return np.stack(tops, axis=1)
