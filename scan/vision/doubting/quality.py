"""Whether a photo is good enough to read, in words a player can act on.

The measures are taken from the card's own print: how wide its sharp edges have become, how dark its black is,
how many pixels a millimetre has. A photo that fails is rejected before anything is read from it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.arrays import Floats, GrayImage, median, medians, percentile, project
from shortpencil.scan.vision.finding.corners import Corners
from shortpencil.scan.vision.flattening.flat import px_slice
from shortpencil.scan.vision.flattening.rectify import Registration, cuts
from shortpencil.scan.vision.opening.levels import Levels, grey_at

#: Sharpness and grain are looked at in the photo itself, at this resolution whatever the flat card has.
LOOK_PX_PER_MM = 8.0
MARK_RIM_MM = 1.8  # paper around a corner mark in which its edges are looked at
_GRAIN_MM = 8.0

#: An 800-pixel picture of a whole A4 sheet has 2.5. Of 24 tuning cards with 1.81 to 1.99 one of 12,648 cells
#: is silent, 3 fields a card are asked in the middle, 18 in the tenth worst; the same with four times as many
#: pixels asked 1.
MIN_PX_PER_MM = 1.8
MAX_BLUR_MM = 0.5  # read without a silent error up to 0.39 on simulated cards of the tuning set
MIN_CONTRAST = 0.12  # the palest print that still gave readable codes on simulated cards of the tuning set
#: Noise of bare paper in units of the print's black. Of 140 tuning photos in deep dusk 56 have less and can
#: be read, 18 of them with less than 0.042: 12 questions in the middle, 4 of 29,500 cells silently wrong. Of
#: those that have more most ask too much.
MAX_GRAIN = 0.11
#: A photo is taken again in half a minute, a question takes two seconds. Beyond this many questions, if they
#: are also this share of all that is marked, the photo is the trouble and not the hand.
MANY_QUESTIONS, MANY_OF_MARKED = 40, 0.35
#: A good photo taken again shows the same hand: then only a card that would have to be typed anew is refused.
MOST_QUESTIONS, MOST_OF_MARKED = 60, 0.6
#: Photos better than this are not to blame: blur in mm, grain, px per mm, contrast.
_GOOD_BLUR_MM, _GOOD_GRAIN, _GOOD_PX_PER_MM, _GOOD_CONTRAST = 0.28, 0.025, 3.0, 0.25
MIN_STUDS = 0.5
MAX_OUTSIDE = 0.25
#: Two marks say where half of a card lies; the other half hangs on this many small squares at least.
STUDS_FOR_TWO_MARKS = 6
#: Grey levels of bare paper that say why a picture has no contrast.
DARK_PAPER, BURNT_OUT_PAPER = 60.0, 249.0
#: How many times nearer the near side of the sheet is where tilt is worth a word; 40 degrees make 1.6.
STEEP = 1.55


@dataclass(frozen=True, slots=True)
class Quality:
    """Measures of one card in one photo.

    `paper` is the grey level of bare paper, 0 to 255; `near_to_far` how many times larger a millimetre is at
    the nearest corner of the sheet than at the farthest.
    """

    px_per_mm: float
    blur_mm: float
    contrast: float
    marks_found: int
    studs_found: int
    studs_total: int
    residual_mm: float
    outside_share: float
    grain: float
    paper: float = 200.0
    near_to_far: float = 1.0

    def as_dict(self) -> dict[str, float | str | bool]:
        """Plain numbers for the published JSON."""
        return {
            "px_per_mm": round(self.px_per_mm, 2),
            "blur_mm": round(self.blur_mm, 3),
            "contrast": round(self.contrast, 3),
            "marks_found": self.marks_found,
            "studs_found": self.studs_found,
            "studs_total": self.studs_total,
            "residual_mm": round(self.residual_mm, 3),
            "outside_share": round(self.outside_share, 4),
            "grain": round(self.grain, 4),
            "paper": round(self.paper, 1),
            "near_to_far": round(self.near_to_far, 3),
        }


def judge(
    photo: GrayImage | Levels,
    covered: GrayImage,
    contrast: float,
    corners: Corners,
    registration: Registration,
    layout: Layout,
) -> Quality:
    """Return the measures of a card that lies in the photo as `registration` says."""
    outside = cells_outside(covered, layout)
    marks = mark_windows(layout)
    looks = cuts(photo, registration, [*marks, *_spread_over(layout)], LOOK_PX_PER_MM)
    spread = looks[len(marks) :]
    return Quality(
        registration.px_per_mm,
        edge_width_mm(looks[: len(marks)]),
        contrast,
        len(corners.marks),
        registration.studs_found,
        registration.studs_total,
        registration.residual_mm,
        len(outside) / max(len(layout.cells), 1),
        grain_of(spread, contrast),
        grey_at(np.stack(spread), 0.5),
        near_to_far(registration, layout),
    )


def near_to_far(registration: Registration, layout: Layout) -> float:
    """Return how many times larger a millimetre is at the sheet's nearest corner than at its farthest."""
    width, height = layout.paper.width_mm, layout.paper.height_mm
    sizes = []
    for x in (0.1 * width, 0.9 * width):
        for y in (0.1 * height, 0.9 * height):
            here = np.array([(x, y), (x + 1.0, y), (x, y + 1.0)])
            origin, right, down = project(registration.card_to_photo, here)
            a, b = right - origin, down - origin
            sizes.append(abs(float(a[0] * b[1] - a[1] * b[0])))
    return float(np.sqrt(max(sizes) / max(min(sizes), 1e-9)))


