"""Photos of one card, wherever they come: one round; rounds on copies of one sheet: rounds of their own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import permutations
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from shortpencil.forms.catalog import Catalog
from shortpencil.scan.cli.main import main
from shortpencil.scan.intake import FileResult, read_file
from shortpencil.scan.joining import Keeper, one_a_round
from shortpencil.scan.reading import CARD_PICTURE, CardReading
from shortpencil.scan.records.concluding import outcomes
from shortpencil.scan.records.concluding.outcomes import Kept
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.vision.deciding.flags import OUTSIDE
from shortpencil.scan.vision.joining.evidence_kept import evidence_bytes, evidence_from_bytes
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.lens import View
from tests.simulator.scenario import Player, condition, fill, photograph, round_answers, some_writer

SEED = 11
NOON = datetime(2026, 8, 1, 12, tzinfo=UTC)


def filled(seed: int, serial_seed: int = 1, date: tuple[int, int, int] = (7, 6, 2026), form: str = "round9"):
    """A filled sheet and its condition; the serial number comes from `serial_seed`, all marks from `seed`."""
    blank = blank_card(form, seed=serial_seed, px_per_mm=8.0)
    how = condition("clean", 0.0, seed, long_px=1800)
    answers = round_answers(blank.field_map, Player(forgets=0.0, slip=0.0), seed, date=date)
    writer = replace(some_writer(np.random.default_rng(seed), small_bank(), careful=0.9))
    sheet = fill(
        blank.page, 8.0, blank.field_map, answers, writer, seed,
        bank=small_bank(), condition=how, serial=blank.serial,
    )  # fmt: skip
    return sheet, how, answers


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One card three times: without its left side, without its lower end, whole; another card."""
    folder = tmp_path_factory.mktemp("photos")
    paths = {}
    for serial_seed in (1, 2):
        sheet, how, _ = filled(SEED, serial_seed)
        views = {"left": (-0.2, 0.0), "low": (0.0, 0.15), "whole": (0.0, 0.0)}
        views = views if serial_seed == 1 else {"other": (0.0, 0.0)}
        for name, shift in views.items():
            view = View(size_px=(1350, 1800), fill=0.97, shift=shift)
            paths[name] = photograph(sheet, replace(how, view=view), SEED).save(folder, name)
    return paths


@pytest.fixture(scope="module")
def results(photos: dict[str, Path]) -> dict[str, FileResult]:
    catalog = Catalog(photos["whole"].parent)
    return {name: read_file(path, catalog) for name, path in photos.items()}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "rounds.sqlite") as opened:
        yield opened


def kept_of(keeper: Keeper, results: dict[str, FileResult], *names: str) -> list[Kept]:
    found = [kept for name in names for kept in keeper.keep(results[name], NOON)]
    assert all(isinstance(kept, Kept) for kept in found)
    return found


def fields_of(cells: frozenset[str]) -> set[str]:
    return {cell.rsplit(".", 1)[0] for cell in cells}


def cut(results: dict[str, FileResult], name: str) -> frozenset[str]:
    packed = results[name].evidence[0]
    assert packed is not None
    evidence = evidence_from_bytes(packed)
    assert evidence is not None
    return evidence.outside


def check_joined(results: dict[str, FileResult], reading: CardReading) -> None:
    cut_left, cut_low = cut(results, "left"), cut(results, "low")
    assert min(len(cut_left - cut_low), len(cut_low - cut_left)) > 5
    assert reading.status == "read"
    asked = {name for name, answer in reading.fields.items() if answer.flag == OUTSIDE}
    assert asked == fields_of(cut_left & cut_low)
    whole = results["whole"].readings[0]
    sure = [name for name, answer in reading.fields.items() if answer.flag is None]
    assert len(sure) > 0.9 * len(whole.fields)
    assert all(
        reading.fields[name].value == whole.fields[name].value
        for name in sure
        if whole.fields[name].flag is None
    )


@pytest.mark.parametrize("order", [("left", "low"), ("low", "left")])
def test_two_photos_that_each_cut_off_a_side_show_what_either_shows(results, store, order) -> None:
    catalog = Catalog(Path("nowhere"))
    *_, last = kept_of(Keeper(catalog, store), results, *order)
    assert last.outcome in (outcomes.TOGETHER, outcomes.NEW)
    assert len(last.reading.together) == 1
    check_joined(results, last.reading)
    (round_,) = store.rounds()
    assert len(round_.sources) == 2
    card = store.card(round_.id)
    assert card.reading.together == last.reading.together
    assert card.reading.pictures.keys() >= {CARD_PICTURE, *card.reading.flagged}


