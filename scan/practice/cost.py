"""What a miss costs in strokes, and what a phase without misses would save, from the player's own throws.

The cost of a miss is how many more throws the hole took after a missed throw than it would have taken after a
clean one *in the same situation*: the same place in its phase, the same hole, the same day, the same mark of
the throw before it, the same distance where one is written. What a clean throw brings there is learnt from
the clean throws alone and foretold for the missed ones; the mean of the rest is the cost (regression
imputation of the effect on those that have it: Borusyak, Jaravel and Spiess 2024; the g-formula of Robins
1986). Comparing misses with clean throws anywhere instead takes hard holes, windy days and long putts for
costs: then 90 % ranges held the truth in 46 to 67 % of cases, and less the more rounds there were.

Costs must not be added up: a second putt is there to be missed only where the first one stayed out. What a
phase *without any miss* would save follows backwards, from the last throw of the phase on a hole to the
first: where a throw was missed, the rest of the hole is replaced by what a clean throw brings there when all
later ones are clean too (iterated expectations: Robins 1986, Bang and Robins 2005).

Most of what scatters behind a drive or an approach are putts, which a missed one changes little once the
length of the first is written. So by how many putts its holes took more or less than others from there is
taken off what is left, as far as it is more probably chance than the miss (control variates: Lavenberg and
Welch 1981; here one whose mean is believed near 0, not known).

While throws are few, both are drawn towards one prior value, the same in all phases; how far, and whether
what one phase tells goes for the others, follows from which of three beliefs the throws speak for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.practice.hidden import Hidden, hidden_of
from shortpencil.scan.practice.history import MISS, NO_PHASE, UNMARKED, History
from shortpencil.scan.practice.model import LEVEL, Interval

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Before a throw is seen, a miss costs about half a stroke in each phase: some are saved by the next throw,
#: some cost a whole one. Our choice; equal in all phases, so that a first round's focus is the plain count.
PRIOR_COST_STROKES = 0.5


@dataclass(frozen=True, slots=True)
class Believed:
    """One of several things that may hold of what misses cost a player: a normal around the prior value.

    Attributes
    ----------
    p : how probable it is beforehand
    tee, sd : sd in strokes of the phase that begins a hole, and of each other
    tee_common, common : so much of these the phases have in common
    """

    p: float
    tee: float
    sd: float
    tee_common: float
    common: float

    def covariance(self, tee: NDArray[np.bool_]) -> Floats:
        """Return the covariance of what misses cost by phase, (P, P); `tee` says which begins a hole."""
        share = np.where(tee, self.tee_common, self.common)
        result = np.outer(share, share)
        np.fill_diagonal(result, np.where(tee, self.tee, self.sd) ** 2)
        return result


#: As a rule .15 of an sd of .3 the phases have in common: on steep ground every miss is dear. With .2 what is
#: known of putts, which are cheap and well known, drew the cost of approaches down. What a missed drive costs
#: differs by .15 to .20 between players of every world in tests, and could be nothing or two strokes on a
#: course unlike these: so for it half or twice that width is believed, four to one. With one width ranges of
#: drives' strokes held in 94 % after ten rounds, with two in 92, and the mean error is a twentieth less.
#: Or the game is unlike the usual ones, one in ten: whoever misses throws again, say, so that misses are dear
#: together, or cheap, and a drive's are by themselves. In a game of four phases, where misses cost .9 and a
#: drive's nothing, ranges of costs held in 78 to 84 % without it (docs/advice-ranges.md, "Other phases").
#: The three together are as wide for drives as for others, or a first round's focus would lean towards the
#: phase of which more is believed possible.
BELIEFS = (
    Believed(0.72, 0.15, 0.3, 0.075, 0.15),
    Believed(0.18, 0.6, 0.3, 0.3, 0.15),
    Believed(0.1, 0.6, 0.6, 0.0, 0.55),
)
PRIOR_COST_SD = sqrt(sum(believed.p * believed.sd**2 for believed in BELIEFS))
#: Scatter of the throws left around what is foretold, with the weight of this many throws: a missed drive may
#: cost nothing or three strokes, a missed putt hardly more than one. On the worlds in tests missed throws
#: scatter by 1.0 to 1.4 and by 0.5 to 0.8; one number for all, 0.8, made ranges of drives and approaches too
#: narrow and those of putts too wide while misses are few.
PRIOR_SCATTER_STROKES = {"tee": 1.1, "between": 1.1, "target": 0.55}
PRIOR_SCATTER_THROWS = 10

#: Costs are learnt from so many rounds on; before, a miss costs the same in every phase, since the bounces
#: of a single round would weigh as much as its misses.
COST_ROUNDS = 2

#: A hole's and a day's own level stand against one throw at the usual level: nearly free, so that a hard hole
#: or a windy day is not taken for the cost of its misses, and still defined where all throws were missed.
LEVEL_THROWS = 1.0
#: The same for the other columns of a situation.
COLUMN_THROWS = 0.25


@dataclass(frozen=True, slots=True)
class Unseen:
    """What no card tells (how far an approach was, what stood in the way) goes with misses and with scores.

    Attributes
    ----------
    dearer : strokes by which a miss therefore seems dearer than it is, on average
    cost_sd, saved_sd : sd of what else of a miss's cost, and of what it saves, is that
    """

    dearer: float
    cost_sd: float
    saved_sd: float


#: It keeps a range from closing in on a number that more rounds would not mend. More for approaches, whose
#: distance is not asked for: a hard one is missed more often and takes more throws, missed or not, so that
#: its sign is known. On the worlds in tests a missed approach seemed .07 to .12 stroke too dear after 100
#: rounds; half of that is taken off, since in a game where nothing is hidden none of it would be true. Less
#: for putts whose distance is written.
UNSEEN = {
    "tee": Unseen(0.0, 0.03, 0.03),
    "between": Unseen(0.04, 0.06, 0.06),
    "target": Unseen(0.0, 0.02, 0.01),
}
#: The same for putts without a distance: in the worlds in tests without any, ranges of what a missed putt
#: costs held in 84 and 70 % after 30 and 100 rounds, with this in 94 and 92. They seem .05 too dear there;
#: none of it is taken off, since what results may have coloured is taken off already.
UNWRITTEN = Unseen(0.0, 0.06, 0.07)

#: On a bad day more is missed, and each miss is dearer: correlation of misses a round with what one costs,
#: over rounds. On the worlds in tests approaches show it (.0 to .3), drives hardly do, putts do not.
DEARER_DAYS = {"tee": 0.0, "between": 0.25, "target": 0.0}

#: A missed drive or approach is believed to change the putts of a hole, beyond what the length of the first
#: tells, by about so many (sd); and where no length is written. A missed approach leaves a longer putt, so
#: that these are more. With that the error of what misses of both cost is up to 7 % less in the worlds in
#: tests (root of the mean square), in seasons where holes are alike up to a fifth. Without lengths .05 to .15
#: for drives and .10 to .30 for approaches change little.
PUTTS_CHANGED = {"tee": (0.04, 0.05), "between": (0.04, 0.15)}

_PLACES = 4  # the first, second, third, any later throw of a phase on a hole


@dataclass(frozen=True, slots=True)
class Spread:
    """What is believed of a cost, in strokes: a normal; with probability `p`, one that is `scale` times it.

    `scale` has an sd of its own, `doubt`. A small chance of something quite different moves the far end of a
    range little; taken as more variance it would widen the whole of it.
    """

    middle: float
    sd: float
    p: float = 0.0
    scale: float = 1.0
    doubt: float = 0.0

    @property
    def mean(self) -> float:
        """Mean over both."""
        return self.middle * (1 - self.p + self.p * self.scale)

    @property
    def total_sd(self) -> float:
        """Sd over both."""
        (_, one), (other, wide) = self._parts(0.0)
        between = self.p * (1 - self.p) * (other - self.middle) ** 2
        return sqrt((1 - self.p) * one**2 + self.p * wide**2 + between)

    def quantiles(self, below: Floats, unsure: float = 0.0) -> Floats:
        """Return the values below which are the shares `below`; `unsure` is a further error, as a share."""
        from shortpencil.scan.practice.special import ndtr, ndtri

        (one, sd), (other, wide) = self._parts(unsure)
        plain = one + sd * ndtri(below)
        if not self.p or not wide:
            return np.asarray(plain)
        ends = np.concatenate([plain, other + wide * ndtri(below)])
        at = np.linspace(float(ends.min()), float(ends.max()), _QUANTILE_GRID)
        share = (1 - self.p) * ndtr((at - one) / max(sd, 1e-9)) + self.p * ndtr((at - other) / wide)
        return np.asarray(np.interp(below, share, at))

    def interval(self, level: float = LEVEL) -> Interval:
        """Return the mean with its range; a cost is not negative."""
        tail = (1 - level) / 2
        low, high = self.quantiles(np.array([tail, 1 - tail])).tolist()
        middle = max(0.0, self.mean)
        return Interval(max(0.0, min(low, middle)), middle, max(high, middle))

    def _parts(self, unsure: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return mean and sd as it is, and scaled."""
        scaled = self.middle * self.scale
        wide = sqrt((self.sd * self.scale) ** 2 + ((abs(self.middle) + self.sd) * self.doubt) ** 2)
        return (
            (self.middle, float(np.hypot(self.sd, unsure * self.middle))),
            (scaled, float(np.hypot(wide, unsure * scaled))),
        )


