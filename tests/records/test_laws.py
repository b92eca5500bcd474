"""Laws of the room: what goes in comes out, whatever the round."""

import csv
import io
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shortpencil.scan.records.exchanging.columns import TABLES
from shortpencil.scan.records.exchanging.csv_text import csv_text, guarded, parsed_csv, unguarded
from shortpencil.scan.records.exchanging.export import exported_files, tables_of, write_export
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.from_file import with_waiting_told
from shortpencil.scan.records.recording.record_json import round_from_json, round_text, round_to_json
from shortpencil.scan.records.recording.schema import problems_of
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import writing
from tests.records.conftest import KINDS, fresh_place
from tests.records.strategies import NASTY, many_rounds, practice_sets, rounds, texts

_ANY_DATA = {"deadline": None, "suppress_health_check": list(HealthCheck), "derandomize": True}
LAW = settings(max_examples=25, **_ANY_DATA)
STORE_LAW = settings(max_examples=10, **_ANY_DATA)  # each example writes to the disk and syncs it


@LAW
@given(rounds())
def test_record_to_json_to_record(round_):
    data = json.loads(json.dumps(round_to_json(round_)))
    assert problems_of(data) == []
    assert round_from_json(data) == round_


@LAW
@given(rounds())
def test_the_same_round_has_one_text(round_):
    again = round_from_json(json.loads(round_text(round_)))
    assert round_text(again) == round_text(round_)


def emptied(store):
    """Return the store without anything in it: one store a law, since making one costs most of a test."""
    with writing(store._engine) as connection:
        for table in reversed(tables.metadata.sorted_tables):
            if table is not tables.store_version:
                connection.execute(table.delete())
    return store


@pytest.fixture(scope="module", params=KINDS)
def store(request, tmp_path_factory):
    with fresh_place(request.param, tmp_path_factory.mktemp("laws")) as place, open_store(place) as opened:
        yield opened


@STORE_LAW
@given(many=many_rounds, practice=practice_sets())
def test_record_to_store_to_record(store, many, practice):
    emptied(store).add_rounds(many, practice)
    assert {round_.id: round_ for round_ in store.rounds()} == {round_.id: round_ for round_ in many}
    assert {done.row: done for done in store.practice()} == {done.row: done for done in practice}


@STORE_LAW
@given(many=many_rounds, random=st.randoms(use_true_random=False))
def test_the_order_in_which_rounds_come_does_not_matter(store, many, random):
    ends = []
    for order in (many, random.sample(many, len(many))):
        emptied(store)
        for round_ in order:
            store.add_rounds([round_])
        ends.append((store.rounds(), store.summaries()))
    assert ends[0] == ends[1]


def _round_trip(store, folder, many, practice, source_of):
    """Export, import into an empty store, export again; return the files of both exports.

    The rounds list what waits in them, as readers of cards and files make them: an import lists it where
    a file does not say.
    """
    emptied(store).add_rounds(map(with_waiting_told, many), practice)
    write_export(folder, store.rounds(), store.practice())
    first = exported_files(store.rounds(), store.practice())
    taken = read_rounds(source_of(folder))
    emptied(store).add_rounds(taken.rounds, taken.practice)
    return first, exported_files(store.rounds(), store.practice())


@STORE_LAW
@given(many=many_rounds, practice=practice_sets())
def test_export_of_json_to_import_to_export_gives_the_same_bytes(store, tmp_path, many, practice):
    first, second = _round_trip(store, tmp_path, many, practice, lambda folder: folder / "rounds.json")
    assert second == first


@STORE_LAW
@given(many=many_rounds, practice=practice_sets())
def test_export_of_csv_to_import_to_export_gives_the_same_tables(store, tmp_path, many, practice):
    first, second = _round_trip(store, tmp_path, many, practice, lambda folder: folder)
    for table in TABLES:
        assert second[f"{table.name}.csv"] == first[f"{table.name}.csv"]


@LAW
@given(texts)
def test_guarding_a_text_is_undone_exactly(text):
    assert unguarded(guarded(text)) == text


@given(st.text())
def test_no_guarded_text_starts_a_formula(text):
    assert not guarded(text).lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\0"))


@LAW
@given(many_rounds)
def test_csv_is_rfc_4180_and_any_reader_of_it_sees_the_same(many):
    # RFC 4180, 2.1: lines end with CRLF; 2.4: each line has the same number of fields.
    rows = tables_of(many)
    for table in TABLES:
        text = csv_text(table, rows[table.name])
        assert text.endswith("\r\n")
        assert text.replace("\r\n", "").count("\r") == 0
        lines = list(csv.reader(io.StringIO(text, newline="")))
        assert {len(line) for line in lines} == {len(table.columns)}
        assert lines == parsed_csv(text)


def test_the_nasty_texts_are_in_the_pool_of_the_laws():
    assert any(text.startswith("=") for text in NASTY)
