"""What became of a card that was read, or of a round from a file, once it was put into a store."""

from __future__ import annotations

from dataclasses import dataclass

from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.concluding.sameness import Comparison

#: What became of a reading or a round that was added.
NEW = "new"
SAME_PHOTO = "same photo"  # nothing changed
SET_ASIDE = "set aside before"  # nothing changed: the round that it shows is set aside
TOGETHER = "same round, read together"  # with the photos of it that were stored before
MORE = "same round, more marks"  # the round now follows this photo; entered answers stay
BETTER = "same round, better photo"  # the round now follows this photo; entered answers stay
KEPT = "same round, kept as it was"  # the earlier photo shows more or asks less, or a file brought the round
ANOTHER = "another round on the same sheet"  # kept as a round of its own beside those stored of the sheet
REJECTED = "rejected"  # only that the photo shows no readable card
NOT_STORED = "not stored"  # nobody knows its form
UNCHANGED = "unchanged"  # the same round was there
REPLACED = "replaced"


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one card's reading.

    Attributes
    ----------
    outcome : one of the words above
    reading : what speaks for the round now; the reading itself where nothing was stored
    round : as it stands now
    serial : under which the round is kept; None for a photo that was rejected
    comparison : how it differs from the stored round it was held against; None for the first of a sheet
    beside : serials of the other rounds on the same sheet
    """

    outcome: str
    reading: CardReading
    round: Round | None = None
    serial: str | None = None
    comparison: Comparison | None = None
    beside: tuple[str, ...] = ()
