"""Contact sheets of conditions by severity, so that a person can judge how lifelike the simulator is.

python -m tests.simulator.gallery --out DIR [--only fold,dusk] [--long 2000]
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.scenario import (
    CONDITIONS,
    as_stored,
    condition,
    fill,
    mixed,
    photograph,
    round_answers,
    some_player,
    some_writer,
)

SEVERITIES = (0.2, 0.6, 1.0)
TILE_PX = 640


def strip(name: str, seed: int, long_px: int) -> NDArray[np.uint8]:
    """One row of the gallery: whole photos at rising severity, and a detail of each at full resolution."""
    blank = blank_card()
    bank = small_bank()
    tiles = []
    seed = seed * 1000 + sum(name.encode())  # another hand and pen for each condition
    for severity in SEVERITIES:
        rng = np.random.default_rng(seed)
        how = (
            mixed(seed + int(10 * severity), long_px=long_px, trouble=severity)
            if name == "mixed"
            else condition(name, severity, seed, long_px=long_px)
        )
        answers = round_answers(blank.field_map, some_player(rng), seed, words={"player": "birch"})
        writer = some_writer(rng, bank)
        sheet = fill(
            blank.page,
            blank.px_per_mm,
            blank.field_map,
            answers,
            writer,
            seed,
            bank=bank,
            condition=how,
            trouble=0.03,
        )
        shot = as_stored(photograph(sheet, how, seed))
        tiles += [
            _whole(shot.image),
            _detail(shot.image, shot.sheet_to_photo[0](np.array([[62.0, 105.0]]))[0]),
        ]
    return np.hstack(tiles)


def _whole(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The photo, shrunk to fit a square tile."""
    tile = np.full((TILE_PX, TILE_PX, 3), 30, dtype=np.uint8)
    ratio = TILE_PX / max(image.shape[:2])
    small = cv2.resize(image, None, fx=ratio, fy=ratio, interpolation=cv2.INTER_AREA)
    tile[: small.shape[0], : small.shape[1]] = small
    return tile


def _detail(image: NDArray[np.uint8], at_px: NDArray[np.float64]) -> NDArray[np.uint8]:
    """A square around a point, pixel for pixel."""
    tile = np.full((TILE_PX, TILE_PX, 3), 30, dtype=np.uint8)
    x, y = (int(np.clip(v - TILE_PX / 2, 0, s - 1)) for v, s in zip(at_px, image.shape[1::-1], strict=True))
    part = image[y : y + TILE_PX, x : x + TILE_PX]
    tile[: part.shape[0], : part.shape[1]] = part
    return tile


def main(argv: Sequence[str] | None = None) -> int:
    """Write one JPEG for each condition."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for the pictures")
    parser.add_argument("--only", default="", help="names of conditions, with commas")
    parser.add_argument("--long", type=int, default=3000, help="longer side of the photos in pixels")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args(argv)
    args.out.mkdir(parents=True, exist_ok=True)
    for name in args.only.split(",") if args.only else [*CONDITIONS, "mixed"]:
        picture = strip(name, args.seed, args.long)
        target = args.out / f"{name}.jpg"
        cv2.imwrite(str(target), cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 88])
        print(target)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
