"""After the photo, in a real browser at phone and laptop size: the round, then the questions; with axe."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

from tests.review.conftest import SAMPLES, THREE
from tests.review.test_browser import PHONE, Server, chromium, come_in, pytestmark

__all__ = ["chromium", "pytestmark"]


def test_after_the_photo_the_round_stands_above_the_question_at_both_sizes(
    chromium: Browser, tmp_path: Path
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    server = Server(tmp_path / "empty.sqlite", tmp_path / "home")
    context = come_in(chromium, server, bypass_csp=True, **PHONE)
    page = context.pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photo", SAMPLES / THREE)
    page.wait_for_selector("text=Read, 3 questions")
    for width, scheme in ((390, "light"), (1280, "dark")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        told, question = page.locator(".after").bounding_box(), page.locator("[data-answers]").bounding_box()
        assert told
        assert question
        assert told["y"] + told["height"] <= question["y"]
        assert "missed drives" in (page.text_content(".after") or "")
        assert "Your focus" in (page.text_content(".after") or "")
        faults = Axe().run(page).response["violations"]
        assert [(f["id"], [n["html"][:90] for n in f["nodes"]][:2]) for f in faults] == []
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()
    server.stop()
