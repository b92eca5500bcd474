"""Digits of named writers: pictures and pen paths, split so that no writer is on two sides.

Two files of one collection (docs/accuracy.md names its sources and their licences). The pictures, NPZ:
`image` (N, 40, 40) uint8 with ink 0 to 255, its long side 32 px in the middle; `label`, `source`, `writer`
(N,). The pen paths of some of them, JSON packed with gzip: a list of `label`, `writer`, `strokes` (each a
list of x, y; x right, y down), `row` in the pictures.
"""

import gzip
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.errors import InputError

#: Writers kept for choosing constants, and for reporting: by number within their source; a source that is not
#: named here trains whole. Of the 83 hands 64 train, 8 tune and 11 report; the one hand of `hwd1000` is a
#: source of its own that trained nothing.
_TUNE = {"numbers": (4, 11, 17), "uji": (3, 13, 23, 33, 43)}
_REPORT = {"numbers": (2, 7, 12, 20), "uji": (5, 17, 29, 41, 47, 53), "hwd1000": (0,)}


@dataclass(frozen=True, slots=True)
class Hands:
    """Pictures (N, 40, 40) of digits, their labels, writers and sources (N,), rows in the file (N,)."""

    images: NDArray[np.uint8]
    labels: NDArray[np.int64]
    writers: NDArray[np.str_]
    sources: NDArray[np.str_]
    rows: NDArray[np.int64]


def part_of(writer: str) -> str:
    """Which part a writer belongs to: "train", "tune" or "report"."""
    source = "uji" if writer.startswith("uji") else writer.split("-", maxsplit=1)[0]
    tail = writer.removeprefix(source).lstrip("-").split("_")[0]
    number = int(tail)
    if number in _REPORT.get(source, ()):
        return "report"
    return "tune" if number in _TUNE.get(source, ()) else "train"


def load(file: Path, part: str) -> Hands:
    """The pictures of one part."""
    if not file.exists():
        raise InputError(f"{file}: expected the NPZ of digits by writer, found nothing.")
    with np.load(file) as held:
        writers = held["writer"].astype(str)
        rows = np.flatnonzero([part_of(writer) == part for writer in writers])
        return Hands(
            held["image"][rows],
            held["label"][rows].astype(np.int64),
            writers[rows],
            held["source"].astype(str)[rows],
            rows,
        )


def load_paths(file: Path, part: str) -> tuple[list[list[NDArray[np.float64]]], list[int], list[str]]:
    """The pen paths of one part: strokes of each digit, labels, writers."""
    if not file.exists():
        raise InputError(f"{file}: expected the packed JSON of pen paths, found nothing.")
    with gzip.open(file, "rt", encoding="utf-8") as stream:
        found = [digit for digit in json.load(stream) if part_of(digit["writer"]) == part]
    ways = [[np.asarray(s, np.float64).reshape(-1, 2) for s in digit["strokes"] if s] for digit in found]
    return ways, [int(digit["label"]) for digit in found], [str(digit["writer"]) for digit in found]


def even_weights(writers: NDArray[np.str_]) -> NDArray[np.float64]:
    """A weight for each digit, so that every writer counts the same; sums to 1."""
    _, which, counts = np.unique(writers, return_inverse=True, return_counts=True)
    weights: NDArray[np.float64] = 1.0 / counts[which]
    total: NDArray[np.float64] = weights / weights.sum()
    return total
