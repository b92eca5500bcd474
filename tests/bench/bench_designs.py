"""Three ways to draw the outlines of a card, through printers, copiers and light of `tests/strangers`.

`python -m tests.bench.bench_designs picture FILE.png` shows them side by side and prints how dark each is
left, in grey levels of a photo at 6 pixels a millimetre. `... print DESIGN ...` prints
a card as `shortpencil ...` does, so that `tests.strangers.make --program` can photograph it.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw

from shortpencil.forms import drawing
from shortpencil.forms.catalog import load_form
from shortpencil.forms.drawing import Fill, Outline, Shape
from shortpencil.forms.field_map import fingerprint
from shortpencil.forms.geometry import Box, Point, box_around
from shortpencil.forms.layout import PAPERS, Sheet, arrange
from shortpencil.forms.pdf import identify, to_pdf
from shortpencil.forms.serials import serial_from
from tests.strangers.sheet import copied, printed, toner_of

PX_MM, PHOTO_PX_MM = 12.0, 6.0


def along(outline: Outline, step_mm: float) -> Iterator[Point]:
    """Points of an outline, evenly apart."""
    box, radius = outline.box, min(outline.radius_mm, outline.box.w / 2, outline.box.h / 2)
    corners = [(box.right, box.bottom, 0), (box.x, box.bottom, 1), (box.x, box.y, 2), (box.right, box.y, 3)]
    path: list[tuple[float, float]] = []
    for x, y, turn in corners:
        middle = x - radius if turn in (0, 3) else x + radius, y - radius if turn in (0, 1) else y + radius
        for angle in np.linspace(turn * np.pi / 2, (turn + 1) * np.pi / 2, 12):
            path.append((middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)))
    path.append(path[0])
    xy = np.array(path)
    way = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    for at in np.arange(0, way[-1], way[-1] / max(8, round(way[-1] / step_mm))):
        yield Point(float(np.interp(at, way, xy[:, 0])), float(np.interp(at, way, xy[:, 1])))


def restyled(shapes: tuple[Shape, ...], design: str) -> tuple[Shape, ...]:
    """The card with other outlines: "grey" (the first edition), "hairline" (the second) or "dotted"."""
    out: list[Shape] = []
    for shape in shapes:
        if not isinstance(shape, Outline) or design == "hairline":
            out.append(shape)
        elif design == "grey":
            out.append(replace(shape, grey=0.52, width_mm=0.28))
        else:
            out += [Fill(box_around(point, 0.22, 0.22)) for point in along(shape, 0.5)]
    return tuple(out)


DESIGNS = ("grey", "hairline", "dotted")


def photo(absorbance: np.ndarray, bright: float, seed: int) -> np.ndarray:
    """A plain photo from above: 6 px/mm, a little blur and noise, highlights that clip softly."""
    rng = np.random.default_rng(seed)
    seen = cv2.resize(
        np.exp(-absorbance),
        None,
        fx=PHOTO_PX_MM / PX_MM,
        fy=PHOTO_PX_MM / PX_MM,
        interpolation=cv2.INTER_AREA,
    )
    seen = cv2.GaussianBlur(bright * seen, (0, 0), 0.8) + rng.normal(0, 0.008, seen.shape)
    seen = np.where(seen > 0.8, 0.8 + 0.2 * np.tanh((seen - 0.8) / 0.2), seen)
    return (np.clip(seen, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)


def looks(sheet: Sheet, design: str) -> dict[str, np.ndarray]:
    """Condition -> photo of the empty card."""
    identity = identify(serial_from(bytes(range(16))), fingerprint(sheet.layout))
    paper = sheet.layout.paper
    pdf = to_pdf([restyled(drawing.draw(sheet, identity), design)], paper, "card")
    toner = toner_of(pdf, PX_MM, (round(paper.height_mm * PX_MM), round(paper.width_mm * PX_MM)))
    fresh = printed(np.random.default_rng(1), toner, PX_MM, 0.5, "laser")
    weak = printed(np.random.default_rng(4), toner, PX_MM, 0.5, "weak")
    copy, _ = copied(np.random.default_rng(5), fresh, PX_MM, 0.5)
    return {
        "fresh": photo(fresh, 0.8, 1),
        "copied once": photo(copy, 0.8, 2),
        "little toner": photo(weak, 0.8, 3),
        "bright sun": photo(fresh, 1.25, 4),
        "copied, in the sun": photo(copy, 1.2, 5),
    }


def dips(sheet: Sheet, picture: np.ndarray) -> np.ndarray:
    """How much darker than its inside each cell's left edge is, in grey levels."""
    found = []
    k = PHOTO_PX_MM
    for cell in sheet.layout.cells:
        if cell.kind == "words":
            continue
        box: Box = cell.box
        middle, left, right = (round(v * k) for v in (box.centre.y, box.x, box.right))
        # A copier moves the sheet by up to a millimetre or so.
        edge = picture[middle - 2 : middle + 3, max(left - 8, 0) : left + 9].astype(float).mean(0).min()
        inside = np.median(
            picture[middle - 3 : middle + 4, left + (right - left) // 3 : right - (right - left) // 3]
        )
        found.append(inside - edge)
    return np.array(found)


def show(file: Path) -> None:
    """The designs side by side, and their figures."""
    sheet = arrange(load_form("round18"), PAPERS["a4"])
    rows = []
    print("| outlines | condition | darker than paper by, mean (10 %) grey levels |")
    print("| --- | --- | --- |")
    for design in DESIGNS:
        cells = []
        for condition, picture in looks(sheet, design).items():
            found = dips(sheet, picture)
            print(f"| {design} | {condition} | {found.mean():.0f} ({np.quantile(found, 0.1):.0f}) |")
            k = PHOTO_PX_MM
            crop = Image.fromarray(picture[round(57 * k) : round(80 * k), round(42 * k) : round(92 * k)])
            tile = Image.new("L", (crop.width + 6, crop.height + 20), 255)
            tile.paste(crop, (0, 18))
            ImageDraw.Draw(tile).text((2, 3), f"{design}: {condition}", fill=0)
            cells.append(np.asarray(tile))
        rows.append(np.hstack(cells))
    buffer = io.BytesIO()
    Image.fromarray(np.vstack(rows)).save(buffer, "PNG", optimize=True)
    file.write_bytes(buffer.getvalue())


def main() -> None:
    """See the module."""
    if sys.argv[1] == "picture":
        show(Path(sys.argv[2]))
        return
    from shortpencil.scan.cli.main import main as shortpencil

    design, drawn = sys.argv[2], drawing.draw
    drawing.draw = lambda sheet, identity: restyled(drawn(sheet, identity), design)
    sys.exit(shortpencil(sys.argv[3:]))


if __name__ == "__main__":
    main()
