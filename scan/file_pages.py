"""One file, page by page, to readings: what a child process does with a photo, and a test without one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.forms.shown import path_text
from shortpencil.scan.reading import CardReading

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.vision.pipeline import Trace
    from shortpencil.scan.vision.seeing.known_hands import Hands
    from shortpencil.scan.vision.seeing.likeness import OwnHand


@dataclass(frozen=True, slots=True)
class Given:
    """A photo that lies in memory, and the path or URL it came from."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Page:
    """What became of one page of a file, or of a file that is one picture (`number` is then None).

    `failed` says why nothing is known of it; `shows_card` whether corner marks of a card were found.
    """

    number: int | None
    readings: tuple[CardReading, ...] = ()
    evidence: tuple[bytes | None, ...] = ()
    shows_card: bool = False
    failed: str | None = None


def broken_page(number: int, why: str) -> Page:
    """Return a page that ended its reader."""
    return Page(number, failed=why)


def name_of(file: Path | Given) -> str:
    """Return what to call a file in readings and messages."""
    return path_text(file.name if isinstance(file, Given) else file)


def read_pages(
    file: Path | Given,
    catalog: Catalog,
    *,
    hands: Hands | None = None,
    traces: list[Trace] | None = None,
    start: int = 1,
    typed: tuple[str, str] | None = None,
) -> Iterator[Page]:
    """Yield what each page of a file says, from page `start` on.

    Parameters
    ----------
    typed : serial and fingerprint of its one card, typed by a person in case its code cannot be read

    Raises
    ------
    InputError
        when the file, or what is behind the pages yielded, cannot be opened
    """
    from shortpencil.scan.vision.finding.codes import CardCode
    from shortpencil.scan.vision.opening.photo import load_photos, photos_from_bytes
    from shortpencil.scan.vision.pipeline import read_photo

    def hand_of(serial: str) -> OwnHand | None:
        player = catalog.player_of(serial)  # asked in any case: a broken note of it must cost this card alone
        return None if hands is None else hands.of(player)

    name = name_of(file)
    code = None if typed is None else CardCode(*typed, how="typed")
    photos = (
        photos_from_bytes(file.data, name, start) if isinstance(file, Given) else load_photos(file, start)
    )
    for photo in photos:
        kept: list[Trace] = []
        found = read_photo(photo, catalog.find, kept, hand_of, code)
        source = f"{name}, page {photo.page}" if photo.page is not None else name
        found = tuple(replace(reading, source=source) for reading in found)
        if traces is not None:
            traces += kept
        evidence = tuple(_for_others(trace) for trace in kept)
        shows_card = any(trace.corners is not None for trace in kept)
        yield Page(photo.page, found, evidence, shows_card)


def _for_others(trace: Trace) -> bytes | None:
    """What another photo of the same card could use of this one: nothing of a card that is blank."""
    from shortpencil.scan.vision.joining.evidence_kept import evidence_bytes

    return None if trace.blank or trace.evidence is None else evidence_bytes(trace.evidence)
