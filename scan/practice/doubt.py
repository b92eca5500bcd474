"""What doubtful values leave open: many whole rounds that may be true, worked out each and put together.

Each quantity is worked out from every draw of whole rounds (`records.composing.doubt`). A probability is the
mean of those of the draws. A range is that of one draw, widened by how much the draws differ: the variance is
the mean of the draws' own and 1 + 1/M times that between the M draws (Rubin 1987, *Multiple Imputation for
Nonresponse in Surveys*, ch. 3).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from shortpencil.scan.language import ngettext
from shortpencil.scan.practice.causes import Causes, Share, level_of
from shortpencil.scan.practice.history import History, history_of
from shortpencil.scan.practice.model import Interval, normal_quantile
from shortpencil.scan.practice.phases import PhaseEvidence, Window
from shortpencil.scan.practice.putting import Curve, Group, Putting
from shortpencil.scan.practice.results import TwoByTwo
from shortpencil.scan.records.composing.doubt import has_doubt, possible_rounds
from shortpencil.scan.records.composing.rounds import Round

Floats = NDArray[np.float64]

#: Draws of whole rounds; fewer where there are many rounds, of which each then matters less.
DRAWS, LEAST_DRAWS, ROUNDS_AT_ONCE = 12, 4, 6000


def possible_histories(rounds: Sequence[Round], draws: int | None = None) -> tuple[History, ...]:
    """Return histories of whole rounds that may be true, several; nothing where none is doubtful."""
    if not any(has_doubt(played) for played in rounds):
        return ()
    count = draws or int(np.clip(ROUNDS_AT_ONCE // len(rounds), LEAST_DRAWS, DRAWS))
    each = [possible_rounds(played, count) for played in rounds]
    return tuple(history_of(possible[i] for possible in each) for i in range(count))


def doubt_remark(rounds: Sequence[Round]) -> str | None:
    """Say how many values of the rounds count by their probability; None where none does."""
    from shortpencil.scan.records.composing.tidy import doubtful_values

    count = sum(1 for played in rounds for _ in doubtful_values(played))
    if not count:
        return None
    return ngettext(
        "{n} value on your cards is doubtful and counts by its probability; the ranges allow for it.",
        "{n} values on your cards are doubtful and count by their probability; the ranges allow for it.",
        count,
    )


def pooled_interval(found: Sequence[Interval], low: float = -np.inf, high: float = np.inf) -> Interval:
    """Return one range for those of several draws, within `low` and `high`."""
    middle = np.array([i.middle for i in found])
    if np.isnan(middle).any():
        known = [i for i in found if not np.isnan(i.middle)]
        return pooled_interval(known, low, high) if known else found[0]
    z = normal_quantile()
    at = float(middle.mean())
    between = (1 + 1 / len(found)) * float(middle.var(ddof=1)) if len(found) > 1 else 0.0
    if not np.isfinite([i.low for i in found] + [i.high for i in found]).all():
        return Interval(min(i.low for i in found), at, max(i.high for i in found))
    down = float(np.mean([((i.middle - i.low) / z) ** 2 for i in found]))
    up = float(np.mean([((i.high - i.middle) / z) ** 2 for i in found]))
    return Interval(
        max(low, at - z * float(np.sqrt(down + between))),
        at,
        min(high, at + z * float(np.sqrt(up + between))),
    )


def pooled_chance(p_values: Sequence[float]) -> float:
    """Return one p value for those of several draws: their mean.

    A normal deviate z of variance 1 whose draws have the variance B around their mean is, by Rubin's rules,
    the mean over the root of 1 + B; and where z is normal, its tail there is the mean of the draws' tails.
    """
    return float(np.mean(p_values))


def pooled_phases(draws: Sequence[Sequence[PhaseEvidence]]) -> tuple[PhaseEvidence, ...]:
    """Return the phases' evidence of several draws as one."""
    return tuple(_pooled_phase(phase) for phase in zip(*draws, strict=True))


def _pooled_phase(found: Sequence[PhaseEvidence]) -> PhaseEvidence:
    def mean(name: str) -> float:
        return float(np.mean([getattr(one, name) for one in found]))

    strokes = [one.strokes_a_round for one in found]
    between = float(np.var([i.middle for i in strokes], ddof=1)) if len(found) > 1 else 0.0
    rate = float(np.mean([one.learnt[0] ** 2 for one in found])) + between
    return replace(
        found[0],
        last=_pooled_window([one.last for one in found]),
        recent=_pooled_window([one.recent for one in found]),
        all=_pooled_window([one.all for one in found]),
        misses_a_round=mean("misses_a_round"),
        cost=pooled_interval([one.cost for one in found], 0.0),
        cost_learnt=any(one.cost_learnt for one in found),
        saved_a_miss=pooled_interval([one.saved_a_miss for one in found], 0.0),
        strokes_a_round=pooled_interval(strokes, 0.0),
        p_highest_rate=mean("p_highest_rate"),
        p_costs_most=mean("p_costs_most"),
        spread_factor=mean("spread_factor"),
        learnt=(float(np.sqrt(rate)), float(np.sqrt(np.mean([one.learnt[1] ** 2 for one in found])))),
    )


