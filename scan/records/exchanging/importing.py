"""Files to rounds: an export taken back, or rounds typed by hand. A file counts as a whole or not at all.

A JSON file holds one round, a list of rounds, or what an export calls ``rounds.json``; a folder holds the CSV
files of an export. Nothing is stored here; everything that is wrong with a file is said at once. An exported
``rounds.json``, which may be of any size, can be taken round by round: then whoever stores the rounds takes
them back when something is wrong with a later one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO
from unicodedata import is_normalized

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import is_ordinary, parsed_json, read_text
from shortpencil.forms.shown import one_line, path_text, whole_letters
from shortpencil.scan.records.composing.rounds import RECORD_SCHEMA, PracticeSet, Round
from shortpencil.scan.records.exchanging.columns import PHASE_ROWS, TABLES
from shortpencil.scan.records.exchanging.csv_rounds import rounds_from_csv
from shortpencil.scan.records.recording.as_written import round_as_written
from shortpencil.scan.records.recording.from_file import with_waiting_told
from shortpencil.scan.records.recording.record_json import practice_from_json, round_from_json, round_text
from shortpencil.scan.records.recording.schema import is_full, practice_problems_of, problems_of
from shortpencil.scan.records.recording.typed import filled_out

MOST_BYTES = 256 * 2**20  # ten thousand rounds of 18 holes are about 150 MB of JSON
LONGEST_ROUND_BYTES = 16 * 2**20
SHOWN_PROBLEMS = 50
LONGEST_PROBLEM = 200
_WAITS = '"waits"'  # in the text of a round: some value of it may wait


@dataclass(frozen=True, slots=True)
class Imported:
    """What one file or folder holds; `texts` are the rounds' own, checked, as they will be stored."""

    rounds: tuple[Round, ...]
    practice: tuple[PracticeSet, ...] = ()
    texts: tuple[str, ...] = field(default=(), repr=False)

    def __len__(self) -> int:
        return len(self.rounds)

    def pairs(self) -> Iterator[tuple[Round, str]]:
        """Yield each round with its text."""
        return zip(self.rounds, self.texts, strict=True)


@dataclass(frozen=True, slots=True)
class ByRound:
    """An exported ``rounds.json`` that is checked as its rounds are taken; none of them is kept.

    Attributes
    ----------
    count : how many rounds it has
    practice : its sets of practice, checked
    """

    path: Path
    count: int
    practice: tuple[PracticeSet, ...]

    def __len__(self) -> int:
        return self.count

    def pairs(self) -> Iterator[tuple[Round, str]]:
        """Yield each round with its text, until the first that is wrong.

        Raises
        ------
        InputError
            after the last, naming everything in the file that is not what it must be
        """
        taken, name, number = _Taken(), path_text(self.path), 0
        try:
            for number, line in enumerate(_lines_of(self.path), start=1):
                if not taken.add_line(line):
                    _take(taken, parsed_json(line, name), number, None, None)
                if not taken.problems:
                    yield from zip(taken.rounds, taken.texts, strict=True)
                taken.forget()
        except (InputError, RecursionError):
            if self.path.stat().st_size <= MOST_BYTES:
                read_rounds(self.path)  # says where in the file it is
            raise InputError(
                f"{name}: expected the rounds of an export, found that round {number} is broken. "
                "Export them anew."
            ) from None
        taken.refuse(self.path)


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


def open_rounds(path: Path, *, by: str | None = None, at: datetime | None = None) -> Imported | ByRound:
    """Return what `read_rounds` does, or, of an exported ``rounds.json``, what takes it round by round.

    Raises
    ------
    InputError
        as `read_rounds`; what is wrong with the rounds of an export is said as they are taken
    """
    return _by_round(path) or read_rounds(path, by=by, at=at)


