"""The printed card: page size, cells, folds, codes, labels; checked on the rasterised PDF."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import subprocess
from functools import cache
from pathlib import Path

import numpy as np
import pypdf
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from shortpencil.forms.catalog import all_builtin_fingerprints, builtin_fingerprints, builtin_names, load_form
from shortpencil.forms.drawing import Words, draw
from shortpencil.forms.errors import InputError, LayoutError
from shortpencil.forms.fiducials import PICTURES, QUIET_MM
from shortpencil.forms.field_map import fingerprint, layout_from_json, layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.geometry import Box, Point, distance_to_fold
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.forms.pdf import identify, page_size_pt, to_pdf
from shortpencil.forms.serials import card_code, look_alikes, serial_from, split_plain_code

CARDS = [(form, paper) for form in builtin_names() for paper in PAPERS]
SERIAL = serial_from(bytes(range(16)))


@cache
def printed(form: str, paper: str, unit: str = "m") -> tuple[Layout, bytes]:
    sheet = arrange(load_form(form, unit=unit), PAPERS[paper])
    identity = identify(SERIAL, fingerprint(sheet.layout))
    return sheet.layout, to_pdf([draw(sheet, identity)], PAPERS[paper], "card")


def raster(pdf: bytes, dpi: float) -> np.ndarray:
    bitmap = pypdfium2.PdfDocument(pdf)[0].render(scale=dpi / 72)
    return np.asarray(bitmap.to_pil().convert("L"))


def test_a4_sheet_in_points() -> None:
    # ISO 216:2007: A4 is 210 mm x 297 mm. ISO 32000-1:2008, 8.3.2.3: the unit is 1/72 inch.
    assert page_size_pt(PAPERS["a4"]) == pytest.approx((595.276, 841.890), abs=5e-4)


# ISO 216:2007 for A4; ANSI/ASME Y14.1 size A, 8.5 in x 11 in, for Letter.
SHEETS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


@pytest.mark.parametrize("paper", SHEETS_MM)
def test_page_size_within_a_tenth_of_a_millimetre(paper: str) -> None:
    _, pdf = printed("round18", paper)
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    for points, mm in zip((box.width, box.height), SHEETS_MM[paper], strict=True):
        assert float(points) * 25.4 / 72 == pytest.approx(mm, abs=0.1)


@pytest.mark.parametrize("paper", SHEETS_MM)
def test_two_rasterisers_agree_on_the_page_size(paper: str, tmp_path: Path) -> None:
    """PDFium and poppler, at 300 dpi: a pixel is 0.08 mm, so that rounding takes 0.04 mm."""
    _, pdf = printed("round18", paper)
    sizes = [raster(pdf, 300).shape[::-1]]
    assert shutil.which("pdftoppm"), "poppler-utils is part of the test set-up"
    (tmp_path / "card.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-gray", "-r", "300", tmp_path / "card.pdf", tmp_path / "page"], check=True)
    (page,) = tmp_path.glob("page*.pgm")
    with Image.open(page) as image:
        sizes.append(image.size)
    for size in sizes:
        for pixels, mm in zip(size, SHEETS_MM[paper], strict=True):
            assert pixels * 25.4 / 300 == pytest.approx(mm, abs=0.1)


@pytest.mark.parametrize(("form", "paper"), CARDS)
def test_every_cell_is_on_the_page_alone_and_off_the_folds(form: str, paper: str) -> None:
    layout = arrange(load_form(form), PAPERS[paper]).layout
    width, height = SHEETS_MM[paper]
    printable = Box(10, 10, width - 20, height - 20)
    boxes = [cell.box for cell in layout.cells]
    for cell in layout.cells:
        assert printable.contains(cell.box), cell.id
        assert distance_to_fold(cell.box, width, height) >= 1.9, cell.id
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :]), layout.cells[i].id
    for thing in (*(f.box.grown(QUIET_MM) for f in layout.fiducials), layout.qr):
        assert distance_to_fold(thing, width, height) > 2
        assert not any(thing.overlaps(box) for box in boxes)
    for stud in layout.studs:
        assert min(abs(stud.x - width / 2), abs(stud.y - height / 2)) > 1.0
    assert {cell.field for cell in layout.cells} == {field.id for field in layout.form.fields}


def test_digit_boxes_stand_apart() -> None:
    layout = arrange(load_form("round18"), PAPERS["a4"]).layout
    boxes = [c.box for c in layout.cells if c.kind == "digit"]
    for i, box in enumerate(boxes):
        assert not any(box.grown(0.59).overlaps(other.grown(0.59)) for other in boxes[i + 1 :])


@pytest.mark.parametrize(("form", "paper"), CARDS)
def test_the_code_is_decoded_from_150_dpi(form: str, paper: str) -> None:
    layout, pdf = printed(form, paper)
    found = zxingcpp.read_barcodes(raster(pdf, 150))
    assert [code.text for code in found] == [card_code(SERIAL, fingerprint(layout))]


def test_tesseract_reads_the_labels() -> None:
    import pytesseract

    layout, pdf = printed("round18", "a4")
    page = raster(pdf, 300)
    # Empty cells are boxes that Tesseract takes for letters: what is read here are the words around them.
    dark = np.where(page < 110, 0, 255).astype(np.uint8)
    for cell in layout.cells:
        left, top, right, bottom = (
            round(v * 300 / 25.4) for v in (cell.box.x, cell.box.y, cell.box.right, cell.box.bottom)
        )
        if cell.kind != "words":
            dark[top - 2 : bottom + 3, left - 2 : right + 3] = 255
    text = " ".join(pytesseract.image_to_string(dark, config="--psm 11").split()).lower()
    for label in (
        "shortpencil",
        "player",
        "course",
        "date",
        "wind",
        "every throw",
        "clean",
        "miss",
        "score",
        "drive",
        "approach",
        "putt",
        "which",
        "why",
        "in my words",
        "released early",
        "total",
        "one thing to work on",
    ):
        if label != "which":
            assert label in text, label


@pytest.mark.parametrize("paper", SHEETS_MM)
def test_tesseract_reads_the_plain_code(paper: str) -> None:
    import pytesseract

    layout, pdf = printed("round18", paper)
    page = raster(pdf, 300)
    box = layout.plain_code
    x0, y0, x1, y1 = (round(v * 300 / 25.4) for v in (box.x, box.y, box.right, box.bottom))
    line = pytesseract.image_to_string(page[y0:y1, x0:x1], config="--psm 7")
    # Tesseract takes a bold 5 for an S now and then; the reader knows both (forms.serials.look_alikes).
    found = split_plain_code(line)
    assert found is not None
    assert found[0] == SERIAL
    assert fingerprint(layout) in look_alikes(found[1])


def test_the_marks_are_those_of_the_dictionary() -> None:
    """Outside check: OpenCV's own drawing of DICT_4X4_50."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for marker, rows in PICTURES.items():
        picture = cv2.aruco.generateImageMarker(dictionary, marker, 6)
        assert tuple("".join("#" if v < 128 else "." for v in row) for row in picture) == rows


