"""What a picture would show of a mark, cell by cell, where the card's own fine print says nothing.

The pale outlines of a blank that was copied, of a weak printer, of a bright photo are gone while the writing
is all there. Whether a blank cell can be believed then hangs on the marks: where those that are seen stand
far above what blank cells show, one that left no trace would have been of another kind than all the others.
Where a copier or the light has taken most of the marks, their remains tell.

What lies on such a card is told by the dark rules between its rows, and by being darker than paper.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import STUD_MM, Layout
from shortpencil.scan.vision.arrays import (
    Bools,
    FloatImage,
    Floats,
    GrayImage,
    by_row,
    centres_of,
    median,
    medians,
    percentile,
)
from shortpencil.scan.vision.doubting.partial import that_may_have_vanished
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.ink import PAPER_PX_PER_MM, CardInk
from shortpencil.scan.vision.seeing.patches import Writing, cells_of_kind

#: With fewer marks on a card nothing is known of how they should look.
_LEAST_MARKS = 12
#: A mark is seen where it stands so many times the spread of blank cells above them, and by this at least, in
#: units of the card's black.
_TIMES_NOISE, _LEAST_SEEN = 6.0, 0.03
#: Where light spreads blank cells, it is enough to be so much of what the card's dark cells (9 of 10) show.
_OF_DARK = 0.25
#: Marks that are paler than so many times the least that is surely one are just seen; of such as would lie as
#: far below it there are so many times as many.
_JUST_SEEN, _THIN_OUT = 1.6, 0.4
#: Share of what is just seen that is no mark but its ghost: rubbed out, a speck, a pen put down.
_GHOSTS = 0.1
#: No mark is taken to be surer to show than this; below the second a chance is not worth a word.
_MOST_CHANCE, _NOTHING = 0.2, 2e-4


@dataclass(frozen=True, slots=True)
class Marks:
    """How dark the inside of each cell is, bubbles first, then digit boxes, in units of the card's black.

    Attributes
    ----------
    ids : the cells
    darkness : (N,) of the darkest part, above what blank cells of its kind show
    least : (N,) from which darkness on it is surely a mark
    filled : (B,) of a bubble's whole inside, above the ring around it and above what blank ones show
    noise : spread of that in blank bubbles
    """

    ids: tuple[str, ...]
    darkness: Floats
    least: Floats
    filled: Floats
    noise: float

    @property
    def seen(self) -> Bools:
        """Cells in which there surely is a mark."""
        return np.asarray(self.darkness > self.least)


#: Where fewer than half of the cells are blank, as on a ladder of good putts, they tell themselves: far below
#: the dark ones, by this at least, in units of the card's black, with next to none in between.
_APART, _BELOW, _BETWEEN, _FEW_BETWEEN, _LEAST_BLANK = 0.15, 0.25, (0.12, 0.3), 0.08, 3


def blank_ones(strength: Floats) -> Bools | None:
    """Return the blank cells where they are fewer than half and stand apart; else None: the paler half is."""
    palest, dark = (float(percentile(strength, share)) for share in (5, 90)) if len(strength) else (0.0, 0.0)
    if dark - palest < _APART:
        return None
    scaled = (strength - palest) / (dark - palest)
    blank = scaled < _BELOW
    between = (scaled > _BETWEEN[0]) & (scaled < _BETWEEN[1])
    if blank.mean() >= 0.5 or blank.sum() < _LEAST_BLANK or between.mean() > _FEW_BETWEEN:
        return None
    return np.asarray(blank)


def marks_of(bubbles: FloatImage, writing: Writing, layout: Layout) -> Marks:
    """Return the marks of a card; `bubbles` are patches of ink as cut for reading."""
    darkest, filled = _of_bubbles(bubbles)
    kinds = (darkest, writing.strength)
    bare = [blank_ones(kind) for kind in kinds]
    floors, noises = zip(*map(_blank, kinds, bare), strict=True)
    counts = [len(kind) for kind in kinds]
    floor, noise = _blank(filled, bare[0])
    return Marks(
        tuple(c.id for kind in ("bubble", "digit") for c in cells_of_kind(layout, kind)),
        np.concatenate(kinds) - np.repeat(floors, counts),
        np.repeat(
            [
                max(min(_TIMES_NOISE * spread, _OF_DARK * _dark(kind)), _LEAST_SEEN)
                for kind, spread in zip(kinds, noises, strict=True)
            ],
            counts,
        ),
        filled - floor,
        noise,
    )


def _of_bubbles(patches: FloatImage) -> tuple[Floats, Floats]:
    """Ink of the darkest quarter of each bubble's inside (N,), and of all of it above the ring outside."""
    if not len(patches):
        return np.zeros(0), np.zeros(0)
    flat, (within, outside) = by_row(patches), _inside_and_ring(patches.shape[-1])
    inside = flat[:, within]
    ring = medians(flat[:, outside])
    quarter = inside.shape[1] // 4
    darkest = np.partition(inside, -quarter, axis=1)[:, -quarter:].mean(axis=1)
    return np.asarray(darkest, np.float64), np.asarray(inside.mean(axis=1) - ring, np.float64)


