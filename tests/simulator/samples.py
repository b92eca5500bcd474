"""Makes the sample photos: a season of one invented player, with the truth beside each.

    python -m tests.simulator.samples --out sample_scans

The same command gives the same cards, answers and photos; file bytes may differ with the versions of the
image libraries.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from tests.simulator.blanks import blank_card, small_bank
from tests.simulator.handwriting import Writer
from tests.simulator.pens import PENS
from tests.simulator.scenario import (
    Condition,
    Player,
    Shot,
    combined,
    fill,
    photograph,
    round_answers,
    some_writer,
)

SEED = 2026
ALIAS = "birch"

#: Putts are this player's weak side, most of them left of the basket and for want of a routine.
PLAYER = Player(
    alias=ALIAS,
    miss={"drive": 0.22, "approach": 0.24, "putt": 0.38},
    why=(7, 3, 6, 1, 8),
    forehand=0.12,
    straddle=0.15,
    forgets=0.0,
    notes=0.45,
    distances=0.85,
    slip=0.0,
)


@dataclass(frozen=True, slots=True)
class Sample:
    """One photo of the season.

    Attributes
    ----------
    hard : conditions with severities; says why the photo is here
    step : other numbers give other rounds; set where the first draw did not show what it should
    change : attributes of the condition's parts to set by hand, as in {"view": {"roll_deg": 170}}
    """

    name: str
    says: str
    date: tuple[int, int, int]
    course: str
    pen: str
    hard: tuple[tuple[str, float], ...]
    form: str = "round18"
    paper: str = "a4"
    unit: str = "m"
    suffix: str = ".jpg"
    long_px: int = 3000
    limit_bytes: int = 560_000
    expect: str = "read"
    trouble: Mapping[str, str] = field(default_factory=dict)
    change: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    background: str = "wood"
    step: int = 0


SAMPLES: tuple[Sample, ...] = (
    Sample(
        "plain_good_light",
        "nothing is wrong: daylight, a wooden table, a soft pencil",
        (12, 4, 2026),
        "sallowbeck",
        "pencil-2B",
        (("clean", 0.0),),
        change={"view": {"tilt_deg": 4.0, "roll_deg": -2.0}},
    ),
    Sample(
        "hand_shadow_on_bonnet",
        "the shadow of a hand with a clear edge, on a car's bonnet; Letter paper, distances in feet",
        (19, 4, 2026),
        "quernfold",
        "ball-blue",
        (("shadow", 0.55),),
        paper="letter",
        unit="ft",
        background="bonnet",
        change={"light": {"shadow": "hand", "shadow_soft": 0.004}, "view": {"roll_deg": 4.0}},
    ),
    Sample(
        "fold_in_four_dusk",
        "folded in four for the pocket, photographed at dusk",
        (3, 5, 2026),
        "sallowbeck",
        "pencil-HB",
        (("fold", 0.7), ("dusk", 0.45)),
        background="concrete",
    ),
    Sample(
        "upside_down_tilted",
        "upside down and from the side, as a HEIC file with a turn in its metadata",
        (17, 5, 2026),
        "thistlewick",
        "ball-black",
        (("tilt", 0.45),),
        suffix=".heic",
        background="cloth",
        change={"view": {"roll_deg": 172.0}, "sensor": {"far_defocus_px": 0.0}},
    ),
    Sample(
        "messenger_copy_1600",
        "sent through a chat: 1600 pixels, compressed twice; a nine-hole card",
        (24, 5, 2026),
        "ninefold heath",
        "gel-black",
        (("messenger", 0.4),),
        form="round9",
        background="dark",
    ),
    Sample(
        "three_to_review",
        "two bubbles filled for the drive on hole 5, a struck-out digit, an overwritten digit",
        (7, 6, 2026),
        "sallowbeck",
        "ball-blue",
        (("clean", 0.0),),
        trouble={"h05.drive": "both", "h12.why": "struck-digit", "h10.putt1.distance": "overwritten"},
        background="wood",
        step=2,
    ),
    Sample(
        "rain_and_grass",
        "on wet grass: drops, smeared pencil, mud, a wavy sheet",
        (21, 6, 2026),
        "thistlewick",
        "pencil-2B",
        (("grass", 0.2), ("rain", 0.45)),
        background="grass",
        step=2,
    ),
    Sample(
        "flatbed_scan",
        "a grey flatbed scan at 200 dpi, a little askew, as a PDF",
        (5, 7, 2026),
        "quernfold",
        "pencil-HB",
        (("flatbed", 0.52),),
        suffix=".pdf",
        paper="letter",
        unit="ft",
        change={"sensor": {"grey": True}},
    ),
    Sample(
        "low_toner_bright_sun",
        "a cartridge near its end, shrunk to fit the page, in bright sun on a white table",
        (26, 7, 2026),
        "sallowbeck",
        "felt-thin",
        (("low-toner", 0.2), ("fit-to-page", 0.8), ("white-table", 0.35)),
        background="white",
    ),
    Sample(
        "half_out_of_picture_blurred",
        "must be rejected: half the sheet is out of the picture and the rest is a blur",
        (9, 8, 2026),
        "sallowbeck",
        "pencil-HB",
        (("motion", 1.0), ("dusk", 0.5)),
        long_px=2000,
        expect="rejected",
        background="wood",
        change={
            "view": {"fill": 1.5, "shift": (0.55, 0.45), "roll_deg": 14.0, "tilt_deg": 12.0},
            "sensor": {"motion_px": 26.0, "motion_deg": 35.0, "defocus_px": 7.0},
        },
    ),
)


def writer_of_the_season() -> Writer:
    """Return the player's hand: the same digits on every card, whatever the pen; a clear hand, all told."""
    writer = some_writer(np.random.default_rng([SEED, 7]), small_bank(), careful=0.85)
    return replace(
        writer,
        styles={6: "tall", 7: "crossed", 9: "straight"},
        mark_shares={"solid": 0.45, "scribble": 0.45, "partial": 0.05, "overrun": 0.05},
    )


