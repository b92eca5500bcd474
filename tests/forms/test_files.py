"""Files are read with limits and written as a Unix user expects; texts say where they are wrong."""

from __future__ import annotations

import os
import socket
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import parsed_json, parsed_toml, read_bytes, read_text, write_whole
from shortpencil.forms.shown import found, harmless, is_text, one_line, path_text

ROOT = Path(__file__).parents[2]


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as refused:
        read_bytes(path, 1000, "a photo")
    said = str(refused.value)
    assert "\n" not in said
    return said


def test_what_is_no_ordinary_file_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "found a named pipe" in refusal(tmp_path / "pipe")
    assert "found a device" in refusal(Path("/dev/zero"))
    assert "found a folder" in refusal(tmp_path)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(tmp_path / "s"))
        assert "found a socket" in refusal(tmp_path / "s")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert "cannot be read" in refusal(tmp_path / "loop")
    assert "cannot be read" in refusal(tmp_path / ("x" * 300))
    (tmp_path / "large").write_bytes(bytes(3 << 20))
    assert "found 3 MiB" in refusal(tmp_path / "large")
    assert read_bytes(Path("/proc/self/stat"), 10_000)  # says that it is empty and is not


def test_a_name_that_is_no_text_is_shown(tmp_path: Path) -> None:
    name = os.fsdecode(b"caf\xe9\x1b[31m\xe2\x80\xae.jpg")
    (tmp_path / name).write_bytes(b"\xff")
    with pytest.raises(InputError) as refused:
        read_text(tmp_path / name)
    assert "caf\\udce9\\u001b[31m\\u202e.jpg: expected UTF-8" in str(refused.value)
    str(refused.value).encode()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = 1\nb = = 2", "found a syntax error"),
        ("a = " + "9" * 5000, "thousands of digits"),
        ("a = 0x" + "f" * 5000, "more than 18 digits"),
        ("a = " + "[" * 5000 + "]" * 5000, "nested deeper"),
        ("[" + "a." * 3000 + "b]\nc = 1", "nested deeper"),
        ("a = 2026-13-45", "syntax error"),
    ],
)  # fmt: skip
def test_toml_that_nobody_wrote_says_so_in_a_line(text: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        parsed_toml(text, "own.toml", "a form")
    assert said in str(refused.value)
    assert len(str(refused.value)) < 300


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "expected JSON, found at its very start nothing."),
        ("hello", "map.json: expected JSON, found at its very start 'hello'. Name another file."),
        ('{"a": ', "line 1"),
        ("9" * 5000, "5000 digits"),
        ("-" + "9" * 19, "19 digits"),
        ("[" * 100_000, "nested deeper"),
        ("NaN", "no number of JSON"),
        ('{"a": 1, "a": 2}', "twice"),
    ],
)  # fmt: skip
def test_json_that_nobody_wrote_says_so_in_a_line(text: str, said: str) -> None:
    with pytest.raises(InputError) as refused:
        parsed_json(text, "map.json")
    assert said in str(refused.value)
    assert len(str(refused.value)) < 300


# -- writing -------------------------------------------------------------------------------------------------


def test_a_symbolic_link_stays_one_and_its_target_is_written(tmp_path: Path) -> None:
    target = tmp_path / "far" / "a.pdf"
    target.parent.mkdir()
    link = tmp_path / "a.pdf"
    link.symlink_to(Path("far") / "a.pdf")
    write_whole(link, b"first")  # dangling
    write_whole(link, b"second")
    assert link.is_symlink()
    assert target.read_bytes() == b"second"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.pdf", "far"]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o755])
def test_a_file_keeps_its_mode(mode: int, tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x")
    path.chmod(mode)
    write_whole(path, b"y")
    assert stat.S_IMODE(path.stat().st_mode) == mode


def test_a_new_file_follows_the_umask_or_is_private(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "new", b"x")
        write_whole(tmp_path / "own" / "new", b"x", private=True)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "own").stat().st_mode) == 0o700
    assert stat.S_IMODE((tmp_path / "own" / "new").stat().st_mode) == 0o600


def test_a_pipe_and_a_device_get_the_bytes(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, b"through the pipe" * 10_000)
    reader.join()
    assert got == [b"through the pipe" * 10_000]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    write_whole(Path("/dev/null"), b"away")
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


def test_a_file_that_may_not_be_written_is_left_alone(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"mine")
    path.chmod(0o444)
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write everything
    with pytest.raises(InputError, match="cannot be written: Permission denied"):
        write_whole(path, b"yours")
    assert path.read_bytes() == b"mine"


@pytest.mark.parametrize("out", ["-", "/dev/stdout"])
def test_a_card_is_printed_to_standard_output(out: str, tmp_path: Path) -> None:
    code = (
        "import sys; from shortpencil.scan.cli.main import main; sys.exit(main(['print', '-o', sys.argv[1]]))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, out],
        cwd=ROOT,
        capture_output=True,
        check=True,
        env={**os.environ, "SHORTPENCIL_HOME": str(tmp_path)},
    )
    assert run.stdout.startswith(b"%PDF-")
    assert run.stdout.rstrip().endswith(b"%%EOF")
    assert b"1 card" in run.stderr


# -- what is shown -------------------------------------------------------------------------------------------


def test_what_a_terminal_would_obey_is_written_out() -> None:
    assert harmless("a\x1b[2J\x9b31m\u202eb\u2066\rc\nd\te\x7f") == (
        "a\\u001b[2J\\u009b31m\\u202eb\\u2066\\u000dc\nd\te\\u007f"
    )
    assert one_line("a\nb\tc") == "a\\u000ab\\u0009c"
    assert harmless("Ægir, 太郎, שלום, 🥏") == "Ægir, 太郎, שלום, 🥏"
    assert path_text(Path(os.fsdecode(b"\xff"))) == "\\udcff"


def test_what_was_found_is_shown_short_whatever_it_is() -> None:
    deep: list[object] = []
    for _ in range(5000):
        deep = [deep]
    for value in (10**6000, [10**6000], deep, "x" * 1000, {"a": "\x1b\n"}):
        said = found(value)
        assert len(said) <= 60
        assert said.isprintable()
    assert found(7) == "7"
    assert is_text("é")
    assert not is_text("\ud800")
    assert not is_text(b"x")
