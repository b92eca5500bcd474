"""Rounds typed by hand: the short form of the record's JSON, filled out to the full one.

Wherever the full form has an object with a value and where it came from, the short form may have the plain
value; what is left out is blank. Who holed out and the metres follow by the same rules as on a card.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from shortpencil.forms.units import M_PER_FOOT
from shortpencil.scan.records.composing.compose import DISTANCE_DECIMALS, USUAL_TEE, who_holed
from shortpencil.scan.records.composing.rounds import RECORD_SCHEMA
from shortpencil.scan.records.recording.record_json import time_text

TYPED_FORM = "typed"

_HEAD = ("played_on", "hand", "wind", "worst", "total")
_HOLE = ("score", "penalty", "par")
_THROW = ("execution", "distance", "stance", "cause")
_OPTIONAL = ("distance", "stance", "cause", "directions_from", "forehand_from", "words_from")


def filled_out(data: object, *, by: str | None = None, at: datetime | None = None) -> Any:
    """Return the full form of a round in short form; a full one comes back as it is.

    Parameters
    ----------
    data : a round as read from JSON; what is not understood is left for the schema to complain about
    by, at : who typed it and when; plain values are then "entered", else "imported"
    """
    if not isinstance(data, Mapping):
        return data
    full = _Filler(by, at)
    out = dict(data)
    out.setdefault("schema", RECORD_SCHEMA)
    if out.get("id") is None:
        out["id"] = _made_id(data)
    out.setdefault("form", TYPED_FORM)
    out.setdefault("unit", "m")
    for name in _HEAD:
        out[name] = full.value(out.get(name))
    tallies = out.get("tallies")
    out["tallies"] = full.values(tallies) if isinstance(tallies, Mapping) else tallies or {}
    out["phases"] = _phases(out.get("phases"))
    if out["phases"] is None:
        del out["phases"]
    holes = out.get("holes", [])
    if isinstance(holes, list):
        full.tee = _tee(out.get("phases"))
        out["holes"] = [full.hole(hole, number, out["unit"]) for number, hole in enumerate(holes, start=1)]
    return out


def _phases(given: Any) -> Any:
    """Return the phases of a game with what may be left out: a label, columns named after the phase."""
    if not isinstance(given, list):
        return given
    return [
        {"label": p.get("id"), "columns": _columns(p.get("id"), p.get("role")), **p}
        if isinstance(p, Mapping)
        else p
        for p in given
    ]


def _columns(phase: Any, role: Any) -> list[str]:
    return [f"{phase}"] if role == "tee" else [f"{phase}{nth}" for nth in (1, 2, 3)]


def _tee(phases: Any) -> str | None:
    if phases is None:
        return USUAL_TEE
    found = (
        [p.get("id") for p in phases if isinstance(p, Mapping) and p.get("role") == "tee"]
        if isinstance(phases, list)
        else []
    )
    return found[0] if found and isinstance(found[0], str) else None


def _made_id(data: Mapping[str, Any]) -> str:
    """Return an id made of the round's own content, so that the same file twice is the same round."""
    text = json.dumps(data, sort_keys=True, ensure_ascii=True, default=str)
    return f"typed-{hashlib.sha256(text.encode()).hexdigest()[:12]}"


class _Filler:
    def __init__(self, by: str | None, at: datetime | None) -> None:
        stamp = {"by": by, "at": time_text(at)} if by else {}
        self.tee: str | None = USUAL_TEE
        self._where_from = {"source": "entered" if by else "imported"} | {
            key: item for key, item in stamp.items() if item is not None
        }

    def value(self, given: Any) -> Any:
        return given if isinstance(given, Mapping) else {"value": given, **self._where_from}

    def values(self, given: Mapping[str, Any]) -> dict[str, Any]:
        return {key: self.value(item) for key, item in given.items()}

    def hole(self, given: Any, number: int, unit: Any) -> Any:
        if not isinstance(given, Mapping):
            return given
        out = {"number": number, **given}
        if out.get("penalty") is None:
            out["penalty"] = 0
        for name in _HOLE:
            out[name] = self.value(out.get(name))
        throws = out.setdefault("throws", [])
        if isinstance(throws, list):
            typed = [isinstance(throw, Mapping) and _is_typed(throw) for throw in throws]
            out["throws"] = [self.throw(throw, order, unit) for order, throw in enumerate(throws, start=1)]
            if typed and all(typed):
                _say_who_holed(out, self.tee)
        return out

    def throw(self, given: Any, order: int, unit: Any) -> Any:
        if not isinstance(given, Mapping):
            return given
        out = {"order": order, **given}
        if _is_typed(given):
            out["execution"] = out.get("execution") or "unmarked"
        distance = given.get("distance")
        if isinstance(distance, int | float) and not isinstance(distance, bool):
            metres = distance * (M_PER_FOOT if unit == "ft" else 1.0)
            out.setdefault("distance_m", round(metres, DISTANCE_DECIMALS))
        if isinstance(out.get("directions"), str):
            out["directions"] = out["directions"].split()
        out = {name: item for name, item in out.items() if item is not None or name not in _OPTIONAL}
        return {name: self.value(item) if name in _THROW else item for name, item in out.items()}


def _is_typed(throw: Mapping[str, Any]) -> bool:
    """Say whether a throw is in short form: its execution is plain or left out."""
    return not isinstance(throw.get("execution"), Mapping)


def _say_who_holed(hole: dict[str, Any], tee: str | None) -> None:
    """Fill in `holed` where it is left out, by the score and the order of the throws."""
    score, penalty = hole["score"].get("value"), hole["penalty"].get("value")
    known = all(isinstance(n, int) and not isinstance(n, bool) for n in (score, penalty))
    throws = hole["throws"]
    phases = [throw.get("phase") for throw in throws]
    found = who_holed(phases, score - penalty if known else None, tee=tee)
    for throw, holed in zip(throws, found, strict=True):
        throw.setdefault("holed", holed)
