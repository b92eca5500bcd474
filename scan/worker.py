"""The process that reads one photo after the other for `scan.crew`: warm, limited, replaced when it breaks.

It takes framed messages on standard input (first what it needs to know, then one file at a time) and answers
each file with a message a page and one at the end. Its memory is limited for its whole life, its processor
time for each file anew.
"""

from __future__ import annotations

import pickle
import re
import struct
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from shortpencil.forms.errors import InputError
from shortpencil.scan.file_pages import Given, name_of
from shortpencil.scan.limits import CPU_S, CPU_S_A_CARD, MEMORY_BYTES, allow_cpu, limit

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.vision.pipeline import Trace
    from shortpencil.scan.vision.seeing.known_hands import Hands

READY, PAGE, END = "ready", "page", "end"
#: Kinds of an end before the file's own: only this page, no memory, a mistake of this program.
ONE_PAGE, MEMORY, MISTAKE = "page", "memory", "mistake"
_HEAD = struct.Struct(">Q")


def put(stream: BinaryIO, message: object) -> None:
    """Write one message."""
    # Protocol 5 would pass arrays on by functions that differ by version.
    put_bytes(stream, pickle.dumps(message, protocol=4))


def put_bytes(stream: BinaryIO, data: bytes) -> None:
    """Write bytes as they are, framed as a message; packed with one they would lie in memory twice."""
    stream.write(_HEAD.pack(len(data)))
    stream.write(data)
    stream.flush()


def take(stream: BinaryIO, most_bytes: int) -> bytes | None:
    """Return the bytes of one message, or None when there is no more or it is too long."""
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    (size,) = _HEAD.unpack(head)
    if size > most_bytes:
        return None
    data = stream.read(size)
    return data if len(data) == size else None


class _Work:
    """What this process was told last: where layouts are found, whose hands are known, which card it is."""

    def __init__(self, catalog: Catalog, hands: Hands | None, typed: tuple[str, str] | None) -> None:
        self._catalog, self._hands, self._typed = catalog, hands, typed

    def read(self, out: BinaryIO, file: Path | Given, start: int, explain: Path | None) -> None:
        """Read one file from page `start` on; write its pages and the end."""
        from shortpencil.scan.file_pages import read_pages
        from shortpencil.scan.vision.opening.photo import PageError

        traces: list[Trace] | None = None if explain is None else []
        error, kind = None, ""
        allow_cpu(CPU_S)
        try:
            for page in read_pages(
                file, self._catalog, hands=self._hands, traces=traces, start=start, typed=self._typed
            ):
                put(out, (PAGE, page))
                if page.shows_card:
                    allow_cpu(CPU_S + CPU_S_A_CARD)
            if traces is not None and explain is not None:
                write_steps(traces, explain, Path(name_of(file)).stem)
        except PageError as refusal:
            error, kind = str(refusal).removeprefix(f"{name_of(file)}: "), ONE_PAGE
        except InputError as refusal:
            error = str(refusal)
        except Exception as problem:
            error, kind = _in_words(problem)
        put(out, (END, error, kind))


def _in_words(problem: Exception) -> tuple[str, str]:
    """Return what to tell of a problem that is no mistake of the file's owner, and of which kind it is."""
    # OpenCV says by a number that it got no memory: -4, its StsNoMem; a library that is loaded only now says
    # so by an error of loading.
    no_room = isinstance(problem, ImportError) and re.search("map|memory|allocat", str(problem))
    if isinstance(problem, MemoryError) or getattr(problem, "code", None) == -4 or no_room:
        return (
            f"expected a photo that can be read in {MEMORY_BYTES // 2**20} MB of memory, found one that "
            "needs more. Export it smaller.",
            MEMORY,
        )
    last = traceback.extract_tb(problem.__traceback__)[-1]
    place = f"{Path(last.filename).name}:{last.lineno}"
    said = " ".join(str(problem).split())[:120]
    return (
        "expected that this program can read it, found a mistake of the program "
        f"({type(problem).__name__}: {said}; {place}). Please report it with the file.",
        MISTAKE,
    )


def write_steps(traces: list[Trace], folder: Path, stem: str) -> None:
    """Write pictures of what each step saw of each card."""
    import cv2

    from shortpencil.forms.files import write_whole
    from shortpencil.scan.vision.overlay import explain

    for number, trace in enumerate(traces, start=1):
        card = f"-card{number}" if len(traces) > 1 else ""
        for name, picture in explain(trace).items():
            ok, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])
            if ok:
                write_whole(folder / f"{stem}{card}-{name}.jpg", data.tobytes())


def main() -> None:
    """Answer until standard input ends."""
    from shortpencil.scan.vision.warm import warm

    warm()
    limit(cpu_s=None)
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # whatever a library prints is no part of an answer
    put(out, (READY,))
    work: _Work | None = None
    while (message := take(sys.stdin.buffer, 1 << 32)) is not None:
        told: Any = pickle.loads(message)  # of the process that started this one
        if told[0] == "begin":
            work = _Work(*told[1:])
        elif work is not None:
            _, file, start, explain, follows = told
            if follows:
                file = Given(file, take(sys.stdin.buffer, 1 << 32) or b"")
            work.read(out, file, start, explain)


if __name__ == "__main__":
    main()
