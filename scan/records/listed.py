"""What `rounds` lists: rounds and other sheets in a line each, the quick way where that serves."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.records.storing import listing

if TYPE_CHECKING:
    from shortpencil.scan.records.composing.other_sheets import OtherSheet
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.summary import Summary, Undated


@dataclass(frozen=True, slots=True)
class Listed:
    """All that a store holds, or all of one player, in a line each.

    Attributes
    ----------
    rounds : oldest first, those without a day last
    sheets : what is no round, by serial
    undated : round without a known day -> what is said of its day
    """

    rounds: tuple[Summary, ...] = ()
    sheets: tuple[OtherSheet, ...] = ()
    undated: Mapping[str, Undated] = field(default_factory=dict)

    @property
    def waits(self) -> tuple[int, ...]:
        """How many fields wait for a person, of each round and sheet where any does."""
        counts = (*(line.waits for line in self.rounds), *(len(other.waiting) for other in self.sheets))
        return tuple(count for count in counts if count)


def listed(place: str | Path, player: str | None = None) -> Listed:
    """Return what a store holds in a line each; nothing where there is no store yet.

    Parameters
    ----------
    place : a file, or the URL of a database
    player : only what is this player's

    Raises
    ------
    RecordError
        when the file is no store, is damaged, locked or of a newer version
    """
    if isinstance(place, Path) and not place.exists():
        return Listed()
    with ExitStack() as stack:

        @cache
        def store() -> Store:
            from shortpencil.scan.records.store import open_store

            return stack.enter_context(open_store(place))

        file = place if isinstance(place, Path) else None
        every = listing.quick_summaries(file) if file else None
        lines = store().summaries() if every is None else every
        lines = tuple(line for line in lines if player in (None, line.player))
        undated: Mapping[str, Undated] | None = {}
        if not all(line.played_on for line in lines):
            undated = listing.quick_undated(file) if file else None
        others = () if file and listing.has_other_sheets(file) is False else store().other_sheets(player)
        return Listed(lines, tuple(others), store().undated() if undated is None else undated)
