"""Cards as a player would mark them, and the evidence a reader would make of them. Invented data."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Mapping

import numpy as np

from forms.form import Form
from forms.rules import PHASES, rules_of
from scan.vision.decode import Evidence

BLANK, SCRAP = 10, 11
#: Field id -> option id, options' ids, number, True for a strip with words; a missing field is blank.
Truth = dict[str, str | tuple[str, ...] | int | bool]


def marked_card(form: Form, rng: random.Random, *, played: int | None = None) -> Truth:
    """A consistent card: every sum right, every throw that has a column marked."""
    rules = rules_of(form)
    fields = {field.id: field for field in form.fields}
    truth: Truth = {}
    total = 0
    for hole in rules.holes[: played if played is not None else len(rules.holes)]:
        names = {field_id.split(".", 1)[1]: field_id for field_id, _ in hole.throws}
        most = {phase: sum(p == phase for _, p in hole.throws) for phase in PHASES}
        approaches = min(rng.choice([0, 0, 1, 1, 1, 2]), most["approach"])
        putts = min(rng.choice([1, 1, 2, 2, 3]), most["putt"])
        used = [
            "drive",
            *(f"approach{k + 1}" for k in range(approaches)),
            *(f"putt{k + 1}" for k in range(putts)),
        ]
        used = [name for name in used if name in names]
        if rng.random() < 0.02:
            used = used[:1]
        penalty = rng.choices([0, 1, 2], [0.9, 0.08, 0.02])[0] if hole.penalty else 0
        if penalty and hole.penalty:
            truth[hole.penalty] = str(penalty)
        for name in used:
            truth[names[name]] = rng.choice(["clean", "clean", "miss"])
        score = len(used) + penalty
        truth[hole.score] = score
        total += score
        if hole.par_field:
            truth[hole.par_field] = rng.choice([3, 3, 4, 5])
        farthest = rng.randint(4, 25)
        for name in used:
            distance = f"{names[name]}.distance"
            if distance in fields:
                truth[distance] = farthest
                farthest = rng.randint(1, farthest)
    missed = {}
    for tally in rules.tallies:
        missed[tally.phase] = sum(truth.get(throw) == "miss" for throw in tally.throws)
        truth[tally.tally] = missed[tally.phase]
    if rules.total:
        truth[rules.total.total] = total
    worst = None
    if rules.worst:
        worst = max(missed, key=lambda phase: missed[phase])
        truth[rules.worst] = worst
    for hole in rules.holes:
        if any(truth.get(f) == "miss" and phase == worst for f, phase in hole.throws):
            row = form.row_id(hole.row)
            if hole.way:
                options = [o.id for o in fields[hole.way].options]
                truth[hole.way] = (rng.choice(options),)
            if hole.why:
                truth[hole.why] = rng.choice([c.number for c in form.causes])
            if f"{row}.words" in fields and rng.random() < 0.3:
                truth[f"{row}.words"] = True
    for name, value in (
        ("date.day", rng.randint(1, 28)),
        ("date.month", rng.randint(1, 12)),
        ("date.year", 26),
    ):
        if name in fields:
            truth[name] = value
    for field in form.fields:
        if field.row is None and field.type == "choose-one" and field.id != "worst" and rng.random() < 0.5:
            truth[field.id] = rng.choice(field.options).id
    return truth


def cell_values(form: Form, truth: Mapping[str, object]) -> dict[str, bool | int | None]:
    """What each cell of a neatly marked card holds."""
    cells: dict[str, bool | int | None] = {}
    for field in form.fields:
        value = truth.get(field.id)
        if field.type == "number":
            text = "" if value is None else str(value)
            for cell, sign in zip(field.cell_ids, text.rjust(field.digits), strict=True):
                cells[cell] = None if sign == " " else int(sign)
        elif field.type == "words":
            cells[field.cell_ids[0]] = bool(value)
        else:
            chosen = (value,) if isinstance(value, str) else (value or ())
            for option, cell in zip(field.options, field.cell_ids, strict=True):
                cells[cell] = option.id in chosen  # type: ignore[operator]
    return cells


def evidence_of(form: Form, cells: Mapping[str, bool | int | None], *, log_odds: float = 14.0) -> Evidence:
    """Evidence of a reader that is right everywhere, surer than the other answers by `log_odds` each."""
    bubbles, digits, words = {}, {}, {}
    for field in form.fields:
        for cell in field.cell_ids:
            value = cells[cell]
            if field.type == "number":
                logs = np.full(12, -log_odds, dtype=np.float32)
                logs[BLANK if value is None else int(value)] = 0.0
                digits[cell] = logs
            elif field.type == "words":
                words[cell] = 0.02 if value else 0.0
            else:
                bubbles[cell] = (-log_odds, 0.0, -log_odds) if value else (0.0, -log_odds, -log_odds)
    return Evidence(bubbles, digits, words)


def with_cell(evidence: Evidence, cell: str, logs: object) -> Evidence:
    """The same evidence with one cell's logs replaced."""
    if cell in evidence.digits:
        digits = dict(evidence.digits) | {cell: np.asarray(logs, dtype=np.float32)}
        return dataclasses.replace(evidence, digits=digits)
    return dataclasses.replace(evidence, bubbles=dict(evidence.bubbles) | {cell: tuple(logs)})  # type: ignore
