"""What a round or a card is called in a list: day, course, player, and which of the day it was. Pure.

A serial number names a sheet of paper to the program; a person knows a round by when, where and whose it was.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from shortpencil.scan import language
from shortpencil.scan.language import N_, _, both, ngettext
from shortpencil.scan.records.storing.summary import Summary, Undated

if TYPE_CHECKING:
    from shortpencil.scan.records.storing.heads import CardHead

_ORDINALS = (
    N_("first"),
    N_("second"),
    N_("third"),
    N_("fourth"),
    N_("fifth"),
    N_("sixth"),
    N_("seventh"),
    N_("eighth"),
    N_("ninth"),
    N_("tenth"),
)
NO_DAY, NO_COURSE, NO_NAME = N_("no date yet"), N_("no course"), N_("no name")
#: What is counted -> as one and as several.
_COUNTED = {
    "answer": both("{count} answer", "{count} answers"),
    "box": both("{count} box", "{count} boxes"),
    "box of handwriting": both("{count} box of handwriting", "{count} boxes of handwriting"),
    "digit": both("{count} digit", "{count} digits"),
    "field": both("{count} field", "{count} fields"),
    "form": both("{count} form", "{count} forms"),
    "other sheet": both("{count} other sheet", "{count} other sheets"),
    "photo": both("{count} photo", "{count} photos"),
    "printed card": both("{count} printed card", "{count} printed cards"),
    "session told by hand": both("{count} session told by hand", "{count} sessions told by hand"),
    "set of practice": both("{count} set of practice", "{count} sets of practice"),
    "sheet": both("{count} sheet", "{count} sheets"),
    "card": both("{count} card", "{count} cards"),
    "club evening": both("{count} club evening", "{count} club evenings"),
    "hole": both("{count} hole", "{count} holes"),
    "minute": both("{count} minute", "{count} minutes"),
    "more card": both("{count} more card", "{count} more cards"),
    "note": both("{count} note", "{count} notes"),
    "penalty throw": both("{count} penalty throw", "{count} penalty throws"),
    "player": both("{count} player", "{count} players"),
    "question": both("{count} question", "{count} questions"),
    "round": both("{count} round", "{count} rounds"),
    "session": both("{count} session", "{count} sessions"),
    "set": both("{count} set", "{count} sets"),
}


@dataclass(frozen=True, slots=True)
class Name:
    """A round or a card in words.

    Attributes
    ----------
    day : "2 Aug 2026", "perhaps 2 Aug 2026" where that is doubtful, "no date yet" where nothing is known
    nth : "second round of the day" where the player has several of that day, without a day when it was read,
        else ""
    course, player : as on the card, or what stands there where it is not
    known : which of day, course and player are known
    """

    day: str
    nth: str
    course: str
    player: str
    known: frozenset[str]

    @property
    def line(self) -> str:
        """All of it as one line."""
        return ", ".join(part for part in (self.day, self.nth, self.course, self.player) if part)


def day_said(day: date | None, *, long: bool = False) -> str:
    """Return a day in words: "2 Aug 2026", or long "Sunday 2 August 2026"."""
    if day is None:
        return _(NO_DAY)
    return language.day_said(day, long=long)


def aside_said(says: str) -> str:
    """Return what a round that was set aside is called: it is stored in English, part by part."""
    if language.spoken() == language.ENGLISH:
        return says
    return ", ".join(language.told(language.days_told(part)) for part in says.split(", "))


def ordinal(number: int) -> str:
    """Return "second" for 2; beyond the tenth "number 11"."""
    if 1 <= number <= len(_ORDINALS):
        return _(_ORDINALS[number - 1])
    return _("number {number}", number=number)


def count_said(number: int, noun: str, *, grouped: bool = True) -> str:
    """Return a count in words: "1 player", "2 players", with a mark between thousands if `grouped`."""
    one, many = _COUNTED[noun]
    return ngettext(one, many, number, count=language.number(number, grouped=grouped))


def names_of(lines: Sequence[Summary], undated: Mapping[str, Undated] | None = None) -> dict[str, Name]:
    """Return the name of each round by its id.

    Parameters
    ----------
    lines : all rounds, oldest first
    undated : what is said of the day of those without one: a doubtful day, and when the photo was read
    """
    a_day: Counter[tuple[str | None, date | None]] = Counter(
        (line.player, line.played_on) for line in lines if line.played_on
    )
    so_far: Counter[tuple[str | None, date | None]] = Counter()
    names = {}
    for line in lines:
        key = (line.player, line.played_on)
        so_far[key] += 1
        several = line.played_on is not None and a_day[key] > 1
        nth = _("{nth} round of the day", nth=ordinal(so_far[key])) if several else ""
        name = _name(line.played_on, nth, place_of(line.course, line.layout), line.player)
        known = (undated or {}).get(line.id)
        names[line.id] = name if known is None or line.played_on else _undated(name, known)
    return names


def _undated(name: Name, said: Undated) -> Name:
    """Return a name with what can be said in place of its day."""
    if said.perhaps is not None:
        return replace(name, day=_("perhaps {day}", day=day_said(said.perhaps)), nth="")
    return replace(name, nth=_("read {day}", day=day_said(said.read_on)) if said.read_on else "")


def place_of(course: str | None, layout: str | None) -> str:
    """Return course and layout as one name, "" where there is no course."""
    return ", ".join(part for part in (course, layout) if part) if course else ""


def card_names(
    heads: Iterable[CardHead],
    rounds: Mapping[str, Name],
    days: Mapping[str, date],
    perhaps: Mapping[str, date] | None = None,
) -> dict[str, Name]:
    """Return the name of each card by its serial: its round's, or what kind of card it is and whose.

    Parameters
    ----------
    rounds : names of the rounds by id
    days : the day written on cards that are no rounds
    perhaps : the day that cards may have that are no rounds, where it is doubtful
    """
    found = {}
    for head in heads:
        known = rounds.get(head.serial)
        if known is None:
            day = days.get(head.serial)
            kind = head.title or _("Practice card")
            read = _("read {day}", day=day_said(head.read_on)) if head.read_on and not day else ""
            known = _name(day, read, kind, head.player)
            maybe = None if day else (perhaps or {}).get(head.serial)
            if maybe is not None:
                known = _undated(known, Undated(maybe, None))
        found[head.serial] = known
    return found


def _name(day: date | None, nth: str, course: str, player: str | None) -> Name:
    parts = {"day": day is not None, "course": bool(course), "player": bool(player)}
    known = frozenset(key for key, is_known in parts.items() if is_known)
    return Name(day_said(day), nth, course or _(NO_COURSE), player or _(NO_NAME), known)
