"""A course that was set up is kept as it was given, under a key of its own, and refused where it can't be."""

from __future__ import annotations

from pathlib import Path

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.courses import (
    CourseGiven,
    CourseHoleGiven,
    course_json,
    course_of,
    keep_course,
    kept_courses,
)

HOLES = (CourseHoleGiven(3, 61.5), CourseHoleGiven(None, None))
HEATH = CourseGiven("Ninefold Heath", "", "m", HOLES)


def test_a_course_comes_back_as_it_was_given(tmp_path: Path) -> None:
    key = keep_course(tmp_path / "forms", HEATH)
    assert [(one.key, one.given) for one in kept_courses(tmp_path / "forms")] == [(key, HEATH)]
    assert course_json(HEATH)["holes"] == [{"par": 3, "length": 61.5}, {"par": None, "length": None}]


def test_a_second_course_of_the_name_has_a_key_of_its_own_and_a_known_key_is_written_over(
    tmp_path: Path,
) -> None:
    first, second = keep_course(tmp_path, HEATH), keep_course(tmp_path, HEATH)
    assert (first, second) == ("ninefold-heath", "ninefold-heath-2")
    other = CourseGiven("Quern Hollow", "short", "ft", HOLES)
    assert keep_course(tmp_path, other, first) == first
    assert {one.key: one.given.name for one in kept_courses(tmp_path)} == {
        first: "Quern Hollow",
        second: "Ninefold Heath",
    }


def test_lengths_are_kept_in_metres_and_shown_in_the_unit_given() -> None:
    course = course_of(CourseGiven("Quern Hollow", "", "ft", (CourseHoleGiven(4, 300.0),)))
    assert (course.holes[0].length_m, course.holes[0].length_written) == (91.44, "300 ft")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (CourseGiven("", "", "m", HOLES), "expected a name"),
        (CourseGiven("A", "", "yd", HOLES), "a unit"),
        (CourseGiven("A", "", "m", ()), "1 to 27 holes"),
        (CourseGiven("A", "", "m", (CourseHoleGiven(7, None),)), "hole 1: expected a par"),
        (CourseGiven("A", "", "m", (CourseHoleGiven(3, 2000.0),)), "hole 1: expected a length"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(given: CourseGiven, says: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=says):
        keep_course(tmp_path, given)
    assert kept_courses(tmp_path) == []


def test_a_file_that_is_no_course_is_named(tmp_path: Path) -> None:
    (tmp_path / "course-a.json").write_text('{"name": "A"}')
    with pytest.raises(InputError, match=r"course-a\.json: expected a course"):
        kept_courses(tmp_path)
