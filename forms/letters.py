"""How wide a text is in the card's own fonts, so that the layout knows before anything is drawn.

The advance widths are read from the font files themselves (tables `head`, `hhea`, `hmtx`, `cmap`), which
takes two milliseconds; the PDF library, which knows them too, takes fifty times as long to load.

References
----------
ISO/IEC 14496-22:2019 (Open Font Format): 5.2.1 `cmap` format 4, 5.2.3 `hhea`, 5.2.4 `hmtx`.
"""

from __future__ import annotations

import struct
from functools import cache
from importlib.resources import files

from shortpencil.forms.units import pt_to_mm

FONT_FILES = {False: "AtkinsonHyperlegibleNext-Regular.ttf", True: "AtkinsonHyperlegibleNext-Bold.ttf"}
#: Height of a capital as a share of the type size: `sCapHeight` of both fonts, rounded up.
CAP_HEIGHT = 0.68


def text_width_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return the width of one line of type in mm; letters that the font lacks count as wide ones."""
    widths, usual = _advances(bold)
    return pt_to_mm(sum(widths.get(ord(sign), usual) for sign in text) * size_pt)


@cache
def _advances(bold: bool) -> tuple[dict[int, float], float]:
    """Return width by character in shares of the type size, and the width of the widest capital."""
    data = files("shortpencil.forms.fonts").joinpath(FONT_FILES[bold]).read_bytes()
    tables = {}
    for i in range(struct.unpack_from(">H", data, 4)[0]):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * i)
        tables[tag] = offset
    per_em: int = struct.unpack_from(">H", data, tables[b"head"] + 18)[0]
    count: int = struct.unpack_from(">H", data, tables[b"hhea"] + 34)[0]

    def advance(glyph: int) -> float:
        units: int = struct.unpack_from(">H", data, tables[b"hmtx"] + 4 * min(glyph, count - 1))[0]
        return units / per_em

    widths = {code: advance(glyph) for code, glyph in _glyphs(data, tables[b"cmap"]).items()}
    return widths, widths[ord("W")]


def _glyphs(data: bytes, cmap: int) -> dict[int, int]:
    """Return glyph by character of the Basic Multilingual Plane, from the first subtable of format 4."""
    for i in range(struct.unpack_from(">H", data, cmap + 2)[0]):
        at = cmap + struct.unpack_from(">I", data, cmap + 4 + 8 * i + 4)[0]
        if struct.unpack_from(">H", data, at)[0] == 4:
            break
    else:
        raise ValueError("the card's font has no character map of format 4")
    segments = struct.unpack_from(">H", data, at + 6)[0] // 2

    def column(place: int, kind: str) -> tuple[int, ...]:
        # end codes, a pad of two bytes, start codes, deltas, range offsets
        start = at + 14 + 2 * segments * place + (2 if place else 0)
        return struct.unpack_from(f">{segments}{kind}", data, start)

    glyphs = {}
    rows = zip(column(0, "H"), column(1, "H"), column(2, "h"), column(3, "H"), strict=True)
    for n, (end, start, delta, offset) in enumerate(rows):
        for code in range(start, min(end, 0xFFFE) + 1):
            glyph = code
            if offset:
                place = at + 16 + 2 * segments * 3 + 2 * n + offset + 2 * (code - start)
                glyph = struct.unpack_from(">H", data, place)[0]
                if glyph == 0:
                    continue
            glyph = (glyph + delta) & 0xFFFF
            if glyph:
                glyphs[code] = glyph
    return glyphs
