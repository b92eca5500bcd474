"""The season as one picture: a strip for each phase, misses by month above, practice and tests below.

A month's dot is filled where this phase cost most as of its end: the foci of the year, read along the strips.
"""

from __future__ import annotations

from datetime import date

from shortpencil.forms.drawing import Shape
from shortpencil.scan.language import _, first_upper, ngettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.picture import (
    HEAD_PT,
    LIGHT,
    SMALL_PT,
    SOFT,
    Picture,
    dot,
    line,
    text,
    text_width_mm,
)
from shortpencil.scan.practice.season import Month, Season

_LEFT, _RIGHT = 13.0, 2.0
_HEAD, _BELOW, _GAP = 6.4, 10.2, 3.0
#: What a strip takes beside its rates; the labels of two lines of its scale need this much height each.
BESIDE_MM, MONTHS_MM = _HEAD + _BELOW + _GAP, 4.0
_LABEL_MM = 3.4


def season_chart(season: Season, width_mm: float = 182.0, strip_mm: float = 22.0) -> Picture:
    """Return a strip a phase; `strip_mm` is the height of the part with the miss rates."""
    shapes: list[Shape] = []
    y = 0.0
    for k in range(len(season.phases)):
        shapes += _strip(season, k, y, width_mm, strip_mm)
        y += _HEAD + strip_mm + _BELOW + _GAP
    shapes += _months(season, y - _GAP, width_mm)
    return Picture(
        title=_("Misses, practice and tests of the season"),
        description=_described(season),
        width_mm=width_mm,
        height_mm=y - _GAP + MONTHS_MM,
        shapes=tuple(shapes),
    )


def _strip(season: Season, k: int, top: float, width: float, height: float) -> list[Shape]:
    phase = season.phases[k]
    done = sum(s.phase == k for s in season.sessions)
    tested = [t for t in season.tests if t.phase == k]
    shapes: list[Shape] = [
        text(0, top + 3.6, first_upper(words.MANY[phase]), size_pt=HEAD_PT + 1, bold=True),
        text(
            width - _RIGHT,
            top + 3.6,
            ngettext(
                "{sessions}, {n} test of ten",
                "{sessions}, {n} tests of ten",
                len(tested),
                sessions=words.sessions(done),
            ),
            size_pt=SMALL_PT,
            anchor="right",
            grey=SOFT,
        ),
    ]
    ceiling = _ceiling(season)
    every = 0.2 if height * 0.2 / ceiling >= _LABEL_MM else ceiling / 2
    floor_y = top + _HEAD + height

    def y(share: float) -> float:
        return floor_y - height * min(share, ceiling) / ceiling

    for tick in [every * i for i in range(round(ceiling / every) + 1)]:
        shapes.append(line(_LEFT, y(tick), width - _RIGHT, y(tick), width_mm=0.15, grey=LIGHT))
        shapes.append(
            text(
                _LEFT - 1.2,
                y(tick) + 1.0,
                words.percent(tick),
                size_pt=SMALL_PT,
                anchor="right",
                grey=SOFT,
            )
        )
    for month in season.months:
        rate = month.rates[k]
        if rate is not None:
            at = _x(season, _middle(month), width)
            shapes.append(line(at, y(rate.low), at, y(rate.high), width_mm=0.5, grey=0.55))
            shapes += dot(at, y(rate.middle), radius_mm=1.3, filled=month.costs_most == phase)
    shapes.append(
        text(_LEFT - 1.2, floor_y + 4.4, _("practised"), size_pt=SMALL_PT, anchor="right", grey=SOFT)
    )
    for session in season.sessions:
        if session.phase == k:
            at = _x(season, session.day, width)
            shapes.append(line(at, floor_y + 1.8, at, floor_y + 4.8, width_mm=0.7))
    shapes.append(text(_LEFT - 1.2, floor_y + 8.6, _("tests"), size_pt=SMALL_PT, anchor="right", grey=SOFT))
    free_from = 0.0
    for test in tested:
        said = f"{test.made}" if test.tries == 10 else f"{test.made}/{test.tries}"
        at = _x(season, test.day, width)
        half = text_width_mm(said, SMALL_PT) / 2
        if at - half < free_from:  # two tests of one week: the later one would print over the earlier
            continue
        shapes.append(text(at, floor_y + 8.6, said, size_pt=SMALL_PT, anchor="middle"))
        free_from = at + half + 0.8
    return shapes


def _ceiling(season: Season) -> float:
    """Return the top of the scale, the same for all phases, so that they can be compared."""
    high = max((r.high for m in season.months for r in m.rates if r is not None), default=0.4)
    return next(t for t in (0.4, 0.6, 0.8, 1.0) if t >= min(high, 1.0))


def _months(season: Season, y: float, width: float) -> list[Shape]:
    shapes: list[Shape] = []
    wide = len(season.months) <= 12
    for month in season.months:
        left = _x(season, month.first, width)
        shapes.append(line(left, y - 1.6, left, y + 0.4, width_mm=0.2, grey=SOFT))
        name = month.name.split(" ")[0] if wide else month.name[0]
        shapes.append(
            text(
                _x(season, _middle(month), width),
                y + 2.6,
                name,
                size_pt=SMALL_PT,
                anchor="middle",
                grey=SOFT,
            )
        )
    return shapes


def _middle(month: Month) -> date:
    return month.first.replace(day=15)


def _x(season: Season, day: date, width: float) -> float:
    """Return where a day lies, the months as long as the calendar has them."""
    first = season.months[0].first.toordinal()
    end = season.months[-1].first.toordinal() + 31
    return _LEFT + (width - _LEFT - _RIGHT) * (day.toordinal() - first) / (end - first)


def _described(season: Season) -> str:
    parts = []
    for k, phase in enumerate(season.phases):
        rates = [
            f"{m.name} {words.percent(m.rates[k].middle)}"  # type: ignore[union-attr]
            for m in season.months
            if m.rates[k] is not None
        ]
        most = [m.name for m in season.months if m.costs_most == phase]
        many, told = first_upper(words.MANY[phase]), ", ".join(rates) or _("no marks")
        parts.append(_("{many} missed: {months}.", many=many, months=told))
        if most:
            parts.append(_("They cost most as of {months}.", months=words.listing(most)))
    return " ".join(parts)
