"""Which language is spoken, and its sentences, by the rules of gettext (Python's own, GNU's .mo files).

The language is a context variable: two requests of the page that are answered at once each have their own,
and a process that nobody told anything speaks English. No catalogue is opened before another language is
spoken.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gettext import NullTranslations

ENGLISH = "en"
#: Language (ISO 639-1) -> what it calls itself.
LANGUAGES = {ENGLISH: "English", "de": "Deutsch"}
#: One file of sentences a room, so that two people can translate two; a sentence of several stands in each.
ROOMS = ("shared", "review", "cli", "practice")
FOLDER = Path(__file__).parent

_SPOKEN: ContextVar[str] = ContextVar("language", default=ENGLISH)


def spoken() -> str:
    """Return the language that is spoken now, by its code."""
    return _SPOKEN.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Speak a language until the block ends; of one that is not known, English."""
    before = _SPOKEN.set(language if language in LANGUAGES else ENGLISH)
    try:
        yield
    finally:
        _SPOKEN.reset(before)


@cache
def book(language: str) -> NullTranslations:
    """Return the sentences of a language, of all rooms together."""
    from gettext import GNUTranslations, NullTranslations

    first: NullTranslations | None = None
    for room in ROOMS:
        with (FOLDER / language / f"{room}.mo").open("rb") as file:
            sentences = GNUTranslations(file)
        if first is None:
            first = sentences
        else:
            first.add_fallback(sentences)
    return first or NullTranslations()


def _(message: str, /, **values: object) -> str:
    """Return a sentence in the language that is spoken, with its values in the place of their names.

    ``_("{count} cells wait on card {serial}.", count=3, serial="7Q")``. The sentence stands there whole:
    what is put together from pieces cannot be translated.
    """
    if _SPOKEN.get() != ENGLISH:
        message = book(_SPOKEN.get()).gettext(message)
    return message.format(**values) if values else message


def ngettext(one: str, many: str, n: int, /, **values: object) -> str:
    """Return a sentence in the form that goes with `n` things; ``{n}`` in it is that number."""
    return plural_form(one, many, n).format(n=n, **values)


def plural_form(one: str, many: str, n: int, /) -> str:
    """Return the form that goes with `n` things, its values not yet in it."""
    if _SPOKEN.get() != ENGLISH:
        return book(_SPOKEN.get()).ngettext(one, many, n)
    return one if n == 1 else many


def pgettext(context: str, message: str, /, **values: object) -> str:
    """Return a word that another language says differently from place to place; `context` names the place."""
    if _SPOKEN.get() != ENGLISH:
        message = book(_SPOKEN.get()).pgettext(context, message)
    return message.format(**values) if values else message


def both(one: str, many: str, /) -> tuple[str, str]:
    """Return two forms as they are: for tables whose sentences `ngettext` translates when shown."""
    return one, many


def N_(message: str, /) -> str:
    """Return a sentence as it is: for tables whose sentences `_` translates when shown."""
    return message
