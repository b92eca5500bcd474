"""A backup holds all that is kept, and gives it back; what is no whole backup changes nothing."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import sqlite3
import stat
import threading
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from shortpencil.forms.catalog import Catalog, load_form
from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.form import Course, CourseHole
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.records import backup
from shortpencil.scan.records.store import open_store
from tests.records.filled import add_card, fill, rows

NOW = datetime(2026, 11, 2, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home")
    fill(folder / "rounds.sqlite")
    catalog = Catalog(folder / "forms")
    catalog.assign({"7K3MQ2XA": "Wren", "7K3MQ2XB": "Jay"})
    holes = tuple(CourseHole(number, 3, 80.0, "80 m") for number in range(1, 10))
    form = load_form("round9", course=Course("Alder Meadow", "short", holes))
    catalog.register(arrange(form, PAPERS["a4"]).layout)
    return folder


@pytest.fixture
def saved(home: Path, tmp_path: Path) -> Path:
    with open_store(home / "rounds.sqlite") as store:
        backup.write_backup(tmp_path / "all.zip", store, home / "forms", NOW)
    return tmp_path / "all.zip"


def files(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_what_comes_back_is_equal_in_every_table_and_every_file(
    home: Path, saved: Path, tmp_path: Path
) -> None:
    new = tmp_path / "new house" / "rounds.sqlite"
    made = backup.restore(saved, new, new.parent / "forms")
    assert rows(new) == rows(home / "rounds.sqlite")
    assert all(rows(new).values()), "the test's store has something in every table"
    assert files(new.parent / "forms") == files(home / "forms")
    assert (made.rounds, made.cards, made.forms, made.printed_cards, made.made_at) == (4, 4, 1, 2, NOW)
    assert sorted(p.name for p in new.parent.iterdir()) == ["forms", "rounds.sqlite"]
    assert stat.S_IMODE(new.stat().st_mode) == 0o600
    assert stat.S_IMODE(saved.stat().st_mode) == 0o600
    with open_store(new) as store:
        store.answer("CARD0003", "total", 9, "Robin", NOW)
        assert store.damages() == ()


def test_any_zip_program_finds_the_store_in_it(saved: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(saved) as archive:
        assert archive.testzip() is None
        assert set(archive.namelist()) >= {"backup.json", "rounds.sqlite", "forms/cards/7K3MQ2XA.json"}
        archive.extract("rounds.sqlite", tmp_path)
        listed = json.loads(archive.read("backup.json"))
    assert set(listed["sha256"]) == set(archive.namelist()) - {"backup.json"}
    with open_store(tmp_path / "rounds.sqlite") as store:
        assert len(store.rounds()) == 4


def test_a_backup_while_cards_come_in_is_one_moment_of_the_store(tmp_path: Path) -> None:
    path = tmp_path / "rounds.sqlite"
    fill(path, cards=1)
    done = threading.Event()

    def write() -> None:
        number = 100
        with open_store(path) as store:
            while not done.is_set() and number < 400:
                add_card(store, number)
                number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        with open_store(path) as store:
            sizes = []
            for number in range(4):
                made = backup.write_backup(tmp_path / f"{number}.zip", store, tmp_path / "forms", NOW)
                sizes.append(made.cards)
    finally:
        done.set()
        writer.join()
    for number, cards in enumerate(sizes):
        new = tmp_path / f"new{number}" / "rounds.sqlite"
        assert backup.restore(tmp_path / f"{number}.zip", new, new.parent / "forms").cards == cards
        found = rows(new)
        serials = {row[0] for row in found["cards"]}
        assert len(serials) == cards
        assert {row[1] for row in found["readings"]} == serials
    assert sizes == sorted(sizes)
    assert sizes[-1] > sizes[0], "cards came in meanwhile"


def test_an_open_store_sees_the_old_or_the_new(home: Path, saved: Path, tmp_path: Path) -> None:
    path = tmp_path / "rounds.sqlite"
    with open_store(path) as store:
        add_card(store, 77)
        assert [line.id for line in store.summaries()] == ["CARD0077"]
        backup.restore(saved, path, tmp_path / "forms")
        assert len(store.summaries()) == 4
        add_card(store, 78)
        assert len(store.summaries()) == 5
        assert store.damages() == ()


def test_a_clock_that_was_never_set_keeps_nobody_from_a_backup(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("time.time", lambda: 60.0)  # 1970; ZIP's own time begins in 1980
    at = datetime(1970, 1, 1, 0, 1, tzinfo=UTC)
    with open_store(home / "rounds.sqlite") as store:
        backup.write_backup(tmp_path / "all.zip", store, home / "forms", at)
    new = tmp_path / "new" / "rounds.sqlite"
    assert backup.restore(tmp_path / "all.zip", new, new.parent / "forms").made_at == at
    assert rows(new) == rows(home / "rounds.sqlite")


def test_a_file_that_is_there_is_not_written_over(home: Path, saved: Path) -> None:
    before = saved.read_bytes()
    with open_store(home / "rounds.sqlite") as store, pytest.raises(InputError, match="expected a new file"):
        backup.write_backup(saved, store, home / "forms", NOW)
    assert saved.read_bytes() == before


def broken_backups(saved: Path) -> dict[str, bytes]:
    data = saved.read_bytes()
    middle = len(data) // 2
    made = {
        "empty": b"",
        "no zip": b"hello",
        "cut": data[:middle],
        "flipped": data[:middle] + bytes([data[middle] ^ 4]) + data[middle + 1 :],
    }
    with zipfile.ZipFile(saved) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    listed = json.loads(content["backup.json"])
    other = {**listed, "sha256": listed["sha256"] | {"../evil.json": "0"}}
    newer = {**listed, "shortpencil_backup": 2}
    swapped = {**content, "rounds.sqlite": content["rounds.sqlite"].replace(b"Robin", b"Robim")}
    for name, entries in {
        "a name outside": {**content, "backup.json": json.dumps(other).encode()},
        "newer": {**content, "backup.json": json.dumps(newer).encode()},
        "no list": {k: v for k, v in content.items() if k != "backup.json"},
        "list of lists": {**content, "backup.json": b"[" * 5000},
        "no store": {k: v for k, v in content.items() if k != "rounds.sqlite"},
        "another store": swapped,
    }.items():
        path = saved.with_name("other.zip")
        with zipfile.ZipFile(path, "w") as archive:
            for entry, value in entries.items():
                archive.writestr(entry, value)
        made[name] = path.read_bytes()
    return made


def test_what_is_no_whole_backup_changes_nothing(saved: Path, tmp_path: Path) -> None:
    path = tmp_path / "mine" / "rounds.sqlite"
    fill(path, cards=1)
    before = rows(path)
    bad = tmp_path / "bad.zip"
    for name, data in broken_backups(saved).items():
        bad.write_bytes(data)
        with pytest.raises((InputError, RecordError)):
            backup.restore(bad, path, path.parent / "forms")
        assert rows(path) == before, name
        assert [p.name for p in path.parent.iterdir()] == ["rounds.sqlite"], name
    assert not (tmp_path / "evil.json").exists()


def test_a_damaged_store_is_not_backed_up_as_if_it_were_sound(tmp_path: Path) -> None:
    path = tmp_path / "rounds.sqlite"
    fill(path, cards=1)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE cards SET player = 'Jay'")
    with (
        open_store(path) as store,
        pytest.raises(RecordError, match="expected a sound store, found damage: card"),
    ):
        backup.write_backup(tmp_path / "all.zip", store, tmp_path / "forms", NOW)
    assert [p.name for p in tmp_path.iterdir() if p.suffix == ".zip" or p.name.startswith(".")] == []


def test_a_folder_whose_removal_is_killed_keeps_its_lock_to_the_last(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else nobody could tell it from one that is only just made."""
    with open_store(home / "rounds.sqlite") as store:
        backup.write_backup(tmp_path / "all.zip", store, home / "forms", NOW)
    seen: list[set[str]] = []
    remove = shutil.rmtree

    def watched(path: Path, **options: bool) -> None:
        if Path(path).parent == tmp_path / "new":
            seen.append({p.name for p in Path(path).iterdir()})
        remove(path, **options)

    monkeypatch.setattr(shutil, "rmtree", watched)
    backup.restore(tmp_path / "all.zip", tmp_path / "new" / "rounds.sqlite", tmp_path / "new" / "forms")
    assert seen == [{"lock"}]


def test_folders_of_killed_backups_are_cleared_and_those_of_living_ones_are_not(
    home: Path, tmp_path: Path
) -> None:
    dead, alive, young = (tmp_path / f".shortpencil-work.{name}" for name in ("dead", "alive", "young"))
    for folder in (dead, alive, young):
        folder.mkdir()
    (dead / "lock").touch()
    old = tmp_path / ".shortpencil-work.old"
    old.mkdir()
    os.utime(old, (0, 0))
    with (alive / "lock").open("wb") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with open_store(home / "rounds.sqlite") as store:
            backup.write_backup(tmp_path / "all.zip", store, home / "forms", NOW)
        assert sorted(p.name for p in tmp_path.iterdir()) == [alive.name, young.name, "all.zip"]
