"""Everything of a player goes, wherever the store has the name from, and nothing of anybody else."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import select

from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.belonging.forgetting import Traces
from shortpencil.scan.records.store import form_from_field_map, open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from tests.records.belonging.test_hands import add, card
from tests.records.cards import ENDS, RECORDED_AT
from tests.records.conftest import read_form

NAME = "Wrenfield"  # long enough to be found nowhere by chance
DRILL = """
name = "putts"
title = "Putts"
record = "practice"
[[head]]
id = "player"
type = "words"
label = "Player"
line = 2
[[head]]
id = "made.ladder.10.1"
type = "number"
digits = 2
"""


def both_kinds(text: str):
    return form_from_field_map(text) if text.startswith("{") else read_form(text)


@pytest.fixture
def store(place):
    with open_store(place, read_form=both_kinds) as opened:
        yield opened


def add_card(store, number: int, player: str | None = None, *, answered: str | None = None) -> str:
    """Add a round's card with a picture and evidence; whose it is may be answered."""
    read, player = card(number, player=player)
    round_pictures = {"player": b"\x89PNG a strip", "resolve": b"\x89PNG another"}
    add(store, replace(read, pictures=round_pictures), player)
    return named(store, read.serial, answered)


def add_sheet(store, number: int, player: str | None = None, *, answered: str | None = None) -> str:
    """Add a sheet that is no round."""
    layout = arrange(form_from_toml(ENDS, source="ends.toml"), PAPERS["a4"]).layout
    fields = {field.id: FieldReading(None, 0.999) for field in layout.form.fields}
    serial = f"SHEET{number:03d}"
    read = CardReading("e.jpg", "read", serial=serial, form="E", fields=fields, photo_sha256=f"{number:064x}")
    store.add_reading(read, layout.form, None, form_text=layout_to_json(layout), player=player, evidence=b"e")
    return named(store, serial, answered)


def add_practice(store, number: int, player: str | None = None, *, answered: str | None = None) -> str:
    """Add a practice card with one set."""
    from shortpencil.scan.records.composing.practice_sets import sets_from

    layout = arrange(form_from_toml(DRILL, source="putts.toml"), PAPERS["a4"]).layout
    fields = {"player": FieldReading("", 0.99), "made.ladder.10.1": FieldReading(7, 0.999)}
    serial = f"DRILL{number:03d}"
    read = CardReading("d.jpg", "read", serial=serial, form="D", fields=fields, photo_sha256=f"{number:064x}")
    sets = sets_from(layout.form, fields, serial, player)
    text = layout_to_json(layout)
    store.add_reading(read, layout.form, None, form_text=text, practice=sets, player=player)
    return named(store, serial, answered)


def named(store, serial: str, answered: str | None) -> str:
    if answered is not None:
        store.answer(serial, "player", answered, "Robin", RECORDED_AT)
    return serial


def rows(store) -> dict[str, list[dict[str, object]]]:
    with reading_from(store._engine) as connection:
        return {
            table.name: [dict(row) for row in connection.execute(select(table)).mappings()]
            for table in tables.metadata.sorted_tables
            if table.name not in ("store_version", "seals", "forms")
        }


def sound(store) -> bool:
    """Say whether all rows are as written; the tests' round form has no field map to look at."""
    return all(damage.which == "form FP2345" for damage in store.damages())


ADDING = [add_card, add_sheet, add_practice]


@pytest.mark.parametrize("adding", ADDING)
def test_a_card_whose_name_was_answered_goes_with_all_that_is_on_it(store, adding):
    serial = adding(store, 1, answered=NAME)
    found = store.traces_of(NAME)
    assert found.cards == 1
    assert store.forget(NAME) == found
    left = {name: kept for name, kept in rows(store).items() if kept}
    assert left == {}, f"{serial} left something"
    assert not store.traces_of(NAME)
    assert sound(store)


@pytest.mark.parametrize("adding", ADDING)
def test_the_cards_of_others_stay_to_the_last_byte(store, adding):
    for number, more in enumerate(({"player": "Ash"}, {"answered": "Ash"}, {}), start=1):
        adding(store, number, **more)
    before = rows(store)
    adding(store, 9, answered=NAME)
    store.forget(NAME)
    assert rows(store) == before


def test_a_name_that_is_only_on_the_round_takes_the_card_too(store):
    serial = add_card(store, 1)
    add_card(store, 2, answered="Ash")
    told = replace(store.round(serial), player=NAME)
    store.add_rounds([told], replace=True)  # as corrected in a file: the card itself names nobody
    assert store.traces_of(NAME) == Traces(1, 1, 0, 0)
    store.forget(NAME)
    assert [round_.player for round_ in store.rounds()] == ["Ash"]
    assert [head.serial for head in store.heads()] == ["CARD0002"]
    assert {row["serial"] for row in rows(store)["pictures"]} == {"CARD0002"}


@pytest.mark.parametrize("adding", ADDING)
def test_a_card_printed_for_one_and_answered_as_anothers_is_the_others(store, adding):
    serial = adding(store, 1, NAME, answered="Ash")
    assert store.traces_of(NAME).cards == 0
    assert store.traces_of(NAME).named_on == 1
    store.forget(NAME)
    assert store.card(serial).fields["player"].value == "Ash"
    assert store.card(serial).player is None
    assert all(done.player == "Ash" for done in store.practice())
    assert NAME not in str(rows(store))
    assert not store.traces_of(NAME)
    assert sound(store)


@pytest.mark.parametrize("adding", [add_card, add_sheet])
@pytest.mark.parametrize("taken_back", [True, False])
def test_a_name_answered_by_mistake_leaves_the_history_of_the_others_card(store, adding, taken_back):
    serial = adding(store, 1, answered=NAME)
    if taken_back:
        store.take_back(serial, "player", "Robin", RECORDED_AT)
    named(store, serial, "Ash")
    store.forget(NAME)
    assert [(answer.field, answer.value) for answer in store.answers(serial)] == [("player", "Ash")]
    assert NAME not in str(rows(store))
    assert sound(store)


@pytest.mark.parametrize("adding", ADDING)
@pytest.mark.parametrize("kept", [True, False])
def test_what_was_set_aside_or_deleted_goes_too(store, adding, kept):
    store.set_aside(adding(store, 1, answered=NAME), RECORDED_AT, kept=kept)
    other = adding(store, 2, NAME, answered="Ash")
    store.set_aside(other, RECORDED_AT, kept=True)
    found = store.traces_of(NAME)
    assert (found.aside, found.named_on) == (1, 1)
    store.forget(NAME)
    assert [one.serial for one in store.aside()] == [other]
    assert NAME not in str(rows(store))
    store.put_back(other)
    assert store.card(other).fields["player"].value == "Ash"
    assert store.card(other).player is None
    assert not store.traces_of(NAME)
    assert sound(store)


def test_a_name_with_signs_that_a_search_takes_for_others_is_found_as_it_is(store):
    name = 'W_%"\\ö'
    add_sheet(store, 1, answered=name)
    add_sheet(store, 2, answered="Wax")
    store.set_aside(add_sheet(store, 3, answered=name), RECORDED_AT, kept=True)
    found = store.traces_of(name)
    assert (found.cards, found.aside) == (1, 1)
    store.forget(name)
    assert [sheet.player for sheet in store.other_sheets()] == ["Wax"]
    assert store.aside() == ()
