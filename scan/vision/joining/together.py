"""Several photos of one card to one reading: what each says of the ink is multiplied, then decoded once.

A corner that one photo cuts off another shows; a digit in the glare of one is dark in the other. Where two
photos are sure and say different things, the player may have marked more in between: that is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Layout
from shortpencil.scan.reading import (
    CARD_PICTURE,
    DIFFERING,
    ONE_BY_ONE,
    PHOTOS_DISAGREE,
    CardReading,
    FieldReading,
)
from shortpencil.scan.vision.arrays import GrayImage
from shortpencil.scan.vision.deciding.decode import Decoded, decode
from shortpencil.scan.vision.doubting.quality import MAX_OUTSIDE, too_many_questions
from shortpencil.scan.vision.evidence import ANSWER_SHARES, SCRAP_BOX, Evidence
from shortpencil.scan.vision.flattening.pictures import field_pictures
from shortpencil.scan.vision.flattening.rectify import CARD_PX_PER_MM

#: Photos of one card share its ink: what is odd about a hand's 7 is odd in each of them. So n photos count
#: as n to this power; 1 would take them for independent, 0 for copies of one another. On 51 pairs of bad
#: photos of the tuning set (tests.bench.bench_together) 36 of 1,000 cells were asked from one photo and 8
#: were silently wrong; from both 32 and 6 at a power of 0, 27 and 6 at 0.5, 25 and 11 at 1.
WORTH = 0.5
#: Two photos disagree about a cell when each takes another answer for likelier than the other's, by at least
#: this many e-folds.
SURE = 4.0
#: Photos that differ in more fields show a card before and after; the later one alone is to be read.
MOST_DISAGREEMENTS = 12


@dataclass(frozen=True, slots=True)
class Part:
    """One photo's reading of a card, with the evidence it rests on."""

    reading: CardReading
    evidence: Evidence


def read_together(parts: Sequence[Part], layout: Layout) -> CardReading:
    """Return the one reading of several photos of a card; it may be rejected as a photo may.

    Parameters
    ----------
    parts : two or more, of the same serial number and form, in the order they came
    layout : of that form
    """
    form = layout.form
    evidence = combined([part.evidence for part in parts])
    decoded = decode(form, evidence)
    field_of = {cell.id: cell.field for cell in layout.cells}
    differing = {field_of[cell] for cell in disagreements([part.evidence for part in parts])}
    fields = {
        name: _asked(answer) if name in differing and answer.flag is None else answer
        for name, answer in decoded.fields.items()
    }
    best = max(parts, key=lambda part: _worth_showing(part, layout))
    others = [part for part in parts if part is not best]
    reading = replace(
        best.reading,
        status="read",
        reason=None,
        cells=decoded.cells,
        fields=fields,
        findings=decoded.findings,
        together=tuple(
            sha for part in others if (sha := part.reading.photo_sha256) and sha != best.reading.photo_sha256
        ),
    )
    reason = _why_not(reading, evidence, len(differing), layout)
    if reason is not None:
        return replace(
            reading, status="rejected", reason=f"{reason}.", cells={}, fields={}, findings=(), pictures={}
        )
    shown = _to_show(decoded, fields, layout)
    return replace(reading, pictures=_pictures(shown, differing, best, others, layout))


Logs = Mapping[str, Sequence[float] | NDArray[np.float32]]


