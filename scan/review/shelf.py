"""What rounds and cards are called in every list, read from the store; of those without a day the record too.

`naming` says how; here is what it needs. A list that shows a serial shows it beside such a name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from shortpencil.scan.records.composing.card_values import day_of
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.store import Store
from shortpencil.scan.records.storing.summary import Summary
from shortpencil.scan.review.naming import Name, card_names, names_of

#: The fingerprint of a field map -> the title of its form, "" where it is not known.
TitleOf = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Shelf:
    """What a list needs: all rounds in a line each, and what each round and card is called."""

    lines: tuple[Summary, ...]
    rounds: Mapping[str, Name]
    cards: Mapping[str, Name]

    @property
    def players(self) -> list[str]:
        """Every player with a round."""
        return sorted({line.player for line in self.lines if line.player}, key=str.casefold)


def round_shelf(store: Store) -> Shelf:
    """Read the rounds' part of the shelf: no card, practice or other sheet is opened."""
    lines = store.summaries()
    rounds = names_of(lines, store.undated())
    return Shelf(lines, rounds, rounds)


def shelf(store: Store, title_of: TitleOf) -> Shelf:
    """Read the whole shelf."""
    found = round_shelf(store)
    lines, rounds = found.lines, found.rounds
    heads = [
        replace(head, title=title_of(head.form)) if head.serial not in rounds else head
        for head in store.heads()
    ]
    days = {done.card: done.day for done in store.practice() if done.day}
    perhaps = {}
    if any(head.serial not in rounds for head in heads):
        sheets = store.other_sheets()
        days |= {sheet.serial: sheet.day for sheet in sheets if sheet.day}
        maybe = {sheet.serial: day_of(sheet.fields, doubtful=True) for sheet in sheets if not sheet.day}
        perhaps = {serial: day for serial, day in maybe.items() if day}
        players = {
            sheet.serial: sheet.player for sheet in sheets
        }  # as answered on the sheet, else as printed
        heads = [replace(head, player=players.get(head.serial, head.player)) for head in heads]
    return Shelf(lines, rounds, {**rounds, **card_names(heads, rounds, days, perhaps)})


def round_name(store: Store, serial: str) -> Name | None:
    """Return what one round is called, None where there is none."""
    lines = store.summaries(beside=serial)
    dated = all(line.played_on for line in lines)
    return names_of(lines, {} if dated else store.undated()).get(serial)


def name_of(store: Store, card: Card) -> Name:
    """Return what one card is called in every list, from a few columns of the store."""
    known = round_name(store, card.serial)
    if known is not None:
        return known
    said = card.fields.get("player")
    player = (said.value if said is not None and isinstance(said.value, str) else "") or card.player
    heads = [replace(head, title=card.form.title, player=player) for head in store.heads(card.serial)]
    day = day_of(card.fields)
    maybe = day_of(card.fields, doubtful=True)
    days, perhaps = ({card.serial: one} if one else {} for one in (day, maybe))
    return card_names(heads, {}, days, perhaps)[card.serial]


def copy_names(store: Store, serials: Sequence[str]) -> dict[str, Name]:
    """Return the names of the rounds of one sheet by serial; nothing is looked up for a single one."""
    if len(serials) < 2:
        return {}
    return {one: round_name(store, one) or name_of(store, store.card(one)) for one in serials}


def all_that_waits(store: Store) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what waits, card by card, then what waits in rounds that came from a file."""
    files = (
        (round_id, tuple(place.name for place in places)) for round_id, places in store.waiting_in_files()
    )
    return (*store.waiting_fields(), *files)
