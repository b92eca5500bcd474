from datetime import date

import pytest

from shortpencil.forms.catalog import load_form
from shortpencil.forms.drawing import Words, box_of
from shortpencil.forms.fiducials import QUIET_MM
from shortpencil.forms.field_map import fingerprint, layout_from_json, layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS
from shortpencil.forms.pdf import identify, to_pdf
from shortpencil.forms.rules import rules_of
from shortpencil.forms.serials import serial_from
from shortpencil.scan.language import speaking
from shortpencil.scan.practice import card, words
from shortpencil.scan.practice.effect import practice_results
from shortpencil.scan.practice.picture import text_width_mm
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.practice_sets import has_sets, sets_from
from shortpencil.scan.records.recording.record_json import practice_to_json
from shortpencil.scan.records.recording.schema import practice_problems_of
from tests.practice.test_plan import DRILLS, a_focus

PHASES_AND_CAUSES = [("putt", 0), ("drive", 5), ("approach", 7), ("putt", 7), ("drive", 8)]


def a_sheet(phase="putt", cause=0, minutes=30, paper="a4"):
    plan = plan_of(a_focus(phase, cause, rounds=3), minutes, DRILLS, repeat=True)
    return plan, card.practice_sheet(plan, PAPERS[paper])


@pytest.mark.parametrize(("paper", "minutes"), [("a4", 5), ("letter", 30), ("a4", 45), ("letter", 120)])
@pytest.mark.parametrize(("phase", "cause"), PHASES_AND_CAUSES)
def test_every_plan_fits_a_card_as_print_and_map(paper, minutes, phase, cause):
    plan, sheet = a_sheet(phase, cause, minutes, paper)
    assert layout_from_json(layout_to_json(sheet.layout)) == sheet.layout
    assert sheet.layout.form.record == "practice"
    page = card.practice_page(
        sheet, identify(serial_from(b"0" * 16), fingerprint(sheet.layout), "Wren"), plan
    )
    own = [s for s in page if isinstance(s, Words)]
    size = PAPERS[paper]
    for s in own:
        width = min(text_width_mm(s.text, s.size_pt, s.bold), s.fit_mm or 1000)
        assert s.anchor != "left" or s.at.x + width < size.width_mm - 10, s.text
        assert s.at.y < size.height_mm - 10, s.text
    said = " ".join(s.text for s in own)
    assert "Not under trees" in said
    assert "people, animals" in said
    assert plan.cue in said
    assert to_pdf([page], size, "x").count(b"/Type /Page\n") == 1


@pytest.mark.parametrize(("paper", "minutes"), [("a4", 45), ("letter", 30), ("letter", 120)])
@pytest.mark.parametrize(("phase", "cause"), PHASES_AND_CAUSES)
def test_print_keeps_away_from_cells_and_corner_marks(paper, minutes, phase, cause):
    plan, sheet = a_sheet(phase, cause, minutes, paper)
    page = card.practice_page(sheet, identify(serial_from(b"0" * 16), fingerprint(sheet.layout)), plan)
    kept = [cell.box for cell in sheet.layout.cells if cell.kind != "words"]
    kept += [mark.box.grown(QUIET_MM) for mark in sheet.layout.fiducials]
    for s in page:
        if isinstance(s, Words):
            assert not any(box_of(s).overlaps(box) for box in kept), s.text


@pytest.mark.parametrize(("paper", "minutes"), [("a4", 5), ("a4", 45), ("letter", 30), ("letter", 120)])
@pytest.mark.parametrize(("phase", "cause"), PHASES_AND_CAUSES)
def test_a_card_in_german_fits_too(paper, minutes, phase, cause):
    with speaking("de"):
        plan, sheet = a_sheet(phase, cause, minutes, paper)
        page = card.practice_page(
            sheet, identify(serial_from(b"0" * 16), fingerprint(sheet.layout), "Wren"), plan
        )
    kept = [cell.box for cell in sheet.layout.cells if cell.kind != "words"]
    kept += [mark.box.grown(QUIET_MM) for mark in sheet.layout.fiducials]
    size = PAPERS[paper]
    for s in page:
        if isinstance(s, Words):
            width = min(text_width_mm(s.text, s.size_pt, s.bold), s.fit_mm or 1000)
            assert s.anchor != "left" or s.at.x + width < size.width_mm - 10, s.text
            assert s.at.y <= size.height_mm - 10, s.text
            assert not any(box_of(s).overlaps(box) for box in kept), s.text
    said = " ".join(s.text for s in page if isinstance(s, Words))
    assert "Übungskarte" in said
    assert "Bei Donner nicht unter" in said
    assert plan.cue in said


