"""Many photos to readings to the store: in parallel, in constant memory, resumable, no photo twice.

Used by the command line and by the page. Limited child processes read (`scan.crew`); only the caller
touches the store, one transaction a card. At most two photos a worker are under way, so memory does not grow
with their number; what was stored stays stored, and a second run skips it by the hash of the file.
"""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Collection, Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.forms.errors import InputError
from shortpencil.scan.file_pages import Given, Page, name_of, read_pages
from shortpencil.scan.language import carried, first_upper
from shortpencil.scan.reading import CardReading
from shortpencil.scan.sources import Photo, fetched, shown

if TYPE_CHECKING:
    from concurrent.futures import Future

    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.crew import Crew
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.concluding.outcomes import Kept
    from shortpencil.scan.records.concluding.versions import Join
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.vision.pipeline import Trace
    from shortpencil.scan.vision.seeing.known_hands import Hands

MOST_JOBS = 64  # each takes some 150 MB


@dataclass(frozen=True, slots=True)
class FileResult:
    """What became of one file: readings of its cards, or why it could not be opened.

    `before` says that the store knows the file from an earlier run and that it was not read again; `sha256`
    is then that of the file. `notes` tell people of pages without a card and of cards that were read together
    with another photo. `evidence` is what each reading rests on, as bytes
    (`scan.vision.joining.evidence_kept`), None where it is no use to another photo of the same card.
    """

    path: str
    readings: tuple[CardReading, ...] = ()
    error: str | None = None
    before: bool = False
    notes: tuple[str, ...] = ()
    sha256: str | None = None
    evidence: tuple[bytes | None, ...] = field(default=(), compare=False, repr=False)


def read_files(
    files: Iterable[Photo],
    catalog: Catalog,
    *,
    jobs: int = 1,
    skip: Mapping[Photo, str] | None = None,
    known: Collection[bytes] = frozenset(),
    hands: Hands | None = None,
    explain: Path | None = None,
    typed: tuple[str, str] | None = None,
) -> Generator[FileResult]:
    """Yield what each file says, in the order given, each as soon as those before it are told.

    Parameters
    ----------
    files : photos and PDF files
    catalog : where the layouts of printed editions are found
    jobs : worker processes; see `scan.crew` for what limits them
    skip : files that the store knows from an earlier run, with their SHA-256; those are not opened again
    known : the SHA-256 of all that the store read, for what must be fetched before that can be said of it
    hands : what is known of the players' hands; None reads every card as any hand's and keeps none
    explain : a folder for pictures of what each step saw
    typed : serial and fingerprint of the one card of the one file, in case its code cannot be read
    """
    from concurrent.futures import ThreadPoolExecutor

    from shortpencil.scan.crew import Crew

    skip = skip or {}
    under_way: deque[tuple[Photo, Future[FileResult] | None]] = deque()
    crew = Crew(catalog, hands, explain=explain, typed=typed)
    threads = ThreadPoolExecutor(max(jobs, 1))  # each waits for one child
    try:
        for path in files:
            under_way.append((path, None if path in skip else threads.submit(read_one, crew, path, known)))
            while under_way and (len(under_way) >= 2 * jobs or _is_done(under_way[0][1])):
                yield _finished(*under_way.popleft(), skip)
        while under_way:
            yield _finished(*under_way.popleft(), skip)
    finally:
        crew.close()  # first: it ends what the threads wait for
        threads.shutdown(cancel_futures=True)


def read_one(crew: Crew, photo: Photo | Given, known: Collection[bytes] = frozenset()) -> FileResult:
    """Return what one photo says; one whose bytes are here and that the store knows is not read again."""
    if isinstance(photo, Path):
        return result_of(photo, *crew.read(photo))
    if isinstance(photo, Given):
        given = photo
    else:
        from shortpencil.scan.vision.opening.photo import MAX_BYTES

        try:
            given = Given(photo.text, fetched(photo, MAX_BYTES))
        except InputError as error:
            return FileResult(shown(photo), error=str(error))
    digest = hashlib.sha256(given.data)
    if digest.digest() in known:
        return FileResult(name_of(given), before=True, sha256=digest.hexdigest())
    return result_of(given, *crew.read(given))


