"""Missing marks are named by their corner; cells under a thumb, beyond a tear or in the glare are asked."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.layout import PAPERS
from shortpencil.scan.vision.deciding.flags import OUTSIDE
from shortpencil.scan.vision.doubting.partial import (
    CORNERS_IN_WORDS,
    CRISP_LOSES,
    FAX_LOSES,
    chance_of_loss,
    hidden_cells,
    is_filtered,
    is_one_bit,
    missing_marks,
    only_marks,
    outlines_of_boxes,
    outlines_of_bubbles,
    outlines_shown,
    that_may_have_vanished,
    with_missing_marks,
)
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.finding.corners import Corners, Mark, fit_card, model_corners
from shortpencil.scan.vision.opening.photo import Photo, photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing.bubbles import bubble_patches
from shortpencil.scan.vision.seeing.patches import cells_of_kind
from tests.bench.cards import find_layout, shoot

PICTURE = np.zeros((1600, 1200), np.uint8)


def corners_at(shift_px: tuple[float, float], found: tuple[int, ...]) -> Corners:
    """A4 at 5 px a mm, straight, its top left corner at `shift_px`; some of its marks found."""
    marks = {
        marker: Mark(marker, model_corners(PAPERS["a4"], marker) * 5.0 + np.array(shift_px))
        for marker in found
    }
    transform, error = fit_card(marks, PAPERS["a4"])
    return Corners(marks, PAPERS["a4"], transform, error)


def test_the_ids_go_clockwise_from_the_top_left() -> None:
    centres = {marker: model_corners(PAPERS["a4"], marker).mean(axis=0) for marker in CORNER_IDS}
    for marker, words in CORNERS_IN_WORDS.items():
        x, y = centres[marker]
        assert words == f"{'top' if y < 148 else 'bottom'} {'left' if x < 105 else 'right'}"


def test_with_all_marks_there_is_nothing_to_say() -> None:
    corners = corners_at((50, 50), CORNER_IDS)
    assert missing_marks(corners, PICTURE) is None
    assert with_missing_marks("too dark. Try again", corners, PICTURE) == "too dark. Try again"


def test_marks_beyond_the_edge_are_outside_and_marks_within_it_are_covered() -> None:
    top_left, top_right, bottom_right, bottom_left = CORNER_IDS
    cut = corners_at((-200, 50), (top_right, bottom_right))
    assert missing_marks(cut, PICTURE) == "the top left and bottom left corner marks are outside the picture"
    covered = corners_at((50, 50), (top_left, top_right, bottom_right))
    says = missing_marks(covered, PICTURE)
    assert says == "the bottom left corner mark is covered, torn off or blurred"
    both = corners_at((-200, 50), (top_right, bottom_left))
    assert missing_marks(both, PICTURE) == (
        "corner marks are missing: top left outside the picture, bottom right covered, torn off or blurred"
    )
    told = with_missing_marks("the code cannot be read. Take it again", cut, PICTURE)
    assert told == (
        "the code cannot be read. Take it again. Besides, the top left and bottom left corner marks are "
        "outside the picture"
    )


def test_a_single_mark_is_named() -> None:
    mark = Mark(CORNER_IDS[1], np.zeros((4, 2)))
    assert "only the top right one" in (only_marks([mark]) or "")
    assert only_marks([]) is None


@pytest.fixture(scope="module")
def clean():
    return shoot("clean", 0.0, 12, long_px=2400, px_per_mm=8.0)


def read(image: np.ndarray):
    traces: list[Trace] = []
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    (reading,) = read_photo(Photo(grey, "photo", "0" * 64), find_layout, traces)
    return reading, traces[0]


def asked_outside(reading) -> set[str]:
    return {cell for cell, value in reading.cells.items() if value.flag == OUTSIDE}


def place_px(shot, layout, cell_id: str) -> tuple[int, int]:
    cell = next(c for c in layout.cells if c.id == cell_id)
    x, y = shot.sheet_to_photo[0](np.array([[cell.box.centre.x, cell.box.centre.y]]))[0]
    return round(float(x)), round(float(y))


def test_nothing_is_hidden_on_a_whole_card_and_every_outline_shows(clean) -> None:
    reading, trace = read(clean.image)
    assert reading.status == "read"
    assert asked_outside(reading) == set()
    shown = [
        outlines_of_bubbles(bubble_patches(trace.ink, trace.layout), trace.layout),
        outlines_of_boxes(trace.patches, trace.layout),
    ]
    for outlines in shown:
        assert np.percentile(outlines, 5) > 0.5 * np.median(outlines) > 0.03


@pytest.mark.parametrize("grey", [60, 140, 255])
def test_what_something_lies_on_is_asked_and_the_rest_is_not(clean, grey: int) -> None:
    layout = find_layout(clean.sheets[0].fingerprint)
    image = clean.image.copy()
    centre = place_px(clean, layout, "h09.score.1")
    cv2.circle(image, centre, 150, (grey,) * 3, -1)
    reading, _ = read(image)
    hidden = asked_outside(reading)
    far, well_inside = set(), set()
    for cell in layout.cells:
        off = np.hypot(*(np.array(place_px(clean, layout, cell.id)) - centre))
        if cell.kind != "words" and off < 110:
            well_inside.add(cell.id)
        if off > 210:
            far.add(cell.id)
    assert len(well_inside) >= 8
    assert well_inside <= hidden
    assert not hidden & far


def test_a_card_half_under_something_is_to_be_taken_again(clean) -> None:
    layout = find_layout(clean.sheets[0].fingerprint)
    image = clean.image.copy()
    cv2.circle(image, place_px(clean, layout, "h09.score.1"), 420, (90, 80, 70), -1)
    reading, _ = read(image)
    assert reading.status == "rejected"
    assert "again" in (reading.reason or "")


def test_where_all_outlines_have_vanished_they_say_nothing_of_single_cells(clean) -> None:
    _, trace = read(clean.image)
    shown = outlines_shown(bubble_patches(trace.ink, trace.layout), trace.patches, trace.layout)
    assert hidden_cells(shown * 0.01, trace.layout) == frozenset()
    gone = shown.copy()
    gone[:60] *= 0.1
    hidden = hidden_cells(gone, trace.layout)
    assert len(hidden) > 40
    some = set(list(hidden)[:20])
    assert not some & hidden_cells(gone, trace.layout, some)


def test_on_a_folded_sheet_a_cell_among_vanished_ones_is_hidden_too(clean) -> None:
    """Something dark lies where its own outline should be: on a flat sheet that is enough to show it."""
    _, trace = read(clean.image)
    assert trace.registration.tiles_found > 0.95
    shown = outlines_shown(bubble_patches(trace.ink, trace.layout), trace.patches, trace.layout)
    ids = [cell.id for kind in ("bubble", "digit") for cell in cells_of_kind(trace.layout, kind)]
    kept = ids.index("h10.drive.clean")
    gone = shown.copy()
    row = [k for k, cell in enumerate(ids) if cell.startswith(("h09.", "h10.", "h11."))]
    gone[row] *= 0.05
    gone[kept] = shown[kept]
    assert "h10.drive.clean" not in hidden_cells(gone, trace.layout)
    assert "h10.drive.clean" in hidden_cells(gone, trace.layout, tiles_found=0.9)


def test_a_card_reads_with_two_marks_torn_off_and_says_which_are_missing() -> None:
    shot = shoot("torn", 0.6, 3, long_px=2400, px_per_mm=8.0)
    reading, trace = read(shot.image)
    assert trace.corners is not None
    assert len(trace.corners.marks) == 2
    assert missing_marks(trace.corners, trace.gray) is not None
    assert replace(shot.condition).torn == 2
    assert reading.status == "read" or "corner marks are covered" in (reading.reason or "")


def test_a_fax_has_no_greys_and_a_photo_has(clean) -> None:
    grey = cv2.cvtColor(clean.image, cv2.COLOR_RGB2GRAY)
    assert not is_one_bit(grey)
    assert is_one_bit(np.where(grey > 120, 255, 0).astype(np.uint8))
    burnt_out = np.where(grey > 120, 255, grey)
    assert not is_one_bit(burnt_out.astype(np.uint8))


@pytest.fixture(scope="module")
def scanned() -> tuple[Trace, np.ndarray]:
    """A flatbed's grey scan: its traces, with the ink of its digit boxes."""
    _, trace = read(shoot("flatbed", 0.0, 77).image)
    assert trace.patches is not None
    return trace, trace.patches


