"""A photo that was sent is read with its player's hand and teaches it, unless the page was told otherwise."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.intake import read_file
from shortpencil.scan.joining import Keeper
from shortpencil.scan.reading import CardReading, Lesson
from shortpencil.scan.records.recording.kept import hands_from_text, hands_text
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.readers import Readers
from shortpencil.scan.review.receiving import Receiver
from shortpencil.scan.vision.seeing.known_hands import Hands
from tests.review.conftest import NOON, SAMPLES

PHOTO = SAMPLES / "plain_good_light.jpg"


@pytest.fixture
def forms(tmp_path: Path) -> Path:
    """A folder that says whose card the photo shows."""
    (reading,) = read_file(PHOTO, Catalog(tmp_path / "forms")).readings
    Catalog(tmp_path / "forms").assign({str(reading.serial): "Wren"})
    return tmp_path / "forms"


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "empty.sqlite") as store:
        yield store


@pytest.mark.parametrize("plain", [False, True])
def test_a_phones_photo_teaches_its_players_hand(forms: Path, empty: Store, plain: bool) -> None:
    catalog, readers = Catalog(forms), Readers(forms)

    def layout_of(card):
        found = catalog.find(card.reading.form)
        assert found is not None
        return found

    try:
        told = Receiver(
            empty, Keeper(catalog, empty, with_pictures=False), readers, layout_of, plain
        ).receive(io.BytesIO(PHOTO.read_bytes()), "it", NOON)
    finally:
        readers.close()
    assert [one.says for one in told] == ["new"]
    assert len(empty.rounds("Wren")) == 1
    assert bool(empty.hands()) is not plain
    assert all(len(lesson.view) == 896 for lesson in empty.hands().get("Wren", ()))


def test_the_child_process_weighs_the_boxes_with_the_hand_it_is_given(forms: Path, empty: Store) -> None:
    (reading,) = read_file(PHOTO, Catalog(forms), hands=Hands({})).readings
    hands = {"Wren": tuple(Lesson(digit, reading.views[cell]) for cell, digit in _digits(reading))}
    assert hands_from_text(hands_text(hands)) == hands
    file = forms.parent / "hands"
    file.write_text(hands_text(hands), "utf-8")
    readers = Readers(forms)
    try:
        (read,) = readers.read(PHOTO, "it", file).readings
        (plain,) = readers.read(PHOTO, "it").readings
    finally:
        readers.close()
    (here,) = read_file(PHOTO, Catalog(forms), hands=Hands(hands)).readings
    assert dict(read.views) == dict(here.views)
    assert plain.views == {}
    # Threads add up in another order: equal but for the last digits.
    known = [field.p for field in here.fields.values()]
    assert [field.p for field in read.fields.values()] == pytest.approx(known, abs=1e-4)
    assert [field.p for field in plain.fields.values()] != pytest.approx(known, abs=1e-4)


def _digits(reading: CardReading) -> list[tuple[str, int]]:
    """Cells of the card's digits and what was read in them."""
    return [
        (cell, box.value)
        for cell, box in reading.cells.items()
        if cell in reading.views and isinstance(box.value, int) and not isinstance(box.value, bool)
    ]
