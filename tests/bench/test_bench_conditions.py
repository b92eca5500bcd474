"""The benchmark of conditions tells where reading stops and whether anything was misread there."""

import json

from tests.bench.bench_conditions import Row, from_json, markdown, stops_at, to_json
from tests.bench.cards import Counts


def row(severity: float, rejected: int, silent: int = 0) -> Row:
    counts = Counts(photos=10, rejected=rejected)
    if rejected < 10:
        counts.cells.update(bubble=3680, digit=1590)
        counts.silent.update(bubble=silent)
    return Row("dusk", severity, counts, [[0.01, 0.04, 0.2]], [{"rectify": 80.0, "decode": 5.0}])


def test_reading_stops_where_half_the_photos_are_rejected():
    rows = [row(0.5, 0), row(1.0, 4), row(1.5, 5), row(2.0, 10)]
    assert stops_at(rows) == 1.5
    assert stops_at(rows[:2]) is None


def test_a_misread_cell_beyond_the_limit_is_told():
    assert "| dusk | 1 | 5 of 20 | 0 of 5,270 | 0 of 5,270 | holds |" in markdown(
        [row(0.5, 0), row(1, 5), row(2, 10)]
    )
    assert "**fails**" in markdown([row(0.5, 0), row(1, 5, silent=1), row(2, 10)])
    assert "not reached" in markdown([row(0.5, 0)])


def test_a_reader_that_crashes_counts_as_rejected_and_is_told():
    crashed = row(1.0, 0)
    crashed.crashed = ["dusk 1 seed 3: ValueError: expected"] * 20
    assert stops_at([crashed]) == 1.0
    assert "20 crashes" in markdown([crashed])


def test_rows_come_back_from_their_json():
    first = row(1.0, 3, silent=2)
    again = from_json(json.loads(json.dumps(to_json(first))))
    assert again == first
    again.add(first)
    assert again.counts.photos == 20
    assert markdown([again]) != markdown([first])
