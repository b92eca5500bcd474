"""How far the search for corner marks goes: as far as it can find one, and no further."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.layout import PAPERS
from shortpencil.scan.vision.finding import corners
from shortpencil.scan.vision.finding.corners import HARDER_PX, LADDER_PX, find_marks, model_corners
from tests.simulator.blanks import blank_card


@pytest.fixture
def looked_at(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The long sides of the pictures that are searched after the first look, as they come."""
    sides: list[int] = []
    detect = corners._detect

    def noted(small, *args, **kwargs):
        sides.append(max(small.shape))
        return detect(small, *args, **kwargs)

    monkeypatch.setattr(corners, "_detect", noted)
    return sides


def on_table(px_per_mm: float, shape: tuple[int, int], at: tuple[int, int] = (40, 40)) -> np.ndarray:
    page = blank_card("round18", px_per_mm=px_per_mm).page
    table = np.full(shape, 90, np.uint8)
    table[at[0] : at[0] + page.shape[0], at[1] : at[1] + page.shape[1]] = page
    return table


def box_px(marker: int, px_per_mm: float, at: tuple[int, int] = (40, 40), rim_mm: float = 2.0) -> tuple:
    places = model_corners(PAPERS["a4"], marker)
    (x0, y0), (x1, y1) = places.min(axis=0) - rim_mm, places.max(axis=0) + rim_mm
    rows = slice(round(at[0] + y0 * px_per_mm), round(at[0] + y1 * px_per_mm))
    return rows, slice(round(at[1] + x0 * px_per_mm), round(at[1] + x1 * px_per_mm))


def ids(marks) -> set[int]:
    return {mark.id for mark in marks}


def test_a_card_that_fills_the_picture_is_found_at_the_first_look(looked_at) -> None:
    assert ids(find_marks(on_table(9.0, (2760, 1980)))) == set(CORNER_IDS)
    assert looked_at == []


def test_a_covered_mark_of_a_large_card_is_not_searched_for_in_fine_pictures(looked_at) -> None:
    table = on_table(9.0, (2760, 1980))
    table[box_px(CORNER_IDS[0], 9.0)] = 120
    assert ids(find_marks(table)) == set(CORNER_IDS[1:])
    assert looked_at
    assert max(looked_at) <= max(LADDER_PX[0], HARDER_PX[0])


def test_a_covered_mark_of_a_small_card_is_searched_for_in_all(looked_at) -> None:
    table = on_table(3.0, (4000, 3000))
    table[box_px(CORNER_IDS[0], 3.0)] = 120
    assert ids(find_marks(table)) == set(CORNER_IDS[1:])
    assert max(looked_at) == LADDER_PX[-1]
    assert HARDER_PX[-1] in looked_at


def test_where_another_card_may_lie_beside_one_with_a_covered_mark_the_search_goes_on() -> None:
    """The large card's marks show at once, the small one's only in finer pictures."""
    small = blank_card("round18", px_per_mm=2.0).page
    table = on_table(9.0, (2760, 3000))
    table[box_px(CORNER_IDS[0], 9.0)] = 120
    table[500 : 500 + small.shape[0], 2200 : 2200 + small.shape[1]] = small
    found = find_marks(table)
    assert len(found) == 7
    assert sum(mark.side_px < 50 for mark in found) == 4


@pytest.mark.parametrize("px_per_mm", [9.0, 4.5])
def test_pale_marks_under_uneven_light_are_found_once_the_light_is_evened(px_per_mm: float) -> None:
    """Print of a nearly empty cartridge, grainy, darker by half towards one side."""
    table = on_table(px_per_mm, (round(310 * px_per_mm), round(225 * px_per_mm))).astype(np.float32)
    rng = np.random.default_rng(5)
    pale = 255 - 0.055 * (255 - table)
    light = np.linspace(1.0, 0.5, table.shape[1], dtype=np.float32)[None, :]
    grain = cv2.GaussianBlur(rng.normal(0, 4, table.shape).astype(np.float32), (0, 0), 0.8)
    picture = np.clip(pale * light * 0.85 + grain, 0, 255).astype(np.uint8)
    assert ids(corners._ladder(picture, corners._quick(picture))) != set(CORNER_IDS)
    assert ids(find_marks(picture)) == set(CORNER_IDS)


def test_a_picture_of_nothing_shows_no_marks() -> None:
    noise = np.random.default_rng(2).integers(0, 12, (1200, 900)).astype(np.uint8)
    assert find_marks(noise) == []


@pytest.mark.parametrize("grey", [245, 40], ids=["white", "black"])
def test_marks_are_found_through_streaks(grey: int) -> None:
    """A copier's drum or glass leaves lines down the whole sheet, here one through each column of marks."""
    card = on_table(9.0, (2760, 1980))
    for marker in (CORNER_IDS[0], CORNER_IDS[1]):
        _, columns = box_px(marker, 9.0)
        middle = (columns.start + columns.stop) // 2 + 10
        card[40 : 40 + round(297 * 9.0), middle - 4 : middle + 4] = grey
    assert ids(find_marks(card)) == set(CORNER_IDS)


def test_marks_that_a_copier_left_hollow_are_found() -> None:
    """Toner that sticks to edges: black there and hardly darker than paper two millimetres within."""
    card = on_table(9.0, (2760, 1980))
    for marker in CORNER_IDS:
        part = box_px(marker, 9.0)
        inside = cv2.erode((card[part] < 128).astype(np.uint8), np.ones((5, 5)))
        card[part] = np.where(inside, 205, card[part])
    assert ids(find_marks(card)) == set(CORNER_IDS)


@pytest.mark.parametrize("way", [lambda gray: cv2.flip(gray, 1), cv2.bitwise_not], ids=["mirror", "negative"])
def test_a_mirror_and_a_negative_are_turned_back(way) -> None:
    table = on_table(6.0, (2400, 1700))
    assert find_marks(way(table)) == []
    right = corners.turned_back(way(table))
    assert right is not None
    assert (right == table).all()


def test_a_picture_of_nothing_is_not_turned_back() -> None:
    nothing = np.random.default_rng(3).integers(0, 255, (900, 700), np.uint8)
    assert corners.turned_back(nothing) is None
    assert corners.turned_back(on_table(6.0, (2400, 1700))) is None  # it lies the right way already
