"""Is this reading possible? What no round can be speaks against how it was measured, not against the player.

Where a copier or the light has changed all bubbles of a card, each may look like a mark by itself. Together
they say that they are none: hardly anybody fills two options of one question, and nobody does so all over a
card. Such a photo is refused, never kept.
"""

from __future__ import annotations

from forms.layout import Layout
from scan.vision.decode import Evidence
from scan.vision.patches import cells_of_kind

#: Of the marked questions with several options, so many may have several filled. On 100 hard tuning cards
#: with 1 in 80 doubly filled it was one in 10 at most; a card whose outlines were taken for marks had more
#: than a third.
_MOST_SEVERAL, _LEAST_SEVERAL = 0.2, 8


def more_than_a_round_has(evidence: Evidence, layout: Layout) -> str | None:
    """Return why the photo is to be taken again when far too many bubbles look filled, or None.

    `evidence` is what the ink says by itself.
    """
    filled: dict[str, int] = {}
    options: dict[str, int] = {}
    several_fine = {field.id for field in layout.form.fields if field.type == "choose-many"}
    for cell in cells_of_kind(layout, "bubble"):
        blank, mark, other = evidence.bubbles[cell.id]
        options[cell.field] = options.get(cell.field, 0) + 1
        filled[cell.field] = filled.get(cell.field, 0) + (mark > blank and mark > other)
    asked = [field for field, count in options.items() if count > 1 and field not in several_fine]
    marked = sum(filled[field] > 0 for field in asked)
    several = sum(filled[field] > 1 for field in asked)
    if several < _LEAST_SEVERAL or several <= _MOST_SEVERAL * marked:
        return None
    return (
        f"in {several} of {marked} marked questions several bubbles look filled, which no round has: a "
        "copier or the light has darkened the print. Take the photo of the card itself again, in even light, "
        "near and sharp"
    )