def mark_windows(layout: Layout) -> list[Box]:
    """Return the corner marks with paper around."""
    return [fiducial.box.grown(MARK_RIM_MM) for fiducial in layout.fiducials]


def _spread_over(layout: Layout) -> list[Box]:
    """Return places all over the sheet."""
    across, down, side = 4, 6, _GRAIN_MM
    width, height = layout.paper.width_mm, layout.paper.height_mm
    return [
        Box((i + 0.5) * width / across - side / 2, (j + 0.5) * height / down - side / 2, side, side)
        for i in range(across)
        for j in range(down)
    ]


def grain_of(parts: Sequence[GrayImage], contrast: float) -> float:
    """Return the noise of bare paper in units of the print's black; most of a card is bare.

    `parts` show places all over the card at `LOOK_PX_PER_MM`.
    """
    some = np.stack([part[::2] for part in parts])
    light = some.astype(np.float32)
    rough = np.abs(light - np.stack([cv2.GaussianBlur(part, (0, 0), 1.2) for part in light]))
    return float(1.4826 * medians(rough.reshape(1, -1))[0] / max(grey_at(some, 0.5) * contrast, 1.0))


def is_good(quality: Quality) -> bool:
    """Say whether a photo is so good that another one would hardly show more."""
    return (
        quality.blur_mm < _GOOD_BLUR_MM
        and quality.grain < _GOOD_GRAIN
        and quality.px_per_mm > _GOOD_PX_PER_MM
        and quality.contrast > _GOOD_CONTRAST
    )


def too_many_questions(asked: int, marked: int, *, fades: bool = False, good: bool = False) -> str | None:
    """Return why to take the photo again when much of what is marked would have to be asked, or None.

    Parameters
    ----------
    fades : marks fade from sight in a part of the card
    good : the photo is not to blame
    """
    few, share = (MOST_QUESTIONS, MOST_OF_MARKED) if good and not fades else (MANY_QUESTIONS, MANY_OF_MARKED)
    if asked >= few and asked > share * marked:
        if fades:
            return (
                f"marks fade from sight in a part of the card, and {asked} of {marked} marked fields are "
                "unclear. Take it again from where no lamp and no sun is mirrored on the card"
            )
        return (
            f"{asked} of {marked} marked fields are unclear. Fill the bubbles, go over faint marks with a "
            "dark pen, and take it again in better light, near and sharp"
        )
    return None


def cells_outside(covered: GrayImage, layout: Layout) -> frozenset[str]:
    """Return the ids of the cells that the photo does not wholly show."""
    if covered.min() == 255:
        return frozenset()
    return frozenset(cell.id for cell in layout.cells if not is_covered(covered, cell.box))


def is_covered(covered: GrayImage, box: Box) -> bool:
    """Say whether the photo shows the whole of a box of the card."""
    rows, columns = px_slice(box)
    part = covered[rows, columns]
    return bool(part.size and part.min() == 255)


