"""How alike the boxes of one hand look, and how far that may change what the network says of the next box.

A box that looks like this player's fours and unlike their nines is a four with more right than before; one
that looks like their nines is doubted. Whoever knows a hand knows examples of it, from earlier cards
(`own_hand`); what the other boxes of the very card say is the matter of `hand_net`.

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
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.asking import SURE
from shortpencil.scan.vision.arrays import Floats
from shortpencil.scan.vision.evidence import ANSWERS

#: Most that a hand may add to or take from the odds of an answer against the network's best: less than the
#: odds of `SURE`, or a hand could settle a box for an answer that the network does not hold best.
MOST = 40.0

#: A box that would be asked about is settled by its hand only with a fifth of the usual doubt; what stays
#: asked keeps twice the usual doubt, so that the rest of the card does not carry it over the line. Chosen
#: when 0.99 was asked of every box, on 343 cards of 34 tuning hands: 0.99 here, too, spared 490 of 1,170
#: questions about numbers after three cards, and three of them ended in a silent error; 0.998 spared 340,
#: none of them wrong; 0.999 spared 247.
SETTLED = 1 - 0.2 * (1 - SURE)
HELD = 1 - 2.0 * (1 - SURE)

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
    rows = np.flatnonzero((before < SURE) & (after >= HELD) & (after < SETTLED) & (after > before))
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


def hand_of(examples: NDArray[np.float32], digits: NDArray[np.int64]) -> OwnHand:
    """Return the hand of examples (N, D) of length 1 and their digits (N,); too few give `UNKNOWN_HAND`."""
    pairs = (examples @ examples.T)[digits[:, None] < digits[None, :]]
    if len(pairs) < _FEWEST_PAIRS:
        return UNKNOWN_HAND
    return OwnHand(examples, digits, min(float(np.quantile(pairs, _STRANGE)), 1.0))
