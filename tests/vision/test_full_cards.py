"""Cards on which most or all is filled: nothing of it is taken for what blank cells look like."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.forms.drawing import draw
from shortpencil.forms.field_map import fingerprint, layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.forms.pdf import identify, to_pdf
from shortpencil.scan.reading import CardReading
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import read_photo
from shortpencil.scan.vision.seeing.bubbles import bubble_log_likelihoods, measure_bubbles
from shortpencil.scan.vision.seeing.patches import cells_of_kind, writing_in
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.pens import PENS
from tests.simulator.scenario import (
    Answer,
    condition,
    fill,
    photograph,
    rasterise,
    some_writer,
    truth_json,
)

_HEAD = 'name = "full"\nedition = 1\ntitle = "Full"\nrecord = "sheet"\nstatement = "All of it."\n'
_SERIAL = "2FKVMUY6"


def _number(field: str, digits: int, line: int) -> str:
    return f'\n[[head]]\nid = "{field}"\ntype = "number"\ndigits = {digits}\nlabel = "-"\nline = {line}\n'


def _bubble(field: str, line: int) -> str:
    options = '[{ id = "yes", label = "yes" }]'
    return (
        f'\n[[head]]\nid = "{field}"\ntype = "choose-one"\nlabel = "-"\nline = {line}\noptions = {options}\n'
    )


#: Boxes as a practice card has them: a date, then one number a set.
PRACTICE = _HEAD + "".join(_number(f"n{k}", 2, 3 + k // 3) for k in range(9))


def read_filled(
    answers: Mapping[str, Answer], pen: str, *, toml: str | None = None, light: str = "clean", seed: int = 21
) -> tuple[CardReading, dict[str, object]]:
    """Return the reading of a card filled in with that pen, and the truth of its cells."""
    if toml is None:
        blank = blank_card("round18", paper="a4", px_per_mm=8.0)
        layout: Layout = builtin_layout("round18", "a4", "m", "right")
        page, field_map, serial = blank.page, blank.field_map, blank.serial
    else:
        sheet = arrange(form_from_toml(toml, source="test", unit="m", hand="right"), PAPERS["a4"])
        layout, serial = sheet.layout, _SERIAL
        pdf = to_pdf(
            [draw(sheet, identify(serial, fingerprint(layout), ""))], PAPERS["a4"], title="shortpencil card"
        )
        page, field_map = rasterise(pdf, 1, 8.0), json.loads(layout_to_json(layout))
    how = condition(light, 0.4, seed, long_px=2200)
    writer = some_writer(np.random.default_rng(seed), small_bank(), pen=PENS[pen], careful=0.9)
    filled = fill(
        page, 8.0, field_map, answers, writer, seed, bank=small_bank(), condition=how, serial=serial
    )
    shot = photograph(filled, how, seed)
    (photo,) = photos_from_bytes(shot.encoded(), "photo")
    (reading,) = read_photo(photo, lambda _: layout)
    return reading, truth_json(shot.sheets[0])["cells"]


def silently_wrong(reading: CardReading, truth: Mapping[str, object]) -> list[str]:
    assert reading.status == "read", reading.reason
    return [
        name
        for name, cell in reading.cells.items()
        if cell.flag is None
        and reading.fields[name.rsplit(".", 1)[0]].flag is None
        and not isinstance(truth[name], str)
        and cell.value != truth[name]
    ]


@pytest.mark.parametrize("pen", ["pencil-HB", "pencil-4H", "felt-thin"])
def test_a_practice_card_with_all_its_boxes_written_is_read(pen: str) -> None:
    answers = {f"n{k}": 12 + 7 * k for k in range(9)}
    reading, truth = read_filled(answers, pen, toml=PRACTICE)
    assert silently_wrong(reading, truth) == []
    assert len(reading.flagged) <= 3


def test_a_form_with_three_bubbles_all_filled_is_not_blank() -> None:
    toml = _HEAD + "".join(_bubble(f"b{k}", 3 + k) for k in range(3))
    reading, truth = read_filled({f"b{k}": "yes" for k in range(3)}, "ball-black", toml=toml)
    assert silently_wrong(reading, truth) == []
    assert not reading.flagged


@pytest.mark.parametrize("boxes", [1, 2])
def test_a_form_with_a_box_or_two_is_read_when_all_are_written(boxes: int) -> None:
    reading, truth = read_filled(
        {"n": 7 if boxes == 1 else 47}, "pencil-2B", toml=_HEAD + _number("n", boxes, 3)
    )
    assert silently_wrong(reading, truth) == []


def test_a_round_of_nothing_but_misses_keeps_its_misses() -> None:
    throws = ("drive", "approach1", "approach2", "putt1", "putt2", "putt3")
    answers: dict[str, Answer] = {f"h{h:02d}.{throw}": "miss" for h in range(1, 19) for throw in throws}
    answers |= {f"h{h:02d}.score": 6 for h in range(1, 19)}
    answers |= {"tally.drive": 18, "tally.approach": 36, "tally.putt": 54, "total": 108}
    reading, truth = read_filled(answers, "felt-thin")
    assert silently_wrong(reading, truth) == []
    assert len(reading.flagged) <= 5
    assert reading.findings == ()


def strokes(written: int, blank: int, ink: float, grain: float = 0.02) -> np.ndarray:
    """Boxes with a stroke down the middle and grainy paper around, and boxes with the paper alone."""
    rng = np.random.default_rng(3)
    patches = np.abs(rng.normal(0, grain, (written + blank, 48, 48))).astype(np.float32)
    patches[:written, 12:36, 22:26] += ink
    return patches


@pytest.mark.parametrize("ink", [0.15, 0.5, 1.1])
@pytest.mark.parametrize(
    ("written", "blank"), [(1, 0), (3, 0), (9, 0), (9, 1), (18, 0), (17, 1), (159, 0), (150, 9)]
)
def test_no_written_box_is_bare_however_many_are_written(written: int, blank: int, ink: float) -> None:
    writing = writing_in(strokes(written, blank, ink))
    assert not writing.bare()[:written].any()
    assert writing.written()[:written].all()
    assert not writing.written()[written:].any()
    assert writing.level is not None
    assert writing.level == pytest.approx(ink, abs=0.1)


@pytest.mark.parametrize("blank", [1, 9, 159])
def test_boxes_of_a_blank_card_are_bare(blank: int) -> None:
    writing = writing_in(strokes(0, blank, 0.0))
    assert writing.bare().all()
    assert writing.level is None


def test_where_nobody_can_tell_blank_from_faint_the_network_looks() -> None:
    """All boxes alike, as dark as grain in dusk makes blank ones; but between the strokes paper is clean."""
    writing = writing_in(strokes(18, 0, 0.075, grain=0.006))
    assert not writing.bare().any()
    assert writing.gain > 3


LAYOUT = builtin_layout("round18", "a4", "m", "right")


def inked_bubbles(filled: np.ndarray) -> np.ndarray:
    """Bubbles with grainy paper and their outline, and marks in those `filled`."""
    rng = np.random.default_rng(4)
    steps = (np.arange(45) - 22) / 14.0
    radius = np.hypot(*np.meshgrid(steps, steps))
    patches = np.abs(rng.normal(0, 0.015, (len(filled), 45, 45))).astype(np.float32)
    patches[:, np.abs(radius - 0.92) < 0.1] += 0.45
    patches[np.ix_(filled, *(range(n) for n in (45, 45)))] += np.where(radius < 0.95, 0.8, 0).astype(
        np.float32
    )
    return patches


@pytest.mark.parametrize("every", [0, 1, 2, 5])
@pytest.mark.parametrize("shape", ["round", "square"])
def test_filled_bubbles_stand_out_whatever_share_of_their_shape_is_filled(shape: str, every: int) -> None:
    """`every`: so many of a shape lie from one blank bubble to the next, 0 for none blank."""
    bubbles = cells_of_kind(LAYOUT, "bubble")
    of_shape = np.flatnonzero([cell.shape == shape for cell in bubbles])
    filled = np.zeros(len(bubbles), bool)
    filled[of_shape] = True
    if every:
        filled[of_shape[:: every + 1]] = False
    logs = bubble_log_likelihoods(measure_bubbles(inked_bubbles(filled), LAYOUT, 0.8))
    blank, mark, other = np.array([logs[cell.id] for cell in bubbles]).T
    assert (mark > np.maximum(blank, other) + 2)[filled].all()
    assert (blank > np.maximum(mark, other) + 2)[~filled].all()
