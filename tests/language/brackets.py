"""A made-up language: each sentence in brackets, which close before a value and open again behind it.

What stands outside is no sentence of the catalogue: a value that is no word of the program's, or a leak.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from gettext import NullTranslations
from html.parser import HTMLParser
from importlib import import_module

import pytest

from shortpencil.scan.practice.causes import CAUSE_WORDS, first_words
from tests.language.catalogue import collected

CODE = "x"
#: The package shows functions of these names instead.
spoken_module = import_module("shortpencil.scan.language.spoken")
carried_module = import_module("shortpencil.scan.language.carried")


def _in_brackets(sentence: str) -> str:
    return "⟦" + _VALUE.sub(lambda value: f"⟧{value.group()}⟦", sentence) + "⟧"


#: A value of a sentence; a distance in a drill, as {2.5 m}, is part of its sentence.
_VALUE = re.compile(r"\{[^{}0-9][^{}]*\}")


class Bracketed(NullTranslations):
    """A catalogue that has every sentence of the code, in brackets."""

    def __init__(self) -> None:
        super().__init__()
        self._catalog = {
            one.key: _in_brackets(one.key)
            for room in collected().values()
            for one in room
            if isinstance(one.key, str) and one.context is None
        }

    def gettext(self, message: str) -> str:
        return _in_brackets(message) if message in self._catalog else message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return _in_brackets(msgid1 if n == 1 else msgid2)

    def pgettext(self, context: str, message: str) -> str:
        # A mark of numbers is no word.
        return _in_brackets(message) if any(map(str.isalpha, message)) else message


@contextmanager
def brackets(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let the made-up language be one of ours, until the block ends."""
    made, usual = Bracketed(), spoken_module.book

    def book(language: str) -> NullTranslations:
        return made if language == CODE else usual(language)

    with monkeypatch.context() as patch:
        patch.setitem(spoken_module.LANGUAGES, CODE, "⟦⟧")
        patch.setattr(spoken_module, "book", book)
        patch.setattr(carried_module, "book", book)
        yield


#: A chart has room for the first words of a cause, so that its closing bracket is missing there.
_CUT = re.compile(
    rf"⟦({'|'.join(re.escape(first_words(words)) for words in CAUSE_WORDS.values())})(?=[^⟧]*(?:⟦|$))"
)


def outside(text: str) -> str:
    """Return what of a text stands outside of all brackets; a cause cut short for a chart is whole."""
    text = _CUT.sub(lambda cut: f"{cut.group()}⟧", " ".join(text.split()))
    depth, kept, opened = 0, [], 0
    for at, sign in enumerate(text):
        if sign == "⟦":
            opened = opened if depth else at
            depth += 1
        elif sign == "⟧":
            depth -= 1
            kept.append(" ")
        elif depth == 0:
            kept.append(sign)
    assert depth == 0, f"brackets that do not close: {text[opened : opened + 200]!r}"
    return "".join(kept)


class _Visible(HTMLParser):
    """What a page shows or says aloud: its texts, and the names of its parts."""

    SILENT = ("script", "style", "code", "kbd", "title")
    NAMES = ("aria-label", "title", "alt", "placeholder", "data-name", "data-on", "data-off", "data-busy")

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.names: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent += tag in ("script", "style", "code", "kbd")
        self.names += [value for name, value in attrs if name in self.NAMES and value]

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("script", "style", "code", "kbd")

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.texts.append(data)


def leaks(html: str, data: set[str]) -> list[str]:
    """Return the words of a page that stand outside of brackets and are no data."""
    page = _Visible()
    page.feed(html.replace('<span aria-hidden="true">⟦</span>', ""))  # the first letter of a weekday
    found = []
    for text in (" ".join(page.texts), *page.names):
        words = re.findall(r"[^\W\d_]{2,}", outside(text))
        found += [word for word in words if word.casefold() not in data]
    return sorted(set(found))
