"""The second pass: which phase it is about, and what is filled in where that phase missed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forms.form import Form
from forms.rules import PHASES
from scan.vision.likelihoods import Floats, Ints
from scan.vision.plan import GroupKey, Plan
from scan.vision.posterior import Posterior
from scan.vision.slips import Slips

#: A cause that isn't on the printed list, all together.
_UNLISTED_CAUSE = 0.02


@dataclass(frozen=True, slots=True)
class SecondPass:
    """The second pass weighed by its ink.

    Attributes
    ----------
    worst : place of the field that names the phase; `options` its column for each of `PHASES`, 0: none
    start : (Q,) P(ink of that field | phase), the last for none
    given : (H, 2) P(ink of way and cause | the phase did not miss on the hole, missed)
    parts : place and P(ink | left out), P(ink | filled in) of each kind of field
    """

    worst: tuple[GroupKey, int]
    options: list[int]
    start: Floats
    given: Floats
    parts: list[tuple[GroupKey, Ints, Floats, Floats, Floats | None]]
    p_some: Floats

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


def weigh_second_pass(form: Form, plan: Plan, slips: Slips, posterior: Posterior) -> SecondPass | None:
    """Weigh the second pass by its ink; None where the card doesn't ask which phase it is about."""
    worst = plan.rules.worst
    if worst is None or plan.places[worst][0][0] != "choose-one":
        return None
    key, row = plan.places[worst]
    names = [option.id for option in plan.groups[key].fields[row].options]
    options = [names.index(phase) + 1 if phase in names else 0 for phase in PHASES]
    if not any(options):
        return None
    meanings = posterior.choose[key].likelihood.meanings[row]
    start = np.array([meanings[o] if o else 0.0 for o in options] + [meanings[0]])
    p = np.array([slips.second_pass_astray, slips.second_pass])
    given = np.ones((len(plan.rules.holes), 2))
    parts = []
    for ids in ([h.way for h in plan.rules.holes], [h.why for h in plan.rules.holes]):
        place = plan.together(ids)
        if place is None:
            continue
        left_out, filled, prior = _filled(form, posterior, *place)
        given *= (1 - p) * left_out[:, None] + p * filled[:, None]
        parts.append((*place, left_out, filled, prior))
    return SecondPass((key, row), options, start, given, parts, p)


def _filled(
    form: Form, posterior: Posterior, key: GroupKey, rows: Ints
) -> tuple[Floats, Floats, Floats | None]:
    """P(ink | left out), P(ink | filled in) of fields, and the prior of their values if they are numbers."""
    kind, count = key
    if kind == "choose-many":
        many = posterior.many[key].likelihood
        return (many.blank + many.struck)[rows], many.some[rows], None
    if kind == "choose-one":
        meanings = posterior.choose[key].likelihood.meanings[rows]
        return meanings[:, 0], meanings[:, 1:].mean(axis=1), None
    number = posterior.number[key].likelihood
    prior = np.full(10**count, 1.0)
    if form.causes:
        prior *= _UNLISTED_CAUSE / len(prior)
        prior[[cause.number for cause in form.causes]] += (1 - _UNLISTED_CAUSE) / len(form.causes)
    prior /= prior.sum()
    return number.blank[rows], number.full[rows] @ prior, prior


def write_second_pass(posterior: Posterior, second: SecondPass, by_phase: Floats, p_missed: Floats) -> None:
    """Write the posterior of the second pass's fields.

    `by_phase` (Q,) is that of the phase it is about, `p_missed` (H,) that this phase missed on the hole.
    """
    key, row = second.worst
    choose = posterior.choose[key]
    weights = np.zeros(choose.weights.shape[1])
    for phase, option in enumerate(second.options):
        if option:
            weights[option] = by_phase[phase]
    weights[0] = by_phase[-1]
    choose.weights[row] = weights / choose.likelihood.meanings[row]
    on_hole = np.stack([1 - p_missed, p_missed], axis=1)
    for group, rows, left_out, filled, prior in second.parts:
        some = second.p_some * filled[:, None]
        none = (1 - second.p_some) * left_out[:, None]
        p_some = (on_hole * some / (some + none)).sum(axis=1)
        if group[0] == "choose-many":
            posterior.many[group].some[rows] = p_some
        elif group[0] == "choose-one":
            meanings = posterior.choose[group].likelihood.meanings[rows]
            weights = np.repeat((p_some / meanings[:, 1:].sum(axis=1))[:, None], meanings.shape[1], axis=1)
            weights[:, 0] = (1 - p_some) / meanings[:, 0]
            posterior.choose[group].weights[rows] = weights
        else:
            assert prior is not None
            values = prior * posterior.number[group].likelihood.full[rows]
            values *= (p_some / values.sum(axis=1))[:, None]
            posterior.number[group].set(rows, values, 1 - p_some)
