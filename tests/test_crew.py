"""Children that read photos: what they may take, what becomes of the others, what they may say."""

from __future__ import annotations

import io
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader, PdfWriter
from pypdf.generic import DecodedStreamObject, DictionaryObject, NameObject, NumberObject

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import ShortpencilError
from shortpencil.scan import crew
from shortpencil.scan.cli.main import main
from shortpencil.scan.file_pages import Page
from shortpencil.scan.intake import FileResult, read_files
from shortpencil.scan.records.store import open_store

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_scans"
CARD = SAMPLES / "messenger_copy_1600.jpg"


class SlowCatalog(Catalog):
    """A catalog whose look-up takes longer than anybody waits."""

    def find(self, name: str):
        time.sleep(600)


def read_one(path: Path, catalog: Catalog | None = None) -> FileResult:
    (result,) = read_files([path], catalog or Catalog(path.parent / "forms"))
    return result


def line_of(result: FileResult) -> str:
    """The one line that says what is wrong, where and what to do."""
    said = result.error or ""
    assert "\n" not in said
    assert Path(result.path).name in said
    assert len(said) < 400
    return said


# -- files made to hurt --------------------------------------------------------------------------------------


def bomb_page(writer: PdfWriter, side: int) -> None:
    """Add a page with a picture of side x side points that is all zeros, a few kB in the file."""
    page = writer.add_blank_page(600, 800)
    data = DecodedStreamObject()
    data.set_data(bytes(side * side))
    packed = data.flate_encode()
    packed.update(
        {
            NameObject("/Type"): NameObject("/XObject"),
            NameObject("/Subtype"): NameObject("/Image"),
            NameObject("/Width"): NumberObject(side * 40),
            NameObject("/Height"): NumberObject(side * 40),
            NameObject("/ColorSpace"): NameObject("/DeviceRGB"),
            NameObject("/BitsPerComponent"): NumberObject(8),
        }
    )
    image = writer._add_object(packed)
    page[NameObject("/Resources")] = DictionaryObject(
        {NameObject("/XObject"): DictionaryObject({NameObject("/I"): image})}
    )
    draw = DecodedStreamObject()
    draw.set_data(b"600 0 0 800 0 0 cm /I Do")
    page[NameObject("/Contents")] = writer._add_object(draw)


def hurting_pdf(folder: Path) -> Path:
    writer = PdfWriter()
    bomb_page(writer, 600)
    writer.write(folder / "bomb.pdf")
    return folder / "bomb.pdf"


def hair_breadth(folder: Path) -> Path:
    writer = PdfWriter()
    writer.add_blank_page(0.5, 99_999)
    writer.write(folder / "hair.pdf")
    return folder / "hair.pdf"


def thousand_blank(folder: Path) -> Path:
    writer = PdfWriter()
    for _ in range(1000):
        writer.add_blank_page(595, 842)
    writer.write(folder / "blank.pdf")
    return folder / "blank.pdf"


def many_scans(folder: Path) -> Path:
    out = io.BytesIO()
    Image.fromarray(np.zeros((64, 64), np.uint8)).save(out, "JPEG", progressive=True)
    data = out.getvalue()
    last = data.rindex(b"\xff\xda")
    (folder / "scans.jpg").write_bytes(data[:last] + data[last:-2] * 500 + data[-2:])
    return folder / "scans.jpg"


def huge_tiff(folder: Path) -> Path:
    Image.new("1", (11_000, 10_700)).save(folder / "huge.tif", compression="group4")
    return folder / "huge.tif"


def large_colour_tiff(folder: Path) -> Path:
    """Within the limit of pixels, and beyond that of memory once its layers are there."""
    Image.new("CMYK", (7_700, 7_700)).save(folder / "cmyk.tif", compression="packbits")
    return folder / "cmyk.tif"


def endless_tiff(folder: Path) -> Path:
    """A TIFF whose second page is its first."""
    out = io.BytesIO()
    Image.new("L", (40, 30), 255).save(out, "TIFF")
    data = bytearray(out.getvalue())
    first = int.from_bytes(data[4:8], "little")
    count = int.from_bytes(data[first : first + 2], "little")
    at = first + 2 + 12 * count
    data[at : at + 4] = first.to_bytes(4, "little")
    (folder / "endless.tif").write_bytes(bytes(data))
    return folder / "endless.tif"


def a_pipe(folder: Path) -> Path:
    os.mkfifo(folder / "pipe.jpg")
    return folder / "pipe.jpg"


