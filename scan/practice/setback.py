"""What a practised phase that gives way to another has had to do with it: its misses did not fall as assumed.

Who practises putts and sees them missed as often as before, or more often, is one day sent to another phase,
since what one more session of putts should bring is learnt from the player's own rounds and tests. That is
said, with what was seen and how much it changed what is expected.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, first_upper, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.gains import Belief, Laws, fall
from shortpencil.scan.practice.helped import FirstAndLast

Floats = NDArray[np.float64]

#: Fewer sessions of a phase than these say nothing; the same number that "it helped" asks for.
LEAST_SESSIONS = 3
#: Misses have fallen short where what is believed of their fall so far is less than this share of what is
#: assumed of so many sessions before any is seen. Our choice.
SHORT = 0.8
#: Told as more often, or as fallen, from so many points on; within them it is about as often. Our choice.
POINTS = 3


@dataclass(frozen=True, slots=True)
class Setback:
    """A phase that was practised, gives way to another, and has misses that did not fall as assumed.

    Attributes
    ----------
    rates : misses as a share of marked throws at first and lately, as the season page tells them; None where
        it is too early to tell
    saves, assumed : strokes a round that one more session should save, and should if its misses had told
        nothing of how practice works
    decides : whether it would come next then
    """

    phase: str
    sessions: int
    rates: FirstAndLast | None
    saves: float
    assumed: float
    decides: bool

    @property
    def points(self) -> int | None:
        """By how many points more is missed lately; None where rates are not told."""
        if self.rates is None:
            return None
        return round(100 * self.rates.last) - round(100 * self.rates.first)


def setback_of(
    belief: Belief,
    laws: Laws,
    worth: Floats,
    chosen: int,
    sessions: Sequence[int],
    rates: Mapping[int, FirstAndLast],
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
    rates : of misses, at first and lately, of phases that can be judged
    ids : of the phases
    """
    now, assumed = worth * belief.gain(), worth * assumed_gain(belief, laws)
    short = _fallen(belief) < SHORT * _assumed_fall(belief, laws)
    found = []
    for k, phase in enumerate(ids):
        if k == chosen or sessions[k] < LEAST_SESSIONS:
            continue
        saves, else_saves = float(now[k]), float(assumed[k])
        one = Setback(phase, sessions[k], rates.get(k), saves, else_saves, bool(else_saves > now[chosen]))
        if _told(one, bool(short[k])):
            found.append(one)
    return max(found, key=lambda one: one.assumed, default=None)


def _told(one: Setback, short: bool) -> bool:
    """Say whether misses have risen; or have not fallen, and less is expected for it, as told."""
    points = -100 if one.points is None else one.points
    less = short and one.saves < one.assumed and _in_ten(one.saves) != _in_ten(one.assumed)
    return points >= POINTS or (less and (points > -POINTS or one.decides))


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


_MORE = N_("{many} are missed more often lately ({last}) than at first ({first}), in spite of {sessions}.")
_ALIKE = N_("{many} are missed about as often lately ({last}) as at first ({first}), after {sessions}.")
_LESS = N_(
    "{many} are missed less often lately ({last}) than at first ({first}), but by less than {sessions} are "
    "taken to bring."
)
_UNTOLD = N_("{many} do not seem to be missed less by as much as {sessions} are taken to bring.")
_SAVES = N_("So one more should save about {saves} strokes in ten rounds, not {assumed}.")
_DECIDES = N_(
    "So one more should save about {saves} strokes in ten rounds, not {assumed}; otherwise {many} would be "
    "next."
)
#: The season page says of a rise beyond chance that it is.
_CHANCE = N_("That may be chance, harder days or a stricter eye.")
_NO_CHANCE = N_("That may be harder days or a stricter eye, too.")


def setback_said(setback: Setback) -> str:
    """Say what was seen, what it changed, and what else may look like that."""
    many, sessions = words.MANY[setback.phase], words.sessions(setback.sessions)
    if setback.rates is None or setback.points is None:
        seen = _(_UNTOLD, many=first_upper(many), sessions=sessions)
    else:
        seen = _(
            _MORE if setback.points >= POINTS else _ALIKE if setback.points > -POINTS else _LESS,
            many=first_upper(many),
            sessions=sessions,
            first=words.percent(setback.rates.first),
            last=words.percent(setback.rates.last),
        )
    saves, assumed = _in_ten(setback.saves), _in_ten(setback.assumed)
    if saves == assumed:
        less = _("What one more should save hardly changes for it.")
    else:
        less = _(_DECIDES if setback.decides else _SAVES, saves=saves, assumed=assumed, many=many)
    other = _(_NO_CHANCE if setback.rates and setback.rates.rose else _CHANCE)
    # What other phases and tests tell of practice may outweigh it: then more is expected, and not for this.
    return f"{seen} {less} {other}" if setback.saves <= setback.assumed else f"{seen} {other}"
