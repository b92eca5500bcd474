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
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.strangers import camera, pens, player, sheet, writing

FAMILIES = ["desk", "bag", "outdoor", "dusk", "messenger", "copy", "flatbed"]
LEVELS = {"gentle": (0.0, 0.35), "everyday": (0.35, 0.75), "rough": (0.75, 1.2)}
PRACTICE = "practice"  # the card of a session
SHEETS = ("putting-ladder", "field-work", PRACTICE)
PX_MM = 10.0

Job = TypeVar("Job")


def practice_card(rng: np.random.Generator, maps: Path) -> tuple[bytes, dict[str, Any]]:
    """The card of some session's plan, as `focus --print` makes it; its field map is kept for the reader."""
    from shortpencil.forms.field_map import fingerprint, layout_to_json
    from shortpencil.forms.layout import PAPERS
    from shortpencil.forms.pdf import identify, to_pdf
    from shortpencil.forms.serials import serial_from
    from shortpencil.scan.practice.card import practice_page, practice_sheet
    from shortpencil.scan.practice.plan import plan_of
    from tests.practice.test_plan import DRILLS, a_focus

    phase, cause = [("putt", 0), ("drive", 5), ("approach", 7), ("putt", 7), ("drive", 8)][
        int(rng.integers(5))
    ]
    plan = plan_of(a_focus(phase, cause, rounds=3), int(rng.choice([15, 30, 45, 60])), DRILLS, repeat=True)
    card = practice_sheet(plan, PAPERS["a4"])
    name = fingerprint(card.layout)
    serial = serial_from(bytes(rng.integers(0, 256, 16).astype(np.uint8)))
    page = practice_page(card, identify(serial, name), plan)
    (maps / f"map_{name}.json").write_text(layout_to_json(card.layout), "utf-8")
    return to_pdf([page], PAPERS["a4"], "session"), json.loads(layout_to_json(card.layout))


def blank(folder: Path, program: list[str], form: str, paper: str, unit: str) -> tuple[bytes, dict[str, Any]]:
    """A blank card's PDF and field map, printed by the program as a user would."""
    pdf, field_map = folder / "card.pdf", folder / "card.json"
    argv = [*program, "print", "--form", form, "--paper", paper, "--unit", unit]
    subprocess.run([*argv, "-o", str(pdf), "--map", str(field_map)], check=True, capture_output=True)
    return pdf.read_bytes(), json.loads(field_map.read_text("utf-8"))


@dataclass(slots=True)
class Filled:
    """A card that somebody filled: `look` (h, w, 3) is its reflectance at `PX_MM` pixels per millimetre.

    `where` is each cell's box, (x, y, width, height) in mm.
    """

    look: NDArray[np.float32]
    size_mm: tuple[float, float]
    form: str
    pens: list[str]
    truth: dict[str, player.Truth]
    where: dict[str, tuple[float, ...]]

    def as_json(self, name: str, family: str, level: str, rate: float) -> dict[str, Any]:
        """What the truth file states of a photo of it."""
        return {
            "file": name,
            "owed": "read",
            "family": family,
            "level": level,
            "form": self.form,
            "px_per_mm": round(rate, 2),
            "pens": self.pens,
            "cells": {cell: t.as_json() for cell, t in self.truth.items()},
        }


def filled(
    rng: np.random.Generator,
    family: str,
    hardness: float,
    hands: dict[str, writing.Hand],
    program: list[str],
    pen_kinds: list[pens.Pen] = pens.PENS,
    print_colour: tuple[float, float, float] = (1.0, 1.0, 1.0),
    paperless: bool = False,
    forms: Sequence[str] = (),
    maps: Path | None = None,
) -> Filled:
    """A card printed by the program, filled by one of these hands with one or two of these pens.

    A `paperless` one was filled on a screen: no printer, no paper. `print_colour` is what the toner absorbs
    of red, green and blue. `forms` are taken in place of the usual round cards; of a practice card the field
    map is written to the folder `maps`.
    """
    form = str(rng.choice(["round18", "round27", "round9"], p=[0.7, 0.15, 0.15]))
    if forms:
        form = str(rng.choice(forms))
    paper, unit = str(rng.choice(["a4", "letter"], p=[0.8, 0.2])), str(rng.choice(["m", "ft"], p=[0.8, 0.2]))
    if form == PRACTICE and maps is not None:
        pdf, field_map = practice_card(rng, maps)
    else:
        with tempfile.TemporaryDirectory() as folder:
            pdf, field_map = blank(Path(folder), program, form, paper, unit)
    size = field_map["page"]["width_mm"], field_map["page"]["height_mm"]
    page = pens.Page(rng, *size, PX_MM)
    hand = hands[sorted(hands)[int(rng.integers(len(hands)))]]
    mine = [
        pen_kinds[int(i)]
        for i in rng.choice(len(pen_kinds), 1 + (rng.random() < 0.15 + 0.2 * hardness), replace=False)
    ]
    writer = writing.Writer(rng, page, hand, mine, hardness)
    say = (player.sheet_meanings if form in SHEETS else player.meanings)(rng, field_map)
    truth = player.truths(rng, field_map, say, min(hardness, 1.0))
    toner = sheet.toner_of(pdf, PX_MM, page.shape)
    blank_sheet = 3 * toner if paperless else sheet.printed(rng, toner, PX_MM, hardness)
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
    absorbance = blank_sheet[..., None] * np.float32(print_colour) + ink
    if family == "copy" and turned is None:  # the filled card was copied
        again, _ = sheet.copied(rng, absorbance @ np.float32([0.3, 0.6, 0.1]), PX_MM, hardness)
        absorbance = np.repeat(again[..., None], 3, -1)
    look = np.exp(-absorbance)
    if not paperless:
        look = look * (1 - 0.03 * page.relief[..., None]) * sheet.paper_colour(rng)
    where = {cell["id"]: tuple(cell["box_mm"]) for cell in field_map["cells"]}
    return Filled(look.astype(np.float32), size, form, [p.name for p in mine], truth, where)


