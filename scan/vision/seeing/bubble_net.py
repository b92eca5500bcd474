"""The small network that says what was done to each bubble of a card, in NumPy alone.

Two convolutions and a dense layer look at each bubble; what they found in all bubbles of the card together
then helps to judge each of them: one person filled, struck out and rubbed out with one pen, and one camera
saw it. `bubbles.npz` holds the weights, `bubbles.json` says what they were trained on
(`scan.vision.training.bubbles`).
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

from shortpencil.scan.vision.seeing.convolving import Memory, SideBySide

Weights = Mapping[str, NDArray[np.float32]]
Floats32 = NDArray[np.float32]

#: What was done to a bubble. "unclear" is what nobody should guess: a dot, a slash, a ring, a bit of scrap.
CLASSES = ("empty", "filled", "erased", "struck", "unclear")

#: Side of a view in px; kernel, stride and padding of the two convolutions, and the sides they lead to.
VIEW_PX = 23
KERNELS, STRIDE, SIDES = (5, 3), 2, (12, 6)
#: Bubbles looked at in one go, at most: their windows then stay in the processor's cache. 354 of them take
#: 5.3 ms by 16, 4.3 by 32, 4.1 by 48, 6.0 by 60.
_AT_ONCE = 48


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
    memory = Memory()  # of one call: several threads may ask
    size = max(-(-len(views) // max(-(-len(views) // _AT_ONCE), 1)), 1)
    parts = (views[k : k + size] for k in range(0, len(views), size))
    seen = np.concatenate([_looked_at(w, part, memory) for part in parts])
    seen += measures @ w["measures"]
    np.maximum(seen, 0, out=seen)
    about = np.tanh((figures - w["mean"]) / w["scale"])
    before = seen @ w["first"] + about @ w["first_card"] + w["first_bias"]
    first = _softmax(np.asarray(before, np.float32))
    shown = seen @ w["shown"]
    weight = first.sum(axis=0)
    # The usual look of each class on this card; where it does not occur, nothing.
    usual = (first.T @ shown) / (weight[:, None] + 1)
    of_card = np.concatenate([usual.ravel(), weight / len(views), np.log1p(weight) / 5, about])
    hidden = np.maximum(seen @ w["own"] + of_card @ w["card"] + w["own_bias"], 0)
    return np.asarray(hidden @ w["out"] + w["out_bias"], np.float32)


def _looked_at(w: Weights, views: Floats32, memory: Memory) -> Floats32:
    """What the convolutions and the dense layer make of some views, (n, FLAT), before its threshold."""
    n, places = len(views), SIDES[1] ** 2
    squares = views.T.reshape(-1, VIEW_PX, VIEW_PX, n)
    wide = SideBySide(w["conv1"], w["conv1_bias"], STRIDE, KERNELS[0]).of(squares, "wide", memory)
    deep = SideBySide(w["conv2"], w["conv2_bias"], STRIDE, KERNELS[1]).of(wide, "deep", memory)
    channels = len(deep)
    by_channel = w["flat"].reshape(places, channels, -1).transpose(1, 0, 2).reshape(places * channels, -1)
    return np.asarray(deep.reshape(places * channels, n).T @ by_channel + w["flat_bias"], np.float32)


def _softmax(logits: Floats32) -> Floats32:
    e = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(e / e.sum(axis=1, keepdims=True), np.float32)


@functools.cache
def bubble_net() -> BubbleNet:
    """Return the network of this package."""
    here = files("shortpencil.scan.vision.seeing")
    about: dict[str, Any] = json.loads(here.joinpath("bubbles.json").read_text("utf-8"))
    if tuple(about["classes"]) != CLASSES:
        raise ValueError("bubbles.json was trained for other classes than this module knows")
    with here.joinpath("bubbles.npz").open("rb") as file, np.load(file) as data:
        weights = {name: data[name].astype(np.float32) for name in data.files}
    return BubbleNet(weights, np.array(about["shares"]), float(about["temperature"]))
