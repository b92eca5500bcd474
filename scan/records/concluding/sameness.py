"""Do two photos of one sheet show the same round? Pure: fields in, a comparison out.

A sheet that was printed twice or photocopied carries one serial number and several rounds. What two photos
are both sure of tells them apart. If they show one round, a field that both have marked differs only where it
was misread or marked anew; if they show two rounds, many differ. Marks that one has and the other lacks say
nothing by themselves, since a card is often photographed before it is whole; marks that each has and the
other lacks do.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import log
from typing import Protocol

from shortpencil.forms.form import Field, Form
from shortpencil.forms.rules import rules_of
from shortpencil.scan.reading import FieldReading, FieldValue
from shortpencil.scan.records.composing.answers import Answer, standing
from shortpencil.scan.records.composing.rounds import Round, Scalar, Value

#: Of one round, a field that both photos are sure of is read otherwise, or was marked anew, this often. The
#: reader's own silent errors are fewer than 1 in 1,000 (docs/accuracy.md); people mend a mark more often.
SLIP = 0.005
#: Of two rounds, a field that both have marked differs this often; 180 pairs of invented rounds, each of one
#: player on one course, give 0.69 for scores, 0.91 for distances, 0.40 and 0.83 for bubbles.
DIFFERS = {"number": 0.7, "choose-one": 0.4, "choose-many": 0.6}
#: The same of what hardly changes from round to round: the par of a hole, the year, the hand.
STEADY_DIFFERS = 0.1
STEADY = re.compile(r"(.*\.)?(par|date\.month|date\.year|hand|unit)")
#: Of two rounds, a field is marked in the one alone this often; of one round, a mark
#: vanished. Guesses, no data.
ONE_SIDED, VANISHED = 0.07, 0.003
#: A photo that could not be read by itself is no part of a round unless this many e-folds speak for it.
SURE = 5.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """What one photo's fields say beside those stored of a round.

    Attributes
    ----------
    added, missing : fields marked in the new one alone, in the stored one alone; the other is sure of blank
    changed : fields that both have marked, and both are sure of, each otherwise
    against : natural-log odds that these are two rounds and not one, before anything else is known of them
    values : what these fields hold, stored and new
    """

    added: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    against: float = 0.0
    values: Mapping[str, tuple[FieldValue, FieldValue]] = field(default_factory=dict, compare=False)

    @property
    def same_round(self) -> bool:
        """Whether both show one round: nothing contradicts it, or too little."""
        contradicts = self.changed or (self.added and self.missing)
        return not contradicts or self.against <= 0

    @property
    def surely_same_round(self) -> bool:
        """Whether what both show speaks for one round: for photos that show too little to be read alone."""
        return self.against < -SURE

    @property
    def same_marks(self) -> bool:
        """Whether neither shows a mark that the other lacks."""
        return not self.added and not self.missing


class Said(Protocol):
    """What is compared of one field: a `FieldReading`, or what stands for one."""

    @property
    def value(self) -> FieldValue:
        """What it holds."""

    @property
    def flag(self) -> str | None:
        """Why it is doubtful; None where it is sure."""


#: Two rounds for certain: a sheet has one form, so another form is another sheet.
ANOTHER_FORM = Comparison(changed=("form",), against=float("inf"))


def compare(
    form: Form,
    stored: Mapping[str, Said],
    new: Mapping[str, Said],
    answers: Iterable[Answer] = (),
) -> Comparison:
    """Return how a new reading differs from a stored one of the same form.

    Parameters
    ----------
    form : of both
    stored, new : what was read, by field; doubtful fields say nothing
    answers : what people entered over the stored reading; what they entered counts as good as what was read
    """
    entered = {answer.field: answer.value for answer in standing(answers)}
    added, missing, changed = [], [], []
    against = 0.0
    values: dict[str, tuple[FieldValue, FieldValue]] = {}
    for asked in form.fields:
        before, now = stored.get(asked.id), new.get(asked.id)
        if asked.type == "words" or now is None or now.flag is not None:
            continue
        known = [_plain(before.value)] if before is not None and before.flag is None else []
        known += [_plain(entered[asked.id])] if asked.id in entered else []
        if not known:
            continue
        value = _plain(now.value)
        if value in known:
            if value is not None:
                against += _weights(asked.id, asked.type)[0]
            continue
        values[asked.id] = known[-1], value
        if value is None:
            missing.append(asked.id)
        elif known == [None]:
            added.append(asked.id)
        else:
            changed.append(asked.id)
            against += _weights(asked.id, asked.type)[1]
    against += min(len(added), len(missing)) * log(ONE_SIDED / VANISHED)
    return Comparison(tuple(added), tuple(missing), tuple(changed), against, values)


@lru_cache(maxsize=4096)  # a photo of a sheet is held against every round of it
def _weights(field_id: str, kind: str) -> tuple[float, float]:
    """Return by how much a field that agrees, and one that differs, speaks for two rounds: log odds."""
    differs = STEADY_DIFFERS if STEADY.fullmatch(field_id) else DIFFERS[kind]
    return log((1 - differs) / (1 - SLIP)), log(differs / SLIP)


def fields_of_round(form: Form, round_: Round) -> dict[str, FieldReading]:
    """Return what a round of this form says of the card's fields, for a round of which no reading is kept.

    Only what a field and a round both say in the same way: scores, throws, distances, the date, the sums.
    """
    rules, known = rules_of(form), {field.id: field for field in form.fields}
    found: dict[str, FieldReading] = {}

    def put(field_id: str, value: Scalar | Value) -> None:
        if field_id not in known:
            return
        if isinstance(value, Value):
            if value.status != "known":
                return
            value = value.value
        found[field_id] = FieldReading(_as_field(known[field_id], value), 1.0)

    by_number = {hole.number: hole for hole in round_.holes}
    for rule in rules.holes:
        hole = by_number.get(rule.number)
        if hole is None:
            continue
        put(rule.score, hole.score)
        left = list(hole.throws)
        for field_id, phase in rule.throws:
            throw = next((throw for throw in left if throw.phase == phase), None)
            if throw is not None:
                left.remove(throw)
            put(field_id, None if throw is None else _mark(throw.execution))
            put(f"{field_id}.distance", None if throw is None else throw.distance)
    day = round_.day
    if round_.played_on.status == "known":
        put("date.day", day.day if day else None)
        put("date.month", day.month if day else None)
        put("date.year", day.year % 100 if day else None)
    for phase, tally in round_.tallies.items():
        put(f"tally.{phase}", tally)
    put("total", round_.total)
    put("worst", round_.worst if round_.worst.source != "inferred" else None)
    return found


def _mark(execution: Value) -> Value | None:
    return None if execution.value == "unmarked" else execution


def _as_field(field: Field, value: Scalar) -> FieldValue:
    if value is None or field.type == "words":
        return None
    if field.type == "number":
        return int(value)
    return str(value)


def _plain(value: FieldValue) -> FieldValue:
    return None if value == () else value
