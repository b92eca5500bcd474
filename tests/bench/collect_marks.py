"""Collects bubbles out of whole simulated photos, as the reader's own steps cut them, to learn from.

Run: python -m tests.bench.collect_marks $D --minutes 8 --jobs 16 --out DIR, D as DEVELOPERS.md has it; then
`python -m shortpencil.scan.vision.training.bubbles` takes these files beside those of `collect_bubbles`.

Bubbles that lie elsewhere than the reader thinks, or are covered, are no lesson.
"""

from __future__ import annotations

from itertools import chain
from pathlib import Path

import numpy as np

from shortpencil.scan.vision.seeing.bubbles import CLASSES, bubble_patches, pen_darkness
from shortpencil.scan.vision.seeing.patches import cells_of_kind
from shortpencil.scan.vision.training import bubble_cards
from shortpencil.scan.vision.training.bubble_cards import CardBubbles, bubbles_to_learn
from tests.bench.collect_bubbles import CLASS_OF_MARK
from tests.bench.collect_digits import collect, in_place, read_as_far
from tests.simulator.scenario import Shot, truth_json

#: Share of fields made hard: twice what boxes of digits are collected with.
_TROUBLE = 0.2


def marks_of(shot: Shot, whose: str, way: str, seed: int) -> list[CardBubbles] | None:
    """Return a photo's bubbles; None where the reader refuses it before it looks into them."""
    trace = read_as_far(shot)
    if trace is None or trace.layout is None or trace.patches is None or trace.ink is None:
        return None
    marks = truth_json(shot.sheets[0])["marks"]
    cells = [c.id for c in cells_of_kind(trace.layout, "bubble")]
    kinds = [CLASS_OF_MARK.get(str(marks.get(cell, "")), "filled") for cell in cells]
    around = bubble_patches(trace.ink, trace.layout)
    pen, rng = pen_darkness(trace.patches, around), np.random.default_rng([seed, 24])
    labels = np.array([CLASSES.index(kind) for kind in kinds])
    cards = bubbles_to_learn(around, labels, trace.layout, pen, rng, in_place(shot, trace, cells))
    return [card for card in cards if card.labels.size]


def _save(parts: list[list[CardBubbles]], path: Path) -> None:
    bubble_cards.save(list(chain.from_iterable(parts)), path)


def main() -> None:
    """Write bubbles of photos until there are enough or the time is over."""
    print(collect(__doc__, marks_of, _save, _TROUBLE)[1])


if __name__ == "__main__":
    main()
