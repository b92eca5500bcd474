"""Trains the bubble classifier on collected measures: two hidden layers, NumPy alone, seconds on one core.

Run: python -m scan.vision.training.bubbles bubbles.npz --out scan/vision/bubbles.json
The measures come from `python -m tests.bench.collect_bubbles`. One photo in five, all its bubbles together,
is held out to stop the training and to set the temperature.
"""

from __future__ import annotations

import argparse
import json
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scan.vision.bubbles import CLASSES, FEATURES

Floats = NDArray[np.float64]
HIDDEN = (32, 24)
#: A class's weight in the loss: rare marks are the ones that matter, but not as if they were common.
CLASS_WEIGHTS = np.array([1.0, 1.5, 3.0, 4.0])


def train(
    features: Floats, labels: NDArray[np.int64], held_out: NDArray[np.bool_], seed: int, steps: int
) -> dict[str, object]:
    """Return the classifier as plain lists, with its losses."""
    rng = np.random.default_rng(seed)
    mean, scale = features.mean(axis=0), features.std(axis=0) + 1e-3
    x = (features - mean) / scale
    sizes = (x.shape[1], *HIDDEN, len(CLASSES))
    weights = [rng.normal(0, np.sqrt(1.5 / a), (a, b)) for a, b in pairwise(sizes)]
    biases = [np.zeros(b) for b in sizes[1:]]
    state = [(np.zeros_like(p), np.zeros_like(p)) for p in (*weights, *biases)]
    train_rows = np.flatnonzero(~held_out)
    best: tuple[float, list[Floats], list[Floats]] = (np.inf, weights, biases)
    shares: Floats = CLASS_WEIGHTS * np.bincount(labels[train_rows], minlength=len(CLASSES))
    shares = shares / shares.sum()
    for step in range(1, steps + 1):
        rows = rng.choice(train_rows, 4096)
        rate = 0.01 * 0.5 * (1 + np.cos(np.pi * step / steps)) + 1e-5
        gradients = _gradients(x[rows], labels[rows], weights, biases)
        for i, (parameter, gradient) in enumerate(zip((*weights, *biases), gradients, strict=True)):
            first, second = state[i]
            first += 0.1 * (gradient - first)
            second += 0.001 * (gradient**2 - second)
            slope = (first / (1 - 0.9**step)) / (np.sqrt(second / (1 - 0.999**step)) + 1e-8)
            np.subtract(parameter, rate * slope, out=parameter)
        if step % 250 == 0:
            loss = _loss(_logits(x[held_out], weights, biases), labels[held_out])
            if loss < best[0]:
                best = (loss, [w.copy() for w in weights], [b.copy() for b in biases])
    loss, weights, biases = best
    logits = _logits(x[held_out], weights, biases)
    temperature = min(np.linspace(0.8, 2.0, 61), key=lambda t: _loss(logits / t, labels[held_out]))
    return {
        "features": list(FEATURES),
        "classes": list(CLASSES),
        "mean": mean.round(6).tolist(),
        "scale": scale.round(6).tolist(),
        "weights": [w.round(5).tolist() for w in weights],
        "biases": [b.round(5).tolist() for b in biases],
        "shares": shares.round(6).tolist(),
        "temperature": float(temperature),
        "held_out_loss": float(loss),
    }


def _logits(x: Floats, weights: list[Floats], biases: list[Floats]) -> Floats:
    hidden = x
    for weight, bias in zip(weights[:-1], biases[:-1], strict=True):
        hidden = np.tanh(hidden @ weight + bias)
    return np.asarray(hidden @ weights[-1] + biases[-1])


def _p(logits: Floats) -> Floats:
    e = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(e / e.sum(axis=1, keepdims=True))


def _loss(logits: Floats, labels: NDArray[np.int64]) -> float:
    weight = CLASS_WEIGHTS[labels]
    p = _p(logits)[np.arange(len(labels)), labels]
    return float(-(weight * np.log(np.maximum(p, 1e-12))).sum() / weight.sum())


def _gradients(
    x: Floats, labels: NDArray[np.int64], weights: list[Floats], biases: list[Floats]
) -> list[Floats]:
    """Gradients of the weighted loss by weights, then by biases, with a little weight decay."""
    layers = [x]
    for weight, bias in zip(weights[:-1], biases[:-1], strict=True):
        layers.append(np.tanh(layers[-1] @ weight + bias))
    error = _p(layers[-1] @ weights[-1] + biases[-1])
    error[np.arange(len(labels)), labels] -= 1
    error *= (CLASS_WEIGHTS[labels] / CLASS_WEIGHTS[labels].sum())[:, None]
    by_weight: list[Floats] = []
    by_bias: list[Floats] = []
    for i in range(len(weights) - 1, -1, -1):
        by_weight.insert(0, layers[i].T @ error + 1e-5 * weights[i])
        by_bias.insert(0, error.sum(axis=0))
        error = (error @ weights[i].T) * (1 - layers[i] ** 2)
    return [*by_weight, *by_bias]


def main() -> None:
    """Train, print the held-out confusion, write the JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("measures", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=10_000)
    args = parser.parse_args()
    with np.load(args.measures) as data:
        if tuple(data["names"]) != FEATURES:
            raise SystemExit("these measures were collected by another version: collect them anew")
        features, labels = data["features"].astype(np.float64), data["labels"].astype(np.int64)
        photos = data["seeds"]
    # A dot or a ghost that left nothing a camera can see is a blank bubble, whatever the simulator meant.
    column = {name: features[:, i] for i, name in enumerate(FEATURES)}
    unseen = (column["cover"] == 0) & (column["darkest"] < 0.12) & (column["around_dark"] < 0.25)
    labels[unseen & (labels == CLASSES.index("unclear"))] = CLASSES.index("blank")
    rng = np.random.default_rng(args.seed)
    names = np.unique(photos)
    held_out = np.isin(photos, rng.permutation(names)[: len(names) // 5])
    model = train(features, labels, held_out, args.seed, args.steps)
    model["trained_on"] = f"{(~held_out).sum()} simulated bubbles of {len(names) - len(names) // 5} photos"
    args.out.write_text(json.dumps(model, separators=(",", ":")) + "\n")
    x = (features[held_out] - np.array(model["mean"])) / np.array(model["scale"])
    weights = [np.array(w) for w in model["weights"]]  # type: ignore[attr-defined]
    biases = [np.array(b) for b in model["biases"]]  # type: ignore[attr-defined]
    said = _logits(x, weights, biases).argmax(axis=1)
    print(f"held-out loss {model['held_out_loss']:.5f}, temperature {model['temperature']:.2f}")
    for i, name in enumerate(CLASSES):
        row = np.bincount(said[labels[held_out] == i], minlength=len(CLASSES))
        print(f"{name:>8} -> " + " ".join(f"{c} {n}" for c, n in zip(CLASSES, row, strict=True)))


if __name__ == "__main__":
    main()
