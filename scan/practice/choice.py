"""What to practise next: the phase in which one more session should save most.

What costs most and what to practise next are two questions. Misses of a phase cost strokes; a session changes
some of them, and the tenth session of a phase may change less than the first. So

    saved a round = throws a round x cost of a miss x expected fall of the miss rate by one more session,

the fall as `gains` expects it from the player's own rounds, sessions and tests. The cost is that of one miss,
later misses and all: a session takes away a small part of the misses and leaves the later ones to be met, and
for a small change this product is exact (the change of an outcome is the sum over the choices of how much
each is better, as often as each comes up: Sutton, McAllester, Singh and Mansour 2000, theorem 1). What a
phase *without any miss* would save for each miss (`saved_a_miss`) is less and foretells too little: in
three worlds choosing by it gave up 13 % more (40 players each; tests/bench/bench_told.py).

The rule takes the phase with the largest. Rules that explore (drawing from what is believed, a bonus for what
is little known, the worth of knowing) or look ahead to the season's end were compared over whole seasons, and
none did better: `tests/bench/bench_season.py` and `draw_exchange.py` have the tables. While no session is
known, the phase that costs most comes first.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import ceil

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import N_, _, first_upper, number
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import causes_of
from shortpencil.scan.practice.focus import NOTE_HALF_LIVES, Focus
from shortpencil.scan.practice.gains import (
    FADES_DAYS,
    TESTS_DIFFER,
    Belief,
    Counts,
    Laws,
    group_laws,
    learnt,
    usual_laws,
)
from shortpencil.scan.practice.helped import first_and_last
from shortpencil.scan.practice.history import NO_PHASE, History
from shortpencil.scan.practice.model import LEVEL, Interval, normal_quantile, spread_between
from shortpencil.scan.practice.over_time import holes_of_rounds
from shortpencil.scan.practice.plan import Target, target_of
from shortpencil.scan.practice.sessions import OfTen, Session, practised_before
from shortpencil.scan.practice.setback import Setback, setback_of, setback_said

Floats = NDArray[np.float64]

#: Rounds after which a round counts half for what practice changed; longer than the focus's, since a change
#: needs both ends, and not for ever, since phases change by themselves, too.
LEARN_HALF_LIFE_ROUNDS = 15.0
#: Rounds that are looked at; the oldest of these counts 2 %.
LEARN_ROUNDS = 90

#: A cost below this is taken for chance.
SMALLEST_COST_STROKES = 0.02

#: Throws a hole by phase where only misses are marked, so that nobody knows how many there were; our choice.
USUAL_THROWS_A_HOLE = {"tee": 1.0, "between": 1.15, "target": 1.4}
#: Fewer clean marks than this share of the misses means that only misses are marked.
ONLY_MISSES = 0.1

_DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Expected:
    """What one more session of a phase should bring.

    Attributes
    ----------
    sessions, lately : sessions ever, and in the last 60 days before the newest day known
    saves : strokes a round that one more session should save, with its range
    left : share of the first session's gain that the next one should still bring, 0 to 1
    p_best : probability that no other phase's next session saves more
    """

    phase: str
    sessions: int
    lately: int
    saves: Interval
    left: float
    p_best: float


@dataclass(frozen=True, slots=True)
class Choice:
    """The phase to practise next, the one that costs most, and what is expected of each.

    `ahead` holds the phases of the next sessions as things stand, the very next one first; `p_steady` is how
    probable it is by now that each session brings as much as the one before. `setback` is a phase that gives
    way and whose misses did not fall as assumed.
    """

    phase: str
    number: int
    costs_most: str
    phases: tuple[Expected, ...]
    ahead: tuple[str, ...]
    known_sessions: int
    p_steady: float
    setback: Setback | None = None
    whose: str | None = None  # who was asked for by name, where a command is told

    @property
    def chosen(self) -> Expected:
        """What is expected of the chosen phase."""
        return self.phases[self.number]

    @property
    def alone(self) -> bool:
        """Whether no other phase has marks: then nothing was compared, whatever a probability says."""
        return not any(e.saves.middle for e in self.phases if e.phase != self.phase)

    @property
    def differs(self) -> bool:
        """Whether something else costs more than what to practise next."""
        return self.phase != self.costs_most


LATELY_DAYS = 60
AHEAD = 16


def choice_of(
    history: History,
    focus: Focus,
    sessions: Sequence[Session],
    tests: Sequence[OfTen] = (),
    *,
    laws: Laws | None = None,
    possible: Sequence[History] = (),
) -> Choice:
    """Return what to practise next.

    Parameters
    ----------
    history, focus : of one player's rounds
    sessions, tests : what is known of practice, oldest first
    laws : what a group says of how practice works, or None
    possible : where values are doubtful, histories of whole rounds that may be true (`scan.practice.doubt`);
        what is believed is the mean over them
    """
    draws = possible or (history,)
    belief = _believed(draws, sessions, tests, laws)
    throws = np.mean([_throws_a_round(one, focus) for one in draws], axis=0)
    cost = np.array([max(p.cost.middle, SMALLEST_COST_STROKES) for p in focus.phases])
    cost_sd = np.array([(p.cost.high - p.cost.low) / (2 * normal_quantile()) for p in focus.phases])
    seen = (history.marked.sum(axis=0) > 0).astype(float)
    worth = throws * cost * seen
    value = worth * belief.gain()
    number = int(np.argmax(value)) if sessions else focus.number
    saves, p_best = _spread(belief, throws * seen, cost, cost_sd)
    done = [sum(s.phase == k for s in sessions) for k in range(len(focus.phases))]
    ids = history.phase_ids
    return Choice(
        phase=ids[number],
        number=number,
        costs_most=focus.phase,
        phases=_expected(history, sessions, belief, value, saves, p_best),
        ahead=tuple(ids[k] for k in _ahead(belief, worth, number)),
        known_sessions=len(sessions),
        p_steady=float(belief.p_alike()[0]),
        setback=setback_of(
            belief, laws or usual_laws(), worth, number, done, first_and_last(history, sessions), ids
        ),
    )


def _expected(
    history: History,
    sessions: Sequence[Session],
    belief: Belief,
    value: Floats,
    saves: Sequence[Interval],
    p_best: Floats,
) -> tuple[Expected, ...]:
    """Return what one more session of each phase should bring; `value` is what it saves on average."""
    last = max([s.day for s in sessions] + [h.day for h in history.heads if h.day], default=date.min)
    gain, first = belief.gain(), replace(belief, sessions=np.zeros(len(value))).gain()
    return tuple(
        Expected(
            phase=phase,
            sessions=sum(s.phase == k for s in sessions),
            lately=sum(s.phase == k and (last - s.day).days <= LATELY_DAYS for s in sessions),
            saves=Interval(saves[k].low, float(value[k]), saves[k].high),
            left=float(np.clip(gain[k] / first[k], 0, 1)) if first[k] > 0 else 0.0,
            p_best=float(p_best[k]),
        )
        for k, phase in enumerate(history.phase_ids)
    )


def _believed(
    draws: Sequence[History], sessions: Sequence[Session], tests: Sequence[OfTen], laws: Laws | None
) -> Belief:
    """Return what rounds, sessions and tests tell of how practice works, on average over draws."""
    each = []
    for one in draws:
        marks, now, told = counts_of(one, sessions, tests)
        each.append(learnt(marks, now, told, laws, phases=len(one.phases)))
    return replace(each[0], weight=np.mean([belief.weight for belief in each], axis=0))


def target_of_choice(
    choice: Choice, history: History, focus: Focus, labels: Mapping[str, str] | None = None
) -> Target:
    """Return what the next session is for, with the causes noted for that phase."""
    if not choice.differs:
        return target_of(focus)
    recent = np.zeros(history.rounds, dtype=bool)
    recent[-max(1, ceil(NOTE_HALF_LIVES * focus.half_life_rounds)) :] = True
    return Target(
        choice.phase,
        causes_of(history, choice.number, choice.phase, recent=recent, labels=labels),
        1 - focus.phases[choice.number].recent.interval.middle,
    )


def laws_of_group(
    players: Sequence[tuple[History, Sequence[Session], Sequence[OfTen]]],
) -> Laws | None:
    """Return what other players' rounds of one game say of how practice works; None where none practised."""
    rows = []
    count = max((len(history.phases) for history, _, _ in players), default=1)
    for history, sessions, tests in players:
        if sessions and history.rounds:
            marks, _, told = counts_of(history, sessions, tests)
            rows.append((marks, told))
    return group_laws(rows, phases=count) if rows else None


