"""Printers that do not print what they were sent: saved toner, empty cartridges, blocked nozzles, screens.

Each takes a page as wished and returns the page as it lies on the paper, before toner spreads
(`paper.print_sheet` goes on from there).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Grey = NDArray[np.uint8]


def lightened(page: Grey, gamma: float) -> Grey:
    """Greys as a driver with another tone curve sends them: above 1 paler, black stays black."""
    ink = 1.0 - np.arange(256, dtype=np.float32) / 255.0
    return np.asarray(cv2.LUT(page, np.round(255 * (1 - ink**gamma)).astype(np.uint8)), np.uint8)


def toner_saved(page: Grey, px_per_mm: float, keeps: float, rng: Rng) -> Grey:
    """A draft mode: of all that is printed only some dots, a share `keeps`, on a fine grid."""
    pitch = px_per_mm * 25.4 / float(rng.choice([150.0, 200.0, 300.0]))
    rows, columns = np.indices(page.shape, dtype=np.float32)
    grid = np.sin(rows * np.float32(2 * np.pi / pitch)) * np.sin(columns * np.float32(2 * np.pi / pitch))
    share = np.clip(0.5 + grid, 0, 1) * (2 * keeps)
    if pitch < 2.5:  # dots finer than the raster are an even grey
        share = np.full_like(share, keeps)
    return np.asarray(255 - np.clip((255 - page) * np.minimum(share, 1.0), 0, 255).astype(np.uint8), np.uint8)


def screened(page: Grey, px_per_mm: float, lines_per_inch: float, turn_deg: float) -> Grey:
    """Greys as dots, coarse enough to break thin grey lines."""
    ink = (255 - page).astype(np.float32) / 255
    turn = np.radians(turn_deg)
    rows, columns = np.indices(ink.shape, dtype=np.float32)
    step = np.float32(2 * np.pi * lines_per_inch / 25.4 / px_per_mm)
    u = (columns * np.float32(np.cos(turn)) + rows * np.float32(np.sin(turn))) * step
    v = (rows * np.float32(np.cos(turn)) - columns * np.float32(np.sin(turn))) * step
    dots = np.clip((ink - 0.5 - 0.25 * (np.cos(u) + np.cos(v))) * 4 + 0.5, 0, 1)
    dots = np.where((ink > 0.03) & (ink < 0.92), dots, ink)
    return np.asarray(255 - (255 * dots).astype(np.uint8), np.uint8)


def sprayed(page: Grey, px_per_mm: float, full: float, blocked: float, rng: Rng) -> Grey:
    """An inkjet: drops scattered by chance, nozzles that give nothing, bands where the head has passed.

    Parameters
    ----------
    full : share of ink that the cartridge still gives
    blocked : share of nozzles that give nothing
    """
    ink = (255 - page).astype(np.float32) / 255
    drop = max(round(px_per_mm / 12), 1)
    chance = rng.random((ink.shape[0] // drop + 1, ink.shape[1] // drop + 1)).astype(np.float32)
    chance = cv2.resize(chance, (chance.shape[1] * drop, chance.shape[0] * drop), interpolation=0)
    thrown = (ink > chance[: ink.shape[0], : ink.shape[1]] * 0.97).astype(np.float32) * np.float32(full)
    nozzles = rng.random(96) >= blocked
    rows = np.arange(len(ink)) // max(round(px_per_mm / 11), 1) % len(nozzles)
    thrown *= np.where(nozzles[rows], 1.0, 0.12).astype(np.float32)[:, None]
    band = 1.0 + 0.12 * np.sin(np.arange(len(ink)) * 2 * np.pi / (rng.uniform(5, 12) * px_per_mm))
    thrown *= band.astype(np.float32)[:, None]
    wicked = cv2.GaussianBlur(thrown, (0, 0), max(rng.uniform(0.03, 0.08) * px_per_mm, 0.3))
    return np.asarray(255 - np.clip(255 * wicked, 0, 255).astype(np.uint8), np.uint8)


def fading(page: Grey, first: float, last: float, turn_deg: float) -> Grey:
    """A drum that gives less towards one side of the sheet: density from `first` to `last`."""
    h, w = page.shape
    a = np.radians(turn_deg)
    rows, columns = np.indices((h // 8 + 1, w // 8 + 1), dtype=np.float32)
    along = columns / (w / 8) * np.float32(np.cos(a)) + rows / (h / 8) * np.float32(np.sin(a))
    along = (along - along.min()) / max(float(np.ptp(along)), 1e-6)
    density = cv2.resize(first + (last - first) * along, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(255 - np.clip((255 - page) * density, 0, 255).astype(np.uint8), np.uint8)
