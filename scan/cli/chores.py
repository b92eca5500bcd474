"""What the page lets do, done as the commands do it: print, set up courses, back up, import."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.cli.keeping import DeskKeeping
from shortpencil.scan.review.chores import (
    CardsAsked,
    CourseGiven,
    CourseHoleGiven,
    CourseKept,
    FormName,
)

if TYPE_CHECKING:
    from shortpencil.forms.form import Course
    from shortpencil.scan.evening import PrintedCard

#: Courses lie beside the field maps, so that a backup holds them; the sign tells them from fingerprints.
COURSE_FILE = "course-{key}.json"
COURSE_SCHEMA = 1
MOST_HOLES = 27


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
        found = [self._read(path) for path in sorted(self._forms.glob(COURSE_FILE.format(key="*")))]
        return sorted(found, key=lambda course: course.said.casefold())

    def keep_course(self, given: CourseGiven, key: str = "") -> str:
        """Keep a course, in place of the one of that key; return its key.

        Raises
        ------
        InputError
            when a par or a length can't be
        """
        from shortpencil.forms.files import write_whole
        from shortpencil.forms.private import private_folder

        _course_of(given)  # says what can't be
        key = key if key in {one.key for one in self.courses()} else self._new_key(given)
        data = {
            "schema": COURSE_SCHEMA,
            "name": given.name,
            "layout": given.layout,
            "unit": given.unit,
            "holes": [{"par": hole.par, "length": hole.length} for hole in given.holes],
        }
        private_folder(self._forms)
        text = json.dumps(data, ensure_ascii=False, indent=1)
        write_whole(self._forms / COURSE_FILE.format(key=key), text.encode(), private=True)
        return key

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
        from shortpencil.scan.records.importing import read_rounds

        found = read_rounds(path, by=by, at=datetime.now(UTC))
        return self._store.add_rounds(found.rounds, found.practice, dry_run=dry_run)

    def _course(self, key: str) -> Course:
        from shortpencil.forms.errors import InputError

        kept = next((one for one in self.courses() if one.key == key), None)
        if kept is None:
            raise InputError("expected a course that was set up, found none of that name.")
        return _course_of(kept.given)

    def _new_key(self, given: CourseGiven) -> str:
        words = (
            re.sub(r"[^a-z0-9]+", "-", f"{given.name} {given.layout}".casefold()).strip("-")[:60] or "course"
        )
        taken, key, number = {one.key for one in self.courses()}, words, 2
        while key in taken:
            key, number = f"{words}-{number}", number + 1
        return key

    def _read(self, path: Path) -> CourseKept:
        from shortpencil.forms.errors import InputError
        from shortpencil.forms.files import parsed_json, read_text
        from shortpencil.forms.shown import path_text

        data = parsed_json(read_text(path), path_text(path), "a course")
        try:
            given = CourseGiven(
                str(data["name"]),
                str(data["layout"]),
                str(data["unit"]),
                tuple(CourseHoleGiven(hole["par"], hole["length"]) for hole in data["holes"]),
            )
            _course_of(given)
        except (KeyError, TypeError, InputError) as error:
            raise InputError(
                f"{path_text(path)}: expected a course as the page keeps it, found something else. "
                "Delete the file."
            ) from error
        return CourseKept(path.stem.removeprefix("course-"), given)


def _language(name: str) -> str:
    """Return the language of a built-in form by its name: "de" of round18-de, "" of one in English."""
    tag = name.rpartition("-")[2]
    return tag if len(tag) == 2 else ""  # BCP 47: two letters, or none of ours


def _course_of(given: CourseGiven) -> Course:
    """Return a course as forms know it; InputError where it can't be."""
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.form import Course, CourseHole
    from shortpencil.forms.units import to_metres

    if not given.name or given.unit not in ("m", "ft") or not 1 <= len(given.holes) <= MOST_HOLES:
        raise InputError(f"expected a name, a unit and 1 to {MOST_HOLES} holes, found less.")
    holes = []
    for number, hole in enumerate(given.holes, start=1):
        if hole.par is not None and not 2 <= hole.par <= 6:
            raise InputError(f"hole {number}: expected a par from 2 to 6.")
        if hole.length is None:
            holes.append(CourseHole(number, hole.par))
            continue
        if not 0 < hole.length < 2000:
            raise InputError(f"hole {number}: expected a length below 2000 {given.unit}.")
        metres = round(to_metres(hole.length, given.unit), 2)
        holes.append(CourseHole(number, hole.par, metres, f"{hole.length:g} {given.unit}"))
    return Course(given.name, given.layout, tuple(holes))
