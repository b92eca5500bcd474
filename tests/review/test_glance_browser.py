"""The page of all doubtful cells in a real browser: by keys alone, by thumb, without script, and with axe."""

from __future__ import annotations

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
    press,
    pytestmark,
)
from tests.review.conftest import SAMPLES, THREE
from tests.review.doubtful import DOUBTS, doubtful_store

__all__ = ["chromium", "pytestmark"]

SERIALS = ("DVBT2222", "DVBT3333")
FIRST, SECOND = SERIALS


@pytest.fixture(scope="module")
def made(catalog: Catalog, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("doubt") / "rounds.sqlite"
    doubtful_store(place, catalog, read_file(SAMPLES / THREE, catalog).readings[0], SERIALS)
    return place


@pytest.fixture
def server(made: Path, tmp_path: Path) -> Iterator[ThreadServer]:
    place = tmp_path / "rounds.sqlite"
    place.write_bytes(made.read_bytes())
    running = ThreadServer(place, tmp_path / "home")
    yield running
    running.stop()


def answers(server: ThreadServer, serial: str) -> dict[str, tuple[object, str]]:
    with open_store(server.store) as store:
        return {a.field: (a.value, a.how) for a in store.answers(serial) if not a.takes_back}


def test_a_stack_of_cards_by_keys_alone(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/glance")
    page.keyboard.press("b")  # the second pair, a score, turns to the reader's other answer
    assert page.locator(".pair").nth(1).locator("input:checked").get_attribute("value") == "9"
    press(page, "Enter")
    assert FIRST in (page.text_content(".kept") or "")
    assert page.url.startswith(f"{server.base}/glance/{SECOND}")
    assert answers(server, FIRST)["h02.score"] == (9, "")
    assert {how for field, (_, how) in answers(server, FIRST).items() if field != "h02.score"} == {"glance"}
    press(page, "u")
    with open_store(server.store) as store:
        assert set(DOUBTS) <= set(store.card(FIRST).waiting), "taken back as one"
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()


def test_by_thumb_on_a_phone_nothing_is_wider_than_the_screen_or_too_small_to_tap(
    chromium: Browser, server: ThreadServer
) -> None:
    context = come_in(chromium, server, **PHONE)
    page = context.pages[0]
    page.goto(f"{server.base}/glance/{FIRST}")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for box in page.locator(".as, main button:visible").all():
        size = box.bounding_box()
        assert size is None or size["height"] >= 44
    page.locator(".pair").nth(1).locator(".as", has_text="9").last.tap()
    assert page.locator(".pair").nth(1).locator("input:checked").get_attribute("value") == "9"
    page.get_by_role("button", name="keep all").tap()
    page.wait_for_selector(".kept")
    assert answers(server, FIRST)["h02.score"] == (9, "")
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()


def test_the_ink_and_its_value_stand_side_by_side_at_one_scale(
    chromium: Browser, server: ThreadServer
) -> None:
    for how in (LAPTOP, PHONE):
        context = come_in(chromium, server, **how)
        page = context.pages[0]
        page.goto(f"{server.base}/glance/{FIRST}")
        for pair in page.locator(".pair").all():
            ink = pair.locator(".eye").bounding_box()
            value = pair.locator(".write:visible").bounding_box()
            assert ink
            assert value
            assert abs(ink["height"] - value["height"]) < 1.5
            assert abs(ink["width"] - value["width"]) < 1.5
            assert abs(ink["y"] - value["y"]) < 4
            assert value["x"] - (ink["x"] + ink["width"]) < 24
        context.close()
        server.stop()  # its link lets in one browser
        server.__init__(server.store, server.store.parent / "home")  # type: ignore[misc]


def test_without_script_each_answer_is_chosen_itself(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, java_script_enabled=False, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/glance/{FIRST}")
    page.get_by_role("radio", name="9", exact=True).first.check()
    page.get_by_role("button", name="keep all").click()
    assert answers(server, FIRST)["h02.score"] == (9, "")
    context.close()


def test_the_page_has_no_accessibility_fault_in_light_or_dark(
    chromium: Browser, server: ThreadServer
) -> None:
    context = come_in(chromium, server, bypass_csp=True, **LAPTOP)
    page = context.pages[0]
    found = []
    page.goto(f"{server.base}/glance/{FIRST}?stack=1")
    for look in dressed(page, ("light", 1280), ("dark", 390)):
        found += [(look, *fault) for fault in faults_of(page)]
    assert found == []
    names = [pair.get_attribute("aria-label") or pair.text_content() for pair in page.locator("legend").all()]
    assert all("Hole" in str(name) or "Head" in str(name) for name in names)
    context.close()
