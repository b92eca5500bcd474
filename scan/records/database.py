"""Opening a database: SQLite in a file or PostgreSQL by URL, and what their refusals mean in words.

SQLite runs in write-ahead mode with a full sync at each commit: a killed program or a lost battery costs
nothing that was committed (0.15 ms a card on the machine measured, against a sync that may lose the last
ones). Writers take their lock when they begin, so that two of them wait for each other instead of failing
half way.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import SplitResult, parse_qsl, urlencode, urlsplit

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.private import private_file, private_folder
from shortpencil.scan.records import sealing
from shortpencil.scan.records.connection import Connection, Database, NotOneRow, end

BUSY_MS = 10_000  # a batch of another program commits a card in a few ms; ten seconds means it hangs
BUSY_PAUSE_S = 0.01
SERVER_LOCK = 0x53504E43  # any number that other programs on the server are unlikely to lock
SQLITE_PRAGMAS = (
    f"PRAGMA busy_timeout = {BUSY_MS}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA secure_delete = ON",  # what is deleted is overwritten, also before the file is written anew
    "PRAGMA cache_size = -32768",  # in KiB: a transaction of 250 rounds is not written out before it ends
    "PRAGMA trusted_schema = OFF",  # a store from elsewhere runs no code of its own
)

_DAMAGED = "expected a sound database, found a damaged one. Restore a backup: shortpencil restore FILE."
#: What a database says -> what that means and what to do. First match counts.
_MEANINGS = (
    ("file is not a database", "expected a store, found a file that is no database. Name another file."),
    ("malformed", _DAMAGED),
    (
        "disk is full",
        "expected room to write, found a full disk. Nothing of this card was stored; make room, try again.",
    ),
    ("disk i/o error", "expected a disk that answers, found an input/output error. Nothing was stored."),
    (
        "locked",
        f"expected the store within {BUSY_MS // 1000} s, found it locked by another program. "
        "Close that program and try again.",
    ),
    ("readonly", "expected a store that may be written, found a read-only one. Check the file's rights."),
    ("read-only", "expected a store that may be written, found a read-only one. Check the file's rights."),
    (
        "connection",
        "expected a database server that answers, found none. Is it running? Are host, port and name right?",
    ),
    (
        "unable to open",
        "expected a folder that may be written, found that the store cannot be opened there. "
        "Check the folder's rights or name another place with --store.",
    ),
)


@dataclass(frozen=True, slots=True)
class Url:
    """Where a store is: a SQLite database in a file, or one of a PostgreSQL server.

    Attributes
    ----------
    file : of a SQLite database; None for a server
    server : address of the database on a server, as its own tools take it; None for a file
    """

    file: str | None = None
    server: str | None = None

    def shown(self, password: str | None = "***") -> str:
        """Return it for people, with other letters in place of a password, or without one."""
        if self.server is None:
            return self.file or ""
        url = urlsplit(self.server)
        given = [(name, value) for name, value in parse_qsl(url.query) if name != "password"]
        query = f"?{urlencode(given, safe='/:')}" if given else ""
        return f"{url.scheme}://{_hidden(url, password)}{url.path}{query}"


def _hidden(url: SplitResult, password: str | None) -> str:
    user, at, host = url.netloc.rpartition("@")
    name, colon, _ = user.partition(":")
    return f"{name}:{password}@{host}" if colon and password else f"{name}{at}{host}"


def database_url(place: str | Path) -> Url:
    """Return where a store is that is given as a file or as a database URL.

    Raises
    ------
    InputError
        when a URL is of a kind that shortpencil has no use for
    """
    text = str(place)
    if "://" not in text:
        return Url(file=os.path.abspath(text))
    kind, _, rest = text.partition("://")
    with suppress(ValueError):  # of brackets that hold no address
        if kind in ("postgresql", "postgresql+psycopg"):
            url = Url(server=f"postgresql://{rest}")
            url.shown()
            return url
        if kind == "sqlite" and rest.startswith("/") and len(rest) > 1:
            return Url(file=rest[1:])
    raise InputError(
        "--store: expected a file, or a URL that begins with postgresql:// or sqlite:///; "
        f"found one that begins with {kind!r}."
    )


def store_name(url: Url) -> str:
    """Return what to call a store in messages: its file, or its URL without the password."""
    return url.shown()


def make_folder_of(url: Url) -> None:
    """Make the folder of a store that is a file, and the file; new ones are for their owner's eyes only.

    Raises
    ------
    RecordError
        when the folder cannot be made
    """
    if url.file is None:
        return
    folder = Path(url.file).parent
    try:
        private_folder(folder)
    except OSError as error:
        raise RecordError(
            f"{url.file}: expected a folder for the store, found that {folder} cannot be made: "
            f"{error.strerror}. Name another place with --store."
        ) from error
    with suppress(OSError):  # the database says better why it cannot be opened
        private_file(Path(url.file))


def make_database(url: Url) -> Database:
    """Return a database whose transactions begin and end as this module promises; connects to nothing yet.

    Raises
    ------
    RecordError
        when the database's driver is not installed
    """
    if url.file is not None:
        return Database(url, lambda: _sqlite(url.file or ""))
    try:
        import psycopg
    except ImportError as error:
        raise RecordError(
            f"{store_name(url)}: expected the driver of this database, found none ({error}). "
            "Install it with: pip install 'shortpencil[postgres]'."
        ) from error

    def server() -> Connection:
        return Connection(psycopg.connect(url.server or ""), "postgresql")

    # A server may have been started anew meanwhile: a connection that waited is asked before it is used.
    return Database(url, server, _still_answers)


@contextmanager
def reading(database: Database) -> Iterator[Connection]:
    """Give a connection whose queries all see one state of the store."""
    with _transaction(database, writes=False) as connection:
        yield connection


@contextmanager
def writing(database: Database) -> Iterator[Connection]:
    """Give a connection in one transaction: whole when the block ends, absent when it raises."""
    with _transaction(database, writes=True) as connection:
        yield connection


@contextmanager
def _transaction(database: Database, *, writes: bool) -> Iterator[Connection]:
    with _in_words(database.url):
        connection = database.take()
        try:
            _begin(connection, writes)
            yield connection
            connection.commit()
        except BaseException:
            try:
                connection.rollback()
            except _refusals():  # what came first says more
                end(connection)
            raise
        finally:
            database.give_back(connection)


def _begin(connection: Connection, writes: bool) -> None:
    if connection.dialect == "sqlite":
        connection.run("BEGIN IMMEDIATE" if writes else "BEGIN")
    elif writes:  # one writer at a time, as with SQLite; a card takes it for milliseconds
        connection.run(f"SELECT pg_advisory_xact_lock({SERVER_LOCK})")


def wipe(database: Database, tables: Sequence[str]) -> None:
    """Overwrite what deleted rows left behind: a database only marks their place as free.

    SQLite's file is written anew and its write-ahead log cut; while another program has the store open, the
    log is cut when the last one closes it. PostgreSQL writes the tables anew; its own log and backups are
    beyond reach here.
    """
    with _in_words(database.url):
        connection = database.take()
        try:
            if connection.dialect == "sqlite":
                commands = ["VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"]
            else:
                connection.driver.autocommit = True  # no transaction may be open around a vacuum
                commands = [f"VACUUM (FULL) {table}" for table in tables]
            for command in commands:
                connection.run(command)
        finally:
            end(connection)


def copy_file(database: Database, path: Path) -> None:
    """Copy a SQLite database, as it is at one moment, into a new file that only its owner may read.

    Raises
    ------
    RecordError
        for a database on a server, which has tools of its own
    """
    if database.url.file is None:
        raise RecordError(
            f"{store_name(database.url)}: expected a store in a file, found one on a server. Its own tools "
            "copy it: pg_dump and pg_restore, see docs/moving.md."
        )
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    with _in_words(database.url):
        connection = database.take()
        try:
            with closing(sqlite3.connect(path)) as target:
                connection.driver.backup(target)
        finally:
            database.give_back(connection)


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


def _sqlite(file: str) -> Connection:
    # Transactions are begun here: the driver would begin them by itself, and too late.
    driver = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    try:
        until = time.monotonic() + BUSY_MS / 1000
        for pragma in SQLITE_PRAGMAS:
            while True:
                try:
                    driver.execute(pragma)
                    break
                except sqlite3.OperationalError as error:
                    # Two programs that turn a new file to write-ahead mode at once: SQLite refuses one of
                    # them without waiting, since waiting for a lock that both hold would never end.
                    if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                        raise
                    time.sleep(BUSY_PAUSE_S)
        sealing.attend(driver)
    except BaseException:
        driver.close()
        raise
    return Connection(driver, "sqlite")


def _still_answers(connection: Connection) -> bool:
    try:
        connection.run("SELECT 1")
        connection.rollback()
    except _refusals():
        end(connection)
        return False
    return True


def _refusals() -> tuple[type[Exception], ...]:
    """Return what the drivers that are loaded raise when a database refuses."""
    driver = sys.modules.get("psycopg")
    return (sqlite3.Error,) if driver is None else (sqlite3.Error, driver.Error)


@contextmanager
def _in_words(url: Url) -> Iterator[None]:
    try:
        yield
    except (UnicodeDecodeError, NotOneRow) as error:
        # A driver decodes names, texts and its own messages from the file.
        raise RecordError(f"{store_name(url)}: {_DAMAGED}") from error
    except _refusals() as error:
        said = str(error).strip()
        for sign, meaning in _MEANINGS:
            if sign in said.lower():
                raise RecordError(f"{store_name(url)}: {meaning}") from error
        raise RecordError(
            f"{store_name(url)}: the database refused: {said.splitlines()[0] if said else repr(error)}."
        ) from error
