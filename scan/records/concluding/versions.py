"""Which reading speaks for a round of which there are several photos. Pure, and the same in any order.

The photos that show the most marks show the round as it is now; they are read together where what they rest
on is kept. Photos with fewer marks are older and speak only where they contradict: a field that both are sure
of, each otherwise, is asked, and so is a mark that only the older one shows. Nothing of them is dropped.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from shortpencil.forms.form import Form
from shortpencil.scan.reading import DIFFERING, ONE_BY_ONE, PHOTOS_DISAGREE, CardReading
from shortpencil.scan.records.concluding.sameness import compare


@dataclass(frozen=True, slots=True)
class Shown:
    """One photo's own reading of a round, with the bytes of what it rests on, where these are kept."""

    reading: CardReading
    evidence: bytes | None = None


#: Reads several photos of the same marks together; None, or a rejected reading, where they cannot be.
Join = Callable[[Sequence[Shown]], CardReading | None]


def speaking(form: Form, shown: Sequence[Shown], join: Join | None = None) -> CardReading:
    """Return the reading that speaks for a round.

    Parameters
    ----------
    form : of all
    shown : one or more photos of the round, in any order
    join : how to read photos together; without it, the one with fewest questions speaks for those like it
    """
    if len(shown) == 1:
        return shown[0].reading
    top = min(shown, key=lambda one: (-_marks_ahead(form, one, shown), *_order(one)))
    newest = [
        one
        for one in sorted(shown, key=lambda one: one.reading.photo_sha256 or "")
        if one is top or compare(form, top.reading.fields, one.reading.fields).same_marks
    ]
    rest = [one for one in shown if one not in newest]
    joined = join(newest) if join is not None and len(newest) > 1 else None
    if joined is None or joined.status != "read":
        best = min(newest, key=_order)
        joined, rest = best.reading, [one for one in shown if one is not best]
    return _asked_where_they_differ(form, joined, rest)


def _marks_ahead(form: Form, one: Shown, shown: Sequence[Shown]) -> int:
    """Count the marks that others surely lack, less those that they surely show and this one lacks."""
    held = [compare(form, other.reading.fields, one.reading.fields) for other in shown if other is not one]
    return sum(len(said.added) - len(said.missing) for said in held)


def _order(one: Shown) -> tuple[int, str]:
    """Fewest questions first, then by the photo's name: never by age, which nobody knows."""
    return len(one.reading.flagged), one.reading.photo_sha256 or ""


def _asked_where_they_differ(form: Form, reading: CardReading, others: Sequence[Shown]) -> CardReading:
    held = [compare(form, reading.fields, other.reading.fields) for other in others]
    differing = {name for said in held for name in (*said.changed, *said.added)}
    if not differing:
        return reading
    fields = {
        name: answer._replace(flag=PHOTOS_DISAGREE, ask=ONE_BY_ONE, kind=DIFFERING)
        if name in differing
        else answer
        for name, answer in reading.fields.items()
    }
    return replace(reading, fields=fields)
