"""What the sheet lies on: procedural textures, as seen from above, 2.5 pixels to the millimetre."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.simulator.pens import Picture
from tests.simulator.tables import TABLES

Rng = np.random.Generator
Floats = NDArray[np.float32]

SIZE_PX = 1600
PX_PER_MM = 2.5


def _noise(rng: Rng, cells_x: int, cells_y: int) -> Floats:
    """Smooth noise over the canvas, standard deviation 1, about `cells` bumps across."""
    small = rng.standard_normal((max(cells_y, 2), max(cells_x, 2))).astype(np.float32)
    big = cv2.resize(small, (SIZE_PX, SIZE_PX), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big / max(float(big.std()), 1e-6), dtype=np.float32)


def _coloured(level: Floats, dark: tuple[int, int, int], light: tuple[int, int, int]) -> Picture:
    """Blend two sRGB colours by `level`, 0 dark to 1 light."""
    a, b = np.array(dark, dtype=np.float32), np.array(light, dtype=np.float32)
    t = np.clip(level, 0, 1)[..., None]
    return np.clip(a + (b - a) * t, 0, 255).astype(np.uint8)


def _wood(rng: Rng) -> Picture:
    """Boards with grain and dark joints."""
    rings = _noise(rng, 10, 3) * 1.6 + _noise(rng, 60, 4) * 0.5
    fibre = _noise(rng, 700, 18)
    level = 0.55 + 0.16 * np.sin(rings * 5.0) + 0.10 * fibre + 0.06 * _noise(rng, 8, 2)
    board = int(rng.uniform(90, 140) * PX_PER_MM)
    for x in range(int(rng.uniform(0, board)), SIZE_PX, board):
        level[:, x : x + 5] *= 0.35
        level[:, x + 5 :] = level[:, x + 5 :] + np.float32(rng.normal(0, 0.06))
    light = [(186, 140, 92), (150, 104, 66), (205, 176, 135)][int(rng.integers(3))]
    return _coloured(level, (62, 40, 24), light)


def _grass(rng: Rng) -> Picture:
    """Blades over soil."""
    picture = _coloured(0.4 + 0.25 * _noise(rng, 90, 90), (34, 36, 18), (78, 84, 44))
    for _ in range(14000):
        x, y = rng.uniform(0, SIZE_PX, 2)
        a = rng.uniform(0, 2 * np.pi)
        length = rng.uniform(18, 70)
        bend = a + rng.normal(0, 0.5)
        mid = (x + length / 2 * np.cos(a), y + length / 2 * np.sin(a))
        end = (mid[0] + length / 2 * np.cos(bend), mid[1] + length / 2 * np.sin(bend))
        green = rng.uniform(0.45, 1.1)
        colour = (int(95 * green * rng.uniform(0.7, 1.15)), int(135 * green), int(48 * green))
        points = np.array([(x, y), mid, end])
        cv2.polylines(
            picture,
            [np.round(points * 8).astype(np.int32)],
            False,
            colour,
            int(rng.integers(1, 4)),
            cv2.LINE_AA,
            3,
        )
    return picture


def _bonnet(rng: Rng) -> Picture:
    """A car's paint with the sky and trees in it."""
    base = [(28, 34, 46), (120, 20, 24), (150, 154, 158), (20, 60, 40), (232, 233, 232)][int(rng.integers(5))]
    sky = 0.5 + 0.5 * np.tanh(_noise(rng, 3, 4) * 1.2)
    blurred = cv2.GaussianBlur(sky, (0, 0), 25)
    picture = _coloured(blurred, base, tuple(min(c + 85, 250) for c in base))  # type: ignore[arg-type]
    flakes = rng.integers(-9, 10, (SIZE_PX, SIZE_PX, 1), dtype=np.int16)
    picture = np.clip(picture.astype(np.int16) + flakes, 0, 255).astype(np.uint8)
    for _ in range(int(rng.integers(0, 60))):  # pollen and dried drops
        centre = tuple(int(v) for v in rng.integers(0, SIZE_PX, 2))
        cv2.circle(picture, centre, int(rng.integers(1, 5)), (170, 168, 150), 1, cv2.LINE_AA)
    return picture


def _dark(rng: Rng) -> Picture:
    return _coloured(
        0.4 + 0.10 * _noise(rng, 1500, 1500) + 0.1 * _noise(rng, 40, 55) + 0.2 * _noise(rng, 5, 5),
        (12, 12, 14),
        (44, 42, 42),
    )


def _white(rng: Rng) -> Picture:
    return _coloured(
        0.6 + 0.08 * _noise(rng, 1500, 1500) + 0.05 * _noise(rng, 90, 60) + 0.2 * _noise(rng, 4, 4),
        (214, 214, 210),
        (244, 243, 240),
    )


