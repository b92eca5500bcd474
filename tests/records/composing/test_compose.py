from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.errors import InputError
from shortpencil.forms.form import Course, CourseHole, form_from_toml
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.answers import Answer, apply_answer, checked_answer
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import Round, Value
from tests.records import cards
from tests.records.cards import PHOTO, PLAYED, RECORDED_AT, reading, round_form

LATER = datetime(2026, 6, 2, 7, 0, tzinfo=UTC)


def composed(marks=None, *, form=None, flags=None, answers=(), **more) -> Round:
    form = form or round_form()
    card = reading(form, PLAYED if marks is None else marks, flags=flags, **more)
    return round_from_reading(form, card, recorded_at=RECORDED_AT, answers=answers)


def throws(round_: Round, hole: int) -> list[tuple]:
    return [(t.order, t.phase, t.execution.value, t.holed) for t in round_.holes[hole - 1].throws]


def test_throws_come_in_the_order_thrown_and_the_last_one_holes_out():
    round_ = composed()
    assert throws(round_, 1) == [
        (1, "drive", "miss", False),
        (2, "putt", "miss", False),
        (3, "putt", "clean", True),
    ]
    assert throws(round_, 2) == [
        (1, "drive", "miss", False),
        (2, "approach", "clean", False),
        (3, "putt", "clean", True),
    ]


def test_head_and_sums_are_kept_as_written():
    round_ = composed()
    assert round_.id == "ABCD2345"
    assert round_.form == "FP2345"
    assert round_.played_on.value == "2026-05-31"
    assert round_.total == Value(9, p=0.9991)
    assert {phase: value.value for phase, value in round_.tallies.items()} == {
        "drive": 2,
        "approach": 0,
        "putt": 1,
    }
    assert round_.sources == (PHOTO,)
    assert round_.recorded_at == RECORDED_AT
    assert round_.hand == Value("right", source="printed")
    assert round_.wind == Value("calm", source="default", p=0.9991)
    assert round_.waiting == ()


def test_an_unmarked_penalty_says_that_there_was_none():
    round_ = composed()
    assert round_.holes[0].penalty == Value(0, p=0.9991)
    assert round_.holes[1].penalty == Value(1, p=0.9991)


def test_that_none_may_be_marked_is_a_doubt_between_numbers_of_penalties():
    card = reading(form := round_form(), PLAYED)
    doubted = FieldReading("1", 0.7, "unclear", alternatives=((None, 0.2), ("2", 0.1)))
    card = replace(card, fields={**card.fields, "h02.penalty": doubted})
    penalty = round_from_reading(form, card, recorded_at=RECORDED_AT).holes[1].penalty
    assert (penalty.value, penalty.status) == (1, "doubtful")
    assert penalty.alternatives == ((0, 0.2), (2, 0.1))


def test_ace_is_one_holed_drive_even_when_no_bubble_is_marked():
    assert throws(composed({"h01.score": 1}), 1) == [(1, "drive", "unmarked", True)]


def test_blank_hole_has_no_throws_and_no_score():
    hole = composed({}).holes[0]
    assert hole.throws == ()
    assert hole.score == Value(None, p=0.9991)


def test_unmarked_is_never_a_miss_and_an_earlier_column_must_have_happened():
    round_ = composed({"h01.putt2": "clean", "h01.score": 3})
    assert throws(round_, 1) == [
        (1, "drive", "unmarked", False),
        (2, "putt", "unmarked", False),
        (3, "putt", "clean", True),
    ]


def test_a_distance_or_a_stance_shows_that_the_putt_happened():
    round_ = composed({"h01.drive": "clean", "h01.putt1.distance": 4, "h01.score": 2})
    assert throws(round_, 1)[1] == (2, "putt", "unmarked", True)


def test_more_throws_than_columns_leaves_none_of_the_marked_ones_holed():
    full = {f"h01.{name}": "clean" for name in ("drive", "approach1", "approach2", "putt1", "putt2", "putt3")}
    round_ = composed({**full, "h01.score": 8})
    assert [throw.holed for throw in round_.holes[0].throws] == [False] * 6
    exact = composed({**full, "h01.score": 6})
    assert [throw.holed for throw in exact.holes[0].throws] == [False] * 5 + [True]


def test_who_holed_out_is_unknown_where_score_and_marks_do_not_agree():
    assert throws(composed({"h01.drive": "clean", "h01.putt1": "clean", "h01.score": 4}), 1)[-1][3] is None
    assert throws(composed({"h01.drive": "clean", "h01.putt1": "clean", "h01.score": 1}), 1)[-1][3] is None
    assert throws(composed({"h01.drive": "clean", "h01.putt1": "clean"}), 1)[-1][3] is None
    # One known throw of several is the drive, and that one did not hole out.
    assert throws(composed({"h01.drive": "clean", "h01.score": 4}), 1)[-1][3] is False


