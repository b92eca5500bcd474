"""Files or bytes to grey pictures: the only module of the room that opens files.

Nothing is believed but the first bytes: the kind is told by them, the size in pixels by the header, and both
are checked before a single pixel is decoded. Orientation tags are ignored on purpose: the card's corner marks
say which way up it lies, and turning 12 megapixels costs as much as finding the marks. No metadata leaves
this module.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from forms.errors import InputError
from scan.vision.arrays import GrayImage

if TYPE_CHECKING:
    from PIL.Image import Image
    from pypdfium2 import PdfDocument

#: A 108-megapixel phone sensor is the largest in common use; a bomb has thousands of megapixels.
MAX_PIXELS = 120_000_000
MAX_SIDE = 20_000
MAX_BYTES = 200_000_000
#: Above this a picture is decoded at half size: a card across 4000 pixels already has 13 px/mm.
HALVE_ABOVE_PIXELS = 20_000_000
PDF_LONG_SIDE_PX = 2600  # about 220 dpi on A4
MAX_PDF_PAGES = 1000

#: What the first bytes say, and how to name it.
_KINDS = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"%PDF-", "PDF"),
)
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
KINDS_IN_WORDS = "JPEG, PNG, TIFF, WebP, HEIC or PDF"


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture: grey pixels and where they came from.

    `page` counts from 1 in files of several pages and is None otherwise. `sha256` is that of the whole file.
    """

    gray: GrayImage
    source: str
    sha256: str
    page: int | None = None


def load_photos(path: Path) -> Iterator[Photo]:
    """Yield the pictures of a file, one a page for PDF and TIFF.

    Raises
    ------
    InputError
        when the file is missing, no picture, cut off, or larger than this program will decode
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(
                f"{path}: expected a photo of at most {MAX_BYTES // 10**6} MB. Export it smaller."
            )
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}.") from error
    yield from photos_from_bytes(data, str(path))


def photos_from_bytes(data: bytes, source: str) -> Iterator[Photo]:
    """Yield the pictures in `data`; see `load_photos`."""
    kind = _kind_of(data, source)
    digest = hashlib.sha256(data).hexdigest()
    if kind == "PDF":
        for page, gray in _pdf_pages(data, source):
            yield Photo(gray, source, digest, page)
        return
    if kind == "TIFF":
        for page, gray in _tiff_pages(data, source):
            yield Photo(gray, source, digest, page)
        return
    _check_size(_header_size(data, kind, source), source)
    gray = _heic(data, source) if kind == "HEIC" else _decode(data, kind, source)
    yield Photo(gray, source, digest)


def _kind_of(data: bytes, source: str) -> str:
    if not data:
        raise InputError(f"{source}: expected a picture ({KINDS_IN_WORDS}), found an empty file.")
    for start, kind in _KINDS:
        if data.startswith(start):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp" and (data[8:12] in _HEIF_BRANDS):
        return "HEIC"
    raise InputError(f"{source}: expected a picture ({KINDS_IN_WORDS}), found something else.")


def _header_size(data: bytes, kind: str, source: str) -> tuple[int, int]:
    """Width and height as the header says, without decoding."""
    from PIL import Image

    if kind == "HEIC":
        _open_heif()
    limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None  # our own limit speaks, with our own words
    try:
        with Image.open(io.BytesIO(data)) as image:
            return image.size
    except Exception as error:  # Pillow raises many kinds for one fact: the header is broken
        raise InputError(f"{source}: expected a {kind} picture, found a broken one ({error}).") from error
    finally:
        Image.MAX_IMAGE_PIXELS = limit


def _check_size(size: tuple[int, int], source: str) -> None:
    width, height = size
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        raise InputError(
            f"{source}: expected at most {MAX_PIXELS // 10**6} megapixels and {MAX_SIDE} pixels a side, found"
            f" {width} x {height}. It was not opened. Export it smaller."
        )


def _decode(data: bytes, kind: str, source: str) -> GrayImage:
    if kind == "JPEG" and b"\xff\xd9" not in data[-65536:]:
        # Some decoders fill the missing part with grey, which would read as an unmarked card.
        raise InputError(f"{source}: the JPEG is cut off before its end. Copy the photo again.")
    width, height = _header_size(data, kind, source)
    mode = cv2.IMREAD_REDUCED_GRAYSCALE_2 if width * height > HALVE_ABOVE_PIXELS else cv2.IMREAD_GRAYSCALE
    try:
        gray = cv2.imdecode(np.frombuffer(data, np.uint8), mode | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error:
        gray = None
    if gray is None:
        raise InputError(f"{source}: the {kind} picture is damaged or cut off. Copy the photo again.")
    return np.asarray(gray, np.uint8)


def _open_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _heic(data: bytes, source: str) -> GrayImage:
    from PIL import Image

    _open_heif()
    try:
        with Image.open(io.BytesIO(data)) as image:
            return _grey_of(image)
    except Exception as error:  # the codec's own errors are many and undocumented
        raise InputError(f"{source}: the HEIC picture is damaged ({error}). Copy the photo again.") from error


def _grey_of(image: Image) -> GrayImage:
    """Grey pixels of a Pillow picture; transparency counts as white paper."""
    if image.mode in ("RGBA", "LA", "PA", "P"):
        from PIL import Image as images

        rgba = image.convert("RGBA")
        white = images.new("RGBA", rgba.size, "white")
        image = images.alpha_composite(white, rgba)
    if image.mode.startswith("I;16"):
        wide = np.asarray(image, np.float64)
        return np.clip(wide / 257.0, 0, 255).astype(np.uint8)
    return np.asarray(image.convert("L"), np.uint8)


def _tiff_pages(data: bytes, source: str) -> Iterator[tuple[int, GrayImage]]:
    from PIL import Image, ImageSequence

    _check_size(_header_size(data, "TIFF", source), source)
    try:
        with Image.open(io.BytesIO(data)) as image:
            for page, frame in enumerate(ImageSequence.Iterator(image), start=1):
                _check_size(frame.size, source)
                yield page, _grey_of(frame)
    except InputError:
        raise
    except Exception as error:  # Pillow raises many kinds for one fact
        raise InputError(f"{source}: the TIFF picture is damaged ({error}). Scan it again.") from error


#: What stands for a page that cannot be drawn: the other pages may still show cards.
_EMPTY_PAGE = np.full((64, 64), 255, np.uint8)


def _drawn(document: PdfDocument, index: int) -> GrayImage:
    """Grey picture of one page; an empty one when the page is broken."""
    import pypdfium2

    try:
        page = document[index]
        width, height = page.get_size()
        if not (0 < width < 1e5 and 0 < height < 1e5):
            return _EMPTY_PAGE
        bitmap = page.render(scale=PDF_LONG_SIDE_PX / max(width, height), grayscale=True)
        pixels = np.ascontiguousarray(bitmap.to_numpy().reshape(bitmap.height, -1)[:, : bitmap.width])
        page.close()
    except pypdfium2.PdfiumError:
        return _EMPTY_PAGE
    return np.asarray(pixels, np.uint8)


def _pdf_pages(data: bytes, source: str) -> Iterator[tuple[int, GrayImage]]:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(data)
        count = len(document)
    except pypdfium2.PdfiumError as error:
        raise InputError(
            f"{source}: expected a PDF that opens without a password, found one that does not ({error})."
        ) from error
    try:
        if count > MAX_PDF_PAGES:
            raise InputError(
                f"{source}: expected at most {MAX_PDF_PAGES} pages, found {count}. Split the PDF."
            )
        for index in range(count):
            yield index + 1, _drawn(document, index)
    finally:
        document.close()
