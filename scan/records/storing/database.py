"""Opening a database: SQLite in a file or PostgreSQL by URL, and what their refusals mean in words.

SQLite runs in write-ahead mode with a full sync at each commit: a killed program or a lost battery costs
nothing that was committed (0.15 ms a card on the machine measured, against a sync that may lose the last
ones). Writers take their lock when they begin, so that two of them wait for each other instead of failing
half way.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Column, ColumnElement, Connection, Engine, String, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry

from shortpencil.forms.errors import InputError, OutOfReach, RecordError
from shortpencil.forms.private import private_file, private_folder
from shortpencil.scan.language import N_, carried
from shortpencil.scan.records.storing import sealing
from shortpencil.scan.records.storing.turns import (
    BUSY_MS,
    Patience,
    StillTakenError,
    begin_in_file,
    begin_on_server,
)
from shortpencil.scan.records.storing.write_protected import may_only_be_read, only_to_read

SEALING = "sealing"  # in a connection's info, once what it writes is sealed
BUSY_PAUSE_S = 0.01
SQLITE_PRAGMAS = (
    f"PRAGMA busy_timeout = {BUSY_MS}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA secure_delete = ON",  # what is deleted is overwritten, also before the file is written anew
    "PRAGMA trusted_schema = OFF",  # a store from elsewhere runs no code of its own
)
#: In KiB: a transaction of 250 rounds is not written out before it ends. Whoever only reads gains nothing by
#: it, and pays for the memory.
SQLITE_CACHE_OF_A_WRITER = "PRAGMA cache_size = -32768"


def by_bytes(column: Column[Any], connection: Connection) -> ColumnElement[Any]:
    """Return a column as one to sort by: texts by their bytes, none first, whatever a server is used to.

    A server sorts by the rules of a language, in which a dash counts for nothing and A is next to a, and
    puts none last; in a file both are as said here.
    """
    if connection.dialect.name == "sqlite" or not isinstance(column.type, String):
        return column
    return column.collate("C").nulls_first()


_DAMAGED = N_("expected a sound database, found a damaged one. Restore a backup: shortpencil restore FILE.")
#: What a database says of its file -> what that means and what to do.
_OF_THE_FILE = (
    ("file is not a database", N_("expected a store, found a file that is no database. Name another file.")),
    ("malformed", _DAMAGED),
)
#: The same of how things stand: of disk, rights, server and other programs. First match counts.
_OF_ITS_PLACE = (
    (
        "disk is full",
        N_(
            "expected room to write, found a full disk. What was being written is not kept; make room, "
            "try again."
        ),
    ),
    ("disk i/o error", N_("expected a disk that answers, found an input/output error. Nothing was stored.")),
    (
        "locked",
        carried(
            f"expected the store within {BUSY_MS // 1000} s, found it locked by another program. "
            "Close that program and try again."
        ),
    ),
    ("readonly", N_("expected a store that may be written, found a read-only one. Check the file's rights.")),
    (
        "read-only",
        N_("expected a store that may be written, found a read-only one. Check the file's rights."),
    ),
    (
        "connection",
        N_(
            "expected a database server that answers, found none. Is it running? Are host, port and name "
            "right?"
        ),
    ),
    (
        "unable to open",
        N_(
            "expected a store that may be opened, found that it cannot be opened there. "
            "Check the rights of the file and of its folder, or name another place with --store."
        ),
    ),
)


def database_url(place: str | Path) -> URL:
    """Return the URL of a store given as a file or as a database URL.

    Raises
    ------
    InputError
        when a URL is of a kind that shortpencil has no use for
    """
    text = str(place)
    if "://" not in text:
        return URL.create("sqlite", database=os.path.abspath(text))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):  # the latter of a port that is no number
        url = None
    if url is None and text.startswith("postgresql"):
        raise InputError(
            "--store: expected a URL as in postgresql://user@host/database, found one that is none."
        )
    if url is None or url.get_backend_name() not in ("sqlite", "postgresql"):
        raise InputError(
            "--store: expected a file, or a URL that begins with postgresql:// or sqlite:///; "
            f"found one that begins with {text.split('://', maxsplit=1)[0]!r}."
        )
    if url.get_backend_name() == "sqlite" and (
        url.database in (None, "", ":memory:") or "\0" in url.database
    ):
        raise InputError("--store: expected the name of a file behind sqlite:///, found none.")
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    return url


def store_name(url: URL) -> str:
    """Return what to call a store in messages: its file, or its URL without the password."""
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    # PostgreSQL's own library takes a password behind the question mark, too.
    return url.difference_update_query(["password"]).render_as_string(hide_password=True)


def make_folder_of(url: URL) -> None:
    """Make the folder of a store that is a file, and the file; new ones are for their owner's eyes only.

    Raises
    ------
    RecordError
        when the folder cannot be made
    """
    if url.get_backend_name() != "sqlite" or url.database is None:
        return
    folder = Path(url.database).parent
    try:
        private_folder(folder)
    except OSError as error:
        raise RecordError(
            f"{url.database}: expected a folder for the store, found that {folder} cannot be made: "
            f"{error.strerror}. Name another place with --store."
        ) from error
    with suppress(OSError):  # the database says better why it cannot be opened
        private_file(Path(url.database))


def make_engine(url: URL, patience: Patience | None = None) -> Engine:
    """Return an engine whose transactions begin and end as this module promises; connects to nothing yet.

    Parameters
    ----------
    patience : how to wait for a store that another program writes to for long; None gives it up soon

    Raises
    ------
    RecordError
        when the database's driver is not installed
    """
    how: dict[str, Any] = {}
    if url.get_backend_name() != "sqlite":
        # It may have been started anew since the last request: ask a kept connection before using it.
        how = {"pool_pre_ping": True}
    elif url.database and may_only_be_read(Path(url.database)):
        how = {"creator": partial(only_to_read, Path(url.database))}
    try:
        engine = create_engine(url, **how)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise RecordError(
            f"{store_name(url)}: expected the driver of this database, found none ({error}). "
            "Install it with: pip install 'shortpencil[postgres]'."
        ) from error
    begins = _begin_server
    if url.get_backend_name() == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        begins = _begin_sqlite
    event.listen(engine, "begin", lambda connection: begins(connection, patience))
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection whose queries all see one state of the store; a server lets it write nothing."""
    with _in_words(engine.url), engine.connect() as connection:
        if engine.url.get_backend_name() != "sqlite":
            # As a server does it by itself, each query sees what was committed before that query.
            connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection in one transaction: whole when the block ends, absent when it raises."""
    with (
        _in_words(engine.url),
        engine.connect() as connection,
        connection.execution_options(writes=True).begin(),
    ):
        yield connection


def wipe(engine: Engine, tables: Sequence[str]) -> None:
    """Overwrite what deleted rows left behind: a database only marks their place as free.

    SQLite's file is written anew and its write-ahead log cut; while another program has the store open, the
    log is cut when the last one closes it. PostgreSQL writes the tables anew; its own log and backups are
    beyond reach here.
    """
    if engine.url.get_backend_name() == "sqlite":
        commands = ["VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"]
    else:
        commands = [f"VACUUM (FULL) {table}" for table in tables]
    with _in_words(engine.url):
        pooled = engine.raw_connection()
        try:
            connection = pooled.driver_connection
            assert connection is not None
            if engine.url.get_backend_name() != "sqlite":
                connection.autocommit = True  # no transaction may be open around a vacuum
            for command in commands:
                connection.execute(command)
        finally:
            pooled.invalidate()


def copy_file(engine: Engine, path: Path) -> None:
    """Copy a SQLite database, as it is at one moment, into a new file that only its owner may read.

    Raises
    ------
    RecordError
        for a database on a server, which has tools of its own
    """
    if engine.url.get_backend_name() != "sqlite":
        raise RecordError(
            f"{store_name(engine.url)}: expected a store in a file, found one on a server. Its own tools "
            "copy it: pg_dump and pg_restore, see docs/moving.md."
        )
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    with _in_words(engine.url):
        pooled = engine.raw_connection()
        try:
            source = pooled.driver_connection
            assert isinstance(source, sqlite3.Connection)
            with closing(sqlite3.connect(path)) as target:
                source.backup(target)
        finally:
            pooled.close()


def remove_file_if_empty(path: Path, tables: Sequence[str]) -> bool:
    """Remove a SQLite database in none of whose tables is a row, while nobody else has it open.

    A connection that only waits keeps a file's write-ahead mode from being left, so leaving it says whether
    there is one; the file goes while this connection alone may use it.
    """
    gone = False
    try:
        address = f"{path.absolute().as_uri()}?mode=rw"  # makes none
        with closing(sqlite3.connect(address, uri=True, timeout=0, isolation_level=None)) as driver:
            driver.execute("PRAGMA journal_mode = DELETE")
            driver.execute("BEGIN EXCLUSIVE")
            if any(driver.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone() for table in tables):
                return False
            with suppress(PermissionError):  # Windows removes no file that is open
                path.unlink()
                gone = True
    except (sqlite3.Error, OSError):
        return False
    if not gone:
        path.unlink(missing_ok=True)
    return True


def _prepare_sqlite(connection: Any, _entry: ConnectionPoolEntry) -> None:
    connection.isolation_level = None  # else the driver begins transactions by itself, and too late
    until = time.monotonic() + BUSY_MS / 1000
    for pragma in SQLITE_PRAGMAS:
        while True:
            try:
                connection.execute(pragma)
                break
            except sqlite3.OperationalError as error:
                # Two programs that turn a new file to write-ahead mode at once: SQLite refuses one of them
                # without waiting, since waiting for a lock that both hold would never end.
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
                time.sleep(BUSY_PAUSE_S)
    sealing.make_known(connection)


def _begin_sqlite(connection: Connection, patience: Patience | None) -> None:
    writes = connection.get_execution_options().get("writes", False)
    if writes:
        if SEALING not in connection.info:  # most of opening a store, which only looking spares
            connection.exec_driver_sql(SQLITE_CACHE_OF_A_WRITER)
            # Where there are no seals yet it is asked again before the next transaction: of two programs
            # that make a store in one empty file the second finds none here, and has waited for the first's
            # by then.
            if sealing.attend(connection.connection.driver_connection):
                connection.info[SEALING] = True
        begin_in_file(connection, patience)
    else:
        connection.exec_driver_sql("BEGIN")


def _begin_server(connection: Connection, patience: Patience | None) -> None:
    if connection.get_execution_options().get("writes", False):
        begin_on_server(connection, patience)


@contextmanager
def _in_words(url: URL) -> Iterator[None]:
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        said = str(error.orig if isinstance(error, DBAPIError) else error).strip()
        if sealing.ENDED_EARLY in said and sealing.ended_by_a_stop():
            raise KeyboardInterrupt from error
        for kind, meanings in ((RecordError, _OF_THE_FILE), (OutOfReach, _OF_ITS_PLACE)):
            for sign, meaning in meanings:
                if sign in said.lower():
                    raise kind(f"{store_name(url)}: {meaning}") from error
        raise RecordError(
            f"{store_name(url)}: the database refused: {said.splitlines()[0] if said else error}."
        ) from error
    except StillTakenError as error:
        minutes = round(error.args[0] / 60)
        raise OutOfReach(
            f"{store_name(url)}: expected the store within {minutes} minutes, found it locked by another "
            "program all the time. Close that program and try again."
        ) from error
    except UnicodeDecodeError as error:  # the driver decodes names, texts and its own messages from the file
        raise RecordError(f"{store_name(url)}: {_DAMAGED}") from error
    except SQLAlchemyError as error:
        raise RecordError(f"{store_name(url)}: the database refused: {error}.") from error
