"""A photo at full, half, quarter size: whoever samples it takes the smallest that still has the pixels.

A sample of a coarser picture is a mean of four or sixteen pixels: it has less noise, no aliasing, and lies
nearer in memory.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import GrayImage, PointsPx, halved

#: A level may have so much fewer pixels per mm than are asked for; the eye and the network do not notice.
SLACK = 0.88


class Levels:
    """The photo and its halvings, each made when first asked for."""

    def __init__(self, gray: GrayImage) -> None:
        self._levels = [gray]

    @property
    def gray(self) -> GrayImage:
        """The photo itself."""
        return self._levels[0]

    def coarsest(self, px_per_mm: float, wanted_px_per_mm: float) -> tuple[GrayImage, float]:
        """Return the smallest level with the wanted resolution, and its scale.

        `px_per_mm` is that of the card in the photo.
        """
        level, scale = 0, 1.0
        while px_per_mm * scale / 2 >= SLACK * wanted_px_per_mm:
            level, scale = level + 1, scale / 2
        while len(self._levels) <= level:
            last = self._levels[-1]
            # Cut to even sides, so that every level's scale is exact.
            self._levels.append(halved(last[: last.shape[0] & ~1, : last.shape[1] & ~1]))
        return self._levels[level], scale


def levels_of(photo: GrayImage | Levels) -> Levels:
    """Return the levels of a photo, or what already are levels."""
    return photo if isinstance(photo, Levels) else Levels(photo)


def remapped(gray: GrayImage, at: NDArray[np.float32]) -> GrayImage:
    """Return grey values at points (H, W, 2) of a picture; outside, its edge repeats."""
    # The second map belongs to another form of the first; the types of OpenCV ask for it all the same.
    nowhere: Any = None
    return np.asarray(
        cv2.remap(gray, at, nowhere, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )


def sampled(gray: GrayImage, scale: float, at: PointsPx, shape: tuple[int, int]) -> GrayImage:
    """Return grey values of a level at points (N, 2) of the photo, as a picture of `shape`."""
    return remapped(gray, ((at + 0.5) * scale - 0.5).astype(np.float32).reshape(*shape, 2))


def grey_at(gray: GrayImage, share: float) -> float:
    """Return the grey value that `share` of the pixels reach at most; counted, since sorting takes longer."""
    counts = cv2.calcHist([np.ascontiguousarray(gray).reshape(1, -1)], [0], None, [256], [0, 256])
    return float(np.searchsorted(np.cumsum(counts), share * gray.size))
