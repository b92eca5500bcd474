"""How a pen leaves ink: paths in millimetres become an absorbance map of the page, pen by pen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Pen:
    """A pen: tip in mm, how dark, how much of the paper's tooth shows, how it fails."""

    name: str
    tip_mm: float
    density: float  # absorbance (ln) of a full stroke
    colour: tuple[float, float, float]  # relative absorbance in R, G, B
    grain: float = 0.0  # 0 ink, 1 only the tops of the paper
    skip: float = 0.0  # share of the way without ink
    bleed_mm: float = 0.0
    blob: float = 0.0
    erasable: bool = False


GREY = (1.0, 1.0, 1.0)
BLUE = (1.0, 0.75, 0.25)
PENS = [
    Pen("pencil_hb", 0.45, 1.1, GREY, grain=0.45, erasable=True),
    Pen("pencil_soft_blunt", 0.85, 1.5, GREY, grain=0.5, erasable=True),
    Pen("pencil_hard", 0.30, 0.62, GREY, grain=0.5, erasable=True),
    Pen("pencil_light", 0.45, 0.5, GREY, grain=0.55, erasable=True),
    Pen("ballpoint_blue", 0.35, 1.5, BLUE, grain=0.12, blob=0.4),
    Pen("ballpoint_dry", 0.33, 1.1, BLUE, grain=0.3, skip=0.22),
    Pen("ballpoint_black", 0.35, 1.7, GREY, grain=0.1, blob=0.3),
    Pen("gel_black", 0.5, 2.3, GREY, bleed_mm=0.03),
    Pen("fine_liner", 0.3, 2.0, GREY),
    Pen("felt_blue", 0.9, 1.4, BLUE, bleed_mm=0.09),
    Pen("marker_thick", 1.0, 2.2, GREY, bleed_mm=0.12),
    Pen("red_pen", 0.4, 1.4, (0.12, 1.0, 0.9), grain=0.12),
]


def tooth(rng: np.random.Generator, shape: tuple[int, int], px_mm: float) -> Floats:
    """The relief of paper, 0 to 1, rank-uniform: fibres some tenths of a millimetre apart."""
    noise = rng.standard_normal(shape).astype(np.float32)
    fine = cv2.GaussianBlur(noise, (0, 0), 0.09 * px_mm)
    coarse = cv2.GaussianBlur(noise[::-1], (0, 0), 0.25 * px_mm)
    mixed = fine / fine.std() + 0.6 * coarse / coarse.std()
    return (1 / (1 + np.exp(-1.4 * mixed))).astype(np.float32)


