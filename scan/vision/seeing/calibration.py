"""How far a probability can be believed: fitting it on held-out cells, and measuring it.

Scores of a network rank answers well and say too loudly how sure they are. One temperature sets that right on
average; a small share of doubt, spread over all answers, keeps a rare confident slip from ruling out the
truth for good, which matters because the joint decoder multiplies many cells. Both are fitted by likelihood
on cells that trained nothing.

References
----------
Guo, Pleiss, Sun, Weinberger 2017, "On calibration of modern neural networks", arXiv 1706.04599 (temperature,
and expected calibration error over bins of equal width).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Calibration:
    """log p = log((1 - doubt) softmax(score / temperature) + doubt shares)."""

    temperature: float
    doubt: float
    shares: tuple[float, ...]


def log_p(scores: NDArray[np.floating], calibration: Calibration) -> Floats:
    """Natural-log probabilities (N, K) of scores (N, K)."""
    cooled = scores.astype(np.float64) / calibration.temperature
    cooled = cooled - cooled.max(axis=1, keepdims=True)
    p = np.exp(cooled)
    p /= p.sum(axis=1, keepdims=True)
    mixed: Floats = np.log((1 - calibration.doubt) * p + calibration.doubt * np.asarray(calibration.shares))
    return mixed


def mean_surprise(log_probabilities: NDArray[np.floating], truth: NDArray[np.int64]) -> float:
    """Mean -log p of the truth, in nats."""
    return float(-log_probabilities[np.arange(len(truth)), truth].mean())


def fit(scores: NDArray[np.floating], truth: NDArray[np.int64], shares: tuple[float, ...]) -> Calibration:
    """The temperature and doubt with the least surprise on these cells.

    A grid, refined twice: the surface is smooth and shallow, and a grid can't fail.
    """
    log_t, log_d = 0.0, np.log(1e-3)
    wide_t, wide_d = np.log(3.0), np.log(100.0)
    for _ in range(4):
        tried = [
            (
                mean_surprise(log_p(scores, Calibration(float(np.exp(t)), float(np.exp(d)), shares)), truth),
                t,
                d,
            )
            for t in log_t + np.linspace(-wide_t, wide_t, 9)
            for d in log_d + np.linspace(-wide_d, wide_d, 9)
        ]
        _, log_t, log_d = min(tried)
        wide_t, wide_d = wide_t / 3, wide_d / 3
    return Calibration(round(float(np.exp(log_t)), 4), round(float(np.exp(log_d)), 7), shares)


def expected_calibration_error(
    confidence: NDArray[np.floating], right: NDArray[np.bool_], bins: int = 15
) -> float:
    """Mean distance between confidence and share of right answers, over bins of equal width."""
    number = np.minimum((confidence * bins).astype(int), bins - 1)
    total = 0.0
    for k in range(bins):
        here = number == k
        if here.any():
            total += here.sum() * abs(float(right[here].mean()) - float(confidence[here].mean()))
    return float(total / len(confidence))


def error_after_flagging(
    confidence: NDArray[np.floating], right: NDArray[np.bool_], flagged_share: float
) -> tuple[int, int]:
    """Wrong answers and answers left when the least sure share is put before a person."""
    order = np.argsort(confidence, kind="stable")
    left = order[round(flagged_share * len(order)) :]
    return int((~right[left]).sum()), len(left)
