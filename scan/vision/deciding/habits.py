"""What the player of this very card leaves out: from the rest of the card, for the cells that are in doubt.

Some players write every par and every distance, others none; some note the way of each miss and never the
cause. `Slips` holds what is usual. What a card shows is counted here, weighed by how sure its reading is, and
set against some imagined cells of the usual player, so that two or three cells are not yet a habit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from shortpencil.scan.vision.weighing.form_index import FormIndex, HoleRows
from shortpencil.scan.vision.weighing.holes import CLEAN, MISS, UNMARKED
from shortpencil.scan.vision.weighing.likelihoods import Floats
from shortpencil.scan.vision.weighing.posterior import Posterior, filled_in
from shortpencil.scan.vision.weighing.slips import Slips

#: Cells of the usual player that a card's own are set against. Whether par is written is all or nothing; the
#: others vary from hole to hole.
_USUAL, _USUAL_PAR = 6.0, 2.0
#: No habit is surer than this: one par may be written where all others are known by heart.
_RAREST = 0.02


def with_habits(index: FormIndex, posterior: Posterior, slips: Slips) -> Slips:
    """The chances of this card's player, from the posterior of its fields under the usual ones."""
    rows = index.holes
    if rows is None:
        return slips
    found: dict[str, float] = {}
    if rows.par is not None:
        written = filled_in(posterior, *rows.par)
        found["par"] = _share(slips.par, _USUAL_PAR, [(np.ones_like(written), written)])
    marked = _marked(posterior, rows)
    putts = [marked[:, column] for column in rows.throws.putts if 0 <= column < marked.shape[1]]
    distances = [filled_in(posterior, *at) for at in rows.distances]
    found["distance"] = _share(slips.distance, _USUAL, zip(putts, distances, strict=False))
    stances = [(marked[:, column], filled_in(posterior, key, at)) for key, at, column in rows.stances]
    found["stance"] = _share(slips.stance, _USUAL, stances)
    missed = _missed(index, posterior, rows)
    for name, kinds in (
        ("second_pass", ("choose-many",)),
        ("cause", ("number",)),
        ("single", ("choose-one",)),
    ):
        parts = [at for at in rows.second_pass if at[0][0] in kinds]
        found[name] = _share(
            getattr(slips, name), _USUAL, [(missed, filled_in(posterior, *at)) for at in parts]
        )
    return replace(slips, **found)


def _share(usual: float, cells: float, seen: Iterable[tuple[Floats, Floats]]) -> float:
    """How often a cell is filled in where it could be: pairs of the chance that it could, and that it is."""
    could, did = cells, cells * usual
    for chance, filled in seen:
        could += float(chance.sum())
        did += float((chance * filled).sum())
    return float(np.clip(round(did / could, 3), _RAREST, 1 - _RAREST))


def _states(posterior: Posterior, rows: HoleRows) -> Floats:
    """(H, c, 3) posterior of each throw: unmarked, clean, miss."""
    throws = rows.throws
    if not throws.fields.size:
        return np.zeros((len(throws.fields), 0, 3))
    choose = posterior.choose[throws.group]
    by_meaning = choose.weights[throws.fields] * choose.likelihood.meanings[throws.fields]
    states = by_meaning[:, :, list(throws.answers)]
    if throws.only_misses:  # nothing stands for clean
        states[:, :, CLEAN] = 0.0
    return np.asarray(states / states.sum(axis=2, keepdims=True))


def _marked(posterior: Posterior, rows: HoleRows) -> Floats:
    """(H, c) chance that each throw is marked."""
    return np.asarray(1 - _states(posterior, rows)[:, :, UNMARKED])


def _missed(index: FormIndex, posterior: Posterior, rows: HoleRows) -> Floats:
    """(H,) chance that the phase of the second pass missed on each hole."""
    states, worst = _states(posterior, rows), index.rules.worst
    missed = np.zeros(len(states))
    if worst is None or not states.size or index.places[worst][0][0] != "choose-one":
        return missed
    key, row = index.places[worst]
    names = [option.id for option in index.groups[key].fields[row].options]
    choose = posterior.choose[key]
    chosen = choose.weights[row] * choose.likelihood.meanings[row]
    chosen = chosen / chosen.sum()
    ends = np.cumsum((0, *rows.throws.columns))
    for phase, name in enumerate(index.rules.phase_ids):
        if name in names:
            clean = (1 - states[:, ends[phase] : ends[phase + 1], MISS]).prod(axis=1)
            missed += chosen[1 + names.index(name)] * (1 - clean)
    return missed
