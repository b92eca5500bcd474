"""Ranks of values as NumPy gives them, which takes longer and loads more for it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from shortpencil.scan.vision.arrays import alike, median, medians, percentile


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.float32, np.float64])
def test_medians_and_percentiles_are_those_of_numpy_to_the_last_bit(kind: Any) -> None:
    rng = np.random.default_rng(18)
    for count in range(1, 60):
        rows = (200 * rng.random((4, count))).astype(kind)
        assert median(rows) == np.median(rows)
        assert (medians(rows) == np.median(rows, axis=1)).all()
        assert medians(rows).dtype == np.median(rows, axis=1).dtype
        for percent in (0, 3, 50, 70, 97, 100):
            assert percentile(rows[0], percent) == np.percentile(rows[0], percent)


def test_nothing_has_no_median() -> None:
    assert np.isnan(median(np.zeros(0)))  # as where no tile of a sheet agrees with its neighbours


def test_percentiles_of_rows_are_those_of_each() -> None:
    rows = np.random.default_rng(18).random((5, 29))
    assert (percentile(rows, 95) == [percentile(row, 95) for row in rows]).all()


def test_alike_rows_are_told_with_their_places() -> None:
    rows = np.array([(5.0, 7.0), (4.0, 7.0), (5.0, 7.0)])
    assert [(row, places.tolist()) for row, places in alike(rows)] == [
        ((5.0, 7.0), [0, 2]),
        ((4.0, 7.0), [1]),
    ]
