"""Bubbles of hard cards, drawn apart from the reader: what is clear is read, what is not is asked."""

from __future__ import annotations

import json
from importlib.resources import files

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.scan.vision.seeing.bubble_net import CLASSES, bubble_net
from shortpencil.scan.vision.seeing.bubbles import (
    bubble_log_likelihoods,
    bubble_patches,
    by_meaning,
    measure_bubbles,
    pen_darkness,
    too_dark_for_a_ghost,
)
from shortpencil.scan.vision.seeing.ink import ink_of
from shortpencil.scan.vision.seeing.patches import digit_patches
from shortpencil.scan.vision.weighing.likelihoods import choices, likelihoods
from shortpencil.scan.vision.weighing.slips import Slips
from tests.simulator.hard_cards import KINDS, Card, card

Logs = dict[str, tuple[float, float, float]]


def layout_of(made: Card) -> Layout:
    return arrange(load_form(made.form), PAPERS[made.paper]).layout


def measured(made: Card) -> Logs:
    layout = layout_of(made)
    ink = ink_of(made.flat, np.full_like(made.flat, 255), layout)
    around = bubble_patches(ink, layout)
    pen = pen_darkness(digit_patches(ink, layout), around)
    return dict(bubble_log_likelihoods(measure_bubbles(around, layout, pen)))


def test_the_simulator_and_the_network_speak_of_the_same_classes() -> None:
    assert KINDS == CLASSES


def test_what_is_said_of_the_weights_is_true() -> None:
    about = json.loads(files("shortpencil.scan.vision.seeing").joinpath("bubbles.json").read_text("utf-8"))
    net = bubble_net()
    assert about["parameters"] == sum(w.size for w in net.weights.values())
    assert net.shares.sum() == pytest.approx(1, abs=1e-4)
    assert set(about["of_each_class"]) == set(CLASSES)


@pytest.mark.parametrize("seed", [300_101, 300_102, 300_103])
def test_bubbles_of_hard_cards_are_hardly_ever_taken_for_the_opposite(seed: int) -> None:
    """Marks, tools and prints of families that the network never saw; ten to one is believed."""
    made = card(seed, "new", ("round9", "a4"))
    logs = measured(made)
    wrong = 0
    for cell, (blank, filled, _) in logs.items():
        kind = made.kinds.get(cell, "empty")
        wrong += kind == "empty" and filled > blank + np.log(10)
        wrong += kind == "filled" and blank > filled + np.log(10)
    assert len(logs) > 150
    assert wrong <= 1


def test_a_card_of_no_bubbles_has_none() -> None:
    layout = arrange(load_form("round9"), PAPERS["a4"]).layout
    none = Layout(layout.form, layout.paper, (), layout.fiducials, layout.studs, layout.qr, layout.plain_code)
    assert dict(bubble_log_likelihoods(measure_bubbles(np.zeros((0, 45, 45), np.float32), none, 0.5))) == {}


def test_struck_out_beside_a_filled_one_takes_the_other() -> None:
    """As the card promises: the ink says struck out and filled, each a thousand times likelier than not."""
    struck, filled, blank = (-7.0, -7.0, 0.0), (-7.0, 0.0, -7.0), (0.0, -7.0, -7.0)
    found = choices(likelihoods(np.array([[struck, filled, blank]])), Slips())
    looks = found.looks(np.array([[0.5, 1 / 6, 1 / 6, 1 / 6]]))[0]
    assert looks[2] > 0.98


def test_struck_out_alone_is_not_an_answer() -> None:
    found = choices(likelihoods(np.array([[(-7.0, -7.0, 0.0), (0.0, -7.0, -7.0)]])), Slips())
    looks = found.looks(np.array([[0.5, 0.25, 0.25]]))[0]
    assert looks.argmax() == 4  # neither blank nor an option nor several


def _ink_of(kind: str) -> tuple[float, float, float]:
    """What decoding is told of a bubble of one class, ten thousand times sooner than of another."""
    logs = np.where(np.array(CLASSES) == kind, 0.0, np.log(1e-4))
    blank, filled, struck = by_meaning(logs[None])[0]
    return float(blank), float(filled), float(struck)


def test_a_dot_is_far_sooner_a_mark_than_none_and_no_strike() -> None:
    blank, filled, struck = _ink_of("unclear")
    assert np.log(10) < filled - blank < np.log(100)
    assert struck < blank


@pytest.mark.parametrize(("throws", "asked"), [(True, False), (False, True)])
def test_a_dot_alone_is_a_mark_where_a_throw_must_have_been_and_asked_elsewhere(
    throws: bool, asked: bool
) -> None:
    """A drive is marked in 95 of 100 fields, a note on a throw seldom: the weights of two such fields."""
    found = choices(likelihoods(np.array([[_ink_of("unclear"), _ink_of("empty")]])), Slips())
    weights = [0.05, 0.57, 0.38] if throws else [0.8, 0.1, 0.1]
    looks = found.looks(np.array([weights]))[0]
    assert looks.argmax() == 1
    assert bool(looks[1] < 0.98) is asked


def test_what_is_as_dark_as_a_mark_is_no_ghost_of_one() -> None:
    """The network takes an even grey for rubbed out; a rubber leaves no more than a third of it."""
    erased = np.log(np.array([[1e-4, 0.1, 0.89, 5e-3, 4.9e-3]]))
    pale, dark = (too_dark_for_a_ghost(erased, np.array([ink], np.float32)) for ink in (0.25, 0.6))
    np.testing.assert_array_equal(pale, erased)
    assert np.exp(dark).sum() == pytest.approx(1.0)  # moved, not made
    assert dark[0, CLASSES.index("filled")] > np.log(0.95)
    blank, filled, _ = by_meaning(pale)[0]
    assert filled - blank < np.log(49)  # asked, where nothing else speaks
    blank, filled, _ = by_meaning(dark)[0]
    assert filled - blank > np.log(49)
