"""Many rounds at once: the same in the store as one by one, and the same texts as Python's own JSON."""

from __future__ import annotations

import copy
import json
import re
from dataclasses import replace

import jsonschema
import jsonschema_rs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from shortpencil.forms.errors import RecordError
from shortpencil.scan.records.composing.rounds import Value
from shortpencil.scan.records.composing.tidy import hole_facts, throw_facts
from shortpencil.scan.records.concluding.outcomes import REPLACED, UNCHANGED
from shortpencil.scan.records.exchanging.export import exported_files, tables_of
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.as_written import round_as_written
from shortpencil.scan.records.recording.record_json import (
    round_from_json,
    round_from_text,
    round_text,
    round_to_json,
)
from shortpencil.scan.records.recording.schema import SCHEMA_FILE, is_full, problems_of
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import many, tables
from shortpencil.scan.records.storing.database import reading
from tests.records.exchanging.test_export import played
from tests.records.filled import add_card
from tests.records.strategies import rounds


@pytest.fixture(scope="module")
def schema():
    return json.loads(SCHEMA_FILE.read_text("utf-8"))


#: A busy machine makes rounds slowly; that says nothing of them. Other rounds come in each run.
patient = settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow], deadline=None)


def hundreds() -> list:
    return [played(serial=f"R{number:04d}") for number in range(many.AT_ONCE + 20)]


def rows(store) -> dict:
    with reading(store._engine) as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))]
            for table in (tables.rounds, tables.holes, tables.throws, tables.photos)
        }


def test_many_at_once_are_stored_as_one_by_one(tmp_path):
    some = hundreds()
    with open_store(tmp_path / "many.sqlite") as together, open_store(tmp_path / "one.sqlite") as alone:
        together.add_rounds(some)
        for round_ in some:
            alone.add_rounds([round_])
        assert rows(together) == rows(alone)
        assert together.damages() == ()
        assert [round_.id for round_ in together.each_round()] == [round_.id for round_ in some]


def test_one_that_differs_among_many_keeps_all_of_them_out(place, tmp_path):
    some = hundreds()
    with open_store(place) as store:
        store.add_rounds(some[-5:])
        before = rows(store)
        changed = [*some[:-1], replace(some[-1], course="Mill")]
        with pytest.raises(RecordError, match=r"found 1 that differ from the stored ones: R0269\."):
            store.add_rounds(changed)
        assert rows(store) == before
        store.add_rounds(some)
        every = [replace(one, course="Mill") for one in some[-12:]]
        with pytest.raises(RecordError, match=r"found 12 that .*: R0258, .*, R0267 and 2 more\."):
            store.add_rounds(every)
        outcomes = store.add_rounds(changed, replace=True)
        assert outcomes["R0269"] == REPLACED
        assert outcomes["R0268"] == UNCHANGED
        assert store.round("R0269") == changed[-1]
        assert store.damages() == ()


def test_a_cards_doubts_are_settled_by_a_file(place):
    with open_store(place) as store:
        serial = add_card(store, 1)
        assert store.waiting_fields() == ((serial, ("h02.putt1.distance",)),)
        store.add_rounds([replace(store.round(serial), waiting=(), course="Mill")], replace=True)
        assert store.waiting_fields() == ()


def test_many_that_are_wrong_leave_nothing_in_the_store(place):
    some = hundreds()
    some[-1] = replace(some[-1], unit="yd")
    with open_store(place) as store:
        with pytest.raises(RecordError, match="unit"):
            store.add_rounds(some)
        assert store.size() == (0, 0)


@patient
@given(rounds())
def test_the_tables_of_the_store_say_what_the_exported_rows_say(round_):
    exported = tables_of([round_])
    for name, facts in (("holes", hole_facts(round_)), ("throws", throw_facts(round_))):
        columns = tables.metadata.tables[name].columns.keys()
        assert facts == [tuple(row[column] for column in columns) for row in exported[name]]


_NUMBERS = st.floats(0, 300, allow_nan=False) | st.sampled_from(
    [1e-5, 4.2e-7, 1e-300, 0.0001, 0.00012, 5e-324]
)


