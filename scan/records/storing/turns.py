"""A writer's turn: one program writes at a time, and who comes second waits for the first.

Ten seconds are enough where each card is a transaction of milliseconds. An import is one transaction whatever
its size, and may hold a store for minutes; who has read photos meanwhile waits on, and says for what.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

BUSY_MS = 10_000  # a batch of another program commits a card in a few ms; ten seconds means it hangs
SERVER_LOCK = 0x53504E43  # any number that other programs on the server are unlikely to lock
#: Whoever waits beyond that looks so often, and can be stopped so soon: SQLite waits deaf to Ctrl+C.
_LOOK_MS = 500
_TAKEN = "55P03"  # PostgreSQL's lock_not_available


class StillTakenError(Exception):
    """Another program wrote all the time, so many seconds."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait for a store that another program writes to, beyond the ten seconds of everybody.

    Attributes
    ----------
    waits : called when those are over, and again each minute
    most_s : then it is given up
    """

    waits: Callable[[], None]
    most_s: float = 600.0
    said_again_s: float = 60.0


def begin_in_file(connection: Connection, patience: Patience | None) -> None:
    """Begin a transaction that writes into a SQLite file, and has its lock.

    Raises
    ------
    StillTakenError
        when it is still locked at the end of the patience; the driver's error where there is none
    """
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        return
    except DBAPIError as error:
        if patience is None or not _is_busy(error):
            raise
    connection.exec_driver_sql(f"PRAGMA busy_timeout = {_LOOK_MS}")
    try:
        _wait(lambda: connection.exec_driver_sql("BEGIN IMMEDIATE"), _is_busy, patience)
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {BUSY_MS}")


def begin_on_server(connection: Connection, patience: Patience | None) -> None:
    """Let one writer in at a time, as SQLite does; a card takes it for milliseconds.

    Raises
    ------
    StillTakenError
        when another one writes still at the end of the patience; where there is none, it is waited for
    """
    run = connection.exec_driver_sql
    lock = f"SELECT pg_advisory_xact_lock({SERVER_LOCK})"
    if patience is None:
        run(lock)
        return
    if run(f"SELECT pg_try_advisory_xact_lock({SERVER_LOCK})").scalar():
        return

    def try_for(ms: int) -> None:
        try:
            run(f"SET LOCAL lock_timeout = {ms}")
            run(lock)
            run("SET LOCAL lock_timeout TO DEFAULT")
        except DBAPIError:  # nothing was done yet, and the next try begins anew
            with suppress(Exception):  # the error that led here says more
                connection.connection.rollback()
            raise

    def is_taken(error: DBAPIError) -> bool:
        return getattr(error.orig, "sqlstate", None) == _TAKEN

    try:
        try_for(BUSY_MS)
    except DBAPIError as error:
        if not is_taken(error):
            raise
        _wait(lambda: try_for(_LOOK_MS), is_taken, patience)


def _wait(take: Callable[[], object], is_taken: Callable[[DBAPIError], bool], patience: Patience) -> None:
    """Try to take the turn until it is there, and say so at times."""
    begun = said = time.monotonic()
    patience.waits()
    while True:
        try:
            take()
            return
        except DBAPIError as error:
            now = time.monotonic()
            if not is_taken(error):
                raise
            if now - begun > patience.most_s:
                raise StillTakenError(patience.most_s) from error
        if now - said > patience.said_again_s:
            said = now
            patience.waits()


def _is_busy(error: DBAPIError) -> bool:
    code = getattr(error.orig, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == sqlite3.SQLITE_BUSY
