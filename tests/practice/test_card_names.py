"""The practice card names each set by its drill, and has a line for words."""

from __future__ import annotations

import pytest

from shortpencil.forms.layout import PAPERS
from shortpencil.scan.practice.card import form_text, practice_sheet
from shortpencil.scan.practice.plan import Plan, plan_of
from tests.practice.test_plan import DRILLS, a_focus


@pytest.fixture
def session() -> Plan:
    return plan_of(a_focus("putt", 0, rounds=3), 30, DRILLS, repeat=False)


def test_each_set_is_named_by_its_drill(session: Plan) -> None:
    for step in session.steps:
        if step.drill:
            text = form_text(session)
            assert f'"{step.drill.title}, of {step.tries}"' in text or (
                f'"{step.drill.title}, set 1, of {step.tries}"' in text
            )


def test_a_sheet_has_a_line_for_words_and_no_last_test_on_a_first_session(session: Plan) -> None:
    for paper in PAPERS.values():
        sheet = practice_sheet(session, paper)
        assert any(field.id == "words" and field.type == "words" for field in sheet.layout.form.fields)
        assert not any("last time" in field.label for field in sheet.layout.form.fields)
