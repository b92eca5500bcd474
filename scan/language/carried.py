"""Sentences that are carried in English, in errors, findings and what is stored, and told in any.

A record, an export and an error that a program catches must not depend on who looks at them, so that their
sentences stay English. When one is shown, it is found again among the sentences of the code, its values are
taken out, and the same sentence of the other language takes them in. A sentence that is not found is shown
as it is.
"""

from __future__ import annotations

import re
from functools import cache

from shortpencil.scan.language.spoken import ENGLISH, book, spoken

_NAME = re.compile(r"\{(\w+)\}")
#: Values of these names are sentences themselves.
SENTENCES = ("error", "says", "said", "reason", "why", "what")
_LEAST_LETTERS = 4  # a pattern of fewer, as "{path}: {error}", would fit everything


def carried(sentence: str) -> str:
    """Return a sentence as it is, and mark it for the catalogue, with the names of an f-string's values."""
    return sentence


def told(sentence: str) -> str:
    """Return an English sentence of this program in the language that is spoken."""
    language = spoken()
    if language == ENGLISH or not sentence:
        return sentence
    return _told(sentence, language)


def _told(sentence: str, language: str) -> str:
    found = _found(sentence, language)
    if found is not None:
        return found
    if "\n" in sentence:
        return "\n".join(_told(line, language) for line in sentence.split("\n"))
    # Who passes an error on says where it arose first: a file, a store, a place in a form.
    at = -1
    while (at := sentence.find(": ", at + 1)) >= 0:
        found = _found(sentence[at + 2 :], language)
        if found is not None:
            return sentence[: at + 2] + found
    return sentence


def _found(sentence: str, language: str) -> str | None:
    whole = _sentences(language).get(sentence)
    if whole is not None:
        return whole
    for longest, pattern, translated in _patterns(language):
        if longest in sentence and (match := pattern.fullmatch(sentence)):
            values = match.groupdict()
            return translated.format_map(
                {
                    name: _told(value, language) if name.rstrip("0123456789") in SENTENCES else value
                    for name, value in values.items()
                }
            )
    return None


@cache
def _sentences(language: str) -> dict[str, str]:
    """Return all sentences of a language by the English ones, plural forms and words in context left out."""
    found: dict[str, str] = {}
    one: object = book(language)
    while one is not None:
        # The only way to ask Python's catalogue for all it has.
        for english, other in vars(one).get("_catalog", {}).items():
            if isinstance(english, str) and english and "\x04" not in english:
                found.setdefault(english, other)
        one = vars(one).get("_fallback")
    return found


@cache
def _patterns(language: str) -> list[tuple[str, re.Pattern[str], str]]:
    """Return what to look for, how it matches, and the translation; the most words first."""
    found = []
    for english, other in _sentences(language).items():
        parts = _NAME.split(english)
        words = parts[::2]
        letters = sum(sign.isalpha() for part in words for sign in part)
        if len(parts) == 1 or letters < _LEAST_LETTERS:
            continue
        pattern, seen = "", set()
        for number, part in enumerate(parts):
            if number % 2 == 0:
                pattern += re.escape(part)
            elif part in seen:
                pattern += f"(?P={part})"
            else:
                seen.add(part)
                pattern += f"(?P<{part}>.*?)"
        found.append((letters, max(words, key=len), re.compile(pattern, re.DOTALL), other))
    found.sort(key=lambda one: -one[0])
    return [(longest, pattern, other) for _letters, longest, pattern, other in found]
