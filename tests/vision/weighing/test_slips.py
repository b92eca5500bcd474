"""The chances of a slip are chances, and the thresholds beside them are where they are said to be."""

from __future__ import annotations

import dataclasses

import pytest

from shortpencil.forms.form import form_from_toml
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.weighing.slips import (
    FURTHER_FILLED,
    OFF_BY,
    OFF_BY_ANYTHING,
    UNLISTED_CAUSE,
    FlagRule,
    Slips,
)
from shortpencil.scan.vision.weighing.written import slip_kernel
from tests.vision.marked_cards import cell_values, digit_logs, evidence_of, with_cell

#: Not a chance but a count of digits, each by its probability.
COUNTS = {"hand_overruled"}


@pytest.mark.parametrize("name", [f.name for f in dataclasses.fields(Slips) if f.name not in COUNTS])
def test_every_slip_is_rarer_than_not_slipping_but_where_people_choose(name: str) -> None:
    chance = getattr(Slips(), name)
    usual = {"par", "second_pass", "cause", "distance", "zero_tally_blank", "zero_led_date", "miss"}
    assert 0 < chance < 1
    assert (chance <= 0.3) == (name not in usual)


def test_one_digit_overruled_is_chance_and_two_alike_are_a_habit() -> None:
    assert 1 < Slips().hand_overruled < 2


def test_a_wrong_sum_is_off_by_a_throw_a_few_or_a_carry() -> None:
    assert list(OFF_BY) == [1, 2, 3, 4, 5, 9, 10, 11]
    assert all(0 < share < 1 for share in OFF_BY.values())
    assert pytest.approx(0.06) == OFF_BY_ANYTHING
    assert OFF_BY[1] > OFF_BY[2] > OFF_BY[3] > OFF_BY[4] > OFF_BY[5]
    assert OFF_BY[10] > OFF_BY[9] == OFF_BY[11], "a carry forgotten is a ten"


def test_a_sum_is_off_either_way_alike_and_right_otherwise() -> None:
    kernel = slip_kernel(0.1)
    assert kernel == pytest.approx(kernel[::-1])
    assert kernel[11] == pytest.approx(0.9)
    assert kernel.sum() == pytest.approx(1 - 0.1 * OFF_BY_ANYTHING)


def test_what_comes_on_top_of_a_slip_is_rare_too() -> None:
    assert 0 < FURTHER_FILLED <= 0.1
    assert 0 < UNLISTED_CAUSE < 0.05


def test_the_fixed_slips_of_throws_are_a_key_that_other_slips_do_not_change() -> None:
    assert Slips(total_wrong=0.2, par=0.1).of_throws == Slips().of_throws
    for name in ("throw_forgotten", "hole_unmarked", "throws_odd", "miss"):
        assert getattr(Slips(**{name: 0.123}).of_throws, name) == 0.123


# Where a person is asked

SUMMED = form_from_toml(
    'name = "two"\nedition = 1\ntitle = "two"\nrecord = "round"\n[rows]\nprefix = "h"\ncount = 2\n'
    '[[rows.left]]\nid = "score"\ntype = "number"\ndigits = 1\n'
    '[[foot]]\nid = "total"\ntype = "number"\ndigits = 2\n'
    '[[foot]]\nid = "note"\ntype = "words"\n',
    source="test",
)


def _two_holes() -> Evidence:
    return evidence_of(SUMMED, cell_values(SUMMED, {"h01.score": 3, "h02.score": 4, "total": 7}))


@pytest.mark.parametrize(("ratio", "asked"), [(40.0, False), (60.0, True)])
def test_a_sum_that_overrules_ink_which_would_be_believed_is_asked_however_sure(
    ratio: float, asked: bool
) -> None:
    five = ratio / (1 + ratio)
    unsure = with_cell(_two_holes(), "h02.score.1", digit_logs(d4=1 - five, d5=five))
    # The total says 4 beyond doubt: nobody adds wrongly here.
    field = decode(SUMMED, unsure, Slips(total_wrong=1e-6)).fields["h02.score"]
    assert field.value == 4
    assert field.p > FlagRule().p_digit
    assert (field.flag is not None) == asked


@pytest.mark.parametrize(("share", "written"), [(0.004, False), (0.02, True)])
def test_a_line_of_a_few_letters_is_words_and_a_speck_is_none(share: float, written: bool) -> None:
    strip = dataclasses.replace(_two_holes(), words={"note.strip": share})
    assert decode(SUMMED, strip).cells["note.strip"].value is written