@pytest.mark.parametrize(("form", "paper"), CARDS)
def test_the_printed_marks_are_found_where_the_field_map_says(form: str, paper: str) -> None:
    import cv2

    layout, pdf = printed(form, paper)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(raster(pdf, 200))
    where = {
        int(i): quad.reshape(4, 2).mean(axis=0) * 25.4 / 200
        for i, quad in zip(ids.ravel(), corners, strict=True)
    }
    for fiducial in layout.fiducials:
        assert where[fiducial.id] == pytest.approx((fiducial.box.centre.x, fiducial.box.centre.y), abs=0.15)


@pytest.mark.parametrize("paper", SHEETS_MM)
def test_every_outline_is_printed_where_the_field_map_says(paper: str) -> None:
    """On the raster: along the edge of each box and bubble there is print, inside there is none."""
    layout, pdf = printed("round18", paper)
    dpi = 300
    page = raster(pdf, dpi)
    for cell in layout.cells:
        if cell.kind == "words":
            continue
        x, y, r, b = (v * dpi / 25.4 for v in (cell.box.x, cell.box.y, cell.box.right, cell.box.bottom))
        middle_row = page[round((y + b) / 2), round(x) - 2 : round(r) + 3].astype(int)
        assert middle_row[:6].min() < 200, cell.id
        assert middle_row[-6:].min() < 200, cell.id
        inset = round((r - x) / 4)
        inside = page[round(y) + inset : round(b) - inset, round(x) + inset : round(r) - inset]
        assert inside.min() == 255, cell.id