def _is_done(future: Future[FileResult] | None) -> bool:
    return future is None or future.done()


def _finished(photo: Photo, future: Future[FileResult] | None, skip: Mapping[Photo, str]) -> FileResult:
    if future is None:
        return FileResult(shown(photo), before=True, sha256=skip[photo])
    return future.result()


def read_file(
    path: Path,
    catalog: Catalog,
    traces: list[Trace] | None = None,
    hands: Hands | None = None,
    typed: tuple[str, str] | None = None,
) -> FileResult:
    """Return the readings of one file's cards; a file that cannot be opened gives a result with `error`.

    It is read in this process and without limits: `read_files` is for files from anywhere.
    """
    pages: list[Page] = []
    try:
        for page in read_pages(path, catalog, hands=hands, traces=traces, typed=typed):
            pages.append(page)
    except InputError as error:
        return result_of(path, pages, str(error))
    return result_of(path, pages, None)


def result_of(file: Path | Given, pages: Sequence[Page], error: str | None) -> FileResult:
    """Return what the pages of one file say together."""
    name = name_of(file)
    failed = [page for page in pages if page.failed is not None]
    if failed and error is None:
        numbers = [page.number or 1 for page in failed]
        error = f"{name}, {_pages_in_words(numbers)}: {failed[0].failed}"
    told = [page for page in pages if page.failed is None and (page.shows_card or page.number is None)]
    without = [page for page in pages if page.failed is None and page not in told]
    readings = tuple(reading for page in told for reading in page.readings)
    evidence = tuple(one for page in told for one in page.evidence)
    if not readings and without and error is None:  # a file of one page, or of letters only
        nothing = without[0].readings[0]
        if len(without) > 1:
            count, why = len(without), first_upper(nothing.reason or "")
            reason = carried(f"none of its {count} pages shows a card. {why}")
            nothing = replace(nothing, source=name, reason=reason)
        return FileResult(name, (nothing,))
    empty = _pages_in_words([page.number or 1 for page in without]) if without else ""
    notes = (carried(f"no card on {empty}, skipped"),) if without else ()
    return FileResult(name, readings, error=error, notes=notes, evidence=evidence)


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
    return carried(f"page {words}") if len(pages) == 1 else carried(f"pages {words}")


def workers_for(count: int, asked: int | None) -> int:
    """Return how many processes to use for `count` files; starting one costs as much as reading two."""
    if asked is not None:
        return min(max(1, asked), MOST_JOBS)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return 1 if count < 6 else min(cores, 32)


def round_of(reading: CardReading, catalog: Catalog, now: datetime) -> Round | None:
    """Return the round that a reading makes, or None for a rejected photo or a form that is no round card."""
    from shortpencil.scan.records.composing.compose import round_from_reading

    layout = catalog.find(reading.form) if reading.form else None
    if reading.status != "read" or layout is None or not layout.form.makes_rounds:
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
    read_at: datetime | None = None,
    card_picture: bool = True,
) -> Kept:
    """Store one reading with its round in one transaction; see `Store.add_reading` for the rest."""
    from shortpencil.forms.field_map import layout_to_json
    from shortpencil.scan.records.composing.practice_sets import sets_from
    from shortpencil.scan.records.concluding.outcomes import NOT_STORED, Kept

    layout = catalog.find(reading.form) if reading.form else None
    if layout is None:
        return Kept(NOT_STORED, reading)
    player = catalog.player_of(reading.serial) if reading.serial else None
    serial = reading.serial if reading.status == "read" and not layout.form.makes_rounds else None
    practice = sets_from(layout.form, reading.fields, serial, player) if serial else ()
    return store.add_reading(
        reading,
        layout.form,
        round_,
        form_text=partial(layout_to_json, layout),
        practice=practice,
        player=player,
        evidence=evidence,
        join=join,
        copies=copies,
        more=more,
        only_known=only_known,
        read_at=read_at,
        card_picture=card_picture,
    )
