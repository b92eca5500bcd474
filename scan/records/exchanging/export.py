"""Rounds out of the store into open formats: CSV with a Table Schema, JSON, Parquet on request.

Rounds are written as they come, none is kept, and each file takes the place of the old one in one step at the
end, so that an interrupted export leaves whole files. The same rounds give the same bytes.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import whole_file, write_whole
from shortpencil.scan.records.composing.other_sheets import OtherSheet, extra_rows, field_rows, sheet_row
from shortpencil.scan.records.composing.rounds import RECORD_SCHEMA, PracticeSet, Round
from shortpencil.scan.records.composing.tidy import (
    Row,
    doubt_rows,
    hole_rows,
    phase_rows,
    practice_row,
    round_row,
    settled,
    throw_rows,
)
from shortpencil.scan.records.exchanging.columns import (
    PHASE_ROWS,
    SHEET_TABLES,
    TABLES,
    TidyColumn,
    TidyTable,
    widened,
)
from shortpencil.scan.records.exchanging.csv_text import CsvWriter, csv_text
from shortpencil.scan.records.recording.record_json import practice_to_json, round_to_json
from shortpencil.scan.records.recording.schema import SCHEMA_FILE

ROUNDS_FILE = "rounds.json"
PACKAGE_FILE = "datapackage.json"

#: Data Package, version 2: the profile that a reader of the package checks it by.
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"


def tables_of(rounds: Iterable[Round], practice: Iterable[PracticeSet] = ()) -> dict[str, list[Row]]:
    """Return the rows of every table of rounds and practice by its name."""
    rows: dict[str, list[Row]] = {table.name: [] for table in TABLES}
    for round_ in rounds:
        for name, some in _rows_of(round_).items():
            rows[name] += some
    rows["practice"] = [practice_row(done) for done in practice]
    return rows


def _rows_of(round_: Round) -> dict[str, list[Row]]:
    return {
        "rounds": [round_row(round_)],
        "holes": list(hole_rows(round_)),
        "throws": list(throw_rows(round_)),
        "doubts": list(doubt_rows(round_)),
    }


def exported_files(
    rounds: Iterable[Round], practice: Iterable[PracticeSet] = (), sheets: Sequence[OtherSheet] = ()
) -> dict[str, bytes]:
    """Return the files of an export by name, Parquet apart."""
    streams = {name: io.BytesIO() for name in _STREAMED}
    asked = _asked(sheets, _write(streams, rounds, practice))
    files = {name: stream.getvalue() for name, stream in streams.items()}
    return (
        files
        | {f"{table.name}.csv": csv_text(table, asked[table]).encode() for table in asked}
        | _about(asked)
    )


def _asked(sheets: Sequence[OtherSheet], beyond: _Beyond) -> dict[TidyTable, list[Row]]:
    """Return the rows about sheets that are no rounds, and of what rounds hold beyond the usual game."""
    rows = {
        "sheets": [sheet_row(sheet) for sheet in sheets],
        "fields": [*(row for sheet in sheets for row in field_rows(sheet)), *beyond.fields],
        "phases": beyond.phases,
    }
    return {table: rows[table.name] for table in (PHASE_ROWS, *SHEET_TABLES) if rows[table.name]}


@dataclass(slots=True)
class _Beyond:
    """Rows of what rounds hold beyond the usual game: further fields, other phases."""

    fields: list[Row] = field(default_factory=list)
    phases: list[Row] = field(default_factory=list)


def rounds_text(rounds: Iterable[Round], practice: Iterable[PracticeSet] = ()) -> str:
    """Return whole rounds with the provenance of each value as JSON text, a line a round.

    What waits for a person is null there too: an export holds no guesses. What is doubtful has its status,
    its probability and its alternatives.
    """
    return exported_files(rounds, practice)[ROUNDS_FILE].decode()


#: The files that grow with the rounds.
_STREAMED = (*(f"{table.name}.csv" for table in TABLES), ROUNDS_FILE)


def _about(more: Iterable[TidyTable] = ()) -> dict[str, bytes]:
    """Return the files that say what the others hold."""
    more = tuple(more)
    tables = tuple(map(widened, TABLES)) if PHASE_ROWS in more else TABLES
    package = json.dumps(data_package((*tables, *more)), ensure_ascii=False, indent=1) + "\n"
    return {PACKAGE_FILE: package.encode(), SCHEMA_FILE.name: SCHEMA_FILE.read_bytes()}


def _write(
    streams: Mapping[str, BinaryIO],
    rounds: Iterable[Round],
    practice: Iterable[PracticeSet],
    parquet: Mapping[str, _ParquetFile] | None = None,
) -> _Beyond:
    """Write every round into each stream as it comes; return rows of what they hold beyond the game."""
    beyond = _Beyond()
    tables = {table.name: CsvWriter(table, streams[f"{table.name}.csv"]) for table in TABLES}
    whole = streams[ROUNDS_FILE]

    def put(name: str, rows: Sequence[Row]) -> None:
        tables[name].put(rows)
        if parquet is not None:
            parquet[name].put(rows)

    def put_lines(records: Iterable[Mapping[str, Any]]) -> None:
        for number, record in enumerate(records):
            line = json.dumps(record, ensure_ascii=False)
            whole.write((f",\n{line}" if number else line).encode())

    def told() -> Iterator[Mapping[str, Any]]:
        for round_ in rounds:
            for name, rows in _rows_of(round_).items():
                put(name, rows)
            beyond.fields.extend(extra_rows(round_))
            beyond.phases.extend(phase_rows(round_))
            yield round_to_json(settled(round_))

    whole.write(f'{{"schema": {RECORD_SCHEMA},\n"rounds": [\n'.encode())
    put_lines(told())
    whole.write(b'\n],\n"practice": [\n')
    sets = list(practice)
    put_lines(practice_to_json(done) for done in sets)
    whole.write(b"\n]}\n")
    put("practice", [practice_row(done) for done in sets])
    return beyond


def data_package(tables: Iterable[TidyTable] = TABLES) -> dict[str, Any]:
    """Return the description of the CSV files: a Data Package with a Table Schema for each."""
    return {
        "$schema": PACKAGE_PROFILE,
        "name": "shortpencil-rounds",
        "title": "Rounds of disc golf read from paper cards",
        "resources": [
            {
                "name": table.name,
                "type": "table",
                "path": f"{table.name}.csv",
                "description": table.says,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "dialect": {"header": True, "delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"'},
                "schema": table_schema(table),
            }
            for table in tables
        ],
    }


def table_schema(table: TidyTable) -> dict[str, Any]:
    """Return the Table Schema of one table."""
    schema: dict[str, Any] = {
        "fields": [_field(column) for column in table.columns],
        "primaryKey": list(table.key),
        "missingValues": [""],
    }
    if table.foreign:
        schema["foreignKeys"] = [
            {"fields": list(own), "reference": {"resource": other, "fields": list(theirs)}}
            for own, other, theirs in table.foreign
        ]
    return schema


def _field(column: TidyColumn) -> dict[str, Any]:
    constraints = {
        "required": column.required or None,
        "enum": list(column.enum) or None,
        "minimum": column.minimum,
        "maximum": column.maximum,
        "pattern": column.pattern,
    }
    given = {name: limit for name, limit in constraints.items() if limit is not None}
    field: dict[str, Any] = {"name": column.name, "type": column.type, "description": column.says}
    return {**field, "constraints": given} if given else field


def write_export(
    folder: Path,
    rounds: Iterable[Round],
    practice: Iterable[PracticeSet] = (),
    sheets: Sequence[OtherSheet] = (),
    *,
    parquet: bool = False,
) -> list[Path]:
    """Write an export into a folder, made if need be; return the files written.

    Each round is gone through once and none is kept. The files take the place of older ones at the end.

    Raises
    ------
    InputError
        when the folder cannot be written, or Parquet is asked for and pyarrow is not installed
    """
    libraries = _arrow() if parquet else None
    with ExitStack() as stack:
        streams = {name: stack.enter_context(whole_file(folder / name)) for name in _STREAMED}
        files = {}
        if libraries is not None:
            for table in TABLES:
                stream = stack.enter_context(whole_file(folder / f"{table.name}.parquet"))
                files[table.name] = stack.enter_context(_ParquetFile(libraries, widened(table), stream))
        asked = _asked(sheets, _write(streams, rounds, practice, files if parquet else None))
        for table, rows in asked.items():
            stack.enter_context(whole_file(folder / f"{table.name}.csv")).write(
                csv_text(table, rows).encode()
            )
            if libraries is not None:
                stream = stack.enter_context(whole_file(folder / f"{table.name}.parquet"))
                files[table.name] = stack.enter_context(_ParquetFile(libraries, table, stream))
                files[table.name].put(rows)
    for name, content in _about(asked).items():
        write_whole(folder / name, content)
    for table in (PHASE_ROWS, *SHEET_TABLES):  # of an earlier export, which had such rounds or sheets
        if table not in asked:
            (folder / f"{table.name}.csv").unlink(missing_ok=True)
    names = [*_STREAMED, *(f"{table.name}.csv" for table in asked), *_about(asked)]
    names += [f"{name}.parquet" for name in files]
    return [folder / name for name in names]


def _arrow() -> tuple[Any, Any]:
    try:
        return import_module("pyarrow"), import_module("pyarrow.parquet")
    except ModuleNotFoundError as error:
        raise InputError(
            "--parquet: expected the library pyarrow, found none. Install it with "
            "pip install pyarrow, or leave the option out: the CSV files hold the same."
        ) from error


class _ParquetFile:
    """A Parquet file that grows by a group of rows at a time."""

    _GROUP = 50_000

    def __init__(self, libraries: tuple[Any, Any], table: TidyTable, stream: BinaryIO) -> None:
        self._arrow, parquet = libraries
        types = {
            "string": self._arrow.string(),
            "integer": self._arrow.int64(),
            "number": self._arrow.float64(),
            "boolean": self._arrow.bool_(),
            "date": self._arrow.date32(),
            "datetime": self._arrow.timestamp("us", tz="UTC"),
        }
        columns = [self._arrow.field(c.name, types[c.type], nullable=not c.required) for c in table.columns]
        about = {"shortpencil_schema": str(RECORD_SCHEMA), "table_schema": json.dumps(table_schema(table))}
        self._schema = self._arrow.schema(columns, metadata=about)
        self._writer = parquet.ParquetWriter(stream, self._schema)
        self._waiting: list[Row] = []

    def put(self, rows: Sequence[Row]) -> None:
        """Take rows; they are written when there are enough for a group."""
        self._waiting += rows
        if len(self._waiting) >= self._GROUP:
            self._flush()

    def _flush(self) -> None:
        self._writer.write_table(self._arrow.Table.from_pylist(self._waiting, schema=self._schema))
        self._waiting = []

    def __enter__(self) -> _ParquetFile:
        return self

    def __exit__(self, kind: type[BaseException] | None, *more: object) -> None:
        if kind is None:
            self._flush()
        self._writer.close()
