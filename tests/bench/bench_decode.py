"""What the card's own sums are worth: errors and flags on simulated evidence, before and after decoding.

    python -m tests.bench.bench_decode [--cards 4000] [--round-cards 300]

Everything is simulated, the readers are calibrated and err independently from cell to cell; one bad hand
breaks both on paper, so these are upper bounds of the gain. The first table is a card of nine scores and a
total, the second the built-in card for 18 holes.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import random
import sys
import time
from collections import Counter
from statistics import NormalDist

import numpy as np

from shortpencil.forms.catalog import load_form
from shortpencil.forms.form import Form, form_from_toml
from shortpencil.scan.vision.deciding.decode import Decoded, FlagRule, Slips, decode
from shortpencil.scan.vision.evidence import ANSWER_SHARES, Evidence
from tests.vision.marked_cards import BLANK, cell_values, evidence_of, marked_card

#: Readers by the errors per 1,000 digits they make alone: the separation of right from wrong scores, in
#: units of the noise, that leads to them (found by bisection, `separation_for`).
READERS = (35.7, 11.2, 2.7)
SLIPS = (0.0, 0.03, 0.10)

#: Scores of the simulated players: a share each of 1, 2, 3, …; no prior of the decoder.
SCORES = {1: 0.003, 2: 0.14, 3: 0.41, 4: 0.27, 5: 0.11, 6: 0.04, 7: 0.017, 8: 0.007, 9: 0.003}
#: How simulated players add wrongly.
ADDING_SLIPS = (-10, -2, -1, -1, -1, 1, 1, 1, 2, 10)

#: Digits less sure than this are asked.
ASKED_BELOW = FlagRule().p_digit

#: Bubbles that a reader would turn around, per 1,000: a person keying once.
BUBBLE_ERRORS = 0.37
#: Digits, blanks and scribbles are told apart this surely, in nats.
KIND_SURE = 12.0


def small_card(total: bool) -> Form:
    """Nine scores of one box, with a total of two boxes or without."""
    text = 'name = "nine"\nedition = 1\ntitle = "nine"\nrecord = "round"\n[rows]\nprefix = "h"\ncount = 9\n'
    text += '[[rows.left]]\nid = "score"\ntype = "number"\ndigits = 1\n'
    if total:
        text += '[[foot]]\nid = "total"\ntype = "number"\ndigits = 2\n'
    return form_from_toml(text, source="bench")


class Reader:
    """A calibrated reader: a right answer's score is `separation` above the noise of the others."""

    def __init__(self, separation: float, seed: int) -> None:
        self.separation = separation
        self.noise = np.random.default_rng(seed)
        self.bubble = 2 * _quantile(1 - BUBBLE_ERRORS / 1000)

    def digits(self, values: list[int | None]) -> np.ndarray:
        """(N, 12) log probabilities, up to constants, of boxes that hold these digits; None for a blank."""
        truth = np.array([BLANK if value is None else value for value in values])
        scores = self.noise.normal(size=(len(truth), 10))
        is_digit = truth < 10
        scores[is_digit, truth[is_digit]] += self.separation
        logs = np.full((len(truth), 12), -KIND_SURE)
        logs[:, :10] = self.separation * scores
        logs[:, :10] -= np.log(np.exp(logs[:, :10]).mean(axis=1, keepdims=True))
        logs[~is_digit, :10] -= KIND_SURE
        logs[~is_digit, BLANK] = 0.0
        return (logs + np.log(ANSWER_SHARES)).astype(np.float32)

    def read(self, form: Form, cells: dict) -> Evidence:
        """Evidence of a card that holds `cells`."""
        neat = evidence_of(form, cells)
        ids = list(neat.digits)
        digits = dict(zip(ids, self.digits([cells[cell] for cell in ids]), strict=True))
        bubbles = {}
        for cell in neat.bubbles:
            x = self.noise.normal() + (self.bubble / 2 if cells[cell] else -self.bubble / 2)
            bubbles[cell] = (0.0, self.bubble * x, min(0.0, self.bubble * x) - 10.0)
        return dataclasses.replace(neat, digits=digits, bubbles=bubbles)


def _quantile(p: float) -> float:
    return NormalDist().inv_cdf(p)


def separation_for(per_1000: float) -> float:
    """Separation at which the best of ten scores is wrong so often (bisection on an integral)."""
    x = np.linspace(-8, 14, 4001)
    cdf = np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in x])

    def errors(separation: float) -> float:
        density = np.exp(-((x - separation) ** 2) / 2) / math.sqrt(2 * math.pi)
        return 1000 * (1 - float(np.trapezoid(density * cdf**9, x)))

    low, high = 0.0, 10.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if errors(middle) > per_1000 else (low, middle)
    return low


