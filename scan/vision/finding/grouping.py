"""Corner marks to cards: which marks belong together, how flat paper would lie, and whether a lens is wide.

A mark alone tells roughly where its sheet lies; the others are taken in where they are expected.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from shortpencil.forms.fiducials import CORNER_IDS, corner_fiducials
from shortpencil.forms.layout import MARGIN_MM, PAPERS, Paper
from shortpencil.scan.vision.arrays import Floats, Homography, PointsMm, PointsPx, project
from shortpencil.scan.vision.finding.lens import Lens, fit_lens, good_lens, through

#: A wide lens is looked for where four marks miss their places by this much, root mean square; other marks
#: than those of one card miss by more than the second.
_BOWED_MM, _BOWED_MOST_MM = 0.3, 6.0
#: It is believed if it bows outwards and leaves this share of the misfit or less. On 44 tuning photos through
#: wide lenses it left 0.06 to 0.24; on 101 of bent, folded, crumpled or steeply seen sheets that miss by
#: 0.3 mm and more it left 0.39 and more, and 0.59 and more where it bowed outwards. Bends bow either way.
_LENS_LEAVES = 0.35


#: Four marks of a bent sheet miss one flat one by less, root mean square, and are wider or higher than on it
#: by no more than this factor. Arches of 22 to 32 mm on tuning photos: 1.2 mm, 1.23.
_BENT_MOST_MM, _BENT_SIZE = 2.5, 1.4


@dataclass(frozen=True, slots=True)
class Mark:
    """One corner mark: id and its corners (4, 2) in px, clockwise from its own top left.

    `shape` is that of the picture, (height, width), in whose middle a lens has its axis.
    """

    id: int
    corners: PointsPx
    shape: tuple[int, ...] | None = None

    @property
    def centre(self) -> PointsPx:
        """Mean of the corners, (2,)."""
        return np.asarray(self.corners.mean(axis=0))

    @property
    def side_px(self) -> float:
        """Mean length of the sides."""
        a, b, c, d = self.corners.tolist()  # asked some fifty times a card, in arrays 20 times as long
        return (math.dist(a, b) + math.dist(b, c) + math.dist(c, d) + math.dist(d, a)) / 4


@dataclass(frozen=True, slots=True)
class Corners:
    """The marks of one card, by id, and what they say together.

    Attributes
    ----------
    marks : found marks by id
    paper : the sheet size that explains them best; the field map has the last word
    card_to_photo : (3, 3), mm to px, least squares over all corners found; with a lens, px of the straight
        picture
    error_mm : root mean square of the corners' misfit
    lens : where four marks tell of a wide one
    """

    marks: dict[int, Mark]
    paper: Paper
    card_to_photo: Homography
    error_mm: float
    lens: Lens | None = None

    def to_photo(self, points: PointsMm) -> PointsPx:
        """Photo px (N, 2) of card points (N, 2), on flat paper."""
        return through(self.lens, self.card_to_photo, points)


def cards_of(marks: Sequence[Mark]) -> list[Corners]:
    """Return the cards that marks belong to.

    A mark alone already tells roughly where its sheet lies; marks are put together when each stands
    where the others expect it.
    """
    pool = list(marks)
    cards: list[Corners] = []
    while pool:
        best = _with_lens(_bent(_best_card(pool), pool), pool)
        used = {id(mark) for mark in best.marks.values()}
        pool = [mark for mark in pool if id(mark) not in used]
        if len(best.marks) >= 2:
            cards.append(best)
    return sorted(cards, key=lambda c: float(np.mean([m.centre[0] for m in c.marks.values()])))


def _best_card(pool: Sequence[Mark]) -> Corners:
    """The card with the most marks and, of those, the least misfit, grown from each mark in turn.

    Four marks that fit to a millimetre are a card whichever of them was the first.
    """
    best: Corners | None = None
    for mark in pool:
        grown = [_grown(mark, pool, paper) for paper in PAPERS.values()]
        rivals = grown if best is None else [best, *grown]
        best = max(rivals, key=lambda c: (len(c.marks), -c.error_mm))
        if len(best.marks) == len(CORNER_IDS) and best.error_mm < 1.0:
            break
    assert best is not None
    return best


def _bent(plain: Corners, pool: Sequence[Mark]) -> Corners:
    """The card as a bent sheet shows it, where four marks make one that few of them expect, else `plain`.

    Two marks on one edge of an arch foretell the far edge wrongly, by more than a mark's reach; all four
    together fit well all the same. Marks of two cards beside each other do not: each would be another size.
    """
    if len(plain.marks) == len(CORNER_IDS) or {mark.id for mark in pool} < set(CORNER_IDS):
        return plain
    best: Corners | None = None
    for paper in PAPERS.values():
        for seed in pool:
            marks = _nearest(seed, pool, paper)
            if len(marks) < len(CORNER_IDS):
                continue
            transform, error = fit_card(marks, paper)
            fits = error < _BENT_MOST_MM and _sizes_fit(marks, paper, transform)
            if fits and (best is None or error < best.error_mm):
                best = Corners(marks, paper, transform, error)
    return plain if best is None else best


def _sizes_fit(marks: dict[int, Mark], paper: Paper, transform: Homography) -> bool:
    """Say whether each mark is as wide and as high as all together make it."""
    for marker, mark in marks.items():
        expected = project(transform, model_corners(paper, marker))
        for sides in (slice(0, None, 2), slice(1, None, 2)):
            own, wanted = (_lengths(points)[sides].mean() for points in (mark.corners, expected))
            if not 1 / _BENT_SIZE < own / wanted < _BENT_SIZE:
                return False
    return True


def _lengths(corners: PointsPx) -> Floats:
    return np.asarray(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1), np.float64)


def _with_lens(plain: Corners, pool: Sequence[Mark]) -> Corners:
    """The card as a wide lens shows it, where that explains four marks much better, else `plain`.

    Through such a lens each mark points beside the others, so that `plain` may lack some: then the nearest to
    where each mark expects them are tried.
    """
    shape = pool[0].shape
    if shape is None:
        return plain
    if len(plain.marks) == len(CORNER_IDS):
        if plain.error_mm < _BOWED_MM:
            return plain
        sets = [plain.marks]
    elif {mark.id for mark in pool} < set(CORNER_IDS):
        return plain
    else:
        sets = [marks for mark in pool for paper in PAPERS.values() if (marks := _nearest(mark, pool, paper))]
    best = None
    for paper in PAPERS.values():
        for marks in sets:
            _, bowed = fit_card(marks, paper)
            if not _BOWED_MM <= bowed < _BOWED_MOST_MM:
                continue
            card = np.vstack([model_corners(paper, marker) for marker in marks])
            photo = np.vstack([mark.corners for mark in marks.values()])
            fitted, transform, error = fit_lens(card, photo, good_lens(shape), 1)
            believed = fitted.bow < 0 and error < min(_LENS_LEAVES * bowed, 1.0)
            if believed and (best is None or error < best.error_mm):
                best = Corners(marks, paper, transform, error, fitted)
    return plain if best is None else best


def _nearest(seed: Mark, pool: Sequence[Mark], paper: Paper) -> dict[int, Mark]:
    """A mark and of each other id the one nearest to where it expects that; none where an id is missing."""
    transform, _ = fit_card({seed.id: seed}, paper)
    marks = {seed.id: seed}
    others = [marker for marker in CORNER_IDS if marker != seed.id]
    for marker, expected in zip(others, _expected(transform, others, paper), strict=True):
        rivals = [m for m in pool if m.id == marker and 0.3 < m.side_px / seed.side_px < 3.0]
        if not rivals:
            return {}
        marks[marker] = min(rivals, key=lambda m: float(np.linalg.norm(m.centre - expected)))
    return marks


@functools.cache
def model_corners(paper: Paper, marker: int) -> PointsMm:
    """Return the corners (4, 2) of a mark on the sheet, in mm, clockwise from the top left."""
    box = next(f.box for f in corner_fiducials(paper.width_mm, paper.height_mm, MARGIN_MM) if f.id == marker)
    return np.array([(box.x, box.y), (box.right, box.y), (box.right, box.bottom), (box.x, box.bottom)])


def _grown(seed: Mark, pool: Sequence[Mark], paper: Paper) -> Corners:
    """Start from one mark and take in, nearest expectation first, those that stand where they should."""
    marks = {seed.id: seed}
    transform, error = fit_card(marks, paper)
    side_px = seed.side_px
    while True:
        candidates = []
        others = [mark for mark in pool if mark.id not in marks]
        for mark, expected in zip(others, _expected(transform, [m.id for m in others], paper), strict=True):
            off = float(np.linalg.norm(mark.centre - expected)) / side_px * 12.0
            # From one 12 mm mark the far corner is 300 mm away: a degree of doubt is 5 mm, and perspective
            # adds.
            reach = 70.0 if len(marks) == 1 else 25.0
            if off < reach and 0.4 < mark.side_px / side_px < 2.5:
                candidates.append((off, mark))
        if not candidates:
            break
        mark = min(candidates, key=lambda c: c[0])[1]
        trial = {**marks, mark.id: mark}
        new_transform, new_error = fit_card(trial, paper)
        if new_error > 4.0:
            break
        marks, transform, error = trial, new_transform, new_error
    return Corners(marks, paper, transform, error)


def _expected(transform: Homography, markers: Sequence[int], paper: Paper) -> PointsPx:
    """Return where the centres (N, 2) of marks of these ids should be in the photo."""
    on_card = [model_corners(paper, marker).mean(axis=0) for marker in markers]
    return project(transform, np.array(on_card).reshape(-1, 2))


def fit_card(marks: dict[int, Mark], paper: Paper) -> tuple[Homography, float]:
    """Return (card_to_photo, root mean square misfit in mm) over all corners of `marks`."""
    card = np.vstack([model_corners(paper, marker) for marker in marks])
    photo = np.vstack([mark.corners for mark in marks.values()])
    found, _ = cv2.findHomography(card, photo, 0)
    if found is None:
        return np.eye(3), float("inf")
    transform = np.asarray(found, np.float64)
    px_per_mm = float(np.mean([m.side_px for m in marks.values()])) / 12.0
    off = np.linalg.norm(project(transform, card) - photo, axis=1) / px_per_mm
    return transform, float(np.sqrt((off**2).mean()))
