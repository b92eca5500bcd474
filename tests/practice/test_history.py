from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np

from shortpencil.scan.practice.history import MISS, history_of
from shortpencil.scan.records.composing.rounds import Value
from tests.practice.invented import Player, blank, hole, known, one_round, rounds_of, throw
from tests.practice.test_games import FOUR

PUTT = 2


def a_hole(number=1):
    return hole(
        number,
        [
            throw(1, "drive", "miss", directions=("right", "short"), cause=known("late"), forehand=True),
            throw(2, "approach", "clean"),
            throw(3, "putt", "unmarked", distance_m=6.0, distance=known(6), stance=known("straddle")),
            throw(4, "putt", "clean", holed=True, distance_m=1.0),
        ],
        penalty=1,
    )


def test_counts_of_one_hole():
    e = history_of([one_round("a", [a_hole()])])
    assert e.misses.tolist() == [[1, 0, 0]]
    assert e.clean.tolist() == [[0, 1, 1]]
    assert e.unmarked.tolist() == [[0, 0, 1]]
    assert e.marked.tolist() == [[1, 1, 1]]
    assert e.hole_score.tolist() == [5.0]
    # the penalty throw is still to be paid after drive and approach; a putt is not charged with it
    assert e.throw_left.tolist() == [4, 3, 1, 0]
    assert e.throw_holed.tolist() == [0, 0, 0, 1]
    assert e.share_unmarked == 0.25


def test_a_note_keeps_its_phase_sides_hand_and_cause():
    (note,) = history_of([one_round("a", [a_hole(7)], hand=known("left"))]).notes
    assert (note.hole, note.phase, note.directions, note.cause) == (7, 0, ("right", "short"), "late")
    assert (note.forehand, note.hand) == (True, "left")


def test_unmarked_is_never_a_miss():
    holes = [
        hole(n, [throw(1, "drive", "unmarked"), throw(2, "putt", "unmarked", True)]) for n in range(1, 10)
    ]
    e = history_of([one_round("a", holes)])
    assert e.misses.sum() == 0
    assert e.marked.sum() == 0


def test_a_value_that_waits_counts_nowhere():
    waits = Value("miss", p=0.6, status="waits")
    one = replace(throw(1, "drive", "miss"), execution=waits, cause=Value("late", status="waits"))
    h = replace(hole(1, [one]), score=Value(9, status="waits"))
    e = history_of([one_round("a", [h])])
    assert e.unmarked.tolist() == [[1, 0, 0]]
    assert np.isnan(e.hole_score[0])
    assert e.throw_left.tolist() == [-1]
    assert e.notes[0].cause is None


def test_rounds_are_put_in_the_order_played_whatever_order_they_come_in():
    days = [date(2030, 5, 3), date(2030, 5, 1), date(2030, 5, 2)]
    e = history_of([one_round(str(d), [], d) for d in days])
    assert [h.day for h in e.heads] == sorted(days)
    undated = one_round("u", [], recorded_at=datetime(2030, 5, 2, 20, tzinfo=UTC))
    with_undated = [one_round(str(d), [], d) for d in days] + [undated]
    assert [h.id for h in history_of(with_undated).heads][2] == "u"
    early = one_round("early", [], days[0], recorded_at=datetime(2030, 5, 3, 9, tzinfo=UTC))
    late = one_round("late", [], days[0], recorded_at=datetime(2030, 5, 3, 18, tzinfo=UTC))
    assert [h.id for h in history_of([late, early]).heads] == ["early", "late"]


def test_what_was_left_is_known_from_the_tee_only_where_throws_are_missing():
    # six throws by the score, of which three are known one by one
    throws = [throw(1, "drive", "clean"), throw(2, "approach", "clean"), throw(3, "putt", "miss")]
    h = replace(hole(1, throws), score=known(6))
    assert history_of([one_round("a", [h])]).throw_left.tolist() == [5, 4, -1]


def test_rounds_without_date_hand_or_throws_do_no_harm():
    e = history_of([one_round("a", [], hand=blank()), one_round("b", [hole(1, [])])])
    assert e.rounds == 2
    assert e.heads[0].hand == "right"
    assert history_of([]).rounds == 0
    assert history_of([]).misses.shape == (0, 3)


def test_invented_rounds_have_the_rates_they_were_made_with():
    player = Player(miss=(0.5, 0.2, 0.3))
    e = history_of(rounds_of(player, 60, np.random.default_rng(1)))
    rate = e.misses.sum(axis=0) / e.marked.sum(axis=0)
    assert np.abs(rate - player.miss).max() < 0.05
    assert all(n.phase == 0 for n in e.notes if e.heads[n.round].worst == "drive")
    putts = e.throw_phase == PUTT
    assert (e.throw_execution[putts] == MISS).sum() == e.misses[:, PUTT].sum()


def test_throws_left_where_a_phase_between_may_hide_a_throw():
    """By hand: of six throws four are known; two more fell where the card had no column for them."""
    some = [throw(1, "drive", "clean"), throw(2, "fairway", "miss"), throw(3, "upshot", "clean")]
    open_hole = replace(hole(1, [*some, throw(4, "putt", "miss")]), score=known(6))
    assert [len(phase.columns) for phase in FOUR[:3]] == [1, 2, 1]
    wide = history_of([one_round("f", [open_hole], phases=FOUR)]).throw_left.tolist()
    assert wide == [5, 4, 3, -1], "a second one from the fairway would have been written"
    narrow = (FOUR[0], replace(FOUR[1], columns=("fairway1",)), *FOUR[2:])
    left = history_of([one_round("f", [open_hole], phases=narrow)]).throw_left.tolist()
    assert left == [5, 4, -1, -1], "a second one from the fairway may stand before the upshot"


def test_of_a_score_below_its_throws_nothing_is_known_to_be_left():
    throws = [throw(1, "drive", "clean"), throw(2, "approach", "miss"), throw(3, "approach", "clean")]
    one = replace(hole(1, throws), score=known(1))
    assert history_of([one_round("a", [one])]).throw_left.tolist() == [0, -1, -1]


def test_no_worst_phase_is_none():
    heads = history_of([one_round("a", [a_hole()]), one_round("b", [a_hole()], worst=known("putt"))]).heads
    assert [head.worst for head in heads] == [None, "putt"]


def test_throws_left_after_the_first_throw_of_a_hole_without_a_drive():
    hole_ = replace(hole(1, [throw(1, "approach", "clean"), throw(2, "putt", "miss")]), score=known(4))
    assert history_of([one_round("a", [hole_])]).throw_left.tolist() == [3, -1]
