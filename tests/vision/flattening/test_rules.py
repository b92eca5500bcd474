"""Printed rules followed over a bent sheet; a flat one, ink across a rule and lost print move nothing."""

from __future__ import annotations

import json

import cv2
import numpy as np

from shortpencil.forms.field_map import layout_from_json
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import GrayImage
from shortpencil.scan.vision.finding.corners import cards_of, find_marks
from shortpencil.scan.vision.flattening.outlines import OUTLINE_PX_PER_MM, thin_lines
from shortpencil.scan.vision.flattening.rectify import register
from shortpencil.scan.vision.flattening.rules import Traced, is_bent, rules_of, trace
from shortpencil.scan.vision.flattening.unfold import lay_flat
from shortpencil.scan.vision.opening.levels import Levels
from tests.simulator.blanks import blank_card

FINE = 2 * OUTLINE_PX_PER_MM
FOLD_MM = 86.0  # between two columns of studs
RIDGE_MM = 2.0


def card() -> tuple[GrayImage, Layout]:
    """A page at twice the resolution that rules are looked at, and its layout."""
    blank = blank_card("round18", px_per_mm=FINE)
    return np.array(blank.page), layout_from_json(json.dumps(blank.field_map))


def raised(x_mm: np.ndarray) -> np.ndarray:
    """How far up a fold that runs down the sheet shows its points, mm: steep, and gone after 2 cm."""
    return np.asarray(RIDGE_MM * np.exp(-np.abs(x_mm - FOLD_MM) / 7.0))


def folded(page: GrayImage) -> GrayImage:
    """The page seen aslant, with a fold between the studs."""
    y, x = np.mgrid[0 : page.shape[0], 0 : page.shape[1]].astype(np.float32)
    down = y + (raised((x + 0.5) / FINE) * FINE).astype(np.float32)
    return np.asarray(cv2.remap(page, x, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8)


def dark_rules(page: GrayImage, layout: Layout) -> Traced:
    half = cv2.resize(page, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return trace(thin_lines(np.asarray(half, np.uint8), None), layout, rules_of(layout).dark)


def test_a_rule_is_followed_over_a_fold() -> None:
    page, layout = card()
    traced = dark_rules(folded(page), layout)
    off = traced.down_mm + raised(rules_of(layout).xs)
    assert is_bent(traced)
    assert traced.seen.mean() > 0.9
    # But for the very kink, which bins of 2 mm round off.
    assert np.percentile(np.abs(off[traced.seen]), 97) < 0.2


def test_ink_across_a_rule_and_gaps_in_it_do_not_move_it() -> None:
    page, layout = card()
    assert not is_bent(dark_rules(page, layout))
    for k, y in enumerate(rules_of(layout).ys):
        row = round(float(y) * FINE)
        for x in range(130 + 17 * k, page.shape[1] - 200, 190):  # strokes down and aslant
            cv2.line(page, (x, row - 40), (x, row + 40), 40, 5)
            cv2.line(page, (x + 50, row - 24), (x + 90, row + 24), 40, 5)
        page[row - 4 : row + 5, 900:1000] = 250
    traced = dark_rules(page, layout)
    assert not is_bent(traced)
    assert np.percentile(np.abs(traced.down_mm[traced.seen]), 99) < 0.2


def test_rules_that_are_not_printed_are_not_seen() -> None:
    page, layout = card()
    noise = np.random.default_rng(3).integers(215, 250, page.shape).astype(np.uint8)
    assert not dark_rules(noise, layout).seen.any()


def test_a_fold_between_studs_is_laid_flat_and_a_flat_card_left_as_it_is() -> None:
    page, layout = card()
    levels = Levels(page)
    (corners,) = cards_of(find_marks(page))
    at, _ = register(levels, corners, layout)
    cells = np.array([(c.box.centre.x, c.box.centre.y) for c in layout.cells if c.kind != "words"])
    same, _, _ = lay_flat(levels, corners, layout)
    assert (same.to_photo(cells) == at.to_photo(cells)).all()

    photo = folded(page)
    levels = Levels(photo)
    (corners,) = cards_of(find_marks(photo))
    in_rows = cells[(cells[:, 1] > 59) & (cells[:, 1] < 238)]
    true = in_rows * FINE - 0.5
    true[:, 1] -= raised(in_rows[:, 0]) * FINE
    before, after = (
        np.linalg.norm(found.to_photo(in_rows) - true, axis=1) / FINE
        for found in (register(levels, corners, layout)[0], lay_flat(levels, corners, layout)[0])
    )
    near = np.abs(in_rows[:, 0] - FOLD_MM) < 8
    assert after.max() < 0.8 < before.max()
    assert after[near].mean() < 0.5 * before[near].mean()
