"""`evening` from the command line, before anything was read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main


@pytest.fixture(autouse=True)
def _printed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("SHORTPENCIL_STORE", raising=False)
    roster = tmp_path / "players.csv"
    roster.write_text("player\nWren\nLark\n")
    cards = ["-o", str(tmp_path / "cards.pdf"), "--evening", "Thursday 3"]
    assert main(["print", "--roster", str(roster), *cards]) == 0


def test_before_the_first_photo_everybody_of_an_evening_is_missing(tmp_path, capsys) -> None:
    capsys.readouterr()
    assert main(["evening", "Thursday 3", "--json"]) == 1
    (evening,) = json.loads(capsys.readouterr().out)["evenings"]
    assert [(one["player"], one["state"]) for one in evening["players"]] == [
        ("Lark", "missing"),
        ("Wren", "missing"),
    ]
    assert main(["evening"]) == 0
    assert "0 of 2 players came back, 2 missing" in capsys.readouterr().out
    assert not (tmp_path / "home" / "rounds.sqlite").exists()


def test_a_store_that_is_named_and_is_not_there_calls_nobody_missing(tmp_path, capsys) -> None:
    capsys.readouterr()
    assert main(["evening", "Thursday 3", "--store", str(tmp_path / "other.sqlite")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "expected a store, found none" in err
