"""How far paper that is not flat moved each point of a card: a thin-plate spline through what is measured.

References
----------
Bookstein 1989, "Principal warps: thin-plate splines and the decomposition of deformations", IEEE TPAMI 11(6).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scan.vision.arrays import Bools, Floats, PointsMm


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
        n = len(self.knots)
        curved = _radial(points, self.knots) @ self.weights[:n]
        return np.asarray(curved + self.weights[n] + points @ self.weights[n + 1 :])


FLAT = Bend(np.zeros((0, 2)), np.zeros((0, 2)))


def _radial(a: PointsMm, b: PointsMm) -> Floats:
    """Thin-plate kernel r² log r between two sets of points, in units of 100 mm for good conditioning."""
    a, b = a / 100.0, b / 100.0
    r2 = (a[:, :1] - b[:, 0]) ** 2
    r2 += (a[:, 1:] - b[:, 1]) ** 2
    np.maximum(r2, 1e-12, out=r2)
    kernel = np.log(r2)
    kernel *= r2
    kernel *= 0.5
    return np.asarray(kernel)


def spline(knots: PointsMm, values: PointsMm, smoothing: float) -> Bend:
    """Thin-plate spline through `values` at `knots`; `smoothing` trades misfit against bending."""
    n = len(knots)
    affine = np.hstack([np.ones((n, 1)), knots])
    system = np.zeros((n + 3, n + 3))
    system[:n, :n] = _radial(knots, knots) + smoothing * np.eye(n)
    system[:n, n:] = affine
    system[n:, :n] = affine.T
    right = np.vstack([values, np.zeros((3, 2))])
    try:
        weights = np.linalg.solve(system, right)
    except np.linalg.LinAlgError:  # knots on one line
        weights = np.linalg.lstsq(system, right, rcond=None)[0]
    return Bend(knots, np.asarray(weights, np.float64))


def plausible(knots: PointsMm, measured: PointsMm, found: Bools) -> Bools:
    """Knots whose displacement agrees with that of their neighbours; paper bends, it does not jump.

    Each is compared with the median of the five nearest that were found.
    """
    good = found.copy()
    index = np.flatnonzero(found)
    if len(index) < 4:
        return good
    at, moved = knots[index], measured[index]
    distance = np.hypot(at[:, :1] - at[:, 0], at[:, 1:] - at[:, 1])
    np.fill_diagonal(distance, np.inf)
    count = min(5, len(index) - 1)
    near = np.argpartition(distance, count - 1, axis=1)[:, :count]
    usual = np.median(moved[near], axis=1)
    allowed = 0.5 + 0.03 * np.median(np.take_along_axis(distance, near, axis=1), axis=1)
    good[index] = np.hypot(*(moved - usual).T) < allowed
    return good
