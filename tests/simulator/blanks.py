"""Blank cards from the project's own printer, rasterised: the simulator writes on the real thing."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulator.glyphs import GlyphBank
from tests.simulator.paper import rasterise

SMALL_SET = Path(__file__).resolve().parent.parent / "data" / "mnist_test_small.npz"


@dataclass(frozen=True, slots=True)
class Blank:
    """A printed card, not yet filled in.

    Attributes
    ----------
    page : (H, W) grey raster, `px_per_mm` pixels to the mm
    field_map : the published JSON, loaded
    serial : as in its QR code; fingerprint : of its field map
    """

    page: NDArray[np.uint8]
    px_per_mm: float
    field_map: dict[str, Any]
    serial: str
    fingerprint: str
    pdf: bytes


@lru_cache(maxsize=32)
def blank_card(
    form: str = "round18",
    *,
    paper: str = "a4",
    unit: str = "m",
    hand: str = "right",
    player: str = "",
    seed: int = 0,
    px_per_mm: float = 12.0,
) -> Blank:
    """Return a card of a built-in form; the serial number comes from `seed`."""
    from shortpencil.forms.catalog import load_form
    from shortpencil.forms.drawing import draw
    from shortpencil.forms.field_map import fingerprint, layout_to_json
    from shortpencil.forms.layout import PAPERS, arrange
    from shortpencil.forms.pdf import identify, to_pdf
    from shortpencil.forms.serials import serial_from

    sheet = arrange(load_form(form, unit=unit, hand=hand), PAPERS[paper])
    name = fingerprint(sheet.layout)
    serial = serial_from(np.random.default_rng([seed, 6]).bytes(16))
    pdf = to_pdf([draw(sheet, identify(serial, name, player))], PAPERS[paper], title="shortpencil card")
    page = rasterise(pdf, 1, px_per_mm)
    page.setflags(write=False)
    return Blank(page, px_per_mm, json.loads(layout_to_json(sheet.layout)), serial, name, pdf)


def save_blanks(path: Path, px_per_mm: float = 8.0) -> None:
    """Write the pages and field maps of the round cards, as this version prints them, to an NPZ."""
    held: dict[str, Any] = {"px_per_mm": np.array(px_per_mm)}
    for form in ("round9", "round18", "round27"):
        for paper in ("a4", "letter"):
            blank = blank_card(form, paper=paper, px_per_mm=px_per_mm)
            held[f"page {form} {paper}"] = blank.page
            held[f"map {form} {paper}"] = np.array(json.dumps(blank.field_map))
            held[f"name {form} {paper}"] = np.array(blank.fingerprint)
    np.savez_compressed(path, **held)


@lru_cache(maxsize=4)
def saved_blanks(path: Path) -> dict[tuple[str, str], Blank]:
    """Return the cards that a version wrote by `save_blanks`, by form and paper."""
    found = {}
    with np.load(path) as held:
        px_per_mm = float(held["px_per_mm"]) if "px_per_mm" in held.files else 8.0
        for key in held.files:
            kind, _, name = key.partition(" ")
            if kind == "page":
                form, paper = name.split()
                fingerprint = str(held[f"name {name}"])
                field_map = json.loads(str(held[f"map {name}"]))
                found[form, paper] = Blank(held[key], px_per_mm, field_map, "", fingerprint, b"")
    return found


@lru_cache(maxsize=1)
def small_bank() -> GlyphBank:
    """Return the thousand real digits that travel with the project (MNIST test images, see tests/data)."""
    with np.load(SMALL_SET) as data:
        return GlyphBank(data["images"], data["labels"])