def counts_of(
    history: History, sessions: Sequence[Session], tests: Sequence[OfTen]
) -> tuple[Counts, Floats, Counts | None]:
    """Return rounds and tests as counts with the sessions behind each, a row a phase; and sessions so far.

    Later rounds count more, and counts are divided by how much more than chance the rounds differ, as is done
    for the focus.
    """
    rounds = slice(max(0, history.rounds - LEARN_ROUNDS), None)
    days = [h.day for h in history.heads[rounds]]
    misses = history.misses[rounds].astype(float)
    throws = _throws(history)[rounds]
    weight = 0.5 ** (np.arange(len(days) - 1, -1, -1) / LEARN_HALF_LIFE_ROUNDS)
    factor = np.array([spread_between(misses[:, k], throws[:, k]).factor for k in range(misses.shape[1])])
    scale = weight[:, None] / factor
    count = misses.shape[1]
    before = practised_before(sessions, days, phases=count)
    today = max([d for d in days if d] + [s.day for s in sessions], default=None)
    now = practised_before(sessions, [today], with_same_day=True, phases=count)[0]
    marks = Counts((misses * scale).T, (throws * scale).T, before.T)
    return marks, now, _test_marks(sessions, tests, count)


def _test_marks(sessions: Sequence[Session], tests: Sequence[OfTen], count: int) -> Counts | None:
    if not tests:
        return None
    failed, tries, before = np.zeros((3, count, len(tests)))
    behind = practised_before(sessions, [t.day for t in tests], with_same_day=True, phases=count)
    for i, t in enumerate(tests):
        failed[t.phase, i] = (t.tries - t.made) / TESTS_DIFFER
        tries[t.phase, i] = t.tries / TESTS_DIFFER
        before[:, i] = behind[i]
    return Counts(failed, tries, before)


