"""What a card's player leaves out, learnt from the rest of the card."""

from __future__ import annotations

import random

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.deciding.habits import with_habits
from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence
from shortpencil.scan.vision.weighing.form_index import index_of
from shortpencil.scan.vision.weighing.posterior import cell_likelihoods, fields_alone
from shortpencil.scan.vision.weighing.slips import Slips
from tests.vision.marked_cards import cell_values, evidence_of, marked_card, with_cell

ROUND_18 = load_form("round18")


def card(**pars: int | None) -> Evidence:
    """A clear card whose pars are left out, but those named."""
    truth = marked_card(ROUND_18, random.Random(3))
    truth |= {f"h{hole:02d}.par": None for hole in range(1, 19)}
    truth |= {f"{name}.par": par for name, par in pars.items()}
    return evidence_of(ROUND_18, cell_values(ROUND_18, truth))


def habits_of(evidence: Evidence) -> Slips:
    index = index_of(ROUND_18)
    bubbles, digits = cell_likelihoods(index, evidence.bubbles, evidence.digits, frozenset())
    return with_habits(index, fields_alone(index, bubbles, digits, Slips()), Slips())


def test_who_writes_no_par_is_told_from_who_writes_all() -> None:
    none = habits_of(card())
    all_ = habits_of(card(**{f"h{hole:02d}": 3 for hole in range(1, 19)}))
    # By hand: 18 of 18, or none, and two imagined holes of the usual player, who writes 70 %.
    assert none.par == pytest.approx(1.4 / 20, abs=0.01)
    assert all_.par == pytest.approx((18 + 1.4) / 20, abs=0.01)


def test_two_holes_are_not_a_habit_yet() -> None:
    """Two holes seen, sixteen torn away: halfway between what they show and what is usual."""
    seen = card()
    torn = {f"h{hole:02d}.par.1" for hole in range(3, 19)}
    digits = {cell: logs for cell, logs in seen.digits.items() if cell not in torn}
    found = habits_of(Evidence(seen.bubbles, digits, seen.words)).par
    assert 0.3 < found < 0.85


def test_a_smudge_in_one_par_of_a_card_without_pars_is_not_asked() -> None:
    smudge = np.full(12, np.log(0.01 / 10))
    smudge[[10, 3]] = np.log([0.90, 0.09])
    evidence = with_cell(card(), "h07.par.1", smudge)
    assert decode(ROUND_18, evidence, habits=False).fields["h07.par"].flag is not None
    with_all = decode(ROUND_18, evidence).fields["h07.par"]
    assert (with_all.value, with_all.flag) == (None, None)


def test_one_clear_par_on_a_card_without_pars_is_still_read() -> None:
    found = decode(ROUND_18, card(h07=4)).fields["h07.par"]
    assert (found.value, found.flag) == (4, None)


def test_a_faint_par_is_asked_whatever_the_habit() -> None:
    """As likely a 4 as nothing, by the ink: a habit of seventeen holes does not settle it in silence."""
    logs = np.full(12, -14.0)
    logs[[10, 4]] = np.log([ANSWER_SHARES[10], ANSWER_SHARES[4]])
    faint = with_cell(card(), "h07.par.1", logs)
    assert decode(ROUND_18, faint).fields["h07.par"].flag is not None
