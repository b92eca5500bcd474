"""Connections to a database, kept for the next who asks, and the rows that they give.

SQLite through the standard library, PostgreSQL through psycopg, which is loaded only for it. A connection is
used by one thread at a time and has one transaction at a time, which `database` begins and ends.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache
from operator import itemgetter
from threading import Lock
from typing import TYPE_CHECKING, Any

from shortpencil.scan.records.sql import Dialect, Insert, Select, Statement, Writer

MOST_KEPT = 5  # connections that wait; the page answers in some threads at once
_STREAM = "shortpencil_rows"  # on a server, rows that are fetched a part at a time have a name


class NotOneRow(Exception):
    """A statement that finds one row in a sound store found none, or several."""


class Row(tuple[Any, ...]):
    """A row of a query: a tuple whose values have the names of their columns, too."""

    __slots__ = ()
    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any: ...


@lru_cache(maxsize=512)
def _row_of(names: tuple[str | None, ...]) -> type[Row]:
    """Return the class of rows with these names."""
    values = {name: property(itemgetter(at)) for at, name in enumerate(names) if name is not None}
    return type("Row", (Row,), {"__slots__": (), **values})


class Result:
    """What a statement gave: all its rows, how many it changed, the number of a new row."""

    def __init__(
        self,
        rows: Iterable[Row] = (),
        names: tuple[str | None, ...] = (),
        *,
        changed: int = 0,
        number: int = 0,
    ) -> None:
        self._rows, self._names = list(rows), names
        self.rowcount, self.number = changed, number

    def __iter__(self) -> Iterator[Row]:
        return iter(self._rows)

    def all(self) -> list[Row]:
        """Return the rows."""
        return self._rows

    def one_or_none(self) -> Row | None:
        """Return the row, or None where there is none."""
        if len(self._rows) > 1:
            raise NotOneRow(f"expected one row, found {len(self._rows)}")
        return self._rows[0] if self._rows else None

    def one(self) -> Row:
        """Return the row."""
        row = self.one_or_none()
        if row is None:
            raise NotOneRow("expected one row, found none")
        return row

    def scalar(self) -> Any:
        """Return the first value of the first row, or None where there is no row."""
        return self._rows[0][0] if self._rows else None

    def scalar_one(self) -> Any:
        """Return the first value of the row."""
        return self.one()[0]

    def scalars(self) -> list[Any]:
        """Return the first value of each row."""
        return [row[0] for row in self._rows]

    def mappings(self) -> list[dict[str, Any]]:
        """Return the rows as name -> value."""
        return [
            {name or "": value for name, value in zip(self._names, row, strict=True)} for row in self._rows
        ]


class Connection:
    """A connection in use; `dialect` says to which kind of database, `driver` is that of its library."""

    def __init__(self, driver: Any, dialect: Dialect) -> None:
        self.driver, self.dialect = driver, dialect
        self.notes: dict[str, Any] = {}

    def execute(self, statement: Statement, rows: Sequence[Mapping[str, Any]] | None = None) -> Result:
        """Carry out a statement; an `Insert` without values for each of these rows, which are alike."""
        if rows is not None:
            assert isinstance(statement, Insert)
            if rows:
                self.run_many(
                    statement.written_for(rows[0], Writer(self.dialect)), statement.taken(rows, self.dialect)
                )
            return Result()
        out = Writer(self.dialect)
        text = statement.write(out)
        if isinstance(statement, Select):
            cursor = self._run(text, out.values)
            names = tuple(column.name for column in statement.what)
            return Result(map(_maker(statement, self.dialect), cursor.fetchall()), names)
        numbered = isinstance(statement, Insert) and statement.table.numbered
        if numbered and self.dialect == "postgresql":
            number = self._run(f"{text} RETURNING {statement.table.key[0].name}", out.values).fetchone()[0]
            return Result(changed=1, number=number)
        cursor = self._run(text, out.values)
        return Result(changed=cursor.rowcount, number=cursor.lastrowid if numbered else 0)

    def stream(self, query: Select, at_once: int) -> Iterator[Row]:
        """Yield the rows of a query, of which so many are in memory at a time."""
        out = Writer(self.dialect)
        text = query.write(out)
        if self.dialect == "sqlite":
            cursor = self._run(text, out.values)
        else:
            cursor = self.driver.cursor(name=_STREAM)
            cursor.execute(text, out.values or None)
        make = _maker(query, self.dialect)
        try:
            while rows := cursor.fetchmany(at_once):
                yield from map(make, rows)
        finally:
            cursor.close()

    def run(self, text: str, values: Sequence[Any] = ()) -> Result:
        """Carry out SQL as it stands, with the database's own marks for its values."""
        cursor = self._run(text, values)
        if cursor.description is None:
            return Result(changed=cursor.rowcount)
        names = tuple(column[0] for column in cursor.description)
        return Result(map(_row_of(names), cursor.fetchall()), names)

    def run_many(self, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """Carry out SQL as it stands for the values of each row."""
        if self.dialect == "sqlite":
            self.driver.executemany(text, rows)
            return
        with self.driver.cursor() as cursor:
            cursor.executemany(text, rows)

    def _run(self, text: str, values: Sequence[Any] = ()) -> Any:
        # psycopg looks for marks in a text only where there are values.
        return self.driver.execute(text, values) if values else self.driver.execute(text)

    def commit(self) -> None:
        """End the transaction: what it did stays."""
        if self.dialect == "sqlite":
            self._run("COMMIT")
        else:
            self.driver.commit()

    def rollback(self) -> None:
        """End the transaction as if it had never been."""
        if self.dialect != "sqlite":
            self.driver.rollback()
        elif self.driver.in_transaction:  # a full disk ends it by itself
            self._run("ROLLBACK")

    def tables(self) -> set[str]:
        """Return the names of the tables that are there."""
        if self.dialect == "sqlite":
            found = self.run("SELECT name FROM sqlite_master WHERE type = 'table'").scalars()
            return {name for name in found if not name.startswith("sqlite_")}
        return set(self.run("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()").scalars())


def _maker(query: Select, dialect: Dialect) -> Callable[[tuple[Any, ...]], Row]:
    """Return what makes rows of what a driver gives."""
    row_of = _row_of(tuple(column.name for column in query.what))
    if dialect != "sqlite":
        return row_of
    odd = [
        (at, column.kind.from_sqlite)
        for at, column in enumerate(query.what)
        if column.kind is not None and column.kind.from_sqlite is not None
    ]
    if not odd:
        return row_of

    def make(values: tuple[Any, ...]) -> Row:
        changed = list(values)
        for at, given in odd:
            if changed[at] is not None:
                changed[at] = given(changed[at])
        return row_of(changed)

    return make


class Database:
    """A database by its place: hands out connections, and keeps those given back for the next.

    Parameters
    ----------
    connect : makes a connection, ready for its first transaction
    answers : whether a connection that has waited still reaches its server; None where nothing can end it
    """

    def __init__(
        self,
        url: Any,
        connect: Callable[[], Connection],
        answers: Callable[[Connection], bool] | None = None,
    ) -> None:
        self.url = url
        self._connect, self._answers = connect, answers
        self._lock = Lock()
        self._waiting: list[Connection] = []
        self._age = 0

    def take(self) -> Connection:
        """Return a connection that nobody uses."""
        while True:
            with self._lock:
                found = self._waiting.pop() if self._waiting else None
            if found is None:
                found = self._connect()
                found.notes["age"] = self._age
                return found
            if self._answers is None or self._answers(found):
                return found
            self.close()  # the server was started anew: the others lead nowhere either

    def give_back(self, connection: Connection) -> None:
        """Keep a connection for the next, or close it."""
        with self._lock:
            if connection.notes["age"] == self._age and len(self._waiting) < MOST_KEPT:
                self._waiting.append(connection)
                return
        end(connection)

    def close(self) -> None:
        """Close every connection: those in use when they are given back."""
        with self._lock:
            waiting, self._waiting = self._waiting, []
            self._age += 1
        for connection in waiting:
            end(connection)


def end(connection: Connection) -> None:
    """Close a connection for good, whatever state it is in."""
    with suppress(sqlite3.Error):  # one that is broken is closed already
        connection.driver.close()
