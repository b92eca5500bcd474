"""One photo that was sent: read in a process of its own, kept in the store, told to whoever sent it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from shortpencil.forms.errors import RecordError
from shortpencil.forms.layout import Layout
from shortpencil.scan.joining import Keeper, NotKept
from shortpencil.scan.language import carried, first_upper, told
from shortpencil.scan.leftovers import UPLOAD, folder_for
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.concluding.looks import seen_together
from shortpencil.scan.records.concluding.outcomes import SET_ASIDE, Kept
from shortpencil.scan.records.recording.kept import hands_text
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.after_view import WorthOf, no_worth
from shortpencil.scan.review.differences import differences
from shortpencil.scan.review.pages import round_score
from shortpencil.scan.review.questions import Question, question_of
from shortpencil.scan.review.readers import Readers
from shortpencil.scan.review.views import Region, close_up


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
    notes: tuple[str, ...] = ()
    alone: int = 0
    together: int = 0
    q: Question | None = None
    close: Region | None = None


@dataclass(frozen=True, slots=True)
class Receiver:
    """Reads photos into a store; `layout_of` finds the layout of a card in it.

    With `plain_hands` every card is read as any hand's, and nothing of its player's hand is kept.
    """

    store: Store
    keeper: Keeper
    readers: Readers
    layout_of: Callable[[Card], Layout]
    plain_hands: bool = False
    worth: WorthOf = no_worth

    def receive(
        self, photo: BinaryIO, called: str, now: datetime, typed: tuple[str, str] | None = None
    ) -> list[Told]:
        """Read one photo, keep what it says, and return what to tell, card by card.

        Parameters
        ----------
        photo : the file as it came; its name and type are believed in nothing
        called : what to call it
        typed : serial and fingerprint of its one card, in case its code cannot be read
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
            result = self.readers.read(path, called, hands, typed)
        found: list[Told] = []
        try:
            for kept in self.keeper.keep(result, now):
                found.append(self._told(kept, called))
        except RecordError as error:  # what was kept before must still be told
            found.append(Told(called, told(str(error))))
        found += [Told(called, _sentence(note, called)) for note in result.notes]
        if result.error is not None:
            found.append(Told(called, _sentence(result.error, called)))
        return found

    def _told(self, kept: Kept | NotKept, called: str) -> Told:
        if isinstance(kept, NotKept):
            return Told(called, told(kept.says))
        serial = kept.serial
        if serial is None or kept.outcome == SET_ASIDE:
            aside = (
                carried(f"it shows round {serial}, which is set aside.")
                if serial
                else kept.reading.reason or ""
            )
            return Told(called, _sentence(aside, called))
        card, played = self.store.card(serial), self.store.round(serial)
        layout = self.layout_of(card)
        together = seen_together(card.reading, card.waiting)
        alone = [name for name in card.waiting if name not in together]
        worth = self.worth(serial) if len(alone) > 1 else {}
        first = min(alone, key=lambda n: -worth[n].total if n in worth else -1e9) if alone else None
        return Told(
            name=called,
            says=kept.outcome,
            serial=serial,
            card=card,
            layout=layout,
            line="" if played is None else round_score(played),
            findings=tuple(told(finding.says) for finding in card.reading.findings),
            notes=tuple(_sentence(note, called) for note in differences(kept, card.form)),
            alone=len(alone),
            together=len(together),
            q=question_of(card, first) if first else None,
            close=close_up(layout, card.form.field(first)) if first else None,
        )


def _sentence(text: str, called: str) -> str:
    """Return a message without the name in front, which the page shows as a heading, in sentence form."""
    return first_upper(told(text).removeprefix(f"{called}: ").strip())
