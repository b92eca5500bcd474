import copy
import json

import pytest
from jsonschema import Draft202012Validator

from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import EXECUTIONS, SOURCES
from shortpencil.scan.records.recording.record_json import round_from_json, round_to_json, time_text
from shortpencil.scan.records.recording.schema import SCHEMA_FILE, practice_problems_of, problems_of
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form


@pytest.fixture(scope="module")
def schema():
    return json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))


@pytest.fixture
def record():
    form = round_form()
    card = reading(form, PLAYED | {"h02.words": "gust"}, flags={"total": "faint"})
    return copy.deepcopy(
        round_to_json(round_from_reading(form, card, recorded_at=RECORDED_AT, player="Wren"))
    )


def test_the_published_schema_is_a_json_schema_2020_12(schema):
    # The metaschema of the draft, as shipped with the validator; json-schema.org/draft/2020-12/schema.
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


def test_the_schema_and_the_code_name_the_same_things(schema):
    value, throw = schema["$defs"]["value"]["properties"], schema["$defs"]["throw"]["properties"]
    assert tuple(value["source"]["enum"]) == SOURCES or set(value["source"]["enum"]) == set(SOURCES)
    usual = schema["$defs"]["round"]["then"]["properties"]
    assert (
        tuple(usual["holes"]["items"]["properties"]["throws"]["items"]["properties"]["phase"]["enum"])
        == PHASES
    )
    assert tuple(usual["tallies"]["propertyNames"]["enum"]) == PHASES
    assert set(throw["execution"]["properties"]["value"]["enum"]) == {*EXECUTIONS, None}


def test_a_composed_round_fits(record):
    assert problems_of(record) == []
    assert json.loads(json.dumps(record)) == record


def test_what_is_null_or_the_default_is_left_out(record):
    assert record["holes"][2]["throws"][1] == {
        "order": 2,
        "phase": "putt",
        "execution": {"value": "clean", "source": "read", "p": 0.9991},
        "distance": {"value": None, "source": "read", "p": 0.9991},
        "stance": {"value": None, "source": "read", "p": 0.9991},
        "holed": True,
    }
    assert record["total"] == {"value": 9, "source": "read", "p": 0.991, "status": "waits"}


@pytest.mark.parametrize(
    ("change", "where", "says"),
    [
        (lambda r: r.pop("total"), "", "'total' is missing"),
        (lambda r: r.update(schema=2), "schema", "expected 1, found 2"),
        (lambda r: r.update(colour="red"), "", "found 'colour'"),
        (lambda r: r.update(unit="yd"), "unit", 'expected one of "m", "ft"; found "yd"'),
        (lambda r: r.update(player="a\x07"), "player", "expected a text of the form"),
        (lambda r: r.update(player="\ud800"), "player", "expected a text of whole characters"),
        (lambda r: r.update(player=""), "player", "found an empty text"),
        (lambda r: r.update(id="a/b"), "id", "expected a text of the form"),
        (lambda r: r["holes"][1]["score"].update(value="4"), "hole 2, score", 'found "4"'),
        (lambda r: r["holes"][1]["score"].update(value=True), "hole 2, score", "found true"),
        (lambda r: r["holes"][1]["score"].update(value=-1), "hole 2, score", "expected at least 0, found -1"),
        (lambda r: r["holes"][1]["score"].update(p=1.5), "hole 2, score, p", "expected at most 1, found 1.5"),
        (
            lambda r: r["holes"][0]["throws"][1]["execution"].update(value="good"),
            "hole 1, throw 2, execution",
            'found "good"',
        ),
        (
            lambda r: r["holes"][0]["throws"][1]["execution"].update(value=None),
            "hole 1, throw 2, execution",
            "null is for what waits",
        ),
        (lambda r: r["holes"][1].update(number=1), "hole 1", "expected each hole once"),
        (lambda r: r["holes"][1]["throws"].pop(0), "hole 2", "numbered 1, 2, … in this order; found 2, 3"),
        (lambda r: r["played_on"].update(value="2026-02-29"), "played_on", "expected a day of the calendar"),
        (lambda r: r["played_on"].update(value="29.2.26"), "played_on", "expected a text of the form"),
        (lambda r: r.update(recorded_at="2026-13-01T00:00:00Z"), "recorded_at", "a time that exists"),
        (lambda r: r["total"].update(at="yesterday"), "total, at", "expected a text of the form"),
    ],
)
def test_what_is_wrong_is_named_by_hole_throw_and_field(record, change, where, says):
    change(record)
    found = problems_of(record)
    assert where in [problem.where for problem in found]
    assert any(says in problem.says for problem in found if problem.where == where)


def test_everything_wrong_is_said_at_once(record):
    record["holes"][0]["score"]["value"] = "x"
    record["holes"][2]["throws"][0]["phase"] = "toss"
    record["unit"] = None
    assert [problem.where for problem in problems_of(record)] == [
        "hole 1, score",
        "hole 3, throw 1, phase",
        "unit",
    ]


@pytest.mark.parametrize("no_record", [None, 3, "x", [], [[]]])
def test_what_is_no_record_is_refused(no_record):
    assert "expected an object" in problems_of(no_record)[0].says


def test_a_waiting_day_may_not_exist_and_a_known_one_must(record):
    record["played_on"] = {"value": "2026-02-31", "source": "read", "status": "waits"}
    assert problems_of(record) == []
    record["played_on"]["status"] = "known"
    assert [problem.where for problem in problems_of(record)] == ["played_on"]


def test_times_are_kept_in_utc():
    assert time_text(RECORDED_AT) == "2026-06-01T18:30:00Z"
    with pytest.raises(ValueError, match="time zone"):
        time_text(RECORDED_AT.replace(tzinfo=None))


def test_times_of_other_zones_come_back_as_the_same_moment(record):
    record["recorded_at"] = "2026-06-01T20:30:00+02:00"
    assert problems_of(record) == []
    assert round_from_json(record).recorded_at == RECORDED_AT


def test_a_set_of_practice_is_checked_too():
    good = {
        "card": "P1",
        "row": 1,
        "drill": "gate",
        "tries": {"value": 10, "source": "read"},
        "made": {"value": 7, "source": "read"},
    }
    assert practice_problems_of(good) == []
    more = good | {"made": {"value": 11, "source": "read"}, "day": "2026-02-31"}
    assert [problem.where for problem in practice_problems_of(more)] == ["made", "day"]
    assert [problem.says for problem in practice_problems_of(good | {"row": 0})] == [
        "expected at least 1, found 0"
    ]
