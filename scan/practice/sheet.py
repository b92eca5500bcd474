"""The report on one sheet of paper: the focus first, then the evidence, then the plan, then the cautions.

Everything lies in the area that A4 and Letter share, in black and grey. What does not fit one page is on the
web page; here sentences are cut before type gets too small to read.
"""

from __future__ import annotations

from shortpencil.forms.drawing import Shape
from shortpencil.forms.layout import Paper
from shortpencil.scan.language import _, pgettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.focus_charts import causes_chart, strokes_chart
from shortpencil.scan.practice.picture import (
    HEAD_PT,
    LIGHT,
    SMALL_PT,
    SOFT,
    TEXT_PT,
    frame,
    line,
    paragraph,
    text,
    text_width_mm,
)
from shortpencil.scan.practice.plan import BOX_WORDS, TEST_TRIES, Plan, Step, box_said, long_aim_said
from shortpencil.scan.practice.putting import ladders_said
from shortpencil.scan.practice.rate_charts import putting_chart, results_chart, time_charts
from shortpencil.scan.practice.report import (
    Report,
    change_sentences,
    cue_sentence,
    effect_sentences,
    head_line,
    luck_sentence,
    tested_sentences,
    title,
    why_sentences,
)

WIDTH_MM = 182.0
TOP_MM = 13.0
_LEFT_CHART, _GUTTER = 104.0, 6.0


def sheet(report: Report, paper: Paper) -> tuple[Shape, ...]:
    """Return the page as shapes in mm."""
    left = (paper.width_mm - WIDTH_MM) / 2
    bottom = paper.height_mm - TOP_MM
    plan, height = _plan(report.plan, left, 0.0)
    cautions, cautions_height = _cautions(left, 0.0)
    plan_top = bottom - cautions_height - height
    charts, charts_height = _charts(report, left, 0.0)
    head, y = _head(report, left, plan_top - charts_height - 3.0)
    told, _ = _told(report, left, y + charts_height, plan_top - 4.0)
    return (
        *head,
        *_lowered(charts, y),
        *told,
        *_lowered(plan, plan_top),
        *_lowered(cautions, bottom - cautions_height),
    )


def _lowered(shapes: list[Shape], by_mm: float) -> list[Shape]:
    from shortpencil.scan.practice.picture import moved

    return [moved(shape, 0.0, by_mm) for shape in shapes]


def _head(report: Report, x: float, limit: float) -> tuple[list[Shape], float]:
    right = x + WIDTH_MM
    shapes: list[Shape] = [
        text(x, TOP_MM + 3, "shortpencil", size_pt=11, bold=True),
        text(right, TOP_MM + 3, head_line(report), size_pt=TEXT_PT, anchor="right", grey=SOFT),
        line(x, TOP_MM + 5.4, right, TOP_MM + 5.4, width_mm=0.3),
        text(x, TOP_MM + 16.5, title(report), size_pt=27, bold=True, fit_mm=WIDTH_MM),
        text(x, TOP_MM + 23.4, cue_sentence(report), size_pt=14, fit_mm=WIDTH_MM),
    ]
    sentences = why_sentences(report)
    for size_pt in WHY_PT:
        why, y, told = _why(sentences, x, limit, size_pt)
        if told >= min(MUST_TELL, len(sentences)):
            break
    return [*shapes, *why], y + 1.0


#: Sizes of the sentences below the headline, the largest at which the first of them fit: how sure, what next.
WHY_PT = (9.5, 9.0, 8.5, SMALL_PT)
MUST_TELL = 2


def _why(sentences: list[str], x: float, limit: float, size_pt: float) -> tuple[list[Shape], float, int]:
    """Return as many of the first sentences as there is room for, where they end, and how many."""
    shapes: list[Shape] = []
    y, told = TOP_MM + 30.0, 0
    for sentence in sentences:
        lines, after = paragraph(x, y, sentence, WIDTH_MM, size_pt=size_pt, lead=1.25)
        if after > limit:  # what has no room is left out whole, never cut within a sentence
            break
        shapes += lines
        y, told = after, told + 1
    return shapes, y, told


def _charts(report: Report, x: float, y: float) -> tuple[list[Shape], float]:
    right = x + _LEFT_CHART + _GUTTER
    width = WIDTH_MM - _LEFT_CHART - _GUTTER
    one = strokes_chart(report.focus, _LEFT_CHART)
    two = causes_chart(report.plan.about.causes, width)
    # Paper has room for the rounds of one length, the one that was played most.
    over_time = time_charts(report.history, report.focus.phase, report.lengths, _LEFT_CHART)[0]
    if report.putting.putts or report.putting.practice:
        last = putting_chart(report.putting, report.unit, width)
    else:
        last = results_chart(report.tables, width)
    below = y + max(one.height_mm, two.height_mm) + 4.5
    shapes = [*one.at(x, y), *two.at(right, y), *over_time.at(x, below), *last.at(right, below)]
    return shapes, below + max(over_time.height_mm, last.height_mm) + 3.0


