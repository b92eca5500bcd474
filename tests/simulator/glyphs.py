"""Real digits as paths: small grey pictures are thinned to the line that the pen took.

A glyph can be drawn again at any size with any pen. The pictures are arguments: nothing here knows where they
lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

_UP = 4  # 28 px pictures are thinned at 112 px: fine enough for smooth paths, quick enough for thousands


@dataclass(frozen=True, slots=True)
class Glyph:
    """A digit as paths in a frame with the digit's height as 1, centred on (0, 0), y down.

    `weight` per path is the stroke's width relative to the digit's usual width, (N,). `holes` counts the
    enclosed whites of the picture; `thickest` is its thickest place over the usual width; `usual_px` is half
    of that width in the picture thinned.
    """

    paths: tuple[Points, ...]
    weight: tuple[NDArray[np.float64], ...]
    holes: int = 0
    thickest: float = 1.0
    usual_px: float = 4.0


class GlyphBank:
    """Digits of real hands as glyphs, thinned when first asked for.

    Parameters
    ----------
    images : (N, 28, 28) uint8, ink bright on black
    labels : (N,) 0..9
    """

    def __init__(self, images: NDArray[np.uint8], labels: NDArray[np.integer]) -> None:
        self.images = images
        self.by_digit = {d: np.flatnonzero(labels == d) for d in range(10)}
        self.labels = labels
        self.slant = _slants(images)
        self._glyphs: dict[int, Glyph | None] = {}

    def glyph(self, index: int) -> Glyph | None:
        """Return the glyph of picture `index`; None where its path would not show the digit any more.

        A thick pen may close a loop: people still see an 8 in the blob, but its middle line is a bare stroke.
        Such a picture drawn with a thin pen would be another digit, and the truth would be wrong.
        """
        if index not in self._glyphs:
            needs = {0: 1, 6: 1, 8: 2, 9: 1}.get(int(self.labels[index]), 0)
            glyph = glyph_of(self.images[index], needs)
            # Crossings are thick by nature, most in an 8; elsewhere a thick place is a filled-in loop.
            limit = 1.9 if needs == 0 else 2.6
            if glyph is not None and glyph.holes < needs:
                limit = 1.35
            # Written with a brush, as it were: the white inside bends is filled in too.
            lost = glyph is not None and (glyph.thickest > limit or glyph.usual_px > 8.2)
            self._glyphs[index] = None if lost else glyph
        return self._glyphs[index]

    def take(self, glyphs: Sequence[Glyph | None]) -> None:
        """Take the glyphs of all pictures, thinned elsewhere, instead of thinning them when asked."""
        self._glyphs = dict(enumerate(glyphs))


class PathBank(GlyphBank):
    """Digits whose pen paths are known: nothing is thinned, and no loop closed or opened by it.

    Parameters
    ----------
    strokes : of each digit the strokes, (N, 2) points, x right, y down, any scale
    labels : (N,) 0..9
    """

    def __init__(self, strokes: Sequence[Sequence[Points]], labels: NDArray[np.integer]) -> None:
        self.by_digit = {d: np.flatnonzero(labels == d) for d in range(10)}
        self.labels = labels
        self.slant = np.zeros(len(labels))
        self._strokes = strokes
        self._glyphs = {}

    def glyph(self, index: int) -> Glyph | None:
        """Return digit `index`; None where it has no stroke."""
        if index not in self._glyphs:
            self._glyphs[index] = _of_strokes(self._strokes[index])
        return self._glyphs[index]


def _of_strokes(strokes: Sequence[Points]) -> Glyph | None:
    lines = [np.asarray(s, dtype=float) for s in strokes if len(s) > 1]
    if not lines:
        return None
    extent = np.concatenate(lines)
    low, high = extent.min(axis=0), extent.max(axis=0)
    height = max(high[1] - low[1], 0.45 * (high[0] - low[0]), 1e-6)
    paths = []
    for line in lines:
        # A tablet's samples lie far apart: put three between two of them, then round the corners.
        steps = np.linspace(0, len(line) - 1, 4 * (len(line) - 1) + 1)
        fine = np.column_stack([np.interp(steps, np.arange(len(line)), line[:, axis]) for axis in (0, 1)])
        padded = np.pad(fine, ((2, 2), (0, 0)), mode="edge")
        smooth = np.mean([padded[k : k + len(fine)] for k in range(5)], axis=0)
        paths.append((smooth - (low + high) / 2) / height)
    return Glyph(tuple(paths), tuple(np.ones(len(p)) for p in paths))


def _slants(images: NDArray[np.uint8]) -> Points:
    """Lean of each picture's ink, (N,), x per unit of y up, from its second moments."""
    ink = images.astype(np.float64)
    total = np.maximum(ink.sum(axis=(1, 2)), 1.0)
    at = np.arange(images.shape[1], dtype=float)
    x = np.einsum("nij,j->n", ink, at) / total
    y = np.einsum("nij,i->n", ink, at) / total
    xy = np.einsum("nij,i,j->n", ink, at, at) / total - x * y
    yy = np.einsum("nij,i->n", ink, at * at) / total - y * y
    return -xy / np.maximum(yy, 1e-9)


