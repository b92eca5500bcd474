"""Trains the bubble network on simulated cards: a few minutes of a GPU, or an hour of a processor.

Run: python -m shortpencil.scan.vision.training.bubbles CARDS/*.npz PHOTOS/*.npz --out FILE.npz
Cards come from `tests.bench.collect_bubbles --learn`, those of photos from `tests.bench.collect_marks`; the
files of a folder are one source, and each class is made as common in every source. First a wide network
learns, then the one that ships, from the answers and from what the wide one says. One card in twelve sets the
temperature. Needs PyTorch; what it writes needs NumPy alone, and `bubbles.json` beside it says what it was
trained on.
"""

from __future__ import annotations

import argparse
import copy
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from shortpencil.scan.vision.seeing.bubble_net import CLASSES, KERNELS, SIDES, STRIDE, VIEW_PX, scores

MEASURES, FIGURES = 24, 7
#: A class's weight in the loss: rare marks are the ones that matter, but not as if they were common.
CLASS_WEIGHTS = np.array([1.0, 1.5, 2.5, 3.0, 2.5])
_CARDS_A_STEP = 32
_HELD_OUT_EVERY = 12
_AVERAGE_HALF_LIFE = 400


@dataclass(frozen=True, slots=True)
class Widths:
    """Channels of the two convolutions, width of the dense layer, of what a card shows, of the last layer."""

    first: int
    second: int
    flat: int
    shown: int
    hidden: int


SHIPPED, WIDE = Widths(16, 32, 96, 32, 96), Widths(32, 64, 192, 48, 128)


@dataclass(frozen=True, slots=True)
class Cards:
    """Bubbles of many cards on one device, card after card.

    Attributes
    ----------
    views : (N, 2, 23, 23) half precision; measures (N, 24); labels, stands_for (N,)
    each : (N,) weight in the loss
    figures : (C, 7); starts (C + 1,) of each card's bubbles
    """

    views: Tensor
    measures: Tensor
    labels: Tensor
    stands_for: Tensor
    each: Tensor
    figures: Tensor
    starts: NDArray[np.int64]


def load(paths: Sequence[Path], device: torch.device) -> Cards:
    """Read the cards of some files."""
    held = [np.load(path) for path in paths]

    def joined(name: str) -> NDArray[Any]:
        return np.concatenate([file[name] for file in held])

    views = [torch.from_numpy(file["views"]).to(device) for file in held]
    labels, stands_for = joined("labels").astype(np.int64), joined("stands_for")
    sources = np.repeat([str(path.parent) for path in paths], [len(file["labels"]) for file in held])
    return Cards(
        torch.cat(views).reshape(-1, 2, VIEW_PX, VIEW_PX),
        torch.from_numpy(joined("measures")).to(device).float(),
        torch.from_numpy(labels).to(device),
        torch.from_numpy(stands_for).to(device),
        torch.from_numpy(_weights(labels, stands_for, sources)).to(device),
        torch.from_numpy(joined("figures")).to(device),
        np.concatenate([[0], np.cumsum(joined("counts"))]),
    )


def _weights(
    labels: NDArray[np.int64], stands_for: NDArray[np.float32], sources: NDArray[np.str_]
) -> NDArray[np.float32]:
    """Weight (N,) of each bubble in the loss, such that a class has one share in all sources.

    Else the network learns how common a rubbed-out bubble is where the picture looks like this or that
    source, and dividing by the shares of all would not take it out again.
    """
    every = np.bincount(labels, stands_for, len(CLASSES)) / stands_for.sum()
    factor = np.ones(len(labels))
    for source in np.unique(sources):
        own = sources == source
        shares = np.bincount(labels[own], stands_for[own], len(CLASSES)) / stands_for[own].sum()
        factor[own] = (every / np.maximum(shares, 1e-9))[labels[own]]
    return np.asarray(stands_for * CLASS_WEIGHTS[labels] * factor, np.float32)


