"""The practice card: a form like any other, made from the plan, photographed and read like a round card.

Each set of a drill is one number field, whose id says what it counts: ``made.DRILL.TRIES.N`` is how many of
TRIES were made in set N of DRILL. So a photo of the card needs nothing but its own field map to become
practice results. Below the boxes the sheet carries the plan in words, and the cautions.
"""

from __future__ import annotations

import re
from contextlib import suppress

from forms.drawing import CardIdentity, Shape, draw
from forms.errors import LayoutError
from forms.form import form_from_toml
from forms.layout import Paper, Sheet, arrange
from scan.practice import words
from scan.practice.picture import TEXT_PT, line, paragraph, text
from scan.practice.plan import BOX_WORDS, Plan, Step
from scan.records.practice_sets import MADE

EDITION = 2  # the first named its boxes by their place in the session, and had no line for words
AGAIN = "again"
FULL, BEGINNING, PLACE = "full", "beginning", "place"

HOW_TO_MARK = "Pencil or dark pen, one digit a box, to the right. Not done: leave the boxes empty."

_FIRST_LINE = 4
#: More sets than this in one drill would not fit a line; the first ones tell enough.
MOST_SETS = 6
ROOMY_STEPS = 6  # a session of more parts fills the sheet

_HEAD = """
name = "practice"
edition = {edition}
title = "Practice card"
record = "practice"

[[head]]
id = "player"
type = "words"
label = "Player"
line = 2

[[head]]
id = "date.day"
type = "number"
digits = 2
label = "Date"
line = 3

[[head]]
id = "date.month"
type = "number"
digits = 2
label = "."
line = 3

[[head]]
id = "date.year"
type = "number"
digits = 2
label = ". 20"
line = 3
"""


_WORDS = """
[[head]]
id = "words"
type = "words"
label = "In my own words"
line = {line}
"""


def form_text(plan: Plan, *, names: str = FULL) -> str:
    """Return the TOML of the practice card for that plan.

    Parameters
    ----------
    names : by what each row of boxes is named: its drill's title, the beginning of that, or its place in the
        session, where the others do not fit
    """
    parts = [_HEAD.format(edition=EDITION)]
    test = plan.step("test")
    if test.drill is None:
        raise ValueError("a plan ends with a test")
    at = _FIRST_LINE - 1
    for step in plan.steps:
        if step.drill is None:
            continue
        if step.box == "again":
            at += 1
            parts.append(_field(_id(step, AGAIN), f"First, last time's test again, of {step.tries}", 2, at))
            continue
        at += 1
        sets = min(step.sets, MOST_SETS)
        label = f"{_name(step, names)}, of {step.tries}"
        for n in range(1, sets + 1):
            parts.append(_field(_id(step, str(n)), label if n == 1 else "", len(str(step.tries)), at))
    # On a line of its own where the session leaves room for one.
    parts.append(_WORDS.format(line=at + (len(plan.steps) <= ROOMY_STEPS)))
    return "".join(parts)


def practice_sheet(plan: Plan, paper: Paper, *, unit: str = "m", hand: str = "right") -> Sheet:
    """Return the arranged practice card for that plan."""

    def arranged(names: str) -> Sheet:
        text = form_text(plan, names=names)
        return arrange(form_from_toml(text, source="practice card", unit=unit, hand=hand), paper)

    for names in (FULL, BEGINNING):
        with suppress(LayoutError):
            return arranged(names)
    return arranged(PLACE)


def practice_page(sheet: Sheet, identity: CardIdentity, plan: Plan) -> tuple[Shape, ...]:
    """Return the printed page: the form, and below it the plan in words."""
    paper = sheet.layout.paper
    left, width = 22.0, paper.width_mm - 44.0
    lowest = max(cell.box.bottom for cell in sheet.layout.cells)
    y = lowest + 7.0
    shapes: list[Shape] = [
        text(left, y, HOW_TO_MARK, size_pt=TEXT_PT, fit_mm=width),
        line(left, y + 4.0, left + width, y + 4.0, width_mm=0.3),
        text(left, y + 12.5, f"{plan.length} for your {words.MANY[plan.phase]}", size_pt=18, bold=True),
        text(left, y + 20.0, f"One cue: {plan.cue}", size_pt=14, fit_mm=width),
    ]
    y += 29.0
    for step in plan.steps:
        title, how = _told(step)
        if step.drill is None:
            shapes.append(text(left, y, f"{step.minutes} min", size_pt=12, bold=True))
            told = f"{title}: {how[0].lower()}{how[1:]}"
            lines, y = paragraph(left + 18, y, told, width - 18, size_pt=10.5)
            shapes += lines
            y += 2.0
            continue
        shapes.append(text(left, y, f"{step.minutes} min", size_pt=12, bold=True))
        shapes.append(text(left + 18, y, title, size_pt=12, bold=True, fit_mm=width - 18))
        lines, y = paragraph(left + 18, y + 5.2, how, width - 18, size_pt=10.5)
        shapes += lines
        y += 3.0
    lines, y = paragraph(left, y + 1.0, _aim_said(plan), width, size_pt=12, bold=True)
    shapes += lines
    for note in plan.notes:
        lines, y = paragraph(left, y + 0.8, note, width, size_pt=9.5)
        shapes += lines
    shapes.append(line(left, y, left + width, y, width_mm=0.3))
    y += 5.0
    # a long session has more boxes; its cautions then run on instead of each beginning a line
    for caution in plan.cautions if len(plan.steps) <= ROOMY_STEPS else (" ".join(plan.cautions),):
        lines, y = paragraph(left, y, caution, width, size_pt=9.5)
        shapes += lines
        y += 0.4
    return (*draw(sheet, identity), *shapes)


def _name(step: Step, names: str) -> str:
    title = step.drill.title if step.drill else ""
    if names == BEGINNING:
        return re.split(r",\s+(?=\D)", title)[0]  # a list of distances stays whole
    return title if names == FULL else BOX_WORDS[step.box].capitalize()


def _id(step: Step, n: str) -> str:
    return f"{MADE}.{step.drill.id if step.drill else ''}.{step.tries}.{n}"


def _field(field_id: str, label: str, digits: int, at: int) -> str:
    # A TOML basic string is a JSON string where there are no control characters, which plans have not.
    import json

    return (
        f'\n[[head]]\nid = {json.dumps(field_id)}\ntype = "number"\ndigits = {digits}\n'
        f"label = {json.dumps(label, ensure_ascii=False)}\nline = {at}\n"
    )


def _aim_said(plan: Plan) -> str:
    said = f"Aim in the test: {plan.aim.count} of {plan.aim.of}."
    if plan.aim.usual:
        low, high = plan.aim.usual
        said += f" As things stand, four tests of five bring {low} to {high}."
    return said


def _told(step: Step) -> tuple[str, str]:
    if step.drill is None:
        return BOX_WORDS[step.box].capitalize(), step.says
    tries = f"{step.tries} tries" if step.sets == 1 else f"{step.amount} tries"
    if step.box == "again":
        return f"Last time's test again: {tries}", f"{step.drill.how} Count: {step.drill.counts}."
    return f"{step.drill.title}: {tries}", f"{step.drill.how} Count: {step.drill.counts}."