def glyph_of(image: NDArray[np.uint8], holes: int = 0) -> Glyph | None:
    """Paths of one 28 x 28 digit, bright on black, that should enclose `holes` whites."""
    big = cv2.resize(image, None, fx=_UP, fy=_UP, interpolation=cv2.INTER_CUBIC)
    big = cv2.GaussianBlur(big, (0, 0), 1.2)
    # A loop that is nearly closed shows as a dimmer spot: look for it at a higher level before giving it up.
    levels = (0.42, 0.55, 0.68, 0.80)
    masks: list[NDArray[np.bool_]] = []
    found: list[int] = []
    while len(found) < len(levels) and max(found, default=-1) < holes:
        # By the picture's own darkest: at a fixed level pale pictures fell to pieces.
        masks.append(big > levels[len(found)] * float(big.max()))
        found.append(_holes(masks[-1]))
    best = int(np.argmax(found))
    mask = masks[best]
    if mask.sum() < 60:
        return None
    radius = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    lines = _trace(_thin(mask))
    usual = float(np.median(radius[mask & (radius >= cv2.dilate(radius, np.ones((3, 3))) - 1e-3)]))
    lines = _without_spurs(lines, usual)
    if not lines:
        return None
    extent = np.concatenate(lines)
    height = max(float(np.ptp(extent[:, 1])), 0.45 * float(np.ptp(extent[:, 0])), 8.0)
    centre = (extent.min(axis=0) + extent.max(axis=0)) / 2
    paths, weights = [], []
    for line in lines:
        smooth = _smoothed(line)
        rows, columns = np.clip(np.round(smooth[:, ::-1]).astype(int), 0, mask.shape[0] - 1).T
        paths.append((smooth - centre) / height)
        weights.append(np.clip(radius[rows, columns] / max(usual, 0.5), 0.6, 1.6).astype(float))
    # Against thin lines every crossing is thick: what counts is a blob as wide as a filled loop.
    thickest = float(radius.max()) / max(usual, 3.4)
    return Glyph(tuple(paths), tuple(weights), found[best], thickest, usual)


def _holes(mask: NDArray[np.bool_]) -> int:
    """Number of enclosed whites that are more than a speck."""
    _, _, stats, _ = cv2.connectedComponentsWithStats((~np.pad(mask, 1)).astype(np.uint8), connectivity=4)
    return int((stats[1:, cv2.CC_STAT_AREA] >= 6).sum()) - 1  # less the white outside


def _goes(step: int) -> NDArray[np.uint8]:
    """Whether a pixel of ink goes in a step of thinning, for each way its neighbours are ink, (256,).

    Bit i of the index is neighbour i, clockwise from the one above.
    """
    p = (np.arange(256)[:, None] >> np.arange(8)) & 1
    count = p.sum(axis=1)
    turns = (p < np.roll(p, -1, axis=1)).sum(axis=1)  # from paper to ink, around the pixel
    one = p[:, 0] * p[:, 2] * p[:, 4 if step == 0 else 6]
    two = p[:, 2 if step == 0 else 0] * p[:, 4] * p[:, 6]
    return ((count >= 2) & (count <= 6) & (turns == 1) & (one == 0) & (two == 0)).astype(np.uint8)


_GOES = _goes(0), _goes(1)
_BITS = np.array([[128, 1, 2], [64, 0, 4], [32, 16, 8]], dtype=np.float32)


