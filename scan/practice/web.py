"""The report as one self-contained HTML page: no script, no network, fonts and pictures inside.

The page reads from top to bottom in the order of what matters: focus, evidence, plan, then the rest. Every
picture has its numbers in words or in a table beside it, so that nothing depends on seeing it.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from html import escape
from importlib.resources import files
from math import isnan

from shortpencil.scan.language import N_, _, first_upper, spoken
from shortpencil.scan.language.numbers import localized
from shortpencil.scan.practice import words
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.focus_charts import causes_chart, strokes_chart
from shortpencil.scan.practice.model import Interval
from shortpencil.scan.practice.phases import PhaseEvidence, Window
from shortpencil.scan.practice.picture import FONT_FAMILY, font_bytes, to_svg
from shortpencil.scan.practice.plan import BOX_WORDS, box_said, long_aim_said
from shortpencil.scan.practice.putting import ladders_said
from shortpencil.scan.practice.rate_charts import putting_chart, result_said, results_chart, time_charts
from shortpencil.scan.practice.report import (
    Report,
    area_sentence,
    change_sentences,
    cue_sentence,
    effect_sentences,
    head_line,
    luck_sentence,
    noticed_sentence,
    spot_sentences,
    stance_sentence,
    tested_sentences,
    title,
    why_sentences,
)

FOOT = N_(
    "Ranges are made to hold the true value nine times in ten: if rounds to come are like these, and if a "
    "mark does not follow how the throw ended. "
    "Every number here comes from your own marks; a stricter eye makes them look worse."
)
ENDED_WELL = N_(
    "A putt ended well when it was holed, another throw when the hole took no more throws after it "
    "than usual for you from there."
)
MOST_STRIPS = 12


def page(report: Report) -> str:
    """Return the report's page as text, UTF-8 to be."""
    executed, ranges = _(words.EXECUTED), _(FOOT)
    return document(
        title(report),
        head_line(report),
        [
            f"<h1>{escape(title(report))}</h1>",
            f'<p class="cue">{said(cue_sentence(report))}</p>',
            *(f"<p>{said(sentence)}</p>" for sentence in why_sentences(report)),
            *_charts(report),
            *_plan(report),
            *_helped(report),
            *_numbers(report),
            *_strips(report),
        ],
        f"{executed} {ranges}",
    )


