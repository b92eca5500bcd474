"""What the focus page shows, as words and drawings: made elsewhere, from what the command line computes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One part of the plan."""

    box: str
    minutes: int
    title: str
    amount: str
    how: str


@dataclass(frozen=True, slots=True)
class FocusView:
    """The focus of one player.

    `charts` are SVG elements made by this program, safe as they are; `in_short` are the cautions in a line;
    `rungs` are distances for a putting ladder, "" where there are too few putts to tell.
    """

    title: str
    whose: str
    cue: str
    why: tuple[str, ...]
    charts: tuple[str, ...]
    plan: str
    steps: tuple[Step, ...]
    aim: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    in_short: str
    foot: str
    rungs: str = ""


#: Player (None for the only one) and minutes -> the focus, or why there is none yet.
FocusOf = Callable[[str | None, int], FocusView | str]