def _by_round(path: Path) -> ByRound | None:
    """Return an export that can be taken round by round; None for any other file, and one not quite right."""
    try:
        if not is_ordinary(path):
            return None
        with path.open("rb") as stream:
            count = sum(1 for _ in _export_lines(stream))
            rest = stream.read(MOST_BYTES).decode()
        data = parsed_json(f"{_EXPORT_HEAD}],\n{rest}", path_text(path))
        practice = data.get("practice", [])
        if isinstance(practice, list) and not any(map(practice_problems_of, practice)):
            sets = tuple(practice_from_json(_in_one_form(done)) for done in practice)
            return ByRound(path, count, sets)
    except (OSError, ValueError, InputError, RecursionError):  # said by whoever reads it whole
        pass
    return None


def _lines_of(path: Path) -> Iterator[str]:
    with path.open("rb") as stream:
        yield from _export_lines(stream)


def _export_lines(stream: BinaryIO) -> Iterator[str]:
    """Yield the rounds of an export line by line and leave the stream behind them.

    Raises
    ------
    ValueError
        when it is none, or has a line that does not end as it must
    """
    head = _EXPORT_HEAD.encode()
    if stream.read(len(head)) != head:
        raise ValueError("no export")
    more = True
    while (line := stream.readline(LONGEST_ROUND_BYTES)) != _EXPORT_TAIL[1:].encode():
        if not more or not line.endswith((b"},\n", b"}\n")):
            raise ValueError("no line of an export")
        more = line.endswith(b",\n")
        yield line.decode().rstrip(",\n")
    if more:
        raise ValueError("no export: it has no rounds, or a comma behind the last")


def _read_rounds(path: Path, by: str | None, at: datetime | None) -> Imported:
    taken = _Taken()
    if path.is_dir():
        names = [table.name for table in (*TABLES, PHASE_ROWS) if (path / f"{table.name}.csv").is_file()]
        if not names:
            raise InputError(
                f"{path_text(path)}: expected the CSV files of an export in this folder, found none. "
                "Name the folder of an export, or a .json file."
            )
        texts = {name: _text(path / f"{name}.csv") for name in names}
        found = rounds_from_csv(texts)
        taken.problems += found.problems
        for given in found.records:
            record = _in_one_form(given)  # a few letters are written with more signs in that form
            taken.add(record, [] if record == given else [str(problem) for problem in problems_of(record)])
        practice = [_in_one_form(done) for done in found.practice]
    else:
        practice = _from_json(taken, path, by, at)
    taken.refuse(path)
    sets = tuple(practice_from_json(done) for done in practice)
    return Imported(tuple(taken.rounds), sets, tuple(taken.texts))


class _Taken:
    """What was taken from a file so far; the records themselves go as soon as they are rounds."""

    def __init__(self) -> None:
        self.rounds: list[Round] = []
        self.texts: list[str] = []
        self.problems: list[str] = []
        self.ids: Counter[str] = Counter()

    def add(self, record: Any, problems: Sequence[str]) -> None:
        """Take a record in the published form, or what is wrong with it."""
        self.problems += problems
        id_ = record.get("id") if isinstance(record, Mapping) else None
        if isinstance(id_, str):
            self.ids[id_] += 1
        if not self.problems:
            round_ = round_from_json(record)
            text = round_text(round_)
            if not round_.waiting and _WAITS in text:
                round_ = with_waiting_told(round_)
                text = round_text(round_)
            self.rounds.append(round_)
            self.texts.append(text)

    def add_line(self, line: str) -> bool:
        """Take a line of an export the quick way; False where it must be gone through key by key."""
        apart = not line.isascii() and not is_normalized("NFC", line)
        found = None if self.problems or apart else round_as_written(line)
        if found is None:
            return False
        round_, text = found
        if not round_.waiting and _WAITS in text:
            return False
        self.ids[round_.id] += 1
        self.rounds.append(round_)
        self.texts.append(text)
        return True

    def refuse(self, path: Path) -> None:
        """Raise what is wrong with the file, if anything is."""
        twice = sorted(id_ for id_, count in self.ids.items() if count > 1)
        problems = [
            *self.problems,
            *(f"round {id_}: expected each round once, found it twice" for id_ in twice),
        ]
        if problems:
            raise InputError(_listed(path, problems))

    def forget(self) -> None:
        """Keep no round any longer; what was wrong, and which there were, stays."""
        self.rounds.clear()
        self.texts.clear()

    def empty(self) -> None:
        """Begin anew."""
        self.forget()
        self.problems.clear()
        self.ids.clear()


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


