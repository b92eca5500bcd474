"""Measures a reader on held-out digits in simulated photos: errors by kind, calibration, flags."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from shortpencil.scan.vision.seeing import calibration as cal
from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.training import bank as glyph_bank
from shortpencil.scan.vision.training import network, patches

BLANK = digits.ANSWERS.index("blank")

_BATCH = 400


@dataclass(frozen=True, slots=True)
class Cells:
    """Network inputs (N, 1, rows, cols), what is truly in each cell (N,), and its glyph, -1: none."""

    views: NDArray[np.float32]
    truth: NDArray[np.int64]
    glyphs: NDArray[np.int64]


@torch.no_grad()
def simulated_cells(
    bank: glyph_bank.Bank,
    glyphs: NDArray[np.int64],
    seed: int,
    light: patches.Light = patches.ANY,
    only_pen: str | None = None,
) -> Cells:
    """Some digits of a bank, with blanks and scrap beside them, as far as a person could read them.

    Parameters
    ----------
    glyphs : (N,) which digits, each as often as it is named; the last ones that fill no batch are left out
    """
    device = bank.fields.device
    dice, choice = patches.Dice(device, seed), patches.choices(bank)
    order = torch.from_numpy(np.random.default_rng(seed).permutation(glyphs)).to(device)
    per_batch = _BATCH - round(_BATCH * patches.SHARE_BLANK) - round(_BATCH * patches.SHARE_SCRAP)
    order = order.repeat(-(-per_batch // max(len(order), 1)))  # once, or to fill one batch
    views, truth, shown = [], [], []
    for start in range(0, len(order) - per_batch + 1, per_batch):
        some = order[start : start + per_batch]
        made = patches.make(dice, bank, choice, _BATCH, some, light, only_pen)
        seen = made.legible
        view = network.normalise(made.patches, made.box_w_mm, made.box_h_mm)
        of_glyph = torch.full((_BATCH,), -1, dtype=torch.int64, device=device)
        of_glyph[:per_batch] = some
        views.append(view[seen].cpu().numpy())
        truth.append(made.answers[seen].cpu().numpy())
        shown.append(of_glyph[seen].cpu().numpy())
    return Cells(np.concatenate(views), np.concatenate(truth), np.concatenate(shown))


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
