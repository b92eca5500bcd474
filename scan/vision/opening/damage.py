"""What is wrong with the bytes of a picture, before and while they are decoded.

A decoder that meets damage guesses on: the picture comes out whole, with shifted or invented parts, and a
card in it can be read with other values. So a picture counts as damaged when its structure is, when a
checksum says so, when its decoder complains, or when it shows what only damage leaves.

References
----------
ITU-T T.81 (JPEG), annex B: markers, segments, restart markers in turn. W3C PNG, third edition, 5.3 and 5.4:
chunks and their CRC.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import GrayImage, median, medians

#: A progressive picture comes in some ten scans; each costs as much as a whole baseline picture.
MOST_SCANS = 40

_SOF = frozenset((*range(0xC0, 0xC4), *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0)))
_AFTER_A_SCAN = frozenset((0xC4, 0xD9, 0xDA, 0xDB, 0xDC, 0xDD, *range(0xE0, 0xF0), 0xFE))
#: In a scan's data FF is followed by 00 (a byte FF), by a restart marker or by FF (a filler).
_MARKER = re.compile(rb"\xff[^\x00\xff]")
_RESTARTS = range(0xD0, 0xD8)


@dataclass(frozen=True, slots=True)
class JpegParts:
    """What the markers of a JPEG file say.

    Attributes
    ----------
    problem : what is wrong with its structure, or None
    scans : how many times its coefficients are gone through
    progressive : whether all coefficients must be kept until the last scan
    unit_rows : rows of pixels that are coded together, 8 or more
    end : bytes up to its end marker; a phone may put a film behind it
    size : width and height in pixels, (0, 0) where its header does not say
    """

    problem: str | None
    scans: int = 0
    progressive: bool = False
    unit_rows: int = 8
    end: int = 0
    size: tuple[int, int] = (0, 0)


def jpeg_parts(data: bytes) -> JpegParts:
    """Walk through the markers of a JPEG file."""
    at, scans, progressive, unit_rows, size = 2, 0, False, 8, (0, 0)
    while True:
        if at + 4 > len(data):
            return JpegParts("it is cut off before its end")
        if data[at] != 0xFF:
            return JpegParts("there are bytes between its parts that belong to none")
        marker = data[at + 1]
        if marker == 0xFF:  # a filler
            at += 1
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if length < 2 or marker < 0xC0 or 0xD0 <= marker <= 0xD9:
            return JpegParts("its parts are out of order")
        if marker in _SOF:
            progressive = marker in (0xC2, 0xC6, 0xCA, 0xCE)
            frame = data[at + 4 : at + 2 + length]
            unit_rows = _unit_rows(frame)
            size = int.from_bytes(frame[3:5], "big"), int.from_bytes(frame[1:3], "big")  # T.81, B.2.2
        at += 2 + length
        if marker != 0xDA:
            continue
        scans += 1
        behind, in_turn = _behind_scan(data, at)
        if behind is None:
            return JpegParts("it is cut off before its end")
        if not in_turn:
            return JpegParts("parts of its picture are missing or out of order")
        at = behind
        if data[at + 1] == 0xD9:
            return JpegParts(None, scans, progressive, unit_rows, at + 2, size)
        if data[at + 1] not in _AFTER_A_SCAN:
            return JpegParts("there is a marker in its picture that belongs to none")


def _behind_scan(data: bytes, start: int) -> tuple[int | None, bool]:
    """Return where the marker behind a scan's data is, or None, and whether restarts come in turn."""
    restarts: list[int] = []
    for found in _MARKER.finditer(data, start):
        marker = data[found.start() + 1]
        if marker not in _RESTARTS:
            return found.start(), restarts == [n % 8 for n in range(len(restarts))]
        restarts.append(marker - _RESTARTS.start)
    return None, False


def _unit_rows(frame: bytes) -> int:
    """Return how many rows of pixels a frame's header says are coded together (T.81, A.2)."""
    count = frame[5] if len(frame) > 5 else 1
    heights = [frame[7 + 3 * n] & 15 for n in range(count) if len(frame) > 7 + 3 * n]
    return 8 * max(heights, default=1) if count > 1 else 8


