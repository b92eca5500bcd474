"""The store: whole transactions on cards and rounds, and nothing between before and after.

One card is one transaction. The same photo twice changes nothing. A photo of a sheet that is already there
is held against every round stored of it: it adds its reading to the one that it shows, or is kept as another
round of that sheet. Entered answers stay with their round; the order in which photos come does not matter.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    Row,
    and_,
    delete,
    func,
    insert,
    literal_column,
    or_,
    select,
    update,
)

from shortpencil.forms.errors import InputError, NotThere, RecordError
from shortpencil.forms.form import Form
from shortpencil.scan.asking import MATTERS, WAYS_TO_ASK
from shortpencil.scan.reading import CARD_PICTURE, CardReading, FieldReading, FieldValue, Lesson
from shortpencil.scan.records import forgetting, hands, many, set_aside, tables
from shortpencil.scan.records.answers import (
    Answer,
    AnsweredMeanwhile,
    apply_answer,
    checked_answer,
    lay_over,
    standing,
)
from shortpencil.scan.records.cards import Card, Waiting
from shortpencil.scan.records.checking import Damage, damages, refuse_broken
from shortpencil.scan.records.database import (
    copy_file,
    database_url,
    make_engine,
    make_folder_of,
    reading,
    remove_file_if_empty,
    store_name,
    wipe,
    writing,
)
from shortpencil.scan.records.forgetting import Traces
from shortpencil.scan.records.from_file import Place, waiting_places, with_answer
from shortpencil.scan.records.hands import KeptHand
from shortpencil.scan.records.heads import CardHead, card_heads
from shortpencil.scan.records.kept import reading_text, speaking_text
from shortpencil.scan.records.looks import Look, answer_of_look, left_answer
from shortpencil.scan.records.migrations import bring_up_to_date
from shortpencil.scan.records.other_sheets import OtherSheet
from shortpencil.scan.records.record_json import round_from_text, rounds_from_texts, time_text
from shortpencil.scan.records.rounds import PracticeSet, Round
from shortpencil.scan.records.sameness import Comparison
from shortpencil.scan.records.schema import checked_text
from shortpencil.scan.records.set_aside import Aside
from shortpencil.scan.records.settled import Settled, settled, settled_as_read
from shortpencil.scan.records.sheets import (
    SheetRound,
    matching,
    next_serial,
    rounds_of_sheet,
    serials_of,
    shown_by,
    speaking_reading,
)
from shortpencil.scan.records.statements import (
    add_card,
    add_form,
    add_photo,
    answers_of,
    best_reading,
    pictures_of,
    practice_of,
    put_answer,
    put_pictures,
    put_practice,
    put_round,
    stored_round,
)
from shortpencil.scan.records.summary import (
    COLUMNS,
    ORDER,
    STORE_SCHEMA,
    Summary,
    Undated,
    undated_of,
    with_misses,
)
from shortpencil.scan.records.told import (
    ToldSession,
    phases_known,
    put_session,
    take_back_session,
    told_sessions,
)
from shortpencil.scan.records.versions import Join, Shown, speaking

_BY_DAY: tuple[ColumnElement[object], ...] = tuple(literal_column(part) for part in ORDER)

#: What became of a reading or a round that was added.
NEW = "new"
SAME_PHOTO = "same photo"  # nothing changed
SET_ASIDE = "set aside before"  # nothing changed: the round that it shows is set aside
TOGETHER = "same round, read together"  # with the photos of it that were stored before
MORE = "same round, more marks"  # the round now follows this photo; entered answers stay
BETTER = "same round, better photo"  # the round now follows this photo; entered answers stay
KEPT = "same round, kept as it was"  # the earlier photo shows more or asks less, or a file brought the round
ANOTHER = "another round on the same sheet"  # kept as a round of its own beside those stored of the sheet
REJECTED = "rejected"  # only that the photo shows no readable card
NOT_STORED = "not stored"  # nobody knows its form
UNCHANGED = "unchanged"  # the same round was there
REPLACED = "replaced"


class _OnlyTried(Exception):
    """Ends a transaction that was a dry run."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one card's reading.

    Attributes
    ----------
    outcome : one of the words above
    reading : what speaks for the round now; the reading itself where nothing was stored
    round : as it stands now
    serial : under which the round is kept; None for a photo that was rejected
    comparison : how it differs from the stored round it was held against; None for the first of a sheet
    beside : serials of the other rounds on the same sheet
    """

    outcome: str
    reading: CardReading
    round: Round | None = None
    serial: str | None = None
    comparison: Comparison | None = None
    beside: tuple[str, ...] = ()


def form_from_field_map(text: str) -> Form:
    """Return the form of a field map's text."""
    from shortpencil.forms.field_map import layout_from_json

    return layout_from_json(text).form


