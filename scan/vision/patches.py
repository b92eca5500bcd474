"""Cuts digit boxes and strips for words out of the ink of a flat card."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from forms.layout import Cell, Layout
from scan.vision.arrays import Bools, FloatImage, Floats, InkImage
from scan.vision.digits import ANSWERS, PATCH_MARGIN_MM, PATCH_PX
from scan.vision.ink import px_slice, window

#: Ink share above which a strip counts as written on: a short word in a 50 mm strip covers about 1 %.
WRITTEN_SHARE = 0.004
_WRITTEN_INK = 0.22


def digit_patches(ink: InkImage, cells: list[Cell]) -> FloatImage:
    """Return (N, 48, 48) patches around digit boxes: side = box height + 2.4 mm, centred on the box."""
    if not cells:
        return np.zeros((0, PATCH_PX, PATCH_PX), np.float32)
    return np.stack([window(ink, c.box.centre, c.box.h + PATCH_MARGIN_MM, PATCH_PX) for c in cells])


@dataclass(frozen=True, slots=True)
class Writing:
    """How strongly this card's digit boxes are written on.

    Attributes
    ----------
    strength : (N,) ink of the darkest square millimetre inside each box
    floor : what a blank box of this card shows there: paper, noise, the edge of the outline
    level : what a written box shows there, or None where next to nothing is written
    """

    strength: Floats
    floor: float
    level: float | None

    @property
    def gain(self) -> float:
        """By how much to raise the ink before the network looks: 1 for usual pens, more for a faint one.

        The network was trained on pens from 0.25 up. A hard pencil leaves half of that; raised, it is an
        ordinary one.
        """
        return 1.0 if self.level is None or self.level >= 0.30 else min(0.42 / self.level, 4.0)

    def written(self) -> Bools:
        """Boxes in which there is certainly something, (N,): far above what the blank ones show."""
        return np.asarray(self.strength > max(2.2 * self.floor, self.floor + 0.05))


def writing_in(patches: FloatImage) -> Writing:
    """Return how strongly boxes are written on; at least half of a card's boxes are blank or nearly so."""
    inner = patches[:, 12:-12, 14:-14].reshape(len(patches), -1)
    strength = np.sort(inner, axis=1)[:, -26:].mean(axis=1).astype(np.float64)
    if not len(strength):
        return Writing(strength, 0.0, None)
    floor = float(max(np.median(np.sort(strength)[: max(len(strength) * 2 // 5, 1)]), 0.01))
    writing = Writing(strength, floor, None)
    written = strength[writing.written()]
    return replace(writing, level=float(np.median(written))) if len(written) >= 5 else writing


#: Where there is ink, blank is never believed beyond this: below the threshold of flags, so that it is asked.
_MOST_BLANK = 0.97


def not_blank(log_p: FloatImage, written: Bools) -> FloatImage:
    """Return the network's answers (N, 12) with "blank" held down where ink stands in the box.

    What is taken from it goes to "no digit". A stray mark is then asked about; a digit too faint for the
    network is not lost in silence.
    """
    blank, scrap = ANSWERS.index("blank"), ANSWERS.index("scrap")
    p = np.exp(log_p.astype(np.float64))
    excess = np.where(written, np.maximum(p[:, blank] - _MOST_BLANK, 0.0), 0.0)
    p[:, blank] -= excess
    p[:, scrap] += excess
    return np.asarray(np.log(np.maximum(p, 1e-30)), np.float32)


def written_share(ink: InkImage, cell: Cell) -> float:
    """Return the share of a strip that is covered by ink, its line left out."""
    rows, columns = px_slice(cell.box.grown(-0.5))
    strip = ink[rows, columns]
    return float((strip > _WRITTEN_INK).mean()) if strip.size else 0.0


def cells_of_kind(layout: Layout, kind: str) -> list[Cell]:
    """Return the layout's cells of one kind, in its order."""
    return [cell for cell in layout.cells if cell.kind == kind]
