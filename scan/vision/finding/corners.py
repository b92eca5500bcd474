"""A grey picture to the corner marks of each card in it, to a fraction of a pixel.

Detection runs on a reduced picture, since that finds more marks in less time (Wang & Olson 2016); corners are
then refined on the full one. The smallest picture is tried first and nearly always answers. The marks' ids
and the order of their corners give the way up, so photos may lie any way.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from dataclasses import replace

import cv2
import numpy as np

from shortpencil.forms.fiducials import CORNER_IDS, MARKER_MM
from shortpencil.scan.vision.arrays import GrayImage, shrunk
from shortpencil.scan.vision.finding.grouping import Corners, Mark, cards_of, fit_card, model_corners

__all__ = [
    "Corners",
    "Mark",
    "cards_of",
    "find_cards",
    "find_marks",
    "fit_card",
    "model_corners",
    "turned_back",
]

#: Long side in px of the picture that is looked at first, with one threshold: a card that fills the photo has
#: marks of 25 to 30 px there. All marks of 142 of 148 photos of the tuning set are found in it, in a tenth of
#: the time of the ladder below.
QUICK_PX = 800
#: Beside four marks there is room for a second card where a strip of the picture is free that is this share
#: of the shorter side of the first as wide: then the ladder looks again.
_ROOM_SHARE = 0.5

#: Long sides in px of the reduced pictures that are tried in turn until all marks of a card are found. The
#: first is enough for a sharp card that fills the picture; the later ones find small or soft marks at more
#: cost.
LADDER_PX = (1100, 1800, 3200)
#: Long sides of the pictures whose light is evened when that was not enough. On 34 tuning photos without four
#: marks at first sight, 1100 px with three windows, then with two once sharpened and once as it is, show the
#: 73 marks that 1600 px with nine windows each did, and four more, in a twentieth of the time. The second
#: size is for small cards.
HARDER_PX = (1100, 1600)
#: Copiers leave large black areas hollow: black at their edges and pale inside, where a threshold by the
#: surroundings sees paper. What is darker than this share of the brightest around is print.
_PRINT, _PAPER_PARTS = 0.88, 40
#: White streaks through a mark, of a copier or a blocked nozzle, cut its outline, black ones join it to what
#: lies beside: narrower than so many px they are taken away. Modules are 8 px wide where the card
#: fills the picture.
_STREAKS_PX = (3, 5)
#: A mark whose sides have so many px in the first picture of the ladder, four a module, shows there
#: or nowhere.
_LARGE_PX = 24.0
#: Sides of the windows of the threshold: first, last, step.
_WINDOWS_PX, _FEW_WINDOWS_PX = (5, 45, 20), (13, 33, 20)


def find_cards(gray: GrayImage) -> list[Corners]:
    """Return the cards of a picture, each with two to four of its marks, left to right."""
    return cards_of(find_marks(gray))


def find_marks(gray: GrayImage) -> list[Mark]:
    """Return every corner mark in the picture, corners refined on the full picture."""
    best = _quick(gray)
    if {mark.id for mark in best} != set(CORNER_IDS) or _room_for_another(best, gray):
        best = _ladder(gray, best)
        if not _are_whole_cards(best, gray):
            best = _try_harder(gray, best)
    return [_final(mark, gray) for mark in best]


def marks_at_a_glance(gray: GrayImage, least_px_per_mm: float) -> list[Mark] | None:
    """Return the four marks of one card that fills the picture and has that resolution in it, else None.

    For a picture that was decoded small: what is not there at first sight is looked for in a larger one.
    """
    found = _quick(gray)
    if len(found) != len(CORNER_IDS) or {mark.id for mark in found} != set(CORNER_IDS):
        return None
    if np.mean([mark.side_px for mark in found]) < least_px_per_mm * MARKER_MM or _room_for_another(
        found, gray
    ):
        return None
    return [_final(mark, gray) for mark in found]


def turned_back(gray: GrayImage) -> GrayImage | None:
    """Return the picture as it was before a mirror or a negative, or None where neither would show marks.

    A telephone's camera on the side of its screen may keep what a mirror shows, a screen set to dark shows a
    card's black as white. No mark is another one's mirror image, so only the right way shows any.
    """
    scale = min(1.0, LADDER_PX[0] / max(gray.shape))
    small = shrunk(gray, scale)
    for way in (functools.partial(cv2.flip, flipCode=1), cv2.bitwise_not):
        if len(_detect(np.asarray(way(small), np.uint8), scale)) >= 2:
            return np.asarray(way(gray), np.uint8)
    return None


def _cards_in(marks: Sequence[Mark], gray: GrayImage) -> list[Corners]:
    return cards_of([replace(mark, shape=gray.shape) for mark in marks])


def _are_whole_cards(marks: Sequence[Mark], gray: GrayImage) -> bool:
    """Say whether each mark is one of four of a card; four ids may be of two cards that each lack some."""
    if {mark.id for mark in marks} != set(CORNER_IDS):
        return False
    whole = [card for card in _cards_in(marks, gray) if len(card.marks) == len(CORNER_IDS)]
    return len(CORNER_IDS) * len(whole) == len(marks)


def _ladder(gray: GrayImage, best: list[Mark]) -> list[Mark]:
    """Look at finer and finer pictures until one shows all marks, or none can show more than it does."""
    for target in LADDER_PX:
        scale = min(1.0, target / max(gray.shape))
        found = _detect(shrunk(gray, scale), scale)
        if len({m.id for m in found}) > len({m.id for m in best}) or len(found) > len(best):
            best = found
        if scale == 1.0 or _are_whole_cards(best, gray) or _is_large(best, gray):
            break
    return best


def _is_large(marks: Sequence[Mark], gray: GrayImage) -> bool:
    """Say whether two marks or three tell of a card of which finer pictures would not show more.

    It is so large that its marks are in the coarsest one, were they not covered or pale, and it leaves no
    room for another.
    """
    cards = _cards_in(marks, gray)
    if len(cards) != 1 or len(cards[0].marks) != len(marks):
        return False
    scale = LADDER_PX[0] / max(gray.shape)
    if min(mark.side_px for mark in marks) * scale < _LARGE_PX:
        return False
    (card,) = cards
    places = [Mark(i, card.to_photo(model_corners(card.paper, i))) for i in CORNER_IDS]
    return not _room_for_another(places, gray)


def _final(mark: Mark, gray: GrayImage) -> Mark:
    return replace(_refined(mark, gray), shape=gray.shape)


def _quick(gray: GrayImage) -> list[Mark]:
    """Look at a small picture with one threshold."""
    scale = min(1.0, QUICK_PX / max(gray.shape))
    small = shrunk(gray, scale)
    found = _marks(*_quick_detector().detectMarkers(small)[:2], 1.0)
    # A pixel here is five of a full picture: the second look would not reach the corner from a bad first one.
    return [_scaled(_refined(mark, small, reach=0.45), scale) for mark in found]


def _scaled(mark: Mark, scale: float) -> Mark:
    """The mark of a picture at `scale` in px of the full one; a pixel's centre has whole coordinates."""
    return Mark(mark.id, (mark.corners + 0.5) / scale - 0.5)


