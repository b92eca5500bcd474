"""What a card amounts to as things stand: round or sets, what waits, which boxes show its player's hand.

Worked out from the reading that speaks for the card and all answers given about it; the store only writes it.
Nothing here knows a database.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from shortpencil.forms.form import Form
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.composing.answers import Answer, standing
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.practice_sets import sets_from
from shortpencil.scan.records.composing.rounds import PracticeSet, Round
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.concluding.lessons import Vouched, vouched_for
from shortpencil.scan.records.concluding.looks import seen_together
from shortpencil.scan.records.recording.record_json import time_from
from shortpencil.scan.records.recording.schema import checked_text


@dataclass(frozen=True, slots=True)
class Settled:
    """What is kept of a card beside its readings and its answers.

    Attributes
    ----------
    round, text : the round and its checked JSON; None for a card that is no round
    practice : the sets of a practice card
    waiting : ids of the fields that a person is asked about, in the order of the card
    together : those of them that are looked at with others
    taught : by cell id, the digits that a person or the card's sums vouch for
    """

    round: Round | None
    text: str | None
    practice: tuple[PracticeSet, ...]
    waiting: tuple[str, ...]
    together: tuple[str, ...]
    taught: Mapping[str, Vouched]


def settled_as_read(
    card: CardReading,
    form: Form,
    round_: Round | None,
    practice: Sequence[PracticeSet],
    written: Collection[str],
) -> Settled:
    """Return what a card amounts to that nobody has answered yet; `written` are its boxes that are kept."""
    return _settled(card, form, round_, practice, (), written)


def settled(
    card: Card, photos: Mapping[str, str], how: str, written: Collection[str] = frozenset()
) -> Settled:
    """Return what a card amounts to with all its answers.

    Parameters
    ----------
    card : as the store knows it
    photos : its photos' SHA-256 -> when each was read, empty where an earlier version kept no time
    how : in which of `scan.asking.WAYS_TO_ASK` its player is asked
    written : ids of its boxes that are kept to learn the player's hand

    Raises
    ------
    RecordError
        when the round does not fit the schema
    """
    if not card.form.makes_rounds:
        sets = sets_from(card.form, card.fields, card.serial, card.player)
        return _settled(card.reading, card.form, None, sets, card.answers, written)
    first = time_from(min((read_at for read_at in photos.values() if read_at), default=None))
    round_ = round_from_reading(
        card.form,
        card.reading,
        recorded_at=first,
        answers=card.answers,
        player=card.player,
        photos=list(photos),
        how=how,
    )
    return _settled(card.reading, card.form, replace(round_, id=card.serial), (), card.answers, written)


def _settled(
    card: CardReading,
    form: Form,
    round_: Round | None,
    practice: Sequence[PracticeSet],
    answers: Sequence[Answer],
    written: Collection[str],
) -> Settled:
    answered = {answer.field for answer in standing(answers)}
    waiting = round_.waiting if round_ is not None else [f for f in card.flagged if f not in answered]
    return Settled(
        round=round_,
        text=None if round_ is None else checked_text(round_),
        practice=tuple(practice),
        waiting=tuple(waiting),
        together=seen_together(card, waiting),
        taught=vouched_for(form, card, answers, written) if written else {},
    )
