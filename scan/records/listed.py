"""What `rounds` lists: rounds and other sheets in a line each, the quick way where that serves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.records import listing

if TYPE_CHECKING:
    from shortpencil.scan.records.other_sheets import OtherSheet
    from shortpencil.scan.records.summary import Summary, Undated


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
    lines = tuple(line for line in _rounds(place) if player in (None, line.player))
    undated = {} if all(line.played_on for line in lines) else _undated(place)
    return Listed(lines, tuple(_other_sheets(place, player)), undated)


def _rounds(place: str | Path) -> Sequence[Summary]:
    if isinstance(place, Path):
        if not place.exists():
            return ()
        lines = listing.quick_summaries(place)
        if lines is not None:
            return lines
    from shortpencil.scan.records.store import open_store

    with open_store(place) as store:
        return store.summaries()


def _undated(place: str | Path) -> Mapping[str, Undated]:
    if isinstance(place, Path):
        found = listing.quick_undated(place)
        if found is not None:
            return found
    from shortpencil.scan.records.store import open_store

    with open_store(place) as store:
        return store.undated()


def _other_sheets(place: str | Path, player: str | None) -> Sequence[OtherSheet]:
    """Return the sheets that are no rounds; the store is opened for them only where there are any."""
    if isinstance(place, Path) and (not place.exists() or listing.has_other_sheets(place) is False):
        return ()
    from shortpencil.scan.records.store import open_store

    with open_store(place) as store:
        return store.other_sheets(player)