@pytest.mark.parametrize(("language", "round_card"), [("en", "round18"), ("de", "short18-de")])
def test_the_boxes_of_the_date_and_the_name_are_called_as_on_the_round_cards(language, round_card):
    # dots alone leave it open whether the day or the month comes first
    with speaking(language):
        _, sheet = a_sheet()
    called = {field.id: field.label for field in load_form(round_card).fields}
    for name in ("player", "date.day", "date.month", "date.year"):
        assert next(field.label for field in sheet.layout.form.fields if field.id == name) == called[name]


def test_a_card_in_german_counts_the_same_boxes():
    _, english = a_sheet()
    with speaking("de"):
        _, german = a_sheet()
    assert [(c.id, c.box) for c in german.layout.cells if c.kind == "digit" and c.id.startswith("made")] == [
        (c.id, c.box) for c in english.layout.cells if c.kind == "digit" and c.id.startswith("made")
    ]


@pytest.mark.parametrize("paper", PAPERS)
def test_boxes_stand_beside_their_drill(paper):
    plan, sheet = a_sheet("putt", 0, 45, paper)
    page = card.practice_page(sheet, identify(serial_from(b"0" * 16), fingerprint(sheet.layout)), plan)
    titles = [s for s in page if isinstance(s, Words) and " tries" in s.text and s.bold]
    drills = [step for step in plan.steps if step.drill]
    assert len(titles) == len(drills)
    for number, (title, step) in enumerate(zip(titles, drills, strict=True)):
        boxes = [cell.box for cell in sheet.layout.cells if cell.field in card.boxes_of(step)]
        following = titles[number + 1].at.y if number + 1 < len(titles) else sheet.layout.paper.height_mm
        assert boxes
        assert all(title.at.y < box.y and box.bottom < following - 3 for box in boxes)
        assert min(box.x for box in boxes) > sheet.layout.paper.width_mm / 2


def fields_of(form, **answers):
    found = {f.id: FieldReading(None, 0.99) for f in form.fields}
    for field_id, value in answers.items():
        found[field_id] = value if isinstance(value, FieldReading) else FieldReading(value, 0.99)
    return found


DAY = {"date.day": 7, "date.month": 5, "date.year": 30}


def test_a_read_card_becomes_practice_results():
    plan, sheet = a_sheet()
    form = sheet.layout.form
    assert [f.id for f in form.fields if f.id.startswith("made.")] == [
        "made.ten-putts.10.again",
        "made.finger-to-the-pole.10.1",
        "made.finger-to-the-pole.10.2",
        "made.distance-ladder.8.1",
        "made.distance-ladder.8.2",
        "made.ten-putts.10.1",
    ]
    assert plan.step("block").amount == "2 × 10"
    answers = DAY | {
        "made.finger-to-the-pole.10.1": 6,
        "made.finger-to-the-pole.10.2": 8,
        "made.ten-putts.10.1": 7,
    }
    sets = sets_from(form, fields_of(form, **answers), "SERIAL", "Wren")
    assert [(s.row, s.drill, s.made.known, s.tries.known) for s in sets] == [
        (2, "finger-to-the-pole", 6, 10),
        (3, "finger-to-the-pole", 8, 10),
        (6, "ten-putts", 7, 10),
    ]
    assert {(s.card, s.player, s.day) for s in sets} == {("SERIAL", "Wren", date(2030, 5, 7))}
    assert [(t.drill, t.made, t.tries) for t in practice_results(sets)] == [
        ("finger-to-the-pole", 14, 20),
        ("ten-putts", 7, 10),
    ]


def test_flagged_and_impossible_sets_wait_and_blank_ones_are_no_sets():
    _, sheet = a_sheet()
    form = sheet.layout.form
    doubtful = FieldReading(8, 0.6, flag="4 or 9")
    answers = {"made.ten-putts.10.1": doubtful, "made.distance-ladder.8.1": 9}
    sets = sets_from(form, fields_of(form, **answers), "S", None)
    assert [s.made.status for s in sets] == ["waits", "waits"]
    assert practice_results(sets) == ()
    assert sets_from(form, fields_of(form), "S", None) == ()


