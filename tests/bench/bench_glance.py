"""Arrangements of the page of doubtful cells: errors found, and seconds, by an eye that compares.

    python -m tests.bench.bench_asking --photos 12 --cache cards.pickle
    python -m tests.bench.bench_glance --cache cards.pickle

Photos of the simulator are read; on each card some fields are shown as doubtful, and of these a quarter is
given a wrong value (a digit the reader confuses with it, another bubble, a blank). The page is opened in
Chromium once in each arrangement. The *eye* sees only screenshots: for each pair the picture of the ink and
the picture of the value. It knows no answer and cannot read. It compares the two as shapes: both are brought
to one size, blurred, and the best correlation over small shifts is what it goes by; a pair whose correlation
is low is called different. Where it draws the line is set so that it calls one right pair in twenty
different; told is the share of planted errors that it then finds.

*Seconds* are the stated model: a fixation of 0.25 s on either side of a pair and, between them and on to the
next pair, an eye movement of 0.021 s and 0.0022 s a degree (96 px an inch, seen from 55 cm; the usual numbers
of eye movement research, from memory), and 1 s for the key at the end.

Arrangements: `beside` (the shipped page), `under` (the value below the ink), `words` (the value in words
beside the ink), `overlay` (the value small in the corner of the ink).
"""

from __future__ import annotations

import argparse
import io
import json
import math
import pickle
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

from shortpencil.scan.reading import GLANCE, CardReading, FieldReading, FieldValue

ARRANGEMENTS = {
    "beside": "",
    "under": ".both { flex-direction: column; align-items: flex-start; }",
    "words": ".write { display: none !important; } .as:has(input:checked) .label { font-size: 1.6rem; }",
    "overlay": ".pair { position: relative; } .as:has(input:checked) { position: static; }"
    " .as:has(input:checked) .write { position: absolute; width: 28px; height: auto; left: 14px; }",
}
FIXATION_S, MOVE_S, MOVE_S_A_DEGREE, KEY_S = 0.25, 0.021, 0.0022, 1.0
PX_A_CM, FROM_CM = 96 / 2.54, 55.0
FALSE_ALARMS = 0.05
SIZE = (48, 48)
LOOKS_LIKE = {0: 6, 1: 7, 2: 7, 3: 5, 4: 9, 5: 6, 6: 5, 7: 1, 8: 3, 9: 4}


@dataclass
class Planted:
    """A card as it is shown: its reading, and which fields have a wrong value."""

    reading: CardReading
    wrong: frozenset[str]


def planted(reading: CardReading, truth: dict, rng: np.random.Generator, pairs: int) -> Planted | None:
    """The reading with so many fields shown as doubtful, a quarter of them wrong."""
    right = [n for n in reading.fields if _is_right(reading, truth, n) and _shows_something(reading, n)]
    if len(right) < pairs:
        return None
    chosen = [right[i] for i in sorted(rng.permutation(len(right))[:pairs])]
    fields = {n: f._replace(flag=None, ask=None) for n, f in reading.fields.items()}
    wrong = set()
    for name in chosen:
        value = fields[name].value
        other = _other(reading, name, rng)
        if rng.random() < 0.25:
            wrong.add(name)
            value, other = other, value
        fields[name] = FieldReading(value, 0.9, "planted", alternatives=((other, 0.1),), ask=GLANCE)
    return Planted(replace(reading, fields=fields), frozenset(wrong))


def _is_right(reading: CardReading, truth: dict, name: str) -> bool:
    cells = [c for c in truth["cells"] if c.rsplit(".", 1)[0] == name]
    plain = reading.fields[name].flag is None and not any(c.endswith(".strip") for c in cells)
    return plain and all(reading.cells[c].value == truth["cells"][c] for c in cells)


def _shows_something(reading: CardReading, name: str) -> bool:
    return reading.fields[name].value not in (None, ())


def _other(reading: CardReading, name: str, rng: np.random.Generator) -> FieldValue:
    value = reading.fields[name].value
    if isinstance(value, int):
        if name.endswith(".why") and rng.random() < 0.2:
            return None
        last = LOOKS_LIKE[value % 10]
        return value - value % 10 + last
    if isinstance(value, tuple):
        return None if len(value) == 1 else value[:1]
    return {"clean": "miss", "miss": "clean"}.get(str(value)) if rng.random() < 0.5 else None


def made(cache: Path, cards: int, pairs: int, seed: int) -> list[Planted]:
    """Cards to show, from the readings that `bench_asking` kept."""
    rng = np.random.default_rng(seed)
    found = [
        planted(r, truth, rng, pairs)
        for _, _, r, truth in pickle.loads(cache.read_bytes())
        if r.status == "read"
    ]
    return [card for card in found if card][:cards]


def store_of(cards: list[Planted], place: Path) -> list[str]:
    """Make a store of the cards; return their serials in order."""
    from datetime import UTC, datetime

    from shortpencil.forms.field_map import layout_to_json
    from shortpencil.forms.serials import serial_from
    from shortpencil.scan.records.composing.compose import round_from_reading
    from shortpencil.scan.records.store import open_store
    from tests.bench.cards import find_layout

    serials = []
    with open_store(place) as store:
        for i, card in enumerate(cards):
            reading = replace(
                card.reading, serial=serial_from(i.to_bytes(16, "big")), photo_sha256=f"{i:064x}"
            )
            layout = find_layout(reading.form or "")
            assert layout is not None
            round_ = round_from_reading(layout.form, reading, recorded_at=datetime.now(UTC))
            store.add_reading(reading, layout.form, round_, form_text=layout_to_json(layout))
            serials.append(str(reading.serial))
    return serials


