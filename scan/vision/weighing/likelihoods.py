"""Ink of one field's cells to the likelihood of each answer, before any sum has its say.

A *meaning* is what the player wanted to say (nothing, an option, a number); the ink may be in order, struck
out, doubled or scribbled over. Each function returns P(ink | meaning), split by how the ink looks, so that
the split can be undone once the sums have weighed the meanings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.weighing.slips import FURTHER_FILLED, Slips

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]

#: No ink is surer than this, whatever its network says: the eye of the reader may be wrong as a whole.
LEAST_LIKELIHOOD = 1e-12


def likelihoods(logs: Floats) -> Floats:
    """Likelihoods from logs along the last axis, greatest 1, none below `LEAST_LIKELIHOOD`.

    A row of nothing but -inf says nothing and becomes all ones.

    Raises
    ------
    ValueError
        for NaN or +inf, which no reader may return
    """
    top = logs.max(axis=-1, keepdims=True)  # NaN where any is
    if not (top < np.inf).all():
        raise ValueError("expected finite or -inf log likelihoods, found NaN or +inf")
    known = top > -np.inf
    shifted = np.where(known, logs - np.where(known, top, 0.0), 0.0)
    return np.maximum(np.exp(shifted), LEAST_LIKELIHOOD)


@dataclass(frozen=True, slots=True)
class Choices:
    """Likelihoods of F choose-one fields with n options each, by meaning and look.

    Attributes
    ----------
    blank : (F,) nothing meant, nothing there
    struck : (F,) nothing meant, something struck out
    one, many, messy : (F, n) option meant and it alone filled; filled with others; looks struck out
    own : (F, n) chance that a bubble is filled, by its ink alone
    meanings : (F, n + 1) P(ink | meaning): nothing, then each option
    """

    blank: Floats
    struck: Floats
    one: Floats
    many: Floats
    messy: Floats
    own: Floats
    meanings: Floats

    def looks(self, weights: Floats) -> Floats:
        """(F, n + 3) posterior of blank, each option alone, many, struck; `weights` (F, n + 1) by meaning."""
        some = weights[:, 1:]
        many = (self.many * some).sum(axis=1)
        struck = self.struck * weights[:, 0] + (self.messy * some).sum(axis=1)
        parts = [(self.blank * weights[:, 0])[:, None], self.one * some, many[:, None], struck[:, None]]
        looks = np.concatenate(parts, axis=1)
        total: Floats = looks.sum(axis=1, keepdims=True)
        share: Floats = looks / np.where(total > 0, total, 1.0)
        return share

    def filled(self, looks: Floats) -> Floats:
        """(F, n) posterior that each bubble is filled, given `looks`.

        Where many are filled and there are more than two, which ones is told by their own ink alone: such a
        field is asked about anyway.
        """
        count = self.one.shape[1]
        filled: Floats = looks[:, 1 : count + 1] + looks[:, -2, None] * (self.own if count > 2 else 1.0)
        return filled


def choices(bubbles: Floats, slips: Slips) -> Choices:
    """Likelihoods of choose-one fields from those of their bubbles, (F, n, 3): blank, filled, cancelled."""
    count = bubbles.shape[1]
    filled, cancelled = bubbles[..., 1], bubbles[..., 2]
    blank = (1 - slips.cancelled_alone) * bubbles[..., 0]
    all_blank = blank.prod(axis=1)
    unfilled = (1 - slips.cancelled) * bubbles[..., 0] + slips.cancelled * cancelled
    others = _product_of_others(unfilled)
    if count > 1:
        either = unfilled + FURTHER_FILLED * filled
        spread = (1 + FURTHER_FILLED) ** (count - 1) - 1
        many = slips.double * filled * np.maximum(_product_of_others(either) - others, 0.0) / spread
        alone = 1 - slips.double - slips.messy
    else:
        many = np.zeros_like(filled)
        alone = 1 - slips.messy
    struck = np.maximum((blank + slips.cancelled_alone * cancelled).prod(axis=1) - all_blank, 0.0)
    one, messy = alone * filled * others, slips.messy * cancelled * others
    return Choices(
        blank=all_blank,
        struck=struck,
        one=one,
        many=many,
        messy=messy,
        own=filled / (filled + unfilled),
        meanings=np.concatenate([(all_blank + struck)[:, None], one + many + messy], axis=1),
    )


def _product_of_others(values: Floats) -> Floats:
    """Product of all other entries of each row, without dividing."""
    if values.shape[1] == 2:  # most fields have two options
        return values[:, ::-1]
    before = np.ones_like(values)
    after = np.ones_like(values)
    before[:, 1:] = np.cumprod(values[:, :-1], axis=1)
    after[:, :-1] = np.cumprod(values[:, :0:-1], axis=1)[:, ::-1]
    product: Floats = before * after
    return product


@dataclass(frozen=True, slots=True)
class Spelling:
    """The ways to write each value of n boxes: right, with zeros before, left.

    The S spellings are those of all V values that stand right, then of the `short` least values, which leave
    a box free, with zeros before, then of these standing left.

    Attributes
    ----------
    short : how many values are shorter than the boxes
    digits : (S, n) class of each box, 0..9 or `BLANK_BOX`
    share : (S,) how often a value is written so; sums to 1 over the spellings of a value
    one_hot : (S, n * 11) `digits` as an indicator, to sum over spellings in one product
    """

    short: int
    digits: Ints
    share: Floats
    one_hot: Floats

    def by_value(self, spelled: Floats) -> Floats:
        """(F, V) sums over the spellings (F, S) of each value."""
        count = len(self.share) - 2 * self.short
        sums = spelled[:, :count].copy()
        sums[:, : self.short] += spelled[:, count : count + self.short] + spelled[:, count + self.short :]
        return sums

    def by_spelling(self, values: Floats) -> Floats:
        """(F, S) the number (F, V) of the value that each spelling stands for."""
        short = values[:, : self.short]
        return np.concatenate([values, short, short], axis=1)


@lru_cache(maxsize=32)
def spelling(boxes: int, zero_led: float, written_left: float) -> Spelling:
    """Return how values 0 to 10**boxes - 1 are written into `boxes` boxes."""
    values = np.arange(10**boxes)
    places = 10 ** np.arange(boxes - 1, -1, -1)
    zeros = (values[:, None] // places) % 10
    lead = boxes - _lengths(boxes)
    at = np.arange(boxes)
    right = np.where(at < lead[:, None], BLANK_BOX, zeros)
    shifted = np.take_along_axis(zeros, np.minimum(at + lead[:, None], boxes - 1), axis=1)
    left = np.where(at < boxes - lead[:, None], shifted, BLANK_BOX)
    short = int((lead > 0).sum())
    share = np.ones(len(values) + 2 * short)
    share[:short] = 1 - zero_led - written_left
    share[len(values) :] = np.repeat([zero_led, written_left], short)
    digits = np.concatenate([right, zeros[:short], left[:short]])
    one_hot = np.eye(BLANK_BOX + 1)[digits].reshape(len(digits), -1)
    return Spelling(short, digits, share, one_hot)


def _lengths(boxes: int) -> Ints:
    """(V,) count of digits of each value below 10**boxes."""
    values = np.arange(10**boxes)
    lengths = np.ones(len(values), dtype=np.int64)
    for power in range(1, boxes):
        lengths += values >= 10**power
    return lengths


@dataclass(frozen=True, slots=True)
class Numbers:
    """Likelihoods of F number fields with n boxes and V = 10**n values.

    Attributes
    ----------
    clean, full : (F, V) P(ink | value) with every box legible, and in all
    spelled : (F, S) the part of `full` that is spelled each way
    odd : (F,) the part of it that stands in an odd way, the same for every value
    blank : (F,) nothing meant
    spelling : how values stand in the boxes
    """

    clean: Floats
    full: Floats
    spelled: Floats
    odd: Floats
    blank: Floats
    spelling: Spelling

    def take(self, rows: Ints) -> Numbers:
        """Return the likelihoods of some of the fields."""
        return Numbers(
            self.clean[rows],
            self.full[rows],
            self.spelled[rows],
            self.odd[rows],
            self.blank[rows],
            self.spelling,
        )

    def boxes(self, posterior: Floats, p_blank: Floats) -> Floats:
        """(F, n, 11) posterior of each box's digit (10: blank); `posterior` (F, V) of each value."""
        weight = self.spelled * self.spelling.by_spelling(posterior / self.full)
        if self.odd.any():  # whatever stands in an odd way is shown as it should stand
            weight[:, : self.full.shape[1]] += self.odd[:, None] * posterior / self.full
        result = (weight @ self.spelling.one_hot).reshape(len(weight), -1, BLANK_BOX + 1)
        result[:, :, BLANK_BOX] += p_blank[:, None]
        return result


