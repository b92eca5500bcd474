"""Steps from one version of the store's schema to the next, each whole or not at all.

A new store is made at the newest version. An older one is brought up step by step in one transaction when it
is opened; a newer one is refused, since an old program cannot know what it would break.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from sqlalchemy import Column, Connection, Index, Table, insert, inspect, select, update
from sqlalchemy.schema import CreateColumn

from shortpencil.forms.errors import ForeignStore, RecordError
from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.storing import sealing, tables, told
from shortpencil.scan.records.storing.one_form import names_in_one_form
from shortpencil.scan.records.storing.sealing import SEALS
from shortpencil.scan.records.storing.summary import STORE_SCHEMA


def _keep_hands(connection: Connection) -> None:
    """Bring version 1 to 2: tables for the boxes of each player's hand."""
    tables.hand_boxes.create(connection)
    tables.hands_off.create(connection)


def _keep_several_rounds_of_a_sheet(connection: Connection) -> None:
    """Bring version 2 to 3: what photos rest on, what several say together, rounds set aside."""
    for column in (tables.photos.c.whole, tables.cards.c.speaks, tables.readings.c.evidence):
        _add_column(connection, column)
    tables.aside.create(connection)


def _keep_told_sessions(connection: Connection) -> None:
    """Bring version 3 to 4: a table for sessions of practice told by hand."""
    told.sessions.create(connection)


def _seal(_connection: Connection) -> None:
    """Bring version 4 to 5: each row is sealed, as after every step."""


def _carry_doubt(connection: Connection) -> None:
    """Bring version 5 to 6: how players want to be asked.

    Records say of doubtful values what they may be; the store works them out anew when it is opened.
    """
    tables.asking.create(connection)


def _tell_what_is_seen_together(connection: Connection) -> None:
    """Bring version 6 to 7: which of the fields that wait are seen together on one page."""
    _add_column(connection, tables.cards.c.glance)


def _misses_as_rows(connection: Connection) -> None:
    """Bring version 7 to 8: misses are a row a phase, since a card may have other phases than three.

    Cards of such games were kept without a round; the store works theirs out when it is opened.
    """
    names = ", ".join(f"misses_{phase}" for phase in PHASES)
    rows = connection.exec_driver_sql(f"SELECT id, record, {names} FROM rounds").all()
    found = [one for row in rows for one in _misses_of(row[0], row[1], row[2:])]
    if connection.dialect.name == "sqlite":
        _make_anew(
            connection, tables.rounds, tables.holes, tables.throws, after_first=partial(_fill_misses, found)
        )
    else:
        run = connection.exec_driver_sql
        for phase in PHASES:
            run(f"ALTER TABLE rounds DROP COLUMN misses_{phase}")
        _fill_misses(found, connection)
        run("ALTER TABLE throws DROP CONSTRAINT ck_throws_phase")
        run(
            "ALTER TABLE throws ADD CONSTRAINT fk_throws_phase FOREIGN KEY (round, phase) "
            "REFERENCES misses (round, phase) ON DELETE CASCADE"
        )
    for aside in connection.execute(select(tables.aside)).all():
        kept = json.loads(aside.rows)
        kept[tables.misses.name] = [
            one
            for row in kept["rounds"]
            for one in _misses_of(row["id"], row["record"], [row.pop(f"misses_{p}") for p in PHASES])
        ]
        query = update(tables.aside).where(tables.aside.c.serial == aside.serial)
        connection.execute(query.values(rows=json.dumps(kept, ensure_ascii=False)))


def _misses_of(round_: str, record: str, counts: Iterable[int]) -> Iterator[dict[str, Any]]:
    try:
        tallies = json.loads(record)["tallies"]
    except (ValueError, KeyError, TypeError):  # `check` says so; the columns are no worse for it
        tallies = {}
    for place, (phase, count) in enumerate(zip(PHASES, counts, strict=True), start=1):
        tally = tallies.get(phase, {})
        known = tally.get("value") if tally.get("status", "known") == "known" else None
        yield {"round": round_, "place": place, "phase": phase, "misses": count, "tally": known}


def _tell_sessions_of_any_phase(connection: Connection) -> None:
    """Bring version 8 to 9: a session told by hand may be of any phase, not of three."""
    if connection.dialect.name == "sqlite":
        _make_anew(connection, told.sessions)
    else:
        run = connection.exec_driver_sql
        run("ALTER TABLE sessions DROP CONSTRAINT ck_sessions_phase")
        run("ALTER TABLE sessions ADD CONSTRAINT ck_sessions_phase CHECK (phase <> '')")


def _count_practice_sheets(_: Connection) -> None:
    """Bring version 9 to 10: ladders and field work are practice, which is worked out anew after any step."""


def _say_distances_of_rungs(_: Connection) -> None:
    """Bring version 10 to 11: sets of a ladder say from where, which is worked out anew after any step."""


def _fill_misses(found: Sequence[Mapping[str, Any]], connection: Connection) -> None:
    tables.misses.create(connection)
    if found:
        connection.execute(insert(tables.misses), found)


