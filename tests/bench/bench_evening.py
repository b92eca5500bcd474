"""A club evening: a roster printed, filled in, shuffled, scanned as one long PDF, read back; who is missing.

    python -m tests.bench.bench_evening --players 120 --missing 5 --double 3 --out DIR

Cards are filled and scanned by the simulator (a sheet feeder at 200 dpi, sheets a little askew). Three
figures count: is everybody who is missing named, is every double one named, and are the scores of cards
that ask nothing those of the truth. Nothing was tuned on it.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import time
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from shortpencil.scan.cli.main import main as command
from tests.simulator.blanks import small_bank
from tests.simulator.paper import rasterise
from tests.simulator.rounds import Answer
from tests.simulator.scenario import condition, fill, photograph, round_answers, some_player, some_writer

EVENING = "Thursday 3"
PX_PER_MM = 8.0
SCAN_DPI = 200


def run(*words: str) -> tuple[int, str]:
    """Run a command as a person does; return its exit code and what it printed."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = command(list(words))
    return code, out.getvalue()


def filled(
    pdf: bytes, page: int, field_map: dict[str, Any], serial: str, seed: int
) -> tuple[Image.Image, int]:
    """Fill in a page of the printed PDF and scan it; return the scan and the score that was written."""
    rng = np.random.default_rng(seed)
    bank = small_bank()
    how = condition("flatbed", 0.3, seed, long_px=2340)
    answers: dict[str, Answer] = round_answers(field_map, some_player(rng), seed)
    sheet = fill(
        rasterise(pdf, page, PX_PER_MM),
        PX_PER_MM,
        field_map,
        answers,
        some_writer(rng, bank),
        seed,
        bank=bank,
        condition=how,
        serial=serial,
    )
    scores = [value for name, value in answers.items() if name.endswith(".score") and isinstance(value, int)]
    shot = photograph(sheet, how, seed)
    return Image.open(io.BytesIO(shot.encoded())).convert("L"), sum(scores)


def compare(store: str, meant: dict[str, set[str]], truth: dict[str, list[int]]) -> None:
    """Print who is named of those who should be, and whether scores are those that were written."""
    _, told = run("evening", EVENING, "--store", store, "--json")
    players = {one["player"]: one for one in json.loads(told)["evenings"][0]["players"]}
    _, told = run("rounds", "--store", store, "--json")
    scores = {line["id"]: line for line in json.loads(told)["rounds"]}
    named = {state: {n for n, p in players.items() if p["state"] == state} for state in ("missing", "double")}
    for state, who in meant.items():
        print(f"{state}: {len(who)} meant, {len(named[state])} named, same people: {named[state] == who}")
    waits = sum(p["state"] == "waiting" for p in players.values())
    print(f"waiting: {waits} of {len(players)} players")
    right = wrong = 0
    for name, player in players.items():
        for round_id in player["rounds"]:
            line = scores[round_id]
            if line["waiting"] == 0:
                right += line["score"] in truth[name]
                wrong += line["score"] not in truth[name]
    print(f"scores of rounds that ask nothing: {right} right, {wrong} wrong")


def main() -> None:
    """Print, fill, shuffle, scan, read, compare, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=120)
    parser.add_argument("--missing", type=int, default=5)
    parser.add_argument("--double", type=int, default=3)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    os.environ["SHORTPENCIL_HOME"] = str(args.out / "home")
    roster, cards, card_map = args.out / "roster.csv", args.out / "cards.pdf", args.out / "map.json"
    names = [f"Player {number:03d}" for number in range(1, args.players + 1)]
    roster.write_text("player\n" + "\n".join(names) + "\n")
    printing = ["--roster", str(roster), "--evening", EVENING, "--map", str(card_map), "--json"]
    begun = time.monotonic()
    _, told = run("print", "-o", str(cards), *printing)
    printed = json.loads(told)["cards"]
    print(f"printed {len(printed)} cards in {time.monotonic() - begun:.1f} s")

    dice = random.Random(args.seed)
    order = list(range(len(printed)))
    dice.shuffle(order)
    missing, doubled = order[: args.missing], order[args.missing : args.missing + args.double]
    stack = [*order[args.missing :], *doubled]
    dice.shuffle(stack)
    pdf, field_map = cards.read_bytes(), json.loads(card_map.read_text())
    scans: list[Image.Image] = []
    truth: dict[str, list[int]] = {}
    for number, at in enumerate(stack):
        picture, score = filled(pdf, at + 1, field_map, printed[at]["serial"], 1000 * args.seed + number)
        scans.append(picture)
        truth.setdefault(printed[at]["player"], []).append(score)
    one = args.out / "stack.pdf"
    scans[0].save(one, save_all=True, append_images=scans[1:], resolution=SCAN_DPI)
    print(f"one PDF of {len(scans)} pages, {one.stat().st_size / 2**20:.0f} MB")

    store = str(args.out / "rounds.sqlite")
    begun = time.monotonic()
    run("read", str(one), "--store", store)
    took = time.monotonic() - begun
    print(f"read in {took:.0f} s, {len(scans) / took:.1f} cards a second")
    meant = {
        "missing": {printed[at]["player"] for at in missing},
        "double": {printed[at]["player"] for at in doubled},
    }
    compare(store, meant, truth)


if __name__ == "__main__":
    main()
