"""A reading that no round can be speaks against the measure."""

from __future__ import annotations

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.vision.doubting.possible import doubled_answers, impossible
from shortpencil.scan.vision.evidence import Evidence

LAYOUT = builtin_layout("round18", "a4", "m", "right")
CHOICES = [f for f in LAYOUT.form.fields if f.type == "choose-one" and len(f.options) > 1]


def evidence(doubled: int, single: int) -> Evidence:
    """The first fields with two answers, the next with one."""
    bubbles = {}
    for i, field in enumerate(CHOICES):
        filled = 2 if i < doubled else 1 if i < doubled + single else 0
        for k, option in enumerate(field.options):
            bubbles[f"{field.id}.{option.id}"] = (-9.0, 0.0, -5.0) if k < filled else (0.0, -9.0, -5.0)
    return Evidence(bubbles, {}, {}, frozenset())


def test_fields_with_two_answers_are_counted() -> None:
    assert doubled_answers(evidence(3, 40), LAYOUT.form) == (3, 43)


def test_a_few_of_them_are_a_players_and_many_are_the_prints() -> None:
    assert impossible(evidence(6, 30), LAYOUT.form) is None
    assert impossible(evidence(12, 60), LAYOUT.form) is None
    assert "two answers" in (impossible(evidence(20, 40), LAYOUT.form) or "")
