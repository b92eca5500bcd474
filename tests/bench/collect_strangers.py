"""Collects digit boxes and bubbles out of photos by strangers and simulated ones, to learn from both at once.

Run: python -m tests.bench.collect_strangers $D --minutes 9 --jobs 16 --out DIR, D as DEVELOPERS.md has it; it
writes DIR/boxes for `training.train --photos`, DIR/marks and DIR/marks-strangers for `training.bubbles`.

`tests/strangers` shares no code with the simulator: what only one of the two draws, no network should lean
on. Nothing here is written by hands that report or tune, and pens are drawn at random in place of its twelve;
all the same its looks are no outside report on a network that learnt from these, as the second digit
network did.
"""

from __future__ import annotations

import argparse
import shlex
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import chain, product
from pathlib import Path

import cv2
import numpy as np

from shortpencil.scan.vision.evidence import BLANK_BOX, SCRAP_BOX
from shortpencil.scan.vision.measuring import raised
from shortpencil.scan.vision.pipeline import Trace
from shortpencil.scan.vision.seeing.bubbles import CLASSES, bubble_patches, pen_darkness
from shortpencil.scan.vision.seeing.patches import cells_of_kind, writing_in
from shortpencil.scan.vision.training import bubble_cards, photo_boxes
from shortpencil.scan.vision.training.bubble_cards import CardBubbles, bubbles_to_learn
from shortpencil.scan.vision.training.photo_boxes import PhotoBoxes
from tests.bench import collect_marks, hands_at_cards
from tests.bench.collect_bubbles import CLASS_OF_MARK
from tests.bench.collect_digits import BARE_KEPT, LEAST_SHOWS, boxes_of, file_as_far, firsts, some_shot
from tests.simulator.glyphs import Glyph, GlyphBank
from tests.strangers import camera, make, pens, writing

#: Marks of strangers that the simulator has no name for.
_CLASS_OF_MARK = {
    **CLASS_OF_MARK,
    "empty": "empty",
    "speck": "empty",
    "cancelled_alone": "struck",
}
_SCRAP = ("overwritten", "scribbled_out")
#: A card of whose boxes more are sure to be something else lies elsewhere than the reader thinks.
_MOST_ELSEWHERE, _SURE = 0.04, np.log(0.995)
#: Share of photos that are strangers', and of fields made hard on the others.
_STRANGERS, _TROUBLE = 0.6, 0.15
#: Longer sides of a telephone's picture, and of the sheet before: smaller than its own, to be quick.
_LONG_PX, _PX_MM = (2000, 2400, 2700), 8.0
#: Photos of one file.
_A_FILE = 8

Learnt = tuple[PhotoBoxes, list[CardBubbles]]


def some_pen(rng: np.random.Generator) -> pens.Pen:
    """A pen that nobody made: any tip, ink, grain and failing."""
    erasable = bool(rng.random() < 0.4)
    hues = [pens.GREY, pens.GREY, pens.BLUE, tuple(float(v) for v in rng.uniform(0.15, 1.0, 3))]
    return pens.Pen(
        "any",
        float(np.exp(rng.uniform(np.log(0.22), np.log(1.15)))),
        float(rng.uniform(0.4, 1.7) if erasable else rng.uniform(0.7, 2.5)),
        pens.GREY if erasable else hues[int(rng.integers(4))],
        grain=float(rng.uniform(0.25, 0.75) if erasable else rng.choice([0.0, rng.uniform(0, 0.4)])),
        skip=float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0.05, 0.4)])),
        bleed_mm=0.0 if erasable else float(rng.choice([0.0, rng.uniform(0.0, 0.15)])),
        blob=0.0 if erasable else float(rng.choice([0.0, rng.uniform(0.1, 0.6)])),
        erasable=erasable,
    )


def hand_of(bank: GlyphBank, samples: dict[int, tuple[int, ...]]) -> writing.Hand:
    """Digits of somebody as strangers write them: digit -> samples -> strokes of height 1."""
    hand: writing.Hand = {}
    for digit, rows in samples.items():
        glyphs: list[Glyph | None] = [bank.glyph(i) for i in rows]
        hand[digit] = [[np.asarray(path) for path in glyph.paths] for glyph in glyphs if glyph is not None]
    return hand


def _somebody(rng: np.random.Generator, of: hands_at_cards.HandBanks) -> tuple[writing.Hand, str]:
    while True:
        bank, writer, whose = hands_at_cards.somebody(rng, of)
        samples = dict(writer.samples)
        if whose == "mnist":
            for digit in range(10):
                rows = rng.choice(bank.by_digit[digit], 8, replace=False)
                samples[digit] = tuple(int(i) for i in rows if bank.glyph(int(i)) is not None)
        hand = hand_of(bank, samples)
        if all(hand.get(digit) for digit in range(10)):
            return hand, whose


def stranger_of(seed: int, of: hands_at_cards.HandBanks) -> Learnt | None:
    """What a photo by strangers teaches; None where the reader refuses it before it looks into boxes."""
    rng = np.random.default_rng([seed, 31])
    hand, whose = _somebody(rng, of)
    family, hardness = str(rng.choice(make.FAMILIES)), float(rng.uniform(0, 1.1))
    kinds = [some_pen(rng) for _ in range(3)]
    card = make.filled(rng, family, hardness, {"one": hand}, [], pen_kinds=kinds)
    scene = "flatbed" if family == "copy" and rng.random() < 0.4 else family
    picture, _ = camera.lit_photo(rng, card.look, card.size_mm, scene, hardness, _LONG_PX)
    quality = int(rng.integers(45, 75)) if family == "messenger" else int(rng.integers(70, 96))
    _, file = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    trace = file_as_far(file.tobytes())
    if trace is None or trace.patches is None or trace.layout is None or trace.ink is None:
        return None
    boxes = _boxes(trace, card, whose, family, rng)
    return None if boxes is None else (boxes, _bubbles(trace, card, rng))


