"""A store on a write-protected medium can be looked at; what would write says what is wrong."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from shortpencil.forms.errors import OutOfReach
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.listed import listed
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import listing, write_protected
from tests.records.exchanging.test_export import played


@pytest.fixture
def place(tmp_path):
    with open_store(tmp_path / "medium" / "rounds.sqlite") as store:
        store.add_rounds([played()])
    return tmp_path / "medium" / "rounds.sqlite"


@pytest.fixture
def protected(place, monkeypatch):
    """The same, where the system says that nothing can be written: who runs tests may be allowed all."""
    monkeypatch.setattr(write_protected.os, "access", lambda path, how: str(path) != str(place.parent))
    return place


def test_it_is_listed_read_exported_and_nothing_is_left_beside_it(protected, tmp_path, capsys):
    before = protected.read_bytes()
    assert len(listing.quick_summaries(protected)) == len(listed(protected, None).rounds) == 1
    with open_store(protected) as store:
        assert [round_.id for round_ in store.rounds()] == ["ABCD2345"]
    for command in (["rounds"], ["export", str(tmp_path / "out")], ["check"]):
        assert main([*command, "--store", str(protected)]) == 0, capsys.readouterr().err
    assert [path.name for path in protected.parent.iterdir()] == ["rounds.sqlite"]
    assert protected.read_bytes() == before


def test_what_would_write_is_refused(protected):
    with open_store(protected) as store, pytest.raises(OutOfReach, match="found a read-only one"):
        store.add_rounds([played(serial="F1")])


def test_one_that_another_program_writes_to_is_left_to_the_database(place, monkeypatch):
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("UPDATE rounds SET waits = waits + 1")
        monkeypatch.setattr(write_protected.os, "access", lambda *_: False)
        assert not write_protected.may_only_be_read(place)
    assert not write_protected.may_only_be_read(place.parent / "none.sqlite")
