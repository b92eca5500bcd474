"""Posterior of a card to one verdict a field: the best answer under ink and rules, and by the ink alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from shortpencil.forms.form import Field
from shortpencil.scan.reading import SCRIBBLED, SEVERAL, STRUCK, FieldValue
from shortpencil.scan.vision.arrays import Bools
from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.weighing.form_index import FormIndex, Group
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints, long_number
from shortpencil.scan.vision.weighing.posterior import (
    ChoosePosterior,
    ManyPosterior,
    NumberPosterior,
    Posterior,
)
from shortpencil.scan.vision.weighing.slips import Slips

#: Other answers less likely than this are not worth a line.
_LEAST_ALTERNATIVE = 1e-3
#: Less likely answers are listed, but not named in a question.
WORTH_NAMING = 0.005
_MOST_ALTERNATIVES = 4

#: Below this the ink alone leaves open what it says, and no promise is held against it.
_SAYS_SOMETHING = 0.6


class Spoilt(NamedTuple):
    """What is wrong with how the ink of a field looks: its kind of doubt, and in words."""

    kind: str
    says: str


STRUCK_OUT = Spoilt(STRUCK, "struck out, and nothing else is filled")
WRITTEN_OVER = Spoilt(SCRIBBLED, "written over or not a digit")


class Unreadable:
    """Stands for the value of a field whose ink forbids any: two filled, struck out, outside."""


UNREADABLE = Unreadable()

#: What a field was found to hold.
Found = FieldValue | Unreadable

#: Other answers and their chances, best first.
Others = tuple[tuple[FieldValue, float], ...]
_NO_OTHERS: Others = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """One field as decoded, before anyone judges whether to ask.

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
    spoilt: Spoilt | None
    others: Others
    or_else: str | None
    cells: list[tuple[bool | int | None, float]]


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The verdicts of a group's F fields of n cells, column by column.

    Most fields of most cards are plain, and nobody looks at them one by one: what is said of all comes from
    whole columns, `verdict` makes a row of them for whoever has to ask.

    Attributes
    ----------
    values, p, ink_values, ink_p, ink_p_value, spoilt, others, or_else : of each field, as in `Verdict`
    agrees : (F,) the ink alone gives the same answer, and nothing is spoilt
    cell_values : (F * n,) value of each cell
    cell_p : (F, n) chance that it is right
    """

    group: Group
    values: list[Found]
    p: Floats
    ink_values: list[Found]
    ink_p: Floats
    ink_p_value: Floats
    spoilt: list[Spoilt | None]
    others: list[Others]
    or_else: list[str | None]
    agrees: Bools
    cell_values: Sequence[bool | int | None]
    cell_p: Floats

    def verdict(self, row: int) -> Verdict:
        """One field's verdict."""
        ids = self.group.cell_ids[row]
        cells = self.cell_values[row * len(ids) : (row + 1) * len(ids)]
        return Verdict(
            field=self.group.fields[row],
            cell_ids=ids,
            value=self.values[row],
            p=float(self.p[row]),
            ink_value=self.ink_values[row],
            ink_p=float(self.ink_p[row]),
            ink_p_value=float(self.ink_p_value[row]),
            spoilt=self.spoilt[row],
            others=self.others[row],
            or_else=self.or_else[row],
            cells=list(zip(cells, self.cell_p[row].tolist(), strict=True)),
        )

    def by_ink(self) -> list[Found]:
        """What the ink alone says of each field, where it says anything."""
        says = (self.ink_p >= _SAYS_SOMETHING).tolist()
        return [
            value if clear and spoilt is None else UNREADABLE
            for value, clear, spoilt in zip(self.ink_values, says, self.spoilt, strict=True)
        ]


def verdicts_of(index: FormIndex, posterior: Posterior, slips: Slips) -> list[Verdicts]:
    """Decode every field but the strips for words, group by group."""
    found = [_choose_one(index.groups[key], choose) for key, choose in posterior.choose.items()]
    found += [_choose_many(index.groups[key], many) for key, many in posterior.many.items()]
    found += [_number(index.groups[key], number) for key, number in posterior.number.items()]
    found += [_long_number(index.groups[key], boxes, slips) for key, boxes in posterior.long.items()]
    return found


