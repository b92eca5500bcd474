"""Files or bytes to grey pictures: the only module of the room that opens files.

Nothing is believed but the first bytes: the kind is told by them, the size in pixels by the header, and both
are checked before a single pixel is decoded. What is damaged is refused (`damage`).
Orientation tags are ignored on purpose: the card's corner marks say which way up it lies, and turning 12
megapixels costs as much as finding the marks. No metadata leaves this module.
"""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import read_bytes
from shortpencil.forms.shown import path_text
from shortpencil.scan.language import carried
from shortpencil.scan.vision.arrays import GrayImage
from shortpencil.scan.vision.opening.damage import (
    MOST_SCANS,
    JpegParts,
    jpeg_complaint,
    jpeg_parts,
    loses_thread,
    overheard,
    png_problem,
)
from shortpencil.scan.vision.opening.frames import (
    avif_problem,
    avif_size,
    heic_problem,
    tiff_problems,
    webp_problem,
)

if TYPE_CHECKING:
    from PIL.Image import Image
    from pypdfium2 import PdfDocument, PdfPage

#: A 108-megapixel phone sensor is the largest in common use; a bomb has thousands of megapixels.
MAX_PIXELS = 120_000_000
#: Of what must be decoded whole, in colour, before it can be made smaller: only a JPEG in one scan need not.
MAX_WHOLE_PIXELS = 60_000_000
#: Of an AVIF, whose decoder takes some 20 bytes a pixel, in the memory that a reading child has.
MAX_AVIF_PIXELS = 16_000_000
MAX_SIDE = 20_000
MAX_BYTES = 200_000_000
#: Above this a picture is decoded at half size at most: a card across 4000 pixels already has 13 px/mm.
HALVE_ABOVE_PIXELS = 20_000_000
QUARTER_ABOVE_PIXELS = 80_000_000
#: A JPEG is decoded smaller still, by its own halvings, as long as its longer side keeps so many pixels: a
#: sheet of A4 that fills three quarters of it can be read there. Where the marks turn out to be smaller than
#: that, it is decoded again (`Photo.finer`).
GLANCE_LONG_PX = 1800
#: Nobody photographs a sheet in a strip that is longer than so many times its width.
MOST_SIDES = 20
PDF_BEGINS_WITHIN = 1024  # bytes; some scanners and mail gateways write something before it
PDF_LONG_SIDE_PX = 2600  # about 220 dpi on A4
MAX_PAGES = 1000
GLANCE_PX = 200  # on a page as small as this a card is still many greys, and a blank page is one

NO_MEMORY = -4  # OpenCV's StsNoMem

#: What the first bytes say, and how to name it.
_KINDS = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"%PDF-", "PDF"),
)
_AVIF_BRANDS = (b"avif", b"avis")
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
KINDS_IN_WORDS = "JPEG, PNG, TIFF, WebP, HEIC, AVIF or PDF"
#: What is met now and then and not opened, so that a person sees what was taken for a photo.
_OTHERS = (
    (b"GIF8", carried("a GIF")),
    (b"BM", carried("a BMP")),
    (b"\x00\x00\x00\x0cjP  ", carried("a JPEG 2000")),
    (b"\xff\x4f\xff\x51", carried("a JPEG 2000")),
    (b"\x00\x00\x00\x0cJXL ", carried("a JPEG XL")),
    (b"\xff\x0a", carried("a JPEG XL")),
    (b"PK\x03\x04", carried("a ZIP archive")),
)


