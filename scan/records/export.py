"""Rounds out of the store into open formats: CSV with a Table Schema, JSON, Parquet on request.

Everything is made in memory first and each file then takes the place of the old one in one step, so that an
interrupted export leaves whole files. The same rounds give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from forms.errors import InputError
from forms.files import write_whole
from scan.records.columns import TABLES, TidyColumn, TidyTable
from scan.records.csv_text import csv_text
from scan.records.record_json import practice_to_json, round_to_json
from scan.records.rounds import RECORD_SCHEMA, PracticeSet, Round
from scan.records.schema import SCHEMA_FILE
from scan.records.tidy import Row, doubt_rows, hole_rows, practice_row, round_row, settled, throw_rows

ROUNDS_FILE = "rounds.json"
PACKAGE_FILE = "datapackage.json"

#: Data Package, version 2: the profile that a reader of the package checks it by.
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"


def tables_of(rounds: Sequence[Round], practice: Sequence[PracticeSet] = ()) -> dict[str, list[Row]]:
    """Return the rows of every table by its name."""
    return {
        "rounds": [round_row(round_) for round_ in rounds],
        "holes": [row for round_ in rounds for row in hole_rows(round_)],
        "throws": [row for round_ in rounds for row in throw_rows(round_)],
        "practice": [practice_row(done) for done in practice],
        "doubts": [row for round_ in rounds for row in doubt_rows(round_)],
    }


def exported_files(rounds: Sequence[Round], practice: Sequence[PracticeSet] = ()) -> dict[str, bytes]:
    """Return the files of an export by name, Parquet apart."""
    rows = tables_of(rounds, practice)
    files = {f"{table.name}.csv": csv_text(table, rows[table.name]).encode() for table in TABLES}
    files[ROUNDS_FILE] = rounds_text(rounds, practice).encode()
    files[PACKAGE_FILE] = (json.dumps(data_package(), ensure_ascii=False, indent=1) + "\n").encode()
    files[SCHEMA_FILE.name] = SCHEMA_FILE.read_bytes()
    return files


def rounds_text(rounds: Iterable[Round], practice: Iterable[PracticeSet] = ()) -> str:
    """Return whole rounds with the provenance of each value as JSON text, a line a round.

    What waits for a person is null there too: an export holds no guesses. What is doubtful has its status,
    its probability and its alternatives.
    """
    lines = [json.dumps(round_to_json(settled(round_)), ensure_ascii=False) for round_ in rounds]
    sets = [json.dumps(practice_to_json(done), ensure_ascii=False) for done in practice]
    return (
        f'{{"schema": {RECORD_SCHEMA},\n"rounds": [\n'
        + ",\n".join(lines)
        + '\n],\n"practice": [\n'
        + ",\n".join(sets)
        + "\n]}\n"
    )


def data_package() -> dict[str, Any]:
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
            for table in TABLES
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
    folder: Path, rounds: Sequence[Round], practice: Sequence[PracticeSet] = (), *, parquet: bool = False
) -> list[Path]:
    """Write an export into a folder, made if need be; return the files written.

    Raises
    ------
    InputError
        when the folder cannot be written, or Parquet is asked for and pyarrow is not installed
    """
    files = exported_files(rounds, practice)
    if parquet:
        files |= _parquet_files(tables_of(rounds, practice))
    for name, content in files.items():
        write_whole(folder / name, content)
    return [folder / name for name in files]


def _parquet_files(rows: Mapping[str, list[Row]]) -> dict[str, bytes]:
    try:
        arrow: Any = import_module("pyarrow")
        parquet: Any = import_module("pyarrow.parquet")
    except ModuleNotFoundError as error:
        raise InputError(
            "--parquet: expected the library pyarrow, found none. Install it with "
            "pip install pyarrow, or leave the option out: the CSV files hold the same."
        ) from error
    types = {
        "string": arrow.string(),
        "integer": arrow.int64(),
        "number": arrow.float64(),
        "boolean": arrow.bool_(),
        "date": arrow.date32(),
        "datetime": arrow.timestamp("us", tz="UTC"),
    }
    files = {}
    for table in TABLES:
        fields = [arrow.field(c.name, types[c.type], nullable=not c.required) for c in table.columns]
        about = {"shortpencil_schema": str(RECORD_SCHEMA), "table_schema": json.dumps(table_schema(table))}
        made = arrow.Table.from_pylist(rows[table.name], schema=arrow.schema(fields, metadata=about))
        out = arrow.BufferOutputStream()
        parquet.write_table(made, out)
        files[f"{table.name}.parquet"] = out.getvalue().to_pybytes()
    return files
