"""Trains the network of a card's own hand (`scan.vision.seeing.hand_net`): half a minute of a GPU.

Run: python -m shortpencil.scan.vision.training.card_hand LEARN --tune DIR --report DIR --out
scan/vision/seeing/hand.npz, the folders as `python -m tests.bench.collect_looks` writes them: LEARN by hands
that train, known families; --tune by others, which choose what share of what it says is used; --report by
hands and families that did neither. Needs PyTorch; what it writes needs NumPy alone.

A step lays the boxes of some cards side by side, tells of each box but its own answer, and lowers the log
loss of what is then told. Half of what a box looks like is left out at random in each step, and so are boxes:
cards have few, and hands few that are alike.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from shortpencil.scan.asking import SURE
from shortpencil.scan.vision.arrays import Floats
from shortpencil.scan.vision.evidence import ANSWERS, BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.hand_net import LEAST_COUNT, LEAST_KERNEL, LEAST_SURE, MOST, changes
from shortpencil.scan.vision.training.looks import Looks, load

_CARDS_A_STEP, _RATE, _DECAY = 32, 2e-3, 0.3
#: Of what a box looks like so much is left out in a step, of the boxes up to so many.
_DROPPED, _MOST_LEFT_OUT = 0.5, 0.3
#: MNIST's cards are written by many hands at once: they count so much.
_OF_MANY_HANDS = 0.4
#: Boxes with no digit count so much: cards are spoilt on purpose far more often than people spoil them.
_OF_SCRAP = 0.3
#: No single box adds more to the loss: its truth may be wrong, or its writing invisible.
_MOST_LOSS = 12.0
_SHARES = (0.5, 0.6, 0.75, 0.9, 1.0)


class HandNet(nn.Module):
    """What `hand_net.changes` computes, for many cards at once and with gradients."""

    def __init__(self, layer: int, lies: int = 32, hidden: int = 32) -> None:
        super().__init__()
        self.project = nn.Linear(layer, lies, bias=False)
        self.log_beta = nn.Parameter(torch.tensor([1.0, 2.3, 3.2]))
        self.trust = nn.Parameter(torch.tensor([0.0, 1.0, 3.0]))
        self.klass = nn.Parameter(torch.zeros(BLANK_BOX, 4))
        self.mlp = nn.Sequential(
            nn.Linear(17, hidden), nn.GELU(), nn.Linear(hidden, hidden), nn.GELU(), nn.Linear(hidden, 1)
        )
        self.other = nn.Sequential(nn.Linear(8, 16), nn.GELU(), nn.Linear(16, 2))
        for last in (self.mlp[-1], self.other[-1]):  # at first it says nothing
            nn.init.zeros_(last.weight)
            nn.init.zeros_(last.bias)

    def forward(self, looks: Tensor, said: Tensor, ink: Tensor, checked: Tensor, there: Tensor) -> Tensor:
        """(C, B, 12) changes for C cards of up to B boxes, `there` (C, B) where a card has one."""
        lies = functional.normalize(self.project(looks), dim=-1)
        cosines = lies @ lies.transpose(1, 2)
        chance = said.exp()[..., :BLANK_BOX]
        best = chance.max(-1).values
        odds = best / (1 - best).clamp(min=1e-4) + 1e-4
        trust = self.trust[0] + self.trust[1] * checked + self.trust[2] * odds.log() / 5
        taught = (torch.sigmoid(trust) * there * (best > LEAST_SURE))[..., None] * chance
        count = taught.sum(1, keepdim=True) - taught
        itself = torch.eye(cosines.shape[1], device=cosines.device, dtype=torch.bool)
        totals = [
            torch.exp(width * (cosines - 1)).masked_fill(itself, 0.0) @ taught + LEAST_KERNEL
            for width in self.log_beta.exp()
        ]
        total = torch.stack(totals, -1).log()
        mean = total - (count + LEAST_COUNT).log()[..., None]
        lead = said - said.max(-1, keepdim=True).values
        ink_lead = ink - ink.max(-1, keepdim=True).values
        features = torch.cat(
            [
                mean,
                mean - mean.max(2, keepdim=True).values,
                total / 3,
                (lead[..., :BLANK_BOX, None] / 5).clamp(-3, 0),
                (ink_lead[..., :BLANK_BOX, None] / 5).clamp(-3, 0),
                count.log1p()[..., None],
                (lead[..., :BLANK_BOX, None] == 0).float(),
                self.klass.expand(*count.shape, 4),
            ],
            -1,
        )
        of_digits = self.mlp(features).squeeze(-1)
        every = torch.stack([mean, total], -1).flatten(-2)
        leader = lead[..., :BLANK_BOX].argmax(-1)[..., None, None].expand(-1, -1, 1, every.shape[-1])
        of_best = torch.cat(
            [every.gather(2, leader).squeeze(2), (said[..., BLANK_BOX:] / 5).clamp(-3, 0)], -1
        )
        return MOST * torch.tanh(torch.cat([of_digits, self.other(of_best)], -1) / MOST)


def train(boxes: Looks, steps: int, seed: int, device: torch.device) -> HandNet:
    """Return a network that learnt from all cards."""
    torch.manual_seed(seed)
    cards = boxes.rows()
    width = max(len(rows) for rows in cards)
    table = torch.tensor([[*rows.tolist(), *[-1] * (width - len(rows))] for rows in cards], device=device)
    looks, said, ink, checked, answers = (
        torch.from_numpy(np.ascontiguousarray(values)).to(device)
        for values in (boxes.looks, boxes.said, boxes.ink, boxes.checked, boxes.answers.astype(np.int64))
    )
    counts = np.where(boxes.whose == "mnist", _OF_MANY_HANDS, 1.0) * np.where(
        boxes.answers == SCRAP_BOX, _OF_SCRAP, 1.0
    )
    weights = torch.from_numpy(counts.astype(np.float32)).to(device)
    net = HandNet(boxes.looks.shape[1])
    net.to(device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=_RATE, weight_decay=_DECAY)
    recent = 0.0
    for step in range(steps):
        rate = _RATE * min(1.0, step / 100 + 0.01) * (0.5 + 0.5 * float(np.cos(np.pi * step / steps)))
        for group in optimiser.param_groups:
            group["lr"] = rate
        at = table[torch.randint(len(cards), (_CARDS_A_STEP,), device=device)]
        left_out = torch.rand(at.shape, device=device) < _MOST_LEFT_OUT * torch.rand(
            len(at), 1, device=device
        )
        there = (at >= 0) & ~left_out
        at = at.clamp(min=0)
        seen = functional.dropout(looks[at].float(), _DROPPED)
        told = said[at] + net(seen, said[at], ink[at], checked[at].float(), there)
        loss = _loss(told, answers[at], weights[at] * there)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        recent = float(loss.detach()) if step == 0 else 0.98 * recent + 0.02 * float(loss.detach())
        if step % 500 == 499:
            print(f"{step + 1} steps, log loss {1000 * recent:.2f} of 1,000", flush=True)
    return net


def _loss(told: Tensor, answers: Tensor, weight: Tensor) -> Tensor:
    """Mean log loss of answers (C, B) under scores (C, B, 12)."""
    right = functional.log_softmax(told, dim=-1).gather(-1, answers[..., None]).squeeze(-1)
    return (-right.clamp(min=-_MOST_LOSS) * weight).sum() / weight.sum()


def gains(weights: dict[str, NDArray[np.float32]], boxes: Looks) -> Floats:
    """(N, 12) what the network says of all boxes, card by card, as the reader asks it."""
    result = np.zeros((len(boxes.answers), len(ANSWERS)))
    for rows in boxes.rows():
        looks, said, ink = (v[rows].astype(float) for v in (boxes.looks, boxes.said, boxes.ink))
        result[rows] = changes(weights, looks, said, ink, boxes.checked[rows])
    return result


def log_loss(told: Floats, boxes: Looks) -> float:
    """Mean log loss of legible boxes that no sum checks, whose hand is known."""
    judged = ~boxes.checked & (boxes.answers != SCRAP_BOX)
    legible = told[judged, :SCRAP_BOX]
    right = legible[np.arange(len(legible)), boxes.answers[judged]]
    return float((np.logaddexp.reduce(legible, axis=1) - right).mean())


def in_words(told: Floats, boxes: Looks) -> str:
    """Say how many boxes that no sum checks are asked about, wrong, and wrong without being asked about."""
    judged = ~boxes.checked & (boxes.answers != SCRAP_BOX)
    p = np.exp(told[judged] - np.logaddexp.reduce(told[judged], axis=1, keepdims=True))
    legible = p[:, :SCRAP_BOX] / p[:, :SCRAP_BOX].sum(axis=1, keepdims=True)
    sure = (legible.max(axis=1) >= SURE) & (p[:, SCRAP_BOX] < 0.5)
    wrong = legible.argmax(axis=1) != boxes.answers[judged]
    return (
        f"{len(p):,} boxes, asked {1000 * (1 - sure.mean()):.1f} of 1,000, wrong {wrong.sum()}, "
        f"silent {(wrong & sure).sum()}, log loss {1000 * log_loss(told, boxes):.2f}"
    )


def main() -> None:
    """Train, choose the share, report, write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("learn", type=Path)
    parser.add_argument("--tune", type=Path, required=True)
    parser.add_argument("--report", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=12)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    parser.add_argument("--out", type=Path, required=True, help="NPZ; a JSON is written beside it")
    args = parser.parse_args()
    learn = load(args.learn)
    net = train(learn, args.steps, args.seed, torch.device(args.device))
    # What lies in thousands is kept in half precision: 100 kB in place of 200.
    weights = {
        name: value.detach().cpu().numpy().astype(np.float16 if value.numel() > 1000 else np.float32)
        for name, value in net.state_dict().items()
    }
    whole = {name: value.astype(np.float32) for name, value in weights.items()}
    tune = load(args.tune)
    gained = gains(whole, tune)
    share = min(_SHARES, key=lambda s: log_loss(tune.said + s * gained, tune))
    for name, boxes in (("tune", tune), ("report", load(args.report))):
        gained = gains(whole, boxes)
        print(f"{name}, alone: {in_words(boxes.said.astype(float), boxes)}")
        print(f"{name}, share {share}: {in_words(boxes.said + share * gained, boxes)}")
    np.savez_compressed(args.out, **weights)
    about = {
        "share": share,
        "trained_on": f"{len(np.unique(learn.cards)):,} simulated cards, {len(learn.answers):,} boxes with "
        'ink, of hands of the part "train": tests.bench.collect_looks',
        "digit_network": "digits.onnx",
        "steps": args.steps,
        "seed": args.seed,
    }
    args.out.with_suffix(".json").write_text(json.dumps(about, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
