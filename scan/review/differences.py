"""How a photo differs from the round of its sheet that it was held against, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from shortpencil.forms.form import Form
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.store import ANOTHER, SAME_PHOTO, SET_ASIDE, Kept
from shortpencil.scan.review.wording import name_of, place_of, said

SHOWN = 6


def differences(kept: Kept, form: Form | None) -> list[str]:
    """Return how a photo differs from the round it was held against, in words."""
    held = kept.comparison
    if kept.outcome == SET_ASIDE:
        return [f"it shows round {kept.serial}, which is set aside; `shortpencil aside --back {kept.serial}`"]
    if held is None or form is None or kept.outcome == SAME_PHOTO:
        return []
    if kept.outcome == ANOTHER:
        beside = ", ".join(kept.beside)
        if held.against == float("inf"):
            return [f"the sheet came before with another form; kept beside {beside}"]
        what = _listed(form, held.values, (*held.changed, *held.added, *held.missing))
        nearest = "" if len(kept.beside) == 1 else "the nearest of "
        return [f"kept beside {nearest}{beside}, from which it differs: {what}"]
    lines = []
    if held.added:
        lines.append(f"marked since: {_listed(form, held.values, held.added)}")
    if held.missing:
        lines.append(f"not marked on this photo: {_listed(form, held.values, held.missing)}")
    if held.changed:
        lines.append(f"otherwise on this photo: {_listed(form, held.values, held.changed)}")
    return lines


def _listed(form: Form, values: Mapping[str, tuple[FieldValue, FieldValue]], fields: Iterable[str]) -> str:
    parts = []
    for field_id in fields:
        asked = form.field(field_id)
        stored, new = values[field_id]
        place = f"{place_of(form, asked).lower()}, " if asked.row is not None else ""
        was = "" if stored is None else f" instead of {said(form, asked, stored)}"
        parts.append(f"{place}{name_of(form, asked)}: {said(form, asked, new)}{was}")
    more = len(parts) - SHOWN
    return "; ".join(parts[:SHOWN]) + (f"; and {more} more" if more > 0 else "")