@pytest.mark.parametrize(
    ("level", "solid", "chance"),
    [
        (0.15, 1.0, CRISP_LOSES),  # the outlines are there: what is darker is there as well
        (0.15, 0.6, FAX_LOSES),  # the pen breaks up: it is paler than they are
        (0.8, 1.0, FAX_LOSES),  # they are gone
    ],
)
def test_what_shows_the_outlines_has_lost_no_mark_of_a_dark_pen(
    scanned: tuple[Trace, np.ndarray], level: float, solid: float, chance: float
) -> None:
    trace, patches = scanned
    assert trace.layout is not None
    black = (patches > level).astype(np.float32)
    assert chance_of_loss(black, trace.layout, np.full(20, solid)) == pytest.approx(chance)


def test_of_a_card_with_few_digits_it_is_not_known_how_dark_its_pen_is(
    scanned: tuple[Trace, np.ndarray],
) -> None:
    trace, patches = scanned
    assert trace.layout is not None
    black = (patches > 0.15).astype(np.float32)
    assert chance_of_loss(black, trace.layout, np.ones(4)) == FAX_LOSES


def test_where_marks_may_vanish_blank_is_less_sure_and_ink_as_sure_as_before() -> None:
    def alone(logs):
        p = np.exp(np.asarray(logs, float) - np.max(logs))
        return p / p.sum()

    blank, seven = np.full(12, -20.0, np.float32), np.full(12, -20.0, np.float32)
    blank[10], seven[7] = 0.0, 0.0
    evidence = Evidence(
        {"a": (0.0, -20.0, -20.0), "b": (-20.0, 0.0, -20.0)}, {"a": blank, "b": seven}, {}, frozenset("z")
    )
    faxed = that_may_have_vanished(evidence, 0.1)
    # By Bayes: blank 1, each other answer 0.1 times as likely to leave nothing.
    assert alone(faxed.bubbles["a"])[0] == pytest.approx(1 / 1.2, rel=1e-6)
    assert alone(faxed.digits["a"])[10] == pytest.approx(1 / 2.1, rel=1e-6)
    assert alone(faxed.bubbles["b"])[1] == pytest.approx(1, abs=1e-6)
    assert alone(faxed.digits["b"])[7] == pytest.approx(1, abs=1e-6)
    assert faxed.outside == evidence.outside


def test_a_filter_that_hollows_the_marks_is_named() -> None:
    image = shoot("clean", 0.0, 3).image
    gray = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    # As the tutorials of OpenCV do it: a window smaller than a corner mark's black parts.
    filtered = cv2.adaptiveThreshold(gray, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, 15, 8)
    assert not is_filtered(gray)
    for ending in (".png", ".jpg"):
        data = cv2.imencode(ending, filtered)[1].tobytes()
        (photo,) = photos_from_bytes(data, "photo")
        (reading,) = read_photo(photo, find_layout)
        assert reading.status == "rejected"
        assert reading.reason is not None
        assert "without a filter" in reading.reason
