"""The focus on one terminal screen: 24 lines of 80 characters, plain text, no colour needed."""

from __future__ import annotations

import re
import textwrap

from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import Causes
from shortpencil.scan.practice.choice import Choice, why_next
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.phases import PhaseEvidence
from shortpencil.scan.practice.plan import Plan

WIDTH, HEIGHT = 80, 24

#: What to do in the boxes without a drill, in a line.
SHORT = {
    "warm-up": "warm up, then throws at half power",
    "break": "break: sit, drink, loosen hand and shoulder",
    "dry": "without a disc: slow swings with the one cue, line and height said aloud",
    "walk": "walk some holes without throwing: choose line and disc for each",
}


def screen(history: History, focus: Focus, plan: Plan, choice: Choice | None = None) -> list[str]:
    """Return the lines of the screen, never more than `HEIGHT`, never wider than `WIDTH`.

    Where there is too much, remarks go first, then empty lines, then the sentence on count and rate; the plan
    and its cautions never do.
    """
    top = [*_headline(history, focus, plan), *_cause(plan.about.causes)]
    table, plan_lines = _table(focus), _plan(plan)
    told = " ".join(why_next(choice)) if choice and choice.known_sessions else None
    says = [*_wrap(told), *_wrap(focus.disagreement)]
    remarks = [line for remark in focus.remarks for line in _wrap(f"Note: {remark}")]
    room = max(0, HEIGHT - len(top) - len(table) - len(plan_lines))
    gap = [""] if room >= len(says) + 2 else []
    says = says[: room - 2 * len(gap)]
    remarks = remarks[: room - 2 * len(gap) - len(says)]
    return [*top, *gap, *table, *says, *remarks, *gap, *plan_lines]


def _headline(history: History, focus: Focus, plan: Plan) -> list[str]:
    when = words.span(h.day for h in history.heads)
    rounds = words.count(focus.rounds, "round") + (f", {when}" if when else "")
    title = f"PRACTISE YOUR {words.MANY[plan.phase].upper()}"
    sure = f"{focus.sure[0].upper()}{focus.sure[1:]}."
    return [
        f"{title}{rounds:>{WIDTH - len(title)}}",
        *_wrap(f"{sure} {focus.outlook or ''}".strip()),
    ]


def _cause(causes: Causes) -> list[str]:
    lead = causes.leading
    if lead is None:
        text = f"Why: no cause is noted for {words.MANY[causes.phase]} in recent rounds."
        return _wrap(f"{text} {causes.suggestion}" if causes.suggestion else text)
    total = sum(c.count for c in causes.causes)
    text = (
        f"Why: {lead.words}, {lead.count} of {words.count(total, 'note')} "
        f"(90 % range {words.percent_range(lead.share)}); {causes.level}, "
        f"{words.probability(lead.p_leads)} that it leads."
    )
    if causes.level != "clear" and causes.more_rounds:
        text += f" About {words.count(causes.more_rounds, 'more round')} would tell."
    if causes.suggestion and causes.agrees is False:
        text += f" But {causes.suggestion} Your own mark stands."
    return _wrap(text)[:3]


def _table(focus: Focus) -> list[str]:
    head = f"{'recent rounds':<14}{'misses/throws':>13}  {'missed, 90 % range':<21}"
    return [
        f"{head}{'strokes a round, range':<23}most",
        *(_row(p, p.phase == focus.phase) for p in focus.phases),
    ]


def _row(p: PhaseEvidence, chosen: bool) -> str:
    name = f"{'>' if chosen else ' '} {words.IN_TABLES[p.phase]}"
    if not p.recent.marked and not p.recent.misses:
        return f"{name:<14}{'none marked':>13}"
    rate = (
        ""
        if not p.recent.marked
        else f"{words.percent(p.recent.interval.middle):>5} {words.percent_range(p.recent.interval):>13}"
    )
    lost = f"{words.strokes(p.strokes_a_round.middle):>4} {words.strokes_range(p.strokes_a_round):>11}"
    most = words.probability(p.p_costs_most).replace("over ", ">").replace("under ", "<")
    tally = f"{p.recent.misses} / {p.recent.marked}" if p.recent.marked else f"{p.recent.misses}"
    return f"{name:<14}{tally:>13}  {rate:<21}{lost:<23}{most}"


def _plan(plan: Plan) -> list[str]:
    warm = any(step.box == "warm-up" for step in plan.steps)
    lines = [f'{plan.minutes} MINUTES{"" if warm else " AFTER A WARM-UP"} · one cue: "{plan.cue}"']
    for step in plan.steps:
        if step.drill is None:
            lines.append(f"{step.minutes:>4} min  {SHORT[step.box]}")
            continue
        if step.box == "again":
            lines.append(
                f"{step.minutes:>4} min  the last test of {words.MANY[plan.phase]} again, first of all"
            )
            continue
        amount = "" if step.box == "test" else f", {step.amount}"
        text = f"{step.minutes:>4} min  {step.drill.title}{amount}; count: {step.drill.counts}"
        lines.append(text if len(text) <= WIDTH else f"{text[: WIDTH - 2]} …")
    aim = f"Aim: {plan.aim.count} of {plan.aim.of}."
    if plan.aim.usual:
        low, high = plan.aim.usual
        aim += f" As things stand, four tests of five bring {low} to {high}."
    lines.append(aim)
    lines.append(
        f"At most {plan.limits.throws} throws, {plan.limits.full_power} at full power. "
        "Landing area clear of people first."
    )
    lines.append("Stop if anything hurts and at thunder. Posted rules first. No medical advice.")
    return lines


def _wrap(text: str | None) -> list[str]:
    """Break into lines; a number keeps its unit beside it."""
    if not text:
        return []
    held = re.sub(r"(\d) (?=%|m\b)", "\\1\N{NO-BREAK SPACE}", text)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in textwrap.wrap(held, WIDTH)]
