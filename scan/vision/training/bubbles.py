"""Trains the bubble network on collected patches: whole cards at a time, some minutes on one core.

Run: python -m scan.vision.training.bubbles KNOWN.npz PHOTOS.npz --out scan/vision/bubbles.npz
The patches come from `python -m tests.bench.collect_bubbles`. One card in eight, all its bubbles together, is
held out to stop the training and to set the temperature. Needs PyTorch; what it writes needs NumPy alone, and
`bubbles.json` beside it says what it was trained on.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

from forms.catalog import load_form
from forms.layout import PAPERS, Layout, arrange
from scan.vision.bubble_net import CLASSES, scores
from scan.vision.bubbles import VIEW_PX, views_of_some

PIXELS, MEASURES, FIGURES = VIEW_PX * VIEW_PX, 24, 7
FIRST, FLAT, SHOWN, HIDDEN = 80, 48, 16, 40
#: A class's weight in the loss: rare marks are the ones that matter, but not as if they were common.
CLASS_WEIGHTS = np.array([1.0, 1.5, 2.5, 3.0, 2.5])


#: Of the empty bubbles of cards with more bubbles than the first, the second share is looked at in a step.
_SPARSE, _TAKEN = 40, 0.3


@dataclass(frozen=True, slots=True)
class Cards:
    """Bubbles of one card as the network sees them, and what each is."""

    views: NDArray[np.float16]
    measures: NDArray[np.float32]
    figures: NDArray[np.float32]
    labels: NDArray[np.int64]
    file: int
    card: int
    turned: list[NDArray[np.float32]] = field(default_factory=list)  # the views in the basis, turned over


@cache
def _layout(form: str) -> Layout:
    name, paper = form.split()
    return arrange(load_form(name), PAPERS[paper]).layout


def cards_of(path: Path, file: int, seed: int) -> Iterator[Cards]:
    """Yield the cards of a file, each whole, and at times a part of it as if the form had no more bubbles."""
    rng = np.random.default_rng([seed, file])
    with np.load(path) as data:
        counts, pens, forms = data["counts"], data["pens"], data["forms"]
        labels, patches = data["labels"].astype(np.int64), data["patches"]
    starts = np.concatenate([[0], np.cumsum(counts)])
    for card, (start, end) in enumerate(pairwise(starts)):
        ink = patches[start:end].astype(np.float32) / 200
        own = labels[start:end]
        parts = [np.arange(end - start)]
        if rng.random() < 0.35:  # nearly all filled, or few bubbles
            keep = np.where(own == CLASSES.index("empty"), rng.choice([0.0, 0.03, 0.15]), 1.0)
            some = np.flatnonzero(rng.random(len(own)) < keep * rng.choice([1.0, 1.0, 0.3, 0.1]))
            parts += [some] if len(some) >= 2 else []
        for some in parts:
            views = views_of_some(ink[some], _layout(str(forms[card])), float(pens[card]), some)
            yield Cards(views.bubbles.astype(np.float16), views.measures, views.card, own[some], file, card)


#: The first layer is learnt in a basis of the directions in which views differ most: ten times as fast, and
#: fewer weights to be misled by. What is written is the product of both.
DIRECTIONS = 120
#: How often each card is turned over and given other grain before training.
TURNS = 3


def basis_of(cards: Sequence[Cards], rng: np.random.Generator) -> NDArray[np.float32]:
    """Return (2 * 529, DIRECTIONS) of unit spread, from marked bubbles and as many empty ones."""
    some = []
    for one in cards:
        marked = np.flatnonzero(one.labels != CLASSES.index("empty"))
        empty = np.flatnonzero(one.labels == CLASSES.index("empty"))
        chosen = np.concatenate([rng.permutation(marked)[:30], rng.permutation(empty)[:30]])
        some.append(_turned(one.views[chosen], rng))
    seen = np.concatenate(some)
    spread, directions = np.linalg.eigh(np.cov(seen, rowvar=False))
    scale = 1 / np.sqrt(spread[-DIRECTIONS:] + 0.02)
    return np.asarray(directions[:, -DIRECTIONS:] * scale, np.float32)


def _turned(views: NDArray[np.float16], rng: np.random.Generator) -> NDArray[np.float32]:
    """Views turned over at random, and with more grain."""
    square = views.astype(np.float32).reshape(-1, 2, VIEW_PX, VIEW_PX)
    if rng.random() < 0.5:
        square = square[:, :, :, ::-1]
    if rng.random() < 0.5:
        square = square[:, :, ::-1]
    if rng.random() < 0.5:
        square = square.transpose(0, 1, 3, 2)
    if rng.random() < 0.3:
        size = rng.uniform(0, 0.04)
        square = square + (rng.standard_normal((len(square), 1, VIEW_PX, VIEW_PX), np.float32) * size)
    return np.asarray(square.reshape(len(square), 2 * PIXELS), np.float32)


class Net(nn.Module):
    """The network of `scan.vision.bubble_net`, for PyTorch to train."""

    def __init__(self, mean: torch.Tensor, scale: torch.Tensor, basis: torch.Tensor) -> None:
        super().__init__()
        classes = len(CLASSES)
        self.views = nn.Linear(DIRECTIONS, FIRST)
        self.measures = nn.Linear(MEASURES, FIRST, bias=False)
        self.flat = nn.Linear(FIRST, FLAT)
        self.first, self.first_card = nn.Linear(FLAT, classes), nn.Linear(FIGURES, classes, bias=False)
        self.shown = nn.Linear(FLAT, SHOWN, bias=False)
        self.own = nn.Linear(FLAT, HIDDEN)
        self.card = nn.Linear(classes * SHOWN + 2 * classes + FIGURES, HIDDEN, bias=False)
        self.out = nn.Linear(HIDDEN, classes)
        self.register_buffer("mean", mean)
        self.register_buffer("scale", scale)
        self.register_buffer("basis", basis)

    def forward(
        self,
        views: torch.Tensor,
        measures: torch.Tensor,
        figures: torch.Tensor,
        counts: Sequence[int],
        stands_for: torch.Tensor,
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Return the first and the final scores.

        `figures` (cards, F), `counts` bubbles of each card, `stands_for` (N,) so many of its kind.
        """
        seen = torch.relu(self.views(views) + self.measures(measures))
        seen = torch.relu(self.flat(nn.functional.dropout(seen, 0.25, self.training)))
        about = torch.tanh((figures - self.mean) / self.scale)
        which = torch.repeat_interleave(torch.arange(len(counts)), torch.tensor(counts))
        first = self.first(seen) + self.first_card(about)[which]
        p, shown = torch.softmax(first, 1), self.shown(seen)
        of_cards = []
        p = p * stands_for[:, None]
        for i, (pi, si) in enumerate(zip(p.split(list(counts)), shown.split(list(counts)), strict=True)):
            weight = pi.sum(0)
            usual = (pi.T @ si) / (weight[:, None] + 1)
            share = weight / weight.sum()
            of_cards.append(torch.cat([usual.reshape(-1), share, torch.log1p(weight) / 5, about[i]]))
        hidden = torch.relu(self.own(seen) + self.card(torch.stack(of_cards))[which])
        return first, self.out(hidden)

    def weights(self) -> dict[str, NDArray[np.float32]]:
        """The weights by the names of `bubble_net`, right-multiplied there."""
        found: dict[str, torch.Tensor] = {"mean": self.mean, "scale": self.scale}
        for name in ("views", "measures", "flat", "first", "first_card", "shown", "own", "card", "out"):
            layer = getattr(self, name)
            found[name] = layer.weight.T
            if layer.bias is not None:
                found[f"{name}_bias"] = layer.bias
        found["views"] = self.basis @ found["views"]
        return {name: value.detach().numpy().astype(np.float32) for name, value in found.items()}


