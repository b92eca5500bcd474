"""The shape of a sheet that lies on something: bent, curled, folded, crumpled.

Heights are kept on a grid of one millimetre. Paper does not stretch, so where it climbs its points draw
together: x and y shrink by half the squared slope along the way, which is exact enough for slopes under 0.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.handling import Crease, Curl, heights

Rng = np.random.Generator
Heights = NDArray[np.float64]

#: The grid goes on beyond the paper, so that points just outside still have a place.
MARGIN_MM = 12


@dataclass(frozen=True, slots=True)
class Shape:
    """Wishes for a sheet's shape.

    Attributes
    ----------
    bend_mm : rise in the middle of an arch (negative: a trough); bend_deg : direction of its axis
    curl_mm : lift of one corner or edge
    fold_deg : angle that each fold line keeps; folds as in `paper.FOLD_LINES`
    crumple_mm : height of the ridges of a sheet that was balled up and smoothed
    waves_mm : small unevenness that every sheet has
    creases, curls : what a bag did
    """

    bend_mm: float = 0.0
    bend_deg: float = 0.0
    curl_mm: float = 0.0
    folds: tuple[str, ...] = ()
    fold_deg: float = 0.0
    crumple_mm: float = 0.0
    waves_mm: float = 0.15
    creases: tuple[Crease, ...] = ()
    curls: tuple[Curl, ...] = ()


@dataclass(frozen=True, slots=True)
class Surface:
    """Places in space of the sheet's points.

    Attributes
    ----------
    xyz : (rows, columns, 3) mm; x and y from the sheet's middle, z up from the table; grid point (i, j) is
        sheet point (j - MARGIN_MM, i - MARGIN_MM) mm
    """

    xyz: Heights

    def normals(self) -> Heights:
        """Unit normals at the grid points, (rows, columns, 3), z up."""
        z = self.xyz[..., 2]
        dy, dx = np.gradient(z)
        n = np.dstack([-dx, -dy, np.ones_like(z)])
        return np.asarray(n / np.linalg.norm(n, axis=2, keepdims=True))


def make_surface(size_mm: tuple[float, float], shape: Shape, rng: Rng) -> Surface:
    """Return a surface for a sheet of that size."""
    w, h = size_mm
    us = np.arange(-MARGIN_MM, int(np.ceil(w)) + MARGIN_MM + 1, dtype=float)
    vs = np.arange(-MARGIN_MM, int(np.ceil(h)) + MARGIN_MM + 1, dtype=float)
    u, v = np.meshgrid(us, vs)
    z = _waves(u.shape, shape.waves_mm, rng)
    if shape.bend_mm:
        a = np.radians(shape.bend_deg)
        along = (u - w / 2) * np.cos(a) + (v - h / 2) * np.sin(a)
        reach = (abs(w * np.cos(a)) + abs(h * np.sin(a))) / 2
        z += shape.bend_mm * np.cos(np.clip(along / reach, -1.2, 1.2) * np.pi / 2)
    if shape.curl_mm:
        z += _curl(u, v, w, h, shape.curl_mm, rng)
    z += _folds(u, v, w, h, shape, rng)
    if shape.crumple_mm:
        z += _crumple(u, v, w, h, shape.crumple_mm, rng)
    if shape.creases or shape.curls:
        z += heights(u, v, w, h, shape.creases, shape.curls)
    inside = z[MARGIN_MM:-MARGIN_MM, MARGIN_MM:-MARGIN_MM]
    z = z - np.percentile(inside, 2)
    dy, dx = np.gradient(z)
    x = u - w / 2 - _drawn_together(dx, int(w / 2) + MARGIN_MM, axis=1)
    y = v - h / 2 - _drawn_together(dy, int(h / 2) + MARGIN_MM, axis=0)
    return Surface(np.dstack([x, y, z]))


def _drawn_together(slope: Heights, middle: int, axis: int) -> Heights:
    lost = np.cumsum(0.5 * np.clip(slope, -0.6, 0.6) ** 2, axis=axis)
    return np.asarray(lost - np.take(lost, [middle], axis=axis))


def _waves(shape: tuple[int, ...], size: float, rng: Rng) -> Heights:
    noise = cv2.resize(rng.standard_normal((9, 7)), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.GaussianBlur(noise * size, (0, 0), 6.0))


def _curl(u: Heights, v: Heights, w: float, h: float, lift: float, rng: Rng) -> Heights:
    """One or two corners or an edge roll up."""
    z = np.zeros_like(u)
    for _ in range(int(rng.integers(1, 3))):
        a = rng.uniform(0, 2 * np.pi)
        out = (u - w / 2) * np.cos(a) + (v - h / 2) * np.sin(a)
        reach = (abs(w * np.cos(a)) + abs(h * np.sin(a))) / 2
        z += lift * rng.uniform(0.6, 1.0) * np.clip((out / reach - 0.35) / 0.65, 0, 1.3) ** 2
    return z


def _folds(u: Heights, v: Heights, w: float, h: float, shape: Shape, rng: Rng) -> Heights:
    """Ridges and valleys along the fold lines; across an older fold a later one turns over."""
    z = np.zeros_like(u)
    slope = np.tan(np.radians(shape.fold_deg) / 2)
    from tests.simulator.paper import FOLD_LINES

    for order, name in enumerate(shape.folds):
        axis, where = FOLD_LINES[name]
        distance = (v - where * h) if axis == "y" else (u - where * w)
        sign = float(rng.choice([-1.0, 1.0]))
        turn: Heights | float = sign
        if axis == "x" and order > 0:
            turn = sign * np.tanh((v - h / 2) / 25.0)
        ridge = np.sqrt(distance**2 + 1.0)
        # Paper springs back: the slope is steep at the crease and eases off within some centimetres.
        eased = 55.0 * (1.0 - np.exp(-ridge / 55.0))
        z -= turn * slope * rng.uniform(0.7, 1.3) * eased
    return z


def _crumple(u: Heights, v: Heights, w: float, h: float, size: float, rng: Rng) -> Heights:
    """Random short ridges: differences of bent planes, faded out at both ends."""
    z = np.zeros_like(u)
    for _ in range(int(rng.integers(45, 75))):
        a = rng.uniform(0, np.pi)
        x0, y0 = rng.uniform(0, w), rng.uniform(0, h)
        across = (u - x0) * np.cos(a) + (v - y0) * np.sin(a)
        along = -(u - x0) * np.sin(a) + (v - y0) * np.cos(a)
        length, wide = rng.uniform(15, 80), rng.uniform(8, 26)
        fade = np.exp(-((along / length) ** 2))
        z += rng.normal(0, size) * fade * np.exp(-np.sqrt(across**2 + 0.4) / wide)
    return z