def _throws(history: History) -> Floats:
    """Return the throws that misses are compared with, (R, P): the marked ones.

    Where only misses are marked these are all that are known to have been thrown, or what is usual.
    """
    marked = history.marked.astype(float)
    declared = history.declared[: history.rounds]
    by_mark = history.clean.copy()
    if history.tee != NO_PHASE:
        by_mark[declared, history.tee] = 0
    if by_mark.sum() >= ONLY_MISSES * history.misses.sum():
        return marked
    holes = holes_of_rounds(history)
    # Several phases between tee and target share what is usual there.
    roles = [phase.role for phase in history.phases]
    each = [USUAL_THROWS_A_HOLE[role] / roles.count(role) for role in roles]
    usual = holes[:, None] * np.array(each)
    result = np.maximum(usual, marked + history.unmarked)
    if history.tee != NO_PHASE:
        result[declared, history.tee] = marked[declared, history.tee]
    return np.asarray(result)


def _throws_a_round(history: History, focus: Focus) -> Floats:
    """Return the throws of a round by phase, later rounds counting more."""
    weight = 0.5 ** (np.arange(history.rounds - 1, -1, -1) / focus.half_life_rounds)
    return np.asarray(weight @ _throws(history) / weight.sum())


def _spread(belief: Belief, throws: Floats, cost: Floats, cost_sd: Floats) -> tuple[list[Interval], Floats]:
    """Return the range of what the next session saves, by phase, and how probably each saves most.

    By draws from what is believed of start, law and cost, with a fixed seed: the same rounds, the same words.
    """
    generator = np.random.default_rng(0)
    gains = (belief.rates_after(0) - belief.rates_after(1)).reshape(len(throws), -1)
    weight = belief.weight.reshape(len(throws), -1)
    drawn = np.empty((len(throws), _DRAWS))
    for k in range(len(throws)):
        at = np.searchsorted(np.cumsum(weight[k]), generator.random(_DRAWS))
        costs = cost[k] + cost_sd[k] * generator.standard_normal(_DRAWS)
        gain = gains[k][np.minimum(at, weight.shape[1] - 1)]
        drawn[k] = throws[k] * np.maximum(costs, SMALLEST_COST_STROKES) * gain
    best = np.bincount(drawn.argmax(axis=0), minlength=len(throws)) / _DRAWS
    tail = (1 - LEVEL) / 2
    ranges = [Interval(*np.quantile(row, [tail, 0.5, 1 - tail]).tolist()) for row in drawn]
    return ranges, best


