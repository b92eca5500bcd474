from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import CheckConstraint, Column, Integer, MetaData, select

from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import sealing, tables, told
from tests.records.cards import round_form

POSTGRES = os.environ.get("SHORTPENCIL_TEST_POSTGRES")  # as in postgresql://postgres@127.0.0.1/postgres


def read_form(text: str):
    """Stand in for the field map: the text names one of the test forms."""
    holes, unit = text.split()
    return round_form(int(holes), unit=unit)


def drop_own_triggers(connection) -> None:
    """Take from a connection the triggers of its own that seal what is written; PostgreSQL has none."""
    if connection.dialect.name == "sqlite":
        triggers = "SELECT name FROM sqlite_temp_master WHERE type = 'trigger'"
        for name in connection.exec_driver_sql(triggers).scalars().all():
            connection.exec_driver_sql(f"DROP TRIGGER {name}")


def back_to_version_8(connection) -> None:
    """Take from a store what version 9 brought: sessions told by hand of any phase."""
    drop_own_triggers(connection)
    rows = [dict(row) for row in connection.execute(select(told.sessions)).mappings()]
    last = connection.exec_driver_sql(
        "SELECT seq FROM sqlite_sequence WHERE name = 'sessions'"
        if connection.dialect.name == "sqlite"
        else "SELECT last_value FROM sessions_id_seq"
    ).scalar()
    told.sessions.drop(connection)
    old = told.sessions.to_metadata(MetaData(naming_convention=tables.metadata.naming_convention))
    old.append_constraint(CheckConstraint("phase IN ('drive', 'approach', 'putt')", name="phase"))
    old.constraints = {one for one in old.constraints if str(getattr(one, "sqltext", "")) != "phase <> ''"}
    old.create(connection)
    if rows:
        connection.execute(old.insert(), rows)
    if last:
        connection.exec_driver_sql(
            f"UPDATE sqlite_sequence SET seq = {int(last)} WHERE name = 'sessions'"
            if connection.dialect.name == "sqlite"
            else f"SELECT setval('sessions_id_seq', {int(last)})"
        )
    connection.execute(tables.store_version.update().values(version=8))
    sealing.seal_all(connection)


def back_to_version_7(connection) -> None:
    """Take from a store what version 8 brought: misses as rows, phases of a card's own."""
    back_to_version_8(connection)
    rows = {
        table: [dict(row) for row in connection.execute(select(table)).mappings()]
        for table in (tables.rounds, tables.holes, tables.throws, tables.misses)
    }
    for table in (tables.throws, tables.holes, tables.misses, tables.rounds):
        table.drop(connection)
    old = MetaData(naming_convention=tables.metadata.naming_convention)
    rounds, holes, throws = (one.to_metadata(old) for one in (tables.rounds, tables.holes, tables.throws))
    rounds.indexes = {one for one in rounds.indexes if one.name != "ix_rounds_bytes"}  # there was none yet
    for phase in PHASES:
        rounds.append_column(Column(f"misses_{phase}", Integer, nullable=False))
    rounds.append_constraint(CheckConstraint("misses_drive >= 0 AND misses_putt >= 0", name="misses"))
    throws.constraints = {one for one in throws.constraints if one.name != "fk_throws_phase"}
    throws.append_constraint(CheckConstraint("phase IN ('drive', 'approach', 'putt')", name="phase"))
    for row in rows[tables.rounds]:
        row |= {f"misses_{m['phase']}": m["misses"] for m in rows[tables.misses] if m["round"] == row["id"]}
    for table, of in ((rounds, tables.rounds), (holes, tables.holes), (throws, tables.throws)):
        table.create(connection)
        if rows[of]:
            connection.execute(table.insert(), rows[of])
    connection.execute(tables.store_version.update().values(version=7))


def back_to_version_2(connection) -> None:
    """Take from an empty store what versions 3 to 9 brought."""
    back_to_version_7(connection)
    connection.exec_driver_sql("DROP TABLE IF EXISTS seals")
    told.sessions.drop(connection)
    for column in (
        tables.photos.c.whole,
        tables.cards.c.speaks,
        tables.cards.c.glance,
        tables.readings.c.evidence,
    ):
        connection.exec_driver_sql(f"ALTER TABLE {column.table.name} DROP COLUMN {column.name}")
    tables.aside.drop(connection)
    tables.asking.drop(connection)
    connection.execute(tables.store_version.update().values(version=2))


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
        # One that sorts by a language's rules, as most do, however the server was set up.
        language = "TEMPLATE template0 ENCODING 'UTF8' LOCALE_PROVIDER icu ICU_LOCALE 'en-US'"
        language = language if server.info.server_version >= 150_000 else ""
        server.execute(f"CREATE DATABASE {name} {language}")
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
