from dataclasses import replace
from datetime import UTC, datetime

import pytest

from shortpencil.forms.form import USUAL_PHASES
from shortpencil.scan.language import speaking, told
from shortpencil.scan.reading import Finding
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value
from shortpencil.scan.records.composing.validate import RoundFinding, column_of, validate
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form


def found(marks=None, *, form=None, flags=None, level=None):
    form = form or round_form()
    card = reading(form, PLAYED if marks is None else marks, flags=flags)
    round_ = round_from_reading(form, card, recorded_at=RECORDED_AT)
    return [(f.rule, f.level, f.says) for f in validate(round_) if level in (None, f.level)]


def typed(*throws: Throw, score: int | None, penalty: int = 0, par: int | None = 3, **more) -> Round:
    """A round of one hole, as a person may type it."""
    blank = Value(None, source="imported")
    hole = Hole(
        number=more.pop("number", 1),
        score=Value(score, source="imported"),
        penalty=Value(penalty, source="imported"),
        par=Value(par, source="imported"),
        length_m=more.pop("length_m", None),
        throws=throws,
    )
    day = Value("2026-05-31", source="imported")
    return Round(
        id="T1",
        form="typed",
        played_on=more.pop("played_on", day),
        player=None,
        course=None,
        layout=None,
        hand=blank,
        unit=more.pop("unit", "m"),
        wind=blank,
        worst=blank,
        tallies={},
        total=blank,
        holes=(hole,),
        recorded_at=RECORDED_AT,
        **more,
    )


def throw(order: int, phase: str, execution: str = "clean", holed: bool | None = False, **more) -> Throw:
    return Throw(order=order, phase=phase, execution=Value(execution, source="imported"), holed=holed, **more)


def rules(round_: Round) -> list[tuple[str, str]]:
    return [(f.rule, f.level) for f in validate(round_)]


def test_a_card_added_up_rightly_has_no_findings():
    assert found() == []


def test_a_wrong_total_says_both_sums():
    assert found(PLAYED | {"total": 8}) == [("total", "error", "your holes add up to 9, your total says 8")]


def test_a_wrong_tally_says_both_counts():
    assert found(PLAYED | {"tally.drive": 1, "tally.approach": 2}) == [
        ("tally.drive", "error", "you counted 1 missed drive, the marks show 2"),
        ("tally.approach", "error", "you counted 2 missed approaches, the marks show 0"),
    ]


def test_unmarked_is_never_counted_as_a_miss():
    marks = {name: value for name, value in PLAYED.items() if name != "h03.drive"}
    assert [f for f in found(marks) if f[0].startswith("tally")] == []


def test_what_waits_breaks_no_rule():
    wrong = PLAYED | {"total": 8, "tally.drive": 1, "h01.score": 2}
    flags = {"total": "faint", "h01.drive": "faint", "h01.score": "faint"}
    assert found(wrong, flags=flags) == []


def test_more_throws_than_the_score_has_room_for():
    assert found(PLAYED | {"h02.score": 3, "total": 8}) == [
        ("throws", "error", "hole 2: 3 throws marked and 1 penalty throw, but the score says 3")
    ]


def test_fewer_marks_than_throws_is_a_question():
    assert found(PLAYED | {"h03.score": 4, "total": 11}) == [
        ("throws", "ask", "hole 3: a score of 4 means 4 throws, but 2 marked")
    ]


def test_more_throws_than_columns_is_allowed():
    marks = {f"h01.{name}": "clean" for name in ("drive", "approach1", "approach2", "putt1")}
    assert [f for f in found(marks | {"h01.score": 7}) if f[0] == "throws"] == []


def test_a_hole_with_only_a_score_is_allowed():
    assert [f for f in found({"h01.score": 5}) if f[0] != "date"] == []


def test_a_score_without_a_throw_cannot_be():
    assert ("throws", "error", "hole 1: a score of 1 with 1 penalty throw leaves no throw") in found(
        {"h01.score": 1, "h01.penalty": "1"}
    )
    assert rules(typed(score=0)) == [("throws", "error")]


def test_an_ace_has_no_putt():
    assert ("ace", "error", "hole 3: a score of 1 is an ace, but more than the drive is marked") in found(
        PLAYED | {"h03.score": 1, "total": 8}
    )
    assert rules(typed(throw(1, "drive", holed=True), score=1)) == []


def test_the_first_throw_is_a_drive():
    assert rules(typed(throw(1, "putt", holed=True), score=1)) == [("first-throw", "error")]


def test_a_second_drive_needs_a_penalty():
    throws = (throw(1, "drive"), throw(2, "drive"), throw(3, "putt", holed=True))
    assert rules(typed(*throws, score=3)) == [("first-throw", "ask")]
    assert rules(typed(*throws, score=4, penalty=1)) == []


