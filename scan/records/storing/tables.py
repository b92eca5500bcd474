"""The tables of the store. What must always hold is a constraint here, not a hope elsewhere.

The record of a round is kept whole, as its JSON text (`rounds.record`), because provenance belongs to every
value. The columns beside it and the rows of `misses`, `holes` and `throws` hold the same facts for anyone who
asks in SQL: only what is known, null where a person must look first. Both are written in one transaction and
never apart.

Core tables and not mapped classes: the mapper costs another 55 ms at start (240 ms against 183 ms, Python
3.11) and a store of whole transactions has no use for it. Types are those that SQLite and PostgreSQL share.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
    true,
)

#: Longest texts; PostgreSQL enforces them by type, the record's schema in both.
ID, NAME = 64, 500

metadata = MetaData(
    naming_convention={
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
    }
)


def _one_of(column: str, *allowed: str, name: str) -> CheckConstraint:
    # Not IN: SQLite makes a list of the words anew for each row, which takes as long as the rest of it.
    return CheckConstraint(" OR ".join(f"{column} = {item!r}" for item in allowed), name=name)


store_version = Table(
    "store_version",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("version", Integer, nullable=False),
    CheckConstraint("id = 1", name="one_row"),
    CheckConstraint("version >= 1", name="version"),
)

photos = Table(
    "photos",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("status", String(8), nullable=False),
    Column("reason", Text),
    # Every card of it is stored; a program that ends between two cards of a photo leaves it false.
    Column("whole", Boolean, nullable=False, server_default=true()),
    CheckConstraint("length(sha256) = 64", name="sha256"),
    _one_of("status", "read", "rejected", name="status"),
)

forms = Table(
    "forms",
    metadata,
    Column("fingerprint", String(100), primary_key=True),
    Column("text", Text, nullable=False),  # the field map
)

#: One row a round, or a practice card. `serial` is the sheet's serial number; of a sheet that was printed
#: twice or photocopied the second round is kept as SERIAL-2, and so on.
cards = Table(
    "cards",
    metadata,
    Column("serial", String(ID), primary_key=True),
    Column("form", String(100), ForeignKey(forms.c.fingerprint), nullable=False),
    Column("player", String(NAME)),
    Column("waiting", Text, nullable=False),  # ids of fields, separated by spaces
    Column("glance", Text, nullable=False, server_default=""),  # those of them that are seen together
    Column("speaks", Text),  # the reading that speaks for the card, made of several photos; null with one
)

#: Every photo of a card keeps its own reading, and what that rests on.
readings = Table(
    "readings",
    metadata,
    Column("photo", String(64), ForeignKey(photos.c.sha256), nullable=False),
    Column("serial", String(ID), ForeignKey(cards.c.serial, ondelete="CASCADE"), nullable=False),
    Column("flags", Integer, nullable=False),
    Column("recorded_at", String(32), nullable=False),  # UTC, RFC 3339
    Column("text", Text, nullable=False),
    Column("evidence", LargeBinary),  # as `scan.vision.joining.evidence_kept` writes it
    PrimaryKeyConstraint("photo", "serial"),
    CheckConstraint("flags >= 0", name="flags"),
    Index(None, "serial"),
)

#: Append-only: an answer is never changed or removed, a later one of the same field stands over it.
answers = Table(
    "answers",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("serial", String(ID), ForeignKey(cards.c.serial, ondelete="CASCADE"), nullable=False),
    Column("field", String(100), nullable=False),
    Column("value", Text, nullable=False),  # JSON
    Column("over", Text, nullable=False),  # JSON
    Column("who", String(NAME), nullable=False),
    Column("at", String(32), nullable=False),  # UTC, RFC 3339
    Index(None, "serial"),
    sqlite_autoincrement=True,
)

pictures = Table(
    "pictures",
    metadata,
    Column("serial", String(ID), ForeignKey(cards.c.serial, ondelete="CASCADE"), nullable=False),
    Column("field", String(100), nullable=False),
    Column("png", LargeBinary, nullable=False),
    PrimaryKeyConstraint("serial", "field"),
)

#: Digit boxes of a player's cards as the digit network sees them; those with a digit teach the player's hand.
hand_boxes = Table(
    "hand_boxes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("player", String(NAME), nullable=False),
    Column("serial", String(ID), ForeignKey(cards.c.serial, ondelete="CASCADE"), nullable=False),
    Column("cell", String(100), nullable=False),
    Column("view", LargeBinary, nullable=False),  # grey levels, row by row
    Column("digit", Integer),
    Column("by", String(8)),  # what vouches for the digit
    UniqueConstraint("serial", "cell"),
    CheckConstraint("digit BETWEEN 0 AND 9", name="digit"),
    CheckConstraint("(digit IS NULL) = (by IS NULL)", name="vouched"),
    _one_of("by", "person", "sums", name="by"),
    Index(None, "player"),
    sqlite_autoincrement=True,
)

#: Players of whose hand nothing is to be kept.
hands_off = Table("hands_off", metadata, Column("player", String(NAME), primary_key=True))

rounds = Table(
    "rounds",
    metadata,
    Column("id", String(ID), primary_key=True),
    Column("origin", String(8), nullable=False),  # composed from a card's readings, or taken from a file
    Column("form", String(100), nullable=False),
    Column("played_on", Date),
    Column("player", String(NAME)),
    Column("course", String(NAME)),
    Column("layout", String(NAME)),
    Column("unit", String(2), nullable=False),
    Column("holes", Integer, nullable=False),
    Column("holes_scored", Integer, nullable=False),
    Column("score", Integer, nullable=False),  # sum over the holes scored
    Column("par_scored", Integer),  # sum over the same holes; null where the par of one is unknown
    Column("waits", Integer, nullable=False),
    Column("recorded_at", String(32)),
    Column("record", Text, nullable=False),
    _one_of("origin", "card", "file", name="origin"),
    _one_of("unit", "m", "ft", name="unit"),
    CheckConstraint("holes_scored >= 0 AND holes_scored <= holes", name="holes_scored"),
    CheckConstraint("waits >= 0", name="waits"),
    Index(None, "played_on"),
    Index(None, "player"),
)

#: One row a phase of the round's game.
misses = Table(
    "misses",
    metadata,
    Column("round", String(ID), ForeignKey(rounds.c.id, ondelete="CASCADE"), nullable=False),
    Column("place", Integer, nullable=False),  # 1, 2, … in the order thrown
    Column("phase", String(8), nullable=False),
    Column("misses", Integer, nullable=False),  # that are known
    Column("tally", Integer),  # the player's own count
    PrimaryKeyConstraint("round", "place"),
    UniqueConstraint("round", "phase"),
    CheckConstraint("place BETWEEN 1 AND 9", name="place"),
    CheckConstraint("phase <> ''", name="phase"),
    CheckConstraint("misses >= 0", name="misses"),
    CheckConstraint("tally BETWEEN 0 AND 9999", name="tally"),
)

holes = Table(
    "holes",
    metadata,
    Column("round", String(ID), ForeignKey(rounds.c.id, ondelete="CASCADE"), nullable=False),
    Column("hole", Integer, nullable=False),
    Column("score", Integer),
    Column("penalty", Integer),
    Column("par", Integer),
    Column("length_m", Float),
    PrimaryKeyConstraint("round", "hole"),
    CheckConstraint("hole BETWEEN 1 AND 99", name="hole"),
    CheckConstraint("score BETWEEN 0 AND 999", name="score"),
    CheckConstraint("penalty BETWEEN 0 AND 99", name="penalty"),
    CheckConstraint("par BETWEEN 0 AND 99", name="par"),
    CheckConstraint("length_m >= 0", name="length"),
)

throws = Table(
    "throws",
    metadata,
    Column("round", String(ID), nullable=False),
    Column("hole", Integer, nullable=False),
    Column("throw", Integer, nullable=False),  # 1, 2, … in the order thrown
    Column("phase", String(8), nullable=False),
    Column("execution", String(8)),
    Column("holed", Boolean),
    Column("distance_m", Float),
    Column("stance", String(NAME)),
    Column("direction", String(NAME)),  # ids separated by spaces
    Column("forehand", Boolean),
    Column("cause", String(NAME)),
    Column("words", Text),
    PrimaryKeyConstraint("round", "hole", "throw"),
    ForeignKeyConstraint(["round", "hole"], ["holes.round", "holes.hole"], ondelete="CASCADE"),
    ForeignKeyConstraint(
        ["round", "phase"], ["misses.round", "misses.phase"], ondelete="CASCADE", name="fk_throws_phase"
    ),
    CheckConstraint("throw BETWEEN 1 AND 99", name="throw"),
    _one_of("execution", "clean", "miss", "unmarked", name="execution"),
    CheckConstraint("distance_m >= 0", name="distance"),
)

#: Sets of a practice card. The record holds tries and made with their provenance.
practice = Table(
    "practice",
    metadata,
    Column("card", String(ID), nullable=False),
    Column("place", Integer, nullable=False),  # row on the card, counted from 1
    Column("day", Date),
    Column("player", String(NAME)),
    Column("drill", String(NAME), nullable=False),
    Column("tries", Integer),
    Column("made", Integer),
    Column("record", Text, nullable=False),
    PrimaryKeyConstraint("card", "place"),
    CheckConstraint("place >= 1", name="place"),
    CheckConstraint("tries >= 0", name="tries"),
    CheckConstraint("made BETWEEN 0 AND tries", name="made"),
)

#: How a player wants to be asked, where not in the usual way; "" stands for cards without a name.
asking = Table(
    "asking",
    metadata,
    Column("player", String(NAME), primary_key=True),
    Column("how", String(12), nullable=False),
    _one_of("how", "everything", "little", name="how"),
)

#: Rounds that were deleted or set aside: all their rows of the other tables, so that nothing else counts them
#: and each can be put back as it was. What is not `kept` goes for good at the next start.
aside = Table(
    "aside",
    metadata,
    Column("serial", String(ID), primary_key=True),  # of the card, or the id of the round
    Column("player", String(NAME)),
    Column("kept", Boolean, nullable=False),
    Column("at", String(32), nullable=False),  # UTC, RFC 3339
    Column("says", Text, nullable=False),  # the round in a few words
    Column("rows", Text, nullable=False),  # JSON: table -> rows
)

#: A server sorts texts by the rules of a language, and then goes through a whole table for all serials that
#: begin alike; with these it looks them up. SQLite sorts by bytes as it is.
BY_BYTES = {
    column: Index(f"ix_{column.table.name}_bytes", column.collate("C")).ddl_if(dialect="postgresql")
    for column in (cards.c.serial, rounds.c.id, aside.c.serial)
}
