"""Reads handwritten digits: patches of ink around digit boxes in, calibrated log probabilities out.

The way: the patch is cut to the box and a margin and brought to one size, so that the printed outline always
lies at the same place and a network learns to look past it; one forward pass of a small convolutional network
(`digits.onnx`) answers for all patches. Size, place, slant, strength and width of the strokes are left to the
network, which was trained on every mixture of them. What the network was trained on and how well it does
stands beside it in `digits.json`; how it was trained, in `training/`. Which answers are likely on a card is
not known here: `scan.vision.deciding.decode` weighs that.
"""

import functools
import importlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.arrays import alike
from shortpencil.scan.vision.evidence import ANSWER_SHARES, ANSWERS
from shortpencil.scan.vision.seeing.calibration import Calibration, log_p
from shortpencil.scan.vision.seeing.convolving import Chain

__all__ = [
    "ANSWERS",
    "ANSWER_SHARES",
    "PATCH_MARGIN_MM",
    "PATCH_PX",
    "SURE_AT_FIRST",
    "VIEW_MARGIN_MM",
    "VIEW_PX",
    "Run",
    "calibration",
    "digit_log_p",
    "digit_log_p_and_looks",
    "engine",
    "normalise",
    "onnxruntime_run",
    "scores",
    "scores_and_layer",
]

PATCH_PX = 48
PATCH_MARGIN_MM = 2.4  # window side = box height + this

# Rows and columns of the network's input, about 4 px per mm; the coarsest photos have 2.5. Chosen on held-out
# digits in simulated photos (wrong per 1,000 after a short training): 34.3; with the contrast set by the
# strongest ink in the box 35.7; that and 40 x 36 px, at 1.5 times the cost, 35.1.
VIEW_PX = (32, 28)
# Kept around the box on each side: 0.4 mm for the error of registration and as much for strokes over the
# outline.
VIEW_MARGIN_MM = 0.8


def _resampling(px: int, side_mm: float, view_mm: float) -> NDArray[np.float32]:
    """Matrix (px, 48) from a window of `side_mm` to its middle `view_mm`; linear, without aliasing."""
    ratio = view_mm / px / (side_mm / PATCH_PX)  # patch px per view px
    centres_mm = ((np.arange(px) + 0.5) / px - 0.5) * view_mm
    wanted = (centres_mm / side_mm + 0.5) * PATCH_PX - 0.5
    weights = np.clip(1 - np.abs(wanted[:, None] - np.arange(PATCH_PX)[None, :]) / max(ratio, 1.0), 0, None)
    matrix: NDArray[np.float32] = (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)
    return matrix


def normalise(patches: NDArray[np.float32], box_wh_mm: tuple[float, float]) -> NDArray[np.float32]:
    """The network's input (N, 1, 32, 28) for patches (N, 48, 48) of boxes of one size."""
    box_w_mm, box_h_mm = box_wh_mm
    side_mm = box_h_mm + PATCH_MARGIN_MM
    down = _resampling(VIEW_PX[0], side_mm, box_h_mm + 2 * VIEW_MARGIN_MM)
    across = _resampling(VIEW_PX[1], side_mm, box_w_mm + 2 * VIEW_MARGIN_MM)
    return np.ascontiguousarray((down @ patches @ across.T)[:, None], dtype=np.float32)


#: Runs the network: views (N, 1, 32, 28) and the names of outputs to their values.
Run = Callable[[NDArray[np.float32], list[str]], Sequence[NDArray[np.float32]]]


@dataclass(frozen=True, slots=True)
class _Network:
    """A network that was loaded: what runs it, by which engine, and what its scores mean."""

    run: Run
    engine: str  # "onnxruntime" or "numpy"
    calibration: Calibration


def onnxruntime_run(model: bytes) -> Run | None:
    """Return what runs a network in six tenths of the time, or None where onnxruntime is not installed."""
    import cv2

    try:
        runtime: Any = importlib.import_module("onnxruntime")
    except ImportError:
        return None
    options = runtime.SessionOptions()
    # As many threads as OpenCV has here: one in a worker of a pool.
    options.intra_op_num_threads = max(cv2.getNumThreads(), 1)
    options.inter_op_num_threads = 1
    session = runtime.InferenceSession(model, options, providers=["CPUExecutionProvider"])

    def run(views: NDArray[np.float32], outputs: list[str]) -> Sequence[NDArray[np.float32]]:
        found: Sequence[NDArray[np.float32]] = session.run(outputs, {"views": views})
        return found

    return run


