"""What the store keeps of a player's hand, and that it is gone when it is erased."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import inspect, select

from shortpencil.scan.reading import CellReading, Lesson
from shortpencil.scan.records.belonging.hands import KEPT_WHOLE, MOST_OF
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding.lessons import PERSON, SUMS
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from shortpencil.scan.records.storing.database import writing
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form
from tests.records.conftest import back_to_version_2, read_form

FORM = round_form()
SIZE = 896
#: A box of a field that no sum checks.
NEAR = "h02.putt1.distance.2"


def view(text: str) -> bytes:
    return text.encode().ljust(SIZE, b".")


def card(number: int = 0, *, player: str | None = "Wren", serial: str | None = None, **views: bytes):
    """A card whose distance waits, with views of its boxes, and its round."""
    serial = serial or f"CARD{number:04d}"
    read = reading(
        FORM,
        PLAYED | {"h02.putt1.distance": 7},
        serial=serial,
        photo=f"{number:064x}",
        flags={"h02.putt1.distance": "unclear"},
    )
    views = views or {NEAR: view(f"seven of {serial}")}
    return replace(read, views={name.replace("_", "."): data for name, data in views.items()}), player


def add(store, read, player):
    round_ = round_from_reading(FORM, read, recorded_at=RECORDED_AT, player=player)
    return store.add_reading(read, FORM, round_, form_text="3 m")


def answer(store, serial, value, field="h02.putt1.distance"):
    store.answer(serial, field, value, "Robin", RECORDED_AT)


def boxes(store):
    with reading_from(store._engine) as connection:
        return connection.execute(select(tables.hand_boxes).order_by(tables.hand_boxes.c.id)).all()


def test_an_unanswered_box_teaches_nothing_and_an_answered_one_does(store):
    add(store, *card())
    assert store.hands() == {}
    answer(store, "CARD0000", 7)
    assert store.hands() == {"Wren": (Lesson(7, view("seven of CARD0000")),)}


def test_an_answer_taken_back_teaches_no_longer(store):
    add(store, *card())
    answer(store, "CARD0000", 7)
    store.take_back("CARD0000", "h02.putt1.distance", "Robin", RECORDED_AT)
    assert store.hands() == {}
    answer(store, "CARD0000", 1)
    assert [lesson.digit for lesson in store.hands()["Wren"]] == [1]


def test_scores_under_a_right_total_teach_without_any_answer(store):
    read, player = card(**{"h01_score_2": view("three")})
    sure = {name: field._replace(p=0.99999) for name, field in read.fields.items()}
    cells = read.cells | {"h01.score.1": CellReading(None, 1.0), "h01.score.2": CellReading(3, 1.0)}
    add(store, replace(read, fields=sure, cells=cells), player)
    assert store.hands() == {"Wren": (Lesson(3, view("three")),)}
    (row,) = boxes(store)
    assert row.by == SUMS


def test_nothing_is_kept_where_nobody_knows_the_player(store):
    add(store, *card(player=None))
    answer(store, "CARD0000", 7)
    assert boxes(store) == []


def test_two_players_have_two_hands(store):
    add(store, *card(1, player="Wren"))
    add(store, *card(2, player="Ash"))
    answer(store, "CARD0001", 7)
    answer(store, "CARD0002", 1)
    assert {name: [lesson.digit for lesson in hand] for name, hand in store.hands().items()} == {
        "Wren": [7],
        "Ash": [1],
    }


def test_a_better_photo_brings_its_own_boxes_and_the_answers_stay(store):
    add(store, *card(1))
    answer(store, "CARD0001", 7)
    better, player = card(2, serial="CARD0001", **{NEAR.replace(".", "_"): view("sharper seven")})
    fields = better.fields | {"h02.putt1.distance": better.fields["h02.putt1.distance"]._replace(flag=None)}
    add(store, replace(better, fields=fields), player)
    assert store.hands() == {"Wren": (Lesson(7, view("sharper seven")),)}


def test_a_worse_photo_leaves_the_boxes_of_the_better_one(store):
    read, player = card(1)
    add(store, read, player)
    answer(store, read.serial, 7)
    worse = replace(
        read,
        photo_sha256="e" * 64,
        views={NEAR: view("blurred")},
        fields={name: found._replace(flag="faint") for name, found in read.fields.items()},
    )
    add(store, worse, player)
    assert store.hands() == {"Wren": (Lesson(7, view(f"seven of {read.serial}")),)}
    assert {box.view for box in boxes(store)} == {view(f"seven of {read.serial}")}


def test_a_hand_keeps_the_latest_examples_of_each_digit(store):
    for number in range(MOST_OF[PERSON] + 3):
        add(store, *card(number))
        answer(store, f"CARD{number:04d}", 7)
    kept = [lesson.view for lesson in store.hands()["Wren"]]
    assert kept == [view(f"seven of CARD{n:04d}") for n in range(3, MOST_OF[PERSON] + 3)]


def test_boxes_that_nobody_asks_about_are_kept_of_the_latest_cards_only(store):
    for number in range(KEPT_WHOLE + 2):
        views = {NEAR.replace(".", "_"): view("asked"), "h01_par_1": view("not asked")}
        add(store, *card(number, **views))
    kept = {(row.serial, row.cell) for row in boxes(store)}
    assert {serial for serial, cell in kept if cell == NEAR} == {
        f"CARD{n:04d}" for n in range(KEPT_WHOLE + 2)
    }
    assert {serial for serial, cell in kept if cell == "h01.par.1"} == {
        f"CARD{n:04d}" for n in range(2, KEPT_WHOLE + 2)
    }


def test_a_silent_error_corrected_on_the_latest_card_teaches(store):
    add(store, *card(**{"h01_par_1": view("a three, read as an eight")}))
    answer(store, "CARD0000", 3, field="h01.par")
    assert Lesson(3, view("a three, read as an eight")) in store.hands()["Wren"]


def test_what_is_kept_is_told_by_digit(store):
    add(store, *card(1, **{NEAR.replace(".", "_"): view("seven"), "h01_par_1": view("untold")}))
    answer(store, "CARD0001", 7)
    (kept,) = store.kept_hands()
    assert (kept.player, kept.by_digit, kept.untold, kept.off) == ("Wren", {7: (1, 0)}, 1, False)
    assert kept.size_bytes == 2 * SIZE


def test_an_erased_hand_is_gone_and_is_learnt_anew(store):
    add(store, *card(1))
    answer(store, "CARD0001", 7)
    assert store.erase_hand("Wren") == 1
    assert store.hands() == {}
    add(store, *card(2))
    answer(store, "CARD0002", 7)
    assert len(store.hands()["Wren"]) == 1
    assert store.erase_hand("nobody") == 0


def test_a_hand_switched_off_stays_off_until_switched_on(store):
    add(store, *card(1))
    store.erase_hand("Wren", on=False)
    add(store, *card(2))
    answer(store, "CARD0002", 7)
    assert boxes(store) == []
    assert [(kept.player, kept.off) for kept in store.kept_hands()] == [("Wren", True)]
    store.learn_hand("Wren")
    add(store, *card(3))
    assert len(boxes(store)) == 1


def bytes_in(place: str) -> bytes:
    """Everything that stands in a store's files."""
    return b"".join(path.read_bytes() for path in sorted(Path(place).parent.glob("rounds.sqlite*")))


