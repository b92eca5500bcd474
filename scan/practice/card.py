"""The practice card: a form like any other, made from the plan, photographed and read like a round card.

Each set of a drill is one number field, whose id says what it counts: ``made.DRILL.TRIES.N`` is how many of
TRIES were made in set N of DRILL. So a photo of the card needs nothing but its own field map to become
practice results. The boxes stand beside the drill that they count, in the session as it is done; a line for
own words and the aim follow it, then the cautions.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from shortpencil.forms.drawing import CardIdentity, Shape, Words, draw
from shortpencil.forms.fiducials import MARKER_MM, QUIET_MM
from shortpencil.forms.form import Form, form_from_toml
from shortpencil.forms.geometry import Box, Point
from shortpencil.forms.layout import (
    DIGIT_GAP_MM,
    DIGIT_H_MM,
    DIGIT_W_MM,
    FOLD_CLEAR_MM,
    MARGIN_MM,
    Cell,
    Paper,
    Sheet,
    arrange,
    with_cells,
)
from shortpencil.forms.rules import MADE
from shortpencil.scan.language import ENGLISH, N_, _, first_upper, inside, pgettext, spoken
from shortpencil.scan.practice import words
from shortpencil.scan.practice.picture import TEXT_PT, line, paragraph, text, text_width_mm
from shortpencil.scan.practice.plan import BOX_WORDS, Plan, Step, aim_said

EDITION = 4  # the third had dots for day and month, the second all boxes above the session, the first named
# them by their place in it
AGAIN = "again"

HOW_TO_MARK = N_("Pencil or dark pen, one digit a box, to the right. Not done: leave the boxes empty.")
WORDS_LABEL = N_("In my own words")

#: What the boxes of a step ask for.
MADE_OF, EACH_MADE = N_("made, of {tries}"), N_("made, of {tries} each")

#: More sets than this in one drill would take more room than their drill; the first ones tell enough.
MOST_SETS = 6
ROOMY_STEPS = 6  # a session of more parts fills the sheet

#: Under the head's own words, right of the corner marks and their quiet zone: a line may run beside one.
_LEFT_MM = MARGIN_MM + MARKER_MM + QUIET_MM + 0.6
_RIGHT_MM = MARGIN_MM + MARKER_MM  # from the edge, where boxes end; notes, which may run lower, end before
_TOLD_MM = 18.0  # minutes stand before it
_SET_GAP_MM = 2.8
_BESIDE_MM = 4.0  # clear space between what a drill is and its boxes
_WORDS_H_MM = 16.0
_BOTTOM_MM = 10.0  # no line of type is nearer to the edge
#: Type of notes and cautions: the largest that fits. Another language takes a fifth more room than English.
_NOTES_PT = (9.5, 9.0, 8.5, 8.0)

_HEAD = """
name = "practice"
edition = {edition}
title = {title}
{language}record = "practice"

[[head]]
id = "player"
type = "words"
label = {player}
line = 2

[[head]]
id = "date.day"
type = "number"
digits = 2
lead = {date}
label = {day}
line = 3

[[head]]
id = "date.month"
type = "number"
digits = 2
label = {month}
line = 3

[[head]]
id = "date.year"
type = "number"
digits = 2
label = {year}
line = 3
"""


def form_text(plan: Plan) -> str:
    """Return the TOML of the practice card for that plan."""
    if plan.step("test").drill is None:
        raise ValueError("a plan ends with a test")
    parts = [_head()]
    for step in plan.steps:
        names = boxes_of(step)
        for n, field_id in enumerate(names, start=1):
            title = step.drill.title if step.drill else ""
            parts.append(
                _field(field_id, _label(step, title, n if len(names) > 1 else None), len(str(step.tries)))
            )
    parts.append(f'\n[[head]]\nid = "words"\ntype = "words"\nlabel = {_toml(_(WORDS_LABEL))}\nline = 5\n')
    return "".join(parts)


def _head() -> str:
    """Return the TOML that every practice card begins with, in the language that is spoken."""
    language = spoken()
    return _HEAD.format(
        edition=EDITION,
        title=_toml(_("Practice card")),
        language="" if language == ENGLISH else _told_language(language),
        player=_toml(pgettext("label of boxes", "Player")),
        date=_toml(pgettext("label of boxes", "Date")),
        day=_toml(pgettext("label of boxes", "day")),
        month=_toml(pgettext("label of boxes", "month")),
        year=_toml(pgettext("label of boxes", "year 20")),
    )


def _told_language(language: str) -> str:
    """Return the TOML of a card's language and what it prints besides; told where it is not English."""
    left_handed = _toml(_("left-handed"))
    return f"language = {_toml(language)}\nwords = {{ left-handed = {left_handed} }}\n"


