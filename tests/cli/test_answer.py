"""`answer`: what waits is listed and answered in the terminal, on cards and in rounds from a file."""

from __future__ import annotations

import json

import pytest

from shortpencil.scan.cli.main import main
from shortpencil.scan.records.composing.tidy import settled
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.store import open_store
from tests.records.exchanging.test_export import played
from tests.records.filled import NEAR, add_card


@pytest.fixture
def store(tmp_path):
    """Where a round from a file waits for two answers."""
    waits = settled(played(flags={"h03.score": "faint", "h01.drive": "faint"}, serial="F1LE2345"))
    write_export(tmp_path / "out", [waits])
    place = str(tmp_path / "rounds.sqlite")
    assert main(["import", str(tmp_path / "out" / "rounds.json"), "--store", place]) == 1
    return place


def test_what_waits_in_a_round_from_a_file_is_listed_and_answered(store, capsys):
    capsys.readouterr()
    assert main(["answer", "F1LE2345", "--store", store]) == 1
    assert capsys.readouterr().out.splitlines() == [
        "hole1.throw1.execution: hole 1, throw 1 (drive), execution (clean, miss, unmarked)",
        "hole3.score: hole 3, score",
    ]
    assert main(["answer", "F1LE2345", "--json", "--store", store]) == 1
    assert len(json.loads(capsys.readouterr().out)["waiting"]) == 2
    assert main(["answer", "F1LE2345", "hole3.score", "3", "--by", "Robin", "--store", store]) == 1
    assert main(["answer", "F1LE2345", "hole1.throw1.execution", "good", "--store", store]) == 2
    assert "expected one of" in capsys.readouterr().err
    assert main(["answer", "F1LE2345", "hole1.throw1.execution", "miss", "--store", store]) == 0
    assert "nothing waits" in capsys.readouterr().err
    assert main(["answer", "F1LE2345", "--json", "--store", store]) == 0
    assert json.loads(capsys.readouterr().out) == {"schema": 1, "id": "F1LE2345", "waiting": []}
    assert main(["rounds", "--store", store]) == 0
    with open_store(store) as opened:
        assert opened.round("F1LE2345").holes[2].score.by == "Robin"


def test_what_waits_on_a_card_is_listed_and_answered_by_the_cards_own_names(tmp_path, capsys):
    place = str(tmp_path / "rounds.sqlite")
    with open_store(place) as opened:
        serial = add_card(opened, 1)
    assert main(["answer", serial, "--store", place]) == 1
    assert capsys.readouterr().out == f"{NEAR}: hole 2, distance of the first putt\n"
    assert main(["answer", serial, NEAR, "far", "--store", place]) == 2
    assert "expected a whole number" in capsys.readouterr().err
    assert main(["answer", serial, NEAR, "7", "--store", place]) == 0
    assert main(["answer", serial, "h01.way", "left", "short", "--by", "Robin", "--store", place]) == 0
    assert main(["answer", serial, "h02.why", "--store", place]) == 0  # nothing stands there
    with open_store(place) as opened:
        answers = {answer.field: answer.value for answer in opened.answers(serial)}
    assert answers == {NEAR: 7, "h01.way": ("left", "short"), "h02.why": None}
    assert main(["answer", "N0B0DY", "--store", place]) == 2
    assert "found none. `shortpencil rounds` shows the serials." in capsys.readouterr().err


def test_without_a_serial_only_the_serial_is_missing(capsys):
    with pytest.raises(SystemExit):
        main(["answer"])
    assert "the following arguments are required: SERIAL\n" in capsys.readouterr().err
