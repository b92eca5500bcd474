"""What the page lets do, done as the commands do it: print, set up courses, back up, import."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.keeping import DeskKeeping
from shortpencil.scan.courses import CourseGiven, CourseKept, course_of, keep_course, kept_courses
from shortpencil.scan.review.chores import CardsAsked, FormName

if TYPE_CHECKING:
    from shortpencil.forms.form import Course
    from shortpencil.scan.evening import PrintedCard


class DeskChores(DeskKeeping):
    """The functions that `scan.review.chores.Chores` asks for, over one store and one folder of forms."""

    def form_names(self) -> Sequence[FormName]:
        """Return the forms to print, those of a language together."""
        from shortpencil.forms.catalog import builtin_names, load_form

        names = sorted(builtin_names(), key=lambda name: (not name.startswith("round"), len(name), name))
        names = sorted(names, key=_language)
        return [
            FormName(name, load_form(name, unit="m", hand="right").title, _language(name) or "en")
            for name in names
        ]

    def phases_of_drills(self) -> Mapping[str, Sequence[str]]:
        """Return the phases that each drill of practice cards and each practice sheet serves."""
        from shortpencil.forms.rules import PHASES
        from shortpencil.scan.advice import load_drills, phases_of_drills

        return phases_of_drills(load_drills(None), PHASES)

    def cards(self, asked: CardsAsked) -> bytes:
        """Return a PDF of cards, which are known from then on."""
        from shortpencil.forms.catalog import RosterLine
        from shortpencil.scan.printing import drawn, register

        course = self._course(asked.course) if asked.course else None
        printed = drawn(
            [RosterLine(player, None, 1) for player in asked.players],
            form=asked.form or None,
            paper=asked.paper,
            unit=asked.unit,
            hand=asked.hand,
            course=course,
            copies=asked.copies,
        )
        register(printed, asked.evening)
        return printed.pdf

    def practice(
        self, players: Sequence[str | None], minutes: int, paper: str
    ) -> tuple[bytes, Sequence[str]]:
        """Return a PDF with a practice sheet for each player, and what to say of those without one."""
        from shortpencil.forms.errors import InputError
        from shortpencil.scan.advice import Asked, advise, load_drills
        from shortpencil.scan.printing import practice_pages

        drills, found, without = load_drills(None), [], []
        for player in players:
            advice = advise(self._store, Asked(player, minutes), drills)
            if isinstance(advice, str):
                without.append(f"{player}: {advice}" if player else advice)
            else:
                found.append((advice.plan, advice.about.rounds[-1], player))
        if not found:
            raise InputError(" ".join(without) or "expected a player, found none.")
        return practice_pages(found, paper), without

    def courses(self) -> Sequence[CourseKept]:
        """Return every course that was set up, by name."""
        return kept_courses(self._forms)

    def keep_course(self, given: CourseGiven, key: str = "") -> str:
        """Keep a course, in place of the one of that key; return its key.

        Raises
        ------
        InputError
            when a par or a length can't be
        """
        return keep_course(self._forms, given, key)

    def evenings(self) -> dict[str, list[PrintedCard]]:
        """Return the cards printed for each evening."""
        from shortpencil.scan.evening import printed_evenings

        return printed_evenings(self._forms)

    def backup(self, folder: Path) -> Path:
        """Write a backup into a folder; return the file."""
        from shortpencil.scan.records.backup import write_backup

        now = datetime.now(UTC)
        path = folder / f"shortpencil-{now:%Y-%m-%d}.zip"
        write_backup(path, self._store, self._forms, now)
        return path

    def take(self, path: Path, by: str, *, dry_run: bool) -> dict[str, str]:
        """Import a file of rounds; return what became of each round."""
        from shortpencil.scan.records.exchanging.importing import read_rounds

        found = read_rounds(path, by=by, at=datetime.now(UTC))
        return self._store.add_rounds(found.rounds, found.practice, dry_run=dry_run)

    def _course(self, key: str) -> Course:
        from shortpencil.forms.errors import InputError

        kept = next((one for one in self.courses() if one.key == key), None)
        if kept is None:
            raise InputError("expected a course that was set up, found none of that name.")
        return course_of(kept.given)


def _language(name: str) -> str:
    """Return the language of a built-in form by its name: "de" of round18-de, "" of one in English."""
    tag = name.rpartition("-")[2]
    return tag if len(tag) == 2 else ""  # BCP 47: two letters, or none of ours
