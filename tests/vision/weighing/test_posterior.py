"""Each field by itself: with no ink its prior, by hand; with ink its odds; nothing where nothing is seen."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.forms.form import form_from_toml
from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.weighing.form_index import index_of
from shortpencil.scan.vision.weighing.likelihoods import LEAST_LIKELIHOOD
from shortpencil.scan.vision.weighing.posterior import Posterior, cell_likelihoods, fields_alone
from shortpencil.scan.vision.weighing.slips import Slips
from tests.vision.marked_cards import digit_logs

FORM = form_from_toml(
    'name = "sheet"\nedition = 1\ntitle = "sheet"\n'
    '[[foot]]\nid = "wind"\ntype = "choose-one"\n'
    'options = [{ id = "none", label = "none" }, { id = "some", label = "some" }]\n'
    '[[foot]]\nid = "alone"\ntype = "choose-one"\noptions = [{ id = "yes", label = "yes" }]\n'
    '[[foot]]\nid = "way"\ntype = "choose-many"\n'
    'options = [{ id = "left", label = "left" }, { id = "long", label = "long" }]\n'
    '[[foot]]\nid = "made"\ntype = "number"\ndigits = 1\n'
    '[[foot]]\nid = "held"\ntype = "number"\ndigits = 1\n'
    '[[foot]]\nid = "date.day"\ntype = "number"\ndigits = 2\n'
    '[[foot]]\nid = "serial"\ntype = "number"\ndigits = 5\n',
    source="test",
)
INDEX = index_of(FORM)
SURE = 14.0  # nats
FILLED, BLANK = (-SURE, 0.0, -SURE), (0.0, -SURE, -SURE)
NOBODY_SLIPS = Slips(
    cancelled=0.0, cancelled_alone=0.0, double=0.0, messy=0.0, scrap=0.0, scrap_in_blank=0.0, number_odd=0.0
)


def posterior(bubbles=(), digits=(), outside: frozenset[str] = frozenset(), slips=NOBODY_SLIPS) -> Posterior:
    """Of a card of which nothing is seen but the cells named."""
    return fields_alone(INDEX, *cell_likelihoods(INDEX, dict(bubbles), dict(digits), outside), slips)


def chosen(found: Posterior, options: int) -> np.ndarray:
    """P(nothing), then of each option of the one choice of so many, and that by the ink alone."""
    group = found.choose["choose-one", options]
    both = np.stack([group.weights[0], group.ink[0]]) * group.likelihood.meanings[0]
    return both / both.sum(axis=1, keepdims=True)


def test_what_nobody_sees_is_as_likely_as_before_it_was_looked_at() -> None:
    found = posterior(slips=Slips())
    assert chosen(found, 2)[0] == pytest.approx([0.5, 0.25, 0.25])
    assert chosen(found, 1)[0] == pytest.approx([0.8, 0.2]), "a bubble alone mostly stays empty"
    assert found.many["choose-many", 2].some == pytest.approx([0.5])
    assert found.number["number", 1].values[0] == pytest.approx([*[0.07] * 10, 0.3])
    assert found.long["long", 5] == pytest.approx(np.ones((1, 5, 12)))
    assert found.doubt == 0
    assert found.rules == {}


def test_the_ink_alone_holds_every_answer_for_alike() -> None:
    found = posterior(slips=Slips())
    assert chosen(found, 2)[1] == pytest.approx([1 / 3] * 3)
    assert found.number["number", 1].ink[0] == pytest.approx([1 / 11] * 11)
    assert found.many["choose-many", 2].ink == pytest.approx([0.5])


def test_ink_moves_the_odds_by_its_own() -> None:
    filled = posterior({"wind.none": BLANK, "wind.some": (-1.0, 0.0, -SURE), "alone.yes": (-1.0, 0.0, -SURE)})
    odds = chosen(filled, 2)[0]
    assert odds[2] / odds[0] == pytest.approx(np.e * 0.25 / 0.5)
    assert odds[1] < 1e-5
    odds = chosen(filled, 1)
    assert odds[0, 1] / odds[0, 0] == pytest.approx(np.e * 0.2 / 0.8)
    assert odds[1, 1] / odds[1, 0] == pytest.approx(np.e)


def test_two_options_of_one_choice_are_told_by_their_bubbles_alone() -> None:
    odds = chosen(posterior({"wind.none": FILLED, "wind.some": BLANK}), 2)[0]
    assert odds == pytest.approx([0, 1, 0], abs=1e-5)


def test_a_choice_of_several_is_made_where_one_is() -> None:
    def some(*bubbles: tuple[float, float, float]) -> float:
        ways = dict(zip(("way.left", "way.long"), bubbles, strict=True))
        return float(posterior(ways).many["choose-many", 2].some[0])

    assert some(BLANK, BLANK) == pytest.approx(0, abs=1e-5)
    assert some(FILLED, BLANK) == some(BLANK, FILLED) == pytest.approx(1, abs=1e-5)
    assert some(FILLED, FILLED) == pytest.approx(1, abs=1e-5)
    # One of two options alone is chosen in 4 of 9 such fields: 0.2 * 0.8 of 1 - 0.8².
    odds = np.e * 0.5 * (0.2 * 0.8 / 0.36) / 0.5
    assert some((-1.0, 0.0, -SURE), BLANK) == pytest.approx(odds / (1 + odds), abs=1e-4)


def test_digits_come_with_the_shares_that_their_reader_expects() -> None:
    _, nothing = cell_likelihoods(INDEX, {}, {"made.1": np.log(ANSWER_SHARES)}, frozenset())
    assert nothing[0] == pytest.approx(np.ones(12))
    _, seven = cell_likelihoods(INDEX, {}, {"made.1": digit_logs(d7=1.0)}, frozenset())
    assert seven[0].argmax() == 7
    assert seven[0, 10] / seven[0, 1] == pytest.approx(ANSWER_SHARES[1] / ANSWER_SHARES[10])
    assert seven.min() >= LEAST_LIKELIHOOD


def test_a_number_weighs_its_digits_and_a_blank() -> None:
    even = np.log(ANSWER_SHARES) + np.log([1, 1, 1, 4, 1, 1, 1, 1, 1, 1, 2, 1e-9])
    group = posterior(digits={"made.1": even}).number["number", 1]
    wanted = np.array([0.07 * 1] * 10 + [0.3 * 2])
    wanted[3] *= 4
    assert group.values[0] == pytest.approx(wanted / wanted.sum())
    assert group.ink[0] == pytest.approx(np.array([1, 1, 1, 4, 1, 1, 1, 1, 1, 1, 2]) / 15)


def test_numbers_side_by_side_are_weighed_apart() -> None:
    other = np.log(ANSWER_SHARES) + np.log([1, 1, 1, 4, 1, 1, 1, 1, 1, 1, 2, 1e-9])
    group = posterior(digits={"held.1": other}).number["number", 1]
    assert group.values[0] == pytest.approx([*[0.07] * 10, 0.3])
    assert group.values[1, 3] == pytest.approx(0.28 / (0.07 * 13 + 0.6))
    assert group.ink[0] == pytest.approx([1 / 11] * 11)
    assert group.ink[1, 3] == pytest.approx(4 / 15)


def test_a_zero_before_a_day_is_usual_and_before_other_numbers_rare() -> None:
    slips = Slips()
    ways = posterior(slips=slips).number["date", 2].likelihood.spelling
    spelled = dict(zip(map(tuple, ways.digits), ways.share, strict=True))
    assert spelled[0, 7] == pytest.approx(slips.zero_led_date)
    assert slips.zero_led_date > 10 * slips.zero_led


def test_a_cell_outside_says_nothing_whatever_its_ink() -> None:
    hidden = frozenset({"wind.none", "made.1"})
    bubbles, digits = cell_likelihoods(INDEX, {"wind.none": FILLED}, {"made.1": digit_logs(d7=1.0)}, hidden)
    assert bubbles[INDEX.bubbles.index("wind.none")] == pytest.approx(np.ones(3))
    assert digits[INDEX.digits.index("made.1")] == pytest.approx(np.ones(12))


def test_a_sheet_without_numbers_has_none() -> None:
    form = form_from_toml(
        'name = "yes"\nedition = 1\ntitle = "yes"\n[[foot]]\nid = "alone"\ntype = "choose-one"\n'
        'options = [{ id = "yes", label = "yes" }]\n',
        source="test",
    )
    bubbles, digits = cell_likelihoods(index_of(form), {"alone.yes": FILLED}, {}, frozenset())
    assert (bubbles.shape, digits.shape) == ((1, 3), (0, 12))


def test_what_the_whole_card_says_takes_the_place_of_what_a_field_says_alone() -> None:
    found = posterior({"wind.none": (0.0, -1.0, -SURE), "wind.some": (0.0, -2.0, -SURE)})
    group = found.choose["choose-one", 2]
    ink = group.ink.copy()
    group.set_some(np.array([0]), np.array([0.25]))
    parts = group.weights[0] * group.likelihood.meanings[0]
    first = np.e / (np.e + 1)
    assert parts == pytest.approx([0.75, 0.25 * first, 0.25 * (1 - first)], abs=1e-4), "parts of one"
    assert group.ink == pytest.approx(ink)
    number = found.number["number", 1]
    values = np.array([[1.0, 1, 0, 0, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 0, 0, 0, 7.0]])
    number.set(np.array([0, 1]), values, np.array([2.0, 1.0]))
    assert number.values[0] == pytest.approx([0.25, 0.25, *[0] * 8, 0.5])
    assert number.values[1] == pytest.approx([*[0] * 9, 0.875, 0.125])
