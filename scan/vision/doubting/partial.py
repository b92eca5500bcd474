"""Cards that a photo does not show whole: which corner marks are missing and why, which cells are hidden.

A mark's id says which corner it belongs to, and the marks that were found say where the others should be:
beyond the picture's edge, or in it and covered or torn off. A cell is hidden where the card's own print has
vanished all around it: under a thumb, beyond a tear, in the glare.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.layout import Layout
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
from shortpencil.scan.vision.evidence import BLANK_BOX, Evidence
from shortpencil.scan.vision.finding.corners import Corners, Mark, model_corners
from shortpencil.scan.vision.per_layout import once_a_layout
from shortpencil.scan.vision.seeing.digits import PATCH_MARGIN_MM

CORNERS_IN_WORDS = dict(
    zip(CORNER_IDS, ("top left", "top right", "bottom right", "bottom left"), strict=True)
)

#: A cell is hidden when its own outline has less ink than this share of what this card's outlines usually
#: have, and at least `_LEAST_NEAR` of its nearest `_NEAREST` less than the other share. On the tuning set's
#: photos with strong glare this holds for all 61 cells that were read wrong without a question; without
#: glare, tear or thumb it holds for none, but for about 10 of 527 cells of a nearly empty cartridge.
_VANISHED, _WEAK = 0.2, 0.3
_NEAREST, _LEAST_NEAR = 4, 2
#: On a sheet of which less than the first share of parts was found where it should be, a fold has carried
#: some away; there a cell is hidden, too, when so many of its nearest are weak and one has vanished: what
#: looks like its own outline may be a stroke.
_ALL_FOUND, _AMONG_WEAK = 0.95, 3
#: A fax has none but those that a later JPEG puts beside its edges.
_BLACK, _WHITE, _GREYS_OF_A_FAX = 8, 247, 0.004
#: A filter for documents leaves next to none between deep and pale ones, however often it was compressed; a
#: photo's paper and table lie there, a scan's blur does.
_DEEP, _PALE, _GREYS_OF_A_FILTER, _LEAST_DEEP, _LEAST_PALE = 39, 215, 0.04, 0.01, 0.5
FILTERED = (
    "no card can be made out: a filter has turned the picture black and white, which hollows out what is "
    "black. Send the photo itself, without a filter"
)
_EVERY = 7
#: A fax leaves out what is paler than its one level: 64 of 477 digits of three cards, silently, before this;
#: one of 2,703 on 17 cards since, with 150 to 330 of 1,000 cells asked (tuning set).
FAX_LOSES = 0.1
#: A scan without greys at a level that keeps even the grey outlines loses nothing darker than they are.
CRISP_LOSES = 0.002
#: What the paler of a card's box outlines (10 of 100) show, in units of its black: at most the first in faxes
#: that lose marks, at least the second in scans that do not (0.06 and 0.17 on simulated ones).
_OUTLINES_GONE, _OUTLINES_KEPT = 0.06, 0.15
#: A pen paler than the outlines breaks up where they do not: its paler digits (10 of 100) show less than
#: this.
_SOLID, _LEAST_DIGITS = 0.85, 5
#: Where more of a card than this is hidden, it is quicker to take the photo again than to answer.
MAX_HIDDEN = 0.15
#: Where more of a card than this is lost in folds, the rest is not to be trusted either.
MAX_LOST = 0.15
_RADIUS_SHARE = 14 / 45  # a bubble's radius in its patch, as a share of the patch's side


def missing_marks(corners: Corners, gray: GrayImage) -> str | None:
    """Say which corner marks were not found and where they are, or None when all were."""
    missing = [marker for marker in CORNER_IDS if marker not in corners.marks]
    if not missing:
        return None
    height, width = gray.shape
    outside: list[str] = []
    unseen: list[str] = []
    for marker in missing:
        places = corners.to_photo(model_corners(corners.paper, marker))
        inside = (places >= 0).all() and (places <= (width - 1, height - 1)).all()
        (unseen if inside else outside).append(CORNERS_IN_WORDS[marker])
    if outside and unseen:
        return (
            f"corner marks are missing: {_listed(outside)} outside the picture, {_listed(unseen)} covered, "
            "torn off or blurred"
        )
    if outside:
        return (
            f"the {outside[0]} corner mark is outside the picture"
            if len(outside) == 1
            else f"the {_listed(outside)} corner marks are outside the picture"
        )
    return (
        f"the {unseen[0]} corner mark is covered, torn off or blurred"
        if len(unseen) == 1
        else f"the {_listed(unseen)} corner marks are covered, torn off or blurred"
    )


def with_missing_marks(reason: str, corners: Corners, gray: GrayImage) -> str:
    """Return a reason for refusing a photo that also says which corner marks are missing."""
    missing = missing_marks(corners, gray)
    if missing is None:
        return reason
    return f"{reason}. Besides, {missing}"


def only_marks(marks: Iterable[Mark]) -> str | None:
    """Say which corner marks were found when they do not make a card, or None when there are none."""
    found = {mark.id for mark in marks}
    if not found:
        return None
    seen = [CORNERS_IN_WORDS[marker] for marker in CORNER_IDS if marker in found]
    if len(seen) == 1:
        return (
            f"no card found: of four black corner marks only the {seen[0]} one can be made out. "
            "Take the photo again with the whole sheet in view and nothing on its corners"
        )
    return (
        f"no card found: of four black corner marks only the {_listed(seen)} ones can be made out, or none "
        "that belong together. Take the photo again with the whole sheet in view and nothing on its corners"
    )


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def hidden_cells(
    shown: Floats, layout: Layout, outside: Collection[str] = (), tiles_found: float = 1.0
) -> frozenset[str]:
    """Return the cells around which the print has vanished, on a card that shows its outlines elsewhere.

    Parameters
    ----------
    shown : how dark the outlines are, as from `outlines_shown`
    outside : cells that the picture does not show anyway
    tiles_found : share of the sheet's parts that lie where they should
    """
    probes = _probes(layout)
    inside = np.array([cell not in outside for cell in probes.ids], bool)
    if not inside.any():
        return frozenset()
    usual = median(shown[inside])
    vanished = inside & (shown < _VANISHED * usual)
    if not vanished.any():
        return frozenset()
    weak = inside & (shown < _WEAK * usual)
    weak_near = weak[probes.nearest].sum(axis=1)
    hidden = vanished & (weak_near >= _LEAST_NEAR)
    if tiles_found < _ALL_FOUND:
        hidden |= inside & (weak_near >= _AMONG_WEAK) & vanished[probes.nearest].any(axis=1)
    cells = {cell for cell, is_hidden in zip(probes.ids, hidden, strict=True) if is_hidden}
    # A strip has no outline of its own: it is hidden where all print about it is.
    strips = hidden[probes.about_strips].all(axis=1)
    cells.update(strip for strip, gone in zip(probes.strips, strips, strict=True) if gone)
    return frozenset(cells - set(outside))


def is_one_bit(gray: GrayImage) -> bool:
    """Say whether a picture is black and white without greys, as a fax is."""
    return _shares(gray, _BLACK, _WHITE)[1] < _GREYS_OF_A_FAX


def is_filtered(gray: GrayImage) -> bool:
    """Say whether a filter for documents has made a picture, which greys of a later JPEG do not hide."""
    deep, greys, pale = _shares(gray, _DEEP, _PALE)
    return greys <= _GREYS_OF_A_FILTER and deep >= _LEAST_DEEP and pale >= _LEAST_PALE


def _shares(gray: GrayImage, black: int, white: int) -> tuple[float, float, float]:
    """Shares of a picture's pixels up to a level, between it and another, and from that on."""
    some = gray[::_EVERY, ::_EVERY]
    dark, light = float((some <= black).mean()), float((some >= white).mean())
    return dark, 1 - dark - light, light


