"""`read` stopped half way: what was read is stored, said, and not read again."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from shortpencil.scan.cli import reading
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.store import open_store

SAMPLES = Path(__file__).parents[2] / "sample_scans"
NAMES = (
    "fold_in_four_dusk",
    "hand_shadow_on_bonnet",
    "plain_good_light",
    "rain_and_grass",
    "three_to_review",
)
PHOTOS = [str(SAMPLES / f"{name}.jpg") for name in NAMES]


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_ctrl_c_keeps_what_was_read_and_says_so(tmp_path: Path, jobs: str) -> None:
    store = tmp_path / "rounds.sqlite"
    command = ["read", *PHOTOS, "--store", str(store), "--jobs", jobs]
    start = [sys.executable, "-c", "from shortpencil.scan.cli.main import run; run()"]
    process = subprocess.Popen(
        [*start, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
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


def test_a_file_that_cannot_be_opened_loses_no_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.jpg").write_text("no picture")
    store = tmp_path / "rounds.sqlite"
    code = main(["read", PHOTOS[0], str(tmp_path / "letter.jpg"), PHOTOS[1], "--store", str(store)])
    assert code == 2
    said = capsys.readouterr().err
    assert "3 photos: 2 cards (2 new), 1 not opened." in said
    assert "Export anew, or leave out: letter.jpg." in said
    with open_store(store) as kept:
        assert len(kept.rounds()) == 2
