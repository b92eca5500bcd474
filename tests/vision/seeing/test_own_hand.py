"""What a player's own hand may and may not do to the reading of a box."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from shortpencil.scan.reading import Lesson
from shortpencil.scan.vision.evidence import ANSWERS
from shortpencil.scan.vision.seeing.digits import VIEW_PX, digit_log_p
from shortpencil.scan.vision.seeing.likeness import HELD, MOST, SETTLED, UNKNOWN_HAND, OwnHand
from shortpencil.scan.vision.seeing.own_hand import box_views, learn, weighed
from shortpencil.scan.vision.seeing.patches import cells_of_kind
from shortpencil.scan.vision.weighing.slips import FlagRule
from tests.bench.cards import find_layout
from tests.simulator.blanks import blank_card

AXES = np.eye(12, dtype=np.float32)


def hand(*digits: int, strange: float = 0.5) -> OwnHand:
    """A hand whose examples of a digit all lie on an axis of their own."""
    return OwnHand(AXES[list(digits)], np.array(digits, np.int64), strange)


def log_p(**shares: float) -> np.ndarray:
    """Log probabilities of one box: d4=0.6 and so on, the rest spread evenly."""
    p = np.full(12, (1 - sum(shares.values())) / (12 - len(shares)))
    for name, share in shares.items():
        p[ANSWERS.index(name.removeprefix("d"))] = share
    return np.log(p)[None].astype(np.float32)


def probabilities(log: np.ndarray, change: np.ndarray) -> np.ndarray:
    p = np.exp(log + change)[0]
    return p / p.sum()


def test_a_box_like_the_players_fours_is_a_four_with_more_right() -> None:
    before = log_p(d4=0.95, d9=0.04)
    after = probabilities(before, hand(*[4] * 30, *[9] * 30).correction(before, AXES[[4]]))
    # 30 examples say 30/32 of the most: 0.95 to 0.04 becomes 0.95 to 0.04 / 40 ** (30 / 32).
    assert after[4] / after[9] == pytest.approx(0.95 / 0.04 * MOST ** (30 / 32), rel=1e-5)
    assert after[4] > SETTLED


def test_a_box_unlike_the_players_fours_and_like_their_nines_is_doubted() -> None:
    before = log_p(d4=0.995, d9=0.004)
    after = probabilities(before, hand(*[4] * 30, *[9] * 30).correction(before, AXES[[9]]))
    assert after.argmax() == 4
    assert after[4] < FlagRule().p_digit


def test_a_question_goes_only_where_the_answer_becomes_surer_than_others_need_be() -> None:
    before = log_p(d4=0.7, d9=0.29)
    own = hand(*[4] * 30, *[9] * 30)
    assert probabilities(before, own.correction(before, AXES[[4]]))[4] == pytest.approx(HELD, abs=1e-3)
    sure = log_p(d4=0.985, d9=0.014)  # was not asked before: nothing holds it back
    assert probabilities(sure, hand(4, 4, 9, 9).correction(sure, AXES[[4]]))[4] > 0.985


def test_one_example_says_less_than_ten() -> None:
    before = log_p(d4=0.6, d9=0.3)
    said = [hand(*[4] * n, *[9] * n).correction(before, AXES[[4]])[0, 9] for n in (1, 2, 10, 40)]
    assert said == sorted(said, reverse=True)
    assert said[0] > -math.log(MOST) / 2


def test_a_digit_that_the_hand_never_showed_gains_nothing() -> None:
    before = log_p(d4=0.5, d7=0.4)
    change = hand(*[4] * 10, *[9] * 10).correction(before, AXES[[7]])
    assert change[0, 7] <= 0


def test_what_looks_like_no_digit_of_this_hand_changes_nothing() -> None:
    before = log_p(d4=0.5, d9=0.4)
    assert not hand(*[4] * 10, *[9] * 10).correction(before, AXES[[11]]).any()


def test_the_cap_is_below_the_odds_that_settle_a_box() -> None:
    assert FlagRule().p_digit > MOST / (MOST + 1)
    assert SETTLED > FlagRule().p_digit > HELD


boxes = arrays(np.float32, (3, 12), elements=st.floats(0, 1, width=32)).map(
    lambda v: (v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-6)).astype(np.float32)
)
logs = arrays(np.float32, (3, 12), elements=st.floats(-30, 0, width=32))
hands = st.builds(
    lambda digits, rows, strange: OwnHand(rows[: len(digits)], np.array(digits, np.int64), strange),
    st.lists(st.integers(0, 9), min_size=1, max_size=3),
    boxes,
    st.floats(0, 0.99),
)


@settings(deadline=None)
@given(hands, boxes, logs)
def test_no_answer_moves_against_the_best_by_more_than_the_cap(
    own: OwnHand, box: np.ndarray, log: np.ndarray
) -> None:
    change = own.correction(log, box)
    best = log[:, :10].argmax(axis=1)
    assert np.isfinite(change).all()
    assert (change[np.arange(3), best] == 0).all()
    assert np.abs(change).max() <= math.log(MOST)


@settings(deadline=None)
@given(hands, boxes, logs)
def test_a_hand_alone_settles_a_box_only_for_the_networks_best(
    own: OwnHand, box: np.ndarray, log: np.ndarray
) -> None:
    after = log + own.correction(log, box)
    p = np.exp(after - after.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    for row in range(3):
        for digit in np.flatnonzero(p[row, :10] >= FlagRule().p_digit):
            assert log[row, digit] == log[row, :10].max()


@settings(deadline=None)
@given(hands, boxes, logs)
def test_no_box_that_was_asked_passes_below_the_stricter_bound(
    own: OwnHand, box: np.ndarray, log: np.ndarray
) -> None:
    best = log[:, :10].argmax(axis=1)
    before, after = (
        np.exp(x - np.logaddexp.reduce(x, axis=1, keepdims=True))[np.arange(3), best]
        for x in (log.astype(float), log + own.correction(log, box))
    )
    asked = FlagRule().p_digit
    assert ((before >= asked) | (after < asked) | (after >= SETTLED)).all()


@settings(deadline=None)
@given(boxes, logs)
def test_a_hand_of_no_examples_changes_nothing(box: np.ndarray, log: np.ndarray) -> None:
    views = {str(i): bytes(VIEW_PX[0] * VIEW_PX[1]) for i in range(3)}
    before = {str(i): log[i] for i in range(3)}
    after = weighed(UNKNOWN_HAND, before, views)
    assert after.keys() == before.keys()
    assert all((after[cell] == before[cell]).all() for cell in before)


# From pictures


def strokes(digit: int, rng: np.random.Generator) -> np.ndarray:
    """A patch (48, 48) with a bare 1, or a bar for a 7, a little moved."""
    patch = np.zeros((48, 48), np.float32)
    at = 24 + int(rng.integers(-2, 3))
    patch[14:35, at - 1 : at + 2] = 0.8
    if digit == 7:
        patch[14:17, at - 8 : at + 2] = 0.8
    return patch


def lessons(count: int = 8) -> list[Lesson]:
    rng = np.random.default_rng(4)
    cells = cells_of_kind(layout(), "digit")[: 2 * count]
    drawn = [1, 7] * count
    views = box_views(np.stack([strokes(d, rng) for d in drawn]), cells, np.ones(2 * count, bool))
    return [Lesson(digit, views[cell.id]) for digit, cell in zip(drawn, cells, strict=True)]


def layout():
    found = find_layout(blank_card("round18").fingerprint)
    assert found is not None
    return found


def test_a_view_is_a_byte_a_pixel_and_nothing_else() -> None:
    assert {len(lesson.view) for lesson in lessons()} == {VIEW_PX[0] * VIEW_PX[1]}


def test_blank_boxes_have_no_view() -> None:
    cells = cells_of_kind(layout(), "digit")[:4]
    written = np.array([True, False, False, True])
    assert list(box_views(np.zeros((4, 48, 48), np.float32), cells, written)) == [cells[0].id, cells[3].id]


def test_a_hand_learnt_from_pictures_knows_them_again() -> None:
    own = learn(lessons())
    cells = cells_of_kind(layout(), "digit")[:1]
    patch = strokes(7, np.random.default_rng(9))[None]
    box = cells[0].box
    before = {cells[0].id: digit_log_p(patch, (box.w, box.h))[0]}
    after = weighed(own, before, box_views(patch, cells, np.ones(1, bool)))
    gain = (after[cells[0].id] - before[cells[0].id]).astype(float)
    assert gain[7] > gain[1]
    assert 0 < own.strange < 1


def test_the_order_of_the_lessons_does_not_matter() -> None:
    one, other = learn(lessons()), learn(lessons()[::-1])
    log = np.log(np.full((1, 12), 1 / 12, np.float32))
    box = one.examples[:1]
    np.testing.assert_allclose(one.correction(log, box), other.correction(log, box), atol=1e-4)


@pytest.mark.parametrize("few", [0, 1, 3])
def test_too_few_lessons_are_an_unknown_hand(few: int) -> None:
    assert learn(lessons()[:few]) is UNKNOWN_HAND


def test_views_for_another_network_are_left_out() -> None:
    assert learn([Lesson(4, b"\x00" * 100)] * 20) is UNKNOWN_HAND
