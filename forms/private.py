"""Folders and files for their owner's eyes only: what is kept of players is nobody else's."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from pathlib import Path

FOLDER, FILE = 0o700, 0o600


def private_folder(folder: Path) -> None:
    """Make a folder and what is missing above it, each for its owner alone; one that is there stays as it is.

    `Path.mkdir(parents=True)` gives its mode to the last folder only, and the others to everybody.
    """
    for missing in reversed([one for one in (folder, *folder.parents) if not one.exists()]):
        with suppress(FileExistsError):  # another process makes it, too
            os.mkdir(missing, FOLDER)
    if not os.path.isdir(folder):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(folder))


def private_file(path: Path) -> None:
    """Make an empty file for its owner alone, where there is none; a database keeps the mode it finds."""
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, FILE))


def is_open_to_others(path: Path) -> bool:
    """Say whether anybody but the owner has rights on a folder or a file that is there."""
    try:
        return bool(path.lstat().st_mode & 0o077) and not path.is_symlink()
    except OSError:
        return False


def tighten(path: Path) -> None:
    """Take everybody else's rights from a folder or a file of ours that an older version left open."""
    if is_open_to_others(path):
        with suppress(OSError):  # somebody else's
            path.chmod(path.stat().st_mode & 0o700)
