"""What reading a large photo from its small decode costs: the same photos, read small and read whole.

Run: python -m tests.bench.bench_decoded_small [--photos 100] [--from 4.5] [--to 5.28] [--first 0] [--report]

Photos that a phone would store as a JPEG of 12 megapixels or a little less, of conditions and families in
turn, are drawn until so many have a card whose marks, in the half that is decoded first, have a resolution
between the two (`pipeline.SMALL_PX_PER_MM` decides there). Without --report tuning seeds are used. Each is
read from the half and from the whole; told are the cells that differ, the tables of errors and questions,
and the processor time of decoding and reading.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Iterator
from unittest import mock

import cv2
import numpy as np

from shortpencil.forms.fiducials import MARKER_MM
from shortpencil.scan.reading import CardReading
from shortpencil.scan.vision import pipeline
from shortpencil.scan.vision.finding.corners import find_marks
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from tests.bench.cards import REPORT, TUNING, Counts, count, shoot
from tests.simulator.families import HELD_OUT, TUNED_ON, family_shot
from tests.simulator.scenario import EVERYDAY, Shot

#: Long sides of pictures that are decoded at half their size.
_LONG_PX = (3640, 3760, 3880, 4000)
_WORST, _TROUBLE = 0.7, 0.06
_FORMS = ("round18", "round18", "round9", "round27")
#: What `SMALL_PX_PER_MM` is for each way of reading.
_READ = {"whole": np.inf, "small": 0.0}


def some_shot(seed: int) -> tuple[str, Shot]:
    """Return a photo, and how it was made."""
    rng = np.random.default_rng([seed, 5])
    name = str(rng.choice([*EVERYDAY, *TUNED_ON, *HELD_OUT]))
    hard, long_px = float(rng.uniform(0, _WORST)), int(rng.choice(_LONG_PX))
    if name in EVERYDAY:
        form = str(rng.choice(_FORMS))
        shot = shoot(name, hard, seed, form=form, long_px=long_px, trouble=_TROUBLE, px_per_mm=11.0)
    else:
        shot = family_shot(name, hard, seed, long_px=long_px, trouble=_TROUBLE, px_per_mm=11.0)
    return f"{name}@{hard:.2f} seed {seed}", shot


def px_per_mm_of_half(data: bytes) -> float | None:
    """Return the resolution of the card in the picture decoded first; None where that is the whole."""
    (photo,) = photos_from_bytes(data, "photo")
    sides = [mark.side_px for mark in find_marks(photo.gray)] if photo.finer is not None else []
    return statistics.mean(sides) / MARKER_MM if sides else None


def shots(first: int, low: float, high: float) -> Iterator[tuple[str, Shot]]:
    """Yield photos of cards with a resolution from `low` to `high` in the half."""
    seed = first
    while True:
        label, shot = some_shot(seed)
        px_per_mm = px_per_mm_of_half(shot.encoded())
        if px_per_mm is not None and low <= px_per_mm < high:
            yield f"{label}, {px_per_mm:.2f} px/mm", shot
        seed += 1


def differing(one: CardReading, other: CardReading) -> str:
    """Say in which fields two readings differ, by value or by whether it is asked."""
    if one.status != other.status:
        return f"{one.status} ({one.reason}), {other.status} ({other.reason})"
    return ", ".join(
        f"{name} {a.value}{'?' * (a.flag is not None)} {b.value}{'?' * (b.flag is not None)}"
        for (name, a), b in zip(one.fields.items(), other.fields.values(), strict=True)
        if a.value != b.value or (a.flag is None) != (b.flag is None)
    )


def main() -> None:
    """Print what differs, photo by photo, and a table of both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=100)
    parser.add_argument("--from", dest="low", type=float, default=4.5)
    parser.add_argument("--to", dest="high", type=float, default=5.28)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    totals = {way: Counts() for way in _READ}
    took: dict[str, list[float]] = {way: [] for way in _READ}
    found = shots((REPORT if args.report else TUNING) + args.first, args.low, args.high)
    for _, (label, shot) in zip(range(args.photos), found, strict=False):
        readings = []
        for way, least in _READ.items():
            with mock.patch.object(pipeline, "SMALL_PX_PER_MM", least):
                start = time.process_time()
                readings.append(count(shot, totals[way], label))
                took[way].append(1000 * (time.process_time() - start))
        print(f"{label}: {differing(*readings) or 'alike'}", flush=True)
    for way, total in totals.items():
        print(f"{total.line(way)} | {statistics.median(took[way]):.0f} ms")
        print("\n".join(f"    silent: {error}" for error in total.errors))


if __name__ == "__main__":
    main()
