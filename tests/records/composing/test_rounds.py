"""The parts of a round: how their fields stand."""

from __future__ import annotations

import pytest

from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value


@pytest.mark.parametrize("part", [Round, Hole, Throw])
def test_fields_stand_in_the_order_of_a_stored_text(part: type[Round | Hole | Throw]):
    # A text is made of them a tenth slower otherwise (docs/speed.md).
    assert list(part.__struct_fields__) == sorted(part.__struct_fields__)


def test_a_value_is_given_first_and_all_else_by_name():
    first, *others = Value.__struct_fields__
    assert first == "value"
    assert others == sorted(others)
    with pytest.raises(TypeError):
        Value(3, "read")  # type: ignore[misc]