def test_only_the_last_throw_holes_out():
    both = (throw(1, "drive", holed=True), throw(2, "putt", holed=True))
    assert rules(typed(*both, score=2)) == [("holed", "error")]
    none = (throw(1, "drive"), throw(2, "putt"))
    assert rules(typed(*none, score=2)) == [("holed", "error")]
    assert rules(typed(*none, score=None)) == []  # not finished


@pytest.mark.parametrize(("phase", "metres", "expected"), [
    ("approach", 9.0, [("close-approach", "ask")]),
    ("approach", 10.06, []),
    ("putt", 10.0, []),
    ("putt", 12.0, [("far-putt", "fine")]),
    ("putt", 0.3, [("distance", "ask")]),
    ("putt", 31.0, [("distance", "ask"), ("far-putt", "fine")]),
])  # fmt: skip
def test_distances_are_looked_at(phase, metres, expected):
    second = throw(2, phase, holed=True, distance=Value(metres, source="imported"), distance_m=metres)
    assert rules(typed(throw(1, "drive"), second, score=2)) == expected


def test_thirty_three_feet_are_at_the_edge_and_the_player_s_word_is_taken():
    for phase in ("putt", "approach"):
        second = throw(2, phase, holed=True, distance=Value(33, source="imported"), distance_m=10.058)
        assert rules(typed(throw(1, "drive"), second, score=2, unit="ft")) == [("edge", "fine")]


def test_a_jump_putt_is_for_beyond_ten_metres():
    jump = {"stance": Value("jump", source="imported")}
    near = throw(2, "putt", holed=True, distance=Value(8, source="imported"), distance_m=8.0, **jump)
    far = throw(2, "putt", holed=True, distance=Value(14, source="imported"), distance_m=14.0, **jump)
    assert rules(typed(throw(1, "drive"), near, score=2)) == [("jump-putt", "ask")]
    assert rules(typed(throw(1, "drive"), far, score=2)) == [("far-putt", "fine")]


@pytest.mark.parametrize(
    ("par", "expected"),
    [
        (3, []),
        (5, []),
        (2, [("par", "ask")]),
        (6, [("par", "ask")]),
        (7, [("par", "error")]),
        (1, [("par", "error")]),
    ],
)
def test_unusual_pars(par, expected):
    assert rules(typed(throw(1, "drive", holed=True), score=1, par=par)) == expected


def test_unusual_scores_lengths_penalties_and_numbers():
    assert rules(typed(score=10, par=3)) == [("high-score", "ask")]
    assert rules(typed(score=9, par=3)) == []
    assert rules(typed(score=16, par=None)) == [("high-score", "ask")]
    assert rules(typed(score=3, length_m=20.0)) == [("length", "ask")]
    assert rules(typed(throw(1, "drive", holed=True), score=3, penalty=2)) == [("penalties", "ask")]
    assert rules(typed(score=3, number=28)) == [("hole-number", "error")]


def test_a_cause_belongs_to_a_miss():
    late = {"cause": Value("late", source="imported")}
    odd = typed(throw(1, "drive", "clean", True, **late), score=1)
    assert rules(odd) == [("cause-without-miss", "ask")]
    (finding,) = validate(odd)
    assert "cause (released late, grip held)" in finding.says
    with speaking("de"):
        assert told(finding.says).startswith("Bahn 1, Wurf 1: Grund (zu spät, festgehalten) steht da")
    assert rules(typed(throw(1, "drive", "miss", True, **late), score=1)) == []
    assert found(PLAYED | {"h03.why": 1}) == [
        ("cause-without-miss", "ask", "hole 3: it has notes on a miss, but there is no missed drive")
    ]
    assert found(PLAYED | {"h03.why": 1}, flags={"h03.drive": "faint"}) == []


def test_notes_are_not_judged_while_the_worst_phase_waits():
    stray = PLAYED | {"h03.why": 1, "h03.way": ("right",)}
    assert [rule for rule, _, _ in found(stray)] == ["cause-without-miss"]
    assert found(stray, flags={"worst": "two filled"}) == []


def test_execution_and_result_are_two_questions():
    # A missed throw that holed out and a clean one that did not are both legal.
    throws = (throw(1, "drive"), throw(2, "putt"), throw(3, "putt", "miss", True))
    assert rules(typed(*throws, score=3)) == []


