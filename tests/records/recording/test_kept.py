"""A reading's text is Python's own JSON of it to the byte, whoever writes it."""

from __future__ import annotations

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from shortpencil.scan.reading import CellReading, FieldReading, reading_to_json
from shortpencil.scan.records.recording.kept import reading_from_text, reading_text
from tests.records.cards import PLAYED, reading, round_form

CARD = reading(round_form(), PLAYED)
CHANCES = st.one_of(st.floats(0, 1), st.floats(0, 1e-3), st.sampled_from([0.0, 5.2e-5, 1e-4, 1e-6]))
MEASURES = st.one_of(
    st.floats(), st.sampled_from([1e-5, 1e15, 1e16, 1e22]), st.text(max_size=3), st.booleans()
)
NAMES = st.one_of(st.text(max_size=9), st.just("na\udcefve-e-"))  # one is no text, as of a file may be


@given(name=NAMES, flag=NAMES, p=CHANCES, measure=MEASURES)
def test_the_text_of_a_reading_is_what_python_writes(name, flag, p, measure) -> None:
    first, *_ = CARD.fields
    cell, *_ = CARD.cells or {"h01.score.1": None}
    card = replace(
        CARD,
        source=name,
        quality={"blur_mm": measure},
        cells={**CARD.cells, cell: CellReading(True, p, flag)},
        fields={**CARD.fields, first: FieldReading(None, p, flag, alternatives=(("a", p), (3, 1 - p)))},
    )
    data = reading_to_json(card)
    del data["record"]
    text = reading_text(card)
    assert text == json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    assert reading_from_text(text).source == name
