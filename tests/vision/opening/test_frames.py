"""WebP, TIFF, HEIC and AVIF tell of a missing, doubled or cut part by the lengths and places they say."""

from __future__ import annotations

import io
import random
import struct
from collections.abc import Callable
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, features

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.opening import hevc
from shortpencil.scan.vision.opening.frames import (
    avif_problem,
    avif_size,
    heic_problem,
    tiff_problems,
    webp_problem,
)
from shortpencil.scan.vision.opening.photo import photos_from_bytes

SAMPLES = Path(__file__).parents[3] / "sample_scans"
pillow_heif.register_heif_opener()


@cache
def picture(mode: str = "RGB") -> Image.Image:
    small = np.random.default_rng(7).integers(60, 220, (24, 32, 3)).astype(np.uint8)
    return Image.fromarray(cv2.resize(small, (320, 240), interpolation=cv2.INTER_CUBIC)).convert(mode)


def encoded(kind: str, mode: str = "RGB", **options: object) -> bytes:
    out = io.BytesIO()
    picture(mode).save(out, kind, **options)
    return out.getvalue()


def tiff_problem(data: bytes) -> str | None:
    found = list(tiff_problems(data))
    return next((problem for problem in found if problem), None if found else "no page")


EXIF = b"Exif\0\0II*\0\x08\0\0\0\0\0"
SOUND = {
    "WebP": (
        webp_problem,
        [
            encoded("WEBP"),
            encoded("WEBP", lossless=True),
            encoded("WEBP", "RGBA"),
            encoded("WEBP", exif=EXIF, icc_profile=b"x" * 33),
        ],
    ),
    "TIFF": (
        tiff_problem,
        [
            *(
                encoded("TIFF", mode, compression=how)
                for mode in ("RGB", "L")
                for how in ("raw", "tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg")
            ),
            encoded("TIFF", "1", compression="group4"),
            encoded("TIFF", "L", save_all=True, append_images=[picture("1"), picture()]),
        ],
    ),
    "HEIC": (
        heic_problem,
        [
            encoded("HEIF"),
            encoded("HEIF", "RGBA"),
            encoded("HEIF", exif=EXIF),
            (SAMPLES / "upside_down_tilted.heic").read_bytes(),
        ],
    ),
}
OPENS_AVIF = features.check("avif")
if OPENS_AVIF:
    grey_avif = encoded("AVIF", "L", speed=10)
    SOUND["AVIF"] = (avif_problem, [encoded("AVIF", speed=10), encoded("AVIF", "RGBA", speed=10), grey_avif])
EACH = [(kind, number) for kind, (_, datas) in SOUND.items() for number in range(len(datas))]


def sound(kind: str, number: int) -> tuple[Callable[[bytes], str | None], bytes]:
    problem, datas = SOUND[kind]
    return problem, datas[number]


@pytest.mark.parametrize(("kind", "number"), EACH)
def test_a_sound_file_is_sound(kind: str, number: int) -> None:
    problem, data = sound(kind, number)
    assert problem(data) is None


@pytest.mark.parametrize(("kind", "number"), EACH)
def test_a_file_that_is_cut_is_told(kind: str, number: int) -> None:
    """Wherever it is cut, down to the last byte (TIFF: its strips may stand before the list of them)."""
    problem, data = sound(kind, number)
    for share in (0.2, 0.5, 0.8, 0.99):
        cut = data[: int(len(data) * share)]
        assert problem(cut) is not None
        with pytest.raises(InputError):
            list(photos_from_bytes(cut, "x"))


@pytest.mark.parametrize("at", range(4, 8))
def test_every_length_that_a_webp_says_is_checked(at: int) -> None:
    """RFC 9649, 2.4: the size of the file; 2.3: the size of each chunk."""
    for data in SOUND["WebP"][1]:
        for bit in range(8):
            spoilt = bytearray(data)
            spoilt[at] ^= 1 << bit
            assert webp_problem(bytes(spoilt)) is not None
            spoilt = bytearray(data)
            spoilt[at + 12] ^= 1 << bit
            if (at, bit) != (4, 0):  # one byte of filling may be one of the picture
                assert webp_problem(bytes(spoilt)) is not None


