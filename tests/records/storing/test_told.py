"""Sessions told by hand: kept, listed, taken back, forgotten; older stores get their table."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import insert, inspect, update
from sqlalchemy.exc import IntegrityError

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import migrations, tables, told
from shortpencil.scan.records.storing.database import reading, writing
from shortpencil.scan.records.storing.told import ToldSession, checked
from tests.records.conftest import back_to_version_8
from tests.records.test_games import played

WHEN = datetime(2030, 5, 20, 18, 30, tzinfo=UTC)
DAY = date(2030, 5, 20)


def test_sessions_are_listed_by_day_with_their_numbers(store):
    later = store.tell_session(ToldSession(DAY, "putt", 30, "Wren"), WHEN)
    first = store.tell_session(ToldSession(date(2030, 5, 2), "drive", 20), WHEN)
    assert store.told_sessions() == (first, later)
    assert first.number != later.number > 0
    assert later.player == "Wren"


def test_one_told_by_mistake_is_taken_back_and_its_number_not_given_again(store):
    gone = store.tell_session(ToldSession(DAY, "putt", 30), WHEN)
    assert store.take_back_session(gone.number) == gone
    assert store.told_sessions() == ()
    assert store.tell_session(ToldSession(DAY, "putt", 30), WHEN).number > gone.number
    with pytest.raises(RecordError, match=f"found {gone.number}"):
        store.take_back_session(gone.number)


@pytest.mark.parametrize(
    ("session", "says"),
    [
        (ToldSession(DAY, "tee", 30), "expected a phase"),
        (ToldSession(DAY, "putt", 0), "1 to 600 minutes"),
        (ToldSession(DAY, "putt", 601), "1 to 600 minutes"),
        (ToldSession(date(2030, 5, 21), "putt", 30), "a day that has come"),
        (ToldSession(date(1899, 12, 31), "putt", 30), "a day from 1900 on, found 1899-12-31"),
    ],
)
def test_what_cannot_have_been_is_refused(session, says):
    with pytest.raises(InputError, match=says):
        checked(session, DAY)


def test_a_session_may_be_of_any_phase_that_a_round_has(tmp_path):
    with open_store(tmp_path / "rounds.sqlite") as store:
        assert store.phases_known() == ("drive", "approach", "putt")
        store.add_rounds([replace(played(), player="Wren")])
        assert store.phases_known() == ("drive", "approach", "putt", "fairway", "upshot")
        kept = store.tell_session(checked(ToldSession(DAY, "upshot", 30), DAY, store.phases_known()), WHEN)
        assert store.told_sessions() == (kept,)


def test_a_store_of_version_8_keeps_its_sessions_and_takes_those_of_other_phases(store):
    kept = store.tell_session(ToldSession(DAY, "putt", 30, "Wren"), WHEN)
    gone = store.tell_session(ToldSession(DAY, "drive", 20), WHEN)
    store.take_back_session(gone.number)
    with writing(store._engine) as connection:
        back_to_version_8(connection)
    upshot = {"day": DAY, "phase": "upshot", "minutes": 30, "told_at": "2030-05-20T18:30:00Z"}
    with pytest.raises((RecordError, IntegrityError)), writing(store._engine) as connection:
        connection.execute(insert(told.sessions).values(**upshot))
    with writing(store._engine) as connection:
        assert migrations.bring_up_to_date(connection, "x")
    assert store.told_sessions() == (kept,)
    assert store.tell_session(ToldSession(DAY, "upshot", 30), WHEN).number > gone.number
    with reading(store._engine) as connection:
        assert not [name for name in inspect(connection).get_table_names() if name.startswith("old_")]
        assert [index["name"] for index in inspect(connection).get_indexes("sessions")] == [
            "ix_sessions_player"
        ]


@pytest.mark.parametrize("wrong", [{"phase": ""}, {"minutes": 0}, {"day": None}])
def test_the_table_itself_refuses_it_too(store, wrong):
    good = {"day": DAY, "phase": "putt", "minutes": 30, "told_at": "2030-05-20T18:30:00Z"}
    with pytest.raises((RecordError, IntegrityError)), writing(store._engine) as connection:
        connection.execute(insert(told.sessions).values(**(good | wrong)))
    assert store.told_sessions() == ()


def test_they_go_when_their_player_is_forgotten(store):
    store.tell_session(ToldSession(DAY, "putt", 30, "Wren"), WHEN)
    kept = store.tell_session(ToldSession(DAY, "putt", 30, "Ash"), WHEN)
    assert store.traces_of("Wren").sessions == 1
    assert store.forget("Wren").sessions == 1
    assert store.told_sessions() == (kept,)


def test_a_store_without_the_table_gets_it(store):
    with writing(store._engine) as connection:
        told.sessions.drop(connection)
        before = next(n for n, step in migrations.STEPS.items() if step is migrations._keep_told_sessions)
        connection.execute(update(tables.store_version).values(version=before))
        steps = {before: migrations.STEPS[before]}
        migrations.bring_up_to_date(connection, "x", steps=steps, newest=before + 1)
    with reading(store._engine) as connection:
        assert told.sessions.name in inspect(connection).get_table_names()
    assert store.told_sessions() == ()
