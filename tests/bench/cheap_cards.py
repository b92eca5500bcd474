"""Very many filled cards for little: a few sheets written on once, each printed with serial after serial.

A sheet is filled in by the simulator and kept as a grey picture; a card is that picture with a QR code of its
own and a little noise of its own, as a JPEG. Making one takes some 20 ms, reading it as long as any card of
its size. The plain line under the code is left white: nothing that has a code is read by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import PAPERS, QR_MODULE_MM, QR_QUIET_MODULES, arrange_codes
from shortpencil.forms.pdf import identify
from shortpencil.forms.serials import serial_from
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.rounds import cells_of, options_of
from tests.simulator.scenario import fill, round_answers, some_player, some_writer

DRAWN_PX_PER_MM = 8.0


@dataclass(frozen=True, slots=True)
class Base:
    """A sheet that was written on, without its code.

    Attributes
    ----------
    page : (H, W) grey raster of `px_per_mm` pixels to the mm
    truth : what each cell holds
    """

    page: NDArray[np.uint8]
    px_per_mm: float
    fingerprint: str
    truth: dict[str, Any]


def base_sheet(form: str, seed: int, px_per_mm: float) -> Base:
    """Return a sheet of a form filled in by some writer."""
    blank = blank_card(form, px_per_mm=DRAWN_PX_PER_MM)
    rng = np.random.default_rng(seed)
    writer = some_writer(rng, small_bank())
    cells = cells_of(blank.field_map)
    answers = {
        name: answer
        for name, answer in round_answers(blank.field_map, some_player(rng), seed).items()
        # "clean" is written by no mark where only misses are marked.
        if not isinstance(answer, str)
        or answer in options_of(name, cells[name])
        or cells[name][0]["kind"] != "bubble"
    }
    sheet = fill(
        blank.page,
        DRAWN_PX_PER_MM,
        blank.field_map,
        answers,
        writer,
        seed,
        bank=small_bank(),
        serial=blank.serial,
    )
    gray = cv2.cvtColor(sheet.rgb, cv2.COLOR_RGB2GRAY)
    scale = px_per_mm / DRAWN_PX_PER_MM
    page = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    for box in arrange_codes(PAPERS["a4"]):
        x, y, right, bottom = (round(v * px_per_mm) for v in (box.x, box.y, box.right, box.bottom))
        page[y:bottom, x:right] = 255
    return Base(np.asarray(page, np.uint8), px_per_mm, blank.fingerprint, dict(sheet.cells))


def serial_of(number: int) -> str:
    """Return the serial of the card of a number; all differ."""
    return serial_from(np.random.default_rng([number, 18]).bytes(16))


def card_jpeg(base: Base, serial: str, seed: int) -> bytes:
    """Return a base with the code of a serial and noise of its own."""
    rows = identify(serial, base.fingerprint).qr_rows
    code = np.array([[255 * (sign != "#") for sign in row] for row in rows], np.uint8)
    qr, _ = arrange_codes(PAPERS["a4"])
    scale = QR_MODULE_MM * base.px_per_mm
    left, top = ((place + QR_QUIET_MODULES * QR_MODULE_MM) * base.px_per_mm for place in (qr.x, qr.y))
    side = round(QR_QUIET_MODULES * scale + len(code) * scale)
    x, y = int(left), int(top)
    # Four times as fine, then averaged: edges fall between pixels as in a scan.
    fine = 4
    shift = np.array([[fine * scale, 0, fine * (left - x)], [0, fine * scale, fine * (top - y)]], np.float64)
    drawn = cv2.warpAffine(code, shift, (fine * side, fine * side), flags=cv2.INTER_NEAREST, borderValue=255)
    page = base.page.copy()
    page[y : y + side, x : x + side] = cv2.resize(drawn, (side, side), interpolation=cv2.INTER_AREA)
    spots = np.random.default_rng([seed, 3]).integers(-3, 4, (64, page.shape[1]), dtype=np.int16)
    noise = np.tile(spots, (page.shape[0] // 64 + 1, 1))[: page.shape[0]]
    noisy = np.clip(page + noise, 0, 255).astype(np.uint8)
    ok, data = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 80])
    assert ok
    return data.tobytes()
