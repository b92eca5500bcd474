"""Numbers, days and lists as the language that is spoken writes them.

German by DIN 5008:2020: decimal comma, "3. Mai 2026"; short names of months as in Unicode CLDR, de.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from shortpencil.scan.language.spoken import ENGLISH, N_, _, pgettext, spoken

_MONTHS = (
    N_("January"), N_("February"), N_("March"), N_("April"), N_("May"), N_("June"), N_("July"), N_("August"),
    N_("September"), N_("October"), N_("November"), N_("December"),
)  # fmt: skip
_WEEKDAYS = (
    N_("Monday"), N_("Tuesday"), N_("Wednesday"), N_("Thursday"), N_("Friday"), N_("Saturday"), N_("Sunday"),
)  # fmt: skip


_ENGLISH_SHORT = tuple(name[:3] for name in _MONTHS)
#: A day as `day_said` says it in English.
_ENGLISH_DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(_ENGLISH_SHORT)}) (\d{{4}})\b")


def number(value: float, places: int = 0, *, sign: bool = False, grouped: bool = False) -> str:
    """Return a number with so many decimal places and the decimal mark of the language.

    With `sign`, a plus stands before what is above zero; `grouped` parts thousands. A minus is the
    mathematical one.
    """
    text = f"{value:{'+' if sign else ''}{',' if grouped else ''}.{places}f}".replace("-", "−")
    return text if spoken() == ENGLISH else text.translate({44: _group_mark(), 46: _decimal_mark()})


def localized(text: str) -> str:
    """Return a number that is text already, as ``3.5``, with the decimal mark of the language."""
    return text if spoken() == ENGLISH else text.replace(".", _decimal_mark())


def _decimal_mark() -> str:
    return pgettext("decimal mark", ".")


def _group_mark() -> str:
    return pgettext("between thousands", ",")


def percent(p: float) -> str:
    """Return a probability in whole percent; the sign stays on the number's line."""
    return _("{number}\u00a0%", number=f"{p * 100:.0f}")


def month_said(month: int, *, short: bool = False) -> str:
    """Return the name of a month, 1 to 12."""
    name = _MONTHS[month - 1]
    return _short(month) if short else _(name)


def _short(month: int) -> str:
    return (
        pgettext("month, short", "Jan"), pgettext("month, short", "Feb"), pgettext("month, short", "Mar"),
        pgettext("month, short", "Apr"), pgettext("month, short", "May"), pgettext("month, short", "Jun"),
        pgettext("month, short", "Jul"), pgettext("month, short", "Aug"), pgettext("month, short", "Sep"),
        pgettext("month, short", "Oct"), pgettext("month, short", "Nov"), pgettext("month, short", "Dec"),
    )[month - 1]  # fmt: skip


def weekday_said(day: date) -> str:
    """Return the name of the day of the week."""
    return _(_WEEKDAYS[day.weekday()])


def day_said(day: date, *, long: bool = False, year: bool = True) -> str:
    """Return a day as "3 May 2026"; `long` with its weekday and month in full; or without year."""
    month = month_said(day.month, short=not long)
    if long and year:
        return _(
            "{weekday} {day} {month} {year}",
            weekday=weekday_said(day),
            day=day.day,
            month=month,
            year=day.year,
        )
    if year:
        return _("{day} {month} {year}", day=day.day, month=month, year=day.year)
    return _("{day} {month}", day=day.day, month=month)


def days_told(text: str) -> str:
    """Return a text that was stored in English with its days as the language that is spoken says them."""

    def told(found: re.Match[str]) -> str:
        number, month, year = found.groups()
        return day_said(date(int(year), _ENGLISH_SHORT.index(month) + 1, int(number)))

    return _ENGLISH_DAY.sub(told, text)


def inside(text: str) -> str:
    """Return a noun as it stands inside a sentence: "hole 7" for "Hole 7"; German keeps the capital."""
    return text[:1].lower() + text[1:] if spoken() == ENGLISH else text


def noun(text: str) -> str:
    """Return a player's own word as a noun in a sentence; German writes it with a capital."""
    return text if spoken() == ENGLISH else first_upper(text)


def first_upper(text: str) -> str:
    """Return a text as a sentence begins."""
    return text[:1].upper() + text[1:]


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return _("{first} and {last}", first=", ".join(words[:-1]), last=words[-1])