def _choose_one(group: Group, found: ChoosePosterior) -> Verdicts:
    count = found.weights.shape[1] - 1
    looks = found.likelihood.looks(found.weights)
    ink = found.likelihood.looks(found.ink)
    filled = found.likelihood.filled(looks)
    best, ink_best = looks.argmax(axis=1), ink.argmax(axis=1)
    at = np.arange(len(best))
    p = looks[at, best]
    spoilt, others, or_else = _columns(len(best))
    for row in np.flatnonzero((best > count) | (p < 1 - _LEAST_ALTERNATIVE)).tolist():
        look = int(best[row])
        if look > count:
            spoilt[row] = (
                STRUCK_OUT if look == count + 2 else _several_filled(group.fields[row], filled[row] > 0.5)
            )
            meant = found.weights[row] * found.likelihood.meanings[row]
            others[row] = _others(group.answers[row], meant, look)
        else:
            others[row] = _others((*group.answers[row], UNREADABLE, UNREADABLE), looks[row], look)
            or_else[row] = _or_else(float(looks[row, -2]), float(looks[row, -1]))
    return Verdicts(
        group=group,
        values=_answers(group, best),
        p=p,
        ink_values=_answers(group, ink_best),
        ink_p=ink[at, ink_best],
        ink_p_value=ink[at, best],
        spoilt=spoilt,
        others=others,
        or_else=or_else,
        agrees=(best == ink_best) & (best <= count),
        cell_values=(filled > 0.5).ravel().tolist(),
        cell_p=np.maximum(filled, 1 - filled),
    )


def _answers(group: Group, looks: Ints) -> list[Found]:
    """Return the answer that each field's look stands for."""
    pairs = zip(group.answers, looks.tolist(), strict=True)
    return [answers[look] if look < len(answers) else UNREADABLE for answers, look in pairs]


def _columns(count: int) -> tuple[list[Spoilt | None], list[Others], list[str | None]]:
    """Columns `spoilt`, `others` and `or_else` of so many fields of which there is nothing to say."""
    return [None] * count, [_NO_OTHERS] * count, [None] * count


def _or_else(p_many: float, p_struck: float) -> str | None:
    """What else the ink may be that is no answer."""
    if max(p_many, p_struck) < WORTH_NAMING:
        return None
    return "struck out" if p_struck >= p_many else "more than one"


def _several_filled(field: Field, filled: Bools) -> Spoilt:
    labels = [option.label for option, yes in zip(field.options, filled.tolist(), strict=True) if yes]
    says = f"{' and '.join(labels)} are both filled" if len(labels) == 2 else "several are filled"
    return Spoilt(SEVERAL, says)


def _others(values: Sequence[Found], weights: Floats, best: int) -> Others:
    """Answers besides the best one with their chances, best first."""
    chances = weights / weights.sum()
    kept = []
    for index in np.flatnonzero(chances >= _LEAST_ALTERNATIVE).tolist():
        value = values[index]
        if index != best and not isinstance(value, Unreadable):
            kept.append((value, float(chances[index])))
    return tuple(sorted(kept, key=lambda pair: -pair[1])[:_MOST_ALTERNATIVES])


def _choose_many(group: Group, found: ManyPosterior) -> Verdicts:
    likelihood = found.likelihood
    on = found.options()
    chosen, ink_chosen = on > 0.5, likelihood.options(found.ink) > 0.5
    p = found.chance(chosen)
    struck = (1 - found.some) * likelihood.struck / (likelihood.struck + likelihood.blank)
    nothing = ~chosen.any(axis=1)
    only_struck = nothing & (struck > p / 2)
    p = np.where(nothing, np.where(only_struck, struck, p - struck), p)
    turned = chosen.copy()  # the next best answer turns the most doubtful option around
    at = np.arange(len(turned)), np.abs(on - 0.5).argmin(axis=1)
    turned[at] = ~turned[at]
    p_turned = found.chance(turned) - np.where(turned.any(axis=1), 0.0, struck)
    same = (chosen == ink_chosen).all(axis=1)
    values = _options(group, chosen)
    ink_values = values.copy() if same.all() else _options(group, ink_chosen)
    spoilt, others, or_else = _columns(len(p))
    for row in np.flatnonzero(only_struck).tolist():
        values[row] = ink_values[row] = UNREADABLE
        spoilt[row] = STRUCK_OUT
    for row in np.flatnonzero(p_turned >= _LEAST_ALTERNATIVE).tolist():
        others[row] = ((_named(group, row, turned[row]), float(p_turned[row])),)
    for row in np.flatnonzero(struck >= WORTH_NAMING).tolist():
        or_else[row] = _or_else(0.0, float(struck[row]))
    return Verdicts(
        group=group,
        values=values,
        p=p,
        ink_values=ink_values,
        ink_p=likelihood.chance(ink_chosen, found.ink),
        ink_p_value=likelihood.chance(chosen, found.ink),
        spoilt=spoilt,
        others=others,
        or_else=or_else,
        agrees=same & ~only_struck,
        cell_values=chosen.ravel().tolist(),
        cell_p=np.maximum(on, 1 - on),
    )