class Page:
    """Ink on a page, as absorbance in three channels, at ``px_mm`` pixels per millimetre."""

    def __init__(self, rng: np.random.Generator, width_mm: float, height_mm: float, px_mm: float) -> None:
        self.rng, self.px = rng, px_mm
        self.shape = (round(height_mm * px_mm), round(width_mm * px_mm))
        self.ink: Floats = np.zeros((*self.shape, 3), np.float32)
        self.relief = tooth(rng, self.shape, px_mm)

    def stroke(
        self, pen: Pen, path_mm: NDArray[np.float64], pressure: float = 1.0, cover: bool = False
    ) -> None:
        """One stroke along ``path_mm`` (n, 2). ``cover`` adds to what is there, else the darker wins."""
        rng, px = self.rng, self.px
        pad = pen.tip_mm * 2 + pen.bleed_mm * 4 + 1
        lo = np.maximum(np.floor((path_mm.min(0) - pad) * px).astype(int), 0)
        hi = np.minimum(np.ceil((path_mm.max(0) + pad) * px).astype(int), [self.shape[1], self.shape[0]])
        if np.any(hi - lo < 2):
            return
        layer = np.zeros((hi[1] - lo[1], hi[0] - lo[0]), np.float32)
        steps = np.hypot(*np.diff(path_mm, axis=0).T) if len(path_mm) > 1 else np.zeros(0)
        way = np.concatenate([[0], np.cumsum(steps)])
        n = max(2, int(way[-1] / 0.12) + 1)
        at = np.linspace(0, way[-1], n)
        points = (
            np.stack([np.interp(at, way, path_mm[:, k]) for k in (0, 1)], 1)
            if way[-1] > 0
            else np.repeat(path_mm[:1], 2, 0)
        )
        press = pressure * (
            1 + 0.18 * np.interp(at, np.linspace(0, max(way[-1], 1e-6), 6), rng.standard_normal(6))
        )
        press *= np.clip(
            0.55 + 0.45 * np.minimum(np.arange(n), np.arange(n)[::-1]) / 3, 0, 1
        )  # lands and lifts
        flow = np.ones(n)
        if pen.skip:
            gate = np.interp(
                np.arange(n), np.arange(0, n + 4, 4), rng.standard_normal(len(np.arange(0, n + 4, 4)))
            )
            flow = np.where(gate < np.quantile(gate, pen.skip), rng.uniform(0.0, 0.35), 1.0)
        xy = (points * px - lo) * 16
        widths = np.maximum(1, np.round(pen.tip_mm * px * np.clip(0.75 + 0.25 * press, 0.5, 1.4)))
        ends = xy.astype(int).tolist()
        parts = zip(
            ends, ends[1:], np.clip(press * flow, 0, 1.4).tolist(), widths.astype(int).tolist(), strict=False
        )
        for a, b, dark, width in parts:
            cv2.line(layer, a, b, dark, width, cv2.LINE_AA, 4)
        if pen.blob and rng.random() < pen.blob * 0.5:
            k = int(rng.integers(n))
            cv2.circle(
                layer, tuple(map(int, xy[k])), int(pen.tip_mm * 0.75 * px * 16), 1.3, -1, cv2.LINE_AA, 4
            )
        if pen.bleed_mm:
            layer = cv2.GaussianBlur(layer, (0, 0), pen.bleed_mm * px)
        if pen.grain:
            relief = self.relief[lo[1] : hi[1], lo[0] : hi[0]]
            reach = np.clip(layer, 0, 1.4) * (1.15 - pen.grain * 0.5)
            layer = layer * np.clip((relief - (1 - reach) * (0.4 + 0.6 * pen.grain)) / 0.25, 0, 1) ** 0.8
        add = layer[..., None] * np.array(pen.colour, np.float32) * pen.density
        there = self.ink[lo[1] : hi[1], lo[0] : hi[0]]
        there[:] = (
            np.minimum(there + (0.55 if cover else 0.25) * add, 2.6)
            if cover
            else np.maximum(there + 0.2 * add, add)
        )

    def rub(self, centre_mm: NDArray[np.float64], size_mm: float, left: float) -> None:
        """An eraser goes over: ``left`` of the ink stays, some is smeared along the strokes of the eraser."""
        px = self.px
        lo = np.maximum(((centre_mm - size_mm) * px).astype(int), 0)
        hi = np.minimum(((centre_mm + size_mm) * px).astype(int), [self.shape[1], self.shape[0]])
        there = self.ink[lo[1] : hi[1], lo[0] : hi[0]]
        angle = self.rng.uniform(0, np.pi)
        length = max(3, int(size_mm * px * 0.7) | 1)
        line = np.zeros((length, length), np.float32)
        d = np.array([np.cos(angle), np.sin(angle)]) * length / 2
        c = np.array([length / 2, length / 2])
        cv2.line(line, tuple((c - d).astype(int)), tuple((c + d).astype(int)), 1.0, 1)
        smear = cv2.filter2D(there, -1, line / line.sum())
        keep = left * (0.6 + 0.8 * self.relief[lo[1] : hi[1], lo[0] : hi[0], None])
        there[:] = there * keep + smear * left * 0.5
