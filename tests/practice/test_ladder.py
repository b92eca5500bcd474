"""Putts of practice beside those of rounds: what ladders add to the curve, and what they must not claim."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.rules import rules_of
from shortpencil.scan.practice import putting as p
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.rate_charts import putting_chart
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.practice_sets import sets_from
from shortpencil.scan.records.composing.rounds import PracticeSet
from tests.bench import bench_ladder
from tests.practice.invented import hole, known, one_round, throw

DAY = date(2030, 5, 1)
AT = np.array([3.0, 4.0, 6.0, 8.0])


def rungs(made, day=DAY, metres=AT):
    return [p.Rung(day, float(m), 10, k) for m, k in zip(metres, made, strict=True)]


def putts(tries: int, distance: float, holed: int):
    """Holes of one putt from this distance that dropped, or of one that stayed out and one that did not."""
    made = [hole(n + 1, [_putt(1, distance, True)]) for n in range(holed)]
    return [*made, *(hole(n + 1, [_putt(1, distance, False)]) for n in range(holed, tries))]


def _putt(order: int, distance: float, holed: bool):
    return throw(order, "putt", "clean", holed, distance=known(int(distance)), distance_m=distance)


def history(*holes):
    return history_of([one_round("R1", [h for some in holes for h in some], day=DAY - timedelta(days=3))])


FEW = history(putts(8, 4.0, 5), putts(6, 6.0, 3))


def band(putting: p.Putting, metres: float) -> tuple[float, float, float]:
    c = putting.curve
    low, middle, high = (float(np.interp(metres, c.distance_m, of)) for of in (c.low, c.middle, c.high))
    return low, middle, high


def test_ladders_alone_make_no_curve_of_rounds():
    # nobody knows how much easier practice is for this player
    of = p.putting_of(history([]), rungs=rungs([10, 9, 6, 3]))
    assert of.curve is None
    assert [(g.holed_count, g.tries) for g in of.practice] == [(10, 10), (9, 10), (6, 10), (3, 10)]
    assert "28 of 40" in p.ladders_said(of)
    assert "make no curve" in p.ladders_said(of)


def test_ladders_are_told_beside_what_a_round_would_bring():
    of = p.putting_of(FEW, rungs=rungs([10, 9, 6, 3]))
    expected = sum(10 * of.curve.at(m) for m in AT)
    assert (
        f"28 of 40 putts dropped; from there {expected:.0f} would be expected in a round"
        in p.ladders_said(of)
    )


def test_no_number_of_ladders_tells_a_round_as_surely_as_a_few_rounds_may():
    # a million putts of practice, a few of rounds: the band keeps the doubt of how much easier practice is
    many = [p.Rung(DAY, 5.0, 1_000_000, 800_000)]
    alone, helped = p.putting_of(FEW), p.putting_of(FEW, rungs=many)
    low, _, high = band(helped, 5.0)
    assert high - low > 0.25
    assert high - low <= np.ptp(np.array(band(alone, 5.0))[[0, 2]])


def test_who_putts_better_in_practice_is_not_told_a_better_round():
    # 200 putts of rounds at even chance from 5 m say so, whatever the ladders hold
    rounds = history(putts(200, 5.0, 100))
    alone, helped = p.putting_of(rounds), p.putting_of(rounds, rungs=[p.Rung(DAY, 5.0, 500, 450)])
    assert band(helped, 5.0)[1] == pytest.approx(band(alone, 5.0)[1], abs=0.02)
    assert band(helped, 5.0)[1] < 0.6


def test_how_chances_fall_is_learnt_from_ladders():
    # rounds know 5 m alone; ladders, however easy, know how steep it is: flat or steep at 9 m
    rounds = history(putts(100, 5.0, 60))
    steep = [p.Rung(DAY, m, 200, k) for m, k in ((3.0, 198), (5.0, 160), (7.0, 90), (9.0, 30))]
    flat = [p.Rung(DAY, m, 200, k) for m, k in ((3.0, 168), (5.0, 160), (7.0, 152), (9.0, 144))]
    at_flat, at_steep = (band(p.putting_of(rounds, rungs=some), 9.0)[1] for some in (flat, steep))
    assert at_flat - at_steep > 0.12


@pytest.mark.parametrize("world", ["alike", "far easier"])
def test_bands_hold_for_players_of_both_kinds(world: str):
    # 60 invented players: putts alike in practice, or easier by 1.5 in log odds, twice what is believed. The
    # band is to hold nine tenths; the bench reports on more, and docs/practice.md tells it.
    of = bench_ladder.compared(world, 10, 6, 60, 77)
    held, width, error, _ = of.mean(axis=0).T
    assert held[1] > 0.8
    assert width[1] < width[0]
    assert error[1] < error[0] + 0.01


def test_older_ladders_count_less_and_a_day_is_a_day():
    played = [DAY + timedelta(days=n) for n in range(1, 41)]
    new = DAY + timedelta(days=60)
    both = p.ladders_of([p.Rung(DAY, 5.0, 10, 10), p.Rung(new, 5.0, 10, 0)], played)
    # 40 rounds after the first: a quarter; (1 + 1/4)^2 / (1 + 1/16) days, and as many tens of putts
    assert both.days == pytest.approx(25 / 17)
    assert both.tries == pytest.approx([250 / 17])
    assert both.holed == pytest.approx([50 / 17])
    same = p.ladders_of(rungs([5, 5, 5, 5]), played)
    assert same.days == 1.0
    assert same.tries == pytest.approx([10.0] * 4)
    assert p.ladders_of([], played) is None


# -- what a sheet says -------------------------------------------------------------------------------------


DATE = {"date.day": 14, "date.month": 6, "date.year": 26}


def sets_of(form, answers) -> tuple[PracticeSet, ...]:
    fields = {
        name: value if isinstance(value, FieldReading) else FieldReading(value, 0.999)
        for name, value in (DATE | answers).items()
    }
    return sets_from(form, fields, "S", "Wren")


def test_a_rung_says_from_where():
    ladder = load_form("putting-ladder")
    answers = {"r01.distance": 20, "r01.made": 7, "r02.made": 6, "r03.distance": 0, "r03.made": 5}
    doubt = {"r04.distance": FieldReading(8, 0.6, flag="unclear"), "r04.made": 4}
    metres = [one.distance_m for one in sets_of(ladder, answers | doubt)]
    assert [None if m is None else (m.known, m.status) for m in metres] == [
        (20.0, "known"),
        None,
        None,
        (None, "waits"),
    ]
    in_feet = sets_of(replace(ladder, unit="ft"), answers)
    assert in_feet[0].distance_m.known == 6.096  # 20 ft of 0.3048 m
    assert [(r.distance_m, r.tries, r.holed) for r in p.rungs_of(sets_of(ladder, answers | doubt))] == [
        (20.0, 10, 7)
    ]


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_the_german_sheets_are_the_same_practice(unit: str):
    answers = {"r01.distance": 6, "r01.dropped": ("1", "2"), "r02.distance": 8, "r02.made": 6}
    throws = {"t01.execution": "clean", "t02.execution": "miss", "clean": 1}
    for name, said in (("putting-ladder", answers), ("field-work", throws)):
        english, german = (load_form(form, unit=unit) for form in (name, f"{name}-de"))
        assert [field.id for field in german.fields] == [field.id for field in english.fields]
        assert sets_of(german, said) == sets_of(english, said) != ()
        assert rules_of(german) == rules_of(english)


OWN = """
name = "own"
title = "Own"
[[head]]
id = "date.day"
type = "number"
digits = 2
label = "day"
[[head]]
id = "date.month"
type = "number"
digits = 2
label = "month"
[[head]]
id = "date.year"
type = "number"
digits = 2
label = "year"
[rows]
count = 4
labels = ["4 m", "20 ft", "7,5 m", "anywhere"]
[[rows.left]]
id = "dropped"
type = "choose-many"
label = "dropped"
options = [{ id = "1", label = "1" }, { id = "2", label = "2" }]
[[rows.left]]
id = "made"
type = "number"
digits = 2
label = "made"
"""


def test_distances_that_are_printed_before_the_rows_count():
    form = form_from_toml(OWN, source="own.toml")
    at = [form.row_id(row) for row in range(1, 5)]
    found = sets_of(form, {f"{row}.made": 1 for row in at})
    assert [None if s.distance_m is None else s.distance_m.known for s in found] == [4.0, 6.096, 7.5, None]


def test_a_rung_without_a_day_or_with_more_than_its_tries_counts_nowhere():
    ladder = load_form("putting-ladder")
    one = sets_of(ladder, {"r01.distance": 5, "r01.made": 7})[0]
    from msgspec.structs import replace as but

    assert len(p.rungs_of([one])) == 1
    assert p.rungs_of([but(one, day=None)]) == ()
    assert p.rungs_of([but(one, made=known(11))]) == ()
    assert p.rungs_of([but(one, drill="field-work")]) == ()


def test_the_picture_shows_ladders_as_squares_and_says_so():
    without = putting_chart(p.putting_of(FEW))
    shown = putting_chart(p.putting_of(FEW, rungs=rungs([10, 9, 6, 3])))
    assert "on putting ladders" not in without.description.lower()
    assert "On putting ladders: 3 m: 10 of 10 holed" in shown.description
    words = [getattr(shape, "text", "") for shape in shown.shapes]
    assert "on putting ladders" in words
    assert "in rounds" in words


def test_rungs_fall_with_distance_in_the_order_told():
    of = p.putting_of(FEW, rungs=rungs([10, 9, 6, 3]))
    assert all(a < b for a, b in pairwise(of.practice_m))
