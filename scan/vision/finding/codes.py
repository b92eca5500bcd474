"""Which card this is: the QR code of the flattened crop, or the plain line beside it when that fails.

The code is looked for only where the corner marks say it lies: that takes a hundredth of the time of a search
in the whole photo, and no other code in the picture can be taken for it. Both ways end in a serial number
whose check sign must fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from shortpencil.forms.fiducials import CORNER_IDS
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import arrange_codes
from shortpencil.forms.serials import split_code, split_plain_code
from shortpencil.scan.vision.arrays import GrayImage
from shortpencil.scan.vision.finding.corners import Corners, fit_card
from shortpencil.scan.vision.finding.lens import through
from shortpencil.scan.vision.finding.modules import PX_PER_MM, clean_codes
from shortpencil.scan.vision.opening.levels import remapped

_SCALES_PX_PER_MM = (6.0, 10.0, 4.0)
#: Four marks that miss one flat card by less lie on one; else the code is looked for this far from where the
#: mark beside it has it.
_FLAT_MM, _BESIDE_MM = 0.4, 7.0
#: Two or three marks of a sheet tell less well where the code is, if it lies away from them.
_WITHOUT_A_MARK_MM = 18.0
#: Where modules are measured one by one, the crop reaches so far beyond the code's box.
_MODULES_AROUND_MM = 3.0


UNREADABLE_CODE = (
    "neither the QR code nor the number beside it can be read. Take the photo again, sharp and with the "
    "top right corner in view. Where the code itself is spoilt, type the number that is printed beside it: "
    "on the page under Photos, or with read --card"
)


@dataclass(frozen=True, slots=True)
class CardCode:
    """Serial and fingerprint of a card, and how they were read: "qr", "plain", or "typed" by a person."""

    serial: str
    fingerprint: str
    how: str


@dataclass(frozen=True, slots=True)
class NoCode:
    """No code could be read; `says` tells what was tried and what would help."""

    says: str


def read_code(gray: GrayImage, corners: Corners) -> CardCode | NoCode:
    """Return the code of a card whose corner marks were found."""
    qr, plain = arrange_codes(corners.paper)
    beside = None
    found = _read_qr(gray, corners, qr.grown(2.0))
    if found is None and (beside := _by_the_mark_beside(corners)) is not None:
        found = _read_qr(gray, beside, qr.grown(_BESIDE_MM))
    if found is None and len(corners.marks) < len(CORNER_IDS):
        found = _read_qr(gray, corners, qr.grown(_WITHOUT_A_MARK_MM))
    for seen in (corners, beside):
        if found is None and seen is not None:
            found = _read_by_modules(gray, seen, qr.grown(_MODULES_AROUND_MM))
    if found is not None:
        return CardCode(*found, how="qr")
    return _read_plain(gray, corners, plain)


def _by_the_mark_beside(corners: Corners) -> Corners | None:
    """The card as the mark beside the code alone shows it: on a bent sheet that is nearer the truth."""
    mark = corners.marks.get(CORNER_IDS[1])
    if mark is None or (len(corners.marks) == len(CORNER_IDS) and corners.error_mm < _FLAT_MM):
        return None
    transform, error = fit_card({mark.id: mark}, corners.paper)
    return Corners({mark.id: mark}, corners.paper, transform, error)


def _read_qr(gray: GrayImage, corners: Corners, box: Box) -> tuple[str, str] | None:
    import zxingcpp

    binarizers = (zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram)
    for scale in _SCALES_PX_PER_MM:
        picture = crop(gray, corners, box, scale)
        for version in _versions(picture):
            for binarizer in binarizers:
                if (parts := _decoded(version, binarizer=binarizer)) is not None:
                    return parts
    return None


def _read_by_modules(gray: GrayImage, corners: Corners, box: Box) -> tuple[str, str] | None:
    for code in clean_codes(crop(gray, corners, box, PX_PER_MM)):
        if (parts := _decoded(code, is_pure=True)) is not None:
            return parts
    return None


def _decoded(picture: GrayImage, **how: Any) -> tuple[str, str] | None:
    """Serial and fingerprint of a card's code in a picture, if the decoder finds one."""
    import zxingcpp

    only_qr = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    for result in zxingcpp.read_barcodes(picture, formats=only_qr, **how):
        parts = split_code(result.text)
        if parts is not None:
            return parts
    return None


def crop(gray: GrayImage, corners: Corners, box: Box, px_per_mm: float) -> GrayImage:
    """Return a flat picture of a part of the card, by what the corner marks alone say."""
    w, h = round(box.w * px_per_mm), round(box.h * px_per_mm)
    to_card = np.array([[1 / px_per_mm, 0, box.x], [0, 1 / px_per_mm, box.y], [0, 0, 1]])
    if corners.lens is not None:
        pixels = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).reshape(-1, 2).astype(np.float64)
        at = through(corners.lens, corners.card_to_photo @ to_card, pixels)
        return remapped(gray, at.reshape(h, w, 2).astype(np.float32))
    return np.asarray(
        cv2.warpPerspective(
            gray,
            corners.card_to_photo @ to_card,
            (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    )


def _versions(picture: GrayImage) -> tuple[GrayImage, ...]:
    """The crop as it is, then with stretched contrast, then sharpened: most codes need only the first."""
    stretched = cv2.normalize(picture, None, 0, 255, cv2.NORM_MINMAX)  # type: ignore[call-overload]
    soft = cv2.GaussianBlur(stretched, (0, 0), 2.0)
    sharp = cv2.addWeighted(stretched, 2.5, soft, -1.5, 0)
    return picture, np.asarray(stretched, np.uint8), np.asarray(sharp, np.uint8)


def _read_plain(gray: GrayImage, corners: Corners, box: Box) -> CardCode | NoCode:
    import pytesseract

    for scale, grow in ((14.0, 0.3), (20.0, 0.8), (10.0, 0.3)):
        picture = crop(gray, corners, box.grown(grow), scale)
        try:
            text = pytesseract.image_to_string(
                picture,
                config="--psm 7 -c tessedit_char_whitelist=-23456789ABCDEFGHJKMNPQRSTUVWXYZ",
                timeout=10,
            )
        except pytesseract.TesseractNotFoundError:
            return NoCode(
                "the QR code cannot be read, and the number printed beside it needs Tesseract, which is not "
                "installed. Install it (Debian: apt install tesseract-ocr), or take the photo again with the "
                "code in view"
            )
        except RuntimeError:  # Tesseract's own time-out
            continue
        parts = split_plain_code(text.strip())
        if parts is not None:
            return CardCode(*parts, how="plain")
    return NoCode(UNREADABLE_CODE)
