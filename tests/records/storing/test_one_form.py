"""Names of older stores, with accents apart, become those that are typed and printed today."""

from __future__ import annotations

import json
from dataclasses import replace
from unicodedata import normalize

from sqlalchemy import String, insert, select, update

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.serials import serial_from
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.concluding.outcomes import UNCHANGED
from shortpencil.scan.records.exchanging.importing import ByRound, open_rounds
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import sealing, tables
from shortpencil.scan.records.storing.database import reading, writing
from shortpencil.scan.records.storing.told import ToldSession
from tests.records.belonging.test_hands import add, answer, card
from tests.records.conftest import drop_own_triggers, read_form
from tests.records.exchanging.test_export import played
from tests.records.storing.test_told import DAY, WHEN

#: Composed, and apart by Unicode's own data, which Python's `unicodedata` holds.
WHOLE = "Zoë Ångström 각"
APART = normalize("NFD", WHOLE)
#: What no name is looked up in, and stays as it came.
AS_CAME = {("readings", "text"), ("forms", "text"), ("photos", "reason")}


def rows(store) -> dict[str, list[tuple[object, ...]]]:
    with reading(store._engine) as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))]
            for table in tables.metadata.sorted_tables
        }


def back_to_version_11(store) -> None:
    """Write every text of a store as a program that keeps accents apart gave it, before version 12."""
    with writing(store._engine) as connection:
        drop_own_triggers(connection)
        for table in tables.metadata.sorted_tables:
            for column in table.columns:
                if not isinstance(column.type, String) or (table.name, column.name) in AS_CAME:
                    continue
                for text in set(connection.execute(select(column)).scalars()) - {None}:
                    if (apart := normalize("NFD", text)) != text:
                        connection.execute(update(table).where(column == text).values({column: apart}))
        connection.execute(tables.store_version.update().values(version=11))
        sealing.seal_all(connection)


def filled(store) -> None:
    """Put the name into a store wherever a store has names."""
    add(store, *card(player=WHOLE))
    answer(store, "CARD0000", 7)
    for serial in ("FILE0001", "GONE0001"):
        store.add_rounds([replace(played(serial=serial), player=WHOLE, course="Sjö", layout="Blå")])
    store.set_aside("GONE0001", WHEN, kept=True)
    store.tell_session(ToldSession(DAY, "putt", 30, WHOLE), WHEN)
    store.ask_in(WHOLE, "little")
    store.erase_hand("Übrig", on=False)


def test_a_store_with_accents_apart_becomes_what_it_would_be_without(place):
    with open_store(place, read_form=read_form) as store:
        filled(store)
        before = rows(store)
        back_to_version_11(store)
        changed = {name for name, found in rows(store).items() if found != before[name]}
        assert {"cards", "rounds", "aside", "sessions", "asking", "hands_off", "hand_boxes"} <= changed
    with open_store(place, read_form=read_form) as store:
        assert rows(store) == before
        assert {line.player for line in store.summaries()} == {WHOLE}


def test_who_stood_there_in_both_forms_is_one_person_after_it(place):
    with open_store(place, read_form=read_form) as store:
        filled(store)
        back_to_version_11(store)
        with writing(store._engine) as connection:
            connection.execute(insert(tables.asking).values(player=WHOLE, how="everything"))
            connection.execute(insert(tables.hands_off).values(player="Übrig"))
            sealing.seal_all(connection)
    with open_store(place, read_form=read_form) as store:
        assert [row[:2] for row in rows(store)["asking"]] == [(WHOLE, "everything")]
        assert rows(store)["hands_off"] == [("Übrig",)]


def test_an_export_of_an_older_store_is_the_same_rounds(place, tmp_path):
    with open_store(place, read_form=read_form) as store:
        filled(store)
    assert main(["export", str(tmp_path / "out"), "--store", place]) in (0, 1)
    file = tmp_path / "out" / "rounds.json"
    file.write_text(normalize("NFD", file.read_text("utf-8")), "utf-8")
    with open_store(place, read_form=read_form) as store:
        found = open_rounds(file)
        assert isinstance(found, ByRound)  # however large it is, it is taken round by round
        became = store.add_checked(found.pairs(), found.practice)
        assert set(became.values()) == {UNCHANGED}


def test_a_player_is_found_however_the_name_is_typed_and_whoever_it_was_printed_for(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path))
    with open_store(tmp_path / "rounds.sqlite") as store:
        store.add_rounds([replace(played(), player=WHOLE)])
    catalog = Catalog(tmp_path / "forms")
    serial = serial_from(bytes(16))
    catalog.assign({serial: APART})  # as an earlier version did
    assert catalog.player_of(serial) == WHOLE
    assert main(["rounds", "--player", APART]) == 0
    assert WHOLE.split()[1] in capsys.readouterr().out
    assert main(["forget", APART, "--yes"]) == 0
    assert not catalog.cards_of(WHOLE)
    with open_store(tmp_path / "rounds.sqlite") as store:
        assert store.rounds() == ()


def test_a_name_that_is_longer_in_the_one_form_is_told_before_it_is_stored(tmp_path, capsys):
    """U+0958 is two signs in form C (Unicode's composition exclusions), so 500 of them are 1,000."""
    typed = {"id": "T1", "player": "\u0958" * 500, "holes": [{"score": 3}]}
    (tmp_path / "typed.json").write_text(json.dumps(typed))
    store = ["--store", str(tmp_path / "rounds.sqlite")]
    assert main(["import", str(tmp_path / "typed.json"), *store]) == 2
    assert "player: expected at most 500 signs, found 1000" in capsys.readouterr().err