def edge_width_mm(marks: Sequence[GrayImage]) -> float:
    """Return how wide an edge from black to white has become, as the sigma of a Gaussian blur in mm.

    Taken across the outer edges of the corner marks, shown as `mark_windows` says at `LOOK_PX_PER_MM`:
    contrast over steepest slope is sigma times the root of 2 pi.
    """
    m = round(MARK_RIM_MM * LOOK_PX_PER_MM)
    inner = slice(m + 24, -m - 24)
    turned = [mark.T for mark in marks]
    widths = []
    for pictures in (turned, marks):
        rims = np.stack([rim for mark in pictures for rim in (mark[: 2 * m, inner], mark[-2 * m :, inner])])
        widths.append(_edge_widths_mm(medians(rims.reshape(-1, rims.shape[2])).reshape(len(rims), -1)))
    if not all(map(len, widths)):
        return 9.9
    return max(map(median, widths))  # a moved camera blurs one direction only


def _edge_widths_mm(profiles: Floats) -> Floats:
    """Width of the edge in each profile (N, P) that shows one."""
    dark, light = (percentile(profiles, percent) for percent in (5, 95))
    contrast = light - dark
    slope = np.abs(np.diff(profiles, axis=1)).max(axis=1) * LOOK_PX_PER_MM
    clear = (contrast > 15) & (slope > 0)
    return np.asarray(contrast[clear] / slope[clear] / np.sqrt(2 * np.pi))


def _upright(quality: Quality) -> str:
    """What to do about a phone that was held aslant, where it was."""
    return "Hold the phone level above the card, not aslant. " if quality.near_to_far > STEEP else ""


def _too_pale(paper: float) -> str:
    """Why there is no contrast: the light, or the print."""
    if paper < DARK_PAPER:
        return "it is too dark. Move out of the shadow, or switch a light on, and take it again"
    if paper > BURNT_OUT_PAPER:
        return "the paper is burnt out. Move out of the bright sun or the lamp's glare, and take it again"
    return (
        "there is too little contrast between print and paper. Move out of haze and glare and take it again; "
        "if the print itself is pale, print the next cards with more toner"
    )


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason to take a photo again: when it holds, and what to say then."""

    holds: Callable[[Quality], bool]
    says: Callable[[Quality], str]


CUT_OFF = Refusal(
    lambda q: q.outside_share > MAX_OUTSIDE,
    lambda q: (
        f"{q.outside_share:.0%} of the card lies outside the picture. "
        "Take it again with all four corner marks in view"
    ),
)

#: In the order in which they are told: what stands before explains what stands behind.
REFUSALS = (
    Refusal(
        lambda q: q.px_per_mm < MIN_PX_PER_MM,
        lambda q: (
            f"the card is too small in the picture ({q.px_per_mm:.2f} pixels per mm, {MIN_PX_PER_MM} "
            f"needed). {_upright(q)}Go nearer, so that the sheet fills the picture, or send the photo in "
            "full size"
        ),
    ),
    Refusal(
        lambda q: q.blur_mm > MAX_BLUR_MM,
        lambda q: (
            f"the picture is not sharp. {_upright(q)}Hold still, tap on the card to focus, and take it again"
        ),
    ),
    Refusal(lambda q: q.contrast < MIN_CONTRAST, lambda q: _too_pale(q.paper)),
    Refusal(
        lambda q: q.grain > MAX_GRAIN,
        lambda _: "it was too dark, and the picture is grainy. Take it again in more light",
    ),
    CUT_OFF,
    Refusal(
        lambda q: q.marks_found < 3 and q.studs_found < STUDS_FOR_TWO_MARKS,
        lambda _: (
            "only two of the four corner marks can be made out, and too little of the print between them to "
            "tell how the card lies. Take it again with all four in view and nothing on them"
        ),
    ),
    Refusal(
        lambda q: q.studs_total > 0 and q.studs_found < MIN_STUDS * q.studs_total,
        lambda q: (
            f"only {q.studs_found} of {q.studs_total} small squares between the rows can be found. Lay the "
            "card flat, with nothing on it, and take it again"
        ),
    ),
)


def why_not(quality: Quality) -> str | None:
    """Return why the photo must be taken again, or None when it can be read."""
    return next((refusal.says(quality) for refusal in REFUSALS if refusal.holds(quality)), None)


def is_only_cut(quality: Quality) -> bool:
    """Say whether the one thing wrong with a photo is that it does not show the whole card."""
    return [refusal for refusal in REFUSALS if refusal.holds(quality)] == [CUT_OFF]
