"""Refusals of readable photos, questions, silent errors and cell positions, family by family.

Run: python -m tests.bench.bench_families --photos 10 [--families copied-blank,bag] [--hard 0.3,0.8]
     [--report]

Families that nothing was tuned on are told apart from those that constants were chosen on, and hostile ones,
whose marks cannot all be made out, from both. Without --report tuning seeds are used.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from tests.bench.cards import REPORT, TUNING, Counts, bank, count, series
from tests.simulator.families import FAMILIES, HELD_OUT, HOSTILE, family_shot

Job = tuple[str, float, int, int]


def one(job: Job) -> tuple[Counts, str, list[float]]:
    """Make and read one photo: what happened, its reason or its errors in words, its questions."""
    import cv2

    cv2.setNumThreads(1)
    name, hard, seed, long_px = job
    counts = Counts()
    shot = family_shot(name, hard, seed, long_px=long_px, glyphs=bank())
    label = f"{name}@{hard:g} seed {seed}"
    reading = count(shot, counts, label)
    questions = [float(len(reading.flagged))] if reading.status == "read" else []
    return counts, f"{label}: {reading.reason or ''}", questions


def main() -> None:
    """Print a line per family and hardness, its refusals and its silent errors."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=10)
    parser.add_argument("--families", default="all")
    parser.add_argument("--hard", default="0.3,0.8")
    parser.add_argument("--long-px", type=int, default=3000)
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    names = list(FAMILIES) if args.families == "all" else args.families.split(",")
    start = REPORT if args.report else TUNING
    totals: dict[str, Counts] = {}
    asked: dict[str, list[float]] = {}
    with ProcessPoolExecutor(args.jobs) as pool:
        for name in names:
            kind = "held out" if name in HELD_OUT else "hostile" if name in HOSTILE else "tuned on"
            for hard in map(float, args.hard.split(",")):
                jobs = [(name, hard, seed, args.long_px) for seed in series(name, hard, args.photos, start)]
                total, questions, worst = Counts(), [0.0][:0], []
                for part, reason, some in pool.map(one, jobs):
                    total.add(part)
                    questions += some
                    if part.rejected:
                        print(f"      refused {reason}")
                    if part.offsets_mm:
                        worst.append(float(np.percentile(part.offsets_mm, 99)))
                    for error in part.errors[:6]:
                        print(f"      silent: {error}")
                    if len(part.errors) > 6:
                        print(f"      silent: and {len(part.errors) - 6} more")
                print(f"{kind:<8} {_line(f'{name} {hard:g}', total, questions)}", flush=True)
                totals.setdefault(kind, Counts()).add(total)
                asked.setdefault(kind, []).extend(questions)
    for kind, total in totals.items():
        print(f"{'all':<8} {_line(kind, total, asked[kind])}")


def _line(name: str, total: Counts, questions: list[float]) -> str:
    median, most = np.percentile(questions, (50, 90)) if questions else (0.0, 0.0)
    return f"{total.line(name)} | questions {median:.0f} ({most:.0f})"


if __name__ == "__main__":
    main()