def _thin(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Thin to lines one pixel wide (Zhang and Suen, Communications of the ACM 27(3), 1984)."""
    image = mask.astype(np.uint8)
    while True:
        changed = False
        for goes in _GOES:
            around = cv2.filter2D(image, -1, _BITS, borderType=cv2.BORDER_CONSTANT)
            gone = image & cv2.LUT(around, goes)
            if gone.any():
                image ^= gone
                changed = True
        if not changed:
            return image.astype(bool)


_AROUND = ((0, -1), (1, 0), (0, 1), (-1, 0), (1, -1), (1, 1), (-1, 1), (-1, -1))


def _trace(thin: NDArray[np.bool_]) -> list[Points]:
    """Lines (N, 2) as x, y along a thinned drawing; at a crossing the pen goes on as straight as it can."""
    pixels = {(int(x), int(y)) for y, x in np.argwhere(thin)}
    links: dict[tuple[int, int], set[tuple[int, int]]] = {p: set() for p in pixels}
    for x, y in pixels:
        for dx, dy in _AROUND:
            q = (x + dx, y + dy)
            if q not in pixels:
                continue
            # A diagonal beside a square step would make a triangle out of every corner.
            if dx and dy and ((x + dx, y) in pixels or (x, y + dy) in pixels):
                continue
            links[(x, y)].add(q)
    lines: list[Points] = []
    while True:
        open_ends = [p for p, q in links.items() if len(q) == 1]
        start = min(open_ends, key=lambda p: (p[1], p[0]), default=None)
        if start is None:
            start = min((p for p, q in links.items() if q), key=lambda p: (p[1], p[0]), default=None)
        if start is None:
            return lines
        lines.append(_walk(links, start))


def _walk(links: dict[tuple[int, int], set[tuple[int, int]]], start: tuple[int, int]) -> Points:
    walked = [start]
    here = start
    while links[here]:
        back = walked[max(len(walked) - 7, 0)]
        heading = here[0] - back[0], here[1] - back[1]

        def straightness(
            q: tuple[int, int], here: tuple[int, int] = here, heading: tuple[int, int] = heading
        ) -> float:
            x, y = q[0] - here[0], q[1] - here[1]
            return (x * heading[0] + y * heading[1]) / (hypot(x, y) + 1e-9)

        ahead = max(sorted(links[here]), key=straightness)
        links[here].discard(ahead)
        links[ahead].discard(here)
        walked.append(ahead)
        here = ahead
    return np.array(walked, dtype=float)


def _without_spurs(lines: list[Points], usual: float) -> list[Points]:
    """Drop side branches that thinning grew and that no pen drew: short, with one end in the air.

    A short line with both ends on other lines is a piece of the digit, as between the bars of a crossed 7.
    """
    length = [float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0 for line in lines]
    longest = max(length, default=0.0)
    if longest < 6.0:
        return []
    shortest = max(2.2 * usual, 0.06 * longest, 3.0)
    kept = []
    for i, line in enumerate(lines):
        others = [other for j, other in enumerate(lines) if j != i]
        bridge = len(others) > 0 and all(
            min(float(np.abs(other - end).max(axis=1).min()) for other in others) <= 2.0
            for end in (line[0], line[-1])
        )
        if length[i] >= shortest or (bridge and length[i] > 1.5):
            kept.append(line)
    return kept


def _smoothed(line: Points, sigma: float = 2.2) -> Points:
    """Round off the pixel steps; ends stay where they are, closed loops stay closed."""
    if len(line) < 5:
        return line
    closed = np.abs(line[0] - line[-1]).max() <= 1 and len(line) > 12
    pad = int(3 * sigma) + 1
    if closed:
        padded = np.concatenate([line[-pad - 1 : -1], line, line[1 : pad + 1]])
    else:
        padded = np.concatenate([2 * line[0] - line[pad:0:-1], line, 2 * line[-1] - line[-2 : -pad - 2 : -1]])
        if len(padded) < len(line) + 2 * pad:  # a line shorter than the kernel
            padded = np.pad(line, ((pad, pad), (0, 0)), mode="edge")
    x = np.arange(-pad, pad + 1)
    kernel = np.exp(-0.5 * (x / sigma) ** 2)
    kernel /= kernel.sum()
    smooth = np.column_stack([np.convolve(padded[:, i], kernel, "valid") for i in (0, 1)])
    return smooth[::2] if len(smooth) > 8 else smooth
