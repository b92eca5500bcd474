"""Printed outlines laid over the card: what they measure is by how much the card was moved."""

from __future__ import annotations

import json

import numpy as np
import pytest

from shortpencil.forms.field_map import layout_from_json
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.flattening.outlines import (
    OUTLINE_PX_PER_MM,
    cells_astray,
    outlines_of,
    thin_lines,
    tile_offsets,
)
from tests.simulator.blanks import blank_card


def card() -> tuple[np.ndarray, Layout]:
    """A page at twice the resolution that outlines are looked at, and its layout."""
    blank = blank_card("round18", px_per_mm=2 * OUTLINE_PX_PER_MM)
    return np.asarray(blank.page), layout_from_json(json.dumps(blank.field_map))


def moved(page: np.ndarray, right_px: int, down_px: int) -> np.ndarray:
    """The page moved by whole fine pixels, then halved: what lies at the edge comes in again."""
    shifted = np.roll(page, (down_px, right_px), axis=(0, 1))
    h, w = (side // 2 for side in shifted.shape)
    return shifted[: 2 * h, : 2 * w].reshape(h, 2, w, 2).mean(axis=(1, 3)).astype(np.uint8)


@pytest.mark.parametrize(("right_px", "down_px"), [(0, 0), (3, -5), (-7, 2)])
def test_every_tile_tells_the_way_a_card_was_moved(right_px: int, down_px: int) -> None:
    page, layout = card()
    still = tile_offsets(thin_lines(moved(page, 0, 0), None), layout, 1.1, 1)
    here = tile_offsets(thin_lines(moved(page, right_px, down_px), None), layout, 1.1, 1)
    assert len(here[0]) > 0.9 * len(outlines_of(layout).count)
    # The raster of the page itself is a fraction of a pixel off; what counts is the difference.
    at = {tuple(centre): offset for centre, offset in zip(*still, strict=True)}
    change = np.array([o - at[tuple(c)] for c, o in zip(*here, strict=True) if tuple(c) in at])
    wanted = np.array([right_px, down_px]) / (2 * OUTLINE_PX_PER_MM)
    assert np.median(change, axis=0) == pytest.approx(wanted, abs=0.02)
    assert np.percentile(np.abs(change - wanted), 95) < 0.1


def test_steps_of_two_pixels_find_the_same_place_roughly() -> None:
    page, layout = card()
    _, offsets = tile_offsets(thin_lines(moved(page, 12, -10), None), layout, 2.6, 2)
    _, still = tile_offsets(thin_lines(moved(page, 0, 0), None), layout, 1.1, 1)
    change = np.median(offsets, axis=0) - np.median(still, axis=0)
    assert change == pytest.approx([1.5, -1.25], abs=0.15)


def test_tiles_under_a_thumb_say_nothing() -> None:
    page, layout = card()
    covered = moved(page, 0, 0)
    covered[: covered.shape[0] // 3] = 120
    centres, _ = tile_offsets(thin_lines(covered, None), layout, 1.1, 1)
    edge_mm = covered.shape[0] // 3 / OUTLINE_PX_PER_MM
    assert centres[:, 1].min() > edge_mm - 9.0  # half a tile may look out from under it
    assert len(centres) > 60


def test_rows_that_a_fold_carried_to_the_next_row_are_told_and_no_others() -> None:
    page, layout = card()
    k = 2 * OUTLINE_PX_PER_MM
    top, bottom, by = round(140 * k), round(195 * k), round(4.6 * k)  # a row of bubbles further down
    folded = page.copy()
    folded[top + by : bottom] = page[top : bottom - by]
    flat = moved(folded, 0, 0)
    lines, covered = thin_lines(flat, None), np.full(flat.shape, 255, np.uint8)
    astray = cells_astray(lines, covered, layout)
    middles = {cell.id: cell.box.centre.y for cell in layout.cells if cell.kind != "words"}
    carried = {name for name, y in middles.items() if 150 < y < 185}
    whole = {name for name, y in middles.items() if y < 120 or y > 215}
    assert len(carried & astray) > 0.8 * len(carried)
    assert not whole & astray
    covered[round(150 * OUTLINE_PX_PER_MM) :] = 0  # beyond the picture's edge nothing is astray
    low = {cell.id for cell in layout.cells if cell.box.bottom > 150}
    assert not low & cells_astray(lines, covered, layout)


def test_nothing_is_astray_on_a_flat_card() -> None:
    page, layout = card()
    flat = moved(page, 0, 0)
    assert cells_astray(thin_lines(flat, None), np.full(flat.shape, 255, np.uint8), layout) == frozenset()
