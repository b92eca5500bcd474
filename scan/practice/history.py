"""What rounds say about misses, as columns: counts per phase, throws, holes, and the notes of misses.

One pass over the rounds makes arrays; everything after works on arrays, so that ten thousand rounds take a
second. Two rules of honesty are applied here, once: a throw without a mark is unknown, never a miss, and a
value that waits for a person counts nowhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.form import USUAL_PHASES, Phase
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, Value

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

CLEAN, MISS, UNMARKED = 0, 1, 2

#: A round's marks are of misses only where so few of them are clean, and so many throws have no mark.
ONLY_MISSES_CLEAN, ONLY_MISSES_BARE = 0.10, 0.30

_EXECUTION: Mapping[object, int] = {"clean": CLEAN, "miss": MISS}
_HOLED: Mapping[bool | None, int] = {None: -1, False: 0, True: 1}
#: What stands for a phase that a game does not have; no throw is of it.
NO_PHASE = -1


@dataclass(frozen=True, slots=True)
class RoundHead:
    """What a round says as a whole; `worst` is the phase the player chose on the card."""

    id: str
    day: date | None
    player: str | None
    course: str | None
    layout: str | None
    hand: str
    wind: str | None
    worst: str | None


class MissNote(NamedTuple):
    """The second pass on one hole: which way and why the focus phase missed there."""

    round: int
    hole: int
    phase: int
    directions: tuple[str, ...]
    forehand: bool
    hand: str
    cause: str | None
    words: str | None
    picture: str | None


@dataclass(frozen=True, slots=True)
class History:
    """Rounds in the order played, as columns.

    Attributes
    ----------
    heads : one for each of R rounds, oldest first
    misses, clean, unmarked : (R, P) throws by round and phase
    hole_round, hole_number, hole_score, hole_par, hole_penalty : (H,), NaN where unknown
    hole_misses : (H, P) misses by phase; hole_unmarked : (H,) throws without a mark
    throw_hole, throw_phase, throw_execution : (T,) indices and codes
    throw_left : (T,) throws the hole still took after this one, but for those of the last phase with the
        penalties of the hole; -1 unknown
    throw_holed : (T,) 1 holed, 0 not, -1 unknown
    throw_distance_m : (T,) NaN where not written
    throw_straddle : (T,) 1 marked straddle, else 0
    notes : second-pass notes, in the order of the rounds
    hole_length_m : (H,), NaN where unknown; empty where nothing is known of lengths
    phases : the P phases of the game, in the order thrown
    columns : (R, P) throws of each phase that the round's card has room for on a hole
    declared : (R,) whether the round's card declares that what it does not mark was clean
    """

    heads: tuple[RoundHead, ...]
    misses: Ints
    clean: Ints
    unmarked: Ints
    hole_round: Ints
    hole_number: Ints
    hole_score: Floats
    hole_par: Floats
    hole_penalty: Floats
    hole_misses: Ints
    hole_unmarked: Ints
    throw_hole: Ints
    throw_phase: Ints
    throw_execution: Ints
    throw_left: Ints
    throw_holed: Ints
    throw_distance_m: Floats
    throw_straddle: Ints
    notes: tuple[MissNote, ...]
    hole_length_m: Floats = field(default_factory=lambda: np.empty(0))
    phases: tuple[Phase, ...] = USUAL_PHASES
    columns: Ints = field(default_factory=lambda: np.empty((0, 0), dtype=np.int64))
    declared: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))

    @property
    def phase_ids(self) -> tuple[str, ...]:
        """Ids of the phases, in the order thrown."""
        return tuple(phase.id for phase in self.phases)

    @property
    def tee(self) -> int:
        """The phase that begins a hole, `NO_PHASE` where the game has none."""
        return self._with_role("tee")

    @property
    def putt(self) -> int:
        """The phase whose last throw ends a hole, `NO_PHASE` where the game has none."""
        return self._with_role("target")

    @property
    def between(self) -> tuple[int, ...]:
        """The phases between tee and target, in the order thrown."""
        return tuple(k for k, phase in enumerate(self.phases) if phase.role == "between")

    def _with_role(self, role: str) -> int:
        return next((k for k, phase in enumerate(self.phases) if phase.role == role), NO_PHASE)

    @property
    def rounds(self) -> int:
        return len(self.heads)

    @property
    def marked(self) -> Ints:
        """(R, P) throws with a mark, the only ones a rate is made of."""
        return self.misses + self.clean

    @property
    def share_unmarked(self) -> float:
        """Share of all throws that carry no mark; 0 where there are no throws."""
        total = int(self.misses.sum() + self.clean.sum() + self.unmarked.sum())
        return float(self.unmarked.sum()) / total if total else 0.0


def in_order(rounds: Iterable[Round]) -> list[Round]:
    """Return the rounds by date played, or by date recorded where that is all there is."""
    listed = list(rounds)

    def key(played: Round) -> tuple[date, float]:
        at = played.recorded_at
        return played.day or (at.date() if at else date.min), at.timestamp() if at else 0.0

    return sorted(listed, key=key)


def history_of(rounds: Iterable[Round]) -> History:
    """Return the columns of `rounds`, put in the order played; all must be of one game (see `games`)."""
    ordered = in_order(rounds)
    phases = ordered[-1].phases if ordered else USUAL_PHASES
    number = {phase.id: k for k, phase in enumerate(phases)}
    hands = ["left" if _known(played.hand) == "left" else "right" for played in ordered]
    holes = [hole for played in ordered for hole in played.holes]
    throws = [throw for hole in holes for throw in hole.throws]
    hole_round = np.repeat(np.arange(len(ordered)), [len(played.holes) for played in ordered])
    throw_hole = np.repeat(np.arange(len(holes)), [len(hole.throws) for hole in holes])
    # One column at a time: a list of one attribute takes a third of the time of a loop over all of them.
    phase = _ints([number[throw.phase] for throw in throws])
    execution = _ints(
        [_EXECUTION.get(e.value, UNMARKED) if e.status == "known" else UNMARKED for e in _executions(throws)]
    )
    # A clean throw that only a card of misses declares ("default") is no mark, since nobody knows how many
    # such throws there were; but for the first of a hole, of which there is one.
    declares = np.array([e.source == "default" and e.status == "known" for e in _executions(throws)], bool)
    tee = next((k for k, one in enumerate(phases) if one.role == "tee"), NO_PHASE)
    execution[declares & (phase != tee)] = UNMARKED
    declared = np.zeros(len(ordered), dtype=bool)
    declared[hole_round[throw_hole[declares]]] = True
    nan = float("nan")
    notes = [
        _note(at, hole, throw, hands[at], number)
        for at, hole in zip(hole_round.tolist(), holes, strict=True)
        for throw in hole.throws
        if throw.directions or throw.cause is not None or throw.words or throw.words_picture
    ]
    return columns_of(
        [_head(played, hand) for played, hand in zip(ordered, hands, strict=True)],
        notes,
        hole_round.astype(np.int64),
        _ints([hole.number for hole in holes]),
        np.column_stack(
            [
                _numbers([hole.score for hole in holes]),
                _numbers([hole.par for hole in holes]),
                _numbers([hole.penalty for hole in holes]),
            ]
        ),
        throw_hole.astype(np.int64),
        phase * 3 + execution,
        _ints([throw.order for throw in throws]),
        _ints([_HOLED[throw.holed] for throw in throws]),
        np.array([nan if throw.distance_m is None else throw.distance_m for throw in throws], dtype=float),
        _ints([0 if t.stance is None else int(_known(t.stance) == "straddle") for t in throws]),
        np.array([nan if hole.length_m is None else hole.length_m for hole in holes], dtype=float),
        phases,
        np.array([[len(p.columns) for p in played.phases] for played in ordered], dtype=np.int64),
        declared,
    )


def _ints(values: list[int]) -> Ints:
    return np.array(values, dtype=np.int64)


def _executions(throws: Iterable[Throw]) -> Iterator[Value]:
    return (throw.execution for throw in throws)


def columns_of(
    heads: list[RoundHead],
    notes: list[MissNote],
    hole_round: Ints,
    hole_number: Ints,
    hole_values: Floats,
    throw_hole: Ints,
    throw_code: Ints,
    throw_place: Ints,
    throw_holed: Ints,
    throw_distance: Floats,
    throw_straddle: Ints,
    hole_length: Floats | None = None,
    phases: tuple[Phase, ...] = USUAL_PHASES,
    columns: Ints | None = None,
    declared: NDArray[np.bool_] | None = None,
) -> History:
    """Return the history that these columns hold; `throw_code` is phase x 3 + execution.

    `columns` are those that each round's card has for each phase; None where all have those of `phases`.
    `declared` says of each round whether its card declares unmarked throws clean; None where none does.
    `hole_values` are score, par and penalty throws of each hole; `throw_place` counts the known throws of a
    hole from 1.
    """
    holes, rounds = len(hole_round), len(heads)
    count = len(phases)
    counted = np.bincount(throw_hole * count * 3 + throw_code, minlength=holes * count * 3)
    by_hole = counted.reshape(holes, count, 3)
    by_round = np.zeros((rounds, count, 3), dtype=np.int64)
    np.add.at(by_round, hole_round, by_hole)
    score, par, penalty = hole_values.T
    throw_phase = throw_code // 3
    history = History(
        heads=tuple(heads),
        misses=by_round[:, :, MISS],
        clean=by_round[:, :, CLEAN],
        unmarked=by_round[:, :, UNMARKED],
        hole_round=hole_round,
        hole_number=hole_number,
        hole_score=score,
        hole_par=par,
        hole_penalty=penalty,
        hole_misses=by_hole[:, :, MISS],
        hole_unmarked=by_hole[:, :, UNMARKED].sum(axis=1),
        throw_hole=throw_hole,
        throw_phase=throw_phase,
        throw_execution=throw_code % 3,
        throw_left=np.full(len(throw_code), -1, dtype=np.int64),
        throw_holed=throw_holed,
        throw_distance_m=throw_distance,
        throw_straddle=throw_straddle,
        notes=tuple(notes),
        hole_length_m=np.empty(0) if hole_length is None else hole_length,
        phases=phases,
        columns=columns if columns is not None and len(columns) else _usual_columns(phases, rounds),
        declared=np.zeros(rounds, dtype=bool) if declared is None else declared,
    )
    return replace(history, throw_left=_left_of(history, throw_place))


def _usual_columns(phases: tuple[Phase, ...], rounds: int) -> Ints:
    return np.tile(np.array([len(phase.columns) for phase in phases], dtype=np.int64), (rounds, 1))


def _left_of(history: History, throw_place: Ints) -> Ints:
    """Return the throws that the hole still took after each throw, -1 where that is unknown.

    A hole's score is its throws and its penalty throws (808.D). After the throw in place k it took score - k
    more; a penalty, wherever on the hole it fell, is counted after drives and approaches, not after putts. A
    hole may have had more throws than are known one by one: then the places of a drive and of the approaches
    that follow it are still sure, those of putts are not. Where several phases lie between tee and target,
    the throws of one are sure where no earlier one has filled its columns, so that nothing hides before it.
    """
    score, penalty = history.hole_score, history.hole_penalty
    throw_hole, throw_phase = history.throw_hole, history.throw_phase
    holes = len(score)
    thrown = np.bincount(throw_hole, minlength=holes)
    putt = throw_phase == history.putt
    whole = thrown + np.nan_to_num(penalty) == score
    # Throws stand in order, so the hole's first throw tells whether approaches are counted from the tee.
    starts = np.zeros(holes, dtype=bool)
    starts[throw_hole[(throw_place == 1) & (throw_phase == history.tee)]] = True
    follows = np.zeros(len(throw_phase), dtype=bool)
    known, hides_before = known_by_hole(history), np.zeros(holes, dtype=bool)
    for k in history.between:
        follows |= (throw_phase == k) & ~hides_before[throw_hole]
        hides_before |= known[:, k] >= history.columns[history.hole_round, k]
    sure = np.where(putt, whole[throw_hole], ~np.isnan(score)[throw_hole])
    sure &= whole[throw_hole] | (starts[throw_hole] & (follows | (throw_place == 1)))
    sure |= (throw_place == 1) & ~np.isnan(score)[throw_hole]
    left = (
        np.nan_to_num(score)[throw_hole] - throw_place - np.where(putt, np.nan_to_num(penalty)[throw_hole], 0)
    )
    return np.where(sure & (left >= 0), left, -1).astype(np.int64)


def bare_throws(history: History) -> NDArray[np.int64]:
    """Return throws without a mark by round and phase, (R, P), those that only a score tells of included.

    A finished hole has a putt, and but for aces and holed approaches an approach; a throw beyond the columns
    of approaches is no forgotten mark. Where several phases lie between tee and target a hole need not have
    had a throw of each: then it had one of any, which is counted for the last of them.
    """
    count = len(history.phases)
    known = known_by_hole(history)
    holes = len(known)
    thrown = history.hole_score - np.nan_to_num(history.hole_penalty)
    hidden = np.nan_to_num(thrown - known.sum(axis=1), nan=0.0)
    hidden = np.maximum(hidden, 0).astype(np.int64)
    bare = np.zeros((holes, count), dtype=np.int64)
    between = list(history.between)
    for phases in ([history.putt] if history.putt != NO_PHASE else [], between):
        if phases:
            here = (hidden > 0) & (known[:, phases].sum(axis=1) == 0)
            bare[here, phases[-1]] += 1
            hidden = hidden - here
    # What is left has no sure place: a putt after the last one marked, unless the approach columns are full.
    left = hidden > 0
    if history.putt != NO_PHASE:
        bare[left & ~columns_are_full(history, known), history.putt] += 1
    by_round = np.zeros((history.rounds, count), dtype=np.int64)
    np.add.at(by_round, history.hole_round, bare)
    return by_round + history.unmarked


def known_by_hole(history: History) -> Ints:
    """Return the throws that are known one by one, by hole and phase, (H, P)."""
    holes, count = len(history.hole_round), len(history.phases)
    found = np.bincount(history.throw_hole * count + history.throw_phase, minlength=holes * count)
    return np.asarray(found.reshape(holes, count), dtype=np.int64)


def columns_are_full(history: History, known: Ints) -> NDArray[np.bool_]:
    """Say of each hole whether a phase between tee and target has no column left for a further throw.

    `known` are the throws of each hole by phase, (H, P).
    """
    between = list(history.between)
    room = history.columns[history.hole_round][:, between]
    return np.asarray((known[:, between] >= room).any(axis=1))


def only_misses(history: History) -> NDArray[np.bool_]:
    """Say of each round whether only its misses are marked: that makes counts, no rates and no results.

    Either its card declares it, or hardly a mark is clean while many throws have none.
    """
    marked, clean = history.marked.sum(axis=1), history.clean.sum(axis=1)
    bare = bare_throws(history).sum(axis=1)
    few = clean <= ONLY_MISSES_CLEAN * marked
    seen = (marked > 0) & few & (bare >= ONLY_MISSES_BARE * (marked + bare))
    return np.asarray(seen | history.declared[: history.rounds])


def first_throws_known(history: History) -> NDArray[np.bool_]:
    """Say of each round whether the first throws of its holes are known as clean or missed.

    So they are on a card that declares its unmarked throws clean: a hole has one first throw.
    """
    return np.asarray(~only_misses(history) | history.declared[: history.rounds])


def rated(history: History) -> History:
    """Return the history that rates may be made of: rounds with only misses marked count as unmarked.

    But for first throws that a card declares.
    """
    bare = only_misses(history)
    if not bare.any():
        return history
    of_hole = bare[history.hole_round]
    rows = np.repeat(bare[:, None], len(history.phases), axis=1)
    if history.tee != NO_PHASE:
        rows[:, history.tee] = ~first_throws_known(history)
    of_throw = rows[history.hole_round[history.throw_hole], history.throw_phase]
    return replace(
        history,
        misses=np.where(rows, 0, history.misses),
        unmarked=history.unmarked + np.where(rows, history.misses + history.clean, 0),
        clean=np.where(rows, 0, history.clean),
        hole_unmarked=history.hole_unmarked + np.where(of_hole, history.hole_misses.sum(axis=1), 0),
        hole_misses=np.where(of_hole[:, None], 0, history.hole_misses),
        throw_execution=np.where(of_throw, UNMARKED, history.throw_execution),
    )


def results_known(history: History) -> NDArray[np.bool_]:
    """Say of each throw whether all results of its hole are known, in or not.

    Where more throws were made than are known one by one, the last known one may have dropped or not, while
    those before it certainly stayed out. Counting only these would count misses and leave out what went in;
    so would a card on which only misses are marked.
    """
    open_hole = np.zeros(len(history.hole_round), dtype=bool)
    open_hole[history.throw_hole[history.throw_holed < 0]] = True
    open_hole |= only_misses(history)[history.hole_round]
    return np.asarray(~open_hole[history.throw_hole])


def _head(played: Round, hand: str) -> RoundHead:
    wind, worst = _known(played.wind), _known(played.worst)
    return RoundHead(
        id=played.id,
        day=played.day,
        player=played.player,
        course=played.course,
        layout=played.layout,
        hand=hand,
        wind=str(wind) if wind is not None else None,
        worst=str(worst) if worst in played.phase_ids else None,
    )


def _note(at: int, hole: Hole, throw: Throw, hand: str, number: Mapping[str, int]) -> MissNote:
    cause = _known(throw.cause) if throw.cause is not None else None
    return MissNote(
        round=at,
        hole=hole.number,
        phase=number[throw.phase],
        directions=throw.directions,
        forehand=bool(throw.forehand),
        hand=hand,
        cause=str(cause) if cause is not None else None,
        words=throw.words,
        picture=throw.words_picture,
    )


def _known(value: Value) -> object:
    return value.value if value.status == "known" else None


def _numbers(values: list[Value]) -> Floats:
    """Return the numbers that are known, NaN for the others."""
    nan = float("nan")
    return np.array(
        [v.value if v.status == "known" and isinstance(v.value, int | float) else nan for v in values],
        dtype=float,
    )
