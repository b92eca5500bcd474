"""Reads uploaded photos, each in a process of its own that was started before it was needed.

Starting a process with its libraries takes longer than reading a photo with it, so one waits warm; it reads
one photo and ends, and the next one is started while the person looks at the result.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from base64 import b64decode
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

from shortpencil.scan.intake import FileResult
from shortpencil.scan.limits import python_path
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.recording.kept import reading_from_text
from shortpencil.scan.review.child import READY

MAX_PHOTO_PIXELS = 60_000_000  # phones make 12 or 50 megapixels; memory in the child grows with it
MAX_ANSWER_BYTES = 64 * 2**20
MAX_VIEW_BYTES = 4096  # of one digit box
TIMEOUT_S = 20.0
AT_ONCE = 2

_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"


class Readers:
    """Reads photos in limited child processes, at most `at_once` together; close it to end them."""

    def __init__(self, forms: Path, *, at_once: int = AT_ONCE, timeout_s: float = TIMEOUT_S) -> None:
        self._forms, self._timeout_s = forms, timeout_s
        self._turns = threading.BoundedSemaphore(at_once)
        self._lock = threading.Lock()
        self._spare: subprocess.Popen[bytes] | None = None
        self._closed = False

    def warm_up(self) -> None:
        """Start a process for the next photo, if none waits."""
        with self._lock:
            if self._spare is None and not self._closed:
                self._spare = _start()

    def read(
        self, path: Path, name: str, hands: Path | None = None, typed: tuple[str, str] | None = None
    ) -> FileResult:
        """Return what a file says; a reader that breaks or takes too long gives a result with `error`.

        Parameters
        ----------
        path : the file, under a name of our own
        name : what to call it in messages
        hands : a file with what is known of players' hands, if theirs are to be used and learnt
        typed : serial and fingerprint of its one card, in case its code cannot be read
        """
        with self._turns:
            with self._lock:
                child, self._spare = self._spare, None
            child = child or _start()
            try:
                said = _ask(child, self._job(path, hands, typed), self._timeout_s)
            finally:
                _end(child)
                self.warm_up()
        if said is None:
            return FileResult(
                name,
                error=f"{name}: expected a photo that can be read within {self._timeout_s:.0f} s in little "
                "memory, found one that cannot. Take the photo again, or send a smaller one.",
            )
        error = said["error"]
        cards = tuple(_reading(card, name) for card in said["cards"])
        return FileResult(
            name,
            cards,
            None if error is None else str(error).replace(str(path), name),
            notes=tuple(str(note)[:500] for note in said["notes"]),
            evidence=tuple(card["evidence"] and b64decode(card["evidence"]) for card in said["cards"]),
        )

    def close(self) -> None:
        """End the process that waits."""
        with self._lock:
            self._closed = True
            if self._spare is not None:
                _end(self._spare)
                self._spare = None

    def _job(self, path: Path, hands: Path | None, typed: tuple[str, str] | None) -> bytes:
        job = {
            "path": str(path),
            "forms": str(self._forms),
            "most_pixels": MAX_PHOTO_PIXELS,
            "hands": None if hands is None else str(hands),
            "typed": typed,
        }
        return json.dumps(job).encode() + b"\n"


def _start() -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "shortpencil.scan.review.child"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        # One thread a library: several children share the machine, and each thread reserves memory.
        env={**os.environ, "PYTHONPATH": python_path(), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        start_new_session=True,
    )


def _ask(child: subprocess.Popen[bytes], job: bytes, timeout_s: float) -> dict[str, Any] | None:
    """Return the child's answer, or None when it gives none that can be understood in time."""
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        child.stdin.write(job)
        child.stdin.close()
    except OSError:  # it ended before it got its job
        return None
    parts: list[bytes] = []
    # A thread waits for the answer, since Windows waits for sockets only; it ends with the child.
    listener = threading.Thread(target=_listen, args=(child.stdout, parts), daemon=True)
    listener.start()
    listener.join(timeout_s)
    if listener.is_alive() or sum(map(len, parts)) > MAX_ANSWER_BYTES:
        return None
    try:
        said = json.loads(b"".join(parts).removeprefix(READY))
    except ValueError:
        return None
    return said if isinstance(said, dict) else None


def _listen(stream: IO[bytes], parts: list[bytes]) -> None:
    """Take what a child says until it ends, or has said too much."""
    left = MAX_ANSWER_BYTES
    with suppress(OSError, ValueError):  # closed meanwhile
        while left >= 0 and (part := os.read(stream.fileno(), 1 << 20)):
            parts.append(part)
            left -= len(part)


def _end(child: subprocess.Popen[bytes]) -> None:
    child.kill()
    child.wait()
    for stream in (child.stdin, child.stdout):
        if stream is not None and not stream.closed:
            try:
                stream.close()
            except OSError:  # a job it never read
                continue


def _reading(card: dict[str, Any], name: str) -> CardReading:
    from dataclasses import replace

    pictures = {field: b64decode(data) for field, data in card["pictures"].items()}
    kept = {field: data for field, data in pictures.items() if data.startswith((_PNG, _JPEG))}
    views = {cell[:100]: b64decode(data)[:MAX_VIEW_BYTES] for cell, data in card["views"].items()}
    reading = reading_from_text(card["reading"], photo_sha256=card["photo"], pictures=kept)
    return replace(reading, source=name, views=views)
