"""The pictures of the local page in docs/review.md: a question, a whole card, three steps on a phone.

Run: python -m tests.bench.draw_pages. Needs Chromium; the page is asked as the tests ask it, with a bundled
sample photo.
"""

from __future__ import annotations

import io
import json
import tempfile
from pathlib import Path
from typing import Literal

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from tests.review.browser import ARGS, CHROMIUM, PHONE, ROOT, KeptReaders, Server, come_in

FIGURES, PHOTO = ROOT / "docs" / "figures", ROOT / "sample_scans" / "three_to_review.jpg"
SERIAL = json.loads(PHOTO.with_suffix(".truth.json").read_text("utf-8"))["serial"]
_QUESTIONS: tuple[tuple[str, str, Literal["dark", "light"]], ...] = (
    ("h10.putt1.distance", "Which distance is written?", "dark"),
    ("h12.why", "Which number is written?", "light"),
)
_DESK, _GAP = (217, 214, 205), 24
_PHONE_PX = (390, 900)


def _taken(page: Page) -> Image.Image:
    return Image.open(io.BytesIO(page.screenshot())).convert("RGB")


def on_a_laptop(browser: Browser, server: Server) -> None:
    """Read the photo; draw its first question, and the whole card."""
    page = come_in(browser, server, viewport={"width": 1280, "height": 620}).pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photos", PHOTO)
    page.wait_for_selector("text=Read, 3 questions")
    page.goto(f"{server.base}/ask/{SERIAL}/h05.drive")
    page.wait_for_selector("text=Which bubble is filled?")
    _taken(page).save(FIGURES / "review_question.png", optimize=True)
    page.set_viewport_size({"width": 1280, "height": 1060})
    page.goto(f"{server.base}/card/{SERIAL}?at=h07.way")
    page.wait_for_load_state("networkidle")
    _taken(page).save(FIGURES / "review_card.jpg", quality=85)


def on_a_phone(browser: Browser, server: Server) -> None:
    """Read the photo; draw the result, a question in the dark, and the causes, side by side."""
    size = {"width": _PHONE_PX[0], "height": _PHONE_PX[1]}
    page = come_in(browser, server, **{**PHONE, "viewport": size}).pages[0]
    page.goto(f"{server.base}/capture")
    page.set_input_files("#photo", PHOTO)
    page.wait_for_selector("text=Read, 3 questions")
    steps = [_taken(page)]
    for field, question, colours in _QUESTIONS:
        page.emulate_media(color_scheme=colours)
        page.goto(f"{server.base}/ask/{SERIAL}/{field}")
        page.wait_for_selector(f"text={question}")
        steps.append(_taken(page))
    width, height = _PHONE_PX
    sheet = Image.new("RGB", (3 * width + 4 * _GAP, height + 2 * _GAP), _DESK)
    for k, step in enumerate(steps):
        sheet.paste(step, (_GAP + k * (width + _GAP), _GAP))
    sheet.save(FIGURES / "review_phone.png", optimize=True)


def main() -> None:
    """Draw all three."""
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        for k, drawn in enumerate((on_a_laptop, on_a_phone)):
            server = Server(Path(place, f"rounds{k}.sqlite"), Path(place, f"home{k}"))
            drawn(browser, server)
            server.stop()
        browser.close()
    KeptReaders.end()


if __name__ == "__main__":
    main()
