"""Whether something is written in a strip for words, in clean light and where the picture is grainy."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.vision.flattening.flat import CARD_PX_PER_MM
from shortpencil.scan.vision.seeing.ink import CardInk
from shortpencil.scan.vision.seeing.patches import cells_of_kind, written_shares
from shortpencil.scan.vision.weighing.slips import FlagRule

LAYOUT = builtin_layout("round18", "a4", "m", "right")
MOST_BLANK = FlagRule().words_ink
BLACK = 0.7


def strips(grain: float, written: bool, seed: int = 0) -> np.ndarray:
    """Ink shares of a card's strips with grain of so much of black, blurred as telephones smooth it."""
    paper = LAYOUT.paper
    shape = round(paper.height_mm * CARD_PX_PER_MM), round(paper.width_mm * CARD_PX_PER_MM)
    noise = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, shape).astype(np.float32), (0, 0), 0.8)
    light = 255 * (1 - BLACK * grain * noise / noise.std())
    if written:
        for cell in cells_of_kind(LAYOUT, "words"):
            at = np.array([(0.2, 0.7), (0.3, 0.3), (0.4, 0.7), (0.5, 0.4), (0.6, 0.7)])
            px = ((at * (cell.box.w, cell.box.h) + (cell.box.x, cell.box.y)) * CARD_PX_PER_MM).astype(int)
            stroke = np.zeros(shape, np.uint8)
            cv2.polylines(stroke, [px], isClosed=False, color=255, thickness=2, lineType=cv2.LINE_AA)
            light -= 0.5 * BLACK * stroke
    shares = written_shares(CardInk(np.clip(light, 0, 255).astype(np.uint8), BLACK), LAYOUT, grain)
    return np.array(list(shares.values()))


@pytest.mark.parametrize("grain", [0.005, 0.03, 0.06, 0.09])
def test_grain_is_not_writing(grain: float) -> None:
    assert (strips(grain, written=False) < MOST_BLANK).all()


@pytest.mark.parametrize("grain", [0.005, 0.03, 0.06, 0.09])
def test_writing_is_seen_through_grain(grain: float) -> None:
    assert (strips(grain, written=True) > MOST_BLANK).all()
