"""The boxes of a card tell of each other which digits they hold: of a bundled photo, whose truth is known."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from shortpencil.scan.vision.deciding.card_hand import taught_by_card
from shortpencil.scan.vision.deciding.confusions import checked_places
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.weighing.form_index import index_of
from shortpencil.scan.vision.weighing.posterior import cell_likelihoods, fields_alone
from shortpencil.scan.vision.weighing.slips import Slips
from tests.bench.cards import find_layout

SAMPLE = Path(__file__).parents[3] / "sample_scans" / "rain_and_grass.jpg"


@lru_cache(maxsize=1)
def card():
    """Its form and evidence, and what the player wrote into each box."""
    traces: list[Trace] = []
    (photo,) = photos_from_bytes(SAMPLE.read_bytes(), SAMPLE.name)
    read_photo(photo, find_layout, traces)
    layout, evidence = traces[0].layout, traces[0].evidence
    assert layout is not None
    assert evidence is not None
    truth = json.loads(SAMPLE.with_suffix(".truth.json").read_text("utf-8"))["cells"]
    return layout.form, evidence, {cell: truth[cell] for cell in index_of(layout.form).digits}


def said(*chances):
    """Log probabilities (12,) of answers named with their chances, the rest shared by all."""
    p = np.full(12, 1e-6)
    for answer, chance in chances:
        p[answer] = chance
    return np.log(p / p.sum()).astype(np.float32)


def taught(evidence, looks=None):
    form = card()[0]
    index = index_of(form)
    bubbles, digits = cell_likelihoods(index, evidence.bubbles, evidence.digits, frozenset())
    posterior = fields_alone(index, bubbles, digits, Slips())
    found = taught_by_card(index, posterior, digits, evidence.looks if looks is None else looks, Slips())
    return index, digits, found, set(checked_places(index).tolist())


def unchecked_with_twins():
    """Boxes that no sum checks whose digit stands on the card at least four times."""
    _, evidence, truth = card()
    index, _, _, checked = taught(evidence)
    digits = [truth[cell] for cell in index.digits if cell in evidence.looks]
    return [
        cell
        for i, cell in enumerate(index.digits)
        if i not in checked and cell in evidence.looks and truth[cell] is not None
        and digits.count(truth[cell]) >= 4
    ]  # fmt: skip


def other_than(digit):
    return {1: 7, 7: 1, 4: 9, 9: 4, 3: 5, 5: 3, 2: 7, 6: 0, 0: 6, 8: 3}[digit]


def test_a_box_that_the_ink_leaves_open_is_told_by_the_others():
    _, evidence, truth = card()
    cells = unchecked_with_twins()
    surer = 0
    for cell in cells:
        digit, other = int(truth[cell]), other_than(int(truth[cell]))
        open_ = replace(evidence, digits={**evidence.digits, cell: said((digit, 0.6), (other, 0.4))})
        index, _, factors, _ = taught(open_)
        at = index.digits.index(cell)
        surer += factors[at, digit] > 3 * factors[at, other]
    assert len(cells) >= 10
    assert surer >= 0.8 * len(cells)


def test_a_box_that_looks_like_another_digit_of_this_hand_is_doubted():
    _, evidence, truth = card()
    cells = unchecked_with_twins()
    doubted = []
    for cell in cells:
        digit = int(truth[cell])
        others = [c for c in cells if int(truth[c]) != digit]
        looks = {**evidence.looks, cell: evidence.looks[others[0]]}
        wrong = int(truth[others[0]])
        torn = {**evidence.digits, cell: said((digit, 0.9), (wrong, 0.1))}
        index, _, factors, _ = taught(replace(evidence, digits=torn, looks=looks))
        at = index.digits.index(cell)
        doubted.append(factors[at, digit] < factors[at, wrong])
    assert np.mean(doubted) >= 0.9


def test_boxes_that_a_sum_checks_and_boxes_without_ink_are_left_as_they_are():
    _, evidence, _ = card()
    index, digits, factors, checked = taught(evidence)
    kept = sorted(checked | {i for i, cell in enumerate(index.digits) if cell not in evidence.looks})
    assert checked
    np.testing.assert_array_equal(factors[kept], np.ones((len(kept), digits.shape[1])))


def test_without_looks_or_with_too_few_boxes_a_card_teaches_nothing():
    _, evidence, _ = card()
    assert taught(evidence, looks={})[2] is None
    assert taught(evidence, looks=dict(list(evidence.looks.items())[:5]))[2] is None


def test_a_question_goes_away_and_the_answer_is_the_one_that_the_hand_writes():
    form, evidence, truth = card()
    asked = gone = 0
    for cell in unchecked_with_twins():
        digit = int(truth[cell])
        open_ = {**evidence.digits, cell: said((digit, 0.93), (other_than(digit), 0.07))}
        field = cell.rsplit(".", 1)[0]
        alone = decode(form, replace(evidence, digits=open_, looks={})).fields[field]
        together = decode(form, replace(evidence, digits=open_)).fields[field]
        assert together.value == alone.value
        asked += alone.flag is not None
        gone += alone.flag is not None and together.flag is None
    assert asked >= 10
    assert gone >= 0.6 * asked
