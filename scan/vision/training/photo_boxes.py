"""Digit boxes cut by the reader itself out of whole simulated photos, ready to train and judge on.

`patches.make` draws a box and what happens to it, a step at a time; a whole photo goes through printer,
copier, folds, camera and file, and then through the reader's own finding, flattening and levelling of ink,
whose errors no drawing has. `tests/bench/collect_digits.py` makes the photos and cuts the boxes; here they
are kept, `photo_source` shows them to a network.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.evidence import ANSWER_SHARES

#: Ink is kept as bytes, so many to 1.
STEPS = 200


@dataclass(frozen=True, slots=True)
class PhotoBoxes:
    """Boxes as the digit network is given them.

    Attributes
    ----------
    patches : (N, 48, 48) ink in steps of 1/`STEPS`
    boxes_mm : (N, 2) width and height of the box
    answers : (N,) 0 to 9, 10 blank, 11 scrap
    legible : (N,) False where next to nothing of the writing came through: nobody can answer there
    hands, ways, marks : (N,) whose digit, which kind of photo, which trouble if any
    """

    patches: NDArray[np.uint8]
    boxes_mm: NDArray[np.float32]
    answers: NDArray[np.int8]
    legible: NDArray[np.bool_]
    hands: NDArray[np.str_]
    ways: NDArray[np.str_]
    marks: NDArray[np.str_]

    def some(self, which: NDArray[np.integer] | NDArray[np.bool_]) -> PhotoBoxes:
        """Some of the boxes."""
        return PhotoBoxes(*(getattr(self, f.name)[which] for f in fields(self)))


def joined(parts: Sequence[PhotoBoxes]) -> PhotoBoxes:
    """All boxes, in order."""
    return PhotoBoxes(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(PhotoBoxes)))


def save(boxes: PhotoBoxes, path: Path) -> None:
    """Write boxes; never half a file."""
    part = path.with_suffix(".part")
    with part.open("wb") as stream:
        np.savez(stream, **{f.name: getattr(boxes, f.name) for f in fields(PhotoBoxes)})
    part.replace(path)


def load(folder: Path) -> PhotoBoxes:
    """All boxes of a folder of NPZ files, in the order of their names."""
    parts = []
    for file in sorted(folder.glob("*.npz")):
        with np.load(file) as held:
            parts.append(PhotoBoxes(*(held[f.name] for f in fields(PhotoBoxes))))
    return joined(parts)


def as_shares(boxes: PhotoBoxes, count: int, seed: int) -> PhotoBoxes:
    """So many legible boxes whose answers have the shares `ANSWER_SHARES`, each at most once.

    Fewer when an answer has too few boxes; a card has many blank boxes and ones, and few nines.
    """
    rng = np.random.default_rng(seed)
    pools = [rng.permutation(np.flatnonzero(boxes.legible & (boxes.answers == a))) for a in range(12)]
    most = min(len(pool) / share for pool, share in zip(pools, ANSWER_SHARES, strict=True))
    count = min(count, int(most))
    which = [pool[: int(count * share)] for pool, share in zip(pools, ANSWER_SHARES, strict=True)]
    return boxes.some(np.sort(np.concatenate(which)))