def open_store(place: str | Path, *, read_form: Callable[[str], Form] = form_from_field_map) -> Store:
    """Return the store in a file or at a database URL; makes it, and the file's folder, when there is none.

    Parameters
    ----------
    place : a file, ``sqlite:///FILE`` or ``postgresql://user@host/database``
    read_form : how to get a form from the text kept with the first card of that form

    Raises
    ------
    RecordError
        when the file is no store, is damaged, locked, of a newer version, or cannot be made
    InputError
        when the URL is of another kind
    """
    url = database_url(place)
    make_folder_of(url)
    engine = make_engine(url)
    try:
        store = Store(engine, read_form)
        with writing(engine) as connection:
            version = bring_up_to_date(connection, store_name(url))
        if version != STORE_SCHEMA:
            engine.dispose()  # connections know the tables that were there when they were made
            if version:  # a new one holds nothing
                store.renew()
            else:
                with reading(engine):  # whoever would take an empty file away sees that it is open
                    pass
    except BaseException:
        engine.dispose()
        raise
    return store


def remove_if_empty(place: str | Path) -> bool:
    """Take away a store in a file that holds nothing and that no other program has open; say whether it went.

    For one that was made just now, for something that then was not to be stored.
    """
    url = database_url(place)
    if url.get_backend_name() != "sqlite" or not url.database:
        return False
    held = [table.name for table in tables.metadata.sorted_tables if table is not tables.store_version]
    return remove_file_if_empty(Path(url.database), held)