def _pooled_window(found: Sequence[Window]) -> Window:
    return Window(
        found[0].label,
        found[0].rounds,
        _whole([one.misses for one in found]),
        _whole([one.marked for one in found]),
        pooled_interval([one.interval for one in found], 0.0, 1.0),
    )


def _whole(counts: Sequence[int]) -> int:
    return round(float(np.mean(counts)))


def pooled_tables(draws: Sequence[Sequence[TwoByTwo]]) -> tuple[TwoByTwo, ...]:
    """Return each phase's table of execution and result from several draws; counts are means."""
    if len(draws) == 1:
        return tuple(draws[0])
    counts = ("clean_good", "clean_bad", "missed_good", "missed_bad", "left_out")
    return tuple(
        replace(
            found[0],
            **{name: _whole([getattr(one, name) for one in found]) for name in counts},
            good_when_clean=pooled_interval([one.good_when_clean for one in found], 0.0, 1.0),
            good_when_missed=pooled_interval([one.good_when_missed for one in found], 0.0, 1.0),
        )
        for found in zip(*draws, strict=True)
    )


def pooled_causes(found: Sequence[Causes]) -> Causes:
    """Return the causes of several draws as one; counts are means, to the nearest whole one."""
    if len(found) == 1:
        return found[0]
    causes = _pooled_shares([one.causes for one in found])
    lead = causes[0] if causes and causes[0].count else None
    table: Counter[tuple[str, str]] = Counter()
    for one in found:
        table.update(one.table)
    side = replace(
        found[0].side,
        late=_whole([one.side.late for one in found]),
        early=_whole([one.side.early for one in found]),
        p_late=float(np.mean([one.side.p_late for one in found])),
    )
    same = len({one.suggestion for one in found}) == 1
    return replace(
        found[0],
        notes=_whole([one.notes for one in found]),
        causes=causes,
        ways=_pooled_shares([one.ways for one in found]),
        table={key: count for key, n in table.items() if (count := round(n / len(found)))},
        side=side,
        level=level_of(lead.p_leads) if lead else "not settled",
        suggestion=found[0].suggestion if same else None,
        agrees=found[0].agrees if same and len({one.agrees for one in found}) == 1 else None,
    )


def _pooled_shares(draws: Sequence[Sequence[Share]]) -> tuple[Share, ...]:
    by_id: dict[str, list[Share]] = {}
    for shares in draws:
        for share in shares:
            by_id.setdefault(share.id, []).append(share)
    means: Mapping[str, float] = {name: sum(s.count for s in of) / len(draws) for name, of in by_id.items()}
    listed = [
        Share(
            name,
            of[0].words,
            round(means[name]),
            pooled_interval([s.share for s in of], 0.0, 1.0),
            float(np.mean([s.p_leads for s in of])),
        )
        for name, of in by_id.items()
    ]
    return tuple(sorted(listed, key=lambda share: -means[share.id]))


def pooled_putting(found: Sequence[Putting]) -> Putting:
    """Return what is told of putts from several draws as one; a curve where each draw makes one."""
    if len(found) == 1:
        return found[0]
    curves = [one.curve for one in found if one.curve is not None]
    whole = len(curves) == len(found)
    return replace(
        found[0],
        putts=_whole([one.putts for one in found]),
        bands=tuple(_pooled_group(of) for of in zip(*(one.bands for one in found), strict=True)),
        inside=_pooled_group([one.inside for one in found]),
        beyond=_pooled_group([one.beyond for one in found]),
        stances=tuple(_pooled_group(of) for of in zip(*(one.stances for one in found), strict=True)),
        curve=_pooled_curve(curves) if whole else None,
        too_few=None if whole else next(one.too_few for one in found if one.curve is None),
        edge=_whole([one.edge for one in found]),
    )


def _pooled_group(found: Sequence[Group]) -> Group:
    expected = [one.expected for one in found if one.expected is not None]
    return Group(
        found[0].label,
        _whole([one.tries for one in found]),
        _whole([one.holed_count for one in found]),
        pooled_interval([one.holed for one in found], 0.0, 1.0),
        _whole([one.marked for one in found]),
        _whole([one.clean_count for one in found]),
        pooled_interval([one.clean for one in found], 0.0, 1.0),
        float(np.mean(expected)) if expected else None,
    )


def _pooled_curve(curves: Sequence[Curve]) -> Curve:
    grid = curves[0].distance_m
    z = normal_quantile()

    def odds(name: str) -> Floats:
        on_grid = np.array([np.interp(grid, c.distance_m, getattr(c, name)) for c in curves])
        inside = np.clip(on_grid, 1e-6, 1 - 1e-6)
        return np.asarray(np.log(inside / (1 - inside)))

    low, middle, high = odds("low"), odds("middle"), odds("high")
    between = (1 + 1 / len(curves)) * middle.var(axis=0, ddof=1)
    at = middle.mean(axis=0)
    down = z * np.sqrt((((middle - low) / z) ** 2).mean(axis=0) + between)
    up = z * np.sqrt((((high - middle) / z) ** 2).mean(axis=0) + between)
    evens = [c.even_m for c in curves if c.even_m is not None]
    even = pooled_interval(evens, 0.0) if len(evens) == len(curves) else None
    return Curve(
        grid, _chance(at - down), _chance(at), _chance(at + up), even, max(c.longest_m for c in curves)
    )


def _chance(log_odds: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-log_odds)))
