from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from shortpencil.forms.rules import PHASES
from shortpencil.scan.records import sealing, tables
from shortpencil.scan.records.connection import Connection
from shortpencil.scan.records.sql import INTEGER, Check, Column, Table, insert, select, update
from shortpencil.scan.records.store import open_store
from tests.records.cards import round_form

POSTGRES = os.environ.get("SHORTPENCIL_TEST_POSTGRES")  # as in postgresql://postgres@127.0.0.1/postgres


def read_form(text: str):
    """Stand in for the field map: the text names one of the test forms."""
    holes, unit = text.split()
    return round_form(int(holes), unit=unit)


def drop_own_triggers(connection) -> None:
    """Take from a connection the triggers of its own that seal what is written; PostgreSQL has none."""
    if connection.dialect == "sqlite":
        triggers = "SELECT name FROM sqlite_temp_master WHERE type = 'trigger'"
        for name in connection.run(triggers).scalars():
            connection.run(f"DROP TRIGGER {name}")


def is_against_the_schema(error: BaseException | None) -> bool:
    """Say whether a driver refused what no row may be."""
    return any(kind.__name__ == "IntegrityError" for kind in type(error).__mro__)


def listen(monkeypatch, heard) -> None:
    """Tell of every statement before it is carried out: its text, its values."""
    run = Connection._run

    def told(self, text, values=()):
        heard(text, values)
        return run(self, text, values)

    monkeypatch.setattr(Connection, "_run", told)


def as_it_was(table: Table, *more: Column | Check) -> Table:
    """Return a table of a store with more columns or rules."""
    columns = [
        Column(c.label, c.holds, of=c.of, goes_with=c.goes_with, key=c.key, null=c.null, default=c.default)
        for c in table.columns
    ]
    return Table(table.name, *columns, *table.rules, *more, *table.indexes, numbered=table.numbered)


def back_to_version_8(connection) -> None:
    """Take from a store what version 9 brought: sessions told by hand of any phase."""
    drop_own_triggers(connection)
    rows = connection.execute(select(tables.sessions)).mappings()
    last = connection.run(
        "SELECT seq FROM sqlite_sequence WHERE name = 'sessions'"
        if connection.dialect == "sqlite"
        else "SELECT last_value FROM sessions_id_seq"
    ).scalar()
    connection.run("DROP TABLE sessions")
    old = as_it_was(tables.sessions, Check("phase IN ('drive', 'approach', 'putt')", "phase"))
    old.rules = tuple(rule for rule in old.rules if getattr(rule, "says", "") != "phase <> ''")
    tables.create(connection, old)
    connection.execute(insert(old), rows)
    if last:
        connection.run(
            f"UPDATE sqlite_sequence SET seq = {int(last)} WHERE name = 'sessions'"
            if connection.dialect == "sqlite"
            else f"SELECT setval('sessions_id_seq', {int(last)})"
        )
    connection.execute(update(tables.store_version).values(version=8))
    sealing.seal_all(connection)


def back_to_version_7(connection) -> None:
    """Take from a store what version 8 brought: misses as rows, phases of a card's own."""
    back_to_version_8(connection)
    rows = {
        table: [dict(row) for row in connection.execute(select(table)).mappings()]
        for table in (tables.rounds, tables.holes, tables.throws, tables.misses)
    }
    for table in (tables.throws, tables.holes, tables.misses, tables.rounds):
        connection.run(f"DROP TABLE {table.name}")
    counts = [Column(f"misses_{phase}", INTEGER) for phase in PHASES]
    rounds = as_it_was(tables.rounds, *counts, Check("misses_drive >= 0 AND misses_putt >= 0", "misses"))
    throws = as_it_was(tables.throws, Check("phase IN ('drive', 'approach', 'putt')", "phase"))
    throws.rules = tuple(rule for rule in throws.rules if getattr(rule, "name", "") != "fk_throws_phase")
    for row in rows[tables.rounds]:
        row |= {f"misses_{m['phase']}": m["misses"] for m in rows[tables.misses] if m["round"] == row["id"]}
    for table, of in ((rounds, tables.rounds), (tables.holes, tables.holes), (throws, tables.throws)):
        tables.create(connection, table)
        connection.execute(insert(table), rows[of])
    connection.execute(update(tables.store_version).values(version=7))


def back_to_version_2(connection) -> None:
    """Take from an empty store what versions 3 to 9 brought."""
    back_to_version_7(connection)
    connection.run("DROP TABLE IF EXISTS seals")
    connection.run("DROP TABLE sessions")
    for column in (
        tables.photos.c.whole,
        tables.cards.c.speaks,
        tables.cards.c.glance,
        tables.readings.c.evidence,
    ):
        connection.run(f"ALTER TABLE {column.table.name} DROP COLUMN {column.label}")
    connection.run("DROP TABLE aside")
    connection.run("DROP TABLE asking")
    connection.execute(update(tables.store_version).values(version=2))


KINDS = ["sqlite", *(["postgresql"] if POSTGRES else [])]


@contextmanager
def fresh_place(kind: str, folder: Path) -> Iterator[str]:
    """A place for a store of its own: a file, or a new database on a real server where one is given."""
    if kind == "sqlite":
        yield str(folder / "rounds.sqlite")
        return
    import psycopg

    name = f"shortpencil_{secrets.token_hex(6)}"
    with psycopg.connect(POSTGRES, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
        try:
            yield POSTGRES.rsplit("/", 1)[0] + f"/{name}"
        finally:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=KINDS)
def place(request, tmp_path):
    with fresh_place(request.param, tmp_path) as fresh:
        yield fresh


@pytest.fixture
def store(place):
    with open_store(place, read_form=read_form) as opened:
        yield opened
