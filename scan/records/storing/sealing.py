"""A checksum beside every row of a store in a file, so that a byte that changed on the disk is found.

SQLite has no checksums of its own, and a flipped digit is still a number. PostgreSQL guards its pages itself
(data checksums), so all this is for SQLite alone. The checksums are kept up by triggers of the connection and
not by the statements that write: whatever writes through shortpencil is sealed, no statement can forget to.
Whatever else writes breaks the seal, which is what `check` is to find. Rows of `misses`, `holes` and
`throws` have no seal: they say again what a round's record says, and `checking` compares them with it.

A seal is the first 64 bits of SHA-256 over the row's columns that are not null, by name. It finds accidents;
who wants to forge a row can forge its seal as well.
"""

from __future__ import annotations

import hashlib
import threading
from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection

from shortpencil.scan.records.storing import tables

SEALS = "seals"
_UNSEALED = (SEALS, tables.misses.name, tables.holes.name, tables.throws.name)
_FUNCTION = "shortpencil_seal"
_AT_ONCE = 50  # rows that are in memory together
_NO_KEY = b"?"  # what stands for the key of a row that has lost it
_BETWEEN = "/"  # between the parts of a row's key


class BrokenError(Exception):
    """A row of a table is not as it was written, or no longer there."""


def seal(*names_and_values: str | bytes | None) -> str:
    """Return the seal of a row: its columns' names, each followed by its value's bytes or None."""
    names = [_bytes(name or b"") for name in names_and_values[::2]]
    return _seal_of(names, [None if value is None else _bytes(value) for value in names_and_values[1::2]])


def _seal_of(names: Iterable[bytes], values: Iterable[bytes | None]) -> str:
    parts: list[bytes] = []
    for name, value in zip(names, values, strict=True):
        if value is not None:
            parts += (b"%b=%d:" % (name, len(value)), value)
    return hashlib.sha256(b"".join(parts)).hexdigest()[:16]


def _bytes(value: str | bytes) -> bytes:
    return value.encode() if isinstance(value, str) else value


def make_known(connection: Any) -> None:
    """Make the function that seals a row known to a connection of the `sqlite3` driver."""
    connection.create_function(_FUNCTION, -1, _seal_or_note, deterministic=True)


#: What SQLite says of a function of Python that ended early, whatever ended it.
ENDED_EARLY = "user-defined function raised exception"
_noted = threading.local()


def _seal_or_note(*names_and_values: str | bytes | None) -> str:
    try:
        return seal(*names_and_values)
    except Exception as error:
        _noted.error = error
        raise


def ended_by_a_stop() -> bool:
    """Say whether it was Ctrl+C that ended the function early: SQLite has lost by what; an error is noted."""
    error, _noted.error = getattr(_noted, "error", None), None
    return error is None


def attend(connection: Any) -> bool:
    """Seal from now on what a connection that knows the function writes; False for a store without seals."""
    known = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if SEALS not in known:
        return False
    for table in sorted(known - {*_UNSEALED}):
        if table.startswith("sqlite_"):
            continue
        found = connection.execute(f"PRAGMA table_info({table})").fetchall()
        new = f"'{table}', {_key(found, 'NEW.')}, {_seal(found, 'NEW.')}"
        put = f"INSERT OR REPLACE INTO {SEALS} VALUES ({new})"
        drop = f'DELETE FROM {SEALS} WHERE "of" = \'{table}\' AND "key" = {_key(found, "OLD.")}'
        # Triggers of the connection, since a trigger in the file could call no function of ours
        # (PRAGMA trusted_schema = OFF) and would stop every other program that writes there.
        for event, steps in (("INSERT", put), ("DELETE", drop), ("UPDATE", f"{drop}; {put}")):
            name = f"seal_{table}_{event.lower()}"
            connection.execute(f"CREATE TEMP TRIGGER {name} AFTER {event} ON main.{table} BEGIN {steps}; END")
    return True


def seal_all(connection: Connection) -> None:
    """Seal every row as it stands, in the transaction of the caller; for a store in a file alone."""
    if connection.dialect.name != "sqlite":
        return
    run = connection.exec_driver_sql
    run(
        f'CREATE TABLE IF NOT EXISTS {SEALS} ("of" TEXT NOT NULL, "key" TEXT NOT NULL, "sum" TEXT NOT NULL, '
        'PRIMARY KEY ("of", "key")) WITHOUT ROWID'
    )
    run(f"DELETE FROM {SEALS}")
    for table in _sealed(connection):
        found = run(f"PRAGMA table_info({table})").fetchall()
        run(f"INSERT INTO {SEALS} SELECT '{table}', {_key(found)}, {_seal(found)} FROM {table}")


