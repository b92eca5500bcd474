"""When to ask: silent errors against questions, with a bound that holds for writers never seen.

    python -m tests.bench.bench_risk --photos 400 --jobs 16 --out docs/figures/risk-coverage.png

Makes photos of invented cards (the tuning seeds; --report for the others), a hand each, reads and decodes
them, and counts for each threshold of `FlagRule` how many fields are asked and how many cells stay wrong in
silence. A threshold is *supported* for a target where the upper bound of its risk is below the target at
95 %, and so are those of all stricter ones: the strictest is tried first and the first failure ends it, so
that trying many costs no confidence.

The risk is wrong cells in fields nobody is asked about, of bubbles, and of the digit boxes that hold a digit
(empty boxes are easy, and would make any reader look good). It is bounded twice: over cells, as if each were
tossed by itself (Clopper and Pearson), and over writers, where a writer is one toss, with a silent error or
without, times how often those err who do. The greater bound counts.

References
----------
Clopper, Pearson 1934, "The use of confidence or fiducial limits illustrated in the case of the binomial".
Geifman, El-Yaniv 2017, "Selective classification for deep neural networks", arXiv 1705.08500: the threshold
from a binomial bound on held-out cells.
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import math
import pickle
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from shortpencil.forms.catalog import load_form
from shortpencil.forms.form import Field, Form
from shortpencil.scan.vision.deciding.decode import FlagRule, decode
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.seeing.calibration import expected_calibration_error
from tests.bench.cards import REPORT, TUNING, bank, find_layout, series, shoot

Floats = NDArray[np.float64]

#: From the strictest on, as they are tried.
THRESHOLDS = (0.9999, 0.9995, 0.999, 0.998, 0.995, 0.99, 0.985, 0.98, 0.97, 0.95, 0.9, 0.8, 0.7, 0.5)
#: Per 1,000: a person keying once; keying twice (0.046) is the far one.
TARGETS = (0.37, 0.05)
DELTA = 0.05

#: Asks only what is always asked: two filled, struck out, outside, the ink overruled.
NEVER_UNCLEAR = FlagRule(p_bubble=0.0, p_digit=0.0)


@dataclass(frozen=True, slots=True)
class Photo:
    """What a photo's ink says, None where it was refused, and what stands on the card."""

    seed: int
    evidence: Evidence | None
    truth: dict[str, bool | int | None]


# Photos to evidence


def photo_of(job: tuple[str, float, int, str, int, float]) -> Photo:
    """Make and read one photo."""
    import cv2

    from shortpencil.scan.vision.opening.photo import photos_from_bytes
    from shortpencil.scan.vision.pipeline import Trace, read_photo
    from tests.simulator.scenario import truth_json

    cv2.setNumThreads(1)
    name, severity, seed, form, long_px, trouble = job
    shot = shoot(name, severity, seed, form=form, long_px=long_px, trouble=trouble, glyphs=_bank())
    (photo,) = photos_from_bytes(shot.encoded(), f"seed {seed}")
    traces: list[Trace] = []
    (reading, *_) = read_photo(photo, find_layout, traces)
    evidence = traces[0].evidence if reading.status == "read" else None
    return Photo(seed, evidence, truth_json(shot.sheets[0])["cells"])


@functools.cache
def _bank():
    return bank()


def made(args: argparse.Namespace) -> list[Photo]:
    """Return the photos asked for, out of the cache where it holds just these."""
    jobs = [
        (name, severity, seed, args.form, args.long_px, args.trouble)
        for name in args.conditions.split(",")
        for severity in ([0.0] if name in ("mixed", "clean") else map(float, args.severity.split(",")))
        for seed in series(name, severity, args.photos, REPORT if args.report else TUNING)
    ]
    key = (tuple(jobs), _network())
    if args.cache and args.cache.exists():
        kept_key, photos = pickle.loads(args.cache.read_bytes())
        if kept_key == key:
            return list(photos)
        print(f"{args.cache} holds other photos, or of another network: made anew")
    with ProcessPoolExecutor(args.jobs) as pool:
        photos = list(pool.map(photo_of, jobs, chunksize=4))
    if args.cache:
        args.cache.write_bytes(pickle.dumps((key, photos)))
    return photos


