import csv
import io
import json
import sys

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from shortpencil.scan.records.exchanging.columns import TABLES
from shortpencil.scan.records.exchanging.csv_text import csv_text, guarded
from shortpencil.scan.records.exchanging.export import exported_files, tables_of, write_export
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form


def played(marks=None, *, flags=None, serial="ABCD2345", player="Wren", form=None):
    form = form or round_form()
    card = reading(form, PLAYED if marks is None else marks, flags=flags, serial=serial)
    return round_from_reading(form, card, recorded_at=RECORDED_AT, player=player)


PRACTICE = PracticeSet("PR4CT1CE", 1, None, "Wren", "gate", Value(10), Value(7))


def rows(files, name):
    return list(csv.DictReader(io.StringIO(files[f"{name}.csv"].decode(), newline="")))


def test_a_round_is_one_row_with_its_sums():
    (row,) = rows(exported_files([played()]), "rounds")
    assert {name: row[name] for name in ("round", "day", "player", "unit", "holes", "score", "total")} == {
        "round": "ABCD2345",
        "day": "2026-05-31",
        "player": "Wren",
        "unit": "m",
        "holes": "3",
        "score": "9",
        "total": "9",
    }
    assert (row["misses_drive"], row["misses_putt"], row["tally_drive"]) == ("2", "1", "2")
    assert row["recorded_at"] == "2026-06-01T18:30:00Z"


def test_a_throw_is_one_row_with_distance_as_written_and_in_metres():
    files = exported_files([played(form=round_form(unit="ft"))])
    row = rows(files, "throws")[1]
    assert (row["hole"], row["throw"], row["phase"], row["execution"], row["holed"]) == (
        "1",
        "2",
        "putt",
        "miss",
        "false",
    )
    assert (row["distance"], row["distance_unit"], row["distance_m"]) == ("7", "ft", "2.134")  # 7 * 0.3048


def test_what_waits_is_null_with_a_status_in_every_file():
    flags = {"h01.score": "faint", "h01.drive": "faint", "h01.putt1.distance": "faint", "h02.why": "faint"}
    files = exported_files([played(flags=flags)])
    hole = rows(files, "holes")[0]
    assert (hole["score"], hole["score_status"]) == ("", "waits")
    drive, putt = rows(files, "throws")[:2]
    assert (drive["execution"], drive["execution_status"]) == ("", "waits")
    assert (putt["distance"], putt["distance_m"], putt["distance_status"]) == ("", "", "waits")
    (whole,) = json.loads(files["rounds.json"])["rounds"]
    assert whole["holes"][0]["score"] == {"value": None, "source": "read", "status": "waits"}
    assert whole["holes"][0]["throws"][0]["execution"]["value"] is None
    assert whole["holes"][1]["throws"][0]["cause"] == {"value": None, "source": "read", "status": "waits"}
    assert whole["waiting"] == sorted(flags, key=list(flags).index) or set(whole["waiting"]) == set(flags)


def test_no_guess_is_left_anywhere_in_an_export():
    sure, unsure = played(), played(PLAYED | {"h03.score": 88}, flags={"h03.score": "faint"})
    assert b"88" not in b"".join(exported_files([unsure]).values()).replace(b"0.7188", b"")
    assert b"88" in b"".join(exported_files([played(PLAYED | {"h03.score": 88})]).values())
    assert sure != unsure


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", " =1", "＝1", "'quoted"])
def test_a_text_that_could_start_a_formula_is_guarded(text):
    files = exported_files([played(player=text)])
    assert rows(files, "rounds")[0]["player"] == f"'{text}"


@pytest.mark.parametrize("text", ["Wren", "a=b", "1-2", "x@y", "5"])
def test_other_texts_stand_as_they_are(text):
    assert guarded(text) == text


def test_numbers_stay_numbers():
    table = next(table for table in TABLES if table.name == "holes")
    row = {column.name: None for column in table.columns} | {"score": -3, "length_m": -0.5}
    assert "-3," in csv_text(table, [row])
    assert "'-" not in csv_text(table, [row])


def test_the_tables_pass_an_outside_check(tmp_path):
    nasty = played(player='=cmd|" /C calc"!A0, "x"\nnext line', serial="N1")
    blank = played({}, serial="B1")
    flagged = played(flags={"h01.drive": "faint", "total": "faint"}, serial="F1")
    write_export(tmp_path, [played(), nasty, blank, flagged], [PRACTICE])
    from frictionless import Package  # a second to load

    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.flatten(["type", "note", "fieldName", "rowNumber"]) == []
    assert report.valid


@pytest.mark.parametrize(
    ("file", "old", "new", "error"),
    [
        ("throws.csv", ",miss,known", ",good,known", "constraint-error"),
        ("holes.csv", "ABCD2345,1,3", "ABCD2345,1,x", "type-error"),
        ("holes.csv", "ABCD2345,2,", "ABCD2345,1,", "primary-key"),
        ("throws.csv", "ABCD2345,3,1", "ABCD2345,7,1", "foreign-key"),
        ("rounds.csv", "2026-05-31", "31.5.2026", "type-error"),
    ],
)
def test_the_outside_check_can_fail(tmp_path, file, old, new, error):
    write_export(tmp_path, [played()])
    path = tmp_path / file
    text = path.read_bytes().decode()
    assert old in text
    path.write_bytes(text.replace(old, new, 1).encode())
    from frictionless import Package  # a second to load

    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert error in [type_ for (type_,) in report.flatten(["type"])]


def test_an_export_writes_whole_files_and_names_them(tmp_path):
    written = write_export(tmp_path / "out", [played()])
    names = ["rounds.csv", "holes.csv", "throws.csv", "practice.csv", "doubts.csv"]
    names += ["rounds.json", "datapackage.json", "rounds.schema.json"]
    assert [path.name for path in written] == names
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(names)


def test_a_folder_that_cannot_be_made_is_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file"):
        write_export(tmp_path / "file" / "out", [played()])


def test_parquet_without_its_library_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match="pip install pyarrow"):
        write_export(tmp_path / "out", [played()], parquet=True)
    assert not (tmp_path / "out").exists()


def test_parquet_holds_the_same_rows(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    rounds = [played(), played(serial="F1", flags={"h01.drive": "faint"})]
    write_export(tmp_path, rounds, [PRACTICE], parquet=True)
    for table in TABLES:
        read = parquet.read_table(tmp_path / f"{table.name}.parquet")
        assert read.to_pylist() == tables_of(rounds, [PRACTICE])[table.name]
        assert read.schema.metadata[b"shortpencil_schema"] == b"1"
