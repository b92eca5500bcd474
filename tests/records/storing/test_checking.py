"""`check` finds what is not as it was written, whichever byte it is, and what it missed nobody is given."""

from __future__ import annotations

import hashlib
import random
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from shortpencil.forms.errors import RecordError
from shortpencil.scan.records.composing.tidy import settled
from shortpencil.scan.records.exchanging.export import exported_files
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import sealing, tables
from shortpencil.scan.records.storing.database import reading as reading_from
from shortpencil.scan.records.storing.database import writing
from tests.records.cards import RECORDED_AT
from tests.records.exchanging.test_export import played
from tests.records.filled import NEAR, fill, rows


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("filled") / "rounds.sqlite"
    fill(path)
    return path


@pytest.fixture
def store_file(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(filled, tmp_path))


def changed(path: Path, statement: str) -> None:
    """Write to a store as another program would, past all that shortpencil does."""
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute(statement).rowcount > 0
        connection.commit()


def wrong(path: Path) -> list[str]:
    with open_store(path) as store:
        return [str(damage) for damage in store.damages()]


def test_a_store_is_sound_after_all_that_is_done_to_it(place: str) -> None:
    fill(place)
    with open_store(place) as store:
        assert store.damages() == ()
        store.erase_hand("Wren")
        assert store.damages() == ()
        store.forget("Wren")
        assert store.damages() == ()


def test_a_first_write_that_is_taken_back_leaves_the_next_one_sealed(store_file: Path) -> None:
    change = text("UPDATE forms SET text = text || ' '")
    with open_store(store_file) as store:
        with suppress(ZeroDivisionError), writing(store._engine) as connection:
            connection.execute(change)
            raise ZeroDivisionError
        with writing(store._engine) as connection:
            connection.execute(change)
            assert sealing.all_broken(connection) == {}


def test_a_seal_is_sha256_of_names_and_values_cut_to_64_bits() -> None:
    said = hashlib.sha256(b"id=1:7text=3:\xc3\xa4b").hexdigest()
    assert sealing.seal("id", b"7", "none", None, "text", "äb") == said[:16]
    assert sealing.seal("a", b"bc") != sealing.seal("ab", b"c")


def test_every_table_but_those_that_repeat_a_record_is_sealed(filled: Path) -> None:
    with open_store(filled) as store, reading_from(store._engine) as connection:
        names = set(inspect(connection).get_table_names())
        sealed = set(connection.execute(text('SELECT DISTINCT "of" FROM seals')).scalars())
    assert sealed == names - {"seals", "misses", "holes", "throws"}


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (
            "UPDATE rounds SET score = score + 1 WHERE id = 'CARD0002'",
            "round CARD0002: not as it was written",
        ),
        ("UPDATE readings SET text = replace(text, '0.9991', '0.9981')", "reading"),
        ("UPDATE answers SET value = '9' WHERE id = 1", "answer 1: not as it was written"),
        ("UPDATE pictures SET png = x'00' WHERE serial = 'CARD0003'", f"picture CARD0003/{NEAR}"),
        ("UPDATE hand_boxes SET view = x'ff' WHERE serial = 'CARD0001'", "box of handwriting"),
        ("UPDATE cards SET waiting = ''", "card CARD0001"),
        ("UPDATE forms SET text = replace(text, '210', '211')", "form"),
        ("DELETE FROM photos WHERE status = 'rejected'", f"photo {'f' * 64}: not as it was written"),
        ("INSERT INTO hands_off VALUES ('Jay')", "player whose hand is not kept Jay"),
        ("UPDATE practice SET made = 7", "practice set SETS/1"),
        (
            "UPDATE holes SET score = 9 WHERE round = 'CARD0002' AND hole = 2",
            "round CARD0002: hole 2: column score",
        ),
        (
            "UPDATE throws SET holed = 1 - holed WHERE round = 'CARD0003' AND hole = 1 AND throw = 1",
            "round CARD0003: hole 1",
        ),
        ("DELETE FROM throws WHERE round = 'CARD0003'", "round CARD0003: its record has"),
        (
            "INSERT INTO holes (round, hole) VALUES ('CARD0003', 99)",
            "round CARD0003: its record has 9 holes, the table 10",
        ),
        ("INSERT INTO holes (round, hole) VALUES ('NONE', 1)", "that is not there"),
        ("UPDATE rounds SET played_on = '2026-05-3x' WHERE id = 'CARD0003'", "round CARD0003"),
        ("UPDATE rounds SET record = CAST(x'7bff' AS TEXT) WHERE id = 'CARD0003'", "round CARD0003"),
    ],
)
def test_what_another_program_changed_is_named(store_file: Path, statement: str, says: str) -> None:
    changed(store_file, statement)
    found = wrong(store_file)
    assert found
    assert says in found[0]


