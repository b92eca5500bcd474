"""What other systems refuse or lack, refused and lacking here: no lock, no rename of an open file, no limits.

A stand-in for a machine that was not at hand. What it knows is from the documentation of Python: `fcntl` and
`resource` are Unix only; on Windows `os.rename` and `os.replace` fail while the file is open.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from shortpencil.forms import files
from shortpencil.scan import leftovers, limits
from shortpencil.scan.records import backup
from shortpencil.scan.records.store import open_store

pytestmark = pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="needs a list of open files")


def refusing_open(rename: Callable[..., None]) -> Callable[..., None]:
    def refused(source: Any, target: Any, *more: Any) -> None:
        opened = []
        for one in Path("/proc/self/fd").iterdir():
            try:
                opened.append(os.readlink(one))
            except OSError:
                continue
        if os.path.realpath(source) in opened:
            raise PermissionError(13, "in use by another process", str(source))
        rename(source, target, *more)

    return refused


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (files, leftovers, backup):
        monkeypatch.setattr(module, "fcntl", None)
    monkeypatch.setattr(os, "rename", refusing_open(os.rename))
    monkeypatch.setattr(os, "replace", refusing_open(os.replace))
    monkeypatch.delattr(os, "fchmod")


def test_the_stand_in_refuses_what_windows_refuses(windows: None, tmp_path: Path) -> None:
    path = tmp_path / "a"
    with path.open("wb"), pytest.raises(PermissionError):
        os.rename(path, tmp_path / "b")
    os.rename(path, tmp_path / "b")


def test_files_are_written_whole(windows: None, tmp_path: Path) -> None:
    files.write_whole(tmp_path / "a.txt", b"one")
    files.write_whole(tmp_path / "a.txt", b"two")
    with files.whole_file(tmp_path / "b.txt") as stream:
        stream.write(b"three")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "a.txt": b"two",
        "b.txt": b"three",
    }


def test_folders_for_a_while_come_and_go(windows: None) -> None:
    with leftovers.folder_for(leftovers.WORK) as folder:
        assert (folder / ".shortpencil").exists()
    assert not folder.exists()


def test_a_backup_is_written_and_taken_back(windows: None, tmp_path: Path) -> None:
    from datetime import UTC, datetime

    now = datetime(2026, 8, 1, tzinfo=UTC)
    with open_store(tmp_path / "one" / "rounds.sqlite") as store:
        backup.write_backup(tmp_path / "b.zip", store, tmp_path / "forms", now)
    backup.restore(tmp_path / "b.zip", tmp_path / "two" / "rounds.sqlite", tmp_path / "forms2")
    with open_store(tmp_path / "two" / "rounds.sqlite") as store:
        assert store.size() == (0, 0)
    shutil.rmtree(tmp_path / "two")


def test_what_is_not_limited_is_said() -> None:
    assert limits.not_limited_said("linux") == ""
    assert "no limit to the memory of the processes" in limits.not_limited_said("darwin")
    assert "memory, processor time or large files" in limits.not_limited_said("win32")
