"""Photos of one card that come in one call become one reading, wherever among the files they lie.

Results wait until `window` more files were read, so that memory does not grow with the number of photos; what
is further apart is stored one after the other, and the photo with fewest questions speaks for the card.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from scan.intake import FileResult

if TYPE_CHECKING:
    from forms.catalog import Catalog
    from scan.vision.together import Part

_Value = TypeVar("_Value")

#: Photos of one card are taken one after the other; a result is about 0.3 MB.
WINDOW = 24


def joined(results: Iterable[FileResult], catalog: Catalog, window: int = WINDOW) -> Iterator[FileResult]:
    """Yield the results in their order, photos of one card read together where the first of them stands.

    The other photos' results say so in their notes and have no reading of that card left.
    """
    waiting: deque[FileResult] = deque()
    for result in results:
        waiting.append(result)
        if len(waiting) > window:
            yield _first(waiting, catalog)
    while waiting:
        yield _first(waiting, catalog)


def _first(waiting: deque[FileResult], catalog: Catalog) -> FileResult:
    """Take the first result, with what those behind it show of its cards."""
    at = 0
    while at < len(waiting[0].readings):
        places = _places(waiting, at)
        if len(places) > 1:
            _join(waiting, places, catalog)
        at += 1
    return waiting.popleft()


def _places(waiting: Sequence[FileResult], at: int) -> list[tuple[int, int]]:
    """Where (result, reading) the card of the first result's reading `at` is shown, that reading first."""
    first = waiting[0].readings[at]
    if first.serial is None or not _counts(waiting[0], at):
        return []
    seen = {first.photo_sha256}
    places = [(0, at)]
    for i, result in enumerate(waiting):
        for k, reading in enumerate(result.readings):
            if (i, k) <= (0, at) or (reading.serial, reading.form) != (first.serial, first.form):
                continue
            # The same file twice is one photo; two pages of one file are two.
            if _counts(result, k) and (i == 0 or reading.photo_sha256 not in seen):
                places.append((i, k))
        if i > 0:
            seen |= {result.readings[k].photo_sha256 for j, k in places if j == i}
    return places


def _counts(result: FileResult, at: int) -> bool:
    return at < len(result.evidence) and result.evidence[at] is not None


def _join(waiting: deque[FileResult], places: Sequence[tuple[int, int]], catalog: Catalog) -> None:
    """Put the one reading where the first stands, in place, and take the others out."""
    from scan.vision.together import read_together

    first = waiting[places[0][0]].readings[places[0][1]]
    layout = catalog.find(first.form) if first.form else None
    if layout is None:
        return
    parts = [_part(waiting[i], k) for i, k in places]
    one = replace(read_together(parts, layout), source=first.source)
    for i, k in reversed(places[1:]):
        result = waiting[i]
        note = f"shows card {first.serial} too, read together with {Path(first.source).name}"
        waiting[i] = replace(
            result,
            readings=_without(result.readings, k),
            evidence=_without(result.evidence, k),
            notes=(note, *result.notes),
        )
    result, at = waiting[0], places[0][1]
    waiting[0] = replace(result, readings=(*result.readings[:at], one, *result.readings[at + 1 :]))


def _part(result: FileResult, at: int) -> Part:
    from scan.vision.together import Part

    evidence = result.evidence[at]
    assert evidence is not None
    return Part(result.readings[at], evidence)


def _without(values: tuple[_Value, ...], at: int) -> tuple[_Value, ...]:
    return values[:at] + values[at + 1 :]
