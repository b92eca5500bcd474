"""A small sample of `bench_mutated`: spoilt inputs of every kind are refused in words or read."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from tests.bench.bench_mutated import Row, one
from tests.bench.mutations import PHOTO_SHARES, TEXT_SHARES, Kind, kinds, spoilt


@pytest.fixture(scope="module")
def every(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Kind]]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SHORTPENCIL_HOME", "")  # put back afterwards: `kinds` names its own
        yield {kind.name: kind for kind in kinds(tmp_path_factory.mktemp("kinds"), most_samples=1)}


@pytest.mark.parametrize("name", [*PHOTO_SHARES, *TEXT_SHARES])
def test_spoilt_inputs_are_refused_in_words_or_read(name, every, tmp_path) -> None:
    kind, row, rng = every[name], Row(name), random.Random(f"suite {name}")
    for number in range(2 if kind.photo else 5):
        place = tmp_path / str(number)
        place.mkdir()
        one(kind, spoilt(kind, rng), place, row, {})
    assert row.examples == []
    assert (row.tracebacks, row.mistakes, row.ended) == (0, 0, 0)
    assert row.taken + row.refused == row.inputs
