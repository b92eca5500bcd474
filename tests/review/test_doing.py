"""Print, courses, practice sheets, club evenings, backup, import, the phone's switch: all from the page."""

from __future__ import annotations

import io
import json
import re
import zipfile
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.cli.main import main
from shortpencil.scan.cli.review import focus_of_store
from shortpencil.scan.evening import PrintedCard, evening_lines
from shortpencil.scan.language import speaking
from shortpencil.scan.places import forms_folder
from shortpencil.scan.records.exchanging.importing import Imported
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.chores import evening_said
from tests.practice.invented import Player, rounds_of
from tests.records.cards import PLAYED
from tests.records.exchanging.test_export import played
from tests.review.conftest import Page
from tests.year.season import typed_rounds


@pytest.fixture(scope="module")
def typed() -> Imported:
    return Imported(tuple(round_from_json(filled_out(given)) for given in typed_rounds(20)))


@pytest.fixture
def browser(
    page: Page, store: Store, typed: Imported, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> TestClient:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    store.add_rounds(typed.rounds)
    page.desk.chores = DeskChores(store, forms_folder())
    page.desk.focus = focus_of_store(store)
    return page.browser()


CARDS = {
    "form": "round18",
    "paper": "a4",
    "unit": "m",
    "hand": "right",
    "copies": "1",
    "players": "",
    "course": "",
}


def words_of(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def test_cards_are_printed_from_the_page_and_known_afterwards(browser: TestClient) -> None:
    got = browser.post("/print", data=CARDS | {"players": "Wren\r\n\r\nAsh\r\n", "copies": "2", "unit": "ft"})
    assert got.headers["content-type"] == "application/pdf"
    pages = words_of(got.content)
    assert len(pages) == 4
    assert sum("Wren" in page for page in pages) == 2
    catalog = Catalog(forms_folder())
    assert len(catalog.cards_of("Wren")) == len(catalog.cards_of("Ash")) == 2
    assert browser.post("/print", data=CARDS).status_code == 200  # of anybody
    assert len(catalog.cards_of("Wren")) == 2


@pytest.mark.parametrize(("others", "hand"), [(0, "left"), (1, "right")])
def test_the_last_rounds_hand_is_offered_to_its_player_alone(
    others: int, hand: str, page: Page, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card that is printed for the left hand asks for none: a club's cards would all be left-handed."""
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    page.desk.chores = DeskChores(store, forms_folder())
    lefty = rounds_of(Player(name="Wren", hand="left"), 1, np.random.default_rng(7), start=date(2031, 1, 1))
    store.add_rounds([*lefty, *rounds_of(Player(name="Ash"), others, np.random.default_rng(8), prefix="a-")])
    shown = page.browser().get("/print").text
    (offered,) = re.findall(r'<select id="hand".*?<option value="(\w+)" selected>', shown, re.DOTALL)
    assert offered == hand


@pytest.mark.parametrize(
    "wrong",
    [
        {"copies": "0"},
        {"copies": "x"},
        {"form": "../../etc/passwd"},
        {"course": "nowhere"},
        {"evening": "Thursday"},
        {"players": "Wren\nLark\n Wren "},
    ],
)
def test_what_cannot_be_printed_is_said_and_registers_nothing(
    browser: TestClient, wrong: dict[str, str]
) -> None:
    assert browser.post("/print", data=CARDS | wrong).status_code == 422
    assert not (forms_folder() / "cards").exists()


def test_what_was_filled_in_stands_there_after_a_mistake(browser: TestClient) -> None:
    course = {"name": "Quern Hollow", "layout": "", "unit": "m", "key": ""} | {
        f"par{n}": "3" for n in range(1, 10)
    }
    browser.post("/print/course", data=course | {f"length{n}": "" for n in range(1, 10)})
    filled = {
        "players": "Wren\nAsh <i>",
        "copies": "3",
        "paper": "letter",
        "hand": "left",
        "evening": "Thursday 3",
    }
    got = browser.post("/print", data=CARDS | filled | {"course": "quern-hollow"})
    assert "18 holes, but the layout &#39;Quern Hollow&#39; has 9" in got.text
    assert ">Wren\nAsh &lt;i&gt;</textarea>" in got.text
    for shown in (
        'value="3"',
        'value="Thursday 3"',
        *(f'value="{one}" selected' for one in ("letter", "left", "quern-hollow")),
    ):
        assert shown in got.text


def test_a_course_is_set_up_printed_changed_and_backed_up(browser: TestClient, tmp_path: Path) -> None:
    course = {"name": "Quern Hollow", "layout": "short", "unit": "ft", "key": ""}
    course |= {f"par{n}": "3" for n in range(1, 10)} | {f"length{n}": str(200 + n) for n in range(1, 10)}
    kept = browser.post("/print/course", data=course)
    assert "Quern Hollow, short, 9 holes" in kept.text
    assert kept.url.query == b"course=quern-hollow-short"
    assert '<option value="round9" selected>' in kept.text  # the card with as many holes
    got = browser.post(
        "/print", data=CARDS | {"form": "round9", "unit": "ft", "course": "quern-hollow-short"}
    )
    (page,) = words_of(got.content)
    assert "Quern Hollow" in page
    assert "201" in page
    again = course | {"key": "quern-hollow-short", "par1": "4", "length2": ""}
    browser.post("/print/course", data=again)
    (one,) = DeskChores(None, forms_folder()).courses()  # type: ignore[arg-type]
    assert (one.given.holes[0].par, one.given.holes[1].length) == (4, None)
    for wrong in ({"par1": "9"}, {"length1": "99999"}, {"length1": "far"}, {"name": ""}):
        assert browser.post("/print/course", data=course | wrong).status_code == 422
    backup = browser.post("/safe/backup")
    with zipfile.ZipFile(io.BytesIO(backup.content)) as archive:
        assert "forms/course-quern-hollow-short.json" in archive.namelist()


def test_a_practice_sheet_for_each_player_comes_in_one_file(browser: TestClient) -> None:
    shown = browser.get("/print/practice?player=Ash").text
    assert re.search(r'value="Ash" checked', shown)
    got = browser.post(
        "/print/practice", data={"player": ["Wren", "Ash"], "minutes": "30", "paper": "letter"}
    )
    pages = words_of(got.content)
    assert len(pages) == 2
    assert "Wren" in pages[0]
    assert "Ash" in pages[1]
    assert len(Catalog(forms_folder()).cards_of("Ash")) == 1
    assert not any("time's test" in page.replace("\u2019", "'") for page in pages), "nobody has done a test"
    assert browser.post("/print/practice", data={"player": "Nobody", "minutes": "30"}).status_code == 422
    assert browser.post("/print/practice", data={"player": "Wren", "minutes": "0"}).status_code == 422


def test_an_evening_says_who_came_who_is_missing_double_or_waiting(
    browser: TestClient, store: Store, capsys: pytest.CaptureFixture[str], place: Path
) -> None:
    names = "Wren\nAsh\nRobin\nKestrel"
    browser.post("/print", data=CARDS | {"players": names, "evening": "Thursday 3"})
    catalog = Catalog(forms_folder())
    serial = {name: catalog.cards_of(name)[0].stem for name in names.split()}
    store.add_rounds([
        played(serial=serial["Wren"]), played(serial=serial["Robin"]), played(serial=serial["Robin"] + "-2"),
        played(PLAYED | {"h01.score": None}, flags={"h01.score": "faint"}, serial=serial["Kestrel"]),
    ])  # fmt: skip
    shown = re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", browser.get("/evening?name=Thursday%203").text))
    assert "3 of 4 players came back, 1 missing, 1 double" in shown
    assert "Ash missing" in shown
    assert "Robin double" in shown
    assert "3 of 4 players" in browser.get("/evenings").text
    capsys.readouterr()
    assert main(["evening", "Thursday 3", "--store", str(place), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["evenings"][0]
    states = {one["player"]: one["state"] for one in told["players"]}
    assert states["Ash"] == "missing"
    assert states["Robin"] == "double"
    assert states["Wren"] == "read"
    assert main(["evening", "Friday", "--store", str(place)]) == 2
    assert browser.get("/evening?name=Friday").status_code == 404


def test_a_card_that_waits_is_told_apart_from_one_that_is_read() -> None:
    cards = [PrintedCard("AAAA2222", "Wren", "2026-05-31"), PrintedCard("BBBB2222", "Ash", "2026-05-31")]
    lines = evening_lines(cards, ["AAAA2222", "BBBB2222"], {"AAAA2222": 2})
    assert [(line.player, line.state) for line in lines] == [("Ash", "read"), ("Wren", "waiting")]
    assert evening_said(lines) == "2 of 2 players came back, 1 waits"
    with speaking("de"):
        assert evening_said(lines) == "2 von 2 Spielern sind zurück, 1 wartet"
        assert evening_said(evening_lines(cards, [], {})).endswith("2 fehlen")
        assert evening_said(evening_lines(cards, ["AAAA2222"], {})).endswith("1 fehlt")
    two = [
        PrintedCard("AAAA2222", "Wren", ""),
        PrintedCard("CCCC2222", "Wren", ""),
    ]  # two cards, one filled in
    assert evening_lines(two, ["AAAA2222"], {})[0].state == "read"


def test_a_league_of_five_evenings_is_a_line_each(browser: TestClient) -> None:
    for number in range(1, 6):
        browser.post("/print", data=CARDS | {"players": "Wren\nAsh", "evening": f"Evening {number}"})
    shown = browser.get("/evenings").text
    assert "<h1>5 club evenings</h1>" in shown
    assert shown.count("0 of 2 players came back, 2 missing") == 5


def test_a_backup_from_the_page_is_restored_on_another_computer(
    browser: TestClient, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    got = browser.post("/safe/backup")
    assert got.headers["content-type"] == "application/zip"
    assert "attachment" in got.headers["content-disposition"]
    file = tmp_path / "moved.zip"
    file.write_bytes(got.content)
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "new-home"))
    assert main(["restore", str(file)]) == 0
    with open_store(tmp_path / "new-home" / "rounds.sqlite") as moved:
        assert moved.summaries() == store.summaries()


def test_rounds_are_imported_tried_and_refused_on_the_page(browser: TestClient, store: Store) -> None:
    before = len(store.summaries())
    rounds = json.dumps({"rounds": [{**typed_rounds(1)[0], "id": "NEWONE22"}]}).encode()
    tried = browser.post("/safe/import", files={"file": ("x.json", rounds)}, data={"try": "yes"})
    assert "1 round: 1 new, but that was only tried" in tried.text
    assert len(store.summaries()) == before
    done = browser.post("/safe/import", files={"file": ("x.json", rounds)})
    assert "1 round: 1 new." in done.text
    assert len(store.summaries()) == before + 1
    wrong = browser.post("/safe/import", files={"file": ("<b>.json", b'{"rounds": [{"holes": 3}]}')})
    assert wrong.status_code == 422
    assert "nothing was taken from it" in wrong.text
    assert "/tmp" not in wrong.text
    assert browser.post("/safe/import", data={"try": "yes"}).status_code == 422


def test_the_phone_is_switched_on_and_off_on_the_laptop_only(page: Page, browser: TestClient) -> None:
    switched: list[bool] = []

    async def switch(on: bool) -> None:
        switched.append(on)

    page.desk.switch_phone = switch
    assert "Switch the phone off" in browser.get("/phone").text
    browser.post("/phone/switch", data={"on": "no"})
    page.desk.phone_address = lambda: None
    assert "Switch the phone on" in browser.get("/phone").text
    browser.post("/phone/switch", data={"on": "yes"})
    assert switched == [False, True]
    page.desk.phone_address = lambda: "http://127.0.0.1:8467"
    assert page.browser("phone").post("/phone/switch", data={"on": "no"}).status_code == 403
    assert switched == [False, True]


def test_a_phone_that_is_switched_off_is_out(page: Page) -> None:
    phone = page.browser("phone")
    assert phone.get("/").status_code == 200
    page.desk.door.sign_out_phones()
    assert phone.get("/").status_code == 401
    assert page.browser().get("/").status_code == 200


def test_a_page_that_was_started_without_its_chores_says_so(page: Page) -> None:
    browser = page.browser()
    for path in ("/print", "/print/course", "/evenings"):
        assert browser.get(path).status_code == 404
    assert browser.get("/safe").status_code == 200
