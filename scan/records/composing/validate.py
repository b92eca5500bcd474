"""What in a round does not hold, all of it at once, in words a player understands.

Only what is known is held against a round: a value that waits, or a throw that is unmarked, breaks no rule.
Three levels: "error" (the numbers contradict each other or the rules of the sport), "ask" (unusual: please
look), "fine" (allowed, worth knowing in an evaluation). A finding never stops a round from being kept: the
card is what the player wrote. Execution is never doubted: a clean throw may end badly, and a missed one may
hole out.

References
----------
Official Rules of Disc Golf: 808.D (scores), 802.05.B (teeing area), 806.01 (putting area), 807 (holing out),
811 (misplay). Ranges of par, length and distance are choices of this project.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from shortpencil.forms.causes import CAUSES
from shortpencil.forms.form import Form, Phase
from shortpencil.forms.rules import missed_in_english, throw_in_english
from shortpencil.scan.reading import Finding
from shortpencil.scan.records.composing.rounds import Hole, Round, Throw, is_day

#: 806.01: a throw from within 10 m of the target is a putt.
PUTTING_AREA_M = 10.0
#: 33 ft, written for 10 m, is 10.06 m: this near to the edge the player's own word is taken.
EDGE_M = 0.2
PUTT_M = (0.5, 30.0)
LENGTH_M = (25.0, 450.0)
USUAL_PAR, POSSIBLE_PAR = (3, 5), (2, 6)
HIGH_OVER_PAR, HIGH_SCORE = 6, 15
MOST_HOLES = 27
JUMP_STANCES = ("jump", "step")

ERROR, ASK, FINE = "error", "ask", "fine"


@dataclass(frozen=True, slots=True)
class RoundFinding(Finding):
    """A finding with its level: "error", "ask" or "fine"."""

    level: str = ASK


def validate(round_: Round, form: Form | None = None) -> tuple[RoundFinding, ...]:
    """Return everything in the round that does not hold or is worth a look, hole by hole, then the sums.

    Parameters
    ----------
    round_ : the round
    form : its form, where known; findings then name cells of the card, else fields
    """
    found = [*_date(round_)]
    only_misses = round_.only_misses  # throws without a mark are no gap then
    for hole in round_.holes:
        found += _hole(round_, hole, only_misses)
        for number, throw in enumerate(hole.throws, start=1):
            found += _throw(round_, hole, throw, number)
    found += [*_notes(round_), *_tallies(round_), *_total(round_)]
    if form is None:
        return tuple(found)
    cells = {field.id: field.cell_ids for field in form.fields}
    own_row = form.prefix + r"\1"

    def cells_of(field_ids: tuple[str, ...]) -> tuple[str, ...]:
        named = (re.sub(r"^h(\d\d)(?=\.)", own_row, field_id) for field_id in field_ids)
        return tuple(cell for field_id in named for cell in cells.get(field_id, ()))

    return tuple(RoundFinding(f.rule, cells_of(f.cells), f.says, f.level) for f in found)


def field_of(round_: Round, hole: Hole, throw: Throw) -> str:
    """Return the id of the field a throw is marked in, as in ``h07.putt2``.

    A throw beyond the columns of its phase is named as if there were one more.
    """
    same = [other.order for other in hole.throws if other.phase == throw.phase]
    return f"{_row(hole)}.{column_of(round_.phases, throw.phase, same.index(throw.order))}"


def column_of(phases: Iterable[Phase], phase: str, nth: int) -> str:
    """Return the column of a phase's nth throw on a hole, counted from 0; a tee has one column."""
    one = next((p for p in phases if p.id == phase), None)
    if one is None:
        return f"{phase}{nth + 1}"
    at = 0 if one.role == "tee" else nth
    return one.columns[at] if at < len(one.columns) else f"{phase}{at + 1}"


def _row(hole: Hole) -> str:
    return f"h{hole.number:02d}"


def _date(round_: Round) -> Iterator[RoundFinding]:
    day = round_.played_on
    cells = ("date.day", "date.month", "date.year")
    if day.value is None:
        if day.status == "known":
            yield RoundFinding("date", cells, "the date is not filled in", ASK)
    elif "?" in str(day.value):
        yield RoundFinding("date", cells, f"the date is only half filled in: {day.value}", ASK)
    elif not is_day(day.value):
        yield RoundFinding("date", cells, f"there is no day {day.value}", ERROR)
    elif round_.lies_ahead:
        yield RoundFinding("date", cells, f"the date {day.value} lies after the day it was read", ASK)


