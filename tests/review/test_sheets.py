"""Every round of a sheet on the page; deleting a round and setting it aside, with the way back."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import keep, round_of
from shortpencil.scan.records.concluding.outcomes import ANOTHER
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.differences import differences
from tests.records.belonging.test_sheets import FORM, SECOND, SHEET, add
from tests.records.cards import PLAYED
from tests.records.conftest import read_form
from tests.review.conftest import NOON, Page
from tests.review.test_app import everything


@pytest.fixture
def browser(page: Page) -> TestClient:
    return page.browser()


@pytest.fixture
def second(store: Store, serial: str, catalog: Catalog) -> str:
    """Another round on a copy of the sheet of `serial`: all scores one higher, all distances two."""
    first = store.card(serial).reading
    fields = {
        name: answer._replace(value=answer.value + (2 if name.endswith("distance") else 1))
        if isinstance(answer.value, int) and name.endswith(("score", "distance"))
        else answer
        for name, answer in first.fields.items()
    }
    reading = replace(first, fields=fields, photo_sha256="e" * 64, source="copies/second.jpg")
    kept = keep(reading, round_of(reading, catalog, NOON), catalog, store)
    assert (kept.outcome, kept.serial) == (ANOTHER, f"{serial}-2")
    return f"{serial}-2"


def test_a_card_shows_every_round_of_its_sheet_and_the_photos_of_each(
    browser: TestClient, serial: str, second: str
) -> None:
    shown = browser.get(f"/card/{second}").text
    assert "Rounds on copies of this sheet" in shown
    assert f"This one <small>card {second}</small>" in shown
    assert re.search(rf'<a href="/card/{serial}">[^<]*, no course, no name</a> <small>card {serial}<', shown)
    assert "second.jpg" in shown
    assert "copies/" not in shown
    assert re.search(rf'<a href="/card/{second}">[^<]*, no name</a>', browser.get(f"/rounds/{serial}").text)


def test_answers_go_to_the_round_they_were_asked_of(
    browser: TestClient, store: Store, serial: str, second: str
) -> None:
    browser.post(f"/ask/{second}/h05.drive", data={"value": "clean", "seen": "0"})
    assert "h05.drive" not in store.card(second).waiting
    assert "h05.drive" in store.card(serial).waiting


@pytest.mark.parametrize(
    ("how", "says", "button"), [("delete", "Deleted", "Undo"), ("aside", "Set aside", "Bring it back")]
)
def test_a_round_is_taken_out_and_brought_back(
    browser: TestClient, place: Path, serial: str, second: str, how: str, says: str, button: str
) -> None:
    before = everything(place)
    out = browser.post(f"/rounds/{serial}/out", data={"how": how})
    assert re.search(rf"{says}: .*, card {serial}\b", out.text)
    assert f"<button>{button}</button>" in out.text
    assert browser.get(f"/card/{serial}").status_code == 404
    assert browser.get(f"/card/{second}").status_code == 200
    back = browser.post(f"/rounds/{serial}/back")
    assert says not in back.text
    assert sorted(everything(place)) == sorted(before)


def test_what_is_not_there_cannot_be_taken_out_or_brought_back(
    browser: TestClient, place: Path, serial: str
) -> None:
    before = everything(place)
    assert browser.post("/rounds/NONE/out", data={"how": "delete"}).status_code == 404
    assert browser.post("/rounds/NONE/back").status_code == 404
    assert browser.post(f"/rounds/{serial}/out", data={"how": "burn"}).status_code == 422
    assert everything(place) == before


def test_differences_are_said_as_a_player_would(tmp_path: Path) -> None:
    half = {name: value for name, value in PLAYED.items() if name.startswith(("date", "h01", "h03"))}
    with open_store(tmp_path / "rounds.sqlite", read_form=read_form) as store:
        assert differences(add(store, half, photo="a" * 64), FORM) == []
        more = half | {"h01.score": 4, "h02.score": 4, "total": 9}
        assert differences(add(store, more, photo="b" * 64), FORM) == [
            "marked since: hole 2, score: 4; total score: 9",
            "otherwise on this photo: hole 1, score: 4 instead of 3",
        ]
        assert differences(add(store, half, photo="c" * 64), FORM) == [
            "not marked on this photo: hole 2, score: nothing written instead of 4; "
            "total score: nothing written instead of 9"
        ]
        (said,) = differences(add(store, SECOND, photo="d" * 64), FORM)
        assert said.startswith(f"kept beside {SHEET}, from which it differs: date, day: 7 instead of 31; ")
        store.set_aside(SHEET, NOON, kept=True)
        (said,) = differences(add(store, half, photo="e" * 64), FORM)
        assert said == f"it shows round {SHEET}, which is set aside; `shortpencil aside --back {SHEET}`"
