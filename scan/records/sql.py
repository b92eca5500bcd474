"""The SQL that the store says, as values: tables, conditions, statements, and their text for two databases.

A library for SQL took longer to load than most commands take for all that they do with their store (0.2 s of
processor time), so the few forms that are needed stand here. Nothing in this file connects to anything;
values never become part of a text; what differs between SQLite and PostgreSQL differs in `Writer`, in `Kind`
and in what a truth is as a condition.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal, NoReturn

Dialect = Literal["sqlite", "postgresql"]
#: Names of ours that a database keeps for itself.
_RESERVED: Mapping[Dialect, frozenset[str]] = {
    "sqlite": frozenset({"by", "view"}),
    "postgresql": frozenset({"over"}),
}
_MARKS: Mapping[Dialect, str] = {"sqlite": "?", "postgresql": "%s"}
_ESCAPE = "/"  # in patterns: before what would stand for other letters


def quoted(name: str, dialect: Dialect) -> str:
    """Return a name as it stands in SQL: in quotes where the database keeps the word for itself."""
    return f'"{name}"' if name in _RESERVED[dialect] else name


# -- what columns hold -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kind:
    """What a column holds: its name in each database, and how SQLite, which has no such type, is told it."""

    sqlite: str
    postgresql: str
    to_sqlite: Callable[[Any], Any] | None = None
    from_sqlite: Callable[[Any], Any] | None = None


INTEGER = Kind("INTEGER", "INTEGER")
FLOAT = Kind("FLOAT", "FLOAT")
TEXT = Kind("TEXT", "TEXT")
BYTES = Kind("BLOB", "BYTEA")
BOOLEAN = Kind("BOOLEAN", "BOOLEAN", int, bool)
DATE = Kind("DATE", "DATE", date.isoformat, date.fromisoformat)


def string(most: int) -> Kind:
    """Text of at most so many letters; PostgreSQL holds to it."""
    return Kind(f"VARCHAR({most})", f"VARCHAR({most})")


class Writer:
    """Gathers the values for a statement's marks, in their order, while its text is written."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect: Dialect = dialect
        self.values: list[Any] = []

    def mark(self, value: Any, kind: Kind | None = None) -> str:
        """Note a value and return the mark that stands for it."""
        self.values.append(taken(value, kind, self.dialect))
        return _MARKS[self.dialect]

    def truth(self, value: bool) -> str:
        """Return what is always or never so; SQLite has numbers for it."""
        return str(int(value)) if self.dialect == "sqlite" else str(value).lower()


def taken(value: Any, kind: Kind | None, dialect: Dialect) -> Any:
    """Return a value of a column as the database takes it."""
    if value is None or kind is None or kind.to_sqlite is None or dialect != "sqlite":
        return value
    return kind.to_sqlite(value)


# -- expressions -----------------------------------------------------------------------------------------


