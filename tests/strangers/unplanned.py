"""Cards in ways that nobody planned for: ``python -m tests.strangers.unplanned --hands FILE --out DIR``.

Each way is one thing that happens to a sheet, to a photo or to its file, drawn from what it does to paper and
light; the handwriting and the pens are gentle, so that what fails is that thing. The truth file is that of
`tests.strangers.make`, each way a family; `tests.strangers.grade` reads it. Cells that the thing hides are
fair to ask about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.strangers import camera, pens, writing
from tests.strangers.make import PX_MM, Filled, arguments, filled, make_all

Floats = NDArray[np.float32]
Picture = NDArray[np.uint8]
Rng = np.random.Generator
HARDNESS = 0.15

DIGITAL = [
    pens.Pen("stylus_black", 0.5, 2.8, pens.GREY),
    pens.Pen("stylus_blue", 0.7, 2.4, (1.0, 0.8, 0.05)),
    pens.Pen("stylus_red", 0.5, 2.4, (0.05, 1.0, 0.9)),
]
COLOURED = [
    pens.Pen("ball_green", 0.4, 1.4, (1.0, 0.35, 0.8), grain=0.12),
    pens.Pen("gel_purple", 0.5, 1.8, (0.6, 1.0, 0.35), bleed_mm=0.03),
    pens.Pen("gel_pink", 0.5, 1.3, (0.05, 1.0, 0.45), bleed_mm=0.03),
    pens.Pen("pencil_orange", 0.7, 1.3, (0.08, 0.6, 1.0), grain=0.4),
    pens.Pen("pencil_brown", 0.7, 1.3, (0.5, 0.85, 1.0), grain=0.4),
    pens.Pen("felt_light_blue", 0.8, 1.1, (1.0, 0.45, 0.08), bleed_mm=0.08),
]
USUAL = [
    pen for pen in pens.PENS if pen.name in ("pencil_hb", "ballpoint_blue", "ballpoint_black", "gel_black")
]


@dataclass(slots=True)
class Shot:
    """A picture (h, w, 3) RGB of a card, its pixels per millimetre, and how it is kept."""

    picture: Picture
    rate: float
    keep: str = "jpg"
    quality: int = 88


def desk(rng: Rng, card: Filled) -> Shot:
    """A gentle photo on a table."""
    return Shot(*camera.lit_photo(rng, card.look, card.size_mm, "desk", HARDNESS))


def grid(card: Filled) -> tuple[Floats, Floats]:
    """Where the pixels of the sheet are, in mm."""
    h, w = card.look.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    return x / PX_MM, y / PX_MM


def hidden(card: Filled, mask: NDArray[np.bool_]) -> None:
    """Cells a twentieth of which is under the mask are fair to ask about."""
    for cell, (x, y, w, h) in card.where.items():
        lo, hi = (round(y * PX_MM), round(x * PX_MM)), (int((y + h) * PX_MM), int((x + w) * PX_MM))
        if cell in card.truth and mask[lo[0] : hi[0], lo[1] : hi[1]].mean() > 0.05:
            card.truth[cell].owed = "read or ask"


def covered(card: Filled, mask: Floats, colour: Any) -> Filled:
    """The sheet with something of this reflectance on it."""
    hidden(card, mask > 0.3)
    return replace(card, look=card.look * (1 - mask[..., None]) + mask[..., None] * np.float32(colour))


# What happens to the sheet


def coffee(rng: Rng, card: Filled) -> Shot:
    """A cup stood on it, once or twice."""
    x, y = grid(card)
    stain = np.zeros_like(x)
    for _ in range(int(rng.integers(1, 3))):
        at = rng.uniform(0.15, 0.85, 2) * card.size_mm
        far = np.hypot(x - at[0], y - at[1]) + 0.8 * camera.noise_field(rng, x.shape, 200)
        stain += rng.uniform(0.2, 0.5) * np.exp(-(((far - 38) / 1.6) ** 2)) + 0.08 * (far < 38)
    return desk(rng, replace(card, look=card.look * np.exp(-stain[..., None] * np.float32([0.5, 0.9, 1.5]))))


def highlighter(rng: Rng, card: Filled) -> Shot:
    """Two bands of a highlighter, along rows or columns."""
    x, y = grid(card)
    ink = np.float32(
        [(0.02, 0.05, 1.6), (0.05, 1.1, 0.3), (0.9, 0.03, 0.9), (0.05, 0.5, 1.5)][int(rng.integers(4))]
    )
    band = np.zeros_like(x)
    for _ in range(2):
        across, length = (x, y) if rng.random() < 0.5 else (y, x)
        at = rng.uniform(0.15, 0.85) * float(across.max())
        lo, hi = np.sort(rng.uniform(0.05, 0.95, 2)) * float(length.max())
        band = np.maximum(
            band, ((np.abs(across - at) < 2.2) & (length > lo) & (length < hi)).astype(np.float32)
        )
    return desk(
        rng, replace(card, look=card.look * np.exp(-0.8 * cv2.GaussianBlur(band, (0, 0), 2)[..., None] * ink))
    )


def punched(rng: Rng, card: Filled) -> Shot:
    """Two or four holes for a ring binder, at the left or on top."""
    x, y = grid(card)
    width, height = card.size_mm
    offsets = [-40, 40] if rng.random() < 0.6 else [-120, -40, 40, 120]
    left = rng.random() < 0.7 or len(offsets) == 4
    mask = np.zeros_like(x)
    for off in offsets:
        at = (12.0, height / 2 + off) if left else (width / 2 + off, 12.0)
        mask = np.maximum(mask, (np.hypot(x - at[0], y - at[1]) < 2.9).astype(np.float32))
    return desk(rng, covered(card, mask, rng.uniform(0.03, 0.9) * np.ones(3)))


def clipboard(rng: Rng, card: Filled) -> Shot:
    """A metal clip holds the sheet, on its top edge."""
    x, y = grid(card)
    mask = ((np.abs(x - card.size_mm[0] / 2) < rng.uniform(25, 55)) & (y < rng.uniform(5, 11))).astype(
        np.float32
    )
    shine = rng.uniform(0.2, 0.7) + 0.3 * camera.noise_field(rng, x.shape, 300)
    return desk(rng, covered(card, mask, np.clip(shine, 0.05, 1.2)[..., None]))


def stapled(rng: Rng, card: Filled) -> Shot:
    """A staple or a paper clip at a corner, beside its mark."""
    x, y = grid(card)
    left, top = rng.random() < 0.5, rng.random() < 0.8
    u = x if left else card.size_mm[0] - x
    v = y if top else card.size_mm[1] - y
    if rng.random() < 0.5:
        mask = (np.abs((u - 9) - (v - 9)) < 0.5) & (np.abs(u + v - 18) < 9)
    else:
        wire = [np.abs(np.abs(u - 24) - half) < 0.5 for half in (4.0, 2.4)]
        mask = (wire[0] & (v < 28)) | (wire[1] & (v < 22))
    return desk(rng, covered(card, mask.astype(np.float32), rng.uniform(0.1, 0.8) * np.ones(3)))


def trimmed(rng: Rng, card: Filled) -> Shot:
    """Cut out with scissors: little paper is left around the print."""
    ink = card.look.mean(2) < 0.5
    rows, columns = np.flatnonzero(ink.sum(1) > 20), np.flatnonzero(ink.sum(0) > 20)
    m = [int(rng.uniform(1.2, 4) * PX_MM) for _ in range(4)]
    top, bottom = max(rows[0] - m[0], 0), rows[-1] + m[1]
    left, right = max(columns[0] - m[2], 0), columns[-1] + m[3]
    look = card.look[top:bottom, left:right]
    return desk(rng, replace(card, look=look, size_mm=(look.shape[1] / PX_MM, look.shape[0] / PX_MM)))


def rained(rng: Rng, card: Filled) -> Shot:
    """Drops fell on it: ink runs where they lie."""
    x, y = grid(card)
    wet = np.zeros_like(x)
    for _ in range(int(rng.integers(8, 30))):
        at = rng.uniform(0, 1, 2) * card.size_mm
        wet = np.maximum(wet, (np.hypot(x - at[0], y - at[1]) < rng.uniform(1, 4)).astype(np.float32))
    wet = cv2.GaussianBlur(wet, (0, 0), 3)[..., None]
    ran = cv2.GaussianBlur(card.look, (0, 0), 0.35 * PX_MM) * np.float32([0.93, 0.94, 0.95])
    return desk(rng, replace(card, look=card.look * (1 - wet) + ran * wet))


def muddy(rng: Rng, card: Filled) -> Shot:
    """Splashes of mud, most of them small."""
    x, y = grid(card)
    mud = np.zeros_like(x)
    centre = rng.uniform(0.2, 0.8, 2) * card.size_mm
    for _ in range(int(rng.integers(15, 60))):
        at = centre + rng.normal(0, 40, 2)
        mud = np.maximum(
            mud, (np.hypot(x - at[0], y - at[1]) < rng.exponential(0.5) + 0.2).astype(np.float32)
        )
    mud = cv2.GaussianBlur(mud, (0, 0), 1.5) * rng.uniform(0.5, 1.0)
    return desk(rng, covered(card, mud, [0.22, 0.16, 0.1]))


def crumpled(rng: Rng, card: Filled) -> Shot:
    """Balled up, thrown away, taken out again and smoothed by hand."""
    h, w = card.look.shape[:2]
    points = rng.uniform(0, 1, (70, 2)) * [w, h]
    small = np.mgrid[: h // 8 + 1, : w // 8 + 1].astype(np.float32) * 8
    far = np.stack([np.hypot(small[1] - px, small[0] - py) for px, py in points])
    order = np.argsort(far, axis=0)[:2]
    facet = rng.normal(0, 0.14, len(points))[order[0]]
    between = np.take_along_axis(far, order, 0)
    crease = np.exp(-(((between[1] - between[0]) / 14) ** 2)) * rng.choice([-1.0, 1.0]) * 0.15
    light = cv2.resize((1 + facet + crease).astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
    y, x = np.mgrid[:h, :w].astype(np.float32)
    move = [
        camera.noise_field(rng, (h, w), rng.uniform(120, 250)) * rng.uniform(0.2, 0.5) * PX_MM for _ in (0, 1)
    ]
    bent = cv2.remap(card.look, x + move[0], y + move[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return desk(rng, replace(card, look=bent * light[..., None]))


def sleeve(rng: Rng, card: Filled) -> Shot:
    """In a plastic sleeve: haze, and lamps mirrored as streaks."""
    x, y = grid(card)
    turn = rng.uniform(0, np.pi)
    along = np.cos(turn) * x + np.sin(turn) * y + 3 * camera.noise_field(rng, x.shape, 400)
    glare = np.zeros_like(x)
    for _ in range(int(rng.integers(1, 3))):
        at = rng.uniform(0.1, 0.9) * float(along.max())
        glare += rng.uniform(0.3, 1.2) * np.exp(-(((along - at) / rng.uniform(2, 7)) ** 2))
    hidden(card, glare > 0.6)
    return desk(rng, replace(card, look=0.9 * card.look + 0.06 + glare[..., None]))


def flash(rng: Rng, card: Filled) -> Shot:
    """The telephone's own lamp, mirrored in the middle of the sheet."""
    x, y = grid(card)
    at = rng.uniform(0.3, 0.7, 2) * card.size_mm
    far = np.hypot(x - at[0], y - at[1])
    glare = rng.uniform(0.6, 1.6) * np.exp(-((far / rng.uniform(10, 25)) ** 2))
    hidden(card, glare > 0.5)
    light = 0.5 + 0.9 * np.exp(-((far / 150) ** 2))
    return desk(rng, replace(card, look=card.look * light[..., None] + glare[..., None]))