_QUANTILE_GRID = 801


#: Whoever calls missed putts that drop clean misses more of them than are marked. So what all misses of a
#: round cost together is less coloured than what one costs, which is what the scale of `Colour` tells: .65
#: against .57 for players with such habits in the worlds in tests (240 of them).
COLOURED_MISSES = 1.14


@dataclass(frozen=True, slots=True)
class Colour:
    """Results may have coloured the marks of a phase, with probability `p`: a miss then costs less.

    It truly costs `scale` times what it seems to, sd `doubt`.
    """

    phase: int
    p: float
    scale: float
    doubt: float


@dataclass(frozen=True, slots=True)
class Costs:
    """Strokes by phase, each as posterior mean and sd, and the throws behind them.

    `mean` is what one miss costs, going by the marks; `saved` is what a phase without any miss would save,
    for each miss there now is. They differ where a miss brings a further chance to miss. `colour` is what
    takes away from both; `cost` and `saving` allow for it. `learnt` says of each phase whether its own throws
    told something: it takes missed and clean ones after which a score tells what the hole took.
    """

    mean: Floats
    sd: Floats
    throws: tuple[int, ...]
    saved: Floats
    saved_sd: Floats
    learnt: tuple[bool, ...]
    colour: Colour | None = None

    def cost(self, phase: int) -> Spread:
        """Return what one miss of `phase` costs, in strokes."""
        return self._spread(phase, self.mean, self.sd, 1.0)

    def saving(self, phase: int) -> Spread:
        """Return what is saved for each miss that is marked where there are none, in strokes."""
        return self._spread(phase, self.saved, self.saved_sd, COLOURED_MISSES)

    def _spread(self, phase: int, mean: Floats, sd: Floats, misses: float) -> Spread:
        at = (float(mean[phase]), float(sd[phase]))
        c = self.colour
        if c is None or c.phase != phase:
            return Spread(*at)
        return Spread(*at, c.p, min(c.scale * misses, 1.0), c.doubt)