#: Boxes that the network is less sure of than this are shown to a second one, nine times as large: it gets a
#: fifth fewer wrong, and is asked about one written box in six.
SURE_AT_FIRST = 0.997


@functools.cache
def _network(name: str = "digits") -> _Network:
    """A network of this package, "digits" or "second", read once, at the first patch that it must see."""
    here = resources.files("shortpencil.scan.vision.seeing")
    model = here.joinpath(f"{name}.onnx").read_bytes()
    card = json.loads(here.joinpath(f"{name}.json").read_text("utf-8"))
    calibration = Calibration(card["calibration"]["temperature"], card["calibration"]["doubt"], ANSWER_SHARES)
    fast = onnxruntime_run(model)
    if fast is not None:
        return _Network(fast, "onnxruntime", calibration)
    return _Network(Chain(model), "numpy", calibration)


def engine() -> str:
    """Say what runs the network: "onnxruntime" where it is installed, else "numpy"."""
    return _network().engine


def calibration() -> Calibration:
    """The calibration that belongs to the shipped network."""
    return _network().calibration


def scores(views: NDArray[np.float32], name: str = "digits") -> NDArray[np.float32]:
    """A network's raw scores (N, 12) for normalised views (N, 1, 32, 28)."""
    (out,) = _network(name).run(views, ["scores"])
    return out.reshape(len(views), len(ANSWERS)).copy()


def scores_and_layer(views: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The raw scores (N, 12) and the last hidden layer (N, D) for normalised views (N, 1, 32, 28)."""
    out, layer = _network().run(views, ["scores", "flat"])
    return out.reshape(len(views), len(ANSWERS)).copy(), layer.reshape(len(views), -1).copy()


def digit_log_p(
    patches: NDArray[np.float32], box_wh_mm: tuple[float, float] | NDArray[np.floating]
) -> NDArray[np.float32]:
    """Calibrated natural-log probability of each answer for each digit box.

    Parameters
    ----------
    patches : (N, 48, 48) float32, ink: 0 this card's paper, 1 black; a square window of side box height + 2.4
    mm
        centred on the box, pixel k covering [k, k + 1] / 48 of the side
    box_wh_mm : width and height of the box, one pair for all patches or (N, 2)

    Returns
    -------
    (N, 12) float32, in the order of `ANSWERS`, calibrated for the shares in `ANSWER_SHARES`
    """
    return digit_log_p_and_looks(patches, box_wh_mm)[0]


def digit_log_p_and_looks(
    patches: NDArray[np.float32], box_wh_mm: tuple[float, float] | NDArray[np.floating]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """What `digit_log_p` gives, and (N, D) how each box looks to the network: its last layer, length 1.

    Boxes that look alike to it lie near each other, whatever it takes them for.
    """
    if patches.ndim != 3 or patches.shape[1:] != (PATCH_PX, PATCH_PX):
        raise ValueError(f"patches must be (N, {PATCH_PX}, {PATCH_PX}), not {patches.shape}")
    if len(patches) == 0:
        return np.zeros((0, len(ANSWERS)), np.float32), np.zeros((0, 1), np.float32)
    sizes = np.broadcast_to(np.asarray(box_wh_mm, np.float64), (len(patches), 2))
    views = np.empty((len(patches), 1, *VIEW_PX), np.float32)
    for (width_mm, height_mm), same in alike(sizes):
        views[same] = normalise(patches[same], (width_mm, height_mm))
    raw, layer = scores_and_layer(views)
    length = np.linalg.norm(layer, axis=1, keepdims=True)
    looks = np.asarray(layer / np.maximum(length, 1e-9), np.float32)
    said = log_p(raw, _network().calibration).astype(np.float32)
    doubted = np.flatnonzero(said.max(axis=1) < np.log(SURE_AT_FIRST))
    if len(doubted):
        again = scores(np.ascontiguousarray(views[doubted]), "second")
        said[doubted] = log_p(again, _network("second").calibration)
    return said, looks