def test_a_record_that_says_something_else_than_its_columns_is_found_where_there_are_no_seals(
    place: str,
) -> None:
    fill(place)
    with open_store(place) as store:
        with writing(store._engine) as connection:  # sealed like anything that shortpencil writes
            connection.execute(
                tables.rounds.update().where(tables.rounds.c.id == "CARD0003").values(holes_scored=7)
            )
            putts = tables.misses.update().where(
                tables.misses.c.round == "CARD0002", tables.misses.c.place == 3
            )
            connection.execute(putts.values(misses=7))
        assert [str(damage) for damage in store.damages()] == [
            "round CARD0002: place 3: column misses says something else than the record",
            "round CARD0003: column holes_scored says something else than the record",
        ]


def test_broken_rows_are_not_given_out(store_file: Path) -> None:
    changed(store_file, "UPDATE rounds SET record = replace(record, 'Wren', 'Wrem') WHERE id = 'CARD0002'")
    changed(
        store_file, "UPDATE readings SET text = replace(text, '0.991', '0.992') WHERE serial = 'CARD0003'"
    )
    with open_store(store_file) as store:
        with pytest.raises(RecordError, match="round CARD0002 changed by a fault of the disk"):
            store.rounds()
        with pytest.raises(RecordError, match=r"reading .*/CARD0003 changed"):
            store.card("CARD0003")
        assert store.card("CARD0001").serial == "CARD0001"


def test_an_answer_to_a_broken_round_from_a_file_does_not_seal_it_anew(store_file: Path) -> None:
    with open_store(store_file) as store:
        store.add_rounds([settled(played(flags={"h03.score": "faint"}, serial="F1LE2345"))])
    changed(store_file, "UPDATE rounds SET record = replace(record, 'drive', 'dr1ve') WHERE id = 'F1LE2345'")
    with open_store(store_file) as store, pytest.raises(RecordError, match="round F1LE2345 changed"):
        store.answer_in_file("F1LE2345", "hole3.score", "3", "Robin", RECORDED_AT)
    assert wrong(store_file)


@pytest.mark.parametrize(
    ("statement", "before", "which"),
    [
        ("UPDATE rounds SET layout = 'blue' WHERE id = 'CARD0002'", 2, "round CARD0002"),
        ("UPDATE rounds SET record = 'x' WHERE id = 'CARD0003'", 3, "round CARD0003"),
        ("DELETE FROM rounds WHERE id = 'CARD0003'", 0, "round CARD0003"),
        ("INSERT INTO rounds SELECT 'NEW', * FROM (SELECT {rest} FROM rounds LIMIT 1)", 0, "round NEW"),
    ],
)
def test_rounds_come_one_by_one_until_one_is_not_as_it_was_written(
    store_file: Path, statement: str, before: int, which: str
) -> None:
    rest = ", ".join(name for name in tables.rounds.columns.keys() if name != "id")  # noqa: SIM118
    changed(store_file, statement.format(rest=rest))
    got: list[str] = []
    with open_store(store_file) as store:
        with pytest.raises(RecordError, match=f"found {which} changed by"):
            got.extend(round_.id for round_ in store.each_round())
        with pytest.raises(RecordError, match=which):
            store.rounds("nobody")
    assert got == ["CARD0000", "CARD0001", "CARD0002", "CARD0003"][:before]


def test_a_row_that_lost_its_key_is_told(store_file: Path) -> None:
    """As of a page whose bytes say that its cells have no columns."""
    with sqlite3.connect(store_file) as driver:
        driver.execute("PRAGMA writable_schema = ON")
        driver.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'id VARCHAR(64) NOT NULL', 'id VARCHAR(64)') "
            "WHERE name = 'rounds'"
        )
    driver.close()
    changed(store_file, "UPDATE rounds SET id = NULL WHERE id = 'CARD0002'")
    with open_store(store_file) as store:
        with pytest.raises(RecordError, match=r"found round \?, round CARD0002 changed by"):
            store.rounds()
        assert store.damages()


def test_no_flipped_bit_changes_an_export_without_a_word(filled: Path, tmp_path: Path) -> None:
    """Every flip is found by `check`, or changed nothing: neither a row nor an export."""
    sound, as_it_was = rows(filled), exported(filled)
    data = filled.read_bytes()
    rng, found, harmless = random.Random(12), 0, 0
    path = tmp_path / "flipped.sqlite"
    for _ in range(40):
        at, bit = rng.randrange(len(data)), rng.randrange(8)
        path.write_bytes(data[:at] + bytes([data[at] ^ 1 << bit]) + data[at + 1 :])
        try:
            with open_store(path) as store:
                damaged = bool(store.damages())
        except RecordError:
            damaged = True
        if damaged:
            found += 1
            with suppress(RecordError):
                assert exported(path) == as_it_was
        else:
            assert rows(path) == sound
            assert exported(path) == as_it_was
            harmless += 1
    assert found > 13, "most bytes of this store hold something"
    assert harmless < 24


def exported(path: Path) -> dict[str, bytes]:
    with open_store(path) as store:
        return exported_files(store.rounds(), store.practice())


def test_a_damaged_store_of_an_older_version_is_left_alone(store_file: Path) -> None:
    changed(store_file, "UPDATE store_version SET version = 2")
    before = store_file.read_bytes()
    with pytest.raises(RecordError, match="expected a sound store of version 2"):
        open_store(store_file)
    assert store_file.read_bytes() == before