def thumbs(rng: Rng, card: Filled) -> Shot:
    """Held up in both hands: a thumb on each side."""
    x, y = grid(card)
    mask = np.zeros_like(x)
    for side in (0.0, card.size_mm[0]):
        at, reach = rng.uniform(0.25, 0.75) * card.size_mm[1], rng.uniform(8, 18)
        mask = np.maximum(mask, ((((x - side) / reach) ** 2 + ((y - at) / 9) ** 2) < 1).astype(np.float32))
    skin = np.float32([0.6, 0.4, 0.32]) * rng.uniform(0.4, 1.2)
    return desk(rng, covered(card, cv2.GaussianBlur(mask, (0, 0), 3), skin))


def smaller(rng: Rng, card: Filled) -> Shot:
    """Printed to fit another page, or two on a sheet."""
    scale = float(rng.choice([0.707, rng.uniform(0.9, 0.97)]))
    return desk(rng, replace(card, size_mm=(card.size_mm[0] * scale, card.size_mm[1] * scale)))


def neighbour(rng: Rng, card: Filled) -> Shot:
    """Beside it lies another sheet, half in the picture."""
    h, w = card.look.shape[:2]
    gap = np.full((h, int(rng.uniform(0.3, 2) * 10 * PX_MM), 3), rng.uniform(0.05, 0.6), np.float32)
    part = card.look[:, : int(rng.uniform(0.15, 0.5) * w)]
    if rng.random() < 0.5:
        part = card.look[::-1, ::-1][:, : part.shape[1]]
    look = np.concatenate([card.look, gap, part], 1)
    return desk(rng, replace(card, look=look, size_mm=(look.shape[1] / PX_MM, card.size_mm[1])))


