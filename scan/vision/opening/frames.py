"""What WebP, TIFF, HEIC and AVIF say of the lengths and places of their parts, held against what is there.

None of the four carries a checksum, and their decoders guess on without a word. But each says how long its
parts are, and a part that is missing, doubled, moved or cut seldom leaves all of that true. What is turned
round within the coded picture of a HEIC or an AVIF is told by its decoder (`hevc`; libaom); that of a WebP
stays unseen.

References
----------
RFC 9649 (WebP container, 2.3 to 2.7), RFC 6386 (VP8, 9.1). TIFF 6.0, sections 2, 8 and 15, and technical note
2 on JPEG. ISO/IEC 14496-12 (boxes, 4.2; `iloc`, 8.11.3); ISO/IEC 14496-15 (length-prefixed NAL units); ITU-T
H.265 (NAL units, 7.3.1 and 7.4.2). AOMedia, *AV1 Bitstream & Decoding Process* (OBUs, 5.3 and 6.2).
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator, Mapping

from shortpencil.scan.vision.opening.damage import jpeg_parts
from shortpencil.scan.vision.opening.hevc import is_whole

CUT = "it is cut off before its end"
_MOST_PAGES = 1001
_MOST_ITEMS = 4096  # a phone's photo in tiles has some 50
_MOST_STRIPS = 100_000


# -- WebP ------------------------------------------------------------------------------------------------


def webp_problem(data: bytes) -> str | None:
    """Return what is wrong with the frame of a WebP file, or None."""
    end = int.from_bytes(data[4:8], "little") + 8
    if end > len(data):
        return CUT
    at, pictures, canvas, moves = 12, [], None, False
    while at + 8 <= end:
        name, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        part = data[at + 8 : at + 8 + length]
        if at + 8 + length > end or not name.isascii() or not name.decode().isprintable():
            return "its parts are longer or shorter than they say"
        if name in (b"VP8 ", b"VP8L"):
            pictures.append((name, part))
        moves |= name == b"ANMF"
        if name == b"VP8X" and length >= 10:
            canvas = tuple(int.from_bytes(part[i : i + 3], "little") + 1 for i in (4, 7))
        at += 8 + length + length % 2
    if end - at > 0:
        return "there are bytes between its parts that belong to none"
    if moves:
        return None
    if len(pictures) != 1:
        return f"expected one picture in it, found {len(pictures)}"
    return _webp_picture_problem(*pictures[0], canvas)


def _webp_picture_problem(name: bytes, part: bytes, canvas: tuple[int, ...] | None) -> str | None:
    """Return what is wrong with the head of the one picture in a WebP file."""
    if len(part) < 10:
        return CUT
    if name == b"VP8L":
        bits = int.from_bytes(part[1:5], "little")
        size = ((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
        sound = part[0] == 0x2F and bits >> 29 == 0
    else:
        tag = int.from_bytes(part[:3], "little")
        size = tuple(int.from_bytes(part[i : i + 2], "little") & 0x3FFF for i in (6, 8))  # type: ignore[assignment]
        first_part = tag >> 5
        sound = tag & 1 == 0 and part[3:6] == b"\x9d\x01\x2a" and first_part + 10 < len(part)
    if not sound or (canvas is not None and canvas != size):
        return "the head of its picture is none"
    return None


# -- TIFF ------------------------------------------------------------------------------------------------

#: Bytes of a value by its type, 1 to 13; BYTE, SHORT and LONG are how counts, offsets and sizes are written.
_TIFF_SIZES = dict(enumerate((1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4), start=1))
_TIFF_WHOLE = {1: "B", 3: "H", 4: "I"}
_RAW, _JPEG, _DEFLATE = 1, 7, (8, 32946)


def tiff_problems(data: bytes) -> Iterator[str | None]:
    """Yield what is wrong with the strips or tiles of each page of a TIFF file, in the order of its chain.

    It ends where the chain does, or cannot be followed any more.
    """
    order = ">" if data[:2] == b"MM" else "<"
    seen: set[int] = set()
    at = int.from_bytes(data[4:8], "big" if order == ">" else "little")
    while at and at not in seen and len(seen) < _MOST_PAGES and at + 2 <= len(data):
        seen.add(at)
        (count,) = struct.unpack_from(f"{order}H", data, at)
        end = at + 2 + 12 * count
        if end > len(data):
            return
        tags = _tiff_tags(data, order, at + 2, count)
        yield CUT if tags is None else _tiff_page_problem(data, tags)
        at = struct.unpack_from(f"{order}I", data, end)[0] if end + 4 <= len(data) else 0


def _tiff_tags(data: bytes, order: str, at: int, count: int) -> dict[int, tuple[int, ...]] | None:
    """Return the whole numbers of each tag; None when some lie outside the file."""
    tags: dict[int, tuple[int, ...]] = {}
    for entry in range(at, at + 12 * count, 12):
        tag, kind, many = struct.unpack_from(f"{order}HHI", data, entry)
        size, place = _TIFF_SIZES.get(kind, 0), entry + 8
        if size * many > 4:
            (place,) = struct.unpack_from(f"{order}I", data, place)
        if place + size * many > len(data):
            return None
        if kind in _TIFF_WHOLE and many <= _MOST_STRIPS:
            tags[tag] = struct.unpack_from(f"{order}{many}{_TIFF_WHOLE[kind]}", data, place)
    return tags


def _tiff_page_problem(data: bytes, tags: Mapping[int, tuple[int, ...]]) -> str | None:
    tiled = 324 in tags
    offsets, counts = (tags.get(tag) for tag in ((324, 325) if tiled else (273, 279)))
    if offsets is None or counts is None:
        return (
            None  # without counts a file is old, and none that a scanner of today writes: its decoder judges
        )
    if len(offsets) != len(counts):
        return "its list of parts is not whole"
    if any(offset + count > len(data) for offset, count in zip(offsets, counts, strict=True)):
        return CUT
    rows, row_bytes = _tiff_rows(tags)
    if tiled or not rows or not row_bytes:
        return None
    planes = 1 if _first(tags, 284, 1) == 1 else _first(tags, 277, 1)
    if len(offsets) < planes * len(rows):
        return "some of its parts are missing"
    kind = _first(tags, 259, 1)
    for offset, count, height in zip(offsets, counts, rows * planes, strict=False):
        part = data[offset : offset + count]
        if kind == _RAW and count < height * row_bytes:
            return "some of its parts are shorter than they say"
        if kind == _JPEG and (part[:2] != b"\xff\xd8" or jpeg_parts(part).problem is not None):
            return "a JPEG in it is damaged"
        if kind in _DEFLATE and not _unpacks(part, height * row_bytes):
            return "the checksum of one of its parts does not fit"
    return None


def _tiff_rows(tags: Mapping[int, tuple[int, ...]]) -> tuple[list[int], int]:
    """Return how many rows each strip of a plane holds, and the bytes of an unpacked row; none if untold."""
    width, height = _first(tags, 256, 0), _first(tags, 257, 0)
    each = min(_first(tags, 278, height) or height, height)
    samples = _first(tags, 277, 1) if _first(tags, 284, 1) == 1 else 1
    if not width or not each or height // each > _MOST_STRIPS:
        return [], 0
    # Colour may be kept at half the resolution (530), then a row of the file is none of the picture.
    if _first(tags, 262, 0) == 6 and _first(tags, 259, 1) != _JPEG:
        return [], 0
    rows = [min(each, height - top) for top in range(0, height, each)]
    return rows, (width * _first(tags, 258, 1) * samples + 7) // 8


def _first(tags: Mapping[int, tuple[int, ...]], tag: int, otherwise: int) -> int:
    values = tags.get(tag)
    return values[0] if values else otherwise


def _unpacks(part: bytes, size: int) -> bool:
    """Say whether a deflated part comes to an end that its checksum fits (RFC 1950)."""
    unpack = zlib.decompressobj()
    try:
        unpack.decompress(part, size + 1)
        if not unpack.eof:
            unpack.decompress(unpack.unconsumed_tail, 1)
    except zlib.error:
        return False
    return unpack.eof


# -- HEIC ------------------------------------------------------------------------------------------------

#: In a NAL unit these bytes may never stand: they would look like the start of the next (H.265, 7.4.2).
_NEVER_INSIDE = re.compile(rb"\x00\x00[\x00-\x02]")
_WITHIN = frozenset((b"iprp", b"ipco"))


def heic_problem(data: bytes) -> str | None:
    """Return what is wrong with the boxes and the coded pictures of a HEIC file, or None."""
    try:
        return _heic_problem(data)
    except (struct.error, IndexError):
        return "its list of parts is not whole"


def _heic_problem(data: bytes) -> str | None:
    parts = _meta_parts(data)
    if isinstance(parts, str):
        return parts
    configurations = _configurations(data, parts)
    for item, coded in _coded(data, parts, b"hvc1"):
        if coded is None:
            return CUT
        sizes, parameters = configurations.get(item, (4, []))
        units = _nal_units(coded, sizes)
        if not units or not all(map(_may_stand, units)) or (parameters and not is_whole(parameters, units)):
            return "a part of its picture is missing, out of order or not what it was"
    return None


def _meta_parts(data: bytes) -> dict[bytes, tuple[int, int]] | str:
    """Return where the boxes of a HEIC or an AVIF lie, by name, or what is wrong with them."""
    meta = next((box for box in _boxes(data, 0, len(data)) if box[0] == b"meta"), None)
    if meta is None or meta[2] > len(data):
        return CUT
    parts = _heic_parts(data, meta[1] + 4, meta[2])
    if parts is None:
        return "its parts are longer or shorter than they say"
    if b"iloc" not in parts or b"iinf" not in parts:
        return "its list of parts is not whole"
    return parts


def _coded(
    data: bytes, parts: Mapping[bytes, tuple[int, int]], kind: bytes
) -> Iterator[tuple[int, bytes | None]]:
    """Yield number and bytes of each item of a kind; None for bytes where any item lies beyond the file."""
    kinds = dict(_heic_items(data, *parts[b"iinf"]))
    for item, extents in _heic_places(data, *parts[b"iloc"]):
        if any(start + length > len(data) for start, length in extents):
            yield item, None
        elif kinds.get(item) == kind:
            yield item, b"".join(data[start : start + length] for start, length in extents)


def _configurations(
    data: bytes, parts: Mapping[bytes, tuple[int, int]]
) -> dict[int, tuple[int, list[bytes]]]:
    """Return bytes of a NAL unit's length and the parameter sets of each item (`ipma`, `ipco`, `hvcC`)."""
    if b"ipma" not in parts or b"ipco" not in parts:
        return {}
    properties = list(_boxes(data, *parts[b"ipco"]))
    start, end = parts[b"ipma"]
    wide_item, wide_index = data[start] > 0, data[start + 3] & 1
    at, found = start + 8, {}
    for _ in range(min(int.from_bytes(data[start + 4 : start + 8], "big"), _MOST_ITEMS)):
        if at >= end:
            break
        size = 4 if wide_item else 2
        item, count = int.from_bytes(data[at : at + size], "big"), data[at + size]
        at += size + 1
        for _ in range(count):
            index = int.from_bytes(data[at : at + 1 + wide_index], "big") & (0x7FFF if wide_index else 0x7F)
            at += 1 + wide_index
            if 0 < index <= len(properties) and properties[index - 1][0] == b"hvcC":
                found[item] = _configuration(data, properties[index - 1][1], properties[index - 1][2])
    return found


