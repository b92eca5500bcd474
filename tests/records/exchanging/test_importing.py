import gc
import json
import shutil

import pytest

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.records.composing.rounds import Round, Value
from shortpencil.scan.records.concluding import outcomes
from shortpencil.scan.records.exchanging import importing
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.exchanging.importing import ByRound, Imported, open_rounds, read_rounds
from shortpencil.scan.records.store import open_store
from tests.records.cards import PHOTO, RECORDED_AT
from tests.records.exchanging.test_export import PRACTICE, played
from tests.records.recording.test_typed import SHORT


@pytest.fixture
def exported(tmp_path):
    folder = tmp_path / "out"
    write_export(folder, [played(), played(serial="F1", flags={"h01.drive": "faint"})], [PRACTICE])
    return folder


def change(path, old, new):
    text = path.read_bytes().decode()
    assert old in text, text[:2000]
    path.write_bytes(text.replace(old, new, 1).encode())


def refusal(path) -> str:
    with pytest.raises(InputError) as caught:
        read_rounds(path)
    return str(caught.value)


@pytest.mark.parametrize("year", ["0001", "1899", "2200", "9999"])
def test_a_day_far_from_any_round_is_refused(exported, tmp_path, year):
    """Next to the calendar's ends no month comes before, or after: pages and the season could not be made."""
    typed = tmp_path / "typed.json"
    typed.write_text(json.dumps({**SHORT, "played_on": f"{year}-05-31"}))
    assert f'expected a day of the calendar from 1900 to 2199, found "{year}-05-31"' in refusal(typed)
    change(exported / "rounds.csv", "2026-05-31", f"{year}-05-31")
    assert f"expected a day as in 2026-05-31, found '{year}-05-31'" in refusal(exported)


def test_csv_comes_back_with_what_it_holds(exported):
    found = read_rounds(exported)
    assert [round_.id for round_ in found.rounds] == ["ABCD2345", "F1"]
    first, second = found.rounds
    assert first.holes[1].throws[0].cause == Value("late", source="imported")
    assert first.holes[1].throws[0].directions == ("left",)
    assert first.sources == (PHOTO,)
    assert first.recorded_at == RECORDED_AT
    assert second.holes[0].throws[0].execution == Value(None, source="imported", status="waits")
    assert second.waiting == ("h01.drive",)
    (done,) = found.practice
    assert (done.card, done.drill, done.tries.value, done.made.value) == ("PR4CT1CE", "gate", 10, 7)


def test_json_comes_back_with_where_every_value_came_from(exported):
    found = read_rounds(exported / "rounds.json")
    assert found.rounds[0] == played()
    assert found.practice == (PRACTICE,)


