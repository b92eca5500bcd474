"""Squares of the print are told from marks of a pen that look like them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from shortpencil.forms.layout import STUD_MM
from shortpencil.scan.vision.flattening.bend import FLAT
from shortpencil.scan.vision.flattening.studs import as_printed, stud_offsets
from shortpencil.scan.vision.opening.levels import Levels

K = 8.0  # px per mm
STUDS = np.array([(x, y) for y in (12.0, 28.0, 44.0) for x in (12.0, 32.0, 52.0, 72.0)])
WRITTEN_OVER = 5


def sheet(print_grey: int) -> Levels:
    """White paper with twelve squares; one is scribbled over, and a filled bubble stands 3 mm beside it."""
    gray = np.full((int(56 * K), int(84 * K)), 245, np.uint8)
    half = STUD_MM / 2
    for x, y in STUDS:
        corners = [tuple(round(v * K) for v in p) for p in ((x - half, y - half), (x + half, y + half))]
        cv2.rectangle(gray, *corners, print_grey, -1)
    x, y = STUDS[WRITTEN_OVER]
    for dx in (-1.4, -0.3, 0.8):
        start, end = ((round((x + dx + s) * K), round((y + t) * K)) for s, t in ((0.8, -1.6), (-0.4, 1.7)))
        cv2.line(gray, start, end, 60, 6)
    cv2.circle(gray, (round((x + 3.0) * K), round((y + 0.5) * K)), round(0.9 * K), 60, -1)
    return Levels(cv2.GaussianBlur(gray, (0, 0), 1.5))


@pytest.mark.parametrize(("print_grey", "kept"), [(215, False), (70, True)])
def test_a_mark_is_no_square_of_pale_print(print_grey, kept):
    to_photo = np.array([(K, 0.0, -0.5), (0.0, K, -0.5), (0.0, 0.0, 1.0)])
    off, scores, darkness = stud_offsets(sheet(print_grey), K, to_photo, FLAT, STUDS, 4.0)
    found = scores >= 0.7
    assert found.all()
    assert np.hypot(*off[WRITTEN_OVER]) > 2.0  # the filled bubble was taken
    others = np.arange(len(STUDS)) != WRITTEN_OVER
    assert np.hypot(*off[others].T).max() < 0.3

    printed = as_printed(found, darkness)

    assert printed[others].all()
    assert printed[WRITTEN_OVER] == kept  # as dark as a pen, print tells nothing


def test_few_squares_are_not_compared():
    found = np.ones(4, bool)
    assert as_printed(found, np.array([0.1, 0.1, 0.1, 0.9])).all()
