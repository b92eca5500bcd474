"""One focus, how sure it is, and in plain words why.

The rule, stated once: **the focus is the phase whose misses most probably cost the most strokes a round,
lately.** Strokes a round are misses a round times what a miss of that phase costs this player. Beside it
stand the phase with most misses (the pencil's own choice) and the phase with the highest miss rate; where
they differ, a sentence says so. Until `SETTLED_ROUNDS` rounds are in, the focus is called provisional.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from shortpencil.scan.language import _, first_upper, ngettext, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import CLEAR, MOST_MORE_ROUNDS, Causes, causes_of, level_of, level_said
from shortpencil.scan.practice.cost import COST_ROUNDS
from shortpencil.scan.practice.doubt import pooled_causes, pooled_phases
from shortpencil.scan.practice.history import History
from shortpencil.scan.practice.marks import Marks, marks_of
from shortpencil.scan.practice.phases import (
    HALF_LIFE_ROUNDS,
    PhaseEvidence,
    PhasePrior,
    outlook_of,
    phases_of,
)

#: With true miss rates of 40, 30 and 30 %, the phase that looks worst is the worst in 62 % of single rounds
#: and in 88 % of five (computed, rounds alike): so a focus from the first round, provisional until the fifth.
SETTLED_ROUNDS = 5

#: Notes on causes come from this many half-lives of rounds: a habit of last year is not this week's cue.
NOTE_HALF_LIVES = 3

#: Above this share of throws without a mark, rates rest on a choice of throws, and the player is told.
MUCH_UNMARKED = 0.15

#: Throws without a mark are called mostly clean where they were missed this much less often than marked ones.
MOSTLY_CLEAN = 0.8

#: Phases this close in strokes a round are called nearly the same.
FAIR_CHOICE_STROKES = 0.3

#: Results are said to colour the marks of putts from this probability on.
NOTICED = 0.5


@dataclass(frozen=True, slots=True)
class Focus:
    """The one thing to practise and the evidence for it.

    Attributes
    ----------
    phase, number : the focus, as a word and as its place in the order thrown, from 0
    p : probability that this phase costs the most strokes a round
    level : "clear", "likely" or "not settled"
    provisional : fewer than `SETTLED_ROUNDS` rounds
    by_count, by_rate : phases that plain count and miss rate would choose
    disagreement : a sentence where these differ from the focus
    more_rounds : rounds like these after which a phase is clear in about two cases of five; 0 now, None if
        out of sight
    at_stake : strokes a round that another phase costs more, on average, where the choice is the wrong one
    marks : how the player marks
    remarks : what the player should know about their own marks
    """

    phase: str
    number: int
    rounds: int
    p: float
    level: str
    provisional: bool
    phases: tuple[PhaseEvidence, ...]
    by_count: str
    by_rate: str
    disagreement: str | None
    more_rounds: int | None
    at_stake: float
    causes: Causes
    marks: Marks
    half_life_rounds: float
    share_unmarked: float
    remarks: tuple[str, ...]

    @property
    def chosen(self) -> PhaseEvidence:
        """The evidence of the focus phase."""
        return self.phases[self.number]

    @property
    def costs_said(self) -> str | None:
        """What is taken for the costs that the cards do not tell, in words; it stands among the remarks."""
        return costs_said(self.rounds, self.phases)

    @property
    def alone(self) -> bool:
        """Whether no other phase has marks: then nothing was compared, whatever a probability says."""
        return sum(map(_is_marked, self.phases)) < 2

    def costs_most_said(self, p: PhaseEvidence) -> str:
        """Return how probable it is that a phase costs most; a dash where nothing was compared."""
        return "–" if self.alone else words.probability(p.p_costs_most)

    @property
    def sure(self) -> str:
        """How sure the phase is, in one sentence."""
        if self.provisional:
            state = _("provisional after {rounds}", rounds=words.rounds(self.rounds))
        elif self.level == "not settled":
            state = _("not settled, keep marking")
        else:
            state = level_said(self.level)
        if self.alone:
            many = words.MANY[self.phase]
            return _(
                "{state}: only {many} are marked, so there is nothing to compare", state=state, many=many
            )
        return _(
            "{state}: {probability} that {many} cost you the most strokes a round",
            state=state,
            probability=words.probability(self.p),
            many=words.MANY[self.phase],
        )

    @property
    def outlook(self) -> str | None:
        """How many more rounds it takes to tell, in one sentence; None where it is told already."""
        if self.provisional:
            return ngettext(
                "It stays provisional for {n} more round.",
                "It stays provisional for {n} more rounds.",
                SETTLED_ROUNDS - self.rounds,
            )
        if self.level == "clear" or self.alone:
            return None
        if self.more_rounds is not None:
            return ngettext(
                "{n} more round will make it clear in about two cases of five.",
                "{n} more rounds will make it clear in about two cases of five.",
                self.more_rounds,
            )
        if self.level == "likely":
            return _("More rounds may leave it at that.")
        if self.at_stake < FAIR_CHOICE_STROKES:
            return _(
                "The phases cost you nearly the same, and more rounds may not tell them apart: a fair choice."
            )
        return _(
            "More rounds may not settle it soon. If it is the wrong phase, another costs about {strokes} "
            "strokes a round more.",
            strokes=words.strokes(self.at_stake),
        )


def focus_of(
    history: History,
    *,
    half_life_rounds: float = HALF_LIFE_ROUNDS,
    prior: PhasePrior | None = None,
    labels: Mapping[str, str] | None = None,
    possible: Sequence[History] = (),
    remarks: Sequence[str] = (),
) -> Focus | None:
    """Return the focus of one player's rounds, or None where no miss is marked (see `why_no_focus`).

    Parameters
    ----------
    history : the rounds of one player
    half_life_rounds : rounds after which a round counts half
    prior : what other players of the group suggest, or None
    labels : causes of the player's own form, id to words
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`)
    remarks : what else the player should know
    """
    if why_no_focus(history) is not None:
        return None
    marks = marks_of(history)
    known = phases_of(history, half_life_rounds=half_life_rounds, prior=prior, marks=marks)
    drawn = [phases_of(one, half_life_rounds=half_life_rounds, prior=prior) for one in possible]
    phases = pooled_phases(drawn) if drawn else known
    at = int(np.argmax([p.p_costs_most for p in phases]))
    by_count = int(np.argmax([p.misses_a_round for p in phases]))
    rates = [-1.0 if not p.recent.marked else p.recent.interval.middle for p in phases]
    # Where some phases have counts and no rates, the plain count is all that compares them.
    counted = any(np.isnan(p.p_highest_rate) for p in phases)
    by_rate = int(np.argmax(rates)) if max(rates) >= 0 and not counted else by_count
    recent = np.zeros(history.rounds, dtype=bool)
    recent[-max(1, ceil(NOTE_HALF_LIVES * half_life_rounds)) :] = True
    p = phases[at].p_costs_most
    outlook = outlook_of(phases, history.rounds, half_life_rounds, CLEAR, MOST_MORE_ROUNDS)
    bare = int(marks.bare.sum())
    # Where only one phase has marks nothing was compared, whatever a probability says.
    level = level_of(p) if sum(map(_is_marked, phases)) > 1 else "not settled"
    return Focus(
        phase=history.phase_ids[at],
        number=at,
        rounds=history.rounds,
        p=p,
        level=level,
        provisional=history.rounds < SETTLED_ROUNDS,
        phases=phases,
        by_count=history.phase_ids[by_count],
        by_rate=history.phase_ids[by_rate],
        disagreement=_disagreement(phases, at, by_count, by_rate),
        more_rounds=0 if level == "clear" else outlook.more_rounds,
        at_stake=outlook.at_stake,
        causes=pooled_causes(
            [
                causes_of(one, at, history.phase_ids[at], recent=recent, labels=labels)
                for one in possible or (history,)
            ]
        ),
        half_life_rounds=half_life_rounds,
        marks=marks,
        share_unmarked=bare / max(1, bare + int(history.marked.sum())),
        remarks=(*remarks, *_remarks(history, phases, marks, at)),
    )


def _is_marked(phase: PhaseEvidence) -> bool:
    return bool(phase.recent.marked or phase.recent.misses)


def why_no_focus(history: History) -> str | None:
    """Return why no focus can be named, as a sentence for the player; None if one can."""
    if not history.rounds:
        return _("There is no round yet. Mark a card after a round, then read its photo.")
    if not history.marked.sum():
        return ngettext(
            "No throw of {n} round is marked clean or miss. "
            "Unmarked throws are unknown, so nothing can be said; mark each throw on the next card.",
            "No throw of {n} rounds is marked clean or miss. "
            "Unmarked throws are unknown, so nothing can be said; mark each throw on the next card.",
            history.rounds,
        )
    if not history.misses.sum():
        return ngettext(
            "Not one of {n} marked throw is marked as a miss. There is nothing to single out; keep marking.",
            "Not one of {n} marked throws is marked as a miss. There is nothing to single out; keep marking.",
            int(history.marked.sum()),
        )
    return None


def _disagreement(phases: tuple[PhaseEvidence, ...], at: int, by_count: int, by_rate: int) -> str | None:
    """Say in a sentence what count and rate would choose where they differ from the focus, as told."""
    own, most_counted = phases[at], by_count == at
    if words.percent(phases[by_rate].recent.interval.middle) == words.percent(own.recent.interval.middle):
        by_rate = at
    if number(phases[by_count].misses_a_round, 1) == number(own.misses_a_round, 1):
        by_count = at
    if by_count == at and by_rate == at:
        return None
    count, rate = phases[by_count], phases[by_rate]
    many, by_misses = words.MANY[count.phase], _misses_against(count, own)
    other, by_share = words.MANY[rate.phase], _share_against(rate, own)
    # counts alone compare the phases where there are no rates
    if np.isnan(own.p_highest_rate) or (by_rate == at and by_count != by_rate):
        text = _("By plain count it would be {many} ({by_misses})", many=many, by_misses=by_misses)
    elif by_count == by_rate:
        text = _(
            "By count and by rate it would be {many} ({by_misses}, {by_share})",
            many=many,
            by_misses=by_misses,
            by_share=by_share,
        )
    elif by_count == at:
        text = _("By rate it would be {many} ({by_share})", many=other, by_share=by_share)
    else:
        text = _(
            "By plain count it would be {many} ({by_misses}), by rate {other} ({by_share})",
            many=many,
            by_misses=by_misses,
            other=other,
            by_share=by_share,
        )
    if most_counted:
        reason = _("{many} are chosen, being missed more often in a round", many=words.MANY[own.phase])
    else:
        reason = _(
            "{each_missed} costs more, about {strokes} strokes",
            each_missed=words.EACH_MISSED[own.phase],
            strokes=words.strokes(own.cost.middle),
        )
    return f"{text}; {reason}."  # two statements, each whole by itself


def _misses_against(one: PhaseEvidence, own: PhaseEvidence) -> str:
    return _(
        "{count} misses a round against {own}",
        count=number(one.misses_a_round, 1),
        own=number(own.misses_a_round, 1),
    )


def _share_against(one: PhaseEvidence, own: PhaseEvidence) -> str:
    return _(
        "{percent} of throws missed against {own}",
        percent=words.percent(one.recent.interval.middle),
        own=words.percent(own.recent.interval.middle),
    )


def _remarks(history: History, phases: tuple[PhaseEvidence, ...], marks: Marks, at: int) -> tuple[str, ...]:
    told = (costs_said(history.rounds, phases), _unmarked(history, phases, marks), _coloured(marks))
    remarks = [said for said in told if said]
    bare = [words.MANY[p.phase] for p in phases if not _is_marked(p)]
    if bare:
        remarks.append(_("No {many} are marked, so they can't be compared.", many=words.listing(bare)))
    if history.rounds > 1 and phases[at].spread_factor > 2:
        remarks.append(
            _(
                "Your rounds differ more than chance would make them (wind, course, day): "
                "the ranges are widened for it."
            )
        )
    own = history.heads[-1].worst
    if own is not None and own != history.phase_ids[at]:
        remarks.append(
            _(
                "On your last card you chose {own}; over recent rounds it is {many}.",
                own=words.MANY[own],
                many=words.MANY[history.phase_ids[at]],
            )
        )
    return tuple(remarks)


def costs_said(rounds: int, phases: Sequence[PhaseEvidence]) -> str | None:
    """Say of which phases the cards do not tell what a miss costs, and what is taken in its place.

    None where they tell it, and of a single round, after which no cost is learnt.
    """
    rates = [p for p in phases if p.recent.marked]
    if not rates:
        return _(
            "Your cards mark only misses, so there are no miss rates: this goes by how many there are in a "
            "round, and takes each to cost about half a stroke. Mark clean throws too, and it can tell what "
            "a miss costs you."
        )
    if any(np.isnan(p.p_highest_rate) for p in phases):
        return _(
            "Your cards mark only misses. {first} have a rate, since a hole has one; {others} have counts, "
            "since nobody knows how many there were, and each of their misses is taken to cost about half a "
            "stroke.",
            first=first_upper(words.MANY[rates[0].phase]),
            others=words.listing(words.MANY[p.phase] for p in phases if not p.recent.marked),
        )
    untold = [p for p in rates if p.recent.misses and not p.cost_learnt]
    if rounds < COST_ROUNDS or not untold:
        return None
    taken = [words.strokes(p.cost.middle) for p in untold]
    taken = taken[:1] if len(set(taken)) == 1 else taken
    return _(
        "Your cards can't tell yet what missed {many} cost (that takes scores, and clean throws beside "
        "missed ones): about {strokes} strokes each is taken, and the choice hangs on it.",
        many=words.listing(words.MANY[p.phase] for p in untold),
        strokes=words.listing(taken),
    )


def _unmarked(history: History, phases: tuple[PhaseEvidence, ...], marks: Marks) -> str | None:
    """Say what throws without a mark mean for what is told; of cards of misses alone `costs_said` tells."""
    if any(np.isnan(p.p_highest_rate) for p in phases) or not any(p.recent.marked for p in phases):
        return None
    full = ~marks.only_misses
    # Who marks one phase alone forgets nothing of the others: those are told of by themselves.
    of_marked = history.marked[full].any(axis=0)
    bare, marked = int((marks.bare[full] * of_marked).sum()), int(history.marked[full].sum())
    said = []
    if int(marks.only_misses.sum()):
        said.append(
            ngettext(
                "{n} round with only misses marked is left out of the rates.",
                "{n} rounds with only misses marked are left out of the rates.",
                int(marks.only_misses.sum()),
            )
        )
    share = bare / max(1, bare + marked)
    if share > MUCH_UNMARKED:
        ratio, doubt = marks.forgotten
        said.append(_without_mark(share, mostly_clean=ratio + doubt < MOSTLY_CLEAN))
    return " ".join(said) or None


def _without_mark(share: float, *, mostly_clean: bool) -> str:
    if mostly_clean:
        return _(
            "{percent} of your throws have no mark. They are unknown, not misses; going by how they "
            "ended, mostly clean ones. The miss rates allow for it, and their ranges are wider.",
            percent=words.percent(share),
        )
    return _(
        "{percent} of your throws have no mark. They are unknown, not misses. The miss rates allow "
        "for it, and their ranges are wider.",
        percent=words.percent(share),
    )


def _coloured(marks: Marks) -> str | None:
    """Say gently that results may colour the marks of putts."""
    (dropped, clean), (stayed, missed) = marks.dropped, marks.stayed
    if marks.p_coloured < NOTICED or not dropped or not stayed:
        return None
    return ngettext(
        "Of {n} putt that dropped you call {clean} clean, of {stayed} that stayed out {missed} missed. "
        "It is easy to judge a putt by where it ends: try to judge it as it leaves the hand. "
        "What a missed putt costs may be less than is told here.",
        "Of {n} putts that dropped you call {clean} clean, of {stayed} that stayed out {missed} missed. "
        "It is easy to judge a putt by where it ends: try to judge it as it leaves the hand. "
        "What a missed putt costs may be less than is told here.",
        dropped,
        clean=clean,
        stayed=stayed,
        missed=missed,
    )
