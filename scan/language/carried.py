"""Sentences that are carried in English, in errors, findings and what is stored, and told in any.

A record, an export and an error that a program catches must not depend on who looks at them, so that their
sentences stay English. When one is shown, it is found again among the sentences of the code, its values are
taken out, and the same sentence of the other language takes them in. A sentence that is not found is shown
as it is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from shortpencil.scan.language.spoken import ENGLISH, N_, book, spoken

_WORD = re.compile(r"[^\W\d_]+")
_NAME = re.compile(r"\{(\w+)\}")
#: A share, as sentences that are carried write it; not what an address says in its own code.
_PERCENT = re.compile(r"(?<=\d)%(?![0-9A-Fa-f]{2})")
_PLACE = re.compile(r": ")
_NEXT = re.compile(r"\. (?=\S)")
_LISTED = re.compile(r"(, | and | or )")
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
    N_("to"),
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
    N_("1 missed {phase} throw"),
    N_("{n} missed {phase} throws"),
    N_("missed {phase} throw"),
    N_("a drive"),
    N_("an approach"),
    N_("a putt"),
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
    N_("{name}, page {n}"),
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
    said = _told(sentence, language)
    return said if said == sentence else _PERCENT.sub("\N{NO-BREAK SPACE}%", said)


def _told(sentence: str, language: str) -> str:
    # Who passes an error on says where it arose first: a file, a store, a place in a form. A sentence without
    # values behind that is surer than one whose values would take it in.
    places = [at.start() for at in _PLACE.finditer(sentence)]
    found = _exactly(sentence, language)
    for at in places if found is None else ():
        if (rest := _exactly(sentence[at + 2 :], language)) is not None:
            return f"{_value(sentence[:at], language)}: {rest}"
    found = found or _found(sentence, language)
    if found is not None:
        return found
    if "\n" in sentence:
        return "\n".join(_told(line, language) for line in sentence.split("\n"))
    parts = sentence.split("; ")
    listed = [_value(part, language) for part in parts] if len(parts) > 1 else []
    if listed and all(new != old for new, old in zip(listed, parts, strict=True)):
        return "; ".join(listed)
    # Several sentences, each whole by itself: why a photo is refused, what to do, what was seen besides.
    for at in (found.start() for found in _NEXT.finditer(sentence)):
        first, then = _found(sentence[: at + 1], language), _found(sentence[at + 2 :], language)
        if first is not None and then is not None:
            return f"{first} {then}"
    for at in places:
        found = _found(sentence[at + 2 :], language)
        if found is not None:
            return f"{_value(sentence[:at], language)}: {found}"
    return "; ".join(listed) or sentence


def _exactly(sentence: str, language: str) -> str | None:
    """Return a sentence without values in the other language, or None.

    It is also found where a full stop was put behind it, and with that stop also where its first letter was
    made large: as a name that nobody ended like this never is.
    """
    known = _sentences(language)
    said = next((known[look] for look in _looks(sentence) if look in known), None)
    return None if said is None else _ended(said, sentence)


def _found(sentence: str, language: str) -> str | None:
    """Return the same, also of a sentence with values."""
    said = _exactly(sentence, language)
    if said is not None:
        return said
    said = _by_pattern(_looks(sentence), language)
    return None if said is None else _ended(said, sentence)


def _looks(sentence: str) -> list[str]:
    """Return how a sentence may stand in the code."""
    looks = [sentence]
    if sentence.endswith("."):
        looks.append(sentence[:-1])
        if sentence[0].isupper():
            looks += [look[0].lower() + look[1:] for look in looks]
    return looks


def _ended(said: str, sentence: str) -> str:
    """Return what is said with the first letter and the full stop that the English sentence has."""
    if not sentence.endswith("."):
        return said
    if sentence[0].isupper():
        said = said[0].upper() + said[1:]
    return said if said.endswith(".") else f"{said}."


def _by_pattern(looks: list[str], language: str) -> str | None:
    """Return what the pattern with the most words that fits says; values of one sentence before others."""
    for whole in (True, False):
        for one in _patterns(language):
            for look in looks:
                if one.longest in look and (match := one.pattern.fullmatch(look)):
                    given = match.groupdict()
                    if whole and any(_NEXT.search(given[name]) for name in one.inside):
                        continue  # it took the end of one sentence and the beginning of the next for a value
                    values = {name: _value(text, language) for name, text in given.items()}
                    return one.translated.format_map(values)
    return None


def _value(text: str, language: str) -> str:
    """Return a value as it is told: a phrase of this program in the other language, all else as it is."""
    core = text.strip()
    if " " not in core and core not in WORDS:
        return text
    whole = _told(core, language)
    if whole == core:
        known = _sentences(language)
        if set(_WORD.findall(core)) <= set(WORDS):  # "blank (60%) or clean (40%)"
            whole = _WORD.sub(lambda found: known.get(found[0], found[0]), core)
        else:
            whole = _list(core, language)
    return text.replace(core, whole)


def _list(text: str, language: str) -> str:
    """Return a list of this program's phrases told, as "top left and top right" or "a text or null"."""
    known, parts = _sentences(language), _LISTED.split(text)
    things = parts[::2]
    phrases = {thing for thing in things if " " in thing}
    if len(things) == 1 or not phrases or not phrases <= known.keys():
        return text  # it has somebody's name or words in it
    between = [_WORD.sub(lambda found: known[found[0]], part) for part in parts[1::2]]
    return "".join(map(str.__add__, (known.get(thing, thing) for thing in things), [*between, ""]))


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


@dataclass(frozen=True, slots=True)
class _Pattern:
    """How a sentence with values is found: its longest words, its pattern, its translation.

    `inside` are the values that stand within a sentence: no whole sentence before or behind a full stop.
    """

    letters: int
    longest: str
    pattern: re.Pattern[str]
    translated: str
    inside: tuple[str, ...]


@cache
def _patterns(language: str) -> list[_Pattern]:
    """Return what to look for, the most words first."""
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
        inside = tuple(
            name
            for before, name, behind in zip(words, parts[1::2], words[1:], strict=False)
            if not before.endswith((". ", ": ")) and not behind.startswith(". ")
        )
        longest = max(words, key=len)
        found.append(_Pattern(letters, longest, re.compile(pattern, re.DOTALL), other, inside))
    found.sort(key=lambda one: -one.letters)
    return found
