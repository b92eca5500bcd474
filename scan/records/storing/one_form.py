"""Names of older stores in one form: each letter with its accent as one sign.

A name comes in two ways, é or e with an accent behind it, as the program writes that it came from. Stores of
earlier versions kept it as it came, so that one person could be two players, of whom only one was found by
the name typed. All that is asked for by a name, and all that it is worked out from, is written anew.
"""

from __future__ import annotations

from unicodedata import is_normalized

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    LargeBinary,
    Table,
    and_,
    cast,
    delete,
    func,
    select,
    update,
)
from sqlalchemy.schema import PrimaryKeyConstraint

from shortpencil.forms.shown import whole_letters
from shortpencil.scan.records.storing import tables, told

#: Columns with names in them: as they are, in a record, in an answer, in what was set aside. Letters of notes
#: in the same texts change with them; to the eye and to the standard they are the same.
_WITH_NAMES: tuple[Column[str], ...] = (
    tables.cards.c.player,
    tables.answers.c.value,
    tables.answers.c.over,
    tables.answers.c.who,
    tables.hand_boxes.c.player,
    tables.rounds.c.player,
    tables.rounds.c.course,
    tables.rounds.c.layout,
    tables.rounds.c.record,
    tables.throws.c.words,
    tables.practice.c.player,
    tables.practice.c.record,
    tables.aside.c.player,
    tables.aside.c.says,
    tables.aside.c.rows,
    told.sessions.c.player,
)
#: Tables of which a player has one row.
_ONE_EACH = (tables.hands_off, tables.asking)


def names_in_one_form(connection: Connection) -> None:
    """Write every name of a store with whole letters, in the transaction of the caller."""
    for column in _WITH_NAMES:
        keys = list(_key(column.table))
        # Their keys first: all records of a large store do not lie in memory at once.
        for key in connection.execute(select(*keys).where(_not_ascii(column, connection))).all():
            same = and_(*(of == value for of, value in zip(keys, key, strict=True)))
            text = connection.execute(select(column).where(same)).scalar_one()
            if _is_apart(text):
                connection.execute(update(column.table).where(same).values({column: whole_letters(text)}))
    for table in _ONE_EACH:
        names = set(connection.execute(select(table.c.player)).scalars())
        for name in [one for one in names if _is_apart(one)]:
            this = table.c.player == name
            if whole_letters(name) in names:  # who had both said so under the name that is found
                connection.execute(delete(table).where(this))
            else:
                connection.execute(update(table).where(this).values(player=whole_letters(name)))
                names.add(whole_letters(name))


def _key(table: Table) -> PrimaryKeyConstraint:
    assert isinstance(table.primary_key, PrimaryKeyConstraint)
    return table.primary_key


def _not_ascii(column: Column[str], connection: Connection) -> ColumnElement[bool]:
    """Ask whether a text has more bytes than signs."""
    if connection.dialect.name == "sqlite":
        return func.length(cast(column, LargeBinary)) > func.length(column)
    return func.octet_length(column) > func.char_length(column)


def _is_apart(text: str | None) -> bool:
    return text is not None and not text.isascii() and not is_normalized("NFC", text)
