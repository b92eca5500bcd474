"""A sheet that is no round comes back as rows, and what a round card asks beyond the game is kept."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from shortpencil.forms.catalog import builtin_names, load_form
from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.forms.rules import rules_of
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.other_sheets import field_rows, left_out
from shortpencil.scan.records.exchanging.export import exported_files
from shortpencil.scan.records.recording.record_json import round_from_json, round_to_json
from shortpencil.scan.records.recording.schema import problems_of
from shortpencil.scan.records.store import Store, open_store
from tests.records.cards import ENDS

WHEN = datetime(2026, 6, 14, 18, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    layout = arrange(form_from_toml(ENDS, source="ends.toml"), PAPERS["a4"]).layout
    fields = {field.id: FieldReading(None, 0.999) for field in layout.form.fields}
    fields |= {
        "date.day": FieldReading(14, 0.999),
        "date.month": FieldReading(6, 0.999),
        "date.year": FieldReading(26, 0.999),
        "e01.sum": FieldReading(54, 0.997),
        "e02.sum": FieldReading(41, 0.7, "unclear", alternatives=((47, 0.3),)),
        "e01.felt": FieldReading(("calm", "rushed"), 0.99),
        "e03.note": FieldReading("", 0.99),
    }
    card = CardReading("ends.jpg", "read", serial="8JSHR4Z5", form="F", fields=fields, photo_sha256="a" * 64)
    with open_store(tmp_path / "rounds.sqlite") as store:
        store.add_reading(card, layout.form, None, form_text=layout_to_json(layout), player="Wren")
        yield store


def rows_of(store: Store) -> dict[tuple[int, str], dict[str, object]]:
    (sheet,) = store.other_sheets()
    return {(row["row"], row["field"]): row for row in field_rows(sheet)}


def test_every_field_is_a_row_with_status_and_source(store: Store) -> None:
    rows = rows_of(store)
    assert len(rows) == 4 + 3 * 3
    assert rows[1, "sum"] == {
        "sheet": "8JSHR4Z5",
        "row": 1,
        "row_label": "18 m",
        "field": "sum",
        "value": "54",
        "status": "known",
        "p": 0.997,
        "source": "read",
    }
    assert rows[1, "felt"]["value"] == "calm rushed"
    assert (rows[2, "sum"]["value"], rows[2, "sum"]["status"]) == (None, "waits")
    assert (rows[3, "sum"]["value"], rows[3, "sum"]["status"]) == (None, "blank")
    assert (rows[3, "note"]["value"], rows[3, "note"]["status"]) == (None, "written")
    assert rows[0, "date.day"]["value"] == "14"


def test_an_answer_given_in_review_stands_in_the_rows(store: Store) -> None:
    store.answer("8JSHR4Z5", "e02.sum", 47, who="Wren", when=WHEN)
    row = rows_of(store)[2, "sum"]
    assert (row["value"], row["status"], row["source"], row["p"]) == ("47", "known", "entered", None)
    (sheet,) = store.other_sheets()
    assert sheet.waiting == ()
    assert sheet.day == date(2026, 6, 14)


def test_a_sheet_belongs_to_who_it_was_printed_for_or_who_is_named_on_it(store: Store) -> None:
    assert [sheet.player for sheet in store.other_sheets("Wren")] == ["Wren"]
    store.answer("8JSHR4Z5", "player", "Birch", who="Birch", when=WHEN)
    assert [sheet.player for sheet in store.other_sheets("Birch")] == ["Birch"]
    assert store.other_sheets("Wren") == ()


def test_an_export_has_such_sheets_as_two_tables_that_frictionless_takes(
    store: Store, tmp_path: Path
) -> None:
    from frictionless import Package

    files = exported_files((), (), store.other_sheets())
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["message"])
    rows = list(csv.DictReader(io.StringIO(files["fields.csv"].decode())))
    assert [row["value"] for row in rows if row["field"] == "sum"] == ["54", "", ""]
    (sheet,) = csv.DictReader(io.StringIO(files["sheets.csv"].decode()))
    assert (sheet["title"], sheet["day"], sheet["answered"], sheet["waiting"]) == (
        "Six ends",
        "2026-06-14",
        "6",
        "e02.sum",
    )


def test_an_export_of_rounds_alone_has_no_table_for_other_sheets() -> None:
    assert not {"sheets.csv", "fields.csv"} & set(exported_files(()))


def test_the_advice_says_in_a_sentence_what_it_leaves_out(store: Store) -> None:
    said = left_out(store.other_sheets())
    assert said.startswith("1 sheet is not part of this advice (1 × Six ends)")
    assert left_out(()) == ""
    (sheet,) = store.other_sheets()
    practice = replace(sheet, form=replace(sheet.form, record="practice"))
    assert left_out((practice,)) == ""


@pytest.mark.parametrize("name", [name for name in builtin_names() if load_form(name).record == "round"])
def test_the_game_knows_every_field_of_a_built_in_round_card(name: str) -> None:
    assert rules_of(load_form(name)).extra == ()


def own_round(field: str) -> tuple[CardReading, object]:
    from importlib.resources import files

    text = (
        files("shortpencil.forms.builtin")
        .joinpath("round9.toml")
        .read_text("utf-8")
        .replace("\n[rows]\n", field, 1)
    )
    form = form_from_toml(text, source="own.toml")
    fields = {f.id: FieldReading(None, 0.99) for f in form.fields} | {"h01.score": FieldReading(3, 0.99)}
    return CardReading("r.jpg", "read", serial="8JSHR4Z5", fields=fields, photo_sha256="b" * 64), form


MOOD = """
[[head]]
id = "mood"
type = "choose-one"
label = "Mood"
options = [{ id = "fresh", label = "fresh" }, { id = "tired", label = "tired" }]
line = 4

[rows]
"""


def test_a_field_that_the_game_does_not_know_is_kept_as_extra_and_comes_back() -> None:
    card, form = own_round(MOOD)
    assert rules_of(form).extra == ("mood",)
    assert round_from_reading(form, card, recorded_at=WHEN).extra == {}
    marked = replace(card, fields={**card.fields, "mood": FieldReading("tired", 0.98)})
    round_ = round_from_reading(form, marked, recorded_at=WHEN)
    assert round_.extra["mood"].known == "tired"
    data = round_to_json(round_)
    assert problems_of(data) == []
    assert round_from_json(data) == round_
    (row,) = csv.DictReader(io.StringIO(exported_files((round_,))["fields.csv"].decode()))
    assert (row["sheet"], row["row"], row["field"], row["value"]) == ("8JSHR4Z5", "0", "mood", "tired")


def test_an_extra_field_in_doubt_has_no_value_in_an_export() -> None:
    card, form = own_round(MOOD)
    unclear = FieldReading("tired", 0.6, "unclear")
    round_ = round_from_reading(
        form, replace(card, fields={**card.fields, "mood": unclear}), recorded_at=WHEN
    )
    (row,) = csv.DictReader(io.StringIO(exported_files((round_,))["fields.csv"].decode()))
    assert (row["value"], row["status"]) == ("", "doubtful")
