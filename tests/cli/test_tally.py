"""What `read` sums up at the end: a line that follows from what was read, and what to do next."""

from __future__ import annotations

import dataclasses

from shortpencil.scan.cli.read_report import Tally
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding.outcomes import NEW, SAME_PHOTO, Kept
from tests.records import cards


def kept(serial: str, outcome: str = NEW) -> Kept:
    form = cards.round_form(3)
    read = cards.reading(form, cards.PLAYED, serial=serial)
    played = round_from_reading(form, read, recorded_at=cards.RECORDED_AT)
    return Kept(outcome, read, dataclasses.replace(played, player="Wren", course="Quern Hollow"), serial)


def test_what_comes_next_is_said_only_where_nothing_is_asked() -> None:
    tally = Tally()
    tally.photos = 1
    tally.add(kept("ABCD2345"), (), "")
    assert "Nothing to ask. Next: shortpencil rounds, or shortpencil focus." in tally.lines()
    assert not tally.attention
    tally.add(kept("ABCD2346"), ("total",), "")
    assert not any("Nothing to ask" in line for line in tally.lines())
    assert tally.attention


def test_a_photo_that_could_not_be_stored_needs_attention() -> None:
    tally = Tally()
    tally.not_kept.append("a.jpg")
    assert tally.attention
    assert "Read again once mended, as said above: a.jpg." in tally.lines()


def test_a_card_is_counted_once_by_what_its_first_photo_did() -> None:
    tally = Tally()
    tally.photos = 2
    tally.add(kept("ABCD2345"), (), "")
    tally.add(kept("ABCD2345", SAME_PHOTO), (), "")
    assert tally.lines()[0] == "2 photos: 1 card (1 new)."
