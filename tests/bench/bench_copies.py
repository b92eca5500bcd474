"""What one photocopy more of a sheet costs the store: each photo is held against every round of its sheet.

Run: python -m tests.bench.bench_copies [--copies 300]

Every photo shows another round of 18 holes. Processor time of storing one, in milliseconds, where so many
rounds of its sheet are stored, and beside it that of a card with a sheet of its own in the same store.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from shortpencil.forms.catalog import builtin_layout
from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.serials import serial_from
from shortpencil.scan.front_door import read, sample_photos
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding.outcomes import ANOTHER, NEW
from shortpencil.scan.records.store import Store, open_store
from tests.simulator.rounds import round_answers, some_player

EVERY = 50  # copies between two lines


def other_round(card: CardReading, number: int) -> CardReading:
    """Return the reading of another round, all its values sure, as large as the one given."""
    field_map = json.loads(layout_to_json(builtin_layout("round18", "a4", "m", "right")))
    answers = round_answers(field_map, some_player(np.random.default_rng(number)), number)
    fields = {
        name: answer if name not in answers else FieldReading(answers[name], 0.999)
        for name, answer in card.fields.items()
    }
    return replace(card, fields=fields, photo_sha256=f"{number:064x}", pictures={}, views={})


def store_one(store: Store, card: CardReading) -> float:
    """Store a card that is new; return what it cost in milliseconds."""
    form = builtin_layout("round18", "a4", "m", "right").form
    round_ = round_from_reading(form, card, recorded_at=datetime.now(UTC))
    start = time.process_time()
    kept = store.add_reading(card, form, round_, form_text="18")
    taken = 1000 * (time.process_time() - start)
    assert kept.outcome in (NEW, ANOTHER), kept.outcome
    return taken


def main() -> None:
    """Print a line for every `EVERY` copies."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--copies", type=int, default=300)
    args = parser.parse_args()
    (card,) = read(sample_photos()["plain_good_light.jpg"])
    print(f"{'stored of the sheet':>20} {'one more, ms':>14} {'a sheet of its own, ms':>24}")
    with tempfile.TemporaryDirectory() as name, open_store(Path(name) / "rounds.sqlite") as store:
        copies, own = [], []
        for number in range(args.copies + 1):
            copies.append(store_one(store, other_round(card, 2 * number)))
            if number % 5 == 0:
                alone = replace(other_round(card, 2 * number + 1), serial=serial_from(number.to_bytes(16)))
                own.append(store_one(store, alone))
            if number and number % EVERY == 0:
                print(
                    f"{number:>20} {np.median(copies[-9:]):>14.1f} {np.median(own[-9:]):>24.1f}", flush=True
                )


if __name__ == "__main__":
    main()
