"""What the machine says about one card: values, probabilities, doubts, where each came from.

A reading is made by `scan.vision` and kept by `scan.records`; this module knows neither pictures nor tables,
so both may use it. A *cell* is one thing printed (a bubble, a digit box, a strip for words); a *field* is one
question of the form, answered by its cells together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

READING_SCHEMA = 1

#: Key of the picture of the whole flat card among a reading's pictures; no field's id begins with this sign.
CARD_PICTURE = "@card"

#: Why a field is asked of which two photos of one card are sure, each of something else.
PHOTOS_DISAGREE = "the photos of this card disagree here; was it marked in between?"

#: Kinds of doubt, one a flag; the flag's sentence is for people, what is done goes by its kind.
UNCLEAR = "unclear"  #: more than one answer is likely
OVERRULED = "overruled"  #: the ink says one thing, the rest of the card another
SEVERAL = "several"  #: filled where there is one answer
STRUCK = "struck"  #: out, and nothing else is filled
SCRIBBLED = "scribbled"  #: over, or no digit
MISCOUNTED = "miscounted"  #: a tally far from the marks that it counts
UNSEEN = "unseen"  #: not in the picture, or hidden
DIFFERING = "differing"  #: two photos are sure, each of something else

#: How a doubtful field is asked: alone, or on one page with the others of its card. What is flagged and asked
#: in neither way is left as doubt, and counts by its probability.
ONE_BY_ONE, GLANCE = "one by one", "glance"

#: What a field can hold: an option's id (choose one), options' ids (choose many), a number, or nothing.
FieldValue = str | tuple[str, ...] | int | None


class CellReading(NamedTuple):
    """One cell: bubble -> bool, digit box -> 0..9 or None (blank), words -> bool (something is written).

    A named tuple, as `FieldReading` is, since a card has 850 of them and frozen dataclasses take four times
    as long to make.
    """

    value: bool | int | None
    confidence: float
    flag: str | None = None


class Lesson(NamedTuple):
    """A box that shows how a player writes a digit; `view` is the box as the digit network sees it."""

    digit: int
    view: bytes


class FieldReading(NamedTuple):
    """One question of the form as answered on this card.

    Attributes
    ----------
    value : the most probable answer under ink and rules; None when unmarked
    p : probability that `value` is right
    flag : why a person should look, or None
    source : "read" (the ink says it) or "inferred" (a rule settled or overruled the ink)
    rule : id of the rule that settled it, when inferred
    alternatives : other answers with their probability, best first
    ask : how a flagged field is asked: `ONE_BY_ONE`, `GLANCE`, or None where it is
        left as doubt
    kind : what kind of doubt the flag tells of, None where there is none
    """

    value: FieldValue
    p: float
    flag: str | None = None
    source: str = "read"
    rule: str | None = None
    alternatives: tuple[tuple[FieldValue, float], ...] = ()
    ask: str | None = None
    kind: str | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """A promise of the card that does not hold, in words for the player."""

    rule: str
    cells: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class CardReading:
    """Everything one photo says about one card.

    `pictures` holds PNG bytes without metadata, by field id: the strips for words that have ink, and each
    flagged field; and the whole flat card as a JPEG under `CARD_PICTURE`. `views` holds the digit boxes with
    ink as the network sees them, by cell id, where the player's hand is to be learnt from them. `together`
    are the SHA-256 of further photos of the same card that were read together with this one.
    """

    source: str
    status: str  # "read" | "rejected"
    reason: str | None = None
    serial: str | None = None
    form: str | None = None  # fingerprint of the field map, key of the catalog
    form_name: str | None = None
    quality: Mapping[str, float | str | bool] = field(default_factory=dict)
    cells: Mapping[str, CellReading] = field(default_factory=dict)
    fields: Mapping[str, FieldReading] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    views: Mapping[str, bytes] = field(default_factory=dict)
    photo_sha256: str | None = None
    together: tuple[str, ...] = ()

    @property
    def flagged(self) -> tuple[str, ...]:
        """Ids of the doubtful fields, in the card's order."""
        return tuple(name for name, answer in self.fields.items() if answer.flag is not None)

    @property
    def asked(self) -> tuple[str, ...]:
        """Ids of the doubtful fields that are worth a question, in the card's order."""
        return tuple(name for name, answer in self.fields.items() if answer.ask is not None)


def reading_to_json(reading: CardReading, record: dict[str, Any] | None = None) -> dict[str, Any]:
    """Return the published JSON of one card (`read --json`, element of ``cards``), plain types only."""
    return {
        "source": reading.source,
        "status": reading.status,
        "reason": reading.reason,
        "serial": reading.serial,
        "form": reading.form_name,
        "fingerprint": reading.form,
        "quality": dict(reading.quality),
        "cells": {
            cell: {"value": r.value, "confidence": round(r.confidence, 6), "flag": r.flag}
            for cell, r in reading.cells.items()
        },
        "fields": {name: _field_json(answer) for name, answer in reading.fields.items()},
        "record": record,
        "together": list(reading.together),
        "findings": [{"rule": f.rule, "cells": list(f.cells), "says": f.says} for f in reading.findings],
    }


def _field_json(answer: FieldReading) -> dict[str, Any]:
    return {
        "value": _plain(answer.value),
        "p": round(answer.p, 6),
        "flag": answer.flag,
        "source": answer.source,
        "rule": answer.rule,
        "alternatives": [[_plain(value), round(p, 6)] for value, p in answer.alternatives],
        "ask": answer.ask,
        "kind": answer.kind,
    }


def _plain(value: FieldValue) -> str | list[str] | int | None:
    return list(value) if isinstance(value, tuple) else value