def _network() -> str:
    """Fingerprint of the readers, so that no cache outlives them."""
    here = resources.files("shortpencil.scan.vision.seeing")
    parts = [here.joinpath(name).read_bytes() for name in ("digits.onnx", "digits.json", "bubbles.json")]
    return hashlib.sha256(b"".join(parts)).hexdigest()


# Evidence to outcomes


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What decoding made of F fields.

    Attributes
    ----------
    p : posterior of the answer; -1 where the field is asked about whatever the threshold
    wrong, cells, counted : of each field, its wrong cells, its cells, and those that count for the risk
    marked : (F, len(THRESHOLDS)) its cells that are marked to be looked at, at each threshold
    card : whose it is
    cards : how many cards there are
    """

    p: Floats
    wrong: Floats
    cells: Floats
    counted: Floats
    marked: Floats
    card: NDArray[np.int64]
    cards: int

    def of(self, rows: NDArray[np.bool_]) -> Outcomes:
        """Return some of the fields."""
        parts = (self.p, self.wrong, self.cells, self.counted, self.marked, self.card)
        return Outcomes(*(part[rows] for part in parts), self.cards)

    def asked(self, least: float) -> float:
        """Percentage of the cells that stand in fields asked about."""
        return 100 * float(self.cells[self.p < least].sum() / self.cells.sum())


def outcomes_of(form: Form, photos: Sequence[Photo]) -> tuple[Outcomes, list[str]]:
    """Decode all photos; what became of each field, and its kind."""
    rows: list[tuple[float, ...]] = []
    marked: list[list[float]] = []
    kinds: list[str] = []
    least = np.array(THRESHOLDS)
    read = [photo for photo in photos if photo.evidence is not None]
    for card, photo in enumerate(read):
        assert photo.evidence is not None
        decoded = decode(form, photo.evidence, flags=NEVER_UNCLEAR)
        for field in form.fields:
            if field.type == "words":
                continue
            found = decoded.fields[field.id]
            p = found.p if found.flag is None else -1.0
            cells = [decoded.cells[cell] for cell in field.cell_ids]
            truth = [photo.truth[cell] for cell in field.cell_ids]
            wrong = sum(cell.value != true for cell, true in zip(cells, truth, strict=True))
            counted = sum(true is not None for true in truth)
            below = (np.array([cell.confidence for cell in cells])[:, None] < least).sum(axis=0)
            marked.append(np.where(p < least, np.maximum(below, 1), 0).tolist())
            rows.append((p, wrong, len(cells), counted, card))
            kinds.append(kind_of(field))
    columns = np.array(rows).T
    return Outcomes(*columns[:4], np.array(marked), columns[4].astype(int), len(read)), kinds


def kind_of(field: Field) -> str:
    """Say what a field is to the sums of its card."""
    name = field.id.rsplit(".", 1)[-1]
    if field.type != "number":
        return "bubble throw" if name.rstrip("123") in ("drive", "approach", "putt") else "bubble other"
    if field.id.startswith("date."):
        return "digit date"
    named = {"score": "sums", "total": "sums", "distance": "distance", "why": "cause", "par": "par"}
    return f"digit {named.get(name, 'sums' if field.id.startswith('tally.') else 'other')}"


def digits_alone(photos: Iterable[Photo]) -> tuple[Floats, NDArray[np.bool_]]:
    """Confidence of the digit reader in its best answer for each box, and whether it is right."""
    sure, right = [], []
    for photo in photos:
        if photo.evidence is None:
            continue
        for cell, logs in photo.evidence.digits.items():
            p = np.exp(logs.astype(float) - logs.max())
            truth = photo.truth[cell]
            sure.append(1 / p.sum())
            right.append(int(logs.argmax()) == (10 if truth is None else truth))
    return np.array(sure), np.array(right)


# Bounds


def upper_of_share(errors: float, trials: float, delta: float = DELTA) -> float:
    """Clopper-Pearson upper limit of the chance of an error, at confidence 1 - delta."""
    from scipy.special import betaincinv

    return 1.0 if errors >= trials else float(betaincinv(errors + 1, trials - errors, 1 - delta))


@dataclass(frozen=True, slots=True)
class Risk:
    """Silent errors at one threshold, as counts and per 1,000 cells that count.

    Attributes
    ----------
    over_cells, over_writers : upper bounds per 1,000, as if cells err one by one, or writers
    """

    least: float
    silent: int
    per_1000: float
    over_cells: float
    over_writers: float

    @property
    def at_most(self) -> float:
        """The greater of the bounds."""
        return max(self.over_cells, self.over_writers)


def risk_of(found: Outcomes, least: float) -> Risk:
    """What goes wrong in silence where everything less sure than `least` is asked."""
    by_card = np.bincount(found.card, found.wrong * (found.p >= least), found.cards)
    cells, silent, affected = found.counted.sum(), by_card.sum(), int((by_card > 0).sum())
    each = silent / affected if affected else 1.0
    writers = upper_of_share(affected, found.cards) * found.cards * each / cells
    over_cells = upper_of_share(silent, cells)
    return Risk(least, int(silent), 1000 * silent / cells, 1000 * over_cells, 1000 * writers)


def supported(found: Outcomes, per_1000: float) -> float | None:
    """The loosest threshold whose bound, and that of all stricter ones, is below the target."""
    best = None
    for least in THRESHOLDS:
        if risk_of(found, least).at_most > per_1000:
            break
        best = least
    return best


# Tables


HEAD = (
    "asked below",
    "fields a card",
    "% cells in them",
    "% cells marked",
    "silent",
    "per 1,000",
    "expected",
    "at most (cells)",
    "at most (writers)",
)


def print_table(name: str, found: Outcomes) -> None:
    """Print risk and coverage of each threshold."""
    counts = f"{len(found.p):,} fields, {int(found.cells.sum()):,} cells, {int(found.counted.sum()):,} count"
    print(f"\n{name}: {counts}; {int((found.p < 0).sum())} fields always asked")
    print(" | ".join(HEAD))
    for column, least in enumerate(THRESHOLDS):
        asked, risk = found.p < least, risk_of(found, least)
        shown = (
            f"{least}",
            f"{asked.sum() / found.cards:.2f}",
            f"{found.asked(least):.2f}",
            f"{100 * found.marked[:, column].sum() / found.cells.sum():.2f}",
            f"{risk.silent}",
            f"{risk.per_1000:.3f}",
            f"{1000 * (1 - found.p[~asked]).sum() / found.counted.sum():.3f}",
            f"{risk.over_cells:.3f}",
            f"{risk.over_writers:.3f}",
        )
        print(" | ".join(f"{word:>{len(head)}}" for word, head in zip(shown, HEAD, strict=True)))


def print_supported(name: str, found: Outcomes) -> None:
    """Print what the bound supports."""
    for target in TARGETS:
        least = supported(found, target)
        says = f"{name}, at most {target} per 1,000:"
        if least is None:
            print(f"{says} no threshold is supported by {found.cards} cards")
            continue
        fields = (found.p < least).sum() / found.cards
        print(
            f"{says} ask below {least}; {fields:.2f} fields a card, {found.asked(least):.2f} % of the cells"
        )


#: Bins of 1 - p, from sure to unsure.
DOUBTS = (0.0, 1e-4, 1e-3, 3e-3, 0.01, 0.03, 0.1, 0.3, 1.0)


def reliability(p: Floats, right: NDArray[np.bool_]) -> list[tuple[int, float, int, float, float]]:
    """Per bin of doubt: answers, mean doubt, wrong ones, and limits of their share (95 % each way)."""
    bins = []
    for low, high in pairwise(DOUBTS):
        here = (1 - p >= low) & (1 - p < high)
        count, wrong = int(here.sum()), int((here & ~right).sum())
        if count:
            least = 1 - upper_of_share(count - wrong, count)
            bins.append((count, float((1 - p[here]).mean()), wrong, least, upper_of_share(wrong, count)))
    return bins


def print_reliability(name: str, p: Floats, right: NDArray[np.bool_]) -> None:
    """Print the calibration of some answers."""
    error = expected_calibration_error(p, right)
    print(f"\n{name}: {len(p):,} answers, expected calibration error {100 * error:.3f} %")
    print("answers | expected wrong, % | found, % (95 % limits)")
    for count, doubt, wrong, low, high in reliability(p, right):
        limits = f"{100 * low:.3f} to {100 * high:.3f}"
        print(f"{count:>7} | {100 * doubt:>17.4f} | {100 * wrong / count:.3f} ({limits})")


# Figure

_INK, _SOFT, _LIGHT = "#222222", "#777777", "#dddddd"
_COLOURS = {"digits": "#1f5fa8", "bubbles": "#b3541e"}
#: Drawn so much larger and shrunk, for smooth lines.
_FINER = 3
_FONT = "AtkinsonHyperlegibleNext-Regular.ttf"


class Panel:
    """One plot with logarithmic axes on a shared picture."""

    def __init__(self, draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int], title: str) -> None:
        self.draw, self.box, self.title = draw, box, title
        self.x_range, self.y_range = (1.0, 10.0), (1.0, 10.0)

    def axes(
        self, x_range: tuple[float, float], y_range: tuple[float, float], x_says: str, y_says: str
    ) -> None:
        """Draw the frame, a line per power of ten, and what the axes say."""
        self.x_range, self.y_range = x_range, y_range
        left, top, right, bottom = self.box
        self.text(left, top - 44, self.title, 17)
        self.text(left, top - 20, y_says, 13, fill=_SOFT)
        self.text((left + right) / 2, bottom + 24, x_says, 13, fill=_SOFT, anchor="ma")
        for value in _decades(*x_range):
            x = self.place(value, y_range[0])[0]
            self.line([(x, top), (x, bottom)], _LIGHT, 1)
            self.text(x, bottom + 6, f"{value:g}", 13, anchor="ma")
        for value in _decades(*y_range):
            y = self.place(x_range[0], value)[1]
            self.line([(left, y), (right, y)], _LIGHT, 1)
            self.text(left - 6, y, f"{value:g}", 13, anchor="rm")

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Point in the picture; what lies outside is drawn on the edge."""
        left, top, right, bottom = self.box
        return (
            left + _along(x, self.x_range) * (right - left),
            bottom - _along(y, self.y_range) * (bottom - top),
        )

    def line(self, points: Sequence[tuple[float, float]], fill: str, width: float) -> None:
        """Draw a line through points of the picture."""
        scaled = [(x * _FINER, y * _FINER) for x, y in points]
        self.draw.line(scaled, fill=fill, width=round(width * _FINER), joint="curve")

    def curve(self, points: Sequence[tuple[float, float]], fill: str, width: float = 2) -> None:
        """Draw a line through points of the plot."""
        self.line([self.place(x, y) for x, y in points], fill, width)

    def dot(self, x: float, y: float, fill: str, radius: float = 4) -> None:
        """Draw a dot."""
        u, v = self.place(x, y)
        self.draw.ellipse([(w * _FINER) for w in (u - radius, v - radius, u + radius, v + radius)], fill=fill)

    def text(self, x: float, y: float, says: str, size: int, *, fill: str = _INK, anchor: str = "la") -> None:
        """Write at a point of the picture."""
        self.draw.text((x * _FINER, y * _FINER), says, fill=fill, font=_font(size), anchor=anchor)


