"""In a made-up language of brackets, nothing on a page stands outside of them but data."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

import pytest

from shortpencil.forms.catalog import builtin_layout, builtin_names
from shortpencil.scan.cli.chores import DeskChores
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store
from shortpencil.scan.records.storing.told import ToldSession
from tests.language.brackets import CODE, brackets, leaks, outside
from tests.review.conftest import NOON, THREE, Page
from tests.review.test_year_browser import pages_of
from tests.year.season import typed_rounds

ROOT = Path(__file__).parents[2]


def words_of_data(store: Store) -> set[str]:
    """What people wrote and what is printed on a card, word by word."""
    texts = ["PDF ZIP Wren phone", THREE]
    for name in builtin_names():
        layout = builtin_layout(name, "a4", "m", "right")
        form = layout.form
        texts += [form.title, *(cause.label for cause in form.causes), *form.row_labels]
        for asked in form.fields:
            texts += [asked.label, *(option.label for option in asked.options)]
    return written_by_people(store) | _words(texts)


def written_by_people(store: Store) -> set[str]:
    """What people wrote, word by word, and the names of this program and its languages."""
    texts = ["shortpencil English Deutsch min"]
    for head in store.heads():
        texts += [str(head.player)]
    for round_ in store.rounds():
        texts += [str(part) for part in (round_.player, round_.course, round_.layout, *round_.notes.values())]
        texts += [throw.words or "" for hole in round_.holes for throw in hole.throws]
    return _words(texts)


def _words(texts: Iterable[str]) -> set[str]:
    return {word.casefold() for text in texts for word in re.findall(r"[^\W\d_]{2,}", text)}


#: Pages that show what is printed on a card, so that people can check against the paper.
WITH_LABELS = ("/card/", "/ask", "/glance/", "/who")


@pytest.fixture
def full(page: Page, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Page]:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    store.add_rounds(round_from_json(filled_out(given)) for given in typed_rounds())
    store.tell_session(ToldSession(date(2026, 5, 20), "putt", 45, "Ash"), NOON)
    page.desk.chores = DeskChores(store, tmp_path / "home" / "forms")
    with brackets(monkeypatch):
        yield page


def test_brackets_find_a_leak() -> None:
    assert outside("⟦a ⟦b⟧ c⟧ d").strip() == "d"
    assert leaks("<p>⟦Hole 7⟧, Wren</p>", {"wren"}) == []
    assert leaks('<p aria-label="Close it">⟦Hole <b>7</b> of⟧ nine</p>', set()) == ["Close", "it", "nine"]


def test_no_page_says_a_word_that_is_not_in_the_catalogue(full: Page, store: Store, serial: str) -> None:
    browser = full.browser()
    assert browser.post("/language", data={"language": CODE, "back": "/"}).status_code == 200
    data = words_of_data(store)
    titles = [builtin_layout(name, "a4", "m", "right").form.title for name in builtin_names()]
    people = written_by_people(store) | _words([THREE, *titles])
    glance = next(iter(store.glance_fields()), (serial, ()))[0]
    field = store.card(serial).waiting[0]
    more = ["/capture", "/ask", f"/ask/{serial}/{field}", f"/glance/{glance}", f"/who/{serial}", "/who",
            f"/card/{serial}?at={field}", f"/card/{serial}?at=h03.putt1.distance", "/calendar?year=2026",
            "/no/such/page", "/rounds/none-such", "/ask?card=none"]  # fmt: skip
    found = {}
    for path in [one for one in pages_of(serial) if one != "/evening?name=Thursday%203"] + more:
        html = browser.get(path).text
        assert f'<html lang="{CODE}">' in html, path
        if wrong := leaks(html, data if path.startswith(WITH_LABELS) else people):
            found[path] = wrong
    assert found == {}, "\n".join(f"{path}: {words}" for path, words in found.items())


def test_no_style_says_a_word() -> None:
    for path in sorted((ROOT / "scan" / "review" / "static").glob("*.css")):
        said = re.findall(r"content:([^;}]*)", path.read_text())
        assert [one for one in said if re.search(r"[\"'][^\"']*[A-Za-z]", one)] == [], path.name
