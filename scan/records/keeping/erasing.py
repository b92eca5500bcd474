"""What is taken out of a store: single rounds, which can be put back, a player's hand, all of a player.

What is erased is gone bytes and all: the file is written anew without it.
"""

from __future__ import annotations

from datetime import datetime

from shortpencil.scan.records.belonging import forgetting, hands, set_aside
from shortpencil.scan.records.belonging.forgetting import Traces
from shortpencil.scan.records.belonging.set_aside import Aside
from shortpencil.scan.records.keeping.settling import Settling
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading, wipe, writing
from shortpencil.scan.records.storing.statements import stored_round


class Erasing(Settling):
    """An open store that gives things back, or forgets them."""

    def erase_hand(self, player: str, *, on: bool | None = None) -> int:
        """Erase what is kept of a player's hand, bytes and all; return how many boxes that were.

        Parameters
        ----------
        on : whether to learn it from later cards; None leaves that as it is
        """
        with writing(self._engine) as connection:
            count = hands.erase(connection, player) + set_aside.erase_hand(connection, player)
            if on is not None:
                hands.switch(connection, player, on=on)
        wipe(self._engine, [tables.hand_boxes.name])  # none may be left of an erasing that was cut short, too
        return count

    def traces_of(self, player: str) -> Traces:
        """Return how much the store holds of a player."""
        with reading(self._engine) as connection:
            return forgetting.traces_of(connection, player)

    def forget(self, player: str) -> Traces:
        """Erase a player: rounds, cards with their pictures and answers, practice, hand; return what went."""
        with writing(self._engine) as connection:
            found = forgetting.forget(connection, player)
        wipe(self._engine, [table.name for table in tables.metadata.sorted_tables])
        return found

    def set_aside(self, serial: str, when: datetime, *, kept: bool) -> Aside:
        """Take a round, or a practice card, out of everything; return what it was.

        Parameters
        ----------
        kept : keep it until it is put back; else it is erased at the next start (`empty_aside`)

        Raises
        ------
        RecordError
            when there is none of that serial
        """
        with writing(self._engine) as connection:
            return set_aside.take_out(connection, serial, when, kept=kept, store=self.name)

    def put_back(self, serial: str) -> None:
        """Put a round that was deleted or set aside back as it was; RecordError when there is none."""
        with writing(self._engine) as connection:
            set_aside.put_back(connection, serial, store=self.name)
            if stored_round(connection, serial) is None:  # an earlier version had no sets of it
                self._renew(connection, serial)

    def aside(self) -> tuple[Aside, ...]:
        """Return what was deleted since the last start or set aside, the latest first."""
        with reading(self._engine) as connection:
            return set_aside.listed(connection)

    def empty_aside(self) -> int:
        """Erase what was deleted before this start, bytes and all; return how many rounds that were."""
        with writing(self._engine) as connection:
            count = set_aside.empty(connection)
        if count:
            wipe(self._engine, [table.name for table in tables.metadata.sorted_tables])
        return count
