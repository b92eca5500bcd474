"""A store with cards of doubtful fields: the sample with three questions, doubts laid over its reading."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.asking import ask_of
from shortpencil.scan.intake import keep, round_of
from shortpencil.scan.reading import CardReading, FieldReading, FieldValue
from shortpencil.scan.records.store import Store
from tests.review.conftest import NOON

#: Field -> what the reader thinks besides what it read, and how probable that is. All are at a glance.
DOUBTS: dict[str, tuple[FieldValue, float]] = {
    "h02.score": (9, 0.04),
    "h03.putt1": ("miss", 0.04),
    "h07.why": (2, 0.05),
    "h09.drive": (None, 0.03),
    "date.day": (7, 0.03),
}


def with_doubts(reading: CardReading) -> CardReading:
    """The reading with these fields doubtful; what else it asks stays."""
    fields = dict(reading.fields)
    for name, (other, p) in DOUBTS.items():
        now = fields[name]
        others = ((other if other != now.value else None, p),)
        flag = f"unclear: {now.value} or {other}"
        ask = ask_of(name, now.value, 1 - p, others)
        fields[name] = FieldReading(now.value, 1 - p, flag, alternatives=others, ask=ask)
    return replace(reading, fields=fields)


def doubtful_store(
    place: Path, catalog: Catalog, reading: CardReading, serials: tuple[str, ...] = ()
) -> None:
    """Make a store of the reading with doubts, once under each serial."""
    from shortpencil.scan.records.store import open_store

    with open_store(place) as store:
        for number, serial in enumerate(serials or (str(reading.serial),)):
            one = replace(with_doubts(reading), serial=serial, photo_sha256=f"{number:064x}")
            kept = keep(one, round_of(one, catalog, NOON), catalog, store)
            assert kept


def glance_of(store: Store, serial: str) -> tuple[str, ...]:
    """The fields of a card that are seen together."""
    return dict(store.glance_fields()).get(serial, ())
