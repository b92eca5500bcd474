"""The list of rounds without the database library, which alone takes longer to load than a list may take.

SQLAlchemy costs about 180 ms at start, the standard library's driver 10 ms (measured, Python 3.11). Only a
sound store of this very version is read here; anything else is left to `store`, which knows what to do.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from shortpencil.scan.records.storing.summary import (
    COLUMNS,
    ORDER,
    STORE_SCHEMA,
    UNDATED,
    Summary,
    Undated,
    undated_of,
    with_misses,
)
from shortpencil.scan.records.storing.write_protected import may_only_be_read, only_to_read


def quick_summaries(path: Path) -> tuple[Summary, ...] | None:
    """Return the lines of all rounds in a store's file; None where `store` must look at it."""
    columns = ", ".join(COLUMNS)
    try:
        with _opened(path) as connection:
            if connection.execute("SELECT version FROM store_version").fetchall() != [(STORE_SCHEMA,)]:
                return None
            rows = connection.execute(f"SELECT {columns} FROM rounds ORDER BY {', '.join(ORDER)}").fetchall()
            misses = connection.execute(
                "SELECT round, phase, misses FROM misses ORDER BY round, place"
            ).fetchall()
        return with_misses(map(_typed, rows), misses)
    except (sqlite3.Error, ValueError, TypeError):
        return None


def quick_undated(path: Path) -> dict[str, Undated] | None:
    """Return what is said of the day of rounds without one; None where `store` must look at it."""
    try:
        with _opened(path) as connection:
            return {row[0]: undated_of(row[1], row[2]) for row in connection.execute(UNDATED)}
    except (sqlite3.Error, ValueError, TypeError):
        return None


def has_other_sheets(path: Path) -> bool | None:
    """Say whether a store's file holds a card without a round; None where `store` must look at it."""
    query = "SELECT EXISTS (SELECT 1 FROM cards WHERE serial NOT IN (SELECT id FROM rounds))"
    try:
        with _opened(path) as connection:
            if connection.execute("SELECT version FROM store_version").fetchall() != [(STORE_SCHEMA,)]:
                return None
            return bool(connection.execute(query).fetchone()[0])
    except (sqlite3.Error, ValueError, TypeError):
        return None


def _opened(path: Path) -> closing[sqlite3.Connection]:
    """Open a store's file; none is made.

    To write as well, where that is allowed: whoever may only read leaves the write-ahead log behind, empty,
    as if another program had the store open.
    """
    if may_only_be_read(path):
        return closing(only_to_read(path))
    return closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True))


def _typed(row: Sequence[Any]) -> Sequence[Any]:
    values = list(row)
    at = COLUMNS.index("played_on")
    values[at] = date.fromisoformat(values[at]) if values[at] else None
    return values