def condition_of(sample: Sample, seed: int) -> Condition:
    """Return the condition of a sample, its hand-set parts included."""
    how = combined(sample.hard, seed, long_px=sample.long_px)
    how = replace(how, background=sample.background)
    for part, values in sample.change.items():
        how = replace(how, **{part: replace(getattr(how, part), **dict(values))})
    if "roll_deg" in sample.change.get("view", {}):
        how = replace(how, view=replace(how.view, size_px=tuple(sorted(how.view.size_px))))
    orientation = how.output.exif_orientation if sample.suffix in (".jpg", ".heic") else 1
    output = replace(how.output, suffix=sample.suffix, exif_orientation=orientation)
    return replace(how, output=output)


def shoot(index: int) -> Shot:
    """Fill in and photograph one card of the season."""
    sample = SAMPLES[index]
    seed = SEED * 1000 + 10 * index + sample.step
    blank = blank_card(sample.form, paper=sample.paper, unit=sample.unit, seed=seed)
    answers = round_answers(
        blank.field_map,
        PLAYER,
        seed,
        date=sample.date,
        unit=sample.unit,
        words={"player": ALIAS, "course": sample.course},
    )
    answers["hand"] = "right"
    answers = {name: value for name, value in answers.items() if name in blank.field_map["fields"]}
    sheet = fill(
        blank.page,
        blank.px_per_mm,
        blank.field_map,
        answers,
        writer_of_the_season().with_pen(PENS[sample.pen]),
        seed,
        bank=small_bank(),
        condition=condition_of(sample, seed),
        trouble=sample.trouble,
        serial=blank.serial,
    )
    return _small_enough(photograph(sheet, condition_of(sample, seed), seed), sample.limit_bytes)


def _small_enough(shot: Shot, limit_bytes: int) -> Shot:
    """The shot at the highest quality whose file keeps to the limit."""
    for quality in (92, 88, 84, 80, 75, 70, 65, 60, 52, 45, 38):
        output = replace(shot.condition.output, qualities=(*shot.condition.output.qualities[:-1], quality))
        tried = replace(shot, condition=replace(shot.condition, output=output))
        if len(tried.encoded()) <= limit_bytes:
            return tried
    raise ValueError(f"no JPEG quality brings the photo under {limit_bytes} bytes; make it smaller")


README = """\
# Sample photos

A season of one invented player on invented courses. **The photos are simulated**: the cards come from this
project's own printer, a simulated hand filled them in, a simulated camera took them. They show how reading
works and what it does with hard photos; they prove nothing about yours. They are no fair test of the reader
either: the hand was made clearer, and `three_to_review.jpg` drawn anew, while looking at what the reader said
of them. Fair figures come from `python -m tests.bench.bench_cards --report`. `NAME.truth.json` beside each
photo says what is on the card.

Made by (seed {seed}):

    python -m tests.simulator.samples --out sample_scans

| photo | what is hard about it |
| --- | --- |
{table}

In a truth file, `cells` holds each printed cell (a bubble: true or false; a digit box: the digit or null),
`fields` each question's answer, `review` the fields that were made unclear on purpose, `marks` the kind of
mark where one was drawn, and `expect` says whether a reader should read the photo or reject it.

## Origin of the handwriting

The digits are re-drawn from images of the MNIST test set (Y. LeCun, C. Cortes, C. J. C. Burges), which
derives from NIST Special Database 19. Copies of MNIST commonly carry the licence CC BY-SA 3.0; these photos,
so far as they show those digits, are offered under the same. Small letters and a few digit forms were drawn
for the simulator.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Write photos, truths and README."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for photos, truths and README.md")
    parser.add_argument("--only", default="", help="names of samples, with commas")
    args = parser.parse_args(argv)
    args.out.mkdir(parents=True, exist_ok=True)
    total = 0
    for index, sample in enumerate(SAMPLES):
        if args.only and sample.name not in args.only.split(","):
            continue
        target = shoot(index).save(args.out, sample.name, expect=sample.expect)
        total += target.stat().st_size
        print(f"{target}: {target.stat().st_size / 1000:.0f} kB")
    rows = "\n".join(f"| `{s.name}{s.suffix}` | {s.says} |" for s in SAMPLES)
    (args.out / "README.md").write_text(README.format(seed=SEED, table=rows), encoding="utf-8")
    print(f"{total / 1e6:.2f} MB")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
