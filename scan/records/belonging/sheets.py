"""The rounds of one sheet: which there are, which of them a new photo shows, how another is called.

A serial number names a sheet. The first round read from it is kept under the serial itself, others under
SERIAL-2, SERIAL-3, ..., in the order they came. Each function works inside a transaction of its caller.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import (
    CompoundSelect,
    Connection,
    Row,
    bindparam,
    literal_column,
    select,
    union,
    union_all,
)

from shortpencil.forms.form import Form
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.belonging import set_aside
from shortpencil.scan.records.concluding.sameness import ANOTHER_FORM, Comparison, compare, fields_of_round
from shortpencil.scan.records.concluding.versions import Shown
from shortpencil.scan.records.recording.kept import compared_fields, reading_from_text
from shortpencil.scan.records.recording.record_json import round_from_text
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.statements import (
    answers_of,
    best_reading,
    of_sheet,
    sources_of,
    stored_round,
    the_sheet,
)

AT_ONCE = 250  # rounds that are asked for together; SQLite takes 32,766 parameters


@dataclass(frozen=True, slots=True)
class Photo:
    """One photo of a round: where it came from, when it was read, how much it asks, whether it speaks."""

    sha256: str
    source: str
    recorded_at: str
    questions: int
    speaks: bool


@dataclass(frozen=True, slots=True)
class SheetRound:
    """One round of a sheet with the photos that show it; none for a round that came from a file."""

    serial: str
    photos: tuple[Photo, ...]


def serials_of(connection: Connection, sheet: str, *, aside: bool = False) -> tuple[str, ...]:
    """Return the serials under which rounds of a sheet are kept, in the order they came."""
    places = [tables.cards.c.serial, tables.rounds.c.id, *([tables.aside.c.serial] if aside else [])]
    query = union(*(select(column).where(of_sheet(column, connection.dialect.name)) for column in places))
    return _in_order(sheet, connection.execute(query, the_sheet(sheet)).scalars())


def _in_order(sheet: str, serials: Iterable[str]) -> tuple[str, ...]:
    """Return those serials that are of a sheet's rounds, each once, in the order they came."""
    found = {serial for serial in serials if _number(sheet, serial)}
    return tuple(sorted(found, key=lambda serial: _number(sheet, serial)))


def _number(sheet: str, serial: str) -> int:
    """Return 1 for the sheet's first round, 2, 3, ... for the others, 0 for what is none of its rounds."""
    if serial == sheet:
        return 1
    more = re.fullmatch(r"-([1-9][0-9]{0,5})", serial.removeprefix(sheet), re.ASCII)
    return int(more[1]) if more and serial.startswith(sheet) and int(more[1]) > 1 else 0


def sheet_of(connection: Connection, serial: str) -> str:
    """Return the sheet that a round's serial belongs to; a serial that is no SERIAL-N is a sheet itself."""
    sheet, dash, _ = serial.rpartition("-")
    if not dash or not _number(sheet, serial):
        return serial
    return sheet if len(serials_of(connection, sheet, aside=True)) > 1 else serial


def _next(sheet: str, taken: Sequence[str]) -> str:
    """Return the serial under which the next round of a sheet is kept; one set aside keeps its own."""
    return sheet if not taken else f"{sheet}-{_number(sheet, taken[-1]) + 1}"


@dataclass(frozen=True, slots=True)
class Match:
    """Which stored round a new photo shows, and how the two differ; `serial` is None for another round.

    `same_photo` says that this very photo of the round was stored before; `set_aside` that the round is.
    `rounds` are the sheet's, `next` is the serial that another one gets, which nothing is kept under.
    """

    serial: str | None
    comparison: Comparison | None = None
    same_photo: bool = False
    set_aside: bool = False
    rounds: tuple[str, ...] = ()
    next: str = ""


def matching(connection: Connection, sheet: str, card: CardReading, form: Form, copies: int) -> Match:
    """Return the stored round of a sheet that a reading shows.

    Parameters
    ----------
    copies : on how many copies of this sheet the reading's photo looks
    """
    known = _known(connection, sheet, card.photo_sha256 or "")
    serials = _in_order(sheet, known.stored)
    found = _compared(connection, serials, card, form)
    came = known.of_photo | _came_from(connection, serials, card.photo_sha256 or "")
    with_photo = [serial for serial in serials if serial in came]
    for serial in with_photo:
        if found[serial].same_round:
            return Match(serial, found[serial], same_photo=True, rounds=serials)
    if len(with_photo) >= copies:
        # Read otherwise now, by a newer reader perhaps, and still the same paper.
        return Match(with_photo[0], found[with_photo[0]], same_photo=True, rounds=serials)
    same = [serial for serial in serials if found[serial].same_round and serial not in with_photo]
    if same:
        best = min(same, key=lambda serial: found[serial].against)
        return Match(best, found[best], rounds=serials)
    for serial, fields, key in set_aside.fields_of_sheet(connection, sheet) if known.aside else ():
        if key == (card.form or form.name) and compare(form, fields, card.fields).same_round:
            return Match(serial, set_aside=True, rounds=serials)
    nearest = min(serials, key=lambda serial: found[serial].against, default=None)
    free = _next(sheet, _in_order(sheet, {*serials, *known.aside}))
    return Match(None, None if nearest is None else found[nearest], rounds=serials, next=free)


@dataclass(frozen=True, slots=True)
class _Known:
    """Serials that begin with a sheet's, of what is stored and of what is set aside; those of a photo."""

    stored: set[str]
    aside: set[str]
    of_photo: set[str]