def test_a_spreadsheet_may_reorder_rows_and_columns_and_write_a_byte_order_mark(exported):
    path = exported / "throws.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    turned = [",".join(reversed(line.split(","))) for line in (head, *reversed(rows))]
    path.write_bytes(b"\xef\xbb\xbf" + "\n".join(turned).replace("true", "TRUE").encode())
    assert read_rounds(exported).rounds[0].holes == read_rounds(exported).rounds[0].holes
    assert [throw.order for throw in read_rounds(exported).rounds[0].holes[0].throws] == [1, 2, 3]


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        (
            "throws.csv",
            ",miss,known",
            ",good,known",
            "throws.csv, row 2, execution: expected one of clean, miss",
        ),
        (
            "throws.csv",
            ",miss,known",
            ",,known",
            "throws.csv, row 2, execution: expected clean, miss or unmarked",
        ),
        ("throws.csv", ",putt,", ",toss,", "throws.csv, row 3, phase: expected one of drive, approach, putt"),
        ("throws.csv", "ABCD2345,1,2", "ABCD2345,1,9", "holes.csv, row 2: expected throws numbered 1, 2, …"),
        (
            "throws.csv",
            "ABCD2345,1,2",
            "ABCD2345,1,1",
            "throws.csv, row 3: expected each key once, found round",
        ),
        ("throws.csv", "ABCD2345,1,2", "ABCD2345,8,2", "throws.csv, row 3: expected a row of holes.csv with"),
        ("throws.csv", ",false,", ",nein,", "throws.csv, row 2, holed: expected true or false, found 'nein'"),
        ("throws.csv", ",7,known", ',"7,5",known', "expected a number with a decimal point, found '7,5'"),
        ("holes.csv", "ABCD2345,1,3", "ABCD2345,1,3.0", "holes.csv, row 2, score: expected a whole number"),
        (
            "holes.csv",
            "ABCD2345,1,3",
            "ABCD2345,1,-3",
            "holes.csv, row 2, score: expected at least 0, found -3",
        ),
        (
            "holes.csv",
            "ABCD2345,1,3",
            "ABCD2345,,3",
            "holes.csv, row 2, hole: expected a value, found nothing",
        ),
        (
            "holes.csv",
            "ABCD2345,1,3",
            "NOBODY,1,3",
            "holes.csv, row 2: expected a row of rounds.csv with round",
        ),
        ("rounds.csv", "2026-05-31", "31.5.2026", "rounds.csv, row 2, day: expected a day as in 2026-05-31"),
        ("rounds.csv", "2026-05-31", "2026-W22-7", "rounds.csv, row 2, day: expected a day as in 2026-05-31"),
        ("rounds.csv", "2026-05-31", "2026-02-30", "rounds.csv, row 2, day: expected a day as in 2026-05-31"),
        ("rounds.csv", ",m,", ",yd,", "rounds.csv, row 2, unit: expected one of m, ft; found 'yd'"),
        ("rounds.csv", "ABCD2345,", "AB/CD,", "rounds.csv, row 2, round: expected letters, digits"),
        ("rounds.csv", "18:30:00Z", "soon", "rounds.csv, row 2, recorded_at: expected a time as in"),
        ("rounds.csv", PHOTO, "abc", "rounds.csv, row 2, photos: expected a text of the form"),
        ("rounds.csv", "Wren", "W\x07", "rounds.csv, row 2, player: expected a text of the form"),
        (
            "rounds.csv",
            "form,",
            "shape,",
            "row 1: expected the columns of an export, found form missing; 'shape'",
        ),
        ("rounds.csv", "Wren", '"Wren', "expected CSV (RFC 4180), found: unexpected end of data"),
        (
            "practice.csv",
            ",10,",
            ",5,",
            "practice.csv, row 2, made: expected at most as many as tries, found 7",
        ),
    ],
)
def test_what_is_wrong_with_a_table_is_named_by_file_row_and_column(exported, file, old, new, said):
    change(exported / file, old, new)
    assert said in refusal(exported)


def test_semicolons_get_a_hint(exported):
    path = exported / "holes.csv"
    path.write_text(path.read_text().replace(",", ";"))
    assert "found semicolons; save it with commas" in refusal(exported)


def test_all_that_is_wrong_is_said_at_once_and_a_long_list_is_cut(exported):
    change(exported / "throws.csv", ",miss,known", ",good,known")
    change(exported / "holes.csv", "ABCD2345,1,3", "ABCD2345,1,x")
    said = refusal(exported)
    assert "throws.csv, row 2, execution" in said
    assert "holes.csv, row 2, score" in said
    many = {"holes": [{"number": n, "score": "x"} for n in range(1, 28)] * 2}
    path = exported / "many.json"
    path.write_text(json.dumps(many))
    assert f"and {27 * 2 - importing.SHOWN_PROBLEMS} more" in refusal(path)


def test_a_missing_table_is_named(exported):
    (exported / "holes.csv").unlink()
    assert "holes.csv: expected this file beside the others" in refusal(exported)
    shutil.rmtree(exported)
    exported.mkdir()
    assert "expected the CSV files of an export" in refusal(exported)


def test_derived_columns_are_passed_over(exported):
    before = read_rounds(exported)
    change(exported / "rounds.csv", ",3,3,9,", ",3,3,99,")
    assert read_rounds(exported) == before


