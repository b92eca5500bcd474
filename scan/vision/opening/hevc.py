"""Are the coded pictures of a HEIC photo whole? Its decoder knows, and libheif does not pass on what it says.

HEVC ends each stretch of a picture by bits whose value is known before (H.265, 7.3.8.1:
end_of_subset_one_bit, end_of_slice_segment_flag). After a byte that is not what it was, what follows is
decoded to something else and hardly ever ends in its place: of 152 damaged photos that were read with other
values, 148 are told by that or by their lengths. The bit that ends a slice may be met too early, and then the
rest of the slice is decoded by nobody, without a warning: so the memory of the picture is filled before with
a pattern, and where that still stands nothing was decoded. Of 1,013 photos with one bit turned round, 46 were
other pictures and not told; 45 of them are by the pattern. libde265 comes with pillow-heif, whose libheif
uses it; its C interface is public (de265.h) and called here beside it. Where it is not found nothing is said.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterable, Iterator
from ctypes.util import find_library
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

#: What de265.h calls errors, below 1000, and of the warnings those that only damage brings about: a slice
#: that ends too early, a row that begins outside its slice (7.4.7.1, entry points), a block outside the
#: picture, a stretch without the bit that ends it.
_WARNINGS_FROM = 1000
_OF_DAMAGE = frozenset((1002, 1003, 1004, 1017))
_MOST_WARNINGS = 100

_BLOCK = 8  # the smallest that HEVC codes (H.265, 7.4.3.2.1: MinCbSizeY)
_ALIGNED = 64  # bytes, for any vector instruction
#: de265_chroma (of `enum de265_image_format`): by how much a plane of colour is narrower and lower.
_CHROMA = {1: None, 2: (2, 2), 3: (2, 1), 4: (1, 1)}


def is_whole(parameters: Iterable[bytes], units: Iterable[bytes]) -> bool:
    """Say whether a coded picture decodes without a sign of damage; True where that cannot be known.

    Parameters
    ----------
    parameters : the NAL units of its decoder configuration (video, sequence and picture parameter sets)
    units : the NAL units of the picture
    """
    library = _library()
    if library is None:
        return True
    decoder, memory = library.de265_new_decoder(), _Memory(library)
    try:
        library.de265_set_image_allocation_functions(decoder, ctypes.byref(memory.functions), None)
        for unit in (*parameters, *units):
            if library.de265_push_NAL(decoder, unit, len(unit), 0, None):
                return False
        library.de265_flush_data(decoder)
        more = ctypes.c_int(1)
        while more.value:
            if library.de265_decode(decoder, ctypes.byref(more)):
                return False
            library.de265_get_next_picture(decoder)
        damaged = any(code < _WARNINGS_FROM or code in _OF_DAMAGE for code in _warnings(library, decoder))
        return not damaged and memory.is_written()
    finally:
        library.de265_free_decoder(decoder)


class _Spec(ctypes.Structure):
    """`de265_image_spec`: what is asked for; lengths in pixels."""

    _fields_ = (
        *((name, ctypes.c_int) for name in ("format", "width", "height", "alignment")),
        *((name, ctypes.c_int) for name in ("crop_left", "crop_right", "crop_top", "crop_bottom")),
        *((name, ctypes.c_int) for name in ("visible_width", "visible_height")),
    )


_Pointer = ctypes.c_void_p
_Take = ctypes.CFUNCTYPE(ctypes.c_int, _Pointer, ctypes.POINTER(_Spec), _Pointer, _Pointer)
_GiveBack = ctypes.CFUNCTYPE(None, _Pointer, _Pointer, _Pointer)


class _Functions(ctypes.Structure):
    """`de265_image_allocation`."""

    _fields_ = (("get_buffer", _Take), ("release_buffer", _GiveBack))


class _Memory:
    """Where a decoder puts its pictures, filled before with the pattern; it must outlive the decoder."""

    def __init__(self, library: ctypes.CDLL) -> None:
        self._library = library
        self._kept: list[NDArray[np.uint8]] = []
        self._brightness: list[tuple[NDArray[np.uint8], int, int]] = []
        self.functions = _Functions(_Take(self._take), _GiveBack(lambda *_: None))

    def _take(self, _decoder: int, asked: ctypes._Pointer[_Spec], image: int, _: int) -> int:
        spec = asked.contents
        for channel in range(3):
            shrink = (1, 1) if channel == 0 else _CHROMA.get(spec.format, (1, 1))
            if shrink is None:
                break
            width, height = -(-spec.width // shrink[0]), -(-spec.height // shrink[1])
            bytes_a_value = 2 if self._library.de265_get_bits_per_pixel(image, channel) > 8 else 1
            stride = -(-width // _ALIGNED) * _ALIGNED
            held = np.empty(stride * height * bytes_a_value + 2 * _ALIGNED, np.uint8)
            at = -held.ctypes.data % _ALIGNED
            plane = held[at : at + stride * height * bytes_a_value].reshape(height, -1)
            self._kept.append(held)
            if channel == 0:
                plane[:] = _pattern(plane.shape)
                self._brightness.append((plane, width * bytes_a_value, height))
            self._library.de265_set_image_plane(image, channel, held.ctypes.data + at, stride, None)
        return 1

    def is_written(self) -> bool:
        """Say whether something was decoded everywhere in every picture."""
        for plane, width, height in self._brightness:
            rows, columns = height // _BLOCK * _BLOCK, width // _BLOCK * _BLOCK
            same = (plane == _pattern(plane.shape))[:rows, :columns]
            if same.reshape(rows // _BLOCK, _BLOCK, -1, _BLOCK).all(axis=(1, 3)).any():
                return False
        return True


@cache
def _random_bytes() -> NDArray[np.uint8]:
    """Return bytes that no block of a picture is decoded to by chance (one of 8 x 8 in 2 ** 512).

    Made when a HEIC photo comes: NumPy's generators take as long to load as a tenth of a photo to read.
    """
    return np.random.default_rng(0).integers(0, 256, 1 << 20, dtype=np.uint8)


def _pattern(shape: tuple[int, ...]) -> NDArray[np.uint8]:
    return np.resize(_random_bytes(), shape)


def _warnings(library: ctypes.CDLL, decoder: int) -> Iterator[int]:
    for _ in range(_MOST_WARNINGS):
        code = library.de265_get_warning(decoder)
        if code == 0:
            return
        yield int(code)


@cache
def _library() -> ctypes.CDLL | None:
    """Return libde265, the one that pillow-heif brought or else the system's, or None."""
    spec = find_spec("pillow_heif")
    beside = Path(spec.origin if spec is not None and spec.origin else ".").resolve().parents[1]
    found = [*beside.glob("pillow_heif*libs/libde265*"), *beside.glob("pillow_heif/.dylibs/libde265*")]
    for name in (*map(str, found), find_library("de265")):
        try:
            library = ctypes.CDLL(name) if name else None
            if library is not None:
                return _declared(library)
        except (OSError, AttributeError):
            continue
    return None


def _declared(library: ctypes.CDLL) -> ctypes.CDLL:
    """Tell what the functions take and give (de265.h, as of version 1.0)."""
    pointer = ctypes.c_void_p
    for name, takes, gives in (
        ("de265_new_decoder", [], pointer),
        ("de265_free_decoder", [pointer], ctypes.c_int),
        ("de265_push_NAL", [pointer, ctypes.c_char_p, ctypes.c_int, ctypes.c_int64, pointer], ctypes.c_int),
        ("de265_flush_data", [pointer], ctypes.c_int),
        ("de265_decode", [pointer, ctypes.POINTER(ctypes.c_int)], ctypes.c_int),
        ("de265_get_next_picture", [pointer], pointer),
        ("de265_get_warning", [pointer], ctypes.c_int),
        ("de265_set_image_allocation_functions", [pointer, pointer, pointer], None),
        ("de265_get_bits_per_pixel", [pointer, ctypes.c_int], ctypes.c_int),
        ("de265_set_image_plane", [pointer, ctypes.c_int, pointer, ctypes.c_int, pointer], None),
    ):
        function = getattr(library, name)
        function.argtypes, function.restype = takes, gives
    return library
