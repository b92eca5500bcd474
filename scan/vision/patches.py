"""Cuts digit boxes and strips for words out of the ink of a flat card."""

from __future__ import annotations

import cv2
import numpy as np

from forms.layout import Cell, Layout
from scan.vision.arrays import FloatImage, InkImage
from scan.vision.digits import PATCH_MARGIN_MM, PATCH_PX
from scan.vision.ink import px_slice
from scan.vision.rectify import CARD_PX_PER_MM

#: Ink share above which a strip counts as written on: a short word in a 50 mm strip covers about 1 %.
WRITTEN_SHARE = 0.004
_WRITTEN_INK = 0.22


def digit_patches(ink: InkImage, cells: list[Cell]) -> FloatImage:
    """Return (N, 48, 48) patches around digit boxes: side = box height + 2.4 mm, centred on the box."""
    patches = np.zeros((len(cells), PATCH_PX, PATCH_PX), np.float32)
    for i, cell in enumerate(cells):
        scale = (cell.box.h + PATCH_MARGIN_MM) * CARD_PX_PER_MM / PATCH_PX
        middle = cell.box.centre
        half = (PATCH_PX - 1) / 2
        to_ink = np.array(
            [
                [scale, 0, middle.x * CARD_PX_PER_MM - 0.5 - half * scale],
                [0, scale, middle.y * CARD_PX_PER_MM - 0.5 - half * scale],
            ]
        )
        patches[i] = cv2.warpAffine(
            ink,
            to_ink,
            (PATCH_PX, PATCH_PX),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
    return patches


def written_share(ink: InkImage, cell: Cell) -> float:
    """Return the share of a strip that is covered by ink, its line left out."""
    rows, columns = px_slice(cell.box.grown(-0.5))
    strip = ink[rows, columns]
    return float((strip > _WRITTEN_INK).mean()) if strip.size else 0.0


def cells_of_kind(layout: Layout, kind: str) -> list[Cell]:
    """Return the layout's cells of one kind, in its order."""
    return [cell for cell in layout.cells if cell.kind == kind]
