"""Steps from one version of the store's schema to the next, each whole or not at all.

A new store is made at the newest version. An older one is brought up step by step in one transaction when it
is opened; a newer one is refused, since an old program cannot know what it would break.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Column, Connection, inspect, select, update
from sqlalchemy.schema import CreateColumn

from forms.errors import RecordError
from scan.records import sealing, tables, told
from scan.records.sealing import SEALS
from scan.records.summary import STORE_SCHEMA


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
}


def bring_up_to_date(
    connection: Connection,
    name: str,
    *,
    steps: Mapping[int, Callable[[Connection], None]] = STEPS,
    newest: int = STORE_SCHEMA,
) -> bool:
    """Make the tables in an empty database, or take the steps that an older store lacks; say whether it did.

    Parameters
    ----------
    connection : in a transaction that the caller commits
    name : what to call the store in messages
    steps, newest : the program's own; others for tests

    Raises
    ------
    RecordError
        when the database is something else's, or of a newer version
    """
    found = set(inspect(connection).get_table_names())
    if tables.store_version.name not in found:
        if found:
            raise RecordError(
                f"{name}: expected a store of shortpencil, found a database with other tables "
                f"({', '.join(sorted(found)[:3])}…). Name another file or another database."
            )
        tables.metadata.create_all(connection)
        connection.execute(tables.store_version.insert().values(id=1, version=newest))
        sealing.seal_all(connection)
        return True
    version = connection.execute(select(tables.store_version.c.version)).scalar_one()
    if version > newest:
        raise RecordError(
            f"{name}: expected a store of version {newest} or older, found version {version}. "
            "A newer shortpencil wrote it: install that one, or name another store."
        )
    if version == newest:
        return False
    if version < 1 or (SEALS in found and sealing.all_broken(connection)):
        raise RecordError(
            f"{name}: expected a sound store of version {version}, found rows that changed since they were "
            "written. Nothing was done to it. Look with `shortpencil check`, or restore a backup."
        )
    for step in range(version, newest):
        steps[step](connection)
    connection.execute(update(tables.store_version).values(version=newest))
    sealing.seal_all(connection)  # steps change rows and columns
    return True
