"""From what is meant to paths of a pen: digits of real hands, marks in bubbles, words."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.strangers.pens import Page, Pen
from tests.strangers.player import Truth

Path2 = NDArray[np.float64]
Hand = dict[int, list[list[Path2]]]


def hands(file: Path, skip: frozenset[str] = frozenset()) -> dict[str, Hand]:
    """Real pen strokes by writer: digit -> samples -> strokes, each scaled to height 1 about its middle.

    ``file`` is a gzipped JSON list of {label, writer, strokes}; writers in ``skip`` are left out.
    """
    out: dict[str, Hand] = {}
    for sample in json.loads(gzip.decompress(file.read_bytes())):
        if sample["writer"] in skip:
            continue
        strokes = [np.array(s, float) for s in sample["strokes"] if len(s)]
        every = np.concatenate(strokes)
        lo, hi = every.min(0), every.max(0)
        size = max(hi[1] - lo[1], 0.6 * (hi[0] - lo[0]), 1e-6)
        scaled = [(s - (lo + hi) / 2) / size for s in strokes]
        out.setdefault(sample["writer"], {}).setdefault(int(sample["label"]), []).append(scaled)
    return {writer: hand for writer, hand in out.items() if len(hand) == 10}


def smooth(path: Path2) -> Path2:
    """Denser, rounded corners as a tablet's samples are never drawn."""
    if len(path) < 3:
        return path
    fine = np.stack(
        [
            np.interp(np.linspace(0, len(path) - 1, 4 * len(path)), np.arange(len(path)), path[:, k])
            for k in (0, 1)
        ],
        1,
    )
    pad = np.pad(fine, ((2, 2), (0, 0)), mode="edge")
    return np.asarray(sum(pad[i : i + len(fine)] for i in range(5)) / 5)


