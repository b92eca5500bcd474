"""The focus on one terminal screen: 24 lines of 80 characters, plain text, no colour needed."""

from __future__ import annotations

from shortpencil.scan.language import N_, _, first_upper, ngettext, pgettext
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import Causes, level_said, unknown_said
from shortpencil.scan.practice.choice import Choice, why_next
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.phases import PhaseEvidence
from shortpencil.scan.practice.plan import Plan, usual_said

WIDTH, HEIGHT = 80, 24
_CAUSE_LINES = 4

#: What to do in the boxes without a drill, in a line.
SHORT = words.Spoken(
    {
        "warm-up": N_("warm up, then throws at half power"),
        "break": N_("break: sit, drink, loosen hand and shoulder"),
        "dry": N_("without a disc: slow swings with the cue, line and height said aloud"),
        "walk": N_("choose lines on some holes, throw nothing; or keep it for another day"),
    }
)


def screen(history: History, focus: Focus, plan: Plan, choice: Choice | None = None) -> list[str]:
    """Return the lines of the screen, never more than `HEIGHT`, never wider than `WIDTH`.

    Where there is too much, remarks go first, then empty lines, then the sentence on count and rate, then how
    sure the next session is; each whole, since half a sentence says something else. What is taken for costs
    that no card tells stays, and so do the plan and its cautions. What to practise where something else costs
    more stands under that, before its cause.
    """
    head, cause = _headline(history, focus, plan), _cause(plan.about.causes)
    table, plan_lines = _table(focus), _plan(plan)
    room = max(0, HEIGHT - sum(map(len, (head, cause, table, plan_lines))))
    costs = _whole([focus.costs_said] if focus.costs_said else [], room)
    room -= len(costs)
    told = _whole(why_next(choice), room) if choice and choice.known_sessions else []
    above, below = (told, []) if choice and choice.differs else ([], told)
    room -= len(told)
    says = _whole([focus.disagreement] if focus.disagreement else [], room)
    gap = [""] if room >= len(says) + 2 else []
    room -= len(says) + 2 * len(gap)
    remarks: list[str] = []
    for remark in (r for r in focus.remarks if not costs or r != focus.costs_said):
        lines = _whole([_("Note: {remark}", remark=remark)], room)
        remarks, room = remarks + lines, room - len(lines)
    return [*head, *above, *cause, *gap, *table, *costs, *below, *says, *remarks, *gap, *plan_lines]


def _headline(history: History, focus: Focus, plan: Plan) -> list[str]:
    when = words.span(h.day for h in history.heads)
    rounds = words.rounds(focus.rounds) + (f", {when}" if when else "")
    title = _("PRACTISE YOUR {many}", many=words.MANY[plan.phase].upper())
    sure = f"{first_upper(focus.sure)}."
    return [
        f"{title}{rounds:>{WIDTH - len(title)}}",
        *_wrap(f"{sure} {focus.outlook or ''}".strip()),
    ]


def _cause(causes: Causes) -> list[str]:
    lead = causes.leading
    if lead is None:
        text = _("Why: no cause is noted for {many} in recent rounds.", many=words.MANY[causes.phase])
        return _wrap(f"{text} {causes.suggestion}" if causes.suggestion else text)
    if causes.unknown_leads:
        text = unknown_said(causes)
        return _wrap(f"{text} {causes.suggestion}" if causes.suggestion else text)
    text = ngettext(
        "Why: {cause}, {count} of {n} note (90 % range {range}); {level}, {probability} that it leads.",
        "Why: {cause}, {count} of {n} notes (90 % range {range}); {level}, {probability} that it leads.",
        sum(c.count for c in causes.causes),
        cause=lead.words,
        count=lead.count,
        range=words.percent_range(lead.share),
        level=level_said(causes.level),
        probability=words.probability(lead.p_leads),
    )
    more = but = ""
    if causes.level != "clear" and causes.more_rounds:
        more = ngettext(
            "About {n} more round would tell.", "About {n} more rounds would tell.", causes.more_rounds
        )
    if causes.suggestion and causes.agrees is False:
        but = _("But {suggestion} Your own mark stands.", suggestion=causes.suggestion)
    for said in ((text, more, but), (text, but), (text, more)):
        lines = _wrap(" ".join(part for part in said if part))
        if len(lines) <= _CAUSE_LINES:
            return lines
    return _wrap(text)[:_CAUSE_LINES]


