"""The same digit boxes through Tesseract's digit mode, which people would reach for first, and through ours.

Run: MNIST=… python -m tests.bench.bench_tesseract --photos 6 [--report]

Boxes are cut out of simulated photos by this program's own registration, so that Tesseract sees them
straight; they are cut inside the printed outline, enlarged and given a white rim, as its manual advises. It
is given the digits as its only characters and the better of its modes for a single character, word or line.
Both are asked only about boxes in which one digit is written.
"""

from __future__ import annotations

import argparse
import time

import cv2
import numpy as np
import pytesseract
from numpy.typing import NDArray

from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import Trace, read_photo
from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.seeing.patches import cells_of_kind
from tests.bench.cards import REPORT, TUNING, bank, find_layout, series, shoot
from tests.simulator.scenario import truth_json

_INSIDE_MM = 0.35  # cut away with the outline: half its width and the error of registration
_MODES = {10: "single character", 8: "word", 13: "raw line"}


def boxes_of(
    name: str, severity: float, seed: int
) -> tuple[NDArray[np.float32], list[int], tuple[float, float]]:
    """Patches (N, 48, 48) of the boxes with a digit on one photo, the digits, and the size of a box."""
    shot = shoot(name, severity, seed, glyphs=bank())
    (photo,) = photos_from_bytes(shot.encoded(), name)
    traces: list[Trace] = []
    read_photo(photo, find_layout, traces)
    trace = traces[0]
    nothing = np.zeros((0, digits.PATCH_PX, digits.PATCH_PX), np.float32)
    if trace.patches is None or trace.layout is None:
        return nothing, [], (5.0, 6.2)
    cells = cells_of_kind(trace.layout, "digit")
    truth = truth_json(shot.sheets[0])["cells"]
    usual = max({(c.box.w, c.box.h) for c in cells}, key=[(c.box.w, c.box.h) for c in cells].count)
    some = [i for i, c in enumerate(cells) if truth[c.id] is not None and (c.box.w, c.box.h) == usual]
    return trace.patches[some], [int(truth[cells[i].id]) for i in some], usual


def as_picture(patch: NDArray[np.float32], box_wh_mm: tuple[float, float]) -> NDArray[np.uint8]:
    """The inside of a box as Tesseract likes it: dark on white, about 60 px high, a white rim."""
    side_mm = box_wh_mm[1] + digits.PATCH_MARGIN_MM
    px_per_mm = digits.PATCH_PX / side_mm
    half_w, half_h = ((side / 2 - _INSIDE_MM) * px_per_mm for side in box_wh_mm)
    middle = digits.PATCH_PX / 2
    inside = patch[
        round(middle - half_h) : round(middle + half_h), round(middle - half_w) : round(middle + half_w)
    ]
    top = max(float(np.quantile(inside, 0.98)), 0.15)  # a faint pencil becomes black
    gray = (255 * (1 - np.clip(inside / top, 0, 1))).astype(np.uint8)
    large = cv2.resize(gray, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_CUBIC)
    return cv2.copyMakeBorder(large, 12, 12, 12, 12, cv2.BORDER_CONSTANT, value=255)


def main() -> None:
    """Print right, wrong and silent of both, and the time a box."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=6)
    parser.add_argument("--conditions", default="clean,mixed")
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    for name in args.conditions.split(","):
        found = [
            boxes_of(name, 0.0, seed)
            for seed in series(name, 0.0, args.photos, REPORT if args.report else TUNING)
        ]
        truth = np.array([digit for _, some, _ in found for digit in some])
        print(f"\n{name}: {len(truth)} boxes with a digit on {args.photos} photos")
        start = time.perf_counter()
        log_p = np.concatenate([digits.digit_log_p(patches, size) for patches, _, size in found])
        spent = time.perf_counter() - start
        _line("this network", log_p.argmax(axis=1), truth, spent)
        pictures = [as_picture(patch, size) for patches, _, size in found for patch in patches]
        for mode, what in _MODES.items():
            start = time.perf_counter()
            said = [
                pytesseract.image_to_string(
                    picture, config=f"--psm {mode} -c tessedit_char_whitelist=0123456789"
                ).strip()
                for picture in pictures
            ]
            spent = time.perf_counter() - start
            answers = np.array([int(text) if len(text) == 1 and text.isdigit() else 10 for text in said])
            _line(f"Tesseract, {what}", answers, truth, spent)


def _line(name: str, answers: NDArray[np.int64], truth: NDArray[np.int64], seconds: float) -> None:
    right, none = answers == truth, answers >= 10
    wrong = ~right & ~none
    print(
        f"  {name:<28} right {100 * right.mean():5.1f} %, another digit {100 * wrong.mean():5.1f} %, "
        f"no digit {100 * none.mean():5.1f} %, {1e3 * seconds / len(truth):6.2f} ms a box",
        flush=True,
    )


if __name__ == "__main__":
    main()
