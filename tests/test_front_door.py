"""The front door for programs: each function's own example, and what it refuses."""

from __future__ import annotations

import doctest
import sys
from pathlib import Path

import pytest

from shortpencil.scan import front_door, shortpencil


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, "shortpencil", shortpencil)  # as it is installed


FUNCTIONS = [name for name in shortpencil.__all__ if name[0].islower()]


def test_every_function_has_an_example_and_a_type() -> None:
    assert {name for name in vars(shortpencil) if name[0] != "_"} == set(shortpencil.__all__)
    for name in FUNCTIONS:
        function = getattr(shortpencil, name)
        assert "return" in function.__annotations__
        assert ">>> import shortpencil" in function.__doc__


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_example_says_what_comes_out(name: str) -> None:
    (example,) = doctest.DocTestFinder(recurse=False).find(getattr(front_door, name), name, globs={})
    failed, tried = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example)
    assert tried >= 2
    assert not failed


def test_what_is_wrong_is_said_in_words_for_people(tmp_path: Path) -> None:
    with pytest.raises(shortpencil.InputError, match="expected a4 or letter, found 'a5'"):
        shortpencil.print_card("x.pdf", paper="a5")
    with pytest.raises(shortpencil.InputError, match="no form of that name"):
        shortpencil.print_card("x.pdf", "round19")
    with pytest.raises(shortpencil.InputError, match="expected 1 or more"):
        shortpencil.print_card("x.pdf", copies=0)
    with pytest.raises(shortpencil.ShortpencilError):
        shortpencil.read(tmp_path / "none.jpg")
    (tmp_path / "text.sqlite").write_text("no store")
    with pytest.raises(shortpencil.RecordError):
        shortpencil.open_store(tmp_path / "text.sqlite")
    assert not (tmp_path / "x.pdf").exists()
