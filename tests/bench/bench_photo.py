"""Time and memory of one 12-megapixel photo, stage by stage, as a ratio to decoding it in full colour.

Run: python -m tests.bench.bench_photo [--runs 15] [--threads 1] [--long-px 4000]
Goal of the project: at most 1.5 times the colour decode on one core, warm.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable

import cv2
import numpy as np

from scan.vision.bubbles import bubble_log_likelihoods, bubble_patches, measure_bubbles, pen_darkness
from scan.vision.codes import read_code
from scan.vision.corners import find_cards
from scan.vision.decode import decode
from scan.vision.digits import digit_log_p
from scan.vision.ink import ink_of
from scan.vision.patches import cells_of_kind, digit_patches
from scan.vision.photo import photos_from_bytes
from scan.vision.pipeline import Trace, measure, read_photo
from scan.vision.quality import judge
from scan.vision.rectify import flatten, register
from tests.bench.cards import find_layout, shoot


def median_ms(step: Callable[[], object], runs: int) -> float:
    """Median of `runs` warm runs in milliseconds."""
    step()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        step()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


_COLOUR = "cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)"
_READ = "[read_photo(p, find_layout) for p in load_photos(Path(path))]"


def peak_mb(step: str, path: str) -> float:
    """Peak resident memory of a fresh process that does one step with the same libraries loaded."""
    code = (
        "import cv2, sys; import numpy as np; from pathlib import Path\n"
        "from scan.vision.photo import load_photos; from scan.vision.pipeline import read_photo\n"
        "from tests.bench.cards import find_layout; path = sys.argv[1]\n"
        # Not ru_maxrss: that of a child starts with its parent's.
        f"{step}\nprint(int(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]) / 1024)"
    )
    run = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True)
    return float(run.stdout)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--long-px", type=int, default=4000)
    args = parser.parse_args()
    cv2.setNumThreads(args.threads)
    data = next(
        shot.encoded()
        for seed in range(5, 50)
        if (shot := shoot("clean", 0.0, seed, long_px=args.long_px)).condition.output.suffix == ".jpg"
    )
    buffer = np.frombuffer(data, np.uint8)
    (photo,) = photos_from_bytes(data, "photo")
    gray = photo.gray
    (corners,) = find_cards(gray)
    code = read_code(gray, corners)
    layout = find_layout(code.fingerprint)  # type: ignore[union-attr]
    assert layout is not None
    registration = register(gray, corners, layout)
    flat, covered = flatten(gray, registration, layout)
    ink, contrast = ink_of(flat, covered, layout)
    boxes = cells_of_kind(layout, "digit")
    patches = digit_patches(ink, boxes)
    around = bubble_patches(ink, layout)
    pen = pen_darkness(patches, around)
    bubbles = measure_bubbles(around, layout, pen)
    evidence = measure(ink, covered, layout, Trace(gray))
    stages: dict[str, Callable[[], object]] = {
        "decode grey": lambda: list(photos_from_bytes(data, "photo")),
        "find marks": lambda: find_cards(gray),
        "code": lambda: read_code(gray, corners),
        "register": lambda: register(gray, corners, layout),
        "flatten": lambda: flatten(gray, registration, layout),
        "ink": lambda: ink_of(flat, covered, layout),
        "quality": lambda: judge(flat, covered, contrast, corners, registration, layout),
        "digit patches": lambda: digit_patches(ink, boxes),
        "bubble patches": lambda: bubble_patches(ink, layout),
        "pen": lambda: pen_darkness(patches, around),
        "bubbles": lambda: (measure_bubbles(around, layout, pen), bubble_log_likelihoods(bubbles)),
        "digit network": lambda: digit_log_p(patches, (boxes[-1].box.w, boxes[-1].box.h)),
        "joint decoding": lambda: decode(layout.form, evidence),
    }
    colour = median_ms(lambda: cv2.imdecode(buffer, cv2.IMREAD_COLOR), args.runs)
    print(f"{gray.shape[1]} x {gray.shape[0]} JPEG, {len(data) / 1e6:.2f} MB, {args.threads} thread(s)")
    print(f"{'decode in full colour':<24}{colour:8.1f} ms   1.00")
    for name, step in stages.items():
        ms = median_ms(step, args.runs)
        print(f"{name:<24}{ms:8.1f} ms   {ms / colour:.2f}")
    whole = median_ms(
        lambda: read_photo(next(iter(photos_from_bytes(data, "photo"))), find_layout), args.runs
    )
    print(f"{'photo to reading':<24}{whole:8.1f} ms   {whole / colour:.2f}")
    with tempfile.NamedTemporaryFile(suffix=".jpg") as file:
        file.write(data)
        file.flush()
        base, colour_mb, read_mb = (peak_mb(step, file.name) for step in ("pass", _COLOUR, _READ))
    print(
        f"peak memory: {read_mb:.0f} MB to read; {colour_mb:.0f} MB to decode in colour; {base:.0f} MB idle"
    )


if __name__ == "__main__":
    main()