def a_device(folder: Path) -> Path:
    (folder / "zero.jpg").symlink_to("/dev/zero")
    return folder / "zero.jpg"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (hurting_pdf, None),
        (hair_breadth, None),
        (thousand_blank, None),
        (many_scans, "scans"),
        (huge_tiff, "It was not opened"),
        (large_colour_tiff, "memory"),
        (endless_tiff, None),
        (a_pipe, "found a named pipe"),
        (a_device, "found a device"),
    ],
    ids=lambda v: getattr(v, "__name__", None),
)
def test_a_file_made_to_hurt_costs_a_line_and_the_next_is_read(make, words, tmp_path: Path, capsys) -> None:
    path = make(tmp_path)
    before = os.times()
    store = tmp_path / "rounds.sqlite"
    code = main(["read", str(path), str(CARD), "--store", str(store), "--jobs", "1"])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    assert "mistake of the program" not in said.err
    if words is None:  # looked into, and no card found in it
        assert code in (1, 2)
        assert path.name in said.out + said.err
    else:
        assert code == 2
        assert words in said.err
    with open_store(store) as kept:
        assert len(kept.rounds()) == 1
    assert os.times().user - before.user < 10  # of this process, which decodes nothing


def test_behind_a_page_that_ends_its_reader_the_others_are_read(tmp_path: Path) -> None:
    writer = PdfWriter()
    writer.append(PdfReader(SAMPLES / "flatbed_scan.pdf"))
    bomb_page(writer, 600)
    writer.append(PdfReader(SAMPLES / "flatbed_scan.pdf"))
    path = tmp_path / "stack.pdf"
    writer.write(path)
    result = read_one(path)
    assert [r.source.rpartition(", ")[2] for r in result.readings] == ["page 1", "page 3"]
    assert result.error is None or "page 2" in line_of(result)


def test_a_damaged_page_is_told_and_the_others_are_read(tmp_path: Path) -> None:
    out = io.BytesIO()
    with Image.open(CARD) as photo:
        photo.convert("RGB").save(out, "PDF", save_all=True, append_images=[photo.convert("RGB")] * 2)
    data = bytearray(out.getvalue())
    second = [i for i in range(len(data) - 3) if data[i : i + 4] == b"\xff\xd8\xff\xe0"][1]
    data[second + 60_000 : second + 60_040] = bytes(40)
    path = tmp_path / "stack.pdf"
    path.write_bytes(bytes(data))
    result = read_one(path)
    assert [r.source.rpartition(", ")[2] for r in result.readings] == ["page 1", "page 3"]
    assert "stack.pdf, page 2: the JPEG picture is damaged" in line_of(result)


