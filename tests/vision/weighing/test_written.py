"""How a sum gets written: every chance adds up to one, and the way back agrees with listing."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.weighing.written import written_sum

VALUES = 100


def seen(value: int | None) -> tuple[np.ndarray, float]:
    """Ink that says one value (None: blank) and nothing else."""
    full = np.zeros(VALUES)
    if value is None:
        return full, 1.0
    full[value] = 1.0
    return full, 0.0


def chance(value: int | None, true: int) -> float:
    return float(written_sum(*seen(value), 90, 0.03, 0.1, 0.4).likelihood[true])


@pytest.mark.parametrize("true", [20, 45, 70])
def test_chances_of_all_values_add_up_to_one(true):
    assert sum(chance(value, true) for value in [None, *range(VALUES)]) == pytest.approx(1)


def test_chances_by_hand():
    assert chance(None, 61) == pytest.approx(0.1)
    assert chance(None, 0) == pytest.approx(0.4)
    anything = 0.03 * 0.06 / VALUES
    assert chance(61, 61) == pytest.approx(0.9 * (0.97 + anything))
    assert chance(60, 61) == pytest.approx(0.9 * (0.03 * 0.44 / 2 + anything))
    assert chance(12, 61) == pytest.approx(0.9 * anything)


def test_the_way_back_agrees_with_listing():
    noise = np.random.default_rng(1)
    full, blank = noise.random(VALUES), 0.3
    sums = noise.dirichlet(np.ones(90))
    written = written_sum(full, blank, 90, 0.2, 0.1, 0.4)
    values, p_blank = written.explain(sums)
    listed = np.zeros(VALUES)
    for value in range(VALUES):
        listed[value] = sum(
            p / written.likelihood[true] * chance_of(value, true) * full[value] for true, p in enumerate(sums)
        )
    assert values == pytest.approx(listed)
    assert values.sum() + p_blank == pytest.approx(1)


def chance_of(value: int, true: int) -> float:
    return float(written_sum(*seen(value), 90, 0.2, 0.1, 0.4).likelihood[true])


def test_a_sum_that_is_surely_blank_says_nothing():
    assert written_sum(*seen(None), 90, 0.03, 0.1, 0.4).says_nothing(1e-9)
    assert not written_sum(*seen(61), 90, 0.03, 0.1, 0.4).says_nothing(1e-9)
