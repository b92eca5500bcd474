"""A card as an error-correcting code: the ink of all cells and the card's own sums to one reading.

score = throws + penalty throws, tally = sum of the misses, total = sum of the scores: the player adds up
anyway, and so tells the reader what a doubtful digit must be. Exact by dynamic programming, with a chance
that the player added wrongly. docs/decoding.md shows it on one card.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.form import Form
from shortpencil.scan.reading import MISCOUNTED, ONE_BY_ONE, UNSEEN, CellReading, FieldReading, Finding
from shortpencil.scan.vision.deciding.card_hand import taught_by_card
from shortpencil.scan.vision.deciding.confusions import reweighed
from shortpencil.scan.vision.deciding.findings import broken_promises, far_off_counts
from shortpencil.scan.vision.deciding.flags import OUTSIDE, Judge
from shortpencil.scan.vision.deciding.habits import with_habits
from shortpencil.scan.vision.deciding.verdicts import UNREADABLE, Found, Verdict, Verdicts, verdicts_of
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.weighing.form_index import FormIndex, index_of
from shortpencil.scan.vision.weighing.likelihoods import Floats
from shortpencil.scan.vision.weighing.posterior import Alone, Posterior, cell_likelihoods, fields_alone
from shortpencil.scan.vision.weighing.slips import FlagRule, Slips
from shortpencil.scan.vision.weighing.whole_card import weigh_card

__all__ = ["Decoded", "FlagRule", "Slips", "decode"]

#: Value of a strip for words in which something is written that nobody has typed yet.
SOMETHING_WRITTEN = ""
#: Ink share grows about e-fold per step of this size in a strip's chance to hold words.
_WORDS_SPREAD = 0.15


@dataclass(frozen=True, slots=True)
class Decoded:
    """One card as read: every cell, every field, and the promises that the reading breaks."""

    cells: dict[str, CellReading]
    fields: dict[str, FieldReading]
    findings: tuple[Finding, ...]


def decode(
    form: Form,
    evidence: Evidence,
    slips: Slips = Slips(),  # noqa: B008 (frozen, so one is as good as many)
    flags: FlagRule = FlagRule(),  # noqa: B008
    *,
    habits: bool = True,
) -> Decoded:
    """Return the most probable reading of a card under its ink and its sums, with what to ask.

    Values are the best of each field's exact posterior, so that as few as possible are wrong; where the
    values of two fields do not fit together, at least one is flagged or a finding says so.

    Parameters
    ----------
    habits : let what this card's player fills in and leaves out take the place of what is usual

    Raises
    ------
    ValueError
        for evidence that is NaN or +inf, and for cells that the form doesn't have
    """
    index = index_of(form)
    outside = _outside(index, evidence)
    bubbles, digits = cell_likelihoods(index, evidence.bubbles, evidence.digits, outside)
    posterior, slips = _posterior(form, index, bubbles, digits, slips, evidence.looks, habits=habits)
    verdicts = verdicts_of(index, posterior, slips)
    judge = Judge(flags, posterior.doubt, outside, posterior.rules)
    cells, fields, values = _judged(form, index, verdicts, judge)
    for name, says in far_off_counts(index.rules, values).items():
        if fields[name].flag is None:  # one question: all throws of a phase would be up to 81
            fields[name] = fields[name]._replace(flag=says, ask=ONE_BY_ONE, kind=MISCOUNTED)
            cells.update((cell, cells[cell]._replace(flag=says)) for cell in form.field(name).cell_ids)
    for name, strip in index.words.items():
        fields[name], cells[strip] = _words(strip, evidence, outside, flags)
    return Decoded(
        cells={cell: cells[cell] for cell in index.cells},
        fields={name: fields[name] for name in index.fields},
        findings=broken_promises(form, index.rules, values),
    )


def weighed_so_far(
    form: Form,
    evidence: Evidence,
    slips: Slips = Slips(),  # noqa: B008
) -> tuple[Posterior, Floats, Slips]:
    """What `decode` knows before the card's own hand is asked: posterior, (N, 12) ink of the boxes, slips."""
    index = index_of(form)
    outside = _outside(index, evidence)
    bubbles, digits = cell_likelihoods(index, evidence.bubbles, evidence.digits, outside)
    posterior, slips, _ = _by_ink_and_habits(form, index, bubbles, digits, slips, Alone(), habits=True)
    return posterior, digits, slips


def _by_ink_and_habits(
    form: Form,
    index: FormIndex,
    bubbles: Floats,
    digits: Floats,
    slips: Slips,
    alone: Alone,
    *,
    habits: bool,
) -> tuple[Posterior, Slips, Floats]:
    """Posterior of all fields, weighed again by this player's habits; their slips, the boxes as weighed."""
    posterior = _weigh(form, index, bubbles, digits, slips, alone)
    of_this_hand = reweighed(index, posterior, digits, slips)
    own = with_habits(index, posterior, slips) if habits else slips
    if of_this_hand is None and own == slips:
        return posterior, slips, digits
    digits = digits if of_this_hand is None else of_this_hand
    return _weigh(form, index, bubbles, digits, own, alone), own, digits


