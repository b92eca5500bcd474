"""What the ink says of each cell by itself, and how far that may be believed: seeing, then doubting.

No rule of the card has its say yet. Where a photo could not show a mark, a blank cell says less; where
nothing can be seen at all, a cell is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shortpencil.forms.layout import Cell, Layout
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, GrayImage, median
from shortpencil.scan.vision.doubting.fading import (
    blank_doubted,
    burnt_out_cells,
    faded_cells,
    usual_strength,
)
from shortpencil.scan.vision.doubting.misplaced import marks_beside_their_places
from shortpencil.scan.vision.doubting.partial import (
    chance_of_loss,
    hidden_cells,
    is_one_bit,
    outlines_shown,
    that_may_have_vanished,
)
from shortpencil.scan.vision.doubting.quality import cells_outside
from shortpencil.scan.vision.doubting.shade import crossed_by_edges, marks_doubted, ones_doubted
from shortpencil.scan.vision.doubting.visibility import (
    OUTLINES_SAY,
    chance_of_no_trace,
    chances_by_place,
    covered_cells,
    digits_lost,
    doubted,
    faded_by_degrees,
    marks_lost,
    marks_of,
    where_all_show,
)
from shortpencil.scan.vision.evidence import BLANK_BOX, Evidence
from shortpencil.scan.vision.seeing.bubbles import (
    bubble_log_likelihoods,
    bubble_patches,
    measure_bubbles,
    pen_darkness,
)
from shortpencil.scan.vision.seeing.dashes import DASH, dashes
from shortpencil.scan.vision.seeing.digits import digit_log_p_and_looks
from shortpencil.scan.vision.seeing.ink import CardInk
from shortpencil.scan.vision.seeing.likeness import OwnHand
from shortpencil.scan.vision.seeing.own_hand import box_views, weighed
from shortpencil.scan.vision.seeing.patches import (
    Writing,
    bare_log_p,
    beside_the_middle,
    cells_of_kind,
    digit_patches,
    not_blank,
    writing_in,
    written_shares,
)
from shortpencil.scan.vision.seeing.strikes import as_this_player_marks
from shortpencil.scan.vision.trace import Trace

#: In photos blurred by so many mm, a Gaussian's sigma, a thin stroke may be as pale as paper.
_BLURRED_MM = 0.28
#: What a box must look like to the digit network, as a log probability, for its ink to be no mark at all.
_SURELY_BLANK = np.log(0.9)
#: … and for a digit to be seen for sure.
_SURELY_A_DIGIT = np.log(0.9)


def measure(
    ink: CardInk,
    covered: GrayImage,
    layout: Layout,
    trace: Trace,
    hand: OwnHand | None = None,
    lost: frozenset[str] = frozenset(),
    blur_mm: float = 0.0,
    grain: float = 0.0,
) -> Evidence:
    """Return what the ink says of each cell by itself, before any rule; of `lost` cells nothing is known."""
    trace.patches = patches = digit_patches(ink, layout)
    around = bubble_patches(ink, layout)
    trace.bubbles = bubbles = measure_bubbles(around, layout, pen_darkness(patches, around))
    writing = writing_in(patches)
    trace.marks = marks_of(around, writing, layout)
    crossed = frozenset[str]() if ink.paper is None else crossed_by_edges(ink.paper, layout)
    boxes = _Boxes(cells_of_kind(layout, "digit"), raised(patches, writing), writing)
    digits, looks = boxes.seen(blur_mm, crossed)
    if hand is not None:
        trace.views = box_views(boxes.raised, boxes.cells, writing.written())
        digits = weighed(hand, digits, trace.views)
    faxed = is_one_bit(trace.gray)  # its fine print is lost whether or not something lies on it
    fine_print = outlines_shown(around, patches, layout)
    outside = cells_outside(covered, layout)
    found = 1.0 if trace.registration is None else trace.registration.tiles_found
    hidden, pale = _hidden_and_pale(fine_print, faxed, ink, layout, outside, found)
    seen = Evidence(
        bubbles=marks_doubted(
            as_this_player_marks(bubble_log_likelihoods(bubbles), bubbles), around, crossed
        ),
        digits=digits,
        words=written_shares(ink, layout, grain),
        outside=outside | hidden | lost,
        looks=looks,
    )
    if faxed:
        chance = chance_of_loss(patches, layout, writing.strength[writing.written()])
        trace.evidence = that_may_have_vanished(seen, chance)
        return trace.evidence
    trace.faded = faded_cells(bubbles, writing, ink.paper, layout, boxes.dirt(digits))
    if ink.paper is not None and _outlines_say(fine_print):
        pale |= burnt_out_cells(around, patches, writing, ink.paper, layout)
    trace.faded -= where_all_show(trace.marks, trace.faded, layout)
    outlines = median(fine_print) if len(fine_print) else 1.0
    trace.lost = (
        marks_beside_their_places(around)
        or digits_lost(trace.marks, writing, boxes.sure_digits(digits))
        or marks_lost(trace.marks, outlines, seen.outside)
    )
    chances = chances_by_place(trace.marks, pale, layout, usual_strength(writing) or 0.0)
    may_be_gone = doubted(seen, chances, chance_of_no_trace(trace.marks))
    trace.evidence = blank_doubted(may_be_gone, trace.faded)
    return trace.evidence


def raised(patches: FloatImage, writing: Writing) -> FloatImage:
    """Return the patches with a faint pencil raised to what the network has seen."""
    return np.minimum(patches * np.float32(writing.gain), 1.2) if writing.gain > 1 else patches


@dataclass(frozen=True, slots=True)
class _Boxes:
    """The digit boxes of a card: where they are, their ink, raised, and where something is written."""

    cells: list[Cell]
    raised: FloatImage
    writing: Writing

    def seen(
        self, blur_mm: float, crossed: frozenset[str]
    ) -> tuple[dict[str, FloatImage], dict[str, FloatImage]]:
        """Log probabilities (12,) of each box, and how those with ink look to the network, by cell id."""
        written = self.writing.written()
        # A thin stroke that a moved camera has smeared is as pale as paper: then every box is looked into.
        sizes = np.array([(cell.box.w, cell.box.h) for cell in self.cells]).reshape(-1, 2)
        level = None if self.writing.level is None else self.writing.level * self.writing.gain
        on_edge = beside_the_middle(self.raised, sizes, self.writing.strength, level)
        look = np.flatnonzero(~self.writing.bare() | on_edge | (blur_mm > _BLURRED_MM))
        log_p = np.tile(bare_log_p(), (len(self.cells), 1))
        seen, looks = digit_log_p_and_looks(self.raised[look], sizes[look])
        log_p[look] = not_blank(seen, written[look])
        log_p[look[dashes(seen, self.raised[look], sizes[look])]] = DASH
        if crossed:
            log_p = ones_doubted(log_p, np.array([cell.id in crossed for cell in self.cells]))
        digits: dict[str, FloatImage] = {cell.id: log_p[i] for i, cell in enumerate(self.cells)}
        return digits, {self.cells[i].id: looks[k] for k, i in enumerate(look) if written[i]}

    def sure_digits(self, digits: dict[str, FloatImage]) -> float:
        """Share of the boxes with ink in which the network sees a digit for sure; 1 where none has any."""
        written = [c.id for c, some in zip(self.cells, self.writing.written(), strict=True) if some]
        sure = [digits[cell][:BLANK_BOX].max() > _SURELY_A_DIGIT for cell in written]
        return float(np.mean(sure)) if sure else 1.0

    def dirt(self, digits: dict[str, FloatImage]) -> Bools:
        """Boxes (N,) whose ink is none of a pen's, by what the network says of them."""
        return np.array([digits[cell.id][BLANK_BOX] > _SURELY_BLANK for cell in self.cells], bool)


def _outlines_say(fine_print: Floats) -> bool:
    """Say whether the card shows its outlines, so that where they are missing something hides them."""
    return len(fine_print) > 0 and median(fine_print) >= OUTLINES_SAY


def _hidden_and_pale(
    fine_print: Floats, faxed: bool, ink: CardInk, layout: Layout, outside: frozenset[str], tiles_found: float
) -> tuple[frozenset[str], frozenset[str]]:
    """Cells that something hides, and those whose print only fades."""
    if faxed:
        return frozenset(), frozenset()
    if not _outlines_say(fine_print):
        return covered_cells(ink, layout), frozenset()
    hidden = hidden_cells(fine_print, layout, outside, tiles_found)
    pale = faded_by_degrees(hidden, fine_print, ink.paper, layout)
    return hidden - pale, pale
