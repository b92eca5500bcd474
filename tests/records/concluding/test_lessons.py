"""Which boxes teach: those that a person or a sum vouches for, and no others."""

from __future__ import annotations

from dataclasses import replace

import pytest

from shortpencil.scan.reading import SCRIBBLED, CardReading, CellReading, FieldReading
from shortpencil.scan.records.composing.answers import Answer
from shortpencil.scan.records.concluding.lessons import PERSON, SUMS, Vouched, vouched_for
from tests.records.cards import PLAYED, RECORDED_AT, reading, round_form

FORM = round_form()
SCORES = ("h01.score", "h02.score", "h03.score")


def card(**changes: FieldReading) -> CardReading:
    """The test card with every field certain, every number's boxes read as they stand at the right."""
    read = reading(FORM, PLAYED)
    fields = {name: replace_p(answer, 0.99999) for name, answer in read.fields.items()} | {
        name.replace("_", "."): answer for name, answer in changes.items()
    }
    return replace(read, fields=fields, cells=boxes_of(fields))


def replace_p(answer: FieldReading, p: float) -> FieldReading:
    return answer._replace(p=p)


def boxes_of(fields: dict[str, FieldReading]) -> dict[str, CellReading]:
    cells = {}
    for field in FORM.fields:
        value = fields[field.id].value if field.id in fields else None
        if field.type == "number":
            text = "" if value is None else str(value)
            for cell, sign in zip(field.cell_ids, text.rjust(field.digits), strict=True):
                cells[cell] = CellReading(None if sign == " " else int(sign), 1.0)
    return cells


def written(read: CardReading) -> set[str]:
    return {cell for cell, box in read.cells.items() if box.value is not None}


def answer(name: str, value: object, **more: object) -> Answer:
    return Answer(name, value, "Robin", RECORDED_AT, **more)  # type: ignore[arg-type]


def taught(read: CardReading, *answers: Answer, ink: set[str] | None = None) -> dict[str, Vouched]:
    return vouched_for(FORM, read, answers, written(read) if ink is None else ink)


def test_scores_that_add_up_to_the_written_total_teach() -> None:
    found = taught(card())
    by_sums = {cell.rsplit(".", 1)[0] for cell, box in found.items() if box.by == SUMS}
    assert by_sums >= {*SCORES, "total"}
    assert found["h01.score.2"] == Vouched(PLAYED["h01.score"], SUMS)


def test_numbers_that_no_sum_checks_teach_nothing() -> None:
    assert not {cell for cell in taught(card()) if cell.startswith(("date.", "h01.par", "h01.putt1"))}


@pytest.mark.parametrize(
    "spoilt",
    [
        FieldReading(PLAYED["h02.score"], 0.999),  # not sure enough
        FieldReading(PLAYED["h02.score"], 0.99999, "faint"),  # asked about
        FieldReading(None, 0.99999),
        FieldReading(PLAYED["h02.score"] + 1, 0.99999),  # the sum does not come out
    ],
)
def test_one_uncertain_score_keeps_all_of_them_from_teaching(spoilt: FieldReading) -> None:
    found = taught(card(h02_score=spoilt))
    assert not {cell for cell in found if ".score." in cell or cell.startswith("total")}


def test_a_blank_total_vouches_for_nothing() -> None:
    assert not {cell for cell in taught(card(total=FieldReading(None, 0.99999))) if ".score." in cell}


def test_a_tally_teaches_where_the_marks_come_to_it() -> None:
    assert taught(card())["tally.drive.2"] == Vouched(2, SUMS)
    unsure = FieldReading("miss", 0.99)
    assert "tally.drive.2" not in taught(card(h01_drive=unsure))


def test_an_answer_teaches_and_its_withdrawal_unteaches() -> None:
    read = card()
    given = answer("h02.putt1.distance", 7)
    box = "h02.putt1.distance.2"
    assert taught(read, given, ink={box})[box] == Vouched(7, PERSON)
    assert box not in taught(read, given, answer("h02.putt1.distance", None, takes_back=True), ink={box})


def test_the_last_answer_counts() -> None:
    box = "h02.putt1.distance.2"
    found = taught(card(), answer("h02.putt1.distance", 7), answer("h02.putt1.distance", 1), ink={box})
    assert found[box].digit == 1


def test_an_answer_closes_a_sum() -> None:
    doubtful = FieldReading(PLAYED["h02.score"] + 1, 0.6, "unclear")
    found = taught(card(h02_score=doubtful), answer("h02.score", PLAYED["h02.score"]))
    assert found["h01.score.2"].by == SUMS
    assert found["h02.score.2"] == Vouched(PLAYED["h02.score"], PERSON)


def test_a_scribble_teaches_nothing_whatever_the_answer() -> None:
    over = FieldReading(None, 0.5, "written over or not a digit", kind=SCRIBBLED)
    read = card(h02_score=over)
    found = taught(read, answer("h02.score", 4), ink=written(read) | {"h02.score.2"})
    assert "h02.score.2" not in found


@pytest.mark.parametrize(
    ("ink", "boxes"),
    [
        ({1}, {1: 7}),  # a digit at the left, and only there
        ({1, 2}, {2: 7}),  # ink in the first box that was read as blank: a neighbour's tail
        (set(), {}),
    ],
)
def test_ink_tells_where_a_number_stands(ink: set[int], boxes: dict[int, int]) -> None:
    name = "h02.putt1.distance"
    read = card()
    cells = {**read.cells, f"{name}.1": CellReading(None, 1.0), f"{name}.2": CellReading(7, 1.0)}
    found = taught(replace(read, cells=cells), answer(name, 7), ink={f"{name}.{place}" for place in ink})
    assert {c: v.digit for c, v in found.items() if c.startswith(name)} == {
        f"{name}.{place}": digit for place, digit in boxes.items()
    }


def test_a_zero_before_a_digit_teaches_nothing() -> None:
    name = "h02.putt1.distance"
    read = card()
    cells = {**read.cells, f"{name}.1": CellReading(0, 1.0), f"{name}.2": CellReading(7, 1.0)}
    found = taught(replace(read, cells=cells), answer(name, 7), ink={f"{name}.1", f"{name}.2"})
    assert {c: v.digit for c, v in found.items() if c.startswith(name)} == {f"{name}.2": 7}
