"""Time and memory of one photo, stage by stage, as a ratio to decoding the same file in full colour.

Run: python -m tests.bench.bench_photo [--runs 15] [--threads 1] [--long-px 1633,4000,8000] [--cards 24]
Goal of the project: at most 1.5 times the colour decode on one core, warm, for 12 megapixels.

Times are processor time: on a machine that does other work too, they move less than the clock. Where several
threads run, their times add up. Set OMP_NUM_THREADS=1 and OPENBLAS_NUM_THREADS=1 with `--threads 1`.
Memory is kept between photos, as in the workers of `scan.intake`: fetched anew, it makes the colour decode
half as long again, and so every ratio smaller.
"""

from __future__ import annotations

import argparse
import io
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.crew import WORKERS_ENVIRONMENT, end_all
from shortpencil.scan.intake import read_files
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.doubting.partial import hidden_cells, is_one_bit, outlines_shown
from shortpencil.scan.vision.doubting.quality import judge
from shortpencil.scan.vision.doubting.shade import crossed_by_edges
from shortpencil.scan.vision.finding.codes import CardCode, read_code
from shortpencil.scan.vision.finding.corners import find_cards
from shortpencil.scan.vision.flattening.pictures import card_picture, sharp_field_pictures
from shortpencil.scan.vision.flattening.rectify import flatten, register
from shortpencil.scan.vision.measuring import measure
from shortpencil.scan.vision.opening.levels import Levels
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing.bubbles import (
    bubble_log_likelihoods,
    bubble_patches,
    measure_bubbles,
    pen_darkness,
)
from shortpencil.scan.vision.seeing.digits import digit_log_p, engine
from shortpencil.scan.vision.seeing.ink import ink_of
from shortpencil.scan.vision.seeing.patches import cells_of_kind, digit_patches, writing_in, written_shares
from tests.bench.cards import find_layout, shoot

Stages = dict[str, Callable[[], object]]


def median_ms(steps: Stages, runs: int) -> dict[str, float]:
    """Median of `runs` warm runs of each step in milliseconds of processor time.

    The steps take turns, so that what else the machine does falls on all of them.
    """
    times: dict[str, list[float]] = {name: [] for name in steps}
    for run in range(runs + 1):
        for name, step in steps.items():
            start = time.process_time()
            step()
            if run:  # the first one only warms
                times[name].append(1000 * (time.process_time() - start))
    return {name: statistics.median(taken) for name, taken in times.items()}


_COLOUR = "cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)"
_READ = "[read_photo(p, find_layout) for p in load_photos(Path(path))]"


def peak_mb(step: str, path: str) -> float:
    """Peak resident memory of a fresh process that does one step with the same libraries loaded."""
    code = (
        "import cv2, sys; import numpy as np; from pathlib import Path\n"
        "from shortpencil.scan.vision.opening.photo import load_photos\n"
        "from shortpencil.scan.vision.pipeline import read_photo\n"
        "from tests.bench.cards import find_layout; path = sys.argv[1]\n"
        # Not ru_maxrss: that of a child starts with its parent's.
        f"{step}\nprint(int(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]) / 1024)"
    )
    run = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True)
    return float(run.stdout)


def jpeg_of(long_px: int) -> bytes:
    """A clean photo of that size as a JPEG: the first of the tuning seeds that a phone would store so."""
    return next(
        shot.encoded()
        for seed in range(5, 50)
        if (shot := shoot("clean", 0.0, seed, long_px=long_px)).condition.output.suffix == ".jpg"
    )


def stages_of(data: bytes) -> Stages:
    """What is done with a photo, step by step; the steps take what those before them made."""
    (photo,) = photos_from_bytes(data, "photo")
    gray = photo.gray
    (corners,) = find_cards(gray)
    code = read_code(gray, corners)
    assert isinstance(code, CardCode)
    layout = find_layout(code.fingerprint)
    assert layout is not None
    levels = Levels(gray)
    registration, _ = register(levels, corners, layout)
    flat, covered = flatten(levels, registration, layout)
    ink = ink_of(flat, covered, layout)
    boxes = cells_of_kind(layout, "digit")
    patches, around = digit_patches(ink, layout), bubble_patches(ink, layout)
    pen = pen_darkness(patches, around)
    bubbles = measure_bubbles(around, layout, pen)
    inked = np.flatnonzero(~writing_in(patches).bare())
    size = (boxes[-1].box.w, boxes[-1].box.h)
    evidence = measure(ink, covered, layout, Trace(gray))
    assert ink.paper is not None
    (reading,) = read_photo(photo, find_layout)
    shown = [name for name in reading.pictures if name in reading.fields]
    return {
        "decode grey": lambda: list(photos_from_bytes(data, "photo")),
        "find marks, put them together": lambda: find_cards(gray),
        "code": lambda: read_code(gray, corners),
        "register": lambda: register(Levels(gray), corners, layout),
        "flatten": lambda: flatten(levels, registration, layout),
        "ink": lambda: ink_of(flat, covered, layout),
        "quality": lambda: judge(levels, covered, ink.contrast, corners, registration, layout),
        "digit patches": lambda: (digit_patches(ink, layout), writing_in(patches)),
        "bubble patches": lambda: bubble_patches(ink, layout),
        "bubbles": lambda: (
            measure_bubbles(around, layout, pen_darkness(patches, around)),
            bubble_log_likelihoods(bubbles),
        ),
        f"digit network, {len(inked)} boxes": lambda: digit_log_p(patches[inked], size),
        "strips, shade, what is hidden": lambda: (
            written_shares(ink, layout),
            crossed_by_edges(ink.paper, layout),
            hidden_cells(outlines_shown(around, patches, layout), layout),
            is_one_bit(gray),
        ),
        "joint decoding": lambda: decode(layout.form, evidence),
        "pictures": lambda: (
            card_picture(flat),
            sharp_field_pictures(levels, registration, layout, shown),
        ),
        "photo to reading": lambda: read_photo(next(iter(photos_from_bytes(data, "photo"))), find_layout),
    }


