"""Which field next, why it is asked, which key answers it, and what each answer would mean. Pure.

An answer's meaning is found by giving it: the card's round is composed anew with it (2 ms) and what then does
not hold is told beside the button. So the page knows no rule of the card by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from shortpencil.forms.errors import InputError
from shortpencil.forms.form import Field, Form
from shortpencil.scan.asking import must_look
from shortpencil.scan.language import N_, _, day_said, told
from shortpencil.scan.language import percent as whole_percent
from shortpencil.scan.reading import FieldReading, FieldValue
from shortpencil.scan.records.composing.answers import AT_A_GLANCE, LEFT, Answer, checked_answer, standing
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.composing.rounds import Round
from shortpencil.scan.records.composing.validate import ASK, ERROR, RoundFinding, validate
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.review.wording import (
    asks,
    blank_of,
    label_of,
    name_of,
    place_of,
    printed_name,
    rule_said,
    said,
    why_said,
)

#: Keys with a meaning of their own on every question; no option gets one of them.
BLANK_KEY, UNDO_KEY, AS_READ_KEY, LEAVE_KEY = "b", "u", "y", "x"
RESERVED = frozenset({BLANK_KEY, UNDO_KEY, AS_READ_KEY, LEAVE_KEY})

WORTH_OFFERING = 0.005  # an alternative less probable than this is typed, not offered
MOST_OFFERED = 4
STANDS_OUT = 0.2  # below, a guess at a spoilt cell helps nobody
BLANK = ""  # how "nothing" travels in a form

_ANY_DAY = datetime(2000, 1, 1, tzinfo=UTC)  # of answers that are only tried, never stored


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that can be given with one key or one tap.

    Attributes
    ----------
    value : the answer as it travels in the page's form; "" for nothing
    label, key : what the button says and which key presses it ("" for none)
    p : probability by the reader, None where it says nothing of it
    means : what follows, e.g. "hole 7: 4, total 62"
    conflicts : what then does not hold on the card
    standing : whether this is what stands there now
    """

    value: str
    label: str
    key: str
    p: float | None
    means: str = ""
    conflicts: tuple[str, ...] = ()
    standing: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a field's history, in words."""

    by: str
    at: datetime
    says: str
    kept: str = ""  # what it kept, without what stood there before


@dataclass(frozen=True, slots=True)
class Question:
    """Everything the page shows about one field.

    `kind` is "one" (a key answers), "many" (keys choose, Enter saves), "typed" (likely numbers as buttons,
    any other is typed) or "words". `seen` counts the field's entries: the answer carries it back, so that one
    given meanwhile is not overwritten. `waits` says that the card cannot be whole without this answer;
    `doubtful` that the field counts by its probability until it is answered.
    """

    serial: str
    field: str
    place: str
    name: str
    asks: str
    kind: str
    why: str | None
    reader: str
    provenance: str
    choices: tuple[Choice, ...]
    waits: bool
    seen: int
    history: tuple[Entry, ...]
    top: int = 0
    value: FieldValue = None
    undoable: bool = False
    doubtful: bool = False


def question_of(card: Card, field_id: str, *, with_choices: bool = True) -> Question:
    """Return the question about a field of a card, whether it waits or not.

    Without its choices it tells what stands and what was entered, and takes a tenth of the time.

    Raises
    ------
    InputError
        when the form has no such field
    """
    form = card.form
    try:
        field = form.field(field_id)
    except KeyError:
        raise InputError(f"expected a field of the form {form.name!r}, found {field_id!r}.") from None
    now = card.fields.get(field_id, FieldReading(None, 0.0, source="default"))
    read = card.reading.fields.get(field_id)
    entries = [answer for answer in card.answers if answer.field == field_id]
    given = list(standing(entries))
    answered = [entry for entry in given if entry.how != LEFT]
    waits = field_id in card.waiting
    printed = printed_name(card, field_id)
    return Question(
        serial=card.serial,
        field=field_id,
        place=place_of(form, field),
        name=name_of(form, field),
        asks=asks(form, field),
        kind=_kind(field),
        why=_why(card, field) if waits or now.flag is not None else None,
        reader=_(_MUST_LOOK) if waits and _has_no_answer(now) else _reader(form, field, read, printed),
        provenance=_("printed on the card") if printed else _provenance(form, field, read, answered),
        choices=_choices(card, field, now, read, bool(answered)) if with_choices else (),
        waits=waits,
        seen=len(entries),
        history=tuple(_entry(form, field, entry) for entry in entries),
        top=10**field.digits - 1 if field.type == "number" else 0,
        value=printed or now.value,
        undoable=bool(given),
        doubtful=now.flag is not None and not must_look(now),
    )


