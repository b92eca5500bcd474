"""Bubbles of hard cards, drawn apart from the reader: what is clear is read, what is not is asked."""

from __future__ import annotations

import json
from importlib.resources import files

import numpy as np
import pytest

from forms.catalog import load_form
from forms.form import Field
from forms.layout import PAPERS, Layout, arrange
from scan.vision.bubble_net import CLASSES, bubble_net
from scan.vision.bubbles import bubble_log_likelihoods, bubble_patches, measure_bubbles, pen_darkness
from scan.vision.decode import Evidence
from scan.vision.ink import ink_of
from scan.vision.likelihoods import choices, likelihoods
from scan.vision.patches import cells_of_kind, digit_patches
from scan.vision.possible import impossible
from scan.vision.slips import Slips
from tests.simulator.hard_cards import KINDS, Card

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
    about = json.loads(files("scan.vision").joinpath("bubbles.json").read_text("utf-8"))
    net = bubble_net()
    assert about["parameters"] == sum(w.size for w in net.weights.values())
    assert net.shares.sum() == pytest.approx(1, abs=1e-4)
    assert set(about["of_each_class"]) == set(CLASSES)


def test_a_card_of_no_bubbles_has_none() -> None:
    layout = arrange(load_form("round9"), PAPERS["a4"]).layout
    none = Layout(layout.form, layout.paper, (), layout.fiducials, layout.studs, layout.qr, layout.plain_code)
    assert dict(bubble_log_likelihoods(measure_bubbles(np.zeros((0, 45, 45), np.float32), none, 0.5))) == {}


def evidence_with(layout: Layout, several: int, one: int) -> Evidence:
    """So many questions with all bubbles filled, so many with one."""
    fields: dict[str, Field] = {
        f.id: f for f in layout.form.fields if f.type == "choose-one" and len(f.options) > 1
    }
    bubbles = {c.id: (0.0, -9.0, -9.0) for c in cells_of_kind(layout, "bubble")}
    for i, field in enumerate(list(fields.values())[: several + one]):
        for cell in field.cell_ids if i < several else field.cell_ids[:1]:
            bubbles[cell] = (-9.0, 0.0, -9.0)
    return Evidence(bubbles=bubbles, digits={}, words={})


@pytest.mark.parametrize(("several", "one", "kept"), [(0, 80, True), (4, 60, True), (30, 60, False)])
def test_a_card_that_no_round_can_be_is_not_kept(several: int, one: int, kept: bool) -> None:
    layout = arrange(load_form("round18"), PAPERS["a4"]).layout
    reason = impossible(evidence_with(layout, several, one), layout.form)
    assert (reason is None) is kept


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
