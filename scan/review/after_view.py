"""What is told right after a photo, and what an answer is worth: made elsewhere, shown by the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PhaseLine:
    """Misses of one phase in a round: known ones, and marks that are doubtful."""

    phase: str
    misses: int
    doubtful: int


@dataclass(frozen=True, slots=True)
class AfterPhoto:
    """Misses of the round, the one thing written down (text, or the field of its picture), whose focus."""

    phases: tuple[PhaseLine, ...]
    thing: str | None
    thing_picture: str | None
    player: str | None
    focus: str
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Value:
    """What an answer about a field is worth: a number to order by, and why in words."""

    total: float
    says: str


#: Serial -> what to tell after its photo; None for a card that is no round.
AfterOf = Callable[[str], AfterPhoto | None]
#: Serial -> field -> what an answer is worth; what is not named comes first, since it must be looked at.
WorthOf = Callable[[str], Mapping[str, Value]]


def nothing_after(_: str) -> AfterPhoto | None:
    """Stand in where nothing is worked out."""
    return None


def no_worth(_: str) -> Mapping[str, Value]:
    """Stand in where nothing is worked out."""
    return {}
