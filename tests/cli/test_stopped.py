"""`read` stopped half way: what was read is stored, said, and not read again."""

from __future__ import annotations

import errno
import json
import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import read_bytes
from shortpencil.scan.cli import reading
from shortpencil.scan.cli.main import main
from shortpencil.scan.joining import Keeper
from shortpencil.scan.records.store import open_store
from shortpencil.scan.sources import expand, listed

SAMPLES = Path(__file__).parents[2] / "sample_scans"
NAMES = (
    "fold_in_four_dusk",
    "hand_shadow_on_bonnet",
    "plain_good_light",
    "rain_and_grass",
    "three_to_review",
)
RUN = [sys.executable, "-c", "from shortpencil.scan.cli.main import run; run()"]
PHOTOS = [str(SAMPLES / f"{name}.jpg") for name in NAMES]


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_ctrl_c_keeps_what_was_read_and_says_so(tmp_path: Path, jobs: str) -> None:
    store = tmp_path / "rounds.sqlite"
    command = ["read", *PHOTOS, "--store", str(store), "--jobs", jobs]
    process = subprocess.Popen(
        [*RUN, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    assert process.stdout is not None
    said = []
    while sum(": card " in line for line in said) < 2:
        said.append(process.stdout.readline())
        assert said[-1], "it ended too early"
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: the workers get it too
    rest, errors = process.communicate(timeout=120)
    cards = sum(": card " in line for line in [*said, *rest.splitlines()])
    assert process.returncode == 130, errors
    assert "Traceback" not in errors
    summary = re.search(r"^(\d) photos?: (\d) cards?", errors, re.MULTILINE)
    assert summary is not None, errors
    # The signal may come between a card's storing and its telling, and before its photo is counted as done.
    assert int(summary[2]) in (cards, cards + 1)
    assert int(summary[2]) - int(summary[1]) in (0, 1)
    assert "stopped. What was stored before stays stored." in errors
    with open_store(store) as kept:
        assert len(kept.rounds()) in (cards, cards + 1)
    assert cards < len(PHOTOS)


def test_an_impatient_second_ctrl_c_leaves_no_traceback() -> None:
    begin = "import os, signal, sys; from shortpencil.scan.cli import main as cli\n"
    second = "cli.main = lambda: os.kill(os.getpid(), signal.SIGINT) or 0\n"  # before a command began
    third = "sys.exit = lambda code: print(code, flush=True) or os.kill(os.getpid(), signal.SIGINT)\n"
    code = f"{begin}{second}{third}cli.run()"
    ended = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    assert (ended.stdout, ended.stderr, ended.returncode) == ("130\n", "", -signal.SIGINT)


def test_what_was_stored_before_a_stop_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["read", *PHOTOS[:3], "--store", str(tmp_path / "rounds.sqlite"), "--jobs", "1"]
    report, told = reading._report, []

    def stopping(result, *args, **more):
        if len(told) == 2:
            raise KeyboardInterrupt
        told.append(result.path)
        report(result, *args, **more)

    monkeypatch.setattr(reading, "_report", stopping)
    assert main(command) == 130
    assert "2 photos: 2 cards" in capsys.readouterr().err
    monkeypatch.undo()
    assert main(command) in (0, 1)
    said = capsys.readouterr()
    assert said.out.count("read before, nothing changes") == 2
    assert "3 photos: 1 card (1 new), 2 read before." in said.err


def test_who_closes_the_output_loses_no_card(tmp_path: Path) -> None:
    store = tmp_path / "rounds.sqlite"
    command = [*RUN, "read", *PHOTOS, "--store", str(store), "--jobs", "1"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert ": card " in process.stdout.readline()
    process.stdout.close()  # as `| head -1` does
    process.stdout = None
    _, errors = process.communicate(timeout=120)
    assert process.returncode in (0, 1), errors
    assert errors.count("the output is closed") == 1
    assert f"{len(PHOTOS)} photos: {len(PHOTOS)} cards" in errors
    with open_store(store) as kept:
        assert len(kept.rounds()) == len(PHOTOS)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a disk that is always full is Linux's")
def test_a_full_disk_under_the_output_loses_no_card(tmp_path: Path) -> None:
    store = tmp_path / "rounds.sqlite"
    command = [*RUN, "read", *PHOTOS[:3], "--store", str(store), "--jobs", "1"]
    with open("/dev/full", "w") as full:
        ended = subprocess.run(command, check=False, stdout=full, stderr=subprocess.PIPE, text=True)
    assert ended.stderr.count("the output cannot be written: No space left on device") == 1
    assert "3 photos: 3 cards" in ended.stderr
    assert ended.returncode == 2  # what was asked for, to be told, was not done
    with open_store(store) as kept:
        assert len(kept.rounds()) == 3


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_are_no_error_and_no_file_of_ours(tmp_path: Path, closed: str) -> None:
    store = tmp_path / "rounds.sqlite"
    words = " ".join(map(shlex.quote, [*RUN, "read", PHOTOS[2], "--store", str(store)]))
    ended = subprocess.run(["sh", "-c", f"{words} {closed}"], check=False, capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    assert "Traceback" not in ended.stdout + ended.stderr
    with open_store(store) as kept:
        assert len(kept.rounds()) == 1


def test_a_reading_gone_on_with_says_what_one_without_a_stop_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "cut.jpg").write_bytes(Path(PHOTOS[1]).read_bytes()[:30_000])
    command = ["read", "--json", PHOTOS[0], str(tmp_path / "cut.jpg"), *PHOTOS[1:3], "--plain-hand"]

    def cards(store: str, *more: str) -> list[dict[str, object]]:
        assert main([*command, "--store", str(tmp_path / store), *more]) == 2  # one was not opened
        found = json.loads(capsys.readouterr().out)["cards"]
        return [card | {"record": (card["record"] or {}) | {"recorded_at": None}} for card in found]

    keep, kept = Keeper.keep, []

    def stopping(self: Keeper, *args: Any) -> Iterator[Any]:
        if len(kept) == 2:
            raise KeyboardInterrupt
        kept.append(1)
        yield from keep(self, *args)

    monkeypatch.setattr(Keeper, "keep", stopping)
    assert main([*command, "--store", str(tmp_path / "stopped.sqlite")]) == 130
    monkeypatch.undo()
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    capsys.readouterr()
    assert cards("stopped.sqlite", "--resume") == cards("whole.sqlite")


def test_a_link_to_a_photo_that_is_gone_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "evening"
    folder.mkdir()
    (folder / "a.jpg").symlink_to(tmp_path / "stick" / "a.jpg")
    (folder / "b.jpg").symlink_to(PHOTOS[0])
    assert main(["read", str(folder), "--store", str(tmp_path / "rounds.sqlite")]) == 2
    said = capsys.readouterr().err
    assert "a.jpg: there is no such file" in said or "a.jpg: cannot be read" in said
    assert "2 photos: 1 card (1 new), 1 not opened." in said


def test_a_name_that_is_missing_keeps_no_other_from_being_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "photos.txt").write_text(f"gone.jpg\n{PHOTOS[0]}\n{tmp_path / 'empty'}\nnone://x/a.jpg\n")
    command = ["read", PHOTOS[2], "--list", str(tmp_path / "photos.txt"), "--json", "--resume"]
    assert main([*command, "--store", str(tmp_path / "rounds.sqlite")]) == 2
    said = capsys.readouterr()
    assert "gone.jpg: there is no such file" in said.err
    assert "empty: expected photos in this folder" in said.err
    assert "5 photos: 2 cards (2 new), 3 not opened." in said.err
    assert "or leave out: gone.jpg, empty, a.jpg." in said.err
    status = [card["status"] for card in json.loads(said.out)["cards"]]
    assert sorted(status) == ["read", "read", "rejected", "rejected", "rejected"]


def test_where_nothing_that_was_named_is_there_all_is_told_and_no_store_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "rounds.sqlite"
    assert main(["read", "gone.jpg", "away.jpg", "--store", str(store)]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "shortpencil: gone.jpg: there is no such file or folder.",
        "shortpencil: away.jpg: there is no such file or folder.",
    ]
    assert not store.exists()


def test_a_folder_that_may_not_be_looked_into_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, scandir, stat = tmp_path / "evening", os.scandir, Path.stat
    for name in ("a", "of the club", "z"):
        (folder / name).mkdir(parents=True)
    (folder / "a" / "a.jpg").symlink_to(PHOTOS[0])
    (folder / "z" / "z.jpg").symlink_to(PHOTOS[2])
    no = PermissionError(errno.EACCES, "Permission denied", str(folder / "of the club"))

    def refusing(path: str) -> Any:  # whoever runs the tests may be allowed everything
        if Path(path).name == "of the club":
            raise no
        return scandir(path)

    def out_of_reach(path: Path, *, follow_symlinks: bool = True) -> os.stat_result:
        if path.name == "z.jpg":
            raise no
        return stat(path, follow_symlinks=follow_symlinks)

    monkeypatch.setattr(os, "scandir", refusing)
    monkeypatch.setattr(Path, "stat", out_of_reach)
    assert expand([folder]) == [folder / "a" / "a.jpg", folder / "of the club", folder / "z" / "z.jpg"]
    with pytest.raises(InputError, match=r"of the club: cannot be read: Permission denied\."):
        read_bytes(folder / "of the club", 1)
    assert main(["read", str(folder), "--store", str(tmp_path / "rounds.sqlite")]) == 2
    said = capsys.readouterr().err
    assert f"{folder / 'of the club'}: " in said
    assert "3 photos: 2 cards (2 new), 1 not opened." in said


def test_an_empty_name_is_not_the_folder_that_one_stands_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(SAMPLES)  # as by `read "$PHOTO"`, where PHOTO is not set
    with pytest.raises(SystemExit) as ended:
        main(["read", "", "--store", str(tmp_path / "rounds.sqlite")])
    assert ended.value.code == 2
    assert "expected a photo, found an empty name" in capsys.readouterr().err


def test_a_list_may_begin_with_the_mark_of_its_encoding(tmp_path: Path) -> None:
    names = tmp_path / "names.txt"
    names.write_text(f"{PHOTOS[0]}\r\n\r\n{PHOTOS[1]}", "utf-8-sig")
    assert listed(names) == [Path(PHOTOS[0]), Path(PHOTOS[1])]


def test_a_file_that_cannot_be_opened_loses_no_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.jpg").write_text("no picture")
    store = tmp_path / "rounds.sqlite"
    code = main(["read", PHOTOS[0], str(tmp_path / "letter.jpg"), PHOTOS[1], "--store", str(store)])
    assert code == 2
    said = capsys.readouterr().err
    assert "3 photos: 2 cards (2 new), 1 not opened." in said
    assert "Put right as said above, or leave out: letter.jpg." in said
    with open_store(store) as kept:
        assert len(kept.rounds()) == 2
