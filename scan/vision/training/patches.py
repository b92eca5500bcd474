"""Simulated photos of digit boxes: glyphs in any pen, with all that paper, printers and phones do to them.

Everything is drawn in mm around the centre of the box and in batches on one device. The steps follow the
light: what is on the paper (print, hand, dirt, folds), then the camera (blur, pixels of the photo, noise,
JPEG), then the 48 x 48 px patch that `scan.vision.seeing.digits` is given. Shares and ranges are guesses at a
club's cards, wide on purpose; they were corrected by looking at held-out patches that a first network misread
and no person could have read, and are the same for training and validation.
"""

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from shortpencil.scan.vision.training.bank import EDGE_ZERO, GRID_PX, STEPS_PER_PX, Bank
from shortpencil.scan.vision.training.dice import PATCH_PX, Dice
from shortpencil.scan.vision.training.dice import col as _col
from shortpencil.scan.vision.training.pens import Pen, any_pen, inked, line_of
from shortpencil.scan.vision.training.strokes import SCRAP, SCRIBBLE, SYMBOL

__all__ = ["PATCH_PX", "Batch", "Choice", "Dice", "both", "choices", "make"]

MARGIN_MM = 2.4  # window side = box height + this
#: Most boxes are 5.0 mm wide, those for distances 5.8 since the second edition.
BOX_WIDTH_MM = 5.0
BOX_WIDTHS_MM, SHARE_USUAL_WIDTH = (4.8, 6.0), 0.6
BOX_HEIGHTS_MM = (5.0, 7.0)
GAP_MM = 1.2
BLANK = 10

# Share of each answer. On a card most boxes are blank; the decoder replaces these shares by its own.
SHARE_BLANK, SHARE_SCRAP = 0.13, 0.09


@dataclass(frozen=True, slots=True)
class Batch:
    """Patches (N, 48, 48), their answers (N,) 0 to 11, and the height and width of each box (N,) in mm.

    `legible` (N,) is False where nothing of the writing has come through: nobody can answer there.
    """

    patches: Tensor
    answers: Tensor
    box_h_mm: Tensor
    box_w_mm: Tensor
    legible: Tensor


def both(a: Batch, b: Batch) -> Batch:
    """One batch of two."""
    return Batch(*(torch.cat([getattr(a, name), getattr(b, name)]) for name in Batch.__slots__))


def _mesh(box_h_mm: Tensor) -> tuple[Tensor, Tensor]:
    """Return x and y of the patch's pixel centres in mm from the box's centre, each (N, 48, 48)."""
    side = box_h_mm + MARGIN_MM
    at = (torch.arange(PATCH_PX, device=side.device, dtype=torch.float32) + 0.5) / PATCH_PX - 0.5
    along = side[:, None] * at[None, :]
    x = along[:, None, :].expand(-1, PATCH_PX, -1)
    y = along[:, :, None].expand(-1, -1, PATCH_PX)
    return x, y


def _carried(dice: Dice, mesh: tuple[Tensor, Tensor], share: float) -> tuple[Tensor, Tensor]:
    """Some patches show a box that lies beside its place: paper that folds and curls have carried away."""
    n = len(mesh[0])
    some = dice.chance(n, share).float()
    dx, dy = (_col(some * dice.uniform(n, -0.9, 0.9)) for _ in range(2))
    turn = _col(some * dice.uniform(n, -0.1, 0.1))
    x, y = mesh
    return x - dx + turn * y, y - dy - turn * x


def _over(*layers: Tensor) -> Tensor:
    """Ink of layers on top of each other."""
    light = 1 - layers[0]
    for layer in layers[1:]:
        light = light * (1 - layer)
    return 1 - light


# What a hand does ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pose:
    """Where and how large a glyph lies: centre and size of its middle line, mm; lean and turn, radians."""

    x_mm: Tensor
    y_mm: Tensor
    width_mm: Tensor
    height_mm: Tensor
    lean: Tensor
    turn: Tensor


def pose_in_box(dice: Dice, frames: Tensor, box_h_mm: Tensor, box_w_mm: Tensor, odd: Tensor) -> Pose:
    """A pose of each glyph: 28 to 110 % of its box high, mostly inside, sometimes over the outline."""
    n = len(frames)
    share = torch.where(dice.chance(n, 0.7), dice.uniform(n, 0.5, 0.92), dice.uniform(n, 0.28, 1.1))
    share = torch.where(odd > 0, share, dice.uniform(n, 0.5, 0.9))
    height = share * box_h_mm
    aspect = frames[:, 2] / frames[:, 3]
    flat = aspect > 1.6  # a dash: its width is what fills the box
    width = height * aspect * torch.exp(0.2 * dice.normal(n).clamp(-2.5, 2.5))
    width = torch.where(flat, dice.uniform(n, 1.9, 4.6), width)
    height = torch.where(flat, width / aspect, height)
    squeeze = (width / (box_w_mm * dice.uniform(n, 0.75, 1.12))).clamp(min=1)
    width = width / squeeze
    height = height / squeeze.sqrt()
    spare_x = (box_w_mm - width).clamp(min=0) / 2
    spare_y = (box_h_mm - height).clamp(min=0) / 2
    # Aimed at the middle, off by up to the spare room, and then by a slip of the hand; some hands set their
    # digits into a corner.
    aside = dice.chance(n, 0.15)
    far = torch.where(aside, 1.0, 0.5)
    x = spare_x * far * dice.uniform(n, -1.2, 1.2) + 0.3 * dice.normal(n)
    y = spare_y * dice.uniform(n, -0.9, 0.9) + 0.3 * dice.normal(n)
    lean = (0.12 + 0.07 * odd) * dice.normal(n).clamp(-2.5, 2.5)
    turn = (0.06 + 0.04 * odd) * dice.normal(n).clamp(-2.5, 2.5)
    return Pose(x.clamp(-1.9, 1.9), y.clamp(-2.2, 2.2), width, height, lean, turn)


