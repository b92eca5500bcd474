import numpy as np
import pytest

from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.model import fisher_exact
from shortpencil.scan.practice.results import two_by_two
from tests.practice.invented import Player, hole, one_round, rounds_of, throw


def test_putts_are_good_when_holed_whatever_their_execution():
    # own example: 52 clean and in, 10 clean and out, 8 missed and in, 20 missed and out
    kinds = [("clean", True)] * 52 + [("clean", False)] * 10 + [("miss", True)] * 8 + [("miss", False)] * 20
    e = history_of([one_round("a", [hole(1, [throw(1, "putt", x, holed)]) for x, holed in kinds])])
    putt = two_by_two(e)[2]
    table = [[putt.clean_good, putt.clean_bad], [putt.missed_good, putt.missed_bad]]
    assert table == [[52, 10], [8, 20]]
    assert putt.good_when_clean.middle == pytest.approx(52 / 62)
    # recomputed with SciPy: Fisher 5.34e-7
    assert fisher_exact(table)[0] == pytest.approx(5.34e-7, rel=2e-3)


def test_a_drive_is_good_when_no_more_throws_follow_than_usual():
    short = hole(
        1, [throw(1, "drive", "miss"), throw(2, "approach", "clean"), throw(3, "putt", "clean", True)]
    )
    long = hole(
        2,
        [
            throw(1, "drive", "clean"),
            throw(2, "approach", "clean"),
            throw(3, "approach", "clean"),
            throw(4, "putt", "clean", True),
        ],
    )
    drive = two_by_two(history_of([one_round("a", [short, short, short, long])]))[0]
    assert (drive.clean_bad, drive.missed_good) == (1, 3)
    assert (drive.clean_good, drive.missed_bad) == (0, 0)


def test_unmarked_throws_and_unknown_results_are_left_out():
    e = history_of(
        [one_round("a", [hole(1, [throw(1, "drive", "unmarked"), throw(2, "putt", "miss", holed=None)])])]
    )
    drive, _, putt = two_by_two(e)
    assert (drive.throws, drive.left_out) == (0, 1)
    assert (putt.throws, putt.left_out) == (0, 1)


def test_clean_throws_of_an_invented_player_end_well_more_often():
    e = history_of(rounds_of(Player(), 20, np.random.default_rng(1)))
    for table in two_by_two(e):
        assert table.good_when_clean.low > table.good_when_missed.high
        assert (
            table.throws + table.left_out
            == (e.throw_phase == ("drive", "approach", "putt").index(table.phase)).sum()
        )
