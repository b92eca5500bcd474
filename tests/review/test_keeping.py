"""Restore with its way back, export, check, a player's hand and leave, sessions told: all from the page."""

from __future__ import annotations

import io
import os
import re
import zipfile
from pathlib import Path

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.cli.main import main
from shortpencil.scan.cli.review import focus_of_store
from shortpencil.scan.places import forms_folder
from shortpencil.scan.records.exchanging import export
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.guard import RESTORE_PATH, Limits
from tests.review.conftest import Page
from tests.year.season import typed_rounds


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def browser(page: Page, store: Store, home: Path) -> TestClient:
    store.add_rounds(round_from_json(filled_out(given)) for given in typed_rounds(12))
    page.desk.chores = DeskChores(store, forms_folder())
    page.desk.focus = focus_of_store(store)
    return page.browser()


def backup_of(browser: TestClient) -> dict[str, tuple[str, bytes]]:
    return {"file": ("b.zip", browser.post("/safe/backup").content)}


def test_a_backup_replaces_what_is_here_and_is_undone(browser: TestClient, store: Store) -> None:
    then, file = store.summaries(), backup_of(browser)
    store.add_rounds([round_from_json(filled_out({**typed_rounds(1)[0], "id": "LATER222"}))])
    refused = browser.post("/safe/restore", files=file, data={"word": "yes"})
    assert refused.status_code == 422
    assert "Nothing was changed" in refused.text
    assert len(store.summaries()) == len(then) + 1
    done = browser.post("/safe/restore", files=file, data={"word": "Replace"})
    assert "Taken back: 14 rounds" in done.text
    assert store.summaries() == then
    (name,) = re.findall(r'name="name" value="([^"]+)"><button name="do" value="back"', done.text)
    back = browser.post("/safe/before", data={"name": name, "do": "back"})
    assert "Brought back: 15 rounds" in back.text
    assert len(store.summaries()) == len(then) + 1
    assert back.text.count('value="back"') == 2  # what it replaced in turn is kept, too
    kept = browser.post("/safe/before", data={"name": name, "do": "drop", "word": "no"})
    assert "Nothing was erased" in kept.text
    gone = browser.post("/safe/before", data={"name": name, "do": "drop", "word": "erase"})
    assert gone.text.count('value="back"') == 1
    assert name not in gone.text


def test_only_what_a_restore_replaced_is_brought_back_or_erased(browser: TestClient, place: Path) -> None:
    place.with_name("mine.zip").write_bytes(b"x")
    for name in ("mine.zip", "../x-before-20260801T000000Z.zip", str(place), ""):
        for do in ("back", "drop"):
            got = browser.post("/safe/before", data={"name": name, "do": do, "word": "erase"})
            assert got.status_code == 422
    assert place.exists()
    assert place.with_name("mine.zip").exists()


def test_what_is_no_backup_is_refused_and_says_no_path(browser: TestClient, store: Store) -> None:
    then = store.summaries()
    got = browser.post("/safe/restore", files={"file": ("<b>.zip", b"PK")}, data={"word": "replace"})
    assert got.status_code == 422
    assert "expected a whole backup" in got.text
    assert not re.search(r"/tmp|<b>\.zip|\.sqlite", got.text)
    assert store.summaries() == then


def test_into_an_empty_store_nothing_has_to_be_typed(
    browser: TestClient, page: Page, store: Store, home: Path
) -> None:
    then, file = store.summaries(), backup_of(browser)
    for line in then:
        store.set_aside(line.id, page.desk.now(), kept=False)
    store.empty_aside()
    assert "Nothing is here yet" in browser.get("/safe").text
    assert "Taken back: 14 rounds" in browser.post("/safe/restore", files=file).text
    assert store.summaries() == then


def test_a_phone_neither_restores_nor_forgets(browser: TestClient, page: Page, store: Store) -> None:
    phone, then = page.browser("phone"), store.summaries()
    file = backup_of(browser)
    assert phone.post("/safe/restore", files=file, data={"word": "replace"}).status_code == 403
    assert phone.post("/safe/before", data={"name": "x", "do": "back"}).status_code == 403
    assert phone.get("/player/forget?name=Wren").status_code == 403
    forgotten = phone.post("/player/forget", data={"name": "Wren", "typed": "Wren"})
    assert forgotten.status_code == 403
    assert phone.post("/player/hand", data={"name": "Wren", "how": "erase"}).status_code == 403
    assert "Forget" not in phone.get("/player?name=Wren").text
    assert store.summaries() == then


def test_a_backup_may_be_larger_than_any_other_body() -> None:
    limits = Limits()
    assert limits.of(RESTORE_PATH) > limits.of("/safe/import") > limits.of("/player/forget")


