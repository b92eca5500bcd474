"""Forgets one player: every row of the store that is theirs, inside a transaction that the caller holds.

Names that sign answers to other players' cards stay: those cards are not this player's to erase.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, select

from scan.records import hands, set_aside, tables, told
from scan.records.statements import sources_of


@dataclass(frozen=True, slots=True)
class Traces:
    """How much the store holds of a player."""

    rounds: int
    cards: int
    practice_sets: int
    hand_boxes: int
    sessions: int = 0
    aside: int = 0  # rounds that were deleted or set aside

    def __bool__(self) -> bool:
        return any((self.rounds, self.cards, self.practice_sets, self.hand_boxes, self.sessions, self.aside))


def traces_of(connection: Connection, player: str) -> Traces:
    """Return how much the store holds of a player."""
    counts = [
        connection.execute(
            select(func.count()).select_from(table).where(table.c.player == player)
        ).scalar_one()
        for table in (
            tables.rounds,
            tables.cards,
            tables.practice,
            tables.hand_boxes,
            told.sessions,
            tables.aside,
        )
    ]
    return Traces(*counts)


def forget(connection: Connection, player: str) -> Traces:
    """Remove a player's rounds, cards, practice and hand, and the photos that no other card came from."""
    found = traces_of(connection, player)
    theirs = select(tables.cards.c.serial).where(tables.cards.c.player == player)
    of_cards = select(tables.readings.c.photo, tables.readings.c.text)
    photos: set[str] = set()
    for row in connection.execute(of_cards.where(tables.readings.c.serial.in_(theirs))):
        photos.update((row.photo, *json.loads(row.text).get("together", ())))
    for round_ in connection.execute(select(tables.rounds).where(tables.rounds.c.player == player)):
        photos.update(sources_of(round_))  # of a round from a file there are no readings
    hands.erase(connection, player)
    hands.switch(connection, player, on=True)
    for table in (told.sessions, tables.asking):
        connection.execute(delete(table).where(table.c.player == player))
    for table in (tables.rounds, tables.practice, tables.cards):  # holes, readings and so on go with them
        connection.execute(delete(table).where(table.c.player == player))
    set_aside.forget_photos(connection, photos)
    set_aside.forget(connection, player)
    return found