def _boxes(
    trace: Trace, card: make.Filled, whose: str, family: str, rng: np.random.Generator
) -> PhotoBoxes | None:
    assert trace.layout is not None
    assert trace.patches is not None
    assert trace.evidence is not None
    cells, writing_ = cells_of_kind(trace.layout, "digit"), writing_in(trace.patches)
    truths = [card.truth[c.id] for c in cells]
    answers = np.array(
        [SCRAP_BOX if t.mark in _SCRAP else BLANK_BOX if t.value is None else t.value for t in truths],
        np.int8,
    )
    said = [trace.evidence.digits.get(c.id) for c in cells]
    elsewhere = [
        s is not None and s.max() > _SURE and int(s.argmax()) != a and a != SCRAP_BOX
        for s, a in zip(said, answers, strict=True)
    ]
    if np.mean(elsewhere) > _MOST_ELSEWHERE:
        return None
    shown = ~writing_.bare() | (rng.random(len(cells)) < BARE_KEPT)
    shown &= np.array([c.id not in trace.evidence.outside for c in cells])
    every = PhotoBoxes(
        np.clip(raised(trace.patches, writing_) * photo_boxes.STEPS + 0.5, 0, 255).astype(np.uint8),
        np.array([(c.box.w, c.box.h) for c in cells], np.float32),
        answers,
        (answers == BLANK_BOX) | (writing_.strength > writing_.floor + LEAST_SHOWS),
        np.full(len(cells), whose),
        np.full(len(cells), f"stranger {family}"),
        np.array([t.mark for t in truths]),
    )
    return every.some(shown)


def _bubbles(trace: Trace, card: make.Filled, rng: np.random.Generator) -> list[CardBubbles]:
    assert trace.layout is not None
    assert trace.patches is not None
    assert trace.ink is not None
    assert trace.evidence is not None
    cells = [c.id for c in cells_of_kind(trace.layout, "bubble")]
    labels = [CLASSES.index(_CLASS_OF_MARK.get(card.truth[c].mark, "filled")) for c in cells]
    around = bubble_patches(trace.ink, trace.layout)
    fit = np.array([c not in trace.evidence.outside for c in cells])
    pen = pen_darkness(trace.patches, around)
    cards = bubbles_to_learn(around, np.array(labels), trace.layout, pen, rng, fit)
    return [c for c in cards if c.labels.size]


def simulated_of(seed: int, of: hands_at_cards.HandBanks) -> Learnt | None:
    """What a photo of our own simulator teaches."""
    shot, whose, way = some_shot(seed, "known", of, _TROUBLE)
    boxes = boxes_of(shot, whose, way, np.random.default_rng([seed, 22]))
    if boxes is None:
        return None
    return boxes, collect_marks.marks_of(shot, whose, way, seed) or []


_BANKS: list[hands_at_cards.HandBanks] = []


def _write_some(first: int, until: float, out: Path) -> tuple[int, int]:
    cv2.setNumThreads(1)
    parts: dict[str, list[Learnt]] = {"marks": [], "marks-strangers": []}
    refused = 0
    for seed in range(first, first + _A_FILE):
        if time.time() < until:
            theirs = np.random.default_rng([seed, 32]).random() < _STRANGERS
            found = (stranger_of if theirs else simulated_of)(seed, _BANKS[0])
            refused += found is None
            parts["marks-strangers" if theirs else "marks"] += [] if found is None else [found]
    every = [*parts["marks"], *parts["marks-strangers"]]
    if every:
        photo_boxes.save(photo_boxes.joined([p[0] for p in every]), out / "boxes" / f"{first:07}.npz")
    for kind, some in parts.items():
        cards = list(chain.from_iterable(p[1] for p in some))
        if cards:
            bubble_cards.save(cards, out / kind / f"{first:07}.npz")
    return len(every), refused


def main() -> None:
    """Write what photos teach until there are enough or the time is over."""
    parser = argparse.ArgumentParser(description=__doc__)
    hands_at_cards.add_arguments(parser)
    parser.add_argument("--program", default="shortpencil", help="what prints the blank cards")
    args = parser.parse_args()
    begun = time.time()
    for kind in ("boxes", "marks", "marks-strangers"):
        (args.out / kind).mkdir(parents=True, exist_ok=True)
    _BANKS.append(hands_at_cards.load(args.mnist, args.hands, args.paths, args.part, args.jobs))
    # A card is printed once a form, paper and unit: what a second one would show is its number alone.
    program, blank = shlex.split(args.program), make.blank
    with tempfile.TemporaryDirectory() as folder:
        blanks = {
            kind: blank(Path(folder), program, *kind)
            for kind in product(("round18", "round27", "round9"), ("a4", "letter"), ("m", "ft"))
        }
    make.PX_MM = _PX_MM
    make.blank = lambda _folder, _program, *kind: blanks[kind]
    print(f"ready after {time.time() - begun:.0f} s", flush=True)
    work = partial(_write_some, until=begun + 60 * args.minutes, out=args.out)
    with ProcessPoolExecutor(args.jobs) as pool:
        counts = list(pool.map(work, firsts(args.part, args.first, args.photos, _A_FILE)))
    photos, refused = (sum(column) for column in zip(*counts, strict=True))
    print(f"{photos} photos, {refused} refused, {time.time() - begun:.0f} s")


if __name__ == "__main__":
    main()