def write(
    dice: Dice,
    bank: Bank,
    glyphs: Tensor,
    pose: Pose,
    pen: Pen,
    mesh: tuple[Tensor, Tensor],
    odd: Tensor,
) -> Tensor:
    """Ink (N, 48, 48) of glyphs written with pens."""
    n = len(glyphs)
    x, y = mesh
    # A hand never draws the same shape twice: bend the plane. MNIST has some hundred hands for each way to
    # write a digit; networks that saw them only slightly bent knew them by heart (2.7 wrong in 1,000 of
    # those, 6.4 of others).
    bend = dice.uniform(n, 0.015, 0.055) * (0.6 + 0.4 * odd) * pose.height_mm.clamp(1.5, 4.5)
    u = x - _col(pose.x_mm) + _col(bend) * dice.clouds(n, 4)
    v = y - _col(pose.y_mm) + _col(bend) * dice.clouds(n, 4)
    cos, sin = _col(torch.cos(pose.turn)), _col(torch.sin(pose.turn))
    u, v = cos * u + sin * v, cos * v - sin * u
    u = u + _col(pose.lean) * v
    frames = bank.frames[glyphs]
    mm_x, mm_y = pose.width_mm / frames[:, 2], pose.height_mm / frames[:, 3]
    # A bare 1 is 2 px wide: its width says nothing about the scale across.
    mm_x = torch.where(frames[:, 2] < 8, mm_y, mm_x)
    mm_y = torch.where(frames[:, 3] < 8, mm_x, mm_y)
    gx = (u / _col(mm_x) + _col(frames[:, 0]) + 0.5) * (2 / GRID_PX) - 1
    gy = (v / _col(mm_y) + _col(frames[:, 1]) + 0.5) * (2 / GRID_PX) - 1
    fields = functional.grid_sample(
        bank.fields[glyphs].float(), torch.stack([gx, gy], dim=-1), padding_mode="border", align_corners=False
    )
    mm = _col((mm_x * mm_y).sqrt())
    raw, edge, spine = fields[:, 0] / 255, fields[:, 1] - EDGE_ZERO, fields[:, 2]
    edge_mm, spine_mm = edge * mm / STEPS_PER_PX, spine * mm / STEPS_PER_PX
    soft = _col(pen.soft_mm)
    # A person with a broad pen writes larger: past an eighth of the height the loops of an 8 close.
    size_mm = torch.maximum(pose.height_mm, pose.width_mm)
    half = torch.minimum(pen.half_mm, dice.uniform(n, 0.08, 0.125) * size_mm)
    monoline = line_of(dice, spine_mm, pen, half)
    grown = _col(dice.uniform(n, -0.022, 0.018) * size_mm) * (1 + 0.22 * dice.clouds(n, 6).clamp(-2, 2))
    as_written = ((grown - edge_mm) / soft + 0.5).clamp(0, 1)
    # Never finer than a thin pen: eroding must not eat the stroke.
    as_written = torch.maximum(as_written, ((0.1 - spine_mm) / soft + 0.5).clamp(0, 1))
    low = _col(dice.uniform(n, 0.0, 0.2))
    picture = ((raw - low) / (_col(dice.uniform(n, 0.6, 1.0)) - low)).clamp(0, 1)
    way = _col(dice.uniform(n, 0, 1))
    line = torch.where(way < 0.55, monoline, torch.where(way < 0.78, as_written, picture))
    return inked(dice, line, pen)


# What is printed -------------------------------------------------------------------------------------------


def _rounded_box(x: Tensor, y: Tensor, half_w: Tensor, half_h: Tensor, radius: Tensor) -> Tensor:
    """Signed distance in mm to a rounded rectangle around 0, 0."""
    qx = x.abs() - _col(half_w - radius)
    qy = y.abs() - _col(half_h - radius)
    outside = (qx.clamp(min=0) ** 2 + qy.clamp(min=0) ** 2).sqrt()
    return outside + torch.maximum(qx, qy).clamp(max=0) - _col(radius)


