"""Takes one round out of everything and puts it back as it was, inside a transaction that the caller holds.

All rows of the round are moved into one row of the table `aside`, so that no list, count, export or plan can
meet them. A round that was deleted is gone for good at the next start; one that was set aside stays there.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Column, Connection, Date, LargeBinary, Table, delete, insert, or_, select, update

from shortpencil.forms.errors import NotThere, RecordError
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.belonging.owners import owner_of, without_name
from shortpencil.scan.records.recording.kept import reading_from_text
from shortpencil.scan.records.recording.record_json import time_text
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import by_bytes
from shortpencil.scan.records.storing.statements import of_sheet, the_sheet
from shortpencil.scan.records.storing.summary import undated_of

#: The tables that hold a round's rows, in the order in which they can be put back; the column that names it.
ROWS: tuple[tuple[Table, str], ...] = (
    (tables.cards, "serial"),
    (tables.readings, "serial"),
    (tables.answers, "serial"),
    (tables.pictures, "serial"),
    (tables.hand_boxes, "serial"),
    (tables.rounds, "id"),
    (tables.misses, "round"),
    (tables.holes, "round"),
    (tables.throws, "round"),
    (tables.practice, "card"),
)
_HAND_BOXES = tables.hand_boxes.name


@dataclass(frozen=True, slots=True)
class Aside:
    """A round that was set aside (`kept`) or deleted, when, and what it is in a few words."""

    serial: str
    kept: bool
    at: datetime
    says: str


def take_out(connection: Connection, serial: str, when: datetime, *, kept: bool, store: str) -> Aside:
    """Move a round, or a practice card, with all that belongs to it out of everything.

    Raises
    ------
    RecordError
        when there is no such round
    """
    rows = {table.name: _rows(connection, table, table.c[name], serial) for table, name in ROWS}
    if not any(rows.values()):
        raise NotThere(
            f"{store}: expected a round or a card with the serial {serial}, found none. "
            "`shortpencil rounds` shows the serials."
        )
    photos = _photos_of(rows)
    rows["photos"] = [
        row for photo in photos for row in _rows(connection, tables.photos, tables.photos.c.sha256, photo)
    ]
    found = Aside(serial, kept, when, _says(rows))
    connection.execute(
        insert(tables.aside).values(
            serial=serial,
            player=owner_of(rows),
            kept=kept,
            at=time_text(when),
            says=found.says,
            rows=json.dumps(rows, ensure_ascii=False),
        )
    )
    for table, name in ((tables.rounds, "id"), (tables.practice, "card"), (tables.cards, "serial")):
        connection.execute(delete(table).where(table.c[name] == serial))  # the others go with them
    if not kept:  # a photo of a deleted round may be read anew; one of a round set aside is known
        forget_photos(connection, photos)
    return found


def put_back(connection: Connection, serial: str, *, store: str) -> None:
    """Put a round back as it was.

    Raises
    ------
    RecordError
        when none of that serial is set aside, or another has taken its place
    """
    row = connection.execute(select(tables.aside).where(tables.aside.c.serial == serial)).one_or_none()
    if row is None:
        raise NotThere(
            f"{store}: expected a round {serial} that was deleted since the last start, or set aside; "
            "found none."
        )
    rows = json.loads(row.rows)
    for table, name in ROWS:
        if rows[table.name] and _rows(connection, table, table.c[name], serial):
            raise RecordError(
                f"{store}: expected the place of {serial} to be free, found another round there. "
                "Delete that one first."
            )
    photos = tables.photos
    _put(
        connection,
        photos,
        [r for r in rows["photos"] if not _rows(connection, photos, photos.c.sha256, r["sha256"])],
    )
    for table, _ in ROWS:
        _put(connection, table, rows[table.name])
    connection.execute(delete(tables.aside).where(tables.aside.c.serial == serial))


def listed(connection: Connection) -> tuple[Aside, ...]:
    """Return what was deleted since the last start or set aside, the latest first."""
    columns = tables.aside.c
    query = select(columns.serial, columns.kept, columns.at, columns.says).order_by(
        columns.at.desc(), by_bytes(columns.serial, connection)
    )
    return tuple(
        Aside(row.serial, bool(row.kept), datetime.fromisoformat(row.at), row.says)
        for row in connection.execute(query)
    )


def empty(connection: Connection) -> int:
    """Erase what was deleted before this start; return how many rounds that were."""
    return int(connection.execute(delete(tables.aside).where(tables.aside.c.kept.is_(False))).rowcount)


def forget(connection: Connection, player: str) -> int:
    """Erase a player's rounds that were deleted or set aside, with their photos; return how many.

    The name goes from those of others, on which it was once printed or answered.
    """
    theirs, named = of_player(connection, player)
    columns = tables.aside.c
    photos: set[str] = set()
    for serial in theirs:
        photos.update(_photos_of(_kept_rows(connection, serial)))
        connection.execute(delete(tables.aside).where(columns.serial == serial))
    forget_photos(connection, photos)
    for serial in named:
        rows = without_name(_kept_rows(connection, serial), player)
        text = json.dumps(rows, ensure_ascii=False)
        query = update(tables.aside).where(columns.serial == serial)
        connection.execute(query.values(rows=text, player=owner_of(rows)))
    return len(theirs)


def of_player(connection: Connection, player: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the serials set aside or deleted that are a player's, and those of others that name them."""
    columns = tables.aside.c
    # In the JSON of the rows a reading is JSON once more, in which the quotes of the name are escaped.
    said = json.dumps(player, ensure_ascii=False)[1:-1]
    inner = json.dumps(said, ensure_ascii=False)[1:-1]
    query = select(columns.serial).where(
        or_(columns.player == player, *(columns.rows.contains(one, autoescape=True) for one in (said, inner)))
    )
    theirs, named = [], []
    for serial in connection.execute(query.order_by(by_bytes(columns.serial, connection))).scalars().all():
        rows = _kept_rows(connection, serial)
        if owner_of(rows) == player:
            theirs.append(serial)
        elif dict(without_name(rows, player)) != rows:
            named.append(serial)
    return tuple(theirs), tuple(named)


