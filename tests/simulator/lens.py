"""Pinhole camera with lens distortion: sheet points to photo pixels, exactly, and back, by Newton's method.

Photo points are (x, y) pixels; a pixel's centre has whole coordinates. Sheet points are mm from the sheet's
top left corner. Written for this simulator alone: it must not forgive the reader's geometry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.surface import MARGIN_MM, Surface

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class View:
    """How the phone is held.

    Attributes
    ----------
    size_px : (width, height) of the picture
    focal : focal length over the longer side; 0.72 is a phone's main camera, 0.40 its wide one
    tilt_deg, tilt_to_deg : lean of the optical axis from the vertical, and to which side
    roll_deg : turn of the sheet in the picture
    fill : share of the frame that the sheet's bounding box spans; above 1 it is cut off
    shift : of the sheet in the frame, as a share of the frame's width and height
    k1, k2 : radial distortion, negative is barrel
    """

    size_px: tuple[int, int] = (3000, 4000)
    focal: float = 0.72
    tilt_deg: float = 0.0
    tilt_to_deg: float = 0.0
    roll_deg: float = 0.0
    fill: float = 0.9
    shift: tuple[float, float] = (0.0, 0.0)
    k1: float = 0.0
    k2: float = 0.0


@dataclass(frozen=True, slots=True)
class Camera:
    """A posed camera: world mm (z up from the table) -> photo px."""

    rotation: Floats
    translation: Floats
    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    k2: float
    size_px: tuple[int, int]

    def project(self, xyz: Floats) -> Floats:
        """Photo px (..., 2) of world points (..., 3)."""
        seen = (xyz * np.array([1.0, 1.0, -1.0])) @ self.rotation.T + self.translation
        x, y = seen[..., 0] / seen[..., 2], seen[..., 1] / seen[..., 2]
        r2 = x * x + y * y
        bent = 1.0 + r2 * (self.k1 + r2 * self.k2)
        return np.stack(
            [self.centre_px[0] + self.focal_px * x * bent, self.centre_px[1] + self.focal_px * y * bent],
            axis=-1,
        )


def aim(view: View, outline: Floats) -> Camera:
    """Return the camera that sees world points `outline` (N, 3) as `view` wishes."""
    t, d = np.radians(view.tilt_deg), np.radians(view.tilt_to_deg)
    axis = np.array([np.cos(d), np.sin(d), 0.0]) * t
    lean, _ = cv2.Rodrigues(axis)
    roll, _ = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(view.roll_deg)]))
    w, h = view.size_px
    focal_px = view.focal * max(w, h)
    centre = ((w - 1) / 2.0, (h - 1) / 2.0)
    translation = np.array([0.0, 0.0, 400.0])
    camera = Camera(lean @ roll, translation, focal_px, centre, view.k1, view.k2, view.size_px)
    for _ in range(8):
        seen = camera.project(outline)
        if not np.isfinite(seen).all():
            raise ValueError(
                f"expected a lens that sees the whole sheet, found k1 {view.k1:.2f} at a focal length of "
                f"{view.focal:.2f} turning its corners over. Use less distortion or a longer lens."
            )
        low, high = seen.min(axis=0), seen.max(axis=0)
        grow = float(max((high[0] - low[0]) / (w * view.fill), (high[1] - low[1]) / (h * view.fill)))
        depth = translation[2] * grow
        off = (low + high) / 2 - np.array(centre) - np.array(view.shift) * np.array([w, h])
        moved = translation[:2] * grow - off / grow * depth / focal_px
        translation = np.array([moved[0], moved[1], depth])
        camera = Camera(lean @ roll, translation, focal_px, centre, view.k1, view.k2, view.size_px)
    return camera


@dataclass(frozen=True, slots=True)
class SheetToPhoto:
    """Where each point of a sheet is in the photo; call it with points (N, 2), returns px (N, 2).

    Attributes
    ----------
    grid_px : (rows, columns, 2) photo px of sheet points one millimetre apart, from -MARGIN_MM on
    card_to_sheet : (2, 3) field map mm -> sheet mm, so that calls take field map mm
    """

    grid_px: Floats
    card_to_sheet: Floats

    def __call__(self, card_mm: Floats) -> Floats:
        points = np.atleast_2d(np.asarray(card_mm, dtype=float))
        return self.of_sheet(points @ self.card_to_sheet[:, :2].T + self.card_to_sheet[:, 2])

    def of_sheet(self, sheet_mm: Floats) -> Floats:
        """Photo px of points (N, 2) given in mm of the sheet, not of the field map."""
        return _bilinear(self.grid_px, sheet_mm + MARGIN_MM)[0]

    def transformed(self, affine: Floats) -> SheetToPhoto:
        """The same after the picture went through a (2, 3) affine change of its pixels."""
        return SheetToPhoto(self.grid_px @ affine[:, :2].T + affine[:, 2], self.card_to_sheet)


def _bilinear(grid: Floats, at: Floats) -> tuple[Floats, Floats, Floats]:
    """Value at (column, row) places `at` (N, 2), and its derivatives along column and row."""
    rows, columns = grid.shape[:2]
    x = np.clip(np.floor(at[:, 0]).astype(int), 0, columns - 2)
    y = np.clip(np.floor(at[:, 1]).astype(int), 0, rows - 2)
    fx, fy = (at[:, 0] - x)[:, None], (at[:, 1] - y)[:, None]
    a, b, c, d = grid[y, x], grid[y, x + 1], grid[y + 1, x], grid[y + 1, x + 1]
    along_x = (b - a) * (1 - fy) + (d - c) * fy
    along_y = (c - a) * (1 - fx) + (d - b) * fx
    return a + along_x * fx + (c - a) * fy, along_x, along_y


def place(surface: Surface, x_mm: float, y_mm: float, turn_deg: float) -> Floats:
    """World points (rows, columns, 3) of a surface that lies on the table at (x, y), turned."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(surface.xyz @ turn.T + np.array([x_mm, y_mm, 0.0]))


