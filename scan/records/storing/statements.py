"""What the store does to single tables, each inside a transaction that its caller holds."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Insert,
    Row,
    Table,
    and_,
    bindparam,
    delete,
    insert,
    or_,
    select,
    update,
)

from shortpencil.scan.records.composing.answers import Answer
from shortpencil.scan.records.composing.rounds import PracticeSet, Round
from shortpencil.scan.records.composing.tidy import Facts, hole_facts, miss_facts, sums, throw_facts
from shortpencil.scan.records.concluding.settled import Settled
from shortpencil.scan.records.recording.kept import answer_from_text, answer_text, value_from_text, value_text
from shortpencil.scan.records.recording.record_json import practice_from_json, practice_to_json, time_text
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import by_bytes


def of_sheet(column: Column[str], dialect: str) -> ColumnElement[bool]:
    """Say in SQL that a serial is a sheet's or begins with it and a dash, as an index finds it.

    PostgreSQL may sort by a language's rules, in which a dash counts for nothing (`tables.BY_BYTES`). The
    values are those of `the_sheet`.
    """
    by_bytes = column if dialect == "sqlite" else column.collate("C")
    dashed = and_(by_bytes >= bindparam("dashed"), by_bytes < bindparam("after_dashed"))
    return or_(column == bindparam("sheet"), dashed)


def the_sheet(sheet: str) -> dict[str, str]:
    """Return the values of a statement with `of_sheet`."""
    return {"sheet": sheet, "dashed": f"{sheet}-", "after_dashed": f"{sheet}{chr(ord('-') + 1)}"}


@cache
def adding_to(table: Table) -> Insert:
    """Return the statement that adds rows to a table, made once: to make one costs as much as to run it."""
    return insert(table)


def stored_round(connection: Connection, round_id: str) -> Row[Any] | None:
    """Return the row of a round, or None."""
    return connection.execute(select(tables.rounds).where(tables.rounds.c.id == round_id)).one_or_none()


def sources_of(row: Row[Any]) -> Sequence[str]:
    """Return the SHA-256 of the photos that a stored round came from."""
    return json.loads(row.record).get("sources", ())  # type: ignore[no-any-return]


def best_reading(connection: Connection, serial: str, but: str | None = None) -> Row[Any] | None:
    """Return a card's reading with fewest flags, then by its photo's name, never by age; not `but`'s."""
    query = (
        select(tables.readings)
        .where(tables.readings.c.serial == serial, tables.readings.c.photo != (but or ""))
        .order_by(tables.readings.c.flags, tables.readings.c.photo)
        .limit(1)
    )
    return connection.execute(query).one_or_none()


def answers_of(connection: Connection, serial: str) -> tuple[Answer, ...]:
    """Return every answer ever given about a card, oldest first."""
    query = select(tables.answers).where(tables.answers.c.serial == serial).order_by(tables.answers.c.id)
    found = []
    for row in connection.execute(query):
        value, how, takes_back = answer_from_text(row.value)
        at, over = datetime.fromisoformat(row.at), value_from_text(row.over)
        found.append(Answer(row.field, value, row.who, at, over, takes_back, how))
    return tuple(found)


def put_answer(connection: Connection, serial: str, answer: Answer) -> None:
    """Add an entry to a card's history; nothing there is ever changed."""
    connection.execute(
        insert(tables.answers).values(
            serial=serial,
            field=answer.field,
            value=answer_text(answer),
            over=value_text(answer.over),
            who=answer.by,
            at=time_text(answer.at),
        )
    )


def pictures_of(connection: Connection, serial: str) -> dict[str, bytes]:
    """Return the pictures of a card by field."""
    query = select(tables.pictures.c.field, tables.pictures.c.png).where(tables.pictures.c.serial == serial)
    by_field = query.order_by(by_bytes(tables.pictures.c.field, connection))
    return {row.field: bytes(row.png) for row in connection.execute(by_field)}


def add_photo(
    connection: Connection,
    photo: str,
    status: str = "read",
    reason: str | None = None,
    *,
    whole: bool = True,
) -> None:
    """Note a photo; one that showed no card before may show one now, one that was cut short is whole now."""
    new = {"sha256": photo, "status": status, "reason": reason, "whole": whole}
    if connection.execute(_unless_there(tables.photos, connection.dialect.name), new).rowcount == 1:
        return
    known = connection.execute(select(tables.photos).where(tables.photos.c.sha256 == photo)).one()
    values: dict[str, Any] = {"whole": whole} if known.whole != whole else {}
    if known.status == "rejected" and status == "read":
        values |= {"status": status, "reason": None}
    if values:
        connection.execute(update(tables.photos).where(tables.photos.c.sha256 == photo).values(values))


@cache
def _unless_there(table: Table, dialect: str) -> Insert:
    """Return the statement that adds a row, or none where its key is taken."""
    query: Insert
    if dialect == "sqlite":  # each loads what only its own kind of store needs
        from sqlalchemy.dialects import sqlite

        query = sqlite.insert(table).on_conflict_do_nothing()
    else:
        from sqlalchemy.dialects import postgresql

        query = postgresql.insert(table).on_conflict_do_nothing()
    return query.execution_options(preserve_rowcount=True)  # else it counts for updates alone


