"""Which of the measured points belong to a sheet: a sharp fold does, another stud's place does not."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.flattening.bend import consistent, spline

GRID = np.stack(np.meshgrid([10.0, 105.0, 200.0], np.arange(60.0, 260.0, 28.0)), axis=-1).reshape(-1, 2)
CORNERS = np.array([(10.0, 10.0), (200.0, 10.0), (200.0, 287.0), (10.0, 287.0)])
ALLOWED = np.full(len(GRID), 3.0)


def bent(points: np.ndarray) -> np.ndarray:
    """An arch across the sheet: up to 9 mm, none at the corners."""
    lift = np.sin(np.pi * (points[:, 1] - 10) / 277)
    return np.stack([4.0 * lift, -9.0 * lift], axis=1)


def test_a_strong_bend_is_no_mistake() -> None:
    everything = np.ones(len(GRID), bool)
    assert consistent((CORNERS, bent(CORNERS)), GRID, bent(GRID), everything, ALLOWED).all()


def test_what_was_mistaken_for_another_goes_and_its_neighbours_stay() -> None:
    measured = bent(GRID)
    measured[[4, 13]] += [(5.5, 0.0), (0.0, -6.0)]
    good = consistent((CORNERS, bent(CORNERS)), GRID, measured, np.ones(len(GRID), bool), ALLOWED)
    gone = set(np.flatnonzero(~good).tolist())
    assert gone >= {4, 13}
    assert len(gone) <= 3  # beside a gap nobody foretells an edge to 3 mm


def test_two_that_were_found_in_one_place_both_go() -> None:
    measured = bent(GRID)
    measured[7] = GRID[10] + measured[10] - GRID[7]
    far = np.full(len(GRID), 99.0)
    good = consistent((CORNERS, bent(CORNERS)), GRID, measured, np.ones(len(GRID), bool), far)
    assert np.flatnonzero(~good).tolist() == [7, 10]


def test_what_is_allowed_is_what_the_others_foretell() -> None:
    # By hand: leave one out, fit the rest, look how far it is.
    measured = bent(GRID)
    measured[4] += (2.0, 0.0)
    at, values = np.vstack([CORNERS, np.delete(GRID, 4, axis=0)]), np.delete(measured, 4, axis=0)
    rest = spline(at, np.vstack([bent(CORNERS), values]), 0.02)
    off = float(np.linalg.norm(rest.at(GRID[4:5])[0] - measured[4]))
    found = np.ones(len(GRID), bool)
    sure = (CORNERS, bent(CORNERS))
    wide = np.full(len(GRID), 99.0)
    for share, kept in ((1.02, True), (0.98, False)):
        allowed = wide.copy()
        allowed[4] = share * off
        assert consistent(sure, GRID, measured, found, allowed)[4] == kept
    assert off == pytest.approx(2.0, abs=1.0)
