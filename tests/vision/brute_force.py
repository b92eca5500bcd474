"""The same chances as `scan.vision.deciding.decode`, by listing everything: slow, plain loops, no arrays.

It states the model a second time, from the words in `Slips` and docs/decoding.md, so that a wrong index in
the decoder can't agree with it by chance. Only the chances themselves are shared. Small cards only.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from shortpencil.forms.form import Field, Form
from shortpencil.forms.rules import HoleRule, rules_of
from shortpencil.scan.vision.deciding.decode import Slips
from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence
from shortpencil.scan.vision.weighing.holes import score_prior
from shortpencil.scan.vision.weighing.slips import OFF_BY

B, F, C = 0, 1, 2  # blank, filled, cancelled bubble
BLANK, SCRAP = 10, 11
LEAST = 1e-12

Table = dict[Any, float]


class BruteForce:
    """Posterior of each field of a small round card: field id -> answer -> probability."""

    def __init__(self, form: Form, evidence: Evidence, slips: Slips) -> None:
        self.form, self.slips, self.rules = form, slips, rules_of(form)
        self.phases = [phase.id for phase in self.rules.phases]
        self.fields = {field.id: field for field in form.fields}
        self.ink = {cell: _linear(logs) for cell, logs in evidence.bubbles.items()}
        for cell, logs in evidence.digits.items():  # what the reader took for granted is taken back
            pairs = zip(logs, ANSWER_SHARES, strict=True)
            self.ink[cell] = _linear([float(log_p) - math.log(share) for log_p, share in pairs])
        self.posterior: dict[str, Table] = defaultdict(lambda: defaultdict(float))
        self.marked = cache(self._marked)
        self._solve()

    # One field: P(ink, look | meaning) for each look

    def choice(self, field_id: str) -> dict[Any, Table]:
        """Meaning (None or option) -> look (None, option, "many", "struck") -> likelihood."""
        field, slips = self.fields[field_id], self.slips
        ids = [option.id for option in field.options]
        table: dict[Any, Table] = {meaning: defaultdict(float) for meaning in (None, *ids)}
        cells = [self.ink[cell] for cell in field.cell_ids]
        spread = sum(0.1 ** len(s) for s in _subsets(len(ids) - 1) if s)
        for states in itertools.product((B, F, C), repeat=len(ids)):
            likelihood = math.prod(cell[state] for cell, state in zip(cells, states, strict=True))
            filled = [k for k, state in enumerate(states) if state == F]
            look: Any = "many" if len(filled) > 1 else ids[filled[0]] if filled else None
            if not filled and C in states:
                look = "struck"
            for meant, meaning in enumerate((None, *ids)):
                p = 0.0
                if meaning is None and not filled:
                    p = math.prod(self._unfilled(state, slips.cancelled_alone) for state in states)
                elif meaning is not None:
                    own, others = states[meant - 1], states[: meant - 1] + states[meant:]
                    alone = 1 - slips.messy - (slips.double if len(ids) > 1 else 0)
                    if F not in others and own != B:
                        p = math.prod(self._unfilled(s) for s in others) * (
                            alone if own == F else slips.messy
                        )
                    elif own == F:
                        p = slips.double / spread
                        p *= math.prod(0.1 if s == F else self._unfilled(s) for s in others)
                if p:
                    table[meaning][look] += p * likelihood
        return table

    def _unfilled(self, state: int, cancelled: float | None = None) -> float:
        p = self.slips.cancelled if cancelled is None else cancelled
        return p if state == C else 1 - p

    def number(self, field_id: str) -> Table:
        """Number or None -> likelihood; every way to write it, every box clear or scribbled over."""
        field, slips = self.fields[field_id], self.slips
        cells = [self.ink[cell] for cell in field.cell_ids]
        count = len(cells)
        table: Table = {None: math.prod(self._box(cell, BLANK) for cell in cells)}
        for value in range(10**count):
            digits = [int(sign) for sign in str(value)]
            missing = count - len(digits)
            ways = [(1.0, digits)]
            if missing:
                ways = [
                    (1 - slips.zero_led - slips.written_left, [BLANK] * missing + digits),
                    (slips.zero_led, [0] * missing + digits),
                    (slips.written_left, digits + [BLANK] * missing),
                ]
            table[value] = sum(
                share * math.prod(self._box(cell, sign) for cell, sign in zip(cells, signs, strict=True))
                for share, signs in ways
            )
        return table

    def _box(self, cell: list[float], sign: int) -> float:
        p = self.slips.scrap_in_blank if sign == BLANK else self.slips.scrap
        return (1 - p) * cell[sign] + p * cell[SCRAP]

    # One hole: every way to fill it in

    def hole(self, rule: HoleRule) -> list[tuple[tuple[int, ...], dict[str, Any], float]]:
        """(adds to score, misses by phase), answer of each field, weight; all ways."""
        slips = self.slips
        scores = self.number(rule.score)
        prior = score_prior(self.fields[rule.score].digits, rule.par)
        looks = {throw: self.choice(throw) for throw, _ in rule.throws}
        penalty = self.choice(rule.penalty) if rule.penalty else {None: {None: 1.0}}
        distances = {d: self.number(d) for d in rule.distances}
        marks = []
        chances = self._chances_of_states()
        for states in itertools.product(chances, repeat=len(rule.throws)):
            answers = dict(zip((throw for throw, _ in rule.throws), states, strict=True))
            weight = math.prod(chances[state] for state in states)
            weight *= math.prod(sum(looks[throw][state].values()) for throw, state in answers.items())
            misses = [0] * len(self.phases)
            for (_, phase), state in zip(rule.throws, states, strict=True):
                misses[self.phases.index(phase)] += state == "miss"
            for written, p in self.distance_ways(rule, answers, distances):
                for stances, q in self.stance_ways(rule, answers):
                    marks.append((states, tuple(misses), answers | written | stances, weight * p * q))
        found = []
        for pen_meaning, pen_looks in penalty.items():
            extra = int(pen_meaning or 0)
            p_extra = {
                0: 1 - slips.penalty_one - slips.penalty_two,
                1: slips.penalty_one,
                2: slips.penalty_two,
            }
            pen = sum(pen_looks.values())
            for states, misses, answers, weight in marks:
                every = {**answers, rule.penalty: pen_meaning} if rule.penalty else answers
                nothing = all(state is None for state in states)
                p_pen = p_extra[extra] if rule.penalty else 1.0
                astray = (1 - 0.002 if extra == 0 else 0.001) if rule.penalty else 1.0
                shape = weight * pen
                for score, p_ink in scores.items():
                    if score:
                        p = (1 - slips.hole_unplayed) * (1 - slips.score_forgotten) * prior[score] * p_ink
                        p *= p_pen * self.marked(rule.throws, score - extra, states)
                    else:  # a blank or a 0 for a hole not played
                        p = p_ink * astray * self.marked(rule.throws, 0, states)
                        p *= (
                            slips.hole_unplayed
                            if score is None
                            else ((1 - slips.hole_unplayed) * (1 - slips.score_forgotten) * prior[0])
                        )
                    found.append(((score or 0, *misses), {**every, rule.score: score}, p * shape))
                if nothing:
                    continue
                for hidden in range(0, min(20, len(prior))):
                    p = (1 - slips.hole_unplayed) * slips.score_forgotten * prior[hidden] * scores[None]
                    p *= p_pen * self.marked(rule.throws, hidden - extra, states) * 0.5
                    every_ = {**every, rule.score: None}
                    if hidden:
                        found.append(((hidden, *misses), every_, p * shape))
                    found.append(((0, *misses), every_, p * shape))
        return [way for way in found if way[-1]]

    def _chances_of_states(self) -> dict[str | None, float]:
        """State of a throw's column -> its chance, given that it is or is not marked."""
        if self.rules.only_misses:
            return {None: 1.0, "miss": 1.0}
        return {None: 1.0, "clean": 1 - self.slips.miss, "miss": self.slips.miss}

    def _marked(
        self, throws_of: tuple[tuple[str, str], ...], throws: int, states: tuple[str | None, ...]
    ) -> float:
        """Chance that just these columns are marked when so many throws were made."""
        slips = self.slips
        is_marked = [state is not None for state in states]
        p = 0.0
        if throws <= 0:
            p = 1.0 if not any(is_marked) else 0.0
        else:
            columns = [sum(phase == p_ for _, p_ in throws_of) for phase in self.phases]
            roles = [phase.role for phase in self.rules.phases]
            throws = min(throws, 2 * sum(columns) + 4)
            # a kind of throw that the card has no phase for happens all the same
            kinds = ["between"] * max(roles.count("between"), 1) + ["target"]
            splits = [s for s in itertools.product(range(throws), repeat=len(kinds)) if sum(s) == throws - 1]
            weights = [
                math.prod(
                    _putts(n) if kind == "target" else _approaches(n)
                    for kind, n in zip(kinds, s, strict=True)
                )
                for s in splits
            ]
            p_marked = 1 - slips.throw_forgotten
            if self.rules.only_misses:
                p_marked *= slips.miss
            for split, share in zip(splits, weights, strict=True):
                between = list(split[:-1])
                used = []
                for role, count in zip(roles, columns, strict=True):
                    made = 1 if role == "tee" else split[-1] if role == "target" else between.pop(0)
                    used += [k < made for k in range(count)]
                q = 1.0
                for is_used, mark in zip(used, is_marked, strict=True):
                    q *= (p_marked if mark else 1 - p_marked) if is_used else not mark
                p += share / sum(weights) * q
            p *= 1 - slips.hole_unmarked
            p += 0 if any(is_marked) else slips.hole_unmarked
        return (1 - slips.throws_odd) * p + slips.throws_odd / 2 ** len(states)

    def distance_ways(
        self, rule: HoleRule, answers: Mapping[str, Any], distances: Mapping[str, Table]
    ) -> Iterator[tuple[dict[str, Any], float]]:
        """Every way to write the distances of the first two putts, with ink."""
        ids = list(rule.distances)
        options = [list(distances[d].items()) for d in ids]
        values = len(options[0]) - 1 if options else 1
        first = [1 / values] * values  # one box: every distance alike
        for ways in itertools.product(*options):
            p, before = 1.0, None
            for field_id, (value, p_ink) in zip(ids, ways, strict=True):
                marked = answers[field_id.removesuffix(".distance")] is not None
                p_written = self.slips.distance if marked else self.slips.distance_astray
                if value is None:
                    p *= (1 - p_written) * p_ink
                    continue
                chance = first[value] if before is None else self._next(first, before, value)
                p *= p_written * chance * p_ink
                before = value
            yield dict(zip(ids, (value for value, _ in ways), strict=True)), p

    def stance_ways(
        self, rule: HoleRule, answers: Mapping[str, Any]
    ) -> Iterator[tuple[dict[str, Any], float]]:
        """Every way to mark the stances, with ink."""
        ids = [f"{throw}.stance" for throw, _ in rule.throws if f"{throw}.stance" in self.fields]
        for ways in itertools.product((None, "straddle"), repeat=len(ids)):
            p = 1.0
            for field_id, way in zip(ids, ways, strict=True):
                marked = answers[field_id.removesuffix(".stance")] is not None
                p_some = self.slips.stance if marked else self.slips.stance_astray
                p *= (p_some if way else 1 - p_some) * sum(self.choice(field_id)[way].values())
            yield dict(zip(ids, ways, strict=True)), p

    def _next(self, first: list[float], before: int, value: int) -> float:
        longer = self.slips.longer_putt
        down, up = sum(first[: before + 1]), sum(first[before + 1 :])
        if value <= before:
            return (1 - longer) * first[value] / down + (
                longer if not up and value == len(first) - 1 else 0.0
            )
        return longer * first[value] / up

    # The whole card

    def _solve(self) -> None:
        holes = [self.hole(rule) for rule in self.rules.holes]
        second = _SecondPass(self)
        by_adds = []
        for hole in holes:
            sums: Table = defaultdict(float)
            for adds, _, weight in hole:
                sums[adds] += weight
            by_adds.append(sums)
        written = self._sums()
        numbers = {field_id: self.number(field_id) for field_id in written}

        @cache
        def likelihood(field_id: str, true: int) -> Table:
            """Written value -> P(ink, value | true sum)."""
            _, wrong, blank, zero_blank = written[field_id]
            number = numbers[field_id]
            return {
                value: self._written(value, true, wrong, blank, zero_blank, number) * p_ink
                for value, p_ink in number.items()
            }

        given: list[Table] = [defaultdict(float) for _ in holes]
        phases: Table = defaultdict(float)
        sums_: Table = defaultdict(float)
        missed: list[Table] = [defaultdict(float) for _ in holes]
        whole = 0.0
        for ways in itertools.product(*(sums.items() for sums in by_adds)):
            total = tuple(sum(parts) for parts in zip(*(adds for adds, _ in ways), strict=True))
            base = math.prod(weight for _, weight in ways)
            for field_id, rule in written.items():
                base *= sum(likelihood(field_id, total[rule[0]]).values())
            for phase in second.phases:
                p = base * second.chosen(phase, total[1:])
                misses = [phase is not None and adds[1 + self.phases.index(phase)] > 0 for adds, _ in ways]
                for hole, is_missed in enumerate(misses):
                    p *= second.on_hole[hole][is_missed]
                whole += p
                sums_[total] += p
                phases[phase] += p
                for hole, (adds, _) in enumerate(ways):
                    given[hole][adds] += p
                    missed[hole][misses[hole]] += p
        self._write_holes(holes, by_adds, given, whole)
        for field_id, rule in written.items():
            by_true: Table = defaultdict(float)
            for total, p in sums_.items():
                by_true[total[rule[0]]] += p
            for true, p in by_true.items():
                table = likelihood(field_id, true)
                for value, q in table.items():
                    self.posterior[field_id][value] += p / whole * q / sum(table.values())
        second.write(self, phases, missed, whole)

    def _write_holes(self, holes: list[Any], by_adds: list[Table], given: list[Table], whole: float) -> None:
        meanings: dict[tuple[str, Any], float] = defaultdict(float)
        for hole, sums, posterior in zip(holes, by_adds, given, strict=True):
            for adds, answers, weight in hole:
                p = posterior[adds] / whole * weight / sums[adds]
                for answer in answers.items():
                    meanings[answer] += p
        for (field_id, meaning), p in meanings.items():
            if self.fields[field_id].type == "number":
                self.posterior[field_id][meaning] += p
            else:
                self.add_looks(field_id, meaning, p)

    def add_looks(self, field_id: str, meaning: Any, p: float) -> None:
        looks = self.choice(field_id)[meaning]
        for look, q in looks.items():
            self.posterior[field_id][look] += p * q / sum(looks.values())

    def _written(
        self, value: int | None, true: int, wrong: float, blank: float, zero_blank: float, number: Table
    ) -> float:
        """Chance that a sum is written as `value`."""
        p_blank = zero_blank if true == 0 else blank
        if value is None:
            return p_blank
        off = abs(value - true)
        p = 1 - wrong if off == 0 else wrong * OFF_BY.get(off, 0.0) / 2
        return (1 - p_blank) * (p + wrong * (1 - sum(OFF_BY.values())) / (len(number) - 1))

    def _sums(self) -> dict[str, tuple[int, float, float, float]]:
        """Field id -> place among the sums, chance to be wrong, blank, blank where the sum is 0."""
        slips, total = self.slips, self.rules.total
        sums = {}
        if total:
            sums[total.total] = (0, slips.total_wrong, slips.total_blank, slips.total_blank)
        for tally in self.rules.tallies:
            index = 1 + self.phases.index(tally.phase)
            sums[tally.tally] = (index, slips.tally_wrong, slips.tally_blank, slips.zero_tally_blank)
        return sums


