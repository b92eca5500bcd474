"""Follows the printed row rules across the flat card: how the paper is bent between the studs.

A rule runs from edge to edge, over every fold. What is printed around it is known: the rule, the bottoms of
the boxes above, the tops of those below. How well that drawing fits when it is moved up or down is measured
for every two millimetres of each rule; dynamic programming finds the smoothest way through the best fits, so
that a stroke across the rule, or a gap in it, moves nothing.

References
----------
Amini, Weymouth and Jain 1990, "Using dynamic programming for solving variational problems in vision", IEEE
TPAMI 12(9).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from shortpencil.forms.geometry import Box
from shortpencil.forms.layout import STUD_MM, Layout
from shortpencil.scan.vision.arrays import Bools, FloatImage, Floats, GrayImage, median, medians
from shortpencil.scan.vision.flattening.outlines import OUTLINE_PX_PER_MM, outlines_of
from shortpencil.scan.vision.per_layout import once_a_layout

#: Length of a rule that is looked at together: shorter ones tell less, longer ones smear a fold.
_BIN_MM = 2.0
_AROUND_MM = 2.5  # of the drawing above and below a rule
_REACH_MM = 2.5  # how far the paper may have carried it; rows are 7 mm high and more
#: A way goes up or down by so many pixels a bin at most: steeper than creased paper under a phone.
_STEEPEST_PX = 2
#: What a step of a pixel costs, in fits of a usual bin; it grows as the square.
_BENDING = 0.12
_CAP = 1.2  # a bin counts as at most so many usual ones: ink must not draw the way to itself
_DARK_NEAR_MM = 1.0  # rules at the studs are printed dark
_PALE = 0.5  # the others, against those
#: Standard deviations by which a bin fits on the way better than at all shifts: a bin that says something,
#: and a rule (its median bin) that can be seen. On tuning photos printed rules show 2.1 to 3.4, those that a
#: copier has lost 1.9 at most.
_BIN_SEEN, _RULE_SEEN = 1.2, 2.3
#: Rules within a group of rows are pale, and copiers lose them: a bin of one counts where it agrees so far
#: with the dark rules above and below.
_AGREES_MM = 0.6
#: Off by more than this over so long a part of a rule: the paper is bent there. Flat cards are off by 0.1.
BENT_MM, _BENT_BINS = 0.6, 4


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules of a layout and what is printed around them.

    Attributes
    ----------
    ys : (R,) mm; dark : (R,) those between groups of rows
    xs : (N,) middles of the bins, mm
    drawing : (R, P, N) print at 4 px/mm above, at and below each rule, bin by bin; its mean over P is 0
    """

    ys: Floats
    dark: Bools
    xs: Floats
    drawing: FloatImage


@dataclass(frozen=True, slots=True)
class Traced:
    """Where rules were found: `down_mm` (R, N) below where they should be, and if `seen` (R, N) at all."""

    down_mm: Floats
    seen: Bools


@once_a_layout
def rules_of(layout: Layout) -> Rules:
    """Return the rules above all rows and below the last; none on a card without rows or studs."""
    ys = _row_edges(layout) if layout.studs else np.zeros(0)
    if not len(ys):
        return Rules(ys, np.zeros(0, bool), np.zeros(0), np.zeros((0, 1, 0), np.float32))
    clear = STUD_MM / 2 + 1.0
    left = min(stud.x for stud in layout.studs) + clear
    right = max(stud.x for stud in layout.studs) - clear
    xs = np.asarray(left + (np.arange(int((right - left) / _BIN_MM)) + 0.5) * _BIN_MM, np.float64)
    dark = np.array([min(abs(stud.y - y) for stud in layout.studs) < _DARK_NEAR_MM for y in ys])
    page = _page(layout, ys, dark, left, right)
    drawing = _strips(page, ys, xs, round(_AROUND_MM * OUTLINE_PX_PER_MM))
    return Rules(ys, dark, xs, drawing - drawing.mean(axis=1, keepdims=True))


def _row_edges(layout: Layout) -> Floats:
    """Tops of all rows and the bottom of the last, mm: cells stand in the middle of their row."""
    form = layout.form
    by_row: dict[str, list[Box]] = {}
    for cell in layout.cells:
        by_row.setdefault(cell.id.partition(".")[0], []).append(cell.box)
    middles = []
    for row in range(1, form.rows + 1):
        boxes = by_row.get(form.row_id(row))
        if not boxes:
            return np.zeros(0)
        middles.append((min(box.y for box in boxes) + max(box.bottom for box in boxes)) / 2)
    if len(middles) < 2:
        return np.zeros(0)
    at = np.array(middles)
    half = float(np.diff(at).min()) / 2
    return np.append(at - half, at[-1] + half)


def _page(layout: Layout, ys: Floats, dark: Bools, left: float, right: float) -> FloatImage:
    """The card's outlines and rules as thin lines at 4 px/mm, softened as `thin_lines` does."""
    k = OUTLINE_PX_PER_MM
    page = np.zeros((round(layout.paper.height_mm * k), round(layout.paper.width_mm * k)), np.float32)
    for shape in outlines_of(layout).shapes:
        page[shape.rows[:, None] + shape.down, shape.columns[:, None] + shape.right] = 1.0
    for y, is_dark in zip(ys, dark, strict=True):
        page[_row_px(y), round(left * k) : round(right * k)] = 1.0 if is_dark else _PALE
    return np.asarray(cv2.GaussianBlur(page, (0, 0), 0.6), np.float32)


def _row_px(y_mm: Floats) -> NDArray[np.intp]:
    return np.round(y_mm * OUTLINE_PX_PER_MM - 0.5).astype(np.intp)


