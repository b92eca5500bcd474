"""Array types of the room: shape, dtype and range in one place. Arrays are [row, column], points (x, y)."""

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.geometry import Box

GrayImage = NDArray[np.uint8]  # (H, W), 0 black to 255 white
InkImage = NDArray[np.float32]  # (H, W), 0 this card's paper to 1 its black print
PointsMm = NDArray[np.float64]  # (N, 2), card frame, mm
PointsPx = NDArray[np.float64]  # (N, 2), photo frame, px; a pixel's centre has whole coordinates
Floats = NDArray[np.float64]
FloatImage = NDArray[np.float32]  # (H, W)
Bools = NDArray[np.bool_]
Homography = NDArray[np.float64]  # (3, 3), maps homogeneous (x, y, 1)


def halved(gray: GrayImage) -> GrayImage:
    """Return the picture at half size, each pixel the mean of four; OpenCV does this fastest of all sizes."""
    import cv2

    return np.asarray(cv2.resize(gray, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)


def shrunk(gray: GrayImage, scale: float) -> GrayImage:
    """Return the picture at `scale` (at most 1); the same picture at 1.

    Halved as often as that goes, then interpolated: averaging over areas in one step to an odd size takes ten
    times as long. A side of odd length is cut to an even one first, so that the scale stays exact.
    """
    import cv2

    if scale >= 1.0:
        return gray
    small = gray
    while scale <= 0.5:
        small = halved(small[: small.shape[0] & ~1, : small.shape[1] & ~1])
        scale *= 2
    if scale == 1.0:
        return small
    return np.asarray(cv2.resize(small, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR), np.uint8)


def project(transform: Homography, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `points` (N, 2) mapped through a homography."""
    homogeneous = points @ transform[:, :2].T + transform[:, 2]
    mapped: NDArray[np.float64] = homogeneous[:, :2] / homogeneous[:, 2:]
    return mapped


def by_row(patches: FloatImage) -> FloatImage:
    """Patches (N, H, W) as rows (N, H * W), also of none at all, for which -1 would not do."""
    return patches.reshape(len(patches), math.prod(patches.shape[1:]))


def ranked(rows: FloatImage) -> FloatImage:
    """Return the values of each column of some rows (N, M) in rising order, (M, N).

    NumPy sorts rows with wide registers: a median of columns taken from these costs a tenth.
    """
    columns = np.ascontiguousarray(rows.T)
    columns.sort(axis=1)
    return columns


def centres_of(boxes: Iterable[Box]) -> PointsMm:
    """Return the middles (N, 2) of boxes, mm."""
    return np.array([(box.x + box.w / 2, box.y + box.h / 2) for box in boxes]).reshape(-1, 2)


def alike(rows: Floats) -> list[tuple[tuple[float, ...], NDArray[np.intp]]]:
    """Return the distinct rows of some (N, M), and where each stands.

    NumPy's `unique` loads, the first time, a module for arrays with gaps: as long as a picture is decoded.
    """
    places: dict[tuple[float, ...], list[int]] = {}
    for at, row in enumerate(map(tuple, rows.tolist())):
        places.setdefault(row, []).append(at)
    return [(row, np.array(at, np.intp)) for row, at in places.items()]


def medians(rows: NDArray[Any]) -> NDArray[Any]:
    """Return the median along the second axis (N, …) of (N, M, …); NumPy's own takes six times as long."""
    values, count = np.sort(rows, axis=1), rows.shape[1]
    middles: NDArray[Any] = _between(values[:, (count - 1) // 2], values[:, count // 2])
    return middles


def median(values: NDArray[Any]) -> float:
    """Return the median of all values, NaN of none; NumPy's own loads what `alike` does without, too."""
    if not values.size:
        return math.nan
    half, odd = divmod(values.size, 2)
    parted = np.partition(values, half, axis=None)
    return float(_between(parted[half] if odd else parted[:half].max(), parted[half]))


def percentile(rows: NDArray[Any], percent: float) -> Any:
    """Return a percentile along the last axis, on the line between two ranks, as NumPy's own does it."""
    values, last = np.sort(rows, axis=-1), rows.shape[-1] - 1
    at = last * (percent / 100)
    low, share = int(at), at - int(at)
    under, over = values[..., low], values[..., min(low + 1, last)]
    step = over - under
    return under + step * share if share < 0.5 else over - step * (1 - share)


def _between(low: Any, high: Any) -> Any:
    """The middle of each two numbers of a kind; that of whole ones as float64."""
    return np.add(low, high, dtype=low.dtype if low.dtype.kind == "f" else np.float64) / 2


def median_of_rows(rows: FloatImage) -> FloatImage:
    """Return the median of each column (M,) of some rows (N, M)."""
    values, count = ranked(rows), len(rows)
    return np.asarray((values[:, (count - 1) // 2] + values[:, count // 2]) / 2, np.float32)