def _ahead(belief: Belief, strokes: Floats, first: int) -> list[int]:
    """Return the phases of the next sessions, as if each had brought what is expected of it."""
    done = belief.sessions.copy()
    result = []
    for i in range(AHEAD):
        pick = first if i == 0 else int(np.argmax(strokes * replace(belief, sessions=done).gain()))
        result.append(pick)
        done[pick] += 1
    return result


# -- in words ------------------------------------------------------------------------------------------------


def assumed(choice: Choice) -> str:
    """Return what the advice assumes of practice, and how far the player's own marks bear it out."""
    tapers, steady = words.probability(1 - choice.p_steady), words.probability(choice.p_steady)
    return _(
        "Assumed: each later session of a phase brings less ({tapers} by your own marks so far), or as much "
        "as the one before ({steady}); half is gone after {days} days without practice.",
        tapers=tapers,
        steady=steady,
        days=f"{FADES_DAYS:.0f}",
    )


def why_next(choice: Choice) -> list[str]:
    """Return what to practise next and why, in sentences."""
    own = choice.chosen
    many = words.MANY
    if not choice.known_sessions:
        said = _(_FIRST_ALONE if choice.alone else _FIRST, many=many[choice.phase], phase=choice.phase)
        return [said + (f" --player {shlex.quote(choice.whose)}" if choice.whose else "")]
    if choice.alone:
        return [
            _(
                "Practise {many} next, since no others are marked: one more session ({done} so far) should "
                "save about {saved}.",
                many=many[choice.phase],
                done=_done(own),
                saved=words.in_ten_rounds(own.saves.middle),
            )
        ]
    if not choice.differs:
        said = _(
            "Practise {many} next, too: one more session ({done} so far) should save most there, "
            "about {saved}.",
            many=many[choice.phase],
            done=_done(own),
            saved=words.in_ten_rounds(own.saves.middle),
        )
    else:
        said = _even_so(choice)
    setback = [setback_said(choice.setback)] if choice.setback else []
    return [said, *setback, _how_sure(choice)]


_FIRST = N_(
    "Practise {many} next: no session is known yet, so what most probably costs most comes first. Tell each "
    "session, or photograph its practice card, and the advice will count what it has changed: "
    "shortpencil practised {phase} 30"
)
_FIRST_ALONE = N_(
    "Practise {many} next, since no others are marked. Tell each session, or photograph its practice card, "
    "and the advice will count what it has changed: shortpencil practised {phase} 30"
)
_HARDLY_MORE = N_(
    "Even so, practise {many} next: one more session there ({done} so far) should save about "
    "{saved}, hardly more than with {other} ({other_done} so far)."
)
_AGAINST = N_(
    "Even so, practise {many} next: one more session there ({done} so far) should save about "
    "{saved}, against {other_saved} with {other} ({other_done} so far)."
)


def _even_so(choice: Choice) -> str:
    """Say what to practise where something else costs most; savings that read alike are not compared."""
    own, many = choice.chosen, words.MANY
    other = next(e for e in choice.phases if e.phase == choice.costs_most)
    others = number(10 * other.saves.middle, 1)
    return _(
        _HARDLY_MORE if others == number(10 * own.saves.middle, 1) else _AGAINST,
        many=many[choice.phase],
        done=_done(own),
        saved=words.in_ten_rounds(own.saves.middle),
        other_saved=others,
        other=many[other.phase],
        other_done=_done(other),
    )


def _done(e: Expected) -> str:
    return str(e.sessions) if e.sessions else _("none")


def _how_sure(choice: Choice) -> str:
    """Say how probable the choice is; where that is less than even, what comes next, if not told already."""
    probability, many = words.probability(choice.chosen.p_best), words.MANY[choice.phase]
    said = _("{probability} that {many} gain most from it", probability=probability, many=many)
    others = [e for e in choice.phases if e.phase != choice.phase]
    second = max(others, key=lambda e: e.saves.middle)
    if round(100 * choice.chosen.p_best) >= 50 or (choice.differs and second.phase == choice.costs_most):
        return f"{first_upper(said)}."
    said = _(
        "{probability} that {many} gain most from it; next come {other}, about {saved}",
        probability=probability,
        many=many,
        other=words.MANY[second.phase],
        saved=number(10 * second.saves.middle, 1),
    )
    return f"{first_upper(said)}."
