"""Everything a report says, worked out once: for the page, for the sheet of paper, for the screen.

`report_of` asks every question of the room and keeps the answers; `web` and `sheet` only set them. The
sentences that are more than a number stand here, so that page and paper say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import isnan

from shortpencil.scan.language import N_, _, first_upper, ngettext, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import level_said, unknown_said
from shortpencil.scan.practice.choice import Choice, assumed, why_next
from shortpencil.scan.practice.doubt import pooled_tables
from shortpencil.scan.practice.effect import Effect, Tested
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.helped import EARLY, OTHER_REASONS, judged_sentence, worth_knowing
from shortpencil.scan.practice.helped import sentence as helped_sentence
from shortpencil.scan.practice.history import History, rated
from shortpencil.scan.practice.luck import Luck, luck_of, pooled_luck
from shortpencil.scan.practice.model import Interval
from shortpencil.scan.practice.over_time import Change, Noticed, OfLength, changes_of, lengths_of, noticed_in
from shortpencil.scan.practice.plan import Plan
from shortpencil.scan.practice.putting import Putting, holed_said, length, putting_of
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
    of_rates, drawn = rated(history), [rated(one) for one in possible]
    return Report(
        player=player,
        unit=unit,
        history=history,
        focus=focus,
        plan=plan,
        putting=putting or putting_of(history, unit),
        tables=pooled_tables([two_by_two(one) for one in drawn or (of_rates,)]),
        luck=pooled_luck([luck_of(one, one.rounds - 1) for one in possible or (history,)]),
        lengths=lengths_of(of_rates, focus.number, drawn),
        changes=changes_of(of_rates, drawn),
        noticed=noticed_in(of_rates, drawn),
        spots=spots_of(history, lambda metres: length(metres, unit), possible),
        effect=effect,
        tested=tuple(tested),
        choice=choice,
        pictures=pictures or {},
    )


def title(report: Report) -> str:
    """Return what the report is about."""
    return _("Practise your {many}", many=words.MANY[report.plan.phase])


def cue_sentence(report: Report) -> str:
    """Return the one cue of the session."""
    return _("One cue: {cue}", cue=report.plan.cue)


def head_line(report: Report) -> str:
    """Whose rounds, how many, and from when to when."""
    when = words.span(h.day for h in report.history.heads)
    parts = [words.whose(report.player), words.rounds(report.focus.rounds), when]
    return " · ".join(part for part in parts if part)


def why_sentences(report: Report) -> list[str]:
    """Return the sentences below the headline: how sure, why, what disagrees, what to know."""
    focus = report.focus
    sure = f"{first_upper(focus.sure)}."
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
    # Apart, so that a sheet without room for what is assumed still says why.
    return [said, assumed(report.choice)] if report.choice.known_sessions else [said]


def cause_sentence(report: Report) -> str:
    """Return what the notes say of the cause."""
    causes = report.plan.about.causes
    many = words.MANY[causes.phase]
    lead = causes.leading
    if lead is None:
        return _("No cause is noted for {many} in recent rounds.", many=many)
    if causes.unknown_leads:
        return unknown_said(causes)
    said = ngettext(
        "Leading cause: {cause}, {count} of {n} note ({percent}, range {range}); {level}, {probability} that "
        "it truly leads.",
        "Leading cause: {cause}, {count} of {n} notes ({percent}, range {range}); {level}, {probability} "
        "that it truly leads.",
        sum(c.count for c in causes.causes),
        cause=lead.words,
        count=lead.count,
        percent=words.percent(lead.share.middle),
        range=words.percent_range(lead.share),
        level=level_said(causes.level),
        probability=words.probability(lead.p_leads),
    )
    if causes.level == "clear" or not causes.more_rounds:
        return said
    more = ngettext(
        "About {n} more round with notes would tell.",
        "About {n} more rounds with notes would tell.",
        causes.more_rounds,
    )
    return f"{said} {more}"


def side_sentence(report: Report) -> str | None:
    """Return what the sides of the misses suggest; it never replaces what the player wrote."""
    causes = report.plan.about.causes
    if causes.suggestion is None:
        return None
    if causes.agrees:
        return f"{causes.suggestion} {_('That agrees with your notes.')}"
    noted = causes.leading is not None and not causes.unknown_leads
    return f"{causes.suggestion} {_('Your own notes stand.')}" if noted else causes.suggestion


def _luck_told(strokes: float) -> str:
    """Return the sentence on a last round of so many strokes more than usual, as they are told."""
    if words.strokes(strokes, signed=True) == words.strokes(0.0):
        return N_(
            "Last round: {score} strokes on {holes}, as many as your marks usually bring (range {range}; "
            "compared with {others})."
        )
    if strokes > 0:
        return N_(
            "Last round: {score} strokes on {holes}, {strokes} more than your marks usually bring (range "
            "{range}; compared with {others})."
        )
    return N_(
        "Last round: {score} strokes on {holes}, {strokes} fewer than your marks usually bring (range "
        "{range}; compared with {others})."
    )


def luck_sentence(report: Report) -> str | None:
    """Return how the last round's score compares with what its marks usually bring."""
    luck = report.luck
    if luck is None:
        return None
    i = luck.strokes
    said = [
        _(
            _luck_told(i.middle),
            score=luck.score,
            holes=words.holes(luck.holes),
            strokes=words.strokes(i.middle),
            range=words.strokes_range(i, signed=True),
            others=ngettext("{n} other round", "{n} other rounds", luck.compared_rounds),
        )
    ]
    if luck.surprises:
        odd = [
            _(
                "hole {number} ({misses}, score {score}, {strokes})",
                number=s.number,
                misses=words.misses(s.misses),
                score=s.score,
                strokes=words.strokes(s.strokes, signed=True),
            )
            for s in luck.surprises
        ]
        said.append(_("Execution and result disagree most on {holes}.", holes=words.listing(odd)))
    return " ".join([*said, _("Course, wind and bounces are all in this.")])


