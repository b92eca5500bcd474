"""The tables of the store. What must always hold is a constraint here, not a hope elsewhere.

The record of a round is kept whole, as its JSON text (`rounds.record`), because provenance belongs to every
value. The columns beside it and the rows of `misses`, `holes` and `throws` hold the same facts for anyone who
asks in SQL: only what is known, null where a person must look first. Both are written in one transaction and
never apart.

Types are those that SQLite and PostgreSQL share; `sql` knows how each calls them.
"""

from __future__ import annotations

from shortpencil.scan.records.connection import Connection
from shortpencil.scan.records.ddl import made
from shortpencil.scan.records.sql import (
    BOOLEAN,
    BYTES,
    DATE,
    FLOAT,
    INTEGER,
    TEXT,
    Check,
    Column,
    Index,
    Names,
    Table,
    Unique,
    string,
)

#: Longest texts; PostgreSQL enforces them by type, the record's schema in both.
ID, NAME = 64, 500
LEAST_MINUTES, MOST_MINUTES = 1, 600  # of a session told by hand


def _one_of(column: str, *allowed: str, name: str) -> Check:
    # Not IN: SQLite makes a list of the words anew for each row, which takes as long as the rest of it.
    return Check(" OR ".join(f"{column} = {item!r}" for item in allowed), name)


store_version = Table(
    "store_version",
    Column("id", INTEGER, key=True),
    Column("version", INTEGER),
    Check("id = 1", "one_row"),
    Check("version >= 1", "version"),
)

photos = Table(
    "photos",
    Column("sha256", string(64), key=True),
    Column("status", string(8)),
    Column("reason", TEXT, null=True),
    # Every card of it is stored; a program that ends between two cards of a photo leaves it false.
    Column("whole", BOOLEAN, default=True),
    Check("length(sha256) = 64", "sha256"),
    _one_of("status", "read", "rejected", name="status"),
)

forms = Table(
    "forms",
    Column("fingerprint", string(100), key=True),
    Column("text", TEXT),  # the field map
)

#: One row a round, or a practice card. `serial` is the sheet's serial number; of a sheet that was printed
#: twice or photocopied the second round is kept as SERIAL-2, and so on.
cards = Table(
    "cards",
    Column("serial", string(ID), key=True),
    Column("form", string(100), of=forms.c.fingerprint),
    Column("player", string(NAME), null=True),
    Column("waiting", TEXT),  # ids of fields, separated by spaces
    Column("glance", TEXT, default="''"),  # those of them that are seen together
    Column("speaks", TEXT, null=True),  # the reading made of several photos; null with one
)

#: Every photo of a card keeps its own reading, and what that rests on.
readings = Table(
    "readings",
    Column("photo", string(64), of=photos.c.sha256, key=True),
    Column("serial", string(ID), of=cards.c.serial, goes_with=True, key=True),
    Column("flags", INTEGER),
    Column("recorded_at", string(32)),  # UTC, RFC 3339
    Column("text", TEXT),
    Column("evidence", BYTES, null=True),  # as `scan.vision.joining.evidence_kept` writes it
    Check("flags >= 0", "flags"),
    Index("serial"),
)

#: Append-only: an answer is never changed or removed, a later one of the same field stands over it.
answers = Table(
    "answers",
    Column("id", INTEGER, key=True),
    Column("serial", string(ID), of=cards.c.serial, goes_with=True),
    Column("field", string(100)),
    Column("value", TEXT),  # JSON
    Column("over", TEXT),  # JSON
    Column("who", string(NAME)),
    Column("at", string(32)),  # UTC, RFC 3339
    Index("serial"),
    numbered=True,
)

pictures = Table(
    "pictures",
    Column("serial", string(ID), of=cards.c.serial, goes_with=True, key=True),
    Column("field", string(100), key=True),
    Column("png", BYTES),
)

#: Digit boxes of a player's cards as the digit network sees them; those with a digit teach the player's hand.
hand_boxes = Table(
    "hand_boxes",
    Column("id", INTEGER, key=True),
    Column("player", string(NAME)),
    Column("serial", string(ID), of=cards.c.serial, goes_with=True),
    Column("cell", string(100)),
    Column("view", BYTES),  # grey levels, row by row
    Column("digit", INTEGER, null=True),
    Column("by", string(8), null=True),  # what vouches for the digit
    Unique(("serial", "cell")),
    Check("digit BETWEEN 0 AND 9", "digit"),
    Check("(digit IS NULL) = (by IS NULL)", "vouched"),
    _one_of("by", "person", "sums", name="by"),
    Index("player"),
    numbered=True,
)

#: Players of whose hand nothing is to be kept.
hands_off = Table("hands_off", Column("player", string(NAME), key=True))

