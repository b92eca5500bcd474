"""Puts a reader between the one that ships and the same one trained further: its weights, a share of the way.

Run: python -m shortpencil.scan.vision.training.between digits.onnx FURTHER.pt --share 0.5 --out BETWEEN.pt

A reader that learns from new pictures forgets a little of the old ones, and is too sure of the new. Half-way
between both it keeps most of what either knows, at no cost: it is one network as large as they are. It works
because further training began at the weights that ship.

References
----------
Wortsman et al. 2022, "Robust fine-tuning of zero-shot models", arXiv 2109.01903: weights interpolated.
"""

import argparse
from pathlib import Path
from typing import Any

import torch
from torch import nn

from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.training import export, network
from shortpencil.scan.vision.training.train import save


def between(shipped: nn.Sequential, further: nn.Sequential, share: float) -> nn.Sequential:
    """The second network's weights, changed to lie a share (0 to 1) of the way from the first's to them."""
    with torch.no_grad():
        for before, after in zip(shipped.parameters(), further.parameters(), strict=True):
            after.copy_(before.lerp(after, share))
    return further


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("shipped", type=Path, help="the .onnx that further training began with")
    parser.add_argument("further", type=Path, help="file written by train.py")
    parser.add_argument("--share", type=float, default=0.5)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    held: dict[str, Any] = torch.load(args.further, map_location="cpu", weights_only=True)
    plan = network.PLANS[held["about"]["plan"]]
    reader = network.Reader(plan=plan)
    reader.load_state_dict(held["reader"])
    # Any views do: normalisation is folded away again before the reader is measured or shipped.
    views = torch.rand(64, 1, *digits.VIEW_PX, generator=torch.Generator().manual_seed(1))
    first = network.unfolded(args.shipped.read_bytes(), plan, views)
    mixed = between(export.as_shipped(first.eval()), export.as_shipped(reader.eval()), args.share)
    about = {**held["about"], "share_of_the_way": args.share}
    save(network.unfolded(export.onnx_bytes(mixed), plan, views), "reader", about, args.out)


if __name__ == "__main__":
    main()
