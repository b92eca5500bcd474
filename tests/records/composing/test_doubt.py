"""Doubt as data: what a record keeps of a doubtful value, and the whole rounds that may be true."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest
from sqlalchemy import text

from shortpencil.scan.asking import EVERYTHING, LITTLE, MATTERS
from shortpencil.scan.reading import GLANCE, ONE_BY_ONE, SEVERAL, CardReading, FieldReading
from shortpencil.scan.records.composing.answers import AT_A_GLANCE, LEFT, AnsweredMeanwhile, standing
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.doubt import likeliest, possible_rounds
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.tidy import doubt_rows, misses, round_row
from shortpencil.scan.records.concluding.looks import Look
from shortpencil.scan.records.exchanging.csv_rounds import rounds_from_csv
from shortpencil.scan.records.exchanging.export import exported_files, rounds_text
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.record_json import round_text
from shortpencil.scan.records.recording.schema import checked_text
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from shortpencil.scan.records.storing.database import writing
from shortpencil.scan.records.storing.summary import STORE_SCHEMA
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form
from tests.records.conftest import back_to_version_7, read_form

FORM = round_form()
NOON = RECORDED_AT

#: Two scores of which one is a 4 and the other a 3, whichever; the written total says so.
SWAPPED = {
    "h01.score": FieldReading(3, 0.7, "unclear", alternatives=((4, 0.3),), ask=GLANCE),
    "h02.score": FieldReading(4, 0.7, "unclear", alternatives=((3, 0.3),), ask=GLANCE),
}


def card(doubts: dict[str, FieldReading], **more: object) -> CardReading:
    read = reading(FORM, {**PLAYED, **more.pop("marks", {})}, **more)  # type: ignore[arg-type]
    return replace(read, fields={**read.fields, **doubts})


def played(doubts: dict[str, FieldReading], how: str = MATTERS, **more: object) -> Round:
    return round_from_reading(FORM, card(doubts, **more), recorded_at=RECORDED_AT, player="Wren", how=how)


DISTANCE = {"h01.putt1.distance": FieldReading(7, 0.9, "unclear", alternatives=((9, 0.1),), ask=None)}


def test_a_doubtful_value_keeps_its_posterior_and_is_neither_fact_nor_unknown() -> None:
    score = played(SWAPPED).holes[0].score
    assert (score.value, score.p, score.status, score.alternatives) == (3, 0.7, "doubtful", ((4, 0.3),))
    assert score.known is None
    row = round_row(played(SWAPPED))
    assert (row["holes_scored"], row["score"]) == (1, 2), "sums hold only what is known"


def test_what_must_be_looked_at_waits_and_has_no_posterior_to_weigh() -> None:
    filled = FieldReading(
        None,
        0.9,
        "clean and miss are both filled",
        alternatives=(("miss", 0.99),),
        ask=ONE_BY_ONE,
        kind=SEVERAL,
    )
    drive = played({"h03.drive": filled})
    assert [t.execution.status for t in drive.holes[2].throws if t.phase == "drive"] == ["waits"]
    assert drive.waiting == ("h03.drive",)


def test_a_player_is_asked_everything_or_what_matters_or_little() -> None:
    doubts = {**SWAPPED, **DISTANCE, "total": FieldReading(9, 0.5, "unclear", ask=ONE_BY_ONE)}
    assert set(played(doubts, EVERYTHING).waiting) == set(doubts)
    assert set(played(doubts, MATTERS).waiting) == {*SWAPPED, "total"}
    assert played(doubts, LITTLE).waiting == ("total",)


def test_a_throw_that_may_be_marked_stands_apart_from_those_that_are() -> None:
    maybe = FieldReading(None, 0.8, "unclear", alternatives=(("miss", 0.2),), ask=GLANCE)
    hole = played(
        {"h03.putt2": maybe, "h03.score": FieldReading(2, 0.8, "unclear", alternatives=((3, 0.2),))}
    ).holes[2]
    assert [t.phase for t in hole.throws] == ["drive", "putt"]
    assert [(t.phase, t.order, t.execution.status) for t in hole.maybe] == [("putt", 2, "doubtful")]


# -- out and in ------------------------------------------------------------------------------------------


def everything_doubtful() -> Round:
    return played(
        {
            **SWAPPED,
            **DISTANCE,
            "h02.why": FieldReading(1, 0.9, "unclear", alternatives=((0, 0.1),), ask=GLANCE),
            "h02.way": FieldReading(("left",), 0.9, "unclear", alternatives=((None, 0.1),), ask=GLANCE),
            "h02.penalty": FieldReading("1", 0.94, "unclear", alternatives=((None, 0.06),), ask=GLANCE),
            "h03.putt2": FieldReading(None, 0.8, "unclear", alternatives=(("miss", 0.2),), ask=GLANCE),
            "date.day": FieldReading(31, 0.9, "unclear", alternatives=((30, 0.1),), ask=GLANCE),
        }
    )


def test_a_record_with_doubt_fits_the_schema() -> None:
    assert checked_text(everything_doubtful())


def test_an_export_comes_back_by_import_to_the_byte(tmp_path) -> None:
    first = rounds_text([everything_doubtful(), played({}, serial="N1")])
    (tmp_path / "rounds.json").write_text(first, encoding="utf-8")
    assert rounds_text(read_rounds(tmp_path / "rounds.json").rounds) == first


def test_an_export_says_status_and_probability_and_nothing_doubtful_as_known() -> None:
    files = {name: data.decode() for name, data in exported_files([everything_doubtful()]).items()}
    assert "ABCD2345,1,,doubtful" in files["holes.csv"]
    assert "ABCD2345,holes/1/score,1,3,0.7\r\nABCD2345,holes/1/score,2,4,0.3" in files["doubts.csv"]
    (record,) = json.loads(files["rounds.json"])["rounds"]
    assert record["holes"][0]["score"] == {
        "value": 3,
        "source": "read",
        "p": 0.7,
        "status": "doubtful",
        "alternatives": [[4, 0.3]],
    }


def test_tables_that_come_back_bring_what_doubtful_values_may_be() -> None:
    round_ = everything_doubtful()
    files = exported_files([round_])
    texts = {
        name.removesuffix(".csv"): data.decode() for name, data in files.items() if name.endswith(".csv")
    }
    found = rounds_from_csv(texts)
    assert found.problems == []
    score = found.records[0]["holes"][0]["score"]
    assert (score["value"], score["p"], score["alternatives"]) == (3, 0.7, [[4, 0.3]])
    del texts["doubts"]
    assert rounds_from_csv(texts).problems == [], "an export of an earlier version has no such table"


def test_each_doubtful_value_is_a_row_for_each_thing_it_may_be() -> None:
    rows = list(doubt_rows(everything_doubtful()))
    assert {row["place"] for row in rows} >= {
        "played_on",
        "holes/1/score",
        "holes/1/throws/2/distance",
        "holes/2/throws/1/cause",
        "holes/3/maybe/putt2/execution",
    }


# -- whole rounds that may be true -----------------------------------------------------------------------


def test_a_round_without_doubt_is_drawn_as_it_is() -> None:
    assert set(map(id, possible_rounds(played_ := played({}), 3))) == {id(played_)}


def test_draws_have_the_probability_of_each_value_and_keep_the_sum_true() -> None:
    drawn = possible_rounds(played(SWAPPED), 200)
    scores = Counter((one.holes[0].score.known, one.holes[1].score.known) for one in drawn)
    assert set(scores) >= {(3, 4), (4, 3)}
    # 0.7 each by itself and a total that is right at 97 %: by hand, the nearest joint of these margins
    assert scores[3, 4] / 200 == pytest.approx(0.7, abs=0.02)
    assert scores[4, 3] / 200 == pytest.approx(0.3, abs=0.02)
    assert all(one.holes[0].score.status == "known" for one in drawn)


def test_without_a_total_values_are_drawn_independently() -> None:
    drawn = possible_rounds(played(SWAPPED, marks={"total": None}), 400)
    both = sum((one.holes[0].score.known, one.holes[1].score.known) == (3, 4) for one in drawn)
    assert both / 400 == pytest.approx(0.49, abs=0.06)


def test_draws_keep_a_tally_true() -> None:
    marks = {"h01.drive": "miss", "h02.drive": "miss", "h03.drive": "clean", "tally.drive": 2}
    one_of = {
        "h01.drive": FieldReading("miss", 0.6, "unclear", alternatives=(("clean", 0.4),), ask=GLANCE),
        "h03.drive": FieldReading("clean", 0.6, "unclear", alternatives=(("miss", 0.4),), ask=GLANCE),
    }
    drawn = possible_rounds(played(one_of, marks=marks), 100)
    assert Counter(misses(one, "drive") for one in drawn)[2] >= 90, "independent draws: 48"


def test_a_drawn_score_says_who_holed_out() -> None:
    longer = {
        "h03.score": FieldReading(2, 0.5, "unclear", alternatives=((3, 0.5),), ask=GLANCE),
        "h03.putt2": FieldReading(None, 0.5, "unclear", alternatives=(("clean", 0.5),), ask=GLANCE),
    }
    drawn = possible_rounds(played(longer, marks={"total": None}), 50)
    ways = {(one.holes[2].score.known, tuple(t.holed for t in one.holes[2].throws)) for one in drawn}
    assert {(2, (False, True)), (3, (False, False, True))} <= ways
    straight = sum(
        isinstance(one.holes[2].score.known, int) and one.holes[2].score.known == len(one.holes[2].throws)
        for one in drawn
    )
    assert straight >= 45, "score and throws fit each other"


def test_a_drawn_distance_has_its_metres() -> None:
    drawn = possible_rounds(played(DISTANCE), 20)
    metres = Counter(one.holes[0].throws[1].distance_m for one in drawn)
    assert metres == {7.0: 18, 9.0: 2}


def test_notes_follow_the_first_miss_that_is_drawn() -> None:
    doubt = {"h02.drive": FieldReading("miss", 0.5, "unclear", alternatives=(("clean", 0.5),), ask=GLANCE)}
    drawn = possible_rounds(played(doubt), 10)
    noted = {
        (one.holes[1].throws[0].execution.value, one.holes[1].throws[0].cause is not None) for one in drawn
    }
    assert noted == {("miss", True), ("clean", False)}


def test_the_likeliest_round_has_no_doubt_and_its_most_probable_values() -> None:
    round_ = likeliest(everything_doubtful())
    assert [hole.score.known for hole in round_.holes] == [3, 4, 2]
    assert round_text(round_).count("doubtful") == 0


def test_many_doubts_at_once_are_drawn_in_bounded_time() -> None:
    form = round_form(18)
    marks = {f"h{n:02d}.score": 3 for n in range(1, 19)} | {"total": 54}
    read = reading(form, marks)
    unclear = FieldReading(3, 0.8, "unclear", alternatives=((8, 0.15), (5, 0.05)), ask=GLANCE)
    fields = {**read.fields, **{f"h{n:02d}.score": unclear for n in range(1, 19)}}
    round_ = round_from_reading(form, replace(read, fields=fields), recorded_at=RECORDED_AT)
    drawn = possible_rounds(round_, 12)
    assert all(one.holes[17].score.known in (3, 5, 8) for one in drawn)


# -- the store -------------------------------------------------------------------------------------------


@pytest.fixture
def waiting(store):
    """A store with one card of two doubtful scores, a distance of no weight, and two bubbles filled."""
    both = FieldReading(
        None,
        0.9,
        "clean and miss are both filled",
        alternatives=(("miss", 0.99),),
        ask=ONE_BY_ONE,
        kind=SEVERAL,
    )
    read = card({**SWAPPED, **DISTANCE, "h03.drive": both})
    round_ = round_from_reading(FORM, read, recorded_at=RECORDED_AT)
    store.add_reading(read, FORM, round_, form_text="3 m")
    return store


SERIAL = "ABCD2345"


def test_a_field_that_is_left_is_not_asked_again_and_stays_doubtful(waiting) -> None:
    before = waiting.card(SERIAL).waiting
    waiting.leave(SERIAL, "h01.score", "Robin", NOON, seen=0)
    assert set(before) - set(waiting.card(SERIAL).waiting) == {"h01.score"}
    assert waiting.rounds()[0].holes[0].score.status == "doubtful"
    assert waiting.answers(SERIAL)[-1].how == LEFT
    waiting.take_back(SERIAL, "h01.score", "Robin", NOON)
    assert waiting.card(SERIAL).waiting == before


def test_one_action_accepts_what_was_seen_together_signed_and_taken_back_as_one(waiting) -> None:
    before = waiting.rounds()[0]
    looks = [Look("h01.score", 3, 0), Look("h02.score", 5, 0)]
    round_ = waiting.look_over(SERIAL, looks, "Robin", NOON)
    first, second = round_.holes[0].score, round_.holes[1].score
    assert (first.known, first.source, first.by, first.at, first.how) == (
        3,
        "entered",
        "Robin",
        NOON,
        "glance",
    )
    assert (second.known, second.how, second.over) == (5, None, 4), (
        "a mended value is an answer like any other"
    )
    assert [a.how for a in standing(waiting.answers(SERIAL))] == [AT_A_GLANCE, ""]
    assert checked_text(round_)
    assert waiting.take_back_all(SERIAL, NOON, "Robin", NOON) == 2
    assert waiting.rounds()[0] == before
    assert len(waiting.answers(SERIAL)) == 4, "the history keeps all of it"


def test_what_must_be_looked_at_alone_is_never_accepted_among_others(waiting) -> None:
    before = waiting.rounds()
    with pytest.raises(Exception, match="found one to ask alone"):
        waiting.look_over(SERIAL, [Look("h01.score", 3, 0), Look("h03.drive", "miss", 0)], "Robin", NOON)
    assert waiting.rounds() == before, "and nothing of the action is kept"


def test_a_field_answered_meanwhile_stops_the_whole_action(waiting) -> None:
    waiting.answer(SERIAL, "h02.score", 4, "Wren", NOON)
    with pytest.raises(AnsweredMeanwhile):
        waiting.look_over(SERIAL, [Look("h01.score", 3, 0), Look("h02.score", 4, 0)], "Robin", NOON)
    assert [a.by for a in waiting.answers(SERIAL)] == ["Wren"]


def test_how_a_player_wants_to_be_asked_changes_what_waits_at_once(waiting) -> None:
    asked = {how: set() for how in (EVERYTHING, LITTLE, MATTERS)}
    for how in asked:
        waiting.ask_in(None, how)
        assert waiting.how_to_ask(None) == how
        asked[how] = set(waiting.card(SERIAL).waiting)
    assert asked[EVERYTHING] == {*SWAPPED, *DISTANCE, "h03.drive"}
    assert asked[MATTERS] == {*SWAPPED, "h03.drive"}
    assert asked[LITTLE] == {"h03.drive"}
    with pytest.raises(Exception, match="expected one of everything, matters, little"):
        waiting.ask_in(None, "loudly")


def test_a_store_of_version_5_carries_its_doubts_from_the_first_opening_on(place) -> None:
    with open_store(place, read_form=read_form) as store:
        read = card({**SWAPPED, **DISTANCE})
        store.add_reading(read, FORM, round_from_reading(FORM, read, recorded_at=NOON), form_text="3 m")
        now = store.rounds()[0]
        with writing(store._engine) as connection:
            old = round_text(now).replace('"doubtful"', '"waits"')
            back_to_version_7(connection)
            connection.execute(text("DROP TABLE IF EXISTS seals"))
            connection.execute(text("DROP TABLE asking"))
            connection.execute(text("ALTER TABLE cards DROP COLUMN glance"))
            connection.execute(tables.rounds.update().values(record=old))
            connection.execute(tables.cards.update().values(waiting="h01.putt1.distance h01.score h02.score"))
            kept = connection.execute(text("SELECT text FROM readings")).scalar_one()
            data = json.loads(kept)
            for field in data["fields"].values():
                del field["ask"]
            connection.execute(tables.readings.update().values(text=json.dumps(data)))
            connection.execute(tables.store_version.update().values(version=5))
    with open_store(place, read_form=read_form) as store:
        score = store.rounds()[0].holes[0].score
        assert (score.status, score.alternatives) == ("doubtful", ((4, 0.3),))
        assert "h01.putt1.distance" not in store.card(SERIAL).waiting
        with reading_from(store._engine) as connection:
            assert connection.execute(tables.store_version.select()).one().version == STORE_SCHEMA
        assert [d.which for d in store.damages()] == ["form FP2345"], "the test's own form is no field map"


def test_chances_of_what_no_alternative_names_are_not_lost() -> None:
    struck = {"h03.putt1": FieldReading("clean", 0.6, "unclear: clean (60%) or struck out", ask=ONE_BY_ONE)}
    drawn = possible_rounds(played(struck, marks={"total": None, "h03.score": None}), 50)
    marks = Counter(t.execution.value for one in drawn for t in one.holes[2].throws if t.phase == "putt")
    assert marks["clean"] == 30
    number = {
        "h01.putt1.distance": FieldReading(7, 0.6, "unclear", alternatives=((9, 0.1), (1, 0.1)), ask=None)
    }
    metres = Counter(one.holes[0].throws[1].distance_m for one in possible_rounds(played(number), 50))
    assert metres == {7.0: 30, 9.0: 10, 1.0: 10}
    assert all(a >= b for a, b in pairwise([30, 10, 10]))


@pytest.mark.parametrize(("how", "asked"), [("everything", True), ("matters", False)])
def test_a_new_card_is_asked_as_its_player_wishes_from_the_start(store, how, asked) -> None:
    store.ask_in("Wren", how)
    read = card(DISTANCE)  # a doubt that is worth no question
    for player, serial, photo, is_asked in (
        ("Wren", "W2345678", "a", asked),
        ("Ash", "A2345678", "b", False),
    ):
        one = replace(read, serial=serial, photo_sha256=photo * 64)
        round_ = round_from_reading(FORM, one, recorded_at=RECORDED_AT, player=player)
        kept = store.add_reading(one, FORM, round_, form_text="3 m")
        assert kept.round is not None
        assert ("h01.putt1.distance" in kept.round.waiting) == is_asked
        assert ("h01.putt1.distance" in store.card(one.serial).waiting) == is_asked
