"""Whose hand fills in a simulated card: MNIST's writers, or a collected hand by pictures or pen paths.

The hands are split by `scan.vision.training.hands.part_of`, MNIST's pictures by `training.mnist`; a card is
written by hands of one part alone.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.training import hands, mnist
from tests.simulator.glyphs import Glyph, GlyphBank, PathBank
from tests.simulator.handwriting import Writer, some_writer

Rng = np.random.Generator

#: How often a card is written by MNIST's writers mixed, by pictures of one hand, by pen paths of one.
SHARES = {"mnist": 0.35, "pictures": 0.3, "paths": 0.35}
#: Pictures of MNIST that are thinned beforehand.
_OF_MNIST = 12_000
#: Digits of one hand that a card is written with, of each digit at most.
_OF_A_DIGIT = 30


@dataclass(frozen=True, slots=True)
class HandBanks:
    """The hands of one part.

    Attributes
    ----------
    banks : source -> its digits
    rows : source -> writer -> which of the digits are theirs; MNIST has no writers
    part : "train", "tune" or "report"
    """

    banks: dict[str, GlyphBank]
    rows: dict[str, dict[str, NDArray[np.int64]]]
    part: str


def load(mnist_dir: Path, npz: Path, paths: Path, part: str, jobs: int = 1) -> HandBanks:
    """Load the hands of "train", "tune" or "report", thinned beforehand by so many processes."""
    images, labels = mnist.load(mnist_dir, {"tune": "held_out", "report": "test"}.get(part, part))
    some = np.sort(np.random.default_rng(8).permutation(len(labels))[:_OF_MNIST])
    held = hands.load(npz, part)
    small = [np.asarray(cv2.resize(i, (28, 28), interpolation=cv2.INTER_AREA), np.uint8) for i in held.images]
    strokes, of_digit, writers = hands.load_paths(paths, part)
    banks: dict[str, GlyphBank] = {
        "mnist": GlyphBank(images[some], labels[some]),
        "pictures": GlyphBank(np.stack(small), held.labels),
        "paths": PathBank(strokes, np.array(of_digit)),
    }
    # Hands known by their pen paths are drawn by these.
    by_picture = held.writers[~np.isin(held.writers, np.unique(writers))]
    rows = {
        "pictures": {str(w): np.flatnonzero(held.writers == w) for w in np.unique(by_picture)},
        "paths": {str(w): np.flatnonzero(np.array(writers) == w) for w in np.unique(writers)},
    }
    for source in ("mnist", "pictures"):
        _thin_all(banks[source], jobs)
    return HandBanks(banks, rows, part)


def _thin_some(job: tuple[NDArray[np.uint8], NDArray[np.integer]]) -> list[Glyph | None]:
    bank = GlyphBank(*job)
    return [bank.glyph(i) for i in range(len(job[1]))]


def _thin_all(bank: GlyphBank, jobs: int) -> None:
    """Thin every picture now: a process that is forked later finds it done."""
    if jobs < 2:
        return
    cuts = np.array_split(np.arange(len(bank.labels)), 8 * jobs)
    with ProcessPoolExecutor(jobs) as pool:
        done = pool.map(_thin_some, [(bank.images[c], bank.labels[c]) for c in cuts if len(c)])
        bank.take([glyph for part in done for glyph in part])


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what says whose hands write how many cards, and where what comes of them goes."""
    parser.add_argument("--mnist", type=Path, required=True, help="folder of the IDX files")
    parser.add_argument(
        "--hands", type=Path, required=True, help="NPZ of digits by writer (training/hands.py)"
    )
    parser.add_argument("--paths", type=Path, required=True, help="packed JSON of pen paths")
    parser.add_argument("--part", choices=("train", "tune", "report"), default="train", help="whose hands")
    parser.add_argument("--families", choices=("known", "held-out"), default="known")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--photos", type=int, default=75_000)
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no photo after so many")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)


def somebody(rng: Rng, of: HandBanks) -> tuple[GlyphBank, Writer, str]:
    """Return digits, a writer of them and a name for whose hand it is."""
    source = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    bank = of.banks[source]
    if source == "mnist":
        return bank, some_writer(rng, bank), "mnist"
    mine = of.rows[source]
    name = sorted(mine)[int(rng.integers(len(mine)))]
    samples = {}
    for digit in range(10):
        pool = rng.permutation(mine[name][bank.labels[mine[name]] == digit])[:_OF_A_DIGIT]
        samples[digit] = tuple(int(i) for i in pool if bank.glyph(int(i)) is not None)
    # One hand keeps its own forms; now and then it has a 7 or a 1 as others write them.
    styled = 0.0 if rng.random() < 0.8 else 0.5
    writer = replace(some_writer(rng, None, share_styled=styled), samples=samples, slant=0.0)
    return bank, writer, f"{source} {name}"