def numbers(boxes: Floats, slips: Slips, *, date: bool = False) -> Numbers:
    """Likelihoods of number fields from those of their boxes, (F, n, 12)."""
    fields, count, _ = boxes.shape
    ways = spelling(count, slips.zero_led_date if date else slips.zero_led, slips.written_left)
    legible = (1 - slips.scrap) * boxes[..., :SCRAP_BOX]
    legible[..., BLANK_BOX] *= (1 - slips.scrap_in_blank) / (1 - slips.scrap)
    either = legible + slips.scrap * boxes[..., SCRAP_BOX, None]
    either[..., BLANK_BOX] += (slips.scrap_in_blank - slips.scrap) * boxes[..., SCRAP_BOX]
    spelled = _spelled_out(np.concatenate([legible, either]), ways)
    by_value = ways.by_value(spelled)
    odd = slips.number_odd * _with_gaps(boxes)
    blank = either[..., BLANK_BOX].prod(axis=1)
    return Numbers(by_value[:fields], by_value[fields:] + odd[:, None], spelled[fields:], odd, blank, ways)


def _with_gaps(boxes: Floats) -> Floats:
    """(F,) likelihood of digits with a gap among or after them, as in ``6_1`` or ``_6_``; any digits."""
    if boxes.shape[1] != 3:
        return np.zeros(len(boxes))  # fewer boxes leave no room for a gap, more are decoded box by box
    digit, blank = boxes[..., :BLANK_BOX].mean(axis=2), boxes[..., BLANK_BOX]
    among = digit[:, 0] * blank[:, 1] * digit[:, 2]
    after = blank[:, 0] * digit[:, 1] * blank[:, 2]
    likelihood: Floats = 0.5 * (among + after)
    return likelihood


