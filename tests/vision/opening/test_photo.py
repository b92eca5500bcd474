"""Files to grey pictures: what is told by the first bytes, what is refused before decoding."""

from __future__ import annotations

import io
import random
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, features
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.pdfgen.canvas import Canvas

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.opening import photo
from shortpencil.scan.vision.opening.photo import load_photos, photos_from_bytes


def encoded(kind: str, size: tuple[int, int] = (64, 48), **options: object) -> bytes:
    shade = np.tile(np.linspace(0, 255, size[0], dtype=np.uint8), (size[1], 1))
    out = io.BytesIO()
    Image.fromarray(shade).save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_the_kind_is_told_by_the_first_bytes_whatever_the_name(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "holiday.txt"
    path.write_bytes(encoded(kind))
    (found,) = load_photos(path)
    assert found.gray.shape == (48, 64)
    assert found.gray.dtype == np.uint8
    assert abs(int(found.gray[0, 0])) < 12
    assert int(found.gray[0, -1]) > 243


def test_the_orientation_tag_is_ignored() -> None:
    """Exif 2.32, tag 0x0112: 6 asks the viewer to turn the picture; the card's marks tell it better."""
    exif = Image.Exif()
    exif[0x0112] = 6
    (turned,) = photos_from_bytes(encoded("JPEG", exif=exif), "x")
    (plain,) = photos_from_bytes(encoded("JPEG"), "x")
    assert np.array_equal(turned.gray, plain.gray)


def test_transparency_is_white_paper() -> None:
    out = io.BytesIO()
    Image.new("LA", (8, 8), (0, 0)).save(out, "PNG")
    out2 = io.BytesIO()
    Image.new("LA", (8, 8), (0, 0)).save(out2, "TIFF")
    (found,) = photos_from_bytes(out2.getvalue(), "x")
    assert found.gray.min() == 255


def test_a_tiff_of_three_pages_gives_three_pictures() -> None:
    out = io.BytesIO()
    pages = [Image.new("1", (40, 30), value) for value in (0, 1, 0)]
    pages[0].save(out, "TIFF", save_all=True, append_images=pages[1:])
    assert [p.page for p in photos_from_bytes(out.getvalue(), "fax.tif")] == [1, 2, 3]


def test_too_many_pixels_are_refused_by_the_header(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo, "MAX_PIXELS", 1000)
    monkeypatch.setattr(photo.cv2, "imdecode", lambda *_: pytest.fail("decoded all the same"))
    for kind in ("JPEG", "PNG", "TIFF", "WEBP"):
        with pytest.raises(InputError, match="64 x 48"):
            list(photos_from_bytes(encoded(kind), "big"))


def test_a_large_photo_is_decoded_at_half_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo, "HALVE_ABOVE_PIXELS", 1000)
    (found,) = photos_from_bytes(encoded("JPEG"), "big")
    assert found.gray.shape == (24, 32)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_file_cut_off_anywhere_is_refused_not_filled_with_grey(kind: str, share: float) -> None:
    whole = encoded(kind, (640, 480))
    with pytest.raises(InputError, match=r"cut off|broken|damaged"):
        list(photos_from_bytes(whole[: int(len(whole) * share)], "cut"))


READS_AVIF = "avif (ver" in cv2.getBuildInformation()
WRITES_AVIF = features.check("avif")


def avif(mode: str, **options: object) -> bytes:
    small = np.random.default_rng(7).integers(60, 220, (24, 32, 3)).astype(np.uint8)
    out = io.BytesIO()
    picture = Image.fromarray(cv2.resize(small, (640, 480), interpolation=cv2.INTER_CUBIC)).convert(mode)
    picture.save(out, "AVIF", speed=8, quality=90, **options)
    return out.getvalue()


@pytest.mark.skipif(not (READS_AVIF and WRITES_AVIF), reason="OpenCV or Pillow without AVIF")
@pytest.mark.parametrize("mode", ["RGB", "L", "RGBA"])
def test_an_avif_is_opened_and_damage_in_its_picture_is_told(mode: str) -> None:
    whole = avif(mode)
    (photo,) = photos_from_bytes(whole, "x")
    with Image.open(io.BytesIO(whole)) as image:
        grey = np.asarray(image.convert("L")).astype(int)
    assert photo.gray.shape == (480, 640)
    assert np.abs(photo.gray - grey).mean() < 1.0  # against the other decoder
    rng = random.Random(11)
    start = whole.index(b"mdat") + 40
    for _ in range(20):
        spoilt = bytearray(whole)
        spoilt[rng.randrange(start, len(whole))] ^= 1 << rng.randrange(8)
        with pytest.raises(InputError, match="damaged or cut off"):
            list(photos_from_bytes(bytes(spoilt), "x"))


