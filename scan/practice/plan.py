"""What fits the minutes: a warm-up, one cue in a short block, then mixed, then a test of ten.

The order follows what is known: a short block first to get the feel, then mixed, which *may* help it last
(laboratory studies say yes, studies in sport hardly); one thing at a time; the same test again at the start
of the next session, since what is there a day later is what was learnt. Drills are data, `drills.toml`,
which a player may replace. Limits and cautions are part of the plan, not of the page it is printed on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Any

import numpy as np

from forms.errors import InputError
from forms.files import parsed_toml
from forms.rules import PHASES
from forms.shown import found
from scan.practice import words
from scan.practice.focus import Focus

LEAST_MINUTES, MOST_MINUTES = 10, 120
TEST_TRIES = 10
UNKNOWN_CAUSE = "other"
BOXES = ("warm-up", "block", "mixed", "test")

#: What the boxes are called in print.
BOX_WORDS = {"warm-up": "warm-up", "block": "one cue", "mixed": "mixed", "test": "test"}


@dataclass(frozen=True, slots=True)
class Drill:
    """One thing to do with a count; `seconds` is the time of one try."""

    id: str
    causes: tuple[str, ...]
    phases: tuple[str, ...]
    box: str
    title: str
    how: str
    cue: str
    sets: int
    tries: int
    seconds: int
    counts: str
    full_power: bool
    caution: str | None
    distances_m: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Limits:
    """Most throws of a session, and most of these at full power."""

    throws: int = 60
    full_power: int = 20

    def halved(self) -> Limits:
        """Return the limits for a player under 16."""
        return Limits(self.throws // 2, self.full_power // 2)


@dataclass(frozen=True, slots=True)
class DrillList:
    """The drills, the tests, the limits, and how minutes are divided."""

    drills: tuple[Drill, ...]
    tests: tuple[Drill, ...]
    limits: Limits
    boxes: tuple[tuple[int, tuple[float, float, float, float]], ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One box of the session: minutes, and a drill with the tries that fit them."""

    box: str
    minutes: int
    drill: Drill | None
    sets: int = 0
    tries: int = 0

    @property
    def throws(self) -> int:
        return self.sets * self.tries

    @property
    def amount(self) -> str:
        """Sets and tries, as in ``2 × 10``."""
        return f"{self.sets} × {self.tries}" if self.sets > 1 else str(self.tries)


@dataclass(frozen=True, slots=True)
class Aim:
    """What to reach in the test of ten, and what the present rate would bring anyway.

    `usual` are the counts that the present rate brings in four tests of five; None where nothing is known.
    """

    count: int
    of: int
    counts: str
    usual: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class Plan:
    """One session."""

    minutes: int
    phase: str
    cause: str | None
    cue: str
    steps: tuple[Step, ...]
    aim: Aim
    limits: Limits
    cautions: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def throws(self) -> int:
        return sum(step.throws for step in self.steps)

    def step(self, box: str) -> Step:
        """Return the step of that box."""
        return next(s for s in self.steps if s.box == box)


def drills_from_toml(text: str, source: str) -> DrillList:
    """Return the drill list that a TOML text holds.

    Raises
    ------
    InputError
        naming the drill and the key that is not what it must be
    """
    data = parsed_toml(text, source, "a drill list")
    drills = tuple(_drill(item, source, box=None) for item in _tables(data, "drill", source))
    tests = tuple(_drill(item, source, box="test") for item in _tables(data, "test", source))
    for phase in PHASES:
        for wanted, among in (("[[drill]]", drills), ("[[test]]", tests)):
            if not any(phase in d.phases for d in among):
                raise InputError(
                    f"{source}: expected at least one {wanted} for the phase {phase!r}, found none. Add one."
                )
    limits = data.get("limits", {})
    if not isinstance(limits, dict):
        raise InputError(f"{source}: expected a table [limits], found {found(limits)}.")
    return DrillList(
        drills,
        tests,
        Limits(
            _whole(limits, "throws", 60, 1, 500, source, "[limits]"),
            _whole(limits, "full_power", 20, 0, 500, source, "[limits]"),
        ),
        _boxes(_tables(data, "boxes", source), source),
    )


