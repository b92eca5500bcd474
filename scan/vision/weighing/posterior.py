"""Ink of a card to the posterior of each of its fields, each field by itself.

What hangs together (`scan.vision.weighing.whole_card`) starts from here. What the ink alone says, every
answer alike, is kept beside the posterior that priors and rules lead to: where they differ, a rule has
settled or overruled something, and the player must be able to see it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.evidence import ANSWER_SHARES
from shortpencil.scan.vision.weighing.form_index import FormIndex, Group, GroupKey
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
    """F choose-many fields: likelihoods, and (F,) that something is chosen, by ink alone and in all.

    `counts` (F, n + 1) is the posterior of how many options are chosen where a number counts them, and NaN in
    the rows of other fields; None where no field is counted.
    """

    likelihood: Manies
    ink: Floats
    some: Floats
    counts: Floats | None = None

    def options(self) -> Floats:
        """(F, n) posterior that each option is chosen."""
        on = self.likelihood.options(self.some)
        if self.counts is None:
            return on
        known = ~np.isnan(self.counts[:, 0])
        on[known] = self.likelihood.take(known).options_counted(self.counts[known])
        return on

    def chance(self, chosen: NDArray[np.bool_]) -> Floats:
        """(F,) posterior of exactly the `chosen` (F, n) options."""
        chance = self.likelihood.chance(chosen, self.some)
        if self.counts is None:
            return chance
        known = ~np.isnan(self.counts[:, 0])
        chance[known] = self.likelihood.take(known).chance_counted(chosen[known], self.counts[known])
        return chance


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

    def copied(self) -> Posterior:
        """Return the same, whose weights may be written over without changing these."""
        return Posterior(
            {key: replace(one, weights=one.weights.copy()) for key, one in self.choose.items()},
            {key: replace(one, some=one.some.copy(), counts=None) for key, one in self.many.items()},
            {key: replace(one, values=one.values.copy()) for key, one in self.number.items()},
            dict(self.long),
            self.doubt,
            dict(self.rules),
        )


def filled_in(posterior: Posterior, key: GroupKey, rows: Ints) -> Floats:
    """(R,) chance that each of some fields of a group is filled in."""
    if key[0] == "choose-many":
        return posterior.many[key].some[rows]
    if key[0] == "choose-one":
        choose = posterior.choose[key]
        by_meaning = choose.weights[rows] * choose.likelihood.meanings[rows]
        return np.asarray(by_meaning[:, 1:].sum(axis=1) / by_meaning.sum(axis=1))
    return np.asarray(1 - posterior.number[key].values[rows, -1])


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


@dataclass(slots=True)
class Alone:
    """What `fields_alone` found last: a group whose ink and slips are as they were says what it said.

    A card is weighed up to three times, by what is known of its player then; most of its ink stays as it is.
    """

    slips: Slips | None = None
    bubbles: Floats | None = None
    digits: Floats | None = None
    found: Posterior = field(default_factory=Posterior)

    def knows(self, group: Group, key: GroupKey, bubbles: Floats, digits: Floats, slips: Slips) -> bool:
        """Say whether a group was weighed by the same ink and slips before."""
        if self.bubbles is None or self.digits is None or self.slips != slips:
            return False
        if key[0] in _OF_BUBBLES:
            return bubbles is self.bubbles
        return digits is self.digits or np.array_equal(digits[group.cells], self.digits[group.cells])


_OF_BUBBLES = ("choose-one", "choose-many")


def fields_alone(
    index: FormIndex, bubbles: Floats, digits: Floats, slips: Slips, alone: Alone | None = None
) -> Posterior:
    """Posterior of every field by its own ink; `alone` keeps what was found for the next time."""
    alone = Alone() if alone is None else alone
    of_ink = slips.of_ink
    for key, group in index.groups.items():
        if not alone.knows(group, key, bubbles, digits, of_ink):
            _weigh_group(alone.found, key, (bubbles if key[0] in _OF_BUBBLES else digits)[group.cells], slips)
    alone.slips, alone.bubbles, alone.digits = of_ink, bubbles, digits
    return alone.found.copied()


def _weigh_group(result: Posterior, key: GroupKey, ink: Floats, slips: Slips) -> None:
    """Write the posterior of the fields of a group by their cells' ink (F, n, 3) or (F, n, 12)."""
    kind, count = key
    if kind == "choose-one":
        p_blank = NOTHING_CHOSEN if count > 1 else SINGLE_BLANK
        weights = np.full((len(ink), count + 1), (1 - p_blank) / count)
        weights[:, 0] = p_blank
        result.choose[key] = ChoosePosterior(choices(ink, slips), np.ones_like(weights), weights)
    elif kind == "choose-many":
        many = manies(ink, slips)
        nothing = NOTHING_CHOSEN * (many.blank + many.struck)
        some = (1 - NOTHING_CHOSEN) * many.some
        some = some / (some + nothing)
        result.many[key] = ManyPosterior(many, some, some)
    elif kind == "long":
        result.long[key] = ink
    else:
        number = numbers(ink, slips, date=kind == "date")
        by_ink = np.concatenate([number.full, number.blank[:, None]], axis=1)
        values = by_ink * np.append((1 - BLANK_NUMBER) * length_prior(count), BLANK_NUMBER)
        by_ink /= by_ink.sum(axis=1, keepdims=True)
        values /= values.sum(axis=1, keepdims=True)
        result.number[key] = NumberPosterior(number, by_ink, values)