def test_a_flagged_score_settles_no_holing_out():
    round_ = composed(flags={"h03.score": "two digits look alike"})
    assert throws(round_, 3)[-1][3] is None
    assert round_.holes[2].score.status == "waits"
    assert round_.holes[2].score.known is None
    assert round_.waiting == ("h03.score",)


def test_second_pass_goes_to_the_first_miss_of_the_worst_phase():
    marks = PLAYED | {
        "worst": "putt",
        "h01.putt2": "miss",
        "h01.score": 4,
        "h01.putt3": "clean",
        "h01.way": ("left", "short"),
        "h01.forehand": "yes",
        "h01.why": 0,
        "h01.words": "gust",
        "h02.way": (),
        "h02.why": None,
    }
    hole = composed(marks).holes[0]
    first, second = hole.throws[1], hole.throws[2]
    assert (first.directions, first.forehand, first.words) == (("left", "short"), True, "gust")
    assert first.cause == Value("early", p=0.9991)
    assert first.directions_from == Value("left short", p=0.9991)
    assert (second.directions, second.forehand, second.cause, second.words) == ((), None, None, None)


def test_a_throw_in_the_usual_way_is_no_forehand():
    assert composed().holes[1].throws[0].forehand is False


def test_worst_phase_is_inferred_only_where_one_leads():
    marks = {name: value for name, value in PLAYED.items() if name != "worst"}
    assert composed(marks).worst == Value("drive", source="inferred", rule="most-misses")
    tied = marks | {"h03.putt1": "miss", "h03.score": 3, "h03.putt2": "clean"}
    assert composed(tied).worst.value is None
    assert composed(marks, flags={"h01.drive": "faint"}).worst.value is None


def test_in_a_game_of_one_phase_none_is_worst_without_a_miss():
    text = (
        """
name = "putts"
title = "Putts"
record = "round"
[[phases]]
id = "putt"
label = "putt"
role = "target"
columns = ["putt1", "putt2"]
[rows]
prefix = "h"
count = 2
[[rows.left]]
id = "score"
type = "number"
digits = 1
"""
        + "".join(
            f"""[[rows.left]]
id = "putt{n}"
type = "choose-one"
options = [{{id = "clean", label = "clean"}}, {{id = "miss", label = "miss"}}]
"""
            for n in (1, 2)
        )
        + """[[head]]
id = "worst"
type = "choose-one"
options = [{id = "putt", label = "putt"}]
"""
    )
    form = form_from_toml(text, source="putts")
    marks = {"h01.score": 1, "h01.putt1": "clean", "h02.score": 2, "h02.putt2": "clean"}
    assert composed({**marks, "h02.putt1": "clean"}, form=form).worst.value is None
    assert composed({**marks, "h02.putt1": "miss"}, form=form).worst.value == "putt"


def test_while_the_worst_phase_waits_its_notes_belong_to_no_throw():
    round_ = composed(flags={"worst": "two filled"})
    assert (round_.worst.value, round_.worst.status) == ("drive", "waits")
    assert all(throw.cause is None and not throw.directions for h in round_.holes for throw in h.throws)
    assert round_.notes["h02.why"] == "1"


def test_a_note_without_a_miss_is_kept_in_the_notes():
    round_ = composed(PLAYED | {"h03.why": 1, "h03.way": ("right",)})
    assert round_.notes == {"h03.way": "right", "h03.why": "1"}
    assert round_.holes[2].throws[0].cause is None
    written = composed(pictures={"h03.words": b"png"})
    assert written.notes == {"h03.words": "see the picture"}


def test_a_cause_that_is_not_on_the_list_waits():
    round_ = composed(PLAYED | {"h02.why": 7})
    assert round_.holes[1].throws[0].cause == Value("7", p=0.9991, status="waits")
    assert round_.waiting == ("h02.why",)


def test_picture_of_a_strip_is_named_by_its_field():
    round_ = composed(pictures={"h02.words": b"png"})
    assert round_.holes[1].throws[0].words_picture == "h02.words"
    assert round_.holes[1].throws[0].words is None


@pytest.mark.parametrize(("day", "month", "year"), [(30, 2, 26), (0, 1, 26), (1, 13, 26), (29, 2, 25)])
def test_a_day_that_does_not_exist_waits(day, month, year):
    round_ = composed(PLAYED | {"date.day": day, "date.month": month, "date.year": year})
    assert round_.played_on.status == "waits"
    assert round_.day is None
    assert round_.waiting == ("date.day", "date.month", "date.year")


