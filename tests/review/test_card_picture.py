"""A card whose own picture was not kept: the page shows the pictures that there are, where they stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main
from shortpencil.scan.reading import CARD_PICTURE
from shortpencil.scan.records.store import Store
from tests.review.conftest import ORIGIN, SAMPLES, THREE, Page


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """In place of the store of all tests: one that was read without pictures of whole cards."""
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    small = tmp_path / "small.sqlite"
    assert main(["read", "-q", "--no-card-picture", str(SAMPLES / THREE), "--store", str(small)]) == 1
    return small


def test_pages_show_the_pictures_there_are_and_ask_for_no_other(
    page: Page, store: Store, serial: str
) -> None:
    card = store.card(serial)
    assert CARD_PICTURE not in card.reading.pictures
    assert set(card.waiting) <= set(card.reading.pictures)
    browser = page.browser()
    for path in ("card", "ask", "who", "rounds"):
        at = f"/{path}/{serial}" + (f"/{card.waiting[0]}" if path == "ask" else "")
        shown = set(re.findall(rf'"/picture/{serial}/?([^"]*)"', browser.get(at).text))
        assert shown <= set(card.reading.pictures), path
        assert shown or path == "rounds"
        assert all(browser.get(f"/picture/{serial}/{name}").status_code == 200 for name in shown)
    assert "No picture of the whole card was kept" in browser.get(f"/card/{serial}").text
    assert "See the card" in browser.get(f"/rounds/{serial}").text


def test_a_photo_sent_to_the_page_leaves_none_either(page: Page, store: Store) -> None:
    page.desk.card_pictures = False
    browser = page.stranger()  # of an application that is made now
    secret = page.desk.door.link(page.clock(), 60.0, "laptop")
    browser.post("/enter", data={"secret": secret}, headers=ORIGIN)
    photo = (SAMPLES / "plain_good_light.jpg").read_bytes()
    got = browser.post("/capture", files=[("photos", ("a.jpg", photo, "image/jpeg"))], headers=ORIGIN)
    assert got.status_code == 200
    pictures = [store.card(head.serial).reading.pictures for head in store.heads()]
    assert len(pictures) == 2
    assert all(CARD_PICTURE not in of_one for of_one in pictures)
