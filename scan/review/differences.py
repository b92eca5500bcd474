"""How a photo differs from the round of its sheet that it was held against, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from shortpencil.forms.form import Form
from shortpencil.scan.language import _, inside
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.concluding.outcomes import ANOTHER, SAME_PHOTO, SET_ASIDE, Kept
from shortpencil.scan.review.wording import name_of, place_of, said

SHOWN = 6


def differences(kept: Kept, form: Form | None) -> list[str]:
    """Return how a photo differs from the round it was held against, in words."""
    held = kept.comparison
    if kept.outcome == SET_ASIDE:
        return [
            _(
                "it shows round {serial}, which is set aside; `shortpencil aside --back {serial}`",
                serial=kept.serial,
            )
        ]
    if held is None or form is None or kept.outcome == SAME_PHOTO:
        return []
    if kept.outcome == ANOTHER:
        beside = ", ".join(kept.beside)
        if held.against == float("inf"):
            return [_("the sheet came before with another form; kept beside {beside}", beside=beside)]
        what = _listed(form, held.values, (*held.changed, *held.added, *held.missing))
        if len(kept.beside) == 1:
            return [_("kept beside {beside}, from which it differs: {what}", beside=beside, what=what)]
        return [
            _("kept beside the nearest of {beside}, from which it differs: {what}", beside=beside, what=what)
        ]
    lines = []
    if held.added:
        lines.append(_("marked since: {what}", what=_listed(form, held.values, held.added)))
    if held.missing:
        lines.append(_("not marked on this photo: {what}", what=_listed(form, held.values, held.missing)))
    if held.changed:
        lines.append(_("otherwise on this photo: {what}", what=_listed(form, held.values, held.changed)))
    return lines


def _listed(form: Form, values: Mapping[str, tuple[FieldValue, FieldValue]], fields: Iterable[str]) -> str:
    parts = []
    for field_id in fields:
        asked = form.field(field_id)
        stored, new = values[field_id]
        place = f"{inside(place_of(form, asked))}, " if asked.row is not None else ""
        value = said(form, asked, new)
        if stored is not None:
            value = _("{value} instead of {before}", value=value, before=said(form, asked, stored))
        parts.append(f"{place}{name_of(form, asked)}: {value}")
    more = len(parts) - SHOWN
    return "; ".join(parts[:SHOWN]) + (_("; and {n} more", n=more) if more > 0 else "")
