"""Fields that a calendar or a custom ties down: the date, the par of a hole."""

from __future__ import annotations

import numpy as np

from scan.vision.plan import Plan
from scan.vision.posterior import Posterior
from scan.vision.slips import Slips

#: Chance of each par where it is asked: par 3 to 5 are normal, 2 and 6 exist.
_PARS = {2: 0.02, 3: 0.55, 4: 0.25, 5: 0.12, 6: 0.02}
_OTHER_PAR = 0.002
_PAR_BLANK = 0.1

_DAYS = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def weigh_pars(plan: Plan, posterior: Posterior) -> None:
    """Write the posterior of the pars that the card asks for."""
    place = plan.together([hole.par_field for hole in plan.rules.holes])
    if place is None or place[0][0] != "number":
        return
    key, rows = place
    prior = np.full(10 ** key[1], _OTHER_PAR)
    prior[list(_PARS)] = list(_PARS.values())
    prior *= (1 - _PAR_BLANK) / prior.sum()
    number = posterior.number[key].likelihood
    posterior.number[key].set(rows, prior * number.full[rows], _PAR_BLANK * number.blank[rows])


def weigh_date(plan: Plan, slips: Slips, posterior: Posterior) -> None:
    """Day and month agree with the calendar; the year has its say only on 29 February."""
    place = plan.together(["date.day", "date.month"])
    if place is None or place[0] != ("date", 2):
        return
    group = posterior.number["date", 2]
    day, month = group.values[place[1]]
    p_leap = 0.25
    year = plan.places.get("date.year")
    if year is not None and year[0] == ("date", 2):
        values = group.values[year[1]]
        p_leap = float(values[:100:4].sum() + 0.25 * values[100])
    exists = np.zeros((101, 101))
    exists[1:32, 1:13] = np.arange(1, 32)[:, None] <= _DAYS
    exists[29, 2] = p_leap
    exists[1:32, 100] = exists[100, 1:13] = exists[100, 100] = 1.0
    joint = day[:, None] * month * (slips.date_odd + (1 - slips.date_odd) * exists)
    group.set(place[1][:1], joint[:100].sum(axis=1)[None], joint[100].sum()[None])
    group.set(place[1][1:], joint[:, :100].sum(axis=0)[None], joint[:, 100].sum()[None])
