"""A large JPEG is looked at small first, and read so only where its card keeps its resolution."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.finding.corners import marks_at_a_glance
from shortpencil.scan.vision.opening.damage import loses_thread
from shortpencil.scan.vision.opening.photo import GLANCE_LONG_PX, photos_from_bytes
from shortpencil.scan.vision.pipeline import SMALL_PX_PER_MM, Trace, read_photo

SAMPLE = Path(__file__).parents[2] / "sample_scans" / "plain_good_light.jpg"


def jpeg(gray: np.ndarray) -> bytes:
    return cv2.imencode(".jpg", gray, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def enlarged(long_px: int) -> np.ndarray:
    gray = cv2.imread(str(SAMPLE), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
    scale = long_px / max(gray.shape)
    return cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)


@pytest.mark.parametrize(
    ("long_px", "part"),
    [(2 * GLANCE_LONG_PX - 8, 1), (2 * GLANCE_LONG_PX, 2), (4 * GLANCE_LONG_PX, 4)],
)
def test_a_jpeg_is_decoded_as_small_as_a_card_could_be_read(long_px: int, part: int) -> None:
    data = jpeg(np.full((400, long_px), 200, np.uint8))
    (photo,) = photos_from_bytes(data, "wide.jpg")
    assert photo.gray.shape == (400 // part, long_px // part)
    if part == 1:
        assert photo.finer is None
    else:
        assert photo.finer is not None
        finer = photo.finer()
        assert finer.gray.shape == (400, long_px)
        assert (finer.sha256, finer.source, finer.finer) == (photo.sha256, photo.source, None)


def test_a_card_that_fills_a_large_photo_is_read_from_the_small_one(tmp_path: Path) -> None:
    data = jpeg(enlarged(4000))
    traces: list[Trace] = []
    (photo,) = photos_from_bytes(data, "large.jpg")
    (reading,) = read_photo(photo, Catalog(tmp_path).find, traces)
    assert traces[0].gray.shape == photo.gray.shape
    (full,) = read_photo(photo.finer(), Catalog(tmp_path).find)
    assert reading.serial == full.serial
    assert {name: cell.value for name, cell in reading.cells.items()} == {
        name: cell.value for name, cell in full.cells.items()
    }


def test_a_card_that_is_small_in_a_large_photo_is_read_from_the_large_one(tmp_path: Path) -> None:
    small = enlarged(2600)
    table = np.full((4000, 3000), 90, np.uint8)
    table[700 : 700 + small.shape[0], 500 : 500 + small.shape[1]] = small
    traces: list[Trace] = []
    (photo,) = photos_from_bytes(jpeg(table), "far.jpg")
    assert marks_at_a_glance(photo.gray, SMALL_PX_PER_MM) is None
    (reading,) = read_photo(photo, Catalog(tmp_path).find, traces)
    assert reading.status == "read"
    assert traces[0].gray.shape == (4000, 3000)


def test_a_large_photo_without_a_card_is_looked_for_in_the_large_one(tmp_path: Path) -> None:
    (photo,) = photos_from_bytes(jpeg(np.full((2800, 4000), 200, np.uint8)), "table.jpg")
    (reading,) = read_photo(photo, Catalog(tmp_path).find)
    assert reading.status == "rejected"


def test_damage_in_a_large_photo_is_seen_in_the_small_one() -> None:
    whole = jpeg(enlarged(4000))
    # Places where it changes the picture; some bytes may be lost without a trace.
    for share in (0.3, 0.62, 0.9):
        data, at = bytearray(whole), int(len(whole) * share)
        data[at : at + 40] = bytes(40)
        with pytest.raises(InputError, match="damaged"):
            list(photos_from_bytes(bytes(data), "broken.jpg"))


def test_a_soft_edge_that_is_a_step_in_the_small_picture_is_no_damage() -> None:
    rows, columns = np.arange(400)[:, None], np.arange(4000)
    lower = np.where(columns > 2000, 160, 176)  # edges of two rows that are coded together
    shade = np.clip((rows + 0.5 - lower) / 4 + 0.5, 0, 1)  # four pixels wide
    gray = (200 - 50 * shade).astype(np.uint8)
    (photo,) = photos_from_bytes(jpeg(np.repeat(gray[..., None], 3, axis=2)), "shadow.jpg")
    assert photo.finer is not None
    assert loses_thread(photo.gray, 16, 2)
    assert not loses_thread(photo.finer().gray, 16)