def broken(connection: Connection, table: str, serial: str | None = None) -> tuple[str, ...]:
    """Return the keys of a table's rows that are not as shortpencil wrote them, in order.

    Parameters
    ----------
    serial : only the rows of this card; None for all, and for those that are gone
    """
    if connection.dialect.name != "sqlite":
        return ()
    run = connection.exec_driver_sql
    found = run(f"PRAGMA table_info({table})").fetchall()
    key = _key(found)
    changed = (
        f'SELECT CAST({key} AS BLOB) FROM {table} LEFT JOIN {SEALS} ON "of" = \'{table}\' AND "key" = {key} '
        f'WHERE "sum" IS NOT {_seal(found)}'
    )
    if serial is not None:
        keys = run(f"{changed} AND {table}.serial = ?", (serial,)).scalars()
    else:
        gone = f'SELECT CAST("key" AS BLOB) FROM {SEALS} WHERE "of" = \'{table}\' AND "key" NOT IN '
        there = f"SELECT {key} FROM {table} WHERE {key} IS NOT NULL"  # beside a null nothing is NOT IN
        keys = run(f"{changed} UNION {gone} ({there})").scalars()
    return tuple(sorted({bytes(of or _NO_KEY).decode(errors="replace") for of in keys}))


def rows_in_order(
    connection: Connection, table: str, order: str, names: Sequence[str]
) -> Iterator[tuple[bytes | None, ...]]:
    """Yield some columns of each row of a table in a file, in an order; a row once its seal holds.

    Each row is read once, where `broken` and a query after it read it twice. Only the places of the rows are
    sorted: to sort whole records SQLite writes files.

    Parameters
    ----------
    order : as in SQL
    names : of the columns; their values come as bytes

    Raises
    ------
    BrokenError
        before the first row where there are more or fewer than were written, else at the one that is broken
    """
    run = connection.exec_driver_sql
    found = run(f"PRAGMA table_info({table})").fetchall()
    columns = [name for _, name, _, _, _, _ in found]
    sealed, told = [name.encode() for name in columns], [2 + columns.index(name) for name in names]
    values = ", ".join(_as_bytes(name) for name in columns)
    query = (
        f'SELECT {table}.rowid, "sum", {values} FROM {table} LEFT JOIN {SEALS} '
        f'ON "of" = \'{table}\' AND "key" = {_key(found)} WHERE {table}.rowid IN'
    )
    places = array("q", run(f"SELECT rowid FROM {table} ORDER BY {order}").scalars())
    if len(places) != run(f"SELECT count(*) FROM {SEALS} WHERE \"of\" = '{table}'").scalar():
        raise BrokenError
    driver: Any = connection.connection.driver_connection  # its rows are tuples; to wrap them takes a while
    for start in range(0, len(places), _AT_ONCE):
        some = places[start : start + _AT_ONCE]
        rows = {row[0]: row for row in driver.execute(f"{query} ({', '.join(map(str, some))})")}
        for place in some:
            row = rows.pop(place, None)
            if row is None or row[1] != _seal_of(sealed, row[2:]):  # no row: the file is damaged
                raise BrokenError
            yield tuple([row[at] for at in told])


def all_broken(connection: Connection) -> dict[str, tuple[str, ...]]:
    """Return table -> keys of its broken rows, for each table that has any."""
    found = {table: broken(connection, table) for table in _sealed(connection)}
    return {table: keys for table, keys in found.items() if keys}


def _sealed(connection: Connection) -> list[str]:
    if connection.dialect.name != "sqlite":
        return []
    query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' ESCAPE '!'"
    return sorted(set(connection.exec_driver_sql(query).scalars()) - {*_UNSEALED})


def _key(columns: Any, row: str = "") -> str:
    """Return SQL for a row's primary key as one text, from what PRAGMA table_info says of the table."""
    parts = sorted((place, name) for _, name, _, _, _, place in columns if place) or [(1, "rowid")]
    return f" || '{_BETWEEN}' || ".join(f'CAST({row}"{name}" AS TEXT)' for _, name in parts)


def _seal(columns: Any, row: str = "") -> str:
    """Return SQL for a row's seal; over bytes, so that text which is no UTF-8 any more is no error."""
    parts = (f"'{name}', {_as_bytes(name, row)}" for _, name, _, _, _, _ in columns)
    return f"{_FUNCTION}({', '.join(parts)})"


def _as_bytes(name: str, row: str = "") -> str:
    return f'CAST({row}"{name}" AS BLOB)'