def parsed(form: Form, field_id: str, texts: Sequence[str]) -> FieldValue:
    """Return the value that a page's form sends for a field, checked against the card's form.

    Raises
    ------
    InputError
        when the form has no such field or the field cannot hold it; says what it can hold
    """
    given = [text for text in texts if text.strip() != BLANK]
    try:
        kind = form.field(field_id).type
    except KeyError:
        kind = "words"  # the check below says that there is no such field
    if kind == "choose-many":
        return checked_answer(form, field_id, given)
    if len(given) > 1:
        raise InputError(f"{field_id}: expected one answer, found {len(given)}.")
    if not given:
        return checked_answer(form, field_id, None)
    if kind != "number":
        return checked_answer(form, field_id, given[0])
    text = given[0].strip()
    if not (text.isascii() and text.isdigit() and len(text) <= 6):
        raise InputError(f"{field_id}: expected a whole number, found {text[:40]!r}.")
    return checked_answer(form, field_id, int(text))


def next_after(
    waiting: Iterable[tuple[str, tuple[str, ...]]], serial: str = "", field: str = "", back: bool = False
) -> tuple[str, str] | None:
    """Return the waiting field after (or before) a place, going round; None when nothing else waits.

    Parameters
    ----------
    waiting : cards in order, each with its waiting fields in the order of the form
    serial, field : the place; it need not wait itself
    """
    places = [(card, name) for card, names in waiting for name in names]
    here = (serial, field)
    if here in places:
        at = places.index(here)
        found = places[(at + (-1 if back else 1)) % len(places)]
        return None if found == here else found
    if not places:
        return None
    of_card = [place for place in places if place[0] == serial]
    return (of_card or places)[-1 if back else 0]


def _kind(field: Field) -> str:
    if field.type == "choose-one":
        return "one"
    if field.type == "choose-many":
        return "one" if len(field.options) == 1 else "many"
    if field.type == "words":
        return "words"
    return "one" if field.digits == 1 else "typed"


#: Said in place of what the reader thinks, where only the ink may answer.
_MUST_LOOK = N_("Only the ink can answer this: the reader offers no guess.")


def _has_no_answer(now: FieldReading) -> bool:
    return must_look(now)


def _why(card: Card, field: Field) -> str:
    found = card.fields.get(field.id)
    return why_said(field.id, found.flag if found is not None else None)


def _reader(form: Form, field: Field, read: FieldReading | None, printed: str | None) -> str:
    """Return what the machine thinks, with its probabilities."""
    if printed:
        return _("The name was printed on the card; nobody needs to type it.")
    if field.type == "words":
        return _("The reader keeps words as a picture; write them out if you like.")
    if read is None:
        return _("The reader says nothing of it.")
    worth = [(value, p) for value, p in _thoughts(read) if p >= WORTH_OFFERING][:3]
    if not worth:
        return _("The reader cannot tell.")
    listed = ", ".join(f"{said(form, field, value)} ({percent(p)})" for value, p in worth)
    if read.rule:
        return _("The reader thinks: {listed}; settled by {rule}.", listed=listed, rule=rule_said(read.rule))
    return _("The reader thinks: {listed}.", listed=listed)


def _provenance(form: Form, field: Field, read: FieldReading | None, answered: list[Answer]) -> str:
    if answered:
        last = answered[-1]
        told_of = {"by": last.by, "when": when_said(last.at), "before": said(form, field, last.over)}
        if last.how == AT_A_GLANCE:
            return _("entered at a glance by {by}, {when}, over {before}", **told_of)
        return _("entered by {by}, {when}, over {before}", **told_of)
    if field.type == "words":
        return _("kept as a picture")
    if read is None:
        return _("not on this reading")
    if read.flag is not None:
        return _("waits for you") if must_look(read) else _("doubtful, counts by its probability")
    if read.source == "inferred":
        rule = rule_said(read.rule) if read.rule else _("the rest of the card")
        return _("inferred from {rule}, {percent}", rule=rule, percent=percent(read.p))
    return _("read, {percent}", percent=percent(read.p))


def _choices(
    card: Card, field: Field, now: FieldReading, read: FieldReading | None, answered: bool
) -> tuple[Choice, ...]:
    chances = _chances(read)
    tried = _Trial(card, field)
    unseen = not answered and _has_no_answer(now)
    certain = answered or (field.id not in card.waiting and now.flag is None)
    keys: set[str] = set()
    choices = []
    for value in _offered(card.form, field, read, now):
        means, conflicts = tried.of(value) if field.type != "words" else ("", ())
        choices.append(
            Choice(
                value=_travels(value),
                label=_label(card.form, field, value),
                key=_key(field, value, keys),
                # A number beside a cell that must be looked at would invite a yes that was not seen.
                p=None if unseen else chances.get(value),
                means=means,
                conflicts=conflicts,
                standing=certain and value == (now.value if now.value != () else None),
            )
        )
    return tuple(choices)


def _chances(read: FieldReading | None) -> dict[FieldValue, float]:
    if read is None:
        return {}
    return {
        (None if value == () else value): p for value, p in reversed(_thoughts(read)) if p >= WORTH_OFFERING
    }