def report(data: bytes, runs: int) -> None:
    """Print the table of one photo."""
    buffer = np.frombuffer(data, np.uint8)
    steps: Stages = {"decode in full colour": lambda: cv2.imdecode(buffer, cv2.IMREAD_COLOR)}
    found = median_ms(steps | stages_of(data), runs)
    for name, ms in found.items():
        print(f"{name:<30}{ms:8.1f} ms   {ms / found['decode in full colour']:.2f}")
    with tempfile.NamedTemporaryFile(suffix=".jpg") as file:
        file.write(data)
        file.flush()
        base, colour_mb, read_mb = (peak_mb(step, file.name) for step in ("pass", _COLOUR, _READ))
    print(
        f"peak memory: {read_mb:.0f} MB to read; {colour_mb:.0f} MB to decode in colour; {base:.0f} MB idle"
    )


def cards_per_second(data: bytes, cards: int, jobs: int) -> float:
    """Cards read in a second by `scan.intake` with so many processes, their start left out."""
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for i in range(cards + 4 * jobs):
            files.append(Path(folder) / f"{i:04d}.jpg")
            files[-1].write_bytes(data)
        results = read_files(files, Catalog(Path(folder) / "maps"), jobs=jobs)
        for _ in range(4 * jobs):  # the first ones wait for processes and libraries
            next(results)
        start = time.perf_counter()
        read = sum(result.readings[0].status == "read" for result in results)
        taken = time.perf_counter() - start
    assert read == cards, "a benchmark of cards that are not read says nothing"
    return cards / taken


def processor_ms_a_card(data: bytes, cards: int, jobs: int) -> float:
    """Processor time of a card with so many processes, all of them together, their start left out.

    On a machine that does other work the clock says little; where two processes take as much of it for a card
    as one, nothing is done twice and nobody waits for a lock by spinning.
    """
    spent = [_spent_on(data, count, jobs) for count in (4 * jobs, 4 * jobs + cards)]
    return 1000 * (spent[1] - spent[0]) / cards


def _spent_on(data: bytes, cards: int, jobs: int) -> float:
    def used() -> float:
        both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        return sum(one.ru_utime + one.ru_stime for one in both)

    start = used()
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / f"{i:04d}.jpg" for i in range(cards)]
        for file in files:
            file.write_bytes(data)
        for _ in read_files(files, Catalog(Path(folder) / "maps"), jobs=jobs):
            pass
    end_all()  # what a child used counts when it has ended
    return used() - start


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--long-px", default="1633,4000,8000", help="2, 12, 48 megapixels")
    parser.add_argument(
        "--cards", type=int, default=24, help="12-megapixel photos for cards per second; 0: none"
    )
    args = parser.parse_args()
    if not WORKERS_ENVIRONMENT.keys() <= os.environ.keys():  # some of it is read when a process starts
        sys.exit(
            subprocess.call([sys.executable, *sys.orig_argv[1:]], env={**WORKERS_ENVIRONMENT, **os.environ})
        )
    cv2.setNumThreads(args.threads)
    print(f"digit network by {engine()}, {args.threads} thread(s)")
    for long_px in map(int, args.long_px.split(",")):
        data = jpeg_of(long_px)
        width, height = Image.open(io.BytesIO(data)).size
        megapixels, megabytes = width * height / 1e6, len(data) / 1e6
        print(f"\n{width} x {height} JPEG, {megapixels:.0f} megapixels, {megabytes:.2f} MB")
        report(data, args.runs)
    if args.cards:
        data = jpeg_of(4000)
        print()
        for jobs in (1, 2):
            speed = cards_per_second(data, args.cards, jobs)
            spent = processor_ms_a_card(data, args.cards, jobs)
            print(f"{jobs} process(es): {speed:.1f} cards a second, by the clock; {spent:.0f} ms CPU a card")


if __name__ == "__main__":
    main()
