"""Collects patches of simulated bubbles for training and judging the bubble network.

Run: python -m tests.bench.collect_bubbles --cards 600 --families known --out KNOWN.npz
then: python -m tests.bench.collect_bubbles --photos 6 --out PHOTOS.npz
then: python -m scan.vision.training.bubbles KNOWN.npz PHOTOS.npz --out scan/vision/bubbles.npz

`--cards` takes cards of `tests/simulator/hard_cards.py`, which leaves out families of marks, tools and prints
on request; `--photos` takes whole photos of `tests/simulator/scenario.py`, so many of each condition. Tuning
seeds, unless `--report` asks for others.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from forms.catalog import load_form
from forms.layout import PAPERS, arrange
from scan.vision.bubbles import CLASSES, bubble_patches, pen_darkness
from scan.vision.ink import ink_of
from scan.vision.patches import cells_of_kind, digit_patches
from scan.vision.photo import photos_from_bytes
from scan.vision.pipeline import Traces, read_photo
from tests.bench.cards import REPORT, TUNING, bank, find_layout, series, shoot
from tests.simulator.hard_cards import card
from tests.simulator.scenario import EVERYDAY, truth_json

#: What each mark of `tests/simulator/marks.py` is to be taken for; the others are filled.
CLASS_OF_MARK = {
    "": "empty",
    "specks": "empty",
    "erased": "erased",
    "dot": "unclear",
    "slash": "unclear",
    "ring": "unclear",
    "cancelled": "struck",
}


@dataclass(frozen=True, slots=True)
class Bubbles:
    """The bubbles of one card: ink (N, 45, 45) as bytes of 1/200, class, way, and the card's own figures."""

    ids: tuple[str, ...]
    patches: NDArray[np.uint8]
    labels: NDArray[np.int8]
    styles: tuple[str, ...]
    pen: float
    form: str
    about: str


def _bytes(patches: NDArray[np.float32]) -> NDArray[np.uint8]:
    return np.clip(patches * 200 + 0.5, 0, 255).astype(np.uint8)


def of_card(seed: int, families: str) -> Bubbles:
    """Make one quick card and cut its bubbles out."""
    import cv2

    cv2.setNumThreads(1)
    made = card(seed, families)
    layout = arrange(load_form(made.form), PAPERS[made.paper]).layout
    ink = ink_of(made.flat, np.full_like(made.flat, 255), layout)
    around = bubble_patches(ink, layout)
    pen = pen_darkness(digit_patches(ink, layout), around)
    ids = tuple(c.id for c in cells_of_kind(layout, "bubble"))
    labels = np.array([CLASSES.index(made.kinds.get(i, "empty")) for i in ids], np.int8)
    styles = tuple(made.styles.get(i, "") for i in ids)
    about = f"{made.tool}|{made.print_}|{made.photo}"
    return Bubbles(ids, _bytes(around), labels, styles, pen, f"{made.form} {made.paper}", about)


def of_photo(job: tuple[str, float, int, str, str]) -> Bubbles | None:
    """Make one whole photo and cut its bubbles out; None when it is rejected before they are."""
    import cv2

    cv2.setNumThreads(1)
    name, severity, seed, form, paper = job
    shot = shoot(name, severity, seed, form=form, paper=paper, trouble=0.12, glyphs=bank())
    traces = Traces()
    (photo,) = photos_from_bytes(shot.encoded(), "photo")
    read_photo(photo, find_layout, traces)
    trace = traces.cards[0]
    if trace.ink is None or trace.layout is None or trace.patches is None:
        return None
    around = bubble_patches(trace.ink, trace.layout)
    marks = truth_json(shot.sheets[0])["marks"]
    ids = tuple(c.id for c in cells_of_kind(trace.layout, "bubble"))
    labels = np.array([CLASSES.index(CLASS_OF_MARK.get(marks.get(i, ""), "filled")) for i in ids], np.int8)
    styles = tuple(marks.get(i, "") for i in ids)
    pen = pen_darkness(trace.patches, around)
    return Bubbles(ids, _bytes(around), labels, styles, pen, f"{form} {paper}", f"scenario|{name}|{severity}")


def photo_jobs(photos: int, start: int) -> Iterator[tuple[str, float, int, str, str]]:
    """Yield so many photos of each condition."""
    for name in [*EVERYDAY, "mixed", "mixed", "mixed"]:
        for i, seed in enumerate(series(f"bubbles {name}", 0.0, photos, start)):
            form = ("round18", "round18", "round9", "round27")[i % 4]
            yield name, (0.2, 0.5, 0.8)[i % 3], seed, form, ("a4", "letter")[i % 2]


def main() -> None:
    """Write the bubbles of all cards, one card after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cards", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--families", choices=("known", "new", "all"), default="known")
    parser.add_argument("--photos", type=int, default=0)
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    start = REPORT if args.report else TUNING
    seeds = range(start + args.first, start + args.first + args.cards)
    with ProcessPoolExecutor(args.jobs) as pool:
        found = list(pool.map(partial(of_card, families=args.families), seeds))
        found += [b for b in pool.map(of_photo, photo_jobs(args.photos, start)) if b is not None]
    np.savez_compressed(
        args.out,
        patches=np.concatenate([b.patches for b in found]),
        labels=np.concatenate([b.labels for b in found]),
        styles=np.array([s for b in found for s in b.styles]),
        ids=np.array([i for b in found for i in b.ids]),
        counts=np.array([len(b.ids) for b in found]),
        pens=np.array([b.pen for b in found]),
        forms=np.array([b.form for b in found]),
        about=np.array([b.about for b in found]),
    )
    print(f"{args.out}: {sum(len(b.ids) for b in found)} bubbles of {len(found)} cards")


if __name__ == "__main__":
    main()
