"""Numbers in words for the player: never without unit and count, with the range where there is one.

No significance, no verdict, no Greek: a range, a probability, and how many throws they rest on. All in the
language that is spoken.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from math import isnan

from shortpencil.forms import rules
from shortpencil.forms.shown import one_line
from shortpencil.scan.language import N_, _, day_said, listed, ngettext, noun, number
from shortpencil.scan.practice.model import Interval

MINUS = "\N{MINUS SIGN}"
_UNIT = re.compile(r"(\d) (?=%|m\b|ft\b|min\b)")

#: The fixed definition that every card prints; execution is the player's own judgement and can drift.
EXECUTED = N_("Executed: it left my hand with the direction, height, tilt and speed I meant.")

#: Cautions for every practice output, in English; `cautions` says them.
CAUTIONS = (
    N_(
        "Check that the whole landing area, both sides and beyond, is clear of people, animals, cars and "
        "windows before every throw."
    ),
    N_("Warm up 5 minutes and start at half power. Stop if anything hurts; pain is not part of practice."),
    N_(
        "Not under trees or in the open when you hear thunder: go inside, wait 30 minutes after the last one."
    ),
    N_("Children practise with an adult, lighter discs and fewer throws."),
    N_("The posted rules of the park or course and local law come before this plan."),
    N_("This is not medical advice; see a licensed health professional about pain or injury."),
)


#: The same in a line, for what is no whole session.
SHORT_CAUTIONS = N_(
    "Landing area clear of people first. Warm up. Stop if anything hurts and at thunder. The park's posted "
    "rules come first. Not medical advice."
)

#: A name longer than this would push what stands beside it off a sheet.
_LONGEST_NAME = 40


def whose(player: str | None) -> str:
    """Return a player's name as a heading has room for it, nothing in it obeyed; "" where there is none."""
    name = one_line(player or "")
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1].rstrip()}…"


class Spoken(Mapping[str, str]):
    """Words by key, each in the language that is spoken when it is looked up.

    `other` says a key that is not among them; without it there are no others.
    """

    def __init__(self, english: Mapping[str, str], other: Callable[[str], str] | None = None) -> None:
        self.english, self._other = dict(english), other

    def __getitem__(self, key: str) -> str:
        if key in self.english or self._other is None:
            return _(self.english[key])
        return self._other(key)

    def __iter__(self) -> Iterator[str]:
        return iter(self.english)

    def __len__(self) -> int:
        return len(self.english)


#: What phases are called in sentences, one throw and several, and in a column of a table. In German they
#: stand in the nominative or the accusative, so that one word serves every sentence.
ONE = Spoken(rules.ONE, rules.one_said)
MANY = Spoken(rules.MANY, rules.many_said)
PHASE = Spoken(rules.ONE, rules.phase_said)
EACH_MISSED = Spoken(
    {
        "drive": N_("each missed drive"),
        "approach": N_("each missed approach"),
        "putt": N_("each missed putt"),
    },
    lambda phase: _("each missed {phase} throw", phase=noun(phase)),
)
IN_TABLES = Spoken(rules.IN_TABLES, rules.in_tables_said)


def cautions() -> list[str]:
    """Return the cautions for every practice output."""
    return [_(caution) for caution in CAUTIONS]


def percent(share: float) -> str:
    """Return a share in whole percent; the ends are never claimed."""
    if isnan(share):
        return _("unknown")
    return _("{number} %", number=f"{share * 100:.0f}")


def probability(p: float) -> str:
    """Return a probability in whole percent, short of 0 and 100."""
    if isnan(p):
        return _("unknown")
    return _("over 99 %") if p > 0.99 else _("under 1 %") if p < 0.01 else percent(p)


def percent_range(interval: Interval) -> str:
    """Return the ends of a range of shares, as in ``24 to 37 %``."""
    return _("{low} to {high} %", low=f"{interval.low * 100:.0f}", high=f"{interval.high * 100:.0f}")


