"""A stored putting ladder and field work: whose practice, what answers change, older stores, files."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace as replace_in

from shortpencil.forms.catalog import load_form
from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import USUAL_PHASES
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.advice import Asked, advise, load_drills
from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.practice_sets import sets_from
from shortpencil.scan.records.composing.rounds import PracticeSet
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.records.storing import sealing, tables
from shortpencil.scan.records.storing.database import writing
from shortpencil.scan.records.storing.told import ToldSession
from shortpencil.scan.review.days import entries_of, months_of
from tests.practice.invented import Player, known, rounds_of
from tests.records.conftest import drop_own_triggers
from tests.records.filled import RECORDED_AT

DAY = {"date.day": 14, "date.month": 6, "date.year": 26}
LADDER = DAY | {"r01.dropped": ("1", "2", "4"), "r01.made": 3, "r02.made": 6}
FIELD = DAY | {"t01.execution": "clean", "t02.execution": "miss"}


def add(store: Store, form_name: str, answers, player: str | None = None, number: int = 1) -> str:
    """Store a sheet with these answers as `read` does."""
    layout = arrange(load_form(form_name), PAPERS["a4"]).layout
    serial = f"SHEET{number:03d}"
    fields = {name: FieldReading(value, 0.999) for name, value in answers.items()}
    read = CardReading(
        "s.jpg", "read", serial=serial, form=form_name[:6], fields=fields, photo_sha256=f"{number:064x}"
    )
    sets = sets_from(layout.form, fields, serial, player)
    store.add_reading(read, layout.form, None, form_text=layout_to_json(layout), practice=sets, player=player)
    return serial


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "rounds.sqlite"


@pytest.mark.parametrize("printed", [None, "Ash"])
def test_a_sheet_is_practice_of_whom_was_answered_on_it(place: Path, printed: str | None) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER, printed)
        assert {done.player for done in store.practice()} == {printed}
        store.answer(serial, "player", "Wren", "Robin", RECORDED_AT)
        assert {done.player for done in store.practice()} == {"Wren"}
        assert [sheet.player for sheet in store.other_sheets()] == ["Wren"]
        store.take_back(serial, "player", "Robin", RECORDED_AT)
        assert {done.player for done in store.practice()} == {printed}


def test_where_nothing_was_thrown_after_all_there_is_no_set(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "field-work", FIELD)
        assert [(s.made.known, s.tries.known) for s in store.practice()] == [(1, 2)]
        store.answer(serial, "t01.execution", None, "Robin", RECORDED_AT)
        assert [(s.made.known, s.tries.known) for s in store.practice()] == [(0, 1)]
        store.answer(serial, "t02.execution", None, "Robin", RECORDED_AT)
        assert store.practice() == ()


def test_an_answered_count_stands_over_bubbles_that_nobody_touched(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER)
        store.answer(serial, "r01.made", 8, "Robin", RECORDED_AT)
        assert store.practice()[0].made.known == 8
        store.answer(serial, "r01.dropped", ("1", "2"), "Robin", RECORDED_AT)
        assert store.practice()[0].made.known == 2
        store.answer(serial, "r01.made", 12, "Robin", RECORDED_AT)
        store.take_back(serial, "r01.dropped", "Robin", RECORDED_AT)
        assert store.practice()[0].made.status == "waits"  # of ten


def test_sheets_of_a_store_of_version_9_are_practice_once_it_is_opened(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER, "Wren")
        add(store, "field-work", FIELD, "Wren", number=2)
        store.answer(serial, "r02.made", 7, "Robin", RECORDED_AT)
        wanted = store.practice()
        with writing(store._engine) as connection:
            drop_own_triggers(connection)
            connection.execute(tables.practice.delete())
            connection.execute(tables.store_version.update().values(version=9))
            sealing.seal_all(connection)
    with open_store(place) as store:
        assert store.practice() == wanted
        assert [s.made.known for s in wanted] == [3, 7, 1]
        assert store.damages() == ()


def test_a_file_of_before_an_answer_does_not_undo_it(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER)
        before = store.practice()
        store.answer(serial, "r02.made", 7, "Robin", RECORDED_AT)
        after = store.practice()
        store.add_rounds([], [*before, replace_in(before[0], card="ELSEWHERE")])
        assert [s for s in store.practice() if s.card == serial] == list(after)
        assert [s.card for s in store.practice() if s.card != serial] == ["ELSEWHERE"]


def test_a_sheet_that_was_set_aside_does_not_come_back_with_a_file(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER)
        sets = store.practice()
        store.set_aside(serial, RECORDED_AT, kept=True)
        store.add_rounds([], sets)
        assert store.practice() == ()


def test_a_sheet_whose_sets_came_from_a_file_is_counted_once_when_it_is_read(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER)
        sets = store.practice()
        with open_store(place.with_name("other.sqlite")) as other:
            other.add_rounds([], sets)
            assert add(other, "putting-ladder", LADDER) == serial
            assert other.practice() == sets


def test_the_calendar_calls_each_sheet_what_it_is(place: Path) -> None:
    with open_store(place) as store:
        add(store, "putting-ladder", LADDER, "Wren")
        add(store, "field-work", FIELD, number=2)
        says = [entry.says for entry in entries_of([], {}, store.practice(), ())[date(2026, 6, 14)]]
    assert says == ["putting ladder, 2 sets, Wren", "field work"]


def test_the_calendar_counts_as_one_session_what_the_advice_does(place: Path) -> None:
    told = ToldSession(date(2026, 6, 14), "putt", 30, "Wren")
    with open_store(place) as store:
        add(store, "putting-ladder", LADDER, "Wren")
        add(store, "field-work", FIELD, "Wren", number=2)
        add(store, "putting-ladder", LADDER, number=3)
        found = entries_of([], {}, store.practice(), [told])
    june = months_of(2026, found)[5]
    assert june.said == "3 sessions"  # Wren's putts and drives, and putts of nobody who is named


def test_a_practice_card_and_a_session_told_of_its_phase_are_one_session(place: Path) -> None:
    phases = DeskChores(None, place.parent).phases_of_drills()  # type: ignore[arg-type]
    ten, both = known(10), known(7)

    def card(serial: str, *drills: str) -> list[PracticeSet]:
        return [
            PracticeSet(serial, row, date(2026, 6, 14), "Wren", drill, ten, both)
            for row, drill in enumerate(drills, start=1)
        ]

    def sessions(sets, *told: tuple[str, str]) -> int:
        named = [ToldSession(date(2026, 6, 14), phase, 30, player) for player, phase in told]
        found = entries_of([], {}, sets, named, phases)
        return sum(day.sessions for week in months_of(2026, found)[5].weeks for day in week if day)

    putts = card("CARD1", "ten-putts", "distance-ladder")
    assert sessions(putts) == 1
    assert sessions(putts, ("Wren", "putt")) == 1
    assert sessions(putts, ("Wren", "drive")) == 2
    assert sessions(putts, ("Robin", "putt")) == 2
    assert sessions([*putts, *card("CARD2", "ten-drives")], ("Wren", "putt"), ("Wren", "drive")) == 2
    # what a drill of one's own is practice of the page does not know
    assert sessions(card("CARD3", "own-drill"), ("Wren", "putt")) == 2


def test_practice_of_a_phase_that_the_game_does_not_have_is_said_to_count_nowhere(place: Path) -> None:
    game = tuple(phase for phase in USUAL_PHASES if phase.id != "putt")
    with open_store(place) as store:
        rounds = [
            replace_in(
                one,
                phases=game,
                tallies={phase: tally for phase, tally in one.tallies.items() if phase != "putt"},
                worst=known(None),
                holes=tuple(
                    replace_in(h, throws=tuple(t for t in h.throws if t.phase != "putt"), maybe=())
                    for h in one.holes
                ),
            )
            for one in rounds_of(Player(name="Wren"), 6, np.random.default_rng(3))
        ]
        store.add_rounds(rounds)
        before = advise(store, Asked("Wren"))
        add(store, "putting-ladder", LADDER, "Wren")
        store.tell_session(ToldSession(date(2026, 6, 14), "putt", 30, "Wren"), RECORDED_AT)
        store.tell_session(ToldSession(date(2026, 6, 20), "putt", 30, "Wren"), RECORDED_AT)
        after = advise(store, Asked("Wren"))
    assert not isinstance(before, str)
    assert not isinstance(after, str)
    assert not any("nowhere" in said for said in before.focus.remarks)
    said = (
        "2 sessions of putts count nowhere here: the card of these rounds asks about drives and approaches."
    )
    assert set(after.focus.remarks) - set(before.focus.remarks) == {said}
    assert after.sessions == ()
    assert after.putting.practice == ()


def test_a_sheet_that_was_set_aside_by_version_9_is_practice_once_it_is_back(place: Path) -> None:
    with open_store(place) as store:
        serial = add(store, "putting-ladder", LADDER)
        wanted = store.practice()
        with writing(store._engine) as connection:
            connection.execute(tables.practice.delete())
        store.set_aside(serial, RECORDED_AT, kept=True)
        store.put_back(serial)
        assert store.practice() == wanted


@pytest.mark.parametrize(
    ("rounds_of_whom", "asked", "counted"),
    [
        ("Wren", None, [14, 15]),  # the sheet without a name, too, as the rounds without one
        ("Wren", "Wren", [14]),
        (None, None, [15]),  # whose those are, nobody knows: two names practised
    ],
)
def test_practice_of_another_who_has_no_rounds_is_not_the_players(
    place: Path, rounds_of_whom: str | None, asked: str | None, counted: list[int]
) -> None:
    rounds = rounds_of(Player(), 4, np.random.default_rng(3), start=date(2026, 6, 1))
    with open_store(place) as store:
        store.add_rounds([replace_in(round_, player=rounds_of_whom) for round_ in rounds])
        for number, player in enumerate(("Wren", None, "Robin")):
            day = {"date.day": 14 + number}
            add(store, "putting-ladder", LADDER | day, player, number=number)
        found = advise(store, Asked(asked), load_drills(None))
    assert not isinstance(found, str)
    assert [session.day.day for session in found.sessions] == counted


def test_a_sheet_and_a_session_told_on_the_same_day_are_one_session(place: Path) -> None:
    rounds = rounds_of(Player(), 4, np.random.default_rng(3), start=date(2026, 6, 1))
    with open_store(place) as store:
        store.add_rounds(rounds)
        add(store, "putting-ladder", LADDER)
        store.tell_session(ToldSession(date(2026, 6, 14), "putt", 45, None), RECORDED_AT)
        found = advise(store, Asked(), load_drills(None))
    assert not isinstance(found, str)
    assert [(s.day, s.phase, s.minutes) for s in found.sessions] == [(date(2026, 6, 14), 2, 45)]