def _label(step: Step, title: str, number: int | None) -> str:
    """Return what a number of a step is called where it is asked about, with that of its set, if any."""
    if step.box == AGAIN:
        return _("last time's test again: {title}, of {tries}", title=title, tries=step.tries)
    if number is None:
        return _("{title}, of {tries}", title=title, tries=step.tries)
    return _("{title}, set {number}, of {tries}", title=title, number=number, tries=step.tries)


def practice_sheet(plan: Plan, paper: Paper, *, unit: str = "m", hand: str = "right") -> Sheet:
    """Return the arranged practice card for that plan."""

    def form_of(toml: str) -> Form:
        return form_from_toml(toml, source="practice card", unit=unit, hand=hand)

    head = arrange(form_of(_head()), paper)
    return with_cells(head, form_of(form_text(plan)), _session(plan, paper).cells)


def practice_page(sheet: Sheet, identity: CardIdentity, plan: Plan) -> tuple[Shape, ...]:
    """Return the printed page: the form's head, and the session with its boxes."""
    return (*draw(sheet, identity), *_session(plan, sheet.layout.paper).shapes)


@dataclass(frozen=True, slots=True)
class _Session:
    """What stands below the head: cells to write into, and everything printed beside them."""

    cells: tuple[Cell, ...]
    shapes: tuple[Shape, ...]


def _session(plan: Plan, paper: Paper) -> _Session:
    """Lay the session out from the top, step by step; what a fold would cross begins below it."""
    left, width = _LEFT_MM, paper.width_mm - _RIGHT_MM - _LEFT_MM
    right, fold_x, fold_y = left + width, paper.width_mm / 2, paper.height_mm / 2
    cells: list[Cell] = []
    y = 47.0  # below the code and the date
    shapes: list[Shape] = [
        text(left, y, _(HOW_TO_MARK), size_pt=TEXT_PT, fit_mm=width),
        line(left, y + 3.4, right, y + 3.4, width_mm=0.3),
        text(left, y + 11.6, _session_of(plan), size_pt=18, bold=True, fit_mm=width),
        text(left, y + 18.8, _("One cue: {cue}", cue=plan.cue), size_pt=14, fit_mm=width),
    ]
    y += 27.5
    told = left + _TOLD_MM
    for step in plan.steps:
        title, how = _told(step)
        if step.drill is None:
            shapes.append(text(left, y, f"{step.minutes} min", size_pt=12, bold=True))
            lines, y = paragraph(told, y, f"{title}: {inside(how)}", width - _TOLD_MM, size_pt=10.5)
            shapes += lines
            y += 2.6
            continue
        rows, boxes_w, boxes_h = _boxes(step)
        if y + 1.6 < fold_y + FOLD_CLEAR_MM and y + 1.6 + boxes_h > fold_y - FOLD_CLEAR_MM:
            y = fold_y + FOLD_CLEAR_MM + 3.0  # its title stands just below the fold
        shapes.append(text(left, y, f"{step.minutes} min", size_pt=12, bold=True))
        several = len(boxes_of(step)) > 1
        caption = _(EACH_MADE if several else MADE_OF, tries=step.tries)
        shapes.append(text(right, y, caption, size_pt=TEXT_PT, anchor="right"))
        room = width - _TOLD_MM - max(28.0, text_width_mm(caption, TEXT_PT) + 3.0)
        shapes.append(text(told, y, title, size_pt=12, bold=True, fit_mm=room))
        start = max(right - boxes_w, fold_x + FOLD_CLEAR_MM)
        cells += _cells(boxes_of(step), rows, start, y + 1.6)
        lines, end = paragraph(told, y + 5.2, how, start - _BESIDE_MM - told, size_pt=10.5)
        shapes += lines
        y = max(end, y + 1.6 + boxes_h + 4.6) + 2.4
    strip = Box(left, y + 1.0, fold_x - FOLD_CLEAR_MM - left, _WORDS_H_MM)
    if strip.y < fold_y + FOLD_CLEAR_MM and strip.bottom > fold_y - FOLD_CLEAR_MM:
        strip = Box(strip.x, fold_y + FOLD_CLEAR_MM, strip.w, strip.h)
    cells.append(Cell("words.strip", "words", "words", strip, "strip"))
    shapes.append(text(left, strip.y, _(WORDS_LABEL), size_pt=TEXT_PT, bold=True))
    aside = fold_x + FOLD_CLEAR_MM
    lines, end = paragraph(aside, strip.y, aim_said(plan.aim), right - aside, size_pt=12, bold=True)
    shapes += lines
    y = max(strip.bottom + 6.0, end)
    for size_pt in _NOTES_PT:
        notes, end = _notes(plan, paper, y, size_pt)
        if end <= paper.height_mm - _BOTTOM_MM:
            break
    return _Session(tuple(cells), (*shapes, *notes))


