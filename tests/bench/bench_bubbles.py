"""Bubbles alone, many of them: questions and silent errors by what was done, how, with what, on which print.

Run: python -m tests.bench.collect_bubbles --report --cards 50 --families new --out NEW.npz
then: python -m tests.bench.bench_bubbles NEW.npz [...] [--by kind,style,tool,print,photo]

No sums help here: each choice is decoded by itself, nothing and something meant being as likely, with the
chances of `Slips` and the threshold of `FlagRule`. A question is needless where all bubbles of the field are
empty, filled firmly or rubbed out; a cell is silent where it is wrong and nobody is asked. The last column is
an upper bound of the silent per 1,000 at 95 %, if cells were independent.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np

from shortpencil.forms.catalog import load_form
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.scan.vision.seeing.bubbles import bubble_log_likelihoods, measure_bubbles
from shortpencil.scan.vision.weighing.likelihoods import choices, likelihoods
from shortpencil.scan.vision.weighing.slips import FlagRule, Slips

KINDS = ("empty", "filled", "erased", "struck", "unclear")
#: Unclear marks that were meant all the same.
MEANT = ("slash", "ring")


@cache
def layout_of(form: str) -> Layout:
    """Return the layout of a form and a paper by their names."""
    name, paper = form.split()
    return arrange(load_form(name), PAPERS[paper]).layout


def rows(path: Path) -> Iterator[tuple[str, str, str, bool, bool, bool]]:
    """Yield kind, style, about, needlessly asked or not, asked, silent of every bubble."""
    with np.load(path) as data:
        counts, ids, labels, styles = data["counts"], data["ids"], data["labels"], data["styles"]
        patches, pens, forms, abouts = data["patches"], data["pens"], data["forms"], data["about"]
    rule, slips, start = FlagRule(), Slips(), 0
    for count, pen, form, about in zip(counts, pens, forms, abouts, strict=True):
        own = slice(start, start + count)
        start += count
        ink = patches[own].astype(np.float32) / 200
        measured = measure_bubbles(ink, layout_of(str(form)), float(pen))
        logs = bubble_log_likelihoods(measured)
        fields = defaultdict(list)
        for cell, label, style in zip(
            ids[own].tolist(), labels[own].tolist(), styles[own].tolist(), strict=True
        ):
            fields[cell.rsplit(".", 1)[0]].append((cell, KINDS[label], style))
        for cells in fields.values():
            found = choices(likelihoods(np.array([[logs[cell] for cell, _, _ in cells]])), slips)
            prior = np.array([[0.5] + [0.5 / len(cells)] * len(cells)])
            looks = found.looks(prior)[0]
            best = int(looks.argmax())
            asked = bool(best > len(cells) or looks[best] < rule.p_bubble)
            fair = sum(kind == "filled" for _, kind, _ in cells) > 1 or any(
                kind in ("struck", "unclear") or style.startswith("light") for _, kind, style in cells
            )
            for place, (_, kind, style) in enumerate(cells):
                true = kind == "filled" or style in MEANT
                silent = not asked and (best == place + 1) != true
                yield kind, style, str(about), asked and not fair, asked, silent


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--by", default="kind", help="of kind, style, tool, print, photo, with commas")
    args = parser.parse_args()
    for path in args.files:
        found = list(rows(path))
        for by in args.by.split(","):
            print(table(found, by, path.stem))


def table(found: list[tuple[str, str, str, bool, bool, bool]], by: str, title: str) -> str:
    """Return the lines of one table."""
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for kind, style, about, needless, asked, silent in found:
        tool, print_, photo = about.split("|")
        plain = kind in ("empty", "filled")
        names = {"style": f"{kind} {style}", "tool": tool, "print": print_, "photo": photo}
        names["kind"] = kind if kind != "empty" or not style else f"empty, {style}"
        for row in (names[by], "all"):
            counted = counts[row]
            counted["cells"] += 1
            counted["plain"] += plain
            counted["needless"] += needless and plain
            counted["asked"] += asked
            counted["silent"] += silent
            counted["silent plain"] += silent and plain
    lines = [f"{title:30} cells  needless/1000  asked/1000  silent  /1000  of plain  at most"]
    for name, n in sorted(counts.items(), key=lambda item: (item[0] == "all", item[0])):
        bound = (n["silent"] + 1.7 * np.sqrt(n["silent"]) + 3) / n["cells"] * 1000
        lines.append(
            f"{name:30} {n['cells']:5} {1000 * n['needless'] / max(n['plain'], 1):10.1f} "
            f"{1000 * n['asked'] / n['cells']:12.1f} {n['silent']:8} "
            f"{1000 * n['silent'] / n['cells']:7.2f} {n['silent plain']:7} {bound:8.2f}"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
