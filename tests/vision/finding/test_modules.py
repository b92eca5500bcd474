"""Codes that a decoder of clean codes gives up on: white lines of a blocked nozzle, paleness near noise."""

from __future__ import annotations

import numpy as np
import pytest
import segno
import zxingcpp

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import PAPERS, QR_MODULES, arrange_codes
from shortpencil.forms.serials import split_code
from shortpencil.scan.vision.finding import modules
from shortpencil.scan.vision.finding.codes import CardCode, NoCode, _read_qr, read_code
from shortpencil.scan.vision.finding.corners import cards_of, find_marks
from tests.simulator.blanks import blank_card

PX_PER_MM = 8.0


def page_of(spoil) -> tuple[np.ndarray, str]:
    """A scanned blank card, its code spoilt; the text of the code."""
    blank = blank_card("round18", px_per_mm=PX_PER_MM)
    gray = np.array(blank.page)
    qr, plain = arrange_codes(PAPERS["a4"])
    rng = np.random.default_rng(5)
    part(gray, plain)[:] = 255  # nothing to fall back to
    part(gray, qr)[:] = spoil(part(gray, qr).astype(np.float64), rng)
    return gray, blank.serial


def part(gray: np.ndarray, box: Box) -> np.ndarray:
    x, y, right, bottom = (round(v * PX_PER_MM) for v in (box.x, box.y, box.right, box.bottom))
    return gray[y:bottom, x:right]


def banded(code: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """White lines, four in every ten rows of pixels and some more, as of nozzles that are blocked."""
    code[np.arange(len(code)) % 5 < 2] = 255
    code[rng.random(len(code)) < 0.15] = 255
    return code


def pale(code: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Modules 22 grey levels darker than paper, under noise of 24."""
    return np.clip(230 - 22 * (code < 128) + rng.normal(0, 24, code.shape), 0, 255)


@pytest.mark.parametrize("spoil", [banded, pale])
def test_a_code_that_the_decoder_gives_up_on_is_read_by_its_modules(spoil) -> None:
    gray, serial = page_of(spoil)
    (corners,) = cards_of(find_marks(gray))
    qr, _ = arrange_codes(corners.paper)
    assert _read_qr(gray, corners, qr.grown(2.0)) is None  # else this shows nothing
    code = read_code(gray, corners)
    assert isinstance(code, CardCode)
    assert (code.serial, code.how) == (serial, "qr")


def test_where_no_code_is_none_is_made_up() -> None:
    gray, _ = page_of(lambda code, rng: rng.uniform(0, 255, code.shape))
    (corners,) = cards_of(find_marks(gray))
    assert isinstance(read_code(gray, corners), NoCode)


def test_a_finder_pattern_is_that_of_the_standard() -> None:
    """As segno draws it, a library that follows ISO/IEC 18004."""
    symbol = np.array(segno.make("SHORTPENCIL", version=1, error="q", micro=False).matrix, np.float32)
    assert symbol.shape == (QR_MODULES, QR_MODULES)
    drawn = modules._finder()[
        modules.MODULE_PX // 2 :: modules.MODULE_PX, modules.MODULE_PX // 2 :: modules.MODULE_PX
    ]
    np.testing.assert_array_equal(drawn[1:, 1:], symbol[:8, :8])


def test_every_version_of_a_code_is_judged_by_its_check_sign() -> None:
    """A symbol of another text is decoded, and refused."""
    dark = np.array(segno.make("ANOTHER CODE", version=1, error="q", micro=False).matrix, bool)
    drawn = np.kron(np.where(dark, 0, 255), np.ones((modules.MODULE_PX,) * 2)).astype(np.uint8)
    codes = modules.clean_codes(np.pad(drawn, 7 * modules.MODULE_PX, constant_values=255))
    texts = {found.text for code in codes for found in zxingcpp.read_barcodes(code, is_pure=True)}
    assert "ANOTHER CODE" in texts
    assert all(split_code(text) is None for text in texts)
