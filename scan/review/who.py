"""Whose round it was, where and when: asked once per card, beside its ink. Pure.

Nothing is ever assumed from a suggestion: it is only put first. Names come from earlier cards, the ones whose
ink looks like this card's first, then those played last; so do courses. A card of another copy of the same
sheet is its player's most likely.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from shortpencil.forms.errors import InputError
from shortpencil.forms.form import Form
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.language import _
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.composing.answers import standing
from shortpencil.scan.records.composing.card_values import CENTURY, DATE_FIELDS
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.storing.summary import Summary
from shortpencil.scan.review.naming import day_said
from shortpencil.scan.review.same_ink import ALIKE, most_alike
from shortpencil.scan.review.views import box_of
from shortpencil.scan.review.wording import name_of

PLAYER, COURSE, LAYOUT, DATE = "player", "course", "layout", "date"
MOST_SUGGESTED = 5
#: Strips that are compared with: each takes a few milliseconds.
MOST_STRIPS = 30
#: Days before its photo that a round may lie; beyond, day and month may be swapped.
LONG_AGO_DAYS = 60


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A name and why it is suggested, in words."""

    value: str
    why: str


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing asked: which part of the card shows it, and what is suggested."""

    key: str
    name: str
    view: Box
    suggestions: tuple[Suggestion, ...]


@dataclass(frozen=True, slots=True)
class DateAsk:
    """The date: where it stands, why it is asked, and days that it may be."""

    view: Box
    why: str
    suggestions: tuple[Suggestion, ...]


@dataclass(frozen=True, slots=True)
class Who:
    """What is asked of a card; `seen` is the count of entries of each field when the page was made."""

    words: tuple[Ask, ...]
    date: DateAsk | None
    seen: dict[str, int]

    def __bool__(self) -> bool:
        return bool(self.words or self.date)


def needs_of(card: Card, played: Round | None, others: Iterable[Summary]) -> tuple[str, ...]:
    """Return what of player, course and date is to be asked of a card, and was not yet."""
    if played is None:
        return ()
    fields = {field.id for field in card.form.fields}
    said = {answer.field for answer in standing(card.answers)}
    lines = [line for line in others if line.id != played.id]
    needs = []
    for key, known in ((PLAYER, played.player), (COURSE, played.course)):
        named = any(getattr(line, key) for line in lines)
        if key in fields and known is None and key not in said and (named or key in card.reading.pictures):
            needs.append(key)
    lacks_day = played.day is None and played.played_on.status != "doubtful"
    if set(DATE_FIELDS) <= fields and lacks_day and not said & set(DATE_FIELDS):
        needs.append(DATE)
    return tuple(needs)


def who_of(
    card: Card,
    layout: Layout,
    played: Round,
    others: Sequence[Summary],
    picture: Callable[[str, str], bytes | None],
) -> Who:
    """Return what is asked of a card, with suggestions.

    Parameters
    ----------
    others : all rounds of the store, oldest first
    picture : serial and field -> the picture of a strip
    """
    needs = needs_of(card, played, others)
    lines = [line for line in others if line.id != played.id]
    words = []
    for key in (PLAYER, COURSE):
        if key in needs:
            words.append(_ask(card, layout, key, _suggested(card, key, lines, picture)))
            if key == COURSE and any(field.id == LAYOUT for field in card.form.fields) and not played.layout:
                words.append(_ask(card, layout, LAYOUT, _names(LAYOUT, lines)))
    asked = [ask.key for ask in words] + (list(DATE_FIELDS) if DATE in needs else [])
    return Who(
        tuple(words),
        _date_ask(card, layout, played) if DATE in needs else None,
        {name: sum(answer.field == name for answer in card.answers) for name in asked},
    )


def _ask(card: Card, layout: Layout, key: str, suggestions: Sequence[Suggestion]) -> Ask:
    field = card.form.field(key)
    return Ask(
        key,
        name_of(card.form, field),
        box_of(layout, key).grown(1.2),
        tuple(suggestions)[:MOST_SUGGESTED],
    )


def _names(key: str, lines: Sequence[Summary]) -> list[Suggestion]:
    """Return names of earlier rounds, the latest first."""
    found: dict[str, Suggestion] = {}
    for line in reversed(lines):
        name = getattr(line, key)
        if name and name not in found:
            found[name] = Suggestion(
                name, _("on the card of {day}", day=day_said(line.played_on)) if line.played_on else ""
            )
    return list(found.values())


def _suggested(
    card: Card, key: str, lines: Sequence[Summary], picture: Callable[[str, str], bytes | None]
) -> list[Suggestion]:
    names = {one.value: one for one in _names(key, lines)}
    sheet = card.serial.partition("-")[0]
    first = []
    if key == PLAYER:
        same = [line.player for line in lines if line.player and line.id.partition("-")[0] == sheet]
        first += [
            Suggestion(name, _("another round on a copy of this sheet")) for name in dict.fromkeys(same)
        ]
    strips: dict[str, list[bytes]] = {}
    for line in lines[-MOST_STRIPS:]:
        name, strip = getattr(line, key), picture(line.id, key)
        if name and strip:
            strips.setdefault(name, []).append(strip)
    alike = most_alike(card.reading.pictures.get(key), strips)
    first += [Suggestion(name, _("the ink looks alike")) for name, how in alike if how >= ALIKE]
    # The first reason given for a name is the strongest.
    listed: dict[str, Suggestion] = {}
    for one in (*first, *names.values()):
        listed.setdefault(one.value, one)
    return list(listed.values())


# -- the date --------------------------------------------------------------------------------------------


def _date_ask(card: Card, layout: Layout, played: Round) -> DateAsk:
    boxes = [box_of(layout, name) for name in DATE_FIELDS]
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    view = Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y).grown(2.0)
    read_on = played.recorded_at.date() if played.recorded_at else None
    parts = _part(card, "date.day"), _part(card, "date.month"), _part(card, "date.year")
    suggestions = [
        Suggestion(day.isoformat(), why.format(day=day_said(day))) for day, why in days_for(*parts, read_on)
    ]
    if all(part is None for part in parts):
        why = _("no date is written")
    elif None in parts:
        why = _("the date is only half filled in, or not clear")
    else:
        why = _("there is no such day, or it is not clear")
    return DateAsk(view, why, tuple(suggestions))


def _part(card: Card, name: str) -> int | None:
    found = card.fields.get(name)
    return found.value if found is not None and isinstance(found.value, int) else None


def days_for(
    day: int | None, month: int | None, year: int | None, read_on: date | None
) -> list[tuple[date, str]]:
    """Return days that a date may stand for, each with what is done to get it, the likeliest first.

    Parameters
    ----------
    day, month, year : as written, the year by its last two digits; None where not
    read_on : when the photo was read
    """
    years = [CENTURY + year] if year is not None else [read_on.year] if read_on else []
    found: list[tuple[date, str]] = []
    for full in years:
        as_read, swapped = _day(full, month, day), _day(full, day, month)
        if as_read:
            found.append((as_read, "{day}"))
        if swapped and swapped != as_read:
            found.append((swapped, _("{day}: day and month swapped")))
    if read_on is not None:
        found = sorted(found, key=lambda one: _unlikely(one[0], read_on))
        if all(day_ != read_on for day_, _ in found):
            found.append((read_on, _("{day}: the day of the photo")))
    return found


def _unlikely(day: date, read_on: date) -> int:
    """Return 0 for a day shortly before its photo, 1 for one long ago, 2 for one after it."""
    ago = (read_on - day).days
    return 2 if ago < -1 else 1 if ago > LONG_AGO_DAYS else 0


def _day(year: int, month: int | None, day: int | None) -> date | None:
    if month is None or day is None:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None


# -- what a page sends -----------------------------------------------------------------------------------


def given_who(form: Form, texts: dict[str, str], seen: dict[str, str]) -> list[tuple[str, FieldValue, int]]:
    """Return the answers that a page's form holds, field by field; nothing stands for "not on the card".

    Parameters
    ----------
    texts : of player, course, layout and date (as in 2026-05-31) what was said, by key
    seen : count of entries by field

    Raises
    ------
    InputError
        when a text is no day, or a count is missing
    """
    values: dict[str, FieldValue] = {}
    for key, text in texts.items():
        if key != DATE:
            values[key] = " ".join(text.split()) or None
            continue
        try:
            day = date.fromisoformat(text) if text.strip() else None
        except ValueError:
            raise InputError(f"expected a day as in 2026-05-31, found {text[:40]!r}.") from None
        if day is not None and not CENTURY <= day.year < CENTURY + 100:
            raise InputError(f"expected a day from {CENTURY} to {CENTURY + 99}, found {day}.")
        numbers = (None,) * 3 if day is None else (day.day, day.month, day.year - CENTURY)
        values |= dict(zip(DATE_FIELDS, numbers, strict=True))
    fields = {field.id for field in form.fields}
    given = []
    for name, value in values.items():
        count = seen.get(name, "")
        if name not in fields or not (count.isascii() and count.isdigit() and len(count) < 10):
            raise InputError("expected the count of entries of each field, found none. Load the page again.")
        given.append((name, value, int(count)))
    return given