def change_sentences(report: Report) -> list[str]:
    """Return what changed over time, one sentence a phase; or that it is too early to say."""
    if not report.changes:
        rated_rounds = report.focus.rounds - int(report.focus.marks.only_misses.sum())
        if not rated_rounds:
            return [_("Only misses are marked, so there are no rates to follow over time.")]
        return [_("{rounds}: too few to speak of a change over time.", rounds=words.rounds(rated_rounds))]
    quiet = [c for c in report.changes if c.p_changed < 0.5]
    said = []
    said += [_changed(c, report.history.heads[c.at].day) for c in report.changes if c not in quiet]
    if quiet:
        told = words.listing(f"{words.MANY[c.phase]} {words.probability(c.p_changed)}" for c in quiet)
        said.append(
            _(
                "No sign of a change over these rounds: {phases} probable that the miss rate changed.",
                phases=told,
            )
        )
    return said


def _changed(c: Change, when: date | None) -> str:
    """Say how a phase's miss rate changed, and when."""
    if when:
        sentence = N_(
            "{many}: {probability} that the miss rate changed, most likely around {day}: {before} before "
            "(range {before_range}, {before_throws}), {after} after (range {after_range}, {after_throws})."
        )
    else:
        sentence = N_(
            "{many}: {probability} that the miss rate changed, most likely: {before} before "
            "(range {before_range}, {before_throws}), {after} after (range {after_range}, {after_throws})."
        )
    return _(
        sentence,
        many=first_upper(words.MANY[c.phase]),
        probability=words.probability(c.p_changed),
        day=words.day(when) if when else "",
        before=words.percent(c.before.middle),
        before_range=words.percent_range(c.before),
        before_throws=words.throws(c.before_throws),
        after=words.percent(c.after.middle),
        after_range=words.percent_range(c.after),
        after_throws=words.throws(c.after_throws),
    )


