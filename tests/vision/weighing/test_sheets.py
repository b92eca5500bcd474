"""Counts of a practice sheet and the rungs of a ladder: against plain loops over every way to fill it in."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections import defaultdict
from typing import Any

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.rules import rules_of
from shortpencil.scan.vision.weighing.form_index import index_of
from shortpencil.scan.vision.weighing.posterior import Posterior, fields_alone, filled_in
from shortpencil.scan.vision.weighing.sheets import by_habit, usual_chances, weigh_counts, weigh_sheet
from shortpencil.scan.vision.weighing.slips import OFF_BY, Slips

LADDER = form_from_toml(
    """
name = "rungs"
edition = 1
title = "rungs"
[rows]
prefix = "r"
count = 3
[[rows.left]]
id = "distance"
type = "number"
digits = 1
label = "from"
[[rows.left]]
id = "dropped"
type = "choose-many"
label = "dropped"
options = [{ id = "1", label = "1" }, { id = "2", label = "2" }, { id = "3", label = "3" }]
[[rows.left]]
id = "made"
type = "number"
digits = 1
label = "counted"
""",
    source="test",
)
FIELD = form_from_toml(
    """
name = "throws"
edition = 1
title = "throws"
[rows]
prefix = "t"
count = 3
[[rows.left]]
id = "execution"
type = "choose-one"
label = "hand"
options = [{ id = "clean", label = "clean" }, { id = "miss", label = "miss" }]
[[foot]]
id = "clean"
type = "number"
digits = 1
label = "clean throws"
""",
    source="test",
)


def ink_of(form, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Likelihoods of all bubbles and boxes, from nearly nothing to nearly sure."""
    rng = np.random.default_rng(seed)
    index = index_of(form)
    bubbles = np.exp(-rng.exponential(3, (len(index.bubbles), 3)))
    digits = np.exp(-rng.exponential(3, (len(index.digits), 12)))
    return bubbles / bubbles.max(1, keepdims=True), digits / digits.max(1, keepdims=True)


def weighed(form, bubbles: np.ndarray, digits: np.ndarray, slips: Slips) -> Posterior:
    posterior = fields_alone(index_of(form), bubbles, digits, slips)
    weigh_counts(index_of(form), "m", slips, posterior, usual_chances(index_of(form), slips))
    return posterior


def unfilled(ink: np.ndarray, slips: Slips, struck: float) -> float:
    return float((1 - struck) * ink[0] + struck * ink[2])


def box(ink: np.ndarray, sign: int, slips: Slips) -> float:
    p = slips.scrap_in_blank if sign == 10 else slips.scrap
    return float((1 - p) * ink[sign] + p * ink[11])


def written(true: int, ink: np.ndarray, slips: Slips) -> dict[int | None, float]:
    """Value or None as written -> chance, with ink, given the true count."""
    p_blank = slips.zero_tally_blank if true == 0 else slips.tally_blank
    found: dict[int | None, float] = {None: p_blank * box(ink, 10, slips)}
    for value in range(10):
        p = 1 - slips.tally_wrong if value == true else 0.0
        p += slips.tally_wrong * OFF_BY.get(abs(value - true), 0.0) / 2 if value != true else 0.0
        p += slips.tally_wrong * (1 - sum(OFF_BY.values())) / 10
        found[value] = (1 - p_blank) * p * box(ink, value, slips)
    return found


