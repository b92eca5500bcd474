"""A person's answers come into a store: each is an entry of its own, and none is ever overwritten.

Entered answers stay with their round; one is withdrawn by a later entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import Connection

from shortpencil.forms.errors import NotThere, RecordError
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.composing.answers import (
    Answer,
    AnsweredMeanwhile,
    apply_answer,
    checked_answer,
    standing,
)
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.concluding.looks import Look, answer_of_look, left_answer
from shortpencil.scan.records.keeping.settling import Settling
from shortpencil.scan.records.recording.from_file import with_answer
from shortpencil.scan.records.recording.record_json import round_from_text
from shortpencil.scan.records.recording.schema import checked_text
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.checking import refuse_broken
from shortpencil.scan.records.storing.database import writing
from shortpencil.scan.records.storing.statements import put_answer, put_round, stored_round


class Answering(Settling):
    """An open store that takes answers."""

    def answer(
        self, serial: str, field: str, value: FieldValue, who: str, when: datetime, *, seen: int | None = None
    ) -> Round | None:
        """Enter a person's answer and return the round as it now stands (None for a card that is no round).

        Parameters
        ----------
        serial, field, value : which card, which field, what it holds; None for "nothing is marked"
        who, when : who says so and when, with a time zone
        seen : how many entries this field had when the person looked at it; None does not ask

        Raises
        ------
        InputError
            when the form has no such field or the field cannot hold the value
        AnsweredMeanwhile
            when the field has got another entry since the person looked; nothing is stored then
        RecordError
            when there is no such card
        """
        with writing(self._engine) as connection:
            card = self._card_to_answer(connection, serial, field, seen)
            _, answer = apply_answer(card.fields, field, checked_answer(card.form, field, value), who, when)
            put_answer(connection, serial, answer)
            return self._settle(connection, serial)

    def leave(
        self, serial: str, field: str, who: str, when: datetime, *, seen: int | None = None
    ) -> Round | None:
        """Leave a field as doubt: it keeps its posterior and is not asked again; return the round.

        Parameters and what is raised are those of `answer`.
        """
        with writing(self._engine) as connection:
            card = self._card_to_answer(connection, serial, field, seen)
            put_answer(connection, serial, left_answer(card, field, who, when))
            return self._settle(connection, serial)

    def enter_all(
        self, serial: str, given: Sequence[tuple[str, FieldValue, int]], who: str, when: datetime
    ) -> Round | None:
        """Enter answers to several fields in one transaction, each with its count of entries as seen.

        What is raised is what `answer` raises; nothing is stored then.
        """
        with writing(self._engine) as connection:
            for field, value, seen in given:
                card = self._card_to_answer(connection, serial, field, seen)
                checked = checked_answer(card.form, field, value)
                put_answer(connection, serial, apply_answer(card.fields, field, checked, who, when)[1])
            return self._settle(connection, serial)

    def leave_all(
        self, serial: str, fields: Sequence[tuple[str, int]], who: str, when: datetime
    ) -> Round | None:
        """Leave several fields as doubt in one transaction, each with its count of entries as seen."""
        with writing(self._engine) as connection:
            for field, seen in fields:
                card = self._card_to_answer(connection, serial, field, seen)
                put_answer(connection, serial, left_answer(card, field, who, when))
            return self._settle(connection, serial)

    def look_over(self, serial: str, looks: Sequence[Look], who: str, when: datetime) -> Round | None:
        """Enter what a person says of several fields seen at once, in one transaction; return the round.

        Raises
        ------
        InputError
            when a field cannot hold its value, or must be looked at alone
        AnsweredMeanwhile
            when one of them has got another entry since; nothing is stored then
        """
        with writing(self._engine) as connection:
            for look in looks:
                card = self._card_to_answer(connection, serial, look.field, look.seen)
                put_answer(connection, serial, answer_of_look(card, look, who, when))
            return self._settle(connection, serial)

    def take_back_all(self, serial: str, given_at: datetime, who: str, when: datetime) -> int:
        """Withdraw every standing answer that was given to a card at one moment; return how many."""
        with writing(self._engine) as connection:
            card = self._card(connection, serial)
            theirs = [answer for answer in standing(card.answers) if answer.at == given_at]
            for answer in theirs:
                back = Answer(answer.field, answer.over, who, when.astimezone(UTC), answer.value, True)
                put_answer(connection, serial, back)
            self._settle(connection, serial)
            return len(theirs)

    def take_back(
        self, serial: str, field: str, who: str, when: datetime, *, seen: int | None = None
    ) -> Round | None:
        """Withdraw the field's last standing answer by a new entry; the field is again as it was before it.

        Parameters and what is raised are those of `answer`; RecordError also when no answer stands.
        """
        with writing(self._engine) as connection:
            card = self._card_to_answer(connection, serial, field, seen)
            mine = [answer for answer in standing(card.answers) if answer.field == field]
            if not mine:
                raise NotThere(
                    f"{self.name}: expected an answer to {field} of card {serial} that can be taken back, "
                    "found none."
                )
            if when.tzinfo is None:
                raise ValueError("an answer's time needs a time zone")
            back = Answer(field, mine[-1].over, who, when.astimezone(UTC), mine[-1].value, takes_back=True)
            put_answer(connection, serial, back)
            return self._settle(connection, serial)

    def answer_in_file(self, round_id: str, name: str, text: str, who: str, when: datetime) -> Round:
        """Enter a person's answer into a round that came from a file, and return it as it now stands.

        Parameters
        ----------
        round_id, name, text : which round, which place of it (`recording.from_file`), what was typed
        who, when : who says so and when, with a time zone

        Raises
        ------
        InputError
            when nothing of that name waits, or it cannot hold the value
        RecordError
            when there is no such round, or it was read from a card
        """
        with writing(self._engine) as connection:
            stored = stored_round(connection, round_id)
            if stored is None or stored.origin != "file":
                raise RecordError(
                    f"{self.name}: expected a round that came from a file, found "
                    f"{'none' if stored is None else 'one that was read from a card'} of the id {round_id}."
                )
            refuse_broken(connection, self.name, tables.rounds)
            round_ = with_answer(round_from_text(stored.record), name, text, who, when)
            put_round(connection, round_, checked_text(round_), origin="file")
            return round_

    def _card_to_answer(self, connection: Connection, serial: str, field: str, seen: int | None) -> Card:
        """Return the card as the person who answers saw it, or say why it cannot be answered."""
        stored = stored_round(connection, serial)
        if stored is not None and stored.origin == "file":
            raise RecordError(
                f"{self.name}: expected a round that was read from its card, found that {serial} came "
                "from a file. Answer what waits in it with `shortpencil answer` or under Rounds; correct the "
                "rest in the file and import it again with --replace."
            )
        card = self._card(connection, serial)
        if seen is not None and seen != sum(answer.field == field for answer in card.answers):
            raise AnsweredMeanwhile(
                f"{self.name}: expected {field} of card {serial} as it was when you looked, found that "
                "somebody answered it meanwhile. Look again."
            )
        return card
