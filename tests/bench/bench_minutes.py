"""Seconds and keys per card, asked as before and as now: a scripted browser and a stated model.

    python -m tests.bench.bench_asking --photos 24 --conditions clean,shadow,tilt,messenger,fold,dusk \\
        --report --cache gentle.pickle
    python -m tests.bench.bench_minutes --cache gentle.pickle

The cards are put into a store and reviewed in Chromium by somebody who knows what stands on the paper:
*before*, each flagged field is a question by itself; *now*, what is asked one by one is, the rest is seen at
a glance, and what is left is left. Keys are counted as pressed. Seconds are the model: 2 s a question, 0.5 s
a glanced cell. *Wrong kept* counts fields that differ from the paper afterwards and are taken for known, each
by its weight (`scan.asking`); of wrong values at a glance the share that the scripted eye overlooks stays.
"""

from __future__ import annotations

import argparse
import pickle
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from shortpencil.scan.asking import GLANCED_S, OVERLOOKED, QUESTION_S, ask_of, must_look, weight_of
from shortpencil.scan.reading import CardReading, FieldReading, FieldValue
from shortpencil.scan.records.store import open_store
from tests.bench.bench_asking import is_wrong
from tests.bench.bench_glance import Planted, store_of

ENTER = "Enter"


@dataclass
class Cost:
    """What one way of asking takes: per card keys, seconds, single questions."""

    keys: list[int] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    single: list[int] = field(default_factory=list)


def truth_of(truth: dict[str, Any], reading: CardReading, name: str) -> FieldValue:
    """What stands on the paper, as an answer."""
    cells = [c for c in truth["cells"] if c.rsplit(".", 1)[0] == name]
    values = [truth["cells"][c] for c in cells]
    if any(isinstance(v, bool) for v in values):
        chosen = tuple(c.rsplit(".", 1)[1] for c, v in zip(cells, values, strict=True) if v)
        if name.endswith(".way"):
            return chosen or None
        return chosen[0] if len(chosen) == 1 else None
    digits = "".join(str(v) for v in values if v is not None)
    return int(digits) if digits else None


def press_answer(page: Any, value: FieldValue) -> int:
    """Answer the question on the page by keys; return how many."""
    wanted = [""] if value is None else [str(v) for v in (value if isinstance(value, tuple) else (value,))]
    likely = page.locator("[data-answers] [data-likely]")
    if likely.count() and likely.first.get_attribute("value") == wanted[0] and not isinstance(value, tuple):
        page.keyboard.press("y")
        return 1
    keys = []
    for one in wanted:
        choice = page.locator(f'[data-answers] [value="{one}"]').first
        key = choice.get_attribute("data-key") if choice.count() else None
        if key is None:
            page.keyboard.type(one)
            page.keyboard.press(ENTER)
            return len(one) + 1
        if not (choice.get_attribute("type") == "checkbox" and choice.is_checked()):
            keys.append(key)
    if isinstance(value, tuple):
        for box in page.locator("[data-answers] [type=checkbox]").all():
            if box.is_checked() and box.get_attribute("value") not in wanted:
                keys.append(box.get_attribute("data-key"))
        keys.append(ENTER)
    for key in keys:
        page.keyboard.press(key)
    return len(keys)


def settle(page: Any, before: str) -> None:
    """Wait for the page that follows an answer."""
    page.wait_for_function("b => location.href !== b && document.querySelector('h1')", arg=before)
    page.wait_for_load_state("networkidle")


def asked_each(
    page: Any, base: str, serial: str, reading: CardReading, truth: dict[str, Any]
) -> tuple[int, int]:
    """Answer every flagged field as a question by itself; return keys and questions."""
    keys = 0
    for name in reading.flagged:
        page.goto(f"{base}/ask/{serial}/{name}")
        before = page.url
        keys += press_answer(page, truth_of(truth, reading, name))
        settle(page, before)
    return keys, len(reading.flagged)


