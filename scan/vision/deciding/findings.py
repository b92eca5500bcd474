"""Promises of the card that a reading breaks, in words for the player."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from shortpencil.forms.form import Form
from shortpencil.forms.rules import CardRules, CountRule, HoleRule, TallyRule, missed_in_english
from shortpencil.scan.reading import Finding
from shortpencil.scan.vision.deciding.verdicts import UNREADABLE, Found, Unreadable
from shortpencil.scan.vision.weighing.dates import DAYS

#: Field id -> value; nothing is held against an unreadable one.
Values = Mapping[str, Found]


def broken_promises(form: Form, rules: CardRules, values: Values) -> tuple[Finding, ...]:
    """Findings on one reading of the card; blank fields promise nothing."""
    found = [finding for hole in rules.holes if (finding := _hole(form, hole, values)) is not None]
    for check in (_counts(form, rules, values), _total(form, rules, values), _date(form, values)):
        found += check
    return tuple(found)


def _cells(form: Form, field_ids: Iterable[str]) -> tuple[str, ...]:
    wanted = set(field_ids)
    return tuple(cell for field in form.fields if field.id in wanted for cell in field.cell_ids)


def _hole(form: Form, hole: HoleRule, values: Values) -> Finding | None:
    """More throws marked than the score has room for; fewer are no contradiction, marks get forgotten."""
    score = values.get(hole.score)
    penalty = values.get(hole.penalty) if hole.penalty else None
    throws = [values.get(field_id) for field_id, _ in hole.throws]
    if not isinstance(score, int) or isinstance(penalty, Unreadable) or UNREADABLE in throws:
        return None
    marked = sum(throw is not None for throw in throws)
    extra = int(penalty) if isinstance(penalty, str) and penalty.isdecimal() else 0
    if marked + extra <= score or (marked == 0 and extra == 0):
        return None
    parts = _count(marked, "throw is", "throws are") + " marked"
    if extra:
        parts += f" and {_count(extra, 'penalty throw', 'penalty throws')}"
    fields = [
        hole.score,
        *([hole.penalty] if hole.penalty else []),
        *(field_id for field_id, _ in hole.throws),
    ]
    return Finding("throws", _cells(form, fields), f"hole {hole.number}: {parts}, but the score says {score}")


#: Who counts marks is off by one or two. Beyond this either the tally or the marks were misread, or the count
#: means something else, and a person has to say which.
_A_SLIP = 2


def far_off_counts(rules: CardRules, values: Values) -> dict[str, str]:
    """Return the tallies and counts that are off by more than a slip, each with what is wrong."""
    return {of.field: of.says for of in _every_count(rules, values) if abs(of.shown - of.written) > _A_SLIP}


@dataclass(frozen=True, slots=True)
class _Counted:
    """A count as written in a field, and what the marks of other fields show."""

    field: str
    of: tuple[str, ...]
    rule: str
    written: int
    shown: int
    says: str


def _counts(form: Form, rules: CardRules, values: Values) -> list[Finding]:
    return [
        Finding(of.rule, _cells(form, (of.field, *of.of)), of.says)
        for of in _every_count(rules, values)
        if of.shown != of.written
    ]


def _every_count(rules: CardRules, values: Values) -> Iterator[_Counted]:
    """Each tally of a round and each count of a practice sheet that is written."""
    for rule in rules.tallies:
        written, throws = values.get(rule.tally), [values.get(field) for field in rule.throws]
        if isinstance(written, int) and UNREADABLE not in throws:
            missed = sum(throw == "miss" for throw in throws)
            says = _miscounted(rule, written, missed)
            yield _Counted(rule.tally, rule.throws, f"tally.{rule.phase}", written, missed, says)
    for count in rules.counts:
        written, marks = values.get(count.count), [values.get(field) for field in count.of]
        if isinstance(written, int) and UNREADABLE not in marks and any(mark is not None for mark in marks):
            shown = _marked(count, marks)
            says = _sheet_says(count, written, shown)
            yield _Counted(count.count, count.of, "counted", written, shown, says)


def _marked(rule: CountRule, marks: Iterable[Found]) -> int:
    if rule.option is None:
        return sum(len(mark) for mark in marks if isinstance(mark, tuple))
    return sum(mark == rule.option for mark in marks)


def _sheet_says(rule: CountRule, written: int, shown: int) -> str:
    if rule.number is None:
        return f"clean throws: you counted {written}, the marks show {shown}"
    return f"row {rule.number}: you counted {written}, the bubbles show {shown}"


def _miscounted(rule: TallyRule, written: int, missed: int) -> str:
    counted = missed_in_english(written, rule.phase, rule.label)
    return f"you counted {counted}, the marks show {missed}"


def _total(form: Form, rules: CardRules, values: Values) -> list[Finding]:
    if rules.total is None:
        return []
    written = values.get(rules.total.total)
    scores = []
    for hole in rules.holes:
        score = values.get(hole.score)
        played = any(values.get(field_id) is not None for field_id, _ in hole.throws)
        if isinstance(score, int):
            scores.append(score)
        elif isinstance(score, Unreadable) or played:
            return []  # a score is missing: the sum is unknown
    if not isinstance(written, int) or not scores or sum(scores) == written:
        return []
    says = f"your holes add up to {sum(scores)}, your total says {written}"
    return [Finding("total", _cells(form, (*rules.total.scores, rules.total.total)), says)]


def _date(form: Form, values: Values) -> list[Finding]:
    day, month = values.get("date.day"), values.get("date.month")
    known = [part for part in (day, month) if isinstance(part, int)]
    if not known or isinstance(day, Unreadable) or isinstance(month, Unreadable):
        return []
    month_exists = not isinstance(month, int) or 1 <= month <= 12
    longest = DAYS[month - 1] if isinstance(month, int) and month_exists else 31
    if month_exists and (not isinstance(day, int) or 1 <= day <= longest):
        return []
    if not month_exists:
        says = f"there is no month {month}"
    elif isinstance(month, int):
        says = f"there is no day {day} in month {month}"
    else:
        says = f"there is no day {day}"
    return [Finding("date", _cells(form, ("date.day", "date.month")), says)]


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
