"""Files to grey pictures: what is told by the first bytes, what is refused before decoding."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

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


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xd8\xff", b"GIF89a" + b"\0" * 50, b"RIFF\0\0\0\0WEBPVP8 ", b"%PDF-"]
)
def test_what_is_no_picture_is_said_so(data: bytes) -> None:
    with pytest.raises(InputError, match=r"expected|cut off|damaged"):
        list(photos_from_bytes(data, "x"))
