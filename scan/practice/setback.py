"""What a practised phase that gives way to another has had to do with it: its misses did not fall as assumed.

Who practises putts and sees them missed as often as before, or more often, is one day sent to another phase,
since what one more session of putts should bring is learnt from the player's own rounds and tests. That is
said, with what was seen and how much it changed what is expected.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.gains import Belief, Laws, fall

Floats = NDArray[np.float64]

#: Fewer sessions of a phase than these say nothing; the same number that "it helped" asks for.
LEAST_SESSIONS = 3
#: Misses have fallen short where what is believed of their fall so far is less than this share of what is
#: assumed of so many sessions before any is seen. Our choice.
SHORT = 0.8
#: Rates before and since are told from so many marked throws on.
LEAST_THROWS = 30
#: Told as more often, or as fallen, from so many points on; within them it is about as often. Our choice.
POINTS = 3


@dataclass(frozen=True, slots=True)
class Setback:
    """A phase that was practised, gives way to another, and has misses that did not fall as assumed.

    Attributes
    ----------
    before, since : misses as a share of marked throws before and after its first session counts; None where
        too few are marked on either side
    saves, assumed : strokes a round that one more session should save, and should if its misses had told
        nothing of how practice works
    decides : whether it would come next then
    """

    phase: str
    sessions: int
    before: float | None
    since: float | None
    saves: float
    assumed: float
    decides: bool

    @property
    def points(self) -> int | None:
        """By how many points more is missed since; None where rates are not told."""
        if self.before is None or self.since is None:
            return None
        return round(100 * self.since) - round(100 * self.before)


def setback_of(
    belief: Belief,
    laws: Laws,
    worth: Floats,
    chosen: int,
    sessions: Sequence[int],
    seen: tuple[Floats, Floats, Floats],
    ids: Sequence[str],
) -> Setback | None:
    """Return the phase that gives way and whose misses did not fall as assumed, or None.

    The one that would be worth most if they had. Misses that rose are always told of; those that stayed where
    less is expected for it, and those that fell, if less than assumed, only where that decides.

    Parameters
    ----------
    belief : what rounds and tests tell of how practice works, a row a phase
    laws : what was believed of it before any
    worth : strokes a round that a rate of misses of 1 would cost, by phase, (P,)
    chosen : number of the phase that is next
    sessions : sessions ever, by phase
    seen : misses, marked throws and sessions before, each by phase and round, (P, R)
    ids : of the phases
    """
    now, assumed = worth * belief.gain(), worth * assumed_gain(belief, laws)
    short = _fallen(belief) < SHORT * _assumed_fall(belief, laws)
    found = []
    for k, phase in enumerate(ids):
        if k == chosen or sessions[k] < LEAST_SESSIONS:
            continue
        rates = _rates(*(one[k] for one in seen))
        saves, else_saves = float(now[k]), float(assumed[k])
        one = Setback(phase, sessions[k], *rates, saves, else_saves, bool(else_saves > now[chosen]))
        if _told(one, bool(short[k])):
            found.append(one)
    return max(found, key=lambda one: one.assumed, default=None)


def _told(one: Setback, short: bool) -> bool:
    """Say whether misses have risen; or have not fallen, and less is expected for it, as told."""
    points = -100 if one.points is None else one.points
    less = short and one.saves < one.assumed and _in_ten(one.saves) != _in_ten(one.assumed)
    return points >= POINTS or (less and (points > -POINTS or one.decides))


def _rates(misses: Floats, throws: Floats, before: Floats) -> tuple[float | None, float | None]:
    """Return the rates of misses before and since; None where too few throws are marked on either side."""
    sides = [(misses[at].sum(), throws[at].sum()) for at in (before == 0, before > 0)]
    if min(thrown for _, thrown in sides) < LEAST_THROWS:
        return None, None
    first, then = (float(missed / thrown) for missed, thrown in sides)
    return first, then


def _in_ten(strokes: float) -> str:
    return number(10 * strokes, 1)


def assumed_gain(belief: Belief, laws: Laws) -> Floats:
    """Return the fall of the rate by one session as the laws alone have it, from today's rate, (P,)."""
    odds = np.log(belief.rate()) - np.log1p(-belief.rate())
    most, speed, weight = map(np.asarray, (laws.most, laws.speed, laws.weight))
    now, then = (fall(belief.sessions[:, None] + more, most, speed) for more in (0.0, 1.0))
    after = 1 / (1 + np.exp(then - now - odds[:, None]))
    return np.asarray((belief.rate()[:, None] - after) @ weight)


def _fallen(belief: Belief) -> Floats:
    """Return by how much the log odds of a miss are believed to have fallen so far, (P,)."""
    return np.asarray(np.einsum("psl,pl->p", belief.weight, _falls(belief, belief.laws)))


def _assumed_fall(belief: Belief, laws: Laws) -> Floats:
    return np.asarray(_falls(belief, laws) @ np.asarray(laws.weight))


def _falls(belief: Belief, laws: Laws) -> Floats:
    return fall(belief.sessions[:, None], np.asarray(laws.most), np.asarray(laws.speed))


_MORE = N_(
    "Since their first session {many} have been missed more often ({since} of throws, {before} before)."
)
_ALIKE = N_(
    "Since their first session {many} have been missed about as often as before ({since} of throws, {before} "
    "before)."
)
_LESS = N_(
    "Misses of {many} have fallen less than is assumed of {sessions} ({since} of throws since the first, "
    "{before} before)."
)
_UNTOLD = N_("Misses of {many} have fallen less than is assumed of {sessions}.")

_SAVES = N_("So one more should save about {saves} strokes in ten rounds, not {assumed}.")
_DECIDES = N_(
    "So one more should save about {saves} strokes in ten rounds, not {assumed}; otherwise {many} would be "
    "next."
)


def setback_said(setback: Setback) -> str:
    """Say what was seen, what it changed, and what else may look like that."""
    many = words.MANY[setback.phase]
    if setback.before is None or setback.since is None or setback.points is None:
        seen = _(_UNTOLD, many=many, sessions=words.sessions(setback.sessions))
    else:
        seen = _(
            _MORE if setback.points >= POINTS else _ALIKE if setback.points > -POINTS else _LESS,
            many=many,
            sessions=words.sessions(setback.sessions),
            since=words.percent(setback.since),
            before=words.percent(setback.before),
        )
    saves, assumed = _in_ten(setback.saves), _in_ten(setback.assumed)
    if saves == assumed:
        less = _("What one more should save hardly changes for it.")
    else:
        less = _(_DECIDES if setback.decides else _SAVES, saves=saves, assumed=assumed, many=many)
    other = _("That may be chance, harder days or a stricter eye; later rounds can change it.")
    # What other phases and tests tell of practice may outweigh it: then more is expected, and not for this.
    return f"{seen} {less} {other}" if setback.saves <= setback.assumed else f"{seen} {other}"
