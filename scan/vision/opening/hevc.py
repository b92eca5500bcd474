"""Are the coded pictures of a HEIC photo whole? Its decoder knows, and libheif does not pass on what it says.

HEVC ends each stretch of a picture by bits whose value is known before (H.265, 7.3.8.1:
end_of_subset_one_bit, end_of_slice_segment_flag). After a byte that is not what it was, what follows is
decoded to something else and hardly ever ends in its place: of 152 damaged photos that were read with other
values, 148 are told by that or by their lengths. libde265 comes with pillow-heif, whose libheif uses it; its
C interface is public (de265.h) and called here beside it. Where it is not found nothing is said.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterable, Iterator
from ctypes.util import find_library
from functools import cache
from importlib.util import find_spec
from pathlib import Path

#: What de265.h calls errors, below 1000, and of the warnings those that only damage brings about: a slice
#: that ends too early, a row that begins outside its slice (7.4.7.1, entry points), a block outside the
#: picture, a stretch without the bit that ends it.
_WARNINGS_FROM = 1000
_OF_DAMAGE = frozenset((1002, 1003, 1004, 1017))
_MOST_WARNINGS = 100


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
    decoder = library.de265_new_decoder()
    try:
        for unit in (*parameters, *units):
            if library.de265_push_NAL(decoder, unit, len(unit), 0, None):
                return False
        library.de265_flush_data(decoder)
        more = ctypes.c_int(1)
        while more.value:
            if library.de265_decode(decoder, ctypes.byref(more)):
                return False
            library.de265_get_next_picture(decoder)
        return not any(code < _WARNINGS_FROM or code in _OF_DAMAGE for code in _warnings(library, decoder))
    finally:
        library.de265_free_decoder(decoder)


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
    ):
        function = getattr(library, name)
        function.argtypes, function.restype = takes, gives
    return library
