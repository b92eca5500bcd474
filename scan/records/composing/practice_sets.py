"""From what the fields of a practice card say to the sets that were practised.

Each set of a drill is one number field, whose id says what it counts: ``made.DRILL.TRIES.N`` is how many of
TRIES were made in set N of DRILL. So a photo of the card needs nothing but its own field map to become
practice results.
"""

from __future__ import annotations

from collections.abc import Mapping

from shortpencil.forms.form import Form
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.card_values import day_of
from shortpencil.scan.records.composing.rounds import PracticeSet, Value

MADE = "made"


def sets_from(
    form: Form, fields: Mapping[str, FieldReading], serial: str, player: str | None
) -> tuple[PracticeSet, ...]:
    """Return the sets that a read (and answered) practice card tells, in the order printed.

    A set left blank was not done and is no set; a flagged one waits and counts nowhere until answered.
    """
    when = day_of(fields)
    sets = []
    for row, field in enumerate((f for f in form.fields if f.id.startswith(f"{MADE}.")), start=1):
        answer = fields.get(field.id)
        _, drill, tries, _ = field.id.split(".")
        if answer is None or (answer.value is None and answer.flag is None):
            continue
        made = answer.value if isinstance(answer.value, int) else None
        waits = answer.flag is not None or (made is not None and made > int(tries))
        sets.append(
            PracticeSet(
                card=serial,
                row=row,
                day=when,
                player=player,
                drill=drill,
                tries=Value(int(tries), source="printed"),
                made=Value(made, source=answer.source, p=answer.p, status="waits" if waits else "known"),
            )
        )
    return tuple(sets)
