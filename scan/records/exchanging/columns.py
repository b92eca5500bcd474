"""The columns of the exported tables: name, type, meaning, what may stand in them. Stated once.

From these come the Table Schema beside an export and the checks of an import. `derived` columns are worked
out from others when exporting and passed over when importing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shortpencil.forms.form_check import PHASE_ID, ROLES
from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.other_sheets import STATUSES as SHEET_STATUSES
from shortpencil.scan.records.composing.tidy import STATUSES


@dataclass(frozen=True, slots=True)
class TidyColumn:
    """One column; `type` is a type of Table Schema: string, integer, number, boolean, date or datetime.

    `later`: exports of earlier releases do not have it.
    """

    name: str
    type: str
    says: str
    required: bool = False
    derived: bool = False
    enum: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    pattern: str | None = None
    later: bool = False


@dataclass(frozen=True, slots=True)
class TidyTable:
    """One table with its key, and the keys of other tables it names: (own columns, table, its columns)."""

    name: str
    says: str
    columns: tuple[TidyColumn, ...]
    key: tuple[str, ...]
    foreign: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()


ID_PATTERN = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"


def _id(name: str, says: str) -> TidyColumn:
    return TidyColumn(name, "string", says, required=True, pattern=ID_PATTERN)


def _text(name: str, says: str, *, required: bool = False) -> TidyColumn:
    return TidyColumn(name, "string", says, required)


def _choice(name: str, says: str, *enum: str, required: bool = False) -> TidyColumn:
    return TidyColumn(name, "string", says, required=required, enum=enum)


def _whole(
    name: str, says: str, low: int | None, high: int | None, *, required: bool = False, derived: bool = False
) -> TidyColumn:
    return TidyColumn(name, "integer", says, required, derived, minimum=low, maximum=high)


def _status(of: str, *, required: bool = True) -> TidyColumn:
    says = f"known, blank, waits (a person must look before {of} counts) or doubtful (see the table doubts)"
    if not required:
        says += "; empty where the card does not ask"
    return _choice(f"{of}_status", says, *STATUSES, required=required)


ROUNDS = TidyTable(
    "rounds",
    "One row a round.",
    (
        _id("round", "The card's serial, or an id made at import."),
        _text(
            "form",
            "Fingerprint of the card's form, or a word for rounds that were on no card.",
            required=True,
        ),
        TidyColumn("day", "date", "The day played."),
        _status("day"),
        _text("player", "An alias chosen by the player."),
        _text("course", "The course."),
        _text("layout", "Which layout of the course."),
        _choice("unit", "Unit of distances as written.", "m", "ft", required=True),
        _choice("hand", "The throwing hand.", "right", "left"),
        _status("hand"),
        _text("wind", "An option of the card's wind field."),
        _status("wind"),
        _choice("worst", "The phase that the notes are about.", *PHASES),
        _status("worst"),
        _whole("holes", "Holes on the card.", 0, 60, required=True, derived=True),
        _whole("holes_scored", "Holes whose score is known.", 0, 60, required=True, derived=True),
        _whole("score", "Sum of the known scores.", 0, None, required=True, derived=True),
        _whole("par_scored", "Par of the same holes; empty where one is unknown.", 0, None, derived=True),
        *(
            _whole(
                f"misses_{phase}", f"Known misses of the phase {phase}.", 0, None, required=True, derived=True
            )
            for phase in PHASES
        ),
        _whole("total", "The player's own total, as written.", 0, 99999),
        _status("total"),
        *(
            column
            for phase in PHASES
            for column in (
                _whole(f"tally_{phase}", f"The player's own count of misses of the phase {phase}.", 0, 9999),
                _status(f"tally_{phase}", required=False),
            )
        ),
        _text("waiting", "Ids of the fields that wait for a person, separated by spaces."),
        TidyColumn("recorded_at", "datetime", "When the round was read or typed, UTC."),
        _text("photos", "SHA-256 of the photos, separated by spaces."),
    ),
    ("round",),
)

HOLES = TidyTable(
    "holes",
    "One row a hole of a round.",
    (
        _id("round", "The round."),
        _whole("hole", "Number of the hole.", 1, 99, required=True),
        _whole("score", "Throws plus penalty throws.", 0, 999),
        _status("score"),
        _whole("penalty", "Penalty throws.", 0, 99),
        _status("penalty"),
        _whole("par", "Par of the hole.", 0, 99),
        _status("par"),
        TidyColumn("length_m", "number", "Length in metres.", minimum=0, maximum=2000),
        _whole("throws", "Throws by score and penalties.", 0, None, derived=True),
    ),
    ("round", "hole"),
    ((("round",), "rounds", ("round",)),),
)

THROWS = TidyTable(
    "throws",
    "One row a throw that is known by itself.",
    (
        _id("round", "The round."),
        _whole("hole", "Number of the hole.", 1, 99, required=True),
        _whole(
            "throw", "1, 2, … in the order thrown, among the known throws of the hole.", 1, 99, required=True
        ),
        _choice("phase", "Drive, approach or putt.", *PHASES, required=True),
        _choice(
            "execution",
            "Did it leave the hand as meant? Unmarked is unknown, never a miss.",
            "clean",
            "miss",
            "unmarked",
        ),
        _status("execution"),
        TidyColumn("holed", "boolean", "Did it hole out? Empty where that cannot be known."),
        TidyColumn("distance", "number", "Distance to the target as written.", minimum=0, maximum=9999),
        _status("distance", required=False),
        TidyColumn(
            "distance_unit", "string", "Unit of the distance as written.", derived=True, enum=("m", "ft")
        ),
        TidyColumn("distance_m", "number", "The distance in metres.", minimum=0, maximum=9999),
        _text("stance", "An option of the card's stance field."),
        _status("stance", required=False),
        _text("direction", "Which way it missed; several are separated by spaces."),
        _status("direction", required=False),
        TidyColumn("forehand", "boolean", "Was it the throw that is not the usual one?"),
        _status("forehand", required=False),
        _text("cause", "Id of the cause the player gave."),
        _status("cause", required=False),
        _text("words", "The player's own words."),
        _status("words", required=False),
    ),
    ("round", "hole", "throw"),
    ((("round", "hole"), "holes", ("round", "hole")),),
)

PRACTICE = TidyTable(
    "practice",
    "One row a set of a practice card, or a rung of a putting ladder, or all throws of field work.",
    (
        _id("card", "The card's serial."),
        _whole("row", "Row on the card.", 1, 99, required=True),
        TidyColumn("day", "date", "The day practised."),
        _text("player", "An alias chosen by the player."),
        _text("drill", "Id of the drill.", required=True),
        _whole("tries", "Tries.", 0, 9999),
        _status("tries"),
        _whole("made", "Tries that were made.", 0, 9999),
        _status("made"),
        TidyColumn("distance_m", "number", "From where, in metres.", minimum=0, maximum=9999, later=True),
        replace(_status("distance_m", required=False), later=True),
    ),
    ("card", "row"),
)

DOUBTS = TidyTable(
    "doubts",
    "One row a value that a doubtful one may have; nothing of it stands in the other tables.",
    (
        _id("round", "The round."),
        _text("place", "Which value of the record, as in holes/7/score.", required=True),
        _whole("rank", "1 for the likeliest, then 2, 3, …", 1, 99, required=True),
        _text("value", "What it may be; empty where it may be blank."),
        TidyColumn("p", "number", "Probability of it.", minimum=0, maximum=1),
    ),
    ("round", "place", "rank"),
    ((("round",), "rounds", ("round",)),),
)

TABLES = (ROUNDS, HOLES, THROWS, PRACTICE, DOUBTS)
#: What an export of an earlier version may lack.
MAY_BE_MISSING = (PRACTICE, DOUBTS)

SHEETS = TidyTable(
    "sheets",
    "One row a sheet that is no round: drills, field tests, whatever its form asks.",
    (
        _id("sheet", "The card's serial."),
        _text("form", "The form's name.", required=True),
        _text("title", "The form's title.", required=True),
        TidyColumn("day", "date", "The day written on it."),
        _text("player", "An alias chosen by the player."),
        _choice("unit", "Unit of distances as written.", "m", "ft", required=True),
        _whole("answered", "Fields that say something.", 0, None, required=True),
        _text("waiting", "Ids of the fields that wait for a person, separated by spaces."),
    ),
    ("sheet",),
)

FIELDS = TidyTable(
    "fields",
    "One row a field of such a sheet, and of what a round card asks beyond the game.",
    (
        _id("sheet", "The sheet, or the round."),
        _whole("row", "Number of the row as printed; 0 for head and foot.", 0, 99, required=True),
        _text("row_label", "What is printed before the row."),
        _text("field", "The field's id without its row.", required=True),
        _text("value", "What is filled in; options by their ids, several separated by spaces."),
        _choice(
            "status",
            "known, blank, written (words that nobody has typed yet), waits (a person must look), doubtful.",
            *SHEET_STATUSES,
            required=True,
        ),
        TidyColumn("p", "number", "Probability that a read value is right.", minimum=0, maximum=1),
        _choice("source", "Where the value comes from.", "read", "inferred", "entered", "default"),
    ),
    ("sheet", "row", "field"),
)

PHASE_ROWS = TidyTable(
    "phases",
    "One row a phase of a round whose card declares a game of its own.",
    (
        _id("round", "The round."),
        _whole("place", "1, 2, … in the order thrown.", 1, 9, required=True),
        TidyColumn("phase", "string", "Id of the phase.", required=True, pattern=PHASE_ID),
        _text("label", "What it is called.", required=True),
        _choice("role", "Where on a hole its throws fall.", *ROLES, required=True),
        _text("columns", "Its columns on the card, separated by spaces.", required=True),
        _whole("misses", "Known misses.", 0, None, required=True, derived=True),
        _whole("tally", "The player's own count of misses.", 0, 9999),
        _status("tally", required=False),
    ),
    ("round", "place"),
    ((("round",), "rounds", ("round",)),),
)


def widened(table: TidyTable) -> TidyTable:
    """Return the table of an export that has rounds of other games: any phase, and none that is required."""
    return replace(table, columns=tuple(_widened(column) for column in table.columns))


def _widened(column: TidyColumn) -> TidyColumn:
    if column.enum == PHASES:
        return replace(column, enum=(), pattern=PHASE_ID)
    return replace(column, required=False) if column.name.startswith("misses_") else column


#: Tables of an export that has such sheets; they are not imported.
SHEET_TABLES = (SHEETS, FIELDS)
