"""The page before anything was read."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.review.conftest import Page


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "empty.sqlite"


def test_without_any_card_the_questions_say_how_to_begin(page: Page) -> None:
    said = page.browser().get("/ask").text
    assert "No card was read yet" in said
    assert "Every card is whole" not in said
    assert 'href="/print"' in said


@pytest.mark.parametrize("path", ["/focus", "/who"])
def test_without_any_card_no_page_asks_for_minutes_or_praises_nothing(page: Page, path: str) -> None:
    said = page.browser().get(path).text
    assert 'name="minutes"' not in said
    assert "Every round has its name" not in said
    assert 'class="button" href="/capture"' in said
    assert 'href="/print">Print a card' in said
