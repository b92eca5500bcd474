"""A round as its player reads it: hole by hole, throw by throw, what missed and what was noted of it. Pure.

Every value says where it is changed: on the picture of its card, or, for a round that came from a file, in a
form of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from shortpencil.forms.causes import causes_of_card, causes_said
from shortpencil.forms.form import Form
from shortpencil.forms.rules import many_said, phase_said, rules_of
from shortpencil.forms.units import M_PER_FOOT
from shortpencil.scan.language import N_, _, localized, number, told
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value
from shortpencil.scan.records.composing.tidy import misses, round_row
from shortpencil.scan.records.composing.validate import validate
from shortpencil.scan.review.naming import count_said, ordinal

_WAYS = {"left": N_("left"), "right": N_("right"), "long": N_("long or high"), "short": N_("short or low")}


_EXECUTIONS = {"clean": N_("clean"), "miss": N_("miss"), "unmarked": N_("not marked")}
#: What stands at the head of a card, by its id.
_HEADS = {
    "right": N_("right"),
    "left": N_("left"),
    "calm": N_("calm"),
    "breeze": N_("breeze"),
    "strong": N_("strong"),
}


def length_said(length_m: float, unit: str) -> str:
    """Return a length in the unit of its round."""
    return f"{length_m / M_PER_FOOT:.0f} ft" if unit == "ft" else f"{length_m:.0f} m"


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
    causes = causes_said() | causes_of_card(form.causes if form else ())
    return {
        "holes": [_hole(round_, hole, addresses, causes) for hole in round_.holes],
        "misses": [
            (phase, many_said(phase), count, _shown(round_.tallies.get(phase)), count == most > 0)
            for phase, count in zip(round_.phase_ids, counts, strict=True)
        ],
        "score": row["score"],
        "holes_scored": row["holes_scored"],
        "over_par": None if row["par_scored"] is None else row["score"] - row["par_scored"],
        "written_total": _shown(round_.total),
        "head": _head(round_, addresses),
        "findings": [told(finding.says) for finding in validate(round_) if finding.level != "fine"],
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
            phase_said(throw.phase)
            if len(same) == 1 and nth == 0
            else _("{nth} {phase}", nth=ordinal(nth + 1), phase=phase_said(throw.phase))
        )
        lines.append(_throw(round_, throw, name, addresses.throw(hole.number, throw.phase, nth), causes))
    score, par = hole.score.known, hole.par.known
    against = ""
    if isinstance(score, int) and isinstance(par, int):
        against = _("par") if score == par else number(score - par, sign=True)
    length = ""
    if hole.length_m is not None:
        length = length_said(hole.length_m, round_.unit)
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
            facts.append(_("distance ?"))
        elif throw.distance.status == "doubtful":
            facts.append(
                f"≈ {throw.distance.value} {round_.unit}"
                if throw.distance.value is not None
                else _("≈ no distance")
            )
        elif throw.distance.known is not None:
            facts.append(f"{localized(f'{throw.distance.known:g}')} {round_.unit}")
    if throw.stance is not None and throw.stance.known:
        stance = str(throw.stance.known)
        facts.append(_(stance) if stance == "straddle" else stance)
    if throw.holed:
        facts.append(_("in"))
    notes = [_(_WAYS[way]) if way in _WAYS else way for way in throw.directions]
    if throw.forehand:
        notes.append(_("forehand"))
    if throw.cause is not None and throw.cause.known:
        notes.append(causes.get(str(throw.cause.known), str(throw.cause.known).replace("_", " ")))
    ink = (
        f"/picture/{quote(round_.id, safe='')}/{quote(throw.words_picture, safe='')}"
        if throw.words_picture
        else ""
    )
    return ThrowLine(
        name=name,
        says="?" if waits else _about(_(_EXECUTIONS.get(execution, execution)), doubtful),
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
        (_("wind"), _shown(round_.wind) or _("not marked"), addresses.field("wind")),
        (_("throwing hand"), _shown(round_.hand) or _("not marked"), addresses.field("hand")),
        (_("unit"), {"ft": _("feet"), "m": _("metres")}.get(round_.unit, round_.unit), ""),
    ]


def _shown(value: Value | None) -> str:
    if value is not None and value.status == "waits" and value.value is not None:
        return "?"
    if value is None or (value.value is None and value.status != "doubtful"):
        return ""
    shown = str(value.value)
    said = _("nothing") if value.value is None else _(_HEADS[shown]) if shown in _HEADS else shown
    return _about(said, value.status == "doubtful")


def _about(says: str, doubtful: bool) -> str:
    """Return a value as it is said: with a sign where it is doubtful and counts by its probability."""
    return f"≈ {says}" if doubtful else says
