"""How the boxes of whole cards look to the digit network, kept to train the network of a card's own hand.

`tests/bench/collect_looks.py` makes the cards; `card_hand` learns from them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import Bools


@dataclass(frozen=True, slots=True)
class Looks:
    """Boxes with ink of many cards, as `hand_net.changes` is given them, with the truth.

    Attributes
    ----------
    looks : (N, D) half precision; said, ink (N, 12); checked (N,)
    answers : (N,) 0 to 9, 10 blank, 11 scrap
    cards : (N,) which card; whose (N,) whose hand
    """

    looks: NDArray[np.float16]
    said: NDArray[np.float32]
    ink: NDArray[np.float32]
    checked: Bools
    answers: NDArray[np.int8]
    cards: NDArray[np.int64]
    whose: NDArray[np.str_]

    def rows(self) -> list[NDArray[np.int64]]:
        """Return the rows of each card."""
        order = np.argsort(self.cards, kind="stable")
        _, starts = np.unique(self.cards[order], return_index=True)
        return np.split(order, starts[1:])


def save(parts: Sequence[Looks], path: Path) -> None:
    """Write the boxes of some cards; never half a file."""
    joined: dict[str, Any] = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Looks)
    }
    half = path.with_suffix(".part")
    with half.open("wb") as stream:
        np.savez(stream, **joined)
    half.replace(path)


def load(folder: Path) -> Looks:
    """All boxes of a folder of NPZ files."""
    held = [np.load(file) for file in sorted(folder.glob("*.npz"))]
    return Looks(*(np.concatenate([h[f.name] for h in held]) for f in fields(Looks)))
