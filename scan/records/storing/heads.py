"""A card in a line: whose it is, of which form, when its first photo was read. Opens no reading."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, func, select

from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import by_bytes


@dataclass(frozen=True, slots=True)
class CardHead:
    """One card in a line; `form` is the fingerprint of its field map, `title` that form's where known."""

    serial: str
    player: str | None
    form: str
    read_on: date | None
    title: str = ""


def card_heads(connection: Connection, serial: str | None = None) -> tuple[CardHead, ...]:
    """Return every card by serial, or the one of that serial."""
    cards, readings = tables.cards.c, tables.readings.c
    query = (
        select(cards.serial, cards.player, cards.form, func.min(readings.recorded_at).label("first"))
        .select_from(tables.cards.outerjoin(tables.readings, cards.serial == readings.serial))
        .group_by(cards.serial, cards.player, cards.form)
        .order_by(by_bytes(cards.serial, connection))
    )
    if serial is not None:
        query = query.where(cards.serial == serial)
    return tuple(
        CardHead(
            row.serial, row.player, row.form, datetime.fromisoformat(row.first).date() if row.first else None
        )
        for row in connection.execute(query)
    )
