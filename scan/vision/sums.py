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

from scan.vision.answers import Floats, Ints

#: Shares of the mass dropped at one hole, tried from the first; the next is tried while the doubt is above
#: `_WANTED_DOUBT`. Most cards stop at the first.
_LEAST_SHARES = (1e-12, 1e-15, 1e-18)
_WANTED_DOUBT = 1e-9
#: Most ways to reach the states after one hole. It bounds time and memory: about 3 ms a hole when reached.
_MOST_WAYS = 40_000

#: Room of each sum inside one key, in bits, and so the greatest sums: score, drive, approach, putt; above
#: them the second pass's phase. 60 holes of 99 and of 3 misses each fit.
_BITS = (14, 8, 8, 8)


def key_of(score: Ints, misses: Ints, phase: Ints) -> Ints:
    """One whole number for a tuple of sums: (…,) scores, (…, 3) misses, (…,) index of a phase.

    Keys add up where sums add up.
    """
    key = np.asarray(phase, dtype=np.int64)
    for part, bits in zip((misses[..., 2], misses[..., 1], misses[..., 0], score), _BITS[::-1], strict=True):
        key = (key << bits) + part
    return key


def sums_of(keys: Ints) -> tuple[Ints, Ints, Ints]:
    """Scores, misses (…, 3) and phase of keys; `key_of` undone."""
    parts = []
    for bits in _BITS:
        parts.append(keys & ((1 << bits) - 1))
        keys = keys >> bits
    return parts[0], np.stack(parts[1:], axis=-1), keys


@dataclass(frozen=True, slots=True)
class Chain:
    """What the sums say about each hole.

    Attributes
    ----------
    added : (Q, H, J) posterior of each hole's addition and of the phase of the second pass together
    keys, posterior : (K,) sums of the whole card and their posterior
    prior : (K,) the same before the written sums are weighed
    doubt : bound on the error of any probability here, from what was dropped
    """

    added: Floats
    keys: Ints
    posterior: Floats
    prior: Floats
    doubt: float


def run_chain(
    weights: Floats, adds: Ints, start: Floats, written: Callable[[Ints], Floats], most_written: float
) -> Chain:
    """Posterior of what each hole adds, given the sums written on the card.

    Parameters
    ----------
    weights : (Q, H, J) P(ink of the hole, addition j | phase q), up to a factor per hole
    adds : (J,) keys of the additions
    start : (Q,) weight of each phase of the second pass; its keys start at q above the sums
    written : keys of the whole card's sums -> P(ink of the written sums | sums)
    most_written : no value of `written` is greater
    """
    chain = None
    for least_share in _LEAST_SHARES:
        chain = _run(weights, adds, start, written, most_written, least_share)
        if chain.doubt <= _WANTED_DOUBT or chain.capped:
            break
    assert chain is not None
    return chain.chain


@dataclass(frozen=True, slots=True)
class _Attempt:
    chain: Chain
    capped: bool

    @property
    def doubt(self) -> float:
        return self.chain.doubt


@dataclass(frozen=True, slots=True)
class _Step:
    """The ways over one hole: from a state, by an addition, to a state."""

    source: Ints
    addition: Ints
    phase: Ints
    target: Ints
    weight: Floats


def _run(
    weights: Floats,
    adds: Ints,
    start: Floats,
    written: Callable[[Ints], Floats],
    most_written: float,
    least_share: float,
) -> _Attempt:
    phases, holes, additions = weights.shape
    phase: Ints = np.flatnonzero(start > 0)
    keys: Ints = key_of(np.zeros_like(phase), np.zeros((len(phase), 3), dtype=np.int64), phase)
    mass = start[phase] / start.sum()
    steps: list[_Step] = []
    masses = [mass]
    kept, capped = 1.0, False
    for hole in range(holes):
        step, keys, phase, share, cut = _forward(mass, keys, phase, weights[:, hole], adds, least_share)
        kept *= share
        capped |= cut
        mass = _sum_by(step.target, step.weight * mass[step.source], len(keys))
        total = mass.sum()
        mass = mass / total
        steps.append(_Step(step.source, step.addition, step.phase, step.target, step.weight / total))
        masses.append(mass)
    backward = written(keys)
    posterior = mass * backward
    evidence = float(posterior.sum())
    posterior = posterior / evidence
    dropped = (1 - kept) / kept * most_written
    doubt = dropped / (evidence + dropped)
    added = np.zeros((phases, holes, additions))
    backward = backward / evidence
    for hole in range(holes - 1, -1, -1):
        step = steps[hole]
        onward = step.weight * backward[step.target]
        joint = onward * masses[hole][step.source]
        flat = _sum_by(step.phase * additions + step.addition, joint, phases * additions)
        added[:, hole] = flat.reshape(phases, additions)
        backward = _sum_by(step.source, onward, len(masses[hole]))
    return _Attempt(Chain(added, keys, posterior, mass, doubt), capped)