@functools.cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    path = resources.files("shortpencil.forms.fonts").joinpath(_FONT)
    with path.open("rb") as file:
        return ImageFont.truetype(file, size * _FINER)


def _decades(low: float, high: float) -> list[float]:
    first, last = math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9)
    return [10.0**power for power in range(first, last + 1)]


def _along(value: float, bounds: tuple[float, float]) -> float:
    low, high = (math.log10(bound) for bound in bounds)
    return min(max((math.log10(max(value, 1e-12)) - low) / (high - low), 0.0), 1.0)


def figure(parts: dict[str, Outcomes], sure: dict[str, tuple[Floats, NDArray[np.bool_]]]) -> Image.Image:
    """Draw risk against questions, and how far the probabilities can be believed."""
    size = (1180, 430)
    image = Image.new("RGB", (size[0] * _FINER, size[1] * _FINER), "white")
    draw = ImageDraw.Draw(image)
    risk = Panel(draw, (70, 70, 540, 370), "Silent errors against questions")
    risk.axes((0.01, 100), (0.01, 10), "% of the cells in fields that are asked", "silent wrong per 1,000")
    for target in TARGETS:
        y = risk.place(1, target)[1]
        risk.line([(70, y), (540, y)], _SOFT, 1)
        risk.text(534, y - 3, f"{target}", 12, fill=_SOFT, anchor="rb")
    for row, (name, found) in enumerate(parts.items()):
        risks = [(found.asked(least), risk_of(found, least)) for least in THRESHOLDS]
        points = [(asked, at.per_1000) for asked, at in risks]
        bounds = [(asked, at.at_most) for asked, at in risks]
        colour = _COLOURS[name]
        risk.curve(points, colour, 2.5)
        risk.curve(bounds, colour, 1)
        rule = FlagRule()
        chosen = rule.p_digit if name == "digits" else rule.p_bubble
        for least, point in zip(THRESHOLDS, points, strict=True):
            risk.dot(*point, colour, 6 if least == chosen else 3)
        risk.text(528, 80 + 22 * row, f"{name}; thin line: at most, 95 %", 13, fill=colour, anchor="ra")
    risk.text(528, 124, "large dot: as shipped", 13, fill=_SOFT, anchor="ra")
    trust = Panel(draw, (650, 70, 1120, 370), "Are the probabilities right?")
    trust.axes((1e-5, 1), (1e-5, 1), "chance to be wrong, as told", "share found wrong, with 95 % limits")
    trust.curve([(1e-5, 1e-5), (1, 1)], _SOFT, 1)
    colours = {**_COLOURS, "digits, ink alone": "#7a9e3a"}
    for row, (name, (p, right)) in enumerate(sure.items()):
        for count, doubt, wrong, low, high in reliability(p, right):
            trust.curve([(doubt, low), (doubt, high)], colours[name], 1.5)
            trust.dot(doubt, wrong / count, colours[name])
        trust.text(664, 82 + 22 * row, name, 13, fill=colours[name])
    return image.resize(size, Image.Resampling.LANCZOS)


