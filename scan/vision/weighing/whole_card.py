"""The fields of a card that hang together, decoded as one: holes, sums, second pass, date; a sheet's counts.

Each part takes the posterior of the fields alone and writes the joint one over it. The parts are exact; here
they are put together.
"""

from __future__ import annotations

import numpy as np

from shortpencil.forms.form import Form
from shortpencil.scan.vision.weighing.card_sums import CardSums, sums_of_card, write_sums
from shortpencil.scan.vision.weighing.dates import weigh_date, weigh_pars
from shortpencil.scan.vision.weighing.form_index import FormIndex, HoleRows, Throws
from shortpencil.scan.vision.weighing.holes import (
    CLEAN,
    MISS,
    UNMARKED,
    HoleInk,
    HoleWeights,
    explain,
    score_prior,
    throw_table,
    weigh,
)
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints, gather
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.putts import Distances, weigh_distances
from shortpencil.scan.vision.weighing.second_pass import weigh_second_pass, write_second_pass
from shortpencil.scan.vision.weighing.sheets import weigh_sheet
from shortpencil.scan.vision.weighing.slips import Slips


def weigh_card(form: Form, index: FormIndex, slips: Slips, posterior: Posterior) -> None:
    """Write the joint posterior of everything that the rules of the card tie together."""
    weigh_date(index, slips, posterior)
    weigh_pars(index, slips, posterior)
    weigh_sheet(index, form.unit, slips, posterior)
    if index.holes is None:
        return
    rows = index.holes
    distances = _distances(form, slips, posterior, rows)
    holes = _weigh_holes(index, slips, posterior, rows, distances)
    second = weigh_second_pass(form, index, slips, posterior)
    sums = sums_of_card(index, slips, posterior, holes, second)
    while (settled := sums.settle(holes)) is None:
        fewer = sums.fewer()
        assert fewer is not None, "without sums there is one state, which cannot be too many"
        sums = fewer
    posterior.doubt = settled.chain.doubt
    posterior.rules.update(_rules(index, sums))
    _write_holes(slips, posterior, rows, distances, holes, settled.added)
    write_sums(index, posterior, sums, settled.chain)
    if sums.second is not None:
        write_second_pass(posterior, sums.second, settled.by_phase, settled.p_missed)


def _rules(index: FormIndex, sums: CardSums) -> dict[str, str]:
    """The rule that has most to say about each field that others tie down on this card."""
    named = dict(index.hole_rules)
    if sums.total is not None and index.rules.total is not None:
        named.update(dict.fromkeys((*index.rules.total.scores, index.rules.total.total), "total"))
    for tally in index.rules.tallies:
        if sums.tallies[index.rules.phase_ids.index(tally.phase)] is not None:
            named.update(dict.fromkeys((*tally.throws, tally.tally), tally.tally))
    if sums.second is not None and index.rules.worst is not None:
        named[index.rules.worst] = "worst"
    return named


# Holes


def _stance_given(slips: Slips, meanings: Floats) -> tuple[Floats, Floats]:
    """(H, 2) P(ink of a stance, marked | its throw is not marked, is), and P(ink | the same)."""
    p = np.array([slips.stance_astray, slips.stance])
    some = p * meanings[:, 1:].mean(axis=1, keepdims=True)
    return some, some + (1 - p) * meanings[:, :1]


def _distances(form: Form, slips: Slips, posterior: Posterior, rows: HoleRows) -> Distances | None:
    found = [posterior.number[key].likelihood.take(at) for key, at in rows.distances]
    if not found:
        return None
    return weigh_distances(found[0], found[1] if len(found) > 1 else None, form.unit, slips)


def _weigh_holes(
    index: FormIndex, slips: Slips, posterior: Posterior, rows: HoleRows, distances: Distances | None
) -> HoleWeights:
    throws = rows.throws
    roles = tuple(phase.role for phase in index.rules.phases)
    table = throw_table(throws.columns, slips.of_throws, roles, throws.only_misses)
    key, at = rows.score
    prior = np.stack([score_prior(key[1], hole.par) for hole in index.rules.holes])
    by_state = np.ones((len(at), 0, 3))
    if throws.fields.size:
        meanings = posterior.choose[throws.group].likelihood.meanings[throws.fields]
        by_state = meanings[:, :, list(throws.answers)] * _chance_of_states(throws, slips)
    marks = np.ones((len(at), table.patterns))
    if distances is not None:
        first, second = _putt_bits(throws, table.patterns)
        marks = distances.given_marks[:, first, second]
    for group, fields, column in rows.stances:
        _, given = _stance_given(slips, posterior.choose[group].likelihood.meanings[fields])
        marks = marks * given[:, (np.arange(table.patterns) >> column) & 1]
    penalty = np.ones((len(at), 1))
    if rows.penalty is not None:
        group, fields, counts = rows.penalty
        likelihood = posterior.choose[group].likelihood.meanings[fields]
        penalty = np.zeros((len(at), max(counts) + 1))
        penalty[:, [0, *counts]] = likelihood
    score = posterior.number[key].likelihood.take(at)
    return weigh(HoleInk(score, prior, penalty, by_state, marks), table, slips)


def _chance_of_states(throws: Throws, slips: Slips) -> Floats:
    """(3,) chance of unmarked, clean and miss, given that a throw is or is not marked.

    Where only misses are marked no throw can be marked clean, and a mark is a miss.
    """
    return np.array([1.0, 0.0, 1.0] if throws.only_misses else [1.0, 1 - slips.miss, slips.miss])


def _putt_bits(throws: Throws, patterns: int) -> tuple[Ints, Ints]:
    """(P,) whether the first and the second putt are marked in each pattern of marked columns."""
    pattern = np.arange(patterns)
    first, second = throws.putts
    return (pattern >> first) & 1, (pattern >> second) & 1 if second >= 0 else np.zeros_like(pattern)


def _write_holes(
    slips: Slips,
    posterior: Posterior,
    rows: HoleRows,
    distances: Distances | None,
    holes: HoleWeights,
    added: Floats,
) -> None:
    throws = rows.throws
    found = explain(holes, added)
    key, at = rows.score
    posterior.number[key].set(at, found.score, found.p_blank)
    if throws.fields.size:
        choose = posterior.choose[throws.group]
        meanings = choose.likelihood.meanings[throws.fields]
        weights = np.zeros_like(meanings)
        states = (UNMARKED, MISS) if throws.only_misses else (UNMARKED, CLEAN, MISS)
        weights[:, :, [throws.answers[state] for state in states]] = found.throws[:, :, list(states)]
        choose.weights[throws.fields] = weights / meanings
    if rows.penalty is not None:
        group, fields, counts = rows.penalty
        choose = posterior.choose[group]
        choose.weights[fields] = found.penalty[:, [0, *counts]] / choose.likelihood.meanings[fields]
    if distances is not None:
        first, second = _putt_bits(throws, found.marks.shape[1])
        marked = gather(2 * first + second, found.marks, 4).reshape(-1, 2, 2)
        one, two, blank = distances.explain(marked)
        for (group, fields), values, p_blank in zip(rows.distances, (one, two), blank.T, strict=False):
            posterior.number[group].set(fields, values, p_blank)
    for group, fields, column in rows.stances:
        choose = posterior.choose[group]
        some, given = _stance_given(slips, choose.likelihood.meanings[fields])
        marked = found.throws[:, column, 1:].sum(axis=1)
        on_throw = np.stack([1 - marked, marked], axis=1)
        choose.set_some(fields, (on_throw * some / given).sum(axis=1))
