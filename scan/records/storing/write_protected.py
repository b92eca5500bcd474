"""A store that lies where nothing can be written, as on a medium that is write-protected: to be looked at.

SQLite makes two files beside a store in write-ahead mode even to read it, and so would open none there.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path


def may_only_be_read(path: Path) -> bool:
    """Say whether a store's file is there, and nothing can be written beside it.

    One whose write-ahead log holds something is left to SQLite: another program, which may write, has it
    open.
    """
    if os.access(path.parent, os.W_OK) or not path.is_file():
        return False
    try:
        return Path(f"{path}-wal").stat().st_size == 0
    except OSError:
        return True


def only_to_read(path: Path) -> sqlite3.Connection:
    """Return a connection to a store that nobody can write to; one thread after another may use it.

    References
    ----------
    SQLite, "URI Filenames", section 3.3: immutable says that the file lies on a read-only medium.
    """
    return sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True, check_same_thread=False)
