"""Pictures that are kept with a reading: small, without metadata, and of the right place."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.vision.flattening.pictures import (
    FIELD_PX_PER_MM,
    MARGIN_MM,
    card_picture,
    field_box,
    field_pictures,
    sharp_field_pictures,
)
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM, FLAT, Registration


def flat_card() -> np.ndarray:
    flat = np.full((int(297 * CARD_PX_PER_MM), int(210 * CARD_PX_PER_MM)), 230, np.uint8)
    box = field_box(builtin_layout("round18", "a4", "m", "right"), "h07.score")
    top, left = round(box.y * CARD_PX_PER_MM), round(box.x * CARD_PX_PER_MM)
    flat[top : top + round(box.h * CARD_PX_PER_MM), left : left + round(box.w * CARD_PX_PER_MM)] = 40
    return flat


def test_the_whole_card_is_a_small_jpeg_of_the_same_proportions() -> None:
    data = card_picture(flat_card())
    assert data.startswith(b"\xff\xd8\xff")
    assert b"Exif" not in data
    assert len(data) < 300_000
    back = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert back.shape[1] / back.shape[0] == pytest.approx(210 / 297, abs=2e-3)
    # The page lays boxes in mm over this picture: the dark field lies where the layout says.
    box = field_box(builtin_layout("round18", "a4", "m", "right"), "h07.score")
    scale = back.shape[1] / 210
    ys, xs = np.nonzero(back < 130)
    found = (xs.min(), ys.min(), xs.max() + 1, ys.max() + 1)
    assert found == pytest.approx([v * scale for v in (box.x, box.y, box.right, box.bottom)], abs=2)


def test_a_field_of_the_flat_card_is_cut_at_its_resolution() -> None:
    layout = builtin_layout("round18", "a4", "m", "right")
    (data,) = field_pictures(flat_card(), layout, ["h07.score"]).values()
    back = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    box = field_box(layout, "h07.score")
    assert back.shape[0] / CARD_PX_PER_MM == pytest.approx(box.h + 2 * MARGIN_MM, abs=0.3)
    assert back[back.shape[0] // 2, back.shape[1] // 2] < 60


def test_a_field_is_cut_with_its_margin_and_nothing_else_is_written() -> None:
    layout = builtin_layout("round18", "a4", "m", "right")
    # The photo is a flat card itself: card to photo is a scale, and a pixel's centre has whole coordinates.
    k = CARD_PX_PER_MM
    to_photo = np.array([[k, 0, -0.5], [0, k, -0.5], [0, 0, 1.0]])
    lies = Registration(to_photo, FLAT, studs_found=0, studs_total=0, residual_mm=0.0, px_per_mm=k)
    pictures = sharp_field_pictures(flat_card(), lies, layout, ["h07.score"])
    assert list(pictures) == ["h07.score"]
    back = cv2.imdecode(np.frombuffer(pictures["h07.score"], np.uint8), cv2.IMREAD_GRAYSCALE)
    box = field_box(layout, "h07.score")
    assert back.shape[0] / FIELD_PX_PER_MM == pytest.approx(box.h + 2 * MARGIN_MM, abs=0.3)
    assert back.shape[1] / FIELD_PX_PER_MM == pytest.approx(box.w + 2 * MARGIN_MM, abs=0.3)
    assert back[0].min() > 200
    assert back[back.shape[0] // 2, back.shape[1] // 2] < 60