class _SecondPass:
    """Which phase the second pass is about, and what is filled in for it."""

    def __init__(self, card: BruteForce) -> None:
        self.card, self.slips, self.field = card, card.slips, card.rules.worst
        self.phases: list[str | None] = [None]
        self.on_hole = [{True: 1.0, False: 1.0} for _ in card.rules.holes]
        self.filled: list[dict[str, Table]] = [{} for _ in card.rules.holes]
        if self.field is None:
            return
        self.looks = card.choice(self.field)
        self.phases = [None, *(o.id for o in card.fields[self.field].options)]
        for hole, rule in enumerate(card.rules.holes):
            for field_id in (rule.way, rule.why, f"h{rule.number:02d}.forehand"):
                if field_id not in card.fields:
                    continue
                table = self._table(card.fields[field_id])
                self.filled[hole][field_id] = table
                for is_missed in (True, False):
                    p = self._p_filled(field_id, is_missed)
                    some = sum(q for answer, q in table.items() if answer not in (None, "struck"))
                    none = table[None] + table.get("struck", 0.0)
                    self.on_hole[hole][is_missed] *= p * some + (1 - p) * none

    def _table(self, field: Field) -> Table:
        """Answer -> P(ink | answer) P(answer | filled in, or left out)."""
        card, slips = self.card, self.slips
        if field.type == "number":
            causes = [cause.number for cause in card.form.causes]
            number = card.number(field.id)
            values = len(number) - 1
            return {
                value: p
                if value is None
                else p * (0.02 / values + (0.98 / len(causes) if value in causes else 0))
                for value, p in number.items()
            }
        if field.type == "choose-one":
            return {meaning: sum(looks.values()) for meaning, looks in card.choice(field.id).items()}
        table: Table = defaultdict(float)
        cells = [card.ink[cell] for cell in field.cell_ids]
        for states in itertools.product((B, F, C), repeat=len(cells)):
            ink = math.prod(cell[state] for cell, state in zip(cells, states, strict=True))
            if F not in states:
                look = "struck" if C in states else None
                table[look] += ink * math.prod(
                    slips.cancelled_alone if state == C else 1 - slips.cancelled_alone for state in states
                )
        for chosen in _subsets(len(cells)):
            if not chosen:
                continue
            p = 1 / (1 - 0.8 ** len(cells))
            for k, cell in enumerate(cells):
                if k in chosen:
                    p *= 0.2 * ((1 - slips.messy) * cell[F] + slips.messy * cell[C])
                else:
                    p *= 0.8 * ((1 - slips.cancelled) * cell[B] + slips.cancelled * cell[C])
            table[tuple(field.options[k].id for k in chosen)] += p
        return table

    def _p_filled(self, field_id: str, is_missed: bool) -> float:
        if self.card.fields[field_id].type == "choose-one":
            return self.slips.single if is_missed else self.slips.single_astray
        written = self.card.fields[field_id].type == "number"
        filled = self.slips.cause if written else self.slips.second_pass
        return filled if is_missed else self.slips.second_pass_astray

    def _named(self, phase: str | None) -> tuple[float, float]:
        """P(ink of the field, the phase is marked or not | the second pass is about this phase, or none)."""
        blank = sum(self.looks[None].values())
        if phase is None:
            return 0.0, blank
        unnamed = self.slips.worst_unnamed
        return (1 - unnamed) * sum(self.looks[phase].values()), unnamed * blank

    def chosen(self, phase: str | None, misses: tuple[int, ...]) -> float:
        if self.field is None:
            return 1.0
        ink = sum(self._named(phase))
        if phase is None:
            return self.slips.worst_blank * ink
        of_game = self.card.phases
        offered = [p for p in of_game if p in self.phases]
        most = max(misses[of_game.index(p)] for p in offered)
        best = [p for p in offered if misses[of_game.index(p)] == most]
        share = (1 - self.slips.worst_other) / len(best) if phase in best else 0.0
        return (1 - self.slips.worst_blank) * (share + self.slips.worst_other / len(offered)) * ink

    def write(self, card: BruteForce, phases: Table, missed: list[Table], whole: float) -> None:
        if self.field is None:
            return
        for phase, p in phases.items():
            named, unnamed = self._named(phase)
            card.add_looks(self.field, phase, p / whole * named / (named + unnamed))
            card.add_looks(self.field, None, p / whole * unnamed / (named + unnamed))
        for hole, filled in enumerate(self.filled):
            for field_id, table in filled.items():
                for is_missed, p_miss in missed[hole].items():
                    p = self._p_filled(field_id, is_missed)
                    likelihood = {
                        answer: q * ((1 - p) if answer in (None, "struck") else p)
                        for answer, q in table.items()
                    }
                    for answer, q in likelihood.items():
                        share = p_miss / whole * q / sum(likelihood.values())
                        if card.fields[field_id].type == "choose-one":
                            card.add_looks(field_id, answer, share)
                        else:
                            card.posterior[field_id][answer] += share


def _linear(logs: Any) -> list[float]:
    top = max(float(x) for x in logs)
    if top == -math.inf:
        return [1.0] * len(logs)
    return [max(math.exp(float(x) - top), LEAST) for x in logs]


def _subsets(count: int) -> list[tuple[int, ...]]:
    return [s for size in range(count + 1) for s in itertools.combinations(range(count), size)]


def _putts(count: int) -> float:
    return (0.04, 0.42, 0.36, 0.12, 0.04, 0.02)[count] if count < 6 else 0.01 * 0.5 ** (count - 6)


def _approaches(count: int) -> float:
    return (0.32, 0.38, 0.18, 0.08, 0.04)[count] if count < 5 else 0.01 * 0.5 ** (count - 5)
