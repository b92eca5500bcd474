"""What bags, pockets and tubes do to a sheet: creases anywhere and any way, rolled sheets, curled edges.

A crease is a straight line along which the paper keeps an angle; away from it the sheet springs back. Creases
of a sheet that was folded once more cross older ones and turn over there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.pens import Picture, to_linear, to_srgb

Rng = np.random.Generator
Heights = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Crease:
    """One line across the sheet.

    Attributes
    ----------
    x, y : a point on it, shares of width and height
    turn_deg : its direction
    keeps_deg : angle between the two sides, 0 flat; negative is a valley
    eases_mm : how far from the line the sheet has sprung back
    reach : share of the sheet that it runs across; 1 from edge to edge
    worn : how much print has come off along it, 0..1
    """

    x: float
    y: float
    turn_deg: float
    keeps_deg: float
    eases_mm: float = 50.0
    reach: float = 1.0
    worn: float = 0.4


@dataclass(frozen=True, slots=True)
class Curl:
    """An edge or a corner that rolls up, as the arc of a circle.

    Attributes
    ----------
    towards_deg : which way out of the sheet's middle it lies
    starts : share of the way from the middle to the edge at which it begins
    lift_mm : how high the edge stands; negative where the rest of the sheet stands up
    """

    towards_deg: float
    starts: float
    lift_mm: float


def some_bag(rng: Rng, hard: float) -> tuple[tuple[Crease, ...], tuple[Curl, ...]]:
    """Return the creases and curls of a sheet that came out of a bag; `hard` 0..1."""
    creases = []
    for k in range(int(rng.integers(1, 3 + round(3 * hard)))):
        straight = rng.random() < 0.7
        turn = float(rng.choice([0.0, 90.0]) + rng.normal(0, 2.5)) if straight else float(rng.uniform(0, 180))
        middle = k < 2 and straight and rng.random() < 0.6
        at = rng.normal(0.5, 0.02, 2) if middle else rng.uniform(0.1, 0.9, 2)
        keeps = float(rng.choice([-1, 1]) * rng.uniform(4, 14 + 20 * hard))
        creases.append(
            Crease(
                float(at[0]),
                float(at[1]),
                turn,
                keeps,
                float(rng.uniform(20, 90)),
                1.0 if straight else float(rng.uniform(0.3, 1.0)),
                float(rng.uniform(0, 0.9)),
            )
        )
    return tuple(creases), some_curls(rng, 0.6 * hard) if rng.random() < 0.5 else ()


def some_curls(rng: Rng, hard: float) -> tuple[Curl, ...]:
    """Return curls of one or two edges or corners."""
    return tuple(
        Curl(
            float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 14))
            if rng.random() < 0.6
            else float(rng.uniform(0, 360)),
            float(rng.uniform(-0.4, 0.7)),
            float(rng.choice([1, 1, 1, -1]) * rng.uniform(2, 6 + 22 * hard)),
        )
        for _ in range(int(rng.integers(1, 3)))
    )


def heights(
    u: Heights, v: Heights, w: float, h: float, creases: tuple[Crease, ...], curls: tuple[Curl, ...]
) -> Heights:
    """Heights over the sheet (mm) at places u, v (mm)."""
    z = np.zeros_like(u)
    for crease in creases:
        across, along = _from_line(u, v, w, h, crease)
        ridge = np.sqrt(across**2 + 0.5)
        eased = crease.eases_mm * (1.0 - np.exp(-ridge / crease.eases_mm))
        fade = 1.0
        if crease.reach < 1:
            fade = 1.0 / (1.0 + np.exp((np.abs(along) - crease.reach * h / 2) / 6.0))
        z -= np.tan(np.radians(crease.keeps_deg) / 2) * eased * fade
    for curl in curls:
        a = np.radians(curl.towards_deg)
        out = (u - w / 2) * np.cos(a) + (v - h / 2) * np.sin(a)
        reach = (abs(w * np.cos(a)) + abs(h * np.sin(a))) / 2
        beyond = np.clip((out / reach - curl.starts) / (1 - curl.starts), 0, 1.2)
        z += curl.lift_mm * beyond**2
    return z


def _from_line(u: Heights, v: Heights, w: float, h: float, crease: Crease) -> tuple[Heights, Heights]:
    a = np.radians(crease.turn_deg)
    x, y = u - crease.x * w, v - crease.y * h
    return -x * np.sin(a) + y * np.cos(a), x * np.cos(a) + y * np.sin(a)


def creased(rgb: Picture, px_per_mm: float, creases: tuple[Crease, ...], rng: Rng) -> None:
    """Wear the print off along the creases, in place: a fine, uneven, paler line with a dirty edge."""
    height, width = rgb.shape[:2]
    w, h = width / px_per_mm, height / px_per_mm
    for crease in creases:
        if crease.worn <= 0:
            continue
        y, x = np.mgrid[0:height:4, 0:width:4].astype(np.float64) / px_per_mm
        across, along = _from_line(x, y, w, h, crease)
        near = (np.abs(across) < 2.0) & (np.abs(along) < max(crease.reach, 0.1) * h)
        rows, columns = np.flatnonzero(near.any(axis=1)), np.flatnonzero(near.any(axis=0))
        if not len(rows):
            continue
        part = rgb[4 * rows[0] : 4 * rows[-1] + 4, 4 * columns[0] : 4 * columns[-1] + 4]
        py, px = np.mgrid[0 : part.shape[0], 0 : part.shape[1]].astype(np.float32)
        off, at = _from_line((px + 4 * columns[0]) / px_per_mm, (py + 4 * rows[0]) / px_per_mm, w, h, crease)
        waver = rng.normal(0, 0.12, 64)
        off = off + np.interp(at, np.linspace(-400, 400, 64), waver)
        rough = np.interp(at, np.linspace(-400, 400, 1600), rng.uniform(0.2, 1.0, 1600))
        line = np.exp(-((off / 0.17) ** 2)) * rough * (np.abs(at) < crease.reach * 300)
        where = line > 0.02
        light = to_linear(np.ascontiguousarray(part))
        share = (0.8 * crease.worn * line[where])[:, None].astype(np.float32)
        light[where] = light[where] * (1 - share) + np.float32(0.82) * share
        light *= (1 - 0.08 * crease.worn * np.exp(-((off / 0.5) ** 2)) * rough)[..., None].astype(np.float32)
        part[:] = to_srgb(light)


def rolled_shutter(
    image: Picture, grid_px: list[NDArray[np.float64]], shear_px: float, wobble_px: float, phase: float
) -> tuple[Picture, list[NDArray[np.float64]]]:
    """A picture whose lines were read one after the other while the hand moved; and where points went.

    Parameters
    ----------
    shear_px : how far the hand moved sideways from the first line to the last
    wobble_px, phase : and how far it swung to and fro, three times on the way
    """
    height, width = image.shape[:2]

    def moved(y: NDArray[np.float64]) -> NDArray[np.float64]:
        share = y / height
        return np.asarray(shear_px * (share - 0.5) + wobble_px * np.sin(6 * np.pi * share + phase))

    rows = moved(np.arange(height, dtype=np.float64)).astype(np.float32)
    x = np.arange(width, dtype=np.float32)[None, :] - rows[:, None]
    y = np.repeat(np.arange(height, dtype=np.float32)[:, None], width, axis=1)
    shown = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(shown, np.uint8), [
        np.dstack([grid[..., 0] + moved(grid[..., 1]), grid[..., 1]]) for grid in grid_px
    ]