def photo(job: tuple[int, str, str, Path, Path, frozenset[str], list[str], list[str]]) -> dict[str, Any]:
    """One photo into the folder; what is in it."""
    seed, family, level, hands_file, out, skip, program, forms = job
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 77])
    hardness = float(rng.uniform(*LEVELS[level]))
    card = filled(rng, family, hardness, writing.hands(hands_file, skip), program, forms=forms, maps=out)
    scanned = family == "copy" and rng.random() < 0.4
    scene = "flatbed" if scanned else family
    picture, rate = camera.lit_photo(rng, card.look, card.size_mm, scene, hardness)
    name = f"{family}_{level}_{seed}.jpg"
    quality = int(rng.integers(45, 75)) if family == "messenger" else int(rng.integers(70, 96))
    cv2.imwrite(str(out / name), picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return card.as_json(name, family, level, rate)


def arguments(about: str | None, each: str, seed: int) -> argparse.ArgumentParser:
    """What any command that makes photos by strangers is told; `each` says of what there are so many."""
    parse = argparse.ArgumentParser(description=about)
    parse.add_argument("--hands", type=Path, required=True)
    parse.add_argument("--out", type=Path, required=True)
    parse.add_argument("--each", type=int, default=3, help=each)
    parse.add_argument("--seed", type=int, default=seed)
    parse.add_argument("--skip-writers", type=Path, help="a file of writers that were trained on, one a line")
    parse.add_argument("--processes", type=int, default=2)
    parse.add_argument(
        "--program", default="shortpencil", help="what prints the blank cards: another edition's, say"
    )
    return parse


def make_all(
    args: argparse.Namespace,
    made: Callable[[Job], dict[str, Any]],
    jobs: Callable[[frozenset[str], list[str]], list[Job]],
) -> None:
    """Make the photos of all jobs, one process a core, and write their truth beside them.

    `jobs` lists them, given the writers to leave out and the words that call the program.
    """
    args.out.mkdir(parents=True, exist_ok=True)
    skip = frozenset(args.skip_writers.read_text("utf-8").split()) if args.skip_writers else frozenset()
    every = jobs(skip, shlex.split(args.program))
    with ProcessPoolExecutor(args.processes) as pool:
        photos = []
        for k, done in enumerate(pool.map(made, every), 1):
            photos.append(done)
            print(f"\r{k} of {len(every)}", end="", file=sys.stderr)
    print(file=sys.stderr)
    (args.out / "truth.json").write_text(json.dumps({"photos": photos}), "utf-8")


def main() -> None:
    """Make them of each family and level."""
    parse = arguments(__doc__, "photos for each family and level", 900_000)
    parse.add_argument("--levels", default="gentle,everyday")
    parse.add_argument("--families", default=",".join(FAMILIES))
    parse.add_argument(
        "--forms", default="", help="built-in forms, or `practice`, in place of the usual round cards"
    )
    args = parse.parse_args()
    forms = [form for form in args.forms.split(",") if form]

    def jobs(skip: frozenset[str], program: list[str]) -> list[Any]:
        found = []
        for level in args.levels.split(","):
            for family in args.families.split(","):
                number = FAMILIES.index(family) * 1000 + list(LEVELS).index(level) * 10_000
                found += [
                    (args.seed + number + k, family, level, args.hands, args.out, skip, program, forms)
                    for k in range(args.each)
                ]
        return found

    make_all(args, photo, jobs)


if __name__ == "__main__":
    main()
