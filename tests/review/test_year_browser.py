"""Start, rounds, courses, print and the rest in a real browser: no fault, nothing hidden, by keyboard."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from shortpencil.scan.cli.main import main
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of
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
from tests.year.season import typed_rounds

__all__ = ["chromium", "pytestmark"]

LOOKS = (("dark", 390), ("dark", 1440), ("light", 1440), ("light", 768), ("light", 390))
#: Pictures of each page go to this folder, for a person to look at.
PICTURES = os.environ.get("SHORTPENCIL_PICTURES")


@pytest.fixture
def server(place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[ThreadServer]:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    with open_store(place) as store:
        store.add_rounds(round_from_json(filled_out(given)) for given in typed_rounds())
    roster = tmp_path / "roster.csv"
    roster.write_text("player\nWren\nAsh\n")
    main(["print", "-o", str(tmp_path / "x.pdf"), "--roster", str(roster), "--evening", "Thursday 3", "-q"])
    running = ThreadServer(place, tmp_path / "home")
    yield running
    running.stop()


def pages_of(serial: str) -> list[str]:
    course = "/course?name=Thistlewick%20Common&layout=long&holes=18"
    return [
        "/", "/rounds", "/rounds/YEAR0020", f"/rounds/{serial}", "/rounds/YEAR0020/change",
        "/rounds/YEAR0020/change/3", "/courses", course, "/calendar", "/notes?q=wind", "/players", "/print",
        "/print/course", "/print/practice", "/evenings", "/evening?name=Thursday%203", "/safe", "/phone",
        f"/card/{serial}", "/player?name=Wren", "/player/forget?name=Wren", "/sessions",
    ]  # fmt: skip


def test_no_page_has_a_fault_hides_anything_or_scrolls_sideways(
    chromium: Browser, server: ThreadServer, serial: str
) -> None:
    context = come_in(chromium, server, bypass_csp=True, **LAPTOP)
    page = context.pages[0]
    found: list[object] = []
    for path in pages_of(serial):
        page.goto(server.base + path)
        if path == "/":
            page.wait_for_selector(".next .big, .next .lead:not(:has(a))")
        for scheme, width in dressed(page, *LOOKS):
            if page.evaluate("document.documentElement.scrollWidth") > width:
                found.append((path, width, "scrolls sideways"))
            if PICTURES:
                name = re.sub(r"\W+", "_", path).strip("_") or "start"
                page.screenshot(path=f"{PICTURES}/{name}_{width}_{scheme}.png", full_page=True)
            if (scheme, width) == ("light", 390):
                found += [(path, width, scheme, *fault) for fault in faults_of(page)]
            if (scheme, width) == ("dark", 1440):
                found += [(path, width, scheme, *fault) for fault in faults_of(page, "color-contrast")]
    assert found == []
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()


def test_a_name_of_sixty_letters_pushes_no_page_wide(
    chromium: Browser, server: ThreadServer, place: Path
) -> None:
    name = "o" * 60
    with open_store(place) as store:
        made = rounds_of(Player(name=name), 2, np.random.default_rng(1), start=date(2031, 1, 1))
        store.add_rounds(replace(one, course="o" * 200) for one in made)
    context = come_in(chromium, server, **PHONE)
    page, found = context.pages[0], []
    of_player = (f"/player?name={name}", f"/?player={name}")
    for path in ("/", "/rounds", "/players", "/courses", "/sessions", "/print/practice", *of_player):
        page.goto(server.base + path)
        wide = page.evaluate("document.documentElement.scrollWidth")
        cut = page.evaluate(
            "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
        )
        if wide > 390 or cut:
            found.append((path, wide, cut))
    assert found == []
    page.goto(server.base + "/courses")
    narrow = page.evaluate(
        "Math.min(...[...document.querySelectorAll('.lines li > :last-child')].map(e => e.clientWidth))"
    )
    assert narrow > 50  # "average" in one piece
    context.close()


def test_names_that_read_from_the_right_stay_in_their_places(
    chromium: Browser, server: ThreadServer, place: Path, tmp_path: Path
) -> None:
    """Unicode Standard Annex 9: a number behind an Arabic name goes to its left, unless they are isolated."""
    name, course = "\u062f\u0627\u0646\u064a\u0627\u0644", "\u0645\u0636\u0645\u0627\u0631"
    with open_store(place) as store:
        made = rounds_of(Player(name=name), 2, np.random.default_rng(1), start=date(2031, 1, 1))
        store.add_rounds(replace(one, course=course, layout=course) for one in made)
    html = tmp_path / "report.html"
    assert main(["focus", "--store", str(place), "--player", name, "--report", str(html), "-q"]) == 0
    context = come_in(chromium, server, **LAPTOP)
    page, lefts = context.pages[0], {}
    pages = {
        "/": ".lead",
        "/rounds/r00001": ".lead",
        f"/focus?player={name}": "p.where",
        "/rounds": "tbody tr",
    }
    for url, where in {
        **{server.base + path: at for path, at in pages.items()},
        html.as_uri(): ".whose",
    }.items():
        page.goto(url)
        lefts[url] = page.evaluate(
            "where => [...document.querySelector(where).querySelectorAll('bdi, [dir=auto]')]"
            ".map(one => one.getBoundingClientRect().left)",
            where,
        )
    context.close()
    assert [url for url, found in lefts.items() if len(found) < 2 or found != sorted(found)] == []


def test_a_phone_shows_all_of_a_season_of_one_month(chromium: Browser, place: Path, tmp_path: Path) -> None:
    with open_store(place) as store:
        store.add_rounds(rounds_of(Player(name="Wren"), 3, np.random.default_rng(1), start=date(2031, 1, 1)))
    html = tmp_path / "season.html"
    assert main(["season", "--store", str(place), "--player", "Wren", "--report", str(html), "-q"]) == 0
    context = chromium.new_context(**PHONE)
    page = context.new_page()
    page.goto(html.as_uri())
    rights = page.evaluate(
        "[...document.querySelectorAll('.season rect[rx]')].map(e => e.getBoundingClientRect().right)"
    )
    context.close()
    assert len(rights) >= 3  # a dot a phase
    assert max(rights) < 390


def focused(page: Page) -> str:
    return str(
        page.evaluate(
            "(el => el.getAttribute('aria-label') || el.labels?.[0]?.textContent || el.textContent)"
            "(document.activeElement).trim()"
        )
    )


def tab_to(page: Page, name: str, most: int = 60) -> int:
    """Press Tab until something of that name has the focus; return how often."""
    for count in range(1, most + 1):
        page.keyboard.press("Tab")
        if re.search(name, focused(page)):
            return count
    raise AssertionError(f"{name} is not reached by {most} tabs; at {focused(page)}")


def test_a_whole_card_is_gone_through_in_a_few_keys(
    chromium: Browser, server: ThreadServer, serial: str
) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/card/{serial}")
    stops = page.evaluate(
        "[...document.querySelectorAll('a, button, input, select, textarea, [tabindex]')]"
        ".filter(el => el.tabIndex >= 0 && el.getClientRects().length && el.type !== 'hidden').length"
    )
    assert stops < 100  # 604 before rows became groups
    tab_to(page, r"^Hole 5, drive: ")  # what waits comes first
    page.keyboard.press("Control+Home")
    assert re.match("Hole 1, ", focused(page))
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert re.match("Hole 3, ", focused(page))
    page.keyboard.press("End")
    last = focused(page)
    page.keyboard.press("ArrowRight")
    assert focused(page) == last
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    wanted = focused(page).split(":")[0]
    page.keyboard.press("Enter")
    page.wait_for_selector(".editor")
    assert wanted.split(", ")[1] in (page.text_content(".editor h2") or "").lower()
    context.close()


def test_a_typed_hole_is_changed_by_keyboard_alone(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/rounds/YEAR0020")
    tab_to(page, r"^score of hole 1: ")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Hole 1')")
    page.get_by_label("Score").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("8")
    page.keyboard.press("Enter")
    page.wait_for_url("**/rounds/YEAR0020#hole-1")
    assert "8" in (page.text_content("#hole-1 .got") or "")
    context.close()
    with open_store(server.store) as store:
        round_ = store.round("YEAR0020")
    assert round_ is not None
    assert (round_.holes[0].score.value, round_.holes[0].score.by) == (8, "Wren")


def test_a_card_is_printed_by_keyboard_alone(chromium: Browser, server: ThreadServer, tmp_path: Path) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(server.base)
    tab_to(page, "^Print$")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:text('Print cards')")
    tab_to(page, "^Make the PDF$")
    with page.expect_download() as waiting:
        page.keyboard.press("Enter")
    assert waiting.value.path().read_bytes().startswith(b"%PDF-")
    # The page can be used again at once: a second PDF comes by the same button.
    with page.expect_download() as again:
        page.get_by_role("button", name="Make the PDF").click()
    assert again.value.path().stat().st_size > 1000
    context.close()


def test_the_start_works_without_script_too(chromium: Browser, server: ThreadServer) -> None:
    context = come_in(chromium, server, java_script_enabled=False, **LAPTOP)
    page = context.pages[0]
    expect(page.get_by_role("link", name="What to practise")).to_be_visible()
    page.get_by_role("link", name="Throw by throw").click()
    expect(page.get_by_role("heading", name="Throw by throw")).to_be_visible()
    context.close()
