"""The page and its store as `tests.review` has them, and a program that speaks the language of brackets."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from shortpencil.scan.language.asked_for import OWN
from tests.language.brackets import CODE, brackets
from tests.review.conftest import catalog, page, place, readers, serial, store, template

__all__ = ["catalog", "page", "place", "readers", "serial", "store", "template"]


@pytest.fixture
def made_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    monkeypatch.setenv(OWN, CODE)
    with brackets(monkeypatch):
        yield
