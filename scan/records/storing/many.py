"""Many rounds into the store at once: what is asked and what is written goes a few hundred rounds at a time.

One statement a round costs 2 ms, most of it on the way to the database; the rows themselves cost a tenth of
that. What is written is the same to the byte as `statements.put_round` writes, and the triggers that seal
rows see every one of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from sqlalchemy import Connection, delete, insert, select, update

from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.statements import add_photo, put_facts, round_values

if TYPE_CHECKING:
    from shortpencil.scan.records.composing.rounds import Round

#: Rounds that go together; SQLite takes 32,766 parameters in a statement, and more at once are no faster.
AT_ONCE = 250

Texts = Sequence[tuple["Round", str]]


def parts_of(texts: Iterator[tuple[Round, str]]) -> Iterator[list[tuple[Round, str]]]:
    """Yield rounds with their texts in parts of `AT_ONCE`."""
    while part := list(islice(texts, AT_ONCE)):
        yield part


def stored_texts(connection: Connection, ids: Sequence[str]) -> dict[str, str]:
    """Return id -> text of those of these rounds that are stored."""
    columns = tables.rounds.c
    query = select(columns.id, columns.record).where(columns.id.in_(ids))
    return {row.id: row.record for row in connection.execute(query)}


def put_rounds(connection: Connection, texts: Texts, stored: Sequence[str]) -> None:
    """Write rounds taken from a file, with their holes, throws and photos; those in `stored` are replaced."""
    if stored:
        connection.execute(delete(tables.rounds).where(tables.rounds.c.id.in_(stored)))
    _add_photos(connection, [photo for round_, _ in texts for photo in round_.sources])
    rows = [round_values(round_, text, origin="file") for round_, text in texts]
    connection.execute(insert(tables.rounds), rows)
    put_facts(connection, [round_ for round_, _ in texts])
    # The card's own doubts are settled: its round now follows the file.
    cards = tables.cards.c
    ids = [round_.id for round_, _ in texts]
    query = update(tables.cards).where(cards.serial.in_(ids), cards.waiting != "")
    connection.execute(query.values(waiting="", glance=""))


def _add_photos(connection: Connection, photos: Sequence[str]) -> None:
    column = tables.photos.c.sha256
    for start in range(0, len(photos), AT_ONCE):
        some = list(dict.fromkeys(photos[start : start + AT_ONCE]))
        known = set(connection.execute(select(column).where(column.in_(some))).scalars())
        new = [{"sha256": photo, "status": "read", "whole": True} for photo in some if photo not in known]
        if new:
            connection.execute(insert(tables.photos), new)
        for photo in known:
            add_photo(connection, photo)