def document(head: str, whose: str, body: Iterable[str], foot: str) -> str:
    """Return a whole page around a body: fonts and style inside, no script, nothing fetched."""
    return "\n".join(
        [
            "<!doctype html>",
            f'<html lang="{spoken()}">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(head)} · shortpencil</title>",
            f"<style>{_fonts()}{_css()}</style>",
            "</head>",
            "<body>",
            '<header><span class="name">shortpencil</span>',
            f'<span class="whose">{_apart(whose)}</span></header>',
            "<main>",
            *body,
            "</main>",
            f"<footer><p>{said(foot)}</p></footer>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _charts(report: Report) -> list[str]:
    focus = report.focus
    pictures = [
        strokes_chart(focus, 84.0),
        causes_chart(report.plan.about.causes, 84.0),
        *time_charts(report.history, focus.phase, report.lengths, 84.0),
    ]
    if report.putting.putts or report.putting.practice:
        pictures.append(putting_chart(report.putting, report.unit, 84.0))
    pictures.append(results_chart(report.tables, 84.0))
    figures = (f"<figure>{to_svg(picture)}</figure>" for picture in pictures)
    return [f'<h2>{said(_("The evidence"))}</h2><div class="charts">', *figures, "</div>"]


def _plan(report: Report) -> list[str]:
    plan = report.plan
    boxes = "".join(f'<li style="--minutes:{s.minutes}">{escape(box_said(s))}</li>' for s in plan.steps)
    steps = []
    for s in plan.steps:
        if s.drill is None:
            steps.append(
                f'<li><span class="box">{escape(BOX_WORDS[s.box])}</span><span>{said(s.says)}</span></li>'
            )
            continue
        amount = words.tries(s.throws if s.box == "test" else s.amount)
        counted = _("{tries}; count: {counts}", tries=amount, counts=s.drill.counts)
        made = _("____ of {tries}", tries=s.throws)
        steps.append(
            f'<li><span class="box">{escape(BOX_WORDS[s.box])}</span>'
            f"<span><strong>{said(s.drill.title)}</strong>: {said(counted)}</span>"
            f'<span class="made">{said(made)}</span><small>{said(s.drill.how)}</small></li>'
        )
    return [
        f"<h2>{said(_('The plan: {length}', length=plan.length))}</h2>",
        f'<ol class="boxes">{boxes}</ol>',
        f'<ol class="steps">{"".join(steps)}</ol>',
        f'<p class="aim">{said(long_aim_said(plan.aim))}</p>',
        _list(plan.notes),
        f'<div class="cautions">{_list(plan.cautions)}</div>',
    ]


def _helped(report: Report) -> list[str]:
    sentences, tested = effect_sentences(report), tested_sentences(report)
    if not sentences and not tested:
        return []
    return [
        f"<h2>{said(_('Did it help'))}</h2>",
        *(f"<p>{said(sentence)}</p>" for sentence in sentences),
        *([f"<h3>{said(_('Practice results'))}</h3>", _list(tested)] if tested else []),
    ]


def _numbers(report: Report) -> list[str]:
    rows = [_phase_row(report.focus, p) for p in report.focus.phases]
    heads = (
        _("phase"),
        _("last round"),
        _("recent rounds"),
        _("all rounds"),
        _("strokes a miss costs"),
        _("strokes saved if clean"),
        _("costs most"),
    )
    caption = _(
        "Missed throws of marked ones, with 90 % ranges. In recent rounds later ones count more: half as "
        "much {rounds} rounds ago.",
        rounds=localized(f"{report.focus.half_life_rounds:g}"),
    )
    name = escape(_("All numbers"), quote=True)
    table = (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{name}">'
        f"<table><caption>{escape(caption)}</caption>"
        "<thead><tr>"
        + "".join(f'<th scope="col">{said(h)}</th>' for h in heads)
        + f"</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )
    luck = luck_sentence(report)
    return [
        f"<h2>{said(_('All numbers'))}</h2>",
        table,
        f"<h3>{said(_('Execution and result'))}</h3>",
        f"<p>{said(_(ENDED_WELL))}</p>",
        _list(f"{first_upper(result_said(one))}." for one in report.tables),
        *([f"<p>{said(luck)}</p>"] if luck else []),
        *_putts(report),
        f"<h3>{said(_('Over time'))}</h3>",
        *(f"<p>{said(s)}</p>" for s in [*change_sentences(report), noticed_sentence(report)]),
        *_spots(report),
    ]


def _putts(report: Report) -> list[str]:
    """What is said of putts, under a heading of their own."""
    told = report.putting
    found = (area_sentence(report), stance_sentence(report), told.too_few, ladders_said(told))
    sentences = [f"<p>{said(s)}</p>" for s in found if s]
    return [f"<h3>{said(_('Putts'))}</h3>", *sentences] if sentences else []


def _spots(report: Report) -> list[str]:
    """Where it goes wrong: a lead-in, and a line for each place that stands out."""
    lead, *out = spot_sentences(report) or [""]
    if not lead:
        return []
    return [f"<h3>{said(_('Where'))}</h3>", f"<p>{said(lead)}</p>", *([_list(out)] if out else [])]


def _phase_row(focus: Focus, p: PhaseEvidence) -> str:
    def lost(i: Interval) -> str:
        return f'{words.strokes(i.middle)}<span class="range">{words.strokes_range(i)}</span>'

    cells = [_window(p.last), _window(p.recent), _window(p.all)]
    if p.recent.marked or p.recent.misses:
        cells += [lost(p.cost), lost(p.strokes_a_round), focus.costs_most_said(p)]
    else:  # nothing is known of it: no costs of 0
        cells += ["–"] * 3
    row = "".join(f"<td>{words.held(c)}</td>" for c in cells)
    kind = ' class="chosen"' if p.phase == focus.phase else ""
    return f'<tr{kind}><th scope="row">{words.MANY[p.phase]}</th>{row}</tr>'


def _window(w: Window) -> str:
    if not w.marked and w.misses:
        return f'{words.misses(w.misses)}<span class="range">{words.rounds(w.rounds)}</span>'
    if not w.marked or isnan(w.interval.middle):
        return _("none marked")
    missed = _(
        "{missed} of {thrown}, {percent}",
        missed=w.misses,
        thrown=w.marked,
        percent=words.percent(w.interval.middle),
    )
    return f'{missed}<span class="range">{words.percent_range(w.interval)}; {words.rounds(w.rounds)}</span>'


def _strips(report: Report) -> list[str]:
    """What the player wrote beside the misses of the focus, as pictures of the hand where there are any."""
    figures = []
    days = {h.id: h.day for h in report.history.heads}
    for w in report.focus.causes.own_words[:MOST_STRIPS]:
        png = report.pictures.get((w.round_id, w.hole))
        day = days.get(w.round_id)
        where = _("hole {number}", number=w.hole) + (f", {words.day(day)}" if day else "")
        if png is not None:
            alt = w.text or _("handwritten words, {where}", where=where)
            body = (
                f'<img alt="{escape(alt, quote=True)}" src="data:image/png;base64,{b64encode(png).decode()}">'
            )
        elif w.text:
            body = f"<p>{said(w.text)}</p>"
        else:
            continue
        figures.append(f"<figure>{body}<figcaption>{escape(where)}</figcaption></figure>")
    if not figures:
        return []
    head = _("Your own words on missed {many}", many=words.MANY[report.focus.phase])
    return [f"<h2>{said(head)}</h2>", f'<div class="strips">{"".join(figures)}</div>']


def _list(items: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{said(item)}</li>' for item in items)}</ul>"


def _apart(line: str) -> str:
    """Return the parts of a line each by itself: a name that reads from the right takes no number along."""
    return " · ".join(f"<bdi>{said(part)}</bdi>" for part in line.split(" · "))


def said(text: str) -> str:
    """Return text made safe for HTML, numbers held to their units."""
    return escape(words.held(text))


def _css() -> str:
    return files("shortpencil.scan.practice").joinpath("report.css").read_text(encoding="utf-8")


def _fonts() -> str:
    faces = []
    for bold, weight in ((False, 400), (True, 700)):
        data = b64encode(font_bytes(bold)).decode()
        faces.append(
            f'@font-face{{font-family:"{FONT_FAMILY}";font-weight:{weight};'
            f'src:url(data:font/ttf;base64,{data}) format("truetype")}}'
        )
    return "".join(faces)
