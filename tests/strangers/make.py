"""Make photos of filled cards with their truth: ``python -m tests.strangers.make --hands FILE --out DIR``.

The truth file: ``{"photos": [{"file", "owed", "family", "level", "form", "px_per_mm", "cells"}]}``,
``cells`` by id, each ``{"value", "mark", "owed", "pen"}``.
"""

from __future__ import annotations

import argparse
import json
import shlex
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.strangers import camera, pens, player, sheet, writing

FAMILIES = ["desk", "bag", "outdoor", "dusk", "messenger", "copy", "flatbed"]
LEVELS = {"gentle": (0.0, 0.35), "everyday": (0.35, 0.75), "rough": (0.75, 1.2)}
PX_MM = 10.0


def blank(folder: Path, program: list[str], form: str, paper: str, unit: str) -> tuple[bytes, dict[str, Any]]:
    """A blank card's PDF and field map, printed by the program as a user would."""
    pdf, field_map = folder / "card.pdf", folder / "card.json"
    argv = [*program, "print", "--form", form, "--paper", paper, "--unit", unit]
    subprocess.run([*argv, "-o", str(pdf), "--map", str(field_map)], check=True, capture_output=True)
    return pdf.read_bytes(), json.loads(field_map.read_text("utf-8"))


def photo(job: tuple[int, str, str, Path, Path, frozenset[str], list[str]]) -> dict[str, Any]:
    """One photo into the folder; what is in it."""
    seed, family, level, hands_file, out, skip, program = job
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 77])
    hardness = float(rng.uniform(*LEVELS[level]))
    form = str(rng.choice(["round18", "round27", "round9"], p=[0.7, 0.15, 0.15]))
    paper, unit = str(rng.choice(["a4", "letter"], p=[0.8, 0.2])), str(rng.choice(["m", "ft"], p=[0.8, 0.2]))
    with tempfile.TemporaryDirectory() as folder:
        pdf, field_map = blank(Path(folder), program, form, paper, unit)
    size = field_map["page"]["width_mm"], field_map["page"]["height_mm"]
    page = pens.Page(rng, *size, PX_MM)
    everybody = writing.hands(hands_file, skip)
    hand = everybody[sorted(everybody)[int(rng.integers(len(everybody)))]]
    mine = [
        pens.PENS[int(i)]
        for i in rng.choice(len(pens.PENS), 1 + (rng.random() < 0.15 + 0.2 * hardness), replace=False)
    ]
    writer = writing.Writer(rng, page, hand, mine, hardness)
    say = player.meanings(rng, field_map)
    truth = player.truths(rng, field_map, say, min(hardness, 1.0))
    blank_sheet = sheet.printed(rng, sheet.toner_of(pdf, PX_MM, page.shape), PX_MM, hardness)
    turned = None
    if family == "copy" and rng.random() < 0.55:  # the blank was copied, then filled
        blank_sheet, turned = sheet.copied(rng, blank_sheet, PX_MM, hardness)
    for cell in field_map["cells"]:
        if cell["kind"] == "words":
            if say.get(cell["field"]):
                writer.words(cell["box_mm"])
        else:
            writer.cell(cell, truth[cell["id"]])
    ink = page.ink if turned is None else cv2.warpAffine(page.ink, turned, page.shape[::-1])
    absorbance = blank_sheet[..., None] + ink
    if family == "copy" and turned is None:  # the filled card was copied
        again, _ = sheet.copied(rng, absorbance @ np.float32([0.3, 0.6, 0.1]), PX_MM, hardness)
        absorbance = np.repeat(again[..., None], 3, -1)
    look = (np.exp(-absorbance) * (1 - 0.03 * page.relief[..., None]) * sheet.paper_colour(rng)).astype(
        np.float32
    )
    scanned = family == "copy" and rng.random() < 0.4
    picture, rate = camera.lit_photo(rng, look, size, "flatbed" if scanned else family, hardness)
    name = f"{family}_{level}_{seed}.jpg"
    quality = int(rng.integers(45, 75)) if family == "messenger" else int(rng.integers(70, 96))
    cv2.imwrite(str(out / name), picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    cells = {cell: t.as_json() for cell, t in truth.items()}
    return {
        "file": name,
        "owed": "read",
        "family": family,
        "level": level,
        "form": form,
        "px_per_mm": round(rate, 2),
        "pens": [p.name for p in mine],
        "cells": cells,
    }


def main() -> None:
    """Make them, one process a core."""
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--hands", type=Path, required=True)
    parse.add_argument("--out", type=Path, required=True)
    parse.add_argument("--each", type=int, default=3, help="photos for each family and level")
    parse.add_argument("--levels", default="gentle,everyday")
    parse.add_argument("--families", default=",".join(FAMILIES))
    parse.add_argument("--seed", type=int, default=900_000)
    parse.add_argument("--skip-writers", type=Path, help="a file of writers that were trained on, one a line")
    parse.add_argument("--processes", type=int, default=2)
    parse.add_argument(
        "--program", default="shortpencil", help="what prints the blank cards: another edition's, say"
    )
    args = parse.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    skip = frozenset(args.skip_writers.read_text("utf-8").split()) if args.skip_writers else frozenset()
    jobs = []
    for level in args.levels.split(","):
        for family in args.families.split(","):
            number = FAMILIES.index(family) * 1000 + list(LEVELS).index(level) * 10_000
            jobs += [
                (args.seed + number + k, family, level, args.hands, args.out, skip, shlex.split(args.program))
                for k in range(args.each)
            ]
    with ProcessPoolExecutor(args.processes) as pool:
        photos = []
        for k, done in enumerate(pool.map(photo, jobs), 1):
            photos.append(done)
            print(f"\r{k} of {len(jobs)}", end="", file=sys.stderr)
    print(file=sys.stderr)
    (args.out / "truth.json").write_text(json.dumps({"photos": photos}), "utf-8")


if __name__ == "__main__":
    main()
