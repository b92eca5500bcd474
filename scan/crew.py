"""Photos read by limited child processes that stay: the parent decodes nothing and outlives any file.

A child that takes too long, too much memory or breaks is ended and replaced, and reading goes on behind the
page that it broke on. Children are kept for the next call, since starting one takes longer than reading two
photos with it. What a child says is unpacked into the few plain classes of a reading and nothing else: a
photo that has taken a decoder over gets no further than its child.
"""

from __future__ import annotations

import atexit
import io
import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.forms.errors import ShortpencilError
from shortpencil.forms.shown import one_line
from shortpencil.scan.file_pages import Given, Page, broken_page, name_of
from shortpencil.scan.leftovers import WORK, Folder
from shortpencil.scan.limits import CPU_S, python_path
from shortpencil.scan.worker import END, MEMORY, ONE_PAGE, PAGE, READY, put, put_bytes, take

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.vision.seeing.known_hands import Hands

#: Without a sign of life for so long a child is ended, whatever it does: its processor time is limited by the
#: system, and this is for one that waits, or on a machine with more to do than it can.
SILENCE_S = 90.0
TEMPORARY = ("TMPDIR", "TEMP", "TMP")  # what names the folder for temporary files, by system
MAX_ANSWER_BYTES = 64 * 2**20  # one page: a reading is 0.3 MB
MOST_BROKEN_PAGES = 3
MOST_KEPT = 4  # children that wait for the next call

#: glibc gives large arrays back to the system when they are freed: 3,300 pages are fetched and wiped anew for
#: each photo of 12 megapixels, 10 of 150 ms. A worker needs them again for its next photo. Other C libraries
#: pay no heed to these names (mallopt(3)).
WORKERS_ENVIRONMENT = {
    "OMP_NUM_THREADS": "1",  # the pool is the parallelism, and a library's threads would fight it
    "OPENBLAS_NUM_THREADS": "1",
    "MALLOC_MMAP_THRESHOLD_": str(32 * 2**20),  # the most that it takes
    "MALLOC_TRIM_THRESHOLD_": str(256 * 2**20),
}


class Crew:
    """Reads files for several threads, each file in one child; close it to give the children back."""

    def __init__(
        self,
        catalog: Catalog,
        hands: Hands | None,
        *,
        explain: Path | None = None,
        typed: tuple[str, str] | None = None,
    ) -> None:
        self._begin = ("begin", catalog, hands, typed)
        self._explain = explain
        self._lock = threading.Lock()
        self._free: list[_Child] = []
        self._busy: set[_Child] = set()
        self._closed = False

    def read(self, file: Path | Given) -> tuple[list[Page], str | None]:
        """Return the pages of one file and, where no more of it could be read, why."""
        pages: list[Page] = []
        error: str | None = None
        start, broken, once_more = 1, 0, True
        while True:
            child, fresh = self._child()
            got, end = child.read(file, start, self._explain)
            pages += got
            if end is None and once_more and not self._closed and child.ended_at_start():
                once_more = False
                child.end()
                self._give_back(child)
                continue
            if end is not None and not end[1]:
                error = end[0]
                self._give_back(child)
                break
            why = child.why() if end is None else str(end[0])
            worn = child.broke() if end is None else end[1] == MEMORY
            if end is None or end[1] != ONE_PAGE:
                child.end()
            self._give_back(child)
            if worn and not fresh and not got and not self._closed:
                continue  # a child that has read much has its memory in pieces: once more, afresh
            start = (got[-1].number or 0) + 1 if got else start
            broken += 1
            if self._closed or broken > MOST_BROKEN_PAGES or not _has_pages(file):
                error = f"{name_of(file)}: {why}"
                break
            pages.append(broken_page(start, why))
            start += 1
        return pages, error

    def close(self) -> None:
        """End what is at work; keep a few children that wait for the next call."""
        with self._lock:
            self._closed = True
            for child in self._busy:
                child.end()
            free, self._free = self._free, []
        for child in free:
            _keep(child)

    def _child(self) -> tuple[_Child, bool]:
        """Return a child that knows what it must, and whether it has read nothing before."""
        with self._lock:
            child = self._free.pop() if self._free else None
        fresh = False
        if child is None:
            child = _kept()
            if child is None:
                child, fresh = _Child(), True
            child.tell(self._begin)
        with self._lock:
            self._busy.add(child)
            if self._closed:
                child.end()
        return child, fresh

    def _give_back(self, child: _Child) -> None:
        with self._lock:
            self._busy.discard(child)
            if not self._closed and child.alive():
                self._free.append(child)
                return
        child.end()


def _has_pages(file: Path | Given) -> bool:
    """Say whether a file is of a kind that may have further pages behind the one that broke its reader."""
    try:
        if isinstance(file, Given):
            begins = file.data[:5]
        else:
            with file.open("rb") as stream:
                begins = stream.read(5)
    except OSError:
        return False
    return begins.startswith((b"%PDF-", b"II*\x00", b"MM\x00*"))


