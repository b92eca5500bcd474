"""How far paper that is not flat moved each point of a card: a thin-plate spline through what is measured.

References
----------
Bookstein 1989, "Principal warps: thin-plate splines and the decomposition of deformations", IEEE TPAMI 11(6).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shortpencil.scan.vision.arrays import Bools, Floats, PointsMm, medians


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
        moved = self.weights[n] + points @ self.weights[n + 1 :]
        seen_from = _seen_from(self.knots)
        for start in range(0, len(points), _AT_ONCE):
            some = slice(start, start + _AT_ONCE)
            moved[some] += _radial(points[some], seen_from) @ self.weights[:n]
        return np.asarray(moved)


#: Points of which the kernel is worked out together: what is in between stays in the processor's cache.
_AT_ONCE = 128

FLAT = Bend(np.zeros((0, 2)), np.zeros((0, 2)))


def _seen_from(knots: PointsMm) -> Floats:
    """(4, N) such that (x, y, x² + y², 1) times it is the squared distance of a point, in units of 100 mm."""
    near = knots / 100.0  # for good conditioning
    return np.vstack([-2.0 * near.T, np.ones(len(near)), (near * near).sum(axis=1)])


def _radial(points: PointsMm, seen_from: Floats) -> Floats:
    """Thin-plate kernel r² log r between points (M, 2) and knots as from `_seen_from`, (M, N)."""
    at = np.ones((len(points), 4))
    np.divide(points, 100.0, out=at[:, :2])
    at[:, 2] = (at[:, :2] * at[:, :2]).sum(axis=1)
    r2 = at @ seen_from  # one product: half of the time of differences squared and added
    np.clip(r2, 1e-12, np.inf, out=r2)  # with both limits: half of the time of a maximum
    kernel = np.asarray(cv2.log(r2), np.float64)  # a third of NumPy's time, and the same to 2e-15
    kernel *= r2
    kernel *= 0.5
    return kernel


def spline(knots: PointsMm, values: PointsMm, smoothing: float) -> Bend:
    """Thin-plate spline through `values` at `knots`; `smoothing` trades misfit against bending."""
    system = _system(knots, smoothing)
    right = np.vstack([values, np.zeros((3, 2))])
    try:
        weights = np.linalg.solve(system, right)
    except np.linalg.LinAlgError:  # knots on one line
        weights = np.linalg.lstsq(system, right, rcond=None)[0]
    return Bend(knots, np.asarray(weights, np.float64))


def apart(across: Bend, down: Bend) -> Bend:
    """Bend with the x of one and the y of another, which were measured at different places."""
    n, m = len(across.knots), len(down.knots)
    weights = np.zeros((n + m + 3, 2))
    weights[:n, 0], weights[n : n + m, 1] = across.weights[:n, 0], down.weights[:m, 1]
    weights[n + m :, 0], weights[n + m :, 1] = across.weights[n:, 0], down.weights[m:, 1]
    return Bend(np.vstack([across.knots, down.knots]), weights)


def _system(knots: PointsMm, smoothing: float) -> Floats:
    n = len(knots)
    affine = np.hstack([np.ones((n, 1)), knots])
    system = np.zeros((n + 3, n + 3))
    system[:n, :n] = _radial(knots, _seen_from(knots)) + smoothing * np.eye(n)
    system[:n, n:] = affine
    system[n:, :n] = affine.T
    return system


def consistent(
    sure: tuple[PointsMm, PointsMm], knots: PointsMm, measured: PointsMm, found: Bools, allowed_mm: Floats
) -> Bools:
    """Knots whose displacement the spline through all the others foretells; a strong bend is no outlier.

    The worst goes first, since it spoils what the others are foretold, until none is off by more than
    allowed. What a spline without one knot is off by there comes out of the whole one: weight over the
    diagonal of the inverse (Rippa 1999, Adv. Comput. Math. 11).

    Parameters
    ----------
    sure : knots (S, 2) and their displacements that are beyond doubt
    knots, measured, found : (N, 2), (N, 2), (N,) those that may be mistaken
    allowed_mm : (N,) how far from what the others foretell each may be
    """
    good = found & ~_in_one_place(knots + measured, found)
    while good.any():
        at = np.vstack([sure[0], knots[good]])
        values = np.vstack([sure[1], measured[good]])
        inverse = np.linalg.pinv(_system(at, _FORETELLING))
        n = len(at)
        weights = inverse[:n, :n] @ values
        off = np.linalg.norm(weights / np.maximum(np.diag(inverse)[:n, None], 1e-9), axis=1)[len(sure[0]) :]
        share = off / allowed_mm[good]
        worst = int(np.argmax(share))
        if share[worst] <= 1:
            break
        good[np.flatnonzero(good)[worst]] = False
    return good


def _in_one_place(places: PointsMm, found: Bools) -> Bools:
    """Knots (N,) that were found where another was: one of the two is mistaken, nobody knows which."""
    apart = np.hypot(places[:, :1] - places[:, 0], places[:, 1:] - places[:, 1])
    np.fill_diagonal(apart, np.inf)
    apart[:, ~found] = np.inf
    return np.asarray(found & (apart.min(axis=1, initial=np.inf) < _ONE_PLACE_MM))


_ONE_PLACE_MM = 2.0
#: Smoothing of the spline that foretells a knot: a single one does not bend it much.
_FORETELLING = 0.02


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
    usual = medians(moved[near])
    allowed = 0.5 + 0.03 * medians(np.take_along_axis(distance, near, axis=1))
    good[index] = np.hypot(*(moved - usual).T) < allowed
    return good
