"""How doubtful fields of everyday photos are asked, and how many of their guesses are wrong.

    python -m tests.bench.bench_asking --photos 40 --cache cards.pickle
    python -m tests.bench.bench_asking --photos 24 --conditions clean,shadow,tilt,messenger,fold,dusk --report

Photos of the simulator, a hand each: "mixed" is every condition mixed, others are at severity 0.3. `--cache`
keeps the readings (with the program that made them: delete it after a change of the reader).
"""

from __future__ import annotations

import argparse
import pickle
from collections import Counter
from pathlib import Path

import numpy as np

from shortpencil.scan.reading import GLANCE, ONE_BY_ONE, CardReading
from tests.bench.cards import REPORT, TUNING, bank, find_layout, shoot

Made = tuple[str, int, CardReading, dict]


def made(photos: int, conditions: str, start: int, cache: Path | None) -> list[Made]:
    """Readings with their truth, out of the cache where there is one."""
    from shortpencil.scan.vision.opening.photo import photos_from_bytes
    from shortpencil.scan.vision.pipeline import read_photo
    from tests.simulator.scenario import truth_json

    if cache and cache.exists():
        return list(pickle.loads(cache.read_bytes()))
    names = conditions.split(",")
    found: list[Made] = []
    for i in range(photos):
        name, seed = names[i % len(names)], start + 777 + i
        shot = shoot(name, 0.3, seed, trouble=0.02, glyphs=bank())
        (photo,) = photos_from_bytes(shot.encoded(), f"seed {seed}")
        (reading, *_) = read_photo(photo, find_layout)
        found.append((name, seed, reading, truth_json(shot.sheets[0])))
    if cache:
        cache.write_bytes(pickle.dumps(found))
    return found


def is_wrong(reading: CardReading, truth: dict, field: str) -> bool:
    """Whether any cell of the field was read otherwise than it is filled."""
    cells = (c for c in truth["cells"] if c.rsplit(".", 1)[0] == field)
    return any(reading.cells[c].value != truth["cells"][c] for c in cells)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--conditions", default="mixed")
    parser.add_argument("--report", action="store_true", help="seeds that nothing was tuned on")
    parser.add_argument("--cache", type=Path)
    args = parser.parse_args()
    found = made(args.photos, args.conditions, REPORT if args.report else TUNING, args.cache)
    read = [(r, t) for _, _, r, t in found if r.status == "read"]
    fields, wrong = Counter[str](), Counter[str]()
    per_card = []
    for reading, truth in read:
        for name in reading.flagged:
            how = reading.fields[name].ask or "left"
            fields[how] += 1
            wrong[how] += is_wrong(reading, truth, name)
        asks = Counter(reading.fields[name].ask for name in reading.flagged)
        per_card.append((asks[ONE_BY_ONE], asks[GLANCE], asks[None]))
    print(f"{len(found)} photos, {len(read)} readable")
    for how in (ONE_BY_ONE, GLANCE, "left"):
        a_card = fields[how] / max(len(read), 1)
        print(f"{how:<12} {a_card:5.2f} fields a card, {wrong[how]} of {fields[how]} wrong")
    alone, seen, _ = np.array(per_card).T
    every = np.array(per_card).sum(axis=1)
    print(f"single questions a card: median {np.median(alone):.0f}, most {alone.max()}")
    before, now = np.median(2 * every), np.median(2 * alone + 0.5 * seen)
    print(f"seconds by the model, median: {before:.1f} with a question each, now {now:.1f}")


if __name__ == "__main__":
    main()
