"""What an answer about a doubtful value is worth: how much it could change of what is told.

Each value that a doubtful one may have is laid over the round in turn, all others at their likeliest, and
what is told is worked out anew by the functions that the advice itself uses: the score, the misses of each
phase, the probability of each phase to cost most, the curve of putts. The worth of an answer is the expected
distance of these from what is told without it, by the value's own probabilities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import _, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.cost import Costs, costs_of
from shortpencil.scan.practice.games import game_of
from shortpencil.scan.practice.history import History, history_of
from shortpencil.scan.practice.marks import marks_of
from shortpencil.scan.practice.phases import phases_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.records.composing.doubt import likeliest, settled_by
from shortpencil.scan.records.composing.rounds import Round, Scalar, Value
from shortpencil.scan.records.composing.tidy import doubtful_values, misses

Floats = NDArray[np.float64]

#: Rounds that the worth is reckoned with: what is older weighs less than 1/32 in the advice.
LATEST_ROUNDS = 25
#: A stroke and a miss count one; so do ten points of a phase's probability, and ten of the curve of putts.
POINTS_AS_ONE = 0.10
#: Below this a change is not worth a word.
WORTH_A_WORD = 0.005

_CURVE_AT_M = tuple(float(d) for d in range(2, 11))


@dataclass(frozen=True, slots=True)
class Worth:
    """What an answer could change, on average over what it may be.

    Attributes
    ----------
    place : of the value in the record, as in ``holes/7/score``
    strokes : of the round's score
    misses : of each phase in this round
    focus : of the probabilities of the phases, half the sum of the changes, 0 to 1
    curve : of the chance to hole a putt, the largest change between 2 and 10 m, 0 to 1
    """

    place: str
    strokes: float
    misses: tuple[tuple[str, float], ...]
    focus: float
    curve: float

    @property
    def total(self) -> float:
        """One number to put questions in order by."""
        return (
            self.strokes
            + sum(change for _, change in self.misses)
            + (self.focus + self.curve) / POINTS_AS_ONE
        )

    @property
    def says(self) -> str:
        """Why it is worth an answer, in plain words."""
        parts = []
        if self.strokes >= WORTH_A_WORD:
            parts.append(_("your score by {amount} on average", amount=_amount(self.strokes)))
        for phase, change in self.misses:
            if change >= WORTH_A_WORD:
                parts.append(
                    _(
                        "your missed {many} by {amount} on average",
                        many=words.MANY[phase],
                        amount=_amount(change),
                    )
                )
        if self.focus >= WORTH_A_WORD:
            parts.append(_("how sure your focus is by {amount} in 100", amount=f"{100 * self.focus:.0f}"))
        if self.curve >= WORTH_A_WORD:
            parts.append(_("your putting curve by {amount} in 100", amount=f"{100 * self.curve:.0f}"))
        if not parts:
            return _("the answer changes next to nothing")
        return _("the answer changes {parts}", parts=words.listing(parts))


def _amount(change: float) -> str:
    return number(change, 1 if change >= 0.1 else 2)


@dataclass(frozen=True, slots=True)
class _Told:
    score: float
    misses: Floats
    focus: Floats
    curve: Floats


def worth_of(played: Round, others: Sequence[Round] = ()) -> tuple[Worth, ...]:
    """Return the worth of an answer about each doubtful value of a round, the most first.

    Parameters
    ----------
    played : the round with doubtful values
    others : the same player's other rounds, in any order; those of another game tell nothing
    """
    doubtful = dict(doubtful_values(played))
    if not doubtful:
        return ()
    theirs = [one for one in others if one.id != played.id and game_of(one) == game_of(played)]
    latest = [likeliest(one) for one in theirs][-LATEST_ROUNDS:]
    base = likeliest(played)
    costs = _costs(history_of([*latest, base]))
    found = []
    for place, value in doubtful.items():
        options = _options(value)
        told = [
            _told(settled_by(played, {**_likeliest(doubtful), place: v}), latest, costs, place)
            for v, _ in options
        ]
        found.append(_worth(place, told, np.array([p for _, p in options]), played.phase_ids))
    return tuple(sorted(found, key=lambda one: -one.total))


def _likeliest(doubtful: dict[str, Value]) -> dict[str, Scalar]:
    return {place: value.value for place, value in doubtful.items()}


def _options(value: Value) -> list[tuple[Scalar, float]]:
    p = 1.0 if value.p is None else value.p
    rest = max(0.0, 1.0 - p - sum(chance for _, chance in value.alternatives))
    options = [(value.value, p), *value.alternatives]
    if rest > 0.01 and all(option is not None for option, _ in options):
        options.append((None, rest))
    total = sum(chance for _, chance in options)
    return [(option, chance / total) for option, chance in options]


def _costs(history: History) -> Costs:
    return marks_of(history).costs(costs_of(history))


def _told(played: Round, latest: Sequence[Round], costs: Costs, place: str) -> _Told:
    """Work out what is told of a round that is known; costs are kept, since one value hardly moves them."""
    history = history_of([*latest, played])
    scores = [hole.score.known for hole in played.holes]
    marked = bool(history.marked.sum())
    phases = phases_of(history, costs=costs) if marked else ()
    curve = None
    if place.endswith("/distance") or "/maybe/" in place or "/throws/" in place or place.endswith("/score"):
        curve = putting_of(history).curve
    return _Told(
        score=float(sum(score for score in scores if isinstance(score, int))),
        misses=np.array([misses(played, phase) for phase in played.phase_ids], dtype=float),
        focus=np.array([phase.p_costs_most for phase in phases]) if phases else np.zeros(len(played.phases)),
        curve=np.array([curve.at(d) for d in _CURVE_AT_M]) if curve else np.zeros(len(_CURVE_AT_M)),
    )


def _worth(place: str, told: Sequence[_Told], p: Floats, phases: Sequence[str]) -> Worth:
    def apart(values: Floats) -> Floats:
        """Expected distance of each part from its mean; `values` are (answers, parts)."""
        return np.asarray(p @ np.abs(values - p @ values))

    moved = apart(np.array([one.misses for one in told]))
    return Worth(
        place=place,
        strokes=float(apart(np.array([[one.score] for one in told]))[0]),
        misses=tuple((phase, float(change)) for phase, change in zip(phases, moved, strict=True)),
        focus=float(apart(np.array([one.focus for one in told])).sum()) / 2,
        curve=float(apart(np.array([one.curve for one in told])).max()),
    )
