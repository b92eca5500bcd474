"""Exported tables to typed rows: every field checked by its column, every row by the tables it names.

All that is wrong is found in one go and named by file, row and column. Rows are counted as a spreadsheet
counts them, the header being row 1. Derived columns are passed over: they follow from the others.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from shortpencil.scan.records.composing.rounds import is_day
from shortpencil.scan.records.exchanging.columns import MAY_BE_MISSING, TidyColumn, TidyTable
from shortpencil.scan.records.exchanging.csv_text import parsed_csv, unguarded
from shortpencil.scan.records.recording.record_json import time_from

Place = tuple[str, int]  # file, row
Row = tuple[dict[str, Any], Place]

_WHOLE = re.compile(r"[+-]?[0-9]{1,15}")
_NUMBER = re.compile(r"[+-]?([0-9]{1,15}(\.[0-9]{0,20})?|\.[0-9]{1,20})([eE][+-]?[0-9]{1,3})?")


def typed_rows(table: TidyTable, text: str | None, problems: list[str]) -> Iterator[Row]:
    """Yield the typed rows of one table; a row with a wrong field is left out and its problems noted."""
    file = f"{table.name}.csv"
    if text is None:
        if table not in MAY_BE_MISSING:
            problems.append(f"{file}: expected this file beside the others, found none")
        return
    try:
        lines = parsed_csv(text)
    except csv.Error as error:
        problems.append(f"{file}: expected CSV (RFC 4180), found: {error}")
        return
    header = lines[0] if lines else []
    expected = [column.name for column in table.columns]
    later = {column.name for column in table.columns if column.later}
    if sorted(header) != sorted(name for name in expected if name not in later or name in header):
        problems.append(_header_problem(file, header, expected))
        return
    columns = {column.name: column for column in table.columns}
    for number, line in enumerate(lines[1:], start=2):
        if len(line) != len(header):
            problems.append(f"{file}, row {number}: expected {len(header)} fields, found {len(line)}")
            continue
        row, wrong = dict.fromkeys(later), False
        for name, cell in zip(header, line, strict=True):
            if columns[name].derived:
                continue
            try:
                row[name] = _typed(columns[name], cell)
            except ValueError as error:
                problems.append(f"{file}, row {number}, {name}: {error}")
                wrong = True
        if not wrong:
            yield row, (file, number)


def _header_problem(file: str, header: list[str], expected: list[str]) -> str:
    if len(header) == 1 and ";" in header[0]:
        return f"{file}, row 1: expected fields separated by commas, found semicolons; save it with commas"
    missing = [name for name in expected if name not in header]
    unknown = [name for name in header if name not in expected]
    parts = [f"{', '.join(missing)} missing"] if missing else []
    parts += [f"{', '.join(map(repr, unknown))} unknown"] if unknown else []
    return f"{file}, row 1: expected the columns of an export, found {'; '.join(parts) or 'one twice'}"


def _typed(column: TidyColumn, cell: str) -> Any:
    """Return the value of a field; ValueError says what was expected."""
    if cell == "":
        if column.required:
            raise ValueError("expected a value, found nothing")
        return None
    value = _PARSERS[column.type](cell)
    if column.enum and value not in column.enum:
        raise ValueError(f"expected one of {', '.join(column.enum)}; found {cell!r}")
    if column.pattern and not re.fullmatch(column.pattern, value):
        raise ValueError(f"expected letters, digits, '.', '_' or '-', found {cell!r}")
    if column.minimum is not None and value < column.minimum:
        raise ValueError(f"expected at least {column.minimum:g}, found {cell}")
    if column.maximum is not None and value > column.maximum:
        raise ValueError(f"expected at most {column.maximum:g}, found {cell}")
    return value


def _whole(cell: str) -> int:
    if not _WHOLE.fullmatch(cell):
        raise ValueError(f"expected a whole number, found {cell!r}")
    return int(cell)


def _number(cell: str) -> int | float:
    if _WHOLE.fullmatch(cell):
        return int(cell)
    if not _NUMBER.fullmatch(cell):
        raise ValueError(f"expected a number with a decimal point, found {cell!r}")
    return float(cell)


def _boolean(cell: str) -> bool:
    lower = cell.lower()  # spreadsheets write TRUE
    if lower not in ("true", "false"):
        raise ValueError(f"expected true or false, found {cell!r}")
    return lower == "true"


def _day(cell: str) -> str:
    if not is_day(cell):
        raise ValueError(f"expected a day as in 2026-05-31, found {cell!r}")
    return cell


def _moment(cell: str) -> str:
    try:
        time_from(cell)
    except (ValueError, OverflowError):
        raise ValueError(f"expected a time as in 2026-05-31T18:00:00Z, found {cell!r}") from None
    return cell


_PARSERS: dict[str, Callable[[str], Any]] = {
    "string": unguarded,
    "integer": _whole,
    "number": _number,
    "boolean": _boolean,
    "date": _day,
    "datetime": _moment,
}


def check_keys(table: TidyTable, rows: Mapping[str, list[Row]], problems: list[str]) -> None:
    """Note keys that stand twice and rows that name no row of another table."""
    seen: dict[tuple[Any, ...], Place] = {}
    for row, (file, number) in rows[table.name]:
        key = tuple(row[name] for name in table.key)
        first = seen.setdefault(key, (file, number))
        if first != (file, number):
            shown = ", ".join(f"{name} {item}" for name, item in zip(table.key, key, strict=True))
            problems.append(
                f"{file}, row {number}: expected each key once, found {shown} as in row {first[1]}"
            )
    for own, other, theirs in table.foreign:
        known = {tuple(row[name] for name in theirs) for row, _ in rows[other]}
        for row, (file, number) in rows[table.name]:
            key = tuple(row[name] for name in own)
            if key not in known:
                shown = ", ".join(f"{name} {item}" for name, item in zip(own, key, strict=True))
                problems.append(
                    f"{file}, row {number}: expected a row of {other}.csv with {shown}, found none"
                )
