"""The second pass: which phase it is about, and what is filled in where that phase missed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from shortpencil.forms.form import Form
from shortpencil.scan.vision.weighing.form_index import FormIndex, GroupKey
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.slips import UNLISTED_CAUSE, Slips


@dataclass(frozen=True, slots=True)
class SecondPass:
    """The second pass weighed by its ink.

    Attributes
    ----------
    worst : place of the field that names the phase; `options` its column for each phase of the game, 0: none
    start : (Q,) P(ink of that field | phase), the last for none
    named : (Q,) chance that the phase is marked there, where the second pass is about it
    given : (H, 2) P(ink of all parts | the phase did not miss on the hole, missed)
    parts : the fields of each hole, a kind each
    """

    worst: tuple[GroupKey, int]
    options: list[int]
    start: Floats
    named: Floats
    given: Floats
    parts: list[_Part]

    def chosen(self, misses: Ints, phase: Ints, slips: Slips) -> Floats:
        """P(phase of the second pass | misses of each phase)."""
        offered = np.array([option > 0 for option in self.options])
        counts = np.where(offered, misses, -1)
        best = counts == counts.max(axis=1, keepdims=True)
        share = (1 - slips.worst_other) * best / best.sum(axis=1, keepdims=True)
        share = share + slips.worst_other * offered / offered.sum()
        all_ = np.concatenate(
            [share * (1 - slips.worst_blank), np.full((len(misses), 1), slips.worst_blank)], 1
        )
        picked: Floats = np.take_along_axis(all_, phase[:, None], axis=1)[:, 0]
        return picked


def weigh_second_pass(form: Form, index: FormIndex, slips: Slips, posterior: Posterior) -> SecondPass | None:
    """Weigh the second pass by its ink; None where the card doesn't ask which phase it is about."""
    worst = index.rules.worst
    if worst is None or index.places[worst][0][0] != "choose-one":
        return None
    key, row = index.places[worst]
    names = [option.id for option in index.groups[key].fields[row].options]
    options = [names.index(phase) + 1 if phase in names else 0 for phase in index.rules.phase_ids]
    if not any(options):
        return None
    meanings = posterior.choose[key].likelihood.meanings[row]
    marked = (1 - slips.worst_unnamed) * np.array([meanings[o] if o else 0.0 for o in options] + [0.0])
    unmarked = meanings[0] * np.array([slips.worst_unnamed if o else 0.0 for o in options] + [1.0])
    start = marked + unmarked
    named = marked / np.where(start > 0, start, 1.0)
    rows = index.holes.second_pass if index.holes is not None else []
    parts = [_part(form, slips, posterior, *place) for place in rows]
    given = np.ones((len(index.rules.holes), 2))
    for part in parts:
        given *= part.given
    return SecondPass((key, row), options, start, named, given, parts)


@dataclass(frozen=True, slots=True)
class _Part:
    """One field of every hole, filled in where the phase missed.

    Attributes
    ----------
    key, rows : where the fields stand
    left_out, filled : (H,) P(ink | left out), P(ink | filled in)
    prior : (V,) of the values of a number, else None
    p : chance to be filled in where the phase did not miss, and where it did
    """

    key: GroupKey
    rows: Ints
    left_out: Floats
    filled: Floats
    prior: Floats | None
    p: Floats

    @property
    def given(self) -> Floats:
        """(H, 2) P(ink | the phase did not miss on the hole, missed)."""
        likelihood: Floats = (1 - self.p) * self.left_out[:, None] + self.p * self.filled[:, None]
        return likelihood


@lru_cache(maxsize=16)
def _cause_prior(boxes: int, causes: tuple[int, ...]) -> Floats:
    """(V,) chance of each number that may stand for a cause."""
    prior = np.full(10**boxes, 1.0)
    if causes:
        prior *= UNLISTED_CAUSE / len(prior)
        prior[list(causes)] += (1 - UNLISTED_CAUSE) / len(causes)
    prior /= prior.sum()
    return prior


def _part(form: Form, slips: Slips, posterior: Posterior, key: GroupKey, rows: Ints) -> _Part:
    """Weigh one field of every hole."""
    kind, count = key
    p = np.array([slips.second_pass_astray, slips.second_pass])
    if kind == "choose-many":
        many = posterior.many[key].likelihood
        return _Part(key, rows, (many.blank + many.struck)[rows], many.some[rows], None, p)
    if kind == "choose-one":
        meanings = posterior.choose[key].likelihood.meanings[rows]
        if count == 1:
            p = np.array([slips.single_astray, slips.single])
        return _Part(key, rows, meanings[:, 0], meanings[:, 1:].mean(axis=1), None, p)
    p = np.array([slips.second_pass_astray, slips.cause])
    number = posterior.number[key].likelihood
    prior = _cause_prior(count, tuple(cause.number for cause in form.causes))
    return _Part(key, rows, number.blank[rows], number.full[rows] @ prior, prior, p)


def write_second_pass(posterior: Posterior, second: SecondPass, by_phase: Floats, p_missed: Floats) -> None:
    """Write the posterior of the second pass's fields.

    `by_phase` (Q,) is that of the phase it is about, `p_missed` (H,) that this phase missed on the hole.
    """
    key, row = second.worst
    choose = posterior.choose[key]
    weights = np.zeros(choose.weights.shape[1])
    for phase, option in enumerate(second.options):
        if option:
            weights[option] = by_phase[phase] * second.named[phase]
    weights[0] = by_phase @ (1 - second.named)
    choose.weights[row] = weights / choose.likelihood.meanings[row]
    on_hole = np.stack([1 - p_missed, p_missed], axis=1)
    for part in second.parts:
        some = part.p * part.filled[:, None]
        p_some = (on_hole * some / part.given).sum(axis=1)
        if part.key[0] == "choose-many":
            posterior.many[part.key].some[part.rows] = p_some
        elif part.key[0] == "choose-one":
            posterior.choose[part.key].set_some(part.rows, p_some)
        else:
            assert part.prior is not None
            values = part.prior * posterior.number[part.key].likelihood.full[part.rows]
            values *= (p_some / values.sum(axis=1))[:, None]
            posterior.number[part.key].set(part.rows, values, 1 - p_some)