def plan_of(
    focus: Focus, minutes: int, drills: DrillList, *, under_16: bool = False, success: float | None = None
) -> Plan:
    """Return a session of `minutes` for the focus.

    Parameters
    ----------
    focus : what to practise
    minutes : from `LEAST_MINUTES` to `MOST_MINUTES`
    under_16 : halves the limits
    success : chance of one try of the test as things stand, if better known than by the rate of clean throws
    """
    if not LEAST_MINUTES <= minutes <= MOST_MINUTES:
        raise InputError(
            f"expected {LEAST_MINUTES} to {MOST_MINUTES} minutes for a session, found {minutes}. "
            "For more, split it over two days: separate days serve better."
        )
    limits = drills.limits.halved() if under_16 else drills.limits
    lead = focus.causes.leading
    cause = lead.id if lead else None
    block = _find(drills.drills, "block", focus.phase, cause)
    mixed = _find(drills.drills, "mixed", focus.phase, cause)
    test = next(d for d in drills.tests if focus.phase in d.phases)
    share = _divide(minutes, drills.boxes, test)
    steps = _within(
        (
            Step("warm-up", share[0], None),
            _fill("block", share[1], block),
            _fill("mixed", share[2], mixed),
            Step("test", share[3], test, 1, TEST_TRIES),
        ),
        limits,
    )
    return Plan(
        minutes=minutes,
        phase=focus.phase,
        cause=cause,
        cue=block.cue or block.title.lower(),
        steps=steps,
        aim=_aim(focus, test, success),
        limits=limits,
        cautions=tuple(dict.fromkeys(d.caution for d in (block, mixed, test) if d.caution)) + words.CAUTIONS,
        notes=_notes(focus, cause, block, limits),
    )


def _notes(focus: Focus, cause: str | None, block: Drill, limits: Limits) -> tuple[str, ...]:
    notes = []
    if cause is None:
        notes.append("No cause is noted for this phase yet: this session is for looking. Write what you see.")
    elif cause not in block.causes:
        notes.append(
            f"The drill list has none for this cause ({focus.causes.causes[0].words}) in this phase; "
            "add one to your own list (--drills)."
        )
    elif focus.causes.level == "not settled":
        notes.append("The cause is not settled; treat this session as a try, and keep marking causes.")
    notes.append(
        "Repeat the test of ten at the start of the next session, on another day, before anything else."
    )
    notes.append("Mixing distances may help it last; studies in sport found little difference either way.")
    notes.append(
        f"At most {limits.throws} throws a session, {limits.full_power} of them at full power, "
        "and no two full-power days running."
    )
    return tuple(notes)


def _find(drills: Sequence[Drill], box: str, phase: str, cause: str | None) -> Drill:
    """Return the drill for that cause and phase; else the one for looking; else any of the phase."""
    fitting = [d for d in drills if d.box == box and phase in d.phases]
    for wanted in (cause, UNKNOWN_CAUSE):
        for drill in fitting:
            if wanted in drill.causes:
                return drill
    return (fitting or [d for d in drills if phase in d.phases])[0]


def _divide(
    minutes: int, boxes: Sequence[tuple[int, tuple[float, float, float, float]]], test: Drill
) -> list[int]:
    """Return whole minutes of the four boxes, interpolated between the listed lengths; they sum to all.

    A test that takes longer than its box takes the rest from the mixed box.
    """
    lengths = [length for length, _ in boxes]
    inside = min(max(minutes, lengths[0]), lengths[-1])
    shares = np.array([np.interp(inside, lengths, [b[i] for _, b in boxes]) for i in range(4)])
    exact = shares / shares.sum() * minutes
    # The warm-up does not grow with the session for ever; what it leaves goes to the mixed box.
    exact[2] += max(0.0, exact[0] - 10)
    exact[0] = min(exact[0], 10.0)
    whole = np.floor(exact).astype(int)
    for i in np.argsort(whole - exact, kind="stable")[: minutes - int(whole.sum())]:
        whole[i] += 1
    short = min(ceil(TEST_TRIES * test.seconds / 60) - int(whole[3]), int(whole[2]) - 2)
    if short > 0:
        whole[2], whole[3] = whole[2] - short, whole[3] + short
    return [int(w) for w in whole]


