"""Photos that cannot be read are refused, with what the player can do about it, before they are misread."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.doubting.quality import (
    LOOK_PX_PER_MM,
    MANY_QUESTIONS,
    Quality,
    edge_width_mm,
    grain_of,
    is_only_cut,
    mark_windows,
    near_to_far,
    too_many_questions,
    why_not,
)
from shortpencil.scan.vision.flattening.bend import FLAT
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.flattening.rectify import Registration
from shortpencil.scan.vision.opening.levels import grey_at
from tests.bench.cards import Counts, count, find_layout, shoot
from tests.simulator.blanks import blank_card

GOOD = Quality(
    px_per_mm=9.0,
    blur_mm=0.1,
    contrast=0.8,
    marks_found=4,
    studs_found=24,
    studs_total=24,
    residual_mm=0.02,
    outside_share=0.0,
    grain=0.01,
)


def test_a_good_photo_is_not_refused() -> None:
    assert why_not(GOOD) is None


@pytest.mark.parametrize(
    ("measure", "value", "words"),
    [
        ("px_per_mm", 1.7, "too small"),
        ("blur_mm", 1.0, "not sharp"),
        ("contrast", 0.05, "contrast"),
        ("grain", 0.2, "dark"),
        ("outside_share", 0.4, "outside the picture"),
        ("studs_found", 6, "flat"),
    ],
)
def test_each_measure_refuses_in_words_that_help(measure: str, value: float, words: str) -> None:
    reason = why_not(dataclasses.replace(GOOD, **{measure: value}))
    assert reason is not None
    assert words in reason


@pytest.mark.parametrize(
    ("paper", "words"), [(30.0, "out of the shadow"), (252.0, "burnt out"), (180.0, "print itself is pale")]
)
def test_no_contrast_is_put_down_to_the_light_or_to_the_print(paper: float, words: str) -> None:
    assert words in (why_not(dataclasses.replace(GOOD, contrast=0.05, paper=paper)) or "")


def test_a_blurred_photo_from_aside_is_to_be_taken_from_above() -> None:
    blurred = dataclasses.replace(GOOD, blur_mm=1.0)
    assert "level above the card" not in (why_not(blurred) or "")
    assert "level above the card" in (why_not(dataclasses.replace(blurred, near_to_far=1.8)) or "")
    assert why_not(dataclasses.replace(GOOD, near_to_far=1.8)) is None


def test_two_marks_are_enough_only_with_print_between_them() -> None:
    assert why_not(dataclasses.replace(GOOD, marks_found=2)) is None
    bare = dataclasses.replace(GOOD, marks_found=2, studs_found=0, studs_total=0)
    assert "only two of the four" in (why_not(bare) or "")
    assert why_not(dataclasses.replace(bare, marks_found=3)) is None


def test_only_what_is_outside_may_be_wrong_with_a_photo_that_completes_another() -> None:
    cut_off = dataclasses.replace(GOOD, outside_share=0.4)
    assert is_only_cut(cut_off)
    assert not is_only_cut(GOOD)
    assert not is_only_cut(dataclasses.replace(cut_off, blur_mm=1.0))


def test_tilt_is_told_from_how_much_nearer_the_near_side_is() -> None:
    # A pinhole 400 mm above the middle, leaning by 30 degrees: a corner 80 % out lies 119 mm up or down the
    # slope, so 400 +- 119 sin 30 from the lens; a small square shrinks by that to the power of 3/2.
    layout = find_layout(blank_card().fingerprint)
    assert layout is not None
    w, h = layout.paper.width_mm / 2, layout.paper.height_mm / 2
    lean = np.radians(30)
    card_to_photo = np.array(
        [
            [1000.0, 0.0, -1000 * w],
            [0.0, 1000 * np.cos(lean), -1000 * np.cos(lean) * h],
            [0.0, np.sin(lean), 400 - np.sin(lean) * h],
        ]
    )
    flat = Registration(card_to_photo, FLAT, 0, 0, 0.0, 5.0)
    near, far = 400 - 0.8 * h * np.sin(lean), 400 + 0.8 * h * np.sin(lean)
    assert near_to_far(flat, layout) == pytest.approx((far / near) ** 1.5, rel=0.02)


def test_many_questions_are_the_photos_fault_only_when_they_are_most_of_the_marks() -> None:
    assert too_many_questions(MANY_QUESTIONS - 1, 60) is None
    assert too_many_questions(MANY_QUESTIONS, 160) is None
    assert "41 of 100" in (too_many_questions(41, 100) or "")
    assert "Fill the bubbles" in (too_many_questions(41, 100) or "")
    assert "no lamp and no sun" in (too_many_questions(41, 100, fades=True) or "")


def marks_of(page: np.ndarray, layout: Layout) -> list[np.ndarray]:
    """Corner marks cut from a page at the resolution that they are looked at."""
    return [page[px_slice(box, LOOK_PX_PER_MM)] for box in mark_windows(layout)]


def test_the_width_of_an_edge_is_the_sigma_of_its_blur() -> None:
    """A step blurred by a Gaussian of sigma s has its steepest slope at 1 / (s sqrt(2 pi)) of its height."""
    import cv2

    layout = find_layout(blank_card("round18", px_per_mm=8.0).fingerprint)
    assert layout is not None
    page = np.asarray(blank_card("round18", px_per_mm=8.0).page)
    for sigma_mm in (0.25, 0.4):
        soft = cv2.GaussianBlur(page, (0, 0), sigma_mm * 8.0)
        assert edge_width_mm(marks_of(soft, layout)) == pytest.approx(sigma_mm, abs=0.06)


def test_grey_values_are_ranked_as_if_sorted() -> None:
    gray = np.random.default_rng(3).integers(0, 256, (33, 45)).astype(np.uint8)
    for share in (0.5, 0.9, 1.0):
        assert grey_at(gray[::2, ::2], share) == np.quantile(gray[::2, ::2], share, method="inverted_cdf")


def test_grain_is_the_noise_of_paper_in_units_of_print() -> None:
    """Of noise with sigma s, s remains but for what the blur keeps; the median looks past what is printed."""
    rng = np.random.default_rng(5)

    def parts(sigma: float) -> list[np.ndarray]:
        light = np.full((24, 64, 64), 200.0)
        light[:6] = 40  # a quarter is print
        return list(np.clip(light + rng.normal(0, sigma, light.shape), 0, 255).astype(np.uint8))

    fine, coarse = (grain_of(parts(sigma), contrast=0.8) for sigma in (4.0, 8.0))
    assert fine == pytest.approx(4.0 / (200 * 0.8), rel=0.2)
    assert coarse == pytest.approx(2 * fine, rel=0.1)
    assert grain_of(parts(4.0), contrast=0.4) == pytest.approx(2 * fine, rel=0.1)


@pytest.mark.parametrize("seed", [11, 12])
def test_in_the_dusk_a_card_is_read_and_beyond_it_rejected_and_never_misread(seed: int) -> None:
    counts = Counts()
    assert count(shoot("dusk", 0.9, seed, long_px=2000, px_per_mm=8.0), counts, "dusk").status == "read"
    assert count(shoot("dusk", 1.3, seed, long_px=2000, px_per_mm=8.0), counts, "dark").status == "rejected"
    assert counts.silent.total() == 0, counts.errors


@pytest.mark.parametrize("across", [True, False], ids=["across", "down"])
def test_a_moved_camera_is_noticed_whichever_way_it_moved(across: bool) -> None:
    import cv2

    layout = find_layout(blank_card("round18", px_per_mm=8.0).fingerprint)
    assert layout is not None
    page = np.asarray(blank_card("round18", px_per_mm=8.0).page)
    size = (19, 1) if across else (1, 19)
    moved = cv2.blur(page, size)  # 19 px of even motion: 2.4 mm, sigma 2.4 / sqrt(12) = 0.69 mm
    assert edge_width_mm(marks_of(moved, layout)) > 0.5
    assert edge_width_mm(marks_of(page, layout)) < 0.15