class _Child:
    """One process of `scan.worker`."""

    def __init__(self) -> None:
        self.environment = _environment()
        self._folder = Folder(WORK)  # Tesseract's files lie there when it is ended with its child
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 (it lives as long as the child)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "shortpencil.scan.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._said,
            env={
                **WORKERS_ENVIRONMENT,
                **os.environ,
                "PYTHONPATH": python_path(),
                **dict.fromkeys(TEMPORARY, str(self._folder.path)),
            },
            start_new_session=True,  # Ctrl-C in the terminal is for the parent, which ends its children
        )
        self._late = self._ready = False

    def tell(self, message: object) -> None:
        """Send a message; a child that is gone says so when it is asked."""
        assert self._process.stdin is not None
        with suppress(OSError, ValueError):
            put(self._process.stdin, message)  # type: ignore[arg-type]

    def _ask(self, file: Path | Given, start: int, explain: Path | None) -> None:
        if not isinstance(file, Given):
            self.tell(("read", file, start, explain, False))
            return
        self.tell(("read", file.name, start, explain, True))
        assert self._process.stdin is not None
        with suppress(OSError, ValueError):
            put_bytes(self._process.stdin, file.data)  # type: ignore[arg-type]

    def read(
        self, file: Path | Given, start: int, explain: Path | None
    ) -> tuple[list[Page], tuple[str | None, str] | None]:
        """Return the pages of a file and (error, kind), None in its place when the child ended before."""
        self._ask(file, start, explain)
        pages: list[Page] = []
        while True:
            message = self._next()
            if message is None:
                return pages, None
            if message[0] == READY:
                self._ready = True
            elif message[0] == PAGE:
                pages.append(message[1])
            elif message[0] == END:
                return pages, (message[1], message[2])

    def _next(self) -> tuple[Any, ...] | None:
        assert self._process.stdout is not None
        timer = threading.Timer(SILENCE_S, self._too_late)
        timer.daemon = True
        timer.start()
        try:
            data = take(self._process.stdout, MAX_ANSWER_BYTES)  # type: ignore[arg-type]
            told = None if data is None else _Plain(io.BytesIO(data)).load()
        except (OSError, ValueError, pickle.UnpicklingError, EOFError, AttributeError, TypeError):
            told = None
        finally:
            timer.cancel()
        return told if isinstance(told, tuple) and told else None

    def _too_late(self) -> None:
        self._late = True
        self.end()

    def ended_at_start(self) -> bool:
        """Say whether somebody ended this child before it had loaded, as a system short of memory does.

        That is no file's doing, and the next child may well start. One that ended by itself will not.
        """
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        return not self._ready and not self._late and (self._process.returncode or 0) < 0

    def why(self) -> str:
        """Return why this child ended in the middle of a file, and what to do."""
        with suppress(subprocess.TimeoutExpired):  # it may be about to end by itself, and say by what
            self._process.wait(1.0)
        if not self._ready and not self._late and not self._said.closed:
            self._said.seek(0)
            last = one_line(self._said.read().decode("utf-8", "replace").strip().rpartition("\n")[2])
            raise ShortpencilError(
                "expected that the program which reads photos can be started, found that it ended: "
                f"{last or 'it said nothing'}. Is shortpencil installed whole?"
            )
        if self._late or self._process.returncode == -getattr(signal, "SIGXCPU", 0):
            return (
                f"expected a photo that can be read within {CPU_S} s, found one that takes longer. "
                "Export it smaller, or as a plain JPEG."
            )
        return (
            "the reader ended while reading this file: it needs too much memory, or is broken in a way that "
            "its decoder does not survive. Export the photo anew, smaller."
        )

    def broke(self) -> bool:
        """Say whether this child ended by itself, and not because it took too long."""
        return not self._late and self._process.poll() not in (None, -getattr(signal, "SIGXCPU", 0))

    def alive(self) -> bool:
        """Say whether the process runs."""
        return self._process.poll() is None

    def end(self) -> None:
        """End the process and whatever it started."""
        if self._process.poll() is None:
            with suppress(OSError, AttributeError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            with suppress(OSError, ValueError):
                if stream is not None:
                    stream.close()
        self._said.close()
        self._folder.remove()


_kept_lock = threading.Lock()
_waiting: list[_Child] = []


def _environment() -> tuple[str | None, ...]:
    """Return what a child takes over from its parent when it starts, and what may change before the next."""
    return tuple(os.environ.get(name) for name in ("PATH", "PYTHONPATH", "TMPDIR", "TESSDATA_PREFIX"))


def _kept() -> _Child | None:
    with _kept_lock:
        for child in list(_waiting):
            if not child.alive():
                _waiting.remove(child)
            elif child.environment == _environment():
                _waiting.remove(child)
                return child
    return None


def _keep(child: _Child) -> None:
    with _kept_lock:
        if len(_waiting) < MOST_KEPT and child.alive():
            _waiting.append(child)
            return
    child.end()


def expect_work() -> None:
    """Start a child that waits for the next call: it loads while the caller does something else."""
    if not _waiting:
        _keep(_Child())


@atexit.register
def end_all() -> None:
    """End the children that wait."""
    with _kept_lock:
        children, _waiting[:] = list(_waiting), []
    for child in children:
        child.end()


#: What a child may say: readings and the evidence they rest on.
_CLASSES = {
    ("shortpencil.scan.file_pages", "Page"),
    ("shortpencil.scan.reading", "CardReading"),
    ("shortpencil.scan.reading", "CellReading"),
    ("shortpencil.scan.reading", "FieldReading"),
    ("shortpencil.scan.reading", "Finding"),
    ("shortpencil.scan.vision.evidence", "Evidence"),
    ("builtins", "frozenset"),
    ("numpy", "ndarray"),
    ("numpy", "dtype"),
    ("numpy.core.multiarray", "_reconstruct"),
    ("numpy.core.multiarray", "scalar"),
    ("numpy._core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "scalar"),
}


class _Plain(pickle.Unpickler):
    """Unpacks what a child says, and refuses everything that is no part of a reading."""

    def find_class(self, module: str, name: str) -> Any:
        """Return a class that may be named."""
        if (module, name) not in _CLASSES:
            raise pickle.UnpicklingError(f"{module}.{name} is no part of a reading")
        return super().find_class(module, name)
