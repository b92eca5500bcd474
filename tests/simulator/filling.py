"""A hand fills in a printed card: answers become marks, digits and words, with the truth of each cell.

Trouble can be asked for by field or at random: the marks that a careful person would have to look at twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np

from tests.simulator.conditions import Condition
from tests.simulator.glyphs import GlyphBank
from tests.simulator.handwriting import Writer, digit_strokes, scribbled_out, word_strokes
from tests.simulator.marks import MARKS, BoxMm, path
from tests.simulator.paper import PrintJob, Sheet, print_sheet
from tests.simulator.pens import GLOSS, PENS, Pen, Picture, Stroke, ink_patch, lay
from tests.simulator.rounds import Answer, FieldMap, cells_of, options_of

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Trouble:
    """One way to make a field hard.

    Attributes
    ----------
    kinds : field types it fits
    unclear : a careful person would ask
    answered : needs an answer to spoil
    share : how often it comes up when trouble is drawn at random
    """

    kinds: tuple[str, ...]
    unclear: bool
    answered: bool = True
    share: float = 1.0


_CHOICES = ("choose-one", "choose-many")
TROUBLES: dict[str, Trouble] = {
    "slash": Trouble(_CHOICES, True),
    "ring": Trouble(_CHOICES, True),
    "faint": Trouble(_CHOICES, True, share=2.0),
    "both": Trouble(("choose-one",), True, share=0.7),
    "struck": Trouble(("choose-one",), True, share=1.5),
    "erased": Trouble(("choose-one",), False, share=2.0),
    "dot": Trouble(_CHOICES, True, answered=False),
    "withdrawn": Trouble(_CHOICES, True, share=0.5),
    "specks": Trouble(_CHOICES, False, answered=False, share=2.0),
    "overwritten": Trouble(("number",), True),
    "struck-digit": Trouble(("number",), True, share=0.6),
    "erased-digit": Trouble(("number",), False),
    "faint-digit": Trouble(("number",), True, share=2.0),
    "over-edge": Trouble(("number",), False, share=2.0),
    "left-aligned": Trouble(("number",), True, share=0.6),
    "leading-zero": Trouble(("number",), False, share=0.6),
    "dash": Trouble(("number",), True, answered=False, share=0.5),
}


@dataclass(slots=True)
class _Desk:
    """The sheet being written on, and the truth as it grows."""

    rgb: Picture
    px_per_mm: float
    linear: Any
    offset: Any
    writer: Writer
    bank: GlyphBank | None
    rng: Rng
    gloss: Any = None
    cells: dict[str, bool | int | None] = field(default_factory=dict)
    marks: dict[str, str] = field(default_factory=dict)

    def draw(self, strokes: Sequence[Stroke], pen: Pen | None = None, strength: float = 1.0) -> None:
        """Draw strokes given in field map mm."""
        pen = pen or self.writer.pen
        placed = [replace(s, points_mm=s.points_mm @ self.linear.T + self.offset) for s in strokes]
        patch = ink_patch(self.rgb.shape[:2], self.px_per_mm, placed, pen, self.rng)
        if patch is not None:
            lay(self.rgb, patch[0], patch[1], pen, strength)
            if self.gloss is not None:
                (h, w), (x, y) = patch[0].shape, patch[1]
                part = self.gloss[y : y + h, x : x + w]
                shine = np.clip(patch[0] * 255 * GLOSS[pen.kind], 0, 255).astype(np.uint8)
                part[:] = np.maximum(part, shine)

    def erase(self, strokes: Sequence[Stroke]) -> None:
        """Draw strokes and rub them out: a smeared ghost stays."""
        # Only pencil can be rubbed out; a pen's owner would strike it out instead.
        pen = self.writer.pen if self.writer.pen.kind == "pencil" else PENS["pencil-HB"]
        placed = [replace(s, points_mm=s.points_mm @ self.linear.T + self.offset) for s in strokes]
        patch = ink_patch(self.rgb.shape[:2], self.px_per_mm, placed, pen, self.rng)
        if patch is None:
            return
        ghost, corner = patch
        smear = max(int(0.5 * self.px_per_mm) | 1, 3)
        kernel = np.zeros((smear, smear), dtype=np.float32)
        kernel[smear // 2] = 1.0 / smear
        ghost = 0.6 * ghost + 0.4 * cv2.filter2D(ghost, -1, kernel)
        lay(self.rgb, ghost, corner, pen, float(self.rng.uniform(0.10, 0.26)))


def fill(
    page: Any,
    px_per_mm: float,
    field_map: FieldMap,
    answers: Mapping[str, Answer],
    writer: Writer,
    seed: int,
    *,
    bank: GlyphBank | None = None,
    condition: Condition | None = None,
    trouble: float | Mapping[str, str] = 0.0,
    serial: str | None = None,
    page_number: int = 1,
) -> Sheet:
    """Print a page and fill it in.

    Parameters
    ----------
    page : (H, W) grey raster of the PDF page, `px_per_mm` pixels to the mm (`paper.rasterise`)
    field_map : the published field map, as loaded from JSON
    answers : field id -> answer; see `rounds.Answer`
    bank : real digits that the writer's samples index; None draws our own forms
    condition : whose printer and paper to use; None prints perfectly on office paper
    trouble : share of the fields to make hard at random, or field id -> name in `TROUBLES`
    """
    rng = np.random.default_rng([seed, 5])
    job = condition.job if condition is not None else PrintJob()
    stock = condition.stock if condition is not None else "office"
    blank = print_sheet(page, px_per_mm, job, stock, rng)
    desk = _Desk(
        blank.rgb,
        px_per_mm,
        blank.card_to_sheet[:, :2],
        blank.card_to_sheet[:, 2],
        writer,
        bank,
        rng,
        np.zeros(blank.rgb.shape[:2], np.uint8) if condition is not None and condition.sheen > 0 else None,
    )
    cells = cells_of(field_map)
    fields: dict[str, object] = {}
    review: list[str] = []
    spoil = _chosen(field_map, cells, answers, trouble, rng)
    for name, about in field_map["fields"].items():
        mine = [c for c in cells[name] if int(c.get("page", 1)) == page_number]
        if not mine:
            continue
        answer = answers.get(name)
        how = spoil.get(name)
        if about["type"] in _CHOICES:
            fields[name] = _choice(desk, name, mine, answer, how)
        elif about["type"] == "number":
            fields[name] = _number(desk, name, mine, answer, how)
        else:
            fields[name] = _words(desk, mine, answer)
        if how is not None and TROUBLES[how].unclear:
            review.append(name)
    return replace(
        blank,
        form=str(field_map["form"]),
        fingerprint=field_map.get("fingerprint"),
        serial=serial,
        cells=desk.cells,
        fields=fields,
        marks=desk.marks,
        gloss=desk.gloss,
        review=tuple(review),
    )


def _chosen(
    field_map: FieldMap,
    cells: Mapping[str, Sequence[Mapping[str, Any]]],
    answers: Mapping[str, Answer],
    trouble: float | Mapping[str, str],
    rng: Rng,
) -> dict[str, str]:
    """Field id -> trouble; asked for by name, or drawn."""
    if not isinstance(trouble, float | int):
        unknown = sorted(set(trouble.values()) - set(TROUBLES))
        if unknown:
            raise ValueError(f"expected troubles of {sorted(TROUBLES)}, found {unknown}")
        return dict(trouble)
    spoil: dict[str, str] = {}
    for name, about in field_map["fields"].items():
        if rng.random() >= trouble:
            continue
        answered = answers.get(name) is not None
        fitting = [
            k
            for k, t in TROUBLES.items()
            if about["type"] in t.kinds
            and (answered or not t.answered)
            and not (k in ("both", "struck", "erased") and len(cells[name]) < 2)
            and not (k == "dash" and answered)
            and not (
                k in ("left-aligned", "leading-zero") and _spare(answers.get(name), len(cells[name])) < 1
            )
        ]
        if fitting:
            shares = np.array([TROUBLES[k].share for k in fitting])
            spoil[name] = str(rng.choice(fitting, p=shares / shares.sum()))
    return spoil


def _spare(answer: Answer, boxes: int) -> int:
    return boxes - len(str(answer)) if isinstance(answer, int) else 0


def _box(cell: Mapping[str, Any]) -> BoxMm:
    x, y, w, h = cell["box_mm"]
    return float(x), float(y), float(w), float(h)


def _bubble(desk: _Desk, cell: Mapping[str, Any], kind: str) -> None:
    writer, rng = desk.writer, desk.rng
    x, y, w, h = _box(cell)
    # Hasty hands miss the middle of a bubble by a good part of a millimetre.
    miss = rng.normal(0, 0.10 + 0.30 * (1 - writer.careful), 2)
    box = (x + float(miss[0]), y + float(miss[1]), w, h)
    factor = writer.pressure / 0.52
    strokes = [s.pressed(factor) for s in MARKS[kind].draw(box, rng)]
    if kind == "erased":
        desk.erase(strokes)
    elif kind == "specks":
        desk.draw(MARKS[kind].draw((x, y, w, h), rng), PENS["pencil-2B"])
    else:
        desk.draw(strokes)
    desk.marks[str(cell["id"])] = kind


def _usual(desk: _Desk) -> str:
    kinds = list(desk.writer.mark_shares) or ["solid"]
    shares = np.array([desk.writer.mark_shares[k] for k in kinds]) if desk.writer.mark_shares else np.ones(1)
    return str(desk.rng.choice(kinds, p=shares / shares.sum()))


def _choice(
    desk: _Desk, name: str, cells: Sequence[Mapping[str, Any]], answer: Answer, how: str | None
) -> object:
    """Draw a choice; return the field's true value."""
    many = answer if isinstance(answer, tuple) else ((str(answer),) if answer is not None else ())
    options = options_of(name, cells)
    unknown = set(many) - set(options)
    if unknown:
        raise ValueError(f"{name}: expected options of {options}, found {sorted(unknown)}")
    by_option = dict(zip(options, cells, strict=True))
    for option, cell in by_option.items():
        desk.cells[str(cell["id"])] = option in many
    others = [o for o in options if o not in many]
    other = str(desk.rng.choice(others)) if others else None
    if how == "withdrawn":
        for option in many:
            _bubble(desk, by_option[option], "cancelled")
            desk.cells[str(by_option[option]["id"])] = False
        return () if isinstance(answer, tuple) else None
    for option in many:
        _bubble(desk, by_option[option], how if how in ("slash", "ring", "faint") else _usual(desk))
    if other is not None:
        spot = by_option[other]
        if how in ("dot", "specks", "erased"):
            _bubble(desk, spot, how)
        elif how == "struck":
            _bubble(desk, spot, "cancelled")
        elif how == "both":
            _bubble(desk, spot, _usual(desk))
            desk.cells[str(spot["id"])] = True
            return None
    elif how in ("dot", "specks") and not many:
        _bubble(desk, cells[0], how)
    return answer


