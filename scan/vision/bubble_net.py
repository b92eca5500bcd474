"""The small network that says what was done to each bubble of a card, in NumPy alone.

Two dense layers look at each bubble; what they found in all bubbles of the card together then helps to judge
each of them: one person filled, struck out and rubbed out with one pen, and one camera saw it. `bubbles.npz`
holds the weights, `bubbles.json` says what they were trained on (`scan.vision.training.bubbles`).
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

Weights = Mapping[str, NDArray[np.float32]]
Floats32 = NDArray[np.float32]

#: What was done to a bubble. "unclear" is what nobody should guess: a dot, a slash, a ring, a bit of scrap.
CLASSES = ("empty", "filled", "erased", "struck", "unclear")


@dataclass(frozen=True, slots=True)
class BubbleNet:
    """Weights, the shares (5,) of the classes that training weighed them by, and a temperature."""

    weights: Weights
    shares: NDArray[np.float64]
    temperature: float

    def log_likelihoods(self, views: Floats32, measures: Floats32, figures: Floats32) -> NDArray[np.float64]:
        """Return (N, 5): log p(class | ink of the card) / p(class), the likelihood up to a constant.

        Parameters
        ----------
        views : (N, 2 * 529) a bubble's ink, and by how much it exceeds that of blank ones of this card
        measures : (N, M) of it
        figures : (F,) of the card as a whole
        """
        logits = scores(self.weights, views, measures, figures).astype(np.float64) / self.temperature
        logits -= logits.max(axis=1, keepdims=True)
        logits -= np.log(np.exp(logits).sum(axis=1, keepdims=True))
        return np.asarray(logits - np.log(self.shares))


def scores(weights: Weights, views: Floats32, measures: Floats32, figures: Floats32) -> Floats32:
    """Return raw scores (N, 5) of the bubbles of one card."""
    w = weights
    seen = views @ w["views"] + measures @ w["measures"] + w["views_bias"]
    seen = np.maximum(np.maximum(seen, 0) @ w["flat"] + w["flat_bias"], 0)
    about = np.tanh((figures - w["mean"]) / w["scale"])
    first = _softmax(seen @ w["first"] + about @ w["first_card"] + w["first_bias"])
    shown = seen @ w["shown"]
    weight = first.sum(axis=0)
    # The usual look of each class on this card; where it does not occur, nothing.
    usual = (first.T @ shown) / (weight[:, None] + 1)
    of_card = np.concatenate([usual.ravel(), weight / len(views), np.log1p(weight) / 5, about])
    hidden = np.maximum(seen @ w["own"] + of_card @ w["card"] + w["own_bias"], 0)
    return np.asarray(hidden @ w["out"] + w["out_bias"], np.float32)


def _softmax(logits: Floats32) -> Floats32:
    e = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(e / e.sum(axis=1, keepdims=True), np.float32)


@functools.cache
def bubble_net() -> BubbleNet:
    """Return the network of this package."""
    here = files("scan.vision")
    about: dict[str, Any] = json.loads(here.joinpath("bubbles.json").read_text("utf-8"))
    if tuple(about["classes"]) != CLASSES:
        raise ValueError("bubbles.json was trained for other classes than this module knows")
    with here.joinpath("bubbles.npz").open("rb") as file, np.load(file) as data:
        weights = {name: data[name].astype(np.float32) for name in data.files}
    return BubbleNet(weights, np.array(about["shares"]), float(about["temperature"]))
