"""The pages in process: answers, taking back, two reviewers, cards, rounds; and that GET changes nothing."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.store import Store
from tests.review.conftest import Page


@pytest.fixture
def browser(page: Page) -> TestClient:
    return page.browser()


def shown_seen(html: str) -> str:
    found = re.search(r'<h1>.*?name="seen" value="(\d+)"', html, re.S)
    assert found is not None
    return found[1]


def everything(place: Path) -> list[str]:
    with closing(sqlite3.connect(place)) as connection, connection:
        lines = list(connection.iterdump())
    return lines


def test_answering_all_of_a_card_makes_it_whole(browser: TestClient, store: Store, serial: str) -> None:
    url = f"/ask?card={serial}"
    for value in ("miss", "17", "5"):
        shown = browser.get(url)
        assert shown.status_code == 200
        data = {"value": value, "seen": shown_seen(shown.text), "then": "only"}
        kept = browser.post(str(shown.url.copy_with(query=None)), data=data)
        assert kept.status_code == 200
        assert "Kept:" in kept.text
        url = str(kept.url)
    assert "This card is whole" in kept.text
    card = store.card(serial)
    assert card.waiting == ()
    assert [answer.by for answer in card.answers] == ["Wren"] * 3
    assert card.fields["h10.putt1.distance"].value == 17


def test_an_answer_can_be_taken_back_and_then_waits_again(
    browser: TestClient, store: Store, serial: str
) -> None:
    kept = browser.post(f"/ask/{serial}/h05.drive", data={"value": "clean", "seen": "0"})
    assert "h05.drive" not in store.card(serial).waiting
    assert f"/undo/{serial}/h05.drive" in kept.text
    back = browser.post(f"/undo/{serial}/h05.drive", data={"seen": "1"})
    assert back.url.path == f"/ask/{serial}/h05.drive"
    assert "h05.drive" in store.card(serial).waiting
    assert [answer.takes_back for answer in store.answers(serial)] == [False, True]


def test_the_later_of_two_reviewers_is_shown_what_changed(page: Page, store: Store, serial: str) -> None:
    first, second = page.browser(), page.browser("phone")
    url = f"/ask/{serial}/h05.drive"
    seen = shown_seen(second.get(url).text)
    assert first.post(url, data={"value": "clean", "seen": seen}).status_code == 200
    late = second.post(url, data={"value": "miss", "seen": seen})
    assert late.status_code == 409
    assert "Somebody answered while you looked" in late.text
    assert "Wren" in late.text
    assert [answer.value for answer in store.answers(serial)] == ["clean"]
    again = second.post(url, data={"value": "miss", "seen": shown_seen(late.text)})
    assert again.status_code == 200
    assert [(a.value, a.by) for a in store.answers(serial)] == [("clean", "Wren"), ("miss", "Wren, phone 1")]


def test_taking_back_what_somebody_changed_meanwhile_is_refused(
    page: Page, store: Store, serial: str
) -> None:
    browser = page.browser()
    url = f"/ask/{serial}/h05.drive"
    browser.post(url, data={"value": "clean", "seen": "0"})
    browser.post(url, data={"value": "miss", "seen": "1"})
    assert browser.post(f"/undo/{serial}/h05.drive", data={"seen": "1"}).status_code == 409
    assert len(store.answers(serial)) == 2


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"value": "perhaps", "seen": "0"}, "expected one of clean, miss"),
        ({"value": "clean"}, "Load it again"),
        ({"value": "clean", "seen": "x"}, "Load it again"),
        ({"value": ["clean", "miss"], "seen": "0"}, "expected one answer"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused_with_a_reason(
    browser: TestClient, store: Store, serial: str, data: dict[str, str], says: str
) -> None:
    refused = browser.post(f"/ask/{serial}/h05.drive", data=data)
    assert refused.status_code == 422
    assert says in refused.text
    assert store.answers(serial) == ()


def test_what_is_typed_is_shown_as_text(browser: TestClient, store: Store, serial: str) -> None:
    words = "<script>alert(1)</script>"
    browser.post(f"/ask/{serial}/h01.words", data={"value": words, "seen": "0", "then": "card"})
    assert store.card(serial).fields["h01.words"].value == words
    page = browser.get(f"/card/{serial}").text
    assert words not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_every_value_of_a_card_is_shown_with_where_it_came_from(
    browser: TestClient, store: Store, serial: str
) -> None:
    browser.post(f"/ask/{serial}/h05.drive", data={"value": "clean", "seen": "0"})
    page = browser.get(f"/card/{serial}?at=h05.drive").text
    for field in store.card(serial).form.fields:
        assert field.type == "words" or f"at={field.id}" in page, field.id
    assert "entered by Wren" in page
    assert "waits for you" in page
    assert "read from the ink" in page


def test_a_name_signs_what_is_entered(browser: TestClient, store: Store, serial: str) -> None:
    browser.post("/name", data={"name": " Robin\u202e \x00"})
    browser.post(f"/ask/{serial}/h05.drive", data={"value": "clean", "seen": "0"})
    assert store.answers(serial)[0].by == "Robin"
    assert browser.post("/name", data={"name": " "}).status_code == 422


def test_looking_at_every_page_changes_nothing(
    browser: TestClient, store: Store, place: Path, serial: str
) -> None:
    before = everything(place)
    card, ask = f"/card/{serial}", f"/ask/{serial}/h05.drive"
    pages = [
        "/",
        "/ask",
        f"/ask?card={serial}",
        ask,
        card,
        f"{card}?at=h05.drive&zoom=3&marks=off",
        "/rounds",
    ]
    pages += [f"/rounds/{serial}", "/capture", "/focus", "/phone", "/enter?secret=x"]
    pages += [f"/picture/{serial}", f"/picture/{serial}/h05.drive"]
    for path in pages:
        assert browser.get(path).status_code == 200, path
        assert browser.head(path).status_code == 200, path
    for path in (f"/undo/{serial}/h05.drive", "/name"):
        assert browser.get(path).status_code == 405, path
    assert everything(place) == before


@pytest.mark.parametrize(
    "path", ["/nothing", "/card/NONE", "/ask/NONE/h01.drive", "/rounds/NONE", "/picture/NONE"]
)
def test_what_is_not_there_is_said_so(browser: TestClient, path: str) -> None:
    found = browser.get(path)
    assert found.status_code == 404
    assert "<h1>" in found.text


def test_a_field_that_the_form_does_not_have_is_said_so(browser: TestClient, serial: str) -> None:
    for path in (f"/ask/{serial}/h99.drive", f"/card/{serial}?at=h99.drive"):
        assert browser.get(path).status_code == 422
    assert browser.get(f"/picture/{serial}/h99.drive").status_code == 404


def test_pictures_carry_no_metadata(browser: TestClient, serial: str) -> None:
    whole = browser.get(f"/picture/{serial}")
    assert whole.headers["content-type"] == "image/jpeg"
    assert b"Exif" not in whole.content
    part = browser.get(f"/picture/{serial}/h05.drive")
    assert part.headers["content-type"] == "image/png"
    kinds = re.findall(rb"(IHDR|tEXt|iTXt|zTXt|eXIf|tIME)", part.content)
    assert kinds == [b"IHDR"]


def test_rounds_show_the_figures_of_the_command_line(browser: TestClient, store: Store, serial: str) -> None:
    page = browser.get("/rounds").text
    for line in store.summaries():
        assert f'data-name="score">{line.score}</td>' in page
        assert f'data-name="putts">{line.misses_of("putt")}</td>' in page
    shown = browser.get(f"/rounds/{serial}").text
    assert "Throw by throw" in shown


def test_a_link_for_a_phone_is_made_on_the_laptop_only(page: Page) -> None:
    laptop, phone = page.browser(), page.browser("phone")
    made = laptop.post("/phone")
    assert made.status_code == 200
    link = re.search(r"http://[^<]+/enter\?secret=[\w-]{43}", made.text)
    assert link is not None
    assert "<svg" in made.text
    assert phone.post("/phone").status_code == 403
    other = page.stranger()
    secret = link[0].split("=")[1]
    entered = other.post("/enter", data={"secret": secret}, headers={"origin": "http://127.0.0.1:8467"})
    assert entered.status_code == 303


def test_without_lan_no_link_is_made(page: Page) -> None:
    page.desk.phone_address = lambda: None
    browser = page.browser()
    assert "--lan" in browser.get("/phone").text
    assert browser.post("/phone").status_code == 403


OWN_FORM = """
name = "warmup"
title = "Warm-up sheet"
record = "sheet"