def _number(
    desk: _Desk, name: str, cells: Sequence[Mapping[str, Any]], answer: Answer, how: str | None
) -> object:
    """Draw a number in its boxes; return the field's true value."""
    for cell in cells:
        desk.cells[str(cell["id"])] = None
    if answer is None:
        if how == "dash":
            x, y, w, h = _box(cells[-1])
            ends = np.array([[x + 0.25 * w, y + 0.55 * h], [x + 0.75 * w, y + 0.5 * h]])
            desk.draw([path(ends, desk.rng, desk.writer.pressure)])
            desk.marks[str(cells[-1]["id"])] = "dash"
        return None
    text = str(int(str(answer)))
    if len(text) > len(cells):
        raise ValueError(f"{name}: expected at most {len(cells)} digits, found {text}")
    first = len(cells) - len(text)
    if how == "left-aligned":
        first = 0
    elif how == "leading-zero" or (name.startswith("date.") and desk.rng.random() < 0.6):
        text, first = text.rjust(len(cells), "0"), 0
    spoilt = int(desk.rng.integers(len(text)))
    for i, letter in enumerate(text):
        cell = cells[first + i]
        desk.cells[str(cell["id"])] = int(letter)
        trouble = how if how is not None and i == spoilt and how in _DIGIT_TROUBLES else None
        _digit(desk, cell, int(letter), trouble)
    return int(str(answer))


