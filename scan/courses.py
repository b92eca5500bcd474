"""Courses that were set up on the page: what a card of one prints, kept in files beside the field maps.

A file a course, so that a backup holds them; its name says which.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.language import _

if TYPE_CHECKING:
    from shortpencil.forms.form import Course

#: The sign tells a course's file from a field map's, whose name is a fingerprint.
COURSE_FILE = "course-{key}.json"
COURSE_SCHEMA = 1
MOST_HOLES = 27


@dataclass(frozen=True, slots=True)
class CourseHoleGiven:
    """One hole of a course as given; a length of None is not known."""

    par: int | None
    length: float | None


@dataclass(frozen=True, slots=True)
class CourseGiven:
    """A course as given on the page; lengths in `unit`."""

    name: str
    layout: str
    unit: str
    holes: tuple[CourseHoleGiven, ...]


@dataclass(frozen=True, slots=True)
class CourseKept:
    """A course that was set up; `key` names it."""

    key: str
    given: CourseGiven

    @property
    def said(self) -> str:
        """The course in a line."""
        parts = (self.given.name, self.given.layout, _("{n} holes", n=len(self.given.holes)))
        return ", ".join(part for part in parts if part)


def kept_courses(forms: Path) -> list[CourseKept]:
    """Return every course that was set up, by name.

    Parameters
    ----------
    forms : the folder of field maps, as `scan.places.forms_folder` gives it

    Raises
    ------
    InputError
        when a file is no course
    """
    found = [_read(path) for path in sorted(forms.glob(COURSE_FILE.format(key="*")))]
    return sorted(found, key=lambda course: course.said.casefold())


def keep_course(forms: Path, given: CourseGiven, key: str = "") -> str:
    """Keep a course, in place of the one of that key; return its key.

    Raises
    ------
    InputError
        when a par or a length can't be
    """
    from shortpencil.forms.files import write_whole
    from shortpencil.forms.private import private_folder

    course_of(given)  # says what can't be
    taken = {one.key for one in kept_courses(forms)}
    key = key if key in taken else _new_key(given, taken)
    private_folder(forms)
    text = json.dumps(course_json(given), ensure_ascii=False, indent=1)
    write_whole(forms / COURSE_FILE.format(key=key), text.encode(), private=True)
    return key


def course_json(given: CourseGiven) -> dict[str, object]:
    """Return a course as its file has it."""
    return {
        "schema": COURSE_SCHEMA,
        "name": given.name,
        "layout": given.layout,
        "unit": given.unit,
        "holes": [{"par": hole.par, "length": hole.length} for hole in given.holes],
    }


def course_of(given: CourseGiven) -> Course:
    """Return a course as forms know it; InputError where it can't be."""
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.form import Course, CourseHole
    from shortpencil.forms.shown import composed
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
    return Course(composed(given.name), composed(given.layout), tuple(holes))


def _new_key(given: CourseGiven, taken: set[str]) -> str:
    words = re.sub(r"[^a-z0-9]+", "-", f"{given.name} {given.layout}".casefold()).strip("-")[:60] or "course"
    key, number = words, 2
    while key in taken:
        key, number = f"{words}-{number}", number + 1
    return key


def _read(path: Path) -> CourseKept:
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
        course_of(given)
    except (KeyError, TypeError, InputError) as error:
        raise InputError(
            f"{path_text(path)}: expected a course as the page keeps it, found something else. "
            "Delete the file."
        ) from error
    return CourseKept(path.stem.removeprefix("course-"), given)