def gather(index: Ints, weights: Floats, size: int) -> Floats:
    """(R, size) sums of the weights (R, N) by their index (N,)."""
    rows = len(weights)
    at = index + np.arange(rows)[:, None] * size
    return np.bincount(at.ravel(), weights.ravel(), rows * size).reshape(rows, size).astype(float, copy=False)


def _spelled_out(boxes: Floats, ways: Spelling) -> Floats:
    """(F, S) product over the boxes of the likelihood of the digit that each spelling puts there."""
    product = boxes[:, 0, ways.digits[:, 0]] * ways.share
    for box in range(1, boxes.shape[1]):
        product *= boxes[:, box, ways.digits[:, box]]
    return product


@lru_cache(maxsize=8)
def length_prior(boxes: int) -> Floats:
    """(V,) chance of each number when nothing else is known: every length alike, every number of a length."""
    length = _lengths(boxes)
    prior = 1.0 / np.bincount(length)[length] / boxes
    prior.flags.writeable = False
    return prior


@dataclass(frozen=True, slots=True)
class Manies:
    """Likelihoods of F choose-many fields with n options each: nothing chosen, or some.

    Attributes
    ----------
    blank, struck : (F,) nothing meant: nothing there, or something struck out
    some : (F,) at least one meant, each option as likely as the next
    on, off : (F, n) weight of each option chosen or not, within `some`
    share : (F, n) chance of each option if some are meant
    """

    blank: Floats
    struck: Floats
    some: Floats
    on: Floats
    off: Floats
    share: Floats

    def options(self, p_some: Floats) -> Floats:
        """(F, n) posterior that each option is chosen, given the posterior (F,) that some are."""
        return p_some[:, None] * self.share

    def chance(self, chosen: NDArray[np.bool_], p_some: Floats) -> Floats:
        """(F,) posterior of exactly the `chosen` (F, n) options."""
        exactly = np.where(chosen, self.on, self.off).prod(axis=1) / self.some
        chance: Floats = np.where(chosen.any(axis=1), p_some * exactly, 1 - p_some)
        return chance

    def take(self, rows: NDArray[np.bool_] | Ints) -> Manies:
        """Return the likelihoods of some of the fields."""
        parts = (self.blank, self.struck, self.some, self.on, self.off, self.share)
        return Manies(*(part[rows] for part in parts))

    def of_counts(self) -> Floats:
        """(F, n + 1) likelihood of how many options are chosen, all choices of as many alike."""
        count = self.on.shape[1]
        # What `manies` takes for granted of each option is taken back.
        norm = (1 - (1 - _EACH_OPTION) ** count) ** (1 / count)
        ways = np.array([math.comb(count, chosen) for chosen in range(count + 1)])
        found: Floats = _by_count(self.on * norm / _EACH_OPTION, self.off * norm / (1 - _EACH_OPTION)) / ways
        found[:, 0] = self.blank + self.struck
        return found

    def options_counted(self, counts: Floats) -> Floats:
        """(F, n) posterior that each option is chosen, given that (F, n + 1) of how many are."""
        count = self.on.shape[1]
        share = counts[:, 1:] / _by_count(self.on, self.off)[:, 1:]
        others = [np.delete(np.arange(count), k) for k in range(count)]
        with_it = [(share * _by_count(self.on[:, rest], self.off[:, rest])).sum(axis=1) for rest in others]
        found: Floats = np.minimum(self.on * np.stack(with_it, axis=1), 1.0)
        return found

    def chance_counted(self, chosen: NDArray[np.bool_], counts: Floats) -> Floats:
        """(F,) posterior of exactly the `chosen` (F, n) options, given that of how many are."""
        at = np.arange(len(chosen)), chosen.sum(axis=1)
        exactly = np.where(chosen, self.on, self.off).prod(axis=1) / _by_count(self.on, self.off)[at]
        chance: Floats = counts[at] * np.where(at[1] > 0, exactly, 1.0)
        return chance


