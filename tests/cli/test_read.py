"""`read` from the command line: good photos of every size and turn, every kind of bad input."""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from shortpencil.scan.cli.main import main
from shortpencil.scan.cli.read_report import card_lines
from shortpencil.scan.reading import ONE_BY_ONE
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding.outcomes import NEW, Kept
from shortpencil.scan.records.store import open_store
from tests.records import cards
from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.scenario import fill, round_answers, some_player, some_writer

PX_PER_MM = 8.0
Gray = NDArray[np.uint8]


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))


def filled_sheet(form: str = "round18", paper: str = "a4", seed: int = 3) -> tuple[Gray, dict[str, object]]:
    """A filled card as it lies on a scanner's glass, and the truth of its cells."""
    blank = blank_card(form, paper=paper, px_per_mm=PX_PER_MM)
    rng = np.random.default_rng(seed)
    writer = some_writer(rng, small_bank())
    answers = round_answers(blank.field_map, some_player(rng), seed)
    sheet = fill(
        blank.page, PX_PER_MM, blank.field_map, answers, writer, seed, bank=small_bank(), serial=blank.serial
    )
    return cv2.cvtColor(sheet.rgb, cv2.COLOR_RGB2GRAY), dict(sheet.cells)


def on_a_table(
    page: Gray,
    *,
    angle_deg: float = 0.0,
    scale: tuple[float, float] = (1.0, 1.0),
    size: tuple[int, int] = (2000, 1530),
) -> Gray:
    """The page turned and scaled on a grey table, in a picture of `size` (width, height)."""
    height, width = page.shape
    fit = (
        0.9 * min(size) / max(width, height)
        if angle_deg % 90
        else 0.95 * min(max(size) / height, min(size) / width)
    )
    if angle_deg % 180 == 0:
        fit = 0.95 * min(size[1] / height, size[0] / width)
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle_deg, fit)
    turn[:, 0] *= scale[0]
    turn[:, 1] *= scale[1]
    middle = turn @ np.array([width / 2, height / 2, 1.0])
    turn[:, 2] += np.array(size) / 2 - middle
    return cv2.warpAffine(page, turn, size, flags=cv2.INTER_AREA, borderValue=(96, 96, 96))


def save(path: Path, picture: Gray) -> Path:
    assert cv2.imwrite(str(path), picture)
    return path


def read_json(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, dict[str, object]]:
    capsys.readouterr()
    code = main(["read", *map(str, args), "--json", "--dry-run"])
    return code, json.loads(capsys.readouterr().out)


def silent_errors(card: dict, truth: dict[str, object]) -> list[str]:
    """Cells whose value is not the truth and which nobody is asked about."""
    fields = card["fields"]
    wrong = []
    for cell, reading in card["cells"].items():
        flagged = reading["flag"] or fields[cell.rsplit(".", 1)[0]]["flag"]
        if not cell.endswith(".strip") and reading["value"] != truth[cell] and not flagged:
            wrong.append(f"{cell}: {reading['value']} for {truth[cell]}")
    return wrong


@pytest.fixture(scope="module")
def a4() -> tuple[Gray, dict[str, object]]:
    return filled_sheet()


@pytest.mark.parametrize("angle_deg", [0, 90, 133, 180, 301])
def test_a_card_is_read_whichever_way_it_lies(angle_deg: float, a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "turned.jpg", on_a_table(a4[0], angle_deg=angle_deg, size=(2600, 2000)))
    code, result = read_json(capsys, photo)
    (card,) = result["cards"]
    assert card["status"] == "read", card["reason"]
    assert code in (0, 1)
    assert silent_errors(card, a4[1]) == []


@pytest.mark.parametrize(
    ("scale", "size"),
    [((0.94, 0.94), (2300, 3000)), ((1.02, 1.02), (3000, 2300)), ((0.94, 0.955), (2300, 3000))],
    ids=["94", "102", "uneven"],
)
def test_a_card_printed_at_another_scale_is_read(scale, size, a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "scaled.jpg", on_a_table(a4[0], angle_deg=2.0, scale=scale, size=size))
    _, result = read_json(capsys, photo)
    (card,) = result["cards"]
    assert card["status"] == "read", card["reason"]
    assert silent_errors(card, a4[1]) == []


@pytest.mark.parametrize("form", ["round9", "round27"])
def test_the_other_cards_are_read_too(form: str, tmp_path, capsys) -> None:
    page, truth = filled_sheet(form, "letter")
    _, result = read_json(
        capsys, save(tmp_path / "card.png", on_a_table(page, angle_deg=-4, size=(1600, 2000)))
    )
    (card,) = result["cards"]
    assert (card["status"], card["form"]) == ("read", form)
    assert silent_errors(card, truth) == []


