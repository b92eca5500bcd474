"""A round as its player reads it: hole by hole, throw by throw, what missed and what was noted of it. Pure.

Every value says where it is changed: on the picture of its card, or, for a round that came from a file, in a
form of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from shortpencil.forms.form import Form
from shortpencil.forms.rules import MANY, rules_of
from shortpencil.forms.units import M_PER_FOOT
from shortpencil.scan.records.rounds import Hole, Round, Throw, Value
from shortpencil.scan.records.tidy import misses, round_row
from shortpencil.scan.records.validate import validate
from shortpencil.scan.review.naming import count_said

_NTH = ("first", "second", "third", "fourth", "fifth", "sixth")
#: Causes of the built-in cards, for rounds whose card is not at hand.
CAUSES = {
    "early": "released early", "late": "released late, grip held", "nose": "nose angle or height",
    "tilt": "tilt: hyzer, flat, anhyzer", "wobble": "wobble, off axis", "pace": "too hard or too soft",
    "rushed": "rushed, no routine", "balance": "balance or footing", "choice": "choice: line or disc",
    "other": "other, don't know",
}  # fmt: skip
_WAYS = {"left": "left", "right": "right", "long": "long or high", "short": "short or low"}


@dataclass(frozen=True, slots=True)
class ThrowLine:
    """One throw in words.

    Attributes
    ----------
    name : "drive", "first putt", …
    says : "clean", "miss", "not marked" or "?"
    missed, waits : whether it says so
    facts : distance, stance, that it was holed
    notes : which way, forehand, why, of a miss
    words : typed own words
    ink : address of the picture of the own words, or ""
    change : address where it is changed
    """

    name: str
    says: str
    missed: bool
    waits: bool
    facts: tuple[str, ...]
    notes: tuple[str, ...]
    words: str
    ink: str
    change: str


@dataclass(frozen=True, slots=True)
class HoleLine:
    """One hole: its figures and throws; `against_par` is score less par in words, "" where unknown."""

    number: int
    par: str
    length: str
    score: str
    against_par: str
    penalty: str
    throws: tuple[ThrowLine, ...]
    missed: bool
    change: str
    change_par: str


def round_view(round_: Round, form: Form | None) -> dict[str, Any]:
    """Return what the page of a round shows.

    Parameters
    ----------
    form : the form of its card; None for a round that came from a file
    """
    row = round_row(round_)
    counts = [misses(round_, phase) for phase in round_.phase_ids]
    most = max(counts) if counts.count(max(counts)) == 1 else 0
    addresses = _Addresses(round_, form)
    causes = {**CAUSES, **({cause.id: cause.label for cause in form.causes} if form else {})}
    return {
        "holes": [_hole(round_, hole, addresses, causes) for hole in round_.holes],
        "misses": [
            (phase, MANY[phase], count, _shown(round_.tallies.get(phase)), count == most > 0)
            for phase, count in zip(round_.phase_ids, counts, strict=True)
        ],
        "score": row["score"],
        "holes_scored": row["holes_scored"],
        "over_par": None if row["par_scored"] is None else row["score"] - row["par_scored"],
        "written_total": _shown(round_.total),
        "head": _head(round_, addresses),
        "findings": [finding.says for finding in validate(round_) if finding.level != "fine"],
        "resolve": round_.notes.get("resolve", ""),
        "change_resolve": addresses.field("resolve"),
        "from_file": form is None,
    }


class _Addresses:
    """Where each value of a round is changed."""

    def __init__(self, round_: Round, form: Form | None) -> None:
        self._id = quote(round_.id, safe="")
        self._known = {field.id for field in form.fields} if form else set()
        self._rules = {rule.number: rule for rule in rules_of(form).holes} if form else {}
        self._form = form

    def field(self, name: str) -> str:
        """Return the address of a field outside the holes; "" where the card does not ask it."""
        if self._form is None:
            return f"/rounds/{self._id}/change"
        return f"/card/{self._id}?at={quote(name, safe='')}#edit" if name in self._known else ""

    def hole(self, number: int, part: str) -> str:
        """Return the address of a part of a hole, such as "score"."""
        if self._form is None:
            return f"/rounds/{self._id}/change/{number}"
        rule = self._rules.get(number)
        return self.field(f"{self._form.row_id(rule.row)}.{part}") if rule else ""

    def throw(self, number: int, phase: str, nth: int) -> str:
        """Return the address of the nth throw of a phase, counted from 0."""
        if self._form is None:
            return f"/rounds/{self._id}/change/{number}"
        rule = self._rules.get(number)
        columns = [name for name, of in rule.throws if of == phase] if rule else []
        return self.field(columns[nth]) if nth < len(columns) else ""


def _hole(round_: Round, hole: Hole, addresses: _Addresses, causes: Mapping[str, str]) -> HoleLine:
    lines = []
    of_phase = {phase: [t for t in hole.throws if t.phase == phase] for phase in round_.phase_ids}
    for throw in hole.throws:
        same = of_phase[throw.phase]
        nth = same.index(throw)
        name = (
            throw.phase if len(same) == 1 and nth == 0 else f"{_NTH[min(nth, len(_NTH) - 1)]} {throw.phase}"
        )
        lines.append(_throw(round_, throw, name, addresses.throw(hole.number, throw.phase, nth), causes))
    score, par = hole.score.known, hole.par.known
    against = ""
    if isinstance(score, int) and isinstance(par, int):
        against = "par" if score == par else f"{score - par:+d}".replace("-", "−")
    length = ""
    if hole.length_m is not None:
        length = f"{hole.length_m / M_PER_FOOT:.0f} ft" if round_.unit == "ft" else f"{hole.length_m:.0f} m"
    penalty = hole.penalty.known
    return HoleLine(
        number=hole.number,
        par=_shown(hole.par),
        length=length,
        score=_shown(hole.score) or "–",
        against_par=against,
        penalty=count_said(penalty, "penalty throw") if isinstance(penalty, int) and penalty else "",
        throws=tuple(lines),
        missed=any(line.missed for line in lines),
        change=addresses.hole(hole.number, "score"),
        change_par="" if hole.par.source == "printed" else addresses.hole(hole.number, "par"),
    )


def _throw(round_: Round, throw: Throw, name: str, change: str, causes: Mapping[str, str]) -> ThrowLine:
    waits = throw.execution.status == "waits"
    doubtful = throw.execution.status == "doubtful"
    execution = str(throw.execution.value)
    facts = []
    if throw.distance is not None:
        if throw.distance.status == "waits":
            facts.append("distance ?")
        elif throw.distance.status == "doubtful":
            facts.append(
                f"≈ {throw.distance.value} {round_.unit}"
                if throw.distance.value is not None
                else "≈ no distance"
            )
        elif throw.distance.known is not None:
            facts.append(f"{throw.distance.known:g} {round_.unit}")
    if throw.stance is not None and throw.stance.known:
        facts.append(str(throw.stance.known))
    if throw.holed:
        facts.append("in")
    notes = [_WAYS.get(way, way) for way in throw.directions]
    if throw.forehand:
        notes.append("forehand")
    if throw.cause is not None and throw.cause.known:
        notes.append(causes.get(str(throw.cause.known), str(throw.cause.known).replace("_", " ")))
    ink = (
        f"/picture/{quote(round_.id, safe='')}/{quote(throw.words_picture, safe='')}"
        if throw.words_picture
        else ""
    )
    return ThrowLine(
        name=name,
        says="?" if waits else _about("not marked" if execution == "unmarked" else execution, doubtful),
        missed=throw.execution.known == "miss",
        waits=waits,
        facts=tuple(facts),
        notes=tuple(notes),
        words=throw.words or "",
        ink=ink,
        change=change,
    )


def _head(round_: Round, addresses: _Addresses) -> Sequence[tuple[str, str, str]]:
    """Return name, value and address of what stands at the head of a card."""
    return [
        ("wind", _shown(round_.wind) or "not marked", addresses.field("wind")),
        ("throwing hand", _shown(round_.hand) or "not marked", addresses.field("hand")),
        ("unit", {"ft": "feet", "m": "metres"}.get(round_.unit, round_.unit), ""),
    ]


def _shown(value: Value | None) -> str:
    if value is not None and value.status == "waits" and value.value is not None:
        return "?"
    if value is None or (value.value is None and value.status != "doubtful"):
        return ""
    return _about("nothing" if value.value is None else str(value.value), value.status == "doubtful")


def _about(says: str, doubtful: bool) -> str:
    """Return a value as it is said: with a sign where it is doubtful and counts by its probability."""
    return f"≈ {says}" if doubtful else says
