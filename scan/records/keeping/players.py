"""What a store keeps of a player beside their cards: sessions told by hand, and how they write."""

from __future__ import annotations

from datetime import datetime

from shortpencil.scan.reading import Lesson
from shortpencil.scan.records.belonging import hands
from shortpencil.scan.records.belonging.hands import KeptHand
from shortpencil.scan.records.keeping.opened import Opened
from shortpencil.scan.records.storing.database import reading, writing
from shortpencil.scan.records.storing.told import (
    ToldSession,
    phases_called,
    phases_known,
    put_session,
    take_back_session,
    told_sessions,
)


class Players(Opened):
    """An open store that keeps sessions and hands of players."""

    def tell_session(self, session: ToldSession, when: datetime) -> ToldSession:
        """Keep a session of practice told by hand at `when`; return it with its number."""
        with writing(self._engine) as connection:
            return put_session(connection, session, when)

    def phases_known(self) -> tuple[str, ...]:
        """Return the phases a session can be of: drive, approach, putt, and those of cards of one's own."""
        with reading(self._engine) as connection:
            return phases_known(connection)

    def phases_called(self) -> dict[str, str]:
        """Return what cards of one's own call their phases: id -> label, by the newest round of each."""
        with reading(self._engine) as connection:
            return phases_called(connection)

    def told_sessions(self) -> tuple[ToldSession, ...]:
        """Return every session told by hand, oldest first."""
        with reading(self._engine) as connection:
            return told_sessions(connection)

    def take_back_session(self, number: int) -> ToldSession:
        """Remove a session told by mistake; RecordError when there is none of that number."""
        with writing(self._engine) as connection:
            return take_back_session(connection, number)

    def hands(self) -> dict[str, tuple[Lesson, ...]]:
        """Return the boxes that show how each player writes, by player."""
        with reading(self._engine) as connection:
            return hands.lessons(connection)

    def kept_hands(self) -> tuple[KeptHand, ...]:
        """Return what is kept of each player's hand."""
        with reading(self._engine) as connection:
            return hands.kept_hands(connection)

    def hand_boxes(self, player: str) -> tuple[tuple[int | None, bytes], ...]:
        """Return every box kept of a player's hand with its digit, None where nothing vouches for one."""
        with reading(self._engine) as connection:
            return hands.boxes_of(connection, player)

    def learn_hand(self, player: str) -> None:
        """Learn a player's hand from the cards to come, after it was switched off."""
        with writing(self._engine) as connection:
            hands.switch(connection, player, on=True)
