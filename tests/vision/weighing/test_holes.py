"""What one hole may hold: marks by throws, scores by par."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.weighing.holes import score_prior, throw_table
from shortpencil.scan.vision.weighing.slips import Slips

ALL_COLUMNS = (1, 2, 3)  # drive, approaches, putts of the built-in round cards


def test_chances_of_all_patterns_add_up_to_one():
    chance = throw_table(ALL_COLUMNS, Slips()).chance
    assert chance.sum(axis=1) == pytest.approx(np.ones(len(chance)))
    assert chance.shape[1] == 64


def test_marks_of_careful_players_by_hand():
    careful = Slips(throw_forgotten=0, hole_unmarked=0, throws_odd=0)
    chance = throw_table(ALL_COLUMNS, careful).chance
    # Columns are bits: drive 1, approaches 2 and 4, putts 8, 16, 32.
    assert chance[0].argmax() == 0
    assert chance[1, 0b000001] == pytest.approx(1)  # an ace is a drive
    # Two throws: approach or putt after the drive; 0.38 of one approach and no putt (0.04), 0.32 and 0.42.
    assert chance[2, 0b000011] == pytest.approx(0.38 * 0.04 / (0.38 * 0.04 + 0.32 * 0.42))
    assert chance[2, 0b001001] == pytest.approx(0.32 * 0.42 / (0.38 * 0.04 + 0.32 * 0.42))
    assert {int(p) for p in np.flatnonzero(chance[2])} == {0b000011, 0b001001}
    # With more throws than columns the rest stays unmarked.
    assert chance[-1, 0b111111] > 0.1


def test_kinds_know_their_marks_and_misses():
    table = throw_table((1, 2, 0), Slips())
    drive, approach, putt = table.phases
    assert list(zip(drive.marked.tolist(), drive.misses.tolist(), strict=True)) == [(0, 0), (1, 0), (1, 1)]
    # One of two approaches missed, the first or the second: two ways of one kind.
    ways = approach.states.reshape(9, 2, 3).argmax(axis=2).tolist()
    kinds = approach.kind[[ways.index([1, 2]), ways.index([2, 1])]]
    assert kinds[0] == kinds[1]
    assert (approach.marked[kinds[0]], approach.misses[kinds[0]]) == (0b11, 1)
    assert len(putt.kind) == 1
    # A missed drive and a clean second approach.
    triples = np.arange(len(table.marked)).reshape(len(drive.marked), len(approach.marked), 1)
    place = triples[2, approach.kind[ways.index([0, 1])], 0]
    assert table.marked[place] == 0b101
    assert table.misses[table.place[place] // table.patterns].tolist() == [1, 0, 0]
    assert table.place[place] % table.patterns == 0b101


@pytest.mark.parametrize("par", [None, 3, 4, 5])
def test_scores_add_up_to_one_and_rare_ones_stay_possible(par):
    prior = score_prior(2, par)
    assert prior.sum() == pytest.approx(1)
    assert prior.max() / prior[1] < 60  # an ace
    assert prior.max() / prior[9] < 60


def test_par_moves_the_scores():
    assert score_prior(1, 5).argmax() == 5
    assert score_prior(1, 3).argmax() == 3
