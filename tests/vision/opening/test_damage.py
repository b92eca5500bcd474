"""Damage of a picture is told by its structure, by checksums, by what its decoder says or what it leaves."""

from __future__ import annotations

import io
import os
import random
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.opening.damage import (
    _middle_of,
    jpeg_complaint,
    jpeg_parts,
    loses_thread,
    overheard,
    png_problem,
)
from shortpencil.scan.vision.opening.photo import photos_from_bytes

SAMPLES = Path(__file__).parents[3] / "sample_scans"
PHOTO = (SAMPLES / "messenger_copy_1600.jpg").read_bytes()


def encoded(kind: str, size: tuple[int, int] = (640, 480), **options: object) -> bytes:
    rng = np.random.default_rng(7)
    small = rng.integers(60, 220, (size[1] // 16, size[0] // 16)).astype(np.uint8)
    picture = cv2.resize(small, size, interpolation=cv2.INTER_CUBIC)
    out = io.BytesIO()
    Image.fromarray(picture).convert("RGB").save(out, kind, **options)
    return out.getvalue()


def refused(data: bytes) -> str:
    with pytest.raises(InputError) as error:
        list(photos_from_bytes(data, "x.jpg"))
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.mark.parametrize("photo", sorted(SAMPLES.glob("*.jpg")), ids=lambda p: p.stem)
def test_a_sound_photo_is_sound(photo: Path) -> None:
    data = photo.read_bytes()
    parts = jpeg_parts(data)
    assert (parts.problem, parts.end) == (None, len(data))
    (found,) = photos_from_bytes(data, photo.name)
    assert not loses_thread(found.gray, parts.unit_rows)


def test_a_film_behind_the_photo_is_none_of_it() -> None:
    """Phones put a film of some seconds behind the end marker of a photo."""
    film = os.urandom(300_000).replace(b"\xff\xd9", b"\0\0")
    (plain,), (moving,) = photos_from_bytes(PHOTO, "a"), photos_from_bytes(PHOTO + film, "b")
    assert np.array_equal(plain.gray, moving.gray)
    assert jpeg_parts(PHOTO + film).end == len(PHOTO)
    assert "cut off" in refused(PHOTO[: len(PHOTO) // 2] + b"\xff\xd9")  # by what libjpeg says


def test_the_parts_of_a_jpeg_are_counted() -> None:
    assert jpeg_parts(encoded("JPEG")).scans == 1
    progressive = jpeg_parts(encoded("JPEG", progressive=True))
    assert progressive.progressive
    assert 4 <= progressive.scans <= 12
    assert jpeg_parts(encoded("JPEG", subsampling=0)).unit_rows == 8
    assert jpeg_parts(encoded("JPEG", subsampling=2)).unit_rows == 16  # 4:2:0


def test_restart_markers_stand_in_turn() -> None:
    """T.81, B.2.1: RST0 to RST7 follow one another, modulo 8."""
    ok, data = cv2.imencode(".jpg", np.zeros((256, 256), np.uint8), [cv2.IMWRITE_JPEG_RST_INTERVAL, 16])
    assert ok
    whole = data.tobytes()
    assert jpeg_parts(whole).problem is None
    at = whole.index(b"\xff\xd2")
    assert "missing or out of order" in (jpeg_parts(whole[:at] + b"\xff\xd5" + whole[at + 2 :]).problem or "")
    assert "missing or out of order" in refused(whole[:at] + whole[at + 2 :])


def test_every_flipped_bit_of_a_png_is_found() -> None:
    """W3C PNG 5.3: each chunk carries a CRC-32, which finds every change of one bit."""
    data = encoded("PNG", (64, 48))
    assert png_problem(data) is None
    for at in range(8, len(data), 7):
        spoilt = bytearray(data)
        spoilt[at] ^= 1 << (at % 8)
        assert png_problem(bytes(spoilt)) is not None


def test_what_a_decoder_says_is_heard_and_nothing_else_is_lost(capfd: pytest.CaptureFixture[str]) -> None:
    with overheard() as said:
        os.write(2, b"Corrupt JPEG data: 3 extraneous bytes before marker 0xd9\n")
    os.write(2, b"this goes on to the terminal\n")
    assert said.lines == ["Corrupt JPEG data: 3 extraneous bytes before marker 0xd9"]
    assert capfd.readouterr().err == "this goes on to the terminal\n"
    assert jpeg_complaint(said.lines, b"..abc\xff\xd9", 7) == said.lines[0]
    assert jpeg_complaint(said.lines, b"..\0\0\0\xff\xd9", 7) is None  # a filler
    assert jpeg_complaint(["[ WARN:0@1] of something else"], b"", 0) is None


@pytest.mark.parametrize("unit", [8, 16])
def test_a_step_from_edge_to_edge_is_damage_and_a_straight_edge_is_none(unit: int) -> None:
    rng = np.random.default_rng(3)
    picture = cv2.GaussianBlur(rng.integers(90, 160, (480, 640)).astype(np.uint8), (0, 0), 3)
    assert not loses_thread(picture, unit)
    row, column = 10 * unit, 14 * unit
    stepped = picture.astype(int)
    stepped[row + unit :] += 20
    stepped[row : row + unit, column:] += 20
    assert loses_thread(stepped.clip(0, 255).astype(np.uint8), unit)
    edge = picture.copy()
    edge[row:] = np.minimum(edge[row:].astype(int) + 60, 255)  # a table's edge, on the grid by chance
    assert not loses_thread(edge, unit)


def test_steps_in_many_rows_are_print_and_no_damage() -> None:
    """Damage shifts all that follows, once; print that lies on the grid by chance comes again and again."""
    rng = np.random.default_rng(3)
    picture = cv2.GaussianBlur(rng.integers(90, 160, (480, 640)).astype(np.uint8), (0, 0), 3).astype(int)
    for k, row in enumerate(range(80, 400, 80)):
        for edge, column in ((row, 14 * 16), (row + 16, 0)):
            picture[edge : edge + 16, column:] += 20 if k % 2 else -20
    lined = picture.clip(0, 255).astype(np.uint8)
    assert not loses_thread(lined, 16)


def test_a_stripe_that_ends_where_rows_end_is_no_damage() -> None:
    """A dark stripe of a cloth: a high step into it, and behind it what a telephone's sharpening leaves."""
    rng = np.random.default_rng(3)
    picture = cv2.GaussianBlur(rng.integers(130, 200, (480, 640)).astype(np.uint8), (0, 0), 3).astype(int)
    striped = picture.copy()
    striped[160:174] -= 100
    striped[175] += 6
    striped[176] -= 6
    assert not loses_thread(striped.clip(0, 255).astype(np.uint8), 16)
    picture[160:176, 20 * 16 :] -= 60  # the same dark from a place in this row on, and in all rows behind it
    picture[176:] -= 60
    assert loses_thread(picture.clip(0, 255).astype(np.uint8), 16)


@pytest.mark.parametrize("phase", [0, 8, 33])
def test_stripes_as_high_as_a_row_of_units_are_no_damage(phase: int) -> None:
    """A striped cloth: each stripe steps at both edges, and a row of units away the cloth is as before."""
    rng = np.random.default_rng(3)
    picture = cv2.GaussianBlur(rng.integers(150, 200, (480, 640)).astype(np.uint8), (0, 0), 3).astype(int)
    for top in range(phase, 480, 50):
        picture[top : top + 17] -= np.where(rng.random(640) < 0.15, 0, 70)
    striped = cv2.GaussianBlur(picture.clip(0, 255).astype(np.uint8), (0, 0), 0.6)
    assert not loses_thread(striped, 16)
    stepped = striped.astype(int)
    stepped[160:176, 20 * 16 :] += 50
    stepped[176:] += 50
    assert loses_thread(stepped.clip(0, 255).astype(np.uint8), 16)


def test_a_pattern_that_lies_on_the_grid_is_no_damage() -> None:
    """A stripe of a flowered cloth, 16 rows high: it is dark in some blocks, bright in others."""
    rng = np.random.default_rng(5)
    picture = cv2.GaussianBlur(rng.integers(150, 200, (480, 640)).astype(np.uint8), (0, 0), 3).astype(int)
    flowered = picture.copy()
    for row, depth in ((160, 1.0), (176, 0.4)):  # on a ground that darkens in two steps
        dark = np.repeat(rng.integers(-75, 1, 40), 16) * depth
        flowered[row:] += dark.astype(int)
    assert not loses_thread(flowered.clip(0, 255).astype(np.uint8), 16)
    picture[160:176, 20 * 16 :] -= 30
    picture[176:] -= 30
    assert loses_thread(picture.clip(0, 255).astype(np.uint8), 16)


def test_spoilt_photos_give_no_other_picture() -> None:
    """Of a photo with some bytes turned round, either nothing is left or hardly anything is different."""
    (sound,) = photos_from_bytes(PHOTO, "x")
    rng = random.Random(20)
    start = PHOTO.rindex(b"\xff\xda") + 20
    refusals = 0
    for _ in range(60):
        spoilt = bytearray(PHOTO)
        for _ in range(rng.choice((1, 1, 4))):
            spoilt[rng.randrange(start, len(PHOTO) - 2)] = rng.randrange(256)
        try:
            (found,) = photos_from_bytes(bytes(spoilt), "x")
        except InputError:
            refusals += 1
            continue
        off = np.abs(found.gray.astype(int) - sound.gray) > 24
        assert off.mean() < 0.06  # of all that gave no complaint and are not refused for their steps: up to 1
    assert refusals > 30


@pytest.mark.parametrize("width", [2, 4, 8, 12, 16, 24, 32])
def test_the_middle_of_short_rows_is_their_median(width: int) -> None:
    """numpy's median as reference, ties and extremes included."""
    rows = np.random.default_rng(width).integers(-9, 9, (500, width)).astype(np.int16)
    rows[0], rows[1] = -(2**15), 2**15 - 1
    assert (_middle_of(rows) == np.median(rows, axis=1)).all()