def noticed_sentence(report: Report) -> str:
    """Return which of the other questions stand out, having asked so many."""
    asked = len(report.noticed)
    if not asked:
        return _("Too few throws to compare wind, stance, or early and late holes.")
    out = [n for n in report.noticed if n.stands_out]
    if not out:
        return ngettext(
            "Of {n} other comparison (drift, wind, early and late holes, stance), none "
            "stands out beyond what looking at so many brings by chance.",
            "Of {n} other comparisons (drift, wind, early and late holes, stance), none "
            "stands out beyond what looking at so many brings by chance.",
            asked,
        )
    told = [
        _(
            "{question} ({first} against {second})",
            question=n.question,
            first=_missed(n.first, n.first_rate),
            second=_missed(n.second, n.second_rate),
        )
        for n in out
    ]
    return ngettext(
        "Of {n} other comparison, these stand out: {comparisons}.",
        "Of {n} other comparisons, these stand out: {comparisons}.",
        asked,
        comparisons=words.listing(told),
    )


def _missed(group: tuple[int, int], found: Interval) -> str:
    missed, throws = group
    return _(
        "{missed} of {thrown} missed, {percent}, range {range}",
        missed=missed,
        thrown=throws,
        percent=words.percent(found.middle),
        range=words.percent_range(found),
    )


def spot_sentences(report: Report) -> list[str]:
    """Return the holes, courses and lengths that stand out, having asked about so many."""
    asked = len(report.spots)
    if not asked:
        return []
    out = [s for s in report.spots if s.stands_out]
    if not out:
        return [
            ngettext(
                "By hole, course and length ({n} question): nothing stands out beyond what asking so much "
                "brings by chance.",
                "By hole, course and length ({n} questions): nothing stands out beyond what asking so much "
                "brings by chance.",
                asked,
            )
        ]
    more = len(out) - MOST_SPOTS
    said = [f"{s.says}." for s in out[:MOST_SPOTS]]
    if more > 0:
        said.append(_("{more} more stand out less.", more=more))
    lead = ngettext(
        "By hole, course and length, {n} question; what stands out:",
        "By hole, course and length, {n} questions; what stands out:",
        asked,
    )
    return [lead, *said]


def effect_sentences(report: Report) -> list[str]:
    """Return what changed since practice began: the one statement, counts, ranges, other reasons."""
    e = report.effect
    if e is None:
        return []
    if isinstance(e, str):
        return [e]
    # One phase alone has the one statement for its own; several have a sentence each.
    alone = len(e.judged.phases) == 1 and e.judged.verdict != EARLY
    own = [] if alone else [h for h in e.judged.phases if h.phase == e.phase]
    return [
        *(said for said in (judged_sentence(e.judged),) if said),
        *(helped_sentence(h) for h in own),
        _counts_sentence(e),
        _change_sentence(e),
        f"{_(OTHER_REASONS)} {_ended_sentence(e)}".strip(),
        f"{_choice_sentence(e)} {_power_sentence(e)}".strip(),
    ]


def _change_sentence(e: Effect) -> str:
    """Say by how much the miss rate changed, and beside what else, where anything else is marked."""
    change, span = words.points(e.change.middle), words.points_range(e.change)
    if isnan(e.others_change.middle):
        return _(
            "Change {change} (range {range}). No other phase is marked on both sides, so nothing stands "
            "beside it.",
            change=change,
            range=span,
        )
    return _(
        "Change {change} (range {range}). The other phases changed by {others} over the same dates; "
        "beyond them it is {net} (range {net_range}).",
        change=change,
        range=span,
        others=words.points(e.others_change.middle),
        net=words.points(e.net_change.middle),
        net_range=words.points_range(e.net_change),
    )


def _counts_sentence(e: Effect) -> str:
    """Say how many throws of the phase were missed since its first practice, and before."""
    return _(
        "Since {day}: {missed} of {thrown} {many} missed ({percent}, range {range}; {rounds}); before "
        "{before_missed} of {before_thrown} ({before_percent}, range {before_range}; {before_rounds}).",
        day=words.day(e.since),
        missed=e.after.misses,
        thrown=e.after.throws,
        many=words.MANY[e.phase],
        percent=words.percent(e.after.rate.middle),
        range=words.percent_range(e.after.rate),
        rounds=words.rounds(e.after.rounds),
        before_missed=e.before.misses,
        before_thrown=e.before.throws,
        before_percent=words.percent(e.before.rate.middle),
        before_range=words.percent_range(e.before.rate),
        before_rounds=words.rounds(e.before.rounds),
    )


