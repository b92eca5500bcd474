"""The bundled photos: every cell right or flagged; the bad one rejected with how to take it again."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import FileResult, read_file
from shortpencil.scan.sources import expand
from shortpencil.scan.vision.opening.photo import load_photos
from shortpencil.scan.vision.pipeline import read_photo

SAMPLES = Path(__file__).parents[2] / "sample_scans"
PHOTOS = [p for p in sorted(SAMPLES.iterdir()) if p.suffix not in (".json", ".md")]


def test_there_are_at_least_eight_and_they_are_light() -> None:
    assert len(PHOTOS) >= 8
    assert sum(p.stat().st_size for p in PHOTOS) < 6_000_000
    assert expand([SAMPLES]) == PHOTOS


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], FileResult]:
    """Read a photo, once for all tests."""
    catalog = Catalog(tmp_path_factory.mktemp("forms"))
    return cache(lambda photo: read_file(photo, catalog))


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda p: p.name)
def test_every_cell_is_right_or_flagged(photo: Path, read: Callable[[Path], FileResult]) -> None:
    truth = json.loads((SAMPLES / f"{photo.stem}.truth.json").read_text())
    result = read(photo)
    assert result.error is None
    (reading,) = result.readings
    assert reading.status == truth["expect"], reading.reason
    if reading.status == "rejected":
        assert "again" in (reading.reason or "")
        return
    assert reading.serial == truth["serial"]
    assert set(reading.cells) == set(truth["cells"])
    silent = [
        f"{cell}: {value.value} for {truth['cells'][cell]}"
        for cell, value in reading.cells.items()
        if value.value != truth["cells"][cell]
        and value.flag is None
        and reading.fields[cell.rsplit(".", 1)[0]].flag is None
    ]
    assert silent == []
    assert set(truth["review"]) <= set(reading.flagged)


def test_most_cells_of_the_samples_are_not_asked_about(read: Callable[[Path], FileResult]) -> None:
    """A reader that flags everything would pass the test above; ten fields in a thousand is the target."""
    readings = [r for photo in PHOTOS for r in read(photo).readings]
    fields = sum(len(r.fields) for r in readings)
    asked = sum(len(r.flagged) for r in readings)
    assert asked < 0.02 * fields


@pytest.mark.parametrize("way", [lambda gray: cv2.flip(gray, 1), cv2.bitwise_not], ids=["mirror", "negative"])
def test_a_mirrored_photo_and_a_negative_read_as_the_photo_does(
    way: Callable[[np.ndarray], np.ndarray], tmp_path: Path
) -> None:
    (photo,) = load_photos(SAMPLES / "plain_good_light.jpg")
    whole = photo if photo.finer is None else photo.finer()
    catalog = Catalog(tmp_path)
    (plain,) = read_photo(whole, catalog.find)
    (turned,) = read_photo(replace(whole, gray=way(whole.gray)), catalog.find)
    assert plain.status == turned.status == "read"
    assert turned.cells == plain.cells
