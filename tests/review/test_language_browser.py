"""Every page in German in a real browser: nothing is wider than the screen, no fault, language told."""

from __future__ import annotations

import os
import re

from playwright.sync_api import Browser

from tests.review.browser import LAPTOP, ThreadServer, chromium, come_in, dressed, faults_of, pytestmark
from tests.review.test_year_browser import pages_of, server

__all__ = ["chromium", "pytestmark", "server"]

#: Rules of axe that a language may break; the others are held in English, by the other files.
OF_LANGUAGE = (
    "html-has-lang",
    "html-lang-valid",
    "valid-lang",
    "label",
    "link-name",
    "button-name",
    "document-title",
)

#: Pictures of each page go to this folder, for a person to look at.
PICTURES = os.environ.get("SHORTPENCIL_PICTURES")


def test_no_page_is_wider_than_the_screen_in_german(
    chromium: Browser, server: ThreadServer, serial: str
) -> None:
    """German words are longer, and do not break by themselves."""
    context = come_in(chromium, server, **LAPTOP, bypass_csp=True, locale="de-DE")
    page = context.pages[0]
    found = []
    for path in [*pages_of(serial), f"/ask/{serial}/h05.drive", "/capture", "/who"]:
        page.goto(f"{server.base}{path}")
        assert page.locator("html").get_attribute("lang") == "de", path
        for scheme, width in dressed(page, ("light", 390), ("light", 1280)):
            wide = page.evaluate(
                "document.documentElement.scrollWidth > document.documentElement.clientWidth"
            )
            if wide:
                found.append((path, width, "scrolls sideways"))
            if PICTURES:
                name = re.sub(r"\W+", "_", path).strip("_") or "start"
                page.screenshot(path=f"{PICTURES}/{name}_{width}_{scheme}.png", full_page=True)
        found += [(path, "axe", *fault) for fault in faults_of(page, *OF_LANGUAGE)]
    assert found == []
    assert context.complaints == []  # type: ignore[attr-defined]
    context.close()