def _notes(plan: Plan, paper: Paper, y: float, size_pt: float) -> tuple[list[Shape], float]:
    """Return the notes and the cautions below the session, and the baseline of the last line."""
    left, width = _LEFT_MM, paper.width_mm - 2 * _LEFT_MM
    shapes: list[Shape] = []
    for note in plan.notes:
        lines, y = paragraph(left, y, note, width, size_pt=size_pt)
        shapes += lines
        y += 0.4
    shapes.append(line(left, y - 1.6, paper.width_mm - _RIGHT_MM, y - 1.6, width_mm=0.3))
    y += 3.4
    # a long session has more boxes; its cautions then run on instead of each beginning a line
    for caution in plan.cautions if len(plan.steps) <= ROOMY_STEPS else (" ".join(plan.cautions),):
        lines, y = paragraph(left, y, caution, width, size_pt=size_pt)
        shapes += lines
        y += 0.4
    return shapes, max(shape.at.y for shape in shapes if isinstance(shape, Words))


def boxes_of(step: Step) -> tuple[str, ...]:
    """Return the id of each number that a step asks for, in the order in which it is done."""
    if step.drill is None:
        return ()
    names = (AGAIN,) if step.box == AGAIN else tuple(map(str, range(1, min(step.sets, MOST_SETS) + 1)))
    return tuple(f"{MADE}.{step.drill.id}.{step.tries}.{name}" for name in names)


def _boxes(step: Step) -> tuple[int, float, float]:
    """Return how many sets stand side by side, and the width and height in mm of a step's boxes."""
    digits, count = len(str(step.tries)), len(boxes_of(step))
    across = min(count, 3)
    down = -(-count // across)
    each = digits * DIGIT_W_MM + (digits - 1) * DIGIT_GAP_MM
    return (
        across,
        across * each + (across - 1) * _SET_GAP_MM,
        down * DIGIT_H_MM + (down - 1) * DIGIT_GAP_MM,
    )


def _cells(names: tuple[str, ...], across: int, x: float, y: float) -> list[Cell]:
    """Return the boxes of a step, the sets from left to right and then below."""
    digits = len(names[0].split(".")[2])
    each = digits * DIGIT_W_MM + (digits - 1) * DIGIT_GAP_MM
    cells = []
    for i, name in enumerate(names):
        at = Point(x + i % across * (each + _SET_GAP_MM), y + i // across * (DIGIT_H_MM + DIGIT_GAP_MM))
        for digit in range(digits):
            box = Box(at.x + digit * (DIGIT_W_MM + DIGIT_GAP_MM), at.y, DIGIT_W_MM, DIGIT_H_MM)
            cells.append(Cell(f"{name}.{digit + 1}", name, "digit", box, "box"))
    return cells


def _field(field_id: str, label: str, digits: int) -> str:
    return (
        f'\n[[head]]\nid = {json.dumps(field_id)}\ntype = "number"\ndigits = {digits}\n'
        f"label = {_toml(label)}\nline = 4\n"
    )


def _toml(text: str) -> str:
    # A TOML basic string is a JSON string where there are no control characters, which plans have not.
    return json.dumps(text, ensure_ascii=False)


def _session_of(plan: Plan) -> str:
    return _("{length} for your {many}", length=plan.length, many=words.MANY[plan.phase])


def _told(step: Step) -> tuple[str, str]:
    if step.drill is None:
        return first_upper(BOX_WORDS[step.box]), step.says
    tries = words.tries(step.tries if step.sets == 1 else step.amount)
    how = _("{how} Count: {counts}.", how=step.drill.how, counts=step.drill.counts)
    if step.box == "again":
        return _("Last time's test again: {tries}", tries=tries), how
    return f"{step.drill.title}: {tries}", how