# -- the eye ---------------------------------------------------------------------------------------------


def shape_of(picture: Image.Image) -> np.ndarray:
    """What the eye keeps of a picture: its dark shape, blurred, at one size, mean 0 and sd 1."""
    small = picture.convert("L").resize(SIZE, Image.Resampling.BOX).filter(ImageFilter.GaussianBlur(1.6))
    grey = np.asarray(small, float)
    dark = np.clip(np.percentile(grey, 90) - grey, 0, None)
    return np.asarray((dark - dark.mean()) / (dark.std() + 1e-6))


def likeness(ink: Image.Image, value: Image.Image) -> float:
    """Return the best correlation of two pictures over small shifts."""
    a, b = shape_of(ink), shape_of(value)
    best = -1.0
    for dy in range(-6, 7, 2):
        for dx in range(-6, 7, 2):
            best = max(best, float((a * np.roll(b, (dy, dx), (0, 1))).mean()))
    return best


def seconds(boxes: list[tuple[dict, dict]]) -> float:
    """Return the time that the model takes for a page of pairs."""
    total, at = KEY_S, None
    for ink, value in boxes:
        for box in (ink, value):
            centre = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
            if at is not None:
                far = math.hypot(centre[0] - at[0], centre[1] - at[1]) / PX_A_CM
                total += MOVE_S + MOVE_S_A_DEGREE * math.degrees(math.atan2(far, FROM_CM))
            at = centre
            total += FIXATION_S
    return total


def looked_at(place: Path, serials: list[str]) -> Iterator[tuple[str, str, list]]:
    """Yield arrangement, serial, and for each pair its field, likeness and boxes."""
    from playwright.sync_api import sync_playwright

    from tests.review.browser import ARGS, CHROMIUM, Server

    with tempfile.TemporaryDirectory() as home:
        server = Server(place, Path(home))
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
                page = browser.new_context(
                    viewport={"width": 1280, "height": 900}, bypass_csp=True
                ).new_page()
                page.goto(server.link)
                page.wait_for_url(f"{server.base}/")
                for name, css in ARRANGEMENTS.items():
                    for serial in serials:
                        page.goto(f"{server.base}/glance/{serial}")
                        page.wait_for_load_state("networkidle")
                        page.add_style_tag(content=css or "x {}")
                        yield name, serial, list(_pairs(page, name))
                browser.close()
        finally:
            server.stop()


def _pairs(page: object, name: str) -> Iterator[tuple[str, float, tuple[dict, dict]]]:
    for pair in page.locator(".pair").all():  # type: ignore[attr-defined]
        field = pair.locator("[name=field]").get_attribute("value")
        ink = pair.locator(".eye")
        value = pair.locator(".as:has(input:checked) .label" if name == "words" else ".write:visible")
        boxes = ink.bounding_box(), value.bounding_box()
        shown = Image.open(io.BytesIO(value.screenshot()))
        if name == "overlay":  # it lies on the ink: away with it while the ink is looked at
            pair.locator(".write:visible").evaluate("e => { e.style.visibility = 'hidden'; }")
        yield field, likeness(Image.open(io.BytesIO(ink.screenshot())), shown), boxes


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--cards", type=int, default=10)
    parser.add_argument("--pairs", type=int, default=16)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    cards = made(args.cache, args.cards, args.pairs, 14)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "rounds.sqlite"
        serials = store_of(cards, place)
        wrong = {serial: card.wrong for serial, card in zip(serials, cards, strict=True)}
        found: dict[str, list] = {name: [] for name in ARRANGEMENTS}
        times: dict[str, list[float]] = {name: [] for name in ARRANGEMENTS}
        for name, serial, pairs in looked_at(place, serials):
            found[name] += [(like, field in wrong[serial]) for field, like, _ in pairs]
            times[name].append(seconds([boxes for *_, boxes in pairs]) / len(pairs) * args.pairs)
    print(f"{len(cards)} cards, {args.pairs} pairs each, {sum(map(len, wrong.values()))} planted errors")
    for name in ARRANGEMENTS:
        right = [like for like, is_wrong in found[name] if not is_wrong]
        planted_ = np.array([like for like, is_wrong in found[name] if is_wrong])
        line = float(np.quantile(right, FALSE_ALARMS))
        # Share of pairs of a right and a wrong one that likeness tells apart: 0.5 is chance.
        apart = float(np.mean([[r > w for r in right] for w in planted_]))
        print(
            f"{name:<8} finds {100 * float((planted_ < line).mean()):3.0f} % of planted errors, tells apart "
            f"{apart:.2f}, {np.mean(times[name]):4.1f} s a page of {args.pairs}"
        )
    if args.out:
        args.out.write_text(json.dumps({name: [[p, bool(w)] for p, w in of] for name, of in found.items()}))


if __name__ == "__main__":
    main()
