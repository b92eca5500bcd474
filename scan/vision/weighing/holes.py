"""One hole of a round card: how score, penalty throws, marked throws and distances hang together.

A hole reaches the sums of the card only through what it *adds* to them: its score and its misses of each
phase. `weigh` sums everything else out, for all holes at once; `explain` puts it back, given how the whole
card weighs each addition. Both are exact: a hole has no more than 3**6 ways to mark its throws.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache, reduce
from itertools import pairwise

import numpy as np

from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints, Numbers
from shortpencil.scan.vision.weighing.slips import Slips

#: States of one throw column: unmarked, clean, miss.
UNMARKED, CLEAN, MISS = 0, 1, 2

#: Putts on a hole (0: holed from farther out) and approaches, each before the count of throws is known. Weak
#: on purpose; from the trade's common experience, no source.
_PUTTS = (0.04, 0.42, 0.36, 0.12, 0.04, 0.02)
_APPROACHES = (0.32, 0.38, 0.18, 0.08, 0.04)
_MORE = 0.01

#: Scores when par is not known: the body from common experience, the tails lifted so that an ace or a 9
#: costs no more than a factor of 30 against a 3. From 20 on a score is always asked about.
_SCORES = (1e-4, 0.01, 0.10, 0.29, 0.25, 0.15, 0.08, 0.045, 0.03, 0.02)
_SCORE_10_TO_19 = 0.002
_SCORE_20_UP = 1e-8
#: Score less par, from -2 on, where the par is printed; mixed half and half with the above.
_OVER_PAR = (0.03, 0.17, 0.33, 0.22, 0.11, 0.06, 0.04, 0.02, 0.01, 0.01)


@dataclass(frozen=True, slots=True)
class PhaseTable:
    """The ways to mark the c throw columns of one phase: each of them unmarked, clean or a miss.

    Ways that mark the same columns with as many misses are of one *kind*: nothing but their own ink tells
    them apart.

    Attributes
    ----------
    kind : (3**c,) kind of each way
    is_kind : (3**c, D) the same as an indicator
    states : (3**c, 3 * c) which state each column is in, as an indicator
    marked, misses : (D,) of each kind, the marked columns (bit pattern) and the count of misses
    """

    kind: Ints
    is_kind: Floats
    states: Floats
    marked: Ints
    misses: Ints


@dataclass(frozen=True, slots=True)
class ThrowTable:
    """Which throws are marked given how many were made, for one set of throw columns.

    Attributes
    ----------
    columns : columns of each phase
    phases : the ways to mark the columns of each
    marked : (K,) bit pattern of marked columns of each tuple of kinds, the last phase's kinds fastest
    place : (K,) index of its misses by phase, times P, plus `marked`
    misses : (M, n) misses of each phase by their index
    chance : (T, P) chance of each pattern of marked columns by throws made; the last row serves more throws
    """

    columns: tuple[int, ...]
    phases: tuple[PhaseTable, ...]
    marked: Ints
    place: Ints
    misses: Ints
    chance: Floats

    @property
    def patterns(self) -> int:
        """How many patterns of marked columns there are."""
        return int(self.chance.shape[1])


#: Where the throws of each phase of the usual card fall: one from the tee, any number between, the last ones.
USUAL_ROLES = ("tee", "between", "target")


@lru_cache(maxsize=16)
def throw_table(
    columns: tuple[int, ...],
    slips: Slips,
    roles: tuple[str, ...] = USUAL_ROLES,
    only_misses: bool = False,
) -> ThrowTable:
    """Return the table for so many columns of each phase, of which only misses are marked or both."""
    phases = tuple(_phase_table(count) for count in columns)
    shifts = [sum(columns[:n]) for n in range(len(columns))]  # later columns are higher bits
    bits = [phase.marked << shift for phase, shift in zip(phases, shifts, strict=True)]
    marked = reduce(np.bitwise_or, np.ix_(*bits)).ravel()
    shape = tuple(count + 1 for count in columns)
    tuples = np.meshgrid(*(phase.misses for phase in phases), indexing="ij")
    missed = np.ravel_multi_index(tuple(part.ravel() for part in tuples), shape)
    chance = _mark_chances(columns, slips, roles, only_misses)
    misses = np.indices(shape).reshape(len(columns), -1).T
    return ThrowTable(columns, phases, marked, missed * chance.shape[1] + marked, misses, chance)


@lru_cache(maxsize=16)
def _phase_table(count: int) -> PhaseTable:
    """Return the ways to mark `count` columns."""
    states = np.indices((3,) * count).reshape(count, -1) if count else np.zeros((0, 1), dtype=int)
    marked = ((states != UNMARKED) << np.arange(count)[:, None]).sum(axis=0)
    misses = (states == MISS).sum(axis=0)
    kinds, kind = np.unique(marked * (count + 1) + misses, return_inverse=True)
    by_column = np.eye(3)[states.T].reshape(3**count, 3 * count)
    return PhaseTable(kind, np.eye(len(kinds))[kind], by_column, kinds // (count + 1), kinds % (count + 1))


def _mark_chances(
    columns: tuple[int, ...], slips: Slips, roles: tuple[str, ...], only_misses: bool
) -> Floats:
    """(T, P) chance of each pattern of marked columns when 0, 1, … throws were made."""
    count = sum(columns)
    marked = slips.miss if only_misses else 1.0  # of the throws made, those that are to be marked
    most = 2 * count + 4  # beyond that every column is used whatever the split
    chance = np.zeros((most + 1, 2**count))
    for throws in range(1, most + 1):
        for used, share in _used_columns(throws - 1, columns, roles).items():
            pattern = np.ones(1)
            for column in range(count):
                p = marked * (1 - slips.throw_forgotten) if used[column] else 0.0
                pattern = np.concatenate([pattern * (1 - p), pattern * p])  # later columns are higher bits
            chance[throws] += share * pattern
        chance[throws] *= 1 - slips.hole_unmarked
        chance[throws, 0] += slips.hole_unmarked
    chance[0, 0] = 1.0
    mixed: Floats = (1 - slips.throws_odd) * chance + slips.throws_odd / 2**count
    return mixed


def _used_columns(
    after_first: int, columns: tuple[int, ...], roles: tuple[str, ...]
) -> dict[tuple[bool, ...], float]:
    """Chance of each set of used columns when so many throws followed the first.

    Throws between and throws at the target there may be whether or not the card has columns for them.
    """
    between = max(roles.count("between"), 1)
    shares: dict[tuple[bool, ...], float] = {}
    for made in _splits(after_first, between + 1):
        approaches, putted = made[:-1], made[-1]
        weight = _at(_PUTTS, putted)
        for approached in approaches:
            weight = _at(_APPROACHES, approached) * weight
        of_role = {"tee": iter((1,)), "between": iter(approaches), "target": iter((putted,))}
        throws = [next(of_role[role]) for role in roles]
        used = tuple(k < n for n, count in zip(throws, columns, strict=True) for k in range(count))
        shares[used] = shares.get(used, 0.0) + weight
    total = sum(shares.values())
    return {used: weight / total for used, weight in shares.items()}


def _splits(count: int, parts: int) -> Iterator[tuple[int, ...]]:
    """Every way to split `count` throws into so many parts; the last one grows slowest."""
    if parts == 1:
        yield (count,)
        return
    for last in range(count + 1):
        for before in _splits(count - last, parts - 1):
            yield (*before, last)


def _at(table: tuple[float, ...], index: int) -> float:
    return table[index] if index < len(table) else _MORE * 0.5 ** (index - len(table))


@lru_cache(maxsize=64)
def score_prior(boxes: int, par: int | None) -> Floats:
    """(V,) chance of each score on a hole that was played, weak on purpose."""
    values = np.arange(10**boxes)
    body = np.full(len(values), _SCORE_20_UP)
    body[:20] = _SCORE_10_TO_19
    body[:10] = _SCORES
    body /= body.sum()
    if par is None:
        return body
    over = np.zeros(len(values))
    for step, share in enumerate(_OVER_PAR):
        score = par - 2 + step
        if 1 <= score < len(over):
            over[score] = share
    prior: Floats = 0.5 * body + 0.5 * over / over.sum()
    return prior


@dataclass(frozen=True, slots=True)
class HoleInk:
    """P(ink | meaning) of all H holes.

    Attributes
    ----------
    score : numbers of the H score fields
    prior : (H, V) of each score on a played hole
    penalty : (H, K) by 0, 1, … penalty throws
    throws : (H, c, 3) by unmarked, clean, miss, the chance of a miss among marked throws included; columns
        in the order thrown
    marks : (H, P) likelihood of what depends on the marked columns alone (the distances)
    """

    score: Numbers
    prior: Floats
    penalty: Floats
    throws: Floats
    marks: Floats


@dataclass(frozen=True, slots=True)
class HoleWeights:
    """What `weigh` found, and what `explain` needs of the way there.

    Attributes
    ----------
    weight : (H, A, M) P(all ink of the hole, adds score a and misses m), up to a factor per hole
    scores : (A,) the scores, 0 first; scores that no hole can have are left out
    """

    weight: Floats
    scores: Ints
    _ink: HoleInk
    _table: ThrowTable
    _parts: _Parts
    _marks: _Marks
    _by_score: Floats  # (H, A, P)

    @property
    def misses(self) -> Ints:
        """(M, n) misses of each phase in each addition."""
        return self._table.misses


@dataclass(frozen=True, slots=True)
class _Parts:
    """The ways in which a score comes to stand, or not to stand, on a card.

    A hole adds a score because it is written, or because it was forgotten and yet counted in the total. It
    adds nothing because it was not played (blank, or a written 0), or because its score was forgotten and
    not counted. A hole without score and marks was not played: only marks show a score to be forgotten.
    """

    written: Floats  # (H, A) chance and ink of each score as written; the first, 0, stands for not played
    hidden: Floats  # (H, A) of each score forgotten and counted; none at 0
    lost: Floats  # (H,) of a score forgotten and not counted
    unplayed: Floats  # (H,) of a hole not played, blank
    marks: Floats  # (K, A, P) chance of penalty throws and marked columns given the score
    lost_marks: Floats  # (H, K, P) the same where the score is forgotten and not counted
    no_marks: Floats  # (K, P) the same on a hole that was not played


#: Scores (with their ink) rarer than this against the hole's best are left out. Two digits misread at once
#: or a score beyond 19 that nothing speaks for stay below it, any other single misreading far above.
_LEAST_SCORE = 1e-12
#: A score from here on is not forgotten; it only costs time to consider it for every hole.
_LEAST_UNFORGOTTEN = 20


def weigh(ink: HoleInk, table: ThrowTable, slips: Slips) -> HoleWeights:
    """Weigh each addition to the sums of the card by the ink of each hole."""
    scores, parts = _split(ink, table, slips)
    marks = _weigh_marks(ink, table)
    penalties, shape = parts.marks.shape[0], (len(ink.prior), *parts.marks.shape[1:])
    by_score = (ink.penalty @ parts.marks.reshape(penalties, -1)).reshape(shape)  # (H, A, P)
    unmarked = by_score[:, :, 0] * parts.written  # a score forgotten shows marks, or it was not played
    by_score *= (parts.written + parts.hidden)[:, :, None]
    by_score[:, :, 0] = unmarked
    by_score[:, 0] = (ink.penalty @ parts.no_marks) * (parts.written[:, :1] + parts.unplayed[:, None])
    by_score[:, 0] += (ink.penalty[:, None, :] @ parts.lost_marks)[:, 0] * parts.lost[:, None]
    weight = by_score @ marks.weight.transpose(0, 2, 1)
    weight /= weight.sum(axis=(1, 2), keepdims=True)
    return HoleWeights(weight, scores, ink, table, parts, marks, by_score)


def _split(ink: HoleInk, table: ThrowTable, slips: Slips) -> tuple[Ints, _Parts]:
    """Scores that holes may add (0 first), and the chance and ink of each way to come by them."""
    played = (1 - slips.hole_unplayed) * ink.prior
    written = (1 - slips.score_forgotten) * played * ink.score.full
    lost = 0.5 * (1 - slips.hole_unplayed) * slips.score_forgotten * ink.score.blank
    hidden = lost[:, None] * ink.prior
    hidden[:, [0, *range(_LEAST_UNFORGOTTEN, hidden.shape[1])]] = 0.0
    unplayed = slips.hole_unplayed * ink.score.blank
    both = written + hidden
    scale = np.maximum(both.max(axis=1), unplayed)
    possible = (both > _LEAST_SCORE * scale[:, None]).any(axis=0)
    possible[0] = True
    scores = np.flatnonzero(possible)
    penalties = _penalty_prior(ink.penalty.shape[1], slips)
    throws = scores - np.arange(len(penalties))[:, None]
    marks = table.chance[np.clip(throws, 0, len(table.chance) - 1)] * penalties[:, None, None]  # (K, A, P)
    shown = marks.copy()
    shown[:, :, 0] = 0.0
    lost_marks = (np.where(scores < _LEAST_UNFORGOTTEN, ink.prior[:, scores], 0.0) @ shown).transpose(1, 0, 2)
    no_marks = _astray(len(penalties))[:, None] * table.chance[0]
    return scores, _Parts(written[:, scores], hidden[:, scores], lost, unplayed, marks, lost_marks, no_marks)


def _penalty_prior(count: int, slips: Slips) -> Floats:
    prior = np.zeros(count)
    prior[1:3] = (slips.penalty_one, slips.penalty_two)[: count - 1]
    prior[3:] = slips.penalty_two / 10
    prior[0] = 1 - prior.sum()
    return prior


def _astray(count: int) -> Floats:
    """Penalty throws on a hole that was not played."""
    astray = np.full(count, 1e-3)
    astray[0] = 1 - astray[1:].sum()
    return astray


@dataclass(frozen=True, slots=True)
class _Marks:
    """The marked throws of H holes, weighed by their ink.

    Attributes
    ----------
    ways : of each phase, (H, 3**c) likelihood of each way to mark its columns
    kinds : of each phase, (H, D) the same by kind
    triples : (H, K) likelihood of each tuple of kinds, that of the marked columns included
    weight : (H, M, P) the same by misses of each phase and marked columns
    """

    ways: list[Floats]
    kinds: list[Floats]
    triples: Floats
    weight: Floats

    def explain(self, table: ThrowTable, context: Floats) -> tuple[Floats, Floats]:
        """Posterior (H, c, 3) of each column's state and (H, P) of the marked columns.

        `context` (H, M, P) weighs what `weight` says by the rest of the card.
        """
        holes = len(context)
        by_pattern = (self.weight * context).sum(axis=1)
        triples = self.triples * context.reshape(holes, -1)[:, table.place]
        cube = triples.reshape(holes, *(len(phase.marked) for phase in table.phases))
        by_kind = [_only(cube, phase) for phase in range(len(table.phases))]
        states = []
        for phase, ways, kinds, posterior in zip(table.phases, self.ways, self.kinds, by_kind, strict=True):
            share = np.divide(posterior, kinds, out=np.zeros_like(posterior), where=kinds > 0)
            split = ways * share[:, phase.kind]
            states.append(split @ phase.states)
        whole = by_pattern.sum(axis=1)[:, None]
        by_column = (np.concatenate(states, axis=1) / whole).reshape(holes, -1, 3)
        return by_column, by_pattern / whole


def _only(cube: Floats, phase: int) -> Floats:
    """(H, D) what is left of (H, D, E, …) for one phase when those of the others are added up."""
    for _ in range(cube.ndim - 2 - phase):
        cube = cube.sum(axis=-1)
    for _ in range(phase):
        cube = cube.sum(axis=1)
    return cube


def _weigh_marks(ink: HoleInk, table: ThrowTable) -> _Marks:
    """Weigh the ways to mark the throws of each hole.

    Phase by phase: on the usual card 3 + 9 + 27 ways and 3 * 8 * 20 triples of kinds stand for all 729 ways
    of six columns.
    """
    holes = len(ink.prior)
    ends = np.cumsum((0, *table.columns))
    ways = [_ways(ink.throws[:, first:end]) for first, end in pairwise(ends)]
    kinds = [way @ phase.is_kind for way, phase in zip(ways, table.phases, strict=True)]
    triples = kinds[0]
    for of_phase in kinds[1:]:
        triples = (triples[:, :, None] * of_phase[:, None, :]).reshape(holes, -1)
    triples = triples * ink.marks[:, table.marked]
    weight = np.zeros((holes, len(table.misses) * table.patterns))
    weight[:, table.place] = triples
    return _Marks(ways, kinds, triples, weight.reshape(holes, -1, table.patterns))


def _ways(columns: Floats) -> Floats:
    """(H, 3**c) likelihood of each way to mark c columns, given that of each column's states (H, c, 3)."""
    ways = np.ones((len(columns), 1))
    for column in range(columns.shape[1]):
        ways = (ways[:, :, None] * columns[:, column, None, :]).reshape(len(ways), -1)
    return ways


