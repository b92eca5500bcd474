"""Is a store as it was written? The database's own check, the seal of each row, each record and its columns.

What is looked at, in this order; a row that one step found broken is not asked by the next:

1. a store in a file: SQLite's check of its pages and indexes, and rows that name others which are not there;
2. a store in a file: the seal of each row (`sealing`);
3. every record against its schema, and the columns and rows that say the same for SQL;
4. every field map against its own fingerprint.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Table, select

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.recording.record_json import practice_from_json, round_from_json
from shortpencil.scan.records.recording.schema import practice_problems_of, problems_of
from shortpencil.scan.records.storing import sealing, tables
from shortpencil.scan.records.storing.statements import FACTS, practice_values, round_values

#: What a row of a table is to a person.
_NAMES = {
    "answers": "answer",
    "aside": "round set aside",
    "cards": "card",
    "forms": "form",
    "hand_boxes": "box of handwriting",
    "hands_off": "player whose hand is not kept",
    "asking": "player's way of being asked",
    "photos": "photo",
    "pictures": "picture",
    "practice": "practice set",
    "readings": "reading",
    "rounds": "round",
    "store_version": "version of the store",
}
_MOST_LINES = 20  # of SQLite's own words: the first tell what is wrong


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is not as it was written: which, and what is wrong with it."""

    which: str
    says: str

    def __str__(self) -> str:
        return f"{self.which}: {self.says}"


def damages(connection: Connection) -> tuple[Damage, ...]:
    """Return all that is wrong with a store, within the caller's transaction; nothing when it is sound."""
    pages = tuple(_pages(connection))
    if pages:  # what the file says of its rows is worth nothing then
        return pages
    broken = sealing.all_broken(connection)
    found = [
        Damage(_name(table, key), "not as it was written") for table, keys in broken.items() for key in keys
    ]
    return (*found, *_rounds(connection, broken), *_practice(connection, broken), *_forms(connection, broken))


def refuse_broken(connection: Connection, store: str, table: Table, serial: str | None = None) -> None:
    """Go on only when a table's rows are as they were written; those of one card, or all.

    Raises
    ------
    RecordError
        naming the rows that are not
    """
    keys = sealing.broken(connection, table.name, serial)
    if keys:
        raise _changed(store, _some(table.name, keys))


def rows_as_written(
    connection: Connection, store: str, table: Table, order: Sequence[str], names: Sequence[str]
) -> Iterator[tuple[Any, ...]]:
    """Yield some columns of the rows of a table in a file, in an order in SQL, each row once its seal holds.

    Values come as bytes.

    Raises
    ------
    RecordError
        as `refuse_broken`, at the latest where a row comes that is not as it was written
    """
    try:
        yield from sealing.rows_in_order(connection, table.name, ", ".join(order), names)
    except sealing.BrokenError:
        refuse_broken(connection, store, table)  # says which
        raise _changed(store, f"some of the table {table.name}") from None


def _changed(store: str, name: str) -> RecordError:
    return RecordError(
        f"{store}: expected rows as they were written, found {name} changed by "
        "a fault of the disk or by another program. See `shortpencil check`, and restore a backup."
    )


def _pages(connection: Connection) -> Iterator[Damage]:
    if connection.dialect.name != "sqlite":
        return
    run = connection.exec_driver_sql
    for line in run(f"PRAGMA integrity_check({_MOST_LINES})").scalars():
        if line != "ok":
            yield Damage("the file", str(line).strip())
    for row in run("PRAGMA foreign_key_check"):
        yield Damage(f"table {row[0]}", f"row {row[1]} names a row of {row[2]} that is not there")


def _rounds(connection: Connection, broken: Mapping[str, Sequence[str]]) -> Iterator[Damage]:
    passed = set(broken.get("rounds", ()))
    ids = sorted(connection.execute(select(tables.rounds.c.id)).scalars())
    for round_id in ids:
        if round_id not in passed:
            row = connection.execute(select(tables.rounds).where(tables.rounds.c.id == round_id)).one()
            says = _wrong_with_round(connection, row)
            if says:
                yield Damage(_name("rounds", round_id), says)
    for table in (tables.misses, tables.holes, tables.throws):
        for round_id in sorted(connection.execute(select(table.c.round).distinct()).scalars()):
            if round_id not in ids:
                yield Damage(f"table {table.name}", f"rows of a round {round_id!r} that is not there")


def _wrong_with_round(connection: Connection, row: Row[Any]) -> str | None:
    try:
        data = json.loads(row.record)
    except ValueError:
        return "its record is no JSON"
    problems = problems_of(data)
    if problems:
        return f"its record is none: {problems[0]}"
    round_ = round_from_json(data)
    wrong = _differing(row, round_values(round_, row.record, origin=row.origin))
    if wrong:
        return f"column {wrong} says something else than the record"
    for table, facts in FACTS.items():
        names = table.columns.keys()
        values = [dict(zip(names, known, strict=True)) for known in facts(round_)]
        query = select(table).where(table.c.round == row.id).order_by(*table.primary_key.columns)
        rows = connection.execute(query).all()
        if len(rows) != len(values):
            return f"its record has {len(values)} {table.name}, the table {len(rows)}"
        key = [column.name for column in table.primary_key.columns]
        for own, said in zip(rows, sorted(values, key=lambda v: [v[name] for name in key]), strict=True):
            wrong = _differing(own, said)
            if wrong:
                where = " ".join(f"{name} {said[name]}" for name in key[1:])
                return f"{where}: column {wrong} says something else than the record"
    return None


def _practice(connection: Connection, broken: Mapping[str, Sequence[str]]) -> Iterator[Damage]:
    passed = set(broken.get("practice", ()))
    for row in connection.execute(select(tables.practice)):
        key = f"{row.card}/{row.place}"
        if key not in passed:
            done = _practice_set(row.record)
            wrong = "record" if done is None else _differing(row, practice_values(done))
            if wrong:
                yield Damage(_name("practice", key), f"column {wrong} says something else than the record")


def _practice_set(text: str) -> PracticeSet | None:
    try:
        data = json.loads(text)
    except ValueError:
        return None
    return None if practice_problems_of(data) else practice_from_json(data)


def _forms(connection: Connection, broken: Mapping[str, Sequence[str]]) -> Iterator[Damage]:
    from shortpencil.forms.field_map import layout_from_json

    passed = set(broken.get("forms", ()))
    for row in connection.execute(select(tables.forms).order_by("fingerprint")):
        if row.fingerprint in passed or not row.text:
            continue
        try:
            layout_from_json(row.text, "its field map")
        except InputError as error:
            yield Damage(_name("forms", row.fingerprint), str(error))


def _differing(row: Row[Any], said: Mapping[str, Any]) -> str | None:
    return next((name for name, value in said.items() if getattr(row, name) != value), None)


def _name(table: str, key: str) -> str:
    return f"{_NAMES.get(table, table)} {key}"


def _some(table: str, keys: Sequence[str]) -> str:
    shown = ", ".join(_name(table, key) for key in keys[:3])
    return f"{shown} and {len(keys) - 3} more" if len(keys) > 3 else shown
