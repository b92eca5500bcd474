"""What hangs together on a practice sheet: rows and columns, counts, rungs that rise, throws that fly alike.

The player fills a bubble for each putt that drops and writes how many they were, or counts the clean throws
at the foot. So a doubtful bubble is told by its count and a doubtful count by its bubbles, as a round's are
by its sums. A ladder's distances stand the nearest first; on a field throws of one session fly alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from shortpencil.forms.rules import ENOUGH, CountRule
from shortpencil.scan.vision.weighing.form_index import FormIndex, GroupKey, together
from shortpencil.scan.vision.weighing.likelihoods import Floats, Ints, length_prior
from shortpencil.scan.vision.weighing.posterior import (
    BLANK_NUMBER,
    NOTHING_CHOSEN,
    NumberPosterior,
    Posterior,
    filled_in,
)
from shortpencil.scan.vision.weighing.putts import chances_up_to, lengths_of
from shortpencil.scan.vision.weighing.slips import Slips
from shortpencil.scan.vision.weighing.written import WrittenSum, written_sum

#: The rules by which these fields are settled.
COUNTED, RUNGS, FLIGHTS, TRIES, BEST = "counted", "rungs", "flights", "tries", "best"

#: Farthest throw that is no surprise, by unit, and the spread of the logarithm of one session's throws. Both
#: are choices: the longest throws of the best reach twice as far.
_FAR = {"m": 160.0, "ft": 520.0}
_SPREAD = 0.4


#: By group, the chance (F,) that each of its fields is filled in, before its own ink is seen.
Chances = Mapping[GroupKey, Floats]

#: Imagined rows of the usual player that a column's own are set against; how often a column is filled in
#: where nothing else of its row is; and no habit is surer than this.
_USUAL_ROWS, _ALONE, _RAREST = 2.0, 0.03, 0.02


def weigh_sheet(index: FormIndex, unit: str, slips: Slips, posterior: Posterior) -> None:
    """Write the joint posterior of what hangs together on a form that is no round card."""
    chances = by_habit(index, slips, posterior)
    weigh_counts(index, unit, slips, posterior, chances)


def usual_chances(index: FormIndex, slips: Slips) -> dict[GroupKey, Floats]:
    """Chance that each field is filled in, of the usual player."""
    usual = {"choose-many": 1 - slips.row_unthrown, "choose-one": 1 - NOTHING_CHOSEN}
    return {
        key: np.full(len(group.fields), usual.get(key[0], 1 - BLANK_NUMBER))
        for key, group in index.groups.items()
    }


def by_habit(index: FormIndex, slips: Slips, posterior: Posterior) -> Chances:
    """Weigh the columns by what this player fills in: all of them in a row that is used, or some never.

    A field's own ink has no say in what is expected of it: of its column the other rows speak, of its row the
    other columns. Returns what is expected of each field.
    """
    chances = usual_chances(index, slips)
    if len(index.columns) < 2:
        return chances
    filled = np.stack([filled_in(posterior, *column) for column in index.columns], axis=1)
    others = [np.delete(1 - filled, column, axis=1).prod(axis=1) for column in range(filled.shape[1])]
    used = 1 - np.stack(others, axis=1)
    could, did = used.sum(axis=0) - used, (used * filled).sum(axis=0) - used * filled
    usual = np.array([chances[key][rows[0]] for key, rows in index.columns])
    habit = np.clip((_USUAL_ROWS * usual + did) / (_USUAL_ROWS + could), _RAREST, 1 - _RAREST)
    expected = used * habit + (1 - used) * _ALONE
    for (key, rows), some in zip(index.columns, expected.T, strict=True):
        chances[key][rows] = some
        _expect(posterior, key, rows, some)
    return chances


def _expect(posterior: Posterior, key: GroupKey, rows: Ints, some: Floats) -> None:
    """Weigh some fields of a group anew, given the chance (R,) that each is filled in."""
    if key[0] == "choose-one":
        weights = posterior.choose[key].weights
        weights[rows, 0] = 1 - some
        weights[rows, 1:] = some[:, None] / key[1]
    elif key[0] == "choose-many":
        many = posterior.many[key]
        nothing = (1 - some) * (many.likelihood.blank + many.likelihood.struck)[rows]
        something = some * many.likelihood.some[rows]
        many.some[rows] = something / (something + nothing)
    else:
        _weigh_number(posterior.number[key], rows, some, length_prior(key[1]))


def _weigh_number(number: NumberPosterior, rows: Ints, some: Floats, chance: Floats) -> None:
    """Weigh numbers by the chance (R,) that each is written, and that (V,) of each value then."""
    ink = number.likelihood.take(rows)
    number.set(rows, some[:, None] * chance * ink.full, (1 - some) * ink.blank)


def _written_count(number: NumberPosterior, row: int, size: int, slips: Slips) -> WrittenSum:
    """Weigh a count as the player wrote it, of 0 to `size` - 1; people count as they tally."""
    full, blank = number.likelihood.full[row], float(number.likelihood.blank[row])
    return written_sum(full, blank, size, slips.tally_wrong, slips.tally_blank, slips.zero_tally_blank)


def weigh_counts(index: FormIndex, unit: str, slips: Slips, posterior: Posterior, chances: Chances) -> None:
    """Write the joint posterior of what a practice sheet counts, and of its distances."""
    for rule in index.rules.counts:
        if index.places[rule.count][0][0] != "number":
            continue  # too long to list its values
        if rule.option is None:
            _weigh_filled(index, slips, posterior, rule, chances)
        else:
            _weigh_judged(index, slips, posterior, rule, rule.option)
        posterior.rules.update(dict.fromkeys((rule.count, *rule.of), COUNTED))
    _weigh_rungs(index, slips, posterior, chances)
    _weigh_flights(index, posterior, unit, chances)
    _weigh_made(index, slips, posterior)
    _weigh_best(index, slips, posterior)


def _weigh_filled(
    index: FormIndex, slips: Slips, posterior: Posterior, rule: CountRule, chances: Chances
) -> None:
    """The bubbles of one row and their count.

    Not thrown: nothing is filled, nothing written. Thrown: any number dropped, each as likely as the next,
    and which ones, too. Some write the count and leave the bubbles out.
    """
    (key, row), (number_key, number_row) = index.places[rule.of[0]], index.places[rule.count]
    many, number = posterior.many[key], posterior.number[number_key]
    count = key[1]
    ink = many.likelihood.take(np.array([row])).of_counts()[0]
    full, blank = number.likelihood.full[number_row], float(number.likelihood.blank[number_row])
    written = _written_count(number, number_row, count + 1, slips)
    thrown = float(chances[key][row])
    by_count = thrown * (1 - slips.bubbles_forgotten) / (count + 1) * ink * written.likelihood
    unthrown = (1 - thrown) * ink[0] * blank
    possible = np.zeros_like(full)
    possible[: count + 1] = full[: count + 1] / (count + 1)
    forgotten = thrown * slips.bubbles_forgotten * ink[0] * possible
    values, p_blank = written.explain(by_count)
    number.set(np.array([number_row]), (values + forgotten)[None], np.array([p_blank + unthrown]))
    by_count[0] += unthrown + forgotten.sum()
    by_count /= by_count.sum()
    if many.counts is None:
        many.counts = np.full((len(many.some), count + 1), np.nan)
    many.counts[row] = by_count
    many.some[row] = 1 - by_count[0]


def _weigh_judged(index: FormIndex, slips: Slips, posterior: Posterior, rule: CountRule, option: str) -> None:
    """Which throws were clean, and how many the foot says: forward and backward over the rows."""
    throws = []
    for field in rule.of:
        key, row = index.places[field]
        choose = posterior.choose[key]
        at = index.groups[key].answers[row].index(option)
        by_meaning = choose.weights[row] * choose.likelihood.meanings[row]
        throws.append((choose, row, at, by_meaning / by_meaning.sum()))
    key, row = index.places[rule.count]
    number = posterior.number[key]
    written = _written_count(number, row, len(throws) + 1, slips)
    before = [np.eye(1, len(throws) + 1)[0]]  # of so many clean ones so far
    for _, _, at, share in throws:
        after = before[-1] * (1 - share[at])
        after[1:] += before[-1][:-1] * share[at]
        before.append(after)
    sums = before[-1] * written.likelihood
    values, blank = written.explain(sums / sums.sum())
    number.set(np.array([row]), values[None], np.array([blank]))
    behind = written.likelihood / sums.sum()
    for (choose, row, at, share), so_far in zip(reversed(throws), reversed(before[:-1]), strict=True):
        onward = np.append(behind[1:], 0.0)
        if_clean, if_not = float(so_far @ onward), float(so_far @ behind)
        factor = np.full(len(share), if_not)
        factor[at] = if_clean
        choose.weights[row] *= factor
        behind = (1 - share[at]) * behind + share[at] * onward


def _weigh_rungs(index: FormIndex, slips: Slips, posterior: Posterior, chances: Chances) -> None:
    """A ladder's distances, each farther than the last one written: forward and backward over the rungs."""
    column = together(index.places, index.rules.rungs)
    if column is None or column[0][0] != "number" or len(column[1]) < 2:
        return
    key, rows = column
    number = posterior.number[key]
    some = chances[key][rows]
    full, blank = some[:, None] * number.likelihood.full[rows], (1 - some) * number.likelihood.blank[rows]
    step = _steps(key[1], slips.rung_astray)
    size = full.shape[1]
    here = np.zeros(size + 1)  # the last distance written, or none so far
    here[size] = 1.0
    so_far = []
    for ink, none in zip(full, blank, strict=True):
        so_far.append(here)
        here = here * none
        here[:size] += ink * (so_far[-1] @ step)
        here = here / here.sum()
    behind = np.ones(size + 1)
    values, blanks = np.empty_like(full), np.empty(len(rows))
    for at in range(len(rows) - 1, -1, -1):
        onward = full[at] * behind[:size]
        values[at] = (so_far[at] @ step) * onward
        blanks[at] = blank[at] * float(so_far[at] @ behind)
        behind = blank[at] * behind + step @ onward
        behind /= behind.max()
    number.set(rows, values, blanks)
    posterior.rules.update(dict.fromkeys(index.rules.rungs, RUNGS))


