"""Office copiers: what their lamp, sensor, tone curve and toner make of a sheet.

A copier looks at the sheet with its own lamp, takes the most frequent light grey for paper and makes white of
it and of whatever is nearly as light, bends the tones so that type comes out black, sharpens, and prints what
is left in black dots. Pale tones are lost at the white point, dark hairlines grow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.paper import PrintJob, Sheet, print_sheet

Rng = np.random.Generator
Grey = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Copier:
    """One machine with its settings.

    Attributes
    ----------
    white : lightness, as a share of the paper's, from which on all is printed white; 1 keeps every tint
    gain : slope of the tone curve; above 2 greys turn black or white
    toe : darkness that is taken off first, 0..1, as a lighter setting does; below 0 it adds, a darker setting
    blur_mm, sharpen : of its lens, and of its software
    screen_per_mm : dots of its print, 0 for true greys
    spread_mm : by how much toner spreads beyond its dots
    lamp : loss of light towards one side of the glass, 0..1, which its software does not even out
    noise : of its sensor, a share of white
    dust : specks to a square centimetre
    """

    white: float = 0.92
    gain: float = 1.4
    toe: float = 0.0
    blur_mm: float = 0.06
    sharpen: float = 0.4
    screen_per_mm: float = 4.0
    spread_mm: float = 0.02
    lamp: float = 0.05
    noise: float = 0.01
    dust: float = 0.2


def some_copier(rng: Rng, *, loses: float) -> Copier:
    """Return a machine; `loses` 0 keeps tints of a tenth, 1 loses all that is not plainly dark."""
    return Copier(
        white=float(np.clip(rng.normal(0.93 - 0.33 * loses, 0.05), 0.45, 0.99)),
        gain=float(rng.uniform(1.05, 1.6) + 1.2 * loses * rng.random()),
        toe=float(rng.normal(0.02 + 0.08 * loses, 0.04)),
        blur_mm=float(rng.uniform(0.03, 0.11)),
        sharpen=float(rng.uniform(0.0, 0.9)),
        screen_per_mm=float(rng.choice([0.0, rng.uniform(3.3, 7.5)])),
        spread_mm=float(rng.uniform(0.0, 0.05)),
        lamp=float(abs(rng.normal(0, 0.06))),
        noise=float(rng.uniform(0.003, 0.02)),
        dust=float(rng.gamma(1.2, 0.25)),
    )


def copied_page(lightness: Grey, px_per_mm: float, copier: Copier, rng: Rng) -> Grey:
    """Return the page (H, W) that the copier prints of a sheet, 255 where it leaves the paper bare.

    Parameters
    ----------
    lightness : (H, W) sRGB grey of the sheet under even light
    """
    seen = cv2.GaussianBlur(lightness, (0, 0), max(copier.blur_mm * px_per_mm, 0.2)).astype(np.float32)
    if copier.lamp > 0:
        along = np.linspace(0, 1, seen.shape[1], dtype=np.float32)
        seen *= 1.0 - copier.lamp * (along if rng.random() < 0.5 else along[::-1])
    grain = rng.standard_normal((seen.shape[0] // 2 + 1, seen.shape[1] // 2 + 1)).astype(np.float32)
    seen += cv2.resize(grain, seen.shape[1::-1]) * np.float32(255 * copier.noise)
    paper = float(np.median(seen[::9, ::9]))
    if copier.sharpen > 0:
        soft = cv2.GaussianBlur(seen, (0, 0), 0.12 * px_per_mm)
        seen += np.float32(copier.sharpen) * (seen - soft)
    ink = np.clip(1.0 - seen / (paper * copier.white), 0.0, 1.0)
    ink = np.clip((ink - copier.toe * (ink > 0.01)) * copier.gain, 0.0, 1.0)
    if copier.screen_per_mm > 0:
        ink = _dots(ink, px_per_mm, copier.screen_per_mm, rng)
    if copier.spread_mm * px_per_mm > 0.2:
        grown = cv2.dilate(ink, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3)))
        share = np.float32(min(copier.spread_mm * px_per_mm, 1.0))
        ink = ink * (1 - share) + grown * share
    page = np.asarray(255 - np.clip(ink * 255, 0, 255).astype(np.uint8), np.uint8)
    _dust(page, px_per_mm, copier.dust, rng)
    return page


def _dots(ink: NDArray[np.float32], px_per_mm: float, per_mm: float, rng: Rng) -> NDArray[np.float32]:
    """Greys as dots on a turned screen; what is nearly black or bare stays so."""
    turn = np.radians(float(rng.choice([45.0, 37.0, 71.0, 18.0])))
    rows, columns = np.indices(ink.shape, dtype=np.float32)
    step = np.float32(2 * np.pi * per_mm / px_per_mm)
    u = (columns * np.float32(np.cos(turn)) + rows * np.float32(np.sin(turn))) * step
    v = (rows * np.float32(np.cos(turn)) - columns * np.float32(np.sin(turn))) * step
    screen = 0.5 + 0.25 * (np.cos(u) + np.cos(v))
    dots = np.clip((ink - screen) * 5.0 + 0.5, 0.0, 1.0)
    return np.asarray(np.where((ink > 0.04) & (ink < 0.9), dots, ink), np.float32)


def _dust(page: Grey, px_per_mm: float, per_cm2: float, rng: Rng) -> None:
    count = rng.poisson(per_cm2 * page.size / (10 * px_per_mm) ** 2)
    for _ in range(count):
        at = (int(rng.integers(0, page.shape[1])), int(rng.integers(0, page.shape[0])))
        cv2.circle(page, at, int(rng.exponential(0.08) * px_per_mm), int(rng.uniform(0, 170)), -1)


def copied_sheet(sheet: Sheet, copier: Copier, job: PrintJob, stock: str, rng: Rng) -> Sheet:
    """Return a copy of a filled-in sheet; `job` says how the copy lies on its paper."""
    grey = cv2.cvtColor(sheet.rgb, cv2.COLOR_RGB2GRAY)
    page = copied_page(grey, sheet.px_per_mm, copier, rng)
    copy = print_sheet(page, sheet.px_per_mm, job, stock, rng)
    both = np.vstack([copy.card_to_sheet, [0, 0, 1]]) @ np.vstack([sheet.card_to_sheet, [0, 0, 1]])
    return replace(sheet, rgb=copy.rgb, card_to_sheet=both[:2], gloss=None)


def some_slip(rng: Rng) -> PrintJob:
    """How a copy lies on its paper: a little askew, a little larger or smaller."""
    return PrintJob(
        scale_x=float(rng.normal(1.0, 0.006)),
        scale_y=float(rng.normal(1.0, 0.006)),
        shift_mm=(float(rng.normal(0, 1.5)), float(rng.normal(0, 1.5))),
        turn_deg=float(rng.normal(0, 0.6)),
        toner=float(rng.uniform(0.8, 1.0)),
        streaks=float(max(rng.normal(0, 0.25), 0)),
    )


def lightness_of(page: Grey, px_per_mm: float, rng: Rng) -> Grey:
    """Return a clean print of a page as a copier sees it, in place on the page's own pixels."""
    ink = 255 - page
    ink = cv2.GaussianBlur(ink, (0, 0), 0.035 * px_per_mm)
    level = np.arange(256, dtype=np.float32) / 255.0
    white = float(rng.uniform(0.80, 0.92))
    linear = white * (1 - level) + 0.045 * level
    table = np.round(255 * np.clip(linear, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    return np.asarray(cv2.LUT(ink, table), np.uint8)