def _by_count(on: Floats, off: Floats) -> Floats:
    """(F, n + 1) sum over all ways to choose 0 … n of n options, of the product of their weights."""
    found = np.zeros((len(on), on.shape[1] + 1))
    found[:, 0] = 1.0
    for k in range(on.shape[1]):
        found[:, 1:] = found[:, 1:] * off[:, k, None] + found[:, :-1] * on[:, k, None]
        found[:, 0] *= off[:, k]
    return found


#: Chance of each option of a choose-many before it is known that at least one is chosen: of four options,
#: one alone in 69 of 100 such fields, two in 26.
_EACH_OPTION = 0.2


def manies(bubbles: Floats, slips: Slips) -> Manies:
    """Likelihoods of choose-many fields from those of their bubbles, (F, n, 3)."""
    count = bubbles.shape[1]
    blank = (1 - slips.cancelled_alone) * bubbles[..., 0]
    unfilled = (1 - slips.cancelled) * bubbles[..., 0] + slips.cancelled * bubbles[..., 2]
    filled = (1 - slips.messy) * bubbles[..., 1] + slips.messy * bubbles[..., 2]
    # 1 - (1 - _EACH_OPTION)**n is the chance that independent options come to at least one
    norm = (1 - (1 - _EACH_OPTION) ** count) ** (1 / count)
    on, off = _EACH_OPTION * filled / norm, (1 - _EACH_OPTION) * unfilled / norm
    none = off.prod(axis=1)
    all_blank = blank.prod(axis=1)
    some = np.maximum((on + off).prod(axis=1) - none, np.finfo(float).tiny)
    return Manies(
        blank=all_blank,
        struck=np.maximum((blank + slips.cancelled_alone * bubbles[..., 2]).prod(axis=1) - all_blank, 0.0),
        some=some,
        on=on,
        off=off,
        share=np.minimum(on * _product_of_others(on + off) / some[:, None], 1.0),
    )


def long_number(boxes: Floats, slips: Slips) -> tuple[Floats, float]:
    """(n, 11) posterior of each box of one long number, decoded box by box, and the chance of the best.

    A long number has too many values to list. It is right-aligned: blanks, then digits, each as likely as
    the next; every count of blanks is as likely as the next, too.
    """
    count = len(boxes)
    scrap = boxes[:, SCRAP_BOX]
    digit = (1 - slips.scrap) * boxes[:, :BLANK_BOX] + slips.scrap * scrap[:, None]
    blank = (1 - slips.scrap_in_blank) * boxes[:, BLANK_BOX] + slips.scrap_in_blank * scrap
    some = digit.mean(axis=1)
    lead = np.array([blank[:k].prod() * some[k:].prod() for k in range(count + 1)])
    lead /= lead.sum()
    is_blank = np.array([lead[box + 1 :].sum() for box in range(count)])
    shares = digit / digit.sum(axis=1, keepdims=True)
    result = np.concatenate([(1 - is_blank)[:, None] * shares, is_blank[:, None]], axis=1)
    best = int(lead.argmax())
    return result, float(lead[best] * shares[best:].max(axis=1).prod())
