"""Many photos to readings to the store: in parallel, in constant memory, resumable, no photo twice.

Used by the command line and by the page. Workers read; only the caller's process touches the store, one
transaction a card. At most two photos a worker are under way, so memory does not grow with their number; what
was stored stays stored, and a second run skips it by the hash of the file.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Collection, Generator, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from forms.errors import InputError
from scan.reading import CardReading

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

    from forms.catalog import Catalog
    from scan.records.rounds import Round
    from scan.records.store import Kept, Store
    from scan.records.versions import Join
    from scan.vision.own_hand import Hands, OwnHand
    from scan.vision.pipeline import Trace, Traces

#: Endings that are taken from a folder; a file named on the command line is opened whatever its name.
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".pdf")

READ_BEFORE = "read before"


@dataclass(frozen=True, slots=True)
class FileResult:
    """What became of one file: readings of its cards, or why it could not be opened.

    `before` says that the store knows the file from an earlier run and that it was not opened again. `notes`
    tell people of pages without a card and of cards that were read together with another photo. `evidence`
    is what each reading rests on, as bytes (`scan.vision.evidence_kept`), None where it is no use to another
    photo of the same card.
    """

    path: str
    readings: tuple[CardReading, ...] = ()
    error: str | None = None
    before: bool = False
    notes: tuple[str, ...] = ()
    evidence: tuple[bytes | None, ...] = field(default=(), compare=False, repr=False)


def expand(paths: Sequence[Path]) -> list[Path]:
    """Return the files to read: files as named, folders as the photos in them, in the order of their names.

    Raises
    ------
    InputError
        when a path does not exist or a folder holds no photo
    """
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(
                p
                for p in path.rglob("*")
                if p.suffix.lower() in PHOTO_ENDINGS and p.is_file() and not p.name.startswith(".")
            )
            if not inside:
                raise InputError(
                    f"{path}: expected photos in this folder ({', '.join(PHOTO_ENDINGS)}), found none."
                )
            files += inside
        elif path.exists():
            files.append(path)
        else:
            raise InputError(f"{path}: there is no such file or folder.")
    return files


def read_files(
    files: Iterable[Path],
    catalog: Catalog,
    *,
    jobs: int = 1,
    skip: Collection[Path] = (),
    hands: Hands | None = None,
) -> Generator[FileResult]:
    """Yield what each file says, in the order given.

    Parameters
    ----------
    files : photos and PDF files
    catalog : where the layouts of printed editions are found
    jobs : worker processes; 1 reads in this process
    skip : files that the store knows from an earlier run; those are not opened again
    hands : what is known of the players' hands; None reads every card as any hand's and keeps none
    """
    if jobs <= 1:
        for path in files:
            yield (
                FileResult(str(path), before=True) if path in skip else read_file(path, catalog, hands=hands)
            )
        return
    from concurrent.futures.process import BrokenProcessPool

    under_way: deque[tuple[Path, Future[FileResult] | None]] = deque()
    with _workers(jobs, catalog, hands) as pool:
        try:
            for path in files:
                future = None
                if path not in skip:
                    with suppress(
                        BrokenProcessPool
                    ):  # a file before this one broke it: read the rest one by one
                        future = pool.submit(_read_in_worker, path)
                under_way.append((path, future))
                if len(under_way) >= 2 * jobs:
                    yield _finished(*under_way.popleft(), catalog, skip, hands)
            while under_way:
                yield _finished(*under_way.popleft(), catalog, skip, hands)
        except BaseException:  # stopped: only what the workers have begun is waited for
            pool.shutdown(wait=False, cancel_futures=True)
            raise


#: glibc gives large arrays back to the system when they are freed: 3,300 pages are fetched and wiped anew for
#: each photo of 12 megapixels, 10 of 150 ms. A worker needs them again for its next photo. Other C libraries
#: pay no heed to these names (mallopt(3)).
WORKERS_ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",
    "MALLOC_MMAP_THRESHOLD_": str(32 * 2**20),  # the most that it takes
    "MALLOC_TRIM_THRESHOLD_": str(256 * 2**20),
}


def _workers(jobs: int, catalog: Catalog, hands: Hands | None) -> ProcessPoolExecutor:
    """A pool of fresh interpreters: forking a process that has used OpenCV's threads can hang."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Workers inherit these, which are read when they start and never again; whoever set one, knows.
    for name, value in WORKERS_ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    given = (catalog, hands)
    return ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_begin_work, initargs=given)


def _finished(
    path: Path,
    future: Future[FileResult] | None,
    catalog: Catalog,
    skip: Collection[Path],
    hands: Hands | None,
) -> FileResult:
    from concurrent.futures.process import BrokenProcessPool

    if path in skip:
        return FileResult(str(path), before=True)
    try:
        if future is not None:
            return future.result()
    except BrokenProcessPool:
        pass  # this file, or one that was read beside it, ended a worker
    return _read_alone(path, catalog, hands)


def _read_alone(path: Path, catalog: Catalog, hands: Hands | None) -> FileResult:
    """Read one file in a process of its own, so that a file which ends its reader harms no other."""
    from concurrent.futures.process import BrokenProcessPool

    with _workers(1, catalog, hands) as pool:
        try:
            return pool.submit(_read_in_worker, path).result()
        except BrokenProcessPool:
            return FileResult(
                str(path), error=f"{path}: the reader ended while reading this file. Export the photo anew."
            )