@pytest.mark.parametrize("seed", range(6))
def test_a_row_of_bubbles_and_its_count_as_by_listing_all(seed: int) -> None:
    slips, index = Slips(), index_of(LADDER)
    bubbles, digits = ink_of(LADDER, seed)
    found = weighed(LADDER, bubbles, digits, slips)
    many = found.many["choose-many", 3]
    for row in range(3):
        of_row = bubbles[index.groups["choose-many", 3].cells[row]]
        place = index.places[f"r{row + 1:02d}.made"]
        count_ink = digits[index.groups[place[0]].cells[place[1]]][0]
        ways: dict[tuple[tuple[int, ...], Any], float] = defaultdict(float)
        for pattern in itertools.product((0, 1), repeat=3):
            filled = sum(pattern)
            if filled:
                p_ink = math.prod(
                    (1 - slips.messy) * cell[1] + slips.messy * cell[2]
                    if on
                    else unfilled(cell, slips, slips.cancelled)
                    for on, cell in zip(pattern, of_row, strict=True)
                )
            else:
                p_ink = math.prod(unfilled(cell, slips, 0) * (1 - slips.cancelled_alone) for cell in of_row)
                with_struck = math.prod(
                    (1 - slips.cancelled_alone) * cell[0] + slips.cancelled_alone * cell[2] for cell in of_row
                )
                p_ink += with_struck - p_ink  # nothing there, or something struck out
            thrown = (1 - slips.row_unthrown) / 4 / math.comb(3, filled) * p_ink
            for value, p in written(filled, count_ink, slips).items():
                ways[pattern, value] += thrown * (1 - slips.bubbles_forgotten) * p
            if not filled:
                for value in range(4):
                    ways[pattern, value] += (
                        (1 - slips.row_unthrown)
                        * slips.bubbles_forgotten
                        / 4
                        * p_ink
                        * box(count_ink, value, slips)
                    )
                ways[pattern, None] += slips.row_unthrown * p_ink * box(count_ink, 10, slips)
        whole = sum(ways.values())
        on = [sum(p for (pattern, _), p in ways.items() if pattern[k]) / whole for k in range(3)]
        assert many.options()[row] == pytest.approx(on, abs=1e-9)
        for pattern in itertools.product((0, 1), repeat=3):
            chosen = np.zeros((3, 3), dtype=bool)
            chosen[row] = pattern
            chance = sum(p for (of, _), p in ways.items() if of == pattern) / whole
            assert many.chance(chosen)[row] == pytest.approx(chance, abs=1e-9)
        of_value = [
            sum(p for (_, v), p in ways.items() if v == value) / whole for value in (*range(10), None)
        ]
        assert found.number[place[0]].values[place[1]] == pytest.approx(of_value, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_clean_throws_and_their_count_as_by_listing_all(seed: int) -> None:
    slips, index = Slips(), index_of(FIELD)
    bubbles, digits = ink_of(FIELD, seed)
    found = weighed(FIELD, bubbles, digits, slips)
    alone = fields_alone(index, bubbles, digits, slips)
    before = alone.choose["choose-one", 2]
    meanings = before.weights * before.likelihood.meanings
    ways: dict[tuple[tuple[int, ...], Any], float] = defaultdict(float)
    for said in itertools.product(range(3), repeat=3):  # nothing, clean, miss
        p = math.prod(meanings[row, answer] for row, answer in enumerate(said))
        for value, q in written(said.count(1), digits[0], slips).items():
            ways[said, value] += p * q
    whole = sum(ways.values())
    after = found.choose["choose-one", 2]
    joint = after.weights * after.likelihood.meanings
    for row in range(3):
        listed = [sum(p for (said, _), p in ways.items() if said[row] == answer) for answer in range(3)]
        assert joint[row] / joint[row].sum() == pytest.approx(np.array(listed) / whole, abs=1e-9)
    values = [sum(p for (_, v), p in ways.items() if v == value) / whole for value in (*range(10), None)]
    assert found.number["number", 1].values[0] == pytest.approx(values, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_rungs_as_by_listing_all(seed: int) -> None:
    slips, index = Slips(), index_of(LADDER)
    bubbles, digits = ink_of(LADDER, seed)
    found = weighed(LADDER, bubbles, digits, slips)
    boxes = [
        digits[index.groups["number", 1].cells[index.places[f"r0{k}.distance"][1]]][0] for k in (1, 2, 3)
    ]

    def follows(last: int | None, value: int) -> float:
        if last is None:
            return 0.1
        steps = {v: 1 / ((v - last) * (v - last + 1)) for v in range(last + 1, 10)}
        rising = steps.get(value, 0.0) / sum(steps.values()) if steps else 0.1
        return (1 - slips.rung_astray) * rising + slips.rung_astray / 10

    listed: list[dict[Any, float]] = [defaultdict(float) for _ in boxes]
    whole = 0.0
    for ways in itertools.product((*range(10), None), repeat=3):
        p, last = 1.0, None
        for ink, value in zip(boxes, ways, strict=True):
            if value is None:
                p *= 0.3 * box(ink, 10, slips)
            else:
                p *= 0.7 * follows(last, value) * box(ink, value, slips)
                last = value
        whole += p
        for of_rung, value in zip(listed, ways, strict=True):
            of_rung[value] += p
    for k, of_rung in enumerate(listed):
        row = index.places[f"r0{k + 1}.distance"][1]
        wanted = [of_rung[value] / whole for value in (*range(10), None)]
        assert found.number["number", 1].values[row] == pytest.approx(wanted, abs=1e-9)


def test_a_throw_flies_as_far_as_the_others_of_its_session() -> None:
    """Of 64 and 164 m, alike by their ink, it is 64 among throws of 50 to 80; 64 or 69 it leaves open."""
    form = load_form("field-work")
    index = index_of(form)
    bubbles = np.tile([1.0, 1e-6, 1e-6], (len(index.bubbles), 1))
    digits = np.full((len(index.digits), 12), 1e-6)
    digits[:, 10] = 1.0
    key, _ = index.places["t01.distance"]
    for throw, far in enumerate([55, 60, 72, 80, 50, 66, 70, 64, 64], start=1):
        places = index.groups[key].cells[index.places[f"t{throw:02d}.distance"][1]]
        for place, sign in zip(places[1:], str(far), strict=True):
            digits[place] = 1e-6
            digits[place, int(sign)] = 1.0
    first = index.groups[key].cells[index.places["t08.distance"][1]]
    digits[first[0], 1] = 1.0
    last = index.groups[key].cells[index.places["t09.distance"][1]]
    digits[last[2], 9] = 1.0
    values = weighed(form, bubbles, digits, Slips()).number[key].values
    eighth, ninth = (values[index.places[f"t{throw}.distance"][1]] for throw in ("08", "09"))
    assert eighth[64] > 20 * eighth[164]
    assert ninth[64] == pytest.approx(ninth[69], rel=0.1)


def test_a_column_is_filled_in_as_in_the_other_rows_that_are_used() -> None:
    """One throw's kind in 3 to 1 against blank: read where all others say theirs, left where none does."""
    form = load_form("field-work")
    index, slips = index_of(form), Slips()
    for said, wanted in ((True, 0.9), (False, 0.2)):
        bubbles = np.tile([1.0, 1e-6, 1e-6], (len(index.bubbles), 1))
        for throw in range(1, 11):  # of sixteen rows ten are used
            for column in ("tilt", "execution", *(["kind"] if said and throw != 4 else [])):
                key, row = index.places[f"t{throw:02d}.{column}"]
                bubbles[index.groups[key].cells[row][throw % 2]] = [1e-6, 1.0, 1e-6]
        key, row = index.places["t04.kind"]
        bubbles[index.groups[key].cells[row][0]] = [1.0, 3.0, 1e-6]
        _, unused = index.places["t14.kind"]
        bubbles[index.groups[key].cells[unused][0]] = [1.0, 3.0, 1e-6]
        digits = np.full((len(index.digits), 12), 1e-6)
        digits[:, 10] = 1.0
        posterior = fields_alone(index, bubbles, digits, slips)
        weigh_sheet(index, "m", slips, posterior)
        fourth, fourteenth = filled_in(posterior, key, np.array([row, unused]))
        assert (fourth > wanted) == said
        assert fourteenth < 0.2


def test_a_field_s_own_ink_has_no_say_in_what_is_expected_of_it() -> None:
    """Three rows of two columns: whatever the one field shows, its row and its column say the same of it."""
    form = load_form("field-work")
    index, slips = index_of(form), Slips()
    expected = []
    for own in ([1.0, 1e-6, 1e-6], [1.0, 1.0, 1e-6], [1e-6, 1.0, 1e-6]):
        bubbles = np.tile([1.0, 1e-6, 1e-6], (len(index.bubbles), 1))
        for throw in (1, 2, 3):
            for column in ("kind", "tilt"):
                key, row = index.places[f"t{throw:02d}.{column}"]
                bubbles[index.groups[key].cells[row][0]] = [1e-6, 1.0, 1e-6]
        key, row = index.places["t02.kind"]
        bubbles[index.groups[key].cells[row][0]] = own
        digits = np.full((len(index.digits), 12), 1e-6)
        digits[:, 10] = 1.0
        posterior = fields_alone(index, bubbles, digits, slips)
        expected.append(by_habit(index, slips, posterior)[key][row])
    assert expected == pytest.approx([expected[0]] * 3, abs=1e-9)


def test_the_farthest_rung_with_seven_is_told_by_the_rungs() -> None:
    """Of 4 and 9, alike by their ink, it is the fourth if that is the last rung from which seven dropped."""
    form = load_form("putting-ladder")
    index, slips = index_of(form), Slips()
    bubbles = np.tile([1.0, 1e-6, 1e-6], (len(index.bubbles), 1))
    digits = np.full((len(index.digits), 12), 1e-6)
    digits[:, 10] = 1.0
    for rung, dropped in enumerate([10, 9, 8, 7, 5, 4], start=1):
        key, row = index.places[f"r{rung:02d}.dropped"]
        bubbles[index.groups[key].cells[row][:dropped]] = [1e-6, 1.0, 1e-6]
    key, row = index.places["best"]
    last = index.groups[key].cells[row][1]
    digits[last] = 1e-6
    digits[last, [4, 9]] = 1.0
    values = weighed(form, bubbles, digits, slips).number[key].values[row]
    assert values[4] > 0.98
    # What would be said of it with nothing written at all: the last rung, and 15 of 100 leave it out.
    digits[last] = digits[index.groups[key].cells[row][0]] = 1.0
    said = weighed(form, bubbles, digits, slips).number[key].values[row]
    assert said[4] > 5 * np.delete(said[:-1], 4).max()
    assert said[-1] == pytest.approx(slips.tally_blank, abs=0.01)


def test_what_was_made_is_no_more_than_was_tried() -> None:
    """Of 7 and 17 of ten tries, alike by their ink, it is 7; a 17 that is read clearly stays a 17."""
    form = form_from_toml(
        'name = "session"\nedition = 1\ntitle = "session"\nrecord = "practice"\n'
        '[[foot]]\nid = "made.ten-putts.10.1"\ntype = "number"\ndigits = 2\nlabel = "made"\n',
        source="test",
    )
    digits = np.full((2, 12), 1e-6)
    digits[0, [1, 10]] = digits[1, 7] = 1.0
    values = weighed(form, np.zeros((0, 3)), digits, Slips()).number["number", 2].values[0]
    assert values[7] > 100 * values[17]
    digits[0, 10] = 1e-6
    values = weighed(form, np.zeros((0, 3)), digits, Slips()).number["number", 2].values[0]
    assert values[17] > 0.98
    assert rules_of(form).tries == (("made.ten-putts.10.1", 10),)


def test_the_built_in_sheets_promise_their_counts() -> None:
    ladder, field = (rules_of(load_form(name)) for name in ("putting-ladder", "field-work"))
    assert [rule.count for rule in ladder.counts] == [f"r{k:02d}.made" for k in range(1, 11)]
    assert ladder.counts[3].of == ("r04.dropped",)
    assert ladder.rungs == tuple(f"r{k:02d}.distance" for k in range(1, 11))
    (clean,) = field.counts
    assert (clean.count, clean.option, len(clean.of)) == ("clean", "clean", 16)
    assert field.rungs == ladder.flights == ()
    assert field.flights == tuple(f"t{k:02d}.distance" for k in range(1, 17))
    assert rules_of(load_form("round18")).counts == ()
    assert (ladder.best, field.best) == ("best", None)
    # on a form of one's own `best` is whatever one asks (docs/forms.md)
    own = dataclasses.replace(load_form("putting-ladder"), name="my-ladder")
    assert rules_of(own).best is None
    assert rules_of(load_form("putting-ladder-de")).best == "best"
