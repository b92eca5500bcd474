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