@pytest.mark.parametrize("shape", ["one", "list", "file"])
def test_typed_rounds_come_as_one_as_a_list_or_as_a_file_of_ours(tmp_path, shape):
    path = tmp_path / "typed.json"
    data = {"one": SHORT, "list": [SHORT], "file": {"schema": 1, "rounds": [SHORT]}}[shape]
    path.write_text(json.dumps(data))
    (round_,) = read_rounds(path, by="Robin", at=RECORDED_AT).rounds
    assert round_.total == Value(8, source="entered", by="Robin", at=RECORDED_AT)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '{"holes": [',
            "line 1, sign 12: expected JSON, found the end of the file or of the line. Often",
        ),
        (
            '{\n"score": 3\n"player": 4}',
            "typed.json, line 3, sign 1: expected JSON, found '\"player\": 4}'. Often a comma, a bracket",
        ),
        ('{"holes": [{"score": NaN}]}', "NaN is no number of JSON (RFC 8259)"),
        ('{"unit": "m", "unit": "ft"}', "the key 'unit' stands twice"),
        ("[" * 200_000, "expected JSON"),
        ('{"holes": [{"score": ' + "9" * 5000 + "}]}", "expected JSON"),
        ('{"holes": [{"score": 1e400}]}', "round 1: hole 1, score: expected"),
        (
            '{"holes": [{"score": "4", "throws": [{"phase": "toss"}]}]}',
            "round 1: hole 1, throw 1, phase: expected",
        ),
        ('[{"id": "A", "holes": []}, {"id": "A", "holes": []}]', "round A: expected each round once"),
        ('[{"id": "A", "colour": 1}]', "round 1 (A): expected only"),
        ('{"rounds": 3}', "round 1: expected an object"),
        ('{"rounds": [], "practice": 3}', "practice: expected a list"),
        ('{"rounds": [], "practice": [{"row": 1}]}', "practice, row 1: 'card', 'drill'"),
        ('{"rounds": [{"player": "\\ud800"}]}', "round 1: player: expected a text of whole characters"),
        ("3", "round 1: expected an object {…}, found 3"),
    ],
)
def test_what_is_wrong_with_a_json_file_is_named(tmp_path, text, said):
    path = tmp_path / "typed.json"
    path.write_text(text)
    assert said in refusal(path)


def test_counts_that_a_program_wrote_with_a_point_are_whole_numbers(tmp_path):
    file, typed = tmp_path / "typed.json", {**SHORT, "id": "T1", "total": 7.0, "tallies": {"putt": 2.0}}
    file.write_text(json.dumps(typed | {"holes": [{"score": 3.0}, {"score": -0.0}, {"score": 4}]}))
    (round_,) = read_rounds(file).rounds
    counts = [round_.total.value, round_.tallies["putt"].value, *(hole.score.value for hole in round_.holes)]
    assert [(type(count), count) for count in counts] == [(int, 7), (int, 2), (int, 3), (int, 0), (int, 4)]
    folder = tmp_path / "out"
    write_export(folder, [round_], [])
    assert [hole.score.value for hole in read_rounds(folder).rounds[0].holes] == [3, 0, 4]
    change(folder / "rounds.json", '"score": {"value": 3,', '"score": {"value": 3.0,')
    (again,) = open_rounds(folder / "rounds.json").pairs()
    assert again[0] == round_


@pytest.mark.parametrize("value", ['{"a": 1}', "[1]", '"\\u001b[2J"', f'"{"x" * 501}"'])
def test_what_a_card_asks_beyond_the_game_is_one_plain_value(exported, value):
    """It ended `import` with a traceback."""
    extra = f'"extra": {{"note": {{"value": {value}, "source": "entered"}}}}, "holes"'
    change(exported / "rounds.json", '"holes"', extra)
    assert "extra, note: expected" in refusal(exported / "rounds.json")


def test_files_that_cannot_be_read_are_named(tmp_path):
    assert "No such file" in refusal(tmp_path / "none.json")
    path = tmp_path / "latin.json"
    path.write_bytes('{"player": "Zo\u00eb"}'.encode("latin-1"))
    assert "a byte that is none at 14" in refusal(path)


def test_a_file_too_large_is_refused_before_it_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(importing, "MOST_BYTES", 1 << 20)
    path = tmp_path / "large.json"
    path.write_bytes(bytes(2 << 20))
    assert "expected at most 1 MiB, found 2 MiB" in refusal(path)