@pytest.mark.skipif(not WRITES_AVIF, reason="this Pillow was built without AVIF")
def test_a_large_avif_is_refused_before_it_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cv2, "imdecode", None)
    monkeypatch.setattr(
        cv2, "getBuildInformation", lambda: "    AVIF:                        avif (ver 1.4.2)"
    )
    monkeypatch.setattr(photo, "MAX_AVIF_PIXELS", 300_000)
    with pytest.raises(InputError, match=r"at most 0 megapixels .* found 640 x 480"):
        list(photos_from_bytes(avif("RGB"), "x"))


@pytest.mark.parametrize("brands", [b"avif____mif1", b"mif1____avif", b"avis____msf1"])
@pytest.mark.parametrize("says", ["    AVIF:                        NO", ""])
def test_an_avif_is_refused_with_a_way_out_where_none_can_be_read(
    brands: bytes, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cv2, "getBuildInformation", lambda: says)
    data = (8 + len(brands)).to_bytes(4, "big") + b"ftyp" + brands + bytes(100)
    with pytest.raises(InputError, match=r"found an AVIF, which .* cannot read. Save the photo as a JPEG"):
        list(photos_from_bytes(data, "x"))


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"GIF89a", "a GIF"),
        (b"BM" + bytes(30), "a BMP"),
        (b"\0\0\0\x0cJXL \r\n\x87\n", "a JPEG XL"),
        (b"\0\0\0\x0cjP  \r\n\x87\n", "a JPEG 2000"),
        (b"PK\x03\x04" + bytes(30), "a ZIP archive"),
        (b"hello", "something else"),
    ],
)
def test_what_is_not_opened_is_named_with_a_way_out(data: bytes, found: str) -> None:
    with pytest.raises(InputError, match=rf"found {found}\. Save the photo as a JPEG\."):
        list(photos_from_bytes(data, "x"))


def test_a_damaged_pdf_is_not_told_to_have_a_password() -> None:
    for data in (b"%PDF-1.4\n", b"%PDF-1.7\n" + bytes(range(256)) * 4):
        with pytest.raises(InputError, match=r"damaged, cut off or without a page. Save it again\.$"):
            list(photos_from_bytes(data, "x"))
    out = io.BytesIO()
    canvas = Canvas(out, encrypt=StandardEncryption("open sesame"))
    canvas.showPage()
    canvas.save()
    with pytest.raises(InputError, match="found one that does not"):
        list(photos_from_bytes(out.getvalue(), "x"))


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xd8\xff", b"GIF89a" + b"\0" * 50, b"RIFF\0\0\0\0WEBPVP8 ", b"%PDF-"]
)
def test_what_is_no_picture_is_said_so(data: bytes) -> None:
    with pytest.raises(InputError, match=r"expected|cut off|damaged"):
        list(photos_from_bytes(data, "x"))


@pytest.mark.parametrize("kind", ["PNG", "PNG 16", "WebP"])
def test_ink_alone_on_a_transparent_ground_is_ink_on_white_paper(kind: str) -> None:
    ink = np.zeros((40, 60, 4), np.uint8)  # black everywhere, and to be seen where it is not transparent
    ink[10:20, 10:30, 3] = 255
    ink[25:30, 10:30, 3] = 102
    wide = ink.astype(np.uint16) * 257 if kind == "PNG 16" else ink
    lossless = [cv2.IMWRITE_WEBP_QUALITY, 101] if kind == "WebP" else []  # above 100: without loss
    _, data = cv2.imencode(f".{kind.lower().split()[0]}", wide, lossless)
    (photo,) = photos_from_bytes(data.tobytes(), "ink")
    assert photo.gray[5, 5] == 255
    assert photo.gray[15, 20] == 0
    assert photo.gray[27, 20] == 153  # two fifths of black


def test_what_is_transparent_everywhere_shows_what_lies_behind() -> None:
    grey = np.full((40, 60, 4), 120, np.uint8)
    grey[:, :, 3] = 0
    _, data = cv2.imencode(".png", grey)
    (photo,) = photos_from_bytes(data.tobytes(), "behind")
    assert (photo.gray == 120).all()


@pytest.mark.parametrize("size", [(1, 20_000), (20_000, 1), (3, 61)])
def test_a_strip_is_no_picture_of_a_sheet(size: tuple[int, int]) -> None:
    with pytest.raises(InputError, match=f"found a strip of {size[0]} x {size[1]} pixels"):
        next(photos_from_bytes(encoded("PNG", size), "strip"))


def test_a_pdf_may_begin_behind_what_a_scanner_wrote_before_it() -> None:
    plain = encoded("PDF", (300, 400))
    (photo,) = photos_from_bytes(b"@PJL ENTER LANGUAGE = PDF\r\n" + plain, "scan")
    assert photo.page == 1
    with pytest.raises(InputError, match="found a ZIP archive"):
        next(photos_from_bytes(b"PK\x03\x04" + bytes(26) + plain, "zip"))


def test_what_is_said_of_a_broken_header_is_for_people() -> None:
    data = bytearray(encoded("PNG"))
    data[25] = 7  # a colour type that there is not
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    with pytest.raises(InputError, match=r"a broken one \(cannot identify image file\)"):
        next(photos_from_bytes(bytes(data), "x"))
