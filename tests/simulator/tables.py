"""Tables with patterns that draw a detector's eye: mesh, stripes, newsprint, terrazzo, tiles."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Picture = NDArray[np.uint8]


def _base(rng: Rng, size: int, colour: tuple[int, int, int]) -> NDArray[np.float32]:
    noise = rng.standard_normal((size // 2, size // 2)).astype(np.float32)
    noise = cv2.resize(cv2.GaussianBlur(noise, (0, 0), 0.8), (size, size)) * 6
    return np.asarray(np.array(colour, np.float32) + noise[..., None], np.float32)


def mesh(rng: Rng, size: int) -> Picture:
    """A garden table of expanded metal: dark holes in rows."""
    picture = _base(rng, size, [(60, 66, 60), (150, 152, 156), (30, 32, 36)][int(rng.integers(3))])
    pitch, hole = int(rng.uniform(14, 40)), rng.uniform(0.3, 0.45)
    for row, y in enumerate(range(0, size, pitch)):
        for x in range(pitch // 2 * (row % 2), size, pitch):
            cv2.ellipse(picture, ((x, y), (pitch * hole * 2, pitch * hole), 0.0), (22, 26, 18), -1)
    return np.clip(picture, 0, 255).astype(np.uint8)


def stripes(rng: Rng, size: int) -> Picture:
    """A striped cloth, two widths."""
    picture = _base(rng, size, (232, 228, 220))
    x = 0
    dark = [(40, 60, 120), (150, 30, 40), (40, 90, 60)][int(rng.integers(3))]
    while x < size:
        wide = int(rng.choice([8, 30, 60]))
        picture[:, x : x + wide] = picture[:, x : x + wide] * 0.2 + np.array(dark, np.float32) * 0.8
        x += wide + int(rng.choice([12, 40]))
    return np.clip(picture, 0, 255).astype(np.uint8)


def newsprint(rng: Rng, size: int) -> Picture:
    """Newspapers: columns of type, headlines, black squares of a crossword."""
    picture = _base(rng, size, (206, 202, 190))
    for x in range(10, size, 150):
        y = int(rng.uniform(0, 30))
        while y < size:
            kind = rng.random()
            if kind < 0.08:
                cv2.rectangle(picture, (x, y), (x + 130, y + 60), (90, 90, 90), -1)
                y += 70
            elif kind < 0.14:
                cells = np.where(rng.random((13, 13)) < 0.3, 20, 225).astype(np.float32)
                grid = cv2.resize(cells, (117, 117), interpolation=cv2.INTER_NEAREST)
                part = picture[y : y + 117, x : x + 117]
                part[:] = grid[: part.shape[0], : part.shape[1], None]
                y += 126
            elif kind < 0.25:
                for word in range(3):
                    left = x + word * 44
                    cv2.rectangle(picture, (left, y), (left + 36, y + 14), (30, 30, 30), -1)
                y += 22
            else:
                left = x
                while left < x + 126:
                    word = int(rng.uniform(5, 24))
                    cv2.rectangle(picture, (left, y), (left + word, y + 3), (70, 70, 70), -1)
                    left += word + 4
                y += 8
    return np.clip(picture, 0, 255).astype(np.uint8)


def terrazzo(rng: Rng, size: int) -> Picture:
    """Chips of stone in cement."""
    picture = _base(rng, size, (186, 182, 176))
    for _ in range(2600):
        centre = rng.uniform(0, size, 2)
        around = np.sort(rng.uniform(0, 2 * np.pi, 6))
        chip = centre + rng.uniform(3, 16) * np.stack([np.cos(around), np.sin(around)], axis=1)
        shade = rng.uniform(30, 240)
        cv2.fillPoly(picture, [chip.astype(np.int32)], (shade, shade * 0.96, shade * 0.9), cv2.LINE_AA)
    return np.clip(picture, 0, 255).astype(np.uint8)


def tiles(rng: Rng, size: int) -> Picture:
    """Black and white tiles, about as large as a corner mark or much larger."""
    side = int(rng.choice([15, 30, 60, 130]))
    rows, columns = np.indices((size, size)) // side
    level = np.where((rows + columns) % 2, 225, 34).astype(np.float32)
    return np.clip(level[..., None] + _base(rng, size, (0, 0, 0)), 0, 255).astype(np.uint8)


TABLES = {"mesh": mesh, "stripes": stripes, "newsprint": newsprint, "terrazzo": terrazzo, "tiles": tiles}
