"""Struck out, or is that how this player marks? The card's own marks tell.

The card asks to strike a wrong bubble out with a big X; what is struck out has been filled first. Some
players mark with an X instead of filling, and where it reaches beyond the bubble the network takes it for a
striking out. Beneath such an X the bubble is white between the arms. Others fill so wildly that their marks
look struck out. One of them, with nothing else filled in its field, may be either; who has several marks so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from shortpencil.scan.vision.seeing.bubbles import PALER_HALF, PALER_QUARTER, BubbleInk

#: Ink that a hand has added in the paler quarter of a bubble's inside, and in the paler half, in units of the
#: card's pen: less lies under an X over nothing. On tuning cards with X's of 0.8 to 1.9 radii four in five of
#: those that the network took for striking out show less; of 26 filled bubbles struck out two, both ticks.
_OPEN_QUARTER, _OPEN_HALF = 0.2, 0.5
#: So many on a card, each alone in its field, and X is how this player marks: withdrawing an answer and
#: leaving the field without one is rare, of a bubble that was not filled rarer still.
_A_HABIT = 2
#: By how much striking out is less likely there than a mark, as a log.
_LESS_LIKELY = float(np.log(200.0))

#: So many that look struck out, each alone in its field, are this player's wild marks, of which but a few
#: were withdrawn; then so much more must speak for striking out. Of 82 bubbles of photos by strangers that
#: were filled and crossed out, with nothing else in their field, 79 look struck out by more.
_WILD, _WILD_DOUBT = 4, 3.0

Logs = Mapping[str, tuple[float, float, float]]


def as_this_player_marks(logs: Logs, measured: BubbleInk) -> Logs:
    """Return the log likelihoods of blank, filled, struck out with this card's own marks in mind.

    Parameters
    ----------
    logs : cell id -> natural log likelihoods of the ink given blank, filled, struck out
    measured : the bubbles' ink, in the same order
    """
    if measured.views is None or not logs:
        return logs
    measures = measured.views.measures
    open_ = (measures[:, PALER_QUARTER] < _OPEN_QUARTER) & (measures[:, PALER_HALF] < _OPEN_HALF)
    crosses = [
        cell
        for cell, is_open in zip(measured.ids, open_.tolist(), strict=True)
        if is_open and _struck(logs[cell])
    ]
    if len(_alone(logs, crosses)) >= _A_HABIT:
        as_marks = {cell: (logs[cell][0], logs[cell][2], logs[cell][2] - _LESS_LIKELY) for cell in crosses}
        logs = {**logs, **as_marks}
    wild = _alone(logs, [cell for cell in measured.ids if _struck(logs[cell])])
    if len(wild) >= _WILD:
        doubt = float(np.log(_WILD_DOUBT * len(wild)))
        logs = {**logs, **{cell: (*logs[cell][:2], logs[cell][2] - doubt) for cell in wild}}
    return logs


def _struck(logs: tuple[float, float, float]) -> bool:
    blank, filled, struck = logs
    return struck > max(blank, filled)


def _alone(logs: Logs, cells: Sequence[str]) -> list[str]:
    """Those of some cells beside which nothing is marked in their field."""
    marked = Counter(_field_of(cell) for cell, (blank, *marks) in logs.items() if max(marks) > blank)
    return [cell for cell in cells if marked[_field_of(cell)] == 1]


def _field_of(cell: str) -> str:
    return cell.rsplit(".", 1)[0]
