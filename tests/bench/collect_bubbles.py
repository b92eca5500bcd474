"""Collects measures of simulated bubbles for training the bubble classifier; tuning seeds only.

Run: python -m tests.bench.collect_bubbles --photos 6 --jobs 2 --out bubbles.npz
then: python -m scan.vision.training.bubbles bubbles.npz --out scan/vision/bubbles.json
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scan.vision.bubbles import CLASSES, FEATURES
from scan.vision.photo import photos_from_bytes
from scan.vision.pipeline import Traces, read_photo
from tests.bench.cards import TUNING, bank, find_layout, series, shoot
from tests.simulator.scenario import EVERYDAY, truth_json

#: What each of the simulator's marks should be taken for.
CLASS_OF_MARK = {
    "": "blank",
    "specks": "blank",
    "dot": "unclear",
    "erased": "unclear",
    "slash": "unclear",
    "ring": "unclear",
    "cancelled": "struck",
}

Rows = tuple[NDArray[np.float64], NDArray[np.int64], int, str]


def one(job: tuple[str, float, int, str, str]) -> Rows | None:
    """Make one photo and measure its bubbles; None when it is rejected."""
    import cv2

    cv2.setNumThreads(1)
    name, severity, seed, form, paper = job
    shot = shoot(name, severity, seed, form=form, paper=paper, trouble=0.12, glyphs=bank())
    traces = Traces()
    (photo,) = photos_from_bytes(shot.encoded(), "photo")
    read_photo(photo, find_layout, traces)
    measured = traces.cards[0].bubbles
    if measured is None:
        return None
    marks = truth_json(shot.sheets[0])["marks"]
    labels = [CLASSES.index(CLASS_OF_MARK.get(marks.get(cell, ""), "filled")) for cell in measured.ids]
    return measured.features, np.array(labels), seed, name


def main() -> None:
    """Write features (N, 13), labels (N,), and the seed of each photo (N,)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=6)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    jobs = []
    for name in [*EVERYDAY, "mixed", "mixed", "mixed"]:
        for i, seed in enumerate(series(f"bubbles {name}", 0.0, args.photos, TUNING)):
            form = ("round18", "round18", "round9", "round27")[i % 4]
            jobs.append((name, (0.2, 0.5, 0.8)[i % 3], seed, form, ("a4", "letter")[i % 2]))
    with ProcessPoolExecutor(args.jobs) as pool:
        rows = [row for row in pool.map(one, jobs) if row is not None]
    np.savez_compressed(
        args.out,
        names=np.array(FEATURES),
        features=np.vstack([r[0] for r in rows]).astype(np.float32),
        labels=np.concatenate([r[1] for r in rows]).astype(np.int8),
        seeds=np.concatenate([np.full(len(r[1]), r[2]) for r in rows]),
    )
    print(f"{args.out}: {sum(len(r[1]) for r in rows)} bubbles of {len(rows)} photos, {len(jobs)} taken")


if __name__ == "__main__":
    main()