def _hole(round_: Round, hole: Hole, only_misses: bool) -> Iterator[RoundFinding]:
    name, row = f"hole {hole.number}", _row(hole)
    score, penalty, par = hole.score.known, hole.penalty.known, hole.par.known
    if hole.number > MOST_HOLES:
        yield RoundFinding(
            "hole-number", (f"{row}.score",), f"{name}: a course has up to {MOST_HOLES} holes", ERROR
        )
    if isinstance(par, int) and not USUAL_PAR[0] <= par <= USUAL_PAR[1]:
        level = ASK if par in POSSIBLE_PAR else ERROR
        yield RoundFinding("par", (f"{row}.par",), f"{name}: par {par} is unusual, most are 3 to 5", level)
    if hole.length_m is not None and not LENGTH_M[0] <= hole.length_m <= LENGTH_M[1]:
        says = f"{name}: {hole.length_m:g} m is an unusual length for a hole"
        yield RoundFinding("length", (f"{row}.score",), says, ASK)
    yield from _order(round_, hole)
    if not isinstance(score, int):
        return
    if score > HIGH_SCORE or (isinstance(par, int) and score > par + HIGH_OVER_PAR):
        yield RoundFinding(
            "high-score", (f"{row}.score",), f"{name}: a score of {score} is unusually high", ASK
        )
    if isinstance(penalty, int):
        yield from _throws_against_score(round_, hole, score, penalty, only_misses)


def _throws_against_score(
    round_: Round, hole: Hole, score: int, penalty: int, only_misses: bool
) -> Iterator[RoundFinding]:
    """Score = throws + penalty throws (808.D)."""
    name, row = f"hole {hole.number}", _row(hole)
    marked = [throw for throw in hole.throws if throw.execution.value != "unmarked"]
    cells = (f"{row}.score", f"{row}.penalty", *(field_of(round_, hole, throw) for throw in hole.throws))
    thrown = score - penalty
    if thrown < 1:
        says = f"{name}: a score of {score} with {_count(penalty, 'penalty throw')} leaves no throw"
        yield RoundFinding("throws", cells, says, ERROR)
        return
    if any(throw.execution.status != "known" for throw in hole.throws):
        return
    if thrown == 1 and len(hole.throws) > 1:
        says = f"{name}: a score of 1 is an ace, but more than {_the_first(round_)} is marked"
        yield RoundFinding("ace", cells, says, ERROR)
    elif len(hole.throws) > thrown:
        parts = f"{_count(len(hole.throws), 'throw')} marked"
        if penalty:
            parts += f" and {_count(penalty, 'penalty throw')}"
        yield RoundFinding("throws", cells, f"{name}: {parts}, but the score says {score}", ERROR)
    elif marked and not only_misses and len(hole.throws) < thrown and not _columns_are_full(round_, hole):
        says = f"{name}: a score of {score} means {_count(thrown, 'throw')}, but {len(hole.throws)} marked"
        yield RoundFinding("throws", cells, says, ASK)
    if penalty > thrown:
        says = f"{name}: {_count(penalty, 'penalty throw')} for {_count(thrown, 'throw')} is unusual"
        yield RoundFinding("penalties", (f"{row}.penalty",), says, ASK)


def _the_first(round_: Round) -> str:
    return f"the {round_.tee}" if round_.tee else "one throw"


def _columns_are_full(round_: Round, hole: Hole) -> bool:
    """Say whether the card had no room for another throw of some phase that may have several."""
    phases = [throw.phase for throw in hole.throws]
    return any(phases.count(phase.id) >= len(phase.columns) for phase in round_.phases if phase.role != "tee")


def _order(round_: Round, hole: Hole) -> Iterator[RoundFinding]:
    """First a drive (802.05.B); the last throw, and no other, holes out (807)."""
    tee = round_.tee
    name = f"hole {hole.number}"
    phases = [throw.phase for throw in hole.throws]
    if tee and phases and phases[0] != tee:
        says = f"{name}: the first throw of a hole is {_a(tee)}, here it is {_a(phases[0])}"
        yield RoundFinding("first-throw", (field_of(round_, hole, hole.throws[0]),), says, ERROR)
    if tee in phases[1:] and not hole.penalty.known:
        says = f"{name}: a second {tee} is thrown only after a penalty, none is marked"
        yield RoundFinding("first-throw", (f"{_row(hole)}.penalty",), says, ASK)
    for throw, following in pairwise(hole.throws):
        if throw.holed:
            says = f"{name}: throw {throw.order} holed out, but throw {following.order} follows"
            yield RoundFinding("holed", (field_of(round_, hole, throw),), says, ERROR)
    score, penalty = hole.score.known, hole.penalty.known
    complete = isinstance(score, int) and isinstance(penalty, int) and len(hole.throws) == score - penalty
    if complete and hole.throws and hole.throws[-1].holed is False:
        says = f"{name}: the hole has a score, but its last throw did not hole out"
        yield RoundFinding("holed", (field_of(round_, hole, hole.throws[-1]),), says, ERROR)


