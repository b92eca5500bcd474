"""Photos that cannot be read are refused, with what the player can do about it, before they are misread."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from forms.layout import Layout
from scan.vision.ink import px_slice
from scan.vision.quality import (
    LOOK_PX_PER_MM,
    MANY_QUESTIONS,
    Quality,
    edge_width_mm,
    grain_of,
    mark_windows,
    too_many_questions,
    why_not,
)
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
        ("px_per_mm", 1.9, "too small"),
        ("blur_mm", 1.0, "not sharp"),
        ("contrast", 0.05, "contrast"),
        ("grain", 0.08, "dark"),
        ("outside_share", 0.4, "outside the picture"),
        ("studs_found", 6, "flat"),
    ],
)
def test_each_measure_refuses_in_words_that_help(measure: str, value: float, words: str) -> None:
    reason = why_not(dataclasses.replace(GOOD, **{measure: value}))
    assert reason is not None
    assert words in reason


def test_many_questions_are_the_photos_fault_only_when_they_are_most_of_the_marks() -> None:
    assert too_many_questions(MANY_QUESTIONS - 1, 60) is None
    assert too_many_questions(MANY_QUESTIONS, 160) is None
    assert "41 of 100" in (too_many_questions(41, 100) or "")


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


def test_beyond_dusk_a_card_is_rejected_not_misread() -> None:
    counts = Counts()
    reading = count(shoot("dusk", 1.0, 11, long_px=2000), counts, "dusk")
    assert reading.status == "rejected"
    assert "more light" in (reading.reason or "")


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