def test_dates():
    assert found(PLAYED | {"date.day": 31, "date.month": 6}) == [
        ("date", "error", "there is no day 2026-06-31")
    ]
    assert found({k: v for k, v in PLAYED.items() if k != "date.year"}) == [
        ("date", "ask", "the date is only half filled in: ????-05-31")
    ]
    assert ("date", "ask", "the date is not filled in") in found({})
    assert found(PLAYED | {"date.year": 27}) == [
        ("date", "ask", "the date 2027-05-31 lies after the day it was read")
    ]
    evening = datetime(2026, 5, 30, 23, 30, tzinfo=UTC)  # already the 31st further east
    round_ = replace(typed(score=3), recorded_at=evening)
    assert rules(round_) == []


def test_findings_are_findings_of_a_reading_and_name_cells_where_the_form_is_known():
    form = round_form()
    round_ = round_from_reading(
        form, reading(form, PLAYED | {"h02.score": 3, "total": 8}), recorded_at=RECORDED_AT
    )
    (by_field,) = validate(round_)
    assert isinstance(by_field, Finding)
    assert by_field.cells == ("h02.score", "h02.penalty", "h02.drive", "h02.approach1", "h02.putt1")
    (by_cell,) = validate(round_, form)
    assert by_cell.cells[:4] == ("h02.score.1", "h02.score.2", "h02.penalty.1", "h02.penalty.2")
    assert by_cell == RoundFinding("throws", by_cell.cells, by_field.says, "error")


def putt_from(metres: float, **more) -> Round:
    """Drive and putt, holed from that far."""
    last = throw(2, "putt", holed=True, distance=Value(metres, source="imported"), distance_m=metres, **more)
    return typed(throw(1, "drive"), last, score=2)


@pytest.mark.parametrize(
    ("metres", "expected"),
    [
        (0.4, [("distance", "ask")]),
        (0.5, []),
        (1.0, []),
        (10.1, [("far-putt", "fine")]),
        (30.0, [("far-putt", "fine")]),
        (30.5, [("distance", "ask"), ("far-putt", "fine")]),
    ],
)
def test_the_bounds_of_a_putt(metres, expected):
    assert rules(putt_from(metres)) == expected


@pytest.mark.parametrize(
    ("metres", "expected"), [(9.79, []), (9.81, ["edge"]), (10.19, ["edge"]), (10.21, ["far-putt"])]
)
def test_the_edge_of_the_putting_area_is_a_hand_wide_in_feet(metres, expected):
    round_ = replace(putt_from(metres), unit="ft")
    assert [rule for rule, _ in rules(round_)] == expected


def test_an_approach_from_just_beyond_ten_metres_is_one():
    for metres, expected in ((10.0, [("close-approach", "ask")]), (10.01, [])):
        last = throw(2, "approach", holed=True, distance=Value(metres, source="imported"), distance_m=metres)
        assert rules(typed(throw(1, "drive"), last, score=2)) == expected


@pytest.mark.parametrize("stance", ["jump", "step"])
@pytest.mark.parametrize(("metres", "expected"), [(10.0, ["jump-putt"]), (10.01, ["far-putt"])])
def test_a_jump_or_step_putt_from_ten_metres_is_not_allowed(stance, metres, expected):
    round_ = putt_from(metres, stance=Value(stance, source="imported"))
    assert [rule for rule, _ in rules(round_)] == expected


@pytest.mark.parametrize(
    ("metres", "expected"), [(24.9, ["length"]), (25.0, []), (25.5, []), (450.0, []), (450.5, ["length"])]
)
def test_the_bounds_of_a_hole_s_length(metres, expected):
    assert [rule for rule, _ in rules(typed(score=3, length_m=metres))] == expected


def test_the_bounds_of_scores_and_numbers():
    assert rules(typed(score=15, par=None)) == []
    assert rules(typed(score=3, number=27)) == []
    assert rules(typed(throw(1, "drive", holed=True), score=3, penalty=2, par=4)) == [("penalties", "ask")]
    assert rules(typed(throw(1, "drive"), throw(2, "putt", holed=True), score=4, penalty=2)) == []
    assert rules(typed(throw(1, "drive"), score=2, penalty=2)) == [("throws", "error")]