def _posterior(
    form: Form,
    index: FormIndex,
    bubbles: Floats,
    digits: Floats,
    slips: Slips,
    looks: Mapping[str, NDArray[np.float32]],
    *,
    habits: bool,
) -> tuple[Posterior, Slips]:
    """Posterior of all fields, weighed again as far as the card shows who wrote it; and its slips."""
    alone = Alone()
    posterior, slips, weighed = _by_ink_and_habits(form, index, bubbles, digits, slips, alone, habits=habits)
    of_this_card = taught_by_card(index, posterior, digits, looks, slips)
    if of_this_card is not None:
        posterior = _weigh(form, index, bubbles, weighed * of_this_card, slips, alone)
    return posterior, slips


def _judged(
    form: Form, index: FormIndex, verdicts: list[Verdicts], judge: Judge
) -> tuple[dict[str, CellReading], dict[str, FieldReading], dict[str, Found]]:
    """Readings of all cells and fields but the strips for words, and the values that findings may rest on."""
    cells: dict[str, CellReading] = {}
    fields: dict[str, FieldReading] = {}
    values: dict[str, Found] = {}
    doubtful: list[Verdict] = []
    readings = [judge.readings(found) for found in verdicts]
    for found, (of_fields, of_cells, rest) in zip(verdicts, readings, strict=True):
        fields.update(zip(found.group.field_ids, of_fields, strict=True))
        cells.update(zip(found.group.all_cell_ids, of_cells, strict=True))
        values.update(zip(found.group.field_ids, found.values, strict=True))
        doubtful += [found.verdict(row) for row in rest]
    conflicts = _conflicts(form, index, verdicts) if doubtful else {}
    for verdict in doubtful:
        name = verdict.field.id
        fields[name], of_cells = judge.reading(verdict, conflicts.get(name))
        cells.update(zip(verdict.cell_ids, of_cells, strict=True))
        values[name] = fields[name].value if fields[name].flag is None else _known(verdict, fields[name])
    return cells, fields, values


def _weigh(
    form: Form, index: FormIndex, bubbles: Floats, digits: Floats, slips: Slips, alone: Alone
) -> Posterior:
    """Posterior of all fields, first alone, then together."""
    posterior = fields_alone(index, bubbles, digits, slips, alone)
    weigh_card(form, index, slips, posterior)
    return posterior


def _outside(index: FormIndex, evidence: Evidence) -> frozenset[str]:
    """Cells of which nothing is known; refuses cells that the form lacks."""
    strips = tuple(index.words.values())
    missing = set(evidence.outside)
    for ids, found in (
        (index.bubbles, evidence.bubbles),
        (index.digits, evidence.digits),
        (strips, evidence.words),
    ):
        known = [cell for cell in ids if cell in found]
        if len(known) < len(found):
            strange = sorted(found.keys() - set(ids))
            raise ValueError(f"expected only cells of the form, found {', '.join(strange[:5])}")
        if len(known) < len(ids):
            missing.update(set(ids) - set(known))
    return frozenset(missing)


def _known(verdict: Verdict, reading: FieldReading) -> Found:
    """The value of a flagged field that a finding may rest on."""
    taken_back = reading.value is None and verdict.value is not None
    return UNREADABLE if taken_back or reading.kind == UNSEEN else reading.value


def _conflicts(form: Form, index: FormIndex, verdicts: list[Verdicts]) -> dict[str, str]:
    """Field id -> the sentence of the first promise that the ink alone would break there."""
    by_ink: dict[str, Found] = {}
    for found in verdicts:
        by_ink.update(zip(found.group.field_ids, found.by_ink(), strict=True))
    findings = broken_promises(form, index.rules, by_ink)
    if not findings:
        return {}
    field_of = {cell: field.id for field in form.fields for cell in field.cell_ids}
    conflicts: dict[str, str] = {}
    for finding in findings:
        for cell in finding.cells:
            conflicts.setdefault(field_of[cell], finding.says)
    return conflicts


def _words(
    cell: str, evidence: Evidence, outside: frozenset[str], flags: FlagRule
) -> tuple[FieldReading, CellReading]:
    """A strip holds words or not; what they say is for the eye."""
    if cell in outside:
        return FieldReading(None, 0.0, OUTSIDE, kind=UNSEEN), CellReading(None, 0.0, OUTSIDE)
    share = evidence.words[cell]
    if not math.isfinite(share):
        raise ValueError(f"{cell}: expected an ink share from 0 to 1, found {share}")
    odds = (share / flags.words_ink - 1) / _WORDS_SPREAD
    p = 1 / (1 + math.exp(-min(abs(odds), 700.0)))
    written = odds > 0
    return FieldReading(SOMETHING_WRITTEN if written else None, p), CellReading(written, p)
