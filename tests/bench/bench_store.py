"""Time and memory of the store against the number of rounds; run by hand.

Run: python -m tests.bench.bench_store [--sizes 100,1000,10000,100000] [--steps import,whole] [--store URL]
Goals of the project: 1,000 rounds a second imported, 20,000 a second read, an export in constant memory.

Rounds are invented, 18 holes with some 60 marked throws, each value with a probability as a read card has:
13 kB of JSON a round. Times are processor time of one process, in microseconds a round; beside them stands
what Python's own `json.loads` takes for the same records, which moves as the machine does. Each step of each
size runs in a process of its own, so that its peak of memory is its own.

- import: files to rounds, checked against the schema, and into a new store with its seals
- again: the same rounds once more, which changes nothing
- columns: a line's worth of every round (`rounds`), the seal of each row checked
- whole: every round with all its values (`focus`), the seal of each row checked
- export: the store to CSV and JSON files
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.exchanging.importing import open_rounds
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of

STEPS = ("import", "again", "columns", "whole", "export", "json.loads")


def read_cards(count: int, seed: int) -> Iterator[Round]:
    """Yield rounds as cards give them: serials in no order, a probability for each value."""
    generator = np.random.default_rng(seed)
    made = rounds_of(Player(name="Wren", spread=0.3), min(count, 500), generator, every_days=1)

    def seen(value: Value | None) -> Value | None:
        return None if value is None else replace(value, p=round(1 - 0.03 * float(generator.random()), 4))

    def throw(one: Throw) -> Throw:
        names = ("execution", "distance", "stance", "cause")
        return replace(one, **{name: seen(getattr(one, name)) for name in names})

    def hole(one: Hole) -> Hole:
        values = {name: seen(getattr(one, name)) for name in ("score", "penalty", "par")}
        return replace(one, **values, throws=tuple(throw(t) for t in one.throws))

    as_read = [replace(one, holes=tuple(hole(h) for h in one.holes)) for one in made]
    for number in range(count):
        serial = f"{generator.integers(2**32):08X}{number:06d}"
        yield replace(as_read[number % len(as_read)], id=serial, sources=(f"{number:064x}",))


def one_step(step: str, folder: Path, place: str) -> tuple[float, float]:
    """Do one step; return processor time in seconds and the peak of memory in MB."""
    start = time.process_time()
    if step in ("import", "again"):
        with open_store(place) as store:
            found = open_rounds(folder / "in" / "rounds.json")
            store.add_checked(found.pairs(), found.practice)
    elif step == "json.loads":
        taken = 0.0
        with (folder / "in" / "rounds.json").open(encoding="utf-8") as lines:
            for line in lines:
                if line.startswith('{"schema": 1, "id"'):
                    began = time.process_time()
                    json.loads(line.rstrip(",\n"))
                    taken += time.process_time() - began
        return taken, 0.0
    else:
        with open_store(place) as store:
            if step == "columns":
                store.summaries()
            elif step == "whole":
                for _ in getattr(store, "each_round", store.rounds)():
                    pass
            elif step == "export":
                write_export(folder / "out", getattr(store, "each_round", store.rounds)(), store.practice())
    taken = time.process_time() - start
    return taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Print a line for each number of rounds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", default="100,1000,10000")
    parser.add_argument("--store", help="an empty database of PostgreSQL for each size: a URL with {size}")
    parser.add_argument("--steps", default=",".join(STEPS), help="some of the steps, import first")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--step", nargs=3, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.step:
        print(*one_step(args.step[0], Path(args.step[1]), args.step[2]))
        return
    print("microseconds a round (and rounds a second); MB of memory at most")
    steps = args.steps.split(",")
    print(f"{'rounds':>8} " + " ".join(f"{step:>24}" for step in steps))
    for size in map(int, args.sizes.split(",")):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write_export(folder / "in", read_cards(size, args.seed))
            place = args.store.format(size=size) if args.store else str(folder / "rounds.sqlite")
            cells = []
            for step in steps:
                command = [sys.executable, "-m", "tests.bench.bench_store", "--step", step, name, place]
                out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
                taken, memory = map(float, out.split())
                cells.append(f"{1e6 * taken / size:,.0f} ({size / taken:,.0f}) {memory:.0f} MB")
            print(f"{size:>8} " + " ".join(f"{cell:>24}" for cell in cells), flush=True)


if __name__ == "__main__":
    main()