def test_what_was_stored_by_an_earlier_run_is_joined_too(results, photos, tmp_path) -> None:
    catalog = Catalog(photos["whole"].parent)
    ends = []
    for runs in ([("whole", "low")], [("whole",), ("low",)], [("low",), ("whole",)]):
        place = tmp_path / f"{len(ends)}.sqlite"
        for names in runs:
            with open_store(place) as store:
                kept_of(Keeper(catalog, store), results, *names)
        with open_store(place) as store:
            ends.append(store.rounds())
            assert store.card(store.rounds()[0].id).reading.together
    assert ends[0] == ends[1] == ends[2]


def test_a_photo_that_cannot_be_read_alone_waits_for_another_of_its_card(results, store) -> None:
    catalog = Catalog(Path("nowhere"))
    hidden = {
        name: replace(
            results[name],
            readings=(
                replace(results[name].readings[0], status="rejected", reason="cut off.", cells={}, fields={}),
            ),
        )
        for name in ("left", "low")
    }
    first, second = kept_of(Keeper(catalog, store), hidden, "left", "low")
    assert (first.outcome, first.serial) == (outcomes.REJECTED, None)
    assert second.outcome == outcomes.NEW
    check_joined(results, second.reading)
    assert {store.photo_status(sha) for sha in store.rounds()[0].sources} == {"read"}


def test_a_photo_that_shows_too_little_is_no_part_of_another_card(results, store) -> None:
    catalog = Catalog(Path("nowhere"))
    reading = replace(results["other"].readings[0], serial=results["whole"].readings[0].serial)
    other = replace(results["other"], readings=(replace(reading, status="rejected", reason="cut off."),))
    kept_of(Keeper(catalog, store), results, "whole")
    before = store.rounds()
    half = evidence_from_bytes(results["other"].evidence[0] or b"")
    assert half is not None
    nothing = replace(half, bubbles={}, digits={}, outside=frozenset(half.bubbles) | frozenset(half.digits))
    other = replace(other, evidence=(evidence_bytes(nothing),))
    (kept,) = kept_of(Keeper(catalog, store), {"other": other}, "other")
    assert kept.outcome == outcomes.REJECTED
    assert store.rounds() == before


