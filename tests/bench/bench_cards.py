"""Silent errors and flags per 1,000 cells on simulated photos, condition by condition.

Run: python -m tests.bench.bench_cards --photos 10 --conditions mixed,fold,shadow --severity 0.5 [--report]
Without --report the tuning seeds are used.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor

from tests.bench.cards import REPORT, TUNING, Counts, bank, count, series, shoot
from tests.simulator.scenario import CONDITIONS


def one(job: tuple[str, float, int, str, str, int, float]) -> Counts:
    """Make and read one photo."""
    import cv2

    cv2.setNumThreads(1)
    name, severity, seed, form, paper, long_px, trouble = job
    counts = Counts()
    shot = shoot(
        name, severity, seed, form=form, paper=paper, long_px=long_px, trouble=trouble, glyphs=bank()
    )
    count(shot, counts, f"{name}@{severity} seed {seed}")
    return counts


def main() -> None:
    """Print a line per condition and severity, and the silent errors."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=10)
    parser.add_argument(
        "--conditions", default="mixed,clean,shadow,dusk,defocus,fold,bend,tilt,messenger,photocopy"
    )
    parser.add_argument("--severity", default="0.3,0.6")
    parser.add_argument("--form", default="round18")
    parser.add_argument("--paper", default="a4")
    parser.add_argument("--long-px", type=int, default=3000)
    parser.add_argument("--trouble", type=float, default=0.0, help="share of fields made hard on purpose")
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    names = list(CONDITIONS) if args.conditions == "all" else args.conditions.split(",")
    start = REPORT if args.report else TUNING
    whole = Counts()
    with ProcessPoolExecutor(args.jobs) as pool:
        for name in names:
            for severity in [0.0] if name in ("mixed", "clean") else map(float, args.severity.split(",")):
                total = Counts()
                jobs = [
                    (name, severity, seed, args.form, args.paper, args.long_px, args.trouble)
                    for seed in series(name, severity, args.photos, start)
                ]
                for part in pool.map(one, jobs):
                    total.add(part)
                print(total.line(f"{name} {severity}"), flush=True)
                for reason, times in total.reasons.items():
                    print(f"      rejected {times}: {reason}")
                for error in total.errors:
                    print(f"      silent: {error}")
                whole.add(total)
    print(whole.line("all"))


if __name__ == "__main__":
    main()
