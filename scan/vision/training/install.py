"""Puts a trained reader into the package.

Run: python -m shortpencil.scan.vision.training.install FILE.pt --mnist DIR …

With `--as second` the reader is the larger one that is asked about what the first is not sure of.

Fits temperature and doubt on simulated photos of digits whose writers trained nothing, measures on those of
further writers, writes digits.onnx and digits.json, and refuses a network that is too large or that NumPy
runs with other numbers than torch.
"""

import argparse
import dataclasses
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import nn

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.seeing import calibration as cal
from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.seeing.convolving import Chain
from shortpencil.scan.vision.training import evaluate, export, hands, patches, photo_boxes, train
from shortpencil.scan.vision.training.golden import BOX_WH_MM, golden_patches
from shortpencil.scan.vision.training.network import PLANS, Reader

LARGEST_BYTES = {"digits": 500_000, "second": 2_500_000}
# float32 sums in another order; NumPy, OpenCV 4.10 and 5.0 stayed within 1e-4 of torch on one machine.
TOLERANCE = 2e-3

# Simulated photos can't show how real cards differ from them: some doubt is kept whatever the fit says. It
# costs 0.0001 nats a cell.
LEAST_DOUBT = 1e-4

# Not the seed of any training: the drawn digits of validation are other drawings.
_SEED, _DRAWN = 90_001, 4_000
#: Digits shown of each hand, and of MNIST and our own drawings together as many as of so many hands.
_OF_A_HAND, _HANDS_OF_OTHERS = 600, 6


def _check_sums(model: bytes, reader: nn.Module) -> list[list[float]]:
    """Scores of the golden patches; raises if what runs the network disagrees with torch about them."""
    views = digits.normalise(golden_patches(), BOX_WH_MM)
    wanted = evaluate.torch_scores(reader, views)
    (got,) = Chain(model)(views, ["scores"])
    apart = float(np.abs(got - wanted).max())
    if apart > TOLERANCE:
        raise InputError(
            f"expected NumPy to give torch's scores within {TOLERANCE}, "
            f"found {apart:.2g} apart. Keep to the layers named in export.py."
        )
    return [[round(float(value), 5) for value in row] for row in wanted]


def cells_of(
    mnist: Path,
    npz: Path,
    part: str,
    device: torch.device,
    seed: int,
    light: patches.Light,
    of_a_hand: int = _OF_A_HAND,
) -> evaluate.Cells:
    """Digits of the writers of a part, each writer alike, and some of MNIST and of our own drawings."""
    data = train.Data(mnist=mnist, hands=npz)
    most, drawn = 20 * of_a_hand, _DRAWN * of_a_hand // _OF_A_HAND
    held, rng = hands.load(npz, part), np.random.default_rng(seed)
    bank, _, counts = train.load_bank(data, part, drawn, seed, device, most=max(most, len(held.labels)))
    shown = []
    for writer in np.unique(held.writers):
        of_writer = counts["mnist"] + np.flatnonzero(held.writers == writer)
        shown.append(rng.choice(of_writer, of_a_hand, replace=len(of_writer) < of_a_hand))
    digit = (bank.kinds == 0).cpu().numpy()
    digit[counts["mnist"] : counts["mnist"] + counts["hands"]] = False
    shown.append(rng.choice(np.flatnonzero(digit), _HANDS_OF_OTHERS * of_a_hand, replace=False))
    cells: evaluate.Cells = evaluate.simulated_cells(bank, np.concatenate(shown), seed, light)
    return cells


def photo_cells(folder: Path, count: int, seed: int, ways: Sequence[str] = ()) -> evaluate.Cells:
    """So many boxes of photos, of some ways alone, answers in the shares that are calibrated for."""
    boxes = photo_boxes.load(folder)
    if ways:
        boxes = boxes.some(np.isin(boxes.ways, ways))
    boxes = photo_boxes.as_shares(boxes, count, seed)
    ink = boxes.patches.astype(np.float32) / photo_boxes.STEPS
    views = np.empty((len(ink), 1, *digits.VIEW_PX), np.float32)
    for size in np.unique(boxes.boxes_mm, axis=0):
        same = (boxes.boxes_mm == size).all(axis=1)
        views[same] = digits.normalise(ink[same], (float(size[0]), float(size[1])))
    return evaluate.Cells(views, boxes.answers.astype(np.int64), np.full(len(ink), -1))


