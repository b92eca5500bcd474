"""What fits the minutes: a warm-up, one cue in a short block, then mixed, then a test of ten.

More minutes than the throws of one session need are not filled with more of the same: there are breaks, work
without a disc, and a walk. A session of less than ten minutes is for throws alone and begins warm. Distances
are the player's own, from where half to four fifths of putts drop, in the unit of the card.

The order follows what is known: a short block first to get the feel, then mixed, which *may* help it last
(laboratory studies say yes, studies in sport hardly); one thing at a time; the same test again at the start
of the next session, since what is there a day later is what was learnt. Drills are data, `drills.toml`,
which a player may replace. Limits and cautions are part of the plan, not of the page it is printed on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import ceil
from typing import Any

import numpy as np

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import parsed_toml
from shortpencil.forms.form_check import PHASE_ID
from shortpencil.forms.rules import FIELD_SHEET, LADDER_SHEET, PHASES
from shortpencil.forms.shown import found
from shortpencil.forms.units import M_PER_FOOT
from shortpencil.scan.language import ENGLISH, N_, _, pgettext, spoken
from shortpencil.scan.language.numbers import localized
from shortpencil.scan.practice import words
from shortpencil.scan.practice.causes import LIKELY, UNKNOWN_CAUSE, WAYS, Causes, way_said
from shortpencil.scan.practice.focus import Focus
from shortpencil.scan.practice.putting import Curve

LEAST_MINUTES, MOST_MINUTES = 5, 120
TEST_TRIES = 10
BOXES = ("warm-up", "block", "mixed", "test")

#: What the boxes are called in print.
BOX_WORDS = words.Spoken(
    {
        "warm-up": N_("warm-up"),
        "again": N_("test again"),
        "block": N_("one cue"),
        "break": N_("break"),
        "dry": N_("no disc"),
        "mixed": N_("mixed"),
        "test": N_("test"),
        "walk": N_("walk"),
    }
)

#: What to do in the boxes that have no drill.
_WITHOUT_DRILL = words.Spoken(
    {
        "warm-up": N_("Walk, swing, then throws at half power."),
        "break": N_("Sit down, drink, loosen hand and shoulder."),
        "dry": N_(
            "Slow swings with the one cue, eyes on a line; say line, height and disc aloud, as on a tee."
        ),
        "walk": N_("Walk some holes and throw nothing: choose line and disc for each, and write them down."),
    }
)

#: The warm-up that every plan asks for; shorter sessions than `WARM_INSIDE` have it before they begin.
WARM_UP_MINUTES, WARM_INSIDE = 5, 10
#: From so many minutes on the last test of the phase is repeated first, where the limits leave room for it.
AGAIN_MINUTES = 20
#: A throw takes up to this many times its own seconds, with the rests between sets; more time is not filled.
_UNHURRIED = 2.0
_DRY_MINUTES, _BREAK_MINUTES = 15, 10

#: Chances of holing between which a ladder of putts lies: hard enough to learn from, easy enough to like.
LADDER = (0.8, 0.5)
LADDER_STEPS = 4
#: Rungs that a sheet of a ladder has.
LADDER_RUNGS = 10
_USUAL_LADDER_M = (5.0, 6.0, 7.0, 8.0)
_LADDER_WITHIN_M = (2.0, 15.0)


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
    ways: tuple[str, ...] = ()
    stations: int = 1  # tries come in multiples of these


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
    def says(self) -> str:
        """What to do, in a sentence."""
        return _WITHOUT_DRILL[self.box] if self.drill is None else self.drill.how

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
class Target:
    """What a session is for: the phase, what is known of causes and ways, the share of clean throws."""

    phase: str
    causes: Causes
    clean: float


def target_of(focus: Focus) -> Target:
    """Return the focus itself as what to practise."""
    return Target(focus.phase, focus.causes, 1 - focus.chosen.recent.interval.middle)


@dataclass(frozen=True, slots=True)
class Plan:
    """One session."""

    minutes: int
    about: Target
    cause: str | None
    cue: str
    steps: tuple[Step, ...]
    aim: Aim
    limits: Limits
    cautions: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def phase(self) -> str:
        return self.about.phase

    @property
    def throws(self) -> int:
        return sum(step.throws for step in self.steps)

    @property
    def length(self) -> str:
        """Minutes and throws in words; of a short session, that the warm-up comes before it."""
        if any(step.box == "warm-up" for step in self.steps):
            return _("{minutes} minutes, {throws} throws", minutes=self.minutes, throws=self.throws)
        return _(
            "{minutes} minutes after a warm-up, {throws} throws", minutes=self.minutes, throws=self.throws
        )

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
    for phase in PHASES:  # the game of most cards; another one's phases may have some, too
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
    about: Focus | Target,
    minutes: int,
    drills: DrillList,
    *,
    under_16: bool = False,
    success: float | None = None,
    curve: Curve | None = None,
    unit: str = "m",
    repeat: bool = False,
) -> Plan:
    """Return a session of `minutes`.

    Parameters
    ----------
    about : what to practise
    minutes : from `LEAST_MINUTES` to `MOST_MINUTES`
    under_16 : halves the limits
    success : chance of one try of the test as things stand, if better known than by the rate of clean throws
    curve : the player's own chance of holing by distance, for the ladder
    unit : of the distances in the texts, "m" or "ft"
    repeat : the player did a test of this phase before, to be repeated first; nobody's first session has one
    """
    target = about if isinstance(about, Target) else target_of(about)
    if not LEAST_MINUTES <= minutes <= MOST_MINUTES:
        raise InputError(
            f"expected {LEAST_MINUTES} to {MOST_MINUTES} minutes for a session, found {minutes}. "
            "For more, split it over two days: separate days serve better."
        )
    limits = drills.limits.halved() if under_16 else drills.limits
    lead = target.causes.leading
    cause = lead.id if lead and lead.id != UNKNOWN_CAUSE else None
    way = leading_way(target.causes)
    ladder = ladder_of(curve, unit)
    if has_drills(drills, target.phase):
        found_for = (
            _find(drills.drills, "block", target.phase, cause, way),
            _find(drills.drills, "mixed", target.phase, cause, way),
            next(d for d in drills.tests if target.phase in d.phases),
        )
    else:
        found_for = general_drills(target.phase)
    block, mixed, test = (_in_unit(drill, ladder, unit) for drill in found_for)
    again = repeat and minutes >= AGAIN_MINUTES and _room_for_two(test, limits)
    steps = _steps(minutes, drills.boxes, block, mixed, test, limits, again)
    return Plan(
        minutes=minutes,
        about=target,
        cause=cause,
        cue=block.cue or (block.title.lower() if spoken() == ENGLISH else block.title),
        steps=steps,
        aim=_aim(target, test, success),
        limits=limits,
        cautions=tuple(dict.fromkeys(d.caution for d in (block, mixed, test) if d.caution))
        + tuple(words.cautions()),
        notes=_notes(target, cause, way, block, limits, minutes, steps),
    )


def has_drills(drills: DrillList, phase: str) -> bool:
    """Say whether a list has a drill and a test for a phase."""
    return all(any(phase in d.phases for d in listed) for listed in (drills.drills, drills.tests))


def leading_way(causes: Causes) -> str | None:
    """Return the way that misses of the phase likely go most often, or None."""
    lead = causes.ways[0] if causes.ways else None
    return lead.id if lead and lead.count and lead.p_leads >= LIKELY else None


def rungs_of(curve: Curve, unit: str) -> tuple[int, ...]:
    """Return whole distances in `unit` for a putting ladder, from where four fifths drop to where half do.

    Every metre, or every three feet; as many as a ladder has rungs at most.
    """
    near, far = _reach(curve)
    step, in_unit = (1, 1.0) if unit == "m" else (3, M_PER_FOOT)
    return tuple(range(round(near / in_unit), round(far / in_unit) + 1, step))[:LADDER_RUNGS]


def _reach(curve: Curve) -> tuple[float, float]:
    """Return from where four fifths of a player's putts drop, and from where half do, within limits, m."""
    # the chance falls with distance; np.interp wants what it looks along to rise
    near, far = map(float, np.interp(LADDER, curve.middle[::-1], curve.distance_m[::-1]))
    low, high = _LADDER_WITHIN_M
    near = min(max(near, low), high - 2.0)
    return near, min(max(far, near + 2.0), high)