def costs_of(history: History) -> Costs:
    """Return the costs by phase; a throw without a mark, or with an unknown rest, counts nowhere."""
    count = len(history.phases)
    throws = [0] * count
    one, clean = np.zeros((2, count)), np.zeros((2, count))
    one[1] = clean[1] = np.inf  # estimates and variances; nothing known
    written = 0.0
    if history.rounds >= COST_ROUNDS:
        place = place_in_phase(history)
        before = mark_before(history)
        hole = same_hole(history)
        hidden = hidden_of(history)
        putts, written = _putts_beyond(history, hidden)
        for k, phase in enumerate(history.phases):
            at = np.flatnonzero(
                (hidden.left >= 0) & (history.throw_execution != UNMARKED) & (history.throw_phase == k)
            )
            throws[k] = len(at)
            situation = _Situation(
                _columns(history, at, k, place, before),
                hole[history.throw_hole[at]],
                history.hole_round[history.throw_hole[at]],
            )
            missed = history.throw_execution[at] == MISS
            left, unsure = hidden.left[at], hidden.unsure[at]
            of_hole = history.throw_hole[at]
            beyond = hidden.between[of_hole, k]
            usual = PRIOR_SCATTER_STROKES[phase.role]
            chance = None
            if phase.role in PUTTS_CHANGED:
                squares = np.square(PUTTS_CHANGED[phase.role])
                chance = _Chance(putts[of_hole], float(np.sqrt(np.dot(squares, (written, 1 - written)))))
            one[:, k], clean[:, k] = _learnt(
                situation, missed, left, unsure, of_hole, place[at], beyond, usual, chance
            )
    unseen = [_unseen(phase.role, written) for phase in history.phases]
    dearer, cost_sd, of_saved = (np.array([getattr(u, name) for u in unseen]) for name in Unseen.__slots__)
    tee = np.array([phase.role == "tee" for phase in history.phases])
    mean, sd = _posterior(one[0] - dearer, one[1] + cost_sd**2, tee)
    saved, saved_sd = _posterior(clean[0], clean[1] + of_saved**2, tee)
    return Costs(mean, sd, tuple(throws), saved, saved_sd, tuple(np.isfinite(one[1]).tolist()))


