"""Pens on paper, in batches: how wide and dark a line is, and how it grains, skips, blots and dries.

A stroke comes as the distance to its middle line (and, of a picture, the picture itself); ink comes back, 0
paper to 1 black, before any camera. Kinds and ranges are guesses on the wide side at what people have in
their pocket; they were looked at as pictures, not measured.
"""

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from shortpencil.scan.vision.training.dice import PATCH_PX, Dice, col


@dataclass(frozen=True, slots=True)
class Kind:
    """Ranges of one kind of pen; of `skips`, `drop` and the like see `Pen`."""

    share: float
    half_mm: tuple[float, float]
    soft_mm: tuple[float, float]
    level: tuple[float, float]
    grain: tuple[float, float]
    skips: tuple[float, float] = (0.0, 0.0)
    drop: tuple[float, float] = (0.5, 1.0)
    hollow: float = 0.0
    blots: float = 0.0
    uneven: tuple[float, float] = (0.0, 0.15)


#: A level is what the middle of a line shows; a card whose pen is fainter than 0.3 is raised before it is
#: read, so that its pens come as these do.
KINDS: dict[str, Kind] = {
    "pencil": Kind(
        0.22, (0.14, 0.34), (0.12, 0.3), (0.3, 0.75), (0.0, 0.75), (0.0, 0.05), uneven=(0.05, 0.3)
    ),
    "hard pencil": Kind(
        0.12, (0.11, 0.3), (0.12, 0.3), (0.16, 0.4), (0.1, 0.9), (0.0, 0.15), uneven=(0.1, 0.5)
    ),
    "blunt pencil": Kind(0.13, (0.3, 0.58), (0.18, 0.45), (0.28, 0.75), (0.3, 1.0), uneven=(0.1, 0.35)),
    "ballpoint": Kind(0.18, (0.10, 0.25), (0.1, 0.22), (0.4, 1.0), (0.0, 0.35), (0.0, 0.12), hollow=0.15),
    "drying ballpoint": Kind(
        0.12,
        (0.09, 0.23),
        (0.1, 0.22),
        (0.3, 0.9),
        (0.1, 0.6),
        (0.12, 0.5),
        (0.6, 1.0),
        0.3,
        uneven=(0.1, 0.5),
    ),
    "blotting ballpoint": Kind(
        0.04, (0.10, 0.22), (0.1, 0.22), (0.5, 1.0), (0.0, 0.3), (0.0, 0.15), blots=1.0
    ),
    "fine liner": Kind(0.07, (0.1, 0.28), (0.1, 0.2), (0.6, 1.0), (0.0, 0.15)),
    "felt": Kind(0.08, (0.28, 0.6), (0.12, 0.35), (0.3, 1.0), (0.0, 0.3), (0.0, 0.06), uneven=(0.05, 0.35)),
    "marker": Kind(0.04, (0.45, 0.8), (0.12, 0.3), (0.6, 1.0), (0.0, 0.15)),
}


@dataclass(frozen=True, slots=True)
class Pen:
    """Pens (N,) each.

    Attributes
    ----------
    half_mm, soft_mm : half a line's width, and how far its rim fades
    level : ink of a full line
    grain : 0 to 1, how much the paper's tooth shows
    skips, drop : share of the line that a dry ball leaves out, and how much of the ink there is missing
    hollow : 0 or up to 1, the middle of the line paler than its rims
    blots : mm that drops of ink add to half the width here and there
    uneven : how much the pressure comes and goes
    """

    half_mm: Tensor
    soft_mm: Tensor
    level: Tensor
    grain: Tensor
    skips: Tensor
    drop: Tensor
    hollow: Tensor
    blots: Tensor
    uneven: Tensor

    def of(self, **changed: Tensor) -> "Pen":
        """The same pens, some of their properties others."""
        return Pen(*(changed.get(name, getattr(self, name)) for name in Pen.__slots__))


