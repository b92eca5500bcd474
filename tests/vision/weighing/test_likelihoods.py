"""Every chance of the model adds up to one over all that could be seen; numbers are spelled as people do."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from shortpencil.scan.vision.evidence import BLANK_BOX
from shortpencil.scan.vision.weighing.likelihoods import (
    LEAST_LIKELIHOOD,
    choices,
    length_prior,
    likelihoods,
    long_number,
    manies,
    numbers,
    spelling,
)
from shortpencil.scan.vision.weighing.slips import Slips

SLIPS = Slips()


def all_seen(cells: int, states: int) -> np.ndarray:
    """(states ** cells, cells, states): every way to see each cell in one state for sure."""
    return np.array([np.eye(states)[list(way)] for way in itertools.product(range(states), repeat=cells)])


@pytest.mark.parametrize("options", [1, 2, 3, 4])
def test_chances_of_all_marks_add_up_to_one(options):
    seen = choices(all_seen(options, 3), SLIPS)
    assert seen.meanings.sum(axis=0) == pytest.approx(np.ones(options + 1))
    many = manies(all_seen(options, 3), SLIPS)
    assert (many.blank + many.struck).sum() == pytest.approx(1)
    assert many.some.sum() == pytest.approx(1)


@pytest.mark.parametrize("boxes", [1, 2])
def test_chances_of_all_digits_add_up_to_one(boxes):
    seen = numbers(all_seen(boxes, 12), SLIPS)
    assert seen.full.sum(axis=0) == pytest.approx(np.ones(10**boxes))
    assert seen.blank.sum() == pytest.approx(1)


def test_looks_of_a_choice_split_its_meanings():
    noise = np.random.default_rng(1).random((5, 3, 3))
    found = choices(noise, SLIPS)
    weights = np.full((5, 4), 0.25)
    looks = found.looks(weights)
    assert looks.sum(axis=1) == pytest.approx(np.ones(5))
    whole = (weights * found.meanings).sum(axis=1)
    assert looks[:, 0] * whole == pytest.approx(0.25 * found.blank)


def test_spelling_of_seven_in_two_boxes():
    spelled = spelling(2, 0.04, 0.06)
    of = spelled.by_spelling(np.arange(100.0)[None])[0]
    ways = {tuple(spelled.digits[s].tolist()): float(spelled.share[s]) for s in np.flatnonzero(of == 7)}
    assert ways == pytest.approx({(BLANK_BOX, 7): 0.90, (0, 7): 0.04, (7, BLANK_BOX): 0.06})
    assert spelled.share[of == 61].tolist() == [1.0]
    assert spelled.digits[0].tolist() == [BLANK_BOX, 0]


@pytest.mark.parametrize("boxes", [1, 2, 3])
def test_shares_of_the_spellings_of_every_value_add_up_to_one(boxes):
    spelled = spelling(boxes, 0.04, 0.06)
    assert spelled.by_value(spelled.share[None])[0] == pytest.approx(np.ones(10**boxes))
    assert len({tuple(digits) for digits in spelled.digits.tolist()}) == len(spelled.digits)


def test_a_date_is_led_by_zeros_more_often():
    seen = np.stack([np.eye(12)[[0, 7]]])
    assert numbers(seen, SLIPS, date=True).full[0, 7] > 10 * numbers(seen, SLIPS).full[0, 7]


def test_a_number_with_a_gap_is_no_number_in_particular():
    full = numbers(np.stack([np.eye(12)[[6, BLANK_BOX, 1]]]), SLIPS).full[0]
    assert full.max() == pytest.approx(full.min())
    assert full.max() > 0


def test_every_length_of_a_number_is_alike():
    prior = length_prior(2)
    assert prior[:10].sum() == pytest.approx(0.5)
    assert prior[10:].sum() == pytest.approx(0.5)


def test_likelihoods_have_a_floor_and_nothing_known_is_all_ones():
    found = likelihoods(np.array([[0.0, -1.0, -1e9], [-math.inf] * 3, [-1e30, -math.inf, -1e30]]))
    assert found[0] == pytest.approx([1, math.exp(-1), LEAST_LIKELIHOOD])
    assert found[1].tolist() == [1, 1, 1]
    assert found[2] == pytest.approx([1, LEAST_LIKELIHOOD, 1])


def test_a_long_number_is_read_box_by_box():
    boxes = np.full((5, 12), 1e-6)
    for place, digit in enumerate([BLANK_BOX, BLANK_BOX, 4, 2, 1]):
        boxes[place, digit] = 1.0
    found, p = long_number(boxes, SLIPS)
    assert found.argmax(axis=1).tolist() == [BLANK_BOX, BLANK_BOX, 4, 2, 1]
    assert p > 0.999
    assert found.sum(axis=1) == pytest.approx(np.ones(5))
