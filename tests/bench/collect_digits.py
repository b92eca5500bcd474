"""Collects digit boxes out of whole simulated photos, as the reader's own steps cut them, to learn from.

Run: python -m tests.bench.collect_digits $D --minutes 9 --jobs 16 --out DIR, D as DEVELOPERS.md has it,
then: python -m shortpencil.scan.vision.training.train … --photos DIR
To calibrate: --part tune --photos 400; to judge: --part report --families held-out --photos 600, and
`bench_boxes`.

Families of photos that nothing is tuned on, and hostile ones, are left out unless asked for. Every card is
written by hands of one part (`training.hands.part_of`). Boxes that lie elsewhere than the reader thinks, that
are covered, or of whose writing next to nothing came through are no lesson: the first two are left out, the
last are marked. Seeds below 100,000 tune, those from 200,000 on report.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.measuring import raised
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing.patches import cells_of_kind, writing_in
from shortpencil.scan.vision.training import photo_boxes
from shortpencil.scan.vision.training.photo_boxes import PhotoBoxes
from tests.bench import hands_at_cards
from tests.bench.cards import REPORT, TUNING, cell_offsets_mm, find_layout, is_upright, shoot
from tests.simulator.families import HELD_OUT, TUNED_ON, family_shot
from tests.simulator.handwriting import wider
from tests.simulator.scenario import EVERYDAY, Shot, truth_json

Part = TypeVar("Part")

#: Share of photos under the conditions of `scenario`; the others are of the families.
_CONDITIONS = 0.3
#: Longer side of a picture in pixels, and how often; sheets are drawn at 8 px a mm.
_LONG_PX, _LONG_SHARES, _PX_PER_MM = (1600, 2100, 2700), (0.25, 0.45, 0.3), 8.0
#: Share of hands to learn from that mark bubbles in more ways, write digits bent, with more pens, than those
#: of the benchmarks: wider than life, so nothing is calibrated on them.
_WIDER = 0.7
#: Share of fields made hard.
_TROUBLE = 0.1
#: A box further off shows another place than its own.
MOST_OFF_MM = 1.2
#: Of boxes so bare that the network is not asked, a few are kept.
BARE_KEPT = 0.04
#: Dashes outnumber all other boxes without a digit: of them, so many are kept.
_DASHES_KEPT = 0.25
#: Ink of the darkest square millimetre above a blank box's: with less, nobody reads a digit.
LEAST_SHOWS = 0.04
#: Marks of a box whose answer is "no digit", whatever was meant.
_SCRAP = ("overwritten", "struck-digit", "dash")
#: Photos of one file.
_A_FILE = 8


def some_shot(
    seed: int, families: str, of: hands_at_cards.HandBanks, trouble: float = _TROUBLE
) -> tuple[Shot, str, str]:
    """Return a photo, whose hand wrote, and which way it came; `trouble` is the share of fields made hard."""
    rng = np.random.default_rng([seed, 21])
    bank, writer, whose = hands_at_cards.somebody(rng, of)
    wide = np.random.default_rng([seed, 23])
    if of.part == "train" and wide.random() < _WIDER:
        writer = wider(writer, wide)
    long_px = int(rng.choice(_LONG_PX, p=_LONG_SHARES))
    if families == "known" and rng.random() < _CONDITIONS:
        name = str(rng.choice([*EVERYDAY, *["mixed"] * len(EVERYDAY)]))
        form = str(rng.choice(["round18", "round18", "round9", "round27"]))
        shot = shoot(
            name, float(rng.uniform(0, 0.9)), seed, form=form, paper=str(rng.choice(["a4", "letter"])),
            long_px=long_px, trouble=trouble, glyphs=bank, px_per_mm=_PX_PER_MM, writer=writer,
        )  # fmt: skip
        return shot, whose, name
    name = str(rng.choice(TUNED_ON if families == "known" else HELD_OUT))
    shot = family_shot(
        name, float(rng.uniform(0, 0.9)), seed, long_px=long_px, glyphs=bank, px_per_mm=_PX_PER_MM,
        writer=writer, trouble=trouble,
    )  # fmt: skip
    return shot, whose, name


def read_as_far(shot: Shot) -> Trace | None:
    """What the reader's steps saw of a photo, up to its evidence; None where it is refused before."""
    return file_as_far(shot.encoded())


def file_as_far(file: bytes) -> Trace | None:
    """The same of a picture file."""
    try:
        (photo,) = photos_from_bytes(file, "photo")
    except InputError:  # called damaged
        return None
    traces: list[Trace] = []
    read_photo(photo, find_layout, traces)
    return traces[0] if traces and traces[0].evidence is not None else None


