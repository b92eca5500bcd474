"""The network of a card's hand: what must hold of it whatever it learnt, and what it is made of."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.seeing import hand_net
from shortpencil.scan.vision.seeing.hand_net import MOST, changes
from shortpencil.scan.vision.seeing.hand_net import hand_net as shipped


def a_card(count=30, seed=3):
    """Boxes that look like nothing in particular, and what a card might say of them."""
    rng = np.random.default_rng(seed)
    looks = rng.normal(size=(count, 1536))
    looks /= np.linalg.norm(looks, axis=1, keepdims=True)
    said = rng.normal(scale=4, size=(count, 12))
    said -= np.logaddexp.reduce(said, axis=1, keepdims=True)
    ink = rng.normal(scale=4, size=(count, 12))
    ink -= np.logaddexp.reduce(ink, axis=1, keepdims=True)
    return looks, said, ink, rng.random(count) < 0.3


def test_the_order_of_boxes_does_not_matter():
    weights, _ = shipped()
    looks, said, ink, checked = a_card()
    order = np.random.default_rng(1).permutation(len(looks))
    there = changes(weights, looks, said, ink, checked)
    mixed = changes(weights, looks[order], said[order], ink[order], checked[order])
    np.testing.assert_allclose(mixed, there[order], atol=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_no_answer_gains_or_loses_more_than_is_allowed(seed):
    weights, share = shipped()
    found = changes(weights, *a_card(60, seed))
    assert np.isfinite(found).all()
    assert np.abs(found).max() <= MOST
    assert 0 < share <= 1


def test_a_box_is_no_example_of_its_own():
    """Alone on a card, it is told the same whatever it looks like."""
    weights, _ = shipped()
    looks, said, ink, checked = a_card(2)
    one = changes(weights, looks[:1], said[:1], ink[:1], checked[:1])
    other = changes(weights, looks[1:], said[:1], ink[:1], checked[:1])
    np.testing.assert_allclose(one, other)


def test_examples_alike_speak_for_their_digit_and_more_so_the_more_there_are():
    weights, _ = shipped()
    rng = np.random.default_rng(2)
    of_digit = rng.normal(size=(10, 1536))

    def gained(examples):
        looks = np.concatenate([of_digit[[4] * examples + [9] * 3], of_digit[[4]]])
        looks += 0.2 * rng.normal(size=looks.shape)
        looks /= np.linalg.norm(looks, axis=1, keepdims=True)
        said = np.log(np.full((len(looks), 12), 1e-6))
        said[:examples, 4] = said[examples:-1, 9] = 0.0
        said[-1, [4, 9]] = np.log(0.5)
        found = changes(weights, looks, said, said, np.zeros(len(looks), bool))[-1]
        return found[4] - found[9]

    assert 0.5 < gained(2) < gained(12)


def test_the_unit_is_the_published_one():
    """x times the normal distribution function: 0.8413 at 1, -0.1587 at -1 (Hendrycks and Gimpel 2016)."""
    np.testing.assert_allclose(hand_net._gelu(np.array([1.0, -1.0, 0.0])), [0.8413, -0.1587, 0.0], atol=3e-4)