def _room_for_another(marks: list[Mark], gray: GrayImage) -> bool:
    """Say whether a card as large as the one that these marks span could lie beside it."""
    corners = np.vstack([mark.corners for mark in marks])
    first, last = corners.min(axis=0), corners.max(axis=0)
    free = max(*first, *(np.array(gray.shape[::-1]) - last))
    return bool(free > _ROOM_SHARE * (last - first).min())


@functools.cache
def _quick_detector() -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    # One window, about as wide as a mark: of 15, 23 and two windows, this found as many marks in less time.
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 23
    parameters.minMarkerPerimeterRate = 0.05
    parameters.polygonalApproxAccuracyRate = 0.05
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.relativeCornerRefinmentWinSize = 0.3
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), parameters)


@functools.cache
def _detector(windows_px: tuple[int, int, int], soft: bool) -> cv2.aruco.ArucoDetector:
    """A detector that thresholds with windows from the first to the second number, in steps of the third."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = windows_px[0]
    parameters.adaptiveThreshWinSizeMax = windows_px[1]
    parameters.adaptiveThreshWinSizeStep = windows_px[2]
    parameters.minMarkerPerimeterRate = 0.02
    parameters.polygonalApproxAccuracyRate = 0.05
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.relativeCornerRefinmentWinSize = 0.3
    if soft:
        parameters.minMarkerPerimeterRate = 0.03
        parameters.adaptiveThreshConstant = 3
        parameters.polygonalApproxAccuracyRate = 0.08
        parameters.errorCorrectionRate = 0.8
        parameters.perspectiveRemovePixelPerCell = 8
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), parameters)


def _detect(
    small: GrayImage, scale: float, windows_px: tuple[int, int, int] = _WINDOWS_PX, soft: bool = False
) -> list[Mark]:
    corners, ids, _ = _detector(windows_px, soft).detectMarkers(small)
    return _marks(corners, ids, scale)


def _marks(corners: Sequence[cv2.typing.MatLike], ids: cv2.typing.MatLike | None, scale: float) -> list[Mark]:
    """Corner marks among what the detector found in a picture at `scale`, in px of the full one."""
    if ids is None:
        return []
    return [
        _scaled(Mark(int(marker), quad.reshape(4, 2).astype(np.float64)), scale)
        for marker, quad in zip(np.ravel(ids), corners, strict=True)
        if int(marker) in CORNER_IDS
    ]


def _try_harder(gray: GrayImage, best: list[Mark]) -> list[Mark]:
    """Look again with evened-out light and softer parameters; keep what was found before."""
    found = list(best)
    for version, scale, windows_px in _versions(gray, _is_large(best, gray)):
        for mark in _detect(version, scale, windows_px, soft=True):
            if all(np.linalg.norm(mark.centre - old.centre) > mark.side_px / 2 for old in found):
                found.append(mark)
        if _are_whole_cards(found, gray):
            break
    return found


def _versions(gray: GrayImage, large: bool) -> Iterator[tuple[GrayImage, float, tuple[int, int, int]]]:
    """Pictures in which pale and soft marks may show, with scale and windows, each made when asked for."""
    for long_px in HARDER_PX[:1] if large else HARDER_PX:
        scale = min(1.0, long_px / max(gray.shape))
        small = shrunk(gray, scale)
        evened = cv2.createCLAHE(clipLimit=4.0, tileGridSize=(12, 12)).apply(small)
        yield np.asarray(evened, np.uint8), scale, _WINDOWS_PX
        if long_px == HARDER_PX[0]:
            sharpened = cv2.addWeighted(small, 2.2, cv2.GaussianBlur(small, (0, 0), 3.0), -1.2, 0)
            yield np.asarray(sharpened, np.uint8), scale, _FEW_WINDOWS_PX
            yield small, scale, _FEW_WINDOWS_PX
            yield _against_paper(small), scale, _FEW_WINDOWS_PX
            for streak_px in _STREAKS_PX:
                side = np.ones((streak_px, streak_px), np.uint8)
                for without in (cv2.MORPH_OPEN, cv2.MORPH_CLOSE):  # white streaks, then black ones
                    whole = cv2.morphologyEx(small, without, side)
                    yield np.asarray(whole, np.uint8), scale, _FEW_WINDOWS_PX
        if scale == 1.0:
            return


def _against_paper(small: GrayImage) -> GrayImage:
    """All that is darker than the paper around it in black, the rest white: hollow marks are filled."""
    side = max(small.shape) // _PAPER_PARTS | 1
    paper = cv2.GaussianBlur(cv2.dilate(small, np.ones((side, side), np.uint8)), (0, 0), side / 2)
    share = np.asarray(cv2.divide(small, paper, scale=255.0))
    print_only = np.where(share < 255 * _PRINT, 0, 255).astype(np.uint8)
    return np.asarray(cv2.GaussianBlur(print_only, (0, 0), 0.8), np.uint8)


def _refined(mark: Mark, gray: GrayImage, reach: float = 0.3) -> Mark:
    """Corners to a fraction of a pixel; the window, `reach` modules each way, sees one corner only."""
    module_px = mark.side_px / 6
    half = int(np.clip(round(reach * module_px), 2, 9))
    corners = mark.corners.astype(np.float32).reshape(-1, 1, 2).copy()
    height, width = gray.shape
    margin = half + 2
    if (
        corners.min() < margin
        or corners[..., 0].max() > width - margin
        or corners[..., 1].max() > height - margin
    ):
        return mark
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    refined = (
        cv2.cornerSubPix(gray, corners, (half, half), (-1, -1), criteria).reshape(4, 2).astype(np.float64)
    )
    moved = np.linalg.norm(refined - mark.corners, axis=1)
    return Mark(mark.id, refined) if moved.max() < 1.5 * max(module_px * 0.5, 2.0) else mark
