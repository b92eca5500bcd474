"""Posterior of a card to its readings: values, confidences, flags in words, what a rule settled.

A field is *answered* first, by ink alone and by ink and rules; then each answer is judged. Asking costs the
player two seconds, a silent error costs their trust: where in doubt, ask.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from forms.form import Field
from scan.reading import CellReading, FieldReading, FieldValue
from scan.vision.answers import BLANK_BOX, SCRAP_BOX, Floats, long_number
from scan.vision.findings import UNREADABLE, Unreadable
from scan.vision.plan import Plan
from scan.vision.posterior import ChoosePosterior, ManyPosterior, NumberPosterior, Posterior
from scan.vision.slips import FlagRule, Slips

#: Other answers less likely than this are not worth a line.
_LEAST_ALTERNATIVE = 1e-3
_MOST_ALTERNATIVES = 4

#: Less likely answers are listed, but not named in the question.
_WORTH_NAMING = 0.005
#: Below this the ink alone leaves open what it says, and no promise is held against it.
_SAYS_SOMETHING = 0.6

OUTSIDE = "not in the picture"
STRUCK = "struck out, and nothing else is filled"
WRITTEN_OVER = "written over or not a digit"

#: A cell as answered: value and chance that it is right.
CellAnswer = tuple[bool | int | None, float]


@dataclass(slots=True)
class Answer:
    """One field as answered, before anyone judges whether to ask.

    Attributes
    ----------
    value : best answer under ink and rules; `UNREADABLE` where the look forbids one (two filled, struck out)
    p : its posterior
    ink_value, ink_p, ink_p_value : best answer by ink alone, its chance, and that of `value`
    spoilt : what is wrong with how the ink looks, or None
    others : other answers and their chances
    cells : of each cell, its value and confidence; ink_cells : its value by ink alone
    """

    field: Field
    value: FieldValue | Unreadable
    p: float
    ink_value: FieldValue | Unreadable
    ink_p: float
    ink_p_value: float
    spoilt: str | None
    others: tuple[tuple[FieldValue, float], ...]
    cells: tuple[CellAnswer, ...]

    @property
    def by_ink(self) -> FieldValue | Unreadable:
        """What the ink alone says, where it says anything."""
        return UNREADABLE if self.spoilt is not None or self.ink_p < _SAYS_SOMETHING else self.ink_value


def answers_of(plan: Plan, posterior: Posterior, slips: Slips) -> dict[str, Answer]:
    """Answer every field but the strips for words."""
    answers: list[Answer] = []
    for key, choose in posterior.choose.items():
        answers += _choose_answers(plan.groups[key].fields, choose)
    for key, many in posterior.many.items():
        answers += _many_answers(plan.groups[key].fields, many)
    for key, number in posterior.number.items():
        answers += _number_answers(plan.groups[key].fields, number)
    for key, boxes in posterior.long.items():
        answers += _long_answers(plan.groups[key].fields, boxes, slips)
    return {answer.field.id: answer for answer in answers}


def _choose_answers(fields: tuple[Field, ...], found: ChoosePosterior) -> Iterator[Answer]:
    count = found.weights.shape[1] - 1
    looks = found.likelihood.looks(found.weights)
    ink = found.likelihood.looks(found.ink)
    filled = found.likelihood.filled(looks)
    meant = found.weights * found.likelihood.meanings
    best, ink_best = looks.argmax(axis=1).tolist(), ink.argmax(axis=1).tolist()
    looks_, ink_, filled_, meant_ = looks.tolist(), ink.tolist(), filled.tolist(), meant.tolist()
    for row, field in enumerate(fields):
        values: list[FieldValue | Unreadable] = [None, *(o.id for o in field.options), UNREADABLE, UNREADABLE]
        at, chances = best[row], looks_[row]
        spoilt = None
        if at == count + 1:
            both = [o.label for o, p in zip(field.options, filled_[row], strict=True) if p > 0.5]
            spoilt = f"{' and '.join(both)} are both filled" if len(both) == 2 else "several are filled"
        elif at == count + 2:
            spoilt = STRUCK
        yield Answer(
            field=field,
            value=values[at],
            p=chances[at],
            ink_value=values[ink_best[row]],
            ink_p=ink_[row][ink_best[row]],
            ink_p_value=ink_[row][at],
            spoilt=spoilt,
            others=_others(values, meant_[row], None if spoilt else at, chances[at]),
            cells=tuple((p > 0.5, max(p, 1 - p)) for p in filled_[row]),
        )


def _others(
    values: Sequence[FieldValue | Unreadable], chances: list[float], at: int | None, p: float
) -> tuple[tuple[FieldValue, float], ...]:
    """Answers besides the one at `at` with their chances, best first."""
    if at is not None and p > 1 - _LEAST_ALTERNATIVE:
        return ()
    whole = sum(chances)
    pairs = zip(values[: len(chances)], chances, strict=True)
    kept = [
        (value, chance / whole)
        for k, (value, chance) in enumerate(pairs)
        if k != at and chance >= _LEAST_ALTERNATIVE * whole and not isinstance(value, Unreadable)
    ]
    return tuple(sorted(kept, key=lambda pair: -pair[1])[:_MOST_ALTERNATIVES])


def _many_answers(fields: tuple[Field, ...], found: ManyPosterior) -> Iterator[Answer]:
    likelihood = found.likelihood
    on = likelihood.options(found.some)
    chosen, ink_chosen = on > 0.5, likelihood.options(found.ink) > 0.5
    p = likelihood.chance(chosen, found.some)
    struck = (1 - found.some) * likelihood.struck / (likelihood.struck + likelihood.blank)
    nothing = ~chosen.any(axis=1)
    only_struck = (nothing & (struck > p / 2)).tolist()
    p = np.where(nothing, np.maximum(struck, p - struck), p)
    ink_p = likelihood.chance(ink_chosen, found.ink).tolist()
    ink_p_value = likelihood.chance(chosen, found.ink).tolist()
    for row, field in enumerate(fields):
        value = _options(field, chosen[row].tolist())
        yield Answer(
            field=field,
            value=UNREADABLE if only_struck[row] else value,
            p=float(p[row]),
            ink_value=UNREADABLE if only_struck[row] else _options(field, ink_chosen[row].tolist()),
            ink_p=ink_p[row],
            ink_p_value=ink_p_value[row],
            spoilt=STRUCK if only_struck[row] else None,
            others=(),
            cells=tuple((q > 0.5, max(q, 1 - q)) for q in on[row].tolist()),
        )


def _options(field: Field, chosen: list[bool]) -> FieldValue:
    ids = tuple(option.id for option, yes in zip(field.options, chosen, strict=True) if yes)
    return ids or None


def _number_answers(fields: tuple[Field, ...], found: NumberPosterior) -> Iterator[Answer]:
    likelihood = found.likelihood
    size = likelihood.full.shape[1]
    boxes = likelihood.boxes(found.values[:, :-1], found.values[:, -1])
    digit, p_digit = boxes.argmax(axis=2).tolist(), boxes.max(axis=2).tolist()
    best, ink_best = found.values.argmax(axis=1), found.ink.argmax(axis=1)
    at = np.arange(len(fields))
    p, ink_p = found.values[at, best].tolist(), found.ink[at, ink_best].tolist()
    ink_p_value = found.ink[at, best].tolist()
    value_at = np.minimum(best, size - 1)
    over = (best < size) & (2 * likelihood.clean[at, value_at] < likelihood.full[at, value_at])
    written_over, best_, ink_best_ = over.tolist(), best.tolist(), ink_best.tolist()
    values: list[FieldValue | Unreadable] = [*range(size), None]
    for row, field in enumerate(fields):
        chances = found.values[row].tolist() if p[row] < 1 - _LEAST_ALTERNATIVE else []
        yield Answer(
            field=field,
            value=values[best_[row]],
            p=p[row],
            ink_value=values[ink_best_[row]],
            ink_p=ink_p[row],
            ink_p_value=ink_p_value[row],
            spoilt=WRITTEN_OVER if written_over[row] else None,
            others=_others(values, chances, best_[row], p[row]),
            cells=tuple(
                (None if d == BLANK_BOX else d, q) for d, q in zip(digit[row], p_digit[row], strict=True)
            ),
        )


def _long_answers(fields: tuple[Field, ...], likelihood: Floats, slips: Slips) -> Iterator[Answer]:
    for field, boxes in zip(fields, likelihood, strict=True):
        found, p = long_number(boxes, slips)
        digits = found.argmax(axis=1)
        text = "".join(str(d) for d in digits if d != BLANK_BOX)
        over = bool((slips.scrap * boxes[:, SCRAP_BOX] > boxes[:, :SCRAP_BOX].max(axis=1)).any())
        value = int(text) if text else None
        yield Answer(
            field=field,
            value=value,
            p=p,
            ink_value=value,
            ink_p=p,
            ink_p_value=p,
            spoilt=WRITTEN_OVER if over else None,
            others=(),
            cells=tuple(
                (None if d == BLANK_BOX else d, q)
                for d, q in zip(digits.tolist(), found.max(axis=1).tolist(), strict=True)
            ),
        )


@dataclass(frozen=True, slots=True)
class Judge:
    """What is known of the whole card when a single answer is judged.

    Attributes
    ----------
    doubt : what pruning may have cost
    outside : cells not in the picture
    conflicts : field id -> sentence about the promise that the ink alone would break there
    rules : field id -> rule that ties the field to others
    """

    rule: FlagRule
    doubt: float
    outside: frozenset[str]
    conflicts: Mapping[str, str]
    rules: Mapping[str, str]

    def field(self, answer: Answer) -> tuple[FieldReading, dict[str, CellReading]]:
        """Return the reading of one field and of its cells."""
        field = answer.field
        least = self.rule.p_digit if field.type == "number" else self.rule.p_bubble
        p = max(answer.p - self.doubt, 0.0)
        differs = answer.ink_value != answer.value
        settled = not isinstance(answer.value, Unreadable) and (differs or answer.ink_p_value < least <= p)
        value = answer.value
        gone = [cell for cell in field.cell_ids if cell in self.outside]
        flag: str | None = None
        if gone:
            flag, value = OUTSIDE, UNREADABLE
        elif isinstance(value, Unreadable):
            flag = answer.spoilt
        elif p < least:
            flag = self._unclear(answer)
            if answer.spoilt is not None:
                value = UNREADABLE
        elif differs and answer.ink_p >= self.rule.overruled * answer.ink_p_value:
            flag = self._overruled(answer)
        elif settled and field.id not in self.rules:
            settled = False
        shown = None if isinstance(value, Unreadable) else value
        others = answer.others
        if isinstance(value, Unreadable) and not isinstance(answer.value, Unreadable):
            others = ((answer.value, p), *others)
        reading = FieldReading(
            shown,
            p,
            flag,
            "inferred" if settled and shown == answer.value else "read",
            self.rules.get(field.id) if settled and shown == answer.value else None,
            others,
        )
        return reading, dict(self._cells(answer, least, flag))

    def _unclear(self, answer: Answer) -> str:
        conflict = self.conflicts.get(answer.field.id)
        if answer.spoilt is not None:
            return f"{answer.spoilt}; {conflict}" if conflict else answer.spoilt
        pairs = [(answer.value, answer.p), *(pair for pair in answer.others if pair[1] >= _WORTH_NAMING)]
        says = " or ".join(f"{_said(value)} ({p:.0%})" for value, p in pairs[:3])
        if conflict is None:
            return f"unclear: {says}"
        return f"{conflict}; {says}" if answer.ink_p >= self.rule.p_digit else f"unclear: {says}; {conflict}"

    def _overruled(self, answer: Answer) -> str:
        looks = f"the ink looks like {_said(answer.ink_value)}"
        why = self.conflicts.get(answer.field.id)
        if why is None:
            why = f"the rest of the card speaks for {_said(answer.value)}"
        return f"{looks}, but {why}"

    def _cells(self, answer: Answer, least: float, flag: str | None) -> Iterator[tuple[str, CellReading]]:
        ids = answer.field.cell_ids
        doubtful = [q - self.doubt < least for _, q in answer.cells]
        if flag is not None and not any(doubtful):
            doubtful = [value is not None and value is not False for value, _ in answer.cells]
        if flag is not None and not any(doubtful):
            doubtful = [True] * len(ids)
        for cell, (value, q), ask in zip(ids, answer.cells, doubtful, strict=True):
            if cell in self.outside:
                yield cell, CellReading(None, 0.0, OUTSIDE)
            else:
                yield cell, CellReading(value, max(q - self.doubt, 0.0), flag if ask else None)


def _said(value: FieldValue | Unreadable) -> str:
    if value is None:
        return "blank"
    if isinstance(value, Unreadable):
        return "something unreadable"
    return " and ".join(value) if isinstance(value, tuple) else str(value)
