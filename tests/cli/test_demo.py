"""`demo`: the whole way on the bundled samples, in a throw-away store."""

import os
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main


def test_the_demo_shows_each_step_and_leaves_the_users_own_things_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "my own"
    monkeypatch.setenv("SHORTPENCIL_HOME", str(home))
    assert main(["demo", "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    for words in (
        "three_to_review.jpg",
        "not read",
        "What waits",
        "Misses per phase",
        "PRACTISE",
        str(tmp_path / "out"),
    ):
        assert words in said
    assert not home.exists()
    assert os.environ["SHORTPENCIL_HOME"] == str(home)
    made = {p.name for p in (tmp_path / "out").iterdir()}
    assert {"blank_card.pdf", "field_map.json", "rounds.sqlite", "explain"} <= made
    # It ends with something to look at, a season among it.
    assert {"focus.html", "sheet.pdf", "season.html"} <= made
    last = [line for line in said.splitlines() if line][-1]
    assert last.startswith("The questions and the rounds on a page: shortpencil review")
    assert "Delete the folder" not in said


def test_on_a_terminal_the_demo_ends_on_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from shortpencil.scan.cli import demo

    opened: list[list[str]] = []
    monkeypatch.setattr("shortpencil.scan.cli.main.main", lambda words: opened.append(words) or 0)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    (tmp_path / "photos").mkdir()
    demo._steps(tmp_path / "photos", tmp_path)
    assert opened[-1] == ["review", "--store", str(tmp_path / "rounds.sqlite")]


def test_without_samples_it_says_where_they_are(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--samples", str(tmp_path), "--out", str(tmp_path / "out")]) == 2
    assert "found none" in capsys.readouterr().err
