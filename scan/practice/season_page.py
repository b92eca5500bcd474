"""The season in the terminal, as a page, and as one sheet of paper to pin on a wall."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from shortpencil.forms.drawing import Shape
from shortpencil.forms.layout import Paper
from shortpencil.scan.language import N_, _
from shortpencil.scan.practice import words
from shortpencil.scan.practice.model import Interval
from shortpencil.scan.practice.picture import (
    LIGHT,
    SMALL_PT,
    SOFT,
    TEXT_PT,
    frame,
    line,
    moved,
    paragraph,
    text,
    to_svg,
)
from shortpencil.scan.practice.season import (
    Season,
    changed_sentences,
    head_line,
    next_sentences,
    tests_sentences,
    weeks_sentences,
)
from shortpencil.scan.practice.season_chart import BESIDE_MM, MONTHS_MM, season_chart
from shortpencil.scan.practice.web import document, said

WIDTH = 80
WIDTH_MM, TOP_MM = 182.0, 14.0
#: On a page a chart of few months is so narrow that a phone shows all of it at the size of the other charts'
#: letters; each month adds to it, and one of a year scrolls.
LEAST_MM, MONTH_MM = 80.0, 14.0

FOOT = N_(
    "Dots are the share of marked throws missed in a month, filled where that phase cost most by its end; "
    "bars are 90 % ranges, which hold the true share nine times in ten if rounds differ no more than so far. "
    "Every number comes from your own marks."
)
CAPTION = N_("Missed throws of marked ones, with 90 % ranges; what cost most is as of the end of each month")


# -- terminal ------------------------------------------------------------------------------------------------


def screen(season: Season) -> list[str]:
    """Return the lines for a terminal, none wider than 80 characters."""
    whose, aim = _("YOUR SEASON  {whose}", whose=head_line(season)), _("AIM  {aim}", aim=season.aim)
    lines = [*_wrap(whose), *_wrap(aim), ""]
    lines += [text_ for sentence in next_sentences(season) for text_ in _wrap(sentence)]
    lines += ["", *_table(season), ""]
    lines += [_("WHAT CHANGED"), *(t for s in changed_sentences(season) for t in _wrap(s, "  "))]
    tests = tests_sentences(season)
    if tests:
        lines += [_("TESTS OF TEN"), *(t for s in tests for t in _wrap(s, "  "))]
    lines += [_("THE NEXT WEEKS"), *(t for s in weeks_sentences(season) for t in _wrap(s, "  "))]
    return [*lines, *_wrap(_(words.SHORT_CAUTIONS))]


def _table(season: Season) -> list[str]:
    heads = [words.IN_TABLES[phase] for phase in season.phases]
    rows = [
        [
            (words.percent(rate.middle) if rate else "–") + (f" ({done})" if done else "")
            for rate, done in zip(m.rates, m.sessions, strict=True)
        ]
        for m in season.months
    ]
    most = [words.IN_TABLES[m.costs_most] if m.costs_most else "–" for m in season.months]
    widths, last = _widths(heads, rows, [_("cost most"), *most])
    lines = [
        f"{'':<10}{'':>6}  {_('missed (sessions)')}",
        f"{'':<10}{_('rounds'):>6}  {_row(heads, widths)}{_cut(_('cost most'), last)}",
    ]
    for m, cells, name in zip(season.months, rows, most, strict=True):
        lines.append(f"{m.name:<10}{m.rounds:>6}  {_row(cells, widths)}{_cut(name, last)}")
    return lines


def _widths(
    heads: Sequence[str], rows: Sequence[Sequence[str]], last: Sequence[str]
) -> tuple[list[int], int]:
    """Return how wide the columns of the phases and the last one are, together what a line has room for."""
    room = WIDTH - 18
    widths, end = [14] * len(heads), max(map(len, last))
    if sum(widths) + end > room:
        widths = [max(map(len, column)) + 2 for column in zip(heads, *rows, strict=True)]
    if sum(widths) + end > room:
        least = [max(map(len, column)) + 1 for column in zip(*rows, strict=True)]  # a name is cut, no figure
        widths = [
            max(min(width, (room - 10) // len(heads)), most)
            for width, most in zip(widths, least, strict=True)
        ]
    return widths, min(end, room - sum(widths))


def _row(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "".join(f"{_cut(cell, width - 1):<{width}}" for cell, width in zip(cells, widths, strict=True))


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def _wrap(sentence: str, indent: str = "") -> list[str]:
    return words.wrapped(sentence, WIDTH, indent)


# -- page ----------------------------------------------------------------------------------------------------


def title(season: Season) -> str:
    """Return whose season it is, as a title."""
    return _("{player}'s season", player=words.whose(season.player)) if season.player else _("Your season")


def page(season: Season) -> str:
    """Return the page as text, self-contained, UTF-8 to be."""
    the_season = escape(_("The season"), quote=True)
    wide = min(WIDTH_MM, LEAST_MM + MONTH_MM * (len(season.months) - 1))
    return document(
        title(season),
        head_line(season),
        [
            f"<h1>{escape(title(season))}</h1>",
            f'<p class="cue">{said(season.aim)}</p>',
            *(f"<p>{said(s)}</p>" for s in next_sentences(season)),
            # A year does not shrink to a phone's width: there it is moved along, also by keyboard.
            f'<div class="charts"><figure class="wide season" tabindex="0" aria-label="{the_season}" '
            f'style="--wide: {wide:.0f}">',
            to_svg(season_chart(season, wide)),
            "</figure></div>",
            f"<h2>{said(_('What changed'))}</h2>",
            _list(changed_sentences(season)),
            f"<h2>{said(_('The next weeks'))}</h2>",
            _list(weeks_sentences(season)),
            f"<h2>{said(_('Month by month'))}</h2>",
            _months(season),
            *(
                [f"<h2>{said(_('Tests of ten'))}</h2>", _list(tests_sentences(season))]
                if season.tests
                else []
            ),
            f'<div class="cautions">{_list(words.cautions())}</div>',
        ],
        _(FOOT),
    )


def _months(season: Season) -> str:
    rows = []
    for m in season.months:
        cells = [str(m.rounds), *(_rate(r) for r in m.rates)]
        done = ", ".join(f"{words.MANY[season.phases[k]]} {n}" for k, n in enumerate(m.sessions) if n) or _(
            "none known"
        )
        cells += [done, words.MANY[m.costs_most] if m.costs_most else "–"]
        row = "".join(f"<td>{words.held(c)}</td>" for c in cells)
        rows.append(f'<tr><th scope="row">{said(m.name)}</th>{row}</tr>')
    missed = (_("{many} missed", many=words.MANY[phase]) for phase in season.phases)
    heads = (_("month"), _("rounds"), *missed, _("sessions"), _("cost most"))
    name, caption = escape(_("Month by month"), quote=True), _(CAPTION)
    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{name}">'
        f"<table><caption>{escape(caption)}</caption><thead><tr>"
        + "".join(f'<th scope="col">{said(h)}</th>' for h in heads)
        + f"</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _rate(rate: Interval | None) -> str:
    if rate is None:
        return "–"  # no throw of rounds of that length was marked
    return f'{words.percent(rate.middle)}<span class="range">{words.percent_range(rate)}</span>'


def _list(items: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{said(item)}</li>' for item in items)}</ul>"


# -- sheet ---------------------------------------------------------------------------------------------------


def sheet(season: Season, paper: Paper) -> tuple[Shape, ...]:
    """Return the year on one sheet, as shapes in mm: readable from a step away, with the aim in a frame."""
    x = (paper.width_mm - WIDTH_MM) / 2
    right = x + WIDTH_MM
    whose = title(season)
    shapes: list[Shape] = [
        text(x, TOP_MM + 3, "shortpencil", size_pt=11, bold=True),
        text(right, TOP_MM + 3, head_line(season), size_pt=TEXT_PT, anchor="right", grey=SOFT),
        line(x, TOP_MM + 5.4, right, TOP_MM + 5.4, width_mm=0.3),
        text(x, TOP_MM + 16.0, whose, size_pt=26, bold=True, fit_mm=WIDTH_MM),
    ]
    top = TOP_MM + 20.5
    lines, after = paragraph(x + 4, top + 6.6, season.aim, WIDTH_MM - 8, size_pt=14, bold=True)
    shapes += [frame(x, top, WIDTH_MM, after - top - 2.6), *lines]
    y = after + 3.0
    for sentence in next_sentences(season)[:2]:
        lines, y = paragraph(x, y, sentence, WIDTH_MM, size_pt=10.5, lead=1.25)
        shapes += lines
        y += 0.8
    foot, foot_top = _foot(x, paper.height_mm - TOP_MM)
    told, told_height = _told(season, x, 0.0)
    told_top = foot_top - told_height - 3.0
    spare = told_top - y - 3.0
    strip = min(34.0, max(5.0, (spare - MONTHS_MM) / len(season.phases) - BESIDE_MM))
    shapes += season_chart(season, WIDTH_MM, strip).at(x, y)
    shapes += [moved(shape, 0.0, told_top) for shape in told]
    return (*shapes, *foot)


def _told(season: Season, x: float, y: float) -> tuple[list[Shape], float]:
    """What changed on the left, the next weeks on the right."""
    wide = WIDTH_MM * 0.6
    shapes: list[Shape] = [line(x, y, x + WIDTH_MM, y, width_mm=0.3)]
    bottoms = []
    for left, width, head, sentences in (
        (x, wide, _("What changed"), changed_sentences(season)),
        (x + wide + 7.0, WIDTH_MM - wide - 7.0, _("The next weeks"), weeks_sentences(season)),
    ):
        at = y + 6.4
        shapes.append(text(left, at, head, size_pt=13, bold=True))
        at += 5.6
        for sentence in sentences:
            lines, at = paragraph(left, at, sentence, width, size_pt=9.5, lead=1.2)
            shapes += lines
            at += 0.7
        bottoms.append(at)
    return shapes, max(bottoms) - y


def _foot(x: float, bottom: float) -> tuple[list[Shape], float]:
    lines, after = paragraph(
        x, 4.0, " ".join([*words.cautions(), _(FOOT)]), WIDTH_MM, size_pt=SMALL_PT, lead=1.2, grey=SOFT
    )
    top = bottom - after
    shapes: list[Shape] = [line(x, top, x + WIDTH_MM, top, width_mm=0.3, grey=LIGHT)]
    return [*shapes, *(moved(shape, 0.0, top) for shape in lines)], top