def test_a_reader_that_says_nothing_for_long_is_ended(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(crew, "SILENCE_S", 3.0)
    path = tmp_path / "card.jpg"
    path.write_bytes(CARD.read_bytes())
    assert "found one that takes longer" in line_of(read_one(path, SlowCatalog(tmp_path)))


def test_a_child_that_was_started_ahead_reads_the_next_photo(tmp_path: Path) -> None:
    crew.end_all()
    crew.expect_work()
    crew.expect_work()  # one is enough
    (child,) = crew._waiting
    assert read_one(CARD).readings[0].status == "read"
    assert crew._waiting == [child]


def test_processor_time_is_given_for_each_file_anew() -> None:
    code = (
        "import os, signal, time; from shortpencil.scan.limits import allow_cpu\n"
        "for _ in range(2):\n    allow_cpu(1.0)\n    until = time.process_time() + 0.7\n"
        "    while time.process_time() < until: pass\n"
        "print('alive', flush=True)\nallow_cpu(0.0)\n"
        "while True: pass\n"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=False)
    assert run.stdout == b"alive\n"
    assert run.returncode == -signal.SIGXCPU


@pytest.mark.parametrize(("end", "readings"), [(signal.SIGABRT, 1), (signal.SIGXCPU, 0)])
def test_a_child_worn_out_by_others_costs_no_photo_and_one_that_takes_long_is_not_asked_twice(
    end: signal.Signals, readings: int, tmp_path: Path, monkeypatch
) -> None:
    """After hundreds of damaged files a library may find no room in one piece, and end its process."""
    ended = []

    class Worn(crew._Child):
        files = 0

        def read(self, *args):
            self.files += 1
            if self.files == 2:
                ended.append(self._process.pid)
                os.kill(self._process.pid, end)
            return super().read(*args)

    monkeypatch.setattr(crew, "_Child", Worn)
    crew.end_all()
    (tmp_path / "no.jpg").write_bytes(b"no picture")
    (tmp_path / "yes.jpg").write_bytes(CARD.read_bytes())
    paths = [tmp_path / "no.jpg", tmp_path / "yes.jpg"]
    _, second = read_files(paths, Catalog(tmp_path / "forms"), jobs=1)
    assert len(ended) == 1
    assert len(second.readings) == readings
    assert (second.error is None) == bool(readings)
    crew.end_all()


@pytest.mark.parametrize("times", [1, 2])
def test_a_child_that_is_ended_while_it_loads_costs_no_photo_and_one_that_cannot_load_is_told(
    times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A system that is short of memory ends what has just begun to take some."""
    ended = []

    class Unlucky(crew._Child):
        def read(self, *args):
            if len(ended) < times:
                ended.append(self._process.pid)
                os.kill(self._process.pid, signal.SIGKILL)
            return super().read(*args)

    monkeypatch.setattr(crew, "_Child", Unlucky)
    crew.end_all()
    if times == 1:
        assert [one.status for one in read_one(CARD).readings] == ["read"]
    else:
        with pytest.raises(ShortpencilError, match="can be started, found that it ended"):
            read_one(CARD)
    assert len(ended) == times
    crew.end_all()


def test_a_pdf_whose_filter_has_a_name_that_is_no_text_is_refused_or_read(tmp_path: Path) -> None:
    data = hurting_pdf(tmp_path).read_bytes()
    at = data.index(b"/FlateDecode", data.index(b"/Image") - 200)
    (tmp_path / "odd.pdf").write_bytes(data[:at] + b"/Fl\xc4teDecode" + data[at + 12 :])
    assert "mistake" not in str(read_one(tmp_path / "odd.pdf").error)


def test_stopping_in_the_middle_ends_the_children(tmp_path: Path) -> None:
    photos = []
    for i in range(4):
        photos.append(tmp_path / f"{i}.jpg")
        photos[-1].write_bytes(CARD.read_bytes() + bytes([i]))
    results = read_files(photos, SlowCatalog(tmp_path), jobs=2)
    began = time.monotonic()
    threading.Timer(1.5, os.kill, (os.getpid(), signal.SIGINT)).start()
    with pytest.raises(KeyboardInterrupt):
        next(results)
    results.close()
    assert time.monotonic() - began < crew.SILENCE_S / 2  # it did not wait for them


# -- what a child may say ------------------------------------------------------------------------------------


class Evil:
    def __reduce__(self) -> object:
        return (os.system, ("touch /tmp/shortpencil-was-here",))


@pytest.mark.parametrize("value", [Evil(), Path("/etc"), len, Catalog])
def test_a_child_can_say_nothing_but_readings(value: object) -> None:
    with pytest.raises(pickle.UnpicklingError, match="no part of a reading"):
        crew._Plain(io.BytesIO(pickle.dumps(("page", value), protocol=4))).load()


def test_a_reading_arrives_as_it_was_sent() -> None:
    page = Page(3, shows_card=True)
    assert crew._Plain(io.BytesIO(pickle.dumps(("page", page), protocol=4))).load() == ("page", page)
    array = np.arange(12, dtype=np.float32)
    (same,) = crew._Plain(io.BytesIO(pickle.dumps((array,), protocol=4))).load()
    assert np.array_equal(same, array)


# -- names ---------------------------------------------------------------------------------------------------


def test_a_name_that_is_no_text_is_read_kept_and_shown(tmp_path: Path, capsys) -> None:
    name = os.fsdecode(b"caf\xe9 \x1b]0;x\x07\xe2\x80\xae.jpg")
    (tmp_path / name).write_bytes(CARD.read_bytes())
    store = tmp_path / "rounds.sqlite"
    assert main(["read", str(tmp_path), "--store", str(store)]) in (0, 1)
    said = capsys.readouterr()
    assert "caf\\udce9 \\u001b]0;x\\u0007\\u202e.jpg: card" in said.out
    assert "\x1b" not in said.out + said.err
    assert main(["read", str(tmp_path), "--dry-run", "--json"]) in (0, 1)
    assert "\\\\udce9" in capsys.readouterr().out
    assert main(["read", str(tmp_path / ("x" * 300))]) == 2
    assert "cannot be read" in capsys.readouterr().err


@pytest.mark.parametrize("more", [[], ["--dry-run"], ["--plain-hand"]])
def test_a_broken_note_of_whose_a_card_is_costs_that_card_a_line(more, tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path))
    (reading,) = read_one(CARD, Catalog(tmp_path / "forms")).readings
    note = tmp_path / "forms" / "cards" / f"{reading.serial}.json"
    note.parent.mkdir(parents=True)
    note.write_text('{"player": ')
    store = tmp_path / "rounds.sqlite"
    other = SAMPLES / "plain_good_light.jpg"
    assert main(["read", str(CARD), str(other), "--store", str(store), *more]) == 2
    said = capsys.readouterr()
    assert f"{note}, line 1" in said.err
    assert "plain_good_light.jpg: card" in said.out
    assert main(["forget", "Wren", "--yes", "--store", str(store)]) == 2
    assert "Traceback" not in capsys.readouterr().err
