"""Typed rows of exported tables to records of rounds, each checked against the schema of a record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.rounds import RECORD_SCHEMA
from shortpencil.scan.records.exchanging.columns import (
    DOUBTS,
    HOLES,
    PHASE_ROWS,
    PRACTICE,
    ROUNDS,
    TABLES,
    THROWS,
    widened,
)
from shortpencil.scan.records.exchanging.csv_rows import Place, Row, check_keys, typed_rows
from shortpencil.scan.records.recording.schema import Problem, practice_problems_of, problems_of

#: Keys of the record's JSON that have another name as a column.
_COLUMN_OF = {"played_on": "day", "number": "hole", "order": "throw", "sources": "photos"}


@dataclass(slots=True)
class CsvRounds:
    """What the tables hold: records in the full JSON form, and everything that is wrong."""

    records: list[dict[str, Any]] = field(default_factory=list)
    practice: list[dict[str, Any]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def rounds_from_csv(texts: Mapping[str, str]) -> CsvRounds:
    """Return the rounds in CSV texts by table name; `practice` may be missing.

    Parameters
    ----------
    texts : the texts of ``rounds``, ``holes``, ``throws`` and, if there is one, ``practice``
    """
    found = CsvRounds()
    other_games = PHASE_ROWS.name in texts
    tables = (*map(widened, TABLES), PHASE_ROWS) if other_games else TABLES
    rows = {table.name: list(typed_rows(table, texts.get(table.name), found.problems)) for table in tables}
    for table in tables:
        check_keys(table, rows, found.problems)
    if found.problems:
        return found
    for row, place in rows[PRACTICE.name]:
        done = _practice(row)
        found.practice.append(done)
        found.problems += [_located(problem, {(): place}) for problem in practice_problems_of(done)]
    doubts = _by_key(rows[DOUBTS.name], "round")
    holes = _by_key(rows[HOLES.name], "round")
    phases = _by_key(rows.get(PHASE_ROWS.name, []), "round")
    in_order = sorted(rows[THROWS.name], key=lambda item: int(item[0]["throw"]))
    throws = _by_key(in_order, "round", "hole")
    for head, at in rows[ROUNDS.name]:
        own = holes.get((head["round"],), [])
        record = _record(head, own, throws)
        _put_phases(record, [row for row, _ in phases.get((head["round"],), [])])
        _put_doubts(record, [row for row, _ in doubts.get((head["round"],), [])])
        found.records.append(record)
        places: dict[tuple[str | int, ...], Place] = {(): at}
        for i, (hole, hole_at) in enumerate(own):
            places["holes", i] = hole_at
            for j, (_, throw_at) in enumerate(throws.get((head["round"], hole["hole"]), [])):
                places["holes", i, "throws", j] = throw_at
        for problem in problems_of(record):
            found.problems.append(_located(problem, places))
    return found


def _by_key(rows: list[Row], *names: str) -> dict[tuple[Any, ...], list[Row]]:
    groups: dict[tuple[Any, ...], list[Row]] = {}
    for row, at in rows:
        groups.setdefault(tuple(row[name] for name in names), []).append((row, at))
    return groups


def _located(problem: Problem, places: Mapping[tuple[str | int, ...], Place]) -> str:
    """Return a problem of a record as one of the row it stands in."""
    path = problem.path
    depth = next(end for end in range(len(path), -1, -1) if path[:end] in places)
    file, row = places[path[:depth]]
    keys = [str(step) for step in path[depth:] if isinstance(step, str) and step != "value"]
    if not keys:
        return f"{file}, row {row}: {problem.says}"
    column = _COLUMN_OF.get(keys[-1], keys[-1].removesuffix("_from").removesuffix("s"))
    if keys[0] == "tallies":
        column = f"tally_{keys[-1]}"
    return f"{file}, row {row}, {column}: {problem.says}"


def _value(row: Mapping[str, Any], name: str) -> dict[str, Any]:
    status = row[f"{name}_status"]
    return {
        "value": row[name],
        "source": "imported",
        **({"status": status} if status in ("waits", "doubtful") else {}),
    }


_NUMBERS = ("score", "penalty", "par", "total", "distance")


def _put_phases(record: dict[str, Any], rows: list[Mapping[str, Any]]) -> None:
    """Put the phases of another game, and the tallies of them, into the record of a round."""
    if not rows:
        return
    rows = sorted(rows, key=lambda row: int(row["place"]))
    record["phases"] = [
        {
            **{name: row["phase" if name == "id" else name] for name in ("id", "label", "role")},
            "columns": row["columns"].split(),
        }
        for row in rows
    ]
    record["tallies"] = {
        row["phase"]: _value(row, "tally") for row in rows if row["tally_status"] is not None
    }


def _put_doubts(record: dict[str, Any], rows: list[Mapping[str, Any]]) -> None:
    """Put what doubtful values may be into the values of a record; throws that only may be are left out."""
    found: dict[str, list[list[Any]]] = {}
    for row in sorted(rows, key=lambda row: int(row["rank"])):
        name = "total" if row["place"].startswith("tallies/") else row["place"].rpartition("/")[2]
        found.setdefault(row["place"], []).append([_doubtful(name, row["value"]), row["p"]])
    for place, pairs in found.items():
        value = _at(record, place.split("/"))
        if value is None or value.get("status") != "doubtful":
            continue
        value["value"], value["p"] = pairs[0]
        value["alternatives"] = [pair for pair in pairs[1:] if pair[1] is not None]


def _doubtful(name: str, text: str | None) -> Any:
    if text is None:
        return None
    if name == "forehand_from":
        return text == "true"
    try:
        return float(text) if "." in text and name == "distance" else int(text) if name in _NUMBERS else text
    except ValueError:
        return text


def _at(record: Any, steps: list[str]) -> dict[str, Any] | None:
    """Return the value of a record at a place, or None where there is none."""
    node = record
    for step in steps:
        if isinstance(node, list):
            node = next((one for one in node if str(one.get("number", one.get("order"))) == step), None)
        else:
            node = node.get(step)
        if node is None:
            return None
    return node if isinstance(node, dict) else None


def _optional(row: Mapping[str, Any], **names: str) -> dict[str, Any]:
    """Return the values that the card asks for: those with a status."""
    return {key: _value(row, name) for key, name in names.items() if row[f"{name}_status"] is not None}


def _record(
    head: Mapping[str, Any], holes: list[Row], throws: Mapping[tuple[Any, ...], list[Row]]
) -> dict[str, Any]:
    tallies = [phase for phase in PHASES if head[f"tally_{phase}_status"] is not None]
    return {
        "schema": RECORD_SCHEMA,
        "id": head["round"],
        "form": head["form"],
        "played_on": _value(head, "day"),
        "player": head["player"],
        "course": head["course"],
        "layout": head["layout"],
        "unit": head["unit"],
        **{name: _value(head, name) for name in ("hand", "wind", "worst", "total")},
        "tallies": {phase: _value(head, f"tally_{phase}") for phase in tallies},
        "holes": [
            {
                "number": hole["hole"],
                **{name: _value(hole, name) for name in ("score", "penalty", "par")},
                "length_m": hole["length_m"],
                "throws": [_throw(row) for row, _ in throws.get((head["round"], hole["hole"]), [])],
            }
            for hole, _ in holes
        ],
        "sources": (head["photos"] or "").split(),
        "recorded_at": head["recorded_at"],
        "waiting": (head["waiting"] or "").split(),
    }


def _throw(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "order": row["throw"],
        "phase": row["phase"],
        "execution": _value(row, "execution"),
        "holed": row["holed"],
        "distance_m": row["distance_m"],
        "directions": (row["direction"] or "").split(),
        "forehand": row["forehand"],
        "words": row["words"],
        **_optional(
            row,
            distance="distance",
            stance="stance",
            directions_from="direction",
            forehand_from="forehand",
            cause="cause",
            words_from="words",
        ),
    }


def _practice(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **{name: row[name] for name in ("card", "row", "day", "player", "drill")},
        "tries": _value(row, "tries"),
        "made": _value(row, "made"),
        **_optional(row, distance_m="distance_m"),
    }
