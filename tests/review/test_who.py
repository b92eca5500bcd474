"""Whose, where, when: asked once per card beside the ink, suggested from earlier cards, never assumed."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.advice import Asked, advise
from shortpencil.scan.intake import read_file
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.same_ink import ALIKE, likeness, most_alike, shape_of
from shortpencil.scan.review.who import days_for, needs_of
from tests.review.conftest import NOON, SAMPLES, THREE, Page
from tests.review.doubtful import doubtful_store

SERIALS = ("WHAA2222", "WHAA3333", "WHAA4444")
FIRST, SECOND, THIRD = SERIALS


@pytest.fixture(scope="module")
def readings(catalog: Catalog) -> list[CardReading]:
    return [read_file(SAMPLES / name, catalog).readings[0] for name in (THREE, "low_toner_bright_sun.jpg")]


@pytest.fixture(scope="module")
def made(readings: list[CardReading], catalog: Catalog, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("who") / "rounds.sqlite"
    doubtful_store(place, catalog, readings[0], SERIALS)
    return place


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Iterator[Store]:
    with open_store(shutil.copy(made, tmp_path / "rounds.sqlite")) as opened:
        yield opened


def needs(store: Store, serial: str) -> tuple[str, ...]:
    return needs_of(store.card(serial), store.round(serial), store.summaries())


def test_what_is_written_and_not_known_is_asked_and_only_once(page: Page, store: Store) -> None:
    assert needs(store, FIRST) == ("player", "course")
    client = page.browser()
    shown = client.get(f"/who/{FIRST}").text
    assert "Whose round, where and when?" in shown
    data = {
        "player": "~other",
        "player-other": " Wren ",
        "course": "",
        "seen-player": "0",
        "seen-course": "0",
    }
    assert "Kept: 2 values" in client.post(f"/who/{FIRST}", data=data).text
    round_ = store.round(FIRST)
    assert round_ is not None
    assert (round_.player, round_.course) == ("Wren", None)
    assert needs(store, FIRST) == (), "that no course is named was said, too"


def test_a_name_is_asked_without_its_picture_too_where_another_round_has_one(store: Store) -> None:
    card, played = store.card(FIRST), store.round(FIRST)
    bare = replace(card, reading=replace(card.reading, pictures={}))
    assert needs_of(bare, played, store.summaries()) == ()
    store.answer(SECOND, "player", "Robin", "Robin", NOON)
    assert needs_of(bare, played, store.summaries()) == ("player",)


def test_names_of_earlier_cards_are_suggested_those_of_the_same_ink_first(page: Page, store: Store) -> None:
    store.answer(FIRST, "player", "Wren", "Robin", NOON)
    store.answer(SECOND, "player", "Robin", "Robin", NOON)
    text = page.browser().get(f"/who/{THIRD}").text
    assert text.index('value="Wren"') < text.index("~other")
    assert "the ink looks alike" in text
    round_ = store.round(THIRD)
    assert round_ is not None
    assert round_.player is None, "a suggestion is never assumed"


def test_the_same_word_of_the_same_hand_looks_alike_and_another_word_does_not(
    readings: list[CardReading],
) -> None:
    """Both sample cards are the same player's, written by the simulator's one writer of them."""
    player, course = (
        [shape_of(reading.pictures[name]) for reading in readings] for name in ("player", "course")
    )
    assert all(shape is not None for shape in (*player, *course))
    assert likeness(player[0], player[1]) >= ALIKE  # type: ignore[arg-type]
    assert likeness(player[0], course[0]) < ALIKE  # type: ignore[arg-type]
    strips = {"birch": [readings[1].pictures["player"]], "quarry": [readings[1].pictures["course"]]}
    assert most_alike(readings[0].pictures["player"], strips)[0][0] == "birch"
    assert most_alike(None, strips) == []


def test_unnamed_cards_are_in_nobodys_focus_where_several_players_are_and_can_be_found(
    page: Page, store: Store
) -> None:
    store.answer(FIRST, "player", "Wren", "Robin", NOON)
    store.answer(SECOND, "player", "Robin", "Robin", NOON)
    advice = advise(store, Asked("Wren"))
    assert not isinstance(advice, str)
    assert [r.id for r in advice.about.rounds] == [FIRST]
    text = page.browser().get("/who").text
    assert f'href="/who/{THIRD}"' in text
    assert "no name" in text


def test_a_page_made_before_somebody_answered_keeps_nothing(page: Page, store: Store) -> None:
    store.answer(FIRST, "player", "Robin", "Robin", NOON)
    data = {"player": "Wren", "course": "Quarry", "seen-player": "0", "seen-course": "0"}
    answered = page.browser().post(f"/who/{FIRST}", data=data)
    assert answered.status_code == 409
    assert [a.by for a in store.answers(FIRST)] == ["Robin"]


def test_a_day_that_does_not_exist_is_asked_with_day_and_month_swapped(page: Page, store: Store) -> None:
    store.answer(FIRST, "date.day", 4, "Robin", NOON)
    store.take_back(FIRST, "date.day", "Robin", NOON)
    assert days_for(5, 31, 26, date(2026, 6, 2))[0] == (date(2026, 5, 31), "{day}: day and month swapped")
    assert days_for(31, 5, 26, date(2026, 6, 2))[0] == (date(2026, 5, 31), "{day}")


def test_a_day_after_its_photo_or_long_ago_comes_behind_the_swapped_one() -> None:
    assert next(day for day, _ in days_for(6, 12, 26, date(2026, 6, 14))) == date(2026, 6, 12)
    assert next(day for day, _ in days_for(6, 12, 26, date(2026, 12, 14))) == date(2026, 12, 6)


def test_a_day_long_before_its_photo_comes_behind_the_swapped_one() -> None:
    read_on = date(2026, 6, 3)
    # 2 January lies five months before the photo, 1 February four: both long ago, as they were read
    assert [day for day, _ in days_for(2, 1, 26, read_on)][:2] == [date(2026, 1, 2), date(2026, 2, 1)]
    # 5 January lies five months before it, 1 May five weeks
    assert [day for day, _ in days_for(5, 1, 26, read_on)][:2] == [date(2026, 5, 1), date(2026, 1, 5)]


def test_a_day_that_reads_the_same_either_way_is_offered_once() -> None:
    days = [day for day, _ in days_for(5, 5, 26, date(2026, 6, 3))]
    assert days == [date(2026, 5, 5), date(2026, 6, 3)]


def test_a_missing_date_is_asked_with_the_day_of_the_photo() -> None:
    assert days_for(None, None, None, date(2026, 6, 14)) == [
        (date(2026, 6, 14), "{day}: the day of the photo")
    ]
    assert days_for(None, None, None, None) == []


def test_a_day_that_is_none_is_refused_and_nothing_is_kept(page: Page, store: Store) -> None:
    data = {"player": "Wren", "date": "~other", "date-other": "31.5.", "seen-player": "0"}
    data |= {f"seen-date.{part}": "0" for part in ("day", "month", "year")}
    answered = page.browser().post(f"/who/{FIRST}", data=data)
    assert answered.status_code == 422
    assert store.answers(FIRST) == ()


def test_a_chosen_day_is_written_into_its_three_fields(page: Page, store: Store) -> None:
    data = {"date": "2026-05-31", **{f"seen-date.{part}": "0" for part in ("day", "month", "year")}}
    page.browser().post(f"/who/{FIRST}", data=data)
    round_ = store.round(FIRST)
    assert round_ is not None
    assert round_.day == date(2026, 5, 31)
    assert {a.field for a in store.answers(FIRST)} == {"date.day", "date.month", "date.year"}


def test_a_page_without_counts_or_answers_is_refused(page: Page, store: Store) -> None:
    client = page.browser()
    assert client.post(f"/who/{FIRST}", data={"player": "Wren"}).status_code == 422
    assert client.post(f"/who/{FIRST}", data={}).status_code == 422
    assert store.answers(FIRST) == ()
