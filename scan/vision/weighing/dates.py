"""Fields that a calendar or a custom ties down: the date, the par of a hole."""

from __future__ import annotations

import numpy as np

from shortpencil.scan.vision.weighing.form_index import FormIndex
from shortpencil.scan.vision.weighing.likelihoods import Floats
from shortpencil.scan.vision.weighing.posterior import Posterior
from shortpencil.scan.vision.weighing.slips import Slips

#: Chance of each par where it is asked: par 3 to 5 are normal, 2 and 6 exist.
_PARS = {2: 0.02, 3: 0.55, 4: 0.25, 5: 0.12, 6: 0.02}
_OTHER_PAR = 0.002

#: The card was first printed in 2026. Rounds of before are copied onto it, and every year further back fewer;
#: a later one is likelier the sooner it comes, by little, since nobody tells the decoder what day it is.
#: Both lean so little that a 4 and a 9 are told apart by their ink.
_FIRST_YEAR = 26
_YEAR_BACK, _YEAR_ON_YEAR = 0.7, 0.9
_LEAST_YEAR = 0.001

#: Days of each month in a leap year; 29 February is left to whoever knows the century.
DAYS = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def _existing() -> Floats:
    """(101, 101) whether a day (row) of a month exists, in a leap year; the last of each is a blank."""
    exists = np.zeros((101, 101))
    exists[1:32, 1:13] = np.arange(1, 32)[:, None] <= DAYS
    exists[1:32, 100] = exists[100, 1:13] = exists[100, 100] = 1.0
    return exists


_EXISTS = _existing()


def _years() -> Floats:
    """(100,) how likely each year is, up to a factor."""
    since = np.arange(100) - _FIRST_YEAR
    prior = np.where(since >= 0, _YEAR_ON_YEAR ** np.abs(since), _YEAR_BACK ** np.abs(since))
    return np.maximum(prior, _LEAST_YEAR)


_YEARS = _years()


def weigh_pars(index: FormIndex, slips: Slips, posterior: Posterior) -> None:
    """Write the posterior of the pars that the card asks for."""
    if index.holes is None or index.holes.par is None:
        return
    key, rows = index.holes.par
    prior = np.full(10 ** key[1], _OTHER_PAR)
    prior[list(_PARS)] = list(_PARS.values())
    prior *= slips.par / prior.sum()
    number = posterior.number[key].likelihood
    posterior.rules |= {hole.par_field: "par" for hole in index.rules.holes if hole.par_field}
    posterior.number[key].set(rows, prior * number.full[rows], (1 - slips.par) * number.blank[rows])


def weigh_date(index: FormIndex, slips: Slips, posterior: Posterior) -> None:
    """Day and month agree with the calendar; the year has its say only on 29 February."""
    _weigh_year(index, posterior)
    places = [index.places.get(name) for name in ("date.day", "date.month")]
    rows = np.array([place[1] for place in places if place is not None and place[0] == ("date", 2)])
    if len(rows) < 2:
        return
    group = posterior.number["date", 2]
    day, month = group.values[rows]
    p_leap = 0.25
    year = index.places.get("date.year")
    if year is not None and year[0] == ("date", 2):
        values = group.values[year[1]]
        p_leap = float(values[:100:4].sum() + 0.25 * values[100])
    exists = _EXISTS.copy()
    exists[29, 2] = p_leap
    joint = day[:, None] * month * (slips.date_odd + (1 - slips.date_odd) * exists)
    posterior.rules |= {"date.day": "date", "date.month": "date"}
    group.set(rows[:1], joint[:100].sum(axis=1)[None], joint[100].sum()[None])
    group.set(rows[1:], joint[:, :100].sum(axis=0)[None], joint[:, 100].sum()[None])


def _weigh_year(index: FormIndex, posterior: Posterior) -> None:
    """A year of two digits is soon after the card was first printed, or not long before."""
    year = index.places.get("date.year")
    if year is None or year[0] != ("date", 2):
        return
    group, row = posterior.number["date", 2], year[1]
    posterior.rules["date.year"] = "date"
    values = group.values[row, :-1] * _YEARS * (100 / _YEARS.sum())
    group.set(np.array([row]), values[None], group.values[row, -1:])
