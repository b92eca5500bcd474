"""The focus as the page shows it: the same report as on paper, with cautions wherever a plan stands."""

from __future__ import annotations

import re

import pytest

from shortpencil.forms.drawing import Line, Words
from shortpencil.scan.cli.review import view_of
from shortpencil.scan.language import speaking
from shortpencil.scan.practice.focus_charts import strokes_chart
from shortpencil.scan.practice.picture import text_width_mm
from tests.practice.test_report import a_report
from tests.review.conftest import Page


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_number_is_parted_from_its_unit(language: str) -> None:
    with speaking(language):
        view = view_of(a_report())
    steps = [text for step in view.steps for text in (step.title, step.amount, step.how)]
    said = [*view.why, view.aim, view.cue, *view.notes, *view.cautions, *steps]
    assert not [text for text in said if re.search(r"\d (%|m\b|min\b)", text)]
    assert any("\N{NO-BREAK SPACE}%" in text for text in view.why)


@pytest.mark.parametrize("language", ["en", "de"])
def test_costs_are_as_legible_as_the_other_pictures_and_nothing_lies_on_anything(language: str) -> None:
    """The page scales all pictures to one width, so that a wider one has smaller letters."""
    with speaking(language):
        report = a_report()
        widths = {re.search(r'viewBox="0 0 ([0-9.]+)', svg)[1] for svg in view_of(report).charts}  # type: ignore[index]
        picture = strokes_chart(report.focus, 84.0)
    assert widths == {"84"}
    boxes = []
    for shape in picture.shapes:
        if isinstance(shape, Words):
            width = text_width_mm(shape.text, shape.size_pt, shape.bold)
            if shape.fit_mm is not None:
                width = min(width, shape.fit_mm)
            left = shape.at.x - {"left": 0.0, "middle": width / 2, "right": width}[shape.anchor]
            boxes.append((left, left + width, shape.at.y - 0.25 * shape.size_pt, shape.at.y, shape.text))
    for i, (left, right, top, bottom, said) in enumerate(boxes):
        assert left >= -0.1, said
        assert right <= 84.1, said
        for other in boxes[i + 1 :]:
            apart = other[0] >= right or other[1] <= left or other[2] >= bottom or other[3] <= top
            assert apart, (said, other[4])
        # No bar goes through it.
        for bar in (s for s in picture.shapes if isinstance(s, Line) and s.start.y == s.end.y):
            beside = bar.end.x <= left or bar.start.x >= right
            assert beside or not top < bar.start.y < bottom, said


def test_the_plan_of_the_start_page_has_its_cautions(page: Page) -> None:
    page.desk.focus = lambda player, minutes: view_of(a_report())
    shown = page.browser().get("/start/focus").text
    assert "Landing area clear of people first. Warm up. Stop if anything hurts and at thunder." in shown
    assert "Not medical advice" in shown
