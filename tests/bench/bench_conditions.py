"""Conditions by severity: where reading stops, and whether anything is misread on the way there or beyond.

Run: python -m tests.bench.bench_conditions --photos 50 --jobs 16 --out DIR [--report]
     python -m tests.bench.bench_conditions --merge DIR1/conditions.json DIR2/conditions.json --out DIR

Severity 1 is as bad as it gets among photos that people send; up to 2 they only serve to see how reading
ends. A condition *stops being read* at the least severity at which half its photos are rejected. Written
under --out after each row: `conditions.json` (everything, to be merged) and `conditions.md` (tables for the
docs).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

import numpy as np

from shortpencil.scan.vision.opening.photo import photos_from_bytes
from tests.bench.cards import REPORT, TUNING, Counts, bank, count, series, shoot
from tests.bench.stages import stages_timed
from tests.simulator.scenario import CONDITIONS, GlyphBank

#: What differs most from one another; `--conditions all` takes every one.
DEFAULT = (
    "shadow,dusk,defocus,motion,tilt,wide-angle,fold,fold-in-eight,bend,crumple,messenger,photocopy,flatbed,fax,"
    "glare,sheen,exposure,cast,low-toner,stretch,yellow-paper,show-through,cut-off,torn,thumb-on-mark"
)
SEVERITIES = "0.3,0.6,1,1.5,2"
#: Kept of the offsets of a photo's cells: enough to tell the quantiles of a row.
_QUANTILES = np.linspace(0, 100, 101)


@dataclass(slots=True)
class Row:
    """What happened to the photos of one condition at one severity."""

    name: str
    severity: float
    counts: Counts = field(default_factory=Counts)
    offsets: list[list[float]] = field(default_factory=list)
    stages_ms: list[dict[str, float]] = field(default_factory=list)
    crashed: list[str] = field(default_factory=list)

    def add(self, other: Row) -> None:
        """Take in photos of the same condition and severity."""
        self.counts.add(other.counts)
        self.offsets += other.offsets
        self.stages_ms += other.stages_ms
        self.crashed += other.crashed

    @property
    def rejected_share(self) -> float:
        """Share of the photos that were not read."""
        return (self.counts.rejected + len(self.crashed)) / max(self.counts.photos + len(self.crashed), 1)

    @property
    def silent(self) -> int:
        """Cells read wrong of which nobody is asked."""
        return self.counts.silent.total()

    @property
    def times_ms(self) -> list[float]:
        """Processor time of reading each photo, its file's decoding included."""
        return [sum(stages.values()) for stages in self.stages_ms]

    def per_thousand(self, what: Counter[str], kind: str) -> float:
        """Cells of a kind in `what`, in 1,000 that were read."""
        return 1000 * what[kind] / max(self.counts.cells[kind], 1)

    def position_mm(self) -> tuple[float, float] | None:
        """Median and 99 % of how far a cell is from where the reader takes it to be; None without any."""
        everything = np.array(self.offsets)
        if not everything.size:
            return None
        return float(np.median(everything)), float(np.percentile(everything, 99))


Job = tuple[str, float, int, str, int]

_BANK: list[GlyphBank] = []


def start() -> None:
    """Make a worker ready: one core each, and what all photos share loaded once."""
    import cv2

    cv2.setNumThreads(1)
    _BANK.append(bank())


def one(job: Job) -> Row:
    """Make and read one photo."""
    name, severity, seed, form, long_px = job
    row = Row(name, severity)
    label = f"{name} {severity:g} seed {seed}"
    shot = shoot(name, severity, seed, form=form, long_px=long_px, glyphs=_BANK[0])
    data = shot.encoded()
    began = time.process_time()
    list(photos_from_bytes(data, label))
    opened_ms = 1000 * (time.process_time() - began)
    with stages_timed() as stages:
        try:
            count(shot, row.counts, label, [])
        except Exception as error:  # the very thing a benchmark of bad photos has to report
            row.crashed.append(f"{label}: {type(error).__name__}: {error}")
            row.counts = Counts()
    stages.ms["photo"] = opened_ms
    row.stages_ms.append({stage: round(ms, 2) for stage, ms in stages.ms.items()})
    if row.counts.offsets_mm:
        row.offsets.append(np.percentile(row.counts.offsets_mm, _QUANTILES).round(4).tolist())
        row.counts.offsets_mm = []
    return row


