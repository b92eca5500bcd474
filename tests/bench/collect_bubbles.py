"""Collects patches of simulated bubbles for training and judging the bubble network.

Run: python -m tests.bench.collect_bubbles --learn --cards 8300 --jobs 16 --blanks FIRST.npz --out DIR
then: python -m shortpencil.scan.vision.training.bubbles DIR/*.npz --out scan/vision/seeing/bubbles.npz
and to judge: python -m tests.bench.collect_bubbles --report --cards 50 --families new --out NEW.npz

`--cards` takes cards of `tests/simulator/hard_cards.py`, which leaves out families of marks, tools and prints
on request, of any edition whose blank pages were saved (`--save-blanks --out FILE` writes this version's; run
by an earlier version it writes an earlier edition's); `--photos` takes whole photos of
`tests/simulator/scenario.py`, so many of each condition. Tuning seeds, unless `--report` asks for others.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.catalog import load_form
from shortpencil.forms.field_map import layout_from_json
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing.bubbles import CLASSES, bubble_patches, pen_darkness
from shortpencil.scan.vision.seeing.ink import ink_of
from shortpencil.scan.vision.seeing.patches import cells_of_kind, digit_patches
from shortpencil.scan.vision.training.bubble_cards import CardBubbles, bubbles_to_learn, save
from tests.bench.cards import REPORT, TUNING, bank, find_layout, series, shoot
from tests.simulator.blanks import save_blanks, saved_blanks
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


def of_card(seed: int, families: str, blanks: Path | None = None) -> Bubbles:
    """Make one quick card and cut its bubbles out."""
    import cv2

    cv2.setNumThreads(1)
    made = card(seed, families, blanks=None if blanks is None else saved_blanks(blanks))
    layout = layout_of(made.form, made.paper, blanks)
    ink = ink_of(made.flat, np.full_like(made.flat, 255), layout)
    around = bubble_patches(ink, layout)
    pen = pen_darkness(digit_patches(ink, layout), around)
    ids = tuple(c.id for c in cells_of_kind(layout, "bubble"))
    labels = np.array([CLASSES.index(made.kinds.get(i, "empty")) for i in ids], np.int8)
    styles = tuple(made.styles.get(i, "") for i in ids)
    about = f"{made.tool}|{made.print_}|{made.photo}"
    return Bubbles(ids, _bytes(around), labels, styles, pen, f"{made.form} {made.paper}", about)


@cache
def layout_of(form: str, paper: str, blanks: Path | None = None) -> Layout:
    """Return the layout of a card as this version prints it, or as the one did that saved the blanks."""
    if blanks is None:
        return arrange(load_form(form), PAPERS[paper]).layout
    return layout_from_json(json.dumps(saved_blanks(blanks)[form, paper].field_map))


#: Cards of one file to learn from.
_A_FILE = 100


def to_learn(first: int, last: int, families: str, blanks: tuple[Path, ...], out: Path) -> int:
    """Write the bubbles of some cards as the network sees them, each of another edition in turn."""
    cards: list[CardBubbles] = []
    for seed in range(first, last):
        edition = blanks[seed % len(blanks)] if blanks else None
        made = of_card(seed, families, edition)
        name, paper = made.form.split()
        ink, rng = made.patches.astype(np.float32) / 200, np.random.default_rng([seed, 5])
        labels = made.labels.astype(np.int64)
        cards += bubbles_to_learn(ink, labels, layout_of(name, paper, edition), made.pen, rng)
    save(cards, out / f"learn{first:06}.npz")
    return len(cards)


def of_photo(job: tuple[str, float, int, str, str]) -> Bubbles | None:
    """Make one whole photo and cut its bubbles out; None when it is rejected before they are."""
    import cv2

    cv2.setNumThreads(1)
    name, severity, seed, form, paper = job
    shot = shoot(name, severity, seed, form=form, paper=paper, trouble=0.12, glyphs=bank())
    traces: list[Trace] = []
    (photo,) = photos_from_bytes(shot.encoded(), "photo")
    read_photo(photo, find_layout, traces)
    trace = traces[0]
    if trace.ink is None or trace.layout is None or trace.patches is None:
        return None
    around = bubble_patches(trace.ink, trace.layout)
    marks = truth_json(shot.sheets[0])["marks"]
    ids = tuple(c.id for c in cells_of_kind(trace.layout, "bubble"))
    labels = np.array([CLASSES.index(CLASS_OF_MARK.get(marks.get(i, ""), "filled")) for i in ids], np.int8)
    styles = tuple(marks.get(i, "") for i in ids)
    pen = pen_darkness(trace.patches, around)
    return Bubbles(ids, _bytes(around), labels, styles, pen, f"{form} {paper}", f"scenario|{name}|{severity}")


def _to_learn(first: int, families: str, blanks: tuple[Path, ...], out: Path) -> int:
    return to_learn(first, first + _A_FILE, families, blanks, out)


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
    parser.add_argument("--learn", action="store_true", help="write what the network learns from, a folder")
    parser.add_argument("--blanks", type=Path, nargs="*", default=[], help="saved blank pages, one a file")
    parser.add_argument(
        "--save-blanks", action="store_true", help="write this version's blank pages to --out"
    )
    args = parser.parse_args()
    start = REPORT if args.report else TUNING
    if args.save_blanks:
        save_blanks(args.out)
        return
    if args.learn:
        args.out.mkdir(parents=True, exist_ok=True)
        firsts = range(start + args.first, start + args.first + args.cards, _A_FILE)
        work = partial(_to_learn, families=args.families, blanks=tuple(args.blanks), out=args.out)
        with ProcessPoolExecutor(args.jobs) as pool:
            for done, first in enumerate(pool.map(work, firsts), 1):
                print(f"{done} of {len(firsts)}: {first}", flush=True)
        return
    seeds = range(start + args.first, start + args.first + args.cards)
    with ProcessPoolExecutor(args.jobs) as pool:
        edition = args.blanks[0] if args.blanks else None
        found = list(pool.map(partial(of_card, families=args.families, blanks=edition), seeds))
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