class Store:
    """An open store; close it, or use it as a context manager."""

    def __init__(self, engine: Engine, read_form: Callable[[str], Form]) -> None:
        self._engine = engine
        self._read_form = read_form
        self._forms: dict[str, Form] = {}

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def name(self) -> str:
        """What to call the store in messages."""
        return store_name(self._engine.url)

    def close(self) -> None:
        """Close every connection; the store's files are then whole without their write-ahead log."""
        self._engine.dispose()

    # -- adding ------------------------------------------------------------------------------------------

    def add_reading(
        self,
        card: CardReading,
        form: Form,
        round_: Round | None,
        *,
        form_text: str | Callable[[], str] = "",
        practice: Sequence[PracticeSet] = (),
        player: str | None = None,
        evidence: bytes | None = None,
        join: Join | None = None,
        copies: int = 1,
        more: bool = False,
        only_known: bool = False,
        read_at: datetime | None = None,
    ) -> Kept:
        """Store one card's reading and its round in one transaction; return what became of it.

        A sheet's reading is compared with every round stored of that sheet: it is more evidence of one of
        them, shows one of them with more marks, or is another round, which is then kept as its own.

        Parameters
        ----------
        card : the reading; its photo's SHA-256 is its name
        form : the form it was read by
        round_ : the round composed from it, or None for a form that is no round card
        form_text : the form's field map, or what makes it, kept so that the store can compose the round anew
        practice : the sets of a practice card
        player : the alias that a card which is no round was printed for
        evidence : what the reading rests on, for photos to come
        join : how to read several photos of one round together
        copies : on how many copies of this sheet the photo looks
        more : cards of the same photo follow; until the last one came, the photo does not count as read
        only_known : store it only where it surely shows a round that is stored: its photo shows too little to
            be read alone
        read_at : when a card was read that is no round; a round says it itself

        Raises
        ------
        RecordError
            when the record does not fit the schema or the database refuses; nothing is stored then
        """
        photo = card.photo_sha256
        if photo is None:
            raise ValueError("a reading is stored under the SHA-256 of its photo")
        if card.status != "read":
            return Kept(self._add_rejected(photo, card.reason, more), card)
        sheet = card.serial or f"photo-{photo[:16]}"
        if round_ is not None and (round_.id != sheet or round_.recorded_at is None):
            raise ValueError("the round was not composed from this reading")
        with writing(self._engine) as connection:
            match = matching(connection, sheet, card, form, copies)
            if match.same_photo or match.set_aside:
                if match.same_photo and not more:
                    add_photo(connection, photo)  # the rest of it may have been missing
                outcome = SAME_PHOTO if match.same_photo else SET_ASIDE
                return Kept(outcome, card, _under(round_, match.serial), match.serial)
            if only_known and (match.comparison is None or not match.comparison.surely_same_round):
                return Kept(REJECTED, card)
            serial = match.serial or next_serial(connection, sheet)
            round_ = _under(round_, serial)
            practice = [replace(done, card=serial) for done in practice]
            key = card.form or form.name
            add_photo(connection, photo, whole=not more)
            for one in card.together:
                add_photo(connection, one)
            add_form(connection, key, form_text)
            player = round_.player if round_ else player
            beside = tuple(one for one in serials_of(connection, sheet) if one != serial)
            add_card(connection, serial, key, player)
            values = {
                "photo": photo,
                "serial": serial,
                "flags": len(card.flagged),
                "recorded_at": time_text(round_.recorded_at if round_ else read_at) or "",
                "text": reading_text(card),
                "evidence": evidence,
            }
            connection.execute(insert(tables.readings).values(values))
            if match.serial is None:
                put_pictures(connection, serial, card.pictures)
                self._put_views(connection, serial, player, card)
                boxes = hands.cells_kept(connection, serial)
                found = settled_as_read(card, form, round_, practice, boxes)
                self._put_settled(connection, serial, found, boxes)
                if round_ is not None and self._how(connection, player) != MATTERS:
                    round_ = self._settle(connection, serial)
                return Kept(ANOTHER if beside else NEW, card, round_, serial, match.comparison, beside)
            stored = stored_round(connection, serial)
            if stored is not None and stored.origin == "file":
                best = best_reading(connection, serial)
                if best is not None and best.photo == photo:
                    put_pictures(connection, serial, card.pictures)
                known = round_from_text(stored.record)
                return Kept(KEPT, card, known, serial, match.comparison, beside)
            after = self._speak(connection, serial, form, Shown(card, evidence), join)
            if after.photo_sha256 == photo:
                self._put_views(connection, serial, player, card)
            round_ = self._settle(connection, serial)
            outcome = _outcome(photo, after, match.comparison)
            return Kept(outcome, after, round_, serial, match.comparison, beside)

    def _put_views(self, connection: Connection, serial: str, player: str | None, card: CardReading) -> None:
        if player is not None and card.views:
            hands.put_views(connection, serial, player, card.views)

    def _speak(
        self, connection: Connection, serial: str, form: Form, new: Shown, join: Join | None
    ) -> CardReading:
        """Find the reading that speaks for a round now that a photo came, and keep it with its pictures."""
        row = connection.execute(select(tables.cards).where(tables.cards.c.serial == serial)).one()
        before = speaking_reading(connection, row, but=new.reading.photo_sha256)
        kept = pictures_of(connection, serial)
        shown = []
        for one in shown_by(connection, serial):
            photo = one.reading.photo_sha256
            speaks = before is not None and photo == before.photo_sha256
            with_pictures = replace(one, reading=replace(one.reading, pictures=kept)) if speaks else one
            shown.append(new if photo == new.reading.photo_sha256 else with_pictures)
        after = speaking(form, shown, join)
        query = update(tables.cards).where(tables.cards.c.serial == serial)
        connection.execute(query.values(speaks=speaking_text(after)))
        is_new = after.photo_sha256 == new.reading.photo_sha256
        pictures = dict(after.pictures or (new.reading.pictures if is_new else kept))
        for other in (kept, new.reading.pictures):
            if CARD_PICTURE not in pictures and CARD_PICTURE in other:
                pictures[CARD_PICTURE] = other[CARD_PICTURE]
        if pictures != kept:
            put_pictures(connection, serial, pictures)
        return replace(after, pictures=pictures)

    def add_rounds(
        self,
        rounds: Iterable[Round],
        practice: Iterable[PracticeSet] = (),
        *,
        replace: bool = False,
        dry_run: bool = False,
        texts: Sequence[str] | None = None,
    ) -> dict[str, str]:
        """Store rounds and sets of practice from a file, all or none; return what became of each round.

        A round that is there already and the same stays; one that differs is refused unless `replace`. A dry
        run does it all and then takes the transaction back.

        Parameters
        ----------
        texts : what `checked_text` gives for each of the rounds, where that is known already

        Raises
        ------
        RecordError
            naming every round that differs from the stored one, or that does not fit the schema
        """
        pairs = (
            ((round_, checked_text(round_)) for round_ in rounds)
            if texts is None
            else zip(rounds, texts, strict=True)
        )
        return self.add_checked(pairs, practice, replace=replace, dry_run=dry_run)

    def add_checked(
        self,
        pairs: Iterable[tuple[Round, str]],
        practice: Iterable[PracticeSet] = (),
        *,
        replace: bool = False,
        dry_run: bool = False,
    ) -> dict[str, str]:
        """Do as `add_rounds` with rounds and what `checked_text` gives for each; none of them is kept.

        Whatever `pairs` raises on the way takes the whole transaction back.
        """
        outcomes: dict[str, str] = {}
        with suppress(_OnlyTried), writing(self._engine) as connection:
            differing, out = [], []
            aside = {one.serial for one in set_aside.listed(connection)}
            for part in many.parts_of(iter(pairs)):
                out += [round_.id for round_, _ in part if round_.id in aside]
                stored = many.stored_texts(connection, [round_.id for round_, _ in part])
                before, changed = set(stored), {}
                for round_, text in part:
                    if stored.get(round_.id) == text:
                        outcomes[round_.id] = UNCHANGED
                    elif round_.id in stored and not replace:
                        differing.append(round_.id)
                    else:
                        outcomes[round_.id] = REPLACED if round_.id in stored else NEW
                        changed[round_.id] = round_, text
                        stored[round_.id] = text
                if changed and not differing and not out:
                    many.put_rounds(connection, list(changed.values()), sorted(before & changed.keys()))
            if out:
                raise RecordError(
                    f"{self.name}: expected rounds that are new or stored, found {len(out)} that are deleted "
                    f"or set aside: {', '.join(sorted(out))}. Nothing was stored; bring them back first."
                )
            if differing:
                raise RecordError(
                    f"{self.name}: expected rounds that are new or the same, found {len(differing)} that "
                    f"differ from the stored ones: {', '.join(differing)}. Nothing was stored; "
                    "say --replace to put them in place of the stored ones."
                )
            put_practice(connection, practice)
            if dry_run:
                raise _OnlyTried
        return outcomes

    def answer(
        self,
        serial: str,
        field: str,
        value: FieldValue,
        who: str,
        when: datetime,
        *,
        seen: int | None = None,
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

    # -- how to ask --------------------------------------------------------------------------------------

    def how_to_ask(self, player: str | None) -> str:
        """Return in which of `scan.asking.WAYS_TO_ASK` a player wants to be asked."""
        with reading(self._engine) as connection:
            return self._how(connection, player)

    def ask_in(self, player: str | None, how: str) -> None:
        """Ask a player in one of `WAYS_TO_ASK` from now on; what waits follows at once.

        Raises
        ------
        InputError
            when there is no such way
        """
        if how not in WAYS_TO_ASK:
            raise InputError(f"expected one of {', '.join(WAYS_TO_ASK)}, found {how!r}.")
        table = tables.asking
        with writing(self._engine) as connection:
            connection.execute(delete(table).where(table.c.player == (player or "")))
            if how != MATTERS:
                connection.execute(insert(table).values(player=player or "", how=how))
            theirs = tables.cards.c.player
            whose = theirs.is_(None) if player is None else theirs == player
            for serial in connection.execute(select(tables.cards.c.serial).where(whose)).scalars().all():
                self._renew(connection, serial)

    def renew(self) -> None:
        """Work out anew the rounds of all cards, as after a change of what a record says."""
        with writing(self._engine) as connection:
            for serial in connection.execute(select(tables.cards.c.serial)).scalars().all():
                self._renew(connection, serial)

    def _renew(self, connection: Connection, serial: str) -> None:
        """Work one card's round out anew, unless it came from a file or its form is not kept."""
        stored = stored_round(connection, serial)
        if stored is not None and stored.origin == "file":
            return
        with suppress(RecordError):
            card = self._card(connection, serial)
            # A card of a game that an earlier version did not keep as rounds has none yet.
            if card.form.makes_rounds and (stored is None or card.reading.flagged):
                self._settle(connection, serial)

    def _how(self, connection: Connection, player: str | None) -> str:
        table = tables.asking
        query = select(table.c.how).where(table.c.player == (player or ""))
        return connection.execute(query).scalar() or MATTERS

    # -- rounds from a file -----------------------------------------------------------------------------

    def waiting_in_files(self) -> tuple[tuple[str, tuple[Place, ...]], ...]:
        """Return the rounds that came from a file and have something to ask, by id, each with its places."""
        columns = tables.rounds.c
        query = select(columns.record).where(columns.origin == "file", columns.waits > 0).order_by("id")
        with reading(self._engine) as connection:
            refuse_broken(connection, self.name, tables.rounds)
            found = rounds_from_texts(connection.execute(query).scalars())
            return tuple((round_.id, waiting_places(round_)) for round_ in found)

    def answer_in_file(self, round_id: str, name: str, text: str, who: str, when: datetime) -> Round:
        """Enter a person's answer into a round that came from a file, and return it as it now stands.

        Parameters
        ----------
        round_id, name, text : which round, which place of it (`scan.records.from_file`), what was typed
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

    # -- sessions told by hand ---------------------------------------------------------------------------

    def tell_session(self, session: ToldSession, when: datetime) -> ToldSession:
        """Keep a session of practice told by hand at `when`; return it with its number."""
        with writing(self._engine) as connection:
            return put_session(connection, session, when)

    def phases_known(self) -> tuple[str, ...]:
        """Return the phases a session can be of: drive, approach, putt, and those of cards of one's own."""
        with reading(self._engine) as connection:
            return phases_known(connection)

    def told_sessions(self) -> tuple[ToldSession, ...]:
        """Return every session told by hand, oldest first."""
        with reading(self._engine) as connection:
            return told_sessions(connection)

    def take_back_session(self, number: int) -> ToldSession:
        """Remove a session told by mistake; RecordError when there is none of that number."""
        with writing(self._engine) as connection:
            return take_back_session(connection, number)

    # -- players -----------------------------------------------------------------------------------------

    def hands(self) -> dict[str, tuple[Lesson, ...]]:
        """Return the boxes that show how each player writes, by player."""
        with reading(self._engine) as connection:
            return hands.lessons(connection)

    def kept_hands(self) -> tuple[KeptHand, ...]:
        """Return what is kept of each player's hand."""
        with reading(self._engine) as connection:
            return hands.kept_hands(connection)

    def hand_boxes(self, player: str) -> tuple[tuple[int | None, bytes], ...]:
        """Return every box kept of a player's hand with its digit, None where nothing vouches for one."""
        with reading(self._engine) as connection:
            return hands.boxes_of(connection, player)

    def erase_hand(self, player: str, *, on: bool | None = None) -> int:
        """Erase what is kept of a player's hand, bytes and all; return how many boxes that were.

        Parameters
        ----------
        on : whether to learn it from later cards; None leaves that as it is
        """
        with writing(self._engine) as connection:
            count = hands.erase(connection, player) + set_aside.erase_hand(connection, player)
            if on is not None:
                hands.switch(connection, player, on=on)
        wipe(self._engine, [tables.hand_boxes.name])  # none may be left of an erasing that was cut short, too
        return count

    def learn_hand(self, player: str) -> None:
        """Learn a player's hand from the cards to come, after it was switched off."""
        with writing(self._engine) as connection:
            hands.switch(connection, player, on=True)

    def traces_of(self, player: str) -> Traces:
        """Return how much the store holds of a player."""
        with reading(self._engine) as connection:
            return forgetting.traces_of(connection, player)

    def forget(self, player: str) -> Traces:
        """Erase a player: rounds, cards with their pictures and answers, practice, hand; return what went."""
        with writing(self._engine) as connection:
            found = forgetting.forget(connection, player)
        wipe(self._engine, [table.name for table in tables.metadata.sorted_tables])
        return found

    # -- setting aside -----------------------------------------------------------------------------------

    def set_aside(self, serial: str, when: datetime, *, kept: bool) -> Aside:
        """Take a round, or a practice card, out of everything; return what it was.

        Parameters
        ----------
        kept : keep it until it is put back; else it is erased at the next start (`empty_aside`)

        Raises
        ------
        RecordError
            when there is none of that serial
        """
        with writing(self._engine) as connection:
            return set_aside.take_out(connection, serial, when, kept=kept, store=self.name)

    def put_back(self, serial: str) -> None:
        """Put a round that was deleted or set aside back as it was; RecordError when there is none."""
        with writing(self._engine) as connection:
            set_aside.put_back(connection, serial, store=self.name)

    def aside(self) -> tuple[Aside, ...]:
        """Return what was deleted since the last start or set aside, the latest first."""
        with reading(self._engine) as connection:
            return set_aside.listed(connection)

    def empty_aside(self) -> int:
        """Erase what was deleted before this start, bytes and all; return how many rounds that were."""
        with writing(self._engine) as connection:
            count = set_aside.empty(connection)
        if count:
            wipe(self._engine, [table.name for table in tables.metadata.sorted_tables])
        return count

    # -- asking ------------------------------------------------------------------------------------------

    def photo_status(self, photo: str) -> str | None:
        """Return "read" or "rejected" for a photo of which every card was stored before, else None."""
        with reading(self._engine) as connection:
            return connection.execute(
                select(tables.photos.c.status).where(tables.photos.c.sha256 == photo, tables.photos.c.whole)
            ).scalar()

    def photos_read(self) -> frozenset[bytes]:
        """Return the SHA-256 of every photo of which every card was stored before."""
        photos = tables.photos.c
        query = select(photos.sha256).where(photos.status == "read", photos.whole)
        with reading(self._engine) as connection:
            return frozenset(map(bytes.fromhex, connection.execute(query).scalars()))

    def serials_on(self, photo: str) -> tuple[str, ...]:
        """Return the serials that the cards on a photo are kept under."""
        readings = tables.readings.c
        query = select(readings.serial).where(readings.photo == photo).order_by(readings.serial)
        with reading(self._engine) as connection:
            return tuple(connection.execute(query).scalars())

    def rounds(self, player: str | None = None) -> tuple[Round, ...]:
        """Return all rounds, oldest first; those without a date stand last, in the order recorded."""
        return tuple(self.each_round(player))

    def each_round(self, player: str | None = None) -> Iterator[Round]:
        """Yield the rounds one by one in the order of `rounds`, as they are at one moment; none is kept."""
        query = select(tables.rounds.c.record).order_by(*_BY_DAY)
        if player is not None:
            query = query.where(tables.rounds.c.player == player)
        with reading(self._engine) as connection:
            refuse_broken(connection, self.name, tables.rounds)
            found = connection.execution_options(yield_per=many.AT_ONCE).execute(query)
            yield from rounds_from_texts(found.scalars())

    def practice(self) -> tuple[PracticeSet, ...]:
        """Return every set of every practice card, oldest first."""
        with reading(self._engine) as connection:
            refuse_broken(connection, self.name, tables.practice)
            return practice_of(connection)

    def round(self, round_id: str) -> Round | None:
        """Return the round of that id, or None."""
        with reading(self._engine) as connection:
            row = stored_round(connection, round_id)
        return None if row is None else round_from_text(row.record)

    def came_from_file(self, round_id: str) -> bool:
        """Say whether a round follows a file, and not its card."""
        with reading(self._engine) as connection:
            row = stored_round(connection, round_id)
        return row is not None and row.origin == "file"

    def summaries(self, *, beside: str | None = None) -> tuple[Summary, ...]:
        """Return a line's worth of every round, in the order of `rounds`.

        Parameters
        ----------
        beside : only the round of this id and those that its player played on its day; opens no other row
        """
        rows = tables.misses.c
        query = select(*(tables.rounds.c[name] for name in COLUMNS)).order_by(*_BY_DAY)
        misses = select(rows.round, rows.phase, rows.misses).order_by(rows.round, rows.place)
        with reading(self._engine) as connection:
            if beside is None:
                refuse_broken(connection, self.name, tables.rounds)
            else:
                query = query.where(_beside(beside))
                misses = misses.where(rows.round.in_(select(tables.rounds.c.id).where(_beside(beside))))
            return with_misses(connection.execute(query).all(), connection.execute(misses).all())

    def undated(self) -> dict[str, Undated]:
        """Return what is said of the day of each round whose day is not known; opens no other round."""
        with reading(self._engine) as connection:
            rounds = tables.rounds.c
            query = select(rounds.id, rounds.record, rounds.recorded_at).where(rounds.played_on.is_(None))
            rows = connection.execute(query).all()
        return {row.id: undated_of(row.record, row.recorded_at) for row in rows}

    def card(self, serial: str) -> Card:
        """Return everything about a card; RecordError when there is none of that serial."""
        with reading(self._engine) as connection:
            return self._card(connection, serial)

    def waiting(self) -> tuple[Waiting, ...]:
        """Return every field that waits for a person, card by card, in the order of the form."""
        query = select(tables.cards.c.serial).where(tables.cards.c.waiting != "").order_by("serial")
        with reading(self._engine) as connection:
            cards = [self._card(connection, serial) for serial in connection.execute(query).scalars()]
        return tuple(
            Waiting(card.serial, field, card.fields.get(field, FieldReading(None, 0.0)))
            for card in cards
            for field in card.waiting
        )

    def answers(self, serial: str) -> tuple[Answer, ...]:
        """Return every answer ever given about a card, oldest first."""
        with reading(self._engine) as connection:
            return answers_of(connection, serial)

    def picture(self, serial: str, field: str) -> bytes | None:
        """Return the PNG of a field of a card, or None."""
        query = select(tables.pictures.c.png).where(
            tables.pictures.c.serial == serial, tables.pictures.c.field == field
        )
        with reading(self._engine) as connection:
            return connection.execute(query).scalar()

    def waiting_fields(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the cards with something to ask, by serial, each with its fields; opens no card."""
        columns = tables.cards.c
        query = select(columns.serial, columns.waiting).where(columns.waiting != "").order_by("serial")
        with reading(self._engine) as connection:
            return tuple((row.serial, tuple(row.waiting.split())) for row in connection.execute(query))

    def glance_fields(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the cards with waiting fields that are seen together on one page; opens no card."""
        columns = tables.cards.c
        query = select(columns.serial, columns.glance).where(columns.glance != "").order_by("serial")
        with reading(self._engine) as connection:
            return tuple((row.serial, tuple(row.glance.split())) for row in connection.execute(query))

    def heads(self, serial: str | None = None) -> tuple[CardHead, ...]:
        """Return every card, or one, in a line, by serial; opens no card."""
        with reading(self._engine) as connection:
            return card_heads(connection, serial)

    def sheet(self, serial: str) -> tuple[SheetRound, ...]:
        """Return every round of the sheet that a round's serial belongs to, with the photos that show it."""
        with reading(self._engine) as connection:
            return rounds_of_sheet(connection, serial)

    def other_sheets(self, player: str | None = None) -> tuple[OtherSheet, ...]:
        """Return every sheet that is no round with its answers; by day, those without one last.

        Parameters
        ----------
        player : only those of this alias, as printed or as answered on the sheet
        """
        cards, rounds = tables.cards, tables.rounds
        query = select(cards).where(~select(rounds.c.id).where(rounds.c.id == cards.c.serial).exists())
        with reading(self._engine) as connection:
            for table in (cards, tables.readings, tables.answers):
                refuse_broken(connection, self.name, table)
            found = [self._other(connection, row) for row in connection.execute(query.order_by("serial"))]
        kept = [sheet for sheet in found if sheet is not None and player in (None, sheet.player)]
        return tuple(sorted(kept, key=lambda sheet: (sheet.day is None, sheet.day or date.min)))

    def _other(self, connection: Connection, row: Row[Any]) -> OtherSheet | None:
        form, read = self._form(connection, row.form), speaking_reading(connection, row)
        if form.makes_rounds or read is None:
            return None
        answers = answers_of(connection, row.serial)
        named = lay_over(read.fields, answers).get("player")
        player = (named.value if named is not None and isinstance(named.value, str) else "") or row.player
        return OtherSheet(row.serial, form, player, read.fields, answers, tuple(row.waiting.split()))

    def form_text(self, fingerprint: str) -> str | None:
        """Return the field map kept under a form's fingerprint, or None."""
        query = select(tables.forms.c.text).where(tables.forms.c.fingerprint == fingerprint)
        with reading(self._engine) as connection:
            return connection.execute(query).scalar() or None

    def damages(self) -> tuple[Damage, ...]:
        """Return all that is not as it was written; nothing when the store is sound."""
        with reading(self._engine) as connection:
            return damages(connection)

    def size(self) -> tuple[int, int]:
        """Return how many rounds and how many cards there are."""
        with reading(self._engine) as connection:
            counts = [
                connection.execute(select(func.count()).select_from(table)).scalar_one()
                for table in (tables.rounds, tables.cards)
            ]
        return counts[0], counts[1]

    def copy_to(self, path: Path) -> None:
        """Copy a store in a file, as it is at one moment, into a new file; others may use it meanwhile.

        Raises
        ------
        RecordError
            for a store on a server
        """
        copy_file(self._engine, path)

    # -- inside one transaction --------------------------------------------------------------------------

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

    def _add_rejected(self, photo: str, reason: str | None, more: bool) -> str:
        with writing(self._engine) as connection:
            known = connection.execute(
                select(tables.photos.c.sha256).where(tables.photos.c.sha256 == photo)
            ).scalar()
            if known is None or not more:
                add_photo(connection, photo, "rejected", reason, whole=not more)
        return REJECTED if known is None else SAME_PHOTO

    def _form(self, connection: Connection, fingerprint: str) -> Form:
        if fingerprint not in self._forms:
            text = connection.execute(
                select(tables.forms.c.text).where(tables.forms.c.fingerprint == fingerprint)
            ).scalar_one()
            if not text:
                raise NotThere(
                    f"{self.name}: expected the field map of the form {fingerprint}, found none. "
                    "Read a photo of that card again, with the field map it was printed with."
                )
            self._forms[fingerprint] = self._read_form(text)
        return self._forms[fingerprint]

    def _card(self, connection: Connection, serial: str) -> Card:
        for table in (tables.cards, tables.readings, tables.answers, tables.pictures):
            refuse_broken(connection, self.name, table, serial)
        row = connection.execute(select(tables.cards).where(tables.cards.c.serial == serial)).one_or_none()
        read = None if row is None else speaking_reading(connection, row)
        if row is None or read is None:
            raise NotThere(
                f"{self.name}: expected a card with the serial {serial}, found none. "
                "A round that came from a file is changed on its page: `shortpencil review`."
            )
        return Card(
            serial=serial,
            form=self._form(connection, row.form),
            reading=replace(read, pictures=pictures_of(connection, serial)),
            answers=answers_of(connection, serial),
            player=row.player,
            waiting=tuple(row.waiting.split()),
        )

    def _settle(self, connection: Connection, serial: str) -> Round | None:
        """Write what a card amounts to by its best reading and all its answers; return its round."""
        card = self._card(connection, serial)
        of = tables.readings.c
        photos = connection.execute(select(of.photo, of.recorded_at).where(of.serial == serial)).all()
        boxes = hands.cells_kept(connection, serial)
        read_at = {photo.photo: photo.recorded_at for photo in photos}
        found = settled(card, read_at, self._how(connection, card.player), boxes)
        self._put_settled(connection, serial, found, boxes)
        return found.round

    def _put_settled(
        self, connection: Connection, serial: str, found: Settled, boxes: Collection[str]
    ) -> None:
        query = update(tables.cards).where(tables.cards.c.serial == serial)
        connection.execute(query.values(waiting=" ".join(found.waiting), glance=" ".join(found.together)))
        if found.round is not None and found.text is not None:
            put_round(connection, found.round, found.text, origin="card")
        put_practice(connection, found.practice)
        if boxes:
            hands.tell(connection, serial, found.taught)


def _beside(round_id: str) -> ColumnElement[bool]:
    """Say in SQL that a round is the one of an id, or of the same player and day."""
    one, rounds = tables.rounds.alias(), tables.rounds.c
    same = select(one.c.id).where(
        one.c.id == round_id,
        one.c.played_on == rounds.played_on,
        func.coalesce(one.c.player, "") == func.coalesce(rounds.player, ""),
    )
    day = select(one.c.played_on).where(one.c.id == round_id).scalar_subquery()
    return or_(rounds.id == round_id, and_(rounds.played_on == day, same.exists()))


def _under(round_: Round | None, serial: str | None) -> Round | None:
    """Return the round under the serial it is kept under."""
    return round_ if round_ is None or serial in (None, round_.id) else replace(round_, id=serial)


def _outcome(photo: str, after: CardReading, comparison: Comparison | None) -> str:
    """Say what a photo was to a round that was stored before."""
    if after.photo_sha256 == photo and comparison is not None and comparison.added:
        return MORE
    if photo in after.together or (after.photo_sha256 == photo and after.together):
        return TOGETHER
    return BETTER if after.photo_sha256 == photo else KEPT