def _sum_by(index: Ints, weights: Floats, size: int) -> Floats:
    """(size,) sums of the weights by their index."""
    return np.bincount(index, weights, size).astype(float, copy=False)


def _forward(
    mass: Floats, keys: Ints, phase: Ints, weights: Floats, adds: Ints, least_share: float
) -> tuple[_Step, Ints, Ints, float, bool]:
    """Ways over one hole, keys and phases after it, share of the mass kept, whether the cap was met."""
    scale = weights.sum(axis=1).max()
    usable = np.flatnonzero((weights > least_share * scale).any(axis=0))
    # A hole with many answers meets few states, so that the table below stays within the cap.
    states = np.arange(len(mass))
    cut = False
    room = max(_MOST_WAYS // max(len(usable), 1), 16)
    if len(mass) > room:
        states = np.sort(np.argpartition(mass, -room)[-room:])
        cut = True
    ways = mass[states, None] * weights[phase[states]][:, usable]
    whole = float((mass * weights.sum(axis=1)[phase]).sum())
    row, column = np.nonzero(ways > least_share * whole)
    weight = ways[row, column]
    kept = min(float(weight.sum()) / whole, 1.0)
    source, addition = states[row], usable[column]
    after, target = np.unique(keys[source] + adds[addition], return_inverse=True)
    of_phase = phase[source]
    phase_after = np.zeros(len(after), dtype=np.int64)
    phase_after[target] = of_phase
    step = _Step(source, addition, of_phase, target, weights[of_phase, addition])
    return step, after, phase_after, kept, cut


def slip_kernel(wrong: float) -> Floats:
    """Chance that a written sum is off by -11 … 11, the middle being right; see `written_sum`."""
    kernel = np.zeros(23)
    for off, share in _OFF_BY.items():
        kernel[11 + off] = kernel[11 - off] = wrong * share / 2
    kernel[11] = 1 - wrong
    return kernel


#: How far a wrong sum is off, either way: one throw, a few, a carry. The rest (6 %) may be anything.
_OFF_BY = {1: 0.44, 2: 0.16, 3: 0.08, 4: 0.04, 5: 0.02, 9: 0.03, 10: 0.14, 11: 0.03}
_OFF_BY_ANYTHING = 1 - sum(_OFF_BY.values())


@dataclass(frozen=True, slots=True)
class WrittenSum:
    """One sum written by the player, weighed by its ink.

    Attributes
    ----------
    likelihood : (S,) P(ink | true sum), for sums 0 to S - 1
    """

    likelihood: Floats
    _full: Floats
    _kernel: Floats
    _anything: float
    _blank: Floats  # (S,) P(blank | true sum) P(ink | blank)
    _some: Floats  # (S,) P(something written | true sum)

    def says_nothing(self, least: float) -> bool:
        """Whether the field is blank for sure, whatever the true sum."""
        return bool((self.likelihood - self._blank <= least * self.likelihood).all())

    def explain(self, sums: Floats) -> tuple[Floats, float]:
        """Posterior of each value written (V,) and of a blank, given that (S,) of the true sum."""
        share = sums / self.likelihood
        values = len(self._full)
        some = share * self._some
        onto = np.convolve(some, self._kernel)[11 : 11 + values]
        near = np.zeros(values)
        near[: len(onto)] = onto
        posterior = self._full * (near + some.sum() * self._anything)
        return posterior, float((share * self._blank).sum())


def written_sum(
    full: Floats, blank: float, size: int, p_wrong: float, p_blank: float, p_zero_blank: float
) -> WrittenSum:
    """Weigh a sum: `full` (V,) P(ink | value), `blank` P(ink | blank), `size` S of the possible sums."""
    kernel = slip_kernel(p_wrong)
    anything = p_wrong * _OFF_BY_ANYTHING / len(full)
    padded = np.zeros(size + 22)
    count = min(len(full), size + 11)
    padded[11 : 11 + count] = full[:count]
    near = np.convolve(padded, kernel[::-1], mode="valid")[:size]
    some = np.full(size, 1 - p_blank)
    some[0] = 1 - p_zero_blank
    likelihood = (1 - some) * blank + some * (near + anything * full.sum())
    return WrittenSum(likelihood, full, kernel, anything, (1 - some) * blank, some)