def test_a_putting_ladder_is_a_set_of_ten_putts_a_rung():
    form = load_form("putting-ladder")
    answers = DAY | {
        "r01.dropped": ("1", "2", "3", "5", "6", "8", "9", "10"),
        "r01.made": 8,
        "r02.made": 6,  # the bubbles were left out
        "r03.dropped": ("4", "5"),  # the count was
        "r04.dropped": ("1", "2"),
        "r04.made": FieldReading(5, 0.9, flag="row 4: you counted 5, the bubbles show 2"),
        "r05.made": 0,
        "r06.made": 12,  # of ten
    }
    sets = sets_from(form, fields_of(form, **answers), "SERIAL", "Wren")
    assert [(s.row, s.drill, s.made.known, s.tries.known, s.made.status) for s in sets] == [
        (1, "putting-ladder", 8, 10, "known"),
        (2, "putting-ladder", 6, 10, "known"),
        (3, "putting-ladder", 2, 10, "known"),
        (4, "putting-ladder", None, 10, "waits"),
        (5, "putting-ladder", 0, 10, "known"),
        (6, "putting-ladder", None, 10, "waits"),
    ]
    assert [(t.made, t.tries) for t in practice_results(sets)] == [(16, 40)]
    assert all(not practice_problems_of(practice_to_json(s)) for s in sets)


def test_throws_on_a_field_are_one_set_and_those_that_wait_count_nowhere():
    form = load_form("field-work")
    answers = DAY | {
        "t01.execution": "clean",
        "t02.execution": "miss",
        "t03.execution": FieldReading("clean", 0.7, flag="unclear: clean (70%) or blank (30%)"),
        "t04.execution": "clean",
        "clean": 3,
    }
    (one,) = sets_from(form, fields_of(form, **answers), "SERIAL", "Wren")
    assert (one.drill, one.made.known, one.tries.known) == ("field-work", 2, 3)
    assert sets_from(form, fields_of(form, **DAY), "SERIAL", "Wren") == ()
    assert practice_problems_of(practice_to_json(one)) == []


OWN = """
name = "own-sheet"
edition = 1
title = "own sheet"
[[head]]
id = "made.total"
type = "number"
digits = 2
label = "made"
[[head]]
id = "made.putts.many.1"
type = "number"
digits = 2
label = "made"
[rows]
prefix = "t"
count = 2
[[rows.left]]
id = "execution"
type = "choose-one"
label = "hand"
options = [{ id = "clean", label = "clean" }, { id = "miss", label = "miss" }]
[[foot]]
id = "clean"
type = "number"
digits = 1
label = "clean upshots"
[[foot]]
id = "best"
type = "number"
digits = 1
label = "best run"
"""


def test_a_sheet_of_ones_own_is_no_practice_by_the_ids_of_its_fields():
    form = form_from_toml(OWN, source="test")
    said = {"made.total": 12, "made.putts.many.1": 4, "t01.execution": "clean", "t02.execution": "miss"}
    assert sets_from(form, fields_of(form, **said), "SERIAL", None) == ()
    assert not has_sets(form)  # and `focus` says that it is no part of the advice


def test_sets_of_a_sheet_and_of_drills_on_one_form_have_rows_of_their_own():
    form = form_from_toml(
        OWN.replace("made.putts.many.1", "made.putts.10.1")
        .replace('id = "execution"', 'id = "dropped"')
        .replace("choose-one", "choose-many")
        + '[[rows.left]]\nid = "made"\ntype = "number"\ndigits = 1\nlabel = "made"\n',
        source="test",
    )
    said = {"made.putts.10.1": 4, "t01.dropped": ("clean",), "t02.made": 2}
    sets = sets_from(form, fields_of(form, **said), "SERIAL", None)
    assert [(s.row, s.drill, s.made.known) for s in sets] == [
        (1, "putting-ladder", 1),
        (2, "putting-ladder", 2),
        (3, "putts", 4),
    ]
    assert rules_of(form).best is None  # the best of what, its author knows


def test_sheets_of_other_kinds_are_no_practice():
    form = load_form("round18")
    assert sets_from(form, fields_of(form, **{"h01.score": 3}), "SERIAL", "Wren") == ()


@pytest.mark.parametrize(
    "wrong",
    [{"date.day": 31, "date.month": 2}, {"date.day": None}, {"date.month": FieldReading(5, 0.5, flag="?")}],
)
def test_a_day_that_is_none_stays_open(wrong):
    _, sheet = a_sheet()
    form = sheet.layout.form
    sets = sets_from(form, fields_of(form, **(DAY | wrong | {"made.ten-putts.10.1": 7})), "S", None)
    assert [s.day for s in sets] == [None]


def test_cautions_of_the_plan_are_all_on_the_card():
    plan, sheet = a_sheet("drive", 5)
    identity = identify(serial_from(b"0" * 16), fingerprint(sheet.layout))
    said = " ".join(s.text for s in card.practice_page(sheet, identity, plan) if isinstance(s, Words))
    for caution in words.CAUTIONS:
        assert caution[:30] in said
