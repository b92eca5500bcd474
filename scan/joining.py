"""Stores what photos say, one by one as they are read, each joined to what is stored of its round.

A file's pages that show one round become one reading first. A photo that cannot be read alone waits, among a
few others, for another photo of its card: what the one cuts off the other may show.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

from shortpencil.forms.errors import RecordError
from shortpencil.scan.intake import FileResult, keep, round_of
from shortpencil.scan.reading import CardReading

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.layout import Layout
    from shortpencil.scan.records.concluding.outcomes import Kept
    from shortpencil.scan.records.concluding.versions import Join, Shown
    from shortpencil.scan.records.store import Store

#: Photos that could not be read alone and may complete another; one is about 0.2 MB.
MOST_WAITING = 24


@dataclass(frozen=True, slots=True)
class NotKept:
    """A reading that the store refused, and why; what was stored before stays."""

    reading: CardReading
    says: str


class Keeper:
    """Puts what files say into a store, card by card.

    Parameters
    ----------
    catalog : where layouts of printed editions are found, and whose each sheet is
    store : where to
    with_pictures : cut pictures of doubtful fields anew where photos are read together; without, no picture
        is decoded in this process
    card_pictures : keep the picture of each whole flat card, nearly half of what a card takes in the store;
        without, those of doubtful fields and of words are kept
    """

    def __init__(
        self, catalog: Catalog, store: Store, *, with_pictures: bool = True, card_pictures: bool = True
    ) -> None:
        self._catalog, self._store, self._with_pictures = catalog, store, with_pictures
        self._card_pictures = card_pictures
        self._waiting: deque[Shown] = deque(maxlen=MOST_WAITING)
        self._lock = threading.Lock()

    def keep(self, result: FileResult, now: datetime) -> Iterator[Kept | NotKept]:
        """Store each card of a file and yield what became of it, in the order of the file.

        Raises
        ------
        RecordError
            when the database itself refuses: then the next card would be refused too
        """
        last = len(result.readings) - 1
        failed = result.error is not None  # some of its pages were not read
        for at, reading in enumerate(result.readings):
            copies = sum(one.serial == reading.serial for one in result.readings)
            evidence = result.evidence[at] if at < len(result.evidence) else None
            try:
                yield self._keep(reading, evidence, now, copies, more=failed or at < last)
            except RecordError as error:
                if error.__cause__ is not None:
                    raise
                failed = True
                yield NotKept(reading, str(error))

    def _keep(
        self, reading: CardReading, evidence: bytes | None, now: datetime, copies: int, *, more: bool
    ) -> Kept:
        from shortpencil.scan.records.concluding.outcomes import NOT_STORED, Kept
        from shortpencil.scan.records.concluding.versions import Shown

        layout = self._catalog.find(reading.form) if reading.form else None
        if layout is None:
            return Kept(NOT_STORED, reading)
        join = partial(join_photos, layout=layout, with_pictures=self._with_pictures)
        if reading.status != "read":
            as_read = _as_read(reading, evidence, layout)
            return (
                self._add(reading, None, now, join, copies, more=more)
                if as_read is None
                else self._complete(reading, Shown(as_read, evidence), now, join, layout, more=more)
            )
        kept = self._add(reading, evidence, now, join, copies, more=more)
        for mate in self._mates(reading, layout):
            helped = self._add(mate.reading, mate.evidence, now, join, 1, more=False, only_known=True)
            if helped.serial is not None:
                kept = helped
                self._forget(mate)
        return kept

    def _add(
        self,
        reading: CardReading,
        evidence: bytes | None,
        now: datetime,
        join: Join,
        copies: int,
        *,
        more: bool,
        only_known: bool = False,
    ) -> Kept:
        round_ = round_of(reading, self._catalog, now)
        return keep(
            reading,
            round_,
            self._catalog,
            self._store,
            evidence=evidence,
            join=join,
            copies=copies,
            more=more,
            only_known=only_known,
            read_at=now,
            card_picture=self._card_pictures,
        )

    def _complete(
        self, rejected: CardReading, shown: Shown, now: datetime, join: Join, layout: Layout, *, more: bool
    ) -> Kept:
        """Add a photo that cannot be read alone to its round, or to another such photo; else let it wait."""
        kept = self._add(shown.reading, shown.evidence, now, join, 1, more=more, only_known=True)
        if kept.serial is not None:
            return kept
        for mate in self._mates(shown.reading, layout, surely=True):
            joined = join([mate, shown])
            if joined is not None and joined.status == "read":
                self._forget(mate)
                return self._add(joined, _together([mate, shown]), now, join, 1, more=more)
        with self._lock:
            self._waiting.append(shown)
        return self._add(rejected, None, now, join, 1, more=more)

    def _mates(self, reading: CardReading, layout: Layout, surely: bool = False) -> list[Shown]:
        """Return the waiting photos of the same sheet, of those that `surely` show the same round."""
        from shortpencil.scan.records.concluding.sameness import compare

        with self._lock:
            waiting = list(self._waiting)
        return [
            one
            for one in waiting
            if (one.reading.serial, one.reading.form) == (reading.serial, reading.form)
            and one.reading.photo_sha256 != reading.photo_sha256
            and (not surely or compare(layout.form, one.reading.fields, reading.fields).surely_same_round)
        ]

    def _forget(self, mate: Shown) -> None:
        with self._lock:
            self._waiting = deque((one for one in self._waiting if one is not mate), self._waiting.maxlen)


def one_a_round(result: FileResult, catalog: Catalog) -> FileResult:
    """Return a file's result with one reading a round: pages that show the same round are read together.

    The other pages' readings go, and the notes say so.
    """
    groups: list[list[int]] = []
    pages = [_shown(result, at, catalog) for at in range(len(result.readings))]
    for at, page in enumerate(pages):
        group = next(
            (g for g in groups if page is not None and _belongs(result, pages, g[0], at, catalog)), None
        )
        if group is None:
            groups.append([at])
        else:
            group.append(at)
    readings: list[CardReading] = []
    evidence: list[bytes | None] = []
    notes: list[str] = []
    for group in groups:
        first = result.readings[group[0]]
        one = _of_pages(result, pages, group, catalog) if len(group) > 1 else None
        if one is None:
            readings += [result.readings[at] for at in group]
            evidence += [result.evidence[at] if at < len(result.evidence) else None for at in group]
            continue
        readings.append(replace(one.reading, source=first.source))
        evidence.append(one.evidence)
        notes += [
            f"{_page(result.readings[at])} shows card {first.serial} too, read together with {_page(first)}"
            for at in group[1:]
        ]
    return replace(result, readings=tuple(readings), evidence=tuple(evidence), notes=(*notes, *result.notes))


def _shown(result: FileResult, at: int, catalog: Catalog) -> Shown | None:
    """Return what a reading of a file could give to another, None where that is nothing."""
    from shortpencil.scan.records.concluding.versions import Shown

    reading, evidence = result.readings[at], result.evidence[at] if at < len(result.evidence) else None
    layout = catalog.find(reading.form) if reading.form else None
    if layout is None or reading.serial is None or evidence is None:
        return None
    as_read = reading if reading.status == "read" else _as_read(reading, evidence, layout)
    return None if as_read is None else Shown(as_read, evidence)


def _belongs(
    result: FileResult, pages: Sequence[Shown | None], first: int, at: int, catalog: Catalog
) -> bool:
    """Say whether two readings of a file show one round."""
    from shortpencil.scan.records.concluding.sameness import compare

    a, b = pages[first], pages[at]
    if a is None or b is None or (a.reading.serial, a.reading.form) != (b.reading.serial, b.reading.form):
        return False
    layout = catalog.find(a.reading.form or "")
    assert layout is not None
    said = compare(layout.form, a.reading.fields, b.reading.fields)
    alone = {result.readings[first].status, result.readings[at].status} == {"read"}
    return said.same_round if alone else said.surely_same_round


def _of_pages(
    result: FileResult, pages: Sequence[Shown | None], group: Sequence[int], catalog: Catalog
) -> Shown | None:
    """Return the one reading of pages that show one round; None where they cannot be read even together."""
    from shortpencil.scan.records.concluding.sameness import compare
    from shortpencil.scan.records.concluding.versions import Shown, speaking

    shown = [page for at in group if (page := pages[at]) is not None]
    layout = catalog.find(shown[0].reading.form or "")
    assert layout is not None
    join = partial(join_photos, layout=layout)
    if any(result.readings[at].status == "read" for at in group):
        one: CardReading | None = speaking(layout.form, shown, join)
    else:
        one = join(shown)
    alone = [page.reading for at in group if (page := pages[at]) and result.readings[at].status != "read"]
    if one is None or one.status != "read" or any(one is reading for reading in alone):
        return None
    like = [s for s in shown if compare(layout.form, one.fields, s.reading.fields).same_marks]
    return Shown(one, _together(like or shown[:1]))


def join_photos(shown: Sequence[Shown], layout: Layout, with_pictures: bool = True) -> CardReading | None:
    """Return the one reading of several photos; None where what one of them rests on is not kept."""
    from shortpencil.scan.vision.joining.evidence_kept import evidence_from_bytes
    from shortpencil.scan.vision.joining.together import Part, read_together

    parts = []
    for one in shown:
        evidence = None if one.evidence is None else evidence_from_bytes(one.evidence)
        if evidence is None:
            return None
        parts.append(Part(one.reading if with_pictures else replace(one.reading, pictures={}), evidence))
    return read_together(parts, layout)


def _together(shown: Sequence[Shown]) -> bytes | None:
    """Return what several photos rest on, as one."""
    from shortpencil.scan.vision.joining.evidence_kept import evidence_bytes, evidence_from_bytes
    from shortpencil.scan.vision.joining.together import combined

    known = [e for one in shown if one.evidence is not None and (e := evidence_from_bytes(one.evidence))]
    return evidence_bytes(combined(known)) if known else None


def _as_read(rejected: CardReading, evidence: bytes | None, layout: Layout) -> CardReading | None:
    """Return a rejected photo as the reading it would give, to be held against others of its card."""
    from shortpencil.scan.vision.deciding.decode import decode
    from shortpencil.scan.vision.joining.evidence_kept import evidence_from_bytes

    known = None if evidence is None or rejected.serial is None else evidence_from_bytes(evidence)
    if known is None:
        return None
    decoded = decode(layout.form, known)
    return replace(
        rejected,
        status="read",
        reason=None,
        cells=decoded.cells,
        fields=decoded.fields,
        findings=decoded.findings,
    )


def _page(reading: CardReading) -> str:
    """Return "page 2" of a source that names one, else the source."""
    return reading.source.rsplit(", ", 1)[-1]
