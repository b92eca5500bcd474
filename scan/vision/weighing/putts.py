"""Distances of the first two putts of each hole: written where the putt is marked, the next rarely longer.

Each card's putts have a length of their own: one player's are 3 to 15 m, another's 10 to 60 ft. Those that
are read beyond doubt say which, and so whether a doubtful first digit is a 1 or a 7.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from shortpencil.scan.vision.weighing.likelihoods import Floats, Numbers, length_prior
from shortpencil.scan.vision.weighing.slips import Slips

#: Longest putt that is no surprise, by unit. Beyond about 30 m nobody putts; feet end with two boxes first.
_FAR = {"m": 30.0, "ft": 99.0}
_FARTHER = 0.1
#: A card of so many distances beyond doubt tells how far its putts are; most of the others then are as far.
_LEAST_READ, _READ, _AS_FAR = 5, 0.9, 0.9
#: Spread of the logarithm of one player's putts in one round, and the putts that it weighs as much as.
_SPREAD, _SPREAD_PUTTS = 0.7, 6


@dataclass(frozen=True, slots=True)
class Distances:
    """The two distances of H holes weighed by their ink.

    Attributes
    ----------
    cases : (H, 2, 2) P(ink | first written or not, second written or not)
    first : (2, H, V) posterior of the first distance, if the second is left out and if it is written
    second : (2, H, V) posterior of the second, if the first is left out and if it is written
    written : (2, 2, 2, 2) chance of each case given whether each putt is marked: [marked, marked, case, case]
    """

    cases: Floats
    first: Floats
    second: Floats
    written: Floats

    @property
    def given_marks(self) -> Floats:
        """(H, 2, 2) P(ink of both distances | first putt marked or not, second marked or not)."""
        likelihood: Floats = np.einsum("hij,abij->hab", self.cases, self.written)
        return likelihood

    def explain(self, marked: Floats) -> tuple[Floats, Floats, Floats]:
        """(H, V) of the first and of the second distance and (H, 2) of each left blank.

        `marked` is the posterior (H, 2, 2) of which putts are marked.
        """
        share = marked / self.given_marks
        cases = np.einsum("hab,abij,hij->hij", share, self.written, self.cases)
        first = cases[:, 1, 0, None] * self.first[0] + cases[:, 1, 1, None] * self.first[1]
        second = cases[:, 0, 1, None] * self.second[0] + cases[:, 1, 1, None] * self.second[1]
        blank = np.stack([cases[:, 0].sum(axis=1), cases[:, :, 0].sum(axis=1)], axis=1)
        return first, second, blank


def weigh_distances(first: Numbers, second: Numbers | None, unit: str, slips: Slips) -> Distances:
    """Weigh the distances of all holes; a card may ask for the first putt's alone."""
    boxes = first.spelling.digits.shape[1]
    lengths = lengths_of(first)
    full_1 = _chances(boxes, unit, lengths) * first.full
    if second is None:
        nothing = np.zeros_like(first.full)
        full_2, blank_2, after = nothing, np.ones(len(nothing)), nothing
        both_2 = nothing
    else:
        lengths = lengths_of(second) or lengths
        following = _following(boxes, unit, lengths, slips.longer_putt)
        full_2, blank_2 = _chances(boxes, unit, lengths) * second.full, second.blank
        after = second.full @ following.T
        both_2 = (full_1 @ following) * second.full
    both_1 = full_1 * after
    one, two, both = full_1.sum(axis=1), full_2.sum(axis=1), both_1.sum(axis=1)
    cases = np.stack([first.blank * blank_2, first.blank * two, one * blank_2, both], axis=1)
    p = np.array([slips.distance_astray, slips.distance])
    by_putt = np.stack([1 - p, p], axis=1)  # [marked, written]
    return Distances(
        cases=cases.reshape(-1, 2, 2),
        first=np.stack([_normal(full_1), _normal(both_1)]),
        second=np.stack([_normal(full_2), _normal(both_2)]),
        written=np.einsum("ai,bj->abij", by_putt, by_putt),
    )


def _normal(rows: Floats) -> Floats:
    total: Floats = rows.sum(axis=1, keepdims=True)
    share: Floats = rows / np.where(total > 0, total, 1.0)
    return share


#: Mean and spread of the logarithm of a card's distances; None where too few are read for that.
Lengths = tuple[float, float] | None


def lengths_of(distances: Numbers, spread: float = _SPREAD) -> Lengths:
    """How far this card's first putts are, or its second ones, or its throws, which spread so much."""
    by_value = length_prior(distances.spelling.digits.shape[1]) * distances.full
    written = by_value.sum(axis=1) > distances.blank
    share = _normal(by_value)
    best = share.argmax(axis=1)
    read = written & (share.max(axis=1) >= _READ) & (best > 0)
    if read.sum() < _LEAST_READ:
        return None
    logs = np.log(best[read])
    around = float(((logs - logs.mean()) ** 2).sum()) + _SPREAD_PUTTS * spread**2
    # Rounded: cards that differ by less share what is worked out from it.
    return round(float(logs.mean()), 1), round(float(np.sqrt(around / (len(logs) + _SPREAD_PUTTS))), 1)


@lru_cache(maxsize=64)
def _chances(boxes: int, unit: str, lengths: Lengths) -> Floats:
    """Chance of a putt's distance (V,)."""
    return chances_up_to(boxes, _FAR[unit], lengths)


def chances_up_to(boxes: int, far: float, lengths: Lengths) -> Floats:
    """Chance of a distance (V,) where one beyond `far` is rare; `lengths` says how far this card's are."""
    chance = length_prior(boxes).copy()
    chance[np.arange(len(chance)) > far] *= _FARTHER
    chance /= chance.sum()
    if lengths is not None:
        mean, spread = lengths
        of = np.arange(1, len(chance))
        as_far = np.concatenate([[0.0], np.exp(-0.5 * ((np.log(of) - mean) / spread) ** 2) / of])
        chance = _AS_FAR * as_far / as_far.sum() + (1 - _AS_FAR) * chance
    return chance


@lru_cache(maxsize=64)
def _following(boxes: int, unit: str, lengths: Lengths, longer: float) -> Floats:
    """Chance of the next putt's distance given that of the one before (V, V)."""
    chance = _chances(boxes, unit, lengths)
    square = np.ones((len(chance), len(chance))) * chance
    down, up = np.tril(square), np.triu(square, 1)
    up[-1, -1] = 1.0  # nothing is longer than the longest
    following: Floats = (1 - longer) * down / down.sum(axis=1, keepdims=True)
    following += longer * up / up.sum(axis=1, keepdims=True)
    return following