#: What this worker was given at its start and not with every file: hands are large, and a catalog keeps the
#: layouts that it found, which many steps of reading remember something about.
_given: tuple[Catalog, Hands | None] | None = None


def _begin_work(catalog: Catalog, hands: Hands | None) -> None:
    """Let each worker use one core: the pool is the parallelism, and OpenCV's own threads would fight it."""
    import cv2

    # Ctrl+C reaches every process of the terminal: the one that gave the work decides what becomes of it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    global _given  # noqa: PLW0603 (a pool hands its workers nothing but globals)
    _given = catalog, hands
    cv2.setNumThreads(1)


def _read_in_worker(path: Path) -> FileResult:
    assert _given is not None, "a worker begins with _begin_work"
    catalog, hands = _given
    return read_file(path, catalog, hands=hands)


def read_file(
    path: Path, catalog: Catalog, traces: Traces | None = None, hands: Hands | None = None
) -> FileResult:
    """Return the readings of one file's cards; a file that cannot be opened gives a result with `error`."""
    from scan.vision.photo import load_photos
    from scan.vision.pipeline import Traces, read_photo

    def hand_of(serial: str) -> OwnHand | None:
        return None if hands is None else hands.of(catalog.player_of(serial))

    readings: list[CardReading] = []
    evidence: list[bytes | None] = []
    without_card: list[CardReading] = []
    pages: list[int] = []
    try:
        for photo in load_photos(path):
            kept = Traces()
            found = read_photo(photo, catalog.find, kept, hand_of)
            page = f"{path}, page {photo.page}" if photo.page is not None else str(path)
            found = tuple(replace(reading, source=page) for reading in found)
            if traces is not None:
                traces.cards += kept.cards
            if photo.page is not None and all(trace.corners is None for trace in kept.cards):
                without_card += found
                pages.append(photo.page)
                continue
            readings += found
            evidence += [_for_others(r, trace) for r, trace in zip(found, kept.cards, strict=True)]
    except InputError as error:
        return FileResult(str(path), tuple(readings), error=str(error), evidence=tuple(evidence))
    if not readings and without_card:  # a file of one page, or of letters only
        nothing = without_card[0]
        if len(pages) > 1:
            reason = f"none of its {len(pages)} pages shows a card. {nothing.reason}"
            nothing = replace(nothing, source=str(path), reason=reason)
        return FileResult(str(path), (nothing,))
    note = (f"no card on {_pages_in_words(pages)}, skipped",) if pages else ()
    return FileResult(str(path), tuple(readings), notes=note, evidence=tuple(evidence))


def _for_others(reading: CardReading, trace: Trace) -> bytes | None:
    """What another photo of the same card could use of this one: nothing of a card that is blank."""
    from scan.vision.evidence_kept import evidence_bytes
    from scan.vision.pipeline import BLANK_CARD

    blank = reading.reason == f"{BLANK_CARD}."
    return None if blank or trace.evidence is None else evidence_bytes(trace.evidence)


def _pages_in_words(pages: Sequence[int]) -> str:
    """Say "page 3" or "pages 1, 3 to 5", pages in order."""
    runs: list[list[int]] = []
    for page in pages:
        if runs and page == runs[-1][-1] + 1:
            runs[-1].append(page)
        else:
            runs.append([page])
    parts = [f"{run[0]} to {run[-1]}" if len(run) > 2 else " and ".join(map(str, run)) for run in runs]
    words = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{'page' if len(pages) == 1 else 'pages'} {words}"


def workers_for(count: int, asked: int | None) -> int:
    """Return how many processes to use for `count` files; starting one costs as much as reading two."""
    if asked is not None:
        return max(1, asked)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return 1 if count < 6 else min(cores, 32)


def round_of(reading: CardReading, catalog: Catalog, now: datetime) -> Round | None:
    """Return the round that a reading makes, or None for a rejected photo or a form that is no round card."""
    from scan.records.compose import round_from_reading

    layout = catalog.find(reading.form) if reading.form else None
    if reading.status != "read" or layout is None or layout.form.record != "round":
        return None
    player = catalog.player_of(reading.serial) if reading.serial else None
    return round_from_reading(layout.form, reading, recorded_at=now, player=player)


def keep(
    reading: CardReading,
    round_: Round | None,
    catalog: Catalog,
    store: Store,
    *,
    evidence: bytes | None = None,
    join: Join | None = None,
    copies: int = 1,
    more: bool = False,
    only_known: bool = False,
) -> Kept:
    """Store one reading with its round in one transaction; see `Store.add_reading` for the rest."""
    from forms.field_map import layout_to_json
    from scan.records.practice_sets import sets_from
    from scan.records.store import NOT_STORED, Kept

    layout = catalog.find(reading.form) if reading.form else None
    if layout is None:
        return Kept(NOT_STORED, reading)
    player = catalog.player_of(reading.serial) if reading.serial else None
    practice = (
        sets_from(layout.form, reading.fields, reading.serial, player)
        if layout.form.record == "practice" and reading.serial and reading.status == "read"
        else ()
    )
    return store.add_reading(
        reading,
        layout.form,
        round_,
        form_text=layout_to_json(layout),
        practice=practice,
        evidence=evidence,
        join=join,
        copies=copies,
        more=more,
        only_known=only_known,
    )
