"""Posterior of a card to one verdict a field: the best answer under ink and rules, and by the ink alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from forms.form import Field
from scan.reading import FieldValue
from scan.vision.likelihoods import BLANK_BOX, SCRAP_BOX, Floats, long_number
from scan.vision.plan import Group, Plan
from scan.vision.posterior import ChoosePosterior, ManyPosterior, NumberPosterior, Posterior
from scan.vision.slips import Slips

#: Other answers less likely than this are not worth a line.
_LEAST_ALTERNATIVE = 1e-3
#: Less likely answers are listed, but not named in a question.
WORTH_NAMING = 0.005
_MOST_ALTERNATIVES = 4

#: Below this the ink alone leaves open what it says, and no promise is held against it.
_SAYS_SOMETHING = 0.6

STRUCK = "struck out, and nothing else is filled"
WRITTEN_OVER = "written over or not a digit"


class Unreadable:
    """Stands for the value of a field whose ink forbids any: two filled, struck out, outside."""


UNREADABLE = Unreadable()

#: What a field was found to hold.
Found = FieldValue | Unreadable

#: Other answers and their chances, best first.
Others = tuple[tuple[FieldValue, float], ...]
_NO_OTHERS: Others = ()


@dataclass(slots=True)
class Verdict:
    """One field as decoded, before anyone judges whether to ask. Plain and mutable: hundreds a card.

    Attributes
    ----------
    value, p : best answer under ink and rules, and its posterior
    ink_value, ink_p : best answer by ink alone, and its chance
    ink_p_value : chance of `value` by ink alone
    spoilt : what is wrong with how the ink looks, or None
    others : the answers that come next
    or_else : what else the ink may be that is no answer (struck out, …), if that is likely enough to name
    cells : of each cell, its value and the chance that it is right
    """

    field: Field
    cell_ids: tuple[str, ...]
    value: Found
    p: float
    ink_value: Found
    ink_p: float
    ink_p_value: float
    spoilt: str | None
    others: Others
    cells: list[tuple[bool | int | None, float]]
    or_else: str | None = None

    def is_plain(self, least: float) -> bool:
        """Say whether the ink alone gives the same answer, at least as surely as `least`."""
        return self.spoilt is None and self.ink_value == self.value and self.ink_p_value >= least

    @property
    def by_ink(self) -> Found:
        """What the ink alone says, where it says anything."""
        return UNREADABLE if self.spoilt is not None or self.ink_p < _SAYS_SOMETHING else self.ink_value


def verdicts_of(plan: Plan, posterior: Posterior, slips: Slips) -> dict[str, Verdict]:
    """Decode every field but the strips for words."""
    found: list[Verdict] = []
    for key, choose in posterior.choose.items():
        found += _choose_one(plan.groups[key], choose)
    for key, many in posterior.many.items():
        found += _choose_many(plan.groups[key], many)
    for key, number in posterior.number.items():
        found += _number(plan.groups[key], number)
    for key, boxes in posterior.long.items():
        found += _long_number(plan.groups[key], boxes, slips)
    return {verdict.field.id: verdict for verdict in found}


def _choose_one(group: Group, found: ChoosePosterior) -> Iterator[Verdict]:
    count = found.weights.shape[1] - 1
    looks = found.likelihood.looks(found.weights)
    ink = found.likelihood.looks(found.ink)
    filled = found.likelihood.filled(looks)
    best, ink_best = looks.argmax(axis=1), ink.argmax(axis=1)
    at = np.arange(len(best))
    columns = (
        best.tolist(),
        looks[at, best].tolist(),
        ink_best.tolist(),
        ink[at, ink_best].tolist(),
        ink[at, best].tolist(),
        _bubbles(filled),
    )
    for row, (look, p, ink_look, ink_p, ink_p_value, cells) in enumerate(zip(*columns, strict=True)):
        field, ids, answers = group.fields[row], group.cell_ids[row], group.answers[row]
        value: Found = answers[look] if look <= count else UNREADABLE
        ink_value: Found = answers[ink_look] if ink_look <= count else UNREADABLE
        spoilt, others, or_else = None, _NO_OTHERS, None
        if look > count:
            spoilt = STRUCK if look == count + 2 else _several_filled(field, cells)
            others = _others(answers, found.weights[row] * found.likelihood.meanings[row], look)
        elif p < 1 - _LEAST_ALTERNATIVE:
            others = _others((*answers, UNREADABLE, UNREADABLE), looks[row], look)
            or_else = _or_else(float(looks[row, -2]), float(looks[row, -1]))
        yield Verdict(field, ids, value, p, ink_value, ink_p, ink_p_value, spoilt, others, cells, or_else)


def _bubbles(filled: Floats) -> list[list[tuple[bool, float]]]:
    """Value and chance to be right of each bubble, given the chance that it is filled."""
    values, chances = (filled > 0.5).tolist(), np.maximum(filled, 1 - filled).tolist()
    return [list(zip(*row, strict=True)) for row in zip(values, chances, strict=True)]


def _or_else(p_many: float, p_struck: float) -> str | None:
    """What else the ink may be that is no answer."""
    if max(p_many, p_struck) < WORTH_NAMING:
        return None
    return "struck out" if p_struck >= p_many else "more than one"


def _several_filled(field: Field, cells: Sequence[tuple[bool, float]]) -> str:
    labels = [option.label for option, (filled, _) in zip(field.options, cells, strict=True) if filled]
    return f"{' and '.join(labels)} are both filled" if len(labels) == 2 else "several are filled"


def _others(values: Sequence[Found], weights: Floats, best: int) -> Others:
    """Answers besides the best one with their chances, best first."""
    chances = weights / weights.sum()
    kept = []
    for index in np.flatnonzero(chances >= _LEAST_ALTERNATIVE).tolist():
        value = values[index]
        if index != best and not isinstance(value, Unreadable):
            kept.append((value, float(chances[index])))
    return tuple(sorted(kept, key=lambda pair: -pair[1])[:_MOST_ALTERNATIVES])


def _choose_many(group: Group, found: ManyPosterior) -> Iterator[Verdict]:
    likelihood = found.likelihood
    on = likelihood.options(found.some)
    chosen, ink_chosen = on > 0.5, likelihood.options(found.ink) > 0.5
    p = likelihood.chance(chosen, found.some)
    struck = (1 - found.some) * likelihood.struck / (likelihood.struck + likelihood.blank)
    nothing = ~chosen.any(axis=1)
    only_struck = nothing & (struck > p / 2)
    p = np.where(nothing, np.where(only_struck, struck, p - struck), p)
    turned = chosen.copy()  # the next best answer turns the most doubtful option around
    at = np.arange(len(turned)), np.abs(on - 0.5).argmin(axis=1)
    turned[at] = ~turned[at]
    p_turned = likelihood.chance(turned, found.some) - np.where(turned.any(axis=1), 0.0, struck)
    columns = (
        chosen.tolist(),
        p.tolist(),
        ink_chosen.tolist(),
        likelihood.chance(ink_chosen, found.ink).tolist(),
        likelihood.chance(chosen, found.ink).tolist(),
        only_struck.tolist(),
        _bubbles(on),
        struck.tolist(),
        turned.tolist(),
        p_turned.tolist(),
    )
    for row, column in enumerate(zip(*columns, strict=True)):
        options, p_, by_ink, ink_p, ink_p_value, spoilt, cells, p_struck, other, p_other = column
        field, ids = group.fields[row], group.cell_ids[row]
        value: Found = UNREADABLE if spoilt else _options(field, options)
        ink_value: Found = UNREADABLE if spoilt else _options(field, by_ink)
        says = STRUCK if spoilt else None
        others = ((_options(field, other), p_other),) if p_other >= _LEAST_ALTERNATIVE else _NO_OTHERS
        or_else = _or_else(0.0, p_struck)
        yield Verdict(field, ids, value, p_, ink_value, ink_p, ink_p_value, says, others, cells, or_else)


def _options(field: Field, chosen: list[bool]) -> FieldValue:
    if True not in chosen:
        return None
    return tuple(option.id for option, yes in zip(field.options, chosen, strict=True) if yes)


def _number(group: Group, found: NumberPosterior) -> Iterator[Verdict]:
    likelihood = found.likelihood
    size = likelihood.full.shape[1]
    boxes = likelihood.boxes(found.values[:, :-1], found.values[:, -1])
    best, ink_best = found.values.argmax(axis=1), found.ink.argmax(axis=1)
    at = np.arange(len(best))
    value_at = np.minimum(best, size - 1)
    over = (best < size) & (2 * likelihood.clean[at, value_at] < likelihood.full[at, value_at])
    columns = (
        best.tolist(),
        found.values[at, best].tolist(),
        ink_best.tolist(),
        found.ink[at, ink_best].tolist(),
        found.ink[at, best].tolist(),
        over.tolist(),
        _digits(boxes),
    )
    values: list[Found] = [*range(size), None]
    for row, (index, p, ink_index, ink_p, ink_p_value, spoilt, cells) in enumerate(
        zip(*columns, strict=True)
    ):
        field, ids = group.fields[row], group.cell_ids[row]
        others = _NO_OTHERS
        if p < 1 - _LEAST_ALTERNATIVE:
            others = _others(values, found.values[row], index)
        value, ink_value = values[index], values[ink_index]
        says = WRITTEN_OVER if spoilt else None
        yield Verdict(field, ids, value, p, ink_value, ink_p, ink_p_value, says, others, cells)


def _digits(boxes: Floats) -> list[list[tuple[int | None, float]]]:
    """Value and chance to be right of each digit box, from its posterior (F, n, 11)."""
    digits, chances = boxes.argmax(axis=2).tolist(), boxes.max(axis=2).tolist()
    return [
        [(None if digit == BLANK_BOX else digit, chance) for digit, chance in zip(*row, strict=True)]
        for row in zip(digits, chances, strict=True)
    ]


def _long_number(group: Group, likelihood: Floats, slips: Slips) -> Iterator[Verdict]:
    for field, ids, boxes in zip(group.fields, group.cell_ids, likelihood, strict=True):
        found, p = long_number(boxes, slips)
        cells = _digits(found[None])[0]
        text = "".join(str(digit) for digit, _ in cells if digit is not None)
        over = slips.scrap * boxes[:, SCRAP_BOX] > boxes[:, :SCRAP_BOX].max(axis=1)
        value = int(text) if text else None
        yield Verdict(field, ids, value, p, value, p, p, WRITTEN_OVER if over.any() else None, (), cells)
