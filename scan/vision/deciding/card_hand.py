"""The hand that wrote this very card: boxes that its sums vouch for teach the boxes that nothing checks.

One person wrote the whole card. Scores that penalties, marked throws and the total bear out are labelled
samples of that hand, with today's pen in today's light; distances, causes, pars and the date, which no sum
checks, are laid beside them as `own_hand` lays a card beside the cards before it, within the same bounds.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from shortpencil.scan.vision.arrays import FloatImage
from shortpencil.scan.vision.deciding.confusions import checked_boxes
from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.seeing.likeness import OwnHand, hand_of
from shortpencil.scan.vision.weighing.form_index import FormIndex
from shortpencil.scan.vision.weighing.likelihoods import Floats
from shortpencil.scan.vision.weighing.posterior import Posterior

#: A box teaches when the whole card holds its digit this sure.
_TAUGHT = 0.9995
#: Fewer boxes do not show a hand.
_FEWEST = 6

_LOG_SHARES = np.log(ANSWER_SHARES)


def taught_by_card(
    index: FormIndex, posterior: Posterior, digits: Floats, looks: Mapping[str, FloatImage]
) -> Floats | None:
    """Likelihoods (N, 12) of all boxes with this card's own hand in mind; None where it teaches nothing.

    Parameters
    ----------
    posterior : of all fields, as the ink and the sums have it
    digits : (N, 12) likelihoods of the boxes, in the index's order
    looks : cell id -> (D,) how the network sees a box that has ink, of length 1
    """
    found = checked_boxes(index, posterior)
    if found is None or not looks:
        return None
    boxes, truth = found
    seen = np.array([index.digits[box] in looks for box in boxes])
    sure = seen & (truth.max(axis=1) >= _TAUGHT)
    if sure.sum() < _FEWEST:
        return None
    examples = np.stack([looks[index.digits[box]] for box in boxes[sure]])
    hand = hand_of(examples, truth[sure].argmax(axis=1))
    checked = set(boxes.tolist())
    free = np.array(
        [i for i, cell in enumerate(index.digits) if cell in looks and i not in checked], dtype=np.int64
    )
    return None if hand.strange >= 1.0 or not len(free) else _weighed(digits, hand, looks, index, free)


def _weighed(
    digits: Floats, hand: OwnHand, looks: Mapping[str, FloatImage], index: FormIndex, free: np.ndarray
) -> Floats:
    log_p = np.log(np.maximum(digits[free], 1e-300)) + _LOG_SHARES
    log_p -= np.logaddexp.reduce(log_p, axis=1, keepdims=True)
    change = hand.correction(log_p, np.stack([looks[index.digits[i]] for i in free]))
    result = digits.copy()
    result[free] = digits[free] * np.exp(change)
    return result