_DIGIT_TROUBLES = ("overwritten", "struck-digit", "erased-digit", "faint-digit", "over-edge")


def _digit(desk: _Desk, cell: Mapping[str, Any], digit: int, how: str | None) -> None:
    box, rng, writer = _box(cell), desk.rng, desk.writer
    strokes = digit_strokes(digit, box, writer, rng, desk.bank)
    wrong = int(rng.choice([d for d in range(10) if d != digit]))
    if how == "overwritten":
        desk.draw(digit_strokes(wrong, box, writer, rng, desk.bank))
        strokes = [s.pressed(1.5) for s in strokes] + [s.moved(0.08, 0.05) for s in strokes]
    elif how == "struck-digit":
        desk.draw(digit_strokes(wrong, box, writer, rng, desk.bank))
        desk.draw(scribbled_out(box, rng, min(writer.pressure * 1.2, 1.0)))
        # The right one goes where there is room: small, above the box.
        strokes = digit_strokes(
            digit,
            (box[0] + box[2] * 0.5, box[1] - box[3] * 0.55, box[2] * 0.6, box[3] * 0.6),
            writer,
            rng,
            desk.bank,
        )
    elif how == "erased-digit":
        desk.erase(digit_strokes(wrong, box, writer, rng, desk.bank))
    elif how == "faint-digit":
        strokes = [s.pressed(0.55) for s in strokes]
    elif how == "over-edge":
        push = rng.normal(0, 1.0, 2)
        push = push / max(float(np.hypot(*push)), 1e-6) * np.array([box[2], box[3]]) * rng.uniform(0.2, 0.34)
        strokes = [s.moved(float(push[0]), float(push[1])) for s in strokes]
    desk.draw(strokes)
    if how is not None:
        desk.marks[str(cell["id"])] = how


def _words(desk: _Desk, cells: Sequence[Mapping[str, Any]], answer: Answer) -> object:
    for cell in cells:
        desk.cells[str(cell["id"])] = bool(answer)
    if answer:
        desk.draw(word_strokes(str(answer), _box(cells[0]), desk.writer, desk.rng))
    return answer