@pytest.mark.parametrize("ending", [".jpg", ".png", ".tif", ".webp", ".heic", ".pdf"])
def test_every_file_kind_gives_the_same_reading(ending: str, a4, tmp_path, capsys) -> None:
    from PIL import Image

    picture = Image.fromarray(on_a_table(a4[0], angle_deg=1.5, size=(1450, 2000)))
    path = tmp_path / f"card{ending}"
    if ending == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        # As fast as the encoder goes: what it saves by thinking longer is not what is read here.
        picture.convert("RGB").save(path, quality=85, enc_params={"preset": "ultrafast"})
    else:
        picture.save(path)
    _, result = read_json(capsys, path)
    (card,) = result["cards"]
    assert card["status"] == "read", card["reason"]
    assert card["serial"] == blank_card("round18", px_per_mm=PX_PER_MM).serial
    assert silent_errors(card, a4[1]) == []


def test_the_plain_serial_is_read_when_the_qr_code_is_inked_over(a4, tmp_path, capsys) -> None:
    page = a4[0].copy()
    x, y, w, h = blank_card("round18", px_per_mm=PX_PER_MM).field_map["qr"]["box_mm"]
    rows = slice(round((y + 5) * PX_PER_MM), round((y + h - 5) * PX_PER_MM))
    page[rows, round((x + 5) * PX_PER_MM) : round((x + w - 5) * PX_PER_MM)] = 20
    _, result = read_json(
        capsys, save(tmp_path / "card.jpg", on_a_table(page, angle_deg=1, size=(1530, 2000)))
    )
    (card,) = result["cards"]
    assert card["serial"] == blank_card("round18", px_per_mm=PX_PER_MM).serial