def train(cards: Sequence[Cards], minutes: float, seed: int) -> Net:
    """Return the network after so many minutes of the processor."""
    rng = np.random.default_rng(seed)
    torch.manual_seed(seed)
    figures = np.stack([c.figures for c in cards])
    basis = basis_of(cards, rng)
    for one in cards:
        one.turned.extend(_turned(one.views, rng) @ basis for _ in range(TURNS))
    scale = torch.tensor(figures.std(0) + 0.05) * 1.5
    net = Net(torch.tensor(figures.mean(0)), scale, torch.tensor(basis))
    weight = torch.tensor(CLASS_WEIGHTS, dtype=torch.float32)
    optimizer = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=3e-3)
    began, step, log = time.process_time(), 0, 0.0
    while (done := (time.process_time() - began) / (60 * minutes)) < 1:
        some = [cards[i] for i in rng.choice(len(cards), 8)]
        views, measures, counts, about, labels, stands_for = [], [], [], [], [], []
        for one in some:
            # Most bubbles are empty and alike: a third of them stands for all.
            sparse = one.labels == CLASSES.index("empty") if len(one.labels) > _SPARSE else one.labels < 0
            taken = ~sparse | (rng.random(len(sparse)) < _TAKEN)
            views.append(one.turned[int(rng.integers(TURNS))][taken])
            measures.append(one.measures[taken])
            about.append(one.figures)
            counts.append(int(taken.sum()))
            labels.append(one.labels[taken])
            stands_for.append(np.where(sparse, 1 / _TAKEN, 1.0)[taken])
        for group in optimizer.param_groups:
            group["lr"] = 3e-3 * min(1.0, step / 60 + 0.05) * (0.5 * (1 + np.cos(np.pi * done)) + 0.003)
        target = torch.tensor(np.concatenate(labels))
        each = torch.tensor(np.concatenate(stands_for), dtype=torch.float32)
        first, final = net(
            torch.tensor(np.concatenate(views)),
            torch.tensor(np.concatenate(measures)),
            torch.tensor(np.stack(about)),
            counts,
            each,
        )
        each = each * weight[target] / (each * weight[target]).sum()
        losses = [
            (nn.functional.cross_entropy(s, target, reduction="none") * each).sum() for s in (final, first)
        ]
        loss = losses[0]
        whole = loss + 0.3 * losses[1]
        optimizer.zero_grad()
        whole.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimizer.step()
        log = 0.98 * log + 0.02 * float(loss.detach())
        step += 1
        if step % 200 == 0:
            print(f"{step} steps, {done:.0%}, loss {log:.4f}", flush=True)
    return net