def _power_sentence(e: Effect) -> str:
    """Say how many throws it takes to see a fall; empty where there is nothing to fall."""
    base = e.before.rate.middle
    if not 0 < base < 1:
        return ""
    return _(
        "To see a fall from {base} to {worth_knowing} in four cases of five takes about {throws} throws on "
        "each side.",
        base=words.percent(base),
        worth_knowing=words.percent(worth_knowing(base)),
        throws=e.throws_needed,
    )


def _ended_sentence(e: Effect) -> str:
    """Say what the results say beside the marks, which no eye colours; empty where none are known."""
    if e.ended_well is None:
        return ""
    before, after, p_rose = e.ended_well
    ended = _(
        "{after} of these throws ended well since, {before} before ({probability} that it rose)",
        after=words.percent(after.middle),
        before=words.percent(before.middle),
        probability=words.probability(p_rose),
    )
    fell = e.change.middle < 0
    if (fell and p_rose >= RESULTS_AGREE) or (not fell and p_rose <= 1 - RESULTS_AGREE):
        return _("How your throws ended, which no eye colours, says the same: {ended}.", ended=ended)
    if e.helped:
        return _("How your throws ended, which no eye colours, hardly changed: {ended}.", ended=ended)
    return _("How your throws ended: {ended}.", ended=ended)


def _choice_sentence(e: Effect) -> str:
    """Say which rounds are left out, and how much better the phase would look for having been chosen."""
    if e.by_choice is None:
        return ngettext(
            "The {n} round before the first practice is left out, since it chose it: what looks worst "
            "looks better next time, practised or not.",
            "The {n} rounds before the first practice are left out, since they chose it: what looks worst "
            "looks better next time, practised or not.",
            e.left_out,
        )
    return ngettext(
        "The {n} round before the first practice is left out, since it chose it: what looks worst looks "
        "better next time, practised or not, here by {points}.",
        "The {n} rounds before the first practice are left out, since they chose it: what looks worst looks "
        "better next time, practised or not, here by {points}.",
        e.left_out,
        points=_about_points(max(e.by_choice, 0.0)),
    )


def _about_points(share: float) -> str:
    if share < 0.01:
        return _("less than 1 point")
    return ngettext("about {n} point", "about {n} points", round(share * 100))


def tested_sentences(report: Report) -> list[str]:
    """Return the practice results, a line for each day and drill."""
    return [
        _(
            "{day}, {drill}: {made} of {tries} ({percent}, range {range})",
            day=words.day(t.day) if t.day else _("undated"),
            drill=t.title or t.drill,
            made=t.made,
            tries=t.tries,
            percent=words.percent(t.rate.middle),
            range=words.percent_range(t.rate),
        )
        for t in report.tested
    ]


def stance_sentence(report: Report) -> str | None:
    """Return how putts went by stance, against what the curve expects from the same distances."""
    parts = []
    for g in report.putting.stances:
        if not g.tries:
            continue
        if g.expected is None:
            parts.append(holed_said(g))
            continue
        parts.append(
            _(
                "{holed}, {expected} expected from these distances",
                holed=holed_said(g),
                expected=number(g.expected * g.tries, 1),
            )
        )
    return None if len(parts) < 2 else _("Inside the putting area, {parts}.", parts="; ".join(parts))


def area_sentence(report: Report) -> str | None:
    """Return holed and executed putts inside the putting area and beyond."""
    parts = []
    for g in (report.putting.inside, report.putting.beyond):
        if g.tries:
            if isnan(g.clean.middle):
                parts.append(holed_said(g))
                continue
            parts.append(
                _(
                    "{holed}, {clean} of {marked} executed",
                    holed=holed_said(g),
                    clean=g.clean_count,
                    marked=g.marked,
                )
            )
    said = "; ".join(parts)
    return f"{first_upper(said)}." if said else None