def combined(evidences: Sequence[Evidence], worth: float = WORTH) -> Evidence:
    """Return what several photos of the same ink say together of each cell.

    A photo that does not show a cell says nothing of it; a cell that none shows stays outside. What is
    multiplied are likelihoods: the shares that a digit's probabilities count with count once.
    """
    by_share = np.log(ANSWER_SHARES)

    def logs(of: Callable[[Evidence], Logs], prior: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        found = {}
        for cell in dict.fromkeys(cell for evidence in evidences for cell in of(evidence)):
            seen = _seen(evidences, of, cell)
            if seen:
                found[cell] = prior + (np.mean(seen, axis=0) - prior) * len(seen) ** worth
        return found

    words: dict[str, float] = {}
    for cell in dict.fromkeys(cell for evidence in evidences for cell in evidence.words):
        shares = [e.words[cell] for e in evidences if cell in e.words and cell not in e.outside]
        if shares:
            words[cell] = float(np.mean(shares))
    marks = logs(_bubbles, np.zeros(3))
    bubbles = {cell: (float(a), float(b), float(c)) for cell, (a, b, c) in marks.items()}
    digits = {cell: log_p.astype(np.float32) for cell, log_p in logs(_digits, by_share).items()}
    known = bubbles.keys() | digits.keys() | words.keys()
    outside = frozenset().union(*(e.outside for e in evidences)) - known
    looks = {cell: look for evidence in reversed(evidences) for cell, look in evidence.looks.items()}
    return Evidence(bubbles, digits, words, outside, looks)


def disagreements(evidences: Sequence[Evidence], sure: float = SURE) -> frozenset[str]:
    """Return the cells of which two photos are sure, each of another answer."""
    differing: set[str] = set()
    for of in (_bubbles, _digits):
        for cell in dict.fromkeys(cell for evidence in evidences for cell in of(evidence)):
            seen = _seen(evidences, of, cell)
            best = [int(logs.argmax()) for logs in seen]
            if any(
                min(a[best[i]] - a[best[j]], b[best[j]] - b[best[i]]) >= sure
                for i, a in enumerate(seen)
                for j, b in enumerate(seen[:i])
                if best[i] != best[j] and SCRAP_BOX not in (best[i], best[j])
            ):
                differing.add(cell)
    return frozenset(differing)


def _seen(
    evidences: Sequence[Evidence], of: Callable[[Evidence], Logs], cell: str
) -> list[NDArray[np.float64]]:
    """What each photo that shows a cell says of it."""
    return [np.asarray(of(e)[cell], np.float64) for e in evidences if cell in of(e) and cell not in e.outside]


def _bubbles(evidence: Evidence) -> Logs:
    return evidence.bubbles


def _digits(evidence: Evidence) -> Logs:
    return evidence.digits


def _asked(answer: FieldReading) -> FieldReading:
    return answer._replace(flag=PHOTOS_DISAGREE, ask=ONE_BY_ONE, kind=DIFFERING)


def _worth_showing(part: Part, layout: Layout) -> tuple[int, int, float]:
    """Order of the photos: shows the most cells, leaves the fewest questions, has the most pixels."""
    sharp = part.reading.quality.get("px_per_mm", 0.0)
    return (-len(part.evidence.outside), -len(part.reading.flagged), float(sharp))


def _why_not(reading: CardReading, evidence: Evidence, differing: int, layout: Layout) -> str | None:
    if differing > MOST_DISAGREEMENTS:
        return (
            f"the photos of this card differ in {differing} fields, as if it had been marked in between. "
            "Read the last one alone"
        )
    outside = len(evidence.outside) / max(len(layout.cells), 1)
    if outside > MAX_OUTSIDE:
        return (
            f"{outside:.0%} of the card is on none of its photos. Take it again with all four marks in view"
        )
    answers = reading.fields.values()
    marked = sum(answer.value not in (None, ()) or answer.flag is not None for answer in answers)
    return too_many_questions(len(reading.flagged), marked)


def _to_show(decoded: Decoded, fields: Mapping[str, FieldReading], layout: Layout) -> list[str]:
    """Ids of the fields whose picture is worth keeping, as for one photo."""
    written = {c.field for c in layout.cells if c.kind == "words" and decoded.cells[c.id].value}
    return [name for name, answer in fields.items() if answer.flag is not None or name in written]


def _pictures(
    shown: Sequence[str], differing: set[str], best: Part, others: Sequence[Part], layout: Layout
) -> dict[str, bytes]:
    """Pictures of the fields to show, by field id.

    As cut before, from the first photo that has one; where the photos disagree, from each of them, one above
    the other.
    """
    pictures: dict[str, bytes] = {}
    cards = [part.reading.pictures for part in (best, *others)]
    for name in shown:
        if name not in differing:
            kept = next((p[name] for p in cards if name in p), None)
            if kept is not None:
                pictures[name] = kept
    missing = [name for name in shown if name not in pictures]
    if missing:
        flats = [_flat_again(p[CARD_PICTURE], layout) for p in cards if CARD_PICTURE in p]
        for name in missing:
            shown_by = flats if name in differing else flats[:1]
            cut = [field_pictures(flat, layout, [name]).get(name) for flat in shown_by]
            parts = [part for part in cut if part is not None]
            if parts:
                pictures[name] = parts[0] if len(parts) == 1 else _stacked(parts)
    if CARD_PICTURE in best.reading.pictures:
        pictures[CARD_PICTURE] = best.reading.pictures[CARD_PICTURE]
    return pictures


def _flat_again(card_picture: bytes, layout: Layout) -> GrayImage:
    """The flat card from the smaller picture that was kept of it."""
    small = cv2.imdecode(np.frombuffer(card_picture, np.uint8), cv2.IMREAD_GRAYSCALE)
    size = (round(layout.paper.width_mm * CARD_PX_PER_MM), round(layout.paper.height_mm * CARD_PX_PER_MM))
    assert small is not None, "a JPEG of our own"
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_CUBIC), np.uint8)


def _stacked(pictures: Sequence[bytes]) -> bytes:
    """PNG bytes of pictures of the same size, one above the other with a black line between."""
    parts: list[GrayImage] = []
    for data in pictures:
        part = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
        assert part is not None, "a PNG of our own"
        parts += [np.asarray(part, np.uint8), np.zeros((2, part.shape[1]), np.uint8)]
    rows = parts[:-1]
    return cv2.imencode(".png", np.vstack(rows))[1].tobytes()
