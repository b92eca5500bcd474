"""What a store is asked: every answer is the state of one moment, and changes nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, and_, func, or_, select

from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.belonging.sheets import SheetRound, rounds_of_sheet, speaking_reading
from shortpencil.scan.records.composing.answers import Answer, lay_over
from shortpencil.scan.records.composing.other_sheets import OtherSheet
from shortpencil.scan.records.composing.rounds import PracticeSet, Round
from shortpencil.scan.records.concluding.cards import Card, Waiting
from shortpencil.scan.records.keeping.opened import Opened
from shortpencil.scan.records.recording.from_file import Place, waiting_places
from shortpencil.scan.records.recording.record_json import round_from_text, rounds_from_texts
from shortpencil.scan.records.storing import many, tables
from shortpencil.scan.records.storing.checking import Damage, damages, refuse_broken, rows_as_written
from shortpencil.scan.records.storing.database import by_bytes, copy_file, reading
from shortpencil.scan.records.storing.heads import CardHead, card_heads
from shortpencil.scan.records.storing.statements import answers_of, practice_of, stored_round
from shortpencil.scan.records.storing.summary import COLUMNS, ORDER, Summary, Undated, undated_of, with_misses


def _by_day(connection: Connection) -> tuple[ColumnElement[Any], ...]:
    """Return `summary.ORDER` as columns."""
    columns = tables.rounds.c
    ids = (by_bytes(column, connection) for column in (columns.recorded_at, columns.id))
    return columns.played_on.is_(None), columns.played_on, *ids


class Reads(Opened):
    """What an open store can be asked."""

    def photo_status(self, photo: str) -> str | None:
        """Return "read" or "rejected" for a photo of which every card was stored before, else None."""
        with reading(self._engine) as connection:
            return connection.execute(
                select(tables.photos.c.status).where(tables.photos.c.sha256 == photo, tables.photos.c.whole)
            ).scalar()

    def photos_read(self) -> frozenset[bytes]:
        """Return the SHA-256 of every photo of which every card was stored before."""
        photos = tables.photos.c
        query = select(photos.sha256).where(photos.status == "read", photos.whole)
        with reading(self._engine) as connection:
            return frozenset(map(bytes.fromhex, connection.execute(query).scalars()))

    def serials_on(self, photo: str) -> tuple[str, ...]:
        """Return the serials that the cards on a photo are kept under."""
        readings = tables.readings.c
        query = select(readings.serial).where(readings.photo == photo)
        with reading(self._engine) as connection:
            by_serial = query.order_by(by_bytes(readings.serial, connection))
            return tuple(connection.execute(by_serial).scalars())

    def rounds(self, player: str | None = None) -> tuple[Round, ...]:
        """Return all rounds, oldest first; those without a date stand last, in the order recorded."""
        return tuple(self.each_round(player))

    def each_round(self, player: str | None = None) -> Iterator[Round]:
        """Yield the rounds one by one in the order of `rounds`, as they are at one moment; none is kept.

        Raises
        ------
        RecordError
            in place of a round that is not as it was written, and that may be after others: do nothing that
            cannot be undone before the end
        """
        with reading(self._engine) as connection:
            yield from rounds_from_texts(self._records(connection, player))

    def _records(self, connection: Connection, player: str | None) -> Iterator[str | bytes]:
        if connection.dialect.name == "sqlite":
            wanted = None if player is None else player.encode()
            rows = rows_as_written(connection, self.name, tables.rounds, ORDER, ("record", "player"))
            yield from (record for record, of in rows if wanted in (None, of))
            return
        query = select(tables.rounds.c.record).order_by(*_by_day(connection))
        if player is not None:
            query = query.where(tables.rounds.c.player == player)
        yield from connection.execution_options(yield_per=many.AT_ONCE).execute(query).scalars()

    def practice(self) -> tuple[PracticeSet, ...]:
        """Return every set of every practice card, oldest first."""
        with reading(self._engine) as connection:
            refuse_broken(connection, self.name, tables.practice)
            return practice_of(connection)

    def round(self, round_id: str) -> Round | None:
        """Return the round of that id, or None."""
        with reading(self._engine) as connection:
            row = stored_round(connection, round_id)
        return None if row is None else round_from_text(row.record)

    def came_from_file(self, round_id: str) -> bool:
        """Say whether a round follows a file, and not its card."""
        with reading(self._engine) as connection:
            row = stored_round(connection, round_id)
        return row is not None and row.origin == "file"

    def summaries(self, *, beside: str | None = None) -> tuple[Summary, ...]:
        """Return a line's worth of every round, in the order of `rounds`.

        Parameters
        ----------
        beside : only the round of this id and those that its player played on its day; opens no other row
        """
        rows = tables.misses.c
        query = select(*(tables.rounds.c[name] for name in COLUMNS))
        misses = select(rows.round, rows.phase, rows.misses).order_by(rows.round, rows.place)
        with reading(self._engine) as connection:
            if beside is None:
                refuse_broken(connection, self.name, tables.rounds)
            else:
                query = query.where(_beside(beside))
                misses = misses.where(rows.round.in_(select(tables.rounds.c.id).where(_beside(beside))))
            by_day = query.order_by(*_by_day(connection))
            return with_misses(connection.execute(by_day).all(), connection.execute(misses).all())

    def undated(self) -> dict[str, Undated]:
        """Return what is said of the day of each round whose day is not known; opens no other round."""
        with reading(self._engine) as connection:
            rounds = tables.rounds.c
            query = select(rounds.id, rounds.record, rounds.recorded_at).where(rounds.played_on.is_(None))
            rows = connection.execute(query).all()
        return {row.id: undated_of(row.record, row.recorded_at) for row in rows}

    def card(self, serial: str) -> Card:
        """Return everything about a card; RecordError when there is none of that serial."""
        with reading(self._engine) as connection:
            return self._card(connection, serial)

    def waiting(self) -> tuple[Waiting, ...]:
        """Return every field that waits for a person, card by card, in the order of the form."""
        column = tables.cards.c.serial
        query = select(column).where(tables.cards.c.waiting != "")
        with reading(self._engine) as connection:
            serials = connection.execute(query.order_by(by_bytes(column, connection))).scalars()
            cards = [self._card(connection, serial) for serial in serials]
        return tuple(
            Waiting(card.serial, field, card.fields.get(field, FieldReading(None, 0.0)))
            for card in cards
            for field in card.waiting
        )

    def answers(self, serial: str) -> tuple[Answer, ...]:
        """Return every answer ever given about a card, oldest first."""
        with reading(self._engine) as connection:
            return answers_of(connection, serial)

    def picture(self, serial: str, field: str) -> bytes | None:
        """Return the PNG of a field of a card, or None."""
        query = select(tables.pictures.c.png).where(
            tables.pictures.c.serial == serial, tables.pictures.c.field == field
        )
        with reading(self._engine) as connection:
            return connection.execute(query).scalar()

    def waiting_fields(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the cards with something to ask, by serial, each with its fields; opens no card."""
        columns = tables.cards.c
        query = select(columns.serial, columns.waiting).where(columns.waiting != "")
        with reading(self._engine) as connection:
            rows = connection.execute(query.order_by(by_bytes(columns.serial, connection)))
            return tuple((row.serial, tuple(row.waiting.split())) for row in rows)

    def waiting_in_files(self) -> tuple[tuple[str, tuple[Place, ...]], ...]:
        """Return the rounds that came from a file and have something to ask, by id, each with its places."""
        columns = tables.rounds.c
        query = select(columns.record).where(columns.origin == "file", columns.waits > 0)
        with reading(self._engine) as connection:
            refuse_broken(connection, self.name, tables.rounds)
            by_id = query.order_by(by_bytes(columns.id, connection))
            found = rounds_from_texts(connection.execute(by_id).scalars())
            return tuple((round_.id, waiting_places(round_)) for round_ in found)

    def glance_fields(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the cards with waiting fields that are seen together on one page; opens no card."""
        columns = tables.cards.c
        query = select(columns.serial, columns.glance).where(columns.glance != "")
        with reading(self._engine) as connection:
            rows = connection.execute(query.order_by(by_bytes(columns.serial, connection)))
            return tuple((row.serial, tuple(row.glance.split())) for row in rows)

    def heads(self, serial: str | None = None) -> tuple[CardHead, ...]:
        """Return every card, or one, in a line, by serial; opens no card."""
        with reading(self._engine) as connection:
            return card_heads(connection, serial)

    def sheet(self, serial: str) -> tuple[SheetRound, ...]:
        """Return every round of the sheet that a round's serial belongs to, with the photos that show it."""
        with reading(self._engine) as connection:
            return rounds_of_sheet(connection, serial)

    def other_sheets(self, player: str | None = None) -> tuple[OtherSheet, ...]:
        """Return every sheet that is no round with its answers; by day, those without one last.

        Parameters
        ----------
        player : only those of this alias, as printed or as answered on the sheet
        """
        cards, rounds = tables.cards, tables.rounds
        query = select(cards).where(~select(rounds.c.id).where(rounds.c.id == cards.c.serial).exists())
        with reading(self._engine) as connection:
            for table in (cards, tables.readings, tables.answers):
                refuse_broken(connection, self.name, table)
            by_serial = query.order_by(by_bytes(cards.c.serial, connection))
            found = [self._other(connection, row) for row in connection.execute(by_serial)]
        kept = [sheet for sheet in found if sheet is not None and player in (None, sheet.player)]
        return tuple(sorted(kept, key=lambda sheet: (sheet.day is None, sheet.day or date.min)))

    def _other(self, connection: Connection, row: Row[Any]) -> OtherSheet | None:
        form, read = self._form(connection, row.form), speaking_reading(connection, row)
        if form.makes_rounds or read is None:
            return None
        answers = answers_of(connection, row.serial)
        named = lay_over(read.fields, answers).get("player")
        player = (named.value if named is not None and isinstance(named.value, str) else "") or row.player
        return OtherSheet(row.serial, form, player, read.fields, answers, tuple(row.waiting.split()))

    def form_text(self, fingerprint: str) -> str | None:
        """Return the field map kept under a form's fingerprint, or None."""
        query = select(tables.forms.c.text).where(tables.forms.c.fingerprint == fingerprint)
        with reading(self._engine) as connection:
            return connection.execute(query).scalar() or None

    def damages(self) -> tuple[Damage, ...]:
        """Return all that is not as it was written; nothing when the store is sound."""
        with reading(self._engine) as connection:
            return damages(connection)

    def size(self) -> tuple[int, int]:
        """Return how many rounds and how many cards there are."""
        with reading(self._engine) as connection:
            counts = [
                connection.execute(select(func.count()).select_from(table)).scalar_one()
                for table in (tables.rounds, tables.cards)
            ]
        return counts[0], counts[1]

    def copy_to(self, path: Path) -> None:
        """Copy a store in a file, as it is at one moment, into a new file; others may use it meanwhile.

        Raises
        ------
        RecordError
            for a store on a server
        """
        copy_file(self._engine, path)


def _beside(round_id: str) -> ColumnElement[bool]:
    """Say in SQL that a round is the one of an id, or of the same player and day."""
    one, rounds = tables.rounds.alias(), tables.rounds.c
    same = select(one.c.id).where(
        one.c.id == round_id,
        one.c.played_on == rounds.played_on,
        func.coalesce(one.c.player, "") == func.coalesce(rounds.player, ""),
    )
    day = select(one.c.played_on).where(one.c.id == round_id).scalar_subquery()
    return or_(rounds.id == round_id, and_(rounds.played_on == day, same.exists()))