def judged(weights: dict[str, NDArray[np.float32]], cards: Sequence[Cards]) -> NDArray[np.float64]:
    """Scores of all bubbles of some cards, one after the other, by the code that ships."""
    return np.concatenate(
        [scores(weights, c.views.astype(np.float32), c.measures, c.figures) for c in cards]
    ).astype(float)


def loss_of(logits: NDArray[np.float64], labels: NDArray[np.int64]) -> float:
    """Weighted cross-entropy."""
    logits = logits - logits.max(axis=1, keepdims=True)
    log_p = logits - np.log(np.exp(logits).sum(axis=1, keepdims=True))
    weight = CLASS_WEIGHTS[labels]
    return float(-(weight * log_p[np.arange(len(labels)), labels]).sum() / weight.sum())


def main() -> None:
    """Train, print the held-out confusion, write weights and what they were trained on."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patches", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--threads", type=int, default=1)
    args = parser.parse_args()
    torch.set_num_threads(args.threads)
    cards = [c for i, path in enumerate(args.patches) for c in cards_of(path, i, args.seed)]
    held = [c for c in cards if c.card % 8 == 7]
    kept = [c for c in cards if c.card % 8 != 7]
    print(f"{len(kept)} cards and parts of cards, {sum(len(c.labels) for c in kept)} bubbles", flush=True)
    net = train(kept, args.minutes, args.seed)
    weights = {name: value.astype(np.float16).astype(np.float32) for name, value in net.weights().items()}
    logits, labels = judged(weights, held), np.concatenate([c.labels for c in held])
    temperature = min(np.linspace(0.7, 2.0, 66), key=lambda t: loss_of(logits / t, labels))
    counts = np.bincount(np.concatenate([c.labels for c in kept]), minlength=len(CLASSES))
    shares = CLASS_WEIGHTS * counts
    halves: dict[str, Any] = {name: value.astype(np.float16) for name, value in weights.items()}
    np.savez_compressed(args.out, **halves)
    about = {
        "classes": list(CLASSES),
        "shares": (shares / shares.sum()).round(6).tolist(),
        "temperature": round(float(temperature), 3),
        "held_out_loss": round(loss_of(logits / temperature, labels), 6),
        "trained_on": f"{counts.sum()} simulated bubbles of {len({(c.file, c.card) for c in kept})} cards: "
        + ", ".join(path.stem for path in args.patches),
        "of_each_class": {name: int(n) for name, n in zip(CLASSES, counts, strict=True)},
        "parameters": int(sum(value.size for value in weights.values())),
        "views_px": VIEW_PX,
        "seed": args.seed,
        "minutes": args.minutes,
    }
    args.out.with_suffix(".json").write_text(json.dumps(about, indent=1) + "\n")
    print(f"held-out loss {about['held_out_loss']}, temperature {temperature:.2f}")
    said = logits.argmax(axis=1)
    for i, name in enumerate(CLASSES):
        row = np.bincount(said[labels == i], minlength=len(CLASSES))
        print(f"{name:>8} -> " + " ".join(f"{c} {n}" for c, n in zip(CLASSES, row, strict=True)))


if __name__ == "__main__":
    main()
