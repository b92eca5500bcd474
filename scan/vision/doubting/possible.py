"""Whether a reading can be a round at all: where it cannot, the measure is wrong and not the player.

A dark copy makes print swell until empty bubbles look filled. Of one answer out of several nobody gives two
again and again; a card that seems to is not kept.
"""

from __future__ import annotations

from shortpencil.forms.form import Form
from shortpencil.scan.vision.evidence import Evidence

#: People strike out and fill another in one field of twenty, carelessly in one of ten. So many fields that
#: show two answers, and this share of those that show any, are the print's doing.
_MANY, _SHARE = 12, 0.2
#: A bubble shows an answer where filled is so much likelier than blank, natural logarithm.
_SHOWS = 1.0


def doubled_answers(evidence: Evidence, form: Form) -> tuple[int, int]:
    """Return how many fields with one answer out of several show two, and how many show any."""
    doubled = marked = 0
    for field in form.fields:
        if field.type != "choose-one":
            continue
        shown = 0
        for option in field.options:
            logs = evidence.bubbles.get(f"{field.id}.{option.id}")
            shown += bool(logs is not None and logs[1] - logs[0] > _SHOWS)
        marked += shown > 0
        doubled += shown > 1
    return doubled, marked


def impossible(evidence: Evidence, form: Form) -> str | None:
    """Return why a card cannot have been filled in as it looks, or None."""
    doubled, marked = doubled_answers(evidence, form)
    if doubled < _MANY or doubled < _SHARE * marked:
        return None
    return (
        f"{doubled} of {marked} fields show two answers where there is one: the print has grown so dark or "
        "so soft that empty bubbles look filled. Take the photo of the card itself, not of a copy, near and "
        "sharp"
    )
