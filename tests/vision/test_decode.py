"""Laws of decoding a whole card: neat cards come back, doubts are settled or asked, nothing is guessed."""

from __future__ import annotations

import random

import numpy as np
import pytest

from forms.catalog import load_form
from scan.vision.decode import Evidence, decode
from tests.vision.marked_cards import cell_values, evidence_of, marked_card, with_cell

ROUND_18 = load_form("round18")


def card(seed: int = 3) -> tuple[dict, dict, Evidence]:
    truth = marked_card(ROUND_18, random.Random(seed))
    cells = cell_values(ROUND_18, truth)
    return truth, cells, evidence_of(ROUND_18, cells)


@pytest.mark.parametrize("seed", range(5))
def test_a_neat_card_reads_back_as_itself(seed):
    truth, cells, evidence = card(seed)
    decoded = decode(ROUND_18, evidence)
    assert {name: cell.value for name, cell in decoded.cells.items()} == cells
    assert [name for name, field in decoded.fields.items() if field.flag] == []
    assert decoded.findings == ()
    assert decoded.fields["total"].value == truth["total"]


def test_nan_is_refused():
    _, _, evidence = card()
    with pytest.raises(ValueError, match="NaN"):
        decode(ROUND_18, with_cell(evidence, "total.3", np.full(12, np.nan)))