@cache
def _asking_what_is_known(dialect: str) -> CompoundSelect[Any]:
    of_photo = select(literal_column("'photo'"), tables.readings.c.serial)
    places = {"card": tables.cards.c.serial, "round": tables.rounds.c.id, "aside": tables.aside.c.serial}
    return union_all(
        of_photo.where(tables.readings.c.photo == bindparam("photo")),
        *(
            select(literal_column(f"'{name}'"), column).where(of_sheet(column, dialect))
            for name, column in places.items()
        ),
    )


def _known(connection: Connection, sheet: str, photo: str) -> _Known:
    """Return what a new photo may be held against, asked for in one statement."""
    query = _asking_what_is_known(connection.dialect.name)
    found: dict[str, set[str]] = {"photo": set(), "card": set(), "round": set(), "aside": set()}
    for name, serial in connection.execute(query, {"photo": photo, **the_sheet(sheet)}):
        found[name].add(serial)
    return _Known(found["card"] | found["round"], found["aside"], found["photo"])


def _came_from(connection: Connection, serials: Sequence[str], photo: str) -> set[str]:
    """Return those of these rounds whose records name a photo."""
    rounds, found = tables.rounds.c, set()
    for some in _parts(serials):
        holds = rounds.record.contains(photo, autoescape=True)
        query = select(tables.rounds).where(rounds.id.in_(some), holds)
        found |= {row.id for row in connection.execute(query) if photo in sources_of(row)}
    return found


def _parts(serials: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(serials), AT_ONCE):
        yield serials[start : start + AT_ONCE]


def _compared(
    connection: Connection, serials: Sequence[str], card: CardReading, form: Form
) -> dict[str, Comparison]:
    """Hold a reading against every stored round of its sheet.

    Of a sheet that was photocopied there are many, and each copy's photo is held against all of them: what is
    stored is asked for in parts, and of each text only what two readings are compared by is made.
    """
    key, found = card.form or form.name, {}
    for some in _parts(serials):
        answered = _answered(connection, some)
        for serial, (stored_form, text) in _speaking(connection, some).items():
            answers = answers_of(connection, serial) if serial in answered else ()
            found[serial] = (
                ANOTHER_FORM
                if stored_form != key
                else compare(form, compared_fields(text), card.fields, answers)
            )
    return {
        serial: found[serial] if serial in found else _compared_to_round(connection, serial, key, card, form)
        for serial in serials
    }


def _answered(connection: Connection, serials: Sequence[str]) -> set[str]:
    column = tables.answers.c.serial
    return set(connection.execute(select(column).where(column.in_(serials)).distinct()).scalars())


def _speaking(connection: Connection, serials: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Return form and text of the reading that speaks for each card, as `speaking_reading` chooses it."""
    cards, readings = tables.cards.c, tables.readings.c
    query = select(cards.serial, cards.form, cards.speaks).where(cards.serial.in_(serials))
    forms, found = {}, {}
    for serial, form, speaks in connection.execute(query):
        forms[serial] = form
        if speaks is not None:
            found[serial] = form, speaks
    alone = [serial for serial in forms if serial not in found]
    order = (readings.serial, readings.flags, readings.photo)
    texts = select(readings.serial, readings.text).where(readings.serial.in_(alone)).order_by(*order)
    for serial, text in connection.execute(texts):
        found.setdefault(serial, (forms[serial], text))
    return found


def _compared_to_round(
    connection: Connection, serial: str, key: str, card: CardReading, form: Form
) -> Comparison:
    """Hold a reading against a round of which no photo is kept."""
    stored = stored_round(connection, serial)
    if stored is None or stored.form != key:
        return ANOTHER_FORM
    return compare(form, fields_of_round(form, round_from_text(stored.record)), card.fields)


def speaking_reading(connection: Connection, card: Row[Any], but: str | None = None) -> CardReading | None:
    """Return the reading that speaks for a card, without pictures; None where no photo was read.

    Of a card with one photo that photo speaks; `but` was added just now and does not speak yet.
    """
    if card.speaks is not None:
        return reading_from_text(card.speaks)
    best = best_reading(connection, card.serial, but)
    return None if best is None else reading_from_text(best.text, photo_sha256=best.photo)


def shown_by(connection: Connection, serial: str) -> list[Shown]:
    """Return each photo's own reading of a round, without pictures."""
    query = select(tables.readings).where(tables.readings.c.serial == serial).order_by("photo")
    return [
        Shown(
            reading_from_text(row.text, photo_sha256=row.photo),
            None if row.evidence is None else bytes(row.evidence),
        )
        for row in connection.execute(query)
    ]


def rounds_of_sheet(connection: Connection, serial: str) -> tuple[SheetRound, ...]:
    """Return every round of the sheet that a round's serial belongs to, with the photos that show it."""
    return tuple(
        SheetRound(one, _photos(connection, one))
        for one in serials_of(connection, sheet_of(connection, serial))
    )


def _photos(connection: Connection, serial: str) -> tuple[Photo, ...]:
    row = connection.execute(select(tables.cards).where(tables.cards.c.serial == serial)).one_or_none()
    speaks = None if row is None else speaking_reading(connection, row)
    spoken = set() if speaks is None else {speaks.photo_sha256, *speaks.together}
    query = select(tables.readings).where(tables.readings.c.serial == serial)
    return tuple(
        Photo(row.photo, json.loads(row.text)["source"], row.recorded_at, row.flags, row.photo in spoken)
        for row in connection.execute(query.order_by("recorded_at", "photo"))
    )
