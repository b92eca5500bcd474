"""Numbers in words for the player: never without unit and count, with the range where there is one.

No significance, no verdict, no Greek: a range, a probability, and how many throws they rest on.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from math import isnan

from shortpencil.forms import rules
from shortpencil.scan.practice.model import Interval

MINUS = "\N{MINUS SIGN}"

#: The fixed definition that every card prints; execution is the player's own judgement and can drift.
EXECUTED = "Executed: it left my hand with the direction, height, tilt and speed I meant."

#: Cautions for every practice output.
CAUTIONS = (
    "Check that the whole landing area, both sides and beyond, is clear of people, animals, cars and windows "
    "before every throw.",
    "Warm up 5 minutes and start at half power. Stop if anything hurts; pain is not part of practice.",
    "Not under trees or in the open when you hear thunder: go inside, wait 30 minutes after the last one.",
    "Children practise with an adult, lighter discs and fewer throws.",
    "The posted rules of the park or course and local law come before this plan.",
    "This is not medical advice; see a licensed health professional about pain or injury.",
)

#: What phases are called in sentences, one throw and several, and in a column of a table.
ONE, MANY, IN_TABLES = rules.ONE, rules.MANY, rules.IN_TABLES

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def percent(share: float) -> str:
    """Return a share in whole percent; the ends are never claimed."""
    if isnan(share):
        return "unknown"
    return f"{share * 100:.0f} %"


def probability(p: float) -> str:
    """Return a probability in whole percent, short of 0 and 100."""
    if isnan(p):
        return "unknown"
    return "over 99 %" if p > 0.99 else "under 1 %" if p < 0.01 else f"{p * 100:.0f} %"


def percent_range(interval: Interval) -> str:
    """Return the ends of a range of shares, as in ``24 to 37 %``."""
    return f"{interval.low * 100:.0f} to {interval.high * 100:.0f} %"


def strokes(value: float, signed: bool = False) -> str:
    """Return strokes with one decimal, with a true minus sign."""
    text = f"{abs(value):.1f}"
    if signed and text != "0.0":
        return f"{'+' if value > 0 else MINUS}{text}"
    return text


def strokes_range(interval: Interval, signed: bool = False) -> str:
    """Return the ends of a range of strokes, as in ``1.5 to 2.8``."""
    return f"{strokes(interval.low, signed)} to {strokes(interval.high, signed)}"


def count(number: int, noun: str, many: str | None = None) -> str:
    """Return a number with its noun, as in ``1 round`` or ``7 rounds``."""
    return f"{number} {noun if number == 1 else many or noun + 's'}"


def span(days: Iterable[date | None]) -> str:
    """Return the first and last of some days, as in ``3 Apr to 2 May 2030``; empty without days."""
    known = sorted(d for d in days if d is not None)
    if not known:
        return ""
    first, last = known[0], known[-1]
    if first == last:
        return day(last)
    return f"{day(first, with_year=first.year != last.year)} to {day(last)}"


def day(when: date, with_year: bool = True) -> str:
    """Return a date as in ``3 Apr 2030``, the same whatever the machine's language."""
    text = f"{when.day} {_MONTHS[when.month - 1]}"
    return f"{text} {when.year}" if with_year else text


def listing(items: Iterable[str]) -> str:
    """Return items as in ``a, b and c``."""
    every = list(items)
    return every[0] if len(every) == 1 else f"{', '.join(every[:-1])} and {every[-1]}" if every else ""


def points(share: float) -> str:
    """Return a difference of shares in whole points, with its sign."""
    number = round(abs(share) * 100)
    sign = "" if number == 0 else "+" if share > 0 else MINUS
    return f"{sign}{number} points" if number != 1 else f"{sign}{number} point"


def points_range(interval: Interval) -> str:
    """Return the ends of a range of differences, as in ``−12 to +3``."""
    return f"{points(interval.low).split()[0]} to {points(interval.high).split()[0]}"


def in_ten_rounds(strokes_a_round: float) -> str:
    """Return what is small in one round for ten of them, as in ``1.2 strokes in ten rounds``."""
    ten = 10 * strokes_a_round
    number = f"{ten:.1f}" if ten >= 0.1 else "less than 0.1"
    return f"{number} strokes in ten rounds"


def times(number: int) -> str:
    """Return how often, as in ``once``, ``twice``, ``7 times``."""
    return {1: "once", 2: "twice"}.get(number, f"{number} times")
