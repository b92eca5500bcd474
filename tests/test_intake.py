"""Many photos: in order, in parallel, none twice, and one that ends its reader harms no other."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from forms.catalog import Catalog
from forms.errors import InputError
from scan.intake import FileResult, expand, read_file, read_files

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


def test_a_photo_seen_before_is_not_opened(tmp_path: Path) -> None:
    first, second = copies(tmp_path, 2)
    for jobs in (1, 2):
        before, new = read_files([first, second], Catalog(tmp_path), jobs=jobs, skip={first})
        assert before == FileResult(str(first), before=True)
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
