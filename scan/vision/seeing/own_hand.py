"""One player's own hand as the digit network sees it: boxes whose digits are known beside those of a card.

The network has seen thousands of hands and no more than a guess of this one. Boxes that a person or a sum
vouched for (`scan.records.concluding.lessons`) are laid beside the boxes of a new card in the network's last
hidden layer, where boxes that look alike lie near each other; what that may change, and how far, is the
matter of `likeness`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Cell
from shortpencil.scan.reading import Lesson
from shortpencil.scan.vision.arrays import Bools, FloatImage
from shortpencil.scan.vision.seeing.digits import VIEW_PX, normalise, scores_and_layer
from shortpencil.scan.vision.seeing.likeness import UNKNOWN_HAND, OwnHand, hand_of

#: Ink of 1, the black of the print, in a view kept as bytes; the strongest pens come to 1.2.
_BLACK = 200.0


def weighed(
    hand: OwnHand, log_p: Mapping[str, NDArray[np.float32]], views: Mapping[str, bytes]
) -> dict[str, NDArray[np.float32]]:
    """Return the log probabilities (12,) of each box with a hand in mind.

    Parameters
    ----------
    log_p : by cell id, in the order of `scan.vision.evidence.ANSWERS`
    views : of the boxes that have ink, by cell id, as `box_views` makes them
    """
    result = dict(log_p)
    cells = [cell for cell in views if cell in log_p]
    if not cells or hand.strange >= 1.0 or not len(hand.examples):
        return result
    _, layer = scores_and_layer(_pictures([views[cell] for cell in cells]))
    before = np.stack([log_p[cell] for cell in cells])
    after = before + hand.correction(before, _unit(layer)).astype(np.float32)
    result.update(zip(cells, after, strict=True))
    return result


def learn(lessons: Sequence[Lesson]) -> OwnHand:
    """Return the hand that these examples show, as this package's network sees them.

    Examples that the network takes for no digit are left out, and so are views made for a network of another
    input; too few give `UNKNOWN_HAND`.
    """
    size = VIEW_PX[0] * VIEW_PX[1]
    usable = [lesson for lesson in lessons if len(lesson.view) == size]
    if not usable:
        return UNKNOWN_HAND
    scores, layer = scores_and_layer(_pictures([lesson.view for lesson in usable]))
    seen = scores.argmax(axis=1) < 10
    examples = _unit(layer[seen])
    digits = np.array([lesson.digit for lesson in usable], np.int64)[seen]
    return hand_of(examples, digits)


def box_views(patches: FloatImage, boxes: Sequence[Cell], written: Bools) -> dict[str, bytes]:
    """Return the picture of each box with ink as the network sees it, by cell id, a byte a pixel.

    Parameters
    ----------
    patches : (N, 48, 48) of the boxes, as for `scan.vision.seeing.digits.digit_log_p`
    written : (N,) whether a box has ink
    """
    result: dict[str, bytes] = {}
    for size in sorted({(cell.box.w, cell.box.h) for cell in boxes}):
        rows = [i for i, c in enumerate(boxes) if written[i] and (c.box.w, c.box.h) == size]
        levels = np.round(np.clip(normalise(patches[rows], size) * _BLACK, 0, 255)).astype(np.uint8)
        result.update({boxes[i].id: levels[k].tobytes() for k, i in enumerate(rows)})
    return result


def picture_of(boxes: Sequence[tuple[int | None, bytes]]) -> bytes:
    """Return a PNG that shows boxes as they are kept: a row a digit, then those that nothing vouches for."""
    import cv2

    rows, columns = VIEW_PX
    of_row: dict[int, list[bytes]] = {row: [] for row in range(11)}
    for digit, view in boxes:
        if len(view) == rows * columns:
            of_row[10 if digit is None else digit].append(view)
    across = max((len(views) for views in of_row.values()), default=0) + 1
    sheet = np.full((11 * (rows + 2), across * (columns + 2)), 255, np.uint8)
    for row, views in of_row.items():
        top = row * (rows + 2)
        label = "?" if row == 10 else str(row)
        cv2.putText(sheet, label, (8, top + 22), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 128, 1, cv2.LINE_AA)
        for column, view in enumerate(views, start=1):
            ink = np.frombuffer(view, np.uint8).reshape(VIEW_PX) / _BLACK
            left = column * (columns + 2)
            sheet[top : top + rows, left : left + columns] = 255 * (1 - np.clip(ink, 0, 1))
    _, data = cv2.imencode(".png", cv2.resize(sheet, None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST))
    return data.tobytes()


def _pictures(views: Sequence[bytes]) -> NDArray[np.float32]:
    """The network's input for views kept as bytes."""
    levels = np.frombuffer(b"".join(views), np.uint8).reshape(-1, 1, *VIEW_PX)
    return np.asarray(levels / np.float32(_BLACK), np.float32)


def _unit(layer: NDArray[np.float32]) -> NDArray[np.float32]:
    length = np.linalg.norm(layer, axis=1, keepdims=True)
    return np.asarray(layer / np.maximum(length, 1e-9), np.float32)
