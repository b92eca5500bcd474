"""What a player's own hand is worth: the next card before and after 1, 3 and 10 reviewed cards.

Run: MNIST=… python -m tests.bench.bench_hand --writers 20 [--report] [--jobs 2] [--glyphs 4,16]

Each simulated writer fills in card after card, with another round, photo and, one time in three, another pen.
Every card goes the way it would go at home: read with what is known of the hand, stored, what is asked
answered with the truth. Before the first card and after some of them the same further cards, which are never
stored, are read. Intervals are resampled by writer, since the boxes of one hand are not independent.

How lifelike that is: MNIST's test images do not say who wrote what, so a simulated hand is put together of
other hands' digits. It keeps some forms of its own (a crossed 7, an open 4) and, of every other digit,
`--glyphs` pictures that lean alike, drawn anew each time a little warped, at another place, with the pen's
own strokes. Four pictures a digit make a hand more regular than people's within a form and less so between
forms; with 16 a hand is hardly one. People should lie between the two rows, nearer to the first; nobody has
measured it. The person who answers is always right.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np

from shortpencil.forms.field_map import layout_to_json
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import read_photo
from shortpencil.scan.vision.seeing.known_hands import Hands
from tests.bench.cards import REPORT, TUNING, bank, find_layout
from tests.simulator.blanks import blank_card
from tests.simulator.handwriting import Writer, _alike
from tests.simulator.pens import some_pen
from tests.simulator.scenario import (
    GlyphBank,
    Player,
    Shot,
    fill,
    mixed,
    photograph,
    round_answers,
    some_player,
    some_writer,
    truth_json,
)

NOON = datetime(2026, 8, 1, 12, tzinfo=UTC)
#: Share of cards that the same hand fills in with another pen than usual.
OTHER_PEN = 1 / 3
PLAYER = "Wren"
GLYPHS = lru_cache(maxsize=1)(bank)


@dataclass(slots=True)
class Found:
    """Counts of one writer's next cards, by the count of cards reviewed before: name -> count."""

    writer: int
    glyphs: int
    after: dict[int, Counter[str]] = field(default_factory=dict)
    lessons: dict[int, int] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)


def hand_of(seed: int, glyphs: int, bank_: GlyphBank) -> tuple[Writer, Player]:
    """Return the writer of a seed, with so many pictures of each digit to draw from, and how they play."""
    rng = np.random.default_rng(seed)
    writer, player = some_writer(rng, bank_), some_player(rng)
    samples = {d: _alike(bank_, d, writer.slant, rng, count=glyphs) for d in range(10)}
    return replace(writer, samples=samples), player


def shoot(writer: Writer, player: Player, seed: int, bank_: GlyphBank) -> Shot:
    """Return a photo of a card of this hand; the seed tells the round, the photo and the pen."""
    rng = np.random.default_rng([seed, 7])
    blank = blank_card("round18", paper="a4", px_per_mm=12.0)
    how = mixed(seed, long_px=3000)
    if rng.random() < OTHER_PEN:
        writer = writer.with_pen(some_pen(rng))
    answers = round_answers(blank.field_map, player, seed)
    sheet = fill(
        blank.page,
        blank.px_per_mm,
        blank.field_map,
        answers,
        writer,
        seed,
        bank=bank_,
        condition=how,
        serial=blank.serial,
    )
    return photograph(sheet, how, seed)


def read(shot: Shot, hands: Hands) -> CardReading:
    """Read a photo with what is known of its player's hand."""
    (photo,) = photos_from_bytes(shot.encoded(), "card")
    (reading, *_) = read_photo(photo, find_layout, hand_of=lambda _: hands.of(PLAYER))
    return reading


def review(shot: Shot, reading: CardReading, number: int, store: Store) -> None:
    """Keep a card and answer everything that it asks, with the truth."""
    layout = find_layout(reading.form or "")
    assert layout is not None
    reading = replace(reading, serial=f"CARD{number:04d}", photo_sha256=f"{number:064x}")
    round_ = round_from_reading(layout.form, reading, recorded_at=NOON, player=PLAYER)
    store.add_reading(reading, layout.form, round_, form_text=layout_to_json(layout))
    truth = truth_json(shot.sheets[0])["fields"]
    for name in reading.flagged:
        if layout.form.field(name).type != "words":
            value = truth[name]
            store.answer(
                f"CARD{number:04d}", name, tuple(value) if isinstance(value, list) else value, "Robin", NOON
            )


