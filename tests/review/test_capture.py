"""Photos sent to the page: read in a limited process, told at once, refused with how to do it better."""

from __future__ import annotations

import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from shortpencil.forms.serials import plain_code, serial_from
from shortpencil.scan.records.store import Store
from shortpencil.scan.review import readers as readers_module
from shortpencil.scan.review.app import MOST_PHOTOS
from shortpencil.scan.review.readers import Readers
from tests.review.conftest import SAMPLES, THREE, Page


@pytest.fixture
def browser(page: Page) -> TestClient:
    return page.browser("phone")


def send(browser: TestClient, *photos: tuple[str, bytes, str]):
    return browser.post("/capture", files=[("photos", photo) for photo in photos])


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few hundred kB that would fill the memory when decoded."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(bytes(1 << 20), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_a_photo_is_read_and_its_first_question_asked_right_there(
    browser: TestClient, store: Store, serial: str
) -> None:
    # The name and the type that come with it are believed in nothing.
    other = (SAMPLES / "hand_shadow_on_bonnet.jpg").read_bytes()
    told = send(
        browser,
        ("../../etc/passwd\x00.php", other, "text/html"),
        ("b.jpg", (SAMPLES / THREE).read_bytes(), "x"),
    )
    assert told.status_code == 200
    assert "Photo 1" in told.text
    assert "passwd" not in told.text
    assert "Read, 3 questions" in told.text
    assert "same photo" in told.text
    assert f"/ask/{serial}/h05.drive" in told.text
    assert len(store.rounds()) == 3


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty file"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "Expected a picture"),
        (b"MZ" + bytes(2000), "Expected a picture"),
        (b"\xff\xd8\xff" + bytes(5000), "JPEG"),
        (b"%PDF-1.7\n" + bytes(500), "PDF"),
        (bomb(30_000, 30_000), "pixels"),
        (bomb(9_000, 9_000), "pixels"),
    ],
    ids=["empty", "svg", "program", "broken-jpeg", "broken-pdf", "bomb", "too-many-pixels"],
)
def test_what_is_no_photo_of_a_card_is_refused_with_what_to_do(
    browser: TestClient, store: Store, data: bytes, says: str
) -> None:
    before = store.rounds()
    told = send(browser, ("card.jpg", data, "image/jpeg"))
    assert told.status_code == 200
    assert "please take it again" in told.text
    assert says in told.text
    assert "/tmp" not in told.text
    assert store.rounds() == before


def test_a_photo_without_a_card_says_how_to_take_it_again(browser: TestClient) -> None:
    cv2 = pytest.importorskip("cv2")
    np = pytest.importorskip("numpy")
    _, data = cv2.imencode(".jpg", np.full((900, 1200), 200, np.uint8))
    told = send(browser, ("card.jpg", data.tobytes(), "image/jpeg"))
    assert "whole sheet in view" in told.text


def test_the_number_of_a_card_whose_code_is_spoilt_may_be_typed(browser: TestClient, store: Store) -> None:
    photo = ("photo", ("x.jpg", (SAMPLES / "rain_and_grass.jpg").read_bytes(), "image/jpeg"))
    other = plain_code(serial_from(bytes(16)), "ABC234")
    wrong = browser.post("/capture", files=[photo], data={"card": "7K3M"})
    assert (wrong.status_code, "14 signs" in wrong.text) == (422, True)
    alone = browser.post("/capture", files=[photo, photo], data={"card": other})
    assert (alone.status_code, "Send it alone" in alone.text) == (422, True)
    before = store.rounds()
    told = browser.post("/capture", files=[photo], data={"card": other})
    assert "This is card MN6UZ4BQ by its code, and not 22222222" in told.text
    assert store.rounds() == before
    read = browser.post("/capture", files=[photo], data={"card": " "})
    assert "/card/MN6UZ4BQ" in read.text


def test_nothing_too_many_and_too_much_are_refused(browser: TestClient) -> None:
    assert browser.post("/capture", data={}).status_code == 422
    assert browser.post("/capture", files=[("photos", ("", b"", "image/jpeg"))]).status_code == 422
    small = ("x.jpg", b"x", "image/jpeg")
    assert send(browser, *([small] * (MOST_PHOTOS + 1))).status_code == 400
    large = ("x.jpg", bytes(5 * 2**20), "image/jpeg")
    refused = send(browser, large)
    assert refused.status_code == 413
    assert "4 MB" in refused.text


@pytest.mark.parametrize(
    "kind",
    [
        "multipart/form-data",
        "multipart/form-data; boundary=",
        "multipart/form-data; boundary=x",
        "text/plain",
    ],
)
def test_a_malformed_upload_is_survived(browser: TestClient, kind: str) -> None:
    sent = browser.post("/capture", content=b"--x\r\nbroken" + bytes(300), headers={"content-type": kind})
    assert sent.status_code in (400, 422)
    assert browser.get("/").status_code == 200


def test_a_reader_that_takes_too_long_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sleeper = [sys.executable, "-c", "import sys; sys.stdin.readline(); sys.stdin.close(); import threading; "
               "threading.Event().wait()"]  # fmt: skip

    def start() -> subprocess.Popen[bytes]:
        return subprocess.Popen(sleeper, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    monkeypatch.setattr(readers_module, "_start", start)
    readers = Readers(tmp_path, timeout_s=0.3)
    result = readers.read(tmp_path / "x", "The photo")
    readers.close()
    assert result.readings == ()
    assert "Take the photo again" in (result.error or "")


@pytest.mark.parametrize(
    "last", ["raise SystemExit(9)", "print('[1]')", "print('{'*9)", "import os; os.kill(os.getpid(), 11)"]
)
def test_a_reader_that_breaks_breaks_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, last: str
) -> None:
    def start() -> subprocess.Popen[bytes]:
        code = f"import sys; sys.stdin.readline(); {last}"
        return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    monkeypatch.setattr(readers_module, "_start", start)
    readers = Readers(tmp_path)
    assert "Take the photo again" in (readers.read(tmp_path / "x", "The photo").error or "")
    readers.close()


def test_a_reader_cannot_take_the_memory_or_write_large_files() -> None:
    code = (
        "from shortpencil.scan.review.child import limit; limit()\n"
        "try:\n    bytearray(900 * 2**20); print('took it')\n"
        "except MemoryError:\n    print('memory refused')\n"
        "import tempfile\n"
        "try:\n    f = tempfile.TemporaryFile(); f.write(bytes(64 * 2**20)); f.flush(); print('wrote it')\n"
        "except OSError:\n    print('file refused')\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                         cwd=Path(__file__).parents[2])  # fmt: skip
    assert run.stdout.split("\n")[:2] == ["memory refused", "file refused"]