def main() -> None:
    """Print the tables, and draw the figure if asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=200, help="of each condition and severity")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--conditions", default="mixed")
    parser.add_argument("--severity", default="0.3,0.6")
    parser.add_argument("--trouble", type=float, default=0.0, help="share of fields made hard on purpose")
    parser.add_argument("--form", default="round18")
    parser.add_argument("--long-px", type=int, default=3000)
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--cache", type=Path, help="keep what the ink says here, for the next run")
    parser.add_argument("--out", type=Path, help="draw the figure here, as PNG")
    args = parser.parse_args()
    photos = made(args)
    found, kinds = outcomes_of(load_form(args.form), photos)
    print(f"{found.cards} of {len(photos)} photos read, a writer each; bounds at {1 - DELTA:.0%}")
    all_kinds = np.array(kinds)
    parts = {f"{name}s": found.of(np.char.startswith(all_kinds, name)) for name in ("digit", "bubble")}
    sure = {name: (of.p[of.p >= 0], of.wrong[of.p >= 0] == 0) for name, of in parts.items()}
    sure["digits, ink alone"] = digits_alone(photos)
    for name, part in parts.items():
        print_table(name, part)
        for kind in sorted(set(kinds)):
            if kind.startswith(name.removesuffix("s")):
                print_table(kind, found.of(all_kinds == kind))
    print()
    for name, part in parts.items():
        print_supported(name, part)
    for name, (p, right) in sure.items():
        print_reliability(name if "alone" in name else f"fields of {name}, decoded", p, right)
    if args.out:
        args.out.parent.mkdir(parents=True, exist_ok=True)
        figure(parts, sure).save(args.out, optimize=True)


if __name__ == "__main__":
    main()
