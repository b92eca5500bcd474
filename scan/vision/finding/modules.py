"""A QR code that a decoder of clean codes gives up on: its modules measured one by one on the known grid.

A nozzle that is blocked leaves white lines through every dark module, a weak copy leaves modules as pale as
noise. What stands where is known all the same: the three finder patterns are looked for near their places,
they carry the grid, and the mean of a whole module averages lines and noise away. What comes out is drawn
anew, clean, and given to the decoder, whose error correction and the serial's check sign then judge it.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import QR_MODULE_MM, QR_MODULES, QR_QUIET_MODULES
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, GrayImage

#: Pixels to a module in the crop that is looked at.
MODULE_PX = 9
PX_PER_MM = MODULE_PX / QR_MODULE_MM
#: A finder pattern's correlation with its drawing; bands and noise leave 0.4 to 0.8 of it, other print less.
_LEAST_LIKE = 0.3
#: How far from its place a finder pattern is looked for, in modules, beyond what the crop's margin allows.
_REACH = 5.0
#: How much of a module's side is averaged, and in how many steps.
_SHARE, _STEPS = 0.8, 7
#: The corner without a finder pattern may lie so many modules beside where the other three put it.
_FOURTH = (0.0, -0.5, 0.5, -1.0, 1.0)
_FINDER = 7
#: Middles of the three finder patterns, in modules.
_MIDDLES = ((3.5, 3.5), (QR_MODULES - 3.5, 3.5), (3.5, QR_MODULES - 3.5))
#: A module is dark against the mean of those around it, weighed by a Gaussian of so many modules.
_AROUND = 3.0


def clean_codes(picture: GrayImage) -> Iterator[GrayImage]:
    """Yield what a code may be, drawn anew: by every guess of its fourth corner, the most contrasty first.

    Parameters
    ----------
    picture : crop of `PX_PER_MM` with the code in its middle
    """
    ink = _ink(picture)
    middles = _finders(ink)
    if middles is None:
        return
    grids = [_module_means(ink, middles, (dx, dy)) for dy in _FOURTH for dx in _FOURTH]
    # On the right grid a module is dark or light all over, so the means lie far apart.
    for means in sorted(grids, key=lambda means: -float(means.var()))[:4]:
        around = cv2.GaussianBlur(means, (0, 0), _AROUND, borderType=cv2.BORDER_REFLECT)
        for threshold in (around, np.full_like(means, _between(means))):
            yield _drawn(means > threshold)


def _ink(picture: GrayImage) -> FloatImage:
    """How much darker than the paper around it each pixel is, 0..1."""
    side = (QR_MODULES * MODULE_PX) | 1
    soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 1.5)
    paper = cv2.GaussianBlur(cv2.dilate(soft, np.ones((side // 3, side // 3))), (0, 0), MODULE_PX)
    return np.asarray(np.clip(1 - soft / np.maximum(paper, 1), 0, 1), np.float32)


def _finder() -> FloatImage:
    """One finder pattern with the light modules around it, 1 where it is dark (ISO/IEC 18004, 6.3.3)."""
    modules = np.zeros((_FINDER + 2, _FINDER + 2), np.float32)
    modules[1:-1, 1:-1] = 1
    modules[2:-2, 2:-2] = 0
    modules[3:-3, 3:-3] = 1
    return np.kron(modules, np.ones((MODULE_PX, MODULE_PX), np.float32))


def _finders(ink: FloatImage) -> NDArray[np.float32] | None:
    """Middles (3, 2) in px of the top left, top right, bottom left finder pattern; None where one lacks."""
    template = _finder()
    like = cv2.matchTemplate(ink, template, cv2.TM_CCOEFF_NORMED)
    half = template.shape[0] / 2
    corner = (np.array(ink.shape[::-1]) - QR_MODULES * MODULE_PX) / 2
    found = []
    for middle in _MIDDLES:
        expected = corner + np.array(middle) * MODULE_PX - half
        low = np.maximum(np.round(expected - _REACH * MODULE_PX).astype(int), 0)
        high = np.round(expected + _REACH * MODULE_PX).astype(int) + 1
        part = like[low[1] : high[1], low[0] : high[0]]
        if not part.size or float(part.max()) < _LEAST_LIKE:
            return None
        y, x = np.unravel_index(int(part.argmax()), part.shape)
        found.append((low[0] + x + half, low[1] + y + half))
    return np.array(found, np.float32)


def _module_means(ink: FloatImage, middles: NDArray[np.float32], fourth: tuple[float, float]) -> Floats:
    """Mean ink (21, 21) of each module, its corner without a finder pattern `fourth` modules beside."""
    top_left, top_right, bottom_left = middles
    span = QR_MODULES - _FINDER
    right, down = (top_right - top_left) / span, (bottom_left - top_left) / span
    last = top_right + bottom_left - top_left + fourth[0] * right + fourth[1] * down
    modules = np.array([*_MIDDLES, (QR_MODULES - 3.5, QR_MODULES - 3.5)], np.float32)
    to_picture = cv2.getPerspectiveTransform(modules, np.array([*middles, last], np.float32))
    inside = 0.5 + _SHARE * (np.arange(_STEPS) / (_STEPS - 1) - 0.5)
    along = (np.arange(QR_MODULES)[:, None] + inside).ravel()
    x, y = np.meshgrid(along, along)
    at = cv2.perspectiveTransform(np.stack([x, y], axis=-1).reshape(1, -1, 2), to_picture)
    # The middle of the first pixel has coordinate 0.5 here and 0 in OpenCV.
    seen = cv2.remap(ink, np.float32(at - 0.5), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    parts = seen.reshape(QR_MODULES, _STEPS, QR_MODULES, _STEPS)
    return np.asarray(parts.mean(axis=(1, 3)), np.float64)


def _between(means: Floats) -> float:
    """Threshold between dark and light modules, with the least spread on both sides (Otsu 1979)."""
    levels = np.sort(means.ravel())
    spread = [
        i * levels[:i].var() + (len(levels) - i) * levels[i:].var() for i in range(20, len(levels) - 20)
    ]
    cut = 20 + int(np.argmin(spread))
    return float((levels[cut - 1] + levels[cut]) / 2)


def _drawn(dark: Bools) -> GrayImage:
    """A clean picture of a code, quiet zone included."""
    around = np.pad(dark, QR_QUIET_MODULES)
    return np.asarray(np.kron(np.where(around, 0, 255), np.ones((4, 4))), np.uint8)
