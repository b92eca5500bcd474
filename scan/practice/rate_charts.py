"""Pictures of rates: round by round, putts by distance, execution and result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from math import isinf, isnan

import numpy as np

from shortpencil.forms.drawing import Shape
from shortpencil.scan.language import _, first_upper, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.model import Interval, normal_quantile
from shortpencil.scan.practice.over_time import OfLength, Point
from shortpencil.scan.practice.picture import (
    BLACK,
    HEAD_PT,
    LIGHT,
    PALE,
    SMALL_PT,
    SOFT,
    Picture,
    dashed,
    dot,
    line,
    path,
    rectangle,
    text,
)
from shortpencil.scan.practice.putting import Putting, holed_said, length
from shortpencil.scan.practice.results import TwoByTwo
from shortpencil.scan.records.composing.validate import PUTTING_AREA_M

#: Rounds shown side by side; more would touch.
MOST_ROUNDS_SHOWN = 40


def time_charts(
    history: History, phase_name: str, lengths: Sequence[OfLength], width_mm: float = 102.0
) -> tuple[Picture, ...]:
    """Miss rate of each round, a chart for the rounds of each length: 9 and 18 holes never share one."""
    several = len(lengths) > 1
    return tuple(
        time_chart(history, phase_name, one, width_mm, by_length=several)
        for one in lengths or (OfLength(0, (), None),)
    )


def time_chart(
    history: History,
    phase_name: str,
    of: OfLength,
    width_mm: float = 102.0,
    *,
    by_length: bool = False,
) -> Picture:
    """Miss rate of each round: with limits of chance and a smoothed line, or with ranges where too few.

    Parameters
    ----------
    of : the rounds that it shows
    by_length : whether the title says how many holes they have
    """
    left, top, base = 9.0, 10.5, 36.0
    chart, points = of.chart, of.points[-MOST_ROUNDS_SHOWN:]
    shown = [point.round for point in points]
    title = _("Missed {many}, round by round", many=words.MANY[phase_name])
    if by_length:
        title = f"{title}, {words.holes(of.holes)}"
    shapes: list[Shape] = [text(0, 3.6, title, size_pt=HEAD_PT, bold=True, fit_mm=width_mm)]
    rates, ranges = [point.rate.middle for point in points], [point.rate for point in points]
    highest = max([*rates, *(r.high for r in ranges if chart is None), 0.2])
    if chart is not None:
        highest = max(highest, float(chart.high[-len(shown) :].max()))
    ceiling = min(1.0, np.ceil(highest * 5) / 5)

    def x(place: int) -> float:
        return left + 4 + (width_mm - left - 8) * (place + 0.5) / max(len(shown), 1)

    def y(rate: float) -> float:
        return float(base - (base - top) * min(rate, ceiling) / ceiling)

    half = (width_mm - left - 8) / max(len(shown), 1) / 2
    if chart is not None:
        at = {r: i for i, r in enumerate(chart.rounds)}
        for place, r in enumerate(shown):
            low, high = y(float(chart.low[at[r]])), y(float(chart.high[at[r]]))
            shapes.append(rectangle(x(place) - half - 0.05, high, 2 * half + 0.1, low - high, PALE))
    for tick in np.arange(0, ceiling + 0.01, 0.2) if shown else ():  # no scale without a figure on it
        shapes.append(line(left, y(tick), width_mm, y(tick), width_mm=0.15, grey=LIGHT))
        shapes.append(
            text(left - 1, y(tick) + 1, words.percent(tick), size_pt=SMALL_PT, anchor="right", grey=SOFT)
        )
    if chart is not None:
        shapes += dashed(left, y(chart.centre), width_mm, y(chart.centre))
        shapes += path([(x(p), y(float(chart.smoothed[at[r]]))) for p, r in enumerate(shown)], width_mm=0.7)
        shapes += [
            line(x(place), y(low), x(place), y(high), width_mm=0.4, grey=SOFT)
            for place, low, high in _doubts(points)
        ]
        key = _("dots: rounds; line: smoothed; grey: what chance alone brings")
        if any(point.doubt for point in points):
            key = _("dots: rounds, bars: doubt; line: smoothed; grey: what chance alone brings")
        shapes.append(
            text(
                0,
                7.4,
                key,
                size_pt=SMALL_PT,
                grey=SOFT,
                fit_mm=width_mm,
            )
        )
    else:
        below = ngettext(
            "{n} round with 90 % ranges: too few to see a trend",
            "{n} rounds with 90 % ranges: too few to see a trend",
            len(shown),
        )
        if not shown:
            below = _("no clean throws are marked, so there are no rates")
        shapes.append(text(0, 7.4, below, size_pt=SMALL_PT, grey=SOFT, fit_mm=width_mm))
        for place, i in enumerate(ranges):
            shapes.append(line(x(place), y(i.low), x(place), y(i.high), width_mm=0.5, grey=SOFT))
    radius = min(1.2, max(0.6, half * 0.8))
    for place, rate in enumerate(rates):
        shapes += dot(
            x(place), y(rate), radius_mm=radius, filled=chart is not None and shown[place] in chart.outside
        )
    shapes += _dates([history.heads[i].day for i in shown], x, base + 3.8)
    counts = ", ".join(_("{count} of {total}", count=p.misses, total=p.throws) for p in points)
    return Picture(
        title,
        _("Missed of marked, oldest first: {counts}.", counts=counts),
        width_mm,
        base + 5.2,
        tuple(shapes),
    )


def _doubts(points: Sequence[Point]) -> list[tuple[int, float, float]]:
    """Return place, low and high of each round's rate that doubtful values leave open."""
    reach = [normal_quantile() * point.doubt for point in points]
    middle = [point.rate.middle for point in points]
    return [(i, max(m - r, 0.0), m + r) for i, (m, r) in enumerate(zip(middle, reach, strict=True)) if r]