def _kept_rows(connection: Connection, serial: str) -> dict[str, list[dict[str, Any]]]:
    query = select(tables.aside.c.rows).where(tables.aside.c.serial == serial)
    return json.loads(connection.execute(query).scalar_one())  # type: ignore[no-any-return]


def erase_hand(connection: Connection, player: str) -> int:
    """Erase the boxes of a player's hand on rounds set aside or deleted; return how many there were."""
    count = 0
    for row in connection.execute(select(tables.aside)).all():
        rows = json.loads(row.rows)
        left = [box for box in rows[_HAND_BOXES] if box["player"] != player]
        count += len(rows[_HAND_BOXES]) - len(left)
        if len(left) < len(rows[_HAND_BOXES]):
            text = json.dumps(rows | {_HAND_BOXES: left}, ensure_ascii=False)
            query = update(tables.aside).where(tables.aside.c.serial == row.serial)
            connection.execute(query.values(rows=text))
    return count


def fields_of_sheet(connection: Connection, sheet: str) -> Iterator[tuple[str, dict[str, FieldReading], str]]:
    """Yield serial, fields and form of each round of a sheet that was set aside and has a reading."""
    column = tables.aside.c.serial
    query = select(tables.aside).where(of_sheet(column, connection.dialect.name), tables.aside.c.kept)
    for row in connection.execute(query.order_by(by_bytes(column, connection)), the_sheet(sheet)):
        rows = json.loads(row.rows)
        for card in rows["cards"]:
            texts = [card["speaks"]] if card["speaks"] else [reading["text"] for reading in rows["readings"]]
            for text in texts:
                yield row.serial, dict(reading_from_text(text).fields), card["form"]


def forget_photos(connection: Connection, photos: Iterable[str]) -> None:
    """Forget the photos that no card is left of."""
    for photo in sorted(set(photos)):
        left = select(tables.readings.c.serial).where(tables.readings.c.photo == photo).limit(1)
        if connection.execute(left).scalar() is None:
            connection.execute(delete(tables.photos).where(tables.photos.c.sha256 == photo))


def _photos_of(rows: Mapping[str, list[dict[str, Any]]]) -> list[str]:
    photos: set[str] = set()
    for reading in rows["readings"]:
        photos.update((reading["photo"], *json.loads(reading["text"]).get("together", ())))
    for round_ in rows["rounds"]:
        photos.update(json.loads(round_["record"]).get("sources", ()))
    return sorted(photos)


def _says(rows: Mapping[str, list[dict[str, Any]]]) -> str:
    for round_ in rows["rounds"]:
        place = ", ".join(part for part in (round_["course"], round_["layout"]) if part and round_["course"])
        holes = f"{round_['holes_scored']} {'hole' if round_['holes_scored'] == 1 else 'holes'}"
        return ", ".join((_day(round_), place or "no course", round_["player"] or "no name", holes,
                          f"score {round_['score']}"))  # fmt: skip
    whose = owner_of(rows) or "no name"
    if not rows["practice"]:
        return f"a card of its own form, {whose}"
    days = {_own_day(row["record"]) for row in rows["practice"]}
    day = days.pop() if len(days) == 1 else None
    count = len(rows["practice"])
    sets = f"{count} {'set' if count == 1 else 'sets'} of practice"
    return f"{_said_day(day) or 'no date'}, {sets}, {whose}"


def _day(round_: Mapping[str, Any]) -> str:
    """Say the day of a round; of one without, what its record thinks or when it was read."""
    if round_["played_on"]:
        return _said_day(round_["played_on"]) or ""
    found = undated_of(round_["record"], round_["recorded_at"])
    if found.perhaps is not None:
        return f"perhaps {_said_day(found.perhaps.isoformat())}"
    read_on = f", read {_said_day(found.read_on.isoformat())}" if found.read_on else ""
    return f"no date{read_on}"


def _said_day(text: str | None) -> str | None:
    """Return "31 May 2026" for 2026-05-31."""
    if text is None:
        return None
    day = date.fromisoformat(text)
    return f"{day.day} {day:%b} {day.year}"


def _own_day(record: str) -> str | None:
    """Return the day of a set of practice, as in 2026-05-31."""
    found: str | None = json.loads(record).get("day") or None
    return found


def _rows(connection: Connection, table: Table, column: Column[Any], value: str) -> list[dict[str, Any]]:
    query = (
        select(table)
        .where(column == value)
        .order_by(*(by_bytes(key, connection) for key in table.primary_key))
    )
    return [
        {name: _plain(item) for name, item in row.items()} for row in connection.execute(query).mappings()
    ]


def _put(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    values = [{name: _typed(table.c[name], item) for name, item in row.items()} for row in rows]
    if values:
        connection.execute(insert(table), values)


def _plain(item: Any) -> Any:
    if isinstance(item, bytes | memoryview):
        return b64encode(bytes(item)).decode()
    return item.isoformat() if isinstance(item, date) else item


def _typed(column: Column[Any], item: Any) -> Any:
    if item is None:
        return None
    if isinstance(column.type, LargeBinary):
        return b64decode(item)
    return date.fromisoformat(item) if isinstance(column.type, Date) else item
