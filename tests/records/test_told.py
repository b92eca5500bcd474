"""Sessions told by hand: kept, listed, taken back, forgotten; older stores get their table."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import insert, inspect, update
from sqlalchemy.exc import IntegrityError

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.records import migrations, tables, told
from shortpencil.scan.records.database import reading, writing
from shortpencil.scan.records.told import ToldSession, checked

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
    ],
)
def test_what_cannot_have_been_is_refused(session, says):
    with pytest.raises(InputError, match=says):
        checked(session, DAY)


@pytest.mark.parametrize("wrong", [{"phase": "tee"}, {"minutes": 0}, {"day": None}])
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
