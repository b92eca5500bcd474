"""Pictures of conditions by severity, so that a person can judge how lifelike the simulator is.

python -m tests.simulator.gallery --out DIR [--only fold,dusk] [--long 2000]
python -m tests.simulator.gallery --sheet docs/figures/simulated-photos.jpg

With --out a large picture of each condition; with --sheet one contact sheet of many, small enough for docs.
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
    Shot,
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


#: What the contact sheet shows, three to a row: each at both severities, and a detail of the second.
ON_SHEET = (
    "clean,shadow,dusk,tilt,wide-angle,fold,fold-in-eight,bend,crumple,thumbs,thumb-on-mark,torn,cut-off,glare,"
    "sheen,cast,defocus,motion,messenger,low-toner,photocopy,fax,flatbed,yellow-paper,show-through,rain,coffee,grass,"
    "bonnet,white-table"
)
SHEET_SEVERITIES = (0.5, 1.0)
SHEET_PX = 1800
SHEET_LONG_PX = 2000  # of the photos on it
SHEET_BYTES = 600_000


def shoot(name: str, severity: float, seed: int, long_px: int) -> Shot:
    """Return a photo of a card in one condition, as its file shows it."""
    blank = blank_card()
    bank = small_bank()
    rng = np.random.default_rng(seed)
    how = (
        mixed(seed + int(10 * severity), long_px=long_px, trouble=severity)
        if name == "mixed"
        else condition(name, severity, seed, long_px=long_px)
    )
    answers = round_answers(blank.field_map, some_player(rng), seed, words={"player": "birch"})
    sheet = fill(
        blank.page,
        blank.px_per_mm,
        blank.field_map,
        answers,
        some_writer(rng, bank),
        seed,
        bank=bank,
        condition=how,
        trouble=0.03,
    )
    return as_stored(photograph(sheet, how, seed))


def seed_for(name: str, seed: int) -> int:
    """Another hand and pen for each condition."""
    return seed * 1000 + sum(name.encode())


def strip(name: str, seed: int, long_px: int) -> NDArray[np.uint8]:
    """One row of the gallery: whole photos at rising severity, and a detail of each at full resolution."""
    tiles = []
    for severity in SEVERITIES:
        shot = shoot(name, severity, seed_for(name, seed), long_px)
        tiles += [
            _whole(shot.image),
            _detail(shot.image, shot.sheet_to_photo[0](np.array([[62.0, 105.0]]))[0]),
        ]
    return np.hstack(tiles)


def contact_sheet(names: Sequence[str], seed: int, long_px: int) -> NDArray[np.uint8]:
    """All conditions side by side, labelled."""
    column, tall, gap = SHEET_PX // 3, 250, 6
    wide = (column - 4 * gap) // 3
    tiles = []
    for name in names:
        tile = np.full((tall + 26, column, 3), 250, dtype=np.uint8)
        shots = [shoot(name, s, seed_for(name, seed), long_px) for s in SHEET_SEVERITIES]
        at_px = shots[-1].sheet_to_photo[0](np.array([[62.0, 105.0]]))[0]
        pictures = [_cropped(shot.image, wide, tall) for shot in shots]
        pictures.append(_part(shots[-1].image, at_px, wide, tall))
        labels = [f"{name} {s:g}" for s in SHEET_SEVERITIES] + ["the same, pixel for pixel"]
        for i, (picture, label) in enumerate(zip(pictures, labels, strict=True)):
            x = gap + i * (wide + gap)
            tile[:tall, x : x + wide] = picture
            cv2.putText(
                tile, label, (x, tall + 17), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (40, 40, 40), 1, cv2.LINE_AA
            )
        tiles.append(tile)
    tiles += [np.full_like(tiles[0], 250)] * (-len(tiles) % 3)
    return np.vstack([np.hstack(tiles[i : i + 3]) for i in range(0, len(tiles), 3)])


def _cropped(image: NDArray[np.uint8], wide: int, tall: int) -> NDArray[np.uint8]:
    """The whole photo, set upright, filling a tile."""
    if image.shape[1] > image.shape[0]:
        image = np.asarray(cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE), dtype=np.uint8)
    ratio = min(wide / image.shape[1], tall / image.shape[0])
    size = (min(round(image.shape[1] * ratio), wide), min(round(image.shape[0] * ratio), tall))
    tile = np.full((tall, wide, 3), 250, dtype=np.uint8)
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    left = (wide - size[0]) // 2
    tile[: size[1], left : left + size[0]] = small
    return tile


def _part(image: NDArray[np.uint8], at_px: NDArray[np.float64], wide: int, tall: int) -> NDArray[np.uint8]:
    """A part of the photo around a point, pixel for pixel."""
    height, width = image.shape[:2]
    x = int(np.clip(at_px[0] - wide / 2, 0, max(width - wide, 0)))
    y = int(np.clip(at_px[1] - tall / 2, 0, max(height - tall, 0)))
    part = image[y : y + tall, x : x + wide]
    tile = np.full((tall, wide, 3), 250, dtype=np.uint8)
    tile[: part.shape[0], : part.shape[1]] = part
    return tile


def write_sheet(picture: NDArray[np.uint8], target: Path) -> None:
    """Write at the highest quality that keeps to the limit."""
    for quality in range(88, 20, -4):
        bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
        data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
        if len(data) <= SHEET_BYTES:
            target.write_bytes(data)
            print(
                f"{target}: {picture.shape[1]} x {picture.shape[0]}, {len(data) / 1000:.0f} kB, q {quality}"
            )
            return
    raise ValueError(f"no JPEG quality brings the sheet under {SHEET_BYTES} bytes; show fewer conditions")


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
    parser.add_argument("--out", type=Path, help="folder for a large picture of each condition")
    parser.add_argument("--sheet", type=Path, help="file for one contact sheet of many, as in the docs")
    parser.add_argument("--only", default="", help="names of conditions, with commas")
    parser.add_argument("--long", type=int, default=3000, help="longer side of the photos in pixels")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args(argv)
    if args.sheet is not None:
        names = (args.only or ON_SHEET).split(",")
        write_sheet(contact_sheet(names, args.seed, SHEET_LONG_PX), args.sheet)
    if args.out is not None:
        args.out.mkdir(parents=True, exist_ok=True)
        for name in args.only.split(",") if args.only else [*CONDITIONS, "mixed"]:
            picture = strip(name, args.seed, args.long)
            target = args.out / f"{name}.jpg"
            bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
            cv2.imwrite(str(target), bgr, [cv2.IMWRITE_JPEG_QUALITY, 88])
            print(target)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