# What happens to the picture


def flat(card: Filled, rate: float, margin_mm: float = 0.0, around: float = 0.97) -> Floats:
    """The sheet seen from straight above at so many pixels a millimetre."""
    size = round(card.size_mm[0] * rate), round(card.size_mm[1] * rate)
    soft = cv2.GaussianBlur(card.look, (0, 0), max(0.3, 0.4 * PX_MM / rate))
    small = cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR)
    m = round(abs(margin_mm) * rate)
    if margin_mm < 0:
        return small[m : size[1] - m, m : size[0] - m]
    return cv2.copyMakeBorder(small, m, m, m, m, cv2.BORDER_CONSTANT, value=[around] * 3)


def eight_bit(look: Floats, gamma: float = 2.2) -> Picture:
    """Reflectance to a picture."""
    return (np.clip(look, 0, 1) ** (1 / gamma) * 255).astype(np.uint8)


def tablet(rng: Rng, card: Filled) -> Shot:
    """Filled with a stylus on a screen, and a picture of that screen, or the page."""
    rate = rng.uniform(4.5, 9)
    page = eight_bit(flat(card, rate, float(rng.choice([0, 6])), float(rng.choice([0.04, 0.6, 1.0]))))
    if rng.random() < 0.5:
        bar = np.full((int(rng.uniform(60, 160)), page.shape[1], 3), int(rng.choice([25, 240])), np.uint8)
        for k in range(6):
            cv2.circle(bar, (60 + 90 * k, bar.shape[0] // 2), 18, (120, 120, 120), 3)
        page = np.concatenate([bar, page])
    return Shot(page, rate, "png")


def scanner_look(rng: Rng, card: Filled, rate: float) -> Floats:
    """What an application that straightens photos starts from, of light 1 on average."""
    card = replace(
        card, look=card.look * (1 + 0.15 * camera.noise_field(rng, card.look.shape[:2], 900)[..., None])
    )
    look = flat(card, rate, -rng.uniform(0, 2.5))
    look = cv2.resize(look, None, fx=rng.uniform(0.97, 1.03), fy=1)
    return np.clip(look + rng.normal(0, 0.012, look.shape).astype(np.float32), 0, 1.5)


def whitened(rng: Rng, card: Filled) -> Shot:
    """Straightened, its paper whitened, its colours driven up."""
    rate = rng.uniform(5, 9)
    look = scanner_look(rng, card, rate) ** (1 / 2.2)
    paper = cv2.GaussianBlur(cv2.dilate(look, np.ones((15, 15))), (0, 0), 20)
    look = look / paper * rng.uniform(1.02, 1.15)
    look += 0.8 * (look - cv2.GaussianBlur(look, (0, 0), 1.5))
    grey = look.mean(2, keepdims=True)
    look = grey + rng.uniform(0, 1.8) * (look - grey)
    return Shot((np.clip(look, 0, 1) * 255).astype(np.uint8), rate, quality=70)


def two_tone(rng: Rng, card: Filled) -> Shot:
    """Straightened and made black and white, each pixel by its neighbourhood."""
    rate = rng.uniform(6, 9)
    grey = scanner_look(rng, card, rate).mean(2) ** (1 / 2.2)
    near = cv2.GaussianBlur(grey, (0, 0), rng.uniform(2.5, 6) * rate)
    black = grey < near * rng.uniform(0.82, 0.92)
    return Shot(np.repeat(np.where(black, 0, 255).astype(np.uint8)[..., None], 3, 2), rate, "png")


def fax(rng: Rng, card: Filled) -> Shot:
    """Sent by telephone: 8 dots a millimetre across, 7.7 or 3.85 down (ITU-T T.4), black or white."""
    grey = flat(card, 8.0, 3.0).mean(2)
    down = 7.7 if rng.random() < 0.6 else 3.85
    grey = cv2.resize(grey, (grey.shape[1], round(grey.shape[0] * down / 8)), interpolation=cv2.INTER_AREA)
    black = grey < rng.uniform(0.4, 0.6)
    return Shot(np.repeat(np.where(black, 0, 255).astype(np.uint8)[..., None], 3, 2), down, "tif")


def coarse_scan(rng: Rng, card: Filled) -> Shot:
    """A scan of 75 to 100 dots an inch."""
    rate = float(rng.choice([75, 100])) / 25.4
    return Shot(eight_bit(flat(card, rate, 4.0), rng.uniform(1.7, 2.2)), rate, quality=75)


def black_lid(rng: Rng, card: Filled) -> Shot:
    """Copied with the lid open: black around the sheet, its edges dark."""
    rate = rng.uniform(5.5, 11.8)
    look = flat(card, rate, rng.uniform(3, 15), 0.02)
    spin = cv2.getRotationMatrix2D((look.shape[1] / 2, look.shape[0] / 2), rng.normal(0, 1.5), 1)
    look = cv2.warpAffine(look, spin, look.shape[1::-1], borderValue=[0.02] * 3)
    return Shot(np.repeat(eight_bit(look.mean(2, keepdims=True)), 3, 2), rate)


def mirrored(rng: Rng, card: Filled) -> Shot:
    """By the camera on the screen's side, kept as in a mirror."""
    shot = desk(rng, card)
    return replace(shot, picture=np.ascontiguousarray(shot.picture[:, ::-1]))


def by_tag(rng: Rng, card: Filled) -> Shot:
    """The sensor's own way up, a tag says how to turn it."""
    return replace(desk(rng, card), keep="tagged")


def wide_lens(rng: Rng, card: Filled) -> Shot:
    """A wide lens near the sheet: straight lines bulge."""
    shot = desk(rng, card)
    h, w = shot.picture.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    u, v = (x - w / 2) / (w / 2), (y - h / 2) / (w / 2)
    k = rng.uniform(0.04, 0.14)
    stretch = 1 + k * (u**2 + v**2)
    stretch /= 1 + k * (h / w) ** 2
    seen = cv2.remap(shot.picture, u * stretch * w / 2 + w / 2, v * stretch * w / 2 + h / 2, cv2.INTER_LINEAR)
    return replace(shot, picture=seen)


def near_focus(rng: Rng, card: Filled) -> Shot:
    """A portrait's blur: sharp along one line, soft away from it."""
    shot = desk(rng, card)
    h = shot.picture.shape[0]
    at = np.abs(np.arange(h) / h - rng.uniform(0.2, 0.8)).astype(np.float32)[:, None, None]
    soft = cv2.GaussianBlur(shot.picture, (0, 0), rng.uniform(0.2, 0.45) * shot.rate).astype(np.float32)
    mix = np.clip(at * 2.2, 0, 1)
    return replace(shot, picture=(shot.picture * (1 - mix) + soft * mix).astype(np.uint8))


def wavy(rng: Rng, card: Filled) -> Shot:
    """A panorama, or a sheet pulled over the glass: rows sway."""
    shot = desk(rng, card)
    h, w = shot.picture.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    sway = rng.uniform(0.3, 1.0) * shot.rate * np.sin(2 * np.pi * y / (rng.uniform(50, 160) * shot.rate))
    return replace(shot, picture=cv2.remap(shot.picture, x + sway, y, cv2.INTER_LINEAR))


def night(rng: Rng, card: Filled) -> Shot:
    """Under a street lamp: orange, dark, noisy, its noise smeared away."""
    shot = desk(rng, card)
    light = (shot.picture / 255.0) ** 2.2 * np.array([1.0, 0.55, 0.16]) * rng.uniform(0.25, 0.7)
    light = light + rng.normal(0, rng.uniform(0.015, 0.04), light.shape)
    seen = eight_bit(light.astype(np.float32))
    return replace(shot, picture=cv2.bilateralFilter(seen, 5, 25, 2), quality=75)


def windscreen(rng: Rng, card: Filled) -> Shot:
    """Through a pane that mirrors something else."""
    shot = desk(rng, card)
    other = camera.table(rng, shot.picture.shape[:2]) * rng.uniform(0.2, 0.45)
    other = cv2.GaussianBlur(other, (0, 0), rng.uniform(5, 40))
    look = (shot.picture / np.float32(255)) ** 2.2 * 0.75 + other
    return replace(shot, picture=eight_bit(look))


def on_a_screen(rng: Rng, card: Filled) -> Shot:
    """A photo of a screen that shows the card: rows of red, green and blue dots."""
    dots = rng.uniform(3.6, 5)
    shown = flat(card, dots)
    h, w = shown.shape[:2]
    big = np.repeat(np.repeat(shown, 6, 0), 6, 1)
    column = np.arange(w * 6) % 6 // 2
    for channel in range(3):
        big[..., channel] *= np.where(column == channel, 2.4, 0.25)[None, :]
    big[np.arange(h * 6) % 6 == 5] *= 0.35
    rate = rng.uniform(8, 11)
    look = cv2.resize(
        cv2.GaussianBlur(big, (0, 0), 6 * dots / rate * 0.45),
        None,
        fx=rate / (6 * dots),
        fy=rate / (6 * dots),
        interpolation=cv2.INTER_LINEAR,
    )
    look = np.clip(look, 0, 1.2)
    return desk(
        rng, replace(card, look=cv2.resize(look, card.look.shape[1::-1], interpolation=cv2.INTER_LINEAR))
    )


def tiny(rng: Rng, card: Filled) -> Shot:
    """A small copy of a photo, as previews are."""
    shot = desk(rng, card)
    k = rng.uniform(2.3, 3.2) / shot.rate
    return replace(
        shot,
        picture=cv2.resize(shot.picture, None, fx=k, fy=k, interpolation=cv2.INTER_AREA),
        rate=k * shot.rate,
    )


def squeezed(rng: Rng, card: Filled) -> Shot:
    """A file made very small, twice."""
    shot = desk(rng, card)
    for quality in (35, 22):
        data = cv2.imencode(".jpg", shot.picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        shot = replace(shot, picture=np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]))
    return replace(shot, quality=30)


def too_dark(rng: Rng, card: Filled) -> Shot:
    """A sixth of the light that it wanted."""
    shot = desk(rng, card)
    light = (shot.picture / np.float32(255)) ** 2.2 * rng.uniform(0.05, 0.12)
    return replace(shot, picture=eight_bit(light + rng.normal(0, 0.002, light.shape).astype(np.float32)))


def too_bright(rng: Rng, card: Filled) -> Shot:
    """Paper burnt out everywhere."""
    shot = desk(rng, card)
    return replace(shot, picture=eight_bit((shot.picture / np.float32(255)) ** 2.2 * rng.uniform(1.5, 2.4)))


Way = Callable[[Rng, Filled], Shot]
#: What happens, and what it needs of the card.
WAYS: dict[str, tuple[Way, dict[str, Any]]] = {
    way.__name__: (way, {})
    for way in (
        coffee,
        highlighter,
        punched,
        clipboard,
        stapled,
        trimmed,
        rained,
        muddy,
        crumpled,
        sleeve,
        flash,
        thumbs,
        smaller,
        neighbour,
        whitened,
        two_tone,
        fax,
        coarse_scan,
        black_lid,
        mirrored,
        by_tag,
        wide_lens,
        near_focus,
        wavy,
        night,
        windscreen,
        on_a_screen,
        tiny,
        squeezed,
        too_dark,
        too_bright,
    )
} | {
    "tablet": (tablet, {"pen_kinds": DIGITAL, "paperless": True}),
    "coloured_pens": (desk, {"pen_kinds": COLOURED}),
    "blue_print": (desk, {"print_colour": (1.0, 0.75, 0.2)}),
    "pink_print": (desk, {"print_colour": (0.15, 1.0, 0.5)}),
    "green_print": (desk, {"print_colour": (1.0, 0.3, 0.9)}),
}


def keep(shot: Shot, file: Path) -> str:
    """Write the picture; the file's name."""
    if shot.keep == "tagged":
        file = file.with_suffix(".jpg")
        exif = Image.Exif()
        exif[0x0112] = 6  # turn a quarter to the right to show it
        Image.fromarray(np.ascontiguousarray(np.rot90(shot.picture))).save(
            file, quality=shot.quality, exif=exif
        )
        return file.name
    file = file.with_suffix("." + shot.keep)
    image = Image.fromarray(shot.picture)
    if shot.keep == "tif":
        image.convert("1").save(file, compression="group4", dpi=(203.2, 25.4 * shot.rate))
    elif shot.keep == "png":
        image.save(file)
    else:
        image.save(file, quality=shot.quality)
    return file.name


def photo(job: tuple[int, str, Path, Path, frozenset[str], list[str]]) -> dict[str, Any]:
    """One photo into the folder; what is in it."""
    seed, name, hands_file, out, skip, program = job
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 78])
    way, wants = WAYS[name]
    card = filled(
        rng, "desk", HARDNESS, writing.hands(hands_file, skip), program, **{"pen_kinds": USUAL, **wants}
    )
    shot = way(rng, card)
    file = keep(shot, out / f"{name}_{seed}")
    return card.as_json(file, name, "unplanned", shot.rate)


def main() -> None:
    """Make them in each way."""
    parse = arguments(__doc__, "photos of each way", 500_000)
    parse.add_argument("--ways", default=",".join(WAYS))
    args = parse.parse_args()

    def jobs(skip: frozenset[str], program: list[str]) -> list[Any]:
        return [
            (args.seed + list(WAYS).index(name) * 1000 + k, name, args.hands, args.out, skip, program)
            for name in args.ways.split(",")
            for k in range(args.each)
        ]

    make_all(args, photo, jobs)


if __name__ == "__main__":
    main()
