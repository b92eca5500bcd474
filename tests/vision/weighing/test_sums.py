"""The chain over the holes: by hand, against its own bound, and where it gives up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shortpencil.scan.vision.weighing.sums import Additions, key_of, run_chain, sums_of

parts = st.tuples(st.integers(0, 99), *(st.integers(0, 3) for _ in range(3)), st.integers(0, 3))


def key(score: int, drive: int, approach: int, putt: int, phase: int):
    return key_of(np.array([score]), np.array([[drive, approach, putt]]), np.array([phase]))


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # a busy machine makes holes slowly
@given(st.lists(parts.map(lambda p: p[:4]), min_size=1, max_size=60), st.integers(0, 3))
def test_keys_add_up_where_sums_add_up(holes, phase):
    total = sum(key(*hole, 0) for hole in holes) + key(0, 0, 0, 0, phase)
    score, misses, found_phase = sums_of(total)
    assert (score[0], *misses[0]) == tuple(sum(column) for column in zip(*holes, strict=True))
    assert found_phase[0] == phase


def scores_only(weights: list[list[float]], values: list[int]) -> Additions:
    """Holes that add one of `values` each, one row of weights a hole."""
    keys = key_of(np.array(values), np.zeros((len(values), 3), dtype=int), np.zeros(len(values), dtype=int))
    array = np.array(weights, dtype=float)[None]
    return Additions(keys, array, array.sum(axis=2), np.ones(1))


def is_total(total: int, otherwise: float = 0.0):
    return lambda keys: np.where(sums_of(keys)[0] == total, 1.0, otherwise)


def test_two_holes_by_hand():
    # 3 or 4 on each of two holes, the second thrice as likely a 4; they add up to 7: 3 + 4 or 4 + 3.
    chain = run_chain(scores_only([[1, 1], [1, 3]], [3, 4]), is_total(7), 1.0, 1e-12)
    assert chain is not None
    assert chain.added[0] == pytest.approx(np.array([[0.75, 0.25], [0.25, 0.75]]))
    assert sums_of(chain.keys)[0].tolist() == [6, 7, 8]
    assert chain.posterior == pytest.approx([0, 1, 0])
    assert chain.doubt == pytest.approx(0, abs=1e-12)


@given(st.integers(0, 10_000), st.sampled_from([1e-2, 1e-3, 1e-4]))
def test_no_probability_is_off_by_more_than_the_doubt(seed, least_share):
    noise = np.random.default_rng(seed)
    weights = noise.dirichlet(np.full(6, 0.15), 7)
    additions = scores_only(weights.tolist(), [0, 2, 3, 4, 5, 9])
    total = is_total(int(noise.integers(10, 35)), otherwise=0.02)
    exact = run_chain(additions, total, 1.0, 0.0)
    pruned = run_chain(additions, total, 1.0, least_share)
    assert exact is not None
    if pruned is not None:
        assert np.abs(pruned.added - exact.added).max() <= pruned.doubt + 1e-12


def test_a_chain_that_would_drop_too_much_is_given_up():
    flat = scores_only([[1.0] * 10] * 6, list(range(10)))
    assert run_chain(flat, is_total(27), 1.0, 0.2) is None
