"""Measures a reader on held-out digits in simulated photos: errors by kind, calibration, flags."""

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from scan.vision import calibration as cal
from scan.vision import digits
from scan.vision.training import bank as glyph_bank
from scan.vision.training import network, patches

BLANK = digits.ANSWERS.index("blank")

_BATCH = 400


@dataclass(frozen=True, slots=True)
class Cells:
    """Network inputs (N, 1, rows, cols) and what is truly in each cell (N,)."""

    views: NDArray[np.float32]
    truth: NDArray[np.int64]


@torch.no_grad()
def simulated_cells(
    bank: glyph_bank.Bank,
    images: int,
    some: slice,
    rounds: int,
    seed: int,
    share_good: float = patches.SHARE_GOOD,
) -> Cells:
    """Some pictures of the bank, `rounds` times each, with blanks, scrap and drawn digits beside."""
    dice = patches.Dice(bank.fields.device, seed)
    every = patches.choices(bank, images)
    choice = dataclasses.replace(every, digits=every.digits[some])
    images = len(choice.digits)
    n_digits = _BATCH - round(_BATCH * patches.SHARE_BLANK) - round(_BATCH * patches.SHARE_SCRAP)
    n_drawn = round(n_digits * patches.SHARE_DRAWN)
    views, truth = [], []
    for _ in range(rounds):
        order = choice.digits[torch.randperm(images, generator=dice.generator, device=bank.fields.device)]
        per_batch = n_digits - n_drawn
        for start in range(0, images - images % per_batch, per_batch):
            glyphs = torch.cat([order[start : start + per_batch], dice.pick(n_drawn, choice.drawn_digits)])
            made = patches.make(dice, bank, choice, _BATCH, glyphs, share_good)
            views.append(network.normalise(made.patches, patches.BOX_WIDTH_MM, made.box_h_mm).cpu().numpy())
            truth.append(made.answers.cpu().numpy())
    return Cells(np.concatenate(views), np.concatenate(truth))


@torch.no_grad()
def torch_scores(model: nn.Module, views: NDArray[np.float32]) -> NDArray[np.float32]:
    """Scores (N, 12) of a torch network, in float32."""
    model.eval()
    device = next(model.parameters()).device
    parts = [
        model(torch.from_numpy(views[k : k + 2000]).to(device)).cpu().numpy()
        for k in range(0, len(views), 2000)
    ]
    return np.concatenate(parts)


def figures(log_p: NDArray[np.floating], truth: NDArray[np.int64]) -> dict[str, Any]:
    """What is wrong and how sure it was, as numbers for digits.json and for print."""
    best = log_p.argmax(axis=1)
    confidence = np.exp(log_p.max(axis=1))
    right = best == truth
    is_digit, is_blank, is_scrap = truth < BLANK, truth == BLANK, truth > BLANK
    written = ~is_blank
    out: dict[str, Any] = {
        "cells": len(truth),
        "wrong_per_1000": round(1000 * float((~right).mean()), 3),
        "digit_wrong_per_1000": round(1000 * float((~right)[is_digit].mean()), 3),
        "digit_read_as_other_digit_per_1000": round(
            1000 * float((~right & (best < BLANK))[is_digit].mean()), 3
        ),
        "scrap_read_as_digit_per_1000": round(1000 * float((best < BLANK)[is_scrap].mean()), 3)
        if is_scrap.any()
        else None,
        "blank_read_as_written": f"{int((best != BLANK)[is_blank].sum())} of {int(is_blank.sum())}",
        "written_read_as_blank": f"{int((best == BLANK)[written].sum())} of {int(written.sum())}",
        "surprise_nats": round(cal.mean_surprise(log_p, truth), 5),
        "expected_calibration_error": round(cal.expected_calibration_error(confidence, right), 5),
    }
    for flagged in (0.0, 0.01, 0.02, 0.05):
        wrong, left = cal.error_after_flagging(confidence, right, flagged)
        out[f"wrong_at_{flagged:.0%}_flagged"] = f"{wrong} of {left}"
    return out
