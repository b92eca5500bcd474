"""One player's own hand: boxes whose digits are known, and what they say of the boxes of the next card.

The network has seen thousands of hands and no more than a guess of this one. Boxes that a person or a sum
vouched for (`scan.records.lessons`) are laid beside the boxes of a new card in the network's last hidden
layer, where boxes that look alike lie near each other. A box that looks like this player's fours and unlike
their nines is a four with more right than before; one that looks like their nines is doubted.

What a hand may do is bounded, so that it asks less and does not err more:

- against the network's best answer no other gains or loses more than a factor `MOST`. So a hand alone can
  settle a box only for the answer that the network holds best: where it speaks for another, even the second
  best at one to one becomes 40 to 1 and no more, which is asked about (49 to 1 is not);
- a box that was asked about without the hand must become surer than others to be asked no more;
- a digit with few examples says little, one with none says nothing;
- how alike two different digits of this very hand look is the measure of what "alike" means, so a hand that
  writes everything alike has little to say, and a new network brings no new constants.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forms.layout import Cell
from scan.reading import Lesson
from scan.vision.arrays import Bools, FloatImage, Floats
from scan.vision.digits import ANSWERS, VIEW_PX, normalise, scores_and_layer
from scan.vision.slips import FlagRule

#: Below this a box is asked about.
_ASKED = FlagRule().p_digit

#: Most that a hand may add to or take from the odds of an answer against the network's best: less than the
#: odds of `_ASKED`, or a hand could settle a box for an answer that the network does not hold best.
MOST = 40.0

#: A box that would be asked about is settled by its hand only with a fifth of the usual doubt; what stays
#: asked keeps twice the usual doubt, so that the rest of the card does not carry it over the line. Chosen
#: when 0.99 was asked of every box, on 343 cards of 34 tuning hands: 0.99 here, too, spared 490 of 1,170
#: questions about numbers after three cards, and three of them ended in a silent error; 0.998 spared 340,
#: none of them wrong; 0.999 spared 247.
SETTLED = 1 - 0.2 * (1 - _ASKED)
HELD = 1 - 2.0 * (1 - _ASKED)

#: Odds are multiplied by e to this power times the difference in likeness, which is 0 at `_STRANGE` and 1 for
#: the same picture twice. On those hands 12 spares a tenth more, with a new silent error.
_STEEPNESS = 8.0
#: A likeness is the mean over so many nearest examples of a digit: one alone could be a slip of the person
#: who answered.
_NEAREST = 2
#: So many examples of a digit halve what it says.
_HALF_SAID = 2.0
#: Likeness that this share of pairs of different digits of a hand stays below; what is less alike than this
#: is merely strange.
_STRANGE = 0.95
#: Fewer pairs of different digits do not tell what strange is.
_FEWEST_PAIRS = 20

#: Ink of 1, the black of the print, in a view kept as bytes; the strongest pens come to 1.2.
_BLACK = 200.0


@dataclass(frozen=True, slots=True)
class OwnHand:
    """A hand as far as it is known; one without examples changes nothing.

    Attributes
    ----------
    examples : (N, D) the network's last hidden layer for each example, of length 1
    digits : (N,) what each example is
    strange : likeness, as a cosine, of what merely looks different
    """

    examples: NDArray[np.float32]
    digits: NDArray[np.int64]
    strange: float

    def weighed(
        self, log_p: Mapping[str, NDArray[np.float32]], views: Mapping[str, bytes]
    ) -> dict[str, NDArray[np.float32]]:
        """Return the log probabilities (12,) of each box with this hand in mind.

        Parameters
        ----------
        log_p : by cell id, in the order of `scan.vision.digits.ANSWERS`
        views : of the boxes that have ink, by cell id, as `box_views` makes them
        """
        result = dict(log_p)
        cells = [cell for cell in views if cell in log_p]
        if not cells or self.strange >= 1.0 or not len(self.examples):
            return result
        _, layer = scores_and_layer(_pictures([views[cell] for cell in cells]))
        before = np.stack([log_p[cell] for cell in cells])
        after = before + self.correction(before, _unit(layer)).astype(np.float32)
        result.update(zip(cells, after, strict=True))
        return result

    def correction(self, log_p: NDArray[np.floating], boxes: NDArray[np.float32]) -> Floats:
        """What this hand adds to log probabilities (M, 12) of boxes (M, D), given as `examples` are."""
        likeness, count = self._likeness(boxes)
        at, best = np.arange(len(boxes)), log_p[:, :10].argmax(axis=1)
        say = count / (count + _HALF_SAID)
        most = math.log(MOST)
        less_like_best = likeness - likeness[at, best, None]
        speaker = np.where(less_like_best < 0, say[best, None], say[None, :])
        result = np.zeros((len(boxes), len(ANSWERS)))
        result[:, :10] = np.clip(_STEEPNESS * less_like_best, -most, most) * speaker
        # A box that looks like a digit of this hand is no blank and no scribble; the reverse doesn't hold.
        other = np.minimum(_STEEPNESS * likeness[at, best], most) * say[best]
        result[:, 10:] = -other[:, None]
        return _held(np.asarray(log_p, float), best, result)

    def _likeness(self, boxes: NDArray[np.float32]) -> tuple[Floats, Floats]:
        """(M, 10) how much each box looks like each digit, 0 to 1, and (10,) the count of examples."""
        count = np.bincount(self.digits, minlength=10).astype(float)
        cosines = boxes @ self.examples.T
        nearest = np.full((len(boxes), 10), self.strange)
        for digit in np.flatnonzero(count):
            of_digit = np.sort(cosines[:, self.digits == digit], axis=1)[:, -_NEAREST:]
            nearest[:, digit] = of_digit.mean(axis=1)
        return np.clip((nearest - self.strange) / (1.0 - self.strange), 0.0, 1.0), count


def _held(log_p: Floats, best: NDArray[np.integer[Any]], change: Floats) -> Floats:
    """Return the changes (M, 12), smaller where a box would be asked no more without being `SETTLED`."""
    before, after = _chance(log_p, best), _chance(log_p + change, best)
    rows = np.flatnonzero((before < _ASKED) & (after >= HELD) & (after < SETTLED) & (after > before))
    if not len(rows):
        return change
    least, most = np.zeros(len(rows)), np.ones(len(rows))
    for _ in range(16):  # the chance of the best grows with the share of the change
        share = (least + most) / 2
        too_much = _chance(log_p[rows] + share[:, None] * change[rows], best[rows]) >= HELD
        least, most = np.where(too_much, least, share), np.where(too_much, share, most)
    result = change.copy()
    result[rows] *= least[:, None]
    return result


def _chance(log_p: Floats, answer: NDArray[np.integer[Any]]) -> Floats:
    """(M,) probability of one answer of each row."""
    p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    chance: Floats = p[np.arange(len(p)), answer] / p.sum(axis=1)
    return chance


#: A player of whom nothing is known yet.
UNKNOWN_HAND = OwnHand(np.zeros((0, 1), np.float32), np.zeros(0, np.int64), 1.0)


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


def hand_of(examples: NDArray[np.float32], digits: NDArray[np.int64]) -> OwnHand:
    """Return the hand of examples (N, D) of length 1 and their digits (N,); too few give `UNKNOWN_HAND`."""
    pairs = (examples @ examples.T)[digits[:, None] < digits[None, :]]
    if len(pairs) < _FEWEST_PAIRS:
        return UNKNOWN_HAND
    return OwnHand(examples, digits, min(float(np.quantile(pairs, _STRANGE)), 1.0))


def box_views(patches: FloatImage, boxes: Sequence[Cell], written: Bools) -> dict[str, bytes]:
    """Return the picture of each box with ink as the network sees it, by cell id, a byte a pixel.

    Parameters
    ----------
    patches : (N, 48, 48) of the boxes, as for `scan.vision.digits.digit_log_p`
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