def print_boxes(
    dice: Dice, box_h_mm: Tensor, box_w_mm: Tensor, mesh: tuple[Tensor, Tensor], odd: Tensor
) -> Tensor:
    """Ink of the box's outline and of its neighbours', as registered, printed and copied."""
    n = len(box_h_mm)
    # Residual registration: shift up to 0.4 mm, turn 1.5 degrees, scale 2 %.
    shift = 0.17 * dice.normal(2, n)
    shift = shift * (0.4 / shift.norm(dim=0).clamp(min=0.4))
    turn = _col(0.012 * dice.normal(n))
    x = mesh[0] - _col(shift[0]) + turn * mesh[1]
    y = mesh[1] - _col(shift[1]) - turn * mesh[0]
    scale = 1 + 0.01 * dice.normal(n)
    x, y = x * _col(scale), y * _col(scale)
    half_w, pitch = box_w_mm / 2, _col(box_w_mm + GAP_MM)
    radius = torch.where(dice.chance(n, 0.4), dice.uniform(n, 0.0, 0.2), dice.uniform(n, 0.2, 0.9))
    half_line = torch.where(dice.chance(n, 0.8), dice.uniform(n, 0.07, 0.17), dice.uniform(n, 0.17, 0.35))
    soft = dice.uniform(n, 0.12, 0.25)
    has_left, has_right = dice.chance(n, 0.6), dice.chance(n, 0.6)
    ink = torch.zeros_like(x)
    for step, there in ((0, None), (-1, has_left), (1, has_right)):
        rim = _rounded_box(x - step * pitch, y, half_w, box_h_mm / 2, radius).abs()
        line = ((_col(half_line) - rim) / _col(soft) + 0.5).clamp(0, 1)
        ink = torch.maximum(ink, line if there is None else line * _col(there.float()))
    # Only the corners of a box, or a few pieces of it.
    along_x, along_y = _col(dice.uniform(n, 0.5, 1.6)), _col(dice.uniform(n, 0.5, 1.8))
    corners = ((x.abs() > _col(half_w) - along_x) & (y.abs() > _col(box_h_mm / 2) - along_y)).float()
    ink = torch.where(_col(dice.chance(n, 0.1)), ink * corners, ink)
    # A rule or a letter of the form above or below the box, past the gap.
    rule_y = _col(box_h_mm / 2 + dice.uniform(n, 0.5, 1.3)) * torch.where(
        _col(dice.chance(n, 0.5)), 1.0, -1.0
    )
    rule = ((_col(dice.uniform(n, 0.05, 0.3)) - (y - rule_y).abs()) / _col(soft) + 0.5).clamp(0, 1)
    ink = torch.maximum(ink, rule * _col(dice.chance(n, 0.25).float()))
    # Weak, broken or dashed print.
    broken = (dice.clouds(n, 12) * 3 - _col(dice.uniform(n, -2.0, 5.0))).clamp(0, 1) * _col(
        dice.chance(n, 0.3).float()
    )
    period = _col(dice.uniform(n, 0.35, 1.6))
    dash = (torch.sin((x + y) * (2 * math.pi) / period) * 4 + _col(dice.uniform(n, -2, 2))).clamp(0, 1)
    dash = torch.where(_col(dice.chance(n, 0.12)), dash, 1.0)
    pale, usual, dark = dice.uniform(n, 0.0, 0.12), dice.uniform(n, 0.12, 0.42), dice.uniform(n, 0.42, 1.0)
    which = dice.uniform(n, 0, 1) * (0.75 + 0.25 * odd)
    level = torch.where(which < 0.2, pale, torch.where(which < 0.72, usual, dark))
    outline = ink * (1 - broken) * dash * _col(level)
    return torch.maximum(outline, _beside(dice, box_w_mm, x, y))


def _beside(dice: Dice, box_w_mm: Tensor, x: Tensor, y: Tensor) -> Tensor:
    """Ink of a bubble or a small printed sign next to the box, often a filled one, up to its very edge."""
    n = len(box_w_mm)
    side = torch.where(dice.chance(n, 0.6), -1.0, 1.0)
    rx, ry = dice.uniform(n, 0.7, 1.8), dice.uniform(n, 0.6, 1.8)
    gap = dice.uniform(n, 0.15, 1.6)
    dx = (x - _col(side * (box_w_mm / 2 + gap + rx))) / _col(rx)
    dy = (y - _col(dice.uniform(n, -2.5, 2.5))) / _col(ry)
    reach = ((dx**2 + dy**2).sqrt() - 1) * _col(torch.minimum(rx, ry))
    filled = (0.5 - reach / 0.2).clamp(0, 1) * (0.8 + 0.2 * dice.clouds(n, 12)).clamp(0, 1)
    ring = ((0.12 - reach.abs()) / 0.15 + 0.5).clamp(0, 1)
    kind = _col(dice.uniform(n, 0, 1))
    there = torch.where(kind < 0.14, filled, torch.where(kind < 0.26, ring, 0.0))
    return (there * _col(dice.uniform(n, 0.2, 1.0))).clamp(0, 1)


# What else lies on the paper -------------------------------------------------------------------------------