def _told(report: Report, x: float, y: float, limit: float) -> tuple[list[Shape], float]:
    """Sentences between charts and plan, as many as fit: did it help first."""
    sentences = [
        *effect_sentences(report),
        *(_tested(report) if report.tested else []),
        ladders_said(report.putting) or "",
        *([luck_sentence(report) or ""] if report.luck else []),
        *(change_sentences(report) if report.changes else []),
    ]
    shapes: list[Shape] = []
    for sentence in filter(None, sentences):
        lines, after = paragraph(x, y + 2.6, sentence, WIDTH_MM, size_pt=8.5, lead=1.2)
        if after - 2.6 > limit:
            break
        shapes += lines
        y = after - 1.4
    return shapes, y


def _tested(report: Report) -> list[str]:
    return [_("Practice: {results}.", results="; ".join(tested_sentences(report)[-3:]))]


def _plan(plan: Plan, x: float, y: float) -> tuple[list[Shape], float]:
    """The session as four boxes in proportion to their minutes, and what to do in each."""
    right = x + WIDTH_MM
    shapes: list[Shape] = [
        line(x, y, right, y, width_mm=0.3),
        text(x, y + 6.4, _("The plan: {length}", length=plan.length), size_pt=14, bold=True),
    ]
    at = x
    for step in plan.steps:
        width = WIDTH_MM * step.minutes / plan.minutes
        shapes.append(frame(at + 0.4, y + 9.4, width - 0.8, 6.2))
        label = box_said(step)
        if text_width_mm(label, TEXT_PT, True) > width - 3:
            label = f"{step.minutes}"
        shapes.append(text(at + width / 2, y + 13.6, label, size_pt=TEXT_PT, bold=True, anchor="middle"))
        at += width
    top = y + 20.6
    for step in plan.steps:
        if step.drill is None:
            if step.box != "warm-up":
                shapes.append(text(x, top, BOX_WORDS[step.box], size_pt=TEXT_PT, bold=True, fit_mm=14))
                lines, top = paragraph(x + 15, top, step.says, WIDTH_MM - 42, size_pt=8.5, lead=1.2)
                shapes += lines
                top += 0.8
            continue
        if step.box == "again":
            said = _("The last test of {many}, before anything else.", many=words.MANY[plan.phase])
            shapes.append(text(x, top, pgettext("box", "again"), size_pt=TEXT_PT, bold=True, fit_mm=14))
            shapes.append(text(x + 15, top, said, size_pt=8.5))
            shapes.append(text(right, top, _made_of(step), size_pt=TEXT_PT, anchor="right"))
            top += 4.6
            continue
        shapes.append(text(x, top, BOX_WORDS[step.box], size_pt=TEXT_PT, bold=True, fit_mm=14))
        what = _(
            "{title}: {amount}, count: {counts}",
            title=step.drill.title,
            amount=words.tries(TEST_TRIES if step.box == "test" else step.amount),
            counts=step.drill.counts,
        )
        shapes.append(text(x + 15, top, what, size_pt=TEXT_PT, bold=True, fit_mm=WIDTH_MM - 15 - 27))
        shapes.append(text(right, top, _made_of(step), size_pt=TEXT_PT, anchor="right"))
        lines, top = paragraph(x + 15, top + 3.8, step.drill.how, WIDTH_MM - 42, size_pt=8.5, lead=1.2)
        shapes += lines
        top += 1.2
    lines, top = paragraph(x, top + 0.6, long_aim_said(plan.aim), WIDTH_MM, size_pt=HEAD_PT, bold=True)
    shapes += lines
    lines, top = paragraph(x, top - 0.2, " ".join(plan.notes), WIDTH_MM, size_pt=8.5, lead=1.2)
    return [*shapes, *lines], top - y


def _made_of(step: Step) -> str:
    return _("_____ of {tries}", tries=step.throws)


def _cautions(x: float, y: float) -> tuple[list[Shape], float]:
    shapes: list[Shape] = [line(x, y, x + WIDTH_MM, y, width_mm=0.3, grey=LIGHT)]
    said = " ".join(words.cautions())
    lines, after = paragraph(x, y + 3.8, said, WIDTH_MM, size_pt=SMALL_PT, lead=1.2)
    shapes += lines
    rest = _("Ranges are made to hold the true value nine times in ten. All numbers are your own marks.")
    small = f"{_(words.EXECUTED)} {rest}"
    lines, after = paragraph(x, after, small, WIDTH_MM, size_pt=SMALL_PT, lead=1.2, grey=SOFT)
    return [*shapes, *lines], after - y
