"""From what the fields of a practice card or sheet say to the sets that were practised.

Each set of a drill is one number field, whose id says what it counts: ``made.DRILL.TRIES.N`` is how many of
TRIES were made in set N of DRILL. So a photo of the card needs nothing but its own field map to become
practice results. On a sheet of ten putts from each rung, or of throws on a field, what is counted there is
(`forms.rules`): a set a rung, with its distance, and one of all throws.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from shortpencil.forms.form import Form
from shortpencil.forms.rules import FIELD_SHEET, LADDER_SHEET, CountRule, is_sheet, rules_of
from shortpencil.forms.units import to_metres
from shortpencil.scan.reading import FieldReading
from shortpencil.scan.records.composing.card_values import day_of
from shortpencil.scan.records.composing.compose import DISTANCE_DECIMALS
from shortpencil.scan.records.composing.rounds import PracticeSet, Value

#: The phase that a practice sheet is practice of. Its sets are called as the sheet is among drills.
PHASE_OF_SHEET: Mapping[str, str] = {LADDER_SHEET: "putt", FIELD_SHEET: "drive"}

#: The phases that the sets of sheets serve; those of drills are in a list of drills (`scan.practice.plan`).
PHASES_OF_SHEETS: Mapping[str, Sequence[str]] = {sheet: (phase,) for sheet, phase in PHASE_OF_SHEET.items()}

#: A drill, its tries, how many of them were made, and from where, in metres.
_Set = tuple[str, Value, Value, Value | None]
#: A rung's distance that is printed before it.
_PRINTED = re.compile(r"([0-9]{1,3}(?:[.,][0-9]+)?) ?(m|ft)")


def has_sets(form: Form) -> bool:
    """Say whether what a form asks is practice: makes of tries, putts that drop, throws of field work."""
    return bool(form.record == "practice" or rules_of(form).tries or _counted_on(form))


def sets_from(
    form: Form, fields: Mapping[str, FieldReading], serial: str, player: str | None
) -> tuple[PracticeSet, ...]:
    """Return the sets that a read (and answered) practice card or sheet tells, in the order printed.

    A set left blank was not done and is no set; a flagged one waits and counts nowhere until answered. They
    are the player's whose name was answered on the sheet, else `player`'s, for whom it was printed.
    """
    when, named = day_of(fields), fields.get("player")
    whose = (named.value if named is not None and isinstance(named.value, str) else "") or player
    found = (*_of_sheet(form, fields), *_of_card(form, fields))
    return tuple(
        PracticeSet(
            card=serial,
            row=row,
            day=when,
            player=whose,
            drill=drill,
            tries=tries,
            made=made,
            distance_m=distance,
        )
        for row, one in enumerate(found, start=1)
        if one is not None
        for drill, tries, made, distance in (one,)
    )


def phase_of_drills(drills: Iterable[str], phases: Mapping[str, Sequence[str]]) -> str | None:
    """Return the phase that all drills of a card or sheet serve; None where it is not one, or not known.

    A drill that serves none of those that the ones before it have in common is passed over.
    """
    common: set[str] = set()
    for drill in drills:
        served = set(phases.get(drill, ()))
        common = common & served or common or served
    return next(iter(common)) if len(common) == 1 else None


def _of_card(form: Form, fields: Mapping[str, FieldReading]) -> Iterator[_Set | None]:
    """Yield each set of a practice card; None where it was left blank."""
    for name, tries in rules_of(form).tries:
        answer = fields.get(name)
        if answer is None or (answer.value is None and answer.flag is None):
            yield None
            continue
        made = answer.value if isinstance(answer.value, int) else None
        waits = answer.flag is not None or (made is not None and made > tries)
        status = "waits" if waits else "known"
        drill = name.split(".")[1]
        yield (
            drill,
            Value(tries, source="printed"),
            Value(made, source=answer.source, p=answer.p, status=status),
            None,
        )


def _counted_on(form: Form) -> tuple[CountRule, ...]:
    """What a sheet counts that is practice of a phase.

    Putts drop, on whatever form. Throws that are judged may be of any phase: those of field work alone, as
    it comes with the program, are taken for drives.
    """
    return tuple(rule for rule in rules_of(form).counts if rule.option is None or is_sheet(form, FIELD_SHEET))


def _of_sheet(form: Form, fields: Mapping[str, FieldReading]) -> Iterator[_Set | None]:
    """Yield what a practice sheet counts: a set a rung, and one of all throws on a field; None if none."""
    printed = {form.row_numbers[row - 1]: form.row_label(row) for row in range(1, form.rows + 1)}
    for rule in _counted_on(form):
        distance = None
        marks = [found for field in rule.of if (found := fields.get(field)) is not None]
        if rule.option is None:
            drill = LADDER_SHEET
            counted = _of_rung(marks, fields.get(rule.count), len(form.field(rule.of[0]).options))
            written = fields.get(f"{rule.of[0].rpartition('.')[0]}.distance")
            distance = _distance(written, form.unit) or _printed_distance(printed.get(rule.number or 0))
        else:
            drill, counted = FIELD_SHEET, _of_throws(marks, rule.option)
        yield None if counted is None else (drill, *counted, distance)


def _distance(written: FieldReading | None, unit: str) -> Value | None:
    """From where a rung was thrown, in metres; None where nothing is written."""
    if written is None:
        return None
    if written.flag is not None:
        return Value(None, p=written.p, status="waits")
    if not isinstance(written.value, int) or not written.value:
        return None
    return Value(round(to_metres(written.value, unit), DISTANCE_DECIMALS), source=written.source, p=written.p)


def _printed_distance(label: str | None) -> Value | None:
    """The distance that stands before a row of a form of one's own, as in ``6 m``; None where none does."""
    found = _PRINTED.fullmatch(label or "")
    if found is None or not (written := float(found[1].replace(",", "."))):
        return None
    return Value(round(to_metres(written, found[2]), DISTANCE_DECIMALS), source="printed")


def _of_rung(
    marks: Sequence[FieldReading], count: FieldReading | None, options: int
) -> tuple[Value, Value] | None:
    """Tries and makes of one rung, by its bubbles, or by their count where all bubbles are left out.

    A count that a person entered, as when asked why it differs, stands over bubbles that nobody touched.
    """
    tries = Value(options, source="printed")
    said = [found for found in (*marks, count) if found is not None]
    if any(found.flag is not None for found in said):
        return tries, Value(None, p=min(found.p for found in said), status="waits")
    filled = [found for found in marks if found.value is not None]
    entered = count is not None and count.value is not None and count.source == "entered"
    if filled and not (entered and all(found.source != "entered" for found in filled)):
        made = sum(len(found.value) for found in filled if isinstance(found.value, tuple))
        return tries, Value(made, source=filled[0].source, p=filled[0].p)
    if count is None or not isinstance(count.value, int):
        return None  # not thrown
    if count.value > options:
        return tries, Value(None, p=count.p, status="waits")
    return tries, Value(count.value, source=count.source, p=count.p)


def _of_throws(marks: Sequence[FieldReading], option: str) -> tuple[Value, Value] | None:
    """How many throws were judged, and how many were clean; those that wait count nowhere."""
    known = [found for found in marks if found.flag is None and found.value is not None]
    if not known:
        return None
    p = min(found.p for found in known)
    return Value(len(known), p=p), Value(sum(found.value == option for found in known), p=p)
