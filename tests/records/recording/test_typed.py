from shortpencil.scan.records.composing.rounds import Value
from shortpencil.scan.records.recording.record_json import round_from_json, round_to_json
from shortpencil.scan.records.recording.schema import problems_of
from shortpencil.scan.records.recording.typed import filled_out
from tests.records.cards import RECORDED_AT

SHORT = {
    "played_on": "2026-05-31",
    "player": "Wren",
    "total": 8,
    "tallies": {"putt": 1},
    "holes": [
        {
            "par": 3,
            "score": 3,
            "throws": [
                {"phase": "drive", "execution": "clean"},
                {
                    "phase": "putt",
                    "execution": "miss",
                    "distance": 6,
                    "directions": "left short",
                    "cause": "late",
                },
                {"phase": "putt", "execution": "clean"},
            ],
        },
        {"score": 5, "penalty": 1, "throws": [{"phase": "drive", "execution": "miss"}]},
    ],
}


def taken(data, **more):
    full = filled_out(data, **more)
    assert problems_of(full) == []
    return round_from_json(full)


def test_a_short_round_is_filled_out():
    round_ = taken(SHORT)
    assert round_.played_on == Value("2026-05-31", source="imported")
    assert (round_.player, round_.form, round_.unit) == ("Wren", "typed", "m")
    assert [hole.number for hole in round_.holes] == [1, 2]
    assert round_.holes[0].penalty == Value(0, source="imported")
    putt = round_.holes[0].throws[1]
    assert (putt.order, putt.distance.value, putt.distance_m) == (2, 6, 6.0)
    assert (putt.directions, putt.cause.value) == (("left", "short"), "late")
    assert round_.tallies == {"putt": Value(1, source="imported")}


def test_who_holed_out_follows_from_score_and_order():
    round_ = taken(SHORT)
    assert [throw.holed for throw in round_.holes[0].throws] == [False, False, True]
    assert [throw.holed for throw in round_.holes[1].throws] == [False]  # a drive, and more throws followed


def test_what_is_said_of_holing_out_is_kept():
    hole = {"score": 2, "throws": [{"phase": "drive", "holed": False}, {"phase": "putt", "holed": None}]}
    round_ = taken({"holes": [hole]})
    assert [throw.holed for throw in round_.holes[0].throws] == [False, None]
    assert round_.holes[0].throws[0].execution.value == "unmarked"


def test_feet_become_metres():
    hole = {"score": 2, "throws": [{"phase": "drive"}, {"phase": "putt", "distance": 20}]}
    assert taken({"unit": "ft", "holes": [hole]}).holes[0].throws[1].distance_m == 6.096


def test_who_typed_it_is_kept():
    round_ = taken(SHORT, by="Robin", at=RECORDED_AT)
    assert round_.total == Value(8, source="entered", by="Robin", at=RECORDED_AT)
    assert round_.holes[0].throws[1].cause.by == "Robin"


def test_the_same_content_gets_the_same_id_and_other_content_another():
    assert taken(SHORT).id == taken(dict(reversed(SHORT.items()))).id
    assert taken(SHORT).id != taken(SHORT | {"total": 9}).id
    assert taken(SHORT).id.startswith("typed-")


def test_a_full_record_comes_back_as_it_is():
    full = round_to_json(taken(SHORT))
    full["holes"][0]["throws"][0].pop("holed")  # unknown, and so it stays
    assert round_to_json(round_from_json(filled_out(full))) == full


def test_what_is_not_understood_is_left_for_the_schema():
    assert filled_out([1]) == [1]
    wrong = filled_out({"holes": [3, {"throws": 5}, {"throws": [7, {"phase": "toss", "distance": "far"}]}]})
    assert [problem.where for problem in problems_of(wrong)] == [
        "hole 1",
        "hole 2, throws",
        "hole 3, throw 1",
        "hole 3, throw 2, distance",
        "hole 3, throw 2, phase",
    ]