@patient
@given(rounds(), _NUMBERS, st.sampled_from([1e16, 1.5e300, 10**20, -0.0, True, "e-", None]))
def test_a_rounds_text_is_the_one_that_pythons_json_writes(round_, number, over):
    round_ = replace(round_, total=Value(3, source="read", p=min(number, 1.0), over=over))
    plain = json.dumps(round_to_json(round_), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    assert round_text(round_) == plain
    assert round_from_text(plain) == round_from_json(json.loads(plain)) == round_


def test_whole_numbers_written_as_others_and_times_of_other_zones_come_back():
    record = round_to_json(played())
    record["holes"][0]["number"] = 1.0
    record["holes"][0]["throws"][0]["order"] = 1.0
    record["total"] = {"value": 9, "source": "entered", "by": "Wren", "at": "2026-06-01T20:30:00+02:00"}
    record["notes"] = {"at": "noon"}
    record["extra"] = {"mood": record["total"] | {"at": "2026-06-01T20:30:00-02:00"}}
    assert problems_of(record) == []
    round_ = round_from_json(record)
    assert json.loads(round_text(round_))["total"]["at"] == "2026-06-01T18:30:00Z"
    assert str(round_.total.at) == "2026-06-01 18:30:00+00:00"
    assert round_from_text(json.dumps(record)) == round_
    assert repr(round_.holes[0].number) == "1"
    assert round_.notes == {"at": "noon"}
    record["extra"]["mood"]["at"] = "2026-06-31T20:30:00Z"
    assert [str(problem) for problem in problems_of(record)] == [
        'extra, mood, at: expected a time that exists, found "2026-06-31T20:30:00Z"'
    ]


@patient
@given(st.lists(rounds(), max_size=1))
def test_one_schema_fits_the_whole_of_rounds_json_by_two_validators(some):
    # Two independent programs; both read the same draft, json-schema.org/draft/2020-12.
    schema = json.loads(SCHEMA_FILE.read_text("utf-8"))
    whole = json.loads(exported_files(some)["rounds.json"])
    jsonschema_rs.Draft202012Validator(schema).validate(whole)
    jsonschema.Draft202012Validator(schema).validate(whole)
    for round_ in whole["rounds"]:
        round_["colour"] = "red"
    assert jsonschema_rs.Draft202012Validator(schema).is_valid(whole) is (not some)
    assert jsonschema.Draft202012Validator(schema).is_valid(whole) is (not some)


def test_a_line_is_taken_the_quick_way_only_as_its_round_writes_it():
    """What a record may say and its round does not write, wherever it may say so."""
    unusual = {
        "value": {"status": "known", "rule": None, "by": None, "alternatives": [], "at": None},
        "hole": {"length_m": None, "maybe": []},
        "throw": {"directions": [], "holed": None},
        "round": {"notes": {}, "sources": [], "course": None, "recorded_at": "2026-06-01T20:30:00+00:00"},
    }
    taken = 0
    for kind, key, value in [(kind, *one) for kind, some in unusual.items() for one in some.items()]:
        record = round_to_json(played())
        hole = record["holes"][0]
        at = {"value": hole["score"], "hole": hole, "throw": hole["throws"][0], "round": record}[kind]
        at.pop(key, None)
        taken += round_as_written(json.dumps(record)) is not None
        at[key] = value
        assert is_full(record), key
        assert round_as_written(json.dumps(record)) is None, key
    assert taken == sum(map(len, unusual.values()))


def line_of(record: dict) -> str:
    """Return a record as an export writes it."""
    return json.dumps(record, ensure_ascii=False)


@patient
@given(rounds(), _NUMBERS)
def test_what_is_taken_the_quick_way_is_what_the_round_writes(round_, number):
    round_ = replace(round_, total=Value(3, source="read", p=min(number, 1.0)))
    found = round_as_written(line_of(round_to_json(round_)))
    if found is not None:
        assert found == (round_, round_text(round_))
        assert problems_of(round_to_json(round_)) == []


def test_a_key_that_stands_twice_is_not_taken_the_quick_way():
    line = line_of(round_to_json(played()))
    assert round_as_written(line) is not None
    twice = line.replace('"unit": "m"', '"unit": "ft", "unit": "m"')
    hidden = twice.replace('"course": "', '"course": "a\\u003a')  # one colon less to be counted
    assert line.count(":") == hidden.count(":") - 1
    assert round_as_written(twice) is None
    assert round_as_written(hidden) is None


@pytest.mark.parametrize(
    ("at", "quick"),
    [
        ("2026-06-01T20:30:00Z", True),
        ("2026-06-01T20:30:00.250000Z", True),
        ("2026-06-01T20:30:00.25Z", False),
        ("2026-06-01T20:30:00.000000Z", False),
        ("2026-06-01T20:30:00+00:00", False),
        ("2026-06-31T20:30:00Z", False),
        ("0000-06-01T20:30:00Z", False),
    ],
)
def test_a_round_with_answers_is_taken_the_quick_way_if_their_times_are_as_it_writes_them(at, quick):
    record = round_to_json(played())
    record["total"] = {"value": 9, "source": "entered", "by": "Robin", "at": at, "over": 8}
    record["recorded_at"] = "2026-06-01T20:00:00Z"
    found = round_as_written(line_of(record))
    assert (found is not None) is quick
    if found is not None:
        assert found == (round_from_json(record), round_text(round_from_json(record)))
    record["total"].pop("at")
    record["recorded_at"] = at
    assert (round_as_written(line_of(record)) is not None) is quick


def test_a_line_as_an_export_writes_it_is_taken_the_quick_way():
    lines = exported_files([played()])["rounds.json"].decode().splitlines()
    assert sum(round_as_written(line.rstrip(",")) is not None for line in lines) == 1


_ODD = st.sampled_from(
    [None, True, 0, -1, 1.5, 7.0, 100, 10**30, float("inf"), "", "x", "x\n", "\ud800", "a" * 501, "known"]
) | st.sampled_from(
    ["waits", "2026-02-31", "2026-05-31", "2026-06-01T20:30:00Z", [], {}, [1], {"value": 1, "source": "read"}]
)


def spoilt(round_, data) -> dict:
    """Return the record of a round with something odd somewhere."""
    record = copy.deepcopy(round_to_json(round_))
    at = record
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(at[key], dict | list) or not at[key] or data.draw(st.integers(0, 3)) == 0:
            break
        at = at[key]
    if isinstance(at, dict) and data.draw(st.booleans()):
        at[data.draw(st.sampled_from(["colour", "p", "at", "value", "\udfff"]))] = data.draw(_ODD)
    else:
        at[key] = data.draw(_ODD)
    return record


@patient
@given(rounds(), st.data())
def test_what_the_compiled_validator_refuses_has_words_and_what_it_lets_pass_has_none(round_, data):
    record = spoilt(round_, data)
    found = problems_of(record)
    if is_full(record):
        told = r"calendar|time that exists|once|numbered 1|null is for what waits"
        if "phases" in record:  # of a card of one's own: what they are, and that no other is named
            told += r"|of its own for each phase|in the order thrown|^expected one of .+; found "
        assert all(re.search(told, problem.says) for problem in found)
    else:
        assert found


@settings(patient, max_examples=150)  # one in thirty of them is right still
@given(rounds() | st.just(played()), st.data())
def test_nothing_that_is_wrong_is_taken_the_quick_way(round_, data):
    record = spoilt(round_, data)
    found = round_as_written(line_of(record))
    if found is not None:
        assert problems_of(record) == []
        assert found == (round_from_json(record), round_text(round_from_json(record)))


def test_every_pattern_means_the_same_to_every_engine(schema):
    """No half characters, no classes by letter, which differ between ECMA 262, Python and Rust."""
    found = re.findall(r'"pattern": "(.*)"', SCHEMA_FILE.read_text("utf-8"))
    assert len(found) > 20
    for pattern in found:
        assert not re.search(r"\\\\[dDwWsSbBpPZAz]|\\\\ud[89a-f]", pattern), pattern
        assert pattern.startswith("^"), pattern
        assert pattern.endswith("$"), pattern


def test_an_export_that_was_changed_by_hand_is_taken_or_refused_as_a_whole(tmp_path):
    path = tmp_path / "rounds.json"
    text = exported_files(hundreds()[:3])["rounds.json"].decode()
    for changed in (text, text.replace("},\n{", "},\n\n{"), text.replace('"rounds": [\n', '"rounds":\n[')):
        path.write_text(changed, encoding="utf-8")
        assert [round_.id for round_ in read_rounds(path).rounds] == ["R0000", "R0001", "R0002"]
    for broken, says in (
        (text.replace("},\n{", "}\n{"), "line 4, sign 1: expected JSON, found '{"),
        (text.replace("}\n],", "},\n],"), ": expected JSON, found"),  # Pythons differ in where
        (text.replace('"R0002"', '"R0001"'), "round R0001: expected each round once, found it twice"),
        (text.replace('"practice"', '"rounds"'), "the key 'rounds' stands twice"),
        (text.replace('"practice": [\n\n]', '"practice": 3'), "practice: expected a list"),
    ):
        assert broken != text
        path.write_text(broken, encoding="utf-8")
        with pytest.raises(Exception, match=re.escape(says)):
            read_rounds(path)
