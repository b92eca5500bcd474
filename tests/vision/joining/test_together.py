"""Photos of one card: what they say is multiplied, what one cuts off another shows, differences are asked."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.reading import PHOTOS_DISAGREE, CardReading
from shortpencil.scan.vision.deciding.decode import decode
from shortpencil.scan.vision.deciding.flags import OUTSIDE
from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence
from shortpencil.scan.vision.joining.together import (
    MOST_DISAGREEMENTS,
    Part,
    combined,
    disagreements,
    read_together,
)

LAYOUT = builtin_layout("round9", "a4", "m", "right")
BUBBLES = [c.id for c in LAYOUT.cells if c.kind == "bubble"]
BOXES = [c.id for c in LAYOUT.cells if c.kind == "digit"]
BLANK, FILLED = (0.0, -12.0, -8.0), (-12.0, 0.0, -6.0)
#: As sure as many a faint mark leaves the reader: twice as likely filled as blank.
MAYBE = (-math.log(2), 0.0, -5.0)


def box(digit: int | None, sure: float = 12.0) -> np.ndarray:
    logs = np.full(12, -sure, np.float32)
    logs[10 if digit is None else digit] = 0.0
    return logs


def evidence(bubbles=None, digits=None, outside=()) -> Evidence:
    return Evidence(
        bubbles=dict.fromkeys(BUBBLES, BLANK) | (bubbles or {}),
        digits={cell: box(None) for cell in BOXES} | (digits or {}),
        words={c.id: 0.0 for c in LAYOUT.cells if c.kind == "words"},
        outside=frozenset(outside),
    )


def part(found: Evidence, sha: str = "a") -> Part:
    decoded = decode(LAYOUT.form, found)
    reading = CardReading(
        source=f"{sha}.jpg",
        status="read",
        serial="8JSHR4Z5",
        quality={"px_per_mm": 8.0},
        cells=decoded.cells,
        fields=decoded.fields,
        findings=decoded.findings,
        photo_sha256=sha,
    )
    return Part(reading, found)


def test_independent_photos_add_their_logs_and_copies_count_as_one():
    cell = BUBBLES[0]
    pair = [evidence({cell: MAYBE}), evidence({cell: MAYBE})]
    assert combined(pair, worth=1.0).bubbles[cell][0] == pytest.approx(-math.log(4))
    assert combined(pair, worth=0.0).bubbles[cell][0] == pytest.approx(-math.log(2))


def test_the_order_of_the_photos_changes_nothing():
    a = evidence({BUBBLES[0]: MAYBE, BUBBLES[1]: FILLED}, {BOXES[0]: box(3, 2.0)}, outside=BUBBLES[5:9])
    b = evidence({BUBBLES[0]: FILLED}, {BOXES[0]: box(8, 1.0)}, outside=BUBBLES[7:20])
    one, other = combined([a, b]), combined([b, a])
    assert one.outside == other.outside == set(BUBBLES[7:9])
    assert one.bubbles.keys() == other.bubbles.keys()
    for cell in one.bubbles:
        assert one.bubbles[cell] == pytest.approx(other.bubbles[cell])
    for cell in one.digits:
        assert one.digits[cell] == pytest.approx(other.digits[cell])


def test_a_cell_that_one_photo_cuts_off_is_as_the_other_shows_it():
    cell, gone = BUBBLES[0], BUBBLES[1]
    # What a reader makes of the picture's repeated edge must not count.
    cut = evidence({cell: BLANK}, outside=[cell, gone])
    whole = evidence({cell: FILLED}, outside=[gone])
    both = combined([cut, whole])
    assert both.bubbles[cell] == pytest.approx(FILLED)
    assert both.outside == {gone}
    assert disagreements([cut, whole]) == set()


def test_photos_disagree_where_both_are_sure_and_not_where_one_is_not():
    cell = BOXES[0]
    assert disagreements([evidence(digits={cell: box(3)}), evidence(digits={cell: box(8)})]) == {cell}
    assert disagreements([evidence(digits={cell: box(3)}), evidence(digits={cell: box(8, 1.0)})]) == set()
    assert disagreements([evidence(digits={cell: box(3)})] * 2) == set()


def test_a_mark_made_between_the_photos_is_asked():
    cell = next(c.id for c in LAYOUT.cells if c.field == "h03.drive")
    parts = [part(evidence(), "a"), part(evidence({cell: FILLED}), "b")]
    assert parts[1].reading.fields["h03.drive"].flag != PHOTOS_DISAGREE
    reading = read_together(parts, LAYOUT)
    assert reading.status == "read"
    assert reading.fields["h03.drive"].flag is not None
    assert {reading.photo_sha256, *reading.together} == {"a", "b"}


def test_a_card_photographed_before_and_after_is_to_be_read_from_the_last_photo():
    first_of = {}
    for cell in LAYOUT.cells:
        if cell.kind == "bubble":
            first_of.setdefault(cell.field, cell.id)
    marked = dict.fromkeys(list(first_of.values())[: MOST_DISAGREEMENTS + 1], FILLED)
    reading = read_together([part(evidence(), "a"), part(evidence(marked), "b")], LAYOUT)
    assert reading.status == "rejected"
    assert f"differ in {MOST_DISAGREEMENTS + 1} fields" in (reading.reason or "")
    assert "Read the last one alone" in (reading.reason or "")


def test_what_no_photo_shows_is_asked_and_too_much_of_it_refused():
    count = len(LAYOUT.cells)
    ids = [c.id for c in LAYOUT.cells]
    few = [part(evidence(outside=ids[: count // 10]), sha) for sha in "ab"]
    assert read_together(few, LAYOUT).fields[LAYOUT.cells[0].field].flag == OUTSIDE
    many = [part(evidence(outside=ids[: count // 2]), sha) for sha in "ab"]
    assert "on none of its photos" in (read_together(many, LAYOUT).reason or "")


def test_two_doubtful_photos_settle_what_neither_settles_alone():
    field = "hand"  # no sum has a say in it
    cell = next(c.id for c in LAYOUT.cells if c.field == field)
    doubtful = part(evidence({cell: (-4.0, 0.0, -6.0)}))
    assert doubtful.reading.fields[field].p < read_together([doubtful, doubtful], LAYOUT).fields[field].p


def test_the_shares_of_answers_count_once_however_many_photos_there_are():
    nothing_seen = np.log(ANSWER_SHARES).astype(np.float32)
    photos = [evidence(digits={BOXES[0]: nothing_seen})] * 5
    assert combined(photos, worth=1.0).digits[BOXES[0]] == pytest.approx(nothing_seen)
