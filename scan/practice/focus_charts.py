"""Pictures of the focus: what misses cost by phase, why and which way.

As in all pictures of the report, a filled mark is what the page is about and an open one everything else;
greys only order things and never carry meaning alone; counts, units and ranges stand in the picture; and its
description says in words what it shows.
"""

from __future__ import annotations

import numpy as np

from shortpencil.forms.drawing import Shape
from shortpencil.scan.language import _, ngettext
from shortpencil.scan.language.numbers import localized
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import Causes, first_words, way_said
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.phases import PhaseEvidence
from shortpencil.scan.practice.picture import (
    HEAD_PT,
    LIGHT,
    SMALL_PT,
    SOFT,
    TEXT_PT,
    Picture,
    dashed,
    dot,
    line,
    rectangle,
    text,
    text_width_mm,
)

_CAUSES_SHOWN = 5
_LEAST_SQUARE_MM = 1.0
_NARROW_MM = 96.0


def strokes_chart(focus: Focus, width_mm: float = 102.0) -> Picture:
    """What misses cost a round, by phase: mark and range, the focus filled.

    Where the picture is narrow, the numbers of a phase stand below its bar, not beside it.
    """
    narrow = width_mm < _NARROW_MM
    left, right = 28.0, 13.0 if narrow else 44.0
    plot = width_mm - left - right
    most = max(p.strokes_a_round.high for p in focus.phases)
    step = _step(most)
    top = max(step, np.ceil(most / step) * step)
    shapes: list[Shape] = [text(0, 3.6, _("What misses cost"), size_pt=HEAD_PT, bold=True)]
    shapes += [text(0, 7.4, _("recent rounds; bars are 90 % ranges"), size_pt=SMALL_PT, grey=SOFT)]
    shapes.append(text(width_mm, 7.4, _("costs most"), size_pt=SMALL_PT, grey=SOFT, anchor="right"))
    y = 14.0
    base = y + len(focus.phases) * 9.6 - 3.4
    for tick in np.arange(0, top + step / 2, step):
        shapes += _tick(left + plot * tick / top, base, localized(f"{tick:g}"))
    unit_x = 0.0 if narrow else left + plot + 3
    shapes.append(text(unit_x, base + 3.6, _("strokes a round"), size_pt=SMALL_PT, grey=SOFT))
    for p in focus.phases:
        chosen = p.phase == focus.phase
        i = p.strokes_a_round
        a, b, c = (left + plot * min(v, top) / top for v in (i.low, i.middle, i.high))
        shapes.append(text(0, y, words.MANY[p.phase], size_pt=TEXT_PT, bold=chosen, fit_mm=left - 3))
        shapes.append(text(0, y + 3.5, _tally(p), size_pt=SMALL_PT, grey=SOFT))
        if p.recent.misses or p.recent.marked:
            shapes.append(line(a, y, c, y, width_mm=0.9 if chosen else 0.5, grey=0.0 if chosen else SOFT))
            shapes += dot(b, y, radius_mm=1.5, filled=chosen)
            said = f"{words.strokes(i.middle)} ({words.strokes_range(i)})"
            at = (left + 0.8, y + 4.8) if narrow else (left + plot + 3, y + 1.1)
            shapes.append(text(*at, said, size_pt=SMALL_PT, bold=chosen))
        most_said = focus.costs_most_said(p)
        shapes.append(text(width_mm, y + 1.1, most_said, size_pt=SMALL_PT, bold=chosen, anchor="right"))
        y += 9.6
    return Picture(
        _("What misses cost in strokes a round, by phase"),
        "; ".join(_phase_said(focus, p) for p in focus.phases),
        width_mm,
        base + 5.2,
        tuple(shapes),
    )


def _tick(x: float, base: float, said: str) -> list[Shape]:
    """Return a pale line down to the scale, and its number there."""
    number = text(x, base + 3.6, said, size_pt=SMALL_PT, anchor="middle", grey=SOFT)
    return [line(x, 9.6, x, base, width_mm=0.15, grey=LIGHT), number]