def strokes(value: float, signed: bool = False) -> str:
    """Return strokes with one decimal, with a true minus sign."""
    text = number(abs(value), 1)
    if signed and f"{abs(value):.1f}" != "0.0":
        return f"{'+' if value > 0 else MINUS}{text}"
    return text


def strokes_range(interval: Interval, signed: bool = False) -> str:
    """Return the ends of a range of strokes, as in ``1.5 to 2.8``."""
    return from_to(strokes(interval.low, signed), strokes(interval.high, signed))


def from_to(low: object, high: object) -> str:
    """Return the ends of a range, as in ``3 to 7``."""
    return _("{low} to {high}", low=low, high=high)


def rounds(n: int) -> str:
    """Return so many rounds in words."""
    return ngettext("{n} round", "{n} rounds", n)


def more_rounds(n: int) -> str:
    """Return so many rounds to come in words."""
    return ngettext("{n} more round", "{n} more rounds", n)


def sessions(n: int) -> str:
    """Return so many sessions in words."""
    return ngettext("{n} session", "{n} sessions", n)


def notes(n: int) -> str:
    """Return so many notes on causes in words."""
    return ngettext("{n} note", "{n} notes", n)


def misses(n: int) -> str:
    """Return so many misses in words."""
    return ngettext("{n} miss", "{n} misses", n)


def throws(n: int) -> str:
    """Return so many throws in words."""
    return ngettext("{n} throw", "{n} throws", n)


def holes(n: int) -> str:
    """Return so many holes in words."""
    return ngettext("{n} hole", "{n} holes", n)


def tries(amount: object) -> str:
    """Return so many tries in words, as in ``10 tries`` or ``2 × 10 tries``."""
    return _("{amount} tries", amount=amount)


def players(n: int) -> str:
    """Return so many players in words."""
    return ngettext("{n} player", "{n} players", n)


def span(days: Iterable[date | None]) -> str:
    """Return the first and last of some days, as in ``3 Apr to 2 May 2030``; empty without days."""
    known = sorted(d for d in days if d is not None)
    if not known:
        return ""
    first, last = known[0], known[-1]
    if first == last:
        return day(last)
    return from_to(day(first, with_year=first.year != last.year), day(last))


def day(when: date, with_year: bool = True) -> str:
    """Return a date as in ``3 Apr 2030``, the same whatever the machine's language."""
    return day_said(when, year=with_year)


def listing(items: Iterable[str]) -> str:
    """Return items as in ``a, b and c``."""
    return listed(list(items))


def points(share: float) -> str:
    """Return a difference of shares in whole points, with its sign."""
    whole = round(abs(share) * 100)
    return ngettext("{signed} point", "{signed} points", whole, signed=_signed_points(share))


def points_range(interval: Interval) -> str:
    """Return the ends of a range of differences, as in ``−12 to +3``."""
    return from_to(_signed_points(interval.low), _signed_points(interval.high))


def _signed_points(share: float) -> str:
    whole = round(abs(share) * 100)
    sign = "" if whole == 0 else "+" if share > 0 else MINUS
    return f"{sign}{whole}"


def in_ten_rounds(strokes_a_round: float) -> str:
    """Return what is small in one round for ten of them, as in ``1.2 strokes in ten rounds``."""
    ten = 10 * strokes_a_round
    if ten < 0.1:
        return _("less than 0.1 strokes in ten rounds")
    return _("{number} strokes in ten rounds", number=number(ten, 1))


def times(n: int) -> str:
    """Return how often, as in ``once``, ``twice``, ``7 times``."""
    return _("once") if n == 1 else _("twice") if n == 2 else _("{n} times", n=n)


def held(text: str) -> str:
    """Return words with no-break spaces between numbers and their units."""
    return _UNIT.sub("\\1\N{NO-BREAK SPACE}", text)


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """Return a text in lines for a terminal; a number keeps its unit beside it."""
    lines = textwrap.wrap(held(text), width, initial_indent=indent, subsequent_indent=indent)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]
