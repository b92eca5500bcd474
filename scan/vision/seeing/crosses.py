"""An X over a bubble that nothing fills: on the card of a player who marks so, a mark and no striking out.

The card asks to strike a wrong bubble out with a big X; what is struck out has been filled first. Some
players mark with an X instead of filling, and where it reaches beyond the bubble the network takes it for a
striking out. Beneath such an X the bubble is white between the arms. One of them, with nothing else filled in
its field, may be either; who draws several marks so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from shortpencil.scan.vision.seeing.bubbles import BubbleInk

#: Ink that a hand has added in the paler quarter of a bubble's inside, and in the paler half, in units of the
#: card's pen: less lies under an X over nothing. On tuning cards with X's of 0.8 to 1.9 radii four in five of
#: those that the network took for striking out show less; of 26 filled bubbles struck out two, both ticks.
_OPEN_QUARTER, _OPEN_HALF = 0.2, 0.5
_QUARTER, _HALF = 1, 2  # columns of `Views.measures`
#: So many on a card, each alone in its field, and X is how this player marks: withdrawing an answer and
#: leaving the field without one is rare, of a bubble that was not filled rarer still.
_A_HABIT = 2
#: By how much striking out is less likely there than a mark, as a log.
_LESS_LIKELY = float(np.log(200.0))

Logs = Mapping[str, tuple[float, float, float]]


def marks_by_cross(logs: Logs, measured: BubbleInk) -> Logs:
    """Return the log likelihoods of blank, filled, struck out with X's over nothing as marks where they are.

    Parameters
    ----------
    logs : cell id -> natural log likelihoods of the ink given blank, filled, struck out
    measured : the bubbles' ink, in the same order
    """
    if measured.views is None or not logs:
        return logs
    measures = measured.views.measures
    open_ = (measures[:, _QUARTER] < _OPEN_QUARTER) & (measures[:, _HALF] < _OPEN_HALF)
    marked: dict[str, int] = defaultdict(int)
    crosses = []
    for cell, is_open in zip(measured.ids, open_.tolist(), strict=True):
        blank, filled, struck = logs[cell]
        marked[_field_of(cell)] += max(filled, struck) > blank
        if is_open and struck > max(filled, blank):
            crosses.append(cell)
    if sum(marked[_field_of(cell)] == 1 for cell in crosses) < _A_HABIT:
        return logs
    as_marks = {cell: (logs[cell][0], logs[cell][2], logs[cell][2] - _LESS_LIKELY) for cell in crosses}
    return {**logs, **as_marks}


def _field_of(cell: str) -> str:
    return cell.rsplit(".", 1)[0]
