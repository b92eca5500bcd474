"""How a doubtful field is asked: one by one, at a glance, or not at all. Pure.

Everything is weighed in seconds of the player's time. A field is flagged below `SURE`, where a
question of 2 s takes away a risk of 0.02: so a wrong value of full weight is taken to cost 100 s. A question
by itself costs 2 s; a field seen beside others on one page costs 0.5 s, and of wrong values shown there an
eye that can only compare overlooks three in ten (tests/bench/bench_glance.py; people, who can also read,
should do better). From these numbers both thresholds follow.

What must be looked at is asked one by one, however sure the reader is: two bubbles filled, a mark struck out,
a box written over, ink that a sum overruled, a cell outside the picture, photos that disagree.
"""

from __future__ import annotations

import re

from shortpencil.scan.reading import (
    DIFFERING,
    GLANCE,
    MISCOUNTED,
    ONE_BY_ONE,
    OVERRULED,
    SCRIBBLED,
    SEVERAL,
    STRUCK,
    UNSEEN,
    FieldReading,
    FieldValue,
)

#: A field is flagged when the posterior of its answer is below this. Chosen by `tests/bench/bench_risk.py` on
#: 383 simulated photos of as many hands (tuning seeds, every condition mixed), by upper bounds at 95 %. At
#: 0.98 at most 0.28 of 1,000 written digits are wrong in silence (3 found of 28,115; a person keying once:
#: 0.37) and 0.034 of 1,000 bubbles (1 of 140,944; keying twice: 0.046), for 2.6 and 1.6 fields asked a card.
#: 0.97 would leave 0.37 of the digits; 0.99 would ask 1.4 fields a card more for 2 silent errors less on all
#: 383 cards. One threshold for all kinds of fields, since a posterior means the same on each: on 483 photos
#: of an earlier network 0.97 for the distances, half of what is asked, saved 0.25 fields a card and cost 4
#: more silent errors.
SURE = 0.98

#: What a player can choose: to be asked all that is doubtful, what matters, or only what must be asked alone.
EVERYTHING, MATTERS, LITTLE = "everything", "matters", "little"
WAYS_TO_ASK = (EVERYTHING, MATTERS, LITTLE)

#: What one wrong value of full weight is worth, and what it takes to look.
WRONG_S, QUESTION_S, GLANCED_S = 100.0, 2.0, 0.5
#: Share of the wrong values on the page of all doubtful cells that an eye overlooks.
OVERLOOKED = 0.3

#: Asked alone from this risk on: what the glance would overlook is worth more than the seconds it saves.
ALONE_FROM = (QUESTION_S - GLANCED_S) / (WRONG_S * OVERLOOKED)
#: Left as doubt below this risk: half a second of looking is worth more.
LEFT_BELOW = GLANCED_S / (WRONG_S * (1 - OVERLOOKED))

#: Part of a field's id after its row -> what a wrong value changes, as a share of what a wrong score or mark
#: does: by how much the probability of each phase to be the focus moves, over 12 invented players of ten
#: rounds (`python -m tests.bench.bench_worth`: a score 3.1, putt 1.7, approach 0.8, drive 0.5, penalty 0.3,
#: par 0.2, a distance 5 m off 0.06 and 1 m off 0.01 points; the curve of putts and the leading cause move by
#: 0.8 and 0.6 points at most). Nothing else is worked out from the notes; sums are only held against what
#: they sum.
_WEIGHTS = {
    "penalty": 0.3,
    "par": 0.2,
    "way": 0.1,
    "forehand": 0.05,
    "why": 0.25,
    "total": 0.2,
    "wind": 0.05,
    "words": 0.0,
    "resolve": 0.0,
}
#: The same of fields that there is one of for each phase or column of throws.
_TALLY, _STANCE = 0.1, 0.03
#: A distance counts by how far off it is: so much a metre or foot, up to so much.
_DISTANCE_A_UNIT, _DISTANCE_MOST = 0.02, 0.1

#: Kinds of doubt where a person must look: then the reader has no answer to offer.
_MUST_LOOK = frozenset({SEVERAL, STRUCK, SCRIBBLED, OVERRULED, UNSEEN, DIFFERING, MISCOUNTED})

_ROW = re.compile(r"^[a-z]+\d\d\.")


def ask_of(
    field_id: str,
    value: FieldValue,
    p: float,
    alternatives: tuple[tuple[FieldValue, float], ...],
    *,
    must: bool = False,
) -> str | None:
    """Return how a flagged field is asked, or None where it is left as doubt.

    Parameters
    ----------
    value, p, alternatives : what it may hold, as in `FieldReading`
    must : whether a person must look whatever the probability
    """
    if must:
        return ONE_BY_ONE
    risk = risk_of(field_id, value, p, alternatives)
    if risk > ALONE_FROM:
        return ONE_BY_ONE
    return GLANCE if risk >= LEFT_BELOW else None


def must_look(answer: FieldReading) -> bool:
    """Say whether a field has no answer before a person has looked."""
    return answer.kind in _MUST_LOOK


def is_asked(answer: FieldReading, how: str) -> bool:
    """Say whether a player who wants to be asked in one of `WAYS_TO_ASK` is asked about a field."""
    if answer.flag is None:
        return False
    if how == EVERYTHING:
        return True
    return answer.ask == ONE_BY_ONE or (how == MATTERS and answer.ask is not None)


def risk_of(
    field_id: str, value: FieldValue, p: float, alternatives: tuple[tuple[FieldValue, float], ...]
) -> float:
    """Return the chance that `value` is wrong, each way of being wrong counted by its weight."""
    known = sum(weight_of(field_id, value, other) * chance for other, chance in alternatives)
    rest = max(0.0, 1.0 - p - sum(chance for _, chance in alternatives))
    return known + rest * weight_of(field_id, value, None)


def weight_of(field_id: str, value: FieldValue, other: FieldValue) -> float:
    """Return what taking `value` for `other` changes, as a share of what a wrong score does."""
    key = _ROW.sub("", field_id)
    if key.endswith(".distance"):
        if isinstance(value, int) and isinstance(other, int):
            return min(_DISTANCE_A_UNIT * abs(value - other), _DISTANCE_MOST)
        return _DISTANCE_MOST
    if key.startswith("tally."):
        return _TALLY
    return _STANCE if key.endswith(".stance") else _WEIGHTS.get(key, 1.0)
