"""A club evening: cards are printed for it and come back as rounds, or are missing, double, waiting.

What was printed is known by the folder of printed cards, what came back by the store.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shortpencil.scan.records.store import Store


@dataclass(frozen=True, slots=True)
class PrintedCard:
    """One card that was printed for an evening; `day` as in ``2026-05-31``."""

    serial: str
    player: str
    day: str


@dataclass(slots=True)
class EveningLine:
    """One player of an evening: which rounds came of the cards printed for them."""

    player: str
    cards: list[str] = field(default_factory=list)
    rounds: list[str] = field(default_factory=list)
    waits: int = 0

    @property
    def state(self) -> str:
        """Return "missing", "double", "waiting" or "read"."""
        if not self.rounds:
            return "missing"
        if len(self.rounds) > len(self.cards):
            return "double"
        return "waiting" if self.waits else "read"


@dataclass(frozen=True, slots=True)
class Evening:
    """An evening as it stands: its name, the day its cards were printed, a line for each player."""

    name: str
    printed: str
    lines: tuple[EveningLine, ...]

    @property
    def complete(self) -> bool:
        """Whether nobody is missing, double or waiting."""
        return all(line.state == "read" for line in self.lines)


def evening_lines(
    cards: Sequence[PrintedCard], rounds: Sequence[str], waits: dict[str, int]
) -> list[EveningLine]:
    """Return each player of an evening with what came back, by name. Pure.

    Parameters
    ----------
    cards : what was printed
    rounds : ids of all stored rounds; a second round of a sheet is called SERIAL-2
    waits : round or card -> how many fields wait
    """
    by_sheet: dict[str, list[str]] = {}
    for round_ in rounds:
        by_sheet.setdefault(round_.split("-")[0], []).append(round_)
    lines: dict[str, EveningLine] = {}
    for card in cards:
        line = lines.setdefault(card.player, EveningLine(card.player))
        line.cards.append(card.serial)
        line.rounds += sorted(by_sheet.get(card.serial, []))
        line.waits += sum(waits.get(one, 0) for one in by_sheet.get(card.serial, []))
    return sorted(lines.values(), key=lambda line: line.player.casefold())


def printed_evenings(forms: Path) -> dict[str, list[PrintedCard]]:
    """Return the cards printed for each evening by its name, the latest evening first.

    Parameters
    ----------
    forms : the folder of printed cards, as `scan.places.forms_folder` gives it
    """
    from shortpencil.forms.catalog import Catalog

    evenings = Catalog(forms).evenings()
    return {name: [PrintedCard(*card) for card in cards] for name, cards in evenings.items()}


def evenings_of(store: Store | None, printed: dict[str, list[PrintedCard]]) -> tuple[Evening, ...]:
    """Return evenings with what came back of their cards; without a store nothing did yet."""
    rounds: list[str] = []
    waits: dict[str, int] = {}
    if store is not None and printed:
        rounds = [line.id for line in store.summaries()]
        waits = {serial: len(fields) for serial, fields in store.waiting_fields()}
    return tuple(
        Evening(name, cards[0].day, tuple(evening_lines(cards, rounds, waits)))
        for name, cards in printed.items()
    )


def evenings_json(evenings: Iterable[Evening]) -> dict[str, Any]:
    """Return the published JSON of evenings (`evening --json`)."""
    return {"schema": 1, "evenings": [evening_json(evening) for evening in evenings]}


def evening_json(evening: Evening) -> dict[str, Any]:
    """Return the published JSON of one evening."""
    players = [
        {
            "player": line.player,
            "state": line.state,
            "cards": line.cards,
            "rounds": line.rounds,
            "waiting": line.waits,
        }
        for line in evening.lines
    ]
    return {"name": evening.name, "printed": evening.printed, "players": players}