def test_leap_day_exists_in_a_leap_year():
    assert (
        composed(PLAYED | {"date.day": 29, "date.month": 2, "date.year": 28}).played_on.known == "2028-02-29"
    )


def test_a_half_written_date_waits_and_a_blank_one_is_blank():
    half = composed({key: value for key, value in PLAYED.items() if key != "date.year"})
    assert half.played_on.value == "????-05-31"
    assert half.waiting == ("date.year",)
    assert composed({}).played_on == Value(None, p=0.9991)


def test_of_a_date_only_the_part_that_waits_is_asked():
    round_ = composed(flags={"date.day": "faint"})
    assert (round_.played_on.status, round_.waiting) == ("waits", ("date.day",))
    card = reading(form := round_form(), PLAYED, flags={"date.day": "faint"})
    doubted = FieldReading(5, 0.7, "unclear", alternatives=((6, 0.3),))
    card = replace(card, fields={**card.fields, "date.month": doubted})
    day = round_from_reading(form, card, recorded_at=RECORDED_AT).played_on
    assert day.status == "waits", "a day that nobody can tell has no probability"


def test_a_hand_that_waits_is_not_taken_to_be_the_printed_one():
    marks = {name: value for name, value in PLAYED.items() if name != "hand"}
    assert composed(marks).hand == Value("right", source="printed")
    assert composed(marks, flags={"hand": "faint"}).hand.status == "waits"


def test_guesses_that_stand_apart_from_the_answer_are_no_probabilities():
    form, statuses = round_form(), []
    for other in (0.2, 0.6):  # with 0.8 for the answer these are 1.0, and more than can be
        doubted = FieldReading(3, 0.8, "unclear", alternatives=((4, other),))
        card = reading(form, PLAYED)
        card = replace(card, fields={**card.fields, "h01.score": doubted})
        score = round_from_reading(form, card, recorded_at=RECORDED_AT).holes[0].score
        statuses.append((score.status, score.alternatives))
    assert statuses == [("doubtful", ((4, 0.2),)), ("waits", ())]


def test_feet_become_metres():
    # 33 ft = 33 * 0.3048 m = 10.0584 m (international foot, exact), rounded to the millimetre.
    form = round_form(unit="ft")
    putt = composed(PLAYED | {"h01.putt1.distance": 33}, form=form).holes[0].throws[1]
    assert (putt.distance.value, putt.distance_m) == (33, 10.058)


def test_a_card_may_ask_for_its_unit_itself():
    """One foot is 0.3048 m exactly (NIST SP 811, 2008, B.8)."""
    asks = """[[head]]
id = "unit"
type = "choose-one"
options = [{id = "m", label = "m"}, {id = "ft", label = "ft"}]
[[head]]
id = "hand"
"""
    form = form_from_toml(
        cards.TOML.replace("HOLES", "3").replace('[[head]]\nid = "hand"\n', asks), source="asks"
    )
    for marked, unit, far in (("ft", "ft", 2.134), ("m", "m", 7.0), (None, "m", 7.0)):
        round_ = composed(PLAYED | {"unit": marked}, form=form)
        assert round_.unit == unit
        assert round_.holes[0].throws[1].distance_m == pytest.approx(far, abs=0.0005)


def test_a_flagged_distance_has_no_metres():
    putt = composed(flags={"h01.putt1.distance": "smudged"}).holes[0].throws[1]
    assert (putt.distance.value, putt.distance.status, putt.distance_m) == (7, "waits", None)


def test_par_comes_from_the_course_where_it_is_printed_and_from_the_box_where_not():
    printed = composed(form=round_form(course=True))
    assert [hole.par for hole in printed.holes] == [Value(par, source="printed") for par in (3, 4, 5)]
    assert printed.holes[0].length_m == 81.0
    assert (printed.course, printed.layout) == ("Alder Meadow", "long")
    assert composed(PLAYED | {"h01.par": 3}).holes[0].par == Value(3, p=0.9991)


def test_an_answer_replaces_the_value_and_keeps_what_it_replaced():
    answer = Answer("h03.score", 3, "Robin", LATER, over=2)
    round_ = composed(flags={"h03.score": "faint"}, answers=[answer])
    assert round_.holes[2].score == Value(3, source="entered", by="Robin", at=LATER, over=2)
    assert round_.waiting == ()


