"""One photo that was sent: read in a process of its own, kept in the store, told to whoever sent it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from forms.catalog import Catalog
from forms.errors import RecordError
from forms.layout import Layout
from scan.intake import keep, round_of
from scan.leftovers import UPLOAD, folder_for
from scan.reading import CardReading
from scan.records.cards import Card
from scan.records.kept import hands_text
from scan.records.store import Store
from scan.review.pages import round_line
from scan.review.questions import Question, question_of
from scan.review.readers import Readers
from scan.review.views import Region, close_up


@dataclass(frozen=True, slots=True)
class Told:
    """What became of one card in a photo; `serial` is None when `says` tells how to take the photo again."""

    name: str
    says: str
    serial: str | None = None
    card: Card | None = None
    layout: Layout | None = None
    line: str = ""
    findings: tuple[str, ...] = ()
    q: Question | None = None
    close: Region | None = None


@dataclass(frozen=True, slots=True)
class Receiver:
    """Reads photos into a store; `layout_of` finds the layout of a card in it.

    With `plain_hands` every card is read as any hand's, and nothing of its player's hand is kept.
    """

    store: Store
    catalog: Catalog
    readers: Readers
    layout_of: Callable[[Card], Layout]
    plain_hands: bool = False

    def receive(self, photo: BinaryIO, called: str, now: datetime) -> list[Told]:
        """Read one photo, keep what it says, and return what to tell, card by card.

        Parameters
        ----------
        photo : the file as it came; its name and type are believed in nothing
        called : what to call it
        """
        with folder_for(UPLOAD) as folder:
            path = folder / "photo"  # never the name that came with it
            with path.open("xb") as stream:
                photo.seek(0)
                shutil.copyfileobj(photo, stream)
            hands = None
            if not self.plain_hands:
                hands = folder / "hands"
                hands.write_text(hands_text(self.store.hands()), "utf-8")
            result = self.readers.read(path, called, hands)
        told = []
        for reading in result.readings:
            try:
                told.append(self._keep(reading, called, now))
            except RecordError as error:  # one card that cannot be kept must not hide the others
                told.append(Told(called, str(error)))
        told += [Told(called, _sentence(note, called)) for note in result.notes]
        if result.error is not None:
            told.append(Told(called, _sentence(result.error, called)))
        return told

    def _keep(self, reading: CardReading, called: str, now: datetime) -> Told:
        if reading.status != "read":
            return Told(called, _sentence(reading.reason or "", called))
        outcome = keep(reading, round_of(reading, self.catalog, now), self.catalog, self.store)
        serial = reading.serial or f"photo-{(reading.photo_sha256 or '')[:16]}"
        card = self.store.card(serial)
        layout = self.layout_of(card)
        first = card.waiting[0] if card.waiting else None
        return Told(
            name=called,
            says=outcome,
            serial=serial,
            card=card,
            layout=layout,
            line=round_line(self.store.round(serial)),
            findings=tuple(finding.says for finding in reading.findings),
            q=question_of(card, first) if first else None,
            close=close_up(layout, card.form.field(first)) if first else None,
        )


def _sentence(text: str, called: str) -> str:
    """Return a message without the name in front, which the page shows as a heading, in sentence form."""
    text = text.removeprefix(f"{called}: ").strip()
    return f"{text[:1].upper()}{text[1:]}"