def test_parts_of_a_webp_that_are_missing_or_doubled_are_told() -> None:
    rng = random.Random(3)
    for data in SOUND["WebP"][1]:
        for _ in range(40):
            at, size = rng.randrange(20, len(data)), rng.randrange(2, 700)
            assert webp_problem(data[:at] + data[at + size :]) is not None
            doubled = data[:at] + data[at : at + size] + data[at:]
            told = webp_problem(doubled) is not None
            # What stands behind the length that the file says is none of it, and no decoder reads it.
            assert told or len(doubled) > int.from_bytes(data[4:8], "little") + 8


def test_strips_outside_a_tiff_and_short_ones_are_told() -> None:
    """TIFF 6.0, section 8: StripOffsets (273) and StripByteCounts (279), here of one strip each."""
    raw = SOUND["TIFF"][1][5]
    entry = {tag: raw.index(struct.pack("<HHI", tag, kind, 1)) + 8 for tag, kind in ((273, 4), (279, 4))}
    assert len(entry) == 2
    for tag, wrong in ((273, len(raw)), (273, 2**31), (279, 320 * 240 - 1), (279, 2**32 - 1)):
        spoilt = bytearray(raw)
        spoilt[entry[tag] : entry[tag] + 4] = wrong.to_bytes(4, "little")
        assert tiff_problem(bytes(spoilt)) is not None


def test_a_deflated_strip_carries_a_checksum() -> None:
    """RFC 1950, 2.2: Adler-32 behind the data."""
    data = encoded("TIFF", "L", compression="tiff_adobe_deflate")
    rng = random.Random(5)
    start = data.index(b"\x78", 8)
    for _ in range(60):
        spoilt = bytearray(data)
        spoilt[rng.randrange(start + 2, start + 3000)] ^= 1 << rng.randrange(8)
        assert tiff_problem(bytes(spoilt)) is not None


def test_the_damaged_page_of_a_tiff_is_named_and_the_one_before_it_is_given() -> None:
    two = encoded("TIFF", "L", save_all=True, append_images=[picture("L")])
    assert len(list(photos_from_bytes(two, "x"))) == 2
    pages = photos_from_bytes(two[:-200], "x")
    assert next(pages).page == 1
    with pytest.raises(InputError, match="cut off"):
        next(pages)


def test_the_boxes_of_a_heic_fill_the_box_around_them() -> None:
    """ISO/IEC 14496-12, 4.2: a box's size counts all that is in it."""
    data = SOUND["HEIC"][1][3]
    for name in (b"meta", b"hdlr", b"iloc", b"iinf", b"pitm", b"iprp", b"ipco", b"hvcC", b"ispe", b"ipma"):
        at = data.index(name) - 4
        for wrong in (-4, -1, 1, 4, 2**20):
            size = int.from_bytes(data[at : at + 4], "big") + wrong
            spoilt = data[:at] + size.to_bytes(4, "big") + data[at + 4 :]
            assert heic_problem(spoilt) is not None


def test_what_is_missing_in_a_heics_picture_is_told() -> None:
    data = SOUND["HEIC"][1][3]
    start = data.index(b"mdat") + 4
    rng = random.Random(9)
    for size in (1, 8, 64, 700):
        at = rng.randrange(start, len(data) - size)
        assert heic_problem(data[:at] + data[at + size :]) is not None
    # H.265, 7.4.2: three zero bytes stand in no coded picture, so a stretch that was lost to zeros is told.
    at = rng.randrange(start + 1000, len(data) - 1000)
    assert heic_problem(data[:at] + bytes(64) + data[at + 64 :]) is not None


def test_a_byte_turned_round_in_a_heics_picture_is_told_by_its_decoder() -> None:
    """H.265, 7.3.8.1: the bits that end a stretch of the picture are known before."""
    data = SOUND["HEIC"][1][3]
    start = data.index(b"mdat") + 2000
    rng = random.Random(13)
    told = 0
    for _ in range(8):
        spoilt = bytearray(data)
        spoilt[rng.randrange(start, len(data) - 2000)] ^= 1 << rng.randrange(8)
        told += heic_problem(bytes(spoilt)) is not None
    assert told >= 7


