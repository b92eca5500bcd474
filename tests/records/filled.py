"""A store with something in every table, for tests of what must keep all of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from sqlalchemy import select

from shortpencil.forms.catalog import builtin_layout
from shortpencil.forms.field_map import fingerprint, layout_to_json
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import PracticeSet, Value
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from shortpencil.scan.records.storing.told import ToldSession
from tests.records.cards import PLAYED, RECORDED_AT, reading

LAYOUT = builtin_layout("round9", "a4", "m", "right")
FORM = LAYOUT.form
NEAR = "h02.putt1.distance"


def add_card(store: Store, number: int, *, player: str = "Wren") -> str:
    """Store a card whose distance waits, with a picture and boxes of its player's hand."""
    serial = f"CARD{number:04d}"
    read = reading(
        FORM,
        PLAYED | {NEAR: 7},
        serial=serial,
        photo=f"{number:064x}",
        flags={NEAR: "unclear"},
        pictures={NEAR: bytes(range(256)) * 8},
    )
    read = replace(
        read,
        form=fingerprint(LAYOUT),
        views={f"{NEAR}.2": bytes(896), "total.1": bytes([number % 256]) * 896},
    )
    round_ = round_from_reading(FORM, read, recorded_at=RECORDED_AT, player=player)
    store.add_reading(read, FORM, round_, form_text=layout_to_json(LAYOUT))
    return serial


def fill(place: str | Path, cards: int = 4) -> None:
    """Make a store: cards, answers, one taken back, a rejected photo, practice, a hand that is off."""
    with open_store(place) as store:
        for number in range(cards):
            add_card(store, number)
        store.answer("CARD0000", NEAR, 7, "Robin", RECORDED_AT)
        if cards > 1:
            store.answer("CARD0001", NEAR, 8, "Robin", RECORDED_AT)
            store.take_back("CARD0001", NEAR, "Robin", RECORDED_AT)
        rejected = reading(FORM, {}, serial="X", photo="f" * 64)
        store.add_reading(replace(rejected, status="rejected", reason="too dark"), FORM, None)
        store.erase_hand("Robin", on=False)
        store.ask_in("Robin", "little")
        tries, made = Value(10, source="entered"), Value(6, source="entered")
        store.add_rounds([], [PracticeSet("SETS", 1, None, "Wren", "ladder", tries, made)])
        store.tell_session(ToldSession(date(2026, 5, 1), "putt", 30, "Wren"), RECORDED_AT)
        store.set_aside(add_card(store, 99), RECORDED_AT, kept=True)


def rows(place: str | Path) -> dict[str, list[tuple]]:
    """Everything in a store, table by table."""
    with open_store(place) as store, reading_from(store._engine) as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))]
            for table in tables.metadata.sorted_tables
        }
