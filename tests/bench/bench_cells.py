"""Silent errors and questions per 1,000 cells: by condition, by kind of mark and by pen, resampled by writer.

Run: MNIST=… python -m tests.bench.bench_cells --photos 12 [--report] [--jobs 2] [--trouble 0.08] [--out F.md]
FILE.md]

Every photo shows a card of another hand. Cells of one hand are not independent, so intervals are those of
2,000 resamples of whole cards. A cell is silent when it is wrong and neither it nor its field is asked, and
asked when its field is. With --trouble some fields are marked badly on purpose (a dot, a slash, a ring, a
faint, an erased, a struck-out mark, a digit over another): these rows show whether such a mark is ever
misread in silence.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import read_photo
from tests.bench.cards import REPORT, TUNING, bank, find_layout, series, shoot
from tests.simulator.scenario import some_writer, truth_json

TEN = "clean,mixed,shadow,dusk,fold,bend,tilt,messenger,photocopy,coffee"
_RESAMPLES = 2_000
_GLYPHS = lru_cache(maxsize=1)(bank)


@dataclass(frozen=True, slots=True)
class Card:
    """What happened to the cells of one photo: group of cells -> how many, asked, silent."""

    condition: str
    rejected: str | None
    cells: Counter[tuple[str, str]] = field(default_factory=Counter)
    asked: Counter[tuple[str, str]] = field(default_factory=Counter)
    silent: Counter[tuple[str, str]] = field(default_factory=Counter)
    errors: tuple[str, ...] = ()


def one(job: tuple[str, float, int, float, int]) -> Card:
    """Make and read one photo."""
    import cv2

    cv2.setNumThreads(1)
    name, severity, seed, trouble, long_px = job
    shot = shoot(name, severity, seed, trouble=trouble, long_px=long_px, glyphs=_GLYPHS())
    (photo,) = photos_from_bytes(shot.encoded(), name)
    reading, *_ = read_photo(photo, find_layout)
    if reading.status != "read":
        return Card(name, reading.reason)
    pen = some_writer(np.random.default_rng(seed), _GLYPHS()).pen.name  # as `shoot` draws it
    truth = truth_json(shot.sheets[0])
    card, errors = Card(name, None), []
    for cell, value in reading.cells.items():
        if cell.endswith(".strip"):
            continue
        true = truth["cells"][cell]
        is_bubble = isinstance(true, bool)
        kind = "bubble" if is_bubble else "digit"
        marked = true is True if is_bubble else true is not None
        style = truth["marks"].get(cell)
        groups = [("kind", kind), ("condition", f"{name} {kind}"), ("pen", f"{pen} {kind}")]
        groups.append(("marked", f"{kind}, {'marked' if marked else 'empty'}"))
        if style is not None:
            groups.append(("mark", f"{style} ({kind})"))
        asked = value.flag is not None or reading.fields[cell.rsplit(".", 1)[0]].flag is not None
        silent = value.value != true and not asked
        for group in groups:
            card.cells[group] += 1
            card.asked[group] += asked
            card.silent[group] += silent
        if silent:
            errors.append(
                f"{name} {severity:g} seed {seed} {cell}: read {value.value}, true {true} {style or ''}"
            )
    return Card(card.condition, None, card.cells, card.asked, card.silent, tuple(errors))


def per_thousand(cards: list[Card], of: str, group: tuple[str, str]) -> tuple[float, float, float]:
    """So many in 1,000 cells of a group, and the 95 % interval over resampled cards."""
    some = [card for card in cards if card.cells[group]]
    cells = np.array([card.cells[group] for card in some], float)
    hits = np.array([getattr(card, of)[group] for card in some], float)
    pick = np.random.default_rng(1).integers(len(some), size=(_RESAMPLES, len(some)))
    again = 1000 * hits[pick].sum(axis=1) / cells[pick].sum(axis=1)
    low, high = np.quantile(again, [0.025, 0.975])
    return 1000 * float(hits.sum() / cells.sum()), float(low), float(high)


def table(cards: list[Card], dimension: str) -> list[str]:
    """Lines of a Markdown table of all groups of one dimension."""
    groups = sorted({group for card in cards for group in card.cells if group[0] == dimension})
    lines = [
        f"| {dimension} | cards | cells | silent | per 1,000 (95 %) | asked per 1,000 (95 %) |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for group in groups:
        cells = sum(card.cells[group] for card in cards)
        silent = sum(card.silent[group] for card in cards)
        writers = sum(card.cells[group] > 0 for card in cards)
        s, s_low, s_high = per_thousand(cards, "silent", group)
        a, a_low, a_high = per_thousand(cards, "asked", group)
        lines.append(
            f"| {group[1]} | {writers} | {cells:,} | {silent} | {s:.2f} ({s_low:.2f} to {s_high:.2f}) "
            f"| {a:.1f} ({a_low:.1f} to {a_high:.1f}) |"
        )
    return lines


def main() -> None:
    """Print the tables, or write them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=12, help="of each condition")
    parser.add_argument("--conditions", default=TEN)
    parser.add_argument("--severity", type=float, default=0.5)
    parser.add_argument("--trouble", type=float, default=0.0, help="share of fields marked badly on purpose")
    parser.add_argument("--long-px", type=int, default=3000)
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, help="Markdown file to write the tables to")
    args = parser.parse_args()
    start = REPORT if args.report else TUNING
    jobs = []
    for name in args.conditions.split(","):
        severity = 0.0 if name in ("mixed", "clean") else args.severity
        # Other seeds than the benches by condition, which have looked at theirs.
        for seed in series(f"cells {name}", severity + args.trouble, args.photos, start):
            jobs.append((name, severity, seed, args.trouble, args.long_px))
    cards = []
    with ProcessPoolExecutor(args.jobs) as pool:
        for done, card in enumerate(pool.map(one, jobs, chunksize=2), start=1):
            cards.append(card)
            if done % 20 == 0:
                print(f"{done} of {len(jobs)} photos", flush=True)
    read = [card for card in cards if card.rejected is None]
    lines = [f"{len(cards)} photos, {len(cards) - len(read)} rejected, trouble {args.trouble:g}.", ""]
    for reason, times in Counter(c.rejected for c in cards if c.rejected).most_common():
        lines.append(f"- rejected {times}: {reason}")
    for dimension in ("kind", "marked", "condition", "mark", "pen"):
        lines += ["", *table(read, dimension)]
    lines += ["", *[f"- {error}" for card in read for error in card.errors]]
    print("\n".join(lines))
    if args.out:
        args.out.write_text("\n".join(lines) + "\n", "utf-8")


if __name__ == "__main__":
    main()
