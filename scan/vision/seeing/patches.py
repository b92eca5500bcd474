"""Cuts digit boxes and strips for words out of the ink of a flat card."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Cell, Layout, writing_lines
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, alike, by_row, median, ranked
from shortpencil.scan.vision.evidence import ANSWER_SHARES, ANSWERS
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.digits import PATCH_MARGIN_MM, PATCH_PX
from shortpencil.scan.vision.seeing.ink import CardInk, Windows, windows

_WRITTEN_INK = 0.22
#: Pixels of a patch to the square millimetre, some; a digit's stroke covers more.
_A_STROKE_PX = 26
#: Where paper has more grain than this, in units of the print's black, a strip is smoothed over so many
#: pixels, 0.8 mm, first, or grain is taken for writing.
_GRAINY, _SMOOTH_PX = 0.025, 5
#: So far from its edge a strip's own line is not met; in a field for notes, so far from each of its lines,
#: since half a card in the picture is flattened less well (a line 1 mm off there was taken for writing).
_EDGE_MM, _LINE_CLEAR_MM = 0.5, 1.6


@once_a_layout
def _boxes(layout: Layout) -> Windows:
    boxes = [cell.box for cell in cells_of_kind(layout, "digit")]
    return windows(boxes, np.array([box.h + PATCH_MARGIN_MM for box in boxes]), PATCH_PX)


def digit_patches(ink: CardInk, layout: Layout) -> FloatImage:
    """Return (N, 48, 48) patches around the digit boxes of a layout, in its order.

    A side is box height + 2.4 mm; the box stands in the middle.
    """
    if not cells_of_kind(layout, "digit"):
        return np.zeros((0, PATCH_PX, PATCH_PX), np.float32)
    return _boxes(layout).of(ink)


@dataclass(frozen=True, slots=True)
class Writing:
    """How strongly this card's digit boxes are written on.

    Attributes
    ----------
    strength : (N,) ink of the darkest square millimetre inside each box
    floor : what a blank box of this card shows there: paper, noise, the edge of the outline
    level : what a written box shows there, or None where next to nothing is written
    most_bare : boxes with less than this are bare
    """

    strength: Floats
    floor: float
    level: float | None
    most_bare: float = 0.0

    @property
    def gain(self) -> float:
        """By how much to raise the ink before the network looks: 1 for usual pens, more for a faint one.

        The network was trained on pens from 0.25 up. A hard pencil leaves half of that; raised, it is an
        ordinary one.
        """
        return 1.0 if self.level is None or self.level >= 0.30 else min(0.42 / self.level, 4.0)

    def bare(self) -> Bools:
        """Boxes in which there is certainly nothing, (N,): no darker than what the blank ones show.

        On tuning photos in 30 conditions this held for 98.7 % of the blank boxes and for none of 10,992
        written ones, hard pencils and glare included; the palest of those was 0.044 above its card's floor.
        """
        return np.asarray(self.strength < self.most_bare)

    def written(self) -> Bools:
        """Boxes in which there is certainly something, (N,): far above what the blank ones show."""
        return np.asarray(self.strength > max(2.2 * self.floor, self.floor + 0.05))


#: On tuning photos in 38 conditions the palest boxes of a card (5 of 100) show at most 0.066 where they are
#: blank, in dusk and where print shines through. Full cards by a hard pencil show 0.16 and more there; only
#: photocopies of those show as little as 0.046.
_PALEST_PAPER = 0.11
#: What blank boxes usually show.
_USUAL_PAPER = 0.02
#: A fifth of blank boxes is no darker than so many times the palest few and this much more.
_ABOVE_PALEST = 1.6, 0.02
#: How far a blank box lies above the floor.
_BARE_MARGIN = 0.02
#: The grain of paper between strokes tells what a blank box shows: so many of the steps between its palest
#: tenth and two fifths lead on to the dark end. Right by a factor of two at best, so it decides only where
#: the boxes themselves do not.
_GRAIN_STEPS, _ABOVE_GRAIN, _LEAST_GRAIN = 1.5, 1.5, 0.01
#: So many written boxes, or a third of a small form's, tell how dark the pen is; fewer may be stray marks.
_LEAST_WRITTEN = 5


def writing_in(patches: FloatImage) -> Writing:
    """Return how strongly boxes are written on, be it none or all of them.

    What a blank box shows is learnt from the palest fifth, which on a round's card is blank. On a full card
    it is not: then it is much darker than the palest few, or all are darker than paper can be. And where the
    written ones do not stand apart from it, paper between the strokes has to bear out that it is paper.
    """
    inner = by_row(patches[:, 12:-12, 14:-14])
    if not len(inner):
        return Writing(np.zeros(0), 0.0, None)
    low, middle = (round((inner.shape[1] - 1) * share) for share in (0.1, 0.4))
    by_ink = np.sort(inner, axis=1)  # in wide registers: a tenth of the time of parting it at three ranks
    strength = by_ink[:, -_A_STROKE_PX:].mean(axis=1).astype(np.float64)
    rising = np.sort(strength)
    palest = float(rising[len(rising) // 20])
    most = _ABOVE_PALEST[0] * palest + _ABOVE_PALEST[1]
    floor = max(median(rising[: max(len(rising) * 2 // 5, 1)]), 0.01)
    if palest > _PALEST_PAPER:
        floor = _USUAL_PAPER
    elif floor > most:
        floor = max(median(rising[rising <= most]), 0.01)
    writing = Writing(strength, floor, None, floor + _BARE_MARGIN)
    written = writing.written()
    between = ~(written | writing.bare())
    if written.sum() <= between.sum():
        steps = by_ink[:, middle] - by_ink[:, low]
        grain = max(median(by_ink[:, middle] + _GRAIN_STEPS * steps), _LEAST_GRAIN)
        writing = replace(writing, most_bare=min(writing.most_bare, _ABOVE_GRAIN * grain + _BARE_MARGIN))
        if not written.any() and writing.bare().mean() < 0.5:
            written = ~writing.bare()  # by a pen so faint that the network is to look at all of it, raised
    enough = written.sum() >= min(_LEAST_WRITTEN, -(-len(strength) // 3))
    return replace(writing, level=median(strength[written])) if enough else writing


#: Where there is ink, blank is never believed beyond this. A stray touch of the pen and a neighbour's tail
#: are no digit: on 378 tuning cards the network believed blank, of boxes with a digit in them, none of 27,849
#: by more than 0.9 (under 0.11 per 1,000 at 95 %). Before it had seen such marks this was 0.97, and each
#: of them was asked about.
_MOST_BLANK = 0.995


#: A digit may lie on the edge of its box, where its outline is printed: what stands out from what blank
#: boxes of this size show on this card, the outline made so many pixels wider, is ink. So much of what
#: written boxes show, and so much at least, is worth a look.
_OUTLINE_WIDER_PX, _OF_WRITTEN, _LEAST_BESIDE = 5, 0.5, 0.15
#: The palest third of the boxes of a size is blank on any card but the fullest; so far outside a box its
#: digit reaches.
_BLANK_SHARE, _REACH_MM = 1 / 3, 0.4


def beside_the_middle(patches: FloatImage, sizes: Floats, strength: Floats, level: float | None) -> Bools:
    """Which boxes (N,) show ink that the middle of the box does not: on or beside the printed outline.

    Parameters
    ----------
    patches : (N, 48, 48) of the boxes
    sizes : (N, 2) width and height of each box, mm
    strength : (N,) ink in the middle of each box
    level : what a written box shows there; None where next to nothing is written
    """
    found = np.zeros(len(patches), bool)
    if level is None:
        return found
    side = np.ones((_OUTLINE_WIDER_PX, _OUTLINE_WIDER_PX), np.uint8)
    for size, rows in alike(sizes):
        palest = rows[np.argsort(strength[rows])[: max(round(len(rows) * _BLANK_SHARE), 1)]]
        usual = ranked(by_row(patches[palest]))[:, len(palest) // 2].reshape(patches.shape[1:])
        px_per_mm = PATCH_PX / (size[1] + PATCH_MARGIN_MM)
        half = np.minimum(np.ceil((np.array(size) / 2 + _REACH_MM) * px_per_mm).astype(int), PATCH_PX // 2)
        x, y = (slice(PATCH_PX // 2 - h, PATCH_PX // 2 + h) for h in half)
        ink = by_row((patches[rows] - cv2.dilate(usual, side))[:, y, x])
        darkest = np.partition(ink, -_A_STROKE_PX, axis=1)[:, -_A_STROKE_PX:].mean(axis=1)
        found[rows] = darkest > max(_OF_WRITTEN * level, _LEAST_BESIDE)
    return found


#: The answer for a bare box, which the network need not see. None of 12,376 such boxes of the tuning photos
#: was written on, so the chance that one is comes to about 1 in 12,378 (Laplace); the network says the same
#: of most. What is left is shared as digits and scrap usually are.
_BARE_P = 1 - 1e-4


def bare_log_p() -> FloatImage:
    """Return the calibrated log probabilities (12,) of the answers for a bare box."""
    p = np.array(ANSWER_SHARES)
    blank = ANSWERS.index("blank")
    p *= (1 - _BARE_P) / (1 - p[blank])
    p[blank] = _BARE_P
    return np.asarray(np.log(p), np.float32)


def not_blank(log_p: FloatImage, written: Bools) -> FloatImage:
    """Return the network's answers (N, 12) with "blank" held down where ink stands in the box.

    What is taken from it goes to "no digit": a digit too faint for the network is not lost in silence where
    the rest of the card expects one.
    """
    return held_down(log_p, written, "blank", _MOST_BLANK, "scrap")


def held_down(log_p: FloatImage, where: Bools, answer: str, most: float, instead: str) -> FloatImage:
    """Return answers (N, 12) with one believed no further than `most` where told; `instead` gets the rest."""
    held, other = ANSWERS.index(answer), ANSWERS.index(instead)
    p = np.exp(log_p.astype(np.float64))
    excess = np.where(where, np.maximum(p[:, held] - most, 0.0), 0.0)
    p[:, held] -= excess
    p[:, other] += excess
    return np.asarray(np.log(np.maximum(p, 1e-30)), np.float32)


def written_shares(ink: CardInk, layout: Layout, grain: float = 0.0) -> dict[str, float]:
    """Return the share of each strip that is covered by ink, by its cell's id; printed lines are left out.

    `grain` is the noise of bare paper in units of the print's black.
    """
    dark = ink.grey_of(_WRITTEN_INK)
    shares = {}
    for cell, (place, printed) in _strips(layout).items():
        even = ink.even[place]
        if grain > _GRAINY and even.size:
            smooth = cv2.blur(even, (_SMOOTH_PX, _SMOOTH_PX)).astype(np.int16)
            # Grain that is brighter than paper is cut off: what is left of it has darkened the strip.
            strip = smooth + (255 - round(median(smooth))) < dark
        else:
            strip = even < dark
        clear = np.ones(len(strip), bool)
        for rows in printed:
            clear[rows] = False
        shares[cell] = float(strip[clear].mean()) if strip.size else 0.0
    return shares


@once_a_layout
def _strips(layout: Layout) -> dict[str, tuple[tuple[slice, slice], list[slice]]]:
    """Return where each strip lies in the flat picture, and which of its rows its printed lines may take."""
    found = {}
    for cell in cells_of_kind(layout, "words"):
        inside = cell.box.grown(-_EDGE_MM)
        lines = writing_lines(cell.box)
        tops = [max(y - _LINE_CLEAR_MM - inside.y, 0.0) for y in (lines if len(lines) > 1 else ())]
        printed = [px_slice(Box(inside.x, top, inside.w, 2 * _LINE_CLEAR_MM))[0] for top in tops]
        found[cell.id] = px_slice(inside), printed
    return found


@once_a_layout
def _by_kind(layout: Layout) -> dict[str, list[Cell]]:
    kinds: dict[str, list[Cell]] = {}
    for cell in layout.cells:
        kinds.setdefault(cell.kind, []).append(cell)
    return kinds


def cells_of_kind(layout: Layout, kind: str) -> list[Cell]:
    """Return the layout's cells of one kind, in its order."""
    return _by_kind(layout).get(kind, [])
