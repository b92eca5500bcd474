"""Erasing that is killed anywhere is finished by the next start; what a killed program left is cleared."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.files import write_whole
from shortpencil.forms.serials import serial_from
from shortpencil.scan import leftovers
from shortpencil.scan.cli.main import main
from shortpencil.scan.places import forms_folder
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of
from tests.records.belonging.test_hands import add, answer, card
from tests.records.cards import RECORDED_AT
from tests.records.conftest import read_form

ROOT = Path(__file__).parents[2]
SERIALS = [serial_from(bytes([n]) * 8) for n in (1, 2)]
ALIAS = "Wrenfield"  # long enough to be found nowhere by chance


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store with cards of two players, and who they were printed for."""
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    path = tmp_path / "home" / "rounds.sqlite"
    with open_store(path, read_form=read_form) as store:
        for number in range(1, 9):
            add(store, *card(number, player=ALIAS))
        answer(store, "CARD0001", 7)
        add(store, *card(9, player="Ash"))
        add(store, *card(10, player=None))  # nobody's, until the name was answered
        store.answer("CARD0010", "player", ALIAS, "Robin", RECORDED_AT)
    Catalog(forms_folder()).assign({SERIALS[0]: ALIAS, SERIALS[1]: "Ash"})
    return path


def killed(where: str, *words: str) -> None:
    """Run a command that is killed where a function is called, named as module:function."""
    module, _, name = where.partition(":")
    code = f"""
import os, signal, sys
import shortpencil.scan.cli.main, {module}
def deadly(*args, **more):
    os.kill(os.getpid(), signal.SIGKILL)
owner = {module}
*parts, last = {name!r}.split(".")
for part in parts:
    owner = getattr(owner, part)
setattr(owner, last, deadly)
shortpencil.scan.cli.main.main(sys.argv[1:])
"""
    run = subprocess.run([sys.executable, "-c", code, *words], cwd=ROOT, capture_output=True, check=False)
    assert run.returncode == -signal.SIGKILL, run.stderr


def traces(home: Path, word: str) -> list[str]:
    return [str(p) for p in home.rglob("*") if p.is_file() and word.encode() in p.read_bytes()]


FORGET_KILLS = [
    "shortpencil.scan.records.belonging.forgetting:forget",
    "shortpencil.scan.records.keeping.erasing:wipe",
    "shortpencil.forms.catalog:Catalog.forget",
]


@pytest.mark.parametrize("where", FORGET_KILLS)
def test_a_killed_forget_is_finished_by_the_next_command(where: str, place: Path, capsys) -> None:
    killed(where, "forget", ALIAS, "--yes")
    assert traces(place.parent, ALIAS), "nothing was left to finish: this kill proves nothing"
    assert main(["rounds"]) in (0, 1)
    said = capsys.readouterr()
    assert f"erasing {ALIAS} was cut short and is finished now" in said.err
    assert traces(place.parent, ALIAS) == []
    with open_store(place, read_form=read_form) as store:
        assert [round_.player for round_ in store.rounds()] == ["Ash"]
        assert [head.serial for head in store.heads()] == ["CARD0009"]
    assert Catalog(forms_folder()).player_of(SERIALS[1]) == "Ash"
    assert main(["rounds"]) in (0, 1)
    assert "cut short" not in capsys.readouterr().err


@pytest.mark.parametrize(
    "where",
    ["shortpencil.scan.records.belonging.hands:erase", "shortpencil.scan.records.keeping.erasing:wipe"],
)
@pytest.mark.parametrize("option", ["--erase", "--off"])
def test_a_killed_erasing_of_a_hand_is_finished(where: str, option: str, place: Path, capsys) -> None:
    killed(where, "hand", "--player", ALIAS, option)
    main(["rounds"])
    assert "is finished now" in capsys.readouterr().err
    main(["hand", "--player", ALIAS])
    said = capsys.readouterr()
    assert ("as you wished" if option == "--off" else "Nothing of") in said.out + said.err
    with open_store(place, read_form=read_form) as store:
        assert not store.hand_boxes(ALIAS)
        assert len(store.rounds(ALIAS)) == 9


def test_what_was_refused_as_a_whole_is_not_finished_later(place: Path, monkeypatch, capsys) -> None:
    from shortpencil.forms.errors import RecordError

    def refuse(*args: object) -> None:
        raise RecordError("the store: expected that it can be written, found that it cannot.")

    with monkeypatch.context() as patched:
        patched.setattr("shortpencil.scan.records.belonging.forgetting.forget", refuse)
        assert main(["forget", ALIAS, "--yes"]) == 2
    assert main(["rounds"]) in (0, 1)
    assert "cut short" not in capsys.readouterr().err
    with open_store(place, read_form=read_form) as store:
        assert len(store.rounds(ALIAS)) == 9


