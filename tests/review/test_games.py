"""Rounds of a card's own phases on the page: beside others, never in one table with them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from shortpencil.scan.cli.main import main
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.store import Store
from tests.practice.invented import Player, known, rounds_of
from tests.practice.test_games import four_phase_rounds
from tests.review.conftest import NOON, Page


@pytest.fixture
def stored(store: Store) -> list[Round]:
    four = [
        replace(one, player="Wren", played_on=known(f"2026-07-{day:02d}"))
        for day, one in enumerate(four_phase_rounds(3, np.random.default_rng(3)), start=1)
    ]
    usual = rounds_of(Player(name="Wren"), 2, np.random.default_rng(7))
    rounds = [*four, *(replace(r, played_on=known(f"2026-04-0{n}")) for n, r in enumerate(usual, start=1))]
    store.add_rounds(rounds)
    return rounds


def text_of(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_the_list_of_rounds_has_a_table_for_each_game(page: Page, stored: list[Round]) -> None:
    html = page.browser().get("/rounds").text
    tables = [
        text_of(table) for table in re.findall(r'<table class="list stack">.*?</table>', html, re.DOTALL)
    ]
    assert len(tables) == 2
    assert "missed drives fairway upshot putts waiting" in tables[0]
    assert "missed drives approaches putts waiting" in tables[1]
    assert "approaches" not in tables[0]
    assert 'aria-label="Rounds of drive, fairway, upshot, putt"' in html
    charts = re.findall(r"<figcaption>(Missed [^<]+)</figcaption>", html)
    assert charts.count("Missed upshot throws") == 1
    assert "<h3>Wren, 18 holes, of drive, fairway, upshot and putt</h3>" in html
    assert charts.count("Missed approaches") == 2, "one for each player"


def test_a_round_of_four_phases_is_shown_throw_by_throw(page: Page, stored: list[Round]) -> None:
    shown = text_of(page.browser().get(f"/rounds/{stored[0].id}").text)
    assert all(f"missed {many}" in shown for many in ("drives", "fairway throws", "upshot throws", "putts"))
    assert "missed approaches" not in shown
    assert re.search(r"Hole 3 .*fairway (clean|miss)", shown)


def test_a_hole_of_a_round_from_a_file_offers_the_phases_of_its_game(page: Page, stored: list[Round]) -> None:
    browser = page.browser()
    html = browser.get(f"/rounds/{stored[0].id}/change/3").text
    (first,) = re.findall(r'<select id="phase0".*?</select>', html, re.DOTALL)
    assert re.findall(r"<option[^>]*>(\w+)</option>", first) == ["none", "drive", "fairway", "upshot", "putt"]


def test_players_and_courses_name_the_phases(page: Page, stored: list[Round]) -> None:
    browser = page.browser()
    misses = r"[\d.]+ drives, [\d.]+ fairway throws, [\d.]+ upshot throws, [\d.]+ putts"
    assert re.search(misses, text_of(browser.get("/players").text).replace(" ,", ","))
    course = browser.get("/course", params={"name": "Windmill Park", "layout": "white", "holes": 18}).text
    heads = [text_of(head) for head in re.findall(r"<thead>.*?</thead>", course, re.DOTALL)]
    assert ["upshot throws" in head for head in heads] == [True, False]
    assert ["approaches" in head for head in heads] == [False, True]


def named(store: Store) -> None:
    """The same rounds on a card that calls its upshots something else."""
    for one in [r for r in store.rounds() if len(r.phases) == 4]:
        phases = [replace(p, label="Heranspielen") if p.id == "upshot" else p for p in one.phases]
        store.add_rounds([replace(one, id=f"{one.id}x", phases=tuple(phases), recorded_at=NOON)])


@pytest.mark.usefixtures("stored")
def test_a_phase_of_ones_own_is_called_what_its_form_calls_it(page: Page, store: Store) -> None:
    assert store.phases_called()["upshot"] == "upshot"
    named(store)
    assert store.phases_called() == {"fairway": "fairway", "upshot": "Heranspielen"}
    browser = page.browser()
    assert " Heranspielen throws" in text_of(browser.get("/players").text)
    german = {"accept-language": "de"}
    assert " Heranspielen-Würfe" in text_of(browser.get("/players", headers=german).text)
    assert " Fairway-Würfe" in text_of(browser.get("/players", headers=german).text)
    assert "upshot throws" not in browser.get("/rounds").text.casefold()


@pytest.mark.usefixtures("stored")
def test_the_terminal_calls_it_so_too_and_json_by_its_id(
    store: Store, place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    named(store)
    monkeypatch.setenv("SHORTPENCIL_LANGUAGE", "de")
    at = ["--store", str(place), "--player", "Wren"]
    assert main(["practised", "Heranspielen", "20", *at]) == 0
    assert "Heranspielen-Würfe" in capsys.readouterr().out
    assert main(["season", *at]) == 0
    told = capsys.readouterr().out
    assert "Heranspielen" in told
    assert max(map(len, told.splitlines())) <= 80
    assert main(["season", "--json", *at]) == 0
    assert "Heranspielen" not in capsys.readouterr().out