def measured(jobs: Sequence[Job], workers: int) -> Iterator[Row]:
    """Yield a row for each condition and severity, in the order of the jobs."""
    began, row = time.monotonic(), None
    # Fresh interpreters: a fork would copy whatever threads the libraries have started.
    how = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=how, initializer=start) as pool:
        for done, part in enumerate(pool.map(one, jobs, chunksize=2), start=1):
            if row is not None and (row.name, row.severity) != (part.name, part.severity):
                yield row
                row = None
            if row is None:
                row = part
                print(f"{done:>5}/{len(jobs)} {time.monotonic() - began:6.0f} s  {part.name}", flush=True)
            else:
                row.add(part)
    if row is not None:
        yield row


def to_json(row: Row) -> dict[str, Any]:
    """Plain types of a row; see `from_json`."""
    parts = {part.name: getattr(row, part.name) for part in fields(row)}
    return {**parts, "counts": {part.name: getattr(row.counts, part.name) for part in fields(Counts)}}


def from_json(data: Mapping[str, Any]) -> Row:
    """Return the row that `to_json` wrote."""
    counts = Counts(**data["counts"])
    for name in ("reasons", "cells", "flagged", "silent", "wrong_flagged"):
        setattr(counts, name, Counter(getattr(counts, name)))
    return Row(**{**data, "counts": counts})


def stops_at(rows: Sequence[Row]) -> float | None:
    """Return the least severity of one condition at which half the photos are rejected, or None."""
    return min((row.severity for row in rows if row.rejected_share >= 0.5), default=None)


def markdown(rows: Sequence[Row]) -> str:
    """Return the tables."""
    by_name: dict[str, list[Row]] = {}
    for row in rows:
        by_name.setdefault(row.name, []).append(row)
    return "\n".join([*_by_severity(rows), "", *_limits(by_name), "", *_stage_times(rows), ""])


def _by_severity(rows: Sequence[Row]) -> list[str]:
    lines = [
        "| condition | severity | photos | rejected | bubbles: silent / asked per 1,000 "
        "| digits: silent / asked per 1,000 | cell position, median / 99 % | ms a photo |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        kinds = [
            f"{row.per_thousand(row.counts.silent, kind):.2f} ({row.counts.silent[kind]}) / "
            f"{row.per_thousand(row.counts.flagged, kind):.1f}"
            if row.counts.cells[kind]
            else "–"
            for kind in ("bubble", "digit")
        ]
        position = row.position_mm()
        where = "–" if position is None else f"{position[0]:.2f} / {position[1]:.2f} mm"
        photos = row.counts.photos + len(row.crashed)
        lines.append(
            f"| {row.name} | {row.severity:g} | {photos} | {row.counts.rejected + len(row.crashed)} "
            f"| {kinds[0]} | {kinds[1]} | {where} | {np.median(row.times_ms):.0f} |"
        )
    return lines


