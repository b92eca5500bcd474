"""What the page lets do that the command line does too: print, set up a course, back up, import.

The page does not know how: whoever starts it gives these functions, as it gives the one that names a focus.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from shortpencil.scan.courses import CourseGiven, CourseKept
from shortpencil.scan.evening import EveningLine, PrintedCard
from shortpencil.scan.language import _, ngettext


@dataclass(frozen=True, slots=True)
class CardsAsked:
    """Which cards to print.

    Attributes
    ----------
    players : an alias for each card, or one empty text for cards of nobody
    course : name of a course that was set up, "" for none
    evening : what the evening is called that the cards are printed for, "" for none
    """

    form: str
    paper: str
    unit: str
    hand: str
    players: tuple[str, ...]
    copies: int
    course: str = ""
    evening: str = ""


@dataclass(frozen=True, slots=True)
class FormName:
    """A form to print: its name, its title, and the language it speaks, as in ``en``."""

    name: str
    title: str
    language: str


@dataclass(frozen=True, slots=True)
class Before:
    """What a restore replaced: the name it is kept by, as of when, how much it is."""

    name: str
    at: datetime
    says: str


class Keeping(Protocol):
    """What is done about everything that is kept, or all of one player; each raises as `Chores` does."""

    def holds_anything(self) -> bool:
        """Say whether the store holds a round or a card, which a restore would replace."""

    def restore(self, path: Path, *, replace: bool) -> str:
        """Put a backup in place of the store; return what it held, in words."""

    def before(self) -> Sequence[Before]:
        """Return what earlier restores replaced, the latest first."""

    def bring_back(self, name: str) -> str:
        """Put back what a restore replaced; what is there now is kept, too."""

    def drop_before(self, name: str) -> None:
        """Erase what a restore replaced."""

    def export(self, folder: Path) -> Path:
        """Write tables and whole rounds into a folder as one ZIP file; return the file."""

    def check(self) -> Sequence[str]:
        """Return what is not as it was written, a line each."""

    def traces(self, player: str) -> str:
        """Return how much is kept of a player, in words; "" where nothing is."""

    def forget(self, player: str) -> None:
        """Erase everything that is kept of a player."""

    def change_hand(self, player: str, how: str) -> None:
        """Erase a player's handwriting ("erase"), keep none any more ("off"), or learn it again ("on")."""

    def report(self, kind: str, players: Sequence[str | None], paper: str) -> tuple[bytes, Sequence[str]]:
        """Return a PDF ("evidence", "season") with a page a player, and what to say of those without."""


class Chores(Keeping, Protocol):
    """The functions; each raises InputError or RecordError with what a person can do about it."""

    def form_names(self) -> Sequence[FormName]:
        """Return the forms to print."""

    def cards(self, asked: CardsAsked) -> bytes:
        """Return a PDF of cards, which are known from then on."""

    def practice(
        self, players: Sequence[str | None], minutes: int, paper: str
    ) -> tuple[bytes, Sequence[str]]:
        """Return a PDF with a practice sheet for each player, and what to say of those without one."""

    def phases_of_drills(self) -> Mapping[str, Sequence[str]]:
        """Return the phases that each drill of practice cards and each practice sheet serves."""

    def courses(self) -> Sequence[CourseKept]:
        """Return every course that was set up."""

    def keep_course(self, given: CourseGiven, key: str = "") -> str:
        """Keep a course, in place of the one of that key; return its key."""

    def evenings(self) -> dict[str, list[PrintedCard]]:
        """Return the cards printed for each evening."""

    def backup(self, folder: Path) -> Path:
        """Write a backup into a folder; return the file."""

    def take(self, path: Path, by: str, *, dry_run: bool) -> dict[str, str]:
        """Import a file of rounds; return what became of each round."""


def evening_said(lines: Sequence[EveningLine]) -> str:
    """Return an evening in a sentence: how many came, who is missing, double or waiting."""
    counts = {state: sum(line.state == state for line in lines) for state in ("missing", "double", "waiting")}
    came = len(lines) - counts["missing"]
    parts = [
        ngettext("{came} of {n} player came back", "{came} of {n} players came back", len(lines), came=came)
    ]
    said = {
        "missing": ngettext("{n} missing", "{n} missing", counts["missing"]),
        "double": f"{counts['double']} {_('double')}",
        "waiting": ngettext("{n} waits", "{n} wait", counts["waiting"]),
    }
    parts += [said[state] for state, count in counts.items() if count]
    return ", ".join(parts)