def _thoughts(read: FieldReading) -> list[tuple[FieldValue, float]]:
    """Return what the reader holds possible, best first.

    Where cells are spoilt or out of the picture it gives no value, and its guesses stand apart: they head
    the alternatives with the same probability, or add up to one by themselves. Then "nothing" is no thought
    of it. Guesses of which none stands out are none.
    """
    others = list(read.alternatives)
    first = others[0][1] if others else 0.0
    apart = first == read.p or read.p + sum(p for _, p in others) > 1.0 + 1e-3
    if read.flag is None or read.value is not None or not (others and apart):
        return [(read.value, read.p), *others]
    return others if first >= STANDS_OUT else []


def _offered(form: Form, field: Field, read: FieldReading | None, now: FieldReading) -> Sequence[FieldValue]:
    if field.type == "choose-one":
        return [*(option.id for option in field.options), None]
    if field.type == "choose-many":
        return [*((option.id,) for option in field.options), None]
    if field.type == "words":
        return [None]
    if field.id.endswith(".why") and form.causes:
        return [*sorted(cause.number for cause in form.causes), None]
    if field.digits == 1:
        return [*range(10), None]
    chances = _chances(read)
    likely = sorted((v for v in chances if v is not None), key=lambda v: -chances[v])[:MOST_OFFERED]
    if isinstance(now.value, int) and now.value not in likely:
        likely.append(now.value)
    return [*likely, None]


def _label(form: Form, field: Field, value: FieldValue) -> str:
    if value is None or value == ():
        only = len(field.options) == 1 and field.options[0].id == "yes"
        return _("no, nothing filled") if only else blank_of(field)
    if field.type.startswith("choose"):
        option = str(value[0] if isinstance(value, tuple) else value)
        if option == "yes":
            return _("yes, {label}", label=label_of(field, option))
        return label_of(field, option)
    return said(form, field, value)


def _key(field: Field, value: FieldValue, taken: set[str]) -> str:
    """Return the key of a choice: its digit, "y" and "n" of a yes, "b" of nothing, else a letter."""
    only_yes = len(field.options) == 1 and field.options[0].id == "yes"
    if value is None or value == ():
        return "n" if only_yes else BLANK_KEY
    if only_yes:
        return "y"
    if field.type == "number":
        return str(value) if field.digits == 1 else ""
    option = str(value[0] if isinstance(value, tuple) else value)
    free = (sign for sign in option.lower() if sign.isalnum() and sign not in RESERVED and sign not in taken)
    key = next(free, "")
    taken.add(key)
    return key


def _travels(value: FieldValue) -> str:
    if value is None or value == ():
        return BLANK
    return str(value[0] if isinstance(value, tuple) else value)


class _Trial:
    """Tries answers on a card: what the round would be, and what would not hold."""

    def __init__(self, card: Card, field: Field) -> None:
        self._card, self._field = card, field
        self._cells = set(field.cell_ids)
        self._is_round = card.form.record == "round"

    def of(self, value: FieldValue) -> tuple[str, tuple[str, ...]]:
        """Return what an answer would mean, and what would not hold then."""
        if not self._is_round:
            return "", ()
        tried = Answer(self._field.id, value, "", _ANY_DAY)
        round_ = round_from_reading(
            self._card.form,
            self._card.reading,
            recorded_at=_ANY_DAY,
            answers=(*self._card.answers, tried),
            player=self._card.player,
        )
        return self._means(round_), tuple(told(finding.says) for finding in self._against(round_))

    def _against(self, round_: Round) -> list[RoundFinding]:
        return [
            finding
            for finding in validate(round_, self._card.form)
            # A tried answer has no day, so a date "after the day it was read" means nothing.
            if finding.level in (ERROR, ASK)
            and self._cells.intersection(finding.cells)
            and "after the day it was read" not in finding.says
        ]

    def _means(self, round_: Round) -> str:
        """Return the score of the hole and the sum of all scores, where this answer can move them."""
        if not self._field.id.endswith(".score"):
            return ""
        scores = [hole.score.known for hole in round_.holes]
        known = [score for score in scores if isinstance(score, int)]
        if len(known) == len(scores):
            return _("score of the round {score}", score=sum(known))
        return _("score of the round {score} so far", score=sum(known))


def _entry(form: Form, field: Field, answer: Answer) -> Entry:
    if answer.takes_back:
        says = kept = _("took back {value}", value=said(form, field, answer.over))
    elif answer.how == LEFT:
        says = kept = _("left it as doubt")
    else:
        kept = said(form, field, answer.value)
        if answer.how == AT_A_GLANCE:
            kept = _("{value}, seen at a glance", value=kept)
        says = _("{value}, over {before}", value=kept, before=said(form, field, answer.over))
    return Entry(answer.by, answer.at, says, kept)


def percent(p: float) -> str:
    """Return a probability in percent; never 100 where a doubt is left, never 0 where a chance is."""
    if p >= 1.0:
        return whole_percent(1.0)
    if p >= 0.995:
        return _("over {percent}", percent=whole_percent(0.99))
    return _("under {percent}", percent=whole_percent(0.01)) if p < 0.01 else whole_percent(p)


def when_said(at: datetime) -> str:
    """Return a time in words, in the reader's own zone."""
    own = at.astimezone()
    return _("{day}, {time}", day=day_said(own), time=f"{own:%H:%M}")