def _configuration(data: bytes, start: int, end: int) -> tuple[int, list[bytes]]:
    """Return bytes of a NAL unit's length and the parameter sets (ISO/IEC 14496-15, 8.3.3.1)."""
    at, sets = start + 23, []
    for _ in range(data[start + 22]):
        many = int.from_bytes(data[at + 1 : at + 3], "big")
        at += 3
        for _ in range(many):
            length = int.from_bytes(data[at : at + 2], "big")
            if at + 2 + length > end:
                raise IndexError
            sets.append(data[at + 2 : at + 2 + length])
            at += 2 + length
    return data[start + 21] % 4 + 1, sets


def _heic_parts(data: bytes, first: int, last: int) -> dict[bytes, tuple[int, int]] | None:
    """Return where the boxes of `meta` lie, by name; None when they do not fill it."""
    parts: dict[bytes, tuple[int, int]] = {}
    todo = [(first, last)]
    while todo:
        at, end = todo.pop()
        for name, start, stop in _boxes(data, at, end):
            parts.setdefault(name, (start, stop))
            if name in _WITHIN:
                todo.append((start, stop))
            at = stop
        if at != end:
            return None
    return parts


def _boxes(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, start of the contents and end of each box; the last may end beyond `end`."""
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, at)
        start = at + 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", data, start)
            start += 8
        elif size == 0 and end == len(data):  # to the end of the file, which no box inside another is
            size = end - at
        if size < start - at:
            return
        yield name, start, at + size
        at += size


def _heic_items(data: bytes, start: int, end: int) -> Iterator[tuple[int, bytes]]:
    """Yield number and kind of each item (`iinf`, `infe`)."""
    wide = data[start] > 0
    for name, inner, _ in _boxes(data, start + (8 if wide else 6), end):
        if name == b"infe" and data[inner] >= 2:
            number = 4 if data[inner] == 3 else 2
            yield (
                int.from_bytes(data[inner + 4 : inner + 4 + number], "big"),
                data[inner + 6 + number : inner + 10 + number],
            )


def _heic_places(data: bytes, start: int, end: int) -> Iterator[tuple[int, list[tuple[int, int]]]]:
    """Yield number and (start, length) of each extent of the items that lie in the file itself."""
    version = data[start]
    sizes = int.from_bytes(data[start + 4 : start + 6], "big")
    of_offset, of_length, of_base = sizes >> 12, sizes >> 8 & 15, sizes >> 4 & 15
    of_index = sizes & 15 if version else 0
    at = start + 6

    def number(size: int) -> int:
        nonlocal at
        if at + size > end:
            raise IndexError
        at += size
        return int.from_bytes(data[at - size : at], "big")

    for _ in range(min(number(4 if version == 2 else 2), _MOST_ITEMS)):
        item = number(4 if version == 2 else 2)
        method = number(2) & 15 if version else 0
        in_file = number(2) == 0 and method == 0
        base = number(of_base)
        extents = []
        for _ in range(min(number(2), _MOST_ITEMS)):
            number(of_index)
            extents.append((base + number(of_offset), number(of_length)))
        if in_file:
            yield item, extents


def _nal_units(coded: bytes, length_size: int) -> list[bytes]:
    """Return the units of a coded picture; none where they are not of the lengths it says."""
    at, units = 0, []
    while at < len(coded):
        length = int.from_bytes(coded[at : at + length_size], "big")
        at += length_size
        units.append(coded[at : at + length])
        if length < 3 or len(units[-1]) < length:
            return []
        at += length
    return units


def _may_stand(unit: bytes) -> bool:
    """Say whether a NAL unit has a head that may be, and holds nothing that none may hold."""
    # forbidden_zero_bit, nal_unit_type (48 and more are not of the standard), nuh_temporal_id_plus1
    if unit[0] & 0x80 or unit[0] >> 1 >= 48 or unit[1] & 7 == 0 or unit[-1] == 0:
        return False
    return _NEVER_INSIDE.search(unit) is None


# -- AVIF ------------------------------------------------------------------------------------------------

#: OBU types that there are (AV1, 6.2.2): 1 to 8, and padding.
_OBU_TYPES = frozenset((*range(1, 9), 15))


def avif_problem(data: bytes) -> str | None:
    """Return what is wrong with the boxes and the coded pictures of an AVIF file, or None."""
    try:
        parts = _meta_parts(data)
        if isinstance(parts, str):
            return parts
        for _, coded in _coded(data, parts, b"av01"):
            if coded is None:
                return CUT
            if not _obus_fill(coded):
                return "a part of its picture is missing, out of order or not what it was"
    except (struct.error, IndexError):
        return "its list of parts is not whole"
    return None


def avif_size(data: bytes) -> tuple[int, int] | None:
    """Return width and height of the largest picture that an AVIF file says it holds (`ispe`), or None."""
    try:
        parts = _meta_parts(data)
        if isinstance(parts, str) or b"ipco" not in parts:
            return None
        sizes = [
            struct.unpack_from(">II", data, start + 4)
            for name, start, _ in _boxes(data, *parts[b"ipco"])
            if name == b"ispe"
        ]
    except (struct.error, IndexError):
        return None
    return max(sizes, key=lambda size: size[0] * size[1], default=None)


def _obus_fill(coded: bytes) -> bool:
    """Say whether a coded picture is a row of OBUs, each of the length it says (AV1, 5.3)."""
    at = 0
    while at < len(coded):
        head = coded[at]
        extended, sized = head >> 2 & 1, head >> 1 & 1
        if head & 0x81 or head >> 3 & 15 not in _OBU_TYPES:
            return False
        at += 1 + extended
        if not sized:  # the last one may go on to the end
            return at < len(coded)
        length, shift = 0, 0
        while True:
            byte = coded[at]
            at += 1
            length |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                break
            if shift > 49:
                return False
        at += length
    return at == len(coded) > 0