def _strips(picture: GrayImage | FloatImage, ys: Floats, xs: Floats, half: int) -> FloatImage:
    """Return the rows around each y as means over the bins, (R, 2 half + 1, N)."""
    size = round(_BIN_MM * OUTLINE_PX_PER_MM)
    first = round((xs[0] - _BIN_MM / 2) * OUTLINE_PX_PER_MM)
    rows = np.clip(_row_px(ys)[:, None] + np.arange(-half, half + 1), 0, len(picture) - 1)
    part = picture[rows, first : first + len(xs) * size]
    return np.asarray(part.reshape(*rows.shape, len(xs), size).mean(axis=3, dtype=np.float32), np.float32)


def trace(lines: GrayImage, layout: Layout, which: Bools) -> Traced:
    """Return where the rules `which` (R,) lie in a flat card.

    Parameters
    ----------
    lines : as from `outlines.thin_lines`
    """
    rules, k = rules_of(layout), OUTLINE_PX_PER_MM
    if not which.any():
        return Traced(np.zeros((0, len(rules.xs))), np.zeros((0, len(rules.xs)), bool))
    drawing, ys = rules.drawing[which], rules.ys[which]
    reach, size = round(_REACH_MM * k), drawing.shape[1]
    seen = _strips(lines, ys, rules.xs, reach + size // 2)
    fit = np.stack([(drawing * seen[:, s : s + size]).sum(axis=1) for s in range(2 * reach + 1)], axis=2)
    fit /= (drawing**2).sum(axis=1)[:, :, None]
    fit /= max(median(fit.max(axis=2)), 1e-6)
    fit = _with_neighbours(fit)
    gain = np.clip(fit, -0.5, _CAP)
    way = _best_way(gain)
    here, top = _top(fit, way)
    shown = (here - gain.mean(axis=2)) / (gain.std(axis=2) + 1e-6)
    rounding = _row_px(ys) - (ys * k - 0.5)
    down = (way + top - reach + rounding[:, None]) / k
    return Traced(down, (shown > _BIN_SEEN) & (medians(shown) > _RULE_SEEN)[:, None])


def _with_neighbours(fit: Floats) -> Floats:
    """Return the mean of each bin (R, N, S) and those left and right of it."""
    wide = np.pad(fit, ((0, 0), (1, 1), (0, 0)), mode="edge")
    return np.asarray((wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:]) / 3)


def _best_way(gain: Floats) -> NDArray[np.intp]:
    """Return the shifts (R, N) of the way along the bins of gains (R, N, S) that gains most."""
    rules, bins, shifts = gain.shape
    steps = np.arange(-_STEEPEST_PX, _STEEPEST_PX + 1)
    cost = (_BENDING * steps**2)[:, None]
    totals = np.full((bins, rules, shifts + 2 * _STEEPEST_PX), -np.inf)
    best = totals[:, :, _STEEPEST_PX:-_STEEPEST_PX]
    # (bins, steps, R, S) of what `totals` holds then. Steps first: so the best is found faster.
    reached = sliding_window_view(totals, len(steps), axis=2).transpose(0, 3, 1, 2)
    options = np.empty((len(steps), rules, shifts))
    best[0] = gain[:, 0]
    for i in range(1, bins):
        np.subtract(reached[i - 1], cost[:, :, None], out=options)
        np.add(options.max(axis=0), gain[:, i], out=best[i])
    way = np.empty((rules, bins), np.intp)
    way[:, -1] = best[-1].argmax(axis=1)
    for i in range(bins - 1, 0, -1):
        came = reached[i - 1][:, np.arange(rules), way[:, i]] - cost
        way[:, i - 1] = way[:, i] + steps[came.argmax(axis=0)]
    return way


def _top(fit: Floats, way: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Fits (R, N) on the way, and by how much the parabola through each has its top beside it, px."""
    rule, at = np.indices(way.shape)
    before, here, after = (
        fit[rule, at, np.clip(way + step, 0, fit.shape[2] - 1)].astype(np.float64) for step in (-1, 0, 1)
    )
    curve = np.minimum(before - 2 * here + after, -1e-9)
    return here, np.asarray(np.clip(0.5 * (before - after) / curve, -0.5, 0.5))


def is_bent(traced: Traced) -> bool:
    """Say whether some rule lies clearly off over some length, all of it the same way."""
    off = [traced.seen & (way * traced.down_mm > BENT_MM) for way in (-1.0, 1.0)]
    return max(map(_longest, off)) >= _BENT_BINS


def _longest(which: Bools) -> int:
    """Length of the longest run of True along the rows of (R, N)."""
    apart = np.zeros((len(which), which.shape[1] + 2), np.int8)  # no run goes on in the next row
    apart[:, 1:-1] = which
    steps = np.diff(apart.ravel())
    return int((np.flatnonzero(steps == -1) - np.flatnonzero(steps == 1)).max(initial=0))


def with_pale(lines: GrayImage, layout: Layout, dark: Traced) -> Traced:
    """Return all rules of a layout: the dark ones, traced, and the pale ones where they agree with those."""
    rules = rules_of(layout)
    down, seen = np.zeros((len(rules.ys), len(rules.xs))), np.zeros((len(rules.ys), len(rules.xs)), bool)
    pale = trace(lines, layout, ~rules.dark)
    down[rules.dark], seen[rules.dark] = dark.down_mm, dark.seen
    down[~rules.dark] = pale.down_mm
    for i in np.flatnonzero(dark.seen.any(axis=0)):
        sure = dark.seen[:, i]
        told = np.interp(rules.ys[~rules.dark], rules.ys[rules.dark][sure], dark.down_mm[sure, i])
        seen[~rules.dark, i] = pale.seen[:, i] & (np.abs(pale.down_mm[:, i] - told) < _AGREES_MM)
    return Traced(down, seen)
