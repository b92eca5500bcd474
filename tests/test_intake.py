"""Many photos: in order, in parallel, none twice, and one that ends its reader harms no other."""

from __future__ import annotations

import io
import os
import signal
from pathlib import Path

import pytest
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NullObject
from reportlab.pdfgen.canvas import Canvas

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import InputError
from shortpencil.scan.cli.main import main
from shortpencil.scan.intake import FileResult, read_file, read_files
from shortpencil.scan.reading import Lesson
from shortpencil.scan.sources import expand
from shortpencil.scan.vision.seeing.known_hands import Hands

SAMPLES = Path(__file__).parents[1] / "sample_scans"


class DeadlyCatalog(Catalog):
    """A catalog whose look-up ends the process when it is asked by the photo named in a file."""

    def __init__(self, folder: Path, deadly: str) -> None:
        super().__init__(folder)
        self.deadly = deadly

    def find(self, name: str):
        marker = Path(self.deadly)
        if marker.exists() and os.getpid() != int(marker.read_text()):
            os.kill(os.getpid(), signal.SIGKILL)
        return super().find(name)


def copies(folder: Path, count: int) -> list[Path]:
    source = SAMPLES / "messenger_copy_1600.jpg"
    paths = [folder / f"{i}.jpg" for i in range(count)]
    for i, path in enumerate(paths):
        path.write_bytes(source.read_bytes() + bytes([i]))
    return paths


def test_two_workers_say_the_same_as_one_in_the_same_order(tmp_path: Path) -> None:
    photos = [*copies(tmp_path, 2), SAMPLES / "half_out_of_picture_blurred.jpg"]
    alone = list(read_files(photos, Catalog(tmp_path)))
    together = list(read_files(photos, Catalog(tmp_path), jobs=2))
    assert together == alone
    assert [r.path for r in together] == [str(p) for p in photos]


def test_workers_know_the_players_hands(tmp_path: Path) -> None:
    photos = copies(tmp_path, 2)
    (plain,) = read_file(photos[0], Catalog(tmp_path)).readings
    Catalog(tmp_path).assign({str(plain.serial): "Wren"})
    (known,) = read_file(photos[0], Catalog(tmp_path), hands=Hands({})).readings
    hands = Hands({"Wren": [Lesson(i % 2, view) for i, view in enumerate(known.views.values())]})
    alone = list(read_files(photos, Catalog(tmp_path), hands=hands))
    assert list(read_files(photos, Catalog(tmp_path), jobs=2, hands=hands)) == alone
    assert alone[0].readings[0].views == known.views
    assert plain.views == {}
    assert alone[0].readings[0].fields != known.fields  # nonsense was taught, and so something is asked


def test_a_photo_seen_before_is_not_opened(tmp_path: Path) -> None:
    first, second = copies(tmp_path, 2)
    for jobs in (1, 2):
        before, new = read_files([first, second], Catalog(tmp_path), jobs=jobs, skip={first: "0" * 64})
        assert before == FileResult(str(first), before=True, sha256="0" * 64)
        assert new.readings[0].status == "read"


def test_a_file_that_ends_its_reader_is_reported_and_the_others_are_read(tmp_path: Path) -> None:
    marker = tmp_path / "deadly"
    marker.write_text(str(os.getpid()))
    bad, *_ = copies(tmp_path, 1)
    text = tmp_path / "note.jpg"
    text.write_text("no picture, and so never looked up")
    results = list(read_files([bad, text], DeadlyCatalog(tmp_path, str(marker)), jobs=2))
    assert "ended while reading" in (results[0].error or "")
    assert "expected a picture" in (results[1].error or "")


def test_folders_are_read_in_the_order_of_names_and_hidden_files_are_left(tmp_path: Path) -> None:
    for name in ("b.JPG", "a.png", ".hidden.jpg", "notes.txt"):
        (tmp_path / name).write_bytes(b"x")
    assert [p.name for p in expand([tmp_path])] == ["a.png", "b.JPG"]
    with pytest.raises(InputError, match="no such file"):
        expand([tmp_path / "missing"])


def test_an_error_in_a_file_is_part_of_its_result(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"\xff\xd8\xff nothing")
    result = read_file(tmp_path / "x.jpg", Catalog(tmp_path))
    assert result.readings == ()
    assert "x.jpg" in (result.error or "")


def letter(pages: int) -> PdfReader:
    """Pages of text, as an office scans them along with the cards."""
    stream = io.BytesIO()
    canvas = Canvas(stream)
    for page in range(pages):
        for line in range(40):
            canvas.drawString(
                72, 760 - 16 * line, f"page {page}, line {line}: the minutes of the club's meeting"
            )
        canvas.showPage()
    canvas.save()
    return PdfReader(stream)


def a_card_among_letters(path: Path) -> Path:
    """Text, card, text, a page that cannot be drawn, text."""
    writer = PdfWriter()
    writer.append(letter(1))
    writer.append(SAMPLES / "flatbed_scan.pdf")
    writer.append(letter(3))
    broken = writer.pages[3].indirect_reference
    assert broken is not None
    writer._objects[broken.idnum - 1] = NullObject()
    writer.write(path)
    return path


def test_pages_without_a_card_are_named_and_skipped(tmp_path: Path) -> None:
    result = read_file(a_card_among_letters(tmp_path / "club.pdf"), Catalog(tmp_path))
    (reading,) = result.readings
    assert result.error is None
    assert reading.status == "read"
    assert reading.source.endswith("club.pdf, page 2")
    assert result.notes == ("no card on pages 1 and 3 to 5, skipped",)
    (alone,) = read_file(SAMPLES / "flatbed_scan.pdf", Catalog(tmp_path)).readings
    assert dict(reading.fields) == dict(alone.fields)


def test_a_pdf_without_any_card_is_one_photo_that_shows_none(tmp_path: Path) -> None:
    path = tmp_path / "minutes.pdf"
    writer = PdfWriter()
    writer.append(letter(3))
    writer.write(path)
    result = read_file(path, Catalog(tmp_path))
    (reading,) = result.readings
    assert reading.status == "rejected"
    assert reading.source == str(path)
    assert (reading.reason or "").startswith("none of its 3 pages shows a card.")


def test_the_command_says_which_pages_it_skipped(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    path = a_card_among_letters(tmp_path / "club.pdf")
    code = main(["read", str(path), "--store", str(tmp_path / "store.sqlite")])
    said = capsys.readouterr().out
    assert code in (0, 1)
    assert "club.pdf: no card on pages 1 and 3 to 5, skipped." in said