def any_pen(dice: Dice, odd: Tensor, only: str | None = None) -> Pen:
    """Pens of all kinds by their shares, or of one kind; where `odd` (N,) is 0 they write as they should."""
    n, as_it_should = len(odd), 1 - odd
    kinds = list(KINDS.values()) if only is None else [KINDS[only]]
    edges = torch.tensor([kind.share for kind in kinds], device=dice.device).cumsum(0)
    which = torch.bucketize(dice.uniform(n, 0, 1) * edges[-1], edges).clamp(max=len(kinds) - 1)

    def between(name: str) -> Tensor:
        ranges = torch.tensor([getattr(kind, name) for kind in kinds], device=dice.device)[which]
        return ranges[:, 0] + (ranges[:, 1] - ranges[:, 0]) * dice.uniform(n, 0, 1)

    def at_times(name: str) -> Tensor:
        shares = torch.tensor([getattr(kind, name) for kind in kinds], device=dice.device)[which]
        return (dice.uniform(n, 0, 1) < shares).float()

    return Pen(
        between("half_mm"),
        between("soft_mm"),
        between("level"),
        between("grain") * (1 - 0.4 * as_it_should),
        between("skips") * (1 - 0.7 * as_it_should),
        between("drop"),
        at_times("hollow") * dice.uniform(n, 0.3, 0.9),
        at_times("blots") * dice.uniform(n, 0.08, 0.3),
        between("uneven") * (1 - 0.4 * as_it_should),
    )


def line_of(dice: Dice, spine_mm: Tensor, pen: Pen, half_mm: Tensor) -> Tensor:
    """A line (N, 48, 48) of full ink, 0 to 1, around a middle line: pressed unevenly, blotted, hollow."""
    n = len(spine_mm)
    pressure = 1 + 0.22 * dice.clouds(n, 6).clamp(-2, 2)
    blots = (dice.clouds(n, 13) - 1.0).clamp(0, 1) * col(pen.blots)
    soft = col(pen.soft_mm)
    line = ((col(half_mm) * pressure + blots - spine_mm) / soft + 0.5).clamp(0, 1)
    core = ((0.45 * col(half_mm) - spine_mm) / (0.6 * soft) + 0.5).clamp(0, 1)
    return line * (1 - col(pen.hollow) * core)


def inked(dice: Dice, line: Tensor, pen: Pen) -> Tensor:
    """Ink (N, 48, 48) of a line: the grain of the paper, skips of the pen, uneven pressure."""
    n = len(line)
    fine = dice.normal(n, PATCH_PX, PATCH_PX)
    coarse = torch.where(col(dice.chance(n, 0.35)), dice.clouds(n, 15), 0.8 * fine + dice.clouds(n, 24))
    tooth = (0.7 * coarse).clamp(-1.5, 1.5) / 1.5
    # What lies in a valley of the paper gets no graphite; hard pressure fills it.
    sharp = col(dice.uniform(n, 1.2, 4.0))
    bare = col(pen.grain) * (0.5 + 0.5 * (sharp * tooth).clamp(-1, 1)) * (1.25 - 0.5 * line)
    grainy = line * (1 - bare.clamp(0, 1))
    # A share of all places, in patches of a few tenths of a mm or, less often, of a mm.
    fine_gaps, long_gaps = dice.clouds(n, 15), dice.clouds(n, 7)
    field = torch.where(col(dice.chance(n, 0.6)), fine_gaps, long_gaps)
    limit = math.sqrt(2) * torch.erfinv((1 - 2 * pen.skips.clamp(1e-3, 0.6)).clamp(-0.999, 0.999)) * 0.75
    gaps = ((field - col(limit)) * 4).clamp(0, 1) * col((pen.skips > 0.01).float())
    strength = (1 + (0.12 + col(pen.uneven)) * dice.clouds(n, 4)).clamp(0.35, 1.35)
    ink = (grainy * (1 - col(pen.drop) * gaps) * strength * col(pen.level)).clamp(0, 1)
    # Gone over twice, a little beside the first time.
    twice = col(dice.chance(n, 0.04).float())
    again = torch.roll(ink, (1, 2), (1, 2))
    return torch.maximum(ink, again * twice)