@functools.cache
def _inside_and_ring(side_px: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Places of a patch inside a bubble, and a third of those of the ring around it."""
    axis = (np.arange(side_px) - (side_px - 1) / 2) * 3.2 / side_px
    radii = np.hypot(*np.meshgrid(axis, axis)).ravel()
    return np.flatnonzero(radii < 0.65), np.flatnonzero((radii > 1.25) & (radii < 1.5))[::3]


def _dark(strength: Floats) -> float:
    return float(percentile(strength, 90)) if len(strength) else 1.0


def _blank(strength: Floats, blank: Bools | None) -> tuple[float, float]:
    """What blank cells show and by how much it spreads: the `blank` ones, or the paler half of all."""
    if not len(strength):
        return 0.0, 0.01
    some = (10, 35) if blank is None else (20, 70)
    low, middle = (percentile(strength if blank is None else strength[blank], share) for share in some)
    return float(middle), max(float(middle - low), 0.002)


def chance_of_no_trace(marks: Marks) -> float:
    """Return the chance that a mark of this card shows no more than a blank cell does.

    Where a hand's marks go down to what can just be seen, some go further: as many as lie just above the
    least that is surely a mark, or somewhat fewer, since they thin out.
    """
    seen = marks.seen
    if seen.sum() < _LEAST_MARKS:
        return 0.0
    just_seen = float((seen & (marks.darkness < _JUST_SEEN * marks.least)).sum()) / float(seen.sum())
    return float(np.clip(_THIN_OUT * (just_seen - _GHOSTS), 0.0, _MOST_CHANCE))


#: A filled bubble stands so many times the spread of blank ones above them, and by this at least. Its remains
#: stand out by less, but by some grey levels (JPEG blocks have two), and are paler than this share of what
#: filled bubbles show, and by no more than the last.
_FILLED_NOISES, _LEAST_FILLED, _REMAINS_NOISES, _LEAST_REMAINS, _REMAINS = 10.0, 0.03, 5.0, 0.018, 0.3
_MOST_REMAINS_NOISES, _MOST_REMAINS = 12.0, 0.05
#: A tick or a stroke is pale over the whole bubble beside a filled one, but dark where it is: its darkest
#: quarter shows more than this of what that of filled ones does, and more than so many times its own mean. 32
#: ticks of a tuning photo in the dusk, beside 12 filled bubbles, showed 0.33 to 0.56 and 1.6 to 2.6.
_STROKE_DARK, _STROKE_PEAK = 0.3, 1.55
#: A card with so many remains, and this share of them among all that was filled, has lost marks; of what
#: people rub out there are a few on a card.
_MANY_REMAINS, _REMAINS_TO_ALL = 15, 0.25
#: Without outlines a card with fewer filled bubbles may have lost all of them; and so has one with outlines
#: on which nothing is as dark as the second, in units of the card's black.
_LEAST_FILLED_HERE, _DARK = 4, 0.3


def remains_of_marks(marks: Marks, outside: Collection[str] = ()) -> tuple[int, int]:
    """Return how many bubbles are filled, and how many show remains: pale, but not as pale just outside.

    What shines through a sheet or lies on it is as dark beside a bubble as in it. Nothing is known of the
    cells `outside`.
    """
    inside = np.array([cell not in outside for cell in marks.ids[: len(marks.filled)]], bool)
    filled = inside & (marks.filled > max(_FILLED_NOISES * marks.noise, _LEAST_FILLED))
    if not filled.any():
        return 0, 0
    usual = float(percentile(marks.filled[filled], 70))
    remains = inside & (marks.filled > max(_REMAINS_NOISES * marks.noise, _LEAST_REMAINS))
    remains &= marks.filled < min(_REMAINS * usual, max(_MOST_REMAINS_NOISES * marks.noise, _MOST_REMAINS))
    darkest = marks.darkness[: len(marks.filled)]
    remains &= ~(
        (darkest > _STROKE_DARK * float(percentile(darkest[filled], 70)))
        & (darkest > _STROKE_PEAK * marks.filled)
    )
    return int((filled & ~remains).sum()), int(remains.sum())


_HARDLY_A_MARK = (
    "hardly a mark can be seen, and what can be seen is pale. Take the photo of the card itself, not "
    "of a copy, from where no lamp and no sun is mirrored; print the next cards with more toner"
)
#: Digits paler than this, in units of the card's black, in fewer boxes than this share, beside so many
#: bubbles that are so many times as dark: a scanner has cut off most of what was written in thin strokes.
_LOST_LEVEL, _LOST_SHARE, _MANY_FILLED, _MUCH_DARKER = 0.11, 1 / 6, 20, 3.0
#: The same of digits a little darker in a few more boxes, if the network is sure of fewer than half of them:
#: of 476 simulated cards three in a thousand had fewer, one in a hundred fewer than three in four.
_TRACES_LEVEL, _TRACES_SHARE, _LEAST_SURE = 0.15, 1 / 4, 0.5


def digits_lost(marks: Marks, writing: Writing, sure: float) -> str | None:
    """Return why a card's digits cannot be read, or None: few can be seen, pale, beside many dark bubbles.

    `sure` is the share of the boxes with ink in which the network sees a digit for sure.
    """
    most_level, most_share = (
        (_TRACES_LEVEL, _TRACES_SHARE) if sure < _LEAST_SURE else (_LOST_LEVEL, _LOST_SHARE)
    )
    if writing.level is None or writing.level >= most_level:
        return None
    bubbles = slice(0, len(marks.filled))
    dark = marks.seen[bubbles] & (marks.darkness[bubbles] > _MUCH_DARKER * writing.level)
    few = writing.written().sum() < most_share * len(writing.strength)
    return _HARDLY_A_MARK if few and dark.sum() >= _MANY_FILLED else None


def marks_lost(marks: Marks, outlines: float, outside: Collection[str] = ()) -> str | None:
    """Return why a card's marks cannot be read, or None: many have left but a trace, or all may be lost.

    `outlines` is the ink that most of the card's pale outlines show: with those a pale pencil goes as well.
    """
    filled, remains = remains_of_marks(marks, outside)
    few = filled < _LEAST_FILLED_HERE or marks.seen.sum() < _LEAST_MARKS
    # A sheet of digits alone has few cells, and a digit's thin strokes are pale beside a filled bubble: a
    # practice card in pencil, which anybody reads, was taken for a copy that had lost its marks.
    all_pale = bool(len(marks.filled) and marks.seen.any() and not (marks.darkness > _DARK).any())
    if few and (outlines < OUTLINES_TELL_ALL or all_pale):
        return _HARDLY_A_MARK
    if remains < _MANY_REMAINS or remains < _REMAINS_TO_ALL * (remains + filled):
        return None
    return (
        f"{remains} filled bubbles are so pale that they can hardly be told from paper, {filled} can. "
        "Take the photo of the card itself, not of a copy, near and sharp, from where no lamp and no sun is "
        "mirrored; go over faint marks with a dark pen"
    )


#: Outlines that most cells show with less ink than this say nothing where they are missing.
OUTLINES_SAY = 0.03
#: Outlines paler than this may outlast a hard pencil; prints that nothing is wrong with show 0.09 and more.
OUTLINES_TELL_ALL = 0.06
#: What lies on a card is so much darker than the paper around, or the rest of the print would show it.
_DARKER = 0.75
_AROUND_PX = 61  # of the picture of the paper, 30 mm
_RULE_MM = 0.9  # how far a rule may lie from where it is expected
_SEGMENT_MM = 6.0
_RULE_SHOWS = 0.02
_NEAR_MM = 20.0


@dataclass(frozen=True, slots=True)
class _Rules:
    """The dark rules of a layout in segments, and which of them are nearest to each cell.

    Attributes
    ----------
    rows, columns : (S,) first pixel of each segment's strip in the flat picture
    strip : height and width of a strip, px
    near : (N, 4) of each cell, bubbles first, then boxes; -1 for none
    at : (2, N) rows and columns of the cells' middles in the picture of the paper
    """

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    strip: tuple[int, int]
    near: NDArray[np.intp]
    at: NDArray[np.intp]


@once_a_layout
def _rules(layout: Layout) -> _Rules:
    k = CARD_PX_PER_MM
    cells = [c for kind in ("bubble", "digit") for c in cells_of_kind(layout, kind)]
    at = _middles(layout)
    places = np.zeros((0, 2))
    if layout.studs:
        left, right = (f(p.x for p in layout.studs) for f in (min, max))
        xs = np.arange(left + STUD_MM + 1.0, right - STUD_MM - _SEGMENT_MM, _SEGMENT_MM)
        studs = np.array([(p.x, p.y) for p in layout.studs])
        xs = xs[np.abs(xs[:, None] + _SEGMENT_MM / 2 - studs[:, 0]).min(axis=1) > _SEGMENT_MM / 2 + STUD_MM]
        places = np.array([(x, y) for y in sorted({stud.y for stud in layout.studs}) for x in xs])
    height, width = round((2 * _RULE_MM + 3.0) * k) | 1, round(_SEGMENT_MM * k)
    near = np.full((len(cells), 4), -1, np.intp)
    if len(places):
        middles = places + np.array([_SEGMENT_MM / 2, 0.0])
        apart = np.hypot(*np.moveaxis(at[:, None] - middles[None], 2, 0))
        nearest = np.argsort(apart, axis=1)[:, :4]
        near[:, : nearest.shape[1]] = np.where(
            np.take_along_axis(apart, nearest, axis=1) < _NEAR_MM, nearest, -1
        )
    px = np.maximum(np.round(at[:, ::-1].T * PAPER_PX_PER_MM - 0.5), 0).astype(np.intp)
    rows, columns = np.round(places[:, ::-1].T * k).astype(np.intp).reshape(2, -1)
    return _Rules(np.maximum(rows - height // 2, 0), columns, (height, width), near, px)


def covered_cells(ink: CardInk, layout: Layout) -> frozenset[str]:
    """Return the cells on which something dark lies, told without their outlines.

    There the paper is darker than around, and of the dark rules nearest to it none shows.
    """
    if ink.paper is None:
        return frozenset()
    rules = _rules(layout)
    around = cv2.medianBlur(np.clip(ink.paper, 0, 255).astype(np.uint8)[::4, ::4], _AROUND_PX // 4 | 1)
    rows, columns = (np.minimum(rules.at[i], ink.paper.shape[i] - 1) for i in (0, 1))
    coarse = tuple(np.minimum(at // 4, around.shape[i] - 1) for i, at in enumerate((rows, columns)))
    usual = np.maximum(around[coarse], median(around)).astype(np.float64)
    dark = ink.paper[rows, columns] < _DARKER * usual
    if not dark.any():
        return frozenset()
    shows = np.append(_rules_shown(ink.even, rules), False)
    unseen = ~shows[rules.near].any(axis=1)
    cells = [c.id for kind in ("bubble", "digit") for c in cells_of_kind(layout, kind)]
    return frozenset(cell for cell, gone in zip(cells, dark & unseen, strict=True) if gone)


def _rules_shown(even: GrayImage, rules: _Rules) -> Bools:
    """Which segments (S,) of the dark rules can be seen."""
    height, width = rules.strip
    shown = np.zeros(len(rules.rows), bool)
    middle = slice(round(1.5 * CARD_PX_PER_MM), height - round(1.5 * CARD_PX_PER_MM))
    for i, (row, column) in enumerate(zip(rules.rows, rules.columns, strict=True)):
        strip = even[row : row + height, column : column + width]
        if strip.shape == (height, width):
            along = strip.mean(axis=1)
            shown[i] = median(along) - along[middle].min() > 255 * _RULE_SHOWS
    return shown


#: Where the outlines of this many of a region's neighbours are as dark as usual, it ends at an edge:
#: something lies there. Light and weak print fade by degrees.
_ABRUPT, _AS_USUAL = 0.5, 0.6
_BESIDE_MM = 11.0
#: Paper darker than this share of the card's usual paper has not been burnt out.
_NOT_DARKER = 0.97


def faded_by_degrees(
    hidden: Collection[str], shown: Floats, paper: FloatImage | None, layout: Layout
) -> frozenset[str]:
    """Return those of the `hidden` cells whose outlines fade by degrees on paper that is as bright as any.

    Parameters
    ----------
    hidden : cells whose outlines have vanished
    shown : how dark the outlines are, as from `partial.outlines_shown`
    paper : grey of bare paper
    """
    if not hidden or paper is None:
        return frozenset()
    cells = [c for kind in ("bubble", "digit") for c in cells_of_kind(layout, kind)]
    at = _middles(layout)
    gone = np.array([c.id in hidden for c in cells])
    share = shown / max(median(shown), 1e-6)
    rules = _rules(layout)
    rows, columns = (np.minimum(rules.at[i], paper.shape[i] - 1) for i in (0, 1))
    bright = paper[rows, columns] >= _NOT_DARKER * median(paper)
    apart = np.hypot(at[:, :1] - at[:, 0], at[:, 1:] - at[:, 1])
    found: set[str] = set()
    left = set(np.flatnonzero(gone).tolist())
    while left:
        region, edge = set(), [left.pop()]
        while edge:
            cell = edge.pop()
            region.add(cell)
            near = [j for j in np.flatnonzero(apart[cell] < _BESIDE_MM).tolist() if j in left]
            left.difference_update(near)
            edge += near
        some = np.array(sorted(region))
        beside = (apart[some].min(axis=0) < _BESIDE_MM) & ~gone
        abrupt = beside.any() and float((share[beside] > _AS_USUAL).mean()) > _ABRUPT
        if not abrupt and bright[some].mean() > 0.5:
            found.update(cells[i].id for i in some)
    strips = {c.id for c in cells_of_kind(layout, "words") if c.id in hidden}
    return frozenset(found | (strips if found else set()))


#: Where of so many marks nearest to a cell none is paler than so many times the least that can be seen, none
#: has vanished: light that takes marks takes some of their neighbours nearly. A second, paler pen does not.
_ALL_NEAR, _FAR_ABOVE, _ALL_REACH_MM = 9, 2.5, 45.0


def where_all_show(marks: Marks, cells: Collection[str], layout: Layout) -> frozenset[str]:
    """Return those of some cells around which every mark stands far above what blank cells show."""
    seen = np.flatnonzero(marks.seen)
    if not cells or len(seen) < _LEAST_MARKS:
        return frozenset()
    at = _middles(layout)
    far_above = (marks.darkness > _FAR_ABOVE * marks.least)[seen]
    found = set()
    for i, cell in enumerate(marks.ids):
        if cell in cells:
            apart = np.hypot(*(at[seen] - at[i]).T)
            near = np.argsort(apart)[:_ALL_NEAR]
            if apart[near[-1]] < _ALL_REACH_MM and far_above[near].all():
                found.add(cell)
    return frozenset(found)


def _middles(layout: Layout) -> Floats:
    """Middles (N, 2) of the cells with an outline, bubbles first, mm."""
    return centres_of(c.box for kind in ("bubble", "digit") for c in cells_of_kind(layout, kind))


#: Marks around a cell as dark as this share of what is usual tell that none has vanished there; paler than
#: the second, that many may have.
_NONE_LOST, _MANY_LOST = 0.84, 0.5
_MARKS_NEAR, _MARK_REACH_MM = 5, 40.0


def chances_by_place(marks: Marks, cells: Collection[str], layout: Layout, pen: float) -> dict[str, float]:
    """Return the chance that a mark has left no trace in each of some cells, by the marks around it.

    Parameters
    ----------
    cells : where the card's own fine print has faded
    pen : ink of this card's usual mark, which speaks where no mark is near
    """
    seen = np.flatnonzero(marks.seen)
    at = _middles(layout)
    chances = {}
    usual = float(percentile(marks.darkness[seen], 60)) if len(seen) >= _LEAST_MARKS else 0.0
    for i, cell in enumerate(marks.ids):
        if cell not in cells:
            continue
        far = np.hypot(*(at[seen] - at[i]).T) if len(seen) else np.zeros(0)
        near = seen[np.argsort(far)[:_MARKS_NEAR]] if len(seen) else seen
        if usual and len(near) == _MARKS_NEAR and np.sort(far)[_MARKS_NEAR - 1] < _MARK_REACH_MM:
            share = median(marks.darkness[near]) / usual
            doubt = float(np.clip((_NONE_LOST - share) / (_NONE_LOST - _MANY_LOST), 0, 1))
        else:
            doubt = float(np.clip((0.7 - pen) / 0.4, 0.2, 1))
        chances[cell] = _MOST_CHANCE**doubt * 1e-3 ** (1 - doubt)
    return chances


def doubted(evidence: Evidence, chances: Mapping[str, float], everywhere: float) -> Evidence:
    """Return the evidence with blank ruling out less, by each cell's chance of a mark without a trace."""
    levels: dict[float, set[str]] = {}
    for cell in (*evidence.bubbles, *evidence.digits):
        chance = max(chances.get(cell, 0.0), everywhere)
        if chance > _NOTHING:
            levels.setdefault(round(math.log(chance), 1), set()).add(cell)
    for log_chance, cells in levels.items():
        part = replace(
            evidence,
            bubbles={c: logs for c, logs in evidence.bubbles.items() if c in cells},
            digits={c: logs for c, logs in evidence.digits.items() if c in cells},
        )
        weaker = that_may_have_vanished(part, math.exp(log_chance))
        evidence = replace(
            evidence,
            bubbles={**evidence.bubbles, **weaker.bubbles},
            digits={**evidence.digits, **weaker.digits},
        )
    return evidence