def _strangers(dice: Dice, hands: Tensor, box_h_mm: Tensor, box_w_mm: Tensor) -> Tensor:
    """Parts of the digits left and right: at their own place, or swung over into this box."""
    n = len(hands)
    side = box_h_mm + MARGIN_MM
    ink = torch.zeros(n, PATCH_PX, PATCH_PX, device=hands.device)
    for sign in (-1.0, 1.0):
        # Own width of most neighbours ends before this box; a long tail reaches up to 1 mm into it.
        apart = torch.where(dice.chance(n, 0.85), dice.uniform(n, 0.8, 1.6), dice.uniform(n, -0.1, 0.8))
        distance = box_w_mm + apart
        theta = torch.zeros(n, 2, 3, device=hands.device)
        theta[:, 0, 0] = 1
        theta[:, 1, 1] = 1
        theta[:, 0, 2] = -sign * distance / side * 2
        theta[:, 1, 2] = dice.uniform(n, -0.25, 0.25)
        grid = functional.affine_grid(theta, [n, 1, PATCH_PX, PATCH_PX], align_corners=False)
        other = hands[dice.order(n)]
        seen = functional.grid_sample(other[:, None], grid, padding_mode="zeros", align_corners=False)[:, 0]
        ink = _over(ink, seen * _col(dice.chance(n, 0.45).float()))
    return ink


def _blurred(image: Tensor) -> Tensor:
    """The same, out of focus by about 3 px."""
    small = functional.avg_pool2d(image[:, None], 4, 2, 1)
    return functional.interpolate(small, size=(PATCH_PX, PATCH_PX), mode="bilinear", align_corners=False)[
        :, 0
    ]


def _ghosts(dice: Dice, hands: Tensor, rubbed_here: Tensor) -> Tensor:
    """Rubbed-out writing where `rubbed_here` (N,) says, the back shining through, smeared graphite."""
    n = len(hands)
    full = hands.flatten(1).amax(dim=1).clamp(min=0.1)
    shape = hands / _col(full)
    order = dice.order(n)
    # The faintest writing has about 0.2: what is rubbed out must stay clear below it, or no one could tell.
    rubbed = shape[order] * _col(dice.uniform(n, 0.01, 0.10) * rubbed_here.float())
    through = _blurred(shape[order.flip(0)].flip(2))
    through = through * _col(dice.uniform(n, 0.02, 0.09) * dice.chance(n, 0.08).float())
    smear = dice.clouds(n, 5).clamp(0, 1) * _col(dice.uniform(n, 0.02, 0.10) * dice.chance(n, 0.12).float())
    return torch.maximum(rubbed, torch.maximum(through, smear))


def _dirt(dice: Dice, mesh: tuple[Tensor, Tensor], share: Tensor) -> Tensor:
    """Specks, a hair or a stray touch of the pen up to about 0.5 mm; share (N,) of patches that have any."""
    n = len(share)
    x, y = mesh
    ink = torch.zeros_like(x)
    some = torch.rand(n, device=x.device, generator=dice.generator) < share
    for _ in range(3):
        dx, dy = x - _col(dice.uniform(n, -3.6, 3.6)), y - _col(dice.uniform(n, -4, 4))
        angle = dice.uniform(n, 0, math.pi)
        along = dx * _col(torch.cos(angle)) + dy * _col(torch.sin(angle))
        across = dy * _col(torch.cos(angle)) - dx * _col(torch.sin(angle))
        radius = dice.uniform(n, 0.04, 0.22)
        stretch = dice.uniform(n, 1.0, 2.2)
        spot = torch.exp(-((along / _col(radius * stretch)) ** 2 + (across / _col(radius)) ** 2))
        here = some & dice.chance(n, 0.6)
        ink = _over(ink, spot * _col(dice.uniform(n, 0.1, 0.8) * here.float()))
    return ink


def _strays(
    dice: Dice, mesh: tuple[Tensor, Tensor], box_h_mm: Tensor, box_w_mm: Tensor, share: Tensor
) -> Tensor:
    """Strokes that belong to no digit of this box: tails from above, below and beside, slips of the pen.

    A tail starts outside and ends up to a third of the way inside; a slip is a mark of up to 1.3 mm anywhere.
    """
    n = len(share)
    x, y = mesh
    tail = dice.chance(n, 0.6)
    way = dice.uniform(n, 0, 1)
    half_w, half_h = box_w_mm / 2, box_h_mm / 2
    sign = torch.where(dice.chance(n, 0.5), 1.0, -1.0)
    upright = way < 0.55
    depth = dice.uniform(n, 0.1, 0.36)
    # Where it starts (outside the box or anywhere in it) and where it ends.
    start_x = torch.where(upright, dice.uniform(n, -2.2, 2.2), sign * (half_w + 1.4))
    start_y = torch.where(upright, sign * (half_h + 1.4), dice.uniform(n, -0.4, 0.4) * box_h_mm)
    end_x = torch.where(upright, start_x + 0.4 * dice.normal(n), sign * half_w * (1 - 2 * depth))
    end_y = torch.where(upright, sign * half_h * (1 - 2 * depth), start_y + 0.4 * dice.normal(n))
    length, angle = dice.uniform(n, 0.1, 1.3), dice.uniform(n, 0, math.pi)
    slip_x, slip_y = dice.uniform(n, -2.6, 2.6), dice.uniform(n, -0.5, 0.5) * box_h_mm
    # Upright in the middle a slip is a small 1.
    length = torch.where((angle - math.pi / 2).abs() < 0.7, length * 0.6, length)
    start_x = torch.where(tail, start_x, slip_x)
    start_y = torch.where(tail, start_y, slip_y)
    end_x = torch.where(tail, end_x, slip_x + length * torch.cos(angle))
    end_y = torch.where(tail, end_y, slip_y + length * torch.sin(angle))
    dx, dy = _col(end_x - start_x), _col(end_y - start_y)
    px, py = x - _col(start_x), y - _col(start_y)
    t = ((px * dx + py * dy) / (dx * dx + dy * dy).clamp(min=1e-6)).clamp(0, 1)
    apart = ((px - t * dx) ** 2 + (py - t * dy) ** 2).sqrt()
    pen = any_pen(dice, torch.ones_like(share))
    line = line_of(dice, apart, pen, pen.half_mm)
    some = torch.rand(n, device=x.device, generator=dice.generator) < share
    return inked(dice, line, pen) * _col(some.float())


