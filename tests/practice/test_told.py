"""What is told is true: small samples of the tables in docs/advice-ranges.md, one world at a time."""

import numpy as np
import pytest

from tests.bench.bench_truth import judged, mean_of
from tests.practice import worlds

SEED = 60


def rows(world, players, rounds):
    g = np.random.default_rng([SEED, rounds])
    some = worlds.players_of(world, players, g)
    truth = worlds.truth_of(some, g, rounds=30)
    found = []
    for i, e in enumerate(worlds.cards_of(worlds.play(some, rounds, g), g)):
        found.append(judged(e, {name: getattr(truth, name)[i] for name in truth.__dataclass_fields__}))
    return found


@pytest.mark.parametrize(
    "world", [w for w in (*worlds.WORLDS, *worlds.HELD_OUT) if w.name in ("alike", "experts", "storms")]
)
def test_ranges_hold_and_clear_means_clear(world):
    found = rows(world, 16, 20)
    # 48 statements of each kind; fewer than .78 has a chance of under 1 % if nine in ten hold
    for name in ("rate", "cost", "strokes"):
        held = [mean_of(found, f"{name} {short}") for short in "dap"]
        assert np.mean(held) > 0.78, name
    curve = [mean_of(found, f"curve {at}") for at in (3, 5, 7, 9)]
    assert np.mean(curve) > 0.78
    told = [r for r in found if "clear told" in r]
    assert sum(not r["clear right"] for r in told) <= 2


def test_the_focus_is_worth_more_than_the_plain_count_where_holes_and_distances_differ():
    found = rows(worlds.WORLDS[2], 16, 30)
    assert mean_of(found, "worth") > 0.95
    assert mean_of(found, "worth") >= mean_of(found, "worth count")


def test_the_leading_causes_range_allows_for_having_been_picked():
    found = rows(worlds.WORLDS[0], 40, 1)
    assert mean_of(found, "share") > 0.76