class Expression:
    """Something that has a value in each row. Comparing two compares nothing: it makes a condition."""

    __slots__ = ("kind", "name", "write")

    def __init__(
        self, write: Callable[[Writer], str], kind: Kind | None = None, name: str | None = None
    ) -> None:
        self.write, self.kind, self.name = write, kind, name

    def __eq__(self, other: object) -> Condition:  # type: ignore[override]
        return self._compared("=", other)

    def __ne__(self, other: object) -> Condition:  # type: ignore[override]
        return self._compared("!=", other)

    def __lt__(self, other: object) -> Condition:
        return self._compared("<", other)

    def __gt__(self, other: object) -> Condition:
        return self._compared(">", other)

    def __ge__(self, other: object) -> Condition:
        return self._compared(">=", other)

    def __hash__(self) -> int:
        return id(self)

    def __bool__(self) -> NoReturn:
        raise TypeError("what SQL says of its rows is neither true nor false here")

    def _compared(self, sign: str, other: object) -> Condition:
        if other is None:
            raise TypeError("nothing equals NULL: say is_null")
        if isinstance(other, Expression):
            return Condition(lambda out: f"{self.write(out)} {sign} {other.write(out)}")
        return Condition(lambda out: f"{self.write(out)} {sign} {out.mark(other, self.kind)}")

    def is_null(self) -> Condition:
        """Say that there is no value."""
        return Condition(lambda out: f"{self.write(out)} IS NULL")

    def is_not_null(self) -> Condition:
        """Say that there is a value."""
        return Condition(lambda out: f"{self.write(out)} IS NOT NULL")

    def is_false(self) -> Condition:
        """Say of a truth that it is known not to hold."""
        return Condition(lambda out: f"{self.write(out)} IS {out.truth(False)}")

    def is_in(self, values: Collection[Any]) -> Condition:
        """Say that the value is one of these; of none, when there are none."""
        if not values:
            return Condition(lambda out: "1 = 0")
        return Condition(
            lambda out: f"{self.write(out)} IN ({', '.join([out.mark(one, self.kind) for one in values])})"
        )

    def is_found_by(self, query: Select) -> Condition:
        """Say that the value is one of those that a query finds."""
        return Condition(lambda out: f"{self.write(out)} IN ({query.write(out)})")

    def contains(self, text: str) -> Condition:
        """Say that a text stands in it; to SQLite in whatever case, to PostgreSQL in the case given."""
        return self._like(f"%{_plain(text)}%")

    def begins_with(self, text: str) -> Condition:
        """Say that it begins with a text."""
        return self._like(f"{_plain(text)}%")

    def _like(self, pattern: str) -> Condition:
        return Condition(lambda out: f"{self.write(out)} LIKE {out.mark(pattern)} ESCAPE '{_ESCAPE}'")

    def called(self, name: str) -> Expression:
        """Return it under a name of its own in the rows of a query."""
        return Expression(lambda out: f"{self.write(out)} AS {name}", self.kind, name)

    def falling(self) -> Expression:
        """Return it for an order that begins with the greatest."""
        return Expression(lambda out: f"{self.write(out)} DESC")


class Condition(Expression):
    """An expression that holds in a row or does not."""

    __slots__ = ()

    def __invert__(self) -> Condition:
        return Condition(lambda out: f"NOT ({self.write(out)})")


def _plain(text: str) -> str:
    for sign in (_ESCAPE, "%", "_"):
        text = text.replace(sign, _ESCAPE + sign)
    return text


def all_of(*conditions: Condition) -> Condition:
    """Return that each of these holds."""
    return Condition(lambda out: f"({' AND '.join([one.write(out) for one in conditions])})")


def any_of(*conditions: Condition) -> Condition:
    """Return that one of these holds at least."""
    return Condition(lambda out: f"({' OR '.join([one.write(out) for one in conditions])})")


def literal(text: str) -> Expression:
    """Return SQL as it stands; never what came from outside."""
    return Expression(lambda out: text)


def call(function: str, *arguments: Expression | str) -> Expression:
    """Return the value of a function that both databases have; `count` without arguments counts rows."""

    def write(out: Writer) -> str:
        given = [one.write(out) if isinstance(one, Expression) else out.mark(one) for one in arguments]
        return f"{function}({', '.join(given) or '*'})"

    return Expression(write)


# -- tables ----------------------------------------------------------------------------------------------


class Column(Expression):
    """A column of a table.

    Parameters
    ----------
    name, kind : what it is called and what it holds
    of : the column of another table that it names a value of
    goes_with : a row goes when the row goes that it names
    key : it is the table's key, or a part of it
    null : a row may be without a value
    default : SQL of a value for rows that say nothing, or a truth
    """

    __slots__ = ("default", "goes_with", "holds", "key", "label", "null", "of", "table")

    def __init__(
        self,
        name: str,
        kind: Kind,
        *,
        of: Column | None = None,
        goes_with: bool = False,
        key: bool = False,
        null: bool = False,
        default: str | bool | None = None,
    ) -> None:
        super().__init__(self._written, kind, name)
        self.label, self.holds = name, kind
        self.of, self.goes_with, self.key, self.null, self.default = of, goes_with, key, null, default
        self.table: Table

    def _written(self, out: Writer) -> str:
        return f"{self.table.label}.{quoted(self.label, out.dialect)}"


@dataclass(frozen=True, slots=True)
class Check:
    """What holds in every row of a table, as SQL."""

    says: str
    name: str


@dataclass(frozen=True, slots=True)
class Unique:
    """Columns whose values together no two rows share."""

    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Names:
    """Columns that together name a row of another table, and go with it."""

    columns: tuple[str, ...]
    table: Table
    named: tuple[str, ...]
    name: str


@dataclass(frozen=True, slots=True)
class Index:
    """A column by which rows are looked up."""

    column: str


