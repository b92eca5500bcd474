"""A card's own confirmed scores teach its unchecked boxes: what is learnt, and within which bounds."""

from __future__ import annotations

import numpy as np

from shortpencil.forms.catalog import load_form
from shortpencil.scan.vision.deciding.card_hand import taught_by_card
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence
from shortpencil.scan.vision.weighing.form_index import index_of
from shortpencil.scan.vision.weighing.posterior import cell_likelihoods, fields_alone
from shortpencil.scan.vision.weighing.slips import Slips

FORM = load_form("round18")
INDEX = index_of(FORM)
SCORES = [3, 4, 3, 5, 4, 3, 4, 3, 5, 4, 3, 4, 5, 3, 4, 3, 4, 5]
#: The direction in which this hand's digits lie; a 7 of theirs is written as nobody else's.
RNG = np.random.default_rng(5)
DIRECTIONS = np.linalg.qr(RNG.normal(size=(32, 10)))[0].T


def look(digit, away=0.05):
    vector = DIRECTIONS[digit] + away * RNG.normal(size=32)
    return (vector / np.linalg.norm(vector)).astype(np.float32)


def said(*chances):
    """Log probabilities (12,) of answers named with their chances, the rest shared by all."""
    p = np.full(12, 1e-9)
    for answer, chance in chances:
        p[answer] = chance
    return np.log(p / p.sum()).astype(np.float32)


def card(doubtful, its_look):
    """Evidence of a card with all scores clear and one distance in doubt."""
    digits, looks = {}, {}
    for cell in INDEX.digits:
        digits[cell] = said((10, 1.0))
    for hole, score in enumerate(SCORES, start=1):
        cell = f"h{hole:02d}.score.2"
        digits[cell], looks[cell] = said((score, 1.0)), look(score)
    cell = "h05.putt1.distance.2"
    digits[cell], looks[cell] = doubtful, its_look
    bubbles = dict.fromkeys(INDEX.bubbles, (0.0, -20.0, -20.0))
    return Evidence(bubbles, digits, dict.fromkeys(INDEX.words.values(), 0.0), frozenset(), looks), cell


def posterior_of(evidence):
    bubbles, digits = cell_likelihoods(INDEX, evidence.bubbles, evidence.digits, frozenset())
    return fields_alone(INDEX, bubbles, digits, Slips()), digits


def chance(digits, cell, answer):
    p = digits[INDEX.digits.index(cell)] * np.array(ANSWER_SHARES)
    return p[answer] / p.sum()


def test_a_box_that_looks_like_this_cards_fours_is_a_four_with_more_right():
    evidence, cell = card(said((4, 0.8), (9, 0.2)), look(4))
    posterior, digits = posterior_of(evidence)
    taught = taught_by_card(INDEX, posterior, digits, evidence.looks)
    assert taught is not None
    assert chance(taught, cell, 4) > 0.95 > chance(digits, cell, 4)  # 0.96: held until it is surer than usual


def test_a_box_that_looks_like_its_fives_and_not_like_its_fours_is_doubted():
    evidence, cell = card(said((4, 0.95), (5, 0.05)), look(5))
    posterior, digits = posterior_of(evidence)
    taught = taught_by_card(INDEX, posterior, digits, evidence.looks)
    assert taught is not None
    assert chance(taught, cell, 4) < 0.9 < chance(digits, cell, 4)


def test_boxes_that_a_sum_checks_are_left_as_they_are():
    evidence, _ = card(said((4, 0.8), (9, 0.2)), look(4))
    posterior, digits = posterior_of(evidence)
    taught = taught_by_card(INDEX, posterior, digits, evidence.looks)
    rows = [i for i, cell in enumerate(INDEX.digits) if ".score." in cell]
    np.testing.assert_array_equal(taught[rows], digits[rows])


def test_without_looks_or_with_too_few_boxes_a_card_teaches_nothing():
    evidence, cell = card(said((4, 0.8), (9, 0.2)), look(4))
    posterior, digits = posterior_of(evidence)
    assert taught_by_card(INDEX, posterior, digits, {}) is None
    few = {key: evidence.looks[key] for key in ("h01.score.2", "h02.score.2", cell)}
    assert taught_by_card(INDEX, posterior, digits, few) is None


def test_a_question_goes_away_and_the_answer_is_the_one_that_the_hand_writes():
    evidence, cell = card(said((4, 0.9), (9, 0.1)), look(4))
    field = cell.rsplit(".", 1)[0]
    alone = decode(FORM, Evidence(evidence.bubbles, evidence.digits, evidence.words))
    together = decode(FORM, evidence)
    assert alone.fields[field].flag is not None
    assert together.fields[field].p > alone.fields[field].p
    assert together.fields[field].value == 4