rounds = Table(
    "rounds",
    Column("id", string(ID), key=True),
    Column("origin", string(8)),  # composed from a card's readings, or taken from a file
    Column("form", string(100)),
    Column("played_on", DATE, null=True),
    Column("player", string(NAME), null=True),
    Column("course", string(NAME), null=True),
    Column("layout", string(NAME), null=True),
    Column("unit", string(2)),
    Column("holes", INTEGER),
    Column("holes_scored", INTEGER),
    Column("score", INTEGER),  # sum over the holes scored
    Column("par_scored", INTEGER, null=True),  # sum over the same holes; null where the par of one is unknown
    Column("waits", INTEGER),
    Column("recorded_at", string(32), null=True),
    Column("record", TEXT),
    _one_of("origin", "card", "file", name="origin"),
    _one_of("unit", "m", "ft", name="unit"),
    Check("holes_scored >= 0 AND holes_scored <= holes", "holes_scored"),
    Check("waits >= 0", "waits"),
    Index("played_on"),
    Index("player"),
)

#: One row a phase of the round's game.
misses = Table(
    "misses",
    Column("round", string(ID), of=rounds.c.id, goes_with=True, key=True),
    Column("place", INTEGER, key=True),  # 1, 2, … in the order thrown
    Column("phase", string(8)),
    Column("misses", INTEGER),  # that are known
    Column("tally", INTEGER, null=True),  # the player's own count
    Unique(("round", "phase")),
    Check("place BETWEEN 1 AND 9", "place"),
    Check("phase <> ''", "phase"),
    Check("misses >= 0", "misses"),
    Check("tally BETWEEN 0 AND 9999", "tally"),
)

holes = Table(
    "holes",
    Column("round", string(ID), of=rounds.c.id, goes_with=True, key=True),
    Column("hole", INTEGER, key=True),
    Column("score", INTEGER, null=True),
    Column("penalty", INTEGER, null=True),
    Column("par", INTEGER, null=True),
    Column("length_m", FLOAT, null=True),
    Check("hole BETWEEN 1 AND 99", "hole"),
    Check("score BETWEEN 0 AND 999", "score"),
    Check("penalty BETWEEN 0 AND 99", "penalty"),
    Check("par BETWEEN 0 AND 99", "par"),
    Check("length_m >= 0", "length"),
)

throws = Table(
    "throws",
    Column("round", string(ID), key=True),
    Column("hole", INTEGER, key=True),
    Column("throw", INTEGER, key=True),  # 1, 2, … in the order thrown
    Column("phase", string(8)),
    Column("execution", string(8), null=True),
    Column("holed", BOOLEAN, null=True),
    Column("distance_m", FLOAT, null=True),
    Column("stance", string(NAME), null=True),
    Column("direction", string(NAME), null=True),  # ids separated by spaces
    Column("forehand", BOOLEAN, null=True),
    Column("cause", string(NAME), null=True),
    Column("words", TEXT, null=True),
    Names(("round", "hole"), holes, ("round", "hole"), "fk_throws_round"),
    Names(("round", "phase"), misses, ("round", "phase"), "fk_throws_phase"),
    Check("throw BETWEEN 1 AND 99", "throw"),
    _one_of("execution", "clean", "miss", "unmarked", name="execution"),
    Check("distance_m >= 0", "distance"),
)

#: Sets of a practice card. The record holds tries and made with their provenance.
practice = Table(
    "practice",
    Column("card", string(ID), key=True),
    Column("place", INTEGER, key=True),  # row on the card, counted from 1
    Column("day", DATE, null=True),
    Column("player", string(NAME), null=True),
    Column("drill", string(NAME)),
    Column("tries", INTEGER, null=True),
    Column("made", INTEGER, null=True),
    Column("record", TEXT),
    Check("place >= 1", "place"),
    Check("tries >= 0", "tries"),
    Check("made BETWEEN 0 AND tries", "made"),
)

#: How a player wants to be asked, where not in the usual way; "" stands for cards without a name.
asking = Table(
    "asking",
    Column("player", string(NAME), key=True),
    Column("how", string(12)),
    _one_of("how", "everything", "little", name="how"),
)

#: Rounds that were deleted or set aside: all their rows of the other tables, so that nothing else counts them
#: and each can be put back as it was. What is not `kept` goes for good at the next start.
aside = Table(
    "aside",
    Column("serial", string(ID), key=True),  # of the card, or the id of the round
    Column("player", string(NAME), null=True),
    Column("kept", BOOLEAN),
    Column("at", string(32)),  # UTC, RFC 3339
    Column("says", TEXT),  # the round in a few words
    Column("rows", TEXT),  # JSON: table -> rows
)

#: Sessions of practice that a player told by hand.
sessions = Table(
    "sessions",
    Column("id", INTEGER, key=True),
    Column("player", string(NAME), null=True),
    Column("day", DATE),
    Column("phase", string(8)),
    Column("minutes", INTEGER),
    Column("told_at", string(32)),  # UTC, RFC 3339
    Check("phase <> ''", "phase"),
    Check(f"minutes BETWEEN {LEAST_MINUTES} AND {MOST_MINUTES}", "minutes"),
    Index("player"),
    numbered=True,
)

#: Every table; those that others name come before them.
EVERY = (
    store_version,
    photos,
    forms,
    cards,
    readings,
    answers,
    pictures,
    hand_boxes,
    hands_off,
    rounds,
    misses,
    holes,
    throws,
    practice,
    asking,
    aside,
    sessions,
)


def create(connection: Connection, *which: Table) -> None:
    """Make tables with their indexes."""
    for table in which:
        for text in made(table, connection.dialect):
            connection.run(text)
