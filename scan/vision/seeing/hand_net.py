"""What the boxes of a card say of each other's digits, all being of one hand: a small network in NumPy alone.

It lays the boxes beside each other in a space of its own, a projection of the digit network's last layer in
which the same digit by the same hand lies close together, and weighs how alike a box is to what this card
holds to be its ones, its twos and so on, how many there are of each, and how sure the card is of them. What
comes out is by how much each answer for a box has become likelier. It learnt that from whole cards of many
hands, where the truth is known (`scan.vision.training.card_hand`), with the log loss of what is told
afterwards, so it says no more than came true there; and of that a part only is used, the share in
`hand.json`, as other hands showed to be best.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import Bools, Floats
from shortpencil.scan.vision.evidence import BLANK_BOX

Weights = Mapping[str, NDArray[np.float32]]

#: No answer gains or loses more than this, in natural-log odds.
MOST = 4.0
#: A kernel's sum and a count are never taken to be less than these, before their logarithm is.
LEAST_KERNEL, LEAST_COUNT = 1e-3, 0.05
#: Boxes of whose digit the card is less sure teach nothing.
LEAST_SURE = 0.5


def changes(weights: Weights, looks: Floats, said: Floats, ink: Floats, checked: Bools) -> Floats:
    """Return (N, 12) by how much each answer for each box of one card gains, as natural-log odds.

    Parameters
    ----------
    looks : (N, D) how each box looks to the digit network, of length 1
    said : (N, 12) log probabilities of the answers by ink, sums and habits
    ink : (N, 12) log likelihoods by the ink alone, each row summing to 1 as likelihoods
    checked : (N,) whether a sum checks the box
    """
    w = weights
    lies = looks @ w["project.weight"].T
    lies /= np.maximum(np.linalg.norm(lies, axis=1, keepdims=True), 1e-12)
    alike = _alike(w, lies, _teaching(w, said, checked))
    lead = said - said.max(axis=1, keepdims=True)
    ink_lead = ink - ink.max(axis=1, keepdims=True)
    count = alike.count
    features = np.concatenate(
        [
            alike.mean,
            alike.mean - alike.mean.max(axis=1, keepdims=True),
            alike.total / 3,
            np.clip(lead[:, :BLANK_BOX, None] / 5, -3, 0),
            np.clip(ink_lead[:, :BLANK_BOX, None] / 5, -3, 0),
            np.log1p(count)[..., None],
            (lead[:, :BLANK_BOX, None] == 0).astype(float),
            np.broadcast_to(w["klass"], (*count.shape, w["klass"].shape[1])),
        ],
        axis=2,
    )
    of_digits = _layers(w, "mlp", (0, 2, 4), features)[..., 0]
    best = lead[:, :BLANK_BOX].argmax(axis=1)
    every = np.stack([alike.mean, alike.total], axis=3).reshape(*count.shape, -1)
    of_best = np.concatenate(
        [every[np.arange(len(best)), best], np.clip(said[:, BLANK_BOX:] / 5, -3, 0)], axis=1
    )
    of_others = _layers(w, "other", (0, 2), of_best)
    found: Floats = MOST * np.tanh(np.concatenate([of_digits, of_others], axis=1) / MOST)
    return found


@dataclass(frozen=True, slots=True)
class _Alike:
    """How alike each box is to each digit of its card.

    Attributes
    ----------
    mean, total : (N, 10, K) logs, for K widths of a kernel: of an example, and of all together
    count : (N, 10) how many examples there are
    """

    mean: Floats
    total: Floats
    count: Floats


def _teaching(w: Weights, said: Floats, checked: Bools) -> Floats:
    """(N, 10) how much of an example each box is of each digit."""
    chance = np.exp(said[:, :BLANK_BOX])
    best = chance.max(axis=1)
    odds = best / np.maximum(1 - best, 1e-4) + 1e-4
    trust = w["trust"][0] + w["trust"][1] * checked + w["trust"][2] * np.log(odds) / 5
    taught: Floats = (1 / (1 + np.exp(-trust)) * (best > LEAST_SURE))[:, None] * chance
    return taught


def _alike(w: Weights, lies: Floats, taught: Floats) -> _Alike:
    cosines = lies @ lies.T
    count = taught.sum(axis=0) - taught  # no box is its own example
    means, totals = [], []
    for width in np.exp(w["log_beta"]):
        kernel = np.exp(width * (cosines - 1))
        np.fill_diagonal(kernel, 0.0)
        total = kernel @ taught + LEAST_KERNEL
        means.append(np.log(total / (count + LEAST_COUNT)))
        totals.append(np.log(total))
    return _Alike(np.stack(means, axis=2), np.stack(totals, axis=2), count)


def _layers(w: Weights, name: str, at: tuple[int, ...], x: Floats) -> Floats:
    for k in at:
        x = x @ w[f"{name}.{k}.weight"].T + w[f"{name}.{k}.bias"]
        x = x if k == at[-1] else _gelu(x)
    return x


def _gelu(x: Floats) -> Floats:
    """Gaussian error linear unit by its tanh form (Hendrycks and Gimpel 2016, arXiv 1606.08415)."""
    unit = x * x  # by NumPy's power a cube takes ten times as long
    unit *= 0.044715 * x
    unit += x
    unit *= np.sqrt(2 / np.pi)
    np.tanh(unit, out=unit)
    unit += 1
    unit *= 0.5 * x
    return unit


@functools.cache
def hand_net() -> tuple[Weights, float]:
    """Return this package's network, and what share of its changes is used."""
    here = files("shortpencil.scan.vision.seeing")
    about: dict[str, Any] = json.loads(here.joinpath("hand.json").read_text("utf-8"))
    with here.joinpath("hand.npz").open("rb") as file, np.load(file) as data:
        weights = {name: data[name].astype(np.float32) for name in data.files}
    return weights, float(about["share"])
