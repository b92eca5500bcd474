"""What a card amounts to is written anew whenever something was added or answered, in the same transaction.

How a player wants to be asked belongs here, since it decides what waits.
"""

from __future__ import annotations

from contextlib import suppress

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.asking import MATTERS, WAYS_TO_ASK
from shortpencil.scan.records.belonging import hands
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.concluding.settled import settled
from shortpencil.scan.records.keeping.opened import Opened
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading, writing
from shortpencil.scan.records.storing.statements import asked_of, put_settled, stored_round

_HOW = select(tables.asking.c.how).where(tables.asking.c.player == bindparam("of"))


class Settling(Opened):
    """An open store that works out what cards amount to."""

    def how_to_ask(self, player: str | None) -> str:
        """Return in which of `scan.asking.WAYS_TO_ASK` a player wants to be asked."""
        with reading(self._engine) as connection:
            return self._how(connection, player)

    def ask_in(self, player: str | None, how: str) -> None:
        """Ask a player in one of `WAYS_TO_ASK` from now on; what waits follows at once.

        Raises
        ------
        InputError
            when there is no such way
        """
        if how not in WAYS_TO_ASK:
            raise InputError(f"expected one of {', '.join(WAYS_TO_ASK)}, found {how!r}.")
        table = tables.asking
        with writing(self._engine) as connection:
            connection.execute(delete(table).where(table.c.player == (player or "")))
            if how != MATTERS:
                connection.execute(insert(table).values(player=player or "", how=how))
            theirs = tables.cards.c.player
            whose = theirs.is_(None) if player is None else theirs == player
            for serial in connection.execute(select(tables.cards.c.serial).where(whose)).scalars().all():
                self._renew(connection, serial)

    def renew(self) -> None:
        """Work out anew the rounds and the practice of all cards, as after a change of what a record says."""
        with writing(self._engine) as connection:
            for serial in connection.execute(select(tables.cards.c.serial)).scalars().all():
                self._renew(connection, serial)

    def _renew(self, connection: Connection, serial: str) -> None:
        """Work one card's round or practice out anew, unless it came from a file or its form is not kept."""
        stored = stored_round(connection, serial)
        if stored is not None and stored.origin == "file":
            return
        with suppress(RecordError):
            card = self._card(connection, serial)
            # A card of a game that an earlier version did not keep as rounds has none yet, nor has a sheet
            # the sets that an earlier version did not take for practice.
            if not card.form.makes_rounds or stored is None or card.reading.flagged:
                self._settle(connection, serial)

    def _how(self, connection: Connection, player: str | None) -> str:
        return connection.execute(_HOW, {"of": player or ""}).scalar() or MATTERS

    def _settle(self, connection: Connection, serial: str) -> Round | None:
        """Write what a card amounts to by its best reading and all its answers; return its round."""
        card = self._card(connection, serial)
        of = tables.readings.c
        photos = connection.execute(select(of.photo, of.recorded_at).where(of.serial == serial)).all()
        boxes = hands.cells_kept(connection, serial)
        read_at = {photo.photo: photo.recorded_at for photo in photos}
        found = settled(card, read_at, self._how(connection, card.player), boxes)
        query = update(tables.cards).where(tables.cards.c.serial == serial)
        connection.execute(query.values(asked_of(found)))
        put_settled(connection, serial, found)
        if boxes:
            hands.tell(connection, serial, found.taught)
        return found.round
