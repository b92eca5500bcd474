"""Folders for a while: gone when their program is done, and, if it was killed, cleared at the next start.

A folder is in use as long as its program holds the lock of a file in it, which the system lets go of with the
program, however that ends. Only folders with that file are ever cleared.
"""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # not on Windows: nothing is told apart there, and nothing cleared
    fcntl = None  # type: ignore[assignment]

UPLOAD, WORK, DEMO = "upload", "work", "demo"
_MARK = ".shortpencil"


class Folder:
    """A new folder for the owner's eyes only, in use until `let_go` or `remove`."""

    def __init__(self, kind: str) -> None:
        self.path = Path(tempfile.mkdtemp(prefix=f"shortpencil-{kind}-"))
        # Locked before it has its name: nobody finds the file and its lock free while the folder is new.
        made = self.path / f"{_MARK}.new"
        self._lock = os.open(made, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        if fcntl is not None:
            with suppress(OSError):
                fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        else:  # Windows renames no file that is open
            self.let_go()
        os.rename(made, self.path / _MARK)

    def let_go(self) -> None:
        """Leave the folder as it is, to be cleared by the next program that asks."""
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    def remove(self) -> None:
        """Remove the folder and all in it."""
        self.let_go()
        shutil.rmtree(self.path, ignore_errors=True)


@contextmanager
def folder_for(kind: str) -> Iterator[Path]:
    """Give a new folder that is removed at the end of the block."""
    folder = Folder(kind)
    try:
        yield folder.path
    finally:
        folder.remove()


def clear(*kinds: str) -> int:
    """Remove the folders of these kinds that no program uses any more; return how many."""
    starts = tuple(f"shortpencil-{kind}-" for kind in kinds)
    removed = 0
    try:
        entries = [entry for entry in os.scandir(tempfile.gettempdir()) if entry.name.startswith(starts)]
    except OSError:
        return 0
    for path in map(Path, entries):
        with suppress(OSError):
            if _is_left_over(path):
                shutil.rmtree(path, ignore_errors=True)
                removed += 1
    return removed


def _is_left_over(path: Path) -> bool:
    """Say whether a folder is our own, of this user, and its lock free."""
    about = path.lstat()
    if fcntl is None or not stat.S_ISDIR(about.st_mode) or about.st_uid != os.getuid():
        return False
    lock = os.open(path / _MARK, os.O_RDWR | os.O_NOFOLLOW)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    finally:
        os.close(lock)
    return True
