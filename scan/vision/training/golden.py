"""Patches that need no random numbers: the same on every machine, to compare networks number by number."""

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.seeing.digits import PATCH_PX

BOX_WH_MM = (5.0, 6.2)


def golden_patches() -> NDArray[np.float32]:
    """Eight patches (8, 48, 48): nothing, an outline, and bars and rings in the outline."""
    y, x = np.mgrid[0:PATCH_PX, 0:PATCH_PX].astype(np.float64) - (PATCH_PX - 1) / 2
    px_per_mm = PATCH_PX / (BOX_WH_MM[1] + 2.4)
    half_w, half_h = BOX_WH_MM[0] / 2 * px_per_mm, BOX_WH_MM[1] / 2 * px_per_mm

    def line(distance: NDArray[np.float64], half_px: float) -> NDArray[np.float64]:
        return np.clip(half_px + 0.5 - np.abs(distance), 0, 1)

    box = line(np.maximum(np.abs(x) - half_w, np.abs(y) - half_h), 0.7)
    upright = line(x - 0.15 * y, 1.2) * (np.abs(y) < 12)
    level = line(y + 10, 1.2) * (np.abs(x) < 8)
    ring = line(np.hypot(x / 8, y / 12) * 10 - 10, 1.3)
    small = line(np.hypot(x, y + 5) - 5, 1.3)
    cross = np.maximum(line(x - y, 1.5), line(x + y, 1.5)) * (np.maximum(np.abs(x), np.abs(y)) < 10)
    drawn = [
        0 * x,
        0.3 * box,
        upright,
        ring,
        np.maximum(upright, level),
        np.maximum(small, upright),
        cross,
        level,
    ]
    inks = [np.maximum(0.3 * box * (k > 0), 0.6 * ink) if k > 1 else ink for k, ink in enumerate(drawn)]
    return np.stack(inks).astype(np.float32)
