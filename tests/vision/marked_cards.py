"""Cards as a player would mark them, and the evidence a reader would make of them. Invented data."""

from __future__ import annotations

import dataclasses
import math
import random
from collections.abc import Mapping

import numpy as np

from shortpencil.forms.form import Form
from shortpencil.forms.rules import HoleRule, rules_of
from shortpencil.scan.vision.evidence import Evidence

BLANK, SCRAP = 10, 11
SURE = -14.0  # nats below the best answer; a calibrated reader errs once in a million there
#: Field id -> option id, options' ids, number, True for a strip with words; a missing field is blank.
Truth = dict[str, str | tuple[str, ...] | int | bool]


def marked_card(form: Form, rng: random.Random, *, played: int | None = None) -> Truth:
    """A consistent card: every sum right, every throw that has a column marked."""
    rules = rules_of(form)
    fields = {field.id: field for field in form.fields}
    truth: Truth = {}
    for hole in rules.holes[:played]:
        truth |= _hole(form, hole, rng)
    missed = {}
    for tally in rules.tallies:
        missed[tally.phase] = sum(truth.get(throw) == "miss" for throw in tally.throws)
        truth[tally.tally] = missed[tally.phase]
    if rules.total:
        truth[rules.total.total] = sum(int(truth.get(score, 0)) for score in rules.total.scores)
    if rules.worst and missed:
        worst = max(missed, key=lambda phase: missed[phase])
        truth[rules.worst] = worst
        for hole in rules.holes:
            if any(truth.get(throw) == "miss" and phase == worst for throw, phase in hole.throws):
                truth |= _second_pass(form, hole, rng)
    date = {"date.day": rng.randint(1, 28), "date.month": rng.randint(1, 12), "date.year": 26}
    truth |= {name: value for name, value in date.items() if name in fields}
    for field in form.fields:
        if field.row is None and field.type == "choose-one" and field.id != "worst" and rng.random() < 0.5:
            truth[field.id] = rng.choice(field.options).id
    return truth


def _hole(form: Form, hole: HoleRule, rng: random.Random) -> Truth:
    fields = {field.id: field for field in form.fields}
    names = {field_id.split(".", 1)[1]: field_id for field_id, _ in hole.throws}
    truth: Truth = {}
    if not names:
        return {hole.score: rng.choice([2, 3, 3, 3, 4, 4, 5, 6])}
    phases, only_misses = rules_of(form).phases, rules_of(form).only_misses
    made = {
        phase.id: {"tee": [1], "between": [0, 0, 1, 1, 1, 2], "target": [1, 1, 2, 2, 3]}[phase.role]
        for phase in phases
    }
    counts = {}
    for phase in phases:
        counts[phase.id] = min(
            rng.choice(made[phase.id]) if len(made[phase.id]) > 1 else 1, len(phase.columns)
        )
    if rng.random() < 0.02:  # an ace
        counts = {phase.id: int(phase.role == "tee") for phase in phases}
    used = [name for phase in phases for name in phase.columns[: counts[phase.id]] if name in names]
    for name in used:
        mark = rng.choice(["clean", "clean", "miss"])
        if mark == "miss" or not only_misses:
            truth[names[name]] = mark
    penalty = rng.choices([0, 1, 2], [0.9, 0.08, 0.02])[0] if hole.penalty else 0
    if hole.penalty and penalty:
        truth[hole.penalty] = str(penalty)
    truth[hole.score] = len(used) + penalty
    if hole.par_field:
        truth[hole.par_field] = rng.choice([3, 3, 4, 5])
    farthest = 25
    for name in used:
        field = fields.get(f"{names[name]}.distance")
        if field is not None:
            farthest = rng.randint(1, min(farthest, 10**field.digits - 1))
            truth[field.id] = farthest
    return truth


def _second_pass(form: Form, hole: HoleRule, rng: random.Random) -> Truth:
    truth: Truth = {}
    if hole.way:
        truth[hole.way] = (rng.choice(form.field(hole.way).options).id,)
    if hole.why:
        truth[hole.why] = rng.choice(form.causes).number
    words = f"{form.row_id(hole.row)}.words"
    if any(field.id == words for field in form.fields) and rng.random() < 0.3:
        truth[words] = True
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
                cells[cell] = option.id in chosen
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


def with_cell(evidence: Evidence, cell: str, logs) -> Evidence:
    """The same evidence with one cell's logs replaced."""
    if cell in evidence.digits:
        digits = {**evidence.digits, cell: np.asarray(logs, dtype=np.float32)}
        return dataclasses.replace(evidence, digits=digits)
    return dataclasses.replace(evidence, bubbles={**evidence.bubbles, cell: tuple(logs)})


def digit_logs(**shares) -> np.ndarray:
    """Logs of one box: d3=0.9 for a 3 at 90 %, blank, scrap."""
    logs = np.full(12, SURE)
    for name, share in shares.items():
        logs[{"blank": BLANK, "scrap": SCRAP}.get(name, int(name[1:]) if name[0] == "d" else 0)] = math.log(
            share
        )
    return logs