def test_erasing_erases_the_bytes(tmp_path):
    place = str(tmp_path / "rounds.sqlite")
    with open_store(place, read_form=read_form) as store:
        for number in range(12):
            add(store, *card(number))
            answer(store, f"CARD{number:04d}", 7)
        assert b"seven of CARD0011" in bytes_in(place)
        store.erase_hand("Wren")
        assert b"seven of CARD" not in bytes_in(place)
    assert b"seven of CARD" not in bytes_in(place)


def test_deleting_without_wiping_would_leave_the_bytes(tmp_path):
    place = str(tmp_path / "rounds.sqlite")
    with open_store(place, read_form=read_form) as store:
        add(store, *card())
        with writing(store._engine) as connection:
            connection.execute(tables.hand_boxes.delete())
        assert b"seven of CARD" in bytes_in(place)


def test_a_forgotten_player_leaves_nothing_and_others_stay(place):
    with open_store(place, read_form=read_form) as store:
        add(store, *card(2, player="Ash"))
        answer(store, "CARD0002", 7)
        before = rows(store)
        read, player = card(1, player="Wren")
        add(store, replace(read, together=("c" * 64,)), player)
        answer(store, "CARD0001", 7)
        assert store.traces_of("Wren") == store.forget("Wren")
        assert not store.traces_of("Wren")
        assert rows(store) == before
        assert not store.forget("Wren")


def rows(store):
    """All rows of all tables but the numbers that a database gives out."""
    with reading_from(store._engine) as connection:
        return {
            table.name: [
                {key: value for key, value in row._mapping.items() if key != "id"}
                for row in connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in tables.metadata.sorted_tables
        }


def test_forgetting_erases_the_bytes(tmp_path):
    place = str(tmp_path / "rounds.sqlite")
    with open_store(place, read_form=read_form) as store:
        add(store, *card(player="Wren-of-the-meadow"))
        assert b"Wren-of-the-meadow" in bytes_in(place)
        store.forget("Wren-of-the-meadow")
        assert b"Wren-of-the-meadow" not in bytes_in(place)


def test_a_store_of_the_first_version_gets_the_tables(place):
    with open_store(place, read_form=read_form) as store, writing(store._engine) as connection:
        back_to_version_2(connection)
        tables.hand_boxes.drop(connection)
        tables.hands_off.drop(connection)
        connection.execute(tables.store_version.update().values(version=1))
    with open_store(place, read_form=read_form) as store:
        with reading_from(store._engine) as connection:
            assert {"hand_boxes", "hands_off"} <= set(inspect(connection).get_table_names())
        add(store, *card())
        assert len(boxes(store)) == 1


@pytest.mark.parametrize("times", [1, 2])
def test_the_same_photo_again_changes_no_hand(store, times):
    add(store, *card())
    answer(store, "CARD0000", 7)
    before = boxes(store)
    for _ in range(times):
        add(store, *card())
    assert boxes(store) == before
