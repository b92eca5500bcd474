"""Cards without their fine print are read by their marks; where marks may be lost the reader says so."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.vision.doubting.partial import hidden_cells
from shortpencil.scan.vision.doubting.visibility import (
    Marks,
    blank_ones,
    chance_of_no_trace,
    chances_by_place,
    digits_lost,
    doubted,
    faded_by_degrees,
    marks_lost,
    marks_of,
    remains_of_marks,
    where_all_show,
)
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.opening.photo import Photo
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing.ink import PAPER_PX_PER_MM
from shortpencil.scan.vision.seeing.patches import Writing, cells_of_kind
from tests.bench.cards import find_layout
from tests.simulator.families import family_shot

LAYOUT = builtin_layout("round18", "a4", "m", "right")
BUBBLES, BOXES = (cells_of_kind(LAYOUT, kind) for kind in ("bubble", "digit"))
CELLS = [*BUBBLES, *BOXES]


def marks(darkness: np.ndarray, filled: np.ndarray | None = None, noise: float = 0.004) -> Marks:
    """Marks of a card whose blank cells spread by `noise`."""
    least = np.full(len(CELLS), 6 * noise)
    own = darkness[: len(BUBBLES)] if filled is None else filled
    return Marks(tuple(c.id for c in CELLS), darkness, least, own, noise)


def each_fourth(value: float) -> np.ndarray:
    return np.where(np.arange(len(CELLS)) % 4 == 0, value, 0.0)


def test_marks_far_above_blank_cells_leave_no_doubt_and_marks_at_their_edge_do() -> None:
    assert chance_of_no_trace(marks(each_fourth(0.5))) == 0.0
    # Half of the marks are seen, but only just: 1.2 times the least; 0.4 * (1/2 - 1/10) of others are not.
    some = each_fourth(0.5)
    some[::8] = 1.2 * 0.024
    assert chance_of_no_trace(marks(some)) == pytest.approx(0.16, abs=0.01)
    assert chance_of_no_trace(marks(np.zeros(len(CELLS)))) == 0.0  # nothing is known of the pen


def test_what_people_rub_out_does_not_make_marks_vanish() -> None:
    some = each_fourth(0.5)
    ghosts = np.flatnonzero(some)[::16]
    some[ghosts] = 0.03
    assert chance_of_no_trace(marks(some)) == 0.0


def test_patches_tell_which_cells_are_marked() -> None:
    patches = np.full((len(BUBBLES), 45, 45), 0.02, np.float32)
    patches += np.random.default_rng(1).normal(0, 0.003, patches.shape).astype(np.float32)
    patches[::5, 12:33, 12:33] = 0.4
    strength = np.where(np.arange(len(BOXES)) % 3 == 0, 0.5, 0.02)
    found = marks_of(patches, Writing(strength, 0.02, 0.5), LAYOUT)
    assert found.seen[: len(BUBBLES)].tolist() == [i % 5 == 0 for i in range(len(BUBBLES))]
    assert found.seen[len(BUBBLES) :].tolist() == [i % 3 == 0 for i in range(len(BOXES))]
    assert found.filled[0] == pytest.approx(0.38, abs=0.06)


@pytest.mark.parametrize("share", [0.55, 0.7, 0.9])
def test_where_most_is_marked_the_few_blank_ones_tell_what_blank_is(share: float) -> None:
    """A ladder on which nearly all dropped, throws with a distance each: no pen may fade for being used."""
    rng = np.random.default_rng(7)
    patches = np.full((len(BUBBLES), 45, 45), 0.02, np.float32)
    patches += rng.normal(0, 0.003, patches.shape).astype(np.float32)
    marked = rng.random(len(CELLS)) < share
    dark = rng.uniform(0.2, 0.6, len(CELLS))
    of_bubbles, of_boxes = marked[: len(BUBBLES)], marked[len(BUBBLES) :]
    patches[of_bubbles, 12:33, 12:33] = dark[: len(BUBBLES)][of_bubbles][:, None, None]
    strength = np.where(of_boxes, dark[len(BUBBLES) :], 0.02) + rng.normal(0, 0.002, len(of_boxes))
    found = marks_of(patches, Writing(strength, 0.02, 0.5), LAYOUT)
    assert (found.seen == marked).all()
    assert chance_of_no_trace(found) == 0.0


def test_paper_that_spreads_without_a_gap_is_no_card_full_of_marks() -> None:
    even = np.linspace(0.0, 0.6, 200)
    assert blank_ones(even) is None
    assert blank_ones(np.concatenate([np.zeros(150), np.full(50, 0.5)])) is None  # most are blank
    few = blank_ones(np.concatenate([np.zeros(20), np.full(80, 0.5)]))
    assert few is not None
    assert few.sum() == 20


def test_a_card_that_keeps_but_traces_of_most_marks_has_lost_them() -> None:
    filled = np.zeros(len(BUBBLES))
    filled[::8], filled[4::8] = 0.5, 0.022
    darkness = each_fourth(0.5)
    darkness[4 : len(BUBBLES) : 8] = 0.025
    lost = marks(darkness, filled, 0.002)
    kept, remains = remains_of_marks(lost)
    assert (kept, remains) == (len(filled[::8]), len(filled[4::8]))
    assert "hardly be told from paper" in (marks_lost(lost, 0.1) or "")
    # Cells of which nothing is known do not count.
    outside = {c.id for c in BUBBLES[4::8]}
    assert remains_of_marks(lost, outside) == (kept, 0)
    # A second pen that is paler, but far above what blank ones show, has lost nothing.
    pale = marks(each_fourth(0.5), np.where(filled == 0.022, 0.12, filled), 0.002)
    assert marks_lost(pale, 0.1) is None


def test_ticks_beside_filled_bubbles_are_no_remains() -> None:
    """Over the whole bubble a tick is as pale as the remains of a filled one; where it is, it is dark."""
    filled, darkness = np.zeros(len(BUBBLES)), each_fourth(0.5)
    filled[::16], filled[4::8] = 0.5, 0.13
    darkness[: len(BUBBLES)] = np.where(filled == 0.13, 0.29, np.where(filled == 0.5, 0.6, 0.0))
    assert remains_of_marks(marks(darkness, filled, 0.02)) == (len(filled[::16]), 0)
    # Evenly pale, they are.
    darkness[: len(BUBBLES)] = np.where(filled == 0.13, 0.17, np.where(filled == 0.5, 0.6, 0.0))
    assert remains_of_marks(marks(darkness, filled, 0.02)) == (len(filled[::16]), len(filled[4::8]))


def test_a_scan_that_keeps_bubbles_and_loses_digits_is_to_be_taken_again() -> None:
    """Of 150 boxes 15 show something, a tenth as dark as the filled bubbles: thin strokes have gone."""
    some = marks(each_fourth(0.5))
    pale = np.where(np.arange(150) < 15, 0.08, 0.01)
    assert digits_lost(some, Writing(pale, 0.01, 0.08), 1.0) is not None
    # Half of the boxes written by a pale pen, or few by a dark one, is how people write.
    half = np.where(np.arange(150) < 75, 0.08, 0.01)
    assert digits_lost(some, Writing(half, 0.01, 0.08), 1.0) is None
    assert digits_lost(some, Writing(np.where(pale > 0.05, 0.4, 0.01), 0.01, 0.4), 1.0) is None
    # Bubbles as pale as the digits: the pen.
    assert digits_lost(marks(each_fourth(0.15)), Writing(pale, 0.01, 0.08), 1.0) is None


def test_traces_that_are_no_digits_tell_of_digits_lost_too() -> None:
    """Of 150 boxes 31 show something a little darker: digits, if the network sees digits there."""
    some = marks(each_fourth(0.5))
    traces = Writing(np.where(np.arange(150) < 31, 0.12, 0.01), 0.01, 0.12)
    assert digits_lost(some, traces, 0.26) is not None
    assert digits_lost(some, traces, 0.75) is None
    dark = Writing(np.where(np.arange(150) < 31, 0.16, 0.01), 0.01, 0.16)
    assert digits_lost(some, dark, 0.26) is None


def test_hardly_a_mark_and_no_outlines_is_no_blank_card() -> None:
    few = marks(np.where(np.arange(len(CELLS)) < 5, 0.5, 0.0))
    assert "hardly a mark" in (marks_lost(few, 0.01) or "")
    assert marks_lost(few, 0.1) is None
    pale = marks(np.where(np.arange(len(CELLS)) < 5, 0.1, 0.0))
    assert "hardly a mark" in (marks_lost(pale, 0.1) or "")


def test_a_sheet_of_digits_alone_may_have_few_of_them_and_pale() -> None:
    digits = Marks(
        tuple(f"d.{i}" for i in range(15)),
        np.array([0.2] * 4 + [0.0] * 11),
        np.full(15, 0.15),
        np.zeros(0),
        0.01,
    )
    assert marks_lost(digits, 0.19) is None
    assert "hardly a mark" in (marks_lost(digits, 0.01) or "")  # with the outlines gone all may be gone


def test_nothing_fades_where_all_marks_around_can_be_seen_plainly() -> None:
    some = each_fourth(0.2)
    cells = {c.id for c in CELLS}
    assert len(where_all_show(marks(some), cells, LAYOUT)) > 0.9 * len(cells)
    some[np.flatnonzero(some)[::3]] = 0.04  # in sight, no more
    assert len(where_all_show(marks(some), cells, LAYOUT)) < 0.1 * len(cells)


def test_where_print_fades_the_marks_around_say_whether_more_has_gone() -> None:
    cells = {c.id for c in CELLS if c.id.startswith("h0")}
    dark = chances_by_place(marks(each_fourth(0.5)), cells, LAYOUT, 0.5)
    assert set(dark) == cells
    assert max(dark.values()) < 0.002
    low = [c.box.centre.y > 150 for c in CELLS]
    fading = chances_by_place(marks(np.where(low, each_fourth(0.2), each_fourth(0.5))), {
        c.id for c, is_low in zip(CELLS, low, strict=True) if is_low and c.box.centre.y > 200
    }, LAYOUT, 0.5)  # fmt: skip
    assert min(fading.values()) > 0.1


def test_doubt_makes_blank_rule_out_less_cell_by_cell() -> None:
    blank = (0.0, -20.0, -20.0)
    evidence = Evidence({"a": blank, "b": blank}, {}, {}, frozenset())
    told = doubted(evidence, {"a": 0.1}, 0.0)
    assert told.bubbles["b"] == blank
    assert told.bubbles["a"][1] == pytest.approx(math.log(0.1), abs=0.06)
    assert doubted(evidence, {}, 0.0) == evidence


def test_outlines_that_end_at_an_edge_are_covered_and_those_that_fade_are_not() -> None:
    paper = np.full((round(297 * PAPER_PX_PER_MM), round(210 * PAPER_PX_PER_MM)), 230.0, np.float32)
    y = np.array([c.box.centre.y for c in CELLS])
    abrupt = np.where(np.abs(y - 150) < 20, 0.0, 0.1)
    hidden = hidden_cells(abrupt, LAYOUT)
    assert len(hidden) > 50
    assert faded_by_degrees(hidden, abrupt, paper, LAYOUT) == frozenset()
    fading = 0.1 * np.clip(np.abs(y - 150) / 45, 0, 1) ** 2
    vanished = hidden_cells(fading, LAYOUT)
    assert faded_by_degrees(vanished, fading, paper, LAYOUT) >= {c for c in vanished if "strip" not in c}
    shaded = paper.copy()
    shaded[round(125 * PAPER_PX_PER_MM) : round(175 * PAPER_PX_PER_MM)] = 120
    assert faded_by_degrees(vanished, fading, shaded, LAYOUT) == frozenset()


@pytest.fixture(scope="module")
def copied():
    """A blank that went through a copier, filled in with a dark pen: its outlines are gone."""
    return family_shot("copied-blank", 0.8, 45126, long_px=2200)


def grey(shot) -> np.ndarray:
    return np.asarray(cv2.cvtColor(shot.image, cv2.COLOR_RGB2GRAY))


def test_a_copied_blank_is_read_and_little_asked(copied) -> None:
    traces: list[Trace] = []
    (reading,) = read_photo(Photo(grey(copied), "photo", "0" * 64), find_layout, traces)
    assert reading.status == "read"
    assert len(reading.flagged) < 15
    truth = copied.sheets[0].cells
    wrong = [
        cell
        for cell, value in reading.cells.items()
        if not cell.endswith(".strip")
        and value.value != truth[cell]
        and value.flag is None
        and reading.fields[cell.rsplit(".", 1)[0]].flag is None
    ]
    assert wrong == []


def test_what_lies_on_a_card_without_outlines_is_asked(copied) -> None:
    image = grey(copied).copy()
    layout = find_layout(copied.sheets[0].fingerprint)
    assert layout is not None
    cell = next(c for c in layout.cells if c.id == "h03.score.1")
    # Over a dark rule, as a thumb that holds the sheet.
    at = np.array([[cell.box.centre.x, cell.box.centre.y + 3.0]])
    centre = copied.sheet_to_photo[0](at)[0]
    radius = round(
        14.0 * float(np.linalg.norm(copied.sheet_to_photo[0](at + np.array([1.0, 0.0]))[0] - centre))
    )
    cv2.circle(image, (round(float(centre[0])), round(float(centre[1]))), radius, 70, -1)
    (reading,) = read_photo(Photo(image, "photo", "0" * 64), find_layout, None)
    assert reading.status == "rejected" or reading.fields["h03.score"].flag is not None


def test_a_copy_that_lost_the_marks_is_refused() -> None:
    shot = family_shot("lost-marks", 0.3, 35094, long_px=2200)
    (reading,) = read_photo(Photo(grey(shot), "photo", "0" * 64), find_layout, None)
    assert reading.status == "rejected"
    assert "Take the photo" in (reading.reason or "")
    assert replace(shot.condition).name == "lost-marks"
