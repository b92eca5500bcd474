"""Array types of the room: shape, dtype and range in one place. Arrays are [row, column], points (x, y)."""

import numpy as np
from numpy.typing import NDArray

GrayImage = NDArray[np.uint8]  # (H, W), 0 black to 255 white
InkImage = NDArray[np.float32]  # (H, W), 0 this card's paper to 1 its black print
PointsMm = NDArray[np.float64]  # (N, 2), card frame, mm
PointsPx = NDArray[np.float64]  # (N, 2), photo frame, px; a pixel's centre has whole coordinates
Floats = NDArray[np.float64]
FloatImage = NDArray[np.float32]  # (H, W)
Bools = NDArray[np.bool_]
Homography = NDArray[np.float64]  # (3, 3), maps homogeneous (x, y, 1)


def shrunk(gray: GrayImage, scale: float) -> GrayImage:
    """Return the picture at `scale` (at most 1), averaged over areas; the same picture at 1."""
    import cv2

    if scale >= 1.0:
        return gray
    return np.asarray(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)


def project(transform: Homography, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `points` (N, 2) mapped through a homography."""
    homogeneous = points @ transform[:, :2].T + transform[:, 2]
    mapped: NDArray[np.float64] = homogeneous[:, :2] / homogeneous[:, 2:]
    return mapped
