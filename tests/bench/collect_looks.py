"""Collects how the boxes of whole cards look to the digit network, to learn what a card's own hand may say.

Run: python -m tests.bench.collect_looks $D --minutes 6 --jobs 16 --out LEARN, D as DEVELOPERS.md has it,
then with --part tune, and with --part report --families held-out; then
`python -m shortpencil.scan.vision.training.card_hand LEARN …`.

Each card is photographed, found, flattened and weighed by the reader's own steps, up to where its own hand is
asked. Boxes that lie elsewhere than the reader thinks, or are covered, are left out.
"""

from __future__ import annotations

import numpy as np

from shortpencil.scan.vision.deciding.card_hand import SideBySide, side_by_side
from shortpencil.scan.vision.deciding.decode import weighed_so_far
from shortpencil.scan.vision.training.looks import Looks, save
from shortpencil.scan.vision.weighing.form_index import index_of
from tests.bench.collect_digits import answer_of, collect, in_place, read_as_far
from tests.simulator.scenario import Shot, truth_json


def looks_of(shot: Shot, whose: str, way: str, seed: int) -> Looks | None:
    """Return the boxes with ink of a photo; None where the reader refuses it before it looks into them."""
    trace = read_as_far(shot)
    if trace is None or trace.layout is None or trace.evidence is None:
        return None
    index = index_of(trace.layout.form)
    posterior, ink, slips = weighed_so_far(trace.layout.form, trace.evidence)
    boxes = side_by_side(index, posterior, ink, trace.evidence.looks, slips)
    if boxes is None:
        return None
    truth = truth_json(shot.sheets[0])
    cells = [index.digits[i] for i in boxes.rows]
    answers = [answer_of(truth["cells"].get(cell), str(truth["marks"].get(cell, ""))) for cell in cells]
    return _some(boxes, np.array(answers, np.int8), in_place(shot, trace, cells), whose, seed)


def _some(boxes: SideBySide, answers: np.ndarray, kept: np.ndarray, whose: str, seed: int) -> Looks:
    return Looks(
        boxes.looks[kept].astype(np.float16),
        boxes.said[kept].astype(np.float32),
        boxes.ink[kept].astype(np.float32),
        boxes.checked[kept],
        answers[kept],
        np.full(int(kept.sum()), seed),
        np.full(int(kept.sum()), whose),
    )


def main() -> None:
    """Write boxes of photos until there are enough or the time is over."""
    print(collect(__doc__, looks_of, save)[1])


if __name__ == "__main__":
    main()
