"""The statements that make a table, each rule in it named after what it holds.

The texts are those with which stores have been made from the first version on (`tests/records/store.*.sql`).
"""

from __future__ import annotations

from shortpencil.scan.records.sql import INTEGER, Check, Column, Dialect, Names, Table, Unique, Writer, quoted


def made(table: Table, dialect: Dialect) -> list[str]:
    """Return the statements that make a table with its indexes, constraints named after what they hold."""
    key = [quoted(column.label, dialect) for column in table.key]
    parts = [made_column(column, dialect) for column in table.columns]
    if not (table.numbered and dialect == "sqlite"):
        parts.append(f"CONSTRAINT pk_{table.name} PRIMARY KEY ({', '.join(key)})")
    parts += [_made_rule(table, rule) for rule in table.rules]
    for column in table.columns:
        if column.of is not None:
            named = Names(
                (column.label,), column.of.table, (column.of.label,), f"fk_{table.name}_{column.label}"
            )
            parts.append(_made_names(named, column.goes_with))
    statements = [f"CREATE TABLE {table.name} (\n\t" + ", \n\t".join(parts) + "\n)"]
    for index in table.indexes:
        name = f"ix_{table.name}_{index.column}"
        statements.append(f"CREATE INDEX {name} ON {table.name} ({index.column})")
    return statements


def made_column(column: Column, dialect: Dialect) -> str:
    """Return a column as a table or a step of a table's history has it."""
    counts = column.key and column.holds is INTEGER and len(column.table.key) == 1
    kind = column.holds.sqlite if dialect == "sqlite" else "SERIAL" if counts else column.holds.postgresql
    text = f"{quoted(column.label, dialect)} {kind}"
    if column.default is not None:
        default = column.default
        text += f" DEFAULT {Writer(dialect).truth(default) if isinstance(default, bool) else default}"
    text += "" if column.null else " NOT NULL"
    return (
        f"{text} PRIMARY KEY AUTOINCREMENT"
        if column.table.numbered and counts and dialect == "sqlite"
        else text
    )


def _made_rule(table: Table, rule: Check | Unique | Names) -> str:
    if isinstance(rule, Check):
        return f"CONSTRAINT ck_{table.name}_{rule.name} CHECK ({rule.says})"
    if isinstance(rule, Unique):
        return f"CONSTRAINT uq_{table.name}_{rule.columns[0]} UNIQUE ({', '.join(rule.columns)})"
    return _made_names(rule, True)


def _made_names(rule: Names, goes_with: bool) -> str:
    text = (
        f"CONSTRAINT {rule.name} FOREIGN KEY({', '.join(rule.columns)}) "
        f"REFERENCES {rule.table.name} ({', '.join(rule.named)})"
    )
    return f"{text} ON DELETE CASCADE" if goes_with else text
