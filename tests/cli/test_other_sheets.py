"""A form that is no round, printed, filled in, photographed, read, listed, answered and exported."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main
from tests.forms.filled import photo_of


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("ladder")


@pytest.fixture(autouse=True)
def _own_home(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(home))


@pytest.fixture(scope="module")
def answers() -> dict[str, object]:
    marks: dict[str, object] = {"date.day": 14, "date.month": 6, "date.year": 26, "wind": "calm"}
    for rung, dropped in enumerate((9, 8, 7, 5), start=1):
        marks[f"r{rung:02d}.distance"] = 2 + rung
        marks[f"r{rung:02d}.dropped"] = tuple(str(putt) for putt in range(1, dropped + 1))
        marks[f"r{rung:02d}.made"] = dropped
    return marks


def test_a_ladder_goes_the_whole_way(home: Path, answers, capsys: pytest.CaptureFixture[str]) -> None:
    pdf, field_map, photo = home / "l.pdf", home / "l.json", home / "l.jpg"
    asked = ["print", "-o", pdf, "--form", "putting-ladder", "--map", field_map, "--player", "Wren", "--json"]
    assert main([str(part) for part in asked]) == 0
    serial = json.loads(capsys.readouterr().out)["cards"][0]["serial"]
    photo.write_bytes(photo_of(pdf.read_bytes(), json.loads(field_map.read_text()), serial, answers, seed=4))

    assert main(["read", str(photo), "--json"]) in (0, 1)
    (card,) = json.loads(capsys.readouterr().out)["cards"]
    assert (card["status"], card["record"]) == ("read", None)
    rows = {(row["row"], row["field"]): row for row in card["rows"]}
    known = {key: row["value"] for key, row in rows.items() if row["status"] == "known"}
    truth = {
        (
            int(name[1:3]) if "." in name and name[0] == "r" else 0,
            name.split(".", 1)[1] if name[0] == "r" else name,
        ): (" ".join(value) if isinstance(value, tuple) else str(value))
        for name, value in answers.items()
    }
    assert {key: value for key, value in known.items() if truth.get(key) != value} == {}
    assert len(set(truth) & set(known)) >= 0.6 * len(truth)  # a hand of its own each time

    assert main(["rounds", "--json"]) in (0, 1)
    (line,) = json.loads(capsys.readouterr().out)["sheets"]
    assert (line["id"], line["title"], line["player"]) == (serial, "Putting ladder", "Wren")
    assert main(["rounds"]) in (0, 1)
    assert "Putting ladder" in capsys.readouterr().out
    assert main(["rounds", serial]) in (0, 1)
    assert f"{serial}: 2026-06-14, Putting ladder, Wren" in capsys.readouterr().out

    assert main(["export", str(home / "out")]) in (0, 1)
    assert "1 other sheet" in capsys.readouterr().out
    with (home / "out" / "fields.csv").open(newline="") as stream:
        told = {(int(row["row"]), row["field"]): row["value"] for row in csv.DictReader(stream)}
    assert {key: told[key] for key in known} == known

    assert main(["focus"]) == 1
    said = capsys.readouterr().err
    assert "not part of this advice" not in said  # its putts are practice
    with (home / "out" / "practice.csv").open(newline="") as stream:
        sets = list(csv.DictReader(stream))
    assert {row["drill"] for row in sets} == {"putting-ladder"}
    for row in sets:
        if row["made_status"] == "known":
            assert int(row["made"]) == len(told[int(row["row"]), "dropped"].split())
    assert "no round yet" in said

    assert main(["import", str(home / "out"), "--store", str(home / "other.sqlite")]) in (0, 1)
    assert f"0 rounds; {len(sets)} sets of practice." in capsys.readouterr().out


def test_the_list_of_rounds_alone_has_no_other_sheets(tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path))
    assert main(["rounds", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"schema": 1, "rounds": [], "sheets": []}
