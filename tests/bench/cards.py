"""Makes simulated photos of filled cards and counts what the reader gets wrong; used by the benchmarks.

A cell is *silent wrong* when its value differs from the truth and neither it nor its field is flagged. Seeds
below 100,000 are for tuning, those from 200,000 on for reporting, so that a threshold is never judged on the
photos that chose it. (Those from 100,000 on were looked at once, and then led to changes.)
"""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.catalog import builtin_fingerprints, builtin_layout
from shortpencil.forms.layout import Layout
from shortpencil.scan.reading import CardReading
from shortpencil.scan.vision import pipeline
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.scenario import (
    GlyphBank,
    Shot,
    Writer,
    condition,
    fill,
    mixed,
    photograph,
    round_answers,
    some_player,
    some_writer,
    truth_json,
)

TUNING, REPORT = 0, 200_000


@dataclass(slots=True)
class Counts:
    """What happened to the cells of some photos."""

    photos: int = 0
    rejected: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    cells: Counter[str] = field(default_factory=Counter)
    flagged: Counter[str] = field(default_factory=Counter)
    silent: Counter[str] = field(default_factory=Counter)
    wrong_flagged: Counter[str] = field(default_factory=Counter)
    asked_cards: int = 0
    wrong_card: int = 0
    silent_cards: int = 0
    errors: list[str] = field(default_factory=list)
    offsets_mm: list[float] = field(default_factory=list)

    def add(self, part: Counts) -> None:
        """Take in what was counted elsewhere."""
        for name in ("photos", "rejected", "asked_cards", "wrong_card", "silent_cards"):
            setattr(self, name, getattr(self, name) + getattr(part, name))
        for name in ("reasons", "cells", "flagged", "silent", "wrong_flagged"):
            getattr(self, name).update(getattr(part, name))
        self.errors += part.errors
        self.offsets_mm += part.offsets_mm

    def line(self, name: str) -> str:
        """One line of a table."""
        read = self.photos - self.rejected
        parts = [
            f"{name:<22} {self.photos:>4} photos {self.rejected:>3} rejected {self.asked_cards:>4}/{read} ask"
        ]
        for kind in ("bubble", "digit"):
            n = max(self.cells[kind], 1)
            parts.append(
                f"{kind}: {self.cells[kind]:>6} cells, silent {1000 * self.silent[kind] / n:6.3f} "
                f"({self.silent[kind]}), flagged {1000 * self.flagged[kind] / n:6.2f}"
            )
        if self.offsets_mm:
            parts.append(f"off {np.median(self.offsets_mm):.3f}/{np.percentile(self.offsets_mm, 99):.2f} mm")
        return " | ".join(parts)


def find_layout(fingerprint: str) -> Layout | None:
    """Return a built-in layout, kept after the first call."""
    if fingerprint not in _LAYOUTS:
        entry = builtin_fingerprints().get(fingerprint)
        _LAYOUTS[fingerprint] = builtin_layout(*entry) if entry else None
    return _LAYOUTS[fingerprint]


_LAYOUTS: dict[str, Layout | None] = {}


def bank() -> GlyphBank:
    """Return handwriting: all MNIST test images if $MNIST names their folder or .npz, else a thousand."""
    folder = os.environ.get("MNIST")
    if not folder:
        return small_bank()
    if folder.endswith(".npz"):
        with np.load(folder) as data:
            return GlyphBank(data["images"], data["labels"])
    images = np.fromfile(f"{folder}/t10k-images-idx3-ubyte", np.uint8)[16:].reshape(-1, 28, 28)
    labels = np.fromfile(f"{folder}/t10k-labels-idx1-ubyte", np.uint8)[8:]
    return GlyphBank(images, labels)


def shoot(
    name: str,
    severity: float,
    seed: int,
    *,
    form: str = "round18",
    paper: str = "a4",
    long_px: int = 3000,
    trouble: float = 0.0,
    glyphs: GlyphBank | None = None,
    px_per_mm: float = 12.0,
    writer: Writer | None = None,
) -> Shot:
    """Return one photo of one invented player's card; `name` is a condition or "mixed".

    The hand is `writer`'s, or any. It is drawn at `px_per_mm`: 8 do for a photo of 2400 pixels, in half of
    the time.
    """
    rng = np.random.default_rng(seed)
    glyphs = glyphs or small_bank()
    blank = blank_card(form, paper=paper, px_per_mm=px_per_mm)
    how = (
        mixed(seed, long_px=long_px) if name == "mixed" else condition(name, severity, seed, long_px=long_px)
    )
    writer = writer or some_writer(rng, glyphs)
    answers = round_answers(blank.field_map, some_player(rng), seed)
    sheet = fill(
        blank.page,
        blank.px_per_mm,
        blank.field_map,
        answers,
        writer,
        seed,
        bank=glyphs,
        condition=how,
        trouble=trouble,
        serial=blank.serial,
    )
    return photograph(sheet, how, seed)