def _table(focus: Focus) -> list[str]:
    rounds, tally, rate = _("recent rounds"), _("misses/throws"), _("missed, 90 % range")
    lost, most = _("strokes a round, range"), pgettext("heading of 5 letters", "most")
    return [
        f"{rounds:<14}{tally:>13}  {rate:<21}{lost:<23}{most}",
        *(_row(focus, p) for p in focus.phases),
    ]


def _row(focus: Focus, p: PhaseEvidence) -> str:
    name = f"{'>' if p.phase == focus.phase else ' '} {words.IN_TABLES[p.phase]}"
    if not p.recent.marked and not p.recent.misses:
        return f"{name:<14}{_('none marked'):>13}"
    rate = (
        ""
        if not p.recent.marked
        else f"{words.percent(p.recent.interval.middle):>5} {words.percent_range(p.recent.interval):>13}"
    )
    lost = f"{words.strokes(p.strokes_a_round.middle):>4} {words.strokes_range(p.strokes_a_round):>11}"
    short = ">99 %" if p.p_costs_most > 0.99 else "<1 %" if p.p_costs_most < 0.01 else None
    most = short if short and not focus.alone else focus.costs_most_said(p)
    tally = f"{p.recent.misses} / {p.recent.marked}" if p.recent.marked else f"{p.recent.misses}"
    return f"{name:<14}{tally:>13}  {rate:<21}{lost:<23}{most}"


def _plan(plan: Plan) -> list[str]:
    if any(step.box == "warm-up" for step in plan.steps):
        head = _('{minutes} MINUTES · one cue: "{cue}"', minutes=plan.minutes, cue=plan.cue)
    else:
        head = _('{minutes} MINUTES AFTER A WARM-UP · one cue: "{cue}"', minutes=plan.minutes, cue=plan.cue)
    lines = [head]
    for step in plan.steps:
        if step.drill is None:
            lines.append(f"{step.minutes:>4} min  {SHORT[step.box]}")
            continue
        if step.box == "again":
            again = _("the last test of {many} again, first of all", many=words.MANY[plan.phase])
            lines.append(f"{step.minutes:>4} min  {again}")
            continue
        title = step.drill.title if step.box == "test" else f"{step.drill.title}, {step.amount}"
        counted = _("{title}; count: {counts}", title=title, counts=step.drill.counts)
        whole, short = (f"{step.minutes:>4} min  {text}" for text in (counted, title))
        if len(whole) > WIDTH:  # what counts has no room, and half of it would say nothing
            whole = short if len(short) <= WIDTH else f"{short[: WIDTH - 2]} …"
        lines.append(whole)
    aim = _("Aim: {count} of {of}.", count=plan.aim.count, of=plan.aim.of)
    lines.append(f"{aim} {usual_said(plan.aim)}".strip())
    lines.append(
        _(
            "At most {throws} throws, {full_power} at full power. Landing area clear of people first.",
            throws=plan.limits.throws,
            full_power=plan.limits.full_power,
        )
    )
    lines.append(_("Stop if anything hurts and at thunder. Posted rules first. No medical advice."))
    return lines


def _whole(sentences: list[str], room: int) -> list[str]:
    """Return the lines of as many of the first sentences as there is room for."""
    for count in range(len(sentences), 0, -1):
        lines = _wrap(" ".join(sentences[:count]))
        if len(lines) <= room:
            return lines
    return []


def _wrap(text: str) -> list[str]:
    return words.wrapped(text, WIDTH)
