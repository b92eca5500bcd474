"""The page that asks whose, where and when in a real browser: by keys, on a phone, and with axe."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import read_file
from shortpencil.scan.records.store import open_store
from tests.review.browser import (
    LAPTOP,
    PHONE,
    ThreadServer,
    chromium,
    come_in,
    dressed,
    faults_of,
    pytestmark,
)
from tests.review.conftest import NOON, SAMPLES, THREE
from tests.review.doubtful import doubtful_store

__all__ = ["chromium", "pytestmark"]

SERIALS = ("WHAA2222", "WHAA3333")
FIRST, SECOND = SERIALS


@pytest.fixture(scope="module")
def made(catalog: Catalog, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("who") / "rounds.sqlite"
    doubtful_store(place, catalog, read_file(SAMPLES / THREE, catalog).readings[0], SERIALS)
    with open_store(place) as store:
        store.answer(FIRST, "player", "Wren", "Robin", NOON)
    return place


@pytest.fixture
def server(made: Path, tmp_path: Path) -> Iterator[ThreadServer]:
    running = ThreadServer(shutil.copy(made, tmp_path / "rounds.sqlite"), tmp_path / "home")
    yield running
    running.stop()


def test_a_suggested_name_is_chosen_and_a_course_written_by_keys_alone(
    chromium: Browser, server: ThreadServer
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/who/{SECOND}")
    page.locator("[name=player]").first.focus()
    page.keyboard.press("Space")
    page.locator("[name=course-other]").focus()
    page.keyboard.type("Sallowbeck")
    page.keyboard.press("Enter")
    page.wait_for_selector(".kept")
    with open_store(server.store) as store:
        round_ = store.round(SECOND)
    assert round_ is not None
    assert (round_.player, round_.course) == ("Wren", "Sallowbeck")
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()


def test_on_a_phone_everything_fits_and_can_be_tapped(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, **PHONE)
    page = context.pages[0]
    page.goto(f"{server.base}/who/{SECOND}")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for target in page.locator(".pick, main button").all():
        box = target.bounding_box()
        assert box
        assert box["height"] >= 44
    page.get_by_text("Wren").first.tap()
    page.get_by_role("button", name="Keep").tap()
    page.wait_for_selector(".kept")
    with open_store(server.store) as store:
        round_ = store.round(SECOND)
    assert round_ is not None
    assert round_.player == "Wren"
    context.close()


def test_neither_page_has_an_accessibility_fault(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, bypass_csp=True, **LAPTOP)
    page = context.pages[0]
    found = []
    for path in (f"/who/{SECOND}", "/who"):
        page.goto(server.base + path)
        for look in dressed(page, ("light", 1280), ("dark", 390)):
            found += [(path, look, *fault) for fault in faults_of(page)]
    assert found == []
    context.close()