def _dates(days: Sequence[date | None], x: Callable[[int], float], y: float) -> list[Shape]:
    """First and last date below the axis."""
    known = [(i, d) for i, d in enumerate(days) if d is not None]
    if not known:
        return []
    (first, day_one), (last, day_two) = known[0], known[-1]
    shapes: list[Shape] = [text(x(first) - 1.5, y, words.day(day_one), size_pt=SMALL_PT, grey=SOFT)]
    if last > first:
        told = words.day(day_two)
        shapes.append(text(x(last) + 1.5, y, told, size_pt=SMALL_PT, anchor="right", grey=SOFT))
    return shapes


def putting_chart(putting: Putting, unit: str = "m", width_mm: float = 72.0) -> Picture:
    """Putts holed by distance: observed bands with ranges, the curve with its band, the even chance."""
    left, top, base = 9.0, 10.5, 36.0
    title = _("Putts holed, by distance")
    shapes: list[Shape] = [text(0, 3.6, title, size_pt=HEAD_PT, bold=True)]
    curve = putting.curve
    far = float(curve.distance_m[-1]) if curve else 12.0

    def x(metres: float) -> float:
        return left + (width_mm - left - 2) * metres / far

    def y(share: float) -> float:
        return base - (base - top) * share

    if curve is not None:
        for i in range(len(curve.distance_m) - 1):
            a, b = curve.distance_m[i], curve.distance_m[i + 1]
            high, low = y(float(curve.high[i : i + 2].mean())), y(float(curve.low[i : i + 2].mean()))
            shapes.append(rectangle(x(a), high, x(b) - x(a) + 0.1, low - high, PALE))
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        shapes.append(line(left, y(tick), width_mm, y(tick), width_mm=0.15, grey=LIGHT))
        if tick in (0.0, 0.5, 1.0):
            shapes.append(
                text(left - 1, y(tick) + 1, words.percent(tick), size_pt=SMALL_PT, anchor="right", grey=SOFT)
            )
    shapes += dashed(x(PUTTING_AREA_M), top, x(PUTTING_AREA_M), base, grey=0.5)
    for metres in (3.0, 6.0, 10.0, *(range(15, int(far) + 1, 5))):
        shapes.append(
            text(x(metres), base + 3.8, length(metres, unit), size_pt=SMALL_PT, anchor="middle", grey=SOFT)
        )
    if curve is not None:
        seen = [(float(d), float(p)) for d, p in zip(curve.distance_m, curve.middle, strict=True)]
        shapes += path([(x(d), y(p)) for d, p in seen if d <= curve.longest_m], width_mm=0.6)
        beyond = [(d, p) for d, p in seen if d > curve.longest_m]
        if len(beyond) > 1:
            shapes += dashed(
                x(beyond[0][0]), y(beyond[0][1]), x(beyond[-1][0]), y(beyond[-1][1]), width_mm=0.4
            )
    centres = (2.5, 4.5, 6.5, 8.8, 11.5)
    for metres, band in zip(centres, putting.bands, strict=True):
        if band.tries and metres < far:
            shapes.append(
                line(x(metres), y(band.holed.low), x(metres), y(band.holed.high), width_mm=0.4, grey=SOFT)
            )
            shapes += dot(x(metres), y(band.holed.middle), radius_mm=1.1, filled=False)
    shapes += _practice(putting, x, y, far)
    said = _even_said(putting, unit)
    shapes.append(text(0, 7.4, said, size_pt=SMALL_PT, grey=SOFT, fit_mm=width_mm))
    told = "; ".join(holed_said(b) for b in putting.bands if b.tries)
    if putting.practice:
        practice = _("on putting ladders")
        told += f". {first_upper(practice)}: " + "; ".join(holed_said(g) for g in putting.practice)
    return Picture(title, f"{said}. {told}.", width_mm, base + 5.2, tuple(shapes))


