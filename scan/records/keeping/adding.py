"""Readings and rounds come into a store: one card is one transaction, a file counts as a whole or not at all.

The same photo twice changes nothing. A photo of a sheet that is already there is held against every round
stored of it: it adds its reading to the one that it shows, or is kept as another round of that sheet. The
order in which photos come does not matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection, select, update

from shortpencil.forms.errors import RecordError
from shortpencil.forms.form import Form
from shortpencil.scan.asking import MATTERS
from shortpencil.scan.language import carried
from shortpencil.scan.reading import CARD_PICTURE, CardReading
from shortpencil.scan.records.belonging import hands, set_aside
from shortpencil.scan.records.belonging.sheets import matching, shown_by, speaking_reading
from shortpencil.scan.records.composing.rounds import PracticeSet, Round
from shortpencil.scan.records.concluding.outcomes import (
    ANOTHER,
    BETTER,
    KEPT,
    MORE,
    NEW,
    REJECTED,
    REPLACED,
    SAME_PHOTO,
    SET_ASIDE,
    TOGETHER,
    UNCHANGED,
    Kept,
)
from shortpencil.scan.records.concluding.sameness import Comparison
from shortpencil.scan.records.concluding.settled import Settled, settled_as_read
from shortpencil.scan.records.concluding.versions import Join, Shown, speaking
from shortpencil.scan.records.keeping.settling import Settling
from shortpencil.scan.records.recording.kept import reading_text, speaking_text
from shortpencil.scan.records.recording.record_json import round_from_text, time_text
from shortpencil.scan.records.recording.schema import checked_text
from shortpencil.scan.records.storing import many, tables
from shortpencil.scan.records.storing.database import writing
from shortpencil.scan.records.storing.statements import (
    add_card,
    add_form,
    add_photo,
    adding_to,
    best_reading,
    pictures_of,
    put_card,
    put_pictures,
    put_practice,
    put_settled,
    stored_round,
)

MOST_NAMED = 10  # rounds that a message names; a second import of a year has hundreds


class _OnlyTried(Exception):
    """Ends a transaction that was a dry run."""


class Adding(Settling):
    """An open store that takes readings and rounds."""

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
        card_picture: bool = True,
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
        card_picture : keep the picture of the whole flat card, too; one that is stored stays

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
            if match.set_aside:
                return Kept(SET_ASIDE, card, _under(round_, match.serial), match.serial)
            if match.same_photo:
                if not more:
                    add_photo(connection, photo)  # the rest of it may have been missing
                return Kept(SAME_PHOTO, card, _under(round_, match.serial), match.serial)
            if only_known and (match.comparison is None or not match.comparison.surely_same_round):
                return Kept(REJECTED, card)
            serial = match.serial or match.next
            round_ = _under(round_, serial)
            practice = [replace(done, card=serial) for done in practice]
            key = card.form or form.name
            add_photo(connection, photo, whole=not more)
            for one in card.together:
                add_photo(connection, one)
            self._keep_form(connection, key, form_text)
            player = round_.player if round_ else player
            beside = tuple(one for one in match.rounds if one != serial)
            values = {
                "photo": photo,
                "serial": serial,
                "flags": len(card.flagged),
                "recorded_at": time_text(round_.recorded_at if round_ else read_at) or "",
                "text": reading_text(card),
                "evidence": evidence,
            }
            if match.serial is None:
                views = hands.wanted(connection, player, card.views)
                found = settled_as_read(card, form, round_, practice, views)
                put_card(connection, serial, key, player, found)
                connection.execute(adding_to(tables.readings), values)
                pictures = card.pictures if card_picture else _of_fields(card.pictures)
                _put_rest(connection, serial, player, pictures, views, found)
                if round_ is not None and self._how(connection, player) != MATTERS:
                    round_ = self._settle(connection, serial)
                return Kept(ANOTHER if beside else NEW, card, round_, serial, match.comparison, beside)
            add_card(connection, serial, key, player)
            connection.execute(adding_to(tables.readings), values)
            if (known := _from_file(connection, serial, card, card_picture)) is not None:
                return Kept(KEPT, card, known, serial, match.comparison, beside)
            after = self._speak(connection, serial, form, Shown(card, evidence), join, card_picture)
            if after.photo_sha256 == photo:
                self._put_views(connection, serial, player, card)
            round_ = self._settle(connection, serial)
            outcome = _outcome(photo, after, match.comparison)
            return Kept(outcome, after, round_, serial, match.comparison, beside)

    def _keep_form(self, connection: Connection, key: str, text: str | Callable[[], str]) -> None:
        if key not in self._kept_forms and add_form(connection, key, text):
            self._kept_forms.add(key)

    def _put_views(self, connection: Connection, serial: str, player: str | None, card: CardReading) -> None:
        if player is not None and card.views:
            hands.put_views(connection, serial, player, card.views)

    def _speak(
        self,
        connection: Connection,
        serial: str,
        form: Form,
        new: Shown,
        join: Join | None,
        card_picture: bool,
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
        if not card_picture and CARD_PICTURE not in kept:
            pictures = _of_fields(pictures)
        if pictures != kept:
            put_pictures(connection, serial, pictures)
        return replace(after, pictures=pictures)

    def _add_rejected(self, photo: str, reason: str | None, more: bool) -> str:
        with writing(self._engine) as connection:
            known = connection.execute(
                select(tables.photos.c.sha256).where(tables.photos.c.sha256 == photo)
            ).scalar()
            if known is None or not more:
                add_photo(connection, photo, "rejected", reason, whole=not more)
        return REJECTED if known is None else SAME_PHOTO

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
                    f"or set aside: {_some(sorted(out))}. Nothing was stored; bring them back first."
                )
            if differing:
                raise RecordError(
                    f"{self.name}: expected rounds that are new or the same, found {len(differing)} that "
                    f"differ from the stored ones: {_some(differing)}. Nothing was stored; "
                    "say --replace to put them in place of the stored ones."
                )
            # A card that is here tells its own sets; those of one that was deleted stay out.
            put_practice(connection, [s for s in practice if s.card not in aside | _cards(connection)])
            if dry_run:
                raise _OnlyTried
        return outcomes


def _cards(connection: Connection) -> set[str]:
    return set(connection.execute(select(tables.cards.c.serial)).scalars())


def _put_rest(
    connection: Connection,
    serial: str,
    player: str | None,
    pictures: Mapping[str, bytes],
    views: Mapping[str, bytes],
    found: Settled,
) -> None:
    """Write what there is of a new card beside its own row and its reading's."""
    put_pictures(connection, serial, pictures, new=True)
    put_settled(connection, serial, found, new=True)
    if player is not None and views:
        hands.put_told(connection, serial, player, views, found.taught)


def _of_fields(pictures: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the pictures of single fields, without that of the whole card."""
    return {name: picture for name, picture in pictures.items() if name != CARD_PICTURE}


def _from_file(connection: Connection, serial: str, card: CardReading, card_picture: bool) -> Round | None:
    """Return the stored round where it came from a file: a photo then adds no more than its pictures."""
    stored = stored_round(connection, serial)
    if stored is None or stored.origin != "file":
        return None
    best = best_reading(connection, serial)
    if best is not None and best.photo == card.photo_sha256:
        put_pictures(connection, serial, card.pictures if card_picture else _of_fields(card.pictures))
    return round_from_text(stored.record)


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


def _some(ids: Sequence[str]) -> str:
    shown, more = ", ".join(ids[:MOST_NAMED]), len(ids) - MOST_NAMED
    return carried(f"{shown} and {more} more") if more > 0 else shown