def _weigh_flights(index: FormIndex, posterior: Posterior, unit: str, chances: Chances) -> None:
    """How far each throw flew: about as far as those of this sheet that are read beyond doubt."""
    column = together(index.places, index.rules.flights)
    if column is None or column[0][0] != "number":
        return
    key, rows = column
    number = posterior.number[key]
    chance = chances_up_to(key[1], _FAR[unit], lengths_of(number.likelihood.take(rows), _SPREAD))
    _weigh_number(number, rows, chances[key][rows], chance)
    posterior.rules.update(dict.fromkeys(index.rules.flights, FLIGHTS))


def _weigh_made(index: FormIndex, slips: Slips, posterior: Posterior) -> None:
    """What was made of so many tries is seldom more than those, and up to them each number as likely."""
    for field, tries in index.rules.tries:
        key, row = index.places[field]
        if key[0] != "number":
            continue
        chance = slips.more_than_tries * length_prior(key[1])
        possible = np.arange(len(chance)) <= tries
        chance += (1 - slips.more_than_tries) * possible / possible.sum()
        _weigh_number(posterior.number[key], np.array([row]), np.array([1 - BLANK_NUMBER]), chance)
        posterior.rules[field] = TRIES


def _weigh_best(index: FormIndex, slips: Slips, posterior: Posterior) -> None:
    """The farthest rung from which enough dropped: its number or, seldom, its distance; left out if none."""
    rungs = [rule for rule in index.rules.counts if rule.option is None]
    best = index.rules.best
    if best is None or not rungs or index.places[best][0][0] != "number":
        return
    key, row = index.places[best]
    chance = slips.best_wrong * length_prior(key[1])
    none_yet = 1.0  # from the farthest rung down
    for rule in reversed(rungs):
        of, at = index.places[rule.of[0]]
        counts = posterior.many[of].counts
        enough = 0.0 if counts is None else float(counts[at][ENOUGH:].sum())
        share, none_yet = none_yet * enough, none_yet * (1 - enough)
        if rule.number is not None and rule.number < len(chance):
            chance[rule.number] += share * (1 - slips.best_wrong - slips.best_by_distance)
        distance = index.places.get(rule.count.rpartition(".")[0] + ".distance")
        if distance is not None and distance[0] == key:
            written = posterior.number[key].values[distance[1], :-1]
            chance += share * slips.best_by_distance * written / max(float(written.sum()), 1e-12)
    blank = none_yet * (1 - slips.best_wrong) + (1 - none_yet) * slips.tally_blank
    _weigh_number(posterior.number[key], np.array([row]), np.array([1 - blank]), chance / chance.sum())
    posterior.rules[best] = BEST


@lru_cache(maxsize=8)
def _steps(boxes: int, astray: float) -> Floats:
    """(V + 1, V) chance of the next distance after each one, and, in the last row, of the first.

    A step of s is as likely as 1 / (s (s + 1)), so that small ones come first and no unit is taken for
    granted.
    """
    size = 10**boxes
    values = np.arange(size)
    up = values - values[:, None]
    share = np.where(up > 0, 1 / np.maximum(up * (up + 1.0), 1.0), 0.0)
    whole = share.sum(axis=1, keepdims=True)
    rising = np.where(whole > 0, share / np.where(whole > 0, whole, 1.0), 1 / size)
    chance = np.concatenate([(1 - astray) * rising + astray / size, length_prior(boxes)[None]])
    chance.flags.writeable = False
    return chance