def causes_chart(causes: Causes, width_mm: float = 72.0) -> Picture:
    """Why and which way: one small square a note, and a cross of directions."""
    noted = [c for c in causes.causes if c.count][:_CAUSES_SHOWN]
    total = sum(c.count for c in causes.causes)
    cross = 25.0
    label = 27.0
    largest = max((c.count for c in noted), default=1)
    size = min(2.4, (width_mm - cross - label - 6.0) / largest - 0.5)
    step = size + 0.5
    many = words.MANY[causes.phase]
    if size >= _LEAST_SQUARE_MM and noted:
        below = ngettext("{n} note, a square each", "{n} notes, a square each", total)
    else:
        below = words.notes(total)
    head = _("Why {many} missed", many=many)
    room = width_mm - cross / 2 - text_width_mm(_("Which way"), HEAD_PT, True) / 2 - 2.0
    shapes: list[Shape] = [text(0, 3.6, head, size_pt=HEAD_PT, bold=True, fit_mm=room)]
    shapes.append(text(0, 7.4, below, size_pt=SMALL_PT, grey=SOFT))
    if not noted:
        shapes.append(text(0, 14, _("No cause is noted yet."), size_pt=TEXT_PT))
    for row, c in enumerate(noted):
        y = 13.4 + row * 5.4
        short = first_words(c.words)
        shapes.append(text(0, y, short, size_pt=SMALL_PT, bold=row == 0, fit_mm=label - 1))
        grey = 0.0 if row == 0 else 0.55
        if size >= _LEAST_SQUARE_MM:
            shapes += [rectangle(label + i * step, y - 2.3, size, 2.4, grey) for i in range(c.count)]
        else:  # too many for squares: a bar of the same length
            shapes.append(rectangle(label, y - 2.3, c.count * step, 2.4, grey))
        shapes.append(text(label + c.count * step + 0.8, y - 0.1, str(c.count), size_pt=SMALL_PT))
    shapes += _cross(causes, width_mm - cross / 2, 22.0)
    said = ", ".join(f"{c.words} {c.count}" for c in noted) or _("no cause noted")
    ways = ", ".join(f"{w.words} {w.count}" for w in causes.ways)
    return Picture(
        _("Why and which way {many} missed", many=many),
        _("Of {total} notes: {causes}. Ways: {ways}.", total=total, causes=said, ways=ways),
        width_mm,
        40.0,
        tuple(shapes),
    )


def _cross(causes: Causes, x: float, y: float) -> list[Shape]:
    """Counts of directions around the target, larger where more."""
    counts = {w.id: w.count for w in causes.ways}
    most = max([*counts.values(), 1])
    shapes: list[Shape] = [text(x, 3.6, _("Which way"), size_pt=HEAD_PT, bold=True, anchor="middle")]
    reach = 7.6
    shapes += dashed(x - reach, y, x + reach, y, grey=LIGHT)
    shapes += dashed(x, y - reach, x, y + reach, grey=LIGHT)
    for way, (dx, dy) in {"left": (-1, 0), "right": (1, 0), "long": (0, -1), "short": (0, 1)}.items():
        n = counts.get(way, 0)
        radius = 0.9 + 2.4 * (n / most) ** 0.5 if n else 0.9
        at = (x + dx * reach, y + dy * reach)
        shapes += dot(*at, radius_mm=radius, filled=n == most)
        grey = 1.0 if n == most else 0.0
        if n:
            shapes.append(
                text(at[0], at[1] + 1.0, str(n), size_pt=SMALL_PT, bold=True, anchor="middle", grey=grey)
            )
        else:
            shapes.append(
                text(
                    at[0],
                    at[1] - 1.6 if dy <= 0 else at[1] + 3.8,
                    "0",
                    size_pt=SMALL_PT,
                    anchor="middle",
                    grey=SOFT,
                )
            )
        if dy:
            shapes.append(
                text(
                    x,
                    at[1] + dy * 4.6 + (2.0 if dy > 0 else 0.4),
                    way_said(way),
                    size_pt=SMALL_PT,
                    anchor="middle",
                    grey=SOFT,
                )
            )
        else:
            shapes.append(text(at[0], y + 6.4, way_said(way), size_pt=SMALL_PT, anchor="middle", grey=SOFT))
    return shapes


def _tally(p: PhaseEvidence) -> str:
    """Return misses of marked throws; misses alone where only these are marked."""
    if p.recent.marked:
        return _("{missed} of {thrown} missed", missed=p.recent.misses, thrown=p.recent.marked)
    return words.misses(p.recent.misses) if p.recent.misses else _("none marked")


def _phase_said(focus: Focus, p: PhaseEvidence) -> str:
    if not p.recent.marked and not p.recent.misses:
        return _("{many}: none marked", many=words.MANY[p.phase])
    return _(
        "{many}: {tally}, {strokes} strokes a round ({range}), {probability} that it costs most",
        many=words.MANY[p.phase],
        tally=_tally(p),
        strokes=words.strokes(p.strokes_a_round.middle),
        range=words.strokes_range(p.strokes_a_round),
        probability=focus.costs_most_said(p),
    )


def _step(most: float) -> float:
    """Return a round distance between ticks, for three to six of them."""
    return next((s for s in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if most / s <= 5), 20.0)
