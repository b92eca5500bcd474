"""After the photo, in a real browser at phone and laptop size: the round, then the questions; with axe."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

from tests.review.browser import PHONE, ThreadServer, chromium, come_in, dressed, faults_of, pytestmark
from tests.review.conftest import SAMPLES, THREE

__all__ = ["chromium", "pytestmark"]


def test_after_the_photo_the_round_stands_above_the_question_at_both_sizes(
    chromium: Browser, tmp_path: Path
) -> None:
    server = ThreadServer(tmp_path / "empty.sqlite", tmp_path / "home")
    context = come_in(chromium, server, bypass_csp=True, **PHONE)
    page = context.pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photo", SAMPLES / THREE)
    page.wait_for_selector("text=Read, 3 questions")
    for _, width in dressed(page, ("light", 390), ("dark", 1280)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        told, question = page.locator(".after").bounding_box(), page.locator("[data-answers]").bounding_box()
        assert told
        assert question
        assert told["y"] + told["height"] <= question["y"]
        assert "missed drives" in (page.text_content(".after") or "")
        assert "Your focus" in (page.text_content(".after") or "")
        assert faults_of(page) == []
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()
    server.stop()
