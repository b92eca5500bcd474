"""Which phase the second pass is about, given the misses of each."""

from __future__ import annotations

import numpy as np
import pytest

from shortpencil.scan.vision.weighing.second_pass import SecondPass
from shortpencil.scan.vision.weighing.slips import Slips


def chosen(options: list[int], misses: list[int], slips: Slips) -> list[float]:
    """Chance of each phase, and of none, for one card's misses; `options` as in `SecondPass`."""
    count = len(options)
    nothing = np.ones(count + 1)
    second = SecondPass((("choose-one", 3), 0), options, nothing, nothing, np.ones((9, 2)), [])
    phases = np.arange(count + 1)
    return second.chosen(np.array([misses] * (count + 1)), phases, slips).tolist()


def test_it_is_mostly_about_the_phase_with_most_misses_and_level_ones_share() -> None:
    slips = Slips()
    few, many, level, none = chosen([1, 2, 3], [2, 7, 7], slips)
    assert sum((few, many, level, none)) == pytest.approx(1.0)
    assert many == pytest.approx(level)
    assert none == pytest.approx(slips.worst_blank)
    assert few == pytest.approx(slips.worst_other / 3 * (1 - slips.worst_blank))


def test_a_phase_that_the_card_does_not_offer_is_never_it() -> None:
    # approaches have most misses, and the card asks about drives and putts alone
    slips = Slips()
    drive, approach, putt, none = chosen([1, 0, 2], [3, 9, 5], slips)
    assert approach == 0.0
    assert putt > 10 * drive
    assert drive + putt + none == pytest.approx(1.0)
