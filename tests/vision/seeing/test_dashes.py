"""A dash in a digit box means that there is nothing to say; what is more than a dash is looked at."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.dashes import DASH, dashes
from shortpencil.scan.vision.seeing.dashes import is_dash as found_dash
from shortpencil.scan.vision.seeing.digits import PATCH_MARGIN_MM, PATCH_PX

BOX = (4.2, 5.0)
SIDE = BOX[1] + PATCH_MARGIN_MM
PX = PATCH_PX / SIDE


def drawn(*lines, thickness=0.5, outline=0.4):
    """A box with lines between points in mm from its middle."""
    patch = np.zeros((PATCH_PX, PATCH_PX), np.float32)

    def at(x, y):
        return round((x + SIDE / 2) * PX * 16), round((y + SIDE / 2) * PX * 16)

    w, h = BOX[0] / 2, BOX[1] / 2
    cv2.rectangle(patch, at(-w, -h), at(w, h), outline, 1, cv2.LINE_AA, 4)
    for line in lines:
        points = np.array([at(*p) for p in line], np.int32)
        cv2.polylines(patch, [points], False, 0.9, max(round(thickness * PX), 1), cv2.LINE_AA, 4)
    return cv2.GaussianBlur(patch, (0, 0), 0.8)


def is_dash(*lines, **how):
    return found_dash(drawn(*lines, **how), *BOX)


@given(st.floats(0.55, 1.4), st.floats(-0.3, 0.3), st.floats(-0.9, 0.9), st.floats(0.2, 0.7))
def test_a_short_level_bar_is_a_dash(half, slope, off, thickness):
    if half < 1.1 * thickness:
        half = 1.1 * thickness + 0.3
    assert is_dash([(-half, off + slope * half), (half, off - slope * half)], thickness=thickness)


@pytest.mark.parametrize(
    ("what", "lines"),
    [
        ("nothing", []),
        ("a one", [[(0.2, -1.6), (0, 1.6)]]),
        ("a slanted one", [[(0.9, -1.6), (-0.9, 1.6)]]),
        ("a seven", [[(-1, -1.5), (1, -1.5), (-0.2, 1.5)]]),
        ("the foot of a two", [[(-1, 1.6), (1, 1.6)]]),
        ("a plus", [[(-1, 0), (1, 0)], [(0, -1), (0, 1)]]),
        ("two bars", [[(-1, -0.6), (1, -0.6)], [(-1, 0.6), (1, 0.6)]]),
        ("a one struck out", [[(0.1, -1.6), (0, 1.6)], [(-1.2, 0), (1.2, 0)]]),
        ("a dot", [[(0, 0), (0.1, 0)]]),
        ("a ring", [[(np.cos(t), np.sin(t)) for t in np.linspace(0, 6.3, 30)]]),
        ("a four without its stem", [[(0.3, -1.5), (-1, 0.3), (1, 0.3)]]),
    ],
)
def test_anything_else_is_none(what, lines):
    assert not is_dash(*lines)


def test_only_what_the_network_takes_for_no_digit_can_be_one():
    bar = drawn([(-1, 0), (1, 0)])
    row = np.full((3, 12), np.log(1e-3), np.float32)
    row[0, SCRAP_BOX] = row[1, 4] = row[2, BLANK_BOX] = np.log(0.989)
    found = dashes(row, np.stack([bar] * 3), np.tile(BOX, (3, 1)))
    assert found.tolist() == [0]


def test_it_speaks_for_a_blank_and_is_a_distribution():
    assert DASH.argmax() == BLANK_BOX
    np.testing.assert_allclose(np.exp(DASH).sum(), 1, atol=1e-5)