class Columns:
    """The columns of a table, by name."""

    def __init__(self, columns: Iterable[Column]) -> None:
        self._found = {column.label: column for column in columns}

    def __getattr__(self, name: str) -> Column:
        try:
            return self.__dict__["_found"][name]  # type: ignore[no-any-return]
        except KeyError:
            raise AttributeError(f"no column {name}") from None

    def __getitem__(self, name: str) -> Column:
        return self._found[name]

    def __iter__(self) -> Iterator[Column]:
        return iter(self._found.values())

    def __contains__(self, name: object) -> bool:
        return name in self._found

    def names(self) -> tuple[str, ...]:
        """Return their names in the order of the table."""
        return tuple(self._found)


class Table:
    """A table and what must hold in it.

    Parameters
    ----------
    parts : columns and constraints, as they stand in the table
    numbered : its key counts up and no number is given twice
    """

    def __init__(
        self, name: str, *parts: Column | Check | Unique | Names | Index, numbered: bool = False
    ) -> None:
        self.name = self.label = name
        self.numbered = numbered
        self.columns = tuple(part for part in parts if isinstance(part, Column))
        self.rules = tuple(part for part in parts if isinstance(part, Check | Unique | Names))
        self.indexes = tuple(part for part in parts if isinstance(part, Index))
        for column in self.columns:
            column.table = self
        self.c = Columns(self.columns)
        self.key = tuple(column for column in self.columns if column.key)

    def again(self, label: str) -> Table:
        """Return the table under another name, to stand beside itself in one statement."""
        copies = [Column(column.label, column.holds, key=column.key) for column in self.columns]
        other = Table(self.name, *copies, numbered=self.numbered)
        other.label = label
        return other

    def shown(self) -> str:
        """Return it as it stands behind FROM."""
        return self.name if self.label == self.name else f"{self.name} AS {self.label}"


# -- statements ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Select:
    """A query; each method returns another one."""

    what: tuple[Expression, ...]
    tables: tuple[Table, ...]
    joins: tuple[tuple[str, Table, Condition], ...] = ()
    conditions: tuple[Condition, ...] = ()
    groups: tuple[Expression, ...] = ()
    order: tuple[Expression | str, ...] = ()
    most: int | None = None
    once: bool = False

    def where(self, *conditions: Condition | Column) -> Select:
        """Only rows in which these hold, too; a column of truths may stand for itself."""
        return replace(self, conditions=(*self.conditions, *map(_as_condition, conditions)))

    def join(self, table: Table, on: Condition) -> Select:
        """Each row beside those of another table that belong to it."""
        return replace(self._without(table), joins=(*self.joins, ("JOIN", table, on)))

    def join_if_any(self, table: Table, on: Condition) -> Select:
        """Each row beside those of another table that belong to it, or beside none where none does."""
        return replace(self._without(table), joins=(*self.joins, ("LEFT OUTER JOIN", table, on)))

    def _without(self, table: Table) -> Select:
        return replace(self, tables=tuple(one for one in self.tables if one is not table))

    def from_table(self, table: Table) -> Select:
        """Rows of this table, where no column tells which."""
        return replace(self, tables=(table,))

    def group_by(self, *groups: Expression) -> Select:
        """One row for all that are the same in these."""
        return replace(self, groups=groups)

    def order_by(self, *order: Expression | str) -> Select:
        """In the order of these; a column may be named."""
        return replace(self, order=order)

    def limit(self, most: int) -> Select:
        """No more rows than this."""
        return replace(self, most=most)

    def distinct(self) -> Select:
        """No row twice."""
        return replace(self, once=True)

    def exists(self) -> Condition:
        """Say that there is such a row."""
        return Condition(lambda out: f"EXISTS (SELECT 1 FROM {self._rest(out)})")

    def value(self) -> Expression:
        """Return the one value that it finds, for use in another statement."""
        return Expression(lambda out: f"({self.write(out)})")

    def write(self, out: Writer) -> str:
        """Return its text."""
        what = ", ".join([one.write(out) for one in self.what])
        return f"SELECT {'DISTINCT ' if self.once else ''}{what} FROM {self._rest(out)}"

    def _rest(self, out: Writer) -> str:
        text = ", ".join([table.shown() for table in self.tables])
        for how, table, on in self.joins:
            text += f" {how} {table.shown()} ON {on.write(out)}"
        text += _where(self.conditions, out)
        if self.groups:
            text += f" GROUP BY {', '.join([one.write(out) for one in self.groups])}"
        if self.order:
            order = [
                quoted(one, out.dialect) if isinstance(one, str) else one.write(out) for one in self.order
            ]
            text += f" ORDER BY {', '.join(order)}"
        return text if self.most is None else f"{text} LIMIT {self.most}"


