"""Was it the hand or the photo? Cards with silent errors, photographed once more in good light.

Run: MNIST=… python -m tests.bench.bench_clean DIR/conditions.json  (as `bench_conditions --out DIR` wrote it)

A four that looks like a six is misread in any light. So each card of which a cell was silently wrong is
filled in by the same hand once more (the same seed) and photographed clean: a cell that is wrong or asked
there, too, was written that way; one that is right there was lost to the condition.
"""

from __future__ import annotations

import argparse
import json
import re
from collections import Counter
from pathlib import Path

import cv2

from tests.bench.cards import Counts, bank, count, shoot
from tests.simulator.scenario import truth_json

_LINE = re.compile(r"(?P<name>\S+) (?P<severity>[\d.]+) seed (?P<seed>\d+) (?P<cell>\S+): read (?P<read>\S+)")


def main() -> None:
    """Print each cell and, by kind of cell, how it fared in the clean photo."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=Path, help="conditions.json")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    glyphs, fared = bank(), Counter[tuple[str, str]]()
    for row in json.loads(args.file.read_text("utf-8")):
        for error in row["counts"]["errors"]:
            found = _LINE.search(error)
            if found is None:
                raise ValueError(f"expected a line of a silent error, found {error!r}")
            shot = shoot("clean", 0.0, int(found["seed"]), glyphs=glyphs)
            reading = count(shot, Counts(), "clean")
            true, cell = truth_json(shot.sheets[0])["cells"][found["cell"]], found["cell"]
            clean = reading.cells.get(cell)
            if clean is None:
                how = "photo refused"
            elif clean.flag is not None or reading.fields[cell.rsplit(".", 1)[0]].flag is not None:
                how = "asked"
            else:
                how = "right" if clean.value == true else "wrong"
            kind = "bubble" if isinstance(true, bool) else "digit"
            fared[(f"{kind} in {row['name']}", how)] += 1
            print(
                f"{row['name']} {row['severity']:g}: {kind} {true} read as {found['read']}; clean: {how}",
                flush=True,
            )
    for (kind, how), times in sorted(fared.items()):
        print(f"{kind}: {how} {times}")


if __name__ == "__main__":
    main()