def _folds(dice: Dice, mesh: tuple[Tensor, Tensor], share: Tensor) -> Tensor:
    """A fold, in a share (N,) of patches: a fine dark or bright line right across, shade on one side."""
    n = len(mesh[0])
    angle = torch.where(dice.chance(n, 0.7), dice.below(n, 2) * (math.pi / 2), dice.uniform(n, 0, math.pi))
    angle = angle + 0.03 * dice.normal(n)
    place = _col(dice.uniform(n, -4, 4))
    across = mesh[0] * _col(torch.cos(angle)) + mesh[1] * _col(torch.sin(angle)) - place
    width = _col(dice.uniform(n, 0.1, 0.4))
    crease = torch.exp(-((across / width) ** 2)) * _col(dice.uniform(n, -0.12, 0.22))
    crease = crease * (1 + 0.5 * dice.clouds(n, 12))
    shade = (
        torch.sigmoid(across / width) * torch.exp(-across.clamp(min=0) / 3) * _col(dice.uniform(n, 0, 0.15))
    )
    return (crease + shade) * _col((dice.uniform(n, 0, 1) < share).float())


def _light(dice: Dice, mesh: tuple[Tensor, Tensor]) -> Tensor:
    """What evening out the light left: slopes, a wrong level, the edge of a shadow."""
    n = len(mesh[0])
    slope = (mesh[0] * _col(dice.normal(n)) + mesh[1] * _col(dice.normal(n))) * 0.004
    level = 0.012 * dice.normal(n)
    angle = dice.uniform(n, 0, 2 * math.pi)
    across = (
        mesh[0] * _col(torch.cos(angle)) + mesh[1] * _col(torch.sin(angle)) - _col(dice.uniform(n, -4, 4))
    )
    edge = torch.sigmoid(across / _col(dice.uniform(n, 0.1, 1.2)))
    shadow = edge * _col(dice.uniform(n, 0.03, 0.25) * dice.chance(n, 0.08).float())
    return slope + _col(level) + shadow


def _copied(dice: Dice, ink: Tensor, hand: Tensor, level: Tensor, share: float) -> tuple[Tensor, Tensor]:
    """Some cards come from a copier: what is darker than a threshold turns black, softly or hard.

    A dark setting thickens lines and blackens pale outlines and specks; a pale one leaves out what is fine.
    Comes with what is left of the writing itself, `hand`.
    """
    n = len(ink)
    spread = functional.avg_pool2d(ink[:, None], 3, 1, 1)[:, 0]
    seen = torch.where(_col(dice.chance(n, 0.6)), spread, ink)
    threshold = _col((level * dice.uniform(n, 0.18, 0.65)).clamp(min=0.06))
    rough = seen + _col(dice.uniform(n, 0.0, 0.04)) * dice.normal(n, PATCH_PX, PATCH_PX)
    steep = _col(torch.where(dice.chance(n, 0.5), 12.0, dice.uniform(n, 1.5, 5.0)))
    black = ((rough - threshold) * steep + 0.5).clamp(0, 1) * _col(dice.uniform(n, 0.6, 1.0))
    pepper = (dice.normal(n, PATCH_PX, PATCH_PX) > 3.3).float() * _col(dice.chance(n, 0.3).float())
    copied = _col(dice.chance(n, share))
    of_hand = black * (hand > 0.25 * _col(level)).float()
    return torch.where(copied, torch.maximum(black, 0.8 * pepper), ink), torch.where(copied, of_hand, hand)


def _washed_out(dice: Dice, ink: Tensor, hand: Tensor, level: Tensor, share: float) -> tuple[Tensor, Tensor]:
    """In bright light, on faded cards and on pale copies what is paler than a part of the pen is gone."""
    n = len(ink)
    least = level * dice.uniform(n, 0.05, 0.5) * dice.chance(n, share).float()
    kept = [(part - _col(least)).clamp(min=0) / (1 - _col(least)) for part in (ink, hand)]
    return kept[0] + ink.clamp(max=0), kept[1]


# What the camera does --------------------------------------------------------------------------------------

# ITU-T T.81 (JPEG), table K.1, luminance; the phones' own tables are alike.
_QUANT = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)
_INK_LEVELS = 170.0  # grey levels between paper and black in a usual photo