def count(shot: Shot, into: Counts, label: str, traces: list[Trace] | None = None) -> CardReading:
    """Read one photo and add what happened to `into`."""
    (photo,) = photos_from_bytes(shot.encoded(), label)
    traces = traces if traces is not None else []
    (reading, *_) = pipeline.read_photo(photo, find_layout, traces)
    into.photos += 1
    if reading.status != "read":
        into.rejected += 1
        into.reasons[(reading.reason or "")[:60]] += 1
        return reading
    if traces and traces[0].registration is not None and is_upright(shot):
        into.offsets_mm += list(offsets_mm(shot, traces[0]))
    if reading.serial != shot.sheets[0].serial:
        into.wrong_card += 1
    into.asked_cards += bool(reading.flagged)
    truth = truth_json(shot.sheets[0])["cells"]
    silent_before = into.silent.total()
    for cell, value in reading.cells.items():
        if cell.endswith(".strip"):
            continue
        kind = "bubble" if isinstance(truth[cell], bool) else "digit"
        field_id = cell.rsplit(".", 1)[0]
        flagged = value.flag is not None or reading.fields[field_id].flag is not None
        into.cells[kind] += 1
        into.flagged[kind] += flagged
        if value.value != truth[cell]:
            (into.wrong_flagged if flagged else into.silent)[kind] += 1
            if not flagged:
                how = truth_json(shot.sheets[0])["marks"].get(cell, "")
                into.errors.append(
                    f"{label} {cell}: read {value.value} ({value.confidence:.4f}), true {truth[cell]} {how}"
                )
    into.silent_cards += into.silent.total() > silent_before
    return reading


def is_upright(shot: Shot) -> bool:
    """Say whether the file keeps the picture's pixels, so that places in it can be compared."""
    return shot.condition.output.suffix in (".jpg", ".png")


def offsets_mm(shot: Shot, trace: Trace) -> NDArray[np.float64]:
    """Distance in mm between where each cell's centre is and where the reader thinks it is.

    Only cells that the picture shows are counted.
    """
    every = cell_offsets_mm(shot, trace)
    return np.asarray(every[np.isfinite(every)])


def cell_offsets_mm(shot: Shot, trace: Trace) -> NDArray[np.float64]:
    """Return the same of every cell of the layout, infinite where the picture does not show it.

    The reader sees the picture as it is stored, turned by its orientation tag and, if it is very large, at
    half size; so the truth is turned and shrunk too.
    """
    assert trace.registration is not None
    assert trace.layout is not None
    centres = np.array([(c.box.centre.x, c.box.centre.y) for c in trace.layout.cells])
    true = shot.sheet_to_photo[0].of_sheet(shot.sheets[0].on_sheet(centres))
    height, width = shot.image.shape[:2]
    # Exif 2.32, tag 0x0112; a pixel's centre has whole coordinates.
    match shot.condition.output.exif_orientation:
        case 3:
            true = np.array([width - 1, height - 1]) - true
        case 6:
            true = np.column_stack([true[:, 1], width - 1 - true[:, 0]])
            height, width = width, height
        case 8:
            true = np.column_stack([height - 1 - true[:, 1], true[:, 0]])
            height, width = width, height
    seen = np.array([trace.gray.shape[1] / width, trace.gray.shape[0] / height])
    true = (true + 0.5) * seen - 0.5
    off = np.linalg.norm(trace.registration.to_photo(centres) - true, axis=1) / trace.registration.px_per_mm
    inside = ((true >= 0) & (true <= np.array(trace.gray.shape[::-1]) - 1)).all(axis=1)
    return np.where(inside, off, np.inf)


def seed_of(text: str, start: int = TUNING) -> int:
    """Return a seed for a text, the same on every machine."""
    return start + int.from_bytes(hashlib.sha256(text.encode()).digest()[:2], "big") % 90_000


def series(name: str, severity: float, photos: int, start: int = TUNING) -> Iterator[int]:
    """Yield the seeds of one row of a benchmark."""
    for i in range(photos):
        yield seed_of(f"{name} {severity} {i}", start)
