"""The second edition of the card, and the first one, which stays readable for good."""

from __future__ import annotations

import pickle
import threading

import pytest

from shortpencil.forms.catalog import (
    Catalog,
    builtin_fingerprints,
    builtin_names,
    earlier_fingerprints,
    load_form,
)
from shortpencil.forms.drawing import OUTLINE_GREY, Outline, draw
from shortpencil.forms.field_map import fingerprint
from shortpencil.forms.form import Course, CourseHole
from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import FOLD_CLEAR_MM, PAPERS, STUD_MM, arrange
from shortpencil.forms.pdf import identify
from shortpencil.forms.serials import serial_from

SERIAL = serial_from(bytes(range(16)))


def layout_of(form: str = "round18", paper: str = "a4", unit: str = "m", hand: str = "right"):
    return arrange(load_form(form, unit=unit, hand=hand), PAPERS[paper]).layout


def test_cards_of_earlier_editions_are_known_by_their_fingerprints(tmp_path) -> None:
    catalog = Catalog(tmp_path)
    assert not earlier_fingerprints() & set(builtin_fingerprints())
    of_practice = []
    for name in earlier_fingerprints():
        layout = catalog.find(name)
        assert layout is not None
        assert layout.form.edition == 1
        assert fingerprint(layout) == name
        if layout.form.name in ("field-work", "putting-ladder"):  # other words; cells where they were
            of_practice.append((layout.form.name, layout.paper, layout.form.unit, layout.form.hand))
        else:
            assert layout.edition == 1
    assert len(earlier_fingerprints()) == 24 + 16
    assert len(set(of_practice)) == 16
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", ["field-work", "putting-ladder", "field-work-de", "putting-ladder-de"])
def test_a_card_of_practice_carries_cautions(form: str) -> None:
    """Discs are thrown hard on it, and no page of advice lies beside it."""
    said = load_form(form).statement
    if form.endswith("-de"):
        assert "niemand" in said.lower()
        assert "hör auf" in said
        return
    assert "nobody" in said.lower()
    assert "if anything hurts" in said


def test_a_catalog_is_given_to_children_while_it_finds_more(tmp_path) -> None:
    """As `read` does: one thread looks layouts up, another sends the catalog to a new child."""
    catalog, names, stop = Catalog(tmp_path), sorted(builtin_fingerprints()), threading.Event()

    def find_on() -> None:
        while not stop.is_set():
            catalog._found.clear()
            for name in names:
                catalog._found[name] = some

    some = catalog.find(names[0])
    assert some is not None
    finder = threading.Thread(target=find_on)
    finder.start()
    try:
        for _ in range(30):
            assert pickle.loads(pickle.dumps(catalog)).find(names[0]) == some
    finally:
        stop.set()
        finder.join()


def test_a_card_of_the_first_edition_keeps_its_places(tmp_path) -> None:
    """Millimetres of the 18-hole card on A4, as the first edition's field map said."""
    layout = Catalog(tmp_path).find("YR2N6X")
    assert layout is not None
    assert layout.cell("h01.score.2").box == Box(31.6, 60.386, 5.0, 7.0)
    assert layout.cell("h01.putt2.distance.2").box == Box(97.8, 60.386, 5.0, 7.0)
    assert len(layout.studs) == 24


@pytest.mark.parametrize("form", ["round9", "round18", "round27"])
@pytest.mark.parametrize("paper", PAPERS)
def test_putt_2_stands_together_on_one_side_of_the_fold_with_a_course_too(form: str, paper: str) -> None:
    rows = load_form(form).rows
    course = Course("Millpond", "short tees", tuple(CourseHole(i + 1, 3, 80.0, "80 m") for i in range(rows)))
    small = (3.4 - layout_of(form, paper).cell("h01.putt2.clean").box.w) / 2  # 27 holes: stands in mid-column
    for printed in (None, course):
        layout = arrange(load_form(form, course=printed), PAPERS[paper]).layout
        bubble, near, far = (layout.cell(f"h01.putt2.{c}").box for c in ("clean", "distance.1", "distance.2"))
        assert far.right <= PAPERS[paper].width_mm / 2 - FOLD_CLEAR_MM + 1e-6
        assert near.x - bubble.right < 1.6 + small


def test_distances_have_wider_boxes_than_the_sums_check() -> None:
    layout = layout_of()
    assert layout.cell("h01.putt1.distance.1").box.w == pytest.approx(5.8)
    assert layout.cell("h01.score.1").box.w == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("paper", "unit", "order"),
    [
        ("a4", "m", ["day", "month", "year"]),
        ("a4", "ft", ["day", "month", "year"]),
        ("letter", "m", ["day", "month", "year"]),
        # As the month comes first in the United States: Unicode CLDR, en-US short date M/d/yy (from memory).
        ("letter", "ft", ["month", "day", "year"]),
    ],
)
def test_the_date_is_labelled_in_the_usual_order(paper: str, unit: str, order: list[str]) -> None:
    sheet = arrange(load_form("round18", unit=unit), PAPERS[paper])
    places = {part: sheet.layout.cell(f"date.{part}.1").box.x for part in order}
    assert sorted(places, key=places.__getitem__) == order
    labels = [text for text, _ in sheet.labels if any(part in text for part in order)]
    assert labels == [f"Date: {order[0]}", order[1], "year 20"]


def test_who_throws_left_is_printed_and_not_asked() -> None:
    assert any(cell.field == "hand" for cell in layout_of().cells)
    assert not any(cell.field == "hand" for cell in layout_of(hand="left").cells)


@pytest.mark.parametrize("form", builtin_names())
@pytest.mark.parametrize("paper", PAPERS)
def test_more_small_squares_and_none_on_a_cell(form: str, paper: str) -> None:
    layout = layout_of(form, paper)
    assert len({x.x for x in layout.studs}) == 5
    for stud in layout.studs:
        square = Box(stud.x - STUD_MM / 2, stud.y - STUD_MM / 2, STUD_MM, STUD_MM)
        assert not any(square.overlaps(cell.box) for cell in layout.cells if cell.kind != "words")


def test_nothing_that_must_survive_a_copier_is_grey() -> None:
    """A grey is printed as dots that a copier drops: outlines are black and thin instead."""
    sheet = arrange(load_form("round18"), PAPERS["a4"])
    shapes = draw(sheet, identify(SERIAL, fingerprint(sheet.layout)))
    assert OUTLINE_GREY == 0.0
    assert {shape.grey for shape in shapes if isinstance(shape, Outline)} == {0.0}
