"""The page in the language of the browser, and in the one that is chosen at its foot."""

from __future__ import annotations

from shortpencil.scan.language.spoken import book
from tests.review.conftest import Page

GERMAN = {"accept-language": "de-AT,de;q=0.9,en;q=0.5"}


def test_the_page_follows_the_browser_and_then_the_choice(page: Page) -> None:
    browser = page.browser()
    assert '<html lang="en">' in browser.get("/").text
    assert '<html lang="de">' in browser.get("/", headers=GERMAN).text
    chosen = browser.post("/language", data={"language": "de", "back": "/rounds?player=Wren"})
    assert str(chosen.url).endswith("/rounds?player=Wren")
    assert '<html lang="de">' in chosen.text
    assert '<html lang="de">' in browser.get("/").text
    assert '<html lang="en">' in page.browser("phone").get("/").text  # another browser keeps its own


def test_a_choice_leads_nowhere_else_and_only_to_a_language_there_is(page: Page) -> None:
    browser = page.browser()
    for elsewhere in ("//example.org/", "/\\example.org/", "https://example.org/", ""):
        sent = browser.post("/language", data={"language": "de", "back": elsewhere}, follow_redirects=False)
        assert (sent.status_code, sent.headers["location"]) == (303, "/")
    assert browser.post("/language", data={"language": "tlh"}).status_code == 422


def test_who_is_refused_at_the_door_is_told_in_the_language_of_the_browser(page: Page) -> None:
    stranger = page.stranger()
    english = "This browser has not come in by a link yet."
    refused = stranger.get("/", headers=GERMAN)
    assert refused.status_code == 401
    assert '<html lang="de">' in refused.text
    assert english not in refused.text
    assert english in stranger.get("/").text
    assert book("de").gettext("Not from here") in refused.text
