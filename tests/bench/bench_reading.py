"""The tables of docs/accuracy.md: refusals, questions, silent errors by level, way, form, hand, pen and mark.

Run: python -m tests.bench.bench_reading --mnist DIR --hands NPZ --paths FILE.json.gz --photos 600 --jobs 2
     --out CARDS.jsonl [--first 0] [--minutes 9]
     python -m tests.bench.bench_reading --tables CARDS.jsonl [MORE.jsonl …]

Every card is written by a hand that trained nothing (`training.hands.part_of`, MNIST's test writers), on 9,
18 or 27 holes, A4 or Letter, one field in twelve made hard, and photographed in one of three kinds of ways:
under the conditions of `scenario`, in a family of `families` that constants were chosen on, or in one that
nothing was tuned on. Levels are shares of the worst a way was meant to be: gentle up to .3, everyday to .6,
rough to .9.

A cell is *silent* when it is wrong and neither it nor its field is asked; a question is *fair* where the
field was made unclear on purpose (`filling.TROUBLES`), else *needless*. Bounds at 95 % are those of
independent cells (exact binomial, Clopper and Pearson 1934); cells of one hand are not, so the silent errors
are listed by card.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from shortpencil.forms.errors import InputError
from shortpencil.scan.vision.opening.photo import photos_from_bytes
from shortpencil.scan.vision.pipeline import read_photo
from tests.bench import hands_at_cards
from tests.bench.bench_risk import upper_of_share
from tests.bench.cards import REPORT, find_layout, shoot
from tests.simulator.families import FAMILIES, HELD_OUT, TUNED_ON, family_shot
from tests.simulator.scenario import EVERYDAY, Shot, truth_json

LEVELS = {"gentle": (0.0, 0.3), "everyday": (0.3, 0.6), "rough": (0.6, 0.9)}
#: Of every ten photos so many are of families held out, of families tuned on, and under conditions.
_WAYS = ("held out", "held out", "held out", "tuned on", "tuned on", "tuned on", *["condition"] * 4)
_TROUBLE = 1 / 12
_LONG_PX, _LONG_SHARES, _PX_PER_MM = (1600, 2400, 3000, 4000), (0.2, 0.3, 0.3, 0.2), 10.0
_FORMS = ("round18", "round18", "round9", "round27")
#: Seeds of this bench; others look at those below.
_FIRST = REPORT + 500_000
_A_BATCH = 4


def some_shot(seed: int, of: hands_at_cards.HandBanks) -> tuple[Shot, dict[str, str]]:
    """Return a photo, and what is known of how it was made: level, way, whose hand, pen."""
    rng = np.random.default_rng([seed, 31])
    bank, writer, whose = hands_at_cards.somebody(rng, of)
    level = str(rng.choice(list(LEVELS)))
    hard, long_px = float(rng.uniform(*LEVELS[level])), int(rng.choice(_LONG_PX, p=_LONG_SHARES))
    way, pen = str(rng.choice(_WAYS)), writer.pen.name
    if way == "condition":
        name = str(rng.choice(EVERYDAY))
        shot = shoot(
            name, hard, seed, form=str(rng.choice(_FORMS)), paper=str(rng.choice(["a4", "letter"])),
            long_px=long_px, trouble=_TROUBLE, glyphs=bank, px_per_mm=_PX_PER_MM, writer=writer,
        )  # fmt: skip
    else:
        name = str(rng.choice(HELD_OUT if way == "held out" else TUNED_ON))
        shot = family_shot(
            name, hard, seed, long_px=long_px, glyphs=bank, px_per_mm=_PX_PER_MM, writer=writer,
            trouble=_TROUBLE,
        )  # fmt: skip
        if FAMILIES[name](np.random.default_rng([seed, 11]), hard, long_px).pens:  # as `family_shot` begins
            pen = "the family's"
    return shot, {"level": level, "way": way, "name": name, "hand": whose, "pen": pen}


def read(shot: Shot, made: dict[str, str], seed: int) -> dict[str, Any]:
    """Read a photo; return how it was made, why it was refused or what became of each kind of cell.

    `cells` holds for each kind of cell, mark and value: how many, of how many no question is fair, how many
    of those were asked, how many of all are silent.
    """
    sheet = shot.sheets[0]
    truth = truth_json(sheet)
    card: dict[str, Any] = {"seed": seed, **made, "form": truth["form"]}
    try:
        (photo,) = photos_from_bytes(shot.encoded(), "photo")
    except InputError as error:
        return {**card, "refused": str(error)}
    reading, *_ = read_photo(photo, find_layout)
    if reading.status != "read":
        return {**card, "refused": reading.reason}
    fair = set(truth["review"])
    asked = {name for name, found in reading.fields.items() if found.flag is not None}
    cells: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    silent = []
    for cell, found in reading.cells.items():
        name, true = cell.rsplit(".", 1)[0], truth["cells"].get(cell)
        if cell.endswith(".strip") or cell not in truth["cells"]:
            continue
        kind = "bubble" if isinstance(true, bool) else "digit"
        usual = "empty" if true is False or true is None else "digit" if kind == "digit" else "filled"
        mark = truth["marks"].get(cell, usual)
        told = found.flag is not None or name in asked
        wrong = not told and found.value != true
        count = cells[f"{kind}/{mark}/{true if kind == 'digit' else ''}"]
        for i, one in enumerate((True, name not in fair, told and name not in fair, wrong)):
            count[i] += one
        if wrong:
            silent.append(f"{cell}: {true} ({mark}) read {found.value}")
    questions = [len(asked - fair), len(asked & fair)]
    return {**card, "refused": None, "questions": questions, "cells": dict(cells), "silent": silent}


_BANKS: list[hands_at_cards.HandBanks] = []


def some(first: int, until: float) -> list[dict[str, Any]]:
    """Make and read some photos."""
    import cv2

    cv2.setNumThreads(1)
    found = []
    for seed in range(first, first + _A_BATCH):
        if time.time() < until:
            shot, made = some_shot(seed, _BANKS[0])
            found.append(read(shot, made, seed))
    return found


# -- tables --------------------------------------------------------------------------------------------------


def rate(errors: int, of: int) -> str:
    """So many of how many, and what they prove, per 1,000."""
    return f"{errors} of {of:,} (under {1000 * upper_of_share(errors, of, 0.05):.2f})" if of else "–"


def by_photo(cards: list[dict[str, Any]], *keys: str) -> Iterator[str]:
    """Lines of a table of refusals, questions and silent cells, one for each value of the keys."""
    groups: dict[tuple[str, ...], list[dict[str, Any]]] = defaultdict(list)
    for card in cards:
        groups[tuple(card[key] for key in keys)].append(card)
    yield (
        f"| {' | '.join(keys)} | refused | questions, median (90 %) | needless, fair a card "
        "| needless of 1,000: bubbles; digits and blank boxes | silent bubbles (per 1,000) "
        "| silent digits (per 1,000) |"
    )
    yield "| --- " * (len(keys) + 6) + "|"
    for group in sorted(groups):
        photos = groups[group]
        done = [card for card in photos if card["refused"] is None]
        asked = np.array([card["questions"] for card in done] or [[0, 0]])
        total = {kind: np.zeros(4, int) for kind in ("bubble", "digit")}
        for card in done:
            for name, count in card["cells"].items():
                total[name.split("/")[0]] += count
        median, most = np.percentile(asked.sum(axis=1), (50, 90))
        idle = "; ".join(f"{1000 * t[2] / max(t[1], 1):.1f}" for t in total.values())
        yield (
            f"| {' | '.join(group)} | {len(photos) - len(done)} of {len(photos)} | {median:.0f} ({most:.0f}) "
            f"| {asked[:, 0].mean():.1f}, {asked[:, 1].mean():.1f} | {idle} | "
            + " | ".join(rate(int(t[3]), int(t[0])) for t in total.values())
            + " |"
        )


def by_cell(cards: list[dict[str, Any]], kind: str, part: int) -> Iterator[str]:
    """Lines of a table of one kind of cell by mark (1) or by value (2)."""
    groups: dict[str, np.ndarray] = defaultdict(lambda: np.zeros(4, int))
    for card in cards:
        for name, count in (card.get("cells") or {}).items():
            parts = name.split("/")
            if parts[0] == kind and (part == 1 or parts[1] == "digit"):
                groups[parts[part]] += count
    yield f"| {kind} | cells | asked needlessly, of 1,000 | silent (per 1,000) |"
    yield "| --- | --- | --- | --- |"
    for name in sorted(groups):
        cells, owed, idle, silent = (int(n) for n in groups[name])
        needless = f"{1000 * idle / owed:.1f}" if owed else "fair to ask"
        yield f"| {name} | {cells:,} | {needless} | {rate(silent, cells)} |"


def tables(cards: list[dict[str, Any]]) -> str:
    """All tables as Markdown."""
    for card in cards:
        card["hand"] = card["hand"].split()[0]
    lines: list[str] = []
    for keys in (("level", "way"), ("way", "name"), ("level", "form"), ("hand",), ("pen",)):
        lines += [*by_photo(cards, *keys), ""]
    for kind, part in (("bubble", 1), ("digit", 1), ("digit", 2)):
        lines += [*by_cell(cards, kind, part), ""]
    for card in cards:
        where = f"{card['level']} {card['name']}, {card['form']}, {card['hand']}, seed {card['seed']}"
        if card["refused"] is not None:
            lines.append(f"- refused, {where}: {card['refused']}")
        elif card["silent"]:
            lines.append(f"- silent, {where}: {'; '.join(card['silent'])}")
    return "\n".join(lines)


def main() -> None:
    """Read photos, or print the tables of those read."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mnist", type=Path, help="folder of the IDX files")
    parser.add_argument("--hands", type=Path, help="NPZ of digits by writer (training/hands.py)")
    parser.add_argument("--paths", type=Path, help="packed JSON of pen paths")
    parser.add_argument("--photos", type=int, default=600)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no photo after so many")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--tables", type=Path, nargs="+", help="print the tables of these")
    args = parser.parse_args()
    if args.tables:
        lines = [line for file in args.tables for line in file.read_text("utf-8").splitlines()]
        print(tables([json.loads(line) for line in lines]))
        return
    until = time.time() + 60 * args.minutes
    _BANKS.append(hands_at_cards.load(args.mnist, args.hands, args.paths, "report", args.jobs))
    firsts = range(_FIRST + args.first, _FIRST + args.first + args.photos, _A_BATCH)
    # Forked once the hands are thinned; nothing has drawn with OpenCV before.
    with ProcessPoolExecutor(args.jobs) as pool, args.out.open("w", encoding="utf-8", buffering=1) as out:
        for done, cards in enumerate(pool.map(partial(some, until=until), firsts), start=1):
            for card in cards:
                out.write(json.dumps(card) + "\n")
            if done % 25 == 0:
                print(f"{_A_BATCH * done} of {args.photos} photos", flush=True)


if __name__ == "__main__":
    main()
