"""Ink of a card to the posterior of each of its fields, each field by itself.

What hangs together (`scan.vision.weighing.whole_card`) starts from here. What the ink alone says, every
answer alike, is kept beside the posterior that priors and rules lead to: where they differ, a rule has
settled or overruled something, and the player must be able to see it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.weighing.form_index import FormIndex, GroupKey
from shortpencil.scan.vision.weighing.likelihoods import (
    Choices,
    Floats,
    Ints,
    Manies,
    Numbers,
    choices,
    length_prior,
    likelihoods,
    manies,
    numbers,
)
from shortpencil.scan.vision.weighing.slips import Slips

#: How often a number, and a choice, is left blank when nothing else is known of it.
BLANK_NUMBER = 0.3
NOTHING_CHOSEN = 0.5
#: A bubble that stands alone is an exception to mark, so it mostly stays empty.
SINGLE_BLANK = 0.8

_LOG_SHARES = np.log(ANSWER_SHARES)


@dataclass(slots=True)
class ChoosePosterior:
    """F choose-one fields: likelihoods, and (F, n + 1) weights by meaning, for the ink alone and in all.

    A weight times the likelihood of a meaning is its posterior; `Choices.looks` splits it by look.
    """

    likelihood: Choices
    ink: Floats
    weights: Floats

    def set_some(self, rows: Ints, p_some: Floats) -> None:
        """Replace the posterior of some fields by the chance that any option is meant."""
        meanings = self.likelihood.meanings[rows]
        weights = np.repeat((p_some / meanings[:, 1:].sum(axis=1))[:, None], meanings.shape[1], axis=1)
        weights[:, 0] = (1 - p_some) / meanings[:, 0]
        self.weights[rows] = weights


@dataclass(slots=True)
class ManyPosterior:
    """F choose-many fields: likelihoods, and (F,) that something is chosen, by ink alone and in all."""

    likelihood: Manies
    ink: Floats
    some: Floats


@dataclass(slots=True)
class NumberPosterior:
    """F number fields: likelihoods, and (F, V + 1) of each value, then of a blank, by ink and in all."""

    likelihood: Numbers
    ink: Floats
    values: Floats

    def set(self, rows: Ints, values: Floats, blank: Floats) -> None:
        """Replace the posterior of some fields, bringing it to sum 1."""
        both = np.concatenate([values, blank[:, None]], axis=1)
        self.values[rows] = both / both.sum(axis=1, keepdims=True)


@dataclass(slots=True)
class Posterior:
    """Posterior of every field by group of the index; long numbers are (F, n, 12) likelihoods only.

    `doubt` bounds what the pruning of the sums may have cost any probability; `rules` names, by field, the
    rule that ties it to others.
    """

    choose: dict[GroupKey, ChoosePosterior] = field(default_factory=dict)
    many: dict[GroupKey, ManyPosterior] = field(default_factory=dict)
    number: dict[GroupKey, NumberPosterior] = field(default_factory=dict)
    long: dict[GroupKey, Floats] = field(default_factory=dict)
    doubt: float = 0.0
    rules: dict[str, str] = field(default_factory=dict)


def cell_likelihoods(
    index: FormIndex,
    bubbles: Mapping[str, tuple[float, float, float]],
    digits: Mapping[str, NDArray[np.float32]],
    outside: frozenset[str],
) -> tuple[Floats, Floats]:
    """Likelihoods of all bubbles (N, 3) and digit boxes (N, 12); ones where nothing is known.

    Bubbles come as likelihoods, digits as the probabilities of a reader that expects `ANSWER_SHARES`.
    """
    nothing_3, nothing_12 = (0.0, 0.0, 0.0), _LOG_SHARES
    logs_3 = [nothing_3 if c in outside else bubbles.get(c, nothing_3) for c in index.bubbles]
    logs_12 = [nothing_12 if c in outside else digits.get(c, nothing_12) for c in index.digits]
    flat = np.fromiter(chain.from_iterable(logs_3), float, 3 * len(logs_3))
    stacked = np.concatenate(logs_12).astype(float) if logs_12 else np.zeros(0)
    return likelihoods(flat.reshape(-1, 3)), likelihoods(stacked.reshape(-1, 12) - _LOG_SHARES)


def fields_alone(index: FormIndex, bubbles: Floats, digits: Floats, slips: Slips) -> Posterior:
    """Posterior of every field by its own ink."""
    result = Posterior()
    for key, group in index.groups.items():
        kind, count = key
        if kind == "choose-one":
            p_blank = NOTHING_CHOSEN if count > 1 else SINGLE_BLANK
            weights = np.full((len(group.fields), count + 1), (1 - p_blank) / count)
            weights[:, 0] = p_blank
            likelihood = choices(bubbles[group.cells], slips)
            result.choose[key] = ChoosePosterior(likelihood, np.ones_like(weights), weights)
        elif kind == "choose-many":
            many = manies(bubbles[group.cells], slips)
            nothing = NOTHING_CHOSEN * (many.blank + many.struck)
            some = (1 - NOTHING_CHOSEN) * many.some
            some = some / (some + nothing)
            result.many[key] = ManyPosterior(many, some, some.copy())
        elif kind == "long":
            result.long[key] = digits[group.cells]
        else:
            number = numbers(digits[group.cells], slips, date=kind == "date")
            ink = np.concatenate([number.full, number.blank[:, None]], axis=1)
            values = ink * np.append((1 - BLANK_NUMBER) * length_prior(count), BLANK_NUMBER)
            ink /= ink.sum(axis=1, keepdims=True)
            values /= values.sum(axis=1, keepdims=True)
            result.number[key] = NumberPosterior(number, ink, values)
    return result