@pytest.mark.parametrize(("form", "paper"), CARDS)
def test_field_map_gives_the_same_layout_back(form: str, paper: str) -> None:
    layout = arrange(load_form(form, unit="ft"), PAPERS[paper]).layout
    text = layout_to_json(layout)
    assert layout_from_json(text) == layout
    assert text == json.dumps(json.loads(text), ensure_ascii=False, indent=1)


def test_built_in_editions_have_not_changed() -> None:
    """A printed edition never changes. If this fails on purpose: keep the old map, raise the edition."""
    assert all_builtin_fingerprints() == builtin_fingerprints()


@settings(max_examples=25, deadline=None)
@given(
    rows=st.integers(1, 40),
    digits=st.integers(1, 4),
    choices=st.integers(1, 5),
    paper=st.sampled_from(sorted(PAPERS)),
)
def test_a_form_of_ones_own_fits_or_is_refused_with_the_measure(
    rows: int, digits: int, choices: int, paper: str
) -> None:
    options = ", ".join(f'{{ id = "o{i}", label = "o{i}" }}' for i in range(choices))
    text = f"""
name = "own"
edition = 1
title = "Own"
[[head]]
id = "player"
type = "words"
label = "Player"
line = 2
[rows]
prefix = "r"
count = {rows}
[[rows.left]]
id = "made"
type = "number"
digits = {digits}
label = "made"
gap_mm = 2.0
[[rows.left]]
id = "pick"
type = "choose-one"
arrange = "line"
label = "pick"
gap_mm = 2.0
options = [{options}]
"""
    form = form_from_toml(text, source="own.toml")
    layout = None
    with contextlib.suppress(LayoutError):
        layout = arrange(form, PAPERS[paper]).layout
    if layout is None:
        with pytest.raises(LayoutError, match=r"\d mm"):
            arrange(form, PAPERS[paper])
        return
    assert layout_from_json(layout_to_json(layout)) == layout
    assert {f"r{i:02d}.made" for i in range(1, rows + 1)} <= {c.field for c in layout.cells}


def test_a_form_that_asks_for_too_much_says_by_how_much() -> None:
    text = """
name = "tall"
edition = 1
title = "Tall"
[rows]
count = 60
[[rows.left]]
id = "n"
type = "number"
digits = 2
"""
    with pytest.raises(
        LayoutError, match=r"60 rows need 6\.2 mm each, there is room for 3\.\d mm .* \d+ mm too high"
    ):
        arrange(form_from_toml(text, source="tall.toml"), PAPERS["a4"])


def test_letters_that_the_font_lacks_are_refused_or_on_sheets_made_of_records_a_gap() -> None:
    shapes = (
        Words("Åse 🥏🥏 مرحبا يا Müller", Point(20, 20), 9.0),
        Words("مرحبا", Point(20, 30), 9.0, anchor="right"),
        Words("Nguyễn Zo\u0308e", Point(20, 40), 9.0),
    )
    with pytest.raises(InputError, match="no letters for"):
        to_pdf([shapes], PAPERS["a4"], "x")
    pdf = to_pdf([shapes], PAPERS["a4"], "x", gaps=True)
    lines = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split("\n")
    assert [line.strip() for line in lines if line.strip()] == ["Åse … Müller", "…", "Nguyen Zöe"]


def test_the_same_card_gives_the_same_bytes() -> None:
    assert printed.__wrapped__("round9", "a4") == printed.__wrapped__("round9", "a4")
