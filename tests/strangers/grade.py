"""What a reader makes of a folder of photos: ``python -m tests.strangers.grade DIR --program PROGRAM``.

For each family and level, and by mark and pen: readable photos refused, questions a card (median, 90 %),
cells asked without need and cells silently wrong per 1,000, with 95 % upper bounds (exact binomial, Clopper
and Pearson 1934) for the silent ones.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta


@dataclass(slots=True)
class Tally:
    """Counts of one group of photos or cells."""

    photos: int = 0
    refused: int = 0
    questions: list[int] = field(default_factory=list)
    cells: int = 0
    owed: int = 0
    needless: int = 0
    silent: int = 0

    def add(self, owed: bool, needless: bool, silent: bool) -> None:
        """Count one cell."""
        self.cells += 1
        self.owed += owed
        self.needless += needless
        self.silent += silent

    def row(self, name: str) -> str:
        """A line of a table."""
        upper = beta.ppf(0.95, self.silent + 1, max(self.cells - self.silent, 1e-9)) if self.cells else 1.0
        asked = (
            f"{np.median(self.questions):.0f} ({np.quantile(self.questions, 0.9):.0f})"
            if self.questions
            else "-"
        )
        share = f"{self.refused} of {self.photos}" if self.photos else "-"
        idle = 1000 * self.needless / max(self.owed, 1)
        wrong = 1000 * self.silent / max(self.cells, 1)
        silent = f"{wrong:.2f} ({self.silent} of {self.cells}, under {1000 * upper:.2f})"
        return f"| {name} | {share} | {asked} | {idle:.1f} of {self.owed} | {silent} |"


def judged(card: dict[str, Any], cell: str, truth: dict[str, Any]) -> tuple[bool, bool]:
    """Whether the cell was asked without need, and whether it is silently wrong."""
    got = card["cells"].get(cell)
    if got is None or got["flag"] or (card["fields"].get(cell.rsplit(".", 1)[0]) or {}).get("flag"):
        return truth["owed"] == "read", False
    meant = truth.get("meant", truth["value"])
    settled = truth["mark"] in ("overwritten", "scribbled_out") and got["value"] == meant
    return False, not settled and (truth["owed"] == "ask" or got["value"] != truth["value"])


def by_photo(cards: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """The card of each photo; the one that was read where part of another lies beside it."""
    found: dict[str, dict[str, Any]] = {}
    for card in cards:
        name = Path(card["source"].split(", page ")[0]).name
        if name not in found or found[name]["status"] != "read":
            found[name] = card
    return found


def main() -> None:
    """Read the folder's photos and print the tables."""
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("folder", type=Path)
    parse.add_argument("--program", default="shortpencil")
    parse.add_argument("--silent", action="store_true", help="list the silent errors")
    args = parse.parse_args()
    photos = {p["file"]: p for p in json.loads((args.folder / "truth.json").read_text("utf-8"))["photos"]}
    argv = [
        args.program,
        "read",
        *(str(args.folder / f) for f in photos),
        "--dry-run",
        "--json",
        "--plain-hand",
        *(word for map_ in sorted(args.folder.glob("map_*.json")) for word in ("--map", str(map_))),
    ]
    run = subprocess.run(argv, capture_output=True, text=True, check=False)
    if "{" not in run.stdout:
        raise SystemExit(f"{args.program} read nothing (exit code {run.returncode}): {run.stderr[-2000:]}")
    out = run.stdout
    cards = by_photo(json.loads(out[out.index("{") :])["cards"])
    groups: dict[str, dict[str, Tally]] = {
        k: defaultdict(Tally) for k in ("photos", "form", "bubbles", "digits", "pen", "value")
    }
    for name, photo in photos.items():
        card = cards.get(name)
        keys = [
            ("photos", f"{photo['level']}, {photo['family']}"),
            ("photos", f"{photo['level']}, all"),
            ("form", f"{photo['level']}, {photo['form']}"),
        ]
        refused = card is None or card["status"] != "read"
        for group, key in keys:
            groups[group][key].photos += 1
            groups[group][key].refused += refused
        if refused or card is None:
            print(f"refused {name}: {card['reason'] if card else 'no answer'}")
            continue
        for group, key in keys:
            groups[group][key].questions.append(sum(bool(f["flag"]) for f in card["fields"].values()))
        for cell, truth in photo["cells"].items():
            needless, silent = judged(card, cell, truth)
            bubble = isinstance(truth["value"], bool)
            if silent and args.silent:
                print(f"silent {name} {cell}: {truth} read {card['cells'][cell]['value']}")
            told = [*keys, ("bubbles" if bubble else "digits", f"{photo['level']}, {truth['mark']}")]
            told += [("bubbles" if bubble else "digits", f"{photo['level']}, all")]
            if truth.get("pen"):
                told.append(("pen", truth["pen"] + (" bubbles" if bubble else " digits")))
            if not bubble and truth["mark"] == "digit":
                told.append(("value", f"digit {truth['value']}"))
            for group, key in told:
                groups[group][key].add(truth["owed"] == "read", needless, silent)
    for group, rows in groups.items():
        print(f"\n| {group} | refused | questions, median (90 %) | needless per 1,000 | silent per 1,000 |")
        print("| --- | --- | --- | --- | --- |")
        for key in sorted(rows):
            print(rows[key].row(key))


if __name__ == "__main__":
    main()