def test_the_same_photo_twice_changes_nothing(a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    store = tmp_path / "rounds.sqlite"
    first = main(["read", str(photo), "--store", str(store)])
    with open_store(store) as kept:
        before = kept.rounds()
    again = main(["read", str(photo), "--store", str(store)])
    forced = main(["read", str(photo), "--store", str(store), "--again"])
    with open_store(store) as kept:
        assert kept.rounds() == before
        assert len(before) == 1
    assert (again, forced) == (0, first)
    assert "read before" in capsys.readouterr().out


def test_explain_writes_a_picture_of_each_step(a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    main(["read", str(photo), "--dry-run", "--explain", str(tmp_path / "steps")])
    names = sorted(p.name for p in (tmp_path / "steps").iterdir())
    assert names == [f"card-{step}.jpg" for step in ("1-found", "2-flat", "3-ink", "4-digits", "5-read")]
    assert all(cv2.imread(str(tmp_path / "steps" / name)) is not None for name in names)


def test_explain_shows_the_steps_of_a_photo_that_was_read_before(a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    store = ["--store", str(tmp_path / "rounds.sqlite")]
    main(["read", str(photo), *store])
    main(["read", str(photo), *store, "--explain", str(tmp_path / "steps")])
    assert "card-5-read.jpg" in {p.name for p in (tmp_path / "steps").iterdir()}


# -- bad input: a clear message, its exit code, nothing stored -----------------------------------------------


@cache
def png_of(width: int, height: int) -> bytes:
    """A tiny PNG file whose header promises `width` x `height` pixels, all of them there (1 bit each)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    row = b"\x00" + bytes((width + 7) // 8)
    packer = zlib.compressobj(9)
    body = b"".join([packer.compress(row) for _ in range(height)]) + packer.flush()
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def bad_text(folder: Path) -> Path:
    (folder / "notes.jpg").write_text("nine under, best day ever\n" * 40)
    return folder / "notes.jpg"


def bad_cut(folder: Path) -> Path:
    whole = save(folder / "whole.jpg", on_a_table(filled_sheet()[0])).read_bytes()
    (folder / "whole.jpg").unlink()
    (folder / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    return folder / "cut.jpg"


def bad_bomb(folder: Path) -> Path:
    (folder / "bomb.png").write_bytes(png_of(30_000, 30_000))
    return folder / "bomb.png"


def bad_empty_file(folder: Path) -> Path:
    (folder / "empty.jpg").write_bytes(b"")
    return folder / "empty.jpg"


def bad_empty_folder(folder: Path) -> Path:
    (folder / "nothing").mkdir()
    return folder / "nothing"


def bad_missing(folder: Path) -> Path:
    return folder / "missing.jpg"


def bad_broken_pdf(folder: Path) -> Path:
    (folder / "broken.pdf").write_bytes(b"%PDF-1.7\n" + b"\x00" * 200)
    return folder / "broken.pdf"


def bad_broken_heic(folder: Path) -> Path:
    (folder / "broken.heic").write_bytes(b"\x00\x00\x00\x18ftypheic" + b"\x00" * 400)
    return folder / "broken.heic"


def no_card(folder: Path) -> Path:
    rng = np.random.default_rng(5)
    meadow = cv2.GaussianBlur(rng.integers(0, 255, (1500, 2000)).astype(np.uint8), (0, 0), 4)
    return save(folder / "meadow.jpg", meadow)


def blank(folder: Path) -> Path:
    return save(folder / "blank.png", on_a_table(blank_card("round18", px_per_mm=PX_PER_MM).page))


def far_away(folder: Path) -> Path:
    return save(folder / "far.jpg", on_a_table(filled_sheet()[0], size=(700, 540)))


BAD = [
    (bad_text, 2, "expected a picture"),
    (bad_cut, 2, "cut off"),
    (bad_bomb, 2, "30000 x 30000"),
    (bad_empty_file, 2, "empty file"),
    (bad_empty_folder, 2, "found none"),
    (bad_missing, 2, "no such file"),
    (bad_broken_pdf, 2, "PDF"),
    (bad_broken_heic, 2, "HEIC"),
    (no_card, 1, "again"),
    (blank, 1, "blank"),
    (far_away, 1, "too small"),
]


@pytest.mark.parametrize(("make", "code", "words"), BAD, ids=[make.__name__ for make, _, _ in BAD])
def test_bad_input_gets_a_message_an_exit_code_and_no_record(make, code, words, tmp_path, capsys) -> None:
    path = make(tmp_path)
    store = tmp_path / "rounds.sqlite"
    assert main(["read", str(path), "--store", str(store)]) == code
    said = capsys.readouterr()
    assert words.lower() in (said.out + said.err).lower()
    assert "Traceback" not in said.err
    if store.exists():
        with open_store(store) as kept:
            assert kept.rounds() == ()
            assert kept.waiting() == ()


def test_the_bomb_is_refused_by_its_header(tmp_path, monkeypatch) -> None:
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.vision.opening import photo

    path = bad_bomb(tmp_path)
    monkeypatch.setattr(photo.cv2, "imdecode", lambda *_: pytest.fail("a bomb was decoded"))
    with pytest.raises(InputError, match="It was not opened"):
        list(photo.load_photos(path))


def test_one_bad_photo_does_not_keep_the_others_from_being_read(a4, tmp_path, capsys) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    bad_text(folder)
    save(folder / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    store = tmp_path / "rounds.sqlite"
    assert main(["read", str(folder), "--store", str(store)]) == 2
    with open_store(store) as kept:
        assert len(kept.rounds()) == 1


def test_a_card_of_an_unknown_form_says_which_and_how_to_read_it(tmp_path, capsys, monkeypatch) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        'name = "own"\nedition = 1\ntitle = "Own"\n[rows]\ncount = 4\n'
        '[[rows.left]]\nid = "n"\ntype = "number"\ndigits = 2\nlabel = "n"\n'
    )
    pdf, field_map = tmp_path / "own.pdf", tmp_path / "own.json"
    assert main(["print", "-o", str(pdf), "--form", str(own), "--map", str(field_map)]) == 0
    fingerprint = json.loads(field_map.read_text())["fingerprint"]
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "another computer"))
    capsys.readouterr()
    assert main(["read", str(pdf), "--dry-run"]) == 1
    said = capsys.readouterr().out
    assert fingerprint in said
    assert "--map" in said
    assert main(["read", str(pdf), "--dry-run", "--map", str(field_map)]) == 1
    assert "blank" in capsys.readouterr().out


def test_a_store_that_is_no_database_is_left_alone(a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    store = tmp_path / "letters.sqlite"
    store.write_text("dear diary " * 100)
    assert main(["read", str(photo), "--store", str(store)]) == 2
    assert store.read_text() == "dear diary " * 100
    assert "letters.sqlite" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_is_said_so(a4, tmp_path, capsys) -> None:
    photo = save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000)))
    file = tmp_path / "file"
    file.write_text("no folder")
    assert main(["read", str(photo), "--store", str(file / "rounds.sqlite")]) == 2
    assert main(["read", str(photo), "--dry-run", "--explain", str(file / "steps")]) == 2
    assert main(["print", "-o", str(file / "card.pdf")]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_wrong_usage_exits_with_two(capsys) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["read", "card.jpg", "--again", "--resume"])
    assert stop.value.code == 2
    for words, says in (
        (["read"], "expected a photo, a folder, a URL or --list FILE, found none"),
        (["read", "card.jpg", "--cluster", "tcp://w:1", "--jobs", "2"], "expected neither --jobs nor"),
    ):
        assert main(words) == 2
        assert says in capsys.readouterr().err


def test_without_tesseract_only_the_plain_serial_is_missing_and_one_message_says_so(
    a4, tmp_path, capsys, monkeypatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    _, result = read_json(capsys, save(tmp_path / "card.jpg", on_a_table(a4[0], size=(1530, 2000))))
    assert result["cards"][0]["status"] == "read"
    page = a4[0].copy()
    x, y, w, h = blank_card("round18", px_per_mm=PX_PER_MM).field_map["qr"]["box_mm"]
    page[
        round((y + 5) * PX_PER_MM) : round((y + h - 5) * PX_PER_MM),
        round((x + 5) * PX_PER_MM) : round((x + w - 5) * PX_PER_MM),
    ] = 20
    assert (
        main(["read", str(save(tmp_path / "inked.jpg", on_a_table(page, size=(1530, 2000)))), "--dry-run"])
        == 1
    )
    assert capsys.readouterr().out.count("Tesseract, which is not installed") == 1


def test_where_a_name_and_a_course_are_told_is_said(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    main(["read", str(Path(__file__).parents[2] / "sample_scans" / "plain_good_light.jpg")])
    said = capsys.readouterr()
    assert "no course, no name" in said.out
    assert "on the page of a card, shortpencil review" in said.err


def test_unused_cards_with_a_printed_name_bring_no_rounds(tmp_path, capsys) -> None:
    """A club scans the whole stack, also the cards of those who did not come."""
    (tmp_path / "club.csv").write_text("player\nWren\nÅsa Müller\n")
    pdf = tmp_path / "cards.pdf"
    main(["print", "-o", str(pdf), "--roster", str(tmp_path / "club.csv"), "--evening", "Thursday"])
    capsys.readouterr()
    assert main(["read", str(pdf)]) == 1
    assert capsys.readouterr().out.count("The card is blank: nothing is marked on it.") == 2
    assert main(["evening", "Thursday"]) == 1
    assert capsys.readouterr().out.count("missing ") == 2


@pytest.mark.parametrize(("year", "ahead"), [(26, False), (29, True)])
def test_a_day_that_lies_ahead_is_noted_when_the_card_is_read(year: int, ahead: bool) -> None:
    # one slip in a year, and the season ends with it; the card itself asks nothing
    form = cards.round_form(3)
    read = cards.reading(form, {**cards.PLAYED, "date.day": 30, "date.month": 3, "date.year": year})
    played = round_from_reading(form, read, recorded_at=cards.RECORDED_AT)
    assert cards.RECORDED_AT.year in (2026, 2027, 2028)
    told = card_lines(Kept(NEW, read, played, "ABCD2345"), form, ())
    assert any("lies after the day it was read" in line for line in told) == ahead


def test_why_something_is_asked_is_said_as_on_the_page_and_its_name_once() -> None:
    form = cards.round_form(3)
    read = cards.reading(form, {**cards.PLAYED, "date.day": 30, "date.month": 2, "h01.why": 7})
    flag = read.fields["total"]._replace(flag="total score: 9 or 10", ask=ONE_BY_ONE)
    read = replace(read, fields={**read.fields, "total": flag})
    played = round_from_reading(form, read, recorded_at=cards.RECORDED_AT)
    kept = Kept(NEW, read, played, "ABCD2345")
    asked = [line for line in card_lines(kept, form, played.waiting) if line.lstrip().startswith("ask")]
    assert [line.partition(": ")[2] for line in asked] == [
        *["the date is not a day of the calendar"] * 3,
        "this number is not on the card's list of causes",
        "9 or 10",
    ]


def test_a_dry_run_leads_nowhere(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    samples = Path(__file__).parents[2] / "sample_scans"
    for name, says in (("plain_good_light.jpg", "1 photo: 1 card"), ("three_to_review.jpg", "on 1 card.\n")):
        main(["read", str(samples / name), "--dry-run"])
        told = capsys.readouterr().err
        assert says in told
        assert "Next:" not in told
        assert "shortpencil review" not in told