@dataclass(frozen=True, slots=True)
class HolePosterior:
    """Posterior of everything on the H holes.

    Attributes
    ----------
    score : (H, V) of each value; p_blank : (H,) of no score written
    penalty : (H, K); throws : (H, c, 3); marks : (H, P)
    """

    score: Floats
    p_blank: Floats
    penalty: Floats
    throws: Floats
    marks: Floats


def explain(holes: HoleWeights, posterior: Floats) -> HolePosterior:
    """Posterior of a hole's parts, given the `posterior` (H, A, M) of what each hole adds."""
    ink, parts = holes._ink, holes._parts
    lift = np.divide(posterior, holes.weight, out=np.zeros_like(posterior), where=holes.weight > 0)
    throws, marks = holes._marks.explain(holes._table, lift.transpose(0, 2, 1) @ holes._by_score)

    message = lift @ holes._marks.weight  # (H, A, P)
    given = (message.transpose(1, 0, 2) @ parts.marks.transpose(1, 2, 0)).transpose(2, 1, 0)  # (K, H, A)
    unshown = message[None, :, :, 0] * parts.marks[:, None, :, 0]
    penalty = ink.penalty.T[:, :, None]
    written = given * parts.written * penalty
    hidden = np.maximum(given - unshown, 0.0) * parts.hidden * penalty
    bare = (message[:, 0] @ parts.no_marks.T) * ink.penalty  # (H, K)
    written[:, :, 0] = (bare * parts.written[:, :1]).T
    lost = (parts.lost_marks @ message[:, 0, :, None])[:, :, 0] * ink.penalty * parts.lost[:, None]
    hidden[:, :, 0] = lost.T
    unplayed = bare * parts.unplayed[:, None]
    by_penalty = (written + hidden).sum(axis=2).T + unplayed
    whole = by_penalty.sum(axis=1, keepdims=True)
    score = np.zeros_like(ink.prior)
    score[:, holes.scores] = written.sum(axis=0) / whole
    p_blank = (hidden.sum(axis=(0, 2)) + unplayed.sum(axis=1)) / whole[:, 0]
    return HolePosterior(score, p_blank, by_penalty / whole, throws, marks)
