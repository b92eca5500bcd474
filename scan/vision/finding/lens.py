"""A wide lens: straight lines of the card are bowed in the photo, and no homography takes that back.

A phone's main camera is straightened by its own software; many ultra-wide ones are not. The division model
describes them with one number, wide fisheyes too (a stereographic lens exactly), and inverts in closed form.
A second number is fitted once more of the card than its corner marks is known.

References
----------
Fitzgibbon 2001, "Simultaneous linear estimation of multiple view geometry and lens distortion", CVPR (the
division model).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shortpencil.scan.vision.arrays import Floats, Homography, PointsMm, PointsPx, project

#: How strong lenses are, and how far paper strays from flat, mm: the fit weighs one against the other. Half
#: the diagonal is the unit of radius; a main camera has 0.01, an ultra-wide one 0.1 to 0.6.
_USUAL_BOW, _USUAL_FAR_BOW, _USUAL_MISFIT_MM = 0.3, 0.2, 0.1
_STRONGEST = 0.85  # beyond, the picture's corners would lie behind the camera
_STEPS = 12


@dataclass(frozen=True, slots=True)
class Lens:
    """Radial distortion about the middle of the picture.

    A point at r half-diagonals from the middle would lie at r / (1 + bow r² + far_bow r⁴) in the picture of a
    lens that keeps lines straight. Negative is barrel distortion.
    """

    centre_px: tuple[float, float]
    radius_px: float
    bow: float = 0.0
    far_bow: float = 0.0

    def straight(self, photo: PointsPx) -> PointsPx:
        """Where photo points (N, 2) would lie without the distortion, px."""
        q = (photo - np.array(self.centre_px)) / self.radius_px
        r2 = (q**2).sum(axis=1, keepdims=True)
        bent = np.maximum(1.0 + r2 * (self.bow + r2 * self.far_bow), 1e-3)
        return np.asarray(q / bent * self.radius_px + np.array(self.centre_px))

    def photo(self, straight: PointsPx) -> PointsPx:
        """Photo points (N, 2) of points of the straight picture.

        With one number r = 2 s / (1 + √(1 - 4 bow s²)); with two, Newton's method goes on from there.
        """
        q = (straight - np.array(self.centre_px)) / self.radius_px
        s = np.sqrt((q**2).sum(axis=1, keepdims=True))
        root = np.sqrt(np.maximum(1.0 - 4.0 * self.bow * s**2, 0.0))
        r = 2.0 * s / (1.0 + root)
        for _ in range(6 if self.far_bow else 0):
            r2 = r * r
            miss = s * (1.0 + r2 * (self.bow + r2 * self.far_bow)) - r
            slope = s * r * (2.0 * self.bow + 4.0 * r2 * self.far_bow) - 1.0
            r = np.clip(r - miss / np.minimum(slope, -1e-3), 0.0, s * 4.0)
        return np.asarray(q * (r / np.maximum(s, 1e-12)) * self.radius_px + np.array(self.centre_px))


def good_lens(shape: tuple[int, ...]) -> Lens:
    """Return the lens that keeps lines straight, of a picture (height, width)."""
    height, width = shape[:2]
    return Lens(((width - 1) / 2.0, (height - 1) / 2.0), float(np.hypot(width, height)) / 2.0)


def through(lens: Lens | None, card_to_photo: Homography, points: PointsMm) -> PointsPx:
    """Photo px (N, 2) of card points (N, 2); with a lens, the homography leads to the straight picture."""
    straight = project(card_to_photo, points)
    return straight if lens is None else lens.photo(straight)


def fit_lens(card: PointsMm, photo: PointsPx, start: Lens, numbers: int) -> tuple[Lens, Homography, float]:
    """Return (lens, card to straight picture, root mean square misfit in mm), least squares over all points.

    Of each lens that is tried the best homography is found directly, so that only the lens is searched, by
    Gauss and Newton's method; the misfit is taken on the card, where bends and strokes are measured too.

    Parameters
    ----------
    card, photo : the same points (N, 2) in mm and in px
    start : where to begin
    numbers : 1 to fit `bow`, 2 to fit `far_bow` too
    """
    weights = _USUAL_MISFIT_MM / np.array([_USUAL_BOW, _USUAL_FAR_BOW])[:numbers]
    guess = np.array([start.bow, start.far_bow])[:numbers]

    def lens_of(bows: Floats) -> Lens:
        return Lens(start.centre_px, start.radius_px, *map(float, bows))

    def tried(bows: Floats) -> tuple[Floats, Homography]:
        straight = lens_of(bows).straight(photo)
        back, _ = cv2.findHomography(straight, card, 0)
        if back is None:
            return np.full(card.size, 1e3), np.eye(3)
        return (project(np.asarray(back, np.float64), straight) - card).ravel(), np.asarray(back, np.float64)

    for _ in range(_STEPS):
        off, _ = tried(guess)
        slopes = np.stack([(tried(guess + 1e-3 * e)[0] - off) / 1e-3 for e in np.eye(numbers)], axis=1)
        system = np.vstack([slopes, np.diag(weights)])
        step = np.linalg.lstsq(system, -np.concatenate([off, weights * guess]), rcond=None)[0]
        moved = guess + np.clip(step, -0.2, 0.2)
        guess = moved * min(1.0, _STRONGEST / max(abs(float(moved.sum())), abs(float(moved[0])), 1e-9))
        if np.abs(step).max() < 1e-5:
            break
    off, back = tried(guess)
    return lens_of(guess), np.asarray(np.linalg.inv(back)), float(np.sqrt(2.0 * (off**2).mean()))