def _sampling(across: Tensor, blur: Tensor, phase: Tensor) -> tuple[Tensor, Tensor]:
    """Matrices (N, 48, 48) from patch to photo pixels and back; `across`: photo px per side, up to 48."""
    at = torch.arange(PATCH_PX, device=across.device, dtype=torch.float32)
    ratio = PATCH_PX / across  # patch px per photo px
    centres = ((at[None, :] + 0.5 + phase[:, None]) * ratio[:, None] - 0.5).clamp(-0.5, PATCH_PX - 0.5)
    sigma = ((0.34 * ratio) ** 2 + blur**2).sqrt().clamp(min=0.25)
    down = torch.exp(-0.5 * ((centres[:, :, None] - at[None, None, :]) / sigma[:, None, None]) ** 2)
    down = down / down.sum(dim=2, keepdim=True)
    wanted = (at[None, :] + 0.5) / ratio[:, None] - 0.5 - phase[:, None]
    last = across.ceil() - 1
    wanted = wanted.clamp(min=0).minimum(last[:, None])
    up = (1 - (wanted[:, :, None] - at[None, None, :]).abs()).clamp(min=0)
    return down, up


def _jpeg(dice: Dice, image: Tensor, share: float) -> Tensor:
    """Images (N, 48, 48) as JPEG of quality 35 to 95 keeps them."""
    n = len(image)
    k = torch.arange(8, device=image.device, dtype=torch.float32)
    dct = torch.cos((2 * k[None, :] + 1) * k[:, None] * (math.pi / 16)) * 0.5
    dct[0] *= math.sqrt(0.5)
    quality = dice.uniform(n, 35, 95)
    scale = torch.where(quality < 50, 50 / quality, 2 - quality / 50)
    table = torch.tensor(_QUANT, device=image.device, dtype=torch.float32) / _INK_LEVELS
    steps = (table[None] * _col(scale))[:, None, None]
    blocks = image.reshape(n, 6, 8, 6, 8).transpose(2, 3)
    kept = torch.round((dct @ blocks @ dct.T) / steps) * steps
    back = (dct.T @ kept @ dct).transpose(2, 3).reshape(n, PATCH_PX, PATCH_PX)
    return torch.where(_col(dice.chance(n, share)), back, image)


# A square millimetre of a patch; and what paper is never more even than.
_DARKEST_PX, _LEAST_NOISE = 26, 0.03
#: Less than this, in noise, and nobody sees what is written.
_LEAST_SEEN = 2.3


def photograph(
    dice: Dice, ink: Tensor, hand: Tensor, box_h_mm: Tensor, share_good: float
) -> tuple[Tensor, Tensor]:
    """The paper as a phone sees it: 2 to 12 px a mm, blurred, noisy, JPEG, back on the patch's grid.

    Also how much of the `hand` stands out of the noise: ink of its darkest square millimetre over the noise.
    """
    n = len(ink)
    side = box_h_mm + MARGIN_MM
    # A good photo, as most are, or one of 2 to 12 px per mm, even on a log scale, with any blur and noise.
    good = dice.chance(n, share_good)
    px_per_mm = torch.where(good, 6.0, 2.0 * torch.exp(dice.uniform(n, 0, 1) * math.log(12 / 2.0)))
    across = (side * px_per_mm).clamp(max=PATCH_PX)
    patch_px_per_mm = PATCH_PX / side
    poor_focus = torch.where(dice.chance(n, 0.75), dice.uniform(n, 0.02, 0.12), dice.uniform(n, 0.12, 0.27))
    focus = torch.where(good, dice.uniform(n, 0.02, 0.1), poor_focus)
    shake = torch.exp(0.3 * dice.normal(2, n).clamp(-2, 2))  # blur differs along x and y
    rows = _sampling(across, focus * patch_px_per_mm * shake[0], dice.uniform(n, -0.5, 0.5))
    cols = _sampling(across, focus * patch_px_per_mm * shake[1], dice.uniform(n, -0.5, 0.5))
    tone = torch.exp(0.12 * dice.normal(n))
    toned = ink.clamp(min=1e-4) ** _col(tone) + ink.clamp(max=0)
    photo = rows[0] @ toned @ cols[0].transpose(1, 2)
    little = good | dice.chance(n, 0.6)
    noise = torch.where(little, dice.uniform(n, 0.003, 0.015), dice.uniform(n, 0.015, 0.06))
    noise = torch.where(~good & dice.chance(n, 0.14), dice.uniform(n, 0.06, 0.16), noise)
    # Where noise is strong, paper is taken for paler than it is.
    photo = photo + _col(noise) * (dice.normal(n, PATCH_PX, PATCH_PX) + _col(dice.uniform(n, 0, 0.9)))
    photo = _jpeg(dice, photo, 0.8)
    left = rows[1] @ (rows[0] @ hand @ cols[0].transpose(1, 2)) @ cols[1].transpose(1, 2)
    shows = left.flatten(1).topk(_DARKEST_PX, dim=1).values.mean(dim=1) / (noise + _LEAST_NOISE)
    return (rows[1] @ photo @ cols[1].transpose(1, 2)) * _col(1 + 0.05 * dice.normal(n)), shows


