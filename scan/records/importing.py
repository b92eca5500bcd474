"""Files to rounds: an export taken back, or rounds typed by hand. A file counts as a whole or not at all.

A JSON file holds one round, a list of rounds, or what an export calls ``rounds.json``; a folder holds the CSV
files of an export. Nothing is stored here; everything that is wrong with a file is said at once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from forms.errors import InputError
from forms.files import parsed_json, read_text
from forms.shown import one_line, path_text
from scan.records.columns import TABLES
from scan.records.csv_rounds import rounds_from_csv
from scan.records.record_json import practice_from_json, round_from_json
from scan.records.rounds import PracticeSet, Round
from scan.records.schema import practice_problems_of, problems_of
from scan.records.typed import filled_out

MOST_BYTES = 256 * 2**20  # ten thousand rounds of 18 holes are about 150 MB of JSON
SHOWN_PROBLEMS = 50
LONGEST_PROBLEM = 200


@dataclass(frozen=True, slots=True)
class Imported:
    """What one file or folder holds."""

    rounds: tuple[Round, ...]
    practice: tuple[PracticeSet, ...] = ()


def read_rounds(path: Path, *, by: str | None = None, at: datetime | None = None) -> Imported:
    """Return the rounds in a JSON file or in a folder of exported CSV files.

    Parameters
    ----------
    path : the file or the folder
    by, at : who typed the plain values of a hand-written file, and when; without these they are "imported"

    Raises
    ------
    InputError
        naming everything in the file that is not what it must be, by row and field
    """
    try:
        return _read_rounds(path, by, at)
    except RecursionError:
        raise InputError(
            f"{path_text(path)}: expected rounds, found brackets nested too deep to be one."
        ) from None


def _read_rounds(path: Path, by: str | None, at: datetime | None) -> Imported:
    if path.is_dir():
        names = [table.name for table in TABLES if (path / f"{table.name}.csv").is_file()]
        if not names:
            raise InputError(
                f"{path_text(path)}: expected the CSV files of an export in this folder, found none. "
                "Name the folder of an export, or a .json file."
            )
        texts = {name: _text(path / f"{name}.csv") for name in names}
        found = rounds_from_csv(texts)
        records, practice, problems = found.records, found.practice, found.problems
    else:
        records, practice, problems = _from_json(path, by, at)
    ids = [record.get("id") if isinstance(record, Mapping) else None for record in records]
    counts = Counter(id_ for id_ in ids if isinstance(id_, str))
    twice = sorted(id_ for id_, count in counts.items() if count > 1)
    problems += [f"round {id_}: expected each round once, found it twice" for id_ in twice]
    if problems:
        raise InputError(_listed(path, problems))
    return Imported(
        tuple(round_from_json(record) for record in records),
        tuple(practice_from_json(done) for done in practice),
    )


def _listed(path: Path, problems: list[str]) -> str:
    shown = problems[:SHOWN_PROBLEMS]
    more = len(problems) - len(shown)
    lines = [f"{path_text(path)}: nothing was taken from it, since:", *(f"  {_cut(text)}" for text in shown)]
    if more:
        lines.append(f"  and {more} more of the kind.")
    return "\n".join(lines)


def _cut(problem: str) -> str:
    text = one_line(problem)
    return text if len(text) <= LONGEST_PROBLEM else f"{text[: LONGEST_PROBLEM - 1]}…"


def _text(path: Path) -> str:
    """Return a file's text; a byte order mark, which spreadsheets write, is passed over."""
    return read_text(path, MOST_BYTES).removeprefix("\ufeff")


def _from_json(path: Path, by: str | None, at: datetime | None) -> tuple[list[Any], list[Any], list[str]]:
    data = parsed_json(_text(path), path_text(path))
    practice: Any = []
    if isinstance(data, Mapping) and "rounds" in data:
        practice, data = data.get("practice", []), data["rounds"]
    rounds = data if isinstance(data, list) else [data]
    records = [filled_out(item, by=by, at=at) for item in rounds]
    problems = []
    for number, record in enumerate(records, start=1):
        given = rounds[number - 1]
        own = given.get("id") if isinstance(given, Mapping) else None
        name = f"round {number} ({own})" if isinstance(own, str) else f"round {number}"
        problems += [f"{name}: {problem}" for problem in problems_of(record)]
    if not isinstance(practice, list):
        problems.append("practice: expected a list")
        practice = []
    for number, done in enumerate(practice, start=1):
        problems += [f"practice, row {number}: {problem}" for problem in practice_problems_of(done)]
    return records, practice, problems
