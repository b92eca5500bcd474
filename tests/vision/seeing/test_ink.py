"""Flat card to ink: shade cancels out, black is the card's own, windows lie where they should."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from shortpencil.forms.field_map import layout_from_json
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.ink import CardInk, ink_of, windows
from shortpencil.scan.vision.seeing.patches import bare_log_p, cells_of_kind, digit_patches, writing_in
from tests.simulator.blanks import blank_card


def card() -> tuple[np.ndarray, Layout]:
    blank = blank_card("round18", px_per_mm=CARD_PX_PER_MM)
    return np.asarray(blank.page), layout_from_json(json.dumps(blank.field_map))


def ink(flat: np.ndarray, layout: Layout) -> CardInk:
    return ink_of(flat, np.full(flat.shape, 255, np.uint8), layout)


def test_shade_and_pale_print_leave_the_ink_as_it_was() -> None:
    page, layout = card()
    plain = ink(page, layout)
    shade = np.linspace(1.0, 0.45, page.shape[1])[None, :]
    pale = (255 - 0.5 * (255 - page.astype(float))) * shade  # half the contrast, less light to the right
    shaded = ink(np.round(pale).astype(np.uint8), layout)
    assert shaded.contrast == pytest.approx(plain.contrast / 2, rel=0.1)
    box = layout.cell("h09.score.1").box.grown(2.0)
    rows, columns = (
        slice(round(a * CARD_PX_PER_MM), round(b * CARD_PX_PER_MM))
        for a, b in ((box.y, box.bottom), (box.x, box.right))
    )
    assert np.abs(shaded.picture()[rows, columns] - plain.picture()[rows, columns]).mean() < 0.03


def test_a_window_shows_what_lies_around_its_box() -> None:
    even = np.full((600, 500), 255, np.uint8)
    even[300:330, 200:260] = 0  # 10 x 5 mm of black at 6 px/mm
    box = Box(200 / CARD_PX_PER_MM, 300 / CARD_PX_PER_MM, 10.0, 5.0)
    (patch,) = windows([box], np.array([20.0]), 40).of(CardInk(even, 1.0))
    assert patch.shape == (40, 40)  # 2 px per mm
    rows, columns = np.nonzero(patch > 0.5)
    assert (columns.min(), columns.max() + 1, rows.min(), rows.max() + 1) == (10, 30, 15, 25)
    corner = Box(-3.0, -3.0, 2.0, 2.0)
    assert windows([corner], np.array([4.0]), 8).of(CardInk(np.zeros((60, 60), np.uint8), 1.0)).min() == 0


@pytest.mark.parametrize("count", [0, 1, 900])
def test_there_are_as_many_windows_as_boxes_however_many(count: int) -> None:
    # 900 windows of 40 rows are more rows than OpenCV fills at once.
    card = CardInk(np.zeros((60, 60), np.uint8), 1.0)
    ink = windows([Box(2.0, 2.0, 2.0, 2.0)] * count, np.full(count, 2.0), 40).of(card)
    assert ink.shape == (count, 40, 40)
    assert count == 0 or ink.min() == ink.max() == 1.0


def test_boxes_with_any_stroke_are_looked_at_and_blank_ones_are_not() -> None:
    page, layout = card()
    boxes = cells_of_kind(layout, "digit")
    written = page.copy()
    for i, cell in enumerate(boxes):
        if i % 3 == 0:  # a stroke of a hard pencil: a fifteenth of the paper's light, 0.4 mm wide
            ends = [
                (
                    round((cell.box.centre.x + d) * CARD_PX_PER_MM),
                    round((cell.box.centre.y + 2 * d) * CARD_PX_PER_MM),
                )
                for d in (-0.8, 0.8)
            ]
            cv2.line(written, *ends, 238, 2, cv2.LINE_AA)
    written = np.minimum(page, written)
    bare = writing_in(digit_patches(ink(written, layout), layout)).bare()
    assert not bare[::3].any()
    assert np.delete(bare, np.s_[::3]).all()


def test_the_answer_for_a_bare_box_is_a_distribution() -> None:
    assert np.exp(bare_log_p()).sum() == pytest.approx(1.0)
    assert bare_log_p().argmax() == 10


def test_what_follows_from_a_layout_is_worked_out_once_and_told_apart_by_layout() -> None:
    made: list[str] = []

    @once_a_layout
    def name(layout: Layout) -> str:
        made.append(layout.form.name)
        return layout.form.name

    (_, one), (_, other) = card(), card()
    other_form = layout_from_json(json.dumps(blank_card("round9", px_per_mm=6.0).field_map))
    assert name(one) == name(one)
    assert len(made) == 1
    assert name(other_form) != name(one)
    assert name(other) == name(one)  # equal, but another object: made again, never mixed up
    assert len(made) == 3


def test_ink_on_a_pale_print_is_measured_against_a_usual_black() -> None:
    # By hand: grey 153 of 255 is 0.4 darker than paper, grey 204 is 0.2.
    even = np.array([[255, 204, 153]], np.uint8)
    assert CardInk(even, 0.8).of(even) == pytest.approx(np.array([[0, 0.25, 0.5]]))
    assert CardInk(even, 0.15).of(even) == pytest.approx(np.array([[0, 0.5, 1.0]]))