def _options(group: Group, chosen: Bools) -> list[Found]:
    """Return the answer of each field that has these options chosen."""
    values: list[Found] = [None] * len(chosen)
    for row in np.flatnonzero(chosen.any(axis=1)).tolist():
        values[row] = _named(group, row, chosen[row])
    return values


def _named(group: Group, row: int, chosen: Bools) -> FieldValue:
    named = tuple(
        name for name, yes in zip(group.answers[row][1:], chosen.tolist(), strict=True) if yes and name
    )
    return named or None


def _number(group: Group, found: NumberPosterior) -> Verdicts:
    likelihood = found.likelihood
    size = likelihood.full.shape[1]
    boxes = likelihood.boxes(found.values[:, :-1], found.values[:, -1])
    best, ink_best = found.values.argmax(axis=1), found.ink.argmax(axis=1)
    at = np.arange(len(best))
    p = found.values[at, best]
    value_at = np.minimum(best, size - 1)
    over = (best < size) & (2 * likelihood.clean[at, value_at] < likelihood.full[at, value_at])
    spoilt, others, or_else = _columns(len(best))
    for row in np.flatnonzero(over).tolist():
        spoilt[row] = WRITTEN_OVER
    for row in np.flatnonzero(p < 1 - _LEAST_ALTERNATIVE).tolist():
        others[row] = _others([*range(size), None], found.values[row], int(best[row]))
    return Verdicts(
        group=group,
        values=[index if index < size else None for index in best.tolist()],
        p=p,
        ink_values=[index if index < size else None for index in ink_best.tolist()],
        ink_p=found.ink[at, ink_best],
        ink_p_value=found.ink[at, best],
        spoilt=spoilt,
        others=others,
        or_else=or_else,
        agrees=(best == ink_best) & ~over,
        cell_values=_digits(boxes),
        cell_p=boxes.max(axis=2),
    )


def _digits(boxes: Floats) -> list[bool | int | None]:
    """Value of each digit box, row by row, from the posterior (F, n, 11)."""
    return [None if digit == BLANK_BOX else digit for digit in boxes.argmax(axis=2).ravel().tolist()]


def _long_number(group: Group, likelihood: Floats, slips: Slips) -> Verdicts:
    boxes, chances = zip(*(long_number(of_field, slips) for of_field in likelihood), strict=True)
    digits, p = np.stack(boxes), np.array(chances)
    signs = _digits(digits)
    count = likelihood.shape[1]
    texts = [
        "".join(str(sign) for sign in signs[at : at + count] if sign is not None)
        for at in range(0, len(signs), count)
    ]
    values: list[Found] = [int(text) if text else None for text in texts]
    over = (slips.scrap * likelihood[..., SCRAP_BOX] > likelihood[..., :SCRAP_BOX].max(axis=2)).any(axis=1)
    spoilt, others, or_else = _columns(len(p))
    for row in np.flatnonzero(over).tolist():
        spoilt[row] = WRITTEN_OVER
    return Verdicts(
        group=group,
        values=values,
        p=p,
        ink_values=values,
        ink_p=p,
        ink_p_value=p,
        spoilt=spoilt,
        others=others,
        or_else=or_else,
        agrees=~over,
        cell_values=signs,
        cell_p=digits.max(axis=2),
    )
