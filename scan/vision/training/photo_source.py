"""Boxes of photos as a stream to train on: answers in their shares, each box a little different."""

from __future__ import annotations

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.training.dice import PATCH_PX, Dice, col
from shortpencil.scan.vision.training.patches import MARGIN_MM, Batch
from shortpencil.scan.vision.training.photo_boxes import STEPS, PhotoBoxes

# What a box is moved by before it is shown again, so that few hundred thousand of them are not learnt by
# heart: less than registration errs by itself, and about what two photos of one card differ by.
_SHIFT_MM, _TURN, _SCALE, _GAIN, _NOISE = 0.1, 0.02, 0.025, 0.07, 0.012


class PhotoSource:
    """An endless stream of photo boxes, answers in the shares `ANSWER_SHARES`, each a little different."""

    def __init__(self, boxes: PhotoBoxes, device: torch.device) -> None:
        usable = boxes.some(boxes.legible)
        order = np.argsort(usable.answers, kind="stable")
        usable = usable.some(order)
        self._patches = torch.from_numpy(usable.patches).to(device)
        self._boxes = torch.from_numpy(usable.boxes_mm.astype(np.float32)).to(device)
        self._answers = torch.from_numpy(usable.answers.astype(np.int64)).to(device)
        counts = torch.bincount(self._answers, minlength=12)
        if int(counts.min()) == 0:
            raise ValueError(f"expected boxes with each of the 12 answers, found {counts.tolist()}")
        self._counts, self._starts = counts, counts.cumsum(0) - counts
        self._shares = torch.tensor(ANSWER_SHARES, device=device).cumsum(0)

    def __len__(self) -> int:
        return len(self._answers)

    def draw(self, dice: Dice, n: int) -> Batch:
        """So many boxes."""
        answer = torch.searchsorted(self._shares, dice.uniform(n, 0, 1) * self._shares[-1]).clamp(max=11)
        at = (self._starts[answer] + (dice.uniform(n, 0, 1) * self._counts[answer]).long()).clamp(
            max=len(self) - 1
        )
        sizes = self._boxes[at]
        ink = moved(dice, self._patches[at].float() / STEPS, sizes[:, 1])
        everything = torch.ones(n, dtype=torch.bool, device=ink.device)
        return Batch(ink, self._answers[at], sizes[:, 1], sizes[:, 0], everything)


def moved(dice: Dice, ink: Tensor, box_h_mm: Tensor) -> Tensor:
    """Patches (N, 48, 48) shifted, turned, scaled, made paler or darker and noisier, each a little."""
    n = len(ink)
    per_mm = 2 / (box_h_mm + MARGIN_MM)
    turn, scale = _TURN * dice.normal(n), 1 + _SCALE * dice.normal(n)
    theta = torch.zeros(n, 2, 3, device=ink.device)
    theta[:, 0, 0] = theta[:, 1, 1] = scale
    theta[:, 0, 1], theta[:, 1, 0] = -turn, turn
    for axis in (0, 1):
        theta[:, axis, 2] = _SHIFT_MM * dice.normal(n).clamp(-2.5, 2.5) * per_mm
    grid = functional.affine_grid(theta, [n, 1, PATCH_PX, PATCH_PX], align_corners=False)
    ink = functional.grid_sample(ink[:, None], grid, padding_mode="border", align_corners=False)[:, 0]
    ink = ink * col(torch.exp(_GAIN * dice.normal(n)))
    ink = ink + col(dice.uniform(n, 0, _NOISE)) * dice.normal(n, PATCH_PX, PATCH_PX)
    return ink.clamp(0.0, 1.2)
