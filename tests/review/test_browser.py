"""The page in a real browser: by keyboard, by thumb, without script, by two people, after a kill.

Where it is begun or killed, the server is a program of its own, as a person starts it. Few tests, each a
whole way, since a browser costs.
"""

from __future__ import annotations

import json
import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from shortpencil.scan.records.store import open_store
from tests.review.browser import (
    LAPTOP,
    PHONE,
    Server,
    ThreadServer,
    chromium,
    come_in,
    dressed,
    faults_of,
    press,
    pytestmark,
)
from tests.review.conftest import SAMPLES, THREE

__all__ = ["chromium", "pytestmark"]


@pytest.fixture
def server(place: Path, tmp_path: Path) -> Iterator[ThreadServer]:
    running = ThreadServer(place, tmp_path / "home")
    yield running
    running.stop()


def is_whole(store: Path, serial: str) -> bool:
    with open_store(store) as opened:
        return opened.card(serial).waiting == ()


def test_by_keyboard_alone_from_the_photo_to_the_export(
    chromium: Browser, template: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.sqlite"
    server = Server(empty, tmp_path / "home")
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photos", SAMPLES / THREE)  # the system's own file dialog has keys of its own
    page.wait_for_selector("text=Read, 3 questions")
    press(page, "m")  # both bubbles are filled: the person sees that "miss" is the one that counts
    assert page.text_content("h1") == "Hole 10, Distance of the first putt"
    page.keyboard.press("1")
    page.keyboard.type("7")
    press(page, "Enter")
    assert page.text_content("h1") == "Hole 12, Why it missed"
    press(page, "u")  # takes the distance back, and is there again
    assert page.text_content("h1") == "Hole 10, Distance of the first putt"
    assert page.text_content("body").count("took back") == 1
    page.keyboard.press("1")
    page.keyboard.type("3")
    press(page, "Enter")
    assert page.text_content("h1") == "Hole 12, Why it missed"
    press(page, "5")
    page.wait_for_selector("text=Nothing to ask")
    assert context.complaints == []
    context.close()
    server.stop()
    with open_store(empty) as store:
        round_ = store.rounds()[0]
        assert round_.waiting == ()
        entered = [(a.field, a.value, a.by) for a in store.answers(round_.id) if not a.takes_back]
    assert entered == [
        ("h05.drive", "miss", "Wren"),
        ("h10.putt1.distance", 17, "Wren"),
        ("h10.putt1.distance", 13, "Wren"),
        ("h12.why", 5, "Wren"),
    ]
    from shortpencil.scan.cli.main import main

    assert main(["export", str(tmp_path / "out"), "--store", str(empty)]) == 0
    exported = json.loads((tmp_path / "out" / "rounds.json").read_text("utf-8"))
    drive = exported["rounds"][0]["holes"][4]["throws"][0]["execution"]
    assert (drive["value"], drive["source"], drive["by"]) == ("miss", "entered", "Wren")


_ASKED_IS_SEEN = """() => {
    const at = (selector) => document.querySelector(selector).getBoundingClientRect();
    const [strip, asked] = [at('.strip'), at('.strip .asked')];
    return asked.left >= strip.left && asked.right <= strip.right;
}"""


def test_by_thumb_alone_on_a_phone(chromium: Browser, server: ThreadServer, serial: str) -> None:
    context = come_in(chromium, server, **PHONE)
    page = context.pages[0]
    page.get_by_role("link", name="Photos").first.tap()
    page.set_input_files("#photo", SAMPLES / "hand_shadow_on_bonnet.jpg")
    page.wait_for_selector(".result h1")
    page.goto(f"{server.base}/ask?card={serial}")
    small = page.evaluate(
        """() => [...document.querySelectorAll('main button, main input:not([type=hidden]), main .steps a')]
        .filter(el => el.offsetParent).map(el => el.getBoundingClientRect())
        .filter(box => box.width < 24 || box.height < 24).length"""
    )
    assert small == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator("[data-answers] button", has_text="clean").tap()
    page.wait_for_selector("h1:text('Distance of the first putt')")
    page.get_by_label("Another number").tap()
    page.get_by_label("Another number").fill("13")
    page.get_by_role("button", name="Keep").tap()
    page.wait_for_selector("h1:text('Why it missed')")
    page.wait_for_function(_ASKED_IS_SEEN)  # the row is wider than the phone; this box stands at its right
    page.locator("[data-answers] button", has_text="5, ").first.tap()
    page.wait_for_selector("text=Nothing to ask")
    assert context.complaints == []
    context.close()
    assert is_whole(server.store, serial)


def test_without_script(chromium: Browser, server: ThreadServer, serial: str) -> None:
    context = come_in(chromium, server, java_script_enabled=False, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photos", SAMPLES / THREE)
    page.get_by_role("button", name="Send them").click()
    page.wait_for_selector("text=Read, 3 questions")
    page.get_by_role("button", name="miss", exact=True).click()
    page.get_by_label("Another number").fill("17")
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("button", name="Take it back").click()
    page.get_by_label("Another number").fill("13")
    page.get_by_role("button", name="Keep").click()
    page.goto(f"{server.base}/ask/{serial}/h12.why")
    page.get_by_role("button", name=re.compile("^5, ")).click()
    page.wait_for_selector(".kept")
    page.goto(f"{server.base}/card/{serial}?at=h07.way")
    page.get_by_role("checkbox", name="left").check()
    page.get_by_role("button", name="Keep these").click()
    page.wait_for_selector("text=entered by Wren")
    context.close()
    with open_store(server.store) as store:
        assert store.card(serial).waiting == ()
        assert "left" in (store.card(serial).fields["h07.way"].value or ())


def test_two_reviewers_at_once(chromium: Browser, server: ThreadServer, serial: str) -> None:
    context = come_in(chromium, server, **LAPTOP)
    first, second = context.pages[0], context.new_page()
    for page in (first, second):
        page.goto(f"{server.base}/ask/{serial}/h05.drive")
    first.keyboard.press("c")
    first.wait_for_selector(".kept")
    second.keyboard.press("m")
    second.wait_for_selector("text=Somebody answered while you looked")
    assert "clean" in second.text_content(".notice")
    with open_store(server.store) as store:
        assert [answer.value for answer in store.answers(serial)] == ["clean"]
    second.keyboard.press("m")
    second.wait_for_selector(".kept")
    with open_store(server.store) as store:
        assert [answer.value for answer in store.answers(serial)] == ["clean", "miss"]
    context.close()


def test_the_server_killed_in_the_middle_of_an_entry(
    chromium: Browser, place: Path, serial: str, tmp_path: Path
) -> None:
    server = Server(place, tmp_path / "home")
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/ask/{serial}/h05.drive")
    press(page, "c")
    page.keyboard.press("1")  # half typed
    os.kill(server.process.pid, signal.SIGKILL)
    server.stop()
    page.keyboard.press("Enter")
    again = Server(server.store, tmp_path / "home")
    with open_store(server.store) as store:
        assert [answer.value for answer in store.answers(serial)] == ["clean"]
        assert len(store.card(serial).waiting) == 2
    context.close()
    other = come_in(chromium, again, **LAPTOP)
    page = other.pages[0]
    page.goto(f"{again.base}/ask?card={serial}")
    assert page.text_content("h1") == "Hole 10, Distance of the first putt"
    other.close()
    again.stop()


def test_keys_act_only_where_they_should(chromium: Browser, server: ThreadServer, serial: str) -> None:
    context = come_in(chromium, server, **LAPTOP)
    page = context.pages[0]
    page.goto(f"{server.base}/card/{serial}?at=h01.words")
    page.get_by_label("What it says, if you like to type it").press_sequentially("mucby")
    page.goto(f"{server.base}/ask/{serial}/h05.drive")
    for keys in ("Control+c", "Alt+m", "Meta+b", "z", "Enter"):
        page.keyboard.press(keys)
    page.get_by_role("button", name="Keys are on").click()
    page.keyboard.press("c")
    page.reload()
    page.keyboard.press("m")
    page.wait_for_selector("text=Keys are off")
    with open_store(server.store) as store:
        assert store.answers(serial) == ()
    page.get_by_role("button", name="Keys are off").click()
    press(page, "c")
    with open_store(server.store) as store:
        assert len(store.answers(serial)) == 1
    context.close()


def test_no_page_has_an_accessibility_fault(chromium: Browser, server: ThreadServer, serial: str) -> None:
    context = come_in(chromium, server, bypass_csp=True, **LAPTOP)
    page = context.pages[0]
    paths = ["/", f"/ask/{serial}/h05.drive", f"/ask/{serial}/h10.putt1.distance", f"/ask/{serial}/h12.why"]
    paths += [f"/ask/{serial}/h07.way", f"/ask/{serial}/h01.words", f"/card/{serial}", "/ask?card=none"]
    paths += [f"/card/{serial}?at=h05.drive", "/capture", "/rounds", f"/rounds/{serial}", "/focus", "/phone"]
    paths += ["/nothing", "/enter?secret=x#"]
    found = []
    for path in paths:
        page.route("**/page.js", lambda route: route.abort()) if "enter" in path else None
        page.goto(server.base + path)
        for look in dressed(page, ("light", 1280), ("dark", 360)):
            found += [(path, look, *fault) for fault in faults_of(page)]
    assert found == []
    context.close()