def asked_now(
    page: Any, base: str, serial: str, reading: CardReading, truth: dict[str, Any]
) -> tuple[int, int, int]:
    """Answer what the page asks, in its own order; return keys, questions and glanced cells."""
    keys = questions = glanced = 0
    page.goto(f"{base}/ask?card={serial}")
    for _ in range(60):
        page.wait_for_load_state("networkidle")
        before = page.url
        path = before.split("?")[0].removeprefix(base).split("/")
        if path[1] == "ask" and len(path) == 4:
            keys += press_answer(page, truth_of(truth, reading, path[3]))
            questions += 1
        elif path[1] == "glance":
            keys += mend(page, reading, truth)
            glanced += page.locator(".pair").count()
            page.keyboard.press(ENTER)
            keys += 1
        else:
            break
        settle(page, before)
    return keys, questions, glanced


def mend(page: Any, reading: CardReading, truth: dict[str, Any]) -> int:
    """Turn each pair that is wrong until it fits; return the keys pressed."""
    import json

    keys = 0
    for pair in page.locator(".pair").all():
        name = pair.locator("[name=field]").get_attribute("value")
        true = truth_of(truth, reading, name)
        for _ in range(6):
            shown = pair.locator("input:checked").get_attribute("value")
            if shown == "else" or json.loads(shown) == (list(true) if isinstance(true, tuple) else true):
                break
            page.keyboard.press(pair.locator("[data-turn]").get_attribute("data-key"))
            keys += 1
    return keys


def with_asks(reading: CardReading) -> CardReading:
    """The reading with its fields asked by today's thresholds, whatever kept it."""

    def asked(name: str, found: FieldReading) -> FieldReading:
        if found.flag is None:
            return found
        ask = ask_of(name, found.value, found.p, found.alternatives, must=must_look(found))
        return found._replace(ask=ask)

    return replace(reading, fields={name: asked(name, found) for name, found in reading.fields.items()})


def wrong_kept(cards: list[tuple[CardReading, dict[str, Any]]]) -> tuple[float, float]:
    """Weighted wrong values that are taken for known after review, before and now."""
    before = now = 0.0
    for reading, truth in cards:
        for name, found in reading.fields.items():
            if not any(c.rsplit(".", 1)[0] == name for c in truth["cells"]) or name.endswith(
                ("words", "resolve")
            ):
                continue
            if name in ("player", "course", "layout") or not is_wrong(reading, truth, name):
                continue
            weight = weight_of(name, found.value, truth_of(truth, reading, name))
            if found.flag is None:
                before, now = before + weight, now + weight
            elif found.ask == "glance":
                now += OVERLOOKED * weight
    return before, now


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cache", type=Path, required=True)
    parser.add_argument("--cards", type=int, default=24)
    args = parser.parse_args()
    kept = [(with_asks(r), t) for _, _, r, t in pickle.loads(args.cache.read_bytes()) if r.status == "read"]
    kept = kept[: args.cards]
    costs = {"before": Cost(), "now": Cost()}
    from playwright.sync_api import sync_playwright

    from tests.review.browser import ARGS, CHROMIUM, Server

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        for way in ("before", "now"):
            place = Path(folder) / f"{way}.sqlite"
            serials = store_of([Planted(r, frozenset()) for r, _ in kept], place)
            server = Server(place, Path(folder) / "home")
            page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
            page.goto(server.link)
            page.wait_for_url(f"{server.base}/")
            for serial, (reading, truth) in zip(serials, kept, strict=True):
                if way == "before":
                    keys, single = asked_each(page, server.base, serial, reading, truth)
                    glanced = 0
                else:
                    keys, single, glanced = asked_now(page, server.base, serial, reading, truth)
                costs[way].keys.append(keys)
                costs[way].single.append(single)
                costs[way].seconds.append(QUESTION_S * single + GLANCED_S * glanced)
            server.stop()
            with open_store(place) as store:
                left = sum(len(store.card(serial).waiting) for serial in serials)
            print(f"{way}: {left} fields still wait")
        browser.close()
    print(f"{len(kept)} cards, flagged {np.mean([len(r.flagged) for r, _ in kept]):.1f} a card")
    for way, cost in costs.items():
        seconds = f"median {np.median(cost.seconds):.1f}, most {max(cost.seconds):.1f}"
        keys = f"median {np.median(cost.keys):.0f}, mean {np.mean(cost.keys):.1f}"
        single = f"median {np.median(cost.single):.0f}, most {max(cost.single)}"
        print(f"{way:<7} seconds: {seconds}; keys: {keys}; single questions: {single}")
    before, now = wrong_kept(kept)
    print(f"wrong values kept, by weight: before {before:.2f}, now {now:.2f}")


if __name__ == "__main__":
    main()
