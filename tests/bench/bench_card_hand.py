"""Cards in the hands of real writers: what the digit network and the card's own hand ask and miss.

Run: python -m tests.bench.bench_card_hand --hands NPZ --cards 100 [--part report] [--jobs 2]

Unlike the other benches, every card here is written with the digits of one writer, thinned to pen paths and
drawn by the simulator's pens, and photographed under any conditions. Writers of the part "report" trained and
tuned nothing (`scan.vision.training.hands`). Each card is decoded twice from the same ink: boxes alone, and
with all boxes telling of each other (`scan.vision.deciding.card_hand`).
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from shortpencil.scan.vision.deciding.decode import Decoded, decode
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.training import hands
from tests.bench.cards import REPORT, TUNING, find_layout
from tests.simulator.blanks import blank_card
from tests.simulator.glyphs import GlyphBank
from tests.simulator.scenario import (
    Shot,
    fill,
    mixed,
    photograph,
    round_answers,
    some_player,
    some_writer,
    truth_json,
)

FORMS = ("round18", "round18", "round9", "round27")
LONG_PX = (2200, 3000, 4000)
#: Fewer digits of a writer do not make a card of one hand.
_FEWEST = 200


@lru_cache(maxsize=2)
def writers(file: Path, part: str) -> tuple[GlyphBank, dict[str, np.ndarray]]:
    """The digits of a part as the simulator draws them, and which are whose."""
    held = hands.load(file, part)
    small = [np.asarray(cv2.resize(i, (28, 28), interpolation=cv2.INTER_AREA), np.uint8) for i in held.images]
    mine = {str(w): np.flatnonzero(held.writers == w) for w in np.unique(held.writers)}
    mine = {w: rows for w, rows in mine.items() if len(rows) >= _FEWEST}
    return GlyphBank(np.stack(small), held.labels), mine


def shoot(file: Path, part: str, seed: int) -> Shot:
    """Return a photo of a card that one of the writers filled in."""
    rng = np.random.default_rng(seed)
    bank, mine = writers(file, part)
    blank = blank_card(str(rng.choice(FORMS)), paper="a4", px_per_mm=12.0)
    how = mixed(seed, long_px=int(rng.choice(LONG_PX)))
    name = sorted(mine)[int(rng.integers(len(mine)))]
    samples = {}
    for digit in range(10):
        pool = rng.permutation(mine[name][bank.labels[mine[name]] == digit])[:40]
        samples[digit] = tuple(int(i) for i in pool if bank.glyph(int(i)) is not None)
    writer = replace(some_writer(rng, None, share_styled=0.0), samples=samples, styles={}, slant=0.0)
    answers = round_answers(blank.field_map, some_player(rng), seed)
    page, scale = blank.page, blank.px_per_mm
    sheet = fill(
        page, scale, blank.field_map, answers, writer, seed, bank=bank, condition=how, serial=blank.serial
    )
    return photograph(sheet, how, seed)


def count(decoded: Decoded, truth: dict[str, object]) -> Counter[str]:
    """What is asked and what is silently wrong among the digit boxes of a card."""
    found = Counter(cards=1)
    for cell, value in decoded.cells.items():
        true = truth[cell]
        if cell.endswith(".strip") or isinstance(true, bool):
            continue
        kind = "blank" if true is None else "digit"
        asked = value.flag is not None or decoded.fields[cell.rsplit(".", 1)[0]].flag is not None
        found[kind] += 1
        found[f"{kind} asked"] += asked
        found[f"{kind} silent"] += not asked and value.value != true
    return found


def one(job: tuple[Path, str, int]) -> tuple[Counter[str], Counter[str]] | None:
    """Count one card, boxes alone and with its own hand; None where the photo is refused."""
    cv2.setNumThreads(1)
    shot = shoot(*job)
    (photo,) = photos_from_bytes(shot.encoded(), "card")
    traces: list[Trace] = []
    (reading, *_) = read_photo(photo, find_layout, traces)
    trace = traces[0]
    if reading.status != "read" or trace.layout is None or trace.evidence is None:
        return None
    truth = truth_json(shot.sheets[0])["cells"]
    alone = decode(trace.layout.form, replace(trace.evidence, looks={}))
    return count(alone, truth), count(decode(trace.layout.form, trace.evidence), truth)


def main() -> None:
    """Print a line for each way."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", type=Path, required=True, help="NPZ of digits by writer")
    parser.add_argument("--cards", type=int, default=20)
    parser.add_argument("--part", default="tune", choices=["tune", "report"])
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    first = (REPORT if args.part == "report" else TUNING) + 7_000
    jobs = [(args.hands, args.part, first + k) for k in range(args.cards)]
    with ProcessPoolExecutor(args.jobs) as pool:
        done = [found for found in pool.map(one, jobs) if found is not None]
    print(f"{args.cards} cards, {args.cards - len(done)} refused")
    for name, which in (("boxes alone", 0), ("with the card's own hand", 1)):
        total = sum((found[which] for found in done), Counter[str]())
        parts = [
            f"{kind}: asked {1000 * total[f'{kind} asked'] / max(total[kind], 1):.1f} per 1,000, "
            f"silent {total[f'{kind} silent']} of {total[kind]:,}"
            for kind in ("digit", "blank")
        ]
        print(f"{name:<26} {'; '.join(parts)}")


if __name__ == "__main__":
    main()
