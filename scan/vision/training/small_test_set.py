"""Cuts the digits that tests write with.

Run: python -m shortpencil.scan.vision.training.small_test_set --mnist DIR --out NPZ

The first 100 of each digit in the order of the MNIST *test* images, so that no digit a test sees has trained
anything.
"""

import argparse
from pathlib import Path

import numpy as np

from shortpencil.scan.vision.training import mnist

PER_DIGIT = 100


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mnist", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    images, labels = mnist.load(args.mnist, "test")
    index = np.sort(np.concatenate([np.flatnonzero(labels == digit)[:PER_DIGIT] for digit in range(10)]))
    np.savez_compressed(
        args.out, images=images[index], labels=labels[index].astype(np.uint8), index=index.astype(np.uint16)
    )


if __name__ == "__main__":
    main()
