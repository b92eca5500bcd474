"""Digit boxes of photos through the networks that ship: right, unsure, wrong and sure, by way, hand, answer.

Run: python -m tests.bench.bench_boxes DIR [--by ways hands answers marks]

`collect_digits` makes the folder. Boxes on which the network is asked, as often as cards have them; "unsure"
is below 98 %, "sure" above, as if nothing else of the card were known.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.seeing.digits import digit_log_p
from shortpencil.scan.vision.training import photo_boxes

_SURE = 0.98


def row(name: str, log_p: NDArray[np.float32], truth: NDArray[np.integer]) -> str:
    """A line of a table."""
    said, p = log_p.argmax(axis=1), np.exp(log_p.max(axis=1))
    wrong = said != truth
    surprise = float(-log_p[np.arange(len(truth)), truth].mean())
    sure_wrong = int((wrong & (p >= _SURE)).sum())
    return (
        f"| {name} | {len(truth)} | {100 * (1 - wrong.mean()):.2f} % | {100 * (p < _SURE).mean():.2f} % | "
        f"{1000 * sure_wrong / len(truth):.2f} ({sure_wrong}) | {surprise:.4f} |"
    )


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--by", nargs="*", default=["ways"], choices=["ways", "hands", "answers", "marks"])
    args = parser.parse_args()
    boxes = photo_boxes.load(args.folder)
    boxes = boxes.some(boxes.legible)
    log_p = np.concatenate(
        [
            digit_log_p(
                boxes.patches[k : k + 512].astype(np.float32) / photo_boxes.STEPS, boxes.boxes_mm[k : k + 512]
            )
            for k in range(0, len(boxes.answers), 512)
        ]
    )
    truth = boxes.answers.astype(np.int64)
    print("| boxes | of them | right | unsure | sure and wrong per 1,000 | surprise |")
    print("| --- | --- | --- | --- | --- | --- |")
    kinds = {"digit": truth < BLANK_BOX, "blank": truth == BLANK_BOX, "no digit": truth == SCRAP_BOX}
    for name, which in kinds.items():
        if which.any():
            print(row(name, log_p[which], truth[which]))
    digit = truth < BLANK_BOX
    for by in args.by:
        names = getattr(boxes, by)
        for name in np.unique(names[digit]):
            which = digit & (names == name)
            print(row(f"digit, {by} {name}", log_p[which], truth[which]))


if __name__ == "__main__":
    main()