def _limits(by_name: Mapping[str, Sequence[Row]]) -> list[str]:
    lines = [
        "| condition | stops being read at | read beyond it | silent there, cells | silent before it, cells "
        "| beyond it: rejected or asked, never misread |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for name, rows in by_name.items():
        stop = stops_at(rows)
        beyond = [row for row in rows if stop is not None and row.severity >= stop]
        before = [row for row in rows if stop is None or row.severity < stop]
        photos = sum(row.counts.photos for row in beyond)
        read = photos - sum(row.counts.rejected for row in beyond)
        silent, cells = _silent(beyond)
        holds = "not reached" if stop is None else "holds" if silent + _wrong(beyond) == 0 else "**fails**"
        limit = f"not up to {max(row.severity for row in rows):g}" if stop is None else f"{stop:g}"
        before_silent, before_cells = _silent(before)
        lines.append(
            f"| {name} | {limit} | {f'{read} of {photos}' if beyond else '–'} | {silent} of {cells:,} "
            f"| {before_silent} of {before_cells:,} | {holds} |"
        )
    everything = [row for rows in by_name.values() for row in rows]
    silent, cells = _silent(everything)
    photos, rejected, cards = (
        sum(getattr(row.counts, name) for row in everything)
        for name in ("photos", "rejected", "silent_cards")
    )
    lines += [
        "",
        f"Together {photos:,} photos, {rejected:,} rejected; {silent} of {cells:,} cells silently wrong, on "
        f"{cards} cards; {_wrong(everything)} taken for another card; "
        f"{sum(len(row.crashed) for row in everything)} crashes.",
    ]
    return lines


def _silent(rows: Sequence[Row]) -> tuple[int, int]:
    return sum(row.silent for row in rows), sum(row.counts.cells.total() for row in rows)


def _wrong(rows: Sequence[Row]) -> int:
    return sum(row.counts.wrong_card for row in rows)


def _stage_times(rows: Sequence[Row]) -> list[str]:
    """Stage by stage, over all photos that were read to the end or not."""
    photos = [stages for row in rows for stages in row.stages_ms]
    names = sorted({name for stages in photos for name in stages})
    table = {name: np.array([stages.get(name, 0.0) for stages in photos]) for name in names}
    lines = ["| stage | median | 99 % |", "| --- | --- | --- |"]
    for name in sorted(names, key=lambda n: -float(np.median(table[n]))):
        lines.append(
            f"| {name} | {np.median(table[name]):.1f} ms | {np.percentile(table[name], 99):.0f} ms |"
        )
    whole = np.array([sum(stages.values()) for stages in photos])
    lines.append(f"| all | {np.median(whole):.0f} ms | {np.percentile(whole, 99):.0f} ms |")
    return lines


def write(rows: Sequence[Row], folder: Path) -> None:
    """Write both files anew."""
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps([to_json(row) for row in rows], indent=1)
    (folder / "conditions.json").write_text(text, encoding="utf-8")
    (folder / "conditions.md").write_text(markdown(rows), encoding="utf-8")


def main() -> None:
    """Measure, or merge what was measured, and write the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--conditions", default=DEFAULT, help="names with commas, or all")
    parser.add_argument("--severities", default=SEVERITIES)
    parser.add_argument("--photos", type=int, default=50, help="in each row")
    parser.add_argument("--form", default="round18")
    parser.add_argument("--long-px", type=int, default=3000)
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--merge", type=Path, nargs="+", default=[], help="earlier conditions.json files")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    if args.merge:
        rows = [from_json(data) for file in args.merge for data in json.loads(file.read_text("utf-8"))]
        write(rows, args.out)
        return
    names = list(CONDITIONS) if args.conditions == "all" else args.conditions.split(",")
    unknown = sorted(set(names) - set(CONDITIONS))
    if unknown:
        parser.error(f"expected conditions of {', '.join(CONDITIONS)}, found {', '.join(unknown)}")
    jobs = [
        (name, severity, seed, args.form, args.long_px)
        for name in names
        for severity in map(float, args.severities.split(","))
        for seed in series(name, severity, args.photos, REPORT if args.report else TUNING)
    ]
    rows = []
    for row in measured(jobs, args.jobs):
        rows.append(row)
        write(rows, args.out)
        for text in (*row.crashed, *row.counts.errors):
            print(f"      {text}", flush=True)
    print((args.out / "conditions.md").read_text("utf-8"))


if __name__ == "__main__":
    main()