def chance_of_loss(boxes: FloatImage, layout: Layout, strong: Floats) -> float:
    """Return the chance that a picture without greys has lost a mark.

    Parameters
    ----------
    boxes : ink around the digit boxes of `layout`, in its order, as cut for reading
    strong : ink of the darkest square millimetre in each box in which certainly something is written
    """
    if len(strong) < _LEAST_DIGITS or float(percentile(strong, 10)) < _SOLID:
        return FAX_LOSES
    shown = float(percentile(outlines_of_boxes(boxes, layout), 10))
    kept = float(np.clip((shown - _OUTLINES_GONE) / (_OUTLINES_KEPT - _OUTLINES_GONE), 0, 1))
    return float(FAX_LOSES ** (1 - kept) * CRISP_LOSES**kept)


def that_may_have_vanished(evidence: Evidence, chance: float = FAX_LOSES) -> Evidence:
    """Return what a picture says in which marks may have left no trace: being blank rules out less.

    Parameters
    ----------
    evidence : as of a picture that shows all ink
    chance : that a mark left none
    """
    bubbles = {}
    for cell, (blank, filled, cancelled) in evidence.bubbles.items():
        vanished = math.log(chance) + blank
        bubbles[cell] = (
            blank,
            float(np.logaddexp(math.log1p(-chance) + filled, vanished)),
            float(np.logaddexp(math.log1p(-chance) + cancelled, vanished)),
        )
    digits = {}
    for cell, logs in evidence.digits.items():
        weaker = np.logaddexp(math.log1p(-chance) + logs, math.log(chance) + logs[BLANK_BOX])
        weaker[BLANK_BOX] = logs[BLANK_BOX]
        digits[cell] = weaker.astype(np.float32)
    return replace(evidence, bubbles=bubbles, digits=digits)


def too_much_hidden(hidden: int, layout: Layout) -> str | None:
    """Return why to take the photo again when much of what it shows is hidden, or None."""
    share = hidden / max(len(layout.cells), 1)
    if share <= MAX_HIDDEN:
        return None
    return (
        f"{share:.0%} of the card is covered, or its fine print is burnt out. Take it again with nothing on "
        "it, and from where no lamp and no sun is mirrored"
    )


