"""The hand that wrote this very card: its boxes tell of each other which digits they hold.

One person wrote the whole card, with one pen in one light. Scores that penalties, marked throws and the total
bear out are labelled samples of that hand, and so, by as much as the card is sure of them, are the other
boxes; distances, causes, pars and the date, which no sum checks, are laid beside all of them. What that says
was learnt from whole cards (`seeing.hand_net`). Boxes that a sum checks are left as they are: where ink and
sums differ a person is asked, and what the sums taught must not hide it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shortpencil.scan.vision.arrays import Bools, FloatImage
from shortpencil.scan.vision.deciding.confusions import checked_places
from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.hand_net import changes, hand_net
from shortpencil.scan.vision.weighing.form_index import FormIndex
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.slips import Slips

#: Fewer boxes with ink do not show a hand.
_FEWEST = 6
#: No answer is less likely than this where boxes are laid beside each other.
_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class SideBySide:
    """The boxes of one card that have ink, as `hand_net.changes` is given them.

    Attributes
    ----------
    rows : (M,) places of the boxes in the index's order
    looks : (M, D); said, ink : (M, 12) logs; checked : (M,)
    """

    rows: Ints
    looks: Floats
    said: Floats
    ink: Floats
    checked: Bools


def side_by_side(
    index: FormIndex,
    posterior: Posterior,
    ink: Floats,
    looks: Mapping[str, FloatImage],
    slips: Slips,
) -> SideBySide | None:
    """Return the boxes of a card that have ink; None where they are too few to show a hand.

    Parameters
    ----------
    posterior : of all fields, as the ink and the sums have it
    ink : (N, 12) likelihoods of the boxes by their ink, in the index's order
    looks : cell id -> (D,) how the network sees a box that has ink, of length 1
    """
    told = _told(index, posterior)
    rows = np.array(
        [i for i, cell in enumerate(index.digits) if cell in looks and told[i].any()], dtype=np.int64
    )
    if len(rows) < _FEWEST:
        return None
    log_ink = np.log(ink[rows])
    return SideBySide(
        rows,
        np.stack([looks[index.digits[i]] for i in rows]).astype(float),
        _with_scrap(told[rows], ink[rows], slips),
        log_ink - np.logaddexp.reduce(log_ink, axis=1, keepdims=True),
        np.isin(rows, checked_places(index)),
    )


def taught_by_card(
    index: FormIndex,
    posterior: Posterior,
    ink: Floats,
    looks: Mapping[str, FloatImage],
    slips: Slips,
) -> Floats | None:
    """Factors (N, 12) on the likelihoods of all boxes by this card's own hand; None where it teaches nothing.

    Parameters are those of `side_by_side`.
    """
    boxes = side_by_side(index, posterior, ink, looks, slips)
    if boxes is None or boxes.checked.all():
        return None
    weights, share = hand_net()
    gained = changes(weights, boxes.looks, boxes.said, boxes.ink, boxes.checked)
    result = np.ones_like(ink)
    result[boxes.rows[~boxes.checked]] = np.exp(share * gained[~boxes.checked])
    return result


def _told(index: FormIndex, posterior: Posterior) -> Floats:
    """(N, 11) what the card says of each box's digit or blank; zeros for those of long numbers."""
    result = np.zeros((len(index.digits), BLANK_BOX + 1))
    for key, number in posterior.number.items():
        told = number.likelihood.boxes(number.values[:, :-1], number.values[:, -1])
        result[index.groups[key].cells.ravel()] = told.reshape(-1, BLANK_BOX + 1)
    return result


def _with_scrap(told: Floats, ink: Floats, slips: Slips) -> Floats:
    """(N, 12) log probabilities with scrap beside the digits and blanks of `told` (N, 11)."""
    scrap = slips.scrap * ink[:, SCRAP_BOX, None]
    before = np.maximum(told, 1e-12) / ((1 - slips.scrap) * ink[:, :SCRAP_BOX] + scrap)
    before /= before.sum(axis=1, keepdims=True)
    legible = (1 - slips.scrap) * (before * ink[:, :SCRAP_BOX]).sum(axis=1, keepdims=True)
    is_scrap = scrap / (scrap + legible)
    both = np.concatenate([told / told.sum(axis=1, keepdims=True) * (1 - is_scrap), is_scrap], axis=1)
    logs: Floats = np.log(np.maximum(both, _LEAST))
    return logs
