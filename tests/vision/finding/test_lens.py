"""Wide lenses: a known bow comes back from the marks; flat cards, bends and three marks tell of none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.layout import PAPERS
from shortpencil.scan.vision.arrays import project
from shortpencil.scan.vision.finding.corners import Corners, Mark, cards_of, fit_card, model_corners
from shortpencil.scan.vision.finding.lens import Lens, fit_lens, good_lens, through
from shortpencil.scan.vision.flattening.rectify import register
from tests.simulator.blanks import blank_card
from tests.vision.flattening.test_registration import layout_of

SHAPE = (3000, 2250)
A4 = PAPERS["a4"]


def seen(tilt: float = 0.0, turn_deg: float = 0.0) -> np.ndarray:
    """A homography (mm to px of the straight picture): the sheet nearly fills it, tilted if wished."""
    a = np.radians(turn_deg)
    to_middle = np.array([[1, 0, -105.0], [0, 1, -148.5], [0, 0, 1]])
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, 1, 0], [tilt, tilt / 2, 1.0]])
    to_px = np.array([[10.0, 0, 1124.5], [0, 10.0, 1499.5], [0, 0, 1]])
    return np.asarray(to_px @ lean @ turn @ to_middle)


def lens(bow: float, far_bow: float = 0.0) -> Lens:
    return Lens((1124.5, 1499.5), 1875.0, bow, far_bow)


def marks_at(to_photo, ids=CORNER_IDS, shape=SHAPE) -> list[Mark]:
    return [Mark(i, to_photo(model_corners(A4, i)), shape) for i in ids]


def corners_of(marks: list[Mark]) -> tuple[np.ndarray, np.ndarray]:
    return np.vstack([model_corners(A4, m.id) for m in marks]), np.vstack([m.corners for m in marks])


def test_a_point_moves_outwards_as_the_division_model_says() -> None:
    """Fitzgibbon 2001: r / (1 + bow r²); at half a half-diagonal with bow -0.8 that is 0.5 / 0.8."""
    at = np.array([[1124.5 + 937.5, 1499.5]])
    assert lens(-0.8).straight(at)[0] == pytest.approx([1124.5 + 1875.0 * 0.625, 1499.5])
    assert good_lens(SHAPE).straight(at)[0] == pytest.approx(at[0])
    assert good_lens(SHAPE) == lens(0.0)


def test_a_stereographic_fisheye_is_one_bow_exactly() -> None:
    """A ray at angle t to its axis falls at 2 f tan(t / 2), in a straight lens at f tan(t): bow -1 / 4f²."""
    angles = np.radians([5.0, 20.0, 40.0, 55.0])
    focal_px = 0.7 * 1875.0
    fisheye = np.stack([1124.5 + 2 * focal_px * np.tan(angles / 2), np.full(4, 1499.5)], axis=1)
    straight = np.stack([1124.5 + focal_px * np.tan(angles), np.full(4, 1499.5)], axis=1)
    assert np.allclose(lens(-0.25 / 0.7**2).straight(fisheye), straight)


@given(
    bow=st.floats(-0.6, 0.1),
    far_bow=st.floats(-0.2, 0.2),
    x=st.floats(0, 2249),
    y=st.floats(0, 2999),
)
def test_through_the_lens_and_back_is_the_same_point(bow: float, far_bow: float, x: float, y: float) -> None:
    at = np.array([[x, y]])
    for wide in (lens(bow), lens(bow, far_bow)):
        assert np.abs(wide.photo(wide.straight(at)) - at).max() < 1e-3


@pytest.mark.parametrize("bow", [-0.06, -0.3, -0.6])
@pytest.mark.parametrize(("tilt", "turn_deg"), [(0.0, 0.0), (1e-3, 20.0), (-1.5e-3, 95.0)])
def test_a_known_bow_comes_back_from_the_corners_of_the_marks(bow, tilt, turn_deg) -> None:
    truth = seen(tilt, turn_deg)
    card, photo = corners_of(marks_at(lambda p: through(lens(bow), truth, p)))
    fitted, transform, error = fit_lens(card, photo, good_lens(SHAPE), 1)
    assert fitted.bow == pytest.approx(bow, abs=2e-3)
    assert error < 0.01
    inside = np.random.default_rng(1).uniform((10, 10), (200, 287), (60, 2))
    off_px = through(fitted, transform, inside) - through(lens(bow), truth, inside)
    assert np.abs(off_px).max() < 1.0  # a tenth of a millimetre


def test_two_numbers_follow_a_lens_of_another_kind_once_studs_are_known() -> None:
    """Brown 1971's polynomial, r = s (1 + k1 s² + k2 s⁴), with what phones' ultra-wide cameras have."""
    focal_px, middle = 1200.0, np.array([1124.5, 1499.5])

    def photo_of(points):
        q = (project(seen(1e-3), points) - middle) / focal_px
        s2 = (q**2).sum(axis=1, keepdims=True)
        return q * (1 - 0.12 * s2 + 0.01 * s2**2) * focal_px + middle

    card, photo = corners_of(marks_at(photo_of))
    studs = np.stack(np.meshgrid(np.linspace(20, 190, 4), np.linspace(30, 270, 6)), axis=-1).reshape(-1, 2)
    cells = np.random.default_rng(2).uniform((10, 10), (200, 287), (200, 2))

    def off_mm(fitted: Lens, transform) -> float:
        return float(np.linalg.norm(through(fitted, transform, cells) - photo_of(cells), axis=1).max()) / 8.0

    one = fit_lens(card, photo, good_lens(SHAPE), 1)
    two = fit_lens(np.vstack([card, studs]), np.vstack([photo, photo_of(studs)]), one[0], 2)
    assert off_mm(*two[:2]) < 0.5 * off_mm(*one[:2])
    assert off_mm(*two[:2]) < 0.4


def test_a_flat_card_in_a_good_lens_keeps_its_homography() -> None:
    marks = marks_at(lambda p: project(seen(1e-3, 10.0), p))
    card, photo = corners_of(marks)
    fitted, transform, _ = fit_lens(card, photo, good_lens(SHAPE), 1)
    assert abs(fitted.bow) < 1e-3
    inside = np.random.default_rng(1).uniform((10, 10), (200, 287), (60, 2))
    assert np.abs(through(fitted, transform, inside) - project(seen(1e-3, 10.0), inside)).max() < 0.5
    (found,) = cards_of(marks)
    assert found.lens is None
    assert np.allclose(found.card_to_photo, fit_card({m.id: m for m in marks}, A4)[0], rtol=1e-6)


def test_marks_that_each_point_beside_the_others_are_one_card_through_a_lens() -> None:
    truth = seen(1.2e-3, 30.0)
    marks = marks_at(lambda p: through(lens(-0.55), truth, p))
    (found,) = cards_of(marks)
    assert set(found.marks) == set(CORNER_IDS)
    assert found.lens is not None
    assert found.lens.bow == pytest.approx(-0.55, abs=5e-3)
    assert found.paper.name == "a4"
    point = np.array([[150.0, 20.0]])
    assert found.to_photo(point)[0] == pytest.approx(through(lens(-0.55), truth, point)[0], abs=1.0)
    # Without the picture's size nothing is known of a lens, and the marks stay apart.
    blind = cards_of([Mark(m.id, m.corners) for m in marks])
    assert all(len(card.marks) < 4 for card in blind)


def test_three_marks_tell_of_no_lens() -> None:
    marks = marks_at(lambda p: through(lens(-0.1), seen(), p), ids=CORNER_IDS[:3])
    assert all(card.lens is None for card in cards_of(marks))


@pytest.mark.parametrize("radius_mm", [-300.0, -180.0, 180.0, 300.0])
@pytest.mark.parametrize("along_deg", [0.0, 35.0, 90.0])
def test_a_bend_is_not_taken_for_a_lens(radius_mm: float, along_deg: float) -> None:
    """A sheet on a cylinder, seen by a pinhole: its marks miss by more than a lens would be looked for at."""
    a = np.radians(along_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])

    def photo_of(points):
        across = (points - (105.0, 148.5)) @ turn.T
        bent = np.stack([radius_mm * np.sin(across[:, 0] / radius_mm), across[:, 1]], axis=1)
        depth_mm = 330.0 + radius_mm * (1 - np.cos(across[:, 0] / radius_mm))
        return (bent @ turn) / depth_mm[:, None] * 2700.0 + (1124.5, 1499.5)

    marks = marks_at(photo_of)
    assert fit_card({m.id: m for m in marks}, A4)[1] > 0.3
    assert all(card.lens is None for card in cards_of(marks))


def test_a_wrong_lens_does_not_move_the_cells_of_a_flat_card() -> None:
    """What the marks seemed to say is fitted anew to marks and studs; if few studs appear, it is dropped."""
    page = blank_card("round18", px_per_mm=6.0).page
    table = cv2.copyMakeBorder(page, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=90)
    marks = [Mark(i, 6.0 * model_corners(A4, i) + 59.5, table.shape) for i in CORNER_IDS]
    (card,) = cards_of(marks)
    middle = good_lens(table.shape)
    wrong = Lens(middle.centre_px, middle.radius_px, 0.5)
    pretended = Corners(card.marks, card.paper, card.card_to_photo, card.error_mm, wrong)
    layout = layout_of()
    centres = np.array([(c.box.centre.x, c.box.centre.y) for c in layout.cells])
    off = np.linalg.norm(
        register(table, pretended, layout)[0].to_photo(centres) - (6.0 * centres + 59.5), axis=1
    )
    assert off.max() / 6.0 < 0.3