# The whole -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Choice:
    """Numbers of a bank's glyphs by what they can be used for; digits with their running sum of weights."""

    digits: Tensor
    weights: Tensor
    symbols: Tensor
    scribbles: Tensor

    def some_digits(self, dice: Dice, n: int) -> Tensor:
        """(n,) numbers of digits, each by its weight."""
        at = torch.searchsorted(self.weights, dice.uniform(n, 0, 1).double() * self.weights[-1])
        return self.digits[at.clamp(max=len(self.digits) - 1)]


def choices(bank: Bank, weights: Tensor | None = None) -> Choice:
    """Of a bank, with a weight (G,) for each glyph, none of which counts where it is no digit."""
    digits = bank.where(bank.kinds == 0)
    each = torch.ones(len(digits), device=digits.device) if weights is None else weights[digits]
    return Choice(
        digits,
        each.double().cumsum(0),
        bank.where(bank.kinds == SYMBOL),
        bank.where(bank.kinds == SCRIBBLE),
    )


@dataclass(frozen=True, slots=True)
class Light:
    """Shares of the patches to which something happens.

    From a sharp photo with enough pixels; from a copier; from a card whose pale parts light has taken away;
    of a box that lies up to a millimetre beside its place.
    """

    good: float
    copied: float
    washed_out: float
    carried: float


#: Of the digits those that are written as few are: tiny, askew, bent, with a pen that hardly writes, in a
#: dark outline. All of them so, and the network was unsure of one usual digit in ten.
SHARE_ODD = 0.5

#: What the network is trained on, and a card on a table in daylight.
ANY, PLAIN = Light(0.45, 0.13, 0.14, 0.1), Light(1.0, 0.0, 0.0, 0.0)


def _shrunk(pose: Pose, x_mm: Tensor, share: Tensor) -> Pose:
    return Pose(x_mm, pose.y_mm, pose.width_mm * share, pose.height_mm * share.sqrt(), pose.lean, pose.turn)


def _plain(ink: Tensor, other: Tensor, mm2_per_px: Tensor) -> Tensor:
    """Area in mm² (N,) that only `ink` covers, both as parts of their own strongest ink."""
    a, b = (part / part.flatten(1).amax(dim=1).clamp(min=0.05)[:, None, None] for part in (ink, other))
    return (a - b).clamp(min=0).flatten(1).sum(dim=1) * mm2_per_px


def _scrap(
    dice: Dice,
    bank: Bank,
    choice: Choice,
    n: int,
    mesh: tuple[Tensor, Tensor],
    box_h_mm: Tensor,
    box_w_mm: Tensor,
) -> tuple[Tensor, Tensor]:
    """Ink and level of boxes without a valid digit: symbols, scribbles, cancelled digits, two at once.

    Twice as many are drawn as are asked for, in pairs for the same box: of each pair that is kept whose two
    writings both show. A strike that misses its digit, or a digit wholly under another, is no scrap.
    """
    mesh = (mesh[0].repeat(2, 1, 1), mesh[1].repeat(2, 1, 1))
    box_h_mm, box_w_mm = box_h_mm.repeat(2), box_w_mm.repeat(2)
    way = dice.uniform(n, 0, 1).repeat(2)
    alone, cancelled, over = way < 0.35, (way >= 0.35) & (way < 0.75), (way >= 0.75) & (way < 0.9)
    beside = way >= 0.9
    m = 2 * n
    first = choice.some_digits(dice, m)
    # Another digit, so that a digit gone over twice is still itself.
    tries = torch.stack([choice.some_digits(dice, m) for _ in range(4)])
    differs = (bank.answers[tries] != bank.answers[first][None]).float()
    second = tries.gather(0, differs.argmax(dim=0)[None])[0]
    sign = torch.where(dice.chance(m, 0.75), dice.pick(m, choice.symbols), dice.pick(m, choice.scribbles))
    first = torch.where(alone, sign, first)
    second = torch.where(cancelled, dice.pick(m, choice.scribbles), second)
    odd = torch.ones(m, device=mesh[0].device)
    pen, pen2 = any_pen(dice, odd), any_pen(dice, odd)
    same_pen = dice.chance(m, 0.7)
    # Both writings must be seen: the second at least as strong as three quarters of the first.
    level2 = torch.maximum(torch.where(same_pen, pen.level, pen2.level), 0.75 * pen.level)
    level = torch.maximum(pen.level, 0.75 * level2)
    pen = pen.of(level=level)
    pen2 = pen2.of(half_mm=torch.where(same_pen, pen.half_mm, pen2.half_mm), level=level2)
    pose = pose_in_box(dice, bank.frames[first], box_h_mm, box_w_mm, odd)
    pose2 = pose_in_box(dice, bank.frames[second], box_h_mm, box_w_mm, odd)
    # The cancelling strokes lie on the digit and are about its size.
    size = dice.uniform(m, 0.8, 1.3)
    upon = Pose(
        torch.where(cancelled, pose.x_mm + 0.2 * dice.normal(m), pose2.x_mm),
        torch.where(cancelled, pose.y_mm + 0.2 * dice.normal(m), pose2.y_mm),
        torch.where(cancelled, pose.width_mm.clamp(min=2.2) * size, pose2.width_mm),
        torch.where(cancelled, pose.height_mm * size, pose2.height_mm),
        pose2.lean,
        pose2.turn,
    )
    half = torch.where(beside, dice.uniform(m, 0.45, 0.6), 1.0)
    left = torch.where(beside, -dice.uniform(m, 1.0, 1.4), pose.x_mm)
    right = torch.where(beside, dice.uniform(m, 1.0, 1.4), upon.x_mm)
    ink = write(dice, bank, first, _shrunk(pose, left, half), pen, mesh, odd)
    ink2 = write(dice, bank, second, _shrunk(upon, right, half), pen2, mesh, odd)
    mm2_per_px = ((box_h_mm + MARGIN_MM) / PATCH_PX) ** 2
    shows = torch.minimum(_plain(ink, ink2, mm2_per_px) + 10 * cancelled, _plain(ink2, ink, mm2_per_px))
    both = _over(ink, ink2 * _col((cancelled | over | beside).float()))
    better = torch.arange(n, device=shows.device) + n * (shows[n:] > shows[:n])
    return both[better], level[better]


