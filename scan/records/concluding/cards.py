"""What the store knows of one card, for the page that asks about it: form, reading, answers, what waits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from shortpencil.forms.form import Form
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.answers import Answer, lay_over


@dataclass(frozen=True, slots=True)
class Card:
    """Everything the store knows of one card, for the page that asks about it."""

    serial: str
    form: Form
    reading: CardReading  # as the machine read it, with pictures
    answers: tuple[Answer, ...]
    player: str | None
    waiting: tuple[str, ...]

    @property
    def fields(self) -> Mapping[str, FieldReading]:
        """The fields as they stand after the answers."""
        return lay_over(self.reading.fields, self.answers)


@dataclass(frozen=True, slots=True)
class Waiting:
    """One field that waits for a person."""

    serial: str
    field: str
    reading: FieldReading