def _together(a: evaluate.Cells, b: evaluate.Cells) -> evaluate.Cells:
    return evaluate.Cells(
        *(np.concatenate([getattr(a, name), getattr(b, name)]) for name in evaluate.Cells.__slots__)
    )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("weights", type=Path, help="file written by train.py")
    parser.add_argument("--mnist", type=Path, required=True, help="folder of the IDX files")
    parser.add_argument("--hands", type=Path, required=True, help="NPZ of digits by writer (see hands.py)")
    parser.add_argument("--as", dest="name", choices=list(LARGEST_BYTES), default="digits")
    parser.add_argument("--photos-tune", type=Path, help="boxes of photos to calibrate on as well")
    parser.add_argument(
        "--photos-apart", type=Path, help="boxes of photos of families that trained nothing, as well"
    )
    parser.add_argument(
        "--apart-ways", nargs="*", default=[], help="of these families alone; the others can report"
    )
    parser.add_argument("--photos-report", type=Path, help="boxes of photos to measure on as well")
    parser.add_argument("--of-a-hand", type=int, default=_OF_A_HAND, help="digits shown of each hand")
    parser.add_argument("--into", type=Path, default=Path(digits.__file__).parent)
    parser.add_argument("--dry-run", action="store_true", help="measure only, write nothing")
    args = parser.parse_args()
    held: dict[str, Any] = torch.load(args.weights, map_location="cpu", weights_only=True)
    trained = Reader(plan=PLANS[held["about"]["plan"]])
    trained.load_state_dict(held["reader"])
    reader = export.as_shipped(trained.eval())
    model = export.onnx_bytes(reader)
    if len(model) > LARGEST_BYTES[args.name]:
        raise InputError(
            f"expected at most {LARGEST_BYTES[args.name]} bytes, found {len(model)}. Train a smaller reader."
        )
    golden = _check_sums(model, reader)

    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    reader.to(device)
    fit_on = cells_of(args.mnist, args.hands, "tune", device, _SEED, patches.ANY, args.of_a_hand)
    test_on = cells_of(args.mnist, args.hands, "report", device, _SEED + 1, patches.ANY, args.of_a_hand)
    good = cells_of(args.mnist, args.hands, "report", device, _SEED + 2, patches.PLAIN, args.of_a_hand)
    drawn = len(fit_on.truth)
    if args.photos_tune is not None:
        fit_on = _together(fit_on, photo_cells(args.photos_tune, drawn, _SEED))
    if args.photos_apart is not None:
        # What trained a network flatters it: the next camera is no nearer to these than to what it learnt.
        fit_on = _together(fit_on, photo_cells(args.photos_apart, drawn, _SEED, args.apart_ways))
    fitted = cal.fit(evaluate.torch_scores(reader, fit_on.views), fit_on.truth, digits.ANSWER_SHARES)
    fitted = dataclasses.replace(fitted, doubt=max(fitted.doubt, LEAST_DOUBT))
    log_p = cal.log_p(evaluate.torch_scores(reader, test_on.views), fitted)
    good_log_p = cal.log_p(evaluate.torch_scores(reader, good.views), fitted)
    shown = "photo_boxes" in held["about"]["glyphs"]
    card: dict[str, Any] = {
        "schema": 1,
        "model": f"{args.name}.onnx",
        "sha256": hashlib.sha256(model).hexdigest(),
        "bytes": len(model),
        "parameters": sum(weight.numel() for weight in reader.parameters()),
        "answers": list(digits.ANSWERS),
        "trained_on": "MNIST training images 0 to 54,999, 64 hands of the collections numbers, UJI Pen "
        "Characters 2 and NumberPad as pictures and pen paths, drawn strokes and handwriting fonts, "
        "in simulated photos" + (", and boxes that the reader cut out of whole ones" if shown else ""),
        "training": held["about"],
        "calibration": {
            "temperature": fitted.temperature,
            "doubt": fitted.doubt,
            "fitted_on": "8 further hands, MNIST training images 55,000 to 59,999 and drawn strokes "
            "in simulated photos"
            + (", as many boxes of whole ones" if args.photos_tune else "")
            + (
                f", as many of families that trained nothing: {', '.join(args.apart_ways)}"
                if args.photos_apart
                else ""
            ),
        },
        "held_out": {
            "data": "11 further hands, MNIST test images and drawn strokes in simulated photos",
            "any_photo": evaluate.figures(log_p, test_on.truth),
            "good_photo": evaluate.figures(good_log_p, good.truth),
        },
        "golden_scores": golden,
    }
    if args.photos_report is not None:
        whole = photo_cells(args.photos_report, 20_000, _SEED)
        told = cal.log_p(evaluate.torch_scores(reader, whole.views), fitted)
        card["held_out"]["whole_photos"] = evaluate.figures(told, whole.truth)
    text = json.dumps(card, indent=1)
    print(json.dumps({k: v for k, v in card.items() if k != "golden_scores"}, indent=1))
    if not args.dry_run:
        (args.into / f"{args.name}.onnx").write_bytes(model)
        (args.into / f"{args.name}.json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main()