#: The mean step, of at most 8 greys, from one edge of the picture to the other that counts as damage. 120
#: sound prints laid flat, whose lines are the worst case, reached 4.4 where 16 rows are coded together and
#: 6.9 where 8 are. Of 36 sample photos with a bit or some bytes turned round, no complaint of the decoder,
#: and over 5 % of their pixels off by more than 24, 34 came to more than these limits.
_STEP_GREY = 8.0
_STEP_LIMITS = ((16, 5.5), (4, 7.4))
#: All that follows is shifted alike, so damage shows in one row, seldom in two; the print of a small picture,
#: twice compressed, in several, nearly alike. So many times the third: of damaged samples 4 and more.
_ABOVE_OTHERS, _OTHERS = 2.0, 3
_LEAST_UNITS = 4
#: One difference shifts all that follows by as much, up to what white and black cut off. Where the step over
#: one edge is so many times that over the other, it is a stripe of a cloth that happens to end at both.
_UNLIKE = 4.0
#: And it is as much for all blocks: of 73 damaged samples at least 0.55 of them differ from the middle one by
#: less than half of it, or by 8 greys; of a cloth's pattern, which lay on the grid by chance, 0.25.
_ALL_ALONG = 0.45
#: And it lasts: so many units away from it the picture still is brighter or darker by this share of it. A
#: stripe of the table that ends at the units' edge is past by then: of 480 drawn cloths with stripes as high
#: as a row of units 54 still count as damaged, where all did; of 116 damaged photos that were told one no
#: longer is.
_AWAY, _LASTING = range(1, 3), 0.25


