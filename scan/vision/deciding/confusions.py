"""What the sums tell of a writer's hand: which digits it makes look like others.

Errors of a digit reader are not spread evenly: a few hands make most of them, and make the same one again and
again. Where the sums overrule the ink twice alike on one card (this hand's 4 looks like a 9), the digits that
no sum checks are of the same hand. They are weighed anew with that in mind, which asks about a few more of
them and keeps a bad hand from being wrong in silence.
"""

from __future__ import annotations

import numpy as np

from shortpencil.scan.vision.evidence import BLANK_BOX
from shortpencil.scan.vision.weighing.form_index import FormIndex
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.slips import Slips

#: The ink speaks for another digit by at least this factor, or it was undecided and says nothing of the hand.
_LOOKS_LIKE = 3.0


def reweighed(index: FormIndex, posterior: Posterior, digits: Floats, slips: Slips) -> Floats | None:
    """Likelihoods (N, 12) of all boxes with this hand in mind; None where it is as any other."""
    truth = _checked_digits(index, posterior, slips.hand_overruled)
    if truth is None:
        return None
    boxes = checked_places(index)
    confusion = _confusion(digits[boxes, :BLANK_BOX], truth, slips.hand_overruled)
    if confusion is None:
        return None
    free = np.ones(len(digits), dtype=bool)
    free[boxes] = False
    result = digits.copy()
    # A 4 of this hand comes as a 4 or, so often, as a 9.
    as_meant = (1 - confusion.sum(axis=1)) * digits[free, :BLANK_BOX]
    result[free, :BLANK_BOX] = as_meant + digits[free, :BLANK_BOX] @ confusion.T
    return result


def _checked_digits(index: FormIndex, posterior: Posterior, fewest: float) -> Floats | None:
    """(B, 10) posterior of the digit in each of `checked_places`; None where few numbers were overruled."""
    found = [(rows, posterior.number[key]) for key, rows in index.checked.items()]
    overruled = sum(
        int((number.values[rows].argmax(axis=1) != number.ink[rows].argmax(axis=1)).sum())
        for rows, number in found
    )
    if not found or overruled < fewest:
        return None
    boxes = [
        number.likelihood.take(rows).boxes(number.values[rows, :-1], number.values[rows, -1])
        for rows, number in found
    ]
    return np.concatenate([of[..., :BLANK_BOX].reshape(-1, BLANK_BOX) for of in boxes])


def checked_places(index: FormIndex) -> Ints:
    """Places (B,) of the boxes that a sum checks."""
    places = [index.groups[key].cells[rows].ravel() for key, rows in index.checked.items()]
    return np.concatenate(places) if places else np.zeros(0, np.int64)


def _confusion(ink: Floats, truth: Floats, fewest: float) -> Floats | None:
    """(10, 10) how often a digit (row) of this hand looks like another (column); None for a plain hand."""
    best = ink.argmax(axis=1)
    overruled = ink[np.arange(len(ink)), best, None] >= _LOOKS_LIKE * ink
    counts = (truth * overruled).T @ np.eye(BLANK_BOX)[best]
    np.fill_diagonal(counts, 0.0)
    counts[counts < fewest] = 0.0
    if not counts.any():
        return None
    # One more digit, written well, keeps a habit from becoming a certainty.
    confusion: Floats = counts / (truth.sum(axis=0)[:, None] + 1)
    return confusion