def count(shot: Shot, reading: CardReading, into: Counter[str], errors: list[str], label: str) -> None:
    """Add up what is asked and what is wrong in silence."""
    into["cards"] += 1
    truth = truth_json(shot.sheets[0])["cells"]
    into["fields asked"] += len(reading.flagged)
    for cell, value in reading.cells.items():
        if cell.endswith(".strip") or isinstance(truth[cell], bool):
            continue
        asked = value.flag is not None or reading.fields[cell.rsplit(".", 1)[0]].flag is not None
        into["digits"] += 1
        into["asked"] += asked
        if value.value != truth[cell] and not asked:
            into["silent"] += 1
            errors.append(f"{label} {cell}: read {value.value} ({value.confidence:.4f}), true {truth[cell]}")
    layout = find_layout(reading.form or "")
    assert layout is not None
    into["numbers asked"] += sum(layout.form.field(name).type == "number" for name in reading.flagged)


def one(job: tuple[int, int, tuple[int, ...], int]) -> Found:
    """Let one writer fill in cards, and read further ones of theirs now and then."""
    import cv2

    cv2.setNumThreads(1)
    seed, glyphs, steps, further = job
    bank_ = GLYPHS()
    writer, player = hand_of(seed, glyphs, bank_)
    found = Found(seed, glyphs, {step: Counter() for step in steps})
    later = [shoot(writer, player, seed * 100 + 50 + i, bank_) for i in range(further)]
    # A photo that is refused without a hand is refused with it, too: those are left out.
    later = [shot for shot in later if read(shot, Hands({})).status == "read"]
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "s.sqlite") as store:
        for number in range(max(steps) + 1):
            hands = Hands(store.hands())
            if number in steps:
                found.lessons[number] = len(store.hands().get(PLAYER, ()))
                for i, shot in enumerate(later):
                    label = f"writer {seed}, {glyphs} glyphs, after {number}, card {i}"
                    count(shot, read(shot, hands), found.after[number], found.errors, label)
            if number < max(steps):
                shot = shoot(writer, player, seed * 100 + number, bank_)
                reading = read(shot, hands)
                if reading.status == "read":
                    review(shot, reading, number, store)
    return found


RATES = (
    ("digits asked /1,000", "asked", "digits", 1000.0),
    ("silent /1,000", "silent", "digits", 1000.0),
    ("numbers asked /card", "numbers asked", "cards", 1.0),
    ("fields asked /card", "fields asked", "cards", 1.0),
)


def rate(counts: Sequence[Counter[str]], name: str, per: str, factor: float) -> float:
    """A rate over some writers."""
    return factor * sum(c[name] for c in counts) / max(sum(c[per] for c in counts), 1)


def line(results: Sequence[Found], step: int, rng: np.random.Generator) -> str:
    """One line of the table, each rate with its 95 % interval over writers."""
    counts = [found.after[step] for found in results]
    parts = [f"{step:>3}", f"{np.mean([found.lessons[step] for found in results]):>7.0f}"]
    again = [rng.integers(len(counts), size=len(counts)) for _ in range(1000)]
    for _, name, per, factor in RATES:
        many = [rate([counts[i] for i in chosen], name, per, factor) for chosen in again]
        low, high = np.percentile(many, [2.5, 97.5])
        parts.append(f"{rate(counts, name, per, factor):>7.2f} ({low:.2f} to {high:.2f})".ljust(24))
    return "  ".join(parts)


def main() -> None:
    """Print a table for each way of putting a hand together, and the silent errors."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--writers", type=int, default=10)
    parser.add_argument("--after", default="0,1,3,10", help="counts of reviewed cards")
    parser.add_argument("--further", type=int, default=3, help="further cards read each time")
    parser.add_argument("--glyphs", default="4,16", help="pictures a digit that a hand is put together of")
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    steps = tuple(sorted({0, *map(int, args.after.split(","))}))
    first = (REPORT if args.report else TUNING) + 1000
    with ProcessPoolExecutor(args.jobs) as pool:
        for glyphs in map(int, args.glyphs.split(",")):
            jobs = [(first + i, glyphs, steps, args.further) for i in range(args.writers)]
            results = list(pool.map(one, jobs))
            cards = sum(found.after[0]["cards"] for found in results)
            digits = sum(found.after[0]["digits"] for found in results)
            print(
                f"\n{glyphs} glyphs a digit: {len(results)} writers, {cards} cards of {digits:,} digit boxes"
            )
            heads = "  ".join(head.ljust(24) for head, *_ in RATES)
            print(f"after  lessons  {heads}")
            rng = np.random.default_rng(0)
            for step in steps:
                print(line(results, step, rng), flush=True)
            for found in results:
                for error in found.errors:
                    print(f"      silent: {error}")


if __name__ == "__main__":
    main()
