"""What the ink of a card says, cell by cell: what seeing and doubting hand to deciding.

Here stand the meanings of the numbers that both sides share, so that whoever decides need not know how a
picture is seen, and whoever sees need not know what a card adds up to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

#: What a digit box may hold, in the order of its twelve numbers.
ANSWERS: tuple[str, ...] = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "blank", "scrap")
BLANK_BOX = 10
SCRAP_BOX = 11

#: Shares of the answers that the probabilities are calibrated for, in the order of ANSWERS. A caller that
#: knows better (most boxes of a card are blank) divides by these and multiplies by its own.
ANSWER_SHARES: tuple[float, ...] = (*(0.078,) * 10, 0.13, 0.09)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the ink of one card says, cell by cell.

    Attributes
    ----------
    bubbles : cell id -> natural-log likelihood, up to a constant, of the ink given blank, filled, cancelled
        (struck out, erased or an unclear residue)
    digits : cell id -> (12,) natural-log probabilities of 0 to 9, blank, scrap (scribbled out, overwritten,
        no digit), up to a constant, as of a reader calibrated for the shares `ANSWER_SHARES`. Decoding
        divides by these shares: how likely an answer is on a card is known here, and counted once.
    words : cell id of a strip -> share of it covered by ink, 0 to 1
    outside : cells outside the picture or covered, of which nothing is known; so are cells left out above
    looks : cell id of a box with ink -> (D,) how the network sees it, of length 1; what is left out teaches
        nothing
    """

    bubbles: Mapping[str, tuple[float, float, float]]
    digits: Mapping[str, NDArray[np.float32]]
    words: Mapping[str, float]
    outside: frozenset[str] = frozenset()
    looks: Mapping[str, NDArray[np.float32]] = field(default_factory=dict)
