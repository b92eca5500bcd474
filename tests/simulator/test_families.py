"""Families of photos: what copiers, printers, bags and lenses do, and that each family makes a photo."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.copiers import Copier, copied_page
from tests.simulator.families import FAMILIES, HELD_OUT, HOSTILE, TUNED_ON, family_shot
from tests.simulator.handling import Crease, Curl, heights, rolled_shutter
from tests.simulator.optics import Finish, Glass, finished, through_glass
from tests.simulator.printers import fading, lightened, screened, sprayed, toner_saved
from tests.simulator.sensor import WHITE


def page(tone: int) -> np.ndarray:
    """A white page with a black bar and a bar of a tone."""
    grey = np.full((240, 360), 250, np.uint8)
    grey[40:60], grey[120:150] = 20, tone
    return grey


def test_a_copier_makes_white_of_pale_tones_and_keeps_black() -> None:
    rng = np.random.default_rng(1)
    quiet = Copier(white=0.8, sharpen=0.0, screen_per_mm=0.0, lamp=0.0, noise=0.0, dust=0.0, spread_mm=0.0)
    pale = copied_page(page(215), 8.0, quiet, rng)
    assert pale[135, 100] == 255
    assert pale[50, 100] < 20
    dark = copied_page(page(120), 8.0, quiet, rng)
    assert dark[135, 100] < 160


def test_printers_give_less_ink_where_they_are_told_to() -> None:
    rng = np.random.default_rng(2)
    grey = page(128)
    assert lightened(grey, 2.0)[135, 9] > grey[135, 9]
    assert lightened(grey, 2.0)[50, 9] < 60
    faded = fading(grey, 1.0, 0.3, 0.0)
    assert faded[50, 5] < 40
    assert faded[50, -5] > 120
    for changed in (toner_saved(grey, 12.0, 0.5, rng), sprayed(grey, 12.0, 0.7, 0.0, rng)):
        assert 40 < changed[44:56].mean() < 190
    dots = screened(grey, 12.0, 80.0, 30.0)
    assert np.ptp(dots[120:150].astype(int)) > 150  # dots, no even grey
    assert abs(dots[122:148].mean() - 128) < 30


def test_a_crease_is_a_kink_and_a_curl_lifts_an_edge() -> None:
    u, v = np.meshgrid(np.arange(0.0, 211.0), np.arange(0.0, 298.0))
    crease = Crease(0.5, 0.5, 0.0, 20.0)
    z = heights(u, v, 210, 297, (crease,), ())
    slope = np.diff(z[:, 100])
    # Half of the angle on each side, as a slope: tan 10 degrees.
    assert slope[140] == pytest.approx(-slope[155], rel=0.1)
    assert abs(slope[155]) == pytest.approx(np.tan(np.radians(10)), rel=0.2)
    lifted = heights(u, v, 210, 297, (), (Curl(0.0, 0.0, 12.0),))
    assert lifted[150, -1] == pytest.approx(12.0, rel=0.02)
    assert lifted[150, 20] == 0.0


def test_a_rolling_shutter_moves_points_with_the_picture() -> None:
    image = np.zeros((200, 120, 3), np.uint8)
    image[150, 60] = 255
    grid = np.zeros((1, 1, 2))
    grid[0, 0] = (60.0, 150.0)
    shown, (moved,) = rolled_shutter(image, [grid], 40.0, 3.0, 0.5)
    row, column = np.unravel_index(int(shown[..., 0].argmax()), shown.shape[:2])
    assert moved[0, 0] == pytest.approx((column, row), abs=0.6)


def test_a_veil_takes_contrast_and_a_finger_darkens_an_edge() -> None:
    scene = np.full((320, 240, 3), 0.8 * WHITE, np.uint16)
    scene[150:170] = 0.05 * WHITE
    veiled = through_glass(scene, Glass(veil=0.3))
    assert veiled[160, 120, 0] > 3 * scene[160, 120, 0]
    finger = through_glass(scene, Glass(finger=0.2, finger_at=0.1))
    assert finger[2, 90, 1] < 0.5 * scene[2, 90, 1]
    assert finger[300, 120, 1] == scene[300, 120, 1]


def test_bright_pictures_clip_and_keep_their_darks() -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2).repeat(8, axis=0)
    bright = finished(ramp, Finish(brighten=1.5))
    assert (bright[4, 235:] > 245).all()
    assert bright[4, 20].max() < 40
    assert (np.diff(bright[4, :, 1].astype(int)) >= -2).all()


def test_families_are_tuned_on_or_held_out_or_hostile() -> None:
    assert set(FAMILIES) == {*TUNED_ON, *HELD_OUT, *HOSTILE}
    assert len(FAMILIES) == len(TUNED_ON) + len(HELD_OUT) + len(HOSTILE)


@pytest.mark.parametrize("name", ["copied-filled", "curled", "sent-scan"])
def test_a_family_makes_a_photo_whose_truth_lies_in_it(name: str) -> None:
    shot = family_shot(name, 0.5, 7, long_px=1200, px_per_mm=6.0)
    height, width = shot.image.shape[:2]
    corners = shot.sheet_to_photo[0](np.array([(15.0, 15.0), (195.0, 15.0), (195.0, 260.0)]))
    assert ((corners >= 0) & (corners <= (width, height))).all()
    assert shot.sheets[0].cells
    assert shot.condition.name == name