class PageError(InputError):
    """One page of a file cannot be read; those behind it may."""


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture: grey pixels and where they came from.

    `page` counts from 1 in files of several pages and is None otherwise. `sha256` is that of the whole file.
    `finer` decodes the same picture at twice the size or more, where there is more to see than in `gray`.
    """

    gray: GrayImage
    source: str
    sha256: str
    page: int | None = None
    finer: Callable[[], Photo] | None = field(default=None, compare=False, repr=False)


def load_photos(path: Path, start: int = 1) -> Iterator[Photo]:
    """Yield the pictures of a file, one a page for PDF and TIFF, from page `start` on.

    Raises
    ------
    InputError
        when the file is missing, no picture, cut off, or larger than this program will decode
    """
    yield from photos_from_bytes(read_bytes(path, MAX_BYTES, "a photo"), path_text(path), start)


def photos_from_bytes(data: bytes, source: str, start: int = 1) -> Iterator[Photo]:
    """Yield the pictures in `data`; see `load_photos`."""
    kind = _kind_of(data, source)
    digest = hashlib.sha256(data).hexdigest()
    if kind == "PDF":
        for page, gray in _pdf_pages(data, source, start):
            yield Photo(gray, source, digest, page)
        return
    if kind == "TIFF":
        for page, gray in _tiff_pages(data, source, start):
            yield Photo(gray, source, digest, page)
        return
    if start > 1:
        return
    if kind == "JPEG":
        yield _jpeg_photo(data, source, digest)
        return
    else:
        most = MAX_AVIF_PIXELS if kind == "AVIF" else MAX_WHOLE_PIXELS
        _check_size(_header_size(data, kind, source), source, most)
        gray = _heic(data, source) if kind == "HEIC" else _by_opencv(data, kind, source)
    yield Photo(gray, source, digest)


def _kind_of(data: bytes, source: str) -> str:
    if not data:
        raise InputError(f"{source}: expected a picture ({KINDS_IN_WORDS}), found an empty file.")
    for start, kind in _KINDS:
        if data.startswith(start):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        brand, others = data[8:12], data[16 : int.from_bytes(data[:4], "big")]
        if brand in _AVIF_BRANDS or (brand in (b"mif1", b"msf1") and b"avif" in others):
            return "AVIF"
        if brand in _HEIF_BRANDS:
            return "HEIC"
    found = next((other for start, other in _OTHERS if data.startswith(start)), carried("something else"))
    if found == "something else" and b"%PDF-" in data[:PDF_BEGINS_WITHIN]:
        return "PDF"
    raise InputError(
        f"{source}: expected a picture ({KINDS_IN_WORDS}), found {found}. Save the photo as a JPEG."
    )


def _header_size(data: bytes, kind: str, source: str) -> tuple[int, int]:
    """Width and height as the header says, without decoding."""
    from PIL import Image

    if kind == "AVIF":
        return _avif_size(data, source)
    if kind == "HEIC":
        _open_heif()
    limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None  # our own limit speaks, with our own words
    try:
        with Image.open(io.BytesIO(data)) as image:
            return image.size
    except MemoryError:
        raise
    except Exception as error:  # Pillow raises many kinds for one fact: the header is broken
        raise InputError(
            f"{source}: expected a {kind} picture, found a broken one ({_short(error)}). Copy it again."
        ) from error
    finally:
        Image.MAX_IMAGE_PIXELS = limit


def _avif_size(data: bytes, source: str) -> tuple[int, int]:
    """Return the size of the largest picture in an AVIF; refuse it where this OpenCV cannot read any."""
    # Pillow's decoder (dav1d) goes on over damage without a word; that of OpenCV (libaom) tells.
    if re.search(r"\bAVIF: +(?!NO)\S", cv2.getBuildInformation()) is None:
        raise InputError(
            f"{source}: expected a picture that can be opened here, found an AVIF, which the OpenCV that is"
            " installed cannot read. Save the photo as a JPEG."
        )
    size = avif_size(data)
    if size is None:
        raise _damaged(source, "AVIF", "its header does not say how large it is")
    return size


def _short(error: Exception) -> str:
    said = re.sub(r" ?<[\w.]+ object at 0x[0-9a-f]+>", "", str(error))  # of no use to anybody
    return " ".join(said.split())[:100]


def _check_size(size: tuple[int, int], source: str, most: int | None = None) -> None:
    width, height = size
    if max(size) > MOST_SIDES * min(size) > 0:
        raise InputError(
            f"{source}: expected the picture of a sheet, found a strip of {width} x {height} pixels. It was "
            "not opened."
        )
    most = min(MAX_PIXELS, most or MAX_PIXELS)
    if width * height > most or max(width, height) > MAX_SIDE:
        raise InputError(
            f"{source}: expected at most {most // 10**6} megapixels and {MAX_SIDE} pixels a side, found"
            f" {width} x {height}. It was not opened. Export it smaller."
        )


def _jpeg_photo(data: bytes, source: str, digest: str) -> Photo:
    """Return a JPEG at the smallest size that a card could be read at, and how to decode it finer."""
    parts = _sound_parts(data, source)
    finest = _part_of(parts.size[0] * parts.size[1])
    part = finest
    while part < 8 and max(parts.size) >= 2 * part * GLANCE_LONG_PX:
        part *= 2

    def finer() -> Photo:
        return Photo(_jpeg_at(data, source, parts, finest), source, digest)

    return Photo(_jpeg_at(data, source, parts, part), source, digest, finer=finer if part > finest else None)


def _jpeg(data: bytes, source: str) -> GrayImage:
    parts = _sound_parts(data, source)
    return _jpeg_at(data, source, parts, _part_of(parts.size[0] * parts.size[1]))


def _part_of(pixels: int) -> int:
    """Return by how much a picture is made smaller, down and across, however small its card is."""
    return 4 if pixels > QUARTER_ABOVE_PIXELS else 2 if pixels > HALVE_ABOVE_PIXELS else 1


def _sound_parts(data: bytes, source: str) -> JpegParts:
    parts = jpeg_parts(data)
    if parts.problem is not None:
        raise _damaged(source, "JPEG", parts.problem)
    if parts.scans > MOST_SCANS:
        raise InputError(
            f"{source}: expected a JPEG of at most {MOST_SCANS} scans, found {parts.scans}. "
            "Export it anew as a plain JPEG."
        )
    _check_size(parts.size, source, MAX_WHOLE_PIXELS if parts.progressive else None)
    if 0 in parts.size:
        raise _damaged(source, "JPEG", "its header does not say how large it is")
    return parts


_REDUCED = {
    1: cv2.IMREAD_GRAYSCALE,
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
}


def _jpeg_at(data: bytes, source: str, parts: JpegParts, part: int) -> GrayImage:
    """Return the grey pixels of a JPEG, `part` by `part` of them as one."""
    gray = _jpeg_pixels(data, source, parts, part)
    finest = _part_of(parts.size[0] * parts.size[1])
    lost = loses_thread(gray, parts.unit_rows, part)
    if lost and part > finest:  # the edge of a shadow, soft in the larger picture, may be a step in this one
        lost = loses_thread(_jpeg_pixels(data, source, parts, finest), parts.unit_rows, finest)
    if lost:
        raise _damaged(source, "JPEG", "from one place on all of it is brighter or darker")
    return gray


def _jpeg_pixels(data: bytes, source: str, parts: JpegParts, part: int) -> GrayImage:
    """Return the same, whether or not there is a step in them that damage leaves behind."""
    with overheard() as said:
        gray = _decoded(data, _REDUCED[part])
    complaint = jpeg_complaint(said.lines, data, parts.end)
    if gray is None or complaint is not None:
        raise _damaged(source, "JPEG", complaint or "it cannot be decoded")
    return gray


_PROBLEMS = {"PNG": png_problem, "WebP": webp_problem, "AVIF": avif_problem}


def _by_opencv(data: bytes, kind: str, source: str) -> GrayImage:
    """Return the grey pixels of a PNG, a WebP or an AVIF."""
    problem = _PROBLEMS[kind](data)
    if problem is not None:
        raise _damaged(source, kind, problem)
    width, height = _header_size(data, kind, source)
    halve = width * height > HALVE_ABOVE_PIXELS
    with overheard() as said:
        gray = None if halve else _on_white(data, kind)
        if gray is None:
            gray = _decoded(data, cv2.IMREAD_REDUCED_GRAYSCALE_2 if halve else cv2.IMREAD_GRAYSCALE)
    complaint = next((line for line in said.lines if "error" in line.lower()), None)
    if gray is None or complaint is not None:
        raise _damaged(source, kind, "it cannot be decoded")
    return gray


def _on_white(data: bytes, kind: str) -> GrayImage | None:
    """Return a picture that is in part transparent as on white paper, as of ink alone; None for any other.

    One that is transparent everywhere shows nothing that way; what lies behind is looked at then.
    """
    if not _may_be_transparent(data, kind):
        return None
    picture = _pixels(data, cv2.IMREAD_UNCHANGED)
    if picture is None or picture.ndim != 3 or picture.shape[2] != 4:
        return None
    most = np.iinfo(picture.dtype).max
    alpha = picture[:, :, 3]
    if alpha.min() == most or alpha.max() == 0:
        return None
    grey: NDArray[Any] = cv2.cvtColor(picture, cv2.COLOR_BGRA2GRAY)
    ink: NDArray[Any] = cv2.multiply(np.invert(grey), alpha, scale=1 / most)
    light: NDArray[Any] = np.invert(ink)
    return np.asarray(light if light.dtype == np.uint8 else light >> 8, np.uint8)


def _may_be_transparent(data: bytes, kind: str) -> bool:
    """Say whether a PNG (colour types 4 and 6, or tRNS) or a WebP (VP8X, VP8L) may have an alpha channel."""
    if kind == "PNG":
        return data[25:26] in (b"\x04", b"\x06") or b"tRNS" in data[33 : data.find(b"IDAT")]
    return kind == "WebP" and data[12:16] in (b"VP8X", b"VP8L")


def _decoded(data: bytes, mode: int) -> GrayImage | None:
    gray = _pixels(data, mode)
    return None if gray is None else np.asarray(gray, np.uint8)


def _pixels(data: bytes, mode: int) -> NDArray[Any] | None:
    try:
        return cv2.imdecode(np.frombuffer(data, np.uint8), mode | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error as error:
        if error.code == NO_MEMORY:
            raise MemoryError from error
        return None


def _damaged(source: str, kind: str, why: str, error: type[InputError] = InputError) -> InputError:
    return error(f"{source}: the {kind} picture is damaged or cut off: {why}. Copy the photo again.")


def _open_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _heic(data: bytes, source: str) -> GrayImage:
    from PIL import Image

    problem = heic_problem(data)
    if problem is not None:
        raise _damaged(source, "HEIC", problem)
    _open_heif()
    try:
        with Image.open(io.BytesIO(data)) as image:
            return _grey_of(image)
    except MemoryError:
        raise
    except Exception as error:  # the codec's own errors are many and undocumented
        if "C++ exception" in str(error):  # so libheif says that it got no memory
            raise MemoryError from error
        raise _damaged(source, "HEIC", _short(error)) from error


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


def _tiff_pages(data: bytes, source: str, start: int) -> Iterator[tuple[int, GrayImage]]:
    from PIL import Image

    _check_size(_header_size(data, "TIFF", source), source, MAX_WHOLE_PIXELS)
    problems = islice(tiff_problems(data), start - 1, None)
    try:
        with Image.open(io.BytesIO(data)) as image:
            # One after the other: to count the pages first would go through a chain that may be endless.
            for index in range(start - 1, MAX_PAGES + 1):
                try:
                    image.seek(index)
                except EOFError:
                    return
                if index == MAX_PAGES:
                    raise InputError(f"{source}: expected at most {MAX_PAGES} pages, found more. Split it.")
                _check_size(image.size, source, MAX_WHOLE_PIXELS)
                problem = next(problems, None)
                if problem is not None:
                    raise _damaged(source, "TIFF", problem, PageError)
                yield index + 1, _tiff_page(image, source)
    except (InputError, MemoryError):
        raise
    except Exception as error:  # Pillow raises many kinds for one fact
        raise _damaged(source, "TIFF", _short(error)) from error


def _tiff_page(image: Image, source: str) -> GrayImage:
    with warnings.catch_warnings(record=True) as warned, overheard() as said:
        warnings.simplefilter("always")
        gray = _grey_of(image)
    lines = [line for line in said.lines if "warning" not in line.lower()]  # of tags, not of pixels
    lines += [str(w.message) for w in warned if re.search("corrupt|truncated", str(w.message), re.I)]
    if any(line.strip() for line in lines):
        raise _damaged(source, "TIFF", lines[0].strip()[:100], PageError)
    return gray


#: What stands for a page that cannot be drawn: the other pages may still show cards.
_EMPTY_PAGE = np.full((64, 64), 255, np.uint8)


def _drawn(document: PdfDocument, index: int, source: str) -> GrayImage:
    """Grey picture of one page; an empty one when the page is broken.

    Raises
    ------
    PageError
        when a photo on it is damaged, which the drawing itself does not tell
    """
    import pypdfium2

    try:
        page = document[index]
        width, height = page.get_size()
        longest = max(width, height)
        # Nobody prints a card on a sheet of a hair's breadth.
        if not 1 <= longest < 1e5 or min(width, height) < longest / 20:
            return _EMPTY_PAGE
        _check_photos_on(page, source)
        glance = _rendered(page, GLANCE_PX / longest)
        pixels = _EMPTY_PAGE if glance.min() == glance.max() else _rendered(page, PDF_LONG_SIDE_PX / longest)
        page.close()
    except pypdfium2.PdfiumError:
        return _EMPTY_PAGE
    return pixels


def _check_photos_on(page: PdfPage, source: str) -> None:
    """Refuse a page on which a JPEG is damaged: what scans to PDF puts its photos there as they are."""
    from pypdfium2 import PdfiumError, raw

    for item in page.get_objects(filter=(raw.FPDF_PAGEOBJ_IMAGE,), max_depth=3):
        try:
            if item.get_filters(skip_simple=True) != ["DCTDecode"]:
                continue
            data = bytes(item.get_data(decode_simple=True))
        except (PdfiumError, UnicodeDecodeError):  # the name of a filter that is no text
            continue
        try:
            _jpeg(data, source)
        except InputError as error:
            raise PageError(str(error)) from error


def _rendered(page: PdfPage, scale: float) -> GrayImage:
    bitmap = page.render(scale=scale, grayscale=True)
    return np.ascontiguousarray(bitmap.to_numpy().reshape(bitmap.height, -1)[:, : bitmap.width], np.uint8)


def _pdf_pages(data: bytes, source: str, start: int) -> Iterator[tuple[int, GrayImage]]:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(data)
        count = len(document)
    except pypdfium2.PdfiumError as error:
        if "password" in str(error):
            raise InputError(
                f"{source}: expected a PDF that opens without a password, found one that does not. "
                "Save it again without one."
            ) from error
        raise InputError(
            f"{source}: expected a PDF, found one that is damaged, cut off or without a page. Save it again."
        ) from error
    try:
        if count > MAX_PAGES:
            raise InputError(f"{source}: expected at most {MAX_PAGES} pages, found {count}. Split the PDF.")
        for index in range(start - 1, count):
            yield index + 1, _drawn(document, index, source)
    finally:
        document.close()