def _fill(box: str, minutes: int, drill: Drill) -> Step:
    """Return the sets of `drill` that fit the minutes, at least one, shortened if one set is too long."""
    fit = minutes * 60 // drill.seconds
    if fit < drill.tries:
        return Step(box, minutes, drill, 1, max(fit, 3))
    return Step(box, minutes, drill, min(fit // drill.tries, drill.sets + 1), drill.tries)


def _within(steps: tuple[Step, ...], limits: Limits) -> tuple[Step, ...]:
    """Take tries away, from the mixed box first, then the block, then the test, until the limits hold."""
    result = list(steps)

    def over(full: bool) -> int:
        among = [s for s in result if s.drill is not None and (s.drill.full_power or not full)]
        return sum(s.throws for s in among) - (limits.full_power if full else limits.throws)

    for full in (True, False):
        for i in (2, 1, 3):
            step = result[i]
            excess = over(full)
            if excess <= 0 or step.drill is None or (full and not step.drill.full_power):
                continue
            keep = max(step.throws - excess, min(5, step.throws))
            sets = max(1, keep // step.tries)
            result[i] = replace(step, sets=sets, tries=step.tries if keep >= step.tries else keep)
    return tuple(result)


def _aim(focus: Focus, test: Drill, success: float | None) -> Aim:
    """Aim one better than the present rate would bring on average, at most all."""
    from scipy.special import bdtr

    clean = 1 - focus.chosen.recent.interval.middle
    p = clean if success is None else success
    if np.isnan(p):
        return Aim(7, TEST_TRIES, test.counts, None)
    below = np.array([float(bdtr(k, TEST_TRIES, p)) for k in range(TEST_TRIES + 1)])
    low, high = int(np.searchsorted(below, 0.1)), int(np.searchsorted(below, 0.9))
    return Aim(min(TEST_TRIES, int(np.floor(TEST_TRIES * p)) + 1), TEST_TRIES, test.counts, (low, high))


def _drill(item: Mapping[str, Any], source: str, box: str | None) -> Drill:
    name = item.get("id")
    if not isinstance(name, str) or not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name):
        # the practice card makes field ids of it
        raise InputError(
            f"{source}: expected an id like 'ten-putts' for each drill and test, found {found(name)}."
        )

    def text(key: str, needed: bool = True) -> str:
        value = item.get(key, "")
        if not isinstance(value, str) or (needed and not value.strip()):
            raise InputError(f"{source}, {name}: expected a text for {key!r}, found {found(value)}.")
        return value

    def texts(key: str, allowed: Sequence[str] | None = None) -> tuple[str, ...]:
        value = item.get(key)
        good = isinstance(value, list) and value and all(isinstance(v, str) for v in value)
        if not good or (allowed is not None and any(v not in allowed for v in value or ())):
            hint = f" from {', '.join(allowed)}" if allowed else ""
            raise InputError(
                f"{source}, {name}: expected a list of texts{hint} for {key!r}, found {found(value)}."
            )
        return tuple(value or ())

    where = box or text("box")
    if where not in ("block", "mixed", "test"):
        raise InputError(f"{source}, {name}: expected 'block' or 'mixed' for 'box', found {found(where)}.")
    return Drill(
        id=name,
        causes=() if where == "test" else texts("causes"),
        phases=texts("phases", PHASES),
        box=where,
        title=text("title"),
        how=text("how"),
        cue=text("cue", needed=False),
        sets=1 if where == "test" else _whole(item, "sets", 1, 1, 10, source, name),
        tries=TEST_TRIES if where == "test" else _whole(item, "tries", 10, 1, 40, source, name),
        seconds=_whole(item, "seconds", 20, 5, 300, source, name),
        counts=text("counts"),
        full_power=bool(item.get("full_power", False)),
        caution=text("caution", needed=False) or None,
        distances_m=_distances(item, f"{source}, {name}"),
    )


def _distances(item: Mapping[str, Any], where: str) -> tuple[float, ...]:
    value = item.get("distances_m", [])
    if not isinstance(value, list) or not all(_is_number(d, 0, 300) for d in value):
        raise InputError(f"{where}: expected a list of metres for 'distances_m', found {found(value)}.")
    return tuple(float(d) for d in value)


def _boxes(items: Any, source: str) -> tuple[tuple[int, tuple[float, float, float, float]], ...]:
    boxes = []
    for item in items:
        minutes, parts = item.get("minutes"), item.get("boxes")
        fits = isinstance(parts, list) and len(parts) == 4 and all(_is_number(p, 0, 600) for p in parts)
        if not fits or not _is_number(minutes, 1, 600) or sum(parts) != minutes:
            raise InputError(
                f"{source}: expected [[boxes]] with four numbers that sum to its minutes "
                f"({', '.join(BOXES)}), found {found(parts)} for {found(minutes)}."
            )
        boxes.append((int(minutes), (float(parts[0]), float(parts[1]), float(parts[2]), float(parts[3]))))
    return tuple(sorted(boxes)) or ((20, (4.0, 8.0, 6.0, 2.0)),)


def _tables(data: Mapping[str, Any], key: str, source: str) -> list[Mapping[str, Any]]:
    value = data.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise InputError(f"{source}: expected a list of tables [[{key}]], found {found(value)}.")
    return value


def _is_number(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


def _whole(
    table: Mapping[str, Any], key: str, default: int, low: int, high: int, source: str, where: str
) -> int:
    value = table.get(key, default)
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise InputError(
            f"{source}, {where}: expected a whole number from {low} to {high} for {key!r}, "
            f"found {found(value)}."
        )
    return value
