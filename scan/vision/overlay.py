"""What each step of reading saw, as pictures: a misread explains itself faster in a picture than in a log.

Returns arrays; whoever asks writes them to files.
"""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.geometry import Box
from shortpencil.scan.reading import CellReading
from shortpencil.scan.vision.arrays import GrayImage, shrunk
from shortpencil.scan.vision.finding.corners import model_corners
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM
from shortpencil.scan.vision.trace import Trace

Picture = NDArray[np.uint8]  # (H, W, 3), blue green red

# Blue, orange and grey keep apart for colour-blind eyes, and each goes with a shape or a text.
_READ, _ASK, _BLANK = (170, 90, 0), (0, 110, 230), (190, 190, 190)
_LONG_SIDE_PX = 1600


def explain(trace: Trace) -> dict[str, Picture]:
    """Return the pictures of one card by name, in the order of the steps."""
    pictures = {"1-found": _found(trace)}
    if trace.flat is not None:
        pictures["2-flat"] = _flat(trace)
    if trace.ink is not None:
        pictures["3-ink"] = _ink(trace)
    if trace.patches is not None and len(trace.patches):
        pictures["4-digits"] = _digits(trace)
    if trace.reading is not None and trace.reading.cells and trace.flat is not None:
        pictures["5-read"] = _read(trace)
    return pictures


def _colour(gray: GrayImage) -> Picture:
    return np.asarray(cv2.cvtColor(gray, cv2.COLOR_GRAY2BGR), np.uint8)


def _found(trace: Trace) -> Picture:
    scale = min(1.0, _LONG_SIDE_PX / max(trace.gray.shape))
    picture = _colour(shrunk(trace.gray, scale))
    if trace.corners is not None:
        for mark in trace.corners.marks.values():
            _polygon(picture, mark.corners * scale, _ASK, 3)
            at = (mark.corners.max(axis=0) * scale).astype(int)
            cv2.putText(picture, str(mark.id), (int(at[0]) + 4, int(at[1])), 0, 0.8, _ASK, 2, cv2.LINE_AA)
        paper = trace.corners.paper
        edge = np.array(
            [(0, 0), (paper.width_mm, 0), (paper.width_mm, paper.height_mm), (0, paper.height_mm)]
        )
        _polygon(picture, trace.corners.to_photo(edge) * scale, _READ, 2)
        for marker in trace.corners.marks:
            expected = trace.corners.to_photo(model_corners(paper, marker)) * scale
            _polygon(picture, expected, _READ, 1)
    if trace.registration is not None and trace.layout is not None:
        for stud in trace.layout.studs:
            x, y = trace.registration.to_photo(np.array([(stud.x, stud.y)]))[0] * scale
            cv2.circle(picture, (round(x), round(y)), 7, _READ, 2, cv2.LINE_AA)
    return np.asarray(picture, np.uint8)


def _polygon(picture: Picture, points: NDArray[np.float64], colour: tuple[int, int, int], width: int) -> None:
    cv2.polylines(
        picture, [np.round(points).astype(np.int32).reshape(-1, 1, 2)], True, colour, width, cv2.LINE_AA
    )


def _flat(trace: Trace) -> Picture:
    assert trace.flat is not None
    picture = _colour(trace.flat)
    if trace.layout is not None:
        for cell in trace.layout.cells:
            _outline(picture, cell.box, _READ, 1)
    return np.asarray(picture, np.uint8)


def _outline(picture: Picture, box: Box, colour: tuple[int, int, int], width: int) -> None:
    rows, columns = px_slice(box)
    cv2.rectangle(picture, (columns.start, rows.start), (columns.stop, rows.stop), colour, width, cv2.LINE_AA)


def _ink(trace: Trace) -> Picture:
    assert trace.ink is not None
    grey = (255 * (1 - np.clip(trace.ink.picture(), 0, 1))).astype(np.uint8)
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), np.uint8)


def _digits(trace: Trace) -> Picture:
    """All digit boxes as the network is given them, with what it says of each that is not blank."""
    assert trace.patches is not None
    assert trace.evidence is not None
    tile, per_row = 72, 18
    rows = -(-len(trace.patches) // per_row)
    sheet = np.full((rows * (tile + 20), per_row * tile, 3), 255, np.uint8)
    for i, (patch, log_p) in enumerate(zip(trace.patches, trace.evidence.digits.values(), strict=True)):
        y, x = (i // per_row) * (tile + 20), (i % per_row) * tile
        grey = (255 * (1 - np.clip(patch, 0, 1))).astype(np.uint8)
        sheet[y : y + tile, x : x + tile] = cv2.resize(grey, (tile, tile))[..., None]
        best = int(np.argmax(log_p))
        if best != 10:
            text = f"{'?' if best == 11 else best} {np.exp(log_p[best]):.2f}"
            colour = _READ if np.exp(log_p[best]) > 0.95 and best < 10 else _ASK
            cv2.putText(sheet, text, (x + 4, y + tile + 15), 0, 0.45, colour, 1, cv2.LINE_AA)
    return sheet


def _read(trace: Trace) -> Picture:
    """The flat card with what was read on it; what a person must look at in orange with a thick frame."""
    assert trace.flat is not None
    assert trace.layout is not None
    assert trace.reading is not None
    pale = 0.6 * trace.flat.astype(np.float32) + 0.4 * 255
    picture = _colour(pale.astype(np.uint8))
    fields = trace.reading.fields
    cells: Mapping[str, CellReading] = trace.reading.cells
    for cell in trace.layout.cells:
        reading = cells[cell.id]
        asked = reading.flag is not None or (cell.field in fields and fields[cell.field].flag is not None)
        if cell.kind == "words":
            if reading.value:
                _outline(picture, cell.box, _READ, 2)
            continue
        if asked:
            _outline(picture, cell.box.grown(0.8), _ASK, 3)
        if reading.value is None or reading.value is False:
            continue
        if cell.kind == "bubble":
            centre = (round(cell.box.centre.x * CARD_PX_PER_MM), round(cell.box.centre.y * CARD_PX_PER_MM))
            cv2.circle(picture, centre, round(cell.box.w * CARD_PX_PER_MM * 0.62), _READ, 3, cv2.LINE_AA)
        else:
            at = (round((cell.box.right - 1.6) * CARD_PX_PER_MM), round((cell.box.y + 2.4) * CARD_PX_PER_MM))
            cv2.putText(picture, str(reading.value), at, 0, 0.75, _ASK if asked else _READ, 2, cv2.LINE_AA)
    return np.asarray(picture, np.uint8)