def _make_anew(
    connection: Connection, *made: Table, after_first: Callable[[Connection], None] = lambda _: None
) -> None:
    """Give tables of a SQLite file their columns and constraints of today.

    SQLite drops no column that a constraint names, and changes no constraint. Those that others refer to come
    first, and what is filled beside the first, `after_first`, before the next; old tables go last and in
    reverse, since rows would go with the row that they refer to.
    """
    run = connection.exec_driver_sql
    for table in made:
        for index in inspect(connection).get_indexes(table.name):
            run(f"DROP INDEX {index['name']}")
        run(f"ALTER TABLE {table.name} RENAME TO old_{table.name}")
    for table in made:
        table.create(connection)
        columns = ", ".join(f'"{column.name}"' for column in table.columns)
        run(f"INSERT INTO {table.name} ({columns}) SELECT {columns} FROM old_{table.name}")
        if table is made[0]:
            after_first(connection)
        if table.dialect_options["sqlite"]["autoincrement"]:  # numbers once given are not given again
            old = f"SELECT seq FROM sqlite_sequence WHERE name = 'old_{table.name}'"
            run(f"DELETE FROM sqlite_sequence WHERE name = '{table.name}'")
            run(f"INSERT INTO sqlite_sequence (name, seq) SELECT '{table.name}', seq FROM ({old})")
    for table in reversed(made):
        run(f"DROP TABLE old_{table.name}")


def _add_column(connection: Connection, column: Column[Any]) -> None:
    says = CreateColumn(column).compile(dialect=connection.dialect)
    connection.exec_driver_sql(f"ALTER TABLE {column.table.name} ADD COLUMN {says}")


#: From version -> what brings the store to the next one.
STEPS: Mapping[int, Callable[[Connection], None]] = {
    1: _keep_hands,
    2: _keep_several_rounds_of_a_sheet,
    3: _keep_told_sessions,
    4: _seal,
    5: _carry_doubt,
    6: _tell_what_is_seen_together,
    7: _misses_as_rows,
    8: _tell_sessions_of_any_phase,
    9: _count_practice_sheets,
    10: _say_distances_of_rungs,
    11: names_in_one_form,
}


def is_up_to_date(connection: Connection) -> bool:
    """Say whether a database is a store of this version, which most are; a look, nothing else."""
    if tables.store_version.name not in inspect(connection).get_table_names():
        return False
    versions = connection.execute(select(tables.store_version.c.version)).scalars().all()
    return versions == [STORE_SCHEMA] and not _missing_indexes(connection)


def _missing_indexes(connection: Connection) -> list[Index]:
    """Return the indexes that a store on a server, made by an earlier release, lacks, and that may be made.

    They change nothing that is stored, so they are no step to another version. Whoever does not own the
    tables cannot make them, and has a slower store.
    """
    if connection.dialect.name != "postgresql":
        return []
    by_table = {column.table.name: index for column, index in tables.BY_BYTES.items()}
    found = connection.exec_driver_sql(
        "SELECT relname FROM pg_class WHERE oid = ANY (%s::regclass[]) AND pg_has_role(relowner, 'USAGE') "
        "AND to_regclass('ix_' || relname || '_bytes') IS NULL",
        (list(by_table),),
    )
    return [by_table[name] for name in found.scalars()]


def _make_indexes(connection: Connection) -> None:
    for index in _missing_indexes(connection):
        index.create(connection)


def bring_up_to_date(
    connection: Connection,
    name: str,
    *,
    steps: Mapping[int, Callable[[Connection], None]] = STEPS,
    newest: int = STORE_SCHEMA,
) -> int:
    """Make the tables in an empty database, or take the steps that an older store lacks.

    Returns the version that was found: 0 for an empty database, `newest` where nothing was to be done.

    Parameters
    ----------
    connection : in a transaction that the caller commits
    name : what to call the store in messages
    steps, newest : the program's own; others for tests

    Raises
    ------
    ForeignStore
        when the database is something else's, or of a newer version
    RecordError
        when an older one is not sound
    """
    found = set(inspect(connection).get_table_names())
    if tables.store_version.name not in found:
        if found:
            raise ForeignStore(
                f"{name}: expected a store of shortpencil, found a database with other tables "
                f"({', '.join(sorted(found)[:3])}…). Name another file or another database."
            )
        tables.metadata.create_all(connection, checkfirst=False)  # there are none
        connection.execute(tables.store_version.insert().values(id=1, version=newest))
        sealing.seal_all(connection)
        return 0
    version: int = connection.execute(select(tables.store_version.c.version)).scalar_one()
    if version > newest:
        raise ForeignStore(
            f"{name}: expected a store of version {newest} or older, found version {version}. "
            "A newer shortpencil wrote it: install that one, or name another store."
        )
    if version == newest:
        _make_indexes(connection)
        return newest
    if version < 1 or (SEALS in found and sealing.all_broken(connection)):
        raise RecordError(
            f"{name}: expected a sound store of version {version}, found rows that changed since they were "
            "written. Nothing was done to it. Look with `shortpencil check`, or restore a backup."
        )
    for step in range(version, newest):
        steps[step](connection)
    connection.execute(update(tables.store_version).values(version=newest))
    _make_indexes(connection)
    sealing.seal_all(connection)  # steps change rows and columns
    return version
