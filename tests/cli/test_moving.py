"""`backup`, `restore`, `check` from the command line: what they say, exit codes, what they refuse."""

from __future__ import annotations

import errno
import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main
from shortpencil.scan.records import backup
from shortpencil.scan.records.store import open_store
from tests.records.filled import add_card, fill, rows


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    fill(tmp_path / "home" / "rounds.sqlite", cards=2)
    return tmp_path / "home"


def damage(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE rounds SET score = 1 WHERE id = 'CARD0001'")
        connection.commit()


def test_to_another_house_and_back(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    saved, before = tmp_path / "all.zip", rows(home / "rounds.sqlite")
    assert main(["backup", str(saved)]) == 0
    assert capsys.readouterr().out == f"{saved}: 2 rounds, 2 cards, 0 forms, the names on 0 printed cards.\n"
    assert main(["backup", str(saved)]) == 2
    assert "expected a new file" in capsys.readouterr().err

    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "new"))
    assert main(["restore", str(saved), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["cards"] == 2
    assert rows(tmp_path / "new" / "rounds.sqlite") == before
    assert main(["check"]) == 0
    assert "2 rounds, 2 cards, all as they were written." in capsys.readouterr().out


def test_what_is_there_is_replaced_only_when_told_and_kept_then(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other.sqlite"
    fill(other, cards=1)
    assert main(["backup", str(tmp_path / "other.zip"), "--store", str(other)]) == 0
    before = rows(home / "rounds.sqlite")
    assert main(["restore", str(tmp_path / "other.zip")]) == 2
    assert "say --replace" in capsys.readouterr().err
    assert rows(home / "rounds.sqlite") == before
    assert main(["restore", str(tmp_path / "other.zip"), "--replace"]) == 0
    assert rows(home / "rounds.sqlite") == rows(other)
    (kept,) = home.glob("rounds-before-*.zip")
    assert str(kept) in capsys.readouterr().err
    assert main(["restore", str(kept), "--replace"]) == 0
    assert rows(home / "rounds.sqlite") == before


def test_check_names_what_is_wrong_and_no_export_is_made_of_it(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    damage(home / "rounds.sqlite")
    assert main(["check"]) == 1
    assert "  round CARD0001: not as it was written" in capsys.readouterr().out
    assert main(["check", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["sound"] is False
    for command in (["export", str(tmp_path / "out")], ["backup", str(tmp_path / "all.zip")], ["focus"]):
        assert main(command) == 2
        assert "CARD0001" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / "all.zip").exists()


def test_check_warns_of_copying_a_store_that_is_in_use(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check"]) == 0
    assert "copy" not in capsys.readouterr().err
    with open_store(home / "rounds.sqlite") as store:
        add_card(store, 7)
        assert main(["check"]) == 0
        assert "Do not copy the file" in capsys.readouterr().err
        shutil.copy(home / "rounds.sqlite", tmp_path / "copy.sqlite")  # what the warning is about
        with open_store(tmp_path / "copy.sqlite") as copied:
            assert copied.size()[1] == store.size()[1] - 1
    assert main(["check"]) == 0
    assert "copy" not in capsys.readouterr().err


def test_check_of_no_store_and_of_no_database(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--store", str(tmp_path / "none.sqlite")]) == 2
    assert "found none" in capsys.readouterr().err
    (tmp_path / "text.sqlite").write_text("hello, this is no database " * 100)
    assert main(["check", "--store", str(tmp_path / "text.sqlite")]) == 1
    assert "no database" in capsys.readouterr().out


def test_a_damaged_store_is_replaced_all_the_same(home: Path, tmp_path: Path) -> None:
    """Who restores needs it most where nothing can be read any more."""
    saved, store = tmp_path / "all.zip", home / "rounds.sqlite"
    before = rows(store)
    assert main(["backup", str(saved)]) == 0
    store.write_bytes(store.read_bytes()[:5000])
    for name in ("rounds.sqlite-wal", "rounds.sqlite-shm"):
        (home / name).unlink(missing_ok=True)
    assert main(["restore", str(saved)]) == 2
    assert main(["restore", str(saved), "--replace"]) == 0
    assert rows(store) == before
    assert len(list(home.glob("rounds-before-*.sqlite"))) == 1


#: The command with no room to write: files may not grow beyond so many bytes.
_WITHOUT_ROOM = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
from shortpencil.scan.cli.main import main
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limits of files there")
@pytest.mark.parametrize("room", [0, 30_000, 100_000])
def test_where_nothing_can_be_written_a_sound_store_stays_where_it_is(
    room: int, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A full disk or a folder that may not be written is no damage, and a backup is no remedy for it."""
    saved, before = tmp_path / "all.zip", rows(home / "rounds.sqlite")
    assert main(["backup", str(saved)]) == 0
    for command in (["restore", str(saved), "--replace"], ["check"]):
        run = [sys.executable, "-c", _WITHOUT_ROOM, str(room), *command]
        done = subprocess.run(run, capture_output=True, text=True, check=False)
        assert done.returncode == (0 if command == ["check"] and room == 100_000 else 2), done
        assert "Restore" not in done.stderr
        assert rows(home / "rounds.sqlite") == before
        assert not list(home.glob("*before*"))


def test_a_store_whose_backup_finds_no_room_stays_where_it_is(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It can be read, and is sound: only what is kept of it before it is replaced cannot be written."""
    saved, before = tmp_path / "all.zip", rows(home / "rounds.sqlite")
    assert main(["backup", str(saved)]) == 0

    def full(*_: object, **__: object) -> str:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(backup, "_packed", full)
    assert main(["restore", str(saved), "--replace"]) == 2
    assert "No space left on device. Nothing was changed" in capsys.readouterr().err
    assert rows(home / "rounds.sqlite") == before
    assert sorted(path.name for path in home.iterdir() if "before" in path.name) == []


@pytest.mark.skipif(sys.platform == "win32", reason="no limits of files there")
def test_a_damaged_store_is_put_back_where_nothing_came_in_its_place(home: Path, tmp_path: Path) -> None:
    saved, store = tmp_path / "all.zip", home / "rounds.sqlite"
    assert main(["backup", str(saved)]) == 0
    store.write_bytes(store.read_bytes()[:5000])
    before = store.read_bytes()
    run = [sys.executable, "-c", _WITHOUT_ROOM, "100000", "restore", str(saved), "--replace"]
    assert subprocess.run(run, capture_output=True, check=False).returncode == 2
    assert store.read_bytes() == before
    assert not list(home.glob("*before*"))
    assert main(["restore", str(saved), "--replace"]) == 0
    assert len(list(home.glob("rounds-before-*.sqlite"))) == 1


def test_a_backup_that_finds_no_room_says_how_much_it_wants(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    saved, before = tmp_path / "all.zip", rows(home / "rounds.sqlite")
    assert main(["backup", str(saved)]) == 0
    monkeypatch.setattr(backup.shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(100, 100, 0))
    assert main(["restore", str(saved), "--replace"]) == 2
    told = capsys.readouterr().err
    assert "expected room for 1 MiB beside the store, found 0 MiB. Make room, and try again." in told
    assert rows(home / "rounds.sqlite") == before


def test_check_does_not_judge_what_is_not_this_versions(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(home / "rounds.sqlite")) as connection:
        connection.execute("UPDATE store_version SET version = 9999")
        connection.commit()
    with closing(sqlite3.connect(tmp_path / "other.sqlite")) as connection:
        connection.execute("CREATE TABLE photos (name TEXT)")
        connection.commit()
    for store, says in (
        (home / "rounds.sqlite", "install that one"),
        (tmp_path / "other.sqlite", "other tables"),
    ):
        assert main(["check", "--store", str(store)]) == 2
        told = capsys.readouterr()
        assert says in told.err
        assert "Restore the last backup" not in told.err + told.out


def test_a_server_has_tools_of_its_own(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["restore", str(tmp_path / "x.zip"), "--store", "postgresql://robin@db.example/rounds"]) == 2
    assert "pg_restore" in capsys.readouterr().err


def test_export_import_export_is_equal_to_the_byte(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rounds with answers, with something that waits, with practice beside them."""
    once, twice = tmp_path / "once", tmp_path / "twice"
    assert main(["export", str(once)]) == 1, "something waits"
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "new"))
    assert main(["import", str(once / "rounds.json")]) == 1
    assert main(["export", str(twice)]) == 1
    files = {path.name: path.read_bytes() for path in once.iterdir()}
    assert {path.name: path.read_bytes() for path in twice.iterdir()} == files
    assert b"SETS" in files["practice.csv"]