def _unseen(role: str, written: float) -> Unseen:
    """Return what no card tells of a phase, where such a share of the putts has a distance."""
    usual = UNSEEN[role]
    if role != "target":
        return usual
    sds = zip((usual.cost_sd, usual.saved_sd), (UNWRITTEN.cost_sd, UNWRITTEN.saved_sd), strict=True)
    return Unseen(usual.dearer, *(sqrt(written * a**2 + (1 - written) * b**2) for a, b in sds))


def place_in_phase(history: History) -> Ints:
    """Return 0 for the first throw of a phase on its hole, 1 for the second, and so on."""
    key = history.throw_hole * len(history.phases) + history.throw_phase
    place = np.zeros(len(key), dtype=np.int64)
    # Throws of one phase on one hole stand together, but for a drive thrown again later: rare, and its place
    # then is that of a first one, which is what it is.
    for back in range(1, _PLACES):
        same = np.zeros(len(key), dtype=bool)
        same[back:] = key[back:] == key[:-back]
        place += same
    return place


def mark_before(history: History) -> Ints:
    """Return the mark of the throw before each one on its hole; `UNMARKED` for a first throw."""
    before = np.full(len(history.throw_hole), UNMARKED, dtype=np.int64)
    same = history.throw_hole[1:] == history.throw_hole[:-1]
    before[1:][same] = history.throw_execution[:-1][same]
    return before


def same_hole(history: History) -> Ints:
    """Return for each hole played which hole of which course it is, counted from 0.

    Holes of rounds without a course are told apart by their number and par alone.
    """
    names: dict[tuple[str | None, str | None], int] = {}
    course = np.array([names.setdefault((h.course, h.layout), len(names)) for h in history.heads], dtype=int)
    par = np.clip(np.nan_to_num(history.hole_par, nan=0), 0, 9).astype(np.int64)
    key = (course[history.hole_round] * 1000 + history.hole_number) * 10 + par
    return np.asarray(np.unique(key, return_inverse=True)[1], dtype=np.int64)


def _columns(history: History, at: Ints, phase: int, place: Ints, before: Ints) -> Floats:
    """Return what else is the same in the same situation, one column each, the first of ones."""
    ones = np.ones(len(at))
    columns = [ones, *(place[at] == i for i in range(1, _PLACES))]
    par = history.hole_par[history.throw_hole[at]]
    columns += [np.nan_to_num(par - 3.0), np.isnan(par)]
    if phase != history.tee:
        columns += [before[at] == MISS, before[at] == UNMARKED]
        columns += _by_distance(history.throw_distance_m[at])
    return np.column_stack(columns).astype(float)