def test_an_export_is_taken_round_by_round_and_is_the_same(exported, tmp_path):
    path = exported / "rounds.json"
    whole, by_round = read_rounds(path), open_rounds(path)
    assert isinstance(by_round, ByRound)
    assert list(by_round.pairs()) == list(whole.pairs())
    assert (len(by_round), by_round.practice) == (2, whole.practice)
    assert isinstance(open_rounds(exported), Imported)  # CSV
    one = tmp_path / "one.json"
    one.write_text(json.dumps(json.loads(path.read_text())["rounds"]))
    assert isinstance(open_rounds(one), Imported)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('},\n{"', '}\n{"'),
        ('\n],\n"practice"', '\n\n],\n"practice"'),
        ('"practice"', '"practise"'),
        ("\n]", ",\n]"),
    ],
)
def test_what_only_begins_like_an_export_is_read_whole(exported, old, new):
    path = exported / "rounds.json"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))

    def outcome(take):
        try:
            return list(take(path).pairs())
        except InputError as error:
            return str(error)

    assert outcome(open_rounds) == outcome(read_rounds)


def test_all_that_is_wrong_with_an_export_is_said_and_nothing_of_it_is_stored(exported, tmp_path):
    path = exported / "rounds.json"
    _, _, first, second, *tail = path.read_text().split("\n")
    wrong = first.rstrip(",").replace('"ABCD2345"', '"WRONG1"').replace('"unit": "m"', '"unit": "yd"')
    also = second.replace('"F1"', '"WRONG2"').replace('"unit": "m"', '"unit": "ell"')
    assert wrong.count('"yd"') == also.count('"ell"') == 1
    top = path.read_text().split("\n")[:2]
    path.write_text("\n".join([*top, first, f"{second},", f"{wrong},", also, *tail]))
    with open_store(tmp_path / "new.sqlite") as store:
        with pytest.raises(InputError) as said:
            store.add_checked(open_rounds(path).pairs())
        assert store.size() == (0, 0)
    assert "round 3 (WRONG1)" in str(said.value)
    assert "round 4 (WRONG2)" in str(said.value)


def test_of_an_export_no_more_rounds_lie_in_memory_than_go_into_the_store_at_once(tmp_path):
    write_export(tmp_path, (played(serial=f"R{number:03d}") for number in range(40)))
    most = 0
    for _ in open_rounds(tmp_path / "rounds.json").pairs():
        most = max(most, sum(isinstance(one, Round) for one in gc.get_objects()))
    assert most < 5


def test_importing_twice_changes_nothing_and_another_round_of_the_same_id_is_refused(tmp_path, exported):
    found = read_rounds(exported / "rounds.json")
    other = read_rounds(exported)
    with open_store(tmp_path / "new.sqlite") as store:
        assert set(store.add_rounds(found.rounds).values()) == {outcomes.NEW}
        assert set(store.add_rounds(found.rounds).values()) == {outcomes.UNCHANGED}
        before = store.rounds()
        with pytest.raises(RecordError, match=r"2 that differ from the stored ones: ABCD2345, F1.*--replace"):
            store.add_rounds([*other.rounds, played(serial="NEW")])
        assert store.rounds() == before
        became = store.add_rounds([*other.rounds, played(serial="NEW")], replace=True)
        assert became == {"ABCD2345": outcomes.REPLACED, "F1": outcomes.REPLACED, "NEW": outcomes.NEW}


def test_a_photo_of_a_round_that_came_from_a_file_makes_no_second_round(tmp_path, exported):
    from tests.records.test_store import OTHER_PHOTO, add

    found = read_rounds(exported / "rounds.json")
    with open_store(tmp_path / "new.sqlite") as store:
        store.add_rounds(found.rounds)
        assert store.photo_status(PHOTO) == "read"
        assert add(store) == outcomes.SAME_PHOTO
        assert add(store, photo=OTHER_PHOTO) == outcomes.KEPT
        assert len(store.rounds()) == 2
        with pytest.raises(RecordError, match="came from a file"):
            store.answer("ABCD2345", "total", 1, "Robin", RECORDED_AT)