def test_what_a_finding_says_and_names():
    (one,) = validate(typed(throw(1, "drive", holed=True), score=3, penalty=2))
    assert (one.says, one.cells) == ("hole 1: 2 penalty throws for 1 throw is unusual", ("h01.penalty",))
    (one,) = validate(typed(score=3, number=28))
    assert (one.says, one.cells) == ("hole 28: a course has up to 27 holes", ("h28.score",))
    (one,) = validate(typed(throw(1, "drive", holed=True), score=1, par=2))
    assert one.cells == ("h01.par",)
    (one,) = validate(typed(score=3, length_m=20.0))
    assert one.cells == ("h01.score",)
    (one,) = validate(typed(score=16, par=None))
    assert one.cells == ("h01.score",)
    (one,) = validate(typed(throw(1, "putt", holed=True), score=1))
    assert one.says == "hole 1: the first throw of a hole is a drive, here it is a putt"
    assert one.cells == ("h01.putt1",)
    (one,) = validate(typed(throw(1, "approach", holed=True), score=1))
    assert one.says == "hole 1: the first throw of a hole is a drive, here it is an approach"
    throws = (throw(1, "drive"), throw(2, "drive"), throw(3, "putt", holed=True))
    (one,) = validate(typed(*throws, score=3))
    assert one.cells == ("h01.penalty",)
    (one,) = validate(putt_from(0.3))
    assert one.says == "hole 1, throw 2: a putt from 0.3 m is unusual"
    assert one.cells == ("h01.putt1.distance",)
    (one,) = validate(putt_from(8.0, stance=Value("jump", source="imported")))
    assert one.cells == ("h01.putt1.stance", "h01.putt1.distance")
    both = (throw(1, "drive", holed=True), throw(2, "putt", holed=True))
    (one,) = validate(typed(*both, score=2))
    assert one.cells == ("h01.drive",)
    none = (throw(1, "drive"), throw(2, "putt"))
    (one,) = validate(typed(*none, score=2))
    assert one.cells == ("h01.putt1",)


def test_a_direction_belongs_to_a_miss_as_a_cause_does():
    drive = throw(1, "drive", "clean", True, directions=("left",))
    (one,) = validate(typed(drive, score=1))
    assert one.says == "hole 1, throw 1: it has a direction (left), but it is not marked as a miss"
    assert one.cells == ("h01.drive", "h01.why")
    unmarked = throw(1, "drive", "unmarked", True, directions=("left",))
    assert rules(typed(unmarked, score=1)) == [("cause-without-miss", "ask")]


def test_the_second_putt_is_named_by_its_own_field():
    throws = (throw(1, "drive"), throw(2, "putt"))
    far = throw(3, "putt", holed=True, distance=Value(0.3, source="imported"), distance_m=0.3)
    (one,) = validate(typed(*throws, far, score=3))
    assert one.cells == ("h01.putt2.distance",)
    assert one.says.startswith("hole 1, throw 3:")


def test_a_date_names_its_three_fields_and_tomorrow_is_taken():
    (one,) = validate(typed(score=3, played_on=Value(None, source="imported")))
    assert one.cells == ("date.day", "date.month", "date.year")
    waits = Value(None, source="read", status="waits")
    assert rules(typed(score=3, played_on=waits)) == []
    two_days_on = Value("2026-06-03", source="imported")  # read on 1 June
    assert rules(typed(score=3, played_on=two_days_on)) == [("date", "ask")]
    assert rules(typed(score=3, played_on=Value("2026-06-02", source="imported"))) == []


def test_a_card_that_tells_of_misses_alone_has_no_gaps():
    def rules_with(source: str) -> list[tuple[str, str]]:
        drive = Throw(order=1, phase="drive", execution=Value("clean", source=source), holed=False)
        return rules(typed(drive, throw(2, "putt", "miss"), score=5))

    assert rules_with("imported") == [("throws", "ask")]
    assert rules_with("default") == []


def test_a_total_is_held_against_scores_alone_and_waits_for_those_that_are_missing():
    scored = replace(typed(score=3), total=Value(4, source="imported"))
    assert rules(scored) == [("total", "error")]
    assert validate(scored)[0].cells == ("total", "h01.score")
    assert rules(replace(scored, total=Value(3, source="imported"))) == []
    (bare,) = typed(throw(1, "drive", holed=True), score=None, number=2).holes
    assert rules(replace(scored, holes=(*scored.holes, bare))) == [], (
        "the second hole may be the fourth throw"
    )


def test_a_throw_of_a_phase_that_the_game_lacks_is_named_by_its_number():
    assert column_of((), "roll", 0) == "roll1"
    assert column_of((), "roll", 1) == "roll2"


@pytest.mark.parametrize(
    ("phase", "nth", "column"),
    [
        ("drive", 0, "drive"),
        ("drive", 2, "drive"),
        ("putt", 0, "putt1"),
        ("putt", 2, "putt3"),
        ("putt", 3, "putt4"),
    ],
)
def test_a_throw_beyond_the_columns_is_named_as_if_there_were_one_more(phase, nth, column):
    assert column_of(USUAL_PHASES, phase, nth) == column


def test_a_hole_is_complete_with_its_penalty_throws_and_its_last_throw_holes_out():
    throws = (throw(1, "drive"), throw(2, "putt", holed=False))
    assert rules(typed(*throws, score=3, penalty=1)) == [("holed", "error")]
    assert rules(typed(throws[0], throw(2, "putt", holed=True), score=3, penalty=1)) == []