class Net(nn.Module):
    """The network of `scan.vision.seeing.bubble_net`, for PyTorch to train."""

    def __init__(self, widths: Widths, mean: Tensor, scale: Tensor) -> None:
        super().__init__()
        w, classes = widths, len(CLASSES)
        self.conv1 = nn.Conv2d(2, w.first, KERNELS[0], STRIDE, KERNELS[0] // 2)
        self.conv2 = nn.Conv2d(w.first, w.second, KERNELS[1], STRIDE, KERNELS[1] // 2)
        self.flat = nn.Linear(w.second * SIDES[1] ** 2, w.flat)
        self.measures = nn.Linear(MEASURES, w.flat, bias=False)
        self.first, self.first_card = nn.Linear(w.flat, classes), nn.Linear(FIGURES, classes, bias=False)
        self.shown = nn.Linear(w.flat, w.shown, bias=False)
        self.own = nn.Linear(w.flat, w.hidden)
        self.card = nn.Linear(classes * w.shown + 2 * classes + FIGURES, w.hidden, bias=False)
        self.out = nn.Linear(w.hidden, classes)
        self.register_buffer("mean", mean)
        self.register_buffer("scale", scale)

    def forward(
        self, views: Tensor, measures: Tensor, figures: Tensor, which: Tensor, stands_for: Tensor
    ) -> tuple[Tensor, Tensor]:
        """Return the first and the final scores (N, 5); `figures` (C, 7), `which` (N,) card of a bubble."""
        seen = functional.relu(self.conv2(functional.relu(self.conv1(views)))).flatten(1)
        seen = functional.dropout(seen, 0.1, self.training)
        seen = functional.relu(self.flat(seen) + self.measures(measures))
        seen = functional.dropout(seen, 0.1, self.training)
        about = torch.tanh((figures - self.mean) / self.scale)
        first = self.first(seen) + self.first_card(about)[which]
        p = torch.softmax(first, 1) * stands_for[:, None]
        each = (p[:, :, None] * self.shown(seen)[:, None, :]).flatten(1)
        cards = len(figures)
        weight = torch.zeros(cards, p.shape[1], device=p.device).index_add_(0, which, p)
        usual = torch.zeros(cards, each.shape[1], device=p.device).index_add_(0, which, each)
        usual = usual / (weight.repeat_interleave(each.shape[1] // p.shape[1], dim=1) + 1)
        share = weight / weight.sum(1, keepdim=True)
        of_card = torch.cat([usual, share, torch.log1p(weight) / 5, about], 1)
        hidden = functional.relu(self.own(seen) + self.card(of_card)[which])
        return first, self.out(hidden)

    def weights(self) -> dict[str, NDArray[np.float32]]:
        """The weights by the names of `bubble_net`, right-multiplied there."""
        found: dict[str, Tensor] = {"mean": self.mean, "scale": self.scale}
        for name in ("conv1", "conv2"):  # windows lie there as rows, columns, channels
            layer = getattr(self, name)
            found[name] = layer.weight.permute(2, 3, 1, 0).flatten(0, 2)
            found[f"{name}_bias"] = layer.bias
        for name in ("flat", "measures", "first", "first_card", "shown", "own", "card", "out"):
            layer = getattr(self, name)
            found[name] = layer.weight.T
            if layer.bias is not None:
                found[f"{name}_bias"] = layer.bias
        side = SIDES[1]
        flat = self.flat.weight.reshape(-1, self.conv2.out_channels, side, side)
        found["flat"] = flat.permute(2, 3, 1, 0).flatten(0, 2)
        return {name: value.detach().cpu().numpy().astype(np.float32) for name, value in found.items()}


def begun_from(net: Net, file: Path) -> Net:
    """The network with the weights of a file that an earlier run wrote."""
    with np.load(file) as held:
        given = {name: torch.from_numpy(held[name].astype(np.float32)) for name in held.files}
    side, state = SIDES[1], net.state_dict()
    for name, value in given.items():
        layer = name.removesuffix("_bias")
        if name in ("mean", "scale"):
            state[name] = value
        elif name.endswith("_bias"):
            state[f"{layer}.bias"] = value
        elif name in ("conv1", "conv2"):
            out, into, rows, columns = state[f"{name}.weight"].shape
            state[f"{name}.weight"] = value.reshape(rows, columns, into, out).permute(3, 2, 0, 1)
        elif name == "flat":
            channels = net.conv2.out_channels
            state["flat.weight"] = value.reshape(side, side, channels, -1).permute(3, 2, 0, 1).flatten(1)
        else:
            state[f"{name}.weight"] = value.T
    net.load_state_dict(state)
    return net


def _turned(views: Tensor) -> Tensor:
    """Views turned over at random, a step's all alike, and with more grain."""
    if torch.rand(()) < 0.5:
        views = views.flip(3)
    if torch.rand(()) < 0.5:
        views = views.flip(2)
    if torch.rand(()) < 0.5:
        views = views.transpose(2, 3)
    if torch.rand(()) < 0.3:
        grain = torch.randn_like(views[:, :1]) * float(torch.rand(())) * 0.04
        views = views + grain
    return views


def _loss(logits: Tensor, target: Tensor, each: Tensor, told: Tensor | None) -> Tensor:
    loss = functional.cross_entropy(logits, target, reduction="none")
    if told is not None:
        as_told = functional.kl_div(
            torch.log_softmax(logits, 1), torch.softmax(told, 1), reduction="none"
        ).sum(1)
        loss = 0.4 * loss + 0.6 * as_told
    return (loss * each).sum()


def train(
    cards: Cards,
    rows: NDArray[np.int64],
    widths: Widths,
    minutes: float,
    teacher: Net | None,
    say: str,
    start: Path | None = None,
    rate: float = 2.5e-3,
) -> Net:
    """Return the averaged network after so many minutes on the cards named in `rows`, `start` its weights."""
    device, rng = cards.views.device, np.random.default_rng(1)
    figures = cards.figures[torch.from_numpy(rows).to(device)]
    net = Net(widths, figures.mean(0), (figures.std(0) + 0.05) * 1.5)
    net = (net if start is None else begun_from(net, start)).to(device)
    average: Net = copy.deepcopy(net).eval()
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=3e-3)
    began, step, log = time.monotonic(), 0, 0.0
    while (done := (time.monotonic() - began) / (60 * minutes)) < 1:
        some = rng.choice(rows, _CARDS_A_STEP)
        bubbles = np.concatenate([np.arange(cards.starts[i], cards.starts[i + 1]) for i in some])
        at = torch.from_numpy(bubbles).to(device)
        counts = cards.starts[some + 1] - cards.starts[some]
        which = torch.from_numpy(np.repeat(np.arange(len(some)), counts)).to(device)
        about = cards.figures[torch.from_numpy(some).to(device)]
        seen = (_turned(cards.views[at].float()), cards.measures[at], about, which, cards.stands_for[at])
        told = None
        if teacher is not None:
            with torch.no_grad():
                told = teacher(*seen)[1]
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, step / 200 + 0.02) * (0.5 * (1 + np.cos(np.pi * done)) + 0.003)
        target = cards.labels[at]
        each = cards.each[at] / cards.each[at].sum()
        first, final = net(*seen)
        whole = _loss(final, target, each, told) + 0.3 * _loss(first, target, each, told)
        optimiser.zero_grad()
        whole.backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        with torch.no_grad():
            rate = 1 - 0.5 ** (1 / min(_AVERAGE_HALF_LIFE, 1 + step / 10))
            for kept, now in zip(average.parameters(), net.parameters(), strict=True):
                kept.lerp_(now, rate)
        step += 1
        if step % 500 == 0:
            log = float(whole.detach())
            print(f"{say}: {step} steps, {done:.0%}, loss {log:.4f}", flush=True)
    return average


@torch.no_grad()
def _told_by(net: Net, cards: Cards, rows: NDArray[np.int64]) -> tuple[NDArray[np.float64], ...]:
    """Final scores of the bubbles of some cards, their labels, and their weights."""
    device, logits, labels, each = cards.views.device, [], [], []
    net.eval()
    for i in rows.tolist():
        own = slice(int(cards.starts[i]), int(cards.starts[i + 1]))
        which = torch.zeros(own.stop - own.start, dtype=torch.int64, device=device)
        seen = (
            cards.views[own].float(),
            cards.measures[own],
            cards.figures[i : i + 1],
            which,
            cards.stands_for[own],
        )
        logits.append(net(*seen)[1].double().cpu().numpy())
        labels.append(cards.labels[own].cpu().numpy())
        each.append(cards.each[own].cpu().numpy())
    return np.concatenate(logits), np.concatenate(labels), np.concatenate(each)


def loss_of(logits: NDArray[Any], labels: NDArray[Any], each: NDArray[Any]) -> float:
    """Weighted cross-entropy."""
    logits = logits - logits.max(axis=1, keepdims=True)
    log_p = logits - np.log(np.exp(logits).sum(axis=1, keepdims=True))
    return float(-(each * log_p[np.arange(len(labels)), labels]).sum() / each.sum())


def _fitted(logits: NDArray[Any], labels: NDArray[Any], each: NDArray[Any]) -> float:
    best: float = min(np.linspace(0.7, 2.0, 66).tolist(), key=lambda t: loss_of(logits / t, labels, each))
    return best


def _same(net: Net, cards: Cards, card: int) -> float:
    """How far the code that ships is from PyTorch on one card whose bubbles all stand for themselves."""
    own = slice(int(cards.starts[card]), int(cards.starts[card + 1]))
    views = cards.views[own].float()
    ones = torch.ones_like(cards.stands_for[own])
    which = torch.zeros(len(ones), dtype=torch.int64, device=ones.device)
    with torch.no_grad():
        told = net(views, cards.measures[own], cards.figures[card : card + 1], which, ones)[1]
    here = scores(
        net.weights(),
        views.flatten(1).cpu().numpy(),
        cards.measures[own].cpu().numpy(),
        cards.figures[card].cpu().numpy(),
    )
    return float(np.abs(here - told.cpu().numpy()).max())


def main() -> None:
    """Train, print the held-out confusion, write weights and what they were trained on."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cards", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--device", default="auto")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--teach-minutes", type=float, default=2.5)
    parser.add_argument("--minutes", type=float, default=3.5)
    parser.add_argument("--rate", type=float, default=2.5e-3, help="learning rate at its peak")
    parser.add_argument("--start-from", type=Path, help="weights to go on from, NPZ of an earlier run")
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    name = ("cuda" if torch.cuda.is_available() else "cpu") if args.device == "auto" else args.device
    cards = load(args.cards, torch.device(name))
    rows = np.arange(len(cards.starts) - 1)
    held, kept = rows[rows % _HELD_OUT_EVERY == 7], rows[rows % _HELD_OUT_EVERY != 7]
    print(f"{len(kept)} cards and parts of cards, {len(cards.labels)} bubbles", flush=True)
    teacher = train(cards, kept, WIDE, args.teach_minutes, None, "wide") if args.teach_minutes else None
    if teacher is not None:
        logits, labels, each = _told_by(teacher, cards, held)
        t = _fitted(logits, labels, each)
        print(f"wide: held-out loss {loss_of(logits / t, labels, each):.6f} at {t:.2f}", flush=True)
    net = train(cards, kept, SHIPPED, args.minutes, teacher, "shipped", args.start_from, args.rate)
    halves = {name: value.astype(np.float16) for name, value in net.weights().items()}
    logits, labels, each = _told_by(net, cards, held)
    temperature = _fitted(logits, labels, each)
    of_class = cards.labels.cpu().numpy()
    counts = np.bincount(of_class, weights=cards.stands_for.cpu().numpy(), minlength=len(CLASSES))
    shares = np.bincount(of_class, weights=cards.each.cpu().numpy(), minlength=len(CLASSES))
    arrays: dict[str, Any] = dict(halves)
    np.savez_compressed(args.out, **arrays)
    about = {
        "classes": list(CLASSES),
        "shares": (shares / shares.sum()).round(6).tolist(),
        "temperature": round(float(temperature), 3),
        "held_out_loss": round(loss_of(logits / temperature, labels, each), 6),
        "trained_on": f"{round(float(counts.sum()))} simulated bubbles of {len(kept)} cards and parts of "
        "cards of both editions: tests.bench.collect_bubbles --learn, collect_marks",
        "of_each_class": {name: round(float(n)) for name, n in zip(CLASSES, counts, strict=True)},
        "parameters": int(sum(value.size for value in halves.values())),
        "views_px": VIEW_PX,
        "seed": args.seed,
        "minutes": [args.teach_minutes, args.minutes],
        "started_from": args.start_from.name if args.start_from else None,
        "device": torch.cuda.get_device_name() if name == "cuda" else "CPU",
    }
    args.out.with_suffix(".json").write_text(json.dumps(about, indent=1) + "\n")
    print(f"held-out loss {about['held_out_loss']}, temperature {temperature:.2f}")
    print(f"apart from PyTorch by {_same(net, cards, int(held[0])):.2g}")
    said = logits.argmax(axis=1)
    for i, row_name in enumerate(CLASSES):
        row = np.bincount(said[labels == i], minlength=len(CLASSES))
        print(f"{row_name:>8} -> " + " ".join(f"{c} {n}" for c, n in zip(CLASSES, row, strict=True)))


if __name__ == "__main__":
    main()