def test_an_erasing_that_cannot_be_finished_yet_is_tried_again(place: Path, capsys) -> None:
    killed("shortpencil.scan.records.keeping.erasing:wipe", "forget", ALIAS, "--yes")
    sound = place.read_bytes()
    for name in ("-wal", "-shm"):
        Path(f"{place}{name}").unlink(missing_ok=True)
    place.write_bytes(b"no database, and long enough to be told so" * 200)
    assert main(["hand"]) == 2
    assert "tried again at the next start" in capsys.readouterr().err
    place.write_bytes(sound)
    assert main(["rounds"]) in (0, 1)
    assert "is finished now" in capsys.readouterr().err
    assert traces(place.parent, ALIAS) == []


def test_what_is_deleted_is_overwritten_even_before_the_file_is_written_anew(
    place: Path, monkeypatch
) -> None:
    monkeypatch.setattr("shortpencil.scan.records.keeping.erasing.wipe", lambda *_: None)
    with open_store(place, read_form=read_form) as store:
        store.forget(ALIAS)
    assert traces(place.parent, ALIAS) == [str(path) for path in Catalog(forms_folder()).cards_of(ALIAS)]


# -- what killed programs leave ------------------------------------------------------------------------------


def left_behind(code: str) -> Path:
    """Return what a program made that was killed then; it prints the path."""
    program = f"import os, signal\n{code}\nos.kill(os.getpid(), signal.SIGKILL)"
    run = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == -signal.SIGKILL, run.stderr
    path = Path(run.stdout.strip())
    assert path.exists()
    return path


@pytest.fixture
def own_tmp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "tmp"
    folder.mkdir()
    monkeypatch.setenv("TMPDIR", str(folder))
    monkeypatch.setattr(tempfile, "tempdir", None)
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    return folder


def test_uploads_of_a_killed_server_are_cleared_at_the_next_start(own_tmp: Path, capsys) -> None:
    code = "from shortpencil.scan.leftovers import Folder\nf = Folder('upload')\n"
    code += "(f.path / 'photo').write_bytes(b'x')\n"
    gone = left_behind(code + "print(f.path, flush=True)")
    with leftovers.folder_for(leftovers.UPLOAD) as used:
        main(["rounds"])
        assert not gone.exists()
        assert used.is_dir()
    assert not used.exists()


def test_what_a_killed_restore_left_is_cleared_by_the_next_command(own_tmp: Path, tmp_path: Path) -> None:
    """A copy of the whole store would outlive `forget`."""
    with open_store(tmp_path / "home" / "rounds.sqlite") as store:
        store.add_rounds(rounds_of(Player(name=ALIAS), 3, np.random.default_rng(1)))
    assert main(["backup", str(tmp_path / "all.zip")]) == 0
    new = tmp_path / "new" / "rounds.sqlite"
    killed(
        "shortpencil.scan.records.backup:_remove", "restore", str(tmp_path / "all.zip"), "--store", str(new)
    )
    assert list(new.parent.glob(".shortpencil-work.*")), "nothing was left: this kill proves nothing"
    assert traces(new.parent, ALIAS)
    assert main(["forget", ALIAS, "--yes", "--store", str(new)]) == 0
    assert not list(new.parent.glob(".shortpencil-work.*"))
    assert not traces(new.parent, ALIAS)


def test_the_next_demo_clears_the_last_ones_folder_and_none_in_use(own_tmp: Path) -> None:
    done, running = leftovers.Folder(leftovers.DEMO), leftovers.Folder(leftovers.DEMO)
    foreign = own_tmp / "shortpencil-demo-not-ours"
    foreign.mkdir()
    done.let_go()
    assert leftovers.clear(leftovers.DEMO) == 1
    assert not done.path.exists()
    assert running.path.is_dir()
    assert foreign.is_dir()
    running.remove()


def test_half_written_files_are_cleared_by_the_next_that_writes_there(own_tmp: Path, tmp_path: Path) -> None:
    target = tmp_path / "export" / "rounds.csv"
    code = (
        "import shortpencil.forms.files\nfrom pathlib import Path\n"
        "def die(_):\n    import glob\n"
        f"    print(glob.glob({str(target.parent)!r} + '/.rounds.csv.*')[0], flush=True)\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
        f"shortpencil.forms.files.os.fsync = die\n"
        f"shortpencil.forms.files.write_whole(Path({str(target)!r}), b'half')"
    )
    half = left_behind(code)
    other = target.parent / ".rounds.csv.backup"
    other.write_text("somebody else's")
    write_whole(target, b"whole")
    assert not half.exists()
    assert target.read_bytes() == b"whole"
    assert other.exists()


def test_a_file_that_is_being_written_is_not_taken_for_left_over(tmp_path: Path, monkeypatch) -> None:
    from shortpencil.forms import files

    sync, seen = os.fsync, []

    def meanwhile(handle: int) -> None:
        monkeypatch.setattr(files.os, "fsync", sync)
        seen.append(files.clear_unfinished(tmp_path, "a.csv"))
        sync(handle)

    monkeypatch.setattr(files.os, "fsync", meanwhile)
    write_whole(tmp_path / "a.csv", b"x")
    assert seen == [0]
    assert (tmp_path / "a.csv").read_bytes() == b"x"
