"""Two photos of one card against each alone: questions and silent errors, by how much two photos are worth.

Run: python -m tests.bench.bench_together --pairs 6 [--conditions dusk:0.7,glare:0.6] [--report]
`scan.vision.joining.together.WORTH` was chosen on its tuning seeds.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

from shortpencil.scan.reading import CardReading
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.joining.together import combined, disagreements
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from tests.bench.cards import REPORT, TUNING, bank, find_layout, seed_of
from tests.simulator.blanks import blank_card
from tests.simulator.scenario import (
    Sheet,
    condition,
    fill,
    photograph,
    round_answers,
    some_player,
    some_writer,
)

CONDITIONS = (
    "dusk:0.7,defocus:0.7,motion:0.6,messenger:0.9,glare:0.7,shadow:0.9,crumple:0.8,low-toner:0.7,sheen:0.7"
)
WORTHS = (0.0, 0.25, 0.5, 0.75, 1.0)


def pair(name: str, severity: float, seed: int) -> tuple[Sheet, list[Trace], list[CardReading]]:
    """Two photos of one sheet, as read."""
    rng = np.random.default_rng(seed)
    glyphs, blank = bank(), blank_card("round18", px_per_mm=12.0)
    how = condition(name, severity, seed, long_px=3000)
    sheet = fill(
        blank.page,
        blank.px_per_mm,
        blank.field_map,
        round_answers(blank.field_map, some_player(rng), seed),
        some_writer(rng, glyphs),
        seed,
        bank=glyphs,
        condition=how,
        trouble=0.04,
        serial=blank.serial,
    )
    other = replace(condition(name, severity, seed + 7, long_px=3000), job=how.job, stock=how.stock)
    traces, readings = [], []
    for i, view in enumerate((how, other)):
        shot = photograph(sheet, view, seed + 31 * i)
        (photo,) = photos_from_bytes(shot.encoded(), "photo")
        kept: list[Trace] = []
        readings.append(read_photo(photo, find_layout, kept)[0])
        traces.append(kept[0])
    return sheet, traces, readings


def main() -> None:
    """Print a line for single photos and one for each worth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=6, help="of each condition")
    parser.add_argument("--conditions", default=CONDITIONS)
    parser.add_argument("--report", action="store_true")
    args = parser.parse_args()
    ways = ["first alone", *(f"worth {w}" for w in WORTHS)]
    cells, asked, silent, wrong = Counter[str](), Counter[str](), Counter[str](), Counter[str]()
    cards = differing = 0
    for text in args.conditions.split(","):
        name, severity = text.split(":")
        for i in range(args.pairs):
            seed = seed_of(f"together {text} {i}", REPORT if args.report else TUNING)
            sheet, traces, readings = pair(name, float(severity), seed)
            evidences = [trace.evidence for trace in traces]
            if any(e is None for e in evidences) or readings[0].status != "read":
                continue
            layout = traces[0].layout
            assert layout is not None
            cards += 1
            differing += len(disagreements(evidences))  # type: ignore[arg-type]
            results = [decode(layout.form, evidences[0])]  # type: ignore[arg-type]
            results += [decode(layout.form, combined(evidences, w)) for w in WORTHS]  # type: ignore[arg-type]
            for way, result in zip(ways, results, strict=True):
                for cell, value in result.cells.items():
                    if cell.endswith(".strip"):
                        continue
                    flagged = result.fields[cell.rsplit(".", 1)[0]].flag is not None or value.flag is not None
                    cells[way] += 1
                    asked[way] += flagged
                    off = value.value != sheet.cells[cell]
                    wrong[way] += off
                    silent[way] += off and not flagged
        print(f"{text}: {cards} cards so far, {differing} cells on which two photos disagree", flush=True)
        for way in ways:
            n = max(cells[way], 1)
            print(
                f"    {way:<12} asked {1000 * asked[way] / n:6.2f} of 1,000, silent {silent[way]} of {n:,}, "
                f"wrong {wrong[way]}",
                flush=True,
            )


if __name__ == "__main__":
    main()
