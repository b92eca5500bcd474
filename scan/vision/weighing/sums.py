"""The sums of a whole card: exact marginals by running forward and backward over its holes.

A hole adds its score and its misses to four running sums. The state of the chain after some holes is the
tuple of the sums so far; only the tuples that the ink makes possible are kept, so a clear card runs through a
few dozen states and not through the millions that could be written. What is dropped is added up: it bounds
from above how far any probability can be off (`Chain.doubt`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints

#: Ways rarer than this share of a hole's mass are dropped; tried from the first, the next one while the doubt
#: is above `WANTED_DOUBT`. On simulated photos 84 of 100 cards stop at the first; from 1e-12 it was 57, and
#: the chains took a third longer in the mean.
LEAST_SHARES = (3e-13, 1e-15, 1e-18)
WANTED_DOUBT = 1e-9
#: Above this share of dropped mass a chain is given up: a sum less is worth more than such a doubt.
_HOPELESS = 1e-3
#: Most ways to reach the states after one hole. It bounds time and memory: about 3 ms a hole when reached.
_MOST_WAYS = 40_000
_FEWEST_STATES = 16

#: Room of each sum inside one key, in bits, and so the greatest sums: the score, the misses of each phase;
#: above them the second pass's phase. 60 holes of 99 and of 4 misses each fit, and five phases.
_SCORE_BITS, _MISS_BITS = 14, 8


def _sum_bits(phases: int) -> int:
    return _SCORE_BITS + _MISS_BITS * phases


def key_of(score: Ints, misses: Ints, phase: Ints) -> Ints:
    """One whole number for a tuple of sums: (…,) scores, (…, n) misses, (…,) index of a phase.

    Keys add up where sums add up.
    """
    key = np.asarray(phase, dtype=np.int64)
    for at in range(misses.shape[-1] - 1, -1, -1):
        key = (key << _MISS_BITS) + misses[..., at]
    return (key << _SCORE_BITS) + score


def sums_of(keys: Ints, phases: int = 3) -> tuple[Ints, Ints, Ints]:
    """Scores, misses (…, n) and phase of keys; `key_of` undone."""
    score = keys & ((1 << _SCORE_BITS) - 1)
    keys = keys >> _SCORE_BITS
    misses = []
    for _ in range(phases):
        misses.append(keys & ((1 << _MISS_BITS) - 1))
        keys = keys >> _MISS_BITS
    return score, np.stack(misses, axis=-1), keys


@dataclass(frozen=True, slots=True)
class Additions:
    """What the holes may add to the sums, and how their ink weighs it.

    Attributes
    ----------
    keys : (J,) keys of the additions
    weights : (Q, H, J) P(ink of the hole, addition | phase of the second pass), up to a factor per hole
    whole : (Q, H) the same of all additions, those included that are rare enough to be left out of `keys`
    start : (Q,) weight of each phase of the second pass
    phases : how many phases of the game the keys count misses of
    """

    keys: Ints
    weights: Floats
    whole: Floats
    start: Floats
    phases: int = 3


@dataclass(frozen=True, slots=True)
class Chain:
    """What the sums say about each hole.

    Attributes
    ----------
    added : (Q, H, J) posterior of each hole's addition and of the phase of the second pass together
    keys, posterior : (K,) sums of the whole card with the phase, and their posterior
    doubt : bound on the error of any probability here, from what was dropped
    capped : whether states had to be dropped to bound the time
    """

    added: Floats
    keys: Ints
    posterior: Floats
    doubt: float
    capped: bool


@dataclass(frozen=True, slots=True)
class _Step:
    """The ways over one hole: from a state to a state, each with its weight given the state before.

    `cell` is the place of a way's phase and addition in an array (Q, J).
    """

    source: Ints
    target: Ints
    cell: Ints
    weight: Floats


def run_chain(
    additions: Additions, written: Callable[[Ints], Floats], most_written: float, least_share: float
) -> Chain | None:
    """Posterior of what each hole adds, given the sums written on the card; None if the card is too unclear.

    Parameters
    ----------
    additions : what the holes may add
    written : keys of the whole card's sums -> P(ink of the written sums | sums)
    most_written : no value of `written` is greater
    least_share : ways rarer than this share of a hole's mass are dropped
    """
    forward = _forward(additions, least_share)
    if forward is None:
        return None
    mass = forward.masses[-1]
    backward = written(forward.keys)
    evidence = float(mass @ backward)
    dropped = (1 - forward.kept) / forward.kept * most_written
    doubt = dropped / (evidence + dropped)
    if doubt > _HOPELESS:
        return None
    added = _backward(forward, backward / evidence, additions.weights.shape)
    return Chain(added, forward.keys, mass * backward / evidence, doubt, forward.capped)


@dataclass(frozen=True, slots=True)
class _Forward:
    """All ways over the holes, first to last.

    Attributes
    ----------
    keys : (K,) sums of the whole card with the phase
    steps : the ways over each hole
    masses : posterior of the states before each hole and after the last, given the ink of the holes up to
    there kept : share of all mass that was not dropped capped : whether states had to be dropped to bound the
    time
    """

    keys: Ints
    steps: list[_Step]
    masses: list[Floats]
    kept: float
    capped: bool


def _forward(additions: Additions, least_share: float) -> _Forward | None:
    """The ways over all holes without those that are too rare; None where too much would be dropped."""
    _, holes, count = additions.weights.shape
    usable = additions.weights.max(axis=0) > least_share * additions.whole.max(axis=0)[:, None]
    whole_of = np.ascontiguousarray(additions.whole.T)
    phase: Ints = np.flatnonzero(additions.start > 0)
    keys: Ints = key_of(np.zeros_like(phase), np.zeros((len(phase), additions.phases), dtype=np.int64), phase)
    mass: Floats = additions.start[phase] / additions.start.sum()
    steps: list[_Step] = []
    masses = [mass]
    kept, capped, sum_bits = 1.0, False, _sum_bits(additions.phases)
    for hole in range(holes):
        columns = usable[hole].nonzero()[0]
        whole = float(mass @ whole_of[hole][phase])
        some = _strongest(mass, len(columns))
        weights = additions.weights[:, hole, columns][phase[some]]
        ways = (mass[some, None] * weights).ravel()
        at = (ways > least_share * whole).nonzero()[0]
        gone = ways[at]
        total = float(gone.sum())
        kept *= min(total / whole, 1.0)
        if 1 - kept > _HOPELESS:
            return None
        source, column = np.divmod(at, len(columns))
        if not isinstance(some, slice):
            capped, source = True, some[source]
        addition = columns[column]
        after, target = _distinct(keys[source] + additions.keys[addition])
        cell = phase[source] * count + addition
        steps.append(_Step(source, target, cell, weights.ravel()[at] / total))
        keys, phase = after, after >> sum_bits
        mass = _sum_by(target, gone, len(after)) / total
        masses.append(mass)
    return _Forward(keys, steps, masses, kept, capped)


def _backward(forward: _Forward, backward: Floats, shape: tuple[int, ...]) -> Floats:
    """(Q, H, J) posterior of what each hole adds; `backward` (K,) weighs the sums of the whole card."""
    phases, holes, count = shape
    added = np.empty((holes, phases * count))
    for hole in range(holes - 1, -1, -1):
        step, before = forward.steps[hole], forward.masses[hole]
        onward = step.weight * backward[step.target]
        added[hole] = _sum_by(step.cell, onward * before[step.source], phases * count)
        backward = _sum_by(step.source, onward, len(before))
    return added.reshape(holes, phases, count).transpose(1, 0, 2)


def _distinct(keys: Ints) -> tuple[Ints, Ints]:
    """Distinct keys in order, and the place of each key among them; `numpy.unique` in half the time."""
    order = keys.argsort()
    in_order = keys[order]
    is_new = np.empty(len(keys), dtype=bool)
    is_new[0] = True
    np.not_equal(in_order[1:], in_order[:-1], out=is_new[1:])
    place = np.empty(len(keys), dtype=np.int64)
    place[order] = is_new.cumsum() - 1
    return in_order[is_new], place


def _sum_by(index: Ints, weights: Floats, size: int) -> Floats:
    """(size,) sums of the weights by their index."""
    return np.bincount(index, weights, size).astype(float, copy=False)


def _strongest(mass: Floats, additions: int) -> Ints | slice:
    """States to go on from: all of them, or as many of the strongest as the cap on ways allows."""
    room = max(_MOST_WAYS // max(additions, 1), _FEWEST_STATES)
    return slice(None) if len(mass) <= room else np.sort(np.argpartition(mass, -room)[-room:])
