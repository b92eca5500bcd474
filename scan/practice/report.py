"""Everything a report says, worked out once: for the page, for the sheet of paper, for the screen.

`report_of` asks every question of the room and keeps the answers; `web` and `sheet` only set them. The
sentences that are more than a number stand here, so that page and paper say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import isnan

from shortpencil.scan.practice import words
from shortpencil.scan.practice.choice import Choice, assumed, why_next
from shortpencil.scan.practice.effect import Effect, Tested
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.helped import EARLY, OTHER_REASONS, judged_sentence
from shortpencil.scan.practice.helped import sentence as helped_sentence
from shortpencil.scan.practice.history import History, rated
from shortpencil.scan.practice.luck import Luck, luck_of, pooled_luck
from shortpencil.scan.practice.model import jeffreys
from shortpencil.scan.practice.over_time import Change, Noticed, OfLength, changes_of, lengths_of, noticed_in
from shortpencil.scan.practice.plan import Plan
from shortpencil.scan.practice.putting import Putting, length, putting_of
from shortpencil.scan.practice.results import TwoByTwo, two_by_two
from shortpencil.scan.practice.where import Spot, spots_of

#: How throws ended is said to agree with their marks from this probability on.
RESULTS_AGREE = 0.8

#: So many places that stand out are told one by one.
MOST_SPOTS = 6


@dataclass(frozen=True, slots=True)
class Report:
    """One player's focus with all its evidence.

    `pictures` are PNG bytes of the words strips, by (round id, hole).
    """

    player: str | None
    unit: str
    history: History
    focus: Focus
    plan: Plan
    putting: Putting
    tables: tuple[TwoByTwo, ...]
    luck: Luck | None
    lengths: tuple[OfLength, ...]
    changes: tuple[Change, ...]
    noticed: tuple[Noticed, ...]
    spots: tuple[Spot, ...] = ()
    effect: Effect | str | None = None
    tested: tuple[Tested, ...] = ()
    choice: Choice | None = None
    pictures: Mapping[tuple[str, int], bytes] = field(default_factory=dict)


def report_of(
    history: History,
    focus: Focus,
    plan: Plan,
    *,
    player: str | None = None,
    unit: str = "m",
    putting: Putting | None = None,
    effect: Effect | str | None = None,
    tested: Sequence[Tested] = (),
    choice: Choice | None = None,
    pictures: Mapping[tuple[str, int], bytes] | None = None,
    possible: Sequence[History] = (),
) -> Report:
    """Return the report of one player's rounds; `putting` if it was worked out already.

    `possible`: where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`).
    """
    # Cards with only misses marked have no rates to follow over time.
    of_rates = rated(history)
    return Report(
        player=player,
        unit=unit,
        history=history,
        focus=focus,
        plan=plan,
        putting=putting or putting_of(history, unit),
        tables=two_by_two(of_rates),
        luck=pooled_luck([luck_of(one, one.rounds - 1) for one in possible or (history,)]),
        lengths=lengths_of(of_rates, focus.number),
        changes=changes_of(of_rates),
        noticed=noticed_in(of_rates),
        spots=spots_of(history, lambda metres: length(metres, unit), possible),
        effect=effect,
        tested=tuple(tested),
        choice=choice,
        pictures=pictures or {},
    )


def head_line(report: Report) -> str:
    """Whose rounds, how many, and from when to when."""
    when = words.span(h.day for h in report.history.heads)
    parts = [report.player or "", words.count(report.focus.rounds, "round"), when]
    return " · ".join(part for part in parts if part)


def why_sentences(report: Report) -> list[str]:
    """Return the sentences below the headline: how sure, why, what disagrees, what to know."""
    focus = report.focus
    sure = f"{focus.sure[0].upper()}{focus.sure[1:]}."
    return [
        f"{sure} {focus.outlook or ''}".strip(),
        *next_sentences(report),
        cause_sentence(report),
        *([side] if (side := side_sentence(report)) else []),
        *([focus.disagreement] if focus.disagreement else []),
        *focus.remarks,
    ]


def next_sentences(report: Report) -> list[str]:
    """Return what to practise next and why it may differ from what costs most."""
    if report.choice is None:
        return []
    said = " ".join(why_next(report.choice))
    return [f"{said} {assumed(report.choice)}" if report.choice.known_sessions else said]


def cause_sentence(report: Report) -> str:
    """Return what the notes say of the cause."""
    causes = report.plan.about.causes
    many = words.MANY[causes.phase]
    lead = causes.leading
    if lead is None:
        return f"No cause is noted for {many} in recent rounds."
    total = sum(c.count for c in causes.causes)
    said = (
        f"Leading cause: {lead.words}, {lead.count} of {words.count(total, 'note')} "
        f"({words.percent(lead.share.middle)}, range {words.percent_range(lead.share)}); "
        f"{causes.level}, {words.probability(lead.p_leads)} that it truly leads."
    )
    if causes.level != "clear" and causes.more_rounds:
        said += f" About {words.count(causes.more_rounds, 'more round')} with notes would tell."
    return said


def side_sentence(report: Report) -> str | None:
    """Return what the sides of the misses suggest; it never replaces what the player wrote."""
    causes = report.plan.about.causes
    if causes.suggestion is None:
        return None
    if causes.agrees:
        return f"{causes.suggestion} That agrees with your notes."
    return f"{causes.suggestion} Your own notes stand." if causes.leading else causes.suggestion


def luck_sentence(report: Report) -> str | None:
    """Return how the last round's score compares with what its marks usually bring."""
    luck = report.luck
    if luck is None:
        return None
    i = luck.strokes
    more = "more" if i.middle >= 0 else "fewer"
    said = (
        f"Last round: {luck.score} strokes on {words.count(luck.holes, 'hole')}, "
        f"{words.strokes(i.middle)} {more} than your marks usually bring "
        f"(range {words.strokes_range(i, signed=True)}; "
        f"compared with {words.count(luck.compared_rounds, 'other round')})."
    )
    if luck.surprises:
        odd = [
            f"hole {s.number} ({words.count(s.misses, 'miss', 'misses')}, score {s.score}, "
            f"{words.strokes(s.strokes, signed=True)})"
            for s in luck.surprises
        ]
        said += f" Execution and result disagree most on {words.listing(odd)}."
    return f"{said} Course, wind and bounces are all in this."


def change_sentences(report: Report) -> list[str]:
    """Return what changed over time, one sentence a phase; or that it is too early to say."""
    if not report.changes:
        rated_rounds = report.focus.rounds - int(report.focus.marks.only_misses.sum())
        if not rated_rounds:
            return ["Only misses are marked, so there are no rates to follow over time."]
        return [f"{words.count(rated_rounds, 'round')}: too few to speak of a change over time."]
    quiet = [c for c in report.changes if c.p_changed < 0.5]
    said = []
    for c in report.changes:
        if c in quiet:
            continue
        when = report.history.heads[c.at].day
        since = f" around {words.day(when)}" if when else ""
        said.append(
            f"{words.MANY[c.phase].capitalize()}: {words.probability(c.p_changed)} that the miss rate "
            f"changed, most likely{since}: {words.percent(c.before.middle)} before "
            f"(range {words.percent_range(c.before)}, {words.count(c.before_throws, 'throw')}), "
            f"{words.percent(c.after.middle)} after (range {words.percent_range(c.after)}, "
            f"{words.count(c.after_throws, 'throw')})."
        )
    if quiet:
        told = words.listing(f"{words.MANY[c.phase]} {words.probability(c.p_changed)}" for c in quiet)
        said.append(f"No sign of a change over these rounds: {told} probable that the miss rate changed.")
    return said


def noticed_sentence(report: Report) -> str:
    """Return which of the other questions stand out, having asked so many."""
    asked = len(report.noticed)
    if not asked:
        return "Too few throws to compare wind, stance, or early and late holes."
    out = [n for n in report.noticed if n.stands_out]
    if not out:
        return (
            f"Of {words.count(asked, 'other comparison')} (drift, wind, early and late holes, stance), none "
            "stands out beyond what looking at so many brings by chance."
        )
    told = [f"{n.question} ({_missed(n.first)} against {_missed(n.second)})" for n in out]
    return f"Of {words.count(asked, 'other comparison')}, these stand out: {words.listing(told)}."


def _missed(group: tuple[int, int]) -> str:
    missed, throws = group
    found = jeffreys(missed, throws)
    return f"{missed} of {throws} missed, {words.percent(found.middle)}, range {words.percent_range(found)}"


def spot_sentences(report: Report) -> list[str]:
    """Return the holes, courses and lengths that stand out, having asked about so many."""
    asked = len(report.spots)
    if not asked:
        return []
    out = [s for s in report.spots if s.stands_out]
    many = words.count(asked, "question")
    if not out:
        return [
            f"By hole, course and length ({many}): nothing stands out beyond what asking so much brings by "
            "chance."
        ]
    more = len(out) - MOST_SPOTS
    said = [f"{s.says}." for s in out[:MOST_SPOTS]]
    if more > 0:
        said.append(f"{more} more stand out less.")
    return [f"By hole, course and length, {many}; what stands out:", *said]


def effect_sentences(report: Report) -> list[str]:
    """Return what changed since practice began: the one statement, counts, ranges, other reasons."""
    e = report.effect
    if e is None:
        return []
    if isinstance(e, str):
        return [e]
    many = words.MANY[e.phase]
    # One phase alone has the one statement for its own; several have a sentence each.
    alone = len(e.judged.phases) == 1 and e.judged.verdict != EARLY
    own = [] if alone else [h for h in e.judged.phases if h.phase == e.phase]
    return [
        *(said for said in (judged_sentence(e.judged),) if said),
        *(helped_sentence(h) for h in own),
        f"Since {words.day(e.since)}: {e.after.misses} of {e.after.throws} {many} missed "
        f"({words.percent(e.after.rate.middle)}, range {words.percent_range(e.after.rate)}; "
        f"{words.count(e.after.rounds, 'round')}); before {e.before.misses} of {e.before.throws} "
        f"({words.percent(e.before.rate.middle)}, range {words.percent_range(e.before.rate)}; "
        f"{words.count(e.before.rounds, 'round')}).",
        f"Change {words.points(e.change.middle)} (range {words.points_range(e.change)}). The other phases "
        f"changed by {words.points(e.others_change.middle)} over the same dates; beyond them it is "
        f"{words.points(e.net_change.middle)} (range {words.points_range(e.net_change)}).",
        f"{OTHER_REASONS} {_ended_sentence(e)}".strip(),
        f"The {words.count(e.left_out, 'round')} before the first practice are left out, since they chose "
        f"it: {_choice_sentence(e)} To see a fall of 10 points in four cases of five takes about "
        f"{e.throws_needed} throws on each side.",
    ]


def _ended_sentence(e: Effect) -> str:
    """Say what the results say beside the marks, which no eye colours; empty where none are known."""
    if e.ended_well is None:
        return ""
    before, after, p_rose = e.ended_well
    ended = (
        f"{words.percent(after.middle)} of these throws ended well since, {words.percent(before.middle)} "
        f"before ({words.probability(p_rose)} that it rose)"
    )
    fell = e.change.middle < 0
    if (fell and p_rose >= RESULTS_AGREE) or (not fell and p_rose <= 1 - RESULTS_AGREE):
        return f"How your throws ended, which no eye colours, says the same: {ended}."
    if e.helped:
        return f"How your throws ended, which no eye colours, hardly changed: {ended}."
    return f"How your throws ended: {ended}."


def _choice_sentence(e: Effect) -> str:
    """Say how much better the phase would look for having been chosen, by how it was chosen."""
    if e.by_choice is None:
        return "what looks worst looks better next time, practised or not."
    return (
        "what looks worst looks better next time, practised or not, here by "
        f"{_about_points(max(e.by_choice, 0.0))}."
    )


def _about_points(share: float) -> str:
    return "less than 1 point" if share < 0.01 else f"about {words.count(round(share * 100), 'point')}"


def tested_sentences(report: Report) -> list[str]:
    """Return the practice results, a line for each day and drill."""
    return [
        f"{words.day(t.day) if t.day else 'undated'}, {t.drill}: {t.made} of {t.tries} "
        f"({words.percent(t.rate.middle)}, range {words.percent_range(t.rate)})"
        for t in report.tested
    ]


def stance_sentence(report: Report) -> str | None:
    """Return how putts went by stance, against what the curve expects from the same distances."""
    parts = []
    for g in report.putting.stances:
        if not g.tries:
            continue
        expected = "" if g.expected is None else f", {g.expected * g.tries:.1f} expected from these distances"
        parts.append(
            f"{g.label}: {g.holed_count} of {g.tries} holed "
            f"({words.percent(g.holed.middle)}, range {words.percent_range(g.holed)}){expected}"
        )
    return None if len(parts) < 2 else f"Inside the putting area, {'; '.join(parts)}."


def area_sentence(report: Report) -> str | None:
    """Return holed and executed putts inside the putting area and beyond."""
    parts = []
    for g in (report.putting.inside, report.putting.beyond):
        if g.tries:
            clean = "" if isnan(g.clean.middle) else f", {g.clean_count} of {g.marked} executed"
            parts.append(
                f"{g.label}: {g.holed_count} of {g.tries} holed "
                f"({words.percent(g.holed.middle)}, range {words.percent_range(g.holed)}){clean}"
            )
    said = "; ".join(parts)
    return f"{said[0].upper()}{said[1:]}." if said else None