#: How `export` begins its file: from there on each line is a round.
_EXPORT_HEAD = f'{{"schema": {RECORD_SCHEMA},\n"rounds": [\n'
_EXPORT_TAIL = "\n],\n"


def _from_json(taken: _Taken, path: Path, by: str | None, at: datetime | None) -> list[Any]:
    """Take the rounds of a JSON file; return its sets of practice."""
    text, name = _text(path), path_text(path)
    end = text.find(_EXPORT_TAIL) if text.startswith(_EXPORT_HEAD) else -1
    practice: Any = None
    if end >= 0:  # round by round, so that not all of them lie in memory as records
        try:
            for number, line in enumerate(_lines(text, len(_EXPORT_HEAD), end), start=1):
                if not taken.add_line(line):
                    _take(taken, parsed_json(line, name), number, by, at)
            practice = parsed_json(_EXPORT_HEAD + text[end + 1 :], name).get("practice", [])
        except InputError:  # it only began like one; what is wrong with it is told by its true lines
            taken.empty()
    if practice is None:
        data = parsed_json(text, name)
        practice = []
        if isinstance(data, Mapping) and "rounds" in data:
            practice, data = data.get("practice", []), data["rounds"]
        for number, given in enumerate(data if isinstance(data, list) else [data], start=1):
            _take(taken, given, number, by, at)
    if not isinstance(practice, list):
        taken.problems.append("practice: expected a list")
        practice = []
    for number, done in enumerate(practice, start=1):
        taken.problems += [f"practice, row {number}: {problem}" for problem in practice_problems_of(done)]
    return [_in_one_form(done) for done in practice]


#: Keys of a record whose values are whole numbers; of "tallies" those of each phase.
_COUNTS = ("score", "penalty", "par", "total", "tries", "made")
_TALLIES = "tallies"


def _in_one_form(record: Any, of: str = "") -> Any:
    """Return a record with whole letters and whole counts.

    A file that is older, or was written elsewhere, may have é in two signs, and 3.0 throws: JSON makes no
    difference, a store and a table do.

    Parameters
    ----------
    of : the key that the record stands under, or that above it
    """
    if isinstance(record, str):
        return whole_letters(record)
    if isinstance(record, list):
        return [_in_one_form(item) for item in record]
    if isinstance(record, Mapping):
        below = (of if key == "value" else "total" if of == _TALLIES else key for key in record)
        return {
            key: _in_one_form(item, name) for (key, item), name in zip(record.items(), below, strict=True)
        }
    return int(record) if of in _COUNTS and isinstance(record, float) and record.is_integer() else record


def _lines(text: str, start: int, end: int) -> Iterator[str]:
    """Yield the lines of a text between two places, each but the last without the comma it must end with.

    Raises
    ------
    InputError
        where a line does not end as it must
    """
    while start <= end:
        stop = text.find("\n", start, end)
        last = stop < 0
        stop = end if last else stop
        if not text.endswith("}" if last else "},", start, stop):
            raise InputError("no line of an export")
        yield text[start : stop if last else stop - 1]
        start = stop + 1


def _take(taken: _Taken, given: Any, number: int, by: str | None, at: datetime | None) -> None:
    # What is in the full form is left as it is; to look whether it is takes less time than to fill it out.
    full = is_full(given)
    record = _in_one_form(given if full else filled_out(given, by=by, at=at))
    own = given.get("id") if isinstance(given, Mapping) else None
    name = f"round {number} ({own})" if isinstance(own, str) else f"round {number}"
    taken.add(
        record, [f"{name}: {problem}" for problem in problems_of(record, fits=full and record == given)]
    )