def outline(world: Floats, step: int = 2) -> Floats:
    """World points (N, 3) around the sheet's edge, in order; the last edge may be a fraction of a mm out."""
    m = MARGIN_MM
    inner = world[m:-m, m:-m]
    return np.concatenate([inner[0, ::step], inner[::step, -1], inner[-1, ::-step], inner[::-step, 0]])


def edge_mm(size_mm: tuple[float, float], step_mm: float = 2.0) -> Floats:
    """Sheet points (N, 2) around the very edge, in order."""
    w, h = size_mm
    across, down = np.arange(0, w, step_mm), np.arange(0, h, step_mm)
    return np.concatenate(
        [
            np.column_stack([across, np.zeros_like(across)]),
            np.column_stack([np.full_like(down, w), down]),
            np.column_stack([w - across, np.full_like(across, h)]),
            np.column_stack([np.zeros_like(down), h - down]),
        ]
    )


def photo_to_sheet(
    to_photo: SheetToPhoto, window: tuple[int, int, int, int], step: int
) -> NDArray[np.float32]:
    """Sheet mm (rows, columns, 2) for the centres of blocks of `step` pixels in a window (x0, y0, x1, y1).

    Places off the grid are held at its rim.
    """
    x0, y0, x1, y1 = window
    xs = np.arange(x0, x1, step) + (step - 1) / 2.0
    ys = np.arange(y0, y1, step) + (step - 1) / 2.0
    target = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    grid = to_photo.grid_px
    rows, columns = grid.shape[:2]
    known = np.stack(np.meshgrid(np.arange(0, columns, 12), np.arange(0, rows, 12)), axis=-1).reshape(-1, 2)
    start, _ = cv2.findHomography(grid[known[:, 1], known[:, 0]], known.astype(float))
    flat = np.column_stack([target, np.ones(len(target))]) @ start.T
    # The horizon lies between points of the table and points behind the camera: those have no place.
    at = flat[:, :2] / np.where(np.abs(flat[:, 2:]) < 1e-9, 1e-9, flat[:, 2:])
    limit = np.array([columns - 1.0, rows - 1.0])
    at = np.clip(np.nan_to_num(at), -5.0, limit + 5.0)
    live = np.flatnonzero(((at > -4.0) & (at < limit + 4.0)).all(axis=1))
    for _ in range(6):
        if len(live) == 0:
            break
        value, du, dv = _bilinear(grid, at[live])
        miss = target[live] - value
        det = du[:, 0] * dv[:, 1] - du[:, 1] * dv[:, 0]
        det = np.where(np.abs(det) < 1e-6, 1e-6, det)
        step_u = (miss[:, 0] * dv[:, 1] - miss[:, 1] * dv[:, 0]) / det
        step_v = (miss[:, 1] * du[:, 0] - miss[:, 0] * du[:, 1]) / det
        move = np.clip(np.column_stack([step_u, step_v]), -8.0, 8.0)
        at[live] = np.clip(at[live] + move, -5.0, limit + 5.0)
        live = live[(np.abs(move) > 1e-4).any(axis=1)]
    return (at - MARGIN_MM).reshape(len(ys), len(xs), 2).astype(np.float32)


def sheet_window(points_px: Floats, size_px: tuple[int, int], step: int) -> tuple[int, int, int, int]:
    """Window (x0, y0, x1, y1) around photo points, a whole number of steps wide, inside the picture."""
    low = np.floor(points_px.min(axis=0)).astype(int) - 2
    high = np.ceil(points_px.max(axis=0)).astype(int) + 3
    x0, y0 = (int(max(v, 0)) // step * step for v in low)
    x1, y1 = (int(min(v, s)) for v, s in zip(high, size_px, strict=True))
    return x0, y0, max(x1, x0), max(y1, y0)


def turned(points: Sequence[float], degrees: float) -> Floats:
    """Points (2,) turned about the origin."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s], [s, c]]) @ np.asarray(points, dtype=float)
