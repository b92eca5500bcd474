"""Distances: written where the putt is marked, the next rarely longer."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from shortpencil.scan.vision.weighing.likelihoods import numbers
from shortpencil.scan.vision.weighing.putts import weigh_distances
from shortpencil.scan.vision.weighing.slips import Slips

SLIPS = Slips()
BLANK = 10


def seen(*digits: int):
    """Likelihoods of one-box distances, one field a digit, each seen for sure."""
    return numbers(np.eye(12)[list(digits)][:, None, :], SLIPS)


def test_chances_of_all_distances_add_up_to_one():
    pairs = list(itertools.product(range(12), repeat=2))
    given = weigh_distances(
        seen(*(a for a, _ in pairs)), seen(*(b for _, b in pairs)), "m", SLIPS
    ).given_marks
    assert given.sum(axis=0) == pytest.approx(np.ones((2, 2)))


def test_the_next_putt_is_rarely_longer():
    unclear = np.full((1, 1, 12), 1e-12)
    unclear[0, 0, [3, 8]] = 1.0
    second = numbers(unclear, SLIPS)
    marked = np.zeros((1, 2, 2))
    marked[0, 1, 1] = 1.0
    found = weigh_distances(seen(5), second, "m", SLIPS).explain(marked)[1][0]
    # 3 is one of six that are no longer than 5, 8 one of four that are: 0.95 / 6 against 0.05 / 4.
    assert found[3] / found[8] == pytest.approx(0.95 / 6 / (0.05 / 4))


def test_a_distance_speaks_for_its_putt():
    given = weigh_distances(seen(5), seen(BLANK), "m", SLIPS).given_marks[0]
    assert given[1, 0] / given[0, 0] == pytest.approx(SLIPS.distance / SLIPS.distance_astray)


def test_a_card_may_ask_for_the_first_putt_alone():
    found = weigh_distances(seen(5), None, "ft", SLIPS)
    first, _, blank = found.explain(np.array([[[0.0, 0.0], [1.0, 0.0]]]))
    assert first[0].argmax() == 5
    assert blank[0, 0] == pytest.approx(0, abs=1e-6)


def two_boxes(*fields: tuple[tuple[int, ...], tuple[int, ...]]):
    """Likelihoods of distances of two boxes; in each box the digits that it may be, all alike."""
    boxes = np.full((len(fields), 2, 12), 1e-9)
    for i, field in enumerate(fields):
        for box, digits in enumerate(field):
            boxes[i, box, list(digits)] = 1.0
    return numbers(boxes, SLIPS)


def read_as_first(likelihood) -> np.ndarray:
    """(H, V) chance of each distance of the first putts, all marked."""
    marked = np.zeros((len(likelihood.full), 2, 2))
    marked[:, 1, 0] = 1.0
    return weigh_distances(likelihood, None, "m", SLIPS).explain(marked)[0]


NEAR = [((BLANK,), (d,)) for d in (4, 6, 7, 5, 8, 4)]


def test_a_card_of_near_putts_says_that_a_doubtful_one_is_near():
    found = read_as_first(two_boxes(*NEAR, ((1, 2), (0,))))[-1]
    assert found[10] / found[20] > 4
    # The card is as likely to hold either where it has shown nothing.
    alone = read_as_first(two_boxes(((1, 2), (0,))))[-1]
    assert alone[10] == pytest.approx(alone[20])


def test_a_card_of_far_putts_leaves_it_open():
    far = [((a,), (b,)) for a, b in ((1, 8), (2, 3), (1, 4), (2, 9), (1, 5), (2, 2))]
    found = read_as_first(two_boxes(*far, ((1, 2), (0,))))[-1]
    assert 0.5 < found[10] / found[20] < 2


def test_a_far_putt_read_clearly_stays_what_it_is():
    found = read_as_first(two_boxes(*NEAR, ((2,), (7,))))[-1]
    assert found[27] > 0.99


def test_few_distances_say_nothing_of_the_others():
    few = read_as_first(two_boxes(*NEAR[:4], ((1, 2), (0,))))[-1]
    assert few[10] == pytest.approx(few[20])


def test_second_putts_are_as_far_as_second_putts_are():
    firsts = two_boxes(*[((2,), (d,)) for d in (1, 3, 4, 6, 8, 9)])
    seconds = two_boxes(*[((BLANK,), (d,)) for d in (2, 3, 2, 1, 3)], ((BLANK, 1), (2,)))
    marked = np.zeros((6, 2, 2))
    marked[:, 1, 1] = 1.0
    second = weigh_distances(firsts, seconds, "m", SLIPS).explain(marked)[1][-1]
    assert second[2] > 0.95


def test_chances_still_add_up_where_a_card_has_lengths_of_its_own():
    spread = read_as_first(two_boxes(*NEAR, (tuple(range(11)), tuple(range(10)))))[-1]
    assert spread.sum() == pytest.approx(1.0, abs=1e-6)
