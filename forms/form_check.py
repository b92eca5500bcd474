"""What a form's TOML may hold, stated once: the keys of each table, the values of each key.

From this statement come the checks before a form is made, with line, field and remedy for each thing that is
wrong, and the published JSON Schema (`forms/form.schema.json`). Everything wrong with a form is said at once.
What one key alone cannot break (two fields of one id, a default that is no option) stands below.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.shown import found, is_text, one_line
from shortpencil.forms.toml_lines import Path, line_at, lines_of

FIELD_TYPES = ("choose-one", "choose-many", "number", "words")
RECORDS = ("round", "practice", "sheet")
SHAPES = ("round", "square")
ARRANGE = ("stack", "line", "cross")
FIELD_ID = r"[\w-]{1,40}(\.[\w-]{1,40})*"
SIMPLE_ID = r"[\w-]{1,40}"
#: Places outside the rows, and the two blocks of the rows.
OUTSIDE = ("head", "right-head", "foot", "foot-right", "notes")
BLOCKS = ("left", "right")
MOST_ROWS = 60
#: Columns of the phases of a round that declares none; `form.USUAL_PHASES` has them by phase.
USUAL_THROWS = ("drive", "approach1", "approach2", "putt1", "putt2", "putt3")
MOST_PROBLEMS_SHOWN = 12
LONGEST_TEXT = 300

#: The sentences that the card itself prints. A form in another language, or for another game, gives its own.
WORDS = {
    "distances-m": "distances in metres",
    "distances-ft": "distances in feet",
    "left-handed": "left-handed",
    "first-pass": "Every throw: did it go as planned?",
    "second-pass": "Only the phase with most misses",
    "add-up": "Add up: the misses of each phase, and the score",
    "causes": "why, as one digit",
    "par": "par",
}


@dataclass(frozen=True, slots=True)
class Key:
    """What may stand behind one key.

    Attributes
    ----------
    kind : text, id, whole, mm, flag, choice, texts (a list of them), table or tables
    says : what it is for, in a sentence
    low, high : bounds of a whole number or of millimetres; of a list, how many there may be
    allowed : the words that may stand there; of a list of texts or a table, empty
    only : types of field that the key goes with; empty for all
    places : places of a field that the key goes with; empty for all
    """

    kind: str
    says: str
    required: bool = False
    low: float = 0
    high: float = 0
    allowed: tuple[str, ...] = ()
    pattern: str = SIMPLE_ID
    empty: bool = False
    only: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    item: str = ""
    longest: int = LONGEST_TEXT

    @property
    def expected(self) -> str:
        """What to write, for messages."""
        kinds = {
            "text": f"a text of at most {self.longest} signs{'' if self.empty else ', not empty'}",
            "id": "letters, digits, '-' and '_', at most 40 signs"
            + (", parts joined by dots" if "." in self.pattern.removeprefix(SIMPLE_ID) else ""),
            "whole": f"a whole number from {self.low:g} to {self.high:g}",
            "mm": f"millimetres from {self.low:g} to {self.high:g}",
            "flag": "true or false",
            "choice": f"one of {', '.join(self.allowed)}",
            "texts": f'a list of at most {self.high:g} texts, as in ["one", "two"]',
            "table": "a table",
            "tables": "a list of tables",
        }
        return kinds[self.kind]

    def fits(self, value: Any) -> bool:
        """Say whether a value may stand behind the key; what is in tables is not looked at."""
        match self.kind:
            case "text":
                return is_text(value) and len(value) <= self.longest and (self.empty or bool(value.strip()))
            case "id":
                return isinstance(value, str) and re.fullmatch(self.pattern, value) is not None
            case "whole":
                return (
                    isinstance(value, int) and not isinstance(value, bool) and self.low <= value <= self.high
                )
            case "mm":
                return (
                    isinstance(value, int | float)
                    and not isinstance(value, bool)
                    and self.low <= value <= self.high
                )
            case "flag":
                return isinstance(value, bool)
            case "choice":
                return isinstance(value, str) and value in self.allowed
            case "texts":
                return (
                    isinstance(value, list)
                    and len(value) <= self.high
                    and all(is_text(one) and len(one) <= self.longest for one in value)
                )
            case "table":
                return isinstance(value, dict)
            case _:
                return isinstance(value, list) and all(isinstance(one, dict) for one in value)


CHOICES = ("choose-one", "choose-many")

OPTION = {
    "id": Key("id", "What records keep.", required=True),
    "label": Key("text", "What is printed at the bubble.", required=True),
    "shape": Key("choice", "Outline of the bubble; round unless it says so.", allowed=SHAPES),
}

FIELD = {
    "id": Key("id", "What records keep; unique on the card.", required=True, pattern=FIELD_ID),
    "type": Key("choice", "What is asked.", required=True, allowed=FIELD_TYPES),
    "label": Key("text", "What is printed; | parts the two lines of a column's head.", empty=True),
    "options": Key("tables", "The answers of a choice.", only=CHOICES, item="option", low=1, high=12),
    "default": Key("id", "The option that an unmarked choice stands for.", only=CHOICES),
    "digits": Key("whole", "Boxes of a number; 1 unless it says so.", low=1, high=6, only=("number",)),
    "arrange": Key(
        "choice", "How the bubbles stand in a row; stack unless it says so.", allowed=ARRANGE, only=CHOICES
    ),
    "bubble_mm": Key("mm", "Width of the bubbles; 3.4 unless it says so.", low=3, high=6, only=CHOICES),
    "gap_mm": Key("mm", "Clear space before a column.", high=300, places=BLOCKS),
    "width_mm": Key(
        "mm", "Width of a strip for words; what is left unless it says so.", high=300, only=("words",)
    ),
    "box_mm": Key(
        "mm", "Width of each box of a number; 5 unless it says so.", low=4, high=20, only=("number",)
    ),
    "line": Key("whole", "Line of the head, from 1.", low=1, high=9, places=("head",)),
    "lead": Key("text", "A word before a line of fields that belong together.", empty=True, places=("head",)),
    "stud": Key("flag", "A small square before a column, to measure how paper bends.", places=BLOCKS),
    "without_course": Key("flag", "Left out when a course is printed in."),
    "without_hand": Key("flag", "Left out when the hand is printed."),
}

CAUSE = {
    "number": Key("whole", "The digit that is written.", required=True, high=9),
    "id": Key("id", "What records keep.", required=True),
    "label": Key("text", "What is printed.", required=True),
}

#: A phase's id is a column's value in every store, where eight signs were agreed on.
PHASE_ID = r"[a-z][a-z0-9]{0,7}"
ROLES = ("tee", "between", "target")
MOST_PHASES, MOST_COLUMNS, MOST_THROWS = 5, 4, 9

PHASE = {
    "id": Key("id", "What records keep; at most 8 small letters.", required=True, pattern=PHASE_ID),
    "label": Key("text", "What findings call it; lists and advice go by the id. The id unless it says so."),
    "role": Key(
        "choice",
        "tee: one throw, the first; between: any number; target: the last, which end the hole.",
        required=True,
        allowed=ROLES,
    ),
    "columns": Key(
        "texts", "Ids of its columns in the rows, in the order thrown.", required=True, high=MOST_COLUMNS
    ),
}

ROWS = {
    "count": Key("whole", "How many rows.", required=True, low=0, high=MOST_ROWS),
    "prefix": Key(
        "id", "Begin of the rows' ids, as h in h07; r unless it says so.", pattern=r"[A-Za-z]{1,10}"
    ),
    "group": Key("whole", "Rows between two darker lines; 3 unless it says so.", low=1, high=MOST_ROWS),
    "labels": Key("texts", "What stands before the rows, in place of 1, 2, …", high=MOST_ROWS),
    "left": Key("tables", "Columns, left block.", item="field", high=40),
    "right": Key("tables", "Columns, right block.", item="field", high=40),
}

FORM = {
    "name": Key("text", "What the form is called in lists and records.", required=True),
    "edition": Key("whole", "Raise it when a printed form changes; 1 unless it says so.", low=1, high=9999),
    "title": Key("text", "What is printed under the card's name.", required=True),
    "record": Key(
        "choice", "A round, sets of drills (practice), or anything else (sheet, the usual).", allowed=RECORDS
    ),
    "language": Key("text", "Language of the labels, as in en or de (BCP 47)."),
    "statement": Key("text", "One sentence above the rows.", empty=True),
    "help": Key("texts", "How to mark, beside three small pictures.", high=3),
    "words": Key("table", "The sentences that the card itself prints, where they are to differ."),
    "head": Key("tables", "Fields above the rows.", item="field", high=60),
    "rows": Key("table", "The table of rows."),
    "right-head": Key("tables", "Fields above the right block.", item="field", high=4),
    "notes": Key("tables", "Strips for words below the rows.", item="field", high=2),
    "foot": Key("tables", "Fields below the rows, left.", item="field", high=12),
    "foot-right": Key("tables", "Strips for words below the rows, right.", item="field", high=3),
    "causes": Key("tables", "Numbered reasons, 0 to 9.", item="cause", high=10),
    "phases": Key(
        "tables",
        "Phases of the game in the order thrown; drive, approach and putt unless it says so.",
        item="phase",
        high=MOST_PHASES,
    ),
}

SENTENCES = {name: Key("text", f"In place of: {usual}", empty=True) for name, usual in WORDS.items()}

TABLES: dict[str, dict[str, Key]] = {
    "form": FORM,
    "rows": ROWS,
    "words": SENTENCES,
    "field": FIELD,
    "option": OPTION,
    "cause": CAUSE,
    "phase": PHASE,
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with a form: where, and what to do."""

    path: Path
    says: str