def _putts_beyond(history: History, hidden: Hidden) -> tuple[Floats, float]:
    """Return by how many putts each hole took more than others from there, (H,), and the share with a length.

    0 where no putt is known. Hidden putts count as expected.
    """
    at = np.flatnonzero(history.throw_phase == history.putt)
    holes = len(history.hole_round)
    if history.putt == NO_PHASE or not len(at):
        return np.zeros(holes), 0.0
    hole, starts = np.unique(history.throw_hole[at], return_index=True)
    last = at[np.append(starts[1:], len(at)) - 1]
    number = np.diff(np.append(starts, len(at))) + np.maximum(hidden.left[last], 0.0)
    distance = history.throw_distance_m[at[starts]]
    written = ~np.isnan(distance)
    columns = np.column_stack([np.ones(len(hole)), *_by_distance(distance)])
    ridge = np.diag([1e-6, *[COLUMN_THROWS] * (columns.shape[1] - 1)])
    usual = columns @ np.linalg.solve(columns.T @ columns + ridge, columns.T @ number)
    beyond = np.zeros(holes)
    beyond[hole] = number - usual
    return beyond, float(written.mean())


def _by_distance(distance: Floats) -> tuple[Floats, ...]:
    """Return columns of a distance in metres, NaN where none is written: none, and a parabola in its log.

    What is left of a putt rises fast, then levels off.
    """
    written = ~np.isnan(distance)
    far = np.log(np.maximum(np.nan_to_num(distance, nan=1.0), 0.5))
    far -= float(far.mean()) if len(far) else 0.0
    return (~written).astype(float), far * written, far**2 * written


@dataclass(frozen=True, slots=True)
class _Chance:
    """Throws left that are chance: their number behind each throw, (N,), and by how much a miss changes it.

    `sd` is that of the change, whose mean is believed to be 0.
    """

    number: Floats
    sd: float


@dataclass(frozen=True, slots=True)
class _Situation:
    """Where each throw was thrown: columns (N, Q), which hole (N,), which round (N,)."""

    columns: Floats
    hole: Ints
    round: Ints


class _CleanThrows:
    """Least squares on clean throws: columns, a level of each hole and of each day.

    The days are many and each throw has one, so that their block of the normal equations is diagonal and is
    taken out first (Schur complement): thousands of rounds cost no more than the holes there are.
    """

    def __init__(self, situation: _Situation, clean: NDArray[np.bool_], usual: float) -> None:
        self.usual = usual
        x, hole, day = situation.columns, situation.hole, situation.round
        self._at = situation
        self._clean = clean
        q, holes, days = x.shape[1], int(hole.max()) + 1, int(day.max()) + 1
        self._q, self._holes, self._days = q, holes, days
        xc, hc, dc = x[clean], hole[clean], day[clean]
        width = q + holes
        a = np.zeros((width, width))
        a[:q, :q] = xc.T @ xc
        by_hole = np.stack([np.bincount(hc, xc[:, j], holes) for j in range(q)])
        a[:q, q:], a[q:, :q] = by_hole, by_hole.T
        a[q:, q:] = np.diag(np.bincount(hc, minlength=holes).astype(float))
        ridge = np.full(width, LEVEL_THROWS)
        ridge[:q] = COLUMN_THROWS
        ridge[0] = 1e-6  # the overall level is free
        a += np.diag(ridge)
        c = np.zeros((days, width))
        c[:, :q] = np.stack([np.bincount(dc, xc[:, j], days) for j in range(q)], axis=1)
        c[:, q:] = np.bincount(dc * holes + hc, minlength=days * holes).reshape(days, holes)
        self._d = np.bincount(dc, minlength=days) + LEVEL_THROWS
        self._c = c
        self._inverse = np.linalg.inv(a - c.T @ (c / self._d[:, None]))
        # Levels take about the throws they are learnt from: one hole's or day's n / (n + 1).
        used = q + sum(float(np.sum(n / (n + LEVEL_THROWS))) for n in (np.bincount(hc), np.bincount(dc)))
        self._free: float = max(float(clean.sum()) - used, 0.0)

    def solve(self, top: Floats, days: Floats) -> tuple[Floats, Floats]:
        """Return the normal equations' solution for a right side: columns and holes first, then days."""
        first = self._inverse @ (top - self._c.T @ (days / self._d))
        return first, (days - self._c @ first) / self._d

    def sums(self, weight: Floats) -> tuple[Floats, Floats]:
        """Return weighted sums of all throws' columns, hole and day indicators."""
        at = self._at
        top = np.concatenate([weight @ at.columns, np.bincount(at.hole, weight, self._holes)])
        return top, np.asarray(np.bincount(at.round, weight, self._days), dtype=np.float64)

    def foretold(self, target: Floats) -> Floats:
        """Return what a clean throw brings in each throw's situation; `target` of clean throws is learnt."""
        first, days = self.solve(*self.sums(np.where(self._clean, target, 0.0)))
        at = self._at
        return np.asarray(at.columns @ first[: self._q] + first[self._q :][at.hole] + days[at.round])

    def scatter(self, rest: Floats, usual: Floats) -> Floats:
        """Return the covariance of clean throws around what is foretold, a few with the usual one added.

        `rest` is a column for each thing that is foretold, (N, D), `usual` (D, D).
        """
        clean = rest[self._clean]
        return np.asarray(
            (clean.T @ clean + PRIOR_SCATTER_THROWS * usual) / (self._free + PRIOR_SCATTER_THROWS)
        )

    def variance_of_sum(self, weight: Floats, scatter: Floats) -> Floats:
        """Return the covariance of the weighted sums of what is foretold, for that of one clean throw."""
        top, days = self.sums(weight)
        first, second = self.solve(top, days)
        return np.asarray(scatter * float(max(0.0, np.dot(top, first) + np.dot(days, second))))