def nine_scores(rng: random.Random, p_slip: float) -> dict:
    """One small card: nine scores, and their sum as this player adds."""
    truth = {f"h{hole:02d}.score": score for hole, score in enumerate(_draw(rng, 9), start=1)}
    total = sum(truth.values())
    if rng.random() < p_slip:
        total += rng.choice(ADDING_SLIPS)
    return {**truth, "total": total}


def _draw(rng: random.Random, count: int) -> list[int]:
    return rng.choices(list(SCORES), list(SCORES.values()), k=count)


def count_digits(form: Form, cells: dict, evidence: Evidence, decoded: Decoded, count: Counter) -> None:
    """Add one card's digits to the counts: wrong by ink, wrong after, flagged, wrong and not flagged."""
    for cell, logs in evidence.digits.items():
        if cells[cell] is None:
            continue
        by_ink = int(np.argmax(logs))
        p_ink = float(np.exp(logs - logs.max()).sum() ** -1)
        count["digits"] += 1
        count["ink wrong"] += by_ink != cells[cell]
        count["ink flagged"] += p_ink < ASKED_BELOW
        count["ink silent"] += by_ink != cells[cell] and p_ink >= ASKED_BELOW
        after = decoded.cells[cell]
        count["wrong"] += after.value != cells[cell]
        count["flagged"] += after.flag is not None
        count["silent"] += after.value != cells[cell] and after.flag is None


def table_of_small_cards(cards: int) -> None:
    """Print the gain on nine scores and a total."""
    with_total, without = small_card(True), small_card(False)
    print(f"Nine scores and a total, {cards:,} cards each; per 1,000 digits")
    head = (
        "reader",
        "+ prior",
        *(f"+ total, {slip:.0%} wrong" for slip in SLIPS),
        "flagged",
        "wrong, unflagged",
    )
    print(" | ".join(f"{word:>18}" for word in head))
    for per_1000 in READERS:
        separation = separation_for(per_1000)
        row = []
        prior: Counter[str] = Counter()
        for slip in SLIPS:
            rng, reader = random.Random(1), Reader(separation, 2)
            count: Counter[str] = Counter()
            for _ in range(cards):
                truth = nine_scores(rng, slip)
                cells = cell_values(with_total, truth)
                evidence = reader.read(with_total, cells)
                slips = Slips(total_wrong=max(slip, 1e-6), total_blank=0.01)
                count_digits(with_total, cells, evidence, decode(with_total, evidence, slips), count)
                if slip == 0:
                    alone = dataclasses.replace(
                        evidence, digits={c: e for c, e in evidence.digits.items() if "score" in c}
                    )
                    count_digits(without, cells, alone, decode(without, alone), prior)
            row.append(count)
        shown = [_rate(row[0], "ink wrong"), _rate(prior, "wrong"), *(_rate(count, "wrong") for count in row)]
        shown += [_rate(row[1], "flagged"), f"{_rate(row[1], 'silent')} ({row[1]['silent']})"]
        print(" | ".join(f"{word:>18}" for word in shown))
    print(f"flagged: with 3 % of totals wrong, p < {ASKED_BELOW}; in brackets the raw count\n")


def table_of_thresholds(cards: int) -> None:
    """Print what a stricter rule of asking costs and saves, on nine scores and a total."""
    form = small_card(True)
    print(f"When to ask: reader of 11.2, 3 % of totals wrong, {cards:,} cards; per 1,000 digits")
    print(f"{'asked below':>14} | {'asked':>8} | {'wrong, unasked':>16} | {'as the posterior expects':>26}")
    rng, reader = random.Random(11), Reader(separation_for(11.2), 12)
    found: list[tuple[float, bool]] = []
    for _ in range(cards):
        cells = cell_values(form, nine_scores(rng, 0.03))
        decoded = decode(
            form, reader.read(form, cells), Slips(total_blank=0.01), FlagRule(overruled=math.inf)
        )
        for cell, value in cells.items():
            p = min(decoded.cells[cell].confidence, decoded.fields[cell.rsplit(".", 1)[0]].p)
            found.append((p, decoded.cells[cell].value == value))
    p, right = np.array([p for p, _ in found]), np.array([right for _, right in found])
    for least in (0.9, 0.95, 0.98, 0.99, 0.995, 0.999, 0.9999):
        sure = p >= least
        silent = int((sure & ~right).sum())
        print(
            f"{least:>14} | {1000 * (~sure).mean():>8.2f} | {1000 * silent / len(p):>8.3f} ({silent:>4}) "
            f"| {1000 * (1 - p[sure]).sum() / len(p):>26.3f}"
        )
    print()