def test_a_player_is_forgotten_once_the_name_is_typed(
    browser: TestClient, store: Store, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["print", "-o", str(home / "x.pdf"), "--player", "Ash", "-q"])
    shown = browser.get("/player/forget?name=Ash").text
    assert "This would erase 4 rounds, 1 printed card known to be theirs." in shown
    wrong = browser.post("/player/forget", data={"name": "Ash", "typed": "Wren"})
    assert wrong.status_code == 422
    assert "Nothing was erased" in wrong.text
    assert any(line.player == "Ash" for line in store.summaries())
    done = browser.post("/player/forget", data={"name": "Ash", "typed": "Ash"})
    assert "<h1>Ash is forgotten</h1>" in done.text
    assert {line.player for line in store.summaries()} == {"Wren", None}
    assert not list((home / "unfinished").glob("*"))
    for name in ("Ash", "Nobody", ""):
        assert browser.get(f"/player/forget?name={name}").status_code == 404
        assert browser.get(f"/player?name={name}").status_code == 404
        assert browser.post("/player/forget", data={"name": name, "typed": name}).status_code == 404
    capsys.readouterr()
    assert main(["forget", "Ash", "--store", store.name, "--yes"]) == 2  # nothing is left for the terminal


def test_a_hand_is_kept_no_more_and_learnt_again(browser: TestClient, store: Store) -> None:
    assert "Keep nothing of it" in browser.get("/player?name=Wren").text
    off = browser.post("/player/hand", data={"name": "Wren", "how": "off"})
    assert "as was wished" in off.text
    assert store.kept_hands()[0].off
    assert "Keep nothing of it" in browser.post("/player/hand", data={"name": "Wren", "how": "on"}).text
    assert browser.post("/player/hand", data={"name": "Wren", "how": "sell"}).status_code == 422


def test_of_several_players_none_is_taken_to_be_meant(browser: TestClient) -> None:
    first = re.compile(r'<select id="player"[^>]* required><option value="([^"]*)"')
    assert first.findall(browser.get("/sessions").text) == [""]
    assert "" not in re.findall('<option value="([^"]*)"', browser.get("/sessions?player=Ash").text)


def test_a_session_is_told_and_taken_back(browser: TestClient, store: Store) -> None:
    told = {"player": "Ash", "phase": "putt", "minutes": "40", "day": "2026-07-30"}
    assert "30 Jul 2026</b>, putts, 40 minutes, Ash" in browser.post("/sessions", data=told).text
    assert browser.post("/sessions", data=told | {"player": ""}).status_code == 422, "of two players, whose?"
    (session,) = store.told_sessions()
    assert (session.player, session.phase, session.minutes) == ("Ash", "putt", 40)
    days = ({"day": "2999-01-01"}, {"day": "0001-01-01"}, {"day": "x"})
    for wrong in (*days, {"phase": "sit"}, {"minutes": "٣"}, {"minutes": "0"}):
        assert browser.post("/sessions", data=told | wrong).status_code == 422
    browser.post("/sessions/back", data={"number": str(session.number)})
    assert store.told_sessions() == ()
    assert browser.post("/sessions/back", data={"number": str(session.number)}).status_code == 409


def test_an_export_comes_as_one_file_and_the_store_is_checked(browser: TestClient) -> None:
    got = browser.post("/safe/export")
    names = zipfile.ZipFile(io.BytesIO(got.content)).namelist()
    assert {"rounds.csv", "throws.csv", "rounds.json"} <= set(names)
    assert "All is as it was written" in browser.post("/safe/check").text


def test_an_export_is_made_under_a_clock_that_was_never_set(
    browser: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def written_in_1970(folder: Path, *what: object) -> None:
        write_export(folder, *what)  # type: ignore[arg-type]
        for path in folder.iterdir():
            os.utime(path, (60, 60))

    monkeypatch.setattr(export, "write_export", written_in_1970)
    got = browser.post("/safe/export")
    assert "rounds.json" in zipfile.ZipFile(io.BytesIO(got.content)).namelist()


@pytest.mark.parametrize(("sheet", "says"), [("season", "Wren's season"), ("evidence", "Practise your")])
def test_what_the_rounds_say_comes_on_one_sheet(browser: TestClient, sheet: str, says: str) -> None:
    asked = {"player": "Wren", "minutes": "30", "paper": "a4", "sheet": sheet}
    got = browser.post("/print/practice", data=asked)
    assert got.headers["content-disposition"] == f'attachment; filename="{sheet}.pdf"'
    text = PdfReader(io.BytesIO(got.content)).pages[0].extract_text()
    assert says.casefold() in text.casefold()


def test_cards_are_chosen_by_language(browser: TestClient) -> None:
    shown = browser.get("/print").text
    assert '<optgroup label="English" lang="en">' in shown
    german = shown.split('<optgroup label="Deutsch" lang="de">')[1].split("</optgroup>")[0]
    of_rounds, of_practice = ["round18-de", "short18-de"], ["field-work-de", "putting-ladder-de"]
    assert re.findall(r'value="([^"]+)"', german) == [*of_rounds, *of_practice]
    chosen = r'<option value="([^"]+)" selected>'
    assert re.findall(chosen, shown)[0] == "round18"
    told = browser.get("/print", headers={"accept-language": "de"}).text
    assert re.findall(chosen, told)[0] == "round18-de"
    asked = {"form": "round18-de", "paper": "a4", "unit": "m", "hand": "right", "copies": "1"}
    got = browser.post("/print", data=asked | {"players": "", "course": ""})
    assert "Rundenkarte" in PdfReader(io.BytesIO(got.content)).pages[0].extract_text()
