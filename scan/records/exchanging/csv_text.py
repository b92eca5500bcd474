"""Rows to CSV text and back: RFC 4180, UTF-8, and nothing in it that a spreadsheet would take for a formula.

A text whose first sign could start a formula gets an apostrophe before it, and so does a text that begins
with an apostrophe, so that taking one away on the way back always gives the same text. Numbers stay numbers.

References
----------
RFC 4180, section 2: CRLF at the end of lines, quotes around fields with commas, quotes or line ends.
OWASP Application Security Verification Standard 5.0, 1.2.10: the signs that can start a formula.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, BinaryIO

from shortpencil.scan.records.exchanging.columns import TidyTable
from shortpencil.scan.records.recording.record_json import time_text

#: Signs that start a formula somewhere, full-width ones among them: spreadsheets take those for the same.
FORMULA_STARTS = frozenset("=+-@\t\r\n\0＝＋－＠")
GUARD = "'"


def guarded(text: str) -> str:
    """Return the text as it may stand in a spreadsheet; blanks before a formula do not hide it."""
    first = text.lstrip(" \u00a0")[:1]
    return GUARD + text if first in FORMULA_STARTS or text.startswith(GUARD) else text


def unguarded(text: str) -> str:
    """Return the text that `guarded` was given."""
    return text.removeprefix(GUARD)


def csv_text(table: TidyTable, rows: Iterable[Mapping[str, Any]]) -> str:
    """Return a table as CSV text with a header."""
    stream = io.BytesIO()
    CsvWriter(table, stream).put(rows)
    return stream.getvalue().decode()


class CsvWriter:
    """Writes a table as CSV into a binary stream, the header first; null is an empty field."""

    def __init__(self, table: TidyTable, stream: BinaryIO) -> None:
        self._names = [column.name for column in table.columns]
        self._stream = stream
        self._write([self._names])

    def put(self, rows: Iterable[Mapping[str, Any]]) -> None:
        """Write rows."""
        names = self._names
        self._write([_cell(row[name]) for name in names] for row in rows)

    def _write(self, lines: Iterable[Sequence[str]]) -> None:
        out = io.StringIO(newline="")
        csv.writer(out, lineterminator="\r\n").writerows(lines)
        self._stream.write(out.getvalue().encode())


def _cell(value: object) -> str:
    if value is None:
        return ""
    if type(value) is str:
        # A letter starts no formula, and a word of our own is most of what there is.
        return value if "a" <= value[:1] <= "z" else guarded(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return time_text(value) or ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return repr(value)
    return guarded(str(value))


def parsed_csv(text: str) -> list[list[str]]:
    """Return the fields of a CSV text, row by row, as they stand; blank lines are passed over.

    Raises
    ------
    csv.Error
        when a quote is not closed or something follows a closing quote
    """
    return [row for row in csv.reader(io.StringIO(text, newline=""), strict=True) if row]
