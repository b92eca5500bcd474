"""What is kept is its owner's alone, whatever comes first; what is made to be shown goes by the umask."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from shortpencil.scan.cli.main import main
from shortpencil.scan.records.store import open_store
from tests.records.filled import fill

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_scans" / "three_to_review.jpg"


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.delenv("SHORTPENCIL_HOME", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    before = os.umask(0o022)
    yield
    os.umask(before)


def modes(folder: Path) -> dict[str, int]:
    paths = [folder, *folder.rglob("*")]
    return {str(path.relative_to(folder)): stat.S_IMODE(path.stat().st_mode) for path in paths}


def assert_private(folder: Path) -> None:
    for name, mode in modes(folder).items():
        assert mode == (0o700 if (folder / name).is_dir() else 0o600), name


def print_card(folder: Path) -> None:
    layout = folder / "course.toml"
    layout.write_text('name = "Alder Meadow"\n[[holes]]\nnumber = 1\npar = 3\nlength = 80\n')
    card = ["print", "-o", str(folder / "card.pdf"), "--player", "Wren", "--layout", str(layout)]
    assert main([*card, "--form", "round9"]) in (0, 2)  # a course of one hole may not fit nine
    assert main(["print", "-o", str(folder / "card.pdf"), "--player", "Wren"]) == 0


def import_rounds(folder: Path) -> None:
    typed = folder / "typed.json"
    typed.write_text('{"unit": "m", "holes": [{"number": 1, "score": 3}]}')
    assert main(["import", str(typed)]) == 0


@pytest.mark.parametrize("order", [(print_card, import_rounds), (import_rounds, print_card)])
def test_folder_and_files_are_private_whatever_comes_first(order, tmp_path: Path) -> None:
    for command in order:
        command(tmp_path)
        assert_private(tmp_path / "data" / "shortpencil")
    names = modes(tmp_path / "data" / "shortpencil")
    assert {"rounds.sqlite", "forms", "forms/cards"} <= set(names)


@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o077, 0o600)])
def test_exports_go_by_the_umask(umask: int, mode: int, tmp_path: Path) -> None:
    import_rounds(tmp_path)
    os.umask(umask)
    assert main(["export", str(tmp_path / "out")]) == 0
    assert {stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "out").iterdir()} == {mode}


def test_while_the_store_is_open_its_log_is_private_too(tmp_path: Path) -> None:
    path = tmp_path / "data" / "shortpencil" / "rounds.sqlite"
    fill(path, cards=1)
    with open_store(path) as store:
        assert store.size() == (1, 1)
        assert (path.parent / "rounds.sqlite-wal").exists()
        assert_private(path.parent)


def test_what_an_older_version_left_open_is_closed_at_the_next_start(tmp_path: Path) -> None:
    print_card(tmp_path)
    import_rounds(tmp_path)
    home = tmp_path / "data" / "shortpencil"
    for path in (home, *home.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    assert main(["rounds"]) == 0
    assert_private(home)


def test_a_folder_that_the_player_chose_keeps_its_mode(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shared = tmp_path / "shared"
    shared.mkdir(mode=0o755)
    (shared / "notes.txt").write_text("mine")
    monkeypatch.setenv("SHORTPENCIL_HOME", str(shared))
    import_rounds(tmp_path)
    found = modes(shared)
    assert found["."] == 0o755
    assert found["notes.txt"] == 0o644
    assert found["rounds.sqlite"] == 0o600


def test_nothing_of_a_photos_metadata_is_kept(tmp_path: Path) -> None:
    """Camera, owner, place and time in EXIF, comments: none of it is in the store or in its pictures."""
    photo = Image.open(SAMPLE)
    exif = photo.getexif()
    said = ("ACME Lens 77", "Robin Secret", "geheime Notiz", "2019:03:04 05:06:07")
    exif[0x010F], exif[0x013B], exif[0x010E], exif[0x0132] = said
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 13.0, 37.77), 3: "E", 4: (7.0, 44.0, 11.11)})
    marked = tmp_path / "marked.jpg"
    photo.save(marked, exif=exif, comment=b"written by Robin", xmp=b"<x:xmpmeta>Robin was here</x:xmpmeta>")
    original = marked.read_bytes()
    assert all(word.encode() in original for word in (*said, "written by Robin", "Robin was here"))
    assert main(["read", str(marked), "--explain", str(tmp_path / "explain")]) in (0, 1)
    kept = [p for folder in ("data", "explain") for p in (tmp_path / folder).rglob("*") if p.is_file()]
    assert len(kept) > 3
    for path in kept:
        data = path.read_bytes()
        for word in (*said, "Robin", "Exif", "xmpmeta"):
            assert word.encode() not in data, f"{word} in {path}"
    with open_store(tmp_path / "data" / "shortpencil" / "rounds.sqlite") as store:
        (line,) = store.summaries()
        card = store.card(line.id)
    assert card.reading.pictures
    for data in card.reading.pictures.values():
        is_png = data[:8] == b"\x89PNG\r\n\x1a\n"
        bare = is_png and not any(chunk in data for chunk in (b"tEXt", b"iTXt", b"zTXt", b"eXIf"))
        assert bare or data[:2] == b"\xff\xd8"


def test_the_search_for_metadata_can_fail(tmp_path: Path) -> None:
    about = PngInfo()
    about.add_text("Author", "Robin")
    Image.new("L", (4, 4)).save(tmp_path / "a.png", pnginfo=about)
    assert b"Robin" in (tmp_path / "a.png").read_bytes()