[[head]]
id = "mood"
type = "choose-one"
label = "Mood"
arrange = "line"
options = [{ id = "fresh", label = "fresh" }, { id = "tired", label = "tired" }]

[[head]]
id = "felt"
type = "choose-many"
label = "Felt"
arrange = "line"
line = 2
options = [{ id = "wind", label = "wind" }, { id = "cold", label = "cold" }]

[[head]]
id = "tries"
type = "number"
label = "Tries"
digits = 2
line = 3

[[head]]
id = "remark"
type = "words"
label = "Remark"
line = 4
"""


def test_a_form_of_ones_own_is_asked_and_shown_by_its_own_labels(page: Page, store: Store) -> None:
    layout = arrange(form_from_toml(OWN_FORM, source="own"), PAPERS["a4"]).layout
    doubt = FieldReading("fresh", 0.7, "unclear", alternatives=(("tired", 0.3),))
    reading = CardReading(
        source="x", status="read", serial="QQQQ2222", form="own", form_name="warmup", photo_sha256="c" * 64,
        fields={"mood": doubt, "felt": FieldReading(("cold",), 0.99), "tries": FieldReading(None, 0.99)},
    )  # fmt: skip
    store.add_reading(reading, layout.form, None, form_text=layout_to_json(layout))
    browser = page.browser()
    shown = browser.get("/ask?card=QQQQ2222")
    assert "Warm-up sheet" in shown.text
    assert "Mood" in shown.text
    for field in ("felt", "tries", "remark"):
        assert browser.get(f"/card/QQQQ2222?at={field}").status_code == 200
    listed = browser.get("/rounds").text
    assert "Sheets that are no rounds" in listed
    assert 'href="/card/QQQQ2222">no date yet<' in listed
    browser.post("/ask/QQQQ2222/mood", data={"value": "tired", "seen": "0"})
    assert store.card("QQQQ2222").waiting == ()
    assert store.card("QQQQ2222").fields["mood"].value == "tired"


@pytest.mark.parametrize("typed", ["seven-ish", "99999", "<b>bold</b>", "3, found 'x'; y"])
def test_wrong_input_is_never_printed_back(browser: TestClient, serial: str, typed: str) -> None:
    path = f"/ask/{serial}/h10.putt1.distance"
    sent = browser.post(path, data={"value": typed, "seen": shown_seen(browser.get(path).text)})
    assert sent.status_code == 422
    said = sent.text.split('role="alert"')[1].split("</div>")[0]
    assert "Hole 10, distance of the first putt: expected a whole number" in said
    for part in (typed, "seven", "bold", "h10.putt1"):
        assert part not in said
    for address in (
        "/card/WRITTEN99",
        "/rounds/WRITTEN99",
        "/ask/WRITTEN99/h01.drive",
        f"/card/{serial}?at=WRITTEN99",
    ):
        assert "WRITTEN99" not in re.sub("<[^>]+>", "", browser.get(address).text)