def ladder_of(curve: Curve | None, unit: str) -> tuple[float, ...]:
    """Return distances in `unit` from where four fifths of the player's putts drop to where half do.

    Four of them, rounded to half metres or to feet, each once; the usual ones where no curve is known.
    """
    ends = (_USUAL_LADDER_M[0], _USUAL_LADDER_M[-1]) if curve is None else _reach(curve)
    if unit == "ft":
        every = [float(round(d / M_PER_FOOT)) for d in np.linspace(*ends, LADDER_STEPS)]
    else:
        every = [round(2 * float(d)) / 2 for d in np.linspace(*ends, LADDER_STEPS)]
    return tuple(dict.fromkeys(every))


def _in_unit(drill: Drill, ladder: Sequence[float], unit: str) -> Drill:
    """Return the drill in the language that is spoken, with the distances in its texts in the unit.

    Those are ``{4, 5 m}``, with a point for decimals in every language, and ``{ladder}``.
    """

    def told(match: re.Match[str]) -> str:
        inside = match.group(1)
        if inside == "ladder":
            whole = all(d.is_integer() for d in ladder)
            between = ", " if whole else pgettext("between the decimal numbers of a list", ", ")
            return f"{between.join(localized(f'{d:g}') for d in ladder)} {unit}"
        numbers = inside.removesuffix("m").rstrip()
        if unit == "ft":
            numbers = re.sub(r"[0-9.]+", lambda n: f"{_whole_feet(float(n.group()))}", numbers)
        return f"{localized(numbers)} {unit}"

    def put(text: str) -> str:
        # What a player's own list says is nobody's to translate, and is found in no catalogue.
        return re.sub(r"\{(ladder|[0-9][0-9., a-z]*m)\}", told, _(text)) if text else ""

    on_ladder = "{ladder}" in drill.title + drill.how
    return replace(
        drill,
        title=put(drill.title),
        how=put(drill.how),
        cue=put(drill.cue),
        counts=put(drill.counts),
        caution=put(drill.caution) if drill.caution else None,
        tries=len(ladder) * max(1, drill.tries // len(ladder)) if on_ladder else drill.tries,
        stations=len(ladder) if on_ladder else drill.stations,
    )


def titles_of(drills: DrillList, phases: Sequence[str], unit: str) -> dict[str, str]:
    """Return what each drill is called by its id: of the list, of the practice sheets, and what stands in.

    A ladder is called so without its distances, which follow from the player's putts of the day.
    """
    general = [drill for phase in phases for drill in general_drills(phase)]
    listed = [
        _in_unit(replace(drill, title=_(drill.title).replace("{ladder}", "").strip()), (), unit)
        for drill in (*drills.drills, *drills.tests)
    ]
    of_sheets = {LADDER_SHEET: _("Putting ladder"), FIELD_SHEET: _("Field-work session")}
    return {**of_sheets, **{drill.id: drill.title for drill in (*general, *listed)}}


def _whole_feet(metres: float) -> int:
    """Return whole feet, and from 40 ft on the nearest five: nobody paces 98 ft."""
    feet = metres / M_PER_FOOT
    return round(feet) if feet < 40 else 5 * round(feet / 5)


def _notes(
    target: Target,
    cause: str | None,
    way: str | None,
    block: Drill,
    limits: Limits,
    minutes: int,
    steps: Sequence[Step],
) -> tuple[str, ...]:
    notes = []
    many = words.MANY[target.phase]
    if minutes < WARM_INSIDE:
        notes.append(
            _(
                "Warm up {warm_up} minutes before you begin; these {minutes} minutes come after it.",
                warm_up=WARM_UP_MINUTES,
                minutes=minutes,
            )
        )
    if not block.causes:
        notes.append(
            _(
                "The drill list has nothing for {many}: these are general words. "
                "Add drills of your own (--drills).",
                many=many,
            )
        )
    if cause is None:
        notes.append(_cause_unknown(many, way if way in block.ways else None))
    elif block.causes and cause not in block.causes:
        notes.append(
            _(
                "The drill list has none for this cause ({cause}) in this phase; "
                "add one to your own list (--drills).",
                cause=target.causes.causes[0].words,
            )
        )
    elif target.causes.level == "not settled":
        notes.append(_("The cause is not settled; treat this session as a try, and keep marking causes."))
    notes.append(
        _(
            "The same test opens your next session of {many}, on another day: what is there then was learnt.",
            many=many,
        )
    )
    if any(step.box == "mixed" for step in steps):
        notes.append(
            _("Changing the throw may help it last; studies in sport found little difference either way.")
        )
    if any(step.box in ("dry", "walk") for step in steps):
        notes.append(
            _(
                "More minutes bring no more throws: a tired arm learns little. Two sessions on two days "
                "serve better than one of this length."
            )
        )
    notes.append(
        _(
            "At most {throws} throws a session, {full_power} of them at full power, "
            "and no two full-power days running.",
            throws=limits.throws,
            full_power=limits.full_power,
        )
    )
    return tuple(notes)


def _cause_unknown(many: str, way: str | None) -> str:
    """Return what to note next time, and why this drill was chosen meanwhile."""
    if way is None:
        return _(
            "Why your {many} miss is not known yet. Note the cause next time: after the next round write on "
            "the card which way and why each of the missed {many} went.",
            many=many,
        )
    return _(
        "Why your {many} miss is not known yet, but they mostly go {way}: hence this drill. Note the cause "
        "next time: after the next round write on the card which way and why each of the missed {many} "
        "went.",
        many=many,
        way=way_said(way),
    )


def aim_said(aim: Aim) -> str:
    """Return the aim in a sentence, and what the present rate would bring anyway."""
    said = _("Aim in the test: {count} of {of}.", count=aim.count, of=aim.of)
    return f"{said} {usual}" if (usual := usual_said(aim)) else said


def long_aim_said(aim: Aim) -> str:
    """Return the aim as `aim_said`, and what one test proves."""
    said = _("Aim in the test: {count} of {of}.", count=aim.count, of=aim.of)
    if aim.usual is None:
        return said
    low, high = aim.usual
    usual = _(
        "As things stand, four tests of five bring {low} to {high}, so one test proves little.",
        low=low,
        high=high,
    )
    return f"{said} {usual}"


def box_said(step: Step) -> str:
    """Return the minutes of a step and what its box is called, as in ``12 min one cue``."""
    return f"{step.minutes} min {BOX_WORDS[step.box]}"


def usual_said(aim: Aim) -> str:
    """Return what the present rate brings in the test, in a sentence; empty where nothing is known."""
    if aim.usual is None:
        return ""
    low, high = aim.usual
    return _("As things stand, four tests of five bring {low} to {high}.", low=low, high=high)


def _find(drills: Sequence[Drill], box: str, phase: str, cause: str | None, way: str | None = None) -> Drill:
    """Return the drill for that cause and phase; else for that way; else the one for looking; else any."""
    fitting = [d for d in drills if d.box == box and phase in d.phases]
    if cause is not None:
        for drill in fitting:
            if cause in drill.causes:
                return drill
    if cause is None and way is not None:
        for drill in fitting:
            if way in drill.ways:
                return drill
    for drill in fitting:
        if UNKNOWN_CAUSE in drill.causes:
            return drill
    return (fitting or [d for d in drills if phase in d.phases])[0]


def _room_for_two(test: Drill, limits: Limits) -> bool:
    """Say whether two tests leave as many throws to practise, and stay within full power."""
    tries = 2 * TEST_TRIES
    return limits.throws >= 2 * tries and (not test.full_power or limits.full_power >= tries)


def _steps(
    minutes: int,
    boxes: Sequence[tuple[int, tuple[float, float, float, float]]],
    block: Drill,
    mixed: Drill,
    test: Drill,
    limits: Limits,
    again: bool,
) -> tuple[Step, ...]:
    """Return the boxes of the session; their minutes sum to `minutes`."""
    opening = ceil(TEST_TRIES * test.seconds / 60) if again else 0
    warm, first, second, last = _divide(minutes - opening, boxes, test)
    tried = Step("test", last, test, 1, TEST_TRIES)
    opened = Step("again", opening, test, 1, TEST_TRIES) if again else None
    left = limits.throws - TEST_TRIES * (2 if again else 1)
    power = limits.full_power - (TEST_TRIES * (2 if again else 1) if test.full_power else 0)

    def fill(box: str, time: int, drill: Drill, share: float) -> Step | None:
        most = min(left, power) if drill.full_power else left
        return _fill(box, time, drill, int(most * share)) if time else None

    one = fill("block", first, block, 0.55 if second else 1.0)
    if one is not None:
        left -= one.throws
        power -= one.throws if block.full_power else 0
    two = fill("mixed", second, mixed, 1.0)
    steps = [Step("warm-up", warm, None) if warm else None, opened, one, two, tried]
    return _unhurried([step for step in steps if step is not None], minutes)


def _unhurried(steps: list[Step], minutes: int) -> tuple[Step, ...]:
    """Give the minutes that throws with their rests don't need to work without a disc, a break, a walk."""
    kept: list[Step] = []
    for step in steps:
        if step.drill is None:
            kept.append(step)
            continue
        need = ceil(_UNHURRIED * step.throws * step.drill.seconds / 60)
        kept.append(replace(step, minutes=max(1, min(step.minutes, need))))
    over = minutes - sum(step.minutes for step in kept)
    if over < 5:  # too little for anything of its own: it stays where it was
        longest = max(range(len(kept)), key=lambda i: (kept[i].drill is not None, kept[i].minutes))
        kept[longest] = replace(kept[longest], minutes=kept[longest].minutes + over)
        return tuple(kept)
    dry = min(over, _DRY_MINUTES)
    rest = min(over - dry, _BREAK_MINUTES)
    walk = over - dry - rest
    if 0 < walk < 5:
        rest, walk = rest + walk, 0
    after = next((i + 1 for i, step in enumerate(kept) if step.box == "block"), len(kept) - 1)
    between = [Step("break", rest, None)] * (rest > 0) + [Step("dry", dry, None)]
    return (*kept[:after], *between, *kept[after:], *[Step("walk", walk, None)] * (walk > 0))


def _divide(
    minutes: int, boxes: Sequence[tuple[int, tuple[float, float, float, float]]], test: Drill
) -> list[int]:
    """Return whole minutes of the four boxes, interpolated between the listed lengths; they sum to all.

    The test takes the time it takes; a session shorter than the listed ones has no mixed box, and below
    `WARM_INSIDE` minutes no warm-up inside.
    """
    testing = min(minutes, ceil(TEST_TRIES * test.seconds / 60))
    lengths = [length for length, _parts in boxes]
    if minutes < lengths[0]:
        warm = WARM_UP_MINUTES if minutes >= WARM_INSIDE else 0
        left = minutes - warm - testing
        # two boxes of throws where both get four minutes, and none of less than two
        if left >= 8:
            return [warm, left - left // 2, left // 2, testing]
        return [warm, left, 0, testing] if left >= 2 else [warm, 0, 0, testing + left]
    inside = min(minutes, lengths[-1])
    shares = np.array([np.interp(inside, lengths, [b[i] for _, b in boxes]) for i in range(4)])
    exact = shares / shares.sum() * minutes
    # The warm-up does not grow with the session for ever; what it leaves goes to the mixed box.
    exact[2] += max(0.0, exact[0] - 10)
    exact[0] = min(exact[0], 10.0)
    whole = np.floor(exact).astype(int)
    for i in np.argsort(whole - exact, kind="stable")[: minutes - int(whole.sum())]:
        whole[i] += 1
    short = min(testing - int(whole[3]), int(whole[2]) - 2)
    if short > 0:
        whole[2], whole[3] = whole[2] - short, whole[3] + short
    return [int(w) for w in whole]


def _fill(box: str, minutes: int, drill: Drill, most: int) -> Step | None:
    """Return the sets of `drill` that fit the minutes and `most` tries, whole turns of its stations only.

    A set that is too long is shortened by whole turns; None where not even one turn fits the tries.
    """
    fit = min(minutes * 60 // drill.seconds, most)
    if fit >= drill.tries:
        return Step(box, minutes, drill, min(fit // drill.tries, drill.sets + 1), drill.tries)
    turns = max(1, fit // drill.stations) * drill.stations
    return Step(box, minutes, drill, 1, turns) if turns <= most else None


def _aim(target: Target, test: Drill, success: float | None) -> Aim:
    """Aim one better than the present rate would bring on average, at most all."""
    from shortpencil.scan.practice.special import bdtr

    p = target.clean if success is None else success
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
        ways=texts("ways", WAYS) if "ways" in item else (),
        stations=_stations(item, source, name),
        phases=_of_phases(texts("phases"), source, name),
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


def _of_phases(phases: tuple[str, ...], source: str, name: str) -> tuple[str, ...]:
    """Return the phases that a drill serves: drive, approach, putt, or those of a card of one's own."""
    for phase in phases:
        near = get_close_matches(phase, PHASES, 1, 0.7) if phase not in PHASES else []
        if near or not re.fullmatch(PHASE_ID, phase):
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise InputError(
                f"{source}, {name}: expected for 'phases' a list of texts from {', '.join(PHASES)}, or ids "
                f"of phases of your own card, found {found(phase)}.{hint}"
            )
    return phases


def general_drills(phase: str) -> tuple[Drill, Drill, Drill]:
    """Return what stands in for drills of a phase that the list has none for: general words, and a count."""
    one, many = words.ONE[phase], words.MANY[phase]
    block = Drill(
        id=f"own-{phase}",
        causes=(),
        phases=(phase,),
        box="block",
        title=_("Ten of this throw: {one}", one=one),
        how=_(
            "Make ten of this throw the way your card's causes say. The drill list has nothing for {many}, "
            "so take a place where you would throw one, and think of the one cause before each.",
            many=many,
        ),
        cue=_("one cause in mind, and the whole throw"),
        sets=2,
        tries=TEST_TRIES,
        seconds=40,
        counts=_("thrown as planned"),
        full_power=False,
        caution=None,
    )
    mixed = replace(
        block,
        id=f"own-{phase}-mixed",
        box="mixed",
        title=_("Ten more, each from another place: {one}", one=one),
        how=_("The same throw, from another place or to another target each time, as on a course."),
    )
    test = replace(
        block,
        id=f"own-{phase}-ten",
        box="test",
        title=_("Ten, counted: {one}", one=one),
        how=_("Ten from one place. Say before each what you mean, then count those thrown as planned."),
        sets=1,
    )
    return block, mixed, test


def _distances(item: Mapping[str, Any], where: str) -> tuple[float, ...]:
    value = item.get("distances_m", [])
    if not isinstance(value, list) or not all(_is_number(d, 0, 300) for d in value):
        raise InputError(f"{where}: expected a list of metres for 'distances_m', found {found(value)}.")
    return tuple(float(d) for d in value)


def _stations(item: Mapping[str, Any], source: str, name: str) -> int:
    stations, tries = _whole(item, "stations", 1, 1, 40, source, name), item.get("tries", TEST_TRIES)
    if isinstance(tries, int) and tries % stations:
        raise InputError(
            f"{source}, {name}: expected 'tries' in whole turns of its {stations} stations, found {tries}."
        )
    return stations


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
    return tuple(sorted(boxes)) or ((20, (5.0, 7.0, 6.0, 2.0)),)


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