def test_a_heic_whose_slice_ends_early_is_told_by_what_nobody_wrote(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bit that ends the slice, met too early: the decoder is content and part of the picture missing."""
    photo = Image.open(io.BytesIO(SOUND["HEIC"][1][3])).convert("L").resize((300, 400))
    out = io.BytesIO()
    photo.convert("RGB").save(out, "HEIF", quality=60, enc_params={"preset": "ultrafast"})  # one slice
    data, rng, told, other = out.getvalue(), random.Random(7), 0, 0
    sound = np.asarray(Image.open(io.BytesIO(data)).convert("L")).astype(int)
    for _ in range(200):
        spoilt = bytearray(data)
        spoilt[rng.randrange(len(data) // 6, len(data))] ^= 1 << rng.randrange(8)
        with monkeypatch.context() as before:
            before.setattr(hevc._Memory, "is_written", lambda _: True)
            if heic_problem(bytes(spoilt)) is not None:
                continue
        if heic_problem(bytes(spoilt)) is not None:
            told += 1
            continue
        shown = np.asarray(Image.open(io.BytesIO(bytes(spoilt))).convert("L")).astype(int)
        other += (np.abs(shown - sound) > 12).mean() > 1e-3
    assert told >= 1
    assert other <= 1


def test_a_heic_of_any_kind_of_colour_is_written_everywhere() -> None:
    for mode, size in (("L", (61, 47)), ("RGB", (130, 66)), ("RGB", (64, 64))):
        for chroma in (420, 422, 444):
            out = io.BytesIO()
            picture(mode).resize(size).save(out, "HEIF", chroma=chroma, enc_params={"preset": "ultrafast"})
            assert heic_problem(out.getvalue()) is None, (mode, size, chroma)


def test_a_row_of_a_heics_picture_that_begins_elsewhere_is_told() -> None:
    """H.265, 7.3.6.1: `entry_point_offset_minus1` says for each row of blocks where its bits begin."""
    data = SOUND["HEIC"][1][3]
    # Behind the unit's length and the first bytes of its header.
    offsets = data.index(b"mdat") + 4 + 4 + 6
    for at in range(offsets, offsets + 30, 6):
        assert heic_problem(data[:at] + bytes((data[at] ^ 0x55,)) + data[at + 1 :]) is not None


def test_without_the_decoders_library_lengths_alone_speak(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hevc, "_library", lambda: None)
    data = SOUND["HEIC"][1][0]
    assert heic_problem(data) is None
    assert heic_problem(data[:-9]) is not None


@pytest.mark.parametrize("kind", sorted(SOUND))
def test_nothing_that_a_file_says_breaks_the_check(kind: str) -> None:
    problem, datas = SOUND[kind]
    rng = random.Random(11)
    for data in datas:
        head = min(len(data), 700)
        for _ in range(60):
            spoilt = bytearray(data[: rng.choice((head, len(data)))])
            for _ in range(rng.choice((1, 4, 40))):
                spoilt[rng.randrange(4, head)] = rng.choice((0, 1, 0x7F, 0xFF, rng.randrange(256)))
            problem(bytes(spoilt))


@pytest.mark.skipif(not OPENS_AVIF, reason="this Pillow was built without AVIF")
def test_parts_of_an_avif_that_are_missing_or_have_other_lengths_are_told() -> None:
    """AV1, 5.3: each OBU says its type and its length, and they fill the item."""
    rng = random.Random(4)
    for data in SOUND["AVIF"][1]:
        start = data.index(b"mdat") + 4
        for _ in range(40):
            at, size = rng.randrange(start, len(data) - 10), rng.randrange(2, 9)
            assert avif_problem(data[:at] + data[at + size :]) is not None
        for bit in (0, 7):  # the reserved bit and the forbidden one
            spoilt = bytearray(data)
            spoilt[start] ^= 1 << bit
            assert avif_problem(bytes(spoilt)) is not None


@pytest.mark.skipif(not OPENS_AVIF, reason="this Pillow was built without AVIF")
def test_the_size_of_an_avif_is_told_by_its_boxes() -> None:
    """ISO/IEC 23008-12, 6.5.3: `ispe`."""
    assert [avif_size(data) for data in SOUND["AVIF"][1]] == [(320, 240)] * 3
    assert avif_size(b"\0\0\0\x10ftypavif\0\0\0\0") is None
