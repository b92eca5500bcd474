"""Verdicts to readings: which fields a person must look at, and why, in words.

Asking costs the player two seconds, a silent error costs their trust: where in doubt, ask.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import repeat
from typing import TypeVar

import numpy as np

from shortpencil.forms.form import Field
from shortpencil.scan.asking import ask_of
from shortpencil.scan.reading import OVERRULED, UNCLEAR, UNSEEN, CellReading, FieldReading
from shortpencil.scan.vision.deciding.verdicts import (
    UNREADABLE,
    WORTH_NAMING,
    Found,
    Unreadable,
    Verdict,
    Verdicts,
)
from shortpencil.scan.vision.weighing.slips import FlagRule

OUTSIDE = "cannot be seen in the picture"
#: Of a cell, where its field is sure: nobody is asked.
SAME_NUMBER = "blank or 0: the number is the same"

Reading = TypeVar("Reading", CellReading, FieldReading)


@dataclass(frozen=True, slots=True)
class Judge:
    """What is known of the whole card when a single verdict is judged.

    Attributes
    ----------
    rule : when to ask
    doubt : what pruning may have cost any posterior
    outside : cells not in the picture
    rules : field id -> rule that ties the field to others
    """

    rule: FlagRule
    doubt: float
    outside: frozenset[str]
    rules: Mapping[str, str]

    def readings(self, found: Verdicts) -> tuple[list[FieldReading], list[CellReading], list[int]]:
        """Return the readings of a group's fields and cells, each as if plain, and the rows that are not.

        A field is plain where ink and rules agree and both are sure; the others want `reading`. Nearly all
        fields are plain, and to judge them one by one took a quarter of all decoding.
        """
        group = found.group
        least = self.least(group.fields[0])
        p = np.clip(found.p - self.doubt, 0.0, 1.0)
        plain = found.agrees & (p >= least) & (found.ink_p_value >= least)
        if self.outside:
            plain &= [self.outside.isdisjoint(ids) for ids in group.cell_ids]
        cell_p = np.clip(found.cell_p - self.doubt, 0.0, 1.0)
        if cell_p.size:
            plain &= cell_p.min(axis=1) >= least
        of_cells = cell_p.ravel().tolist()
        columns = (
            found.values,
            p.tolist(),
            repeat(None),
            repeat("read"),
            repeat(None),
            found.others,
            repeat(None),
            repeat(None),
        )
        fields = _made(FieldReading, *columns)
        cells = _made(CellReading, found.cell_values, of_cells, repeat(None))
        return fields, cells, np.flatnonzero(~plain).tolist()

    def reading(self, verdict: Verdict, conflict: str | None) -> tuple[FieldReading, list[CellReading]]:
        """Return the reading of one field and of its cells.

        `conflict` says which promise the ink alone would break there.
        """
        least = self.least(verdict.field)
        p = min(max(verdict.p - self.doubt, 0.0), 1.0)
        value = verdict.value
        gone = not self.outside.isdisjoint(verdict.cell_ids)
        kind, flag = (UNSEEN, OUTSIDE) if gone else self._flag(verdict, conflict, p, least)
        others = verdict.others
        if gone or (verdict.spoilt is not None and flag is not None):
            if not isinstance(value, Unreadable):
                others = ((value, p), *others)  # a guess may be offered, never taken for an answer
            value = UNREADABLE
        rule = None
        if not isinstance(value, Unreadable) and self._is_settled(verdict, p, least):
            rule = self.rules.get(verdict.field.id)
        shown = None if isinstance(value, Unreadable) else value
        must = gone or verdict.spoilt is not None or self._is_overruled(verdict)
        ask = None if flag is None else ask_of(verdict.field.id, shown, p, others, must=must)
        source = "read" if rule is None else "inferred"
        reading = FieldReading(shown, p, flag, source, rule, others, ask, kind)
        return reading, self._cells(verdict, least, flag)

    def least(self, field: Field) -> float:
        """Posterior below which a field is asked about."""
        return self.rule.p_digit if field.type == "number" else self.rule.p_bubble

    def _flag(
        self, verdict: Verdict, conflict: str | None, p: float, least: float
    ) -> tuple[str | None, str | None]:
        """Kind of doubt and why a person should look, or twice None."""
        if isinstance(verdict.value, Unreadable):
            return verdict.spoilt or (None, None)
        if p < least:
            kind = UNCLEAR if verdict.spoilt is None else verdict.spoilt.kind
            return kind, _unclear(verdict, conflict, least)
        return (OVERRULED, _overruled(verdict, conflict)) if self._is_overruled(verdict) else (None, None)

    def _is_overruled(self, verdict: Verdict) -> bool:
        """Say whether the ink alone favours another answer by far."""
        by_far = verdict.ink_p >= self.rule.overruled * verdict.ink_p_value
        return by_far and verdict.ink_value != verdict.value

    def _is_settled(self, verdict: Verdict, p: float, least: float) -> bool:
        """Whether a rule, not the ink alone, gives the answer."""
        return verdict.ink_value != verdict.value or verdict.ink_p_value < least <= p

    def _cells(self, verdict: Verdict, least: float, flag: str | None) -> list[CellReading]:
        cells = [(value, min(max(p - self.doubt, 0.0), 1.0)) for value, p in verdict.cells]
        if flag is None:
            return [CellReading(value, p, None if p >= least else SAME_NUMBER) for value, p in cells]
        asked = [p < least for _, p in cells]
        if not any(asked):  # sure of each cell, and yet not of the field: ask about what is marked
            asked = [value is not None and value is not False for value, _ in cells]
        if not any(asked):
            asked = [True] * len(cells)
        return [
            CellReading(None, 0.0, OUTSIDE)
            if cell in self.outside
            else CellReading(value, p, flag if ask else None)
            for cell, (value, p), ask in zip(verdict.cell_ids, cells, asked, strict=True)
        ]


def _made(kind: type[Reading], *columns: Iterable[object]) -> list[Reading]:
    """Return named tuples, given their parts column by column.

    `kind(...)` is a call of Python for each of the 850 of a card, and three times as slow.
    """
    return list(map(tuple.__new__, repeat(kind), zip(*columns, strict=False)))


def _unclear(verdict: Verdict, conflict: str | None, least: float) -> str:
    if verdict.spoilt is not None:
        return f"{verdict.spoilt.says}; {conflict}" if conflict else verdict.spoilt.says
    pairs = [(verdict.value, verdict.p), *(pair for pair in verdict.others if pair[1] >= WORTH_NAMING)]
    parts = [f"{_said(value)} ({p:.0%})" for value, p in pairs[:3]]
    if verdict.or_else is not None:
        parts.append(verdict.or_else)
    says = " or ".join(parts)
    if conflict is None:
        return f"unclear: {says}"
    return f"{conflict}; {says}" if verdict.ink_p >= least else f"unclear: {says}; {conflict}"


def _overruled(verdict: Verdict, conflict: str | None) -> str:
    why = conflict if conflict is not None else f"the rest of the card speaks for {_said(verdict.value)}"
    return f"the ink looks like {_said(verdict.ink_value)}, but {why}"


def _said(value: Found) -> str:
    if value is None:
        return "blank"
    if isinstance(value, Unreadable):
        return "something unreadable"
    return " and ".join(value) if isinstance(value, tuple) else str(value)
