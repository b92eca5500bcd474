"""The fields of a round card that hang together, decoded as one: holes, sums, second pass, date.

Each function takes the posterior of the fields alone and writes the joint one over it. The parts are exact
(`scan.vision.holes`, `scan.vision.sums`); here they are put together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forms.form import Form
from forms.rules import PHASES
from scan.vision.holes import HoleInk, HoleWeights, explain, score_prior, throw_table, weigh
from scan.vision.likelihoods import Floats, Ints, gather
from scan.vision.plan import GroupKey, Plan, Throws
from scan.vision.posterior import Posterior
from scan.vision.putts import Distances, weigh_distances
from scan.vision.slips import Slips
from scan.vision.sums import (
    LEAST_SHARES,
    WANTED_DOUBT,
    Additions,
    Chain,
    WrittenSum,
    key_of,
    run_chain,
    sums_of,
    written_sum,
)

#: Chance of each par where it is asked: par 3 to 5 are normal, 2 and 6 exist.
_PARS = {2: 0.02, 3: 0.55, 4: 0.25, 5: 0.12, 6: 0.02}
_OTHER_PAR = 0.002
_PAR_BLANK = 0.1
#: A cause that isn't on the printed list, all together.
_UNLISTED_CAUSE = 0.02
#: A sum whose ink is so surely blank is left out of the chain: it can say nothing.
_SURELY_BLANK = 1e-9

_DAYS = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def weigh_card(form: Form, plan: Plan, slips: Slips, posterior: Posterior) -> None:
    """Write the joint posterior of everything that the rules of the card tie together."""
    _weigh_date(plan, slips, posterior)
    _weigh_pars(plan, posterior)
    scores = plan.together([hole.score for hole in plan.rules.holes])
    if plan.throws is None or scores is None or scores[0][0] != "number":
        return
    rows = _HoleRows(scores, _penalty_place(plan), _distance_places(plan, plan.throws))
    distances = _distances(form, slips, posterior, rows)
    holes = _weigh_holes(plan, plan.throws, slips, posterior, rows, distances)
    second = _second_pass(form, plan, slips, posterior)
    sums = _Sums(plan, slips, posterior, holes, second)
    chain, added, p_missed = sums.run()
    posterior.doubt = chain.doubt
    posterior.rules.update(_rules(plan, second))
    _write_holes(plan.throws, posterior, rows, distances, holes, added)
    _write_sums(plan, posterior, sums, chain)
    if second is not None:
        _write_second_pass(posterior, second, p_missed, chain)


def _rules(plan: Plan, second: _SecondPass | None) -> dict[str, str]:
    """The rule that has most to say about each field that others tie down."""
    rules = plan.rules
    named: dict[str, str] = {}
    for hole in rules.holes:
        named.update(dict.fromkeys(hole.distances, "putts"))
        named.update({field_id: "throws" for field_id, _ in hole.throws})
        named[hole.score] = "throws" if rules.total is None else "total"
        if hole.penalty:
            named[hole.penalty] = "throws"
        if hole.par_field:
            named[hole.par_field] = "par"
        if second is not None:
            named.update({field_id: "second-pass" for field_id in (hole.way, hole.why) if field_id})
    for tally in rules.tallies:
        named.update(dict.fromkeys((*tally.throws, tally.tally), tally.tally))
    if rules.total:
        named[rules.total.total] = "total"
    if rules.worst:
        named[rules.worst] = "worst"
    return named | {name: "date" for name in ("date.day", "date.month") if name in plan.places}


# Holes


@dataclass(frozen=True, slots=True)
class _HoleRows:
    """Where the parts of the holes stand: group and rows; penalties with the throws of each option."""

    score: tuple[GroupKey, Ints]
    penalty: tuple[GroupKey, Ints, list[int]] | None
    distances: list[tuple[GroupKey, Ints]]


def _penalty_place(plan: Plan) -> tuple[GroupKey, Ints, list[int]] | None:
    place = plan.together([hole.penalty for hole in plan.rules.holes])
    if place is None or place[0][0] != "choose-one":
        return None
    options = [option.id for option in plan.groups[place[0]].fields[int(place[1][0])].options]
    if not all(option.isdecimal() and 0 < int(option) <= 9 for option in options):
        return None
    return place[0], place[1], [int(option) for option in options]


def _distance_places(plan: Plan, throws: Throws) -> list[tuple[GroupKey, Ints]]:
    """Where the distances of the first two putts stand; as many as the card asks for."""
    places = []
    for column in throws.putts:
        ids = [f"{hole.throws[column][0]}.distance" for hole in plan.rules.holes] if column >= 0 else []
        place = plan.together(ids)
        if place is None or place[0][0] != "number":
            break
        places.append(place)
    return places if len({key for key, _ in places}) == 1 else places[:1]


def _distances(form: Form, slips: Slips, posterior: Posterior, rows: _HoleRows) -> Distances | None:
    found = [posterior.number[key].likelihood.take(at) for key, at in rows.distances]
    if not found:
        return None
    return weigh_distances(found[0], found[1] if len(found) > 1 else None, form.unit, slips)


def _weigh_holes(
    plan: Plan,
    throws: Throws,
    slips: Slips,
    posterior: Posterior,
    rows: _HoleRows,
    distances: Distances | None,
) -> HoleWeights:
    table = throw_table(throws.columns, slips)
    key, at = rows.score
    prior = np.stack([score_prior(key[1], hole.par) for hole in plan.rules.holes])
    by_state = np.ones((len(at), 0, 3))
    if throws.fields.size:
        meanings = posterior.choose["choose-one", 2].likelihood.meanings[throws.fields]
        by_state = meanings[:, :, list(throws.answers)] * np.array([1.0, 1 - slips.miss, slips.miss])
    marks = np.ones((len(at), table.patterns))
    if distances is not None:
        first, second = _putt_bits(throws, table.patterns)
        marks = distances.given_marks[:, first, second]
    penalty = np.ones((len(at), 1))
    if rows.penalty is not None:
        group, fields, counts = rows.penalty
        likelihood = posterior.choose[group].likelihood.meanings[fields]
        penalty = np.zeros((len(at), max(counts) + 1))
        penalty[:, [0, *counts]] = likelihood
    score = posterior.number[key].likelihood.take(at)
    return weigh(HoleInk(score, prior, penalty, by_state, marks), table, slips)


def _putt_bits(throws: Throws, patterns: int) -> tuple[Ints, Ints]:
    """(P,) whether the first and the second putt are marked in each pattern of marked columns."""
    pattern = np.arange(patterns)
    first, second = throws.putts
    return (pattern >> first) & 1, (pattern >> second) & 1 if second >= 0 else np.zeros_like(pattern)


def _write_holes(
    throws: Throws,
    posterior: Posterior,
    rows: _HoleRows,
    distances: Distances | None,
    holes: HoleWeights,
    added: Floats,
) -> None:
    found = explain(holes, added)
    key, at = rows.score
    posterior.number[key].set(at, found.score, found.p_blank)
    if throws.fields.size:
        choose = posterior.choose["choose-one", 2]
        meanings = choose.likelihood.meanings[throws.fields]
        weights = np.zeros_like(meanings)
        weights[:, :, list(throws.answers)] = found.throws
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


# Sums


class _Sums:
    """The written sums of one card, and the chain that weighs them."""

    def __init__(
        self, plan: Plan, slips: Slips, posterior: Posterior, holes: HoleWeights, second: _SecondPass | None
    ) -> None:
        count = len(plan.rules.holes)
        self._slips, self._holes, self._second = slips, holes, second
        most = int(holes.scores.max()) * count + 1
        total = plan.rules.total
        self.total = _written(
            plan, posterior, total.total if total else None, most, slips.total_wrong, slips.total_blank, None
        )
        tallies = {rule.phase: rule.tally for rule in plan.rules.tallies}
        sizes = holes.misses.max(axis=0) * count + 1
        self.tallies = [
            _written(
                plan,
                posterior,
                tallies.get(phase),
                int(size),
                slips.tally_wrong,
                slips.tally_blank,
                slips.zero_tally_blank,
            )
            for phase, size in zip(PHASES, sizes, strict=True)
        ]

    def run(self) -> tuple[Chain, Floats, Floats]:
        """Run the chain; it, the posterior (H, A, M) of what each hole adds, and the chance (H,) of a miss.

        The miss is one of the phase that the second pass is about.
        """
        for least_share in LEAST_SHARES:
            additions, columns, back = self._additions(least_share)
            chain = run_chain(additions, self.weigh, self._most(), least_share)
            if chain.doubt <= WANTED_DOUBT or chain.capped:
                break
        holes = self._holes
        shares = chain.added
        if back is not None:  # several additions come to the same sums: split them as their weights do
            given = self._given()[:, :, columns % len(holes.misses)]
            weights = holes.weight.reshape(len(holes.weight), -1)[:, columns] * given
            merged = additions.weights[:, :, back]
            shares = chain.added[:, :, back] * np.divide(
                weights, merged, out=np.zeros_like(weights), where=merged > 0
            )
        added = np.zeros((len(holes.weight), holes.weight.shape[1] * len(holes.misses)))
        added[:, columns] = shares.sum(axis=0)
        missed = holes.misses[columns % len(holes.misses)].T > 0  # (3, J)
        p_missed = np.einsum("qhj,qj->h", shares[: len(missed)], missed[: len(shares)])
        return chain, added.reshape(holes.weight.shape), p_missed

    def _given(self) -> Floats:
        """(Q, H, M) P(ink of the second pass on a hole | its phase, misses)."""
        misses = self._holes.misses
        if self._second is None:
            return np.ones((1, len(self._holes.weight), len(misses)))
        given = np.empty((len(PHASES) + 1, len(self._holes.weight), len(misses)))
        for phase in range(len(PHASES)):
            given[phase] = self._second.given[:, (misses[:, phase] > 0).astype(int)]
        given[-1] = self._second.given[:, :1]
        return given

    def _additions(self, least_share: float) -> tuple[Additions, Ints, Ints | None]:
        """What the holes may add; the columns of A * M it comes from, and which of them came together."""
        holes, given = self._holes, self._given()
        bound = (holes.weight * given.max(axis=0)[:, None, :]).reshape(len(holes.weight), -1)
        columns = np.flatnonzero((bound > 0.1 * least_share * bound.max(axis=1, keepdims=True)).any(axis=0))
        at_miss = columns % len(holes.misses)
        weights = holes.weight.reshape(len(bound), -1)[:, columns] * given[:, :, at_miss]
        whole = np.einsum("hm,qhm->qh", holes.weight.sum(axis=1), given)
        used = [tally is not None or self._second is not None for tally in self.tallies]
        misses = holes.misses[at_miss] * np.array(used)
        scores = holes.scores[columns // len(holes.misses)] * (self.total is not None)
        keys = key_of(scores, misses, np.zeros(len(columns), dtype=np.int64))
        start = np.ones(1) if self._second is None else self._second.start
        if self.total is not None and all(used):
            return Additions(keys, weights, whole, start), columns, None
        merged, back = np.unique(keys, return_inverse=True)
        weights = weights @ (back[:, None] == np.arange(len(merged))).astype(float)
        return Additions(merged, weights, whole, start), columns, back

    def weigh(self, keys: Ints) -> Floats:
        """P(ink of all written sums, phase of the second pass | sums)."""
        score, misses, phase = sums_of(keys)
        result = np.ones(len(keys))
        if self.total is not None:
            result *= self.total.likelihood[score]
        for index, tally in enumerate(self.tallies):
            if tally is not None:
                result *= tally.likelihood[misses[:, index]]
        if self._second is not None:
            result *= self._second.chosen(misses, phase, self._slips)
        return result

    def _most(self) -> float:
        result = 1.0
        for written in (self.total, *self.tallies):
            if written is not None:
                result *= float(written.likelihood.max())
        return result


def _written(
    plan: Plan,
    posterior: Posterior,
    field_id: str | None,
    size: int,
    p_wrong: float,
    p_blank: float,
    p_zero_blank: float | None,
) -> WrittenSum | None:
    """A written sum, or None where the card has none or it is surely blank."""
    place = plan.together([field_id])
    if place is None or place[0][0] != "number":
        return None
    number = posterior.number[place[0]].likelihood
    row = int(place[1][0])
    written = written_sum(
        number.full[row],
        float(number.blank[row]),
        size,
        p_wrong,
        p_blank,
        p_blank if p_zero_blank is None else p_zero_blank,
    )
    return None if written.says_nothing(_SURELY_BLANK) else written


def _write_sums(plan: Plan, posterior: Posterior, sums: _Sums, chain: Chain) -> None:
    score, misses, _ = sums_of(chain.keys)
    tallies = {rule.phase: rule.tally for rule in plan.rules.tallies}
    columns = [(plan.rules.total.total if plan.rules.total else None, sums.total, score)]
    columns += [
        (tallies.get(phase), sums.tallies[index], misses[:, index]) for index, phase in enumerate(PHASES)
    ]
    for field_id, written, sum_ in columns:
        if field_id is None or written is None:
            continue
        key, row = plan.places[field_id]
        by_sum = np.bincount(sum_, chain.posterior, len(written.likelihood)).astype(float, copy=False)
        values, blank = written.explain(by_sum)
        posterior.number[key].set(np.array([row]), values[None], np.array([blank]))


# Second pass


@dataclass(frozen=True, slots=True)
class _SecondPass:
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


def _second_pass(form: Form, plan: Plan, slips: Slips, posterior: Posterior) -> _SecondPass | None:
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
    return _SecondPass((key, row), options, start, given, parts, p)


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


def _write_second_pass(posterior: Posterior, second: _SecondPass, p_missed: Floats, chain: Chain) -> None:
    phases = chain.added.shape[0]
    by_phase = np.bincount(sums_of(chain.keys)[2], chain.posterior, phases)
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


# Par and date


def _weigh_pars(plan: Plan, posterior: Posterior) -> None:
    place = plan.together([hole.par_field for hole in plan.rules.holes])
    if place is None or place[0][0] != "number":
        return
    key, rows = place
    prior = np.full(10 ** key[1], _OTHER_PAR)
    prior[list(_PARS)] = list(_PARS.values())
    prior *= (1 - _PAR_BLANK) / prior.sum()
    number = posterior.number[key].likelihood
    posterior.number[key].set(rows, prior * number.full[rows], _PAR_BLANK * number.blank[rows])


def _weigh_date(plan: Plan, slips: Slips, posterior: Posterior) -> None:
    """Day and month agree with the calendar; the year has its say only on 29 February."""
    place = plan.together(["date.day", "date.month"])
    if place is None or place[0] != ("date", 2):
        return
    group = posterior.number["date", 2]
    day, month = group.values[place[1]]
    p_leap = 0.25
    year = plan.places.get("date.year")
    if year is not None and year[0] == ("date", 2):
        values = group.values[year[1]]
        p_leap = float(values[:100:4].sum() + 0.25 * values[100])
    exists = np.zeros((101, 101))
    exists[1:32, 1:13] = np.arange(1, 32)[:, None] <= _DAYS
    exists[29, 2] = p_leap
    exists[1:32, 100] = exists[100, 1:13] = exists[100, 100] = 1.0
    joint = day[:, None] * month * (slips.date_odd + (1 - slips.date_odd) * exists)
    group.set(place[1][:1], joint[:100].sum(axis=1)[None], joint[100].sum()[None])
    group.set(place[1][1:], joint[:, :100].sum(axis=0)[None], joint[:, 100].sum()[None])