def make(
    dice: Dice,
    bank: Bank,
    choice: Choice,
    n: int,
    glyphs: Tensor | None = None,
    light: Light = ANY,
    only_pen: str | None = None,
) -> Batch:
    """A batch of n patches: digits first, then blanks, then scrap (order carries no meaning for a network).

    Parameters
    ----------
    glyphs : the digits to use, one patch each, in this order; the rest of the batch is as usual. For
        validation, which must see every held-out digit equally often.
    light : what happens to the card before it is seen
    only_pen : the one kind of pen that digits are written with
    """
    blanks, scraps = round(n * SHARE_BLANK), round(n * SHARE_SCRAP)
    if glyphs is None:
        glyphs = choice.some_digits(dice, n - blanks - scraps)
    elif len(glyphs) != n - blanks - scraps:
        raise ValueError(f"a batch of {n} has {n - blanks - scraps} digits, not {len(glyphs)}")
    digits = len(glyphs)
    low, high = BOX_HEIGHTS_MM
    box_h_mm = dice.uniform(n, low, high)
    usual_width = dice.chance(n, SHARE_USUAL_WIDTH)
    box_w_mm = torch.where(usual_width, BOX_WIDTH_MM, dice.uniform(n, *BOX_WIDTHS_MM))
    mesh = _carried(dice, _mesh(box_h_mm), light.carried)

    odd = dice.chance(n, SHARE_ODD).float()
    pen = any_pen(dice, odd[:digits], only_pen)
    digit_mesh = (mesh[0][:digits], mesh[1][:digits])
    pose = pose_in_box(dice, bank.frames[glyphs], box_h_mm[:digits], box_w_mm[:digits], odd[:digits])
    digit_ink = write(dice, bank, glyphs, pose, pen, digit_mesh, odd[:digits])
    scrap_mesh = (mesh[0][n - scraps :], mesh[1][n - scraps :])
    of_scrap = box_h_mm[n - scraps :], box_w_mm[n - scraps :]
    scrap_ink, scrap_level = _scrap(dice, bank, choice, scraps, scrap_mesh, *of_scrap)
    nothing = torch.zeros(blanks, PATCH_PX, PATCH_PX, device=digit_ink.device)
    hand = torch.cat([digit_ink, nothing, scrap_ink])
    # What the hands of the other boxes look like; a blank box borrows a digit's.
    hands = torch.cat([digit_ink, digit_ink[dice.below(n - digits, digits)]])

    is_blank = torch.zeros(n, dtype=torch.bool, device=hand.device)
    is_blank[digits : digits + blanks] = True
    dirty = torch.where(is_blank, 0.35, 0.12)
    stray = torch.where(is_blank, 0.4, 0.04 + 0.08 * odd)
    # Blanks with rubbed-out digits are what a corrected card has: show many of them.
    rubbed_here = torch.rand(n, device=hand.device, generator=dice.generator) < torch.where(
        is_blank, 0.3, 0.1
    )
    paper = _over(
        hand,
        print_boxes(dice, box_h_mm, box_w_mm, mesh, odd),
        _strangers(dice, hands, box_h_mm, box_w_mm),
        _ghosts(dice, hands, rubbed_here),
        _dirt(dice, mesh, dirty),
        _strays(dice, mesh, box_h_mm, box_w_mm, stray),
    )
    level = torch.cat([pen.level, dice.uniform(blanks, 0.25, 0.9), scrap_level])
    paper, left = _copied(dice, paper, hand, level, light.copied)
    folded = torch.where(is_blank, 0.16, 0.06)
    paper = paper + _folds(dice, mesh, folded) + _light(dice, mesh)
    paper, left = _washed_out(dice, paper, left, level, light.washed_out)
    # What is brighter than paper is paper to the reader, and no ink is more than a fifth blacker than print.
    patches, shows = photograph(dice, paper, left, box_h_mm, light.good)
    answers = torch.cat(
        [
            bank.answers[glyphs],
            torch.full((blanks,), BLANK, device=hand.device, dtype=torch.int64),
            torch.full((scraps,), SCRAP, device=hand.device, dtype=torch.int64),
        ]
    )
    return Batch(patches.clamp(0.0, 1.2), answers, box_h_mm, box_w_mm, is_blank | (shows > _LEAST_SEEN))