def test_the_page_joins_photos_and_decodes_no_picture(results, store, monkeypatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("a picture was decoded")

    monkeypatch.setattr(cv2, "imdecode", refuse)
    keeper = Keeper(Catalog(Path("nowhere")), store, with_pictures=False)
    *_, last = kept_of(keeper, results, "left", "low")
    check_joined(results, last.reading)
    assert CARD_PICTURE in store.card(last.serial or "").reading.pictures


def test_the_picture_of_the_card_is_left_out_where_nobody_wants_it(results, store) -> None:
    keeper = Keeper(Catalog(Path("nowhere")), store, card_pictures=False)
    first, last = kept_of(keeper, results, "whole", "left")
    assert first.serial == last.serial
    card = store.card(last.serial or "")
    assert set(card.reading.flagged) <= card.reading.pictures.keys()
    assert CARD_PICTURE not in card.reading.pictures
    kept_of(keeper, results, "low")
    assert CARD_PICTURE not in store.card(last.serial or "").reading.pictures


def test_a_picture_of_a_card_that_is_stored_stays(results, store) -> None:
    catalog = Catalog(Path("nowhere"))
    (first,) = kept_of(Keeper(catalog, store), results, "whole")
    before = store.picture(first.serial or "", CARD_PICTURE)
    kept_of(Keeper(catalog, store, card_pictures=False), results, "left")
    assert before is not None
    assert CARD_PICTURE in store.card(first.serial or "").reading.pictures


def test_a_photo_that_waits_is_no_part_of_another_round_on_a_copy_of_its_sheet(
    results, photos, store, tmp_path
) -> None:
    sheet, how, _ = filled(SEED + 1, 1)
    view = View(size_px=(1350, 1800), fill=0.97, shift=(0.0, 0.0))
    path = photograph(sheet, replace(how, view=view), SEED).save(tmp_path, "copy")
    copy = read_file(path, Catalog(photos["whole"].parent))
    keeper = Keeper(Catalog(Path("nowhere")), store)
    read = replace(results["left"].readings[0], status="rejected", reason="cut off.", cells={}, fields={})
    cut = replace(results["left"], readings=(read,))
    waits, other = (*keeper.keep(cut, NOON), *keeper.keep(copy, NOON))
    assert (waits.outcome, other.outcome) == (outcomes.REJECTED, outcomes.NEW)
    (round_,) = store.rounds()
    assert round_.sources == (copy.readings[0].photo_sha256,)
    whole, *_ = keeper.keep(results["whole"], NOON)
    assert whole.serial != other.serial
    assert len(store.rounds()) == 2, "and it completes the round that it shows"


def test_other_cards_are_left_alone(results, store) -> None:
    kept = kept_of(Keeper(Catalog(Path("nowhere")), store), results, "whole", "other", "low")
    assert kept[1].outcome == outcomes.NEW
    assert kept[0].serial == kept[2].serial != kept[1].serial


def test_a_file_counts_as_read_once_all_its_cards_are_stored_and_all_its_pages_were_read(
    results, photos, store
) -> None:
    keeper = Keeper(Catalog(photos["whole"].parent), store)
    photo = "e" * 64
    two = tuple(replace(results[name].readings[0], photo_sha256=photo) for name in ("whole", "other"))
    states = []
    for error in ("page 3 is damaged", None):
        found = keeper.keep(FileResult("two.pdf", two, error), NOON)
        states.append([store.photo_status(photo) for _ in found])
    assert states == [[None, None], [None, "read"]]


def test_the_same_file_twice_is_one_photo(results, store) -> None:
    kept = kept_of(Keeper(Catalog(Path("nowhere")), store), results, "whole", "whole")
    assert [one.outcome for one in kept] == [outcomes.NEW, outcomes.SAME_PHOTO]


def test_pages_of_one_file_that_show_one_card_are_one_reading(results) -> None:
    both = FileResult(
        "club.pdf",
        tuple(
            replace(results[n].readings[0], source=f"club.pdf, page {i}")
            for i, n in ((1, "left"), (2, "low"))
        ),
        evidence=(results["left"].evidence[0], results["low"].evidence[0]),
    )
    one = one_a_round(both, Catalog(Path("nowhere")))
    (reading,) = one.readings
    check_joined(results, reading)
    assert reading.source == "club.pdf, page 1"
    assert one.notes == (f"page 2 shows card {reading.serial} too, read together with page 1",)
    assert len(one.evidence) == 1
    assert evidence_from_bytes(one.evidence[0] or b"") is not None


def test_evidence_comes_back_from_its_bytes(results) -> None:
    packed = results["low"].evidence[0]
    assert packed is not None
    assert len(packed) < 20_000
    evidence = evidence_from_bytes(packed)
    assert evidence is not None
    assert evidence_bytes(evidence) == packed
    assert len(evidence.digits) > 50


@pytest.mark.parametrize("junk", [b"", b"{}", b"x\x9c\x03", b"\x00" * 99])
def test_bytes_that_are_no_evidence_are_none(junk: bytes) -> None:
    import zlib

    assert evidence_from_bytes(junk) is None
    assert evidence_from_bytes(zlib.compress(junk)) is None
    assert evidence_from_bytes(zlib.compress(b" " * 2**24)) is None


# -- the command ---------------------------------------------------------------------------------------------


def test_the_command_keeps_one_card_and_knows_both_photos_again(
    photos, tmp_path, capsys, monkeypatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    store = str(tmp_path / "store.sqlite")
    command = ["read", str(photos["whole"]), str(photos["low"]), "--store", store]
    main(command)
    said = capsys.readouterr()
    assert "whole.jpg: card" in said.out
    assert "low.jpg: card" in said.out
    assert "read from 2 photos" in said.out
    assert "2 photos: 1 card (1 new)." in said.err
    with open_store(store) as kept:
        assert len(kept.rounds()) == 1
    assert main(command) == 0
    again = capsys.readouterr()
    assert again.out.count("read before, nothing changes") == 2
    assert "2 photos: 0 cards, 2 read before." in again.err
    assert main([*command, "--dry-run"]) in (0, 1)
    assert "(not stored)" in capsys.readouterr().out


@pytest.fixture(scope="module")
def copies(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Path], list[dict[str, object]]]:
    """One sheet photocopied three times, filled in with three rounds, photographed; and what was marked."""
    folder = tmp_path_factory.mktemp("copies")
    paths, truth = [], []
    for number, day in enumerate(((7, 6, 2026), (14, 6, 2026), (21, 6, 2026)), start=1):
        sheet, how, answers = filled(100 + number, 1, day)
        view = View(size_px=(1350, 1800), fill=0.93)
        paths.append(photograph(sheet, replace(how, view=view), number).save(folder, f"copy{number}"))
        truth.append(answers)
    return paths, truth


def check_copies(store: Store, truth: list[dict[str, object]], order: list[int]) -> None:
    first = store.rounds()[0].id.split("-")[0]
    serials = [first, f"{first}-2", f"{first}-3"]
    assert sorted(round_.id for round_ in store.rounds()) == serials
    for serial, at in zip(serials, order, strict=True):
        card = store.card(serial)
        marks = {field.id: truth[at].get(field.id) for field in card.form.fields if field.type != "words"}
        sure = {name: card.fields[name].value or None for name in marks if card.fields[name].flag is None}
        assert {name: value for name, value in sure.items() if value != (marks[name] or None)} == {}
        assert len(sure) > 0.9 * len(marks)


def test_one_sheet_photocopied_for_three_rounds_gives_three_true_rounds(
    copies, tmp_path, capsys, monkeypatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    paths, truth = copies
    order = [1, 0, 2]
    place = tmp_path / "store.sqlite"
    main(["read", *(str(paths[at]) for at in order[:2]), "--store", str(place)])
    with open_store(place) as store:
        serial = store.rounds()[0].id.split("-")[0]
        store.answer(f"{serial}-2", "total", 99, "Robin", NOON)
    main(["read", str(paths[2]), "--store", str(place)])
    said = capsys.readouterr()
    assert said.out.count("(another round on the same sheet)") == 2
    assert f"kept beside {serial}, from which it differs: " in said.out
    main(["read", *(str(paths[at]) for at in order[:2]), "--dry-run"])
    dry = capsys.readouterr().out
    assert f"kept beside {serial}, from which it differs: " in dry
    assert "marked since" not in dry
    assert dry.count("(not stored)") == 2
    with open_store(place) as store:
        assert store.round(f"{serial}-2").total.value == 99
        assert all(store.round(one).total.value != 99 for one in (serial, f"{serial}-3"))
        store.take_back(f"{serial}-2", "total", "Robin", NOON)
        check_copies(store, truth, order)


def test_a_stack_loses_no_card_whose_serial_another_form_has_too(tmp_path, capsys, monkeypatch) -> None:
    """Nobody prints such sheets on purpose; should two have one serial all the same, both are rounds."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    pages = []
    for seed, form in ((101, "round9"), (102, "round9"), (103, "round18")):
        sheet, how, _ = filled(seed, form=form)
        view = View(size_px=(1350, 1800), fill=0.93)
        path = photograph(sheet, replace(how, view=view), seed).save(tmp_path, f"page{seed}")
        pages.append(Image.open(path).convert("RGB"))
    stack, place = tmp_path / "stack.pdf", tmp_path / "store.sqlite"
    pages[0].save(stack, "PDF", save_all=True, append_images=pages[1:], quality=95)
    for outcome in ("(another round on the same sheet)", "(same photo)"):
        main(["read", "--again", str(stack), "--store", str(place)])
        assert capsys.readouterr().out.count(outcome) == 2 + (outcome == "(same photo)")
        with open_store(place) as store:
            assert [len(round_.holes) for round_ in store.rounds()] == [9, 9, 18]


def test_the_order_of_the_copies_and_answers_in_between_change_no_round(copies, tmp_path) -> None:
    paths, truth = copies
    catalog = Catalog(tmp_path / "forms")
    read = [read_file(path, catalog) for path in paths]
    for number, order in enumerate(permutations(range(3))):
        with open_store(tmp_path / f"{number}.sqlite") as store:
            keeper = Keeper(catalog, store)
            for at in order:
                (kept,) = keeper.keep(read[at], NOON)
                assert isinstance(kept, Kept)
                for name in kept.round.waiting if kept.round else ():
                    store.answer(kept.serial or "", name, truth[at].get(name), "Robin", NOON)
            check_copies(store, truth, list(order))
            assert store.waiting_fields() == ()
            for at in order:
                assert [kept.outcome for kept in keeper.keep(read[at], NOON)] == [outcomes.SAME_PHOTO]


def test_three_copies_scanned_into_one_file_are_three_rounds(copies, tmp_path, monkeypatch) -> None:
    from PIL import Image

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    paths, truth = copies
    first, *others = [Image.open(path) for path in paths]
    first.save(tmp_path / "stack.pdf", save_all=True, append_images=others, resolution=150)
    place = tmp_path / "store.sqlite"
    for _ in range(2):
        main(["read", str(tmp_path / "stack.pdf"), "--store", str(place), "--again"])
        with open_store(place) as store:
            check_copies(store, truth, [0, 1, 2])
