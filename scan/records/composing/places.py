"""Places in a record to fields of the card that the round came from."""

from __future__ import annotations

import re

from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.validate import column_of, field_of

_OF_HEAD = {"played_on": "date.day", "hand": "hand", "wind": "wind", "worst": "worst", "total": "total"}
_OF_ROW = {"directions_from": "way", "forehand_from": "forehand", "cause": "why", "words_from": "words"}


def field_of_place(round_: Round, place: str) -> str:
    """Return the id of the field that a value of a record came from.

    Parameters
    ----------
    place : as in ``holes/7/throws/2/execution``; see `tidy.doubtful_values`
    """
    steps = place.split("/")
    if steps[0] in _OF_HEAD:
        return _OF_HEAD[steps[0]]
    if steps[0] == "tallies":
        return f"tally.{steps[1]}"
    row = f"h{int(steps[1]):02d}"
    if len(steps) == 3:
        return f"{row}.{steps[2]}"
    kind, which, name = steps[2:]
    if name in _OF_ROW:
        return f"{row}.{_OF_ROW[name]}"
    if kind == "throws":
        hole = next(hole for hole in round_.holes if hole.number == int(steps[1]))
        field = field_of(round_, hole, hole.throws[int(which) - 1])
    else:
        phase = next(phase for phase in round_.phase_ids if re.fullmatch(rf"{phase}\d", which))
        field = f"{row}.{column_of(round_.phases, phase, int(which.removeprefix(phase)) - 1)}"
    return field if name == "execution" else f"{field}.{name}"
