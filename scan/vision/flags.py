"""Verdicts to readings: which fields a person must look at, and why, in words.

Asking costs the player two seconds, a silent error costs their trust: where in doubt, ask.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scan.reading import CellReading, FieldReading
from scan.vision.slips import FlagRule
from scan.vision.verdicts import UNREADABLE, WORTH_NAMING, Found, Unreadable, Verdict

OUTSIDE = "not in the picture"


@dataclass(frozen=True, slots=True)
class Judge:
    """What is known of the whole card when a single verdict is judged.

    Attributes
    ----------
    rule : when to ask
    doubt : what pruning may have cost any posterior
    outside : cells not in the picture
    conflicts : field id -> sentence about the promise that the ink alone would break there
    rules : field id -> rule that ties the field to others
    """

    rule: FlagRule
    doubt: float
    outside: frozenset[str]
    conflicts: Mapping[str, str]
    rules: Mapping[str, str]

    def reading(self, verdict: Verdict) -> tuple[FieldReading, list[tuple[str, CellReading]]]:
        """Return the reading of one field and of its cells."""
        least = self.rule.p_digit if verdict.field.type == "number" else self.rule.p_bubble
        p = max(verdict.p - self.doubt, 0.0)
        value = verdict.value
        if p >= least and not self.outside and verdict.is_plain(least) and not isinstance(value, Unreadable):
            return FieldReading(value, p, None, "read", None, verdict.others), self._plain_cells(verdict)
        gone = bool(self.outside) and not self.outside.isdisjoint(verdict.cell_ids)
        flag = OUTSIDE if gone else self._flag(verdict, p, least)
        others = verdict.others
        if gone or (verdict.spoilt is not None and flag is not None):
            if not isinstance(value, Unreadable):
                others = ((value, p), *others)  # a guess may be offered, never taken for an answer
            value = UNREADABLE
        rule = None
        if not isinstance(value, Unreadable) and self._is_settled(verdict, p, least):
            rule = self.rules.get(verdict.field.id)
        shown = None if isinstance(value, Unreadable) else value
        reading = FieldReading(shown, p, flag, "read" if rule is None else "inferred", rule, others)
        return reading, self._cells(verdict, least, flag)

    def _flag(self, verdict: Verdict, p: float, least: float) -> str | None:
        """Why a person must look, or None."""
        if isinstance(verdict.value, Unreadable):
            return verdict.spoilt
        if p < least:
            return self._unclear(verdict, least)
        by_far = verdict.ink_p >= self.rule.overruled * verdict.ink_p_value
        if by_far and verdict.ink_value != verdict.value:
            return self._overruled(verdict)
        return None

    def _is_settled(self, verdict: Verdict, p: float, least: float) -> bool:
        """Whether a rule, not the ink alone, gives the answer."""
        return verdict.ink_value != verdict.value or verdict.ink_p_value < least <= p

    def _unclear(self, verdict: Verdict, least: float) -> str:
        conflict = self.conflicts.get(verdict.field.id)
        if verdict.spoilt is not None:
            return f"{verdict.spoilt}; {conflict}" if conflict else verdict.spoilt
        pairs = [(verdict.value, verdict.p), *(pair for pair in verdict.others if pair[1] >= WORTH_NAMING)]
        parts = [f"{_said(value)} ({p:.0%})" for value, p in pairs[:3]]
        if verdict.or_else is not None:
            parts.append(verdict.or_else)
        says = " or ".join(parts)
        if conflict is None:
            return f"unclear: {says}"
        return f"{conflict}; {says}" if verdict.ink_p >= least else f"unclear: {says}; {conflict}"

    def _overruled(self, verdict: Verdict) -> str:
        why = self.conflicts.get(verdict.field.id)
        if why is None:
            why = f"the rest of the card speaks for {_said(verdict.value)}"
        return f"the ink looks like {_said(verdict.ink_value)}, but {why}"

    def _plain_cells(self, verdict: Verdict) -> list[tuple[str, CellReading]]:
        doubt = self.doubt
        pairs = zip(verdict.cell_ids, verdict.cells, strict=True)
        return [(cell, CellReading(value, p - doubt if p > doubt else 0.0)) for cell, (value, p) in pairs]

    def _cells(self, verdict: Verdict, least: float, flag: str | None) -> list[tuple[str, CellReading]]:
        if flag is None:
            return self._plain_cells(verdict)
        doubt = self.doubt
        pairs = zip(verdict.cell_ids, verdict.cells, strict=True)
        asked = [p - doubt < least for _, p in verdict.cells]
        if not any(asked):  # sure of each cell, and yet not of the field: ask about what is marked
            asked = [value is not None and value is not False for value, _ in verdict.cells]
        if not any(asked):
            asked = [True] * len(verdict.cells)
        return [
            (cell, CellReading(None, 0.0, OUTSIDE))
            if cell in self.outside
            else (cell, CellReading(value, max(p - doubt, 0.0), flag if ask else None))
            for (cell, (value, p)), ask in zip(pairs, asked, strict=True)
        ]


def _said(value: Found) -> str:
    if value is None:
        return "blank"
    if isinstance(value, Unreadable):
        return "something unreadable"
    return " and ".join(value) if isinstance(value, tuple) else str(value)