def _throw(round_: Round, hole: Hole, throw: Throw, number: int) -> Iterator[RoundFinding]:
    name = f"hole {hole.number}, throw {number}"
    at = field_of(round_, hole, throw)
    cause = throw.cause.known if throw.cause else None
    if (cause or throw.directions) and throw.execution.known in ("clean", "unmarked"):
        cause = CAUSES.get(str(cause), cause)
        noted = f"cause ({cause})" if cause else f"direction ({', '.join(throw.directions)})"
        says = f"{name}: it has a {noted}, but it is not marked as a miss"
        yield RoundFinding("cause-without-miss", (at, f"{_row(hole)}.why"), says, ASK)
    distance_m = throw.distance_m
    if distance_m is None:
        return
    written = f"{throw.distance.known:g} {round_.unit}" if throw.distance else f"{distance_m:g} m"
    cells = (f"{at}.distance",)
    putt = next((phase.id for phase in round_.phases if phase.role == "target"), None)
    if throw.phase == putt and not PUTT_M[0] <= distance_m <= PUTT_M[1]:
        yield RoundFinding("distance", cells, f"{name}: {_a(putt)} from {written} is unusual", ASK)
    if putt is None:
        return
    stance = throw.stance.known if throw.stance else None
    if stance in JUMP_STANCES and distance_m <= PUTTING_AREA_M:
        says = f"{name}: a {stance} putt is allowed only beyond 10 m, here it is {written}"
        yield RoundFinding("jump-putt", (f"{at}.stance", *cells), says, ASK)
    if abs(distance_m - PUTTING_AREA_M) <= EDGE_M and round_.unit == "ft":
        says = f"{name}: {written} is at the edge of the putting area; it counts as {_a(throw.phase)}"
        yield RoundFinding("edge", cells, says, FINE)
    elif throw.phase not in (putt, round_.tee) and distance_m <= PUTTING_AREA_M:
        says = f"{name}: from {written} it is a putt by the rules, here it is {_a(throw.phase)}"
        yield RoundFinding("close-approach", cells, says, ASK)
    elif throw.phase == putt and distance_m > PUTTING_AREA_M:
        says = f"{name}: a putt from {written} is beyond the putting area and counted apart"
        yield RoundFinding("far-putt", cells, says, FINE)


def _notes(round_: Round) -> Iterator[RoundFinding]:
    """Notes of the second pass that belong to no throw; nothing to say while the worst phase waits."""
    if round_.worst.status != "known":
        return
    for hole in round_.holes:
        number = f"{hole.number:02d}"
        cells = tuple(name for name in round_.notes if name.partition(".")[0].endswith(number))
        if cells and not any(throw.execution.status != "known" for throw in hole.throws):
            worst = str(round_.worst.value or "")
            one = throw_in_english(worst, _label(round_, worst))
            missing = f"missed {one}" if worst else "phase marked as the worst"
            says = f"hole {hole.number}: it has notes on a miss, but there is no {missing}"
            yield RoundFinding("cause-without-miss", cells, says, ASK)


def _tallies(round_: Round) -> Iterator[RoundFinding]:
    for phase in round_.phase_ids:
        written = round_.tallies[phase].known if phase in round_.tallies else None
        throws = [(hole, throw) for hole in round_.holes for throw in hole.throws if throw.phase == phase]
        if not isinstance(written, int) or any(throw.execution.status != "known" for _, throw in throws):
            continue
        missed = sum(throw.execution.known == "miss" for _, throw in throws)
        if missed != written:
            cells = (f"tally.{phase}", *(field_of(round_, hole, throw) for hole, throw in throws))
            counted = missed_in_english(written, phase, _label(round_, phase))
            says = f"you counted {counted}, the marks show {missed}"
            yield RoundFinding(f"tally.{phase}", cells, says, ERROR)


def _total(round_: Round) -> Iterator[RoundFinding]:
    written = round_.total.known
    played = [hole for hole in round_.holes if hole.throws or hole.score.value is not None]
    scores = [hole.score.known for hole in played]
    if not isinstance(written, int) or not scores or not all(isinstance(score, int) for score in scores):
        return
    total = sum(int(score or 0) for score in scores)
    if total != written:
        cells = ("total", *(f"{_row(hole)}.score" for hole in played))
        yield RoundFinding("total", cells, f"your holes add up to {total}, your total says {written}", ERROR)


def _count(number: int, noun: str) -> str:
    if number == 1:
        return f"1 {noun}"
    return f"{number} {noun}s"


def _label(round_: Round, phase: str) -> str:
    """Return what the form of a round calls one of its phases."""
    return next((known.label for known in round_.phases if known.id == phase), phase)


def _a(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"
