"""The written sums of a card against what its holes add: builds the chain, runs it, reads it out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shortpencil.scan.vision.weighing.form_index import FormIndex
from shortpencil.scan.vision.weighing.holes import HoleWeights
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.second_pass import SecondPass
from shortpencil.scan.vision.weighing.slips import Slips
from shortpencil.scan.vision.weighing.sums import (
    LEAST_SHARES,
    WANTED_DOUBT,
    Additions,
    Chain,
    key_of,
    run_chain,
    sums_of,
)
from shortpencil.scan.vision.weighing.written import WrittenSum, written_sum

#: A sum whose ink is so surely blank is left out of the chain: it can say nothing.
_SURELY_BLANK = 1e-9


@dataclass(frozen=True, slots=True)
class Settled:
    """What the written sums say.

    Attributes
    ----------
    added : (H, A, M) posterior of what each hole adds
    p_missed : (H,) chance that the phase of the second pass missed on the hole
    by_phase : (Q,) posterior of the phase of the second pass
    chain : the chain behind it
    """

    added: Floats
    p_missed: Floats
    by_phase: Floats
    chain: Chain


@dataclass(frozen=True, slots=True)
class CardSums:
    """The written sums of one card: total, tallies by phase, the second pass; None where there is none."""

    total: WrittenSum | None
    tallies: tuple[WrittenSum | None, ...]
    second: SecondPass | None
    slips: Slips

    @property
    def phases(self) -> int:
        """How many phases the game has."""
        return len(self.tallies)

    def fewer(self) -> CardSums | None:
        """Return the sums to go on with when these are too many for an unclear card; None after the last.

        The posterior under fewer sums is exact, too, only less sharp; and fewer sums have fewer states. The
        total goes last: it checks a digit of every hole.
        """
        if self.second is not None or any(tally is not None for tally in self.tallies):
            return replace(self, second=None, tallies=(None,) * len(self.tallies))
        return replace(self, total=None) if self.total is not None else None

    def settle(self, holes: HoleWeights) -> Settled | None:
        """Weigh what the holes add by these sums; None where the card is too unclear for that."""
        chain: Chain | None = None
        for least_share in LEAST_SHARES:
            additions, columns, back = self._additions(holes, least_share)
            chain = run_chain(additions, self._weigh, self._most(), least_share)
            if chain is None:
                return None
            if chain.doubt <= WANTED_DOUBT or chain.capped:
                break
        assert chain is not None
        misses = holes.misses
        at_miss = columns % len(misses)
        shares = chain.added
        if back is not None:  # several additions come to the same sums: split them as their weights do
            weights = (
                holes.weight.reshape(len(holes.weight), -1)[:, columns] * self._given(holes)[:, :, at_miss]
            )
            merged = additions.weights[:, :, back]
            split = np.divide(weights, merged, out=np.zeros_like(weights), where=merged > 0)
            shares = chain.added[:, :, back] * split
        added = np.zeros((len(holes.weight), holes.weight[0].size))
        added[:, columns] = shares.sum(axis=0)
        missed = misses[at_miss].T > 0  # (n, J)
        p_missed = np.einsum("qhj,qj->h", shares[: len(missed)], missed[: len(shares)])
        by_phase = np.bincount(sums_of(chain.keys, self.phases)[2], chain.posterior, len(shares)).astype(
            float, copy=False
        )
        return Settled(added.reshape(holes.weight.shape), p_missed, by_phase, chain)

    def _given(self, holes: HoleWeights) -> Floats:
        """(Q, H, M) P(ink of the second pass on a hole | its phase, misses)."""
        misses = holes.misses
        if self.second is None:
            return np.ones((1, len(holes.weight), len(misses)))
        given = np.empty((self.phases + 1, len(holes.weight), len(misses)))
        for phase in range(self.phases):
            given[phase] = self.second.given[:, (misses[:, phase] > 0).astype(int)]
        given[-1] = self.second.given[:, :1]
        return given

    def _additions(self, holes: HoleWeights, least_share: float) -> tuple[Additions, Ints, Ints | None]:
        """What the holes may add; the columns of A * M it comes from, and which of them came together."""
        given = self._given(holes)
        bound = (holes.weight * given.max(axis=0)[:, None, :]).reshape(len(holes.weight), -1)
        columns = np.flatnonzero((bound > 0.1 * least_share * bound.max(axis=1, keepdims=True)).any(axis=0))
        misses = holes.misses
        at_miss = columns % len(misses)
        weights = holes.weight.reshape(len(bound), -1)[:, columns] * given[:, :, at_miss]
        whole = np.einsum("hm,qhm->qh", holes.weight.sum(axis=1), given)
        used = [tally is not None or self.second is not None for tally in self.tallies]
        counted = misses[at_miss] * np.array(used)
        scores = holes.scores[columns // len(misses)] * (self.total is not None)
        keys = key_of(scores, counted, np.zeros(len(columns), dtype=np.int64))
        start = np.ones(1) if self.second is None else self.second.start
        if self.total is not None and all(used):
            return Additions(keys, weights, whole, start, self.phases), columns, None
        merged, back = np.unique(keys, return_inverse=True)
        weights = weights @ (back[:, None] == np.arange(len(merged))).astype(float)
        return Additions(merged, weights, whole, start, self.phases), columns, back

    def _weigh(self, keys: Ints) -> Floats:
        """P(ink of all written sums, phase of the second pass | sums)."""
        score, misses, phase = sums_of(keys, self.phases)
        result = np.ones(len(keys))
        if self.total is not None:
            result *= self.total.likelihood[score]
        for number, tally in enumerate(self.tallies):
            if tally is not None:
                result *= tally.likelihood[misses[:, number]]
        if self.second is not None:
            result *= self.second.chosen(misses, phase, self.slips)
        return result

    def _most(self) -> float:
        result = 1.0
        for written in (self.total, *self.tallies):
            if written is not None:
                result *= float(written.likelihood.max())
        return result


def sums_of_card(
    index: FormIndex, slips: Slips, posterior: Posterior, holes: HoleWeights, second: SecondPass | None
) -> CardSums:
    """Weigh the ink of the written sums of a card."""
    count = len(index.rules.holes)
    sizes = holes.misses.max(axis=0) * count + 1
    size = int(holes.scores.max()) * count + 1
    tallies = {rule.phase: rule.tally for rule in index.rules.tallies}
    of_total = (size, slips.total_wrong, slips.total_blank, slips.total_blank)
    asked = [(index.rules.total.total if index.rules.total else None, of_total)]
    asked += [
        (tallies.get(phase), (int(size), slips.tally_wrong, slips.tally_blank, slips.zero_tally_blank))
        for phase, size in zip(index.rules.phase_ids, sizes, strict=True)
    ]
    inks = [(_ink_of(index, posterior, field_id), how) for field_id, how in asked]
    written = [None if ink is None else written_sum(ink[0], ink[1], *how) for ink, how in inks]
    total, *rest = [None if one is None or one.says_nothing(_SURELY_BLANK) else one for one in written]
    return CardSums(total, tuple(rest), second, slips)


def _ink_of(index: FormIndex, posterior: Posterior, field_id: str | None) -> tuple[Floats, float] | None:
    """Return P(ink | value) (V,) and P(ink | blank) of a written sum; None where the card has none."""
    place = index.places.get(field_id) if field_id is not None else None
    if place is None or place[0][0] != "number":
        return None
    number, row = posterior.number[place[0]].likelihood, place[1]
    return number.full[row], float(number.blank[row])


def write_sums(index: FormIndex, posterior: Posterior, sums: CardSums, chain: Chain) -> None:
    """Write the posterior of the sums' own fields."""
    score, misses, _ = sums_of(chain.keys, sums.phases)
    tallies = {rule.phase: rule.tally for rule in index.rules.tallies}
    fields = [(index.rules.total.total if index.rules.total else None, sums.total, score)]
    fields += [
        (tallies.get(phase), sums.tallies[k], misses[:, k]) for k, phase in enumerate(index.rules.phase_ids)
    ]
    explained = {
        field_id: written.explain(
            np.bincount(true, chain.posterior, len(written.likelihood)).astype(float, copy=False)
        )
        for field_id, written, true in fields
        if field_id is not None and written is not None
    }
    for field_id, (values, blank) in explained.items():
        key, row = index.places[field_id]
        posterior.number[key].set(np.array([row]), values[None], np.array([blank]))
