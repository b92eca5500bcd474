"""Sentences that are carried in English, in errors, findings and what is stored, and told in any.

A record, an export and an error that a program catches must not depend on who looks at them, so that their
sentences stay English. When one is shown, it is found again among the sentences of the code, its values are
taken out, and the same sentence of the other language takes them in. A sentence that is not found is shown
as it is.
"""

from __future__ import annotations

import re
from functools import cache

from shortpencil.scan.language.spoken import ENGLISH, N_, book, spoken

_WORD = re.compile(r"[^\W\d_]+")
_NAME = re.compile(r"\{(\w+)\}")
#: Words inside of sentences that are told. Any other may be a name, a code or a key.
WORDS = (
    N_("drive"),
    N_("approach"),
    N_("putt"),
    N_("drives"),
    N_("approaches"),
    N_("putts"),
    N_("clean"),
    N_("miss"),
    N_("blank"),
    N_("nothing"),
    N_("left"),
    N_("right"),
    N_("long"),
    N_("short"),
    N_("calm"),
    N_("breeze"),
    N_("strong"),
    N_("or"),
    N_("and"),
    N_("unclear"),
    N_("straddle"),
    N_("forehand"),
    N_("yes"),
    N_("mark"),
    N_("marks"),
)
#: Parts of sentences that are put together where they arise.
PHRASES = (
    N_("{n} throw"),
    N_("{n} throws"),
    N_("{n} penalty throw"),
    N_("{n} penalty throws"),
    N_("{n} throw marked"),
    N_("{n} throws marked"),
    N_("{n} throw marked and {penalty}"),
    N_("{n} throws marked and {penalty}"),
    N_("{n} throw is marked"),
    N_("{n} throws are marked"),
    N_("{n} throw is marked and {penalty}"),
    N_("{n} throws are marked and {penalty}"),
    N_("1 missed {phase}"),
    N_("{n} missed {phase}"),
    N_("hole {n}, throw {throw}"),
    N_("new"),
    N_("same photo"),
    N_("set aside before"),
    N_("same round, read together"),
    N_("same round, more marks"),
    N_("same round, better photo"),
    N_("same round, kept as it was"),
    N_("another round on the same sheet"),
    N_("rejected"),
    N_("not stored"),
    N_("unchanged"),
    N_("replaced"),
    N_("perhaps {day}"),
    N_("no date"),
    N_("{n} hole"),
    N_("{n} holes"),
    N_("score {score}"),
    N_("a card of its own form"),
    N_("{n} set of practice"),
    N_("{n} sets of practice"),
    N_("read {day}"),
    N_("unclear: {says}"),
)
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
    if "; " in sentence:
        return "; ".join(_value(part, language) for part in sentence.split("; "))
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
            values = {name: _value(text, language) for name, text in match.groupdict().items()}
            return translated.format_map(values)
    return None


def _value(text: str, language: str) -> str:
    """Return a value as it is told: a phrase of this program in the other language, all else as it is."""
    core = text.strip()
    if " " not in core and core not in WORDS:
        return text
    whole = _told(core, language)
    words = set(_WORD.findall(core))
    if whole == core and words <= set(WORDS):  # "blank (60%) or clean (40%)"
        known = _sentences(language)
        whole = _WORD.sub(lambda found: known.get(found[0], found[0]), core)
    return text.replace(core, whole)


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