def _learnt(
    situation: _Situation,
    missed: NDArray[np.bool_],
    left: Floats,
    unsure: Floats,
    hole: Ints,
    place: Ints,
    beyond: Floats,
    scatters: float,
    chance: _Chance | None = None,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return (estimate, variance) of what a miss costs and of what a clean phase saves for each miss.

    `hole` is the hole played, `place` the throw's place in its phase on it; throws are in the order thrown.
    `beyond` are throws of the phase that no column shows, after the last one on the hole: some of them were
    missed as well, which a phase without misses would save. `scatters` is by how much throws left usually do;
    `chance` what of them is hardly the miss's doing.
    """
    misses = int(missed.sum())
    if not misses or misses == len(missed):
        return (0.0, np.inf), (0.0, np.inf)
    model = _CleanThrows(situation, ~missed, scatters)
    if chance is not None:
        chance = replace(chance, number=chance.number - model.foretold(chance.number))
    usual = model.foretold(left)
    extra = left - usual
    sums = _Sums(model, misses, unsure, hole, situation.round, chance)
    one = sums.mean(extra, missed, extra)
    # Backwards: what a hole takes from a clean throw on, when the later throws of the phase are clean too.
    last = left - beyond * float(missed.mean()) * max(one[0], 0.0)
    rest, foretold = last, model.foretold(last) if beyond.any() else usual
    for _ in range(int(place.max()) if len(place) else 0):
        rest = _with_later_clean(left, last, rest, foretold, missed, hole)
        foretold = model.foretold(rest)
    first = missed & ~_missed_before(missed, hole)
    return one, sums.mean(left - foretold, first, rest - foretold)


def _with_later_clean(
    left: Floats, last: Floats, rest: Floats, foretold: Floats, missed: NDArray[np.bool_], hole: Ints
) -> Floats:
    """Return the throws left after each one, had the phase's later ones on the hole been clean.

    `last` is what is left after the last one known.
    """
    result = last.copy()
    if len(left) > 1:
        follows = hole[1:] == hole[:-1]
        after = np.where(missed[1:], foretold[1:], rest[1:])
        result[:-1][follows] = (left[:-1] - left[1:] + after)[follows]
    return result


def _missed_before(missed: NDArray[np.bool_], hole: Ints) -> NDArray[np.bool_]:
    """Say of each throw whether an earlier one of its phase on its hole was missed."""
    so_far = np.cumsum(missed)
    start = np.searchsorted(hole, hole)
    return np.asarray((so_far - missed) > np.where(start > 0, so_far[start - 1], 0))


@dataclass(frozen=True, slots=True)
class _Sums:
    """Means over misses with their variance; `chance` is what is left of it beyond what is foretold."""

    model: _CleanThrows
    misses: int
    unsure: Floats
    hole: Ints
    day: Ints
    chance: _Chance | None

    def mean(self, extra: Floats, chosen: NDArray[np.bool_], clean: Floats) -> tuple[float, float]:
        """Return the sum of the chosen throws' extra over all misses, with its variance.

        `clean` is what clean throws brought beyond what is foretold. What of both is chance is taken off as
        far as it is more probably that: by its covariance with the extra over its variance, to which the
        square of what a miss may truly change is added. So it goes the less, the more throws there are.
        """
        columns = [extra] if self.chance is None else [extra, self.chance.number]
        of_clean = [clean, *columns[1:]]
        total = np.array([float(c[chosen].sum()) for c in columns]) / self.misses
        variance = self._variance(np.column_stack(columns), chosen, np.column_stack(of_clean))
        if self.chance is None:
            return float(total[0]), float(variance[0, 0])
        true = (self.chance.sd * int(chosen.sum()) / self.misses) ** 2
        share = float(variance[0, 1] / (variance[1, 1] + true))
        return float(total[0] - share * total[1]), float(variance[0, 0] - share * variance[0, 1])

    def _variance(self, extra: Floats, chosen: NDArray[np.bool_], clean: Floats) -> Floats:
        """Return the covariance of the sums of the columns of `extra`, (D, D), over all misses.

        Misses scatter on their own (they need not scatter as clean throws do), together where they are of one
        hole played, since what is left after the first contains what is left after the second, and by day,
        where windy days make misses dearer (sums over clusters: Liang and Zeger 1986). What is foretold has
        an error of its own, the same for all.
        """
        at = extra[chosen]
        apart = at - at.mean(axis=0)
        by_hole, by_day = (_by_group(apart, group[chosen]) for group in (self.hole, self.day))
        # What scatters are throws left, and the putts among them.
        usual = np.full((at.shape[1],) * 2, PRIOR_SCATTER_STROKES["target"] ** 2)
        usual[0, 0] = self.model.usual**2
        worth = len(at) / (len(at) + PRIOR_SCATTER_THROWS)
        alone = (by_hole.T @ by_hole + PRIOR_SCATTER_THROWS * usual) * worth
        # A few days say little about how days differ: their sum counts by how many there are. The larger of
        # both would be too much on average wherever days are alike.
        days = len(by_day)
        together = (10 * alone + days * by_day.T @ by_day) / (10 + days)
        foretold = self.model.variance_of_sum(chosen.astype(float), self.model.scatter(clean, usual))
        hidden = np.zeros_like(usual)
        hidden[0, 0] = float(np.sum(_by_group(self.unsure[chosen, None], self.hole[chosen]) ** 2))
        return np.asarray((together + foretold + hidden) / self.misses**2)


def _by_group(values: Floats, group: Ints) -> Floats:
    """Return the sums of the rows of `values`, (N, D), by group, of those that occur."""
    kinds, where = np.unique(group, return_inverse=True)
    return np.column_stack([np.bincount(where, column, len(kinds)) for column in values.T])


def _posterior(estimate: Floats, variance: Floats, tee: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return mean and sd of each phase's cost, (P,); `tee` says which phase begins a hole.

    A normal for each of `BELIEFS`, weighed by how probable it makes what was estimated.
    """
    each = [_posterior_of_normal(estimate, variance, belief.covariance(tee)) for belief in BELIEFS]
    log_share = np.array([log_p for *_, log_p in each]) + np.log([belief.p for belief in BELIEFS])
    share = np.exp(log_share - log_share.max())
    share /= share.sum()
    means, variances = np.array([m for m, _, _ in each]), np.array([v for _, v, _ in each])
    mean = share @ means
    return mean, np.sqrt(share @ (variances + (means - mean) ** 2))


def _posterior_of_normal(estimate: Floats, variance: Floats, prior: Floats) -> tuple[Floats, Floats, float]:
    """Return means, variances and log probability of the estimates; `prior` is the normal's covariance."""
    # Weights in place of variances, so that a phase of which nothing is known has weight 0.
    weight = np.where(np.isfinite(variance), 1 / variance, 0.0)
    spread = np.eye(len(estimate)) + prior * weight
    covariance = np.linalg.solve(spread, prior)
    away = np.where(weight > 0, estimate - PRIOR_COST_STROKES, 0.0)
    pull = weight * away
    # By Woodbury's identity, constants left out: what is not known has no part in it.
    log_p = -0.5 * (
        float(np.linalg.slogdet(spread)[1]) + float(pull @ away) - float(pull @ covariance @ pull)
    )
    return PRIOR_COST_STROKES + covariance @ pull, np.diag(covariance).copy(), log_p
