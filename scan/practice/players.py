"""Several players: what a group says about a newcomer, and a coach's page by alias.

A newcomer's three rounds are drawn towards the group: how far is learnt from how unlike its players are. In
group tables, cells of fewer than `LEAST_IN_CELL` players are hidden, and players appear under the alias they
chose, in the order of the alphabet, never ranked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import _
from shortpencil.scan.practice.focus import Focus, focus_of, why_no_focus
from shortpencil.scan.practice.history import History, rated
from shortpencil.scan.practice.model import log_beta_binomial, spread_between
from shortpencil.scan.practice.phases import HALF_LIFE_ROUNDS, PhasePrior

Floats = NDArray[np.float64]

#: Fewer other players than this say too little about how unlike players are.
LEAST_OTHERS = 4
#: From so many rounds of their own, a player is judged by these alone.
NEWCOMER_ROUNDS = 10
#: Cells of a group table with fewer players are hidden, as is usual in disclosure control.
LEAST_IN_CELL = 5

_RATES = np.linspace(0.02, 0.9, 60)
#: Throws that the group's rate stands for: from hardly any (players unlike) to many (all alike).
_STRENGTHS = np.exp(np.linspace(np.log(2), np.log(200), 40))


@dataclass(frozen=True, slots=True)
class GroupCell:
    """How many players of a group have one focus and leading cause; None where hidden."""

    phase: str
    cause: str
    players: int | None


@dataclass(frozen=True, slots=True)
class Group:
    """The foci of a group: each player's own by alias, and the table with small cells hidden."""

    foci: Mapping[str, Focus]
    without: Mapping[str, str]  # alias -> why no focus can be named
    cells: tuple[GroupCell, ...]
    hidden_players: int | None


def prior_from(others: Mapping[str, History]) -> PhasePrior | None:
    """Return what other players suggest about a newcomer's miss rates, or None with too few of them.

    Each phase's rates are taken as drawn from one Beta distribution, whose mean and strength are learnt from
    the counts of all (posterior mean on a grid, uniform in mean and standard deviation).
    """
    if len(others) < LEAST_OTHERS:
        return None
    return _prior(np.sum([_log_likelihood(e) for e in others.values()], axis=0))


def group_of(
    players: Mapping[str, History],
    half_life_rounds: float = HALF_LIFE_ROUNDS,
    possible: Mapping[str, Sequence[History]] | None = None,
) -> Group:
    """Return the foci of all players, newcomers drawn towards the rest of the group.

    `possible` are, of players with doubtful values, rounds that may be true (`scan.practice.doubt`).
    """
    foci, without = {}, {}
    told = {alias: _log_likelihood(e) for alias, e in players.items()}
    total = np.sum(list(told.values()), axis=0)
    for alias in sorted(players, key=str.casefold):
        history = players[alias]
        prior = None
        if history.rounds < NEWCOMER_ROUNDS and len(players) > LEAST_OTHERS:
            prior = _prior(total - told[alias])
        draws = (possible or {}).get(alias, ())
        focus = focus_of(history, half_life_rounds=half_life_rounds, prior=prior, possible=draws)
        if focus is None:
            without[alias] = why_no_focus(history) or ""
        else:
            foci[alias] = focus
    counted: dict[tuple[str, str], int] = {}
    for focus in foci.values():
        lead = focus.causes.leading
        key = (focus.phase, lead.words if lead else _("no cause noted"))
        counted[key] = counted.get(key, 0) + 1
    cells = tuple(
        GroupCell(phase, cause, n if n >= LEAST_IN_CELL else None)
        for (phase, cause), n in sorted(counted.items())
    )
    hidden = sum(n for n in counted.values() if n < LEAST_IN_CELL)
    # One hidden cell could be worked out from the total; the sum of the hidden is told only if large enough.
    return Group(foci, without, cells, hidden if hidden >= LEAST_IN_CELL or hidden == 0 else None)


def _log_likelihood(history: History) -> Floats:
    """Log-likelihood of a player's counts by phase, rate and strength of the group, (P, R, S)."""
    history = rated(history)
    phases = []
    for k in range(len(history.phases)):
        factor = spread_between(history.misses[:, k], history.marked[:, k]).factor
        misses, throws = history.misses[:, k].sum() / factor, history.marked[:, k].sum() / factor
        phases.append(_log_likelihood_of(float(misses), float(throws)))
    return np.asarray(phases)


def _log_likelihood_of(misses: float, throws: float) -> Floats:
    a = _RATES[:, None] * _STRENGTHS[None, :]
    b = (1 - _RATES[:, None]) * _STRENGTHS[None, :]
    return log_beta_binomial(np.asarray(misses), np.asarray(throws), a, b)


def _prior(log_likelihood: Floats) -> PhasePrior:
    pairs = [_beta_of(phase) for phase in log_likelihood]
    return PhasePrior(tuple(a for a, _ in pairs), tuple(b for _, b in pairs))


def _beta_of(log_likelihood: Floats) -> tuple[float, float]:
    """Return the Beta distribution of rates behind counts: posterior mean of its mean and log strength."""
    # Uniform in the standard deviation, which goes with 1 / sqrt(strength): by log strength that is another
    # 1 / sqrt(strength). It leaves a little more doubt about players being alike than a flat prior does.
    log_weight = log_likelihood - 0.5 * np.log(_STRENGTHS)[None, :]
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    rate = float(np.sum(weight * _RATES[:, None]))
    strength = float(np.exp(np.sum(weight * np.log(_STRENGTHS)[None, :])))
    return rate * strength, (1 - rate) * strength