def _cloth(rng: Rng) -> Picture:
    """A woven cloth, some of them chequered, with soft folds."""
    y, x = np.mgrid[0:SIZE_PX, 0:SIZE_PX].astype(np.float32)
    weave = 0.10 * (np.sin(x * 1.9) * np.sin(y * 1.9))
    level = 0.55 + weave + 0.16 * np.sin(_noise(rng, 3, 4) * 2.2) + 0.05 * _noise(rng, 500, 500)
    if rng.random() < 0.5:
        square = rng.uniform(18, 40) * PX_PER_MM
        level += 0.16 * (((x // square) % 2) + ((y // square) % 2) - 1.0)
    dark, light = [
        ((40, 52, 84), (150, 164, 196)),
        ((92, 24, 26), (226, 190, 180)),
        ((70, 66, 58), (196, 190, 176)),
    ][int(rng.integers(3))]
    return _coloured(level, dark, light)


def _concrete(rng: Rng) -> Picture:
    level = 0.55 + 0.12 * _noise(rng, 700, 700) + 0.08 * _noise(rng, 90, 90) + 0.10 * _noise(rng, 6, 6)
    picture = _coloured(level, (88, 86, 82), (176, 174, 168))
    for _ in range(500):
        centre = tuple(int(v) for v in rng.integers(0, SIZE_PX, 2))
        shade = int(rng.uniform(60, 190))
        cv2.circle(picture, centre, int(rng.integers(1, 7)), (shade, shade - 2, shade - 6), -1, cv2.LINE_AA)
    return picture


def _clutter(rng: Rng) -> Picture:
    """A desk with other papers on it: their straight edges and dark type draw the eye of a detector."""
    picture = _wood(rng)
    for _ in range(int(rng.integers(3, 7))):
        w, h = int(rng.uniform(60, 210) * PX_PER_MM), int(rng.uniform(60, 290) * PX_PER_MM)
        page = np.full((h, w, 3), int(rng.uniform(200, 245)), dtype=np.uint8)
        y = 24
        while y < h - 24:
            x = 20
            while x < w - 60:
                word = int(rng.uniform(8, 42))
                if rng.random() < 0.8:
                    cv2.rectangle(page, (x, y), (x + word, y + 5), (60, 60, 64), -1)
                x += word + 7
            y += 14
        if rng.random() < 0.4:
            cells = rng.integers(0, 2, (25, 25), dtype=np.uint8) * 225 + 15
            code = cv2.resize(cells, (75, 75), interpolation=cv2.INTER_NEAREST)
            room = page[20:95, w - 95 : w - 20]
            if room.shape[:2] == code.shape:
                room[:] = code[..., None]
        turn = cv2.getRotationMatrix2D((w / 2, h / 2), rng.uniform(-180, 180), 1.0)
        turn[:, 2] += rng.uniform(0, SIZE_PX, 2) - np.array([w / 2, h / 2])
        mask = cv2.warpAffine(
            np.full((h, w), 255, np.uint8), turn, (SIZE_PX, SIZE_PX), flags=cv2.INTER_LINEAR
        )
        laid = cv2.warpAffine(page, turn, (SIZE_PX, SIZE_PX), flags=cv2.INTER_LINEAR)
        cv2.copyTo(laid, (mask > 200).astype(np.uint8), picture)
    return picture


BACKGROUNDS: dict[str, Callable[[Rng], Picture]] = {
    "wood": _wood,
    "grass": _grass,
    "bonnet": _bonnet,
    "dark": _dark,
    "white": _white,
    "cloth": _cloth,
    "concrete": _concrete,
    "clutter": _clutter,
}

BACKGROUNDS |= {name: lambda rng, draw=draw: draw(rng, SIZE_PX) for name, draw in TABLES.items()}  # type: ignore[misc]

#: Different canvases of each kind; more would only cost time and memory.
VARIANTS = 4


@lru_cache(maxsize=12)
def _canvas(kind: str, variant: int) -> Picture:
    # Not the built-in hash: it changes from run to run.
    picture = BACKGROUNDS[kind](np.random.default_rng([variant, *kind.encode()]))
    picture.setflags(write=False)
    return picture


def background(
    kind: str, variant: int, table_to_photo: NDArray[np.float64], size_px: tuple[int, int]
) -> Picture:
    """Picture (height, width, 3) of the table.

    Parameters
    ----------
    table_to_photo : (3, 3) homography, mm on the table (from the middle of the view) -> photo px
    """
    canvas = _canvas(kind, variant % VARIANTS)
    to_mm = np.array(
        [
            [1 / PX_PER_MM, 0, -SIZE_PX / 2 / PX_PER_MM],
            [0, 1 / PX_PER_MM, -SIZE_PX / 2 / PX_PER_MM],
            [0, 0, 1],
        ]
    )
    return np.asarray(
        cv2.warpPerspective(
            canvas, table_to_photo @ to_mm, size_px, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101
        ),
        dtype=np.uint8,
    )
