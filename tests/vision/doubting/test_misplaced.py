"""Marks that lie between the bubbles tell that everything is looked for beside its place."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.doubting.misplaced import marks_beside_their_places
from shortpencil.scan.vision.seeing.bubbles import PATCH_RADIUS_PX


def card(off: float, marks: int = 60, seed: int = 0) -> np.ndarray:
    """Surroundings of 200 bubbles, some marked `off` radii away from their middle on average."""
    rng = np.random.default_rng(seed)
    axis = (np.arange(45) - 22) / PATCH_RADIUS_PX
    x, y = np.meshgrid(axis, axis)
    patches = rng.normal(0.02, 0.01, (200, 45, 45)).astype(np.float32)
    patches[:, np.abs(np.hypot(x, y) - 1) < 0.06] += 0.2
    for patch in patches[:marks]:
        angle, far = rng.uniform(0, 2 * np.pi), off * rng.uniform(0.7, 1.3)
        patch[np.hypot(x - far * np.cos(angle), y - far * np.sin(angle)) < 0.8] = 0.6
    return patches


@pytest.mark.parametrize("off", [0.0, 0.2, 0.5])
def test_a_hand_that_misses_its_bubbles_by_some_is_read(off: float) -> None:
    assert marks_beside_their_places(card(off)) is None


def test_where_most_marks_lie_beside_the_photo_is_to_be_taken_again() -> None:
    reason = marks_beside_their_places(card(1.1))
    assert reason is not None
    assert "Lay it flat" in reason


def test_a_few_marks_tell_nothing() -> None:
    assert marks_beside_their_places(card(1.1, marks=10)) is None
    assert marks_beside_their_places(card(1.1)[:12]) is None