class Writer:
    """One person at one card: a hand, a slant, a size, a pen or two."""

    def __init__(
        self, rng: np.random.Generator, page: Page, hand: Hand, pens: list[Pen], hardness: float
    ) -> None:
        self.rng, self.page, self.hand, self.pens, self.hardness = rng, page, hand, pens, hardness
        self.slant = rng.normal(0, 0.12)
        self.size = rng.uniform(0.56, 0.86)
        self.unsteady = rng.uniform(0.01, 0.03) * (1 + hardness)
        self.shift = rng.normal(0, 0.05, 2)
        self.press = rng.uniform(0.8, 1.1)

    def pen(self) -> Pen:
        """The pen at hand: mostly the first."""
        return self.pens[0] if len(self.pens) == 1 or self.rng.random() < 0.8 else self.pens[1]

    def digit(self, pen: Pen, value: int, box: list[float], scale: float = 1.0) -> None:
        """A digit into a box in mm."""
        rng = self.rng
        samples = self.hand[value]
        strokes = samples[int(rng.integers(len(samples)))]
        x, y, w, h = box
        size = h * self.size * rng.normal(1, 0.07) * scale
        every = np.concatenate(strokes)
        wide = np.ptp(every[:, 0]) * size
        squeeze = min(1.0, rng.uniform(0.85, 1.15) * w / max(wide, 1e-6)) * rng.normal(1, 0.08)
        turn = np.array([[squeeze, self.slant + rng.normal(0, 0.05)], [rng.normal(0, 0.04), 1.0]])
        centre = np.array([x + w / 2, y + h / 2]) + (
            self.shift + rng.normal(0, 0.06 + 0.05 * self.hardness, 2)
        ) * [w, h]
        wave = rng.normal(0, self.unsteady, (2, 2, 3))
        for stroke in strokes:
            s = smooth(stroke)
            bend = np.stack(
                [
                    sum(
                        wave[k, 0, j] * np.sin((j + 2) * s[:, 1 - k] + 7 * wave[k, 1, j] / self.unsteady)
                        for j in range(3)
                    )
                    for k in (0, 1)
                ],
                1,
            )
            self.page.stroke(pen, centre + ((s + bend) @ turn.T) * size, self.press * rng.normal(1, 0.08))

    def words(self, box: list[float]) -> None:
        """A few words as a running line: loops and arches, not letters that anybody reads."""
        rng, pen = self.rng, self.pen()
        x, y, w, h = box
        at, end = x + 1, x + w * rng.uniform(0.4, 0.95)
        while at < end:
            n = int(rng.integers(3, 8))
            t = np.linspace(0, n * 2 * np.pi, n * 14)
            tall = 1 + 0.9 * (np.repeat(rng.random(n), 14) < 0.25)
            px = at + t / (2 * np.pi) * 1.7 + 0.6 * np.sin(t)
            py = y + h * 0.68 - 0.11 * h * (1 - np.cos(t)) * tall + 0.05 * np.sin(0.7 * t)
            self.page.stroke(pen, np.stack([px, py], 1), self.press)
            at = float(px.max()) + 1.6

    def fill(self, pen: Pen, box: list[float], how: str) -> None:
        """A mark into a bubble in mm."""
        rng, page = self.rng, self.page
        x, y, w, h = box
        c = np.array([x + w / 2, y + h / 2]) + rng.normal(0, 0.07 + 0.06 * self.hardness, 2) * w
        r = w / 2
        if how in (
            "solid",
            "overflow",
            "faint",
            "after_cancel",
            "double",
            "erased",
            "cancelled",
            "cancelled_alone",
        ):
            reach = r * (rng.uniform(0.78, 1.0) if how != "overflow" else rng.uniform(1.1, 1.45))
            self._scribble(pen, c, reach, self.press * (0.35 if how == "faint" else 1.05), gap=0.62)
            if how != "faint" and rng.random() < 0.7:
                self._scribble(pen, c, reach * 0.92, self.press, gap=0.7)
        elif how == "zigzag":
            self._scribble(pen, c, r * rng.uniform(0.75, 1.05), self.press, gap=rng.uniform(1.1, 1.9))
        elif how == "spiral":
            t = np.linspace(0, rng.uniform(2.5, 4.5) * 2 * np.pi, 120)
            page.stroke(
                pen,
                c
                + (r * rng.uniform(0.75, 1.0) * (1 - 0.85 * t / t[-1]))[:, None]
                * np.stack([np.cos(t), np.sin(t)], 1),
                self.press,
                cover=True,
            )
        elif how == "tick":
            page.stroke(
                pen,
                c + np.array([[-0.8, -0.1], [-0.25, 0.75], [1.1, -1.2]]) * r * rng.uniform(0.8, 1.25),
                self.press,
            )
        elif how in ("cross", "slash"):
            s = r * rng.uniform(0.75, 1.2)
            page.stroke(pen, c + np.array([[-s, -s], [s, s]]) * rng.normal(1, 0.08, (2, 2)), self.press)
            if how == "cross":
                page.stroke(pen, c + np.array([[s, -s], [-s, s]]) * rng.normal(1, 0.08, (2, 2)), self.press)
        elif how == "dot":
            page.stroke(pen, c + rng.normal(0, 0.12, (4, 2)) * r, self.press * 1.1, cover=True)
        elif how == "dash":
            page.stroke(pen, c + np.array([[-0.8 * r, 0.1], [0.8 * r, -0.1]]), self.press)
        elif how == "ring":
            t = np.linspace(0, 2 * np.pi * 1.08, 50)
            page.stroke(pen, c + 1.05 * r * np.stack([np.cos(t), np.sin(t)], 1), self.press)
        elif how == "speck":
            page.stroke(
                pen, c + rng.normal(0, 0.04, (2, 2)) + rng.uniform(-0.8, 0.8, 2) * r, self.press * 0.5
            )
        if how == "erased":
            page.rub(c, 1.9 * r, float(rng.uniform(0.04, 0.22)))
        if how in ("cancelled", "cancelled_alone"):
            s = r * rng.uniform(1.3, 1.9)
            for sign in (1, -1):
                page.stroke(
                    pen,
                    c + np.array([[-s, -sign * s], [s, sign * s]]) * rng.normal(1, 0.07, (2, 2)),
                    self.press * 1.2,
                    cover=True,
                )

    def _scribble(self, pen: Pen, c: Path2, reach: float, pressure: float, gap: float) -> None:
        rng = self.rng
        angle = rng.normal(0.8, 0.3)
        lines = max(3, int(2 * reach / (pen.tip_mm * gap)))
        ys = np.linspace(-reach, reach, lines)
        half = np.sqrt(np.maximum(reach**2 - ys**2, 0.02)) * rng.normal(1, 0.07, lines)
        xs = half * np.where(np.arange(lines) % 2, 1, -1)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        self.page.stroke(pen, c + np.stack([xs, ys], 1) @ turn.T, pressure)

    def cell(self, cell: dict[str, Any], truth: Truth) -> None:
        """Put down one cell; notes the pen in its truth."""
        rng, pen = self.rng, self.pen()
        if truth.mark == "erased" and not pen.erasable:
            truth.mark = "empty"
        if truth.mark in ("empty", "blank"):
            return
        truth.pen = pen.name
        box = cell["box_mm"]
        if cell["kind"] == "bubble":
            self.fill(pen, box, truth.mark)
            return
        wrote = truth.value if truth.value is not None else truth.meant
        if truth.mark == "overwritten":
            self.digit(pen, int((wrote + rng.integers(1, 10)) % 10), box)
        self.digit(pen, wrote, box, scale=1.3 if truth.mark == "digit_tail" else 1.0)
        if truth.mark == "scribbled_out":
            c = np.array([box[0] + box[2] / 2, box[1] + box[3] / 2])
            self._scribble(pen, c, box[2] * 0.6, self.press, gap=1.2)