def test_answers_to_choices_carry_over_as_the_record_says_them():
    answers = [
        Answer("h02.penalty", "2", "Robin", LATER, over="1"),
        Answer("h01.penalty", "1", "Robin", LATER, over=None),
        Answer("h02.why", 0, "Robin", LATER, over=1),
        Answer("h02.way", ("left", "long"), "Robin", LATER, over=("left",)),
        Answer("h02.forehand", "yes", "Robin", LATER, over=None),
    ]
    first, hole, _ = composed(answers=answers).holes
    assert (first.penalty.value, first.penalty.over) == (1, 0), "none was marked"
    assert (hole.penalty.value, hole.penalty.over) == (2, 1)
    drive = hole.throws[0]
    assert (drive.cause.value, drive.cause.over) == ("early", "late")
    assert (drive.directions, drive.directions_from.over) == (("left", "long"), "left")
    assert (drive.forehand, drive.forehand_from.over) == (True, False)


def test_an_answered_date_says_what_it_replaced():
    round_ = composed(PLAYED | {"date.day": 32}, answers=[Answer("date.day", 30, "Robin", LATER, over=32)])
    assert round_.played_on == Value("2026-05-30", source="entered", by="Robin", at=LATER, over="2026-05-32")


def test_a_date_that_two_people_entered_is_the_later_ones():
    days = [
        Answer("date.day", 29, "Robin", LATER, over=31),
        Answer("date.month", 6, "Wren", LATER + timedelta(hours=1), over=5),
    ]
    for order in (days, days[::-1]):
        day = composed(answers=order).played_on
        assert (day.value, day.by, day.at) == ("2026-06-29", "Wren", LATER + timedelta(hours=1))
        assert day.over == "2026-05-31"


def test_apply_answer_is_certain_and_keeps_the_old_value():
    card = reading(round_form(), PLAYED, flags={"total": "faint"})
    fields, answer = apply_answer(card.fields, "total", 10, "Robin", LATER)
    assert (fields["total"].value, fields["total"].flag, fields["total"].source) == (10, None, "entered")
    assert answer == Answer("total", 10, "Robin", LATER, over=9)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("h01.drive", "good", "expected one of clean, miss"),
        ("h01.way", ["left", "up"], "expected any of left, right, long, short"),
        ("h01.score", 100, "expected a whole number from 0 to 99"),
        ("h01.score", True, "expected a whole number"),
        ("h01.why", 5, "expected the number of a cause on this card (0, 1)"),
        ("h01.words", "a\x00b", "without control characters"),
        ("h99.score", 3, "expected a field of the form 'test-round'"),
    ],
)
def test_an_answer_the_field_cannot_hold_is_refused_in_words(field, value, said):
    with pytest.raises(InputError) as caught:
        checked_answer(round_form(), field, value)
    assert said in str(caught.value)


def test_without_a_list_of_causes_any_number_is_one():
    form = form_from_toml(cards.TOML.replace("HOLES", "3").partition("[[causes]]")[0], source="no causes")
    assert checked_answer(form, "h01.why", 7) == 7
    with pytest.raises(InputError, match="number of a cause"):
        checked_answer(round_form(), "h01.why", 7)


def test_answers_are_brought_into_the_form_s_own_order():
    assert checked_answer(round_form(), "h01.way", ["short", "left"]) == ("left", "short")
    assert checked_answer(round_form(), "h01.way", []) is None
    assert checked_answer(round_form(), "h01.words", " gust ") == "gust"


def test_an_own_form_must_call_a_miss_a_miss():
    text = """
name = "own"
edition = 1
title = "Own"
record = "round"
[rows]
prefix = "h"
count = 1
[[rows.left]]
id = "score"
type = "number"
[[rows.left]]
id = "drive"
type = "choose-one"
options = [{id = "good", label = "good"}, {id = "bad", label = "bad"}]
"""
    with pytest.raises(InputError, match=r"line 15, field 'drive': expected a throw .* 'clean' and 'miss'"):
        form_from_toml(text, source="own.toml")


def test_a_rejected_photo_makes_no_round():
    with pytest.raises(ValueError, match="readable"):
        round_from_reading(round_form(), CardReading("x.jpg", "rejected"), recorded_at=RECORDED_AT)


def test_a_round_is_composed_from_the_built_in_card():
    form = load_form("round18", course=Course("Alder Meadow", "", tuple(CourseHole(n) for n in range(1, 19))))
    round_ = composed(
        {name: value for name, value in PLAYED.items() if name != "h01.why"} | {"resolve": "grip"}, form=form
    )
    assert len(round_.holes) == 18
    assert throws(round_, 1)[-1] == (3, "putt", "clean", True)
    assert round_.holes[1].throws[0].cause.value == "early"
    assert (round_.course, round_.layout, round_.notes) == ("Alder Meadow", None, {"resolve": "grip"})
