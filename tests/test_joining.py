"""Photos of one card in one call: one reading, wherever among the files they lie."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from forms.catalog import Catalog
from scan.cli.main import main
from scan.intake import FileResult, read_file
from scan.joining import joined
from scan.records.store import open_store
from scan.vision.flags import OUTSIDE
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.lens import View
from tests.simulator.scenario import Player, condition, fill, photograph, round_answers, some_writer

SEED = 11


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One card three times: without its left side, without its lower end, whole; another card."""
    folder = tmp_path_factory.mktemp("photos")
    paths = {}
    for serial_seed in (1, 2):
        blank = blank_card("round9", seed=serial_seed, px_per_mm=8.0)
        how = condition("clean", 0.0, SEED, long_px=1800)
        sheet = fill(
            blank.page,
            8.0,
            blank.field_map,
            round_answers(blank.field_map, Player(forgets=0.0, slip=0.0), SEED),
            replace(some_writer(np.random.default_rng(SEED), small_bank(), careful=0.9)),
            SEED,
            bank=small_bank(),
            condition=how,
            serial=blank.serial,
        )
        views = {"left": (-0.2, 0.0), "low": (0.0, 0.15), "whole": (0.0, 0.0)}
        views = views if serial_seed == 1 else {"other": (0.0, 0.0)}
        for name, shift in views.items():
            view = View(size_px=(1350, 1800), fill=0.97, shift=shift)
            paths[name] = photograph(sheet, replace(how, view=view), SEED).save(folder, name)
    return paths


def read(photos: dict[str, Path], *names: str) -> list[FileResult]:
    catalog = Catalog(photos["whole"].parent)
    return [read_file(photos[name], catalog) for name in names]


def fields_of(cells: frozenset[str]) -> set[str]:
    return {cell.rsplit(".", 1)[0] for cell in cells}


def test_two_photos_that_each_cut_off_a_side_show_what_either_shows(photos: dict[str, Path]) -> None:
    catalog = Catalog(photos["whole"].parent)
    left, low = read(photos, "left", "low")
    cut_left, cut_low = (result.evidence[0].outside for result in (left, low))
    assert min(len(cut_left - cut_low), len(cut_low - cut_left)) > 5
    first, second = joined([left, low], catalog)
    (reading,) = first.readings
    assert reading.status == "read"
    assert len(reading.together) == 1
    asked = {name for name, answer in reading.fields.items() if answer.flag == OUTSIDE}
    assert asked == fields_of(cut_left & cut_low)
    assert second.readings == ()
    assert second.notes == (f"shows card {reading.serial} too, read together with left.jpg",)
    (whole,) = read(photos, "whole")
    values = {name: answer.value for name, answer in whole.readings[0].fields.items()}
    sure = [name for name, answer in reading.fields.items() if answer.flag is None]
    assert len(sure) > 0.9 * len(values)
    assert all(
        reading.fields[name].value == values[name]
        for name in sure
        if whole.readings[0].fields[name].flag is None
    )


def test_other_cards_between_them_are_left_alone_and_in_their_place(photos: dict[str, Path]) -> None:
    results = read(photos, "whole", "other", "low")
    one, other, third = joined(results, Catalog(photos["whole"].parent))
    assert other == results[1]
    assert one.readings[0].serial != other.readings[0].serial
    assert third.readings == ()
    assert [r.path for r in (one, other, third)] == [r.path for r in results]


def test_the_same_file_twice_is_one_photo(photos: dict[str, Path]) -> None:
    results = read(photos, "whole", "whole")
    assert list(joined(results, Catalog(photos["whole"].parent))) == results


def test_photos_further_apart_than_the_window_are_told_one_by_one(photos: dict[str, Path]) -> None:
    whole, other, low = read(photos, "whole", "other", "low")
    results = [whole, other, other, low]
    assert list(joined(results, Catalog(photos["whole"].parent), window=2)) == results
    assert list(joined(results, Catalog(photos["whole"].parent), window=3)) != results


def test_the_command_keeps_one_card_and_knows_both_photos_again(
    photos: dict[str, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    store = str(tmp_path / "store.sqlite")
    command = ["read", str(photos["whole"]), str(photos["low"]), "--store", store]
    main(command)
    said = capsys.readouterr().out
    assert "whole.jpg: card" in said
    assert "read from 2 photos" in said
    assert "low.jpg: shows card" in said
    with open_store(store) as kept:
        assert len(kept.rounds()) == 1
    assert main(command) == 0
    assert capsys.readouterr().out.count("read before, nothing changes") == 2
