"""What waits in a round that came from a file is answered in its record, by places that the record names."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.records.composing.rounds import Value
from shortpencil.scan.records.composing.tidy import settled
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.from_file import waiting_places, with_answer
from shortpencil.scan.records.store import open_store
from tests.records.exchanging.test_export import played

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
FLAGS = {"h03.score": "faint", "total": "faint", "date.day": "faint", "h01.putt1": "faint", "tally.putt": "?"}


def waiting_round():
    """As an export holds it: without the guesses."""
    return settled(played(flags={name: why for name, why in FLAGS.items() if name != "tally.putt"}))


def names(round_):
    return [place.name for place in waiting_places(round_)]


def test_each_value_that_waits_has_a_name_words_and_what_it_may_be():
    round_ = waiting_round()
    assert set(round_.waiting) == set(FLAGS) - {"tally.putt"}
    places = {place.name: place for place in waiting_places(round_)}
    assert set(places) == {"played_on", "total", "hole3.score", *(n for n in places if "throw" in n)}
    throw = next(name for name in places if name.endswith(".execution"))
    assert places[throw].options == ("clean", "miss", "unmarked")
    assert places[throw].says.startswith("hole 1, throw ")
    assert "(putt)" in places[throw].says
    assert places["played_on"].kind == "day"
    assert places["hole3.score"].kind == "number"


def test_all_answered_it_is_the_round_that_was_played():
    """Against the round of the same card without a doubt: equal but for who said what."""
    whole, round_ = played(), waiting_round()
    throw = next(name for name in names(round_) if "throw" in name)
    order = int(throw.partition(".throw")[2].partition(".")[0])
    told = {
        "played_on": str(whole.played_on.value),
        "total": str(whole.total.value),
        "hole3.score": str(whole.holes[2].score.value),
        throw: str(whole.holes[0].throws[order - 1].execution.value),
    }
    for number, (name, text) in enumerate(told.items(), start=1):
        round_ = with_answer(round_, name, text, "Robin", NOW)
        assert len(names(round_)) == len(told) - number
        assert len(round_.waiting) <= len(told) - number
    assert round_.waiting == ()
    assert round_.holes[2].score == Value(whole.holes[2].score.value, source="entered", by="Robin", at=NOW)

    def bare(found):
        return [
            (hole.number, hole.score.known, [(t.phase, t.execution.known, t.holed) for t in hole.throws])
            for hole in found.holes
        ]

    assert bare(round_) == bare(whole)
    assert round_.day == whole.day


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("hole3.score", "many", "expected a number, found 'many'"),
        ("hole3.score", "-2", "hole 3, score: expected at least 0"),
        ("hole3.score", "3.5", "expected a whole number"),
        ("played_on", "2026-02-31", "expected a day of the calendar"),
        ("played_on", "tomorrow", "day: expected"),
        ("hole1.score", "3", "expected a place that waits"),
        ("total", "6\x1b[31m", "without control characters"),
    ],
)
def test_what_a_place_cannot_hold_is_said(name, text, says):
    with pytest.raises(InputError, match=says.replace("[", r"\[")):
        with_answer(waiting_round(), name, text, "Robin", NOW)


def test_a_field_of_the_card_without_a_place_in_the_record_becomes_a_note(tmp_path):
    data = {"holes": [{"score": 3}], "waiting": ["h01.putt3"]}
    (tmp_path / "round.json").write_text(json.dumps(data))
    (round_,) = read_rounds(tmp_path / "round.json").rounds
    assert names(round_) == ["h01.putt3"]
    answered = with_answer(round_, "h01.putt3", "a miss", "Robin", NOW)
    assert (answered.waiting, answered.notes) == ((), {"h01.putt3": "a miss"})
    assert with_answer(round_, "h01.putt3", "", "Robin", NOW).notes == {}


def test_values_that_wait_without_a_list_of_them_are_found_when_they_come_in(tmp_path):
    data = {"holes": [{"score": {"value": None, "source": "imported", "status": "waits"}}]}
    (tmp_path / "round.json").write_text(json.dumps(data))
    (round_,) = read_rounds(tmp_path / "round.json").rounds
    assert round_.waiting == ("hole1.score",)
    assert with_answer(round_, "hole1.score", "4", "Robin", NOW).waiting == ()


def test_an_exported_round_is_answered_where_it_was_imported(store, tmp_path):
    write_export(tmp_path / "out", [waiting_round()])
    for source in ("rounds.json", ""):
        with open_store(tmp_path / f"from{len(source)}.sqlite") as other:
            other.add_rounds(read_rounds(tmp_path / "out" / source).rounds)
            ((round_id, places),) = other.waiting_in_files()
            for place in places:
                text = {"day": "2026-05-31", "number": "3"}.get(place.kind, "miss")
                other.answer_in_file(round_id, place.name, text, "Robin", NOW)
            assert other.waiting_in_files() == ()
            (line,) = other.summaries()
            assert line.waits == 0
            assert other.damages() == ()
            with pytest.raises(InputError, match="nothing"):
                other.answer_in_file(round_id, places[0].name, "3", "Robin", NOW)
            with pytest.raises(RecordError, match="found none"):
                other.answer_in_file("nobody", "total", "3", "Robin", NOW)


def test_a_distance_is_kept_in_metres_too(tmp_path):
    waits = {"value": None, "source": "imported", "status": "waits"}
    throw = {"phase": "putt", "execution": "miss", "distance": waits}
    data = {"unit": "ft", "holes": [{"score": 3, "throws": [{"phase": "drive"}, throw]}]}
    (tmp_path / "round.json").write_text(json.dumps(data))
    (round_,) = read_rounds(tmp_path / "round.json").rounds
    answered = with_answer(round_, "hole1.throw2.distance", "20", "Robin", NOW).holes[0].throws[1]
    assert answered.distance is not None
    assert (answered.distance.known, answered.distance_m) == (20, 6.096)  # 0.3048 m a foot, exactly


def test_the_answers_of_a_card_are_no_business_of_a_file(store):
    store.add_rounds([waiting_round()])
    ((round_id, places),) = store.waiting_in_files()
    assert {place.name for place in places} >= {"total", "hole3.score"}
    assert store.waiting_fields() == ()
    with pytest.raises(RecordError, match="came from a file"):
        store.answer(round_id, "total", 9, "Robin", NOW)