def _rate(count: Counter, what: str) -> str:
    return f"{1000 * count[what] / count['digits']:.2f}"


def table_of_round_cards(cards: int) -> None:
    """Print errors and flags on the built-in card for 18 holes."""
    form = load_form("round18")
    print(f"Card for 18 holes, {cards} cards each, 3 % of totals wrong; per 1,000 marked digits, and bubbles")
    names = ("ink wrong", "ink flagged", "ink silent", "wrong", "flagged", "silent")
    print(" | ".join(f"{word:>12}" for word in (*names, "bubbles wrong", "flagged", "silent", "ms a card")))
    for per_1000 in READERS:
        rng, reader = random.Random(3), Reader(separation_for(per_1000), 4)
        count: Counter[str] = Counter()
        seconds = []
        for _ in range(cards):
            truth = marked_card(form, rng)
            if rng.random() < 0.03:
                truth["total"] += rng.choice(ADDING_SLIPS)
            cells = cell_values(form, truth)
            evidence = reader.read(form, cells)
            start = time.process_time()
            decoded = decode(form, evidence)
            seconds.append(time.process_time() - start)
            count_digits(form, cells, evidence, decoded, count)
            for cell in evidence.bubbles:
                found = decoded.cells[cell]
                count["bubbles"] += 1
                count["bubble wrong"] += found.value != cells[cell]
                count["bubble flagged"] += found.flag is not None
                count["bubble silent"] += found.value != cells[cell] and found.flag is None
        shown = [_rate(count, name) for name in names]
        shown += [
            f"{1000 * count[name] / count['bubbles']:.2f}"
            for name in ("bubble wrong", "bubble flagged", "bubble silent")
        ]
        median, most = 1000 * float(np.median(seconds)), 1000 * max(seconds)
        print(" | ".join(f"{word:>12}" for word in (*shown, f"{median:.1f}, most {most:.1f}")))
    print()


def table_of_times() -> None:
    """Print processor time a card, from clear to hopeless."""
    form = load_form("round18")
    print("Processor time of one card for 18 holes, median of 30 (greatest); doubt of the pruned sums")
    for name, evidence in hard_cards(form):
        decode(form, evidence[0])
        seconds, flags = [], []
        for card in evidence:
            start = time.process_time()
            decoded = decode(form, card)
            seconds.append(time.process_time() - start)
            flags.append(sum(cell.flag is not None for cell in decoded.cells.values()))
        print(
            f"  {name:<44} {1000 * np.median(seconds):6.1f} ms ({1000 * max(seconds):.1f}); "
            f"{np.mean(flags):.0f} of {len(decoded.cells)} cells flagged"
        )


def hard_cards(form: Form) -> list[tuple[str, list[Evidence]]]:
    """Name and 30 cards of each kind."""
    clear, kinds = [], []
    for seed in range(30):
        cells = cell_values(form, marked_card(form, random.Random(seed)))
        clear.append(evidence_of(form, cells))
    kinds.append(("clear", clear))
    for share in (0.05, 0.2, 0.5, 1.0):
        kinds.append((f"{share:.0%} of the cells undecided of two", [_undecided(c, share) for c in clear]))
    for share in (0.05, 0.2, 0.5, 1.0):
        kinds.append((f"{share:.0%} of the cells unknown", [_unknown(c, share) for c in clear]))
    return kinds


def _undecided(evidence: Evidence, share: float) -> Evidence:
    rng = random.Random(5)

    def blur(logs, answers):
        if rng.random() >= share:
            return logs
        logs = np.array(logs)
        logs[rng.randrange(answers)] = -0.5
        return logs

    return dataclasses.replace(
        evidence,
        bubbles={cell: tuple(blur(logs, 2)) for cell, logs in evidence.bubbles.items()},
        digits={cell: blur(logs, 10) for cell, logs in evidence.digits.items()},
    )


def _unknown(evidence: Evidence, share: float) -> Evidence:
    rng = random.Random(6)
    cells = [*evidence.bubbles, *evidence.digits]
    return dataclasses.replace(evidence, outside=frozenset(cell for cell in cells if rng.random() < share))


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cards", type=int, default=4000)
    parser.add_argument("--round-cards", type=int, default=300)
    options = parser.parse_args()
    table_of_small_cards(options.cards)
    table_of_thresholds(3 * options.cards)
    table_of_round_cards(options.round_cards)
    table_of_times()


if __name__ == "__main__":
    sys.exit(main())