def loses_thread(gray: GrayImage, unit_rows: int, part: int = 1) -> bool:
    """Say whether a decoded JPEG shows the step that a wrong difference leaves behind without any complaint.

    Each block's brightness is coded as the difference to the block before it (T.81, F.1.1.5.1), so one that
    is misread shifts all that follow: across the lower edge of its row on its left, across the upper edge
    on its right.

    Parameters
    ----------
    gray : (height, width) as decoded, not turned
    unit_rows : pixels that are coded together, down and across
    part : by how much the picture was decoded smaller
    """
    limit = next((most for rows, most in _STEP_LIMITS if unit_rows >= rows), None)
    if limit is None:
        return False
    middle = _steps(gray, unit_rows // part)
    if not middle.size:
        return False
    both = _stepped(middle)
    if both.max(initial=0.0) <= limit:  # as of nearly all photos
        return False
    both = np.where(_one_step(middle), both, 0.0)
    steps = np.sort(both.max(axis=1))
    others = steps[-_OTHERS] if len(steps) >= _OTHERS else 0.0
    if steps[-1] <= limit or steps[-1] <= _ABOVE_OTHERS * others:
        return False
    row, column = np.unravel_index(int(both.argmax()), both.shape)
    along = np.concatenate([middle[row, column + _LEAST_UNITS :], middle[row + 1, : column + _LEAST_UNITS]])
    usual = median(along)
    near = np.abs(along - usual) < max(_STEP_GREY, abs(usual) / 2)
    if near.mean() <= _ALL_ALONG:
        return False
    return _lasts(gray, unit_rows // part, int(row) + 1, int(column) + _LEAST_UNITS, usual)


def _lasts(gray: GrayImage, side: int, row: int, column: int, step: float) -> bool:
    """Say whether the picture stays as much brighter or darker behind a step as the step is high.

    `row` and `column` are of the first unit that is shifted, `side` px wide and high. What lies two and three
    units on is set beside what lies as far before; where the picture ends before that, it stays.
    """
    height, units = gray.shape[0] // side, gray.shape[1] // side
    if row < _AWAY.stop or row + _AWAY.stop >= height:
        return True
    means = np.array(
        [
            gray[at * side : (at + 1) * side, : units * side].reshape(side, units, side).mean(axis=(0, 2))
            for at in range(row - _AWAY.stop, row + _AWAY.stop + 1)
        ]
    )
    here, least = _AWAY.stop, _LASTING * abs(step)
    for first, columns in ((here + 1, slice(0, column)), (here, slice(column, None))):
        change = np.mean([means[first + k] - means[first - 1 - k] for k in _AWAY], axis=0)[columns]
        if median(change) * np.sign(step) <= least:
            return False
    return True


def _steps(gray: GrayImage, unit_rows: int) -> NDArray[np.float64]:
    """Return the step (R, U) of each unit across its row's upper edge; empty where units are too few."""
    height, width = gray.shape
    units = width // unit_rows
    rows = (height - 2) // max(unit_rows, 1) - 1  # upper edges, that of the picture left out
    if unit_rows < 4 or rows < 2 or units < 2 * _LEAST_UNITS:
        return np.zeros((0, 0))
    before, above, below, behind = (
        gray[unit_rows + k :: unit_rows, : units * unit_rows][:rows] for k in (-2, -1, 0, 1)
    )
    # Twice the step over what the slopes on both sides let expect:
    # 2 * (below - above) - (above - before) - (behind - below).
    step = np.subtract(below, above, dtype=np.int16)
    step *= 3
    step += before
    step -= behind
    return _middle_of(step.reshape(-1, unit_rows)).reshape(rows, units) / 2


def _stepped(middle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far each row is stepped (R - 1, U - 8), from the fourth unit on.

    It is the mean step, of at most 8 greys, right of a unit across its row's upper edge and left of it across
    the lower one, the smaller of both.
    """
    right, left = _both_sides(np.clip(middle, -_STEP_GREY, _STEP_GREY))
    # Multiplied, since NumPy's `where` takes four times as long.
    return np.asarray(np.minimum(np.abs(right), np.abs(left)) * (right * left > 0))


def _one_step(middle: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Say of the same places whether both steps may be one."""
    right, left = (np.abs(side) for side in _both_sides(middle))
    return np.asarray(np.minimum(right, left) * _UNLIKE > np.maximum(right, left))


def _both_sides(steps: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean step (R - 1, U) right of each unit across a row's upper edge, and left of it across its lower."""
    units = steps.shape[1]
    total = np.cumsum(np.pad(steps, ((0, 0), (1, 0))), axis=1)
    at = np.arange(_LEAST_UNITS, units - _LEAST_UNITS)
    return (total[:-1, -1:] - total[:-1, at]) / (units - at), total[1:, at] / at


def _middle_of(values: NDArray[np.int16]) -> NDArray[np.float64]:
    """Median of each row of (N, M).

    By a network of exchanges (Batcher 1968, odd-even merge sort), each done for all rows at once: for rows
    this short it takes a tenth of the time that sorting each by itself takes.
    """
    if values.shape[1] & (values.shape[1] - 1):  # a picture sampled in threes; nobody makes them
        return np.asarray(medians(values), np.float64)
    lanes = list(np.ascontiguousarray(values.T))
    count = len(lanes)
    for i, j in _exchanges(count):
        lanes[i], lanes[j] = np.minimum(lanes[i], lanes[j]), np.maximum(lanes[i], lanes[j])
    return np.asarray((lanes[count // 2 - 1].astype(np.float64) + lanes[count // 2]) / 2)


@cache
def _exchanges(count: int) -> tuple[tuple[int, int], ...]:
    """Pairs of places to be put in order, one after the other, that sort `count`, a power of two, of them."""
    pairs = []
    size = 1
    while size < count:
        step = size
        while step >= 1:
            for first in range(step % size, count - step, 2 * step):
                for i in range(first, min(first + step, count - step)):
                    if i // (2 * size) == (i + step) // (2 * size):
                        pairs.append((i, i + step))
            step //= 2
        size *= 2
    return tuple(pairs)


def png_problem(data: bytes) -> str | None:
    """Return what is wrong with the chunks of a PNG file, or None: each carries a checksum."""
    at = 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        end = at + 12 + length
        if end > len(data):
            return "it is cut off before its end"
        if zlib.crc32(data[at + 4 : end - 4]) != int.from_bytes(data[end - 4 : end], "big"):
            return "the checksum of one of its parts does not fit"
        if data[at + 4 : at + 8] == b"IEND":
            return None
        at = end
    return "it is cut off before its end"


@dataclass(slots=True)
class Overheard:
    """What was written to standard error meanwhile, line by line."""

    lines: list[str] = field(default_factory=list)


_one_at_a_time = threading.Lock()


@contextmanager
def overheard() -> Iterator[Overheard]:
    """Catch what a decoder writes to standard error: libraries in C tell of damage nowhere else."""
    said = Overheard()
    with _one_at_a_time, tempfile.TemporaryFile() as stream:
        try:
            sys.stderr.flush()
            kept = os.dup(2)
        except (OSError, ValueError, AttributeError):  # nothing is open there: nothing can be heard
            yield said
            return
        os.dup2(stream.fileno(), 2)
        try:
            yield said
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            stream.seek(0)
            said.lines += stream.read(10_000).decode("utf-8", "replace").splitlines()


_EXTRA = re.compile(r"Corrupt JPEG data: (\d+) extraneous bytes before marker 0xd9")


def jpeg_complaint(lines: list[str], data: bytes, end: int) -> str | None:
    """Return what libjpeg complained of, or None; some cameras fill up with zeros before the end marker."""
    for line in lines:
        extra = _EXTRA.search(line)
        if extra and not any(data[max(end - 2 - int(extra.group(1)), 0) : end - 2]):
            continue
        if line.strip() and not line.lstrip().startswith("["):  # OpenCV's own log is of other things
            return line.strip()[:100]
    return None