def check_form(data: Mapping[str, Any], text: str, source: str) -> None:
    """Refuse a form's tables where they are not what they must be.

    Raises
    ------
    InputError
        naming for each thing that is wrong the line, the field and what to do
    """
    problems = list(problems_of(data))
    if not problems:
        return
    lines = lines_of(text)
    said = [f"{_where(problem.path, data, lines, source)}: {problem.says}" for problem in problems]
    order = sorted(range(len(said)), key=lambda i: line_at(lines, problems[i].path) or 0)
    shown = [said[i] for i in order][:MOST_PROBLEMS_SHOWN]
    more = len(said) - len(shown)
    raise InputError("\n".join([*shown, *([f"{source}: and {more} more."] if more else [])]))


def problems_of(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield everything that is wrong with a form's tables."""
    yield from _table(data, "form", ())
    yield from _places(data)
    yield from _ids(data)
    yield from _causes(data)
    yield from _row_labels(data)
    yield from _phases(data)
    yield from _throws(data)


def _table(data: Mapping[str, Any], kind: str, path: Path, place: str = "") -> Iterator[Problem]:
    """Yield what is wrong with the keys and values of one table, and of those in it."""
    keys = TABLES[kind]
    for name in data:
        if name not in keys:
            yield Problem((*path, name), _unknown(name, kind, keys))
    for name, key in keys.items():
        if name not in data:
            if key.required:
                yield Problem(path, f"expected a {name!r}, found none. Write one: {key.expected}.")
            continue
        value = data[name]
        at = (*path, name)
        if not key.fits(value):
            yield Problem(
                at, f"expected {key.expected} for {name!r}, found {found(value)}.{_remedy(key, value)}"
            )
        elif key.kind == "table":
            yield from _table(value, name, at)
        elif key.kind == "tables":
            if key.high and len(value) > key.high:
                yield Problem(
                    at, f"expected at most {key.high:g} of {name!r}, found {len(value)}. Take some out."
                )
            for number, item in enumerate(value):
                yield from _table(item, key.item, (*at, number), name)
    if kind == "field":
        yield from _field(data, path, place)


def _field(data: Mapping[str, Any], path: Path, place: str) -> Iterator[Problem]:
    """Yield what does not go together in one field."""
    type_ = data.get("type")
    if type_ not in FIELD_TYPES:
        return
    for name, key in FIELD.items():
        if name in data and key.only and type_ not in key.only:
            yield Problem(
                (*path, name),
                f"expected {name!r} only with {' or '.join(key.only)}, found it with {type_}. "
                "Take it out, or change the type.",
            )
        if name in data and key.places and place not in key.places:
            yield Problem(
                (*path, name),
                f"expected {name!r} only in {' or '.join(_place_shown(p) for p in key.places)}, found it in "
                f"{_place_shown(place)}. Take it out.",
            )
    if place in ("notes", "foot-right") and type_ != "words":
        yield Problem(
            (*path, "type"),
            f"expected words in {_place_shown(place)}, found {type_}. Move the field to [[foot]].",
        )
    options = data.get("options", [])
    if type_ in CHOICES and not options:
        yield Problem(
            path,
            "expected options for a choice, found none: a choice needs options, as in "
            'options = [{ id = "yes", label = "yes" }].',
        )
    if type_ not in CHOICES or not FIELD["options"].fits(options):
        return
    yield from _options(data, path, place, options)


def _options(
    data: Mapping[str, Any], path: Path, place: str, options: list[Mapping[str, Any]]
) -> Iterator[Problem]:
    """Yield what does not go together among the options of a choice, and in how they are laid out."""
    ids = [option.get("id") for option in options]
    for number, id_ in enumerate(ids):
        if isinstance(id_, str) and id_ in ids[:number]:
            yield Problem(
                (*path, "options", number),
                f"expected an id of its own for each option, found {found(id_)} twice. Rename one.",
            )
    only_misses = ids == ["miss"] and data["default"] == "clean" if "default" in data else False
    if "default" in data and data["default"] not in ids and not only_misses:
        near = _near(data["default"], [str(i) for i in ids])
        yield Problem(
            (*path, "default"),
            f"expected one of the options ({', '.join(map(str, ids))}) for 'default', found "
            f"{found(data['default'])}.{near}",
        )
    if place not in BLOCKS and data.get("arrange", "line") != "line":
        yield Problem(
            (*path, "arrange"),
            f"expected bubbles in a line outside the rows, found {found(data['arrange'])}. "
            'Take arrange = "line", or leave it out.',
        )
    elif data.get("arrange") == "cross" and len(options) != 4:
        yield Problem(
            (*path, "arrange"),
            f"expected four options in a cross (left, right, above, below), found {len(options)}. "
            'Take arrange = "line".',
        )


def _places(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what a form lacks to be one."""
    rows = data.get("rows")
    columns = [c for block in BLOCKS if isinstance(rows, dict) for c in _tables(rows.get(block))]
    outside = [f for place in OUTSIDE for f in _tables(data.get(place))]
    if not columns and not outside:
        yield Problem((), "expected fields, found none. Add one, as in [[head]] or [[rows.left]].")
    if isinstance(rows, dict) and rows.get("count") == 0 and columns:
        yield Problem(("rows", "count"), "expected rows for the columns, found a 'count' of 0. Raise it.")
    if isinstance(rows, dict) and ROWS["count"].fits(rows.get("count")) and rows["count"] and not columns:
        yield Problem(("rows",), "expected columns in the rows, found none. Add one, as in [[rows.left]].")
    notes = [n for n in _tables(data.get("right-head")) if n]
    if notes and not (isinstance(rows, dict) and _tables(rows.get("right"))):
        yield Problem(
            ("right-head", 0),
            "expected [[rows.right]] below the fields of [[right-head]], found none. Move them to [[head]].",
        )


def _ids(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield fields that share an id, or whose id is that of a field in a row."""
    rows = data.get("rows")
    seen: dict[str, Path] = {}
    places: list[tuple[Path, Any, bool]] = [((p,), data.get(p), False) for p in OUTSIDE]
    if isinstance(rows, dict):
        places += [(("rows", block), rows.get(block), True) for block in BLOCKS]
    for path, items, in_rows in places:
        for number, item in enumerate(_tables(items)):
            id_ = item.get("id")
            if not isinstance(id_, str):
                continue
            if in_rows and isinstance(rows, dict):
                made = re.compile(rf"{re.escape(str(rows.get('prefix', 'r')))}\d\d\.{re.escape(id_)}")
                for at in [at for other, at in seen.items() if made.fullmatch(other)]:
                    yield Problem(
                        at,
                        f"expected an id of its own, found that of {id_!r} in a row. Rename one.",
                    )
            key = f"\n{id_}" if in_rows else id_  # drive in the rows is h01.drive, outside it is drive
            if key in seen:
                yield Problem(
                    (*path, number, "id"),
                    f"expected an id of its own for each field, found {found(id_)} twice (it stands twice). "
                    "Rename one.",
                )
            seen.setdefault(key, (*path, number, "id"))


def _causes(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield causes that share a number or an id."""
    for name in ("number", "id"):
        seen: list[Any] = []
        for place, cause in enumerate(_tables(data.get("causes"))):
            value = cause.get(name)
            if CAUSE[name].fits(value) and value in seen:
                yield Problem(
                    ("causes", place, name),
                    f"expected a {name} of its own for each cause, found {found(value)} twice. Change one.",
                )
            seen.append(value)


def _row_labels(data: Mapping[str, Any]) -> Iterator[Problem]:
    rows = data.get("rows")
    if not isinstance(rows, dict) or "labels" not in rows:
        return
    labels, count = rows["labels"], rows.get("count")
    if ROWS["labels"].fits(labels) and ROWS["count"].fits(count) and len(labels) != count:
        yield Problem(
            ("rows", "labels"),
            f"expected a label for each of the {count} rows, found {len(labels)}. Write as many.",
        )


def _phases(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what does not hold among the declared phases."""
    phases = _tables(data.get("phases"))
    if phases and data.get("record") != "round":
        yield Problem(
            ("phases",), 'expected phases only with record = "round". Take them out, or change the record.'
        )
    rows = data.get("rows")
    known = [c.get("id") for b in BLOCKS if isinstance(rows, dict) for c in _tables(rows.get(b))]
    yield from _columns_of(phases, known)
    yield from _roles_of(phases)


def _columns_of(phases: list[Mapping[str, Any]], known: list[Any]) -> Iterator[Problem]:
    """Yield phases that share an id or a column, and columns that the rows do not have."""
    used: list[str] = []
    for place, phase in enumerate(phases):
        if phase.get("id") in [other.get("id") for other in phases[:place]]:
            yield Problem(
                ("phases", place, "id"),
                f"expected an id of its own, found {found(phase['id'])} twice. Rename one.",
            )
        columns = phase.get("columns")
        for number, column in enumerate(columns if PHASE["columns"].fits(columns) and columns else ()):
            at = ("phases", place, "columns", number)
            if column not in known:
                near = (
                    _near(column, [str(name) for name in known])
                    or " Add a column of that id to [[rows.left]]."
                )
                yield Problem(at, f"expected the id of a column in the rows, found {found(column)}.{near}")
            elif column in used:
                yield Problem(
                    at, f"expected each column in one phase, found {found(column)} twice. Take one out."
                )
            used.append(column)
    if len(used) > MOST_THROWS:
        yield Problem(
            ("phases",),
            f"expected at most {MOST_THROWS} columns of throws, found {len(used)}. Take some out.",
        )


def _roles_of(phases: list[Mapping[str, Any]]) -> Iterator[Problem]:
    """Yield roles that two phases claim, and phases in another order than they are thrown in."""
    roles = [phase.get("role") for phase in phases]
    order = [ROLES.index(role) for role in roles if role in ROLES]
    for role in ("tee", "target"):
        if roles.count(role) > 1:
            yield Problem(
                ("phases", len(roles) - 1, "role"),
                f'expected one phase with the role {role!r}, found {roles.count(role)}. Take "between".',
            )
    if order != sorted(order):
        yield Problem(
            ("phases",), "expected the phases in the order thrown: tee, between, target. Sort them."
        )


def _throws(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield columns of throws whose answers a round does not know."""
    rows = data.get("rows")
    if data.get("record") != "round" or not isinstance(rows, dict):
        return
    phases = _tables(data.get("phases"))
    listed = [phase["columns"] for phase in phases if PHASE["columns"].fits(phase.get("columns"))]
    throws = [column for columns in listed for column in columns] or list(USUAL_THROWS)
    for block in BLOCKS:
        for place, column in enumerate(_tables(rows.get(block))):
            if column.get("id") not in throws:
                continue
            at = ("rows", block, place)
            ids = sorted(str(option.get("id")) for option in _tables(column.get("options")))
            if column.get("type") != "choose-one" or ids not in (["clean", "miss"], ["miss"]):
                yield Problem(
                    (*at, "options") if "options" in column else at,
                    "expected a throw to be a choose-one of 'clean' and 'miss', or of 'miss' alone, found "
                    f"{column.get('type')} of {', '.join(ids) or 'nothing'}. Give the options these ids; "
                    "their labels may say what you like.",
                )


def _tables(value: Any) -> list[Mapping[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _unknown(name: str, kind: str, keys: Mapping[str, Key]) -> str:
    near = _near(name, list(keys))
    elsewhere = next((other for other, table in TABLES.items() if name in table and other != kind), None)
    if not near and elsewhere is not None:
        near = (
            f" It belongs into a {elsewhere}."
            if elsewhere != "form"
            else " It belongs to the top of the file."
        )
    return (
        f"expected a key of a {kind}, found {found(name)}, which is none.{near} Known are {', '.join(keys)}."
    )


def _remedy(key: Key, value: Any) -> str:
    """Return what to do about a value of the wrong kind."""
    if key.kind == "choice":
        return _near(value, list(key.allowed)) or " Write one of these."
    if key.kind in ("whole", "mm") and isinstance(value, str):
        return " Write the number without quotes."
    if key.kind in ("text", "id") and isinstance(value, int | float):
        return " Put it in quotes."
    if key.kind == "flag":
        return " Write it without quotes."
    if key.kind == "id":
        return " Leave out spaces and other signs."
    return " Change it."


def _near(value: Any, known: list[str]) -> str:
    match = get_close_matches(str(value).lower()[:60], known, n=1, cutoff=0.6)
    return f" Did you mean {match[0]!r}?" if match else ""


def _place_shown(place: str) -> str:
    return f"[[rows.{place}]]" if place in BLOCKS else f"[[{place}]]"


def _where(path: Path, data: Mapping[str, Any], lines: dict[Path, int], source: str) -> str:
    """Return file, line and field of a place, as far as they can be known."""
    parts = [source]
    line = line_at(lines, path)
    if line is not None:
        parts.append(f"line {line}")
    item: Any = data
    name = ""
    for step in path:
        try:
            item = item[step]
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(item, dict) and isinstance(item.get("id"), str) and isinstance(step, int):
            name = name or item["id"]
    if name:
        parts.append(f"{'cause' if path[0] == 'causes' else 'field'} '{one_line(name)[:60]}'")
    return ", ".join(parts)