def boxes_of(shot: Shot, whose: str, way: str, rng: np.random.Generator) -> PhotoBoxes | None:
    """Cut a photo's digit boxes out; None where the reader refuses it before it looks into them."""
    trace = read_as_far(shot)
    if trace is None or trace.patches is None or trace.layout is None or trace.evidence is None:
        return None
    truth = truth_json(shot.sheets[0])
    layout, writing = trace.layout, writing_in(trace.patches)
    cells = cells_of_kind(layout, "digit")
    shown = ~writing.bare() | (rng.random(len(cells)) < BARE_KEPT)
    shown &= in_place(shot, trace, [c.id for c in cells])
    marks = [str(truth["marks"].get(c.id, "")) for c in cells]
    shown &= (np.array(marks) != "dash") | (rng.random(len(cells)) < _DASHES_KEPT)
    answers = np.array(
        [answer_of(truth["cells"].get(c.id), mark) for c, mark in zip(cells, marks, strict=True)], np.int8
    )
    legible = (answers == BLANK_BOX) | (writing.strength > writing.floor + LEAST_SHOWS)
    ink = raised(trace.patches, writing)
    every = PhotoBoxes(
        np.clip(ink * photo_boxes.STEPS + 0.5, 0, 255).astype(np.uint8),
        np.array([(c.box.w, c.box.h) for c in cells], np.float32),
        answers,
        legible,
        np.full(len(cells), whose),
        np.full(len(cells), way),
        np.array(marks),
    )
    return every.some(shown)


def answer_of(value: object, mark: str) -> int:
    """What a box holds, 0 to 9, 10 blank or 11 no digit."""
    if mark in _SCRAP:
        return SCRAP_BOX
    return BLANK_BOX if value is None else int(str(value))


def in_place(shot: Shot, trace: Trace, cells: Sequence[str]) -> NDArray[np.bool_]:
    """Say of each cell (N,) whether it shows what was made there: not covered, and where it is looked for."""
    assert trace.layout is not None
    assert trace.evidence is not None
    made, outside = truth_json(shot.sheets[0])["cells"], trace.evidence.outside
    kept = np.array([cell in made and cell not in outside for cell in cells])
    if is_upright(shot):
        off_mm = dict(zip((c.id for c in trace.layout.cells), cell_offsets_mm(shot, trace), strict=True))
        kept &= np.array([off_mm[cell] for cell in cells]) < MOST_OFF_MM
    return kept


_BANKS: list[hands_at_cards.HandBanks] = []


def write_some(
    first: int,
    families: str,
    until: float,
    out: Path,
    kept: Callable[[Shot, str, str, int], Part | None],
    save: Callable[[list[Part], Path], None],
    trouble: float = _TROUBLE,
) -> tuple[int, int]:
    """Write what is kept of some photos; return how many gave something and how many were refused."""
    import cv2

    cv2.setNumThreads(1)
    parts, refused = [], 0
    for seed in range(first, first + _A_FILE):
        if time.time() < until:
            found = kept(*some_shot(seed, families, _BANKS[0], trouble), seed)
            if found is None:
                refused += 1
            else:
                parts.append(found)
    if parts:
        save(parts, out / f"boxes{first:07}.npz")
    return len(parts), refused


def firsts(part: str, first: int, photos: int, a_file: int = _A_FILE) -> Iterator[int]:
    """First seeds of the files of so many photos."""
    # A fifth of the tuning seeds calibrates; no photo of them is learnt from, other hands wrote them anyway.
    start = {"train": TUNING, "tune": TUNING + 80_000, "report": REPORT}[part] + first
    yield from range(start, start + photos, a_file)


def collect(
    about: str,
    kept: Callable[[Shot, str, str, int], Part | None],
    save: Callable[[list[Part], Path], None],
    trouble: float = _TROUBLE,
) -> tuple[Path, str]:
    """Write what is kept of photos until there are enough or the time is over; say where, and how many."""
    parser = argparse.ArgumentParser(description=about)
    hands_at_cards.add_arguments(parser)
    args = parser.parse_args()
    begun = time.time()
    args.out.mkdir(parents=True, exist_ok=True)
    _BANKS.append(hands_at_cards.load(args.mnist, args.hands, args.paths, args.part, args.jobs))
    print(f"hands after {time.time() - begun:.0f} s", flush=True)
    until = begun + 60 * args.minutes
    work = partial(
        write_some,
        families=args.families,
        until=until,
        out=args.out,
        kept=kept,
        save=save,
        trouble=trouble,
    )
    with ProcessPoolExecutor(args.jobs) as pool:
        counts = list(pool.map(work, firsts(args.part, args.first, args.photos)))
    photos, refused = (sum(column) for column in zip(*counts, strict=True))
    return args.out, f"{photos} photos, {refused} refused, {time.time() - begun:.0f} s"


def _kept(shot: Shot, whose: str, way: str, seed: int) -> PhotoBoxes | None:
    return boxes_of(shot, whose, way, np.random.default_rng([seed, 22]))


def _save(parts: list[PhotoBoxes], path: Path) -> None:
    photo_boxes.save(photo_boxes.joined(parts), path)


def main() -> None:
    """Write boxes of photos until there are enough or the time is over."""
    out, photos = collect(__doc__, _kept, _save)
    boxes = photo_boxes.load(out)
    told = np.bincount(boxes.answers, minlength=12)
    print(f"{photos}; {len(boxes.answers)} boxes, of each answer {told.tolist()}, "
          f"legible {boxes.legible.mean():.3f}")  # fmt: skip


if __name__ == "__main__":
    main()
