"""A store that is open: its connection, and a card with its form read within a transaction.

The files over it add the rest, each what belongs together: `reads`, `settling` under `adding` and
`answering`, `players`, `erasing`. `store` is all of them as one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine, select

from shortpencil.forms.errors import NotThere
from shortpencil.forms.form import Form
from shortpencil.scan.records.belonging.sheets import speaking_reading
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.checking import refuse_broken
from shortpencil.scan.records.storing.database import store_name
from shortpencil.scan.records.storing.statements import answers_of, pictures_of


class Opened:
    """An open store; close it, or use it as a context manager."""

    def __init__(self, engine: Engine, read_form: Callable[[str], Form]) -> None:
        self._engine = engine
        self._read_form = read_form
        self._forms: dict[str, Form] = {}
        self._kept_forms: set[str] = set()  # fingerprints of forms that are stored with their text

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def name(self) -> str:
        """What to call the store in messages."""
        return store_name(self._engine.url)

    def close(self) -> None:
        """Close every connection; the store's files are then whole without their write-ahead log."""
        self._engine.dispose()

    def _form(self, connection: Connection, fingerprint: str) -> Form:
        if fingerprint not in self._forms:
            text = connection.execute(
                select(tables.forms.c.text).where(tables.forms.c.fingerprint == fingerprint)
            ).scalar_one()
            if not text:
                raise NotThere(
                    f"{self.name}: expected the field map of the form {fingerprint}, found none. "
                    "Read a photo of that card again, with the field map it was printed with."
                )
            self._forms[fingerprint] = self._read_form(text)
        return self._forms[fingerprint]

    def _card(self, connection: Connection, serial: str) -> Card:
        for table in (tables.cards, tables.readings, tables.answers, tables.pictures):
            refuse_broken(connection, self.name, table, serial)
        row = connection.execute(select(tables.cards).where(tables.cards.c.serial == serial)).one_or_none()
        read = None if row is None else speaking_reading(connection, row)
        if row is None or read is None:
            rounds = select(tables.rounds.c.id).where(tables.rounds.c.id == serial)
            if connection.execute(rounds).first() is not None:
                raise NotThere(
                    f"{self.name}: expected a card with the serial {serial}, found a round that came from a "
                    "file. It is changed on its page: `shortpencil review`."
                )
            raise NotThere(
                f"{self.name}: expected a card with the serial {serial}, found none. `shortpencil rounds` "
                "shows the serials."
            )
        return Card(
            serial=serial,
            form=self._form(connection, row.form),
            reading=replace(read, pictures=pictures_of(connection, serial)),
            answers=answers_of(connection, serial),
            player=row.player,
            waiting=tuple(row.waiting.split()),
        )