def _practice(
    putting: Putting, x: Callable[[float], float], y: Callable[[float], float], far: float
) -> list[Shape]:
    """Putts of practice as squares at their distances, and what squares and rings are."""
    if not putting.practice:
        return []
    shapes: list[Shape] = []
    for metres, rung in zip(putting.practice_m, putting.practice, strict=True):
        if metres <= far:
            shapes.append(
                line(x(metres), y(rung.holed.low), x(metres), y(rung.holed.high), width_mm=0.2, grey=SOFT)
            )
            shapes.append(rectangle(x(metres) - 0.8, y(rung.holed.middle) - 0.8, 1.6, 1.6, BLACK))
    # at the lower left, where chances hardly ever are
    at, low = x(0.0) + 2.0, y(0.0) - 1.2
    shapes += dot(at, low - 4.0, radius_mm=1.1, filled=False)
    shapes.append(rectangle(at - 0.8, low - 1.6, 1.6, 1.6, BLACK))
    shapes.append(text(at + 2.0, low - 3.2, _("in rounds"), size_pt=SMALL_PT, grey=SOFT))
    shapes.append(text(at + 2.0, low, _("on putting ladders"), size_pt=SMALL_PT, grey=SOFT))
    return shapes


def _even_said(putting: Putting, unit: str) -> str:
    """Return from where half of the putts drop, or why that is not told."""
    curve = putting.curve
    if curve is None:
        return ngettext(
            "{n} putt with a distance: no curve yet",
            "{n} putts with a distance: no curve yet",
            putting.putts,
        )
    if curve.even_m is None:
        return ngettext(
            "{n} putt with a distance; even chance out of sight",
            "{n} putts with a distance; even chance out of sight",
            putting.putts,
        )
    return ngettext(
        "even chance at {length} ({range}), {n} putt",
        "even chance at {length} ({range}), {n} putts",
        putting.putts,
        length=length(curve.even_m.middle, unit, 1),
        range=_lengths(curve.even_m, unit),
    )


def results_chart(tables: Sequence[TwoByTwo], width_mm: float = 72.0) -> Picture:
    """Share of throws that ended well, clean ones filled and missed ones open, with ranges."""
    left, right = 18.0, 14.0
    plot = width_mm - left - right
    shapes: list[Shape] = [text(0, 3.6, _("Ended well"), size_pt=HEAD_PT, bold=True)]
    key = _("filled: clean throws; open: missed ones; bars: 90 % ranges")
    shapes.append(text(0, 7.4, key, size_pt=SMALL_PT, grey=SOFT, fit_mm=width_mm))
    base = 13.2 + len(tables) * 7.6 - 2.0
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        x = left + plot * tick
        shapes.append(line(x, 9.6, x, base, width_mm=0.15, grey=LIGHT))
        if tick in (0.0, 0.5, 1.0):
            shapes.append(
                text(
                    x,
                    base + 3.6,
                    words.percent(tick),
                    size_pt=SMALL_PT,
                    anchor="middle",
                    grey=SOFT,
                )
            )
    for row, table in enumerate(tables):
        y = 13.2 + row * 7.6
        shapes.append(text(0, y + 1.6, words.MANY[table.phase], size_pt=SMALL_PT, fit_mm=left - 1.5))
        for dy, share, filled in ((-1.5, table.good_when_clean, True), (1.9, table.good_when_missed, False)):
            if isnan(share.middle):
                continue
            a, b, c = (left + plot * v for v in (share.low, share.middle, share.high))
            shapes.append(line(a, y + dy, c, y + dy, width_mm=0.4, grey=SOFT))
            shapes += dot(b, y + dy, radius_mm=1.1, filled=filled)
            throws = table.clean_good + table.clean_bad if filled else table.missed_good + table.missed_bad
            of = _("of {throws}", throws=throws)
            shapes.append(text(width_mm, y + dy + 1.0, of, size_pt=SMALL_PT, anchor="right"))
    return Picture(
        _("Throws that ended well"), "; ".join(map(result_said, tables)), width_mm, base + 5.2, tuple(shapes)
    )


def result_said(table: TwoByTwo) -> str:
    """Return one phase's four numbers in words."""
    clean, missed = table.clean_good + table.clean_bad, table.missed_good + table.missed_bad
    many = words.MANY[table.phase]
    if not table.throws:
        return _("{many}: nothing to compare", many=many)
    return _(
        "{many}: {clean_good} of {clean} clean ones ended well, {missed_good} of {missed} missed ones",
        many=many,
        clean_good=table.clean_good,
        clean=clean,
        missed_good=table.missed_good,
        missed=missed,
    )


def _lengths(interval: Interval, unit: str) -> str:
    if isinf(interval.high):
        return _("{length} or more", length=length(interval.low, unit, 1))
    return words.from_to(length(interval.low, unit, 1).split()[0], length(interval.high, unit, 1))