def select(*what: Table | Expression) -> Select:
    """Return a query for columns, whole tables, or values worked out in each row."""
    columns: list[Expression] = []
    for one in what:
        columns += one.columns if isinstance(one, Table) else [one]
    tables = dict.fromkeys(column.table for column in columns if isinstance(column, Column))
    return Select(tuple(columns), tuple(tables))


def _as_condition(one: Condition | Column) -> Condition:
    if isinstance(one, Condition):
        return one
    return Condition(lambda out: f"{one.write(out)}{' = 1' if out.dialect == 'sqlite' else ''}")


def _where(conditions: Sequence[Condition], out: Writer) -> str:
    return f" WHERE {' AND '.join([one.write(out) for one in conditions])}" if conditions else ""


@dataclass(frozen=True, slots=True)
class Insert:
    """New rows of a table; which, is said by `values` or when it is carried out."""

    table: Table
    row: Mapping[str, Any] | None = None

    def values(self, row: Mapping[str, Any] | None = None, /, **more: Any) -> Insert:
        """Return it for one row."""
        return replace(self, row={**(row or {}), **more})

    def write(self, out: Writer) -> str:
        """Return its text for the one row."""
        assert self.row is not None
        return self.written_for(self.row, out)

    def written_for(self, row: Mapping[str, Any], out: Writer) -> str:
        """Return its text for rows that name the same columns as this one, whose values are noted."""
        given = _given(self.table, row)
        marks = ", ".join([out.mark(row[column.label], column.holds) for column in given])
        names = ", ".join([quoted(column.label, out.dialect) for column in given])
        return f"INSERT INTO {self.table.name} ({names}) VALUES ({marks})"

    def taken(self, rows: Sequence[Mapping[str, Any]], dialect: Dialect) -> list[tuple[Any, ...]]:
        """Return the values of rows that name the same columns, as the database takes them."""
        given = [(column.label, column.holds) for column in _given(self.table, rows[0])]
        return [tuple([taken(row[name], kind, dialect) for name, kind in given]) for row in rows]


def insert(table: Table) -> Insert:
    """Return a statement that adds rows to a table."""
    return Insert(table)


def _given(table: Table, row: Mapping[str, Any]) -> list[Column]:
    unknown = row.keys() - set(table.c.names())
    if unknown:
        raise TypeError(f"the table {table.name} has no column {', '.join(sorted(unknown))}")
    return [column for column in table.columns if column.label in row]


@dataclass(frozen=True, slots=True)
class Update:
    """Other values in rows of a table."""

    table: Table
    row: Mapping[str, Any]
    conditions: tuple[Condition, ...] = ()

    def where(self, *conditions: Condition) -> Update:
        """Only in rows in which these hold."""
        return replace(self, conditions=(*self.conditions, *conditions))

    def values(self, row: Mapping[str, Any] | None = None, /, **more: Any) -> Update:
        """Return it with these values."""
        return replace(self, row={**self.row, **(row or {}), **more})

    def write(self, out: Writer) -> str:
        """Return its text."""
        given = _given(self.table, self.row)
        pairs = [
            f"{quoted(one.label, out.dialect)}={out.mark(self.row[one.label], one.holds)}" for one in given
        ]
        return f"UPDATE {self.table.name} SET {', '.join(pairs)}{_where(self.conditions, out)}"


def update(table: Table) -> Update:
    """Return a statement that changes a table's rows."""
    return Update(table, {})


@dataclass(frozen=True, slots=True)
class Delete:
    """Rows of a table that go."""

    table: Table
    conditions: tuple[Condition, ...] = ()

    def where(self, *conditions: Condition) -> Delete:
        """Only rows in which these hold."""
        return replace(self, conditions=(*self.conditions, *map(_as_condition, conditions)))

    def write(self, out: Writer) -> str:
        """Return its text."""
        return f"DELETE FROM {self.table.name}{_where(self.conditions, out)}"


def delete(table: Table) -> Delete:
    """Return a statement that takes rows from a table."""
    return Delete(table)


Statement = Select | Insert | Update | Delete