def too_much_lost(lost: int, layout: Layout) -> str | None:
    """Return why to take the photo again when much of the card is not where it was looked for, or None."""
    share = lost / max(len(layout.cells), 1)
    return carried_away(share) if share > MAX_LOST else None


def carried_away(share: float) -> str:
    """Return what to say where so much of a card does not lie where it is looked for."""
    return (
        f"the paper is folded or bent so strongly that {share:.0%} of the card cannot be told from the rows "
        "beside it. Lay it flat, hold it down at its edges, and take it again"
    )


@dataclass(frozen=True, slots=True)
class Probes:
    """The cells with an outline, bubbles first, then digit boxes, and which of them lie near.

    Attributes
    ----------
    nearest : (N, 4) of each the nearest others
    strips, about_strips : strips for words, and (M, 4) the probes nearest to each
    """

    ids: tuple[str, ...]
    nearest: NDArray[np.intp]
    strips: tuple[str, ...]
    about_strips: NDArray[np.intp]


@once_a_layout
def _probes(layout: Layout) -> Probes:
    cells = [c for kind in ("bubble", "digit") for c in layout.cells if c.kind == kind]
    strips = [c for c in layout.cells if c.kind == "words"]
    places, of_strips = (centres_of(c.box for c in some) for some in (cells, strips))
    own = _squared_distances(places, places)
    np.fill_diagonal(own, np.inf)
    return Probes(
        tuple(c.id for c in cells),
        np.argsort(own, axis=1)[:, :_NEAREST],
        tuple(c.id for c in strips),
        np.argsort(_squared_distances(of_strips, places), axis=1)[:, :_NEAREST],
    )


def _squared_distances(a: Floats, b: Floats) -> Floats:
    across, down = (a[:, i, None] - b[:, i] for i in (0, 1))
    squared: Floats = across * across + down * down
    return squared


def outlines_shown(bubbles: FloatImage, digits: FloatImage, layout: Layout) -> Floats:
    """Return how much darker the outlines are than the paper beside them, (N,), bubbles first, then boxes."""
    return np.concatenate([outlines_of_bubbles(bubbles, layout), outlines_of_boxes(digits, layout)])


@once_a_layout
def _alike(layout: Layout) -> tuple[dict[str, list[int]], dict[tuple[float, float], list[int]]]:
    """Return the places of the bubbles of each shape among all, and of the digit boxes of each size."""
    bubbles: dict[str, list[int]] = {}
    boxes: dict[tuple[float, float], list[int]] = {}
    for i, cell in enumerate(cell for cell in layout.cells if cell.kind == "bubble"):
        bubbles.setdefault(cell.shape, []).append(i)
    for i, cell in enumerate(cell for cell in layout.cells if cell.kind == "digit"):
        boxes.setdefault((cell.box.w, cell.box.h), []).append(i)
    return bubbles, boxes


def outlines_of_bubbles(patches: FloatImage, layout: Layout) -> Floats:
    """Return how much darker each bubble's outline is than the paper just outside it, (N,)."""
    shown = np.zeros(len(patches))
    for shape, members in _alike(layout)[0].items():
        shown[members] = _contrast(patches[members], *_bands_of_bubble(shape, patches.shape[-1]))
    return shown


def outlines_of_boxes(patches: FloatImage, layout: Layout) -> Floats:
    """Return the same of the digit boxes."""
    shown = np.zeros(len(patches))
    for size, members in _alike(layout)[1].items():
        shown[members] = _contrast(patches[members], *_bands_of_box(*size, patches.shape[-1]))
    return shown


def _contrast(patches: FloatImage, on: Bools, off: Bools) -> Floats:
    flat = by_row(patches)
    # The median of the paper: a neighbour's outline or a figure beside the bubble may reach into it. A third
    # of it will do, which halves the time.
    paper = medians(flat[:, np.flatnonzero(off)[::3]])
    return np.asarray(flat @ (on.ravel() / np.float32(on.sum())) - paper, np.float64)


@functools.lru_cache(maxsize=8)
def _bands_of_bubble(shape: str, side_px: int) -> tuple[Bools, Bools]:
    """Where outline and paper are in a patch; a patch shows 1.6 radii around the bubble's centre."""
    steps = (np.arange(side_px) - (side_px - 1) / 2) / (_RADIUS_SHARE * side_px)
    x, y = np.abs(np.meshgrid(steps, steps))
    radii = np.hypot(x, y) if shape == "round" else np.maximum(x, y)
    return np.abs(radii - 1) <= 0.12, (radii >= 1.25) & (radii <= 1.45)


@functools.lru_cache(maxsize=8)
def _bands_of_box(w_mm: float, h_mm: float, side_px: int) -> tuple[Bools, Bools]:
    """The same for a digit box, whose patch is as high as the box with its margin."""
    steps = (np.arange(side_px) - (side_px - 1) / 2) * (h_mm + PATCH_MARGIN_MM) / side_px
    x, y = np.abs(np.meshgrid(steps, steps))
    beyond_mm = np.maximum(x - w_mm / 2, y - h_mm / 2)
    return np.abs(beyond_mm) <= 0.25, (beyond_mm >= 0.5) & (beyond_mm <= 0.85)