def add_form(connection: Connection, fingerprint: str, text: str | Callable[[], str]) -> bool:
    """Keep the text of a form that is new, or that came without its text before; only then it is made.

    Returns whether the form was there with its text, and then it stays: no form is ever removed.
    """
    known = connection.execute(
        select(tables.forms.c.text).where(tables.forms.c.fingerprint == fingerprint)
    ).scalar()
    if known:
        return True
    text = text if isinstance(text, str) else text()
    if known is None:
        connection.execute(insert(tables.forms).values(fingerprint=fingerprint, text=text))
    elif text:
        query = update(tables.forms).where(tables.forms.c.fingerprint == fingerprint)
        connection.execute(query.values(text=text))
    return False


def add_card(connection: Connection, serial: str, form: str, player: str | None) -> None:
    """Note a card; a player that was not known before is filled in."""
    known = connection.execute(select(tables.cards).where(tables.cards.c.serial == serial)).one_or_none()
    if known is None:
        values = {"serial": serial, "form": form, "player": player, "waiting": ""}
        connection.execute(insert(tables.cards), values)
    elif known.player is None and player is not None:
        query = update(tables.cards).where(tables.cards.c.serial == serial)
        connection.execute(query.values(player=player))


def put_card(connection: Connection, serial: str, form: str, player: str | None, found: Settled) -> None:
    """Write the row of a card that is new."""
    values = {"serial": serial, "form": form, "player": player, **asked_of(found)}
    connection.execute(adding_to(tables.cards), values)


def asked_of(found: Settled) -> dict[str, str]:
    """Return what a card's row says of its questions."""
    return {"waiting": " ".join(found.waiting), "glance": " ".join(found.together)}


def put_settled(connection: Connection, serial: str, found: Settled, *, new: bool = False) -> None:
    """Write the round and the practice that a card amounts to; of a `new` card there are none yet."""
    if not new:  # its last set may have been answered away
        connection.execute(delete(tables.practice).where(tables.practice.c.card == serial))
    if found.round is not None and found.text is not None:
        put_round(connection, found.round, found.text, origin="card", new=new)
    put_practice(connection, found.practice)


def put_pictures(
    connection: Connection, serial: str, pictures: Mapping[str, bytes], *, new: bool = False
) -> None:
    """Keep these pictures of a card and no others; a `new` card has none."""
    if not new:
        connection.execute(delete(tables.pictures).where(tables.pictures.c.serial == serial))
    rows = [{"serial": serial, "field": field, "png": png} for field, png in pictures.items()]
    if rows:
        connection.execute(adding_to(tables.pictures), rows)


def put_round(connection: Connection, round_: Round, text: str, *, origin: str, new: bool = False) -> None:
    """Write a round with its misses, holes and throws, in place of what was there under its id.

    Under the id of a `new` one nothing was.
    """
    if not new:
        connection.execute(delete(tables.rounds).where(tables.rounds.c.id == round_.id))
    connection.execute(adding_to(tables.rounds), round_values(round_, text, origin=origin))
    put_facts(connection, [round_])


def put_facts(connection: Connection, rounds: Sequence[Round]) -> None:
    """Write what is known of rounds, in the order in which the rows name each other."""
    for table, facts in FACTS.items():
        _put_rows(connection, table, [row for round_ in rounds for row in facts(round_)])


#: The tables of what is known of a round, and what their rows are.
FACTS: dict[Table, Callable[[Round], list[Facts]]] = {
    tables.misses: miss_facts,
    tables.holes: hole_facts,
    tables.throws: throw_facts,
}


def _put_rows(connection: Connection, table: Table, rows: Sequence[Facts]) -> None:
    """Insert rows of numbers, texts and truths as the driver takes them, without a look at each value."""
    if not rows:
        return
    columns = ", ".join(f'"{name}"' for name in table.columns.keys())  # noqa: SIM118, a collection
    if connection.dialect.name == "postgresql":
        driver: Any = connection.connection.driver_connection
        with driver.cursor() as cursor, cursor.copy(f"COPY {table.name} ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        return
    marks = ", ".join("?" * len(rows[0]))
    connection.exec_driver_sql(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", rows)


def round_values(round_: Round, text: str, *, origin: str) -> dict[str, Any]:
    """Return the columns of a round's row; `text` is its record."""
    return {
        "id": round_.id,
        "origin": origin,
        "form": round_.form,
        "played_on": round_.day,
        "player": round_.player,
        "course": round_.course,
        "layout": round_.layout,
        "unit": round_.unit,
        **sums(round_),
        "waits": len(round_.waiting),
        "recorded_at": time_text(round_.recorded_at),
        "record": text,
    }


def put_practice(connection: Connection, sets: Iterable[PracticeSet]) -> None:
    """Write the sets of practice cards, each card's in place of what was there of that card."""
    rows = [practice_values(done) for done in sets]
    for card in {row["card"] for row in rows}:
        connection.execute(delete(tables.practice).where(tables.practice.c.card == card))
    if rows:
        connection.execute(insert(tables.practice), rows)


def practice_values(done: PracticeSet) -> dict[str, Any]:
    """Return the columns of the row of a set of practice."""
    return {
        "card": done.card,
        "place": done.row,
        "day": done.day,
        "player": done.player,
        "drill": done.drill,
        "tries": done.tries.known,
        "made": done.made.known,
        "record": json.dumps(practice_to_json(done), ensure_ascii=False),
    }


def practice_of(connection: Connection) -> tuple[PracticeSet, ...]:
    """Return every set of every practice card, oldest first, in the order of the card."""
    columns = tables.practice.c
    by_card = (by_bytes(columns.card, connection), columns.place)
    query = select(columns.record).order_by(columns.day.is_(None), columns.day, *by_card)
    return tuple(practice_from_json(json.loads(text)) for text in connection.execute(query).scalars())
