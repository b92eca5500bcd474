"""From what a card's fields say to a round: throws in order, who holed out, units, dates, defaults.

A card says less than a round holds, and the rest follows by rule:

- **Which throws there were.** A throw is known when its column, its distance or its stance is marked; so is
each
  earlier column of its phase, and the drive. Score less penalties says how many throws there were in all.
- **Who holed out.** The last throw of a finished hole (Official Rules of Disc Golf, 807). It is known only
when
  the score accounts for exactly the throws that are known. With more throws than columns the card's promise
  is that the rest stay unmarked, so where all columns are filled none of them is the last.
- **The second pass** speaks of one phase, the worst. What stands in a row goes to the *first* missed
  throw of that phase on that hole: the card has room for one note a hole, and the first miss is the one that
  brought the others about. A note with no such throw is kept in the round's notes and becomes a finding.
- **Nothing flagged counts.** A flagged field gives a value that waits; a date that does not exist waits too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from forms.errors import InputError
from forms.form import Form
from forms.rules import PHASES, HoleRule, rules_of
from forms.units import to_metres
from scan.reading import CardReading, FieldReading
from scan.records.answers import Answer, lay_over
from scan.records.rounds import Hole, Round, Scalar, Throw, Value, is_day

CENTURY = 2000  # the card has two boxes for the year; it was first printed in this century
DATE_FIELDS = ("date.day", "date.month", "date.year")
DISTANCE_DECIMALS = 3  # a millimetre: far finer than a paced distance, coarse enough to print neatly
P_DECIMALS = 6  # as in the published JSON of a reading, so that a round composed from that is the same
NOT_ASKED = Value(None, source="default")


def round_from_reading(
    form: Form,
    reading: CardReading,
    *,
    recorded_at: datetime,
    answers: Iterable[Answer] = (),
    player: str | None = None,
    photos: Iterable[str] = (),
) -> Round:
    """Return the round that a card's reading and a person's answers make together.

    Parameters
    ----------
    form : the form the card was printed from, with its course where that is printed in
    reading : what the machine says; must not be a rejected photo
    recorded_at : when the photo was read, with a time zone
    answers : entered values, oldest first
    player : alias printed on the card or given with the photo; a name answered on the card goes first
    photos : SHA-256 of the photos of this card beyond the reading's own

    Raises
    ------
    InputError
        when the form calls its answers for a throw something else than "clean" and "miss"
    """
    if form.record != "round" or reading.status != "read":
        raise ValueError("a round is composed from a readable card of a round form")
    card = _Card(form, reading, tuple(answers))
    rules = rules_of(form)
    worst = _worst(card, rules.worst, rules.holes)
    notes: dict[str, str] = {}
    unit = str(card.value("unit").known or form.unit)
    holes = tuple(_hole(card, rule, worst, unit, notes) for rule in rules.holes)
    notes |= {name: text for name in card.own_words() if (text := _text(card.value(name)))}
    shas = {*photos, *([reading.photo_sha256] if reading.photo_sha256 else [])}
    return Round(
        id=reading.serial or f"photo-{(reading.photo_sha256 or 'unknown')[:16]}",
        form=reading.form or form.name,
        played_on=card.played_on(),
        player=_text(card.value("player")) or player,
        course=(form.course.name or None) if form.course else _text(card.value("course")),
        layout=(form.course.layout or None) if form.course else _text(card.value("layout")),
        hand=card.value_or("hand", Value(form.hand, source="printed")),
        unit=unit,
        wind=card.value("wind"),
        worst=worst,
        tallies={rule.phase: card.value(rule.tally) for rule in rules.tallies},
        total=card.value(rules.total.total) if rules.total else NOT_ASKED,
        holes=holes,
        sources=tuple(sorted(shas)),
        recorded_at=recorded_at.astimezone(UTC),
        waiting=card.waiting(),
        notes=notes,
    )


def _text(value: Value) -> str | None:
    return str(value.known) if value.known else None


class _Card:
    """The fields of one card as they stand, answered for by machine or person."""

    def __init__(self, form: Form, reading: CardReading, answers: tuple[Answer, ...]) -> None:
        self.form = form
        self.pictures = reading.pictures
        self._read = reading.fields
        self._fields = lay_over(reading.fields, answers)
        self._answers = {answer.field: answer for answer in answers}
        self._defaults = {field.id: field.default for field in form.fields}

    def value(self, field_id: str | None) -> Value:
        """Return the field's value with its provenance; an unmarked choice with a default gets that."""
        if field_id is None or field_id not in self._defaults:
            return NOT_ASKED
        answer, found = self._answers.get(field_id), self._fields.get(field_id)
        default = self._defaults[field_id]
        if answer is not None:
            value = _scalar(answer)
            source = "entered"
            if value is None and default is not None:
                value = default
            over = self._over(answer)
            return Value(value, source, by=answer.by, at=answer.at, over=over)
        if found is None:
            return Value(default, source="default")
        value, p = _scalar(found), round(found.p, P_DECIMALS)
        status = "waits" if found.flag is not None else "known"
        if value is None and default is not None:
            return Value(default, "default", p, status)
        rule = found.rule if found.source == "inferred" else None
        return Value(value, found.source, p, status, rule)

    def value_or(self, field_id: str, fallback: Value) -> Value:
        """Return the field's value, or `fallback` where the card does not ask or nothing is marked."""
        value = self.value(field_id)
        return fallback if value.value is None and value.status == "known" else value

    def marks(self, field_id: str) -> bool:
        """Say whether a hand answered the field; a default is no mark."""
        value = self.value(field_id)
        return value.value is not None and value.source != "default"

    def own_words(self) -> list[str]:
        """Ids of the strips for words that stand outside the rows and have no place in the round's head."""
        outside = [field.id for field in self.form.fields if field.type == "words" and field.row is None]
        return [name for name in outside if name not in ("player", "course", "layout")]

    def played_on(self) -> Value:
        """Return the date; it waits when a part waits or is missing, or when there is no such day."""
        parts = [self.value(name) for name in DATE_FIELDS]
        if all(part.value is None and part.status == "known" for part in parts):
            return parts[0] if parts[0] is NOT_ASKED else replace(parts[0], p=_least(parts))
        text = _date_text([part.value for part in parts])
        entered = [part for part in parts if part.at is not None]
        waits = any(part.status == "waits" for part in parts) or not is_day(text)
        status = "waits" if waits else "known"
        if not entered:
            return Value(text, p=_least(parts), status=status)
        latest = max(entered, key=lambda part: part.at or datetime.min.replace(tzinfo=UTC))
        before = [self._read[name].value if name in self._read else None for name in DATE_FIELDS]
        over = None if before == [None, None, None] else _date_text(before)
        return Value(text, "entered", status=status, by=latest.by, at=latest.at, over=over)

    def waiting(self) -> tuple[str, ...]:
        """Ids of the fields a person must look at before the round is whole, in the form's order."""
        flagged = {name for name, found in self._fields.items() if found.flag is not None}
        day = self.played_on()
        if day.status == "waits" and not flagged & set(DATE_FIELDS):
            blank = {name for name in DATE_FIELDS if self.value(name).value is None}
            flagged |= blank or set(DATE_FIELDS)
        for field in self.form.fields:
            if field.id.endswith(".why") and self.cause(field.id).status == "waits":
                flagged.add(field.id)
        return tuple(field.id for field in self.form.fields if field.id in flagged)

    def cause(self, field_id: str | None) -> Value:
        """Return the cause's id in place of its number; a number that is not on the list waits."""
        value = self.value(field_id)
        if value.value is None or not self.form.causes:
            return value if value.value is None else replace(value, value=str(value.value))
        ids = {cause.number: cause.id for cause in self.form.causes}
        number, over = _whole(value.value), _whole(value.over)
        return replace(
            value,
            value=ids.get(number, str(value.value)) if number is not None else str(value.value),
            over=ids.get(over, value.over) if over is not None else value.over,
            status=value.status if number in ids else "waits",
        )

    def _over(self, answer: Answer) -> Scalar:
        return " ".join(answer.over) if isinstance(answer.over, tuple) else answer.over


def _scalar(answer: Answer | FieldReading) -> Scalar:
    """Return the answer as one scalar: several options joined by spaces, none of them as None."""
    return (" ".join(answer.value) or None) if isinstance(answer.value, tuple) else answer.value


def _whole(value: Scalar) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def _least(parts: Iterable[Value]) -> float | None:
    """Return the smallest probability: a bound no part of the whole is surer than."""
    return min((part.p for part in parts if part.p is not None), default=None)


def _date_text(day_month_year: Iterable[object]) -> str:
    """Return the date as written, in ISO order; a part that is missing shows as question marks."""
    day, month, year = day_month_year
    shown_year = f"{CENTURY + year:04d}" if isinstance(year, int) else "????"
    return "-".join(
        [shown_year, *(f"{part:02d}" if isinstance(part, int) else "??" for part in (month, day))]
    )


def _worst(card: _Card, field_id: str | None, holes: Iterable[HoleRule]) -> Value:
    """Return the worst phase as marked, or the one with most misses where one leads and none is marked."""
    value = card.value(field_id)
    if field_id is None or value.value is not None or value.status == "waits":
        return value
    throws = [throw for hole in holes for throw in hole.throws]
    counts = {
        phase: sum(of == phase and card.value(name).known == "miss" for name, of in throws)
        for phase in PHASES
    }
    most = max(counts.values())
    leaders = [phase for phase, count in counts.items() if count == most]
    if most == 0 or len(leaders) > 1 or any(card.value(name).status == "waits" for name, _ in throws):
        return value
    return Value(leaders[0], source="inferred", rule="most-misses")


def _hole(card: _Card, rule: HoleRule, worst: Value, unit: str, notes: dict[str, str]) -> Hole:
    score = card.value(rule.score)
    penalty = _penalty(card, rule.penalty)
    printed = card.form.course.holes[rule.row - 1] if card.form.course else None
    par = Value(rule.par, source="printed") if rule.par is not None else card.value(rule.par_field)
    throws = _throws(card, rule, score, penalty, unit)
    return Hole(
        number=rule.number,
        score=score,
        penalty=penalty,
        par=par,
        length_m=printed.length_m if printed else None,
        throws=_with_second_pass(card, card.form.row_id(rule.row), throws, worst, notes),
    )


def _penalty(card: _Card, field_id: str | None) -> Value:
    """Return the penalty throws as a number; an unmarked choice says that there were none."""
    value = card.value(field_id)

    def count(marked: Scalar) -> Scalar:
        return int(marked) if isinstance(marked, str) and marked.isdecimal() else marked

    over = None if value.source != "entered" else count(value.over) or 0
    return replace(value, value=count(value.value) or 0, over=over)


def _throws(card: _Card, rule: HoleRule, score: Value, penalty: Value, unit: str) -> tuple[Throw, ...]:
    known_score, known_penalty = _whole(score.known), _whole(penalty.known)
    thrown = known_score - known_penalty if known_score is not None and known_penalty is not None else None
    columns = _known_columns(card, rule, thrown)
    throws = [_throw(card, name, phase, unit) for name, phase in columns]
    holed = who_holed([throw.phase for throw in throws], thrown, columns=len(rule.throws))
    return tuple(
        replace(throw, order=order, holed=is_in)
        for order, (throw, is_in) in enumerate(zip(throws, holed, strict=True), start=1)
    )


def _known_columns(card: _Card, rule: HoleRule, thrown: int | None) -> list[tuple[str, str]]:
    """Return the columns of the throws that happened, in the order thrown."""
    marked = [
        any(card.marks(name) for name in (field_id, f"{field_id}.distance", f"{field_id}.stance"))
        for field_id, _ in rule.throws
    ]
    happened = any(marked) or (thrown is not None and thrown >= 1)
    known = []
    for at, (field_id, phase) in enumerate(rule.throws):
        later = any(m for m, (_, of) in zip(marked[at:], rule.throws[at:], strict=True) if of == phase)
        if later or (phase == "drive" and happened):
            known.append((field_id, phase))
    return known


def who_holed(
    phases: Sequence[object], thrown: int | None, *, columns: int | None = None
) -> tuple[bool | None, ...]:
    """Say of each known throw of a hole whether it holed out; None for the last where that is open.

    Parameters
    ----------
    phases : phases of the known throws in the order thrown
    thrown : throws by score and penalties, or None where these are not known
    columns : throws that the card has room for; where all are filled the throws beyond come later
    """
    if not phases:
        return ()
    known = len(phases)
    last: bool | None = None
    if thrown == known:
        last = True
    elif thrown is not None and thrown > known and (phases[-1] == "drive" or known == columns):
        last = False
    return (False,) * (known - 1) + (last,)


def _throw(card: _Card, field_id: str, phase: str, unit: str) -> Throw:
    execution = card.value(field_id)
    if execution.value not in ("clean", "miss", None):
        raise InputError(
            f"the form {card.form.name!r} offers {execution.value!r} for {field_id}; a round's throw is "
            "'clean' or 'miss'. Give the options these ids; their labels may say what you like."
        )
    distance = card.value(f"{field_id}.distance")
    stance = card.value(f"{field_id}.stance")
    written = _whole(distance.known)
    return Throw(
        order=0,
        phase=phase,
        execution=execution if execution.value else replace(execution, value="unmarked"),
        holed=None,
        distance=None if distance is NOT_ASKED else distance,
        distance_m=None if written is None else round(to_metres(written, unit), DISTANCE_DECIMALS),
        stance=None if stance is NOT_ASKED else stance,
    )


def _with_second_pass(
    card: _Card, row: str, throws: tuple[Throw, ...], worst: Value, notes: dict[str, str]
) -> tuple[Throw, ...]:
    """Return the throws with the row's second pass given to the first miss of the worst phase."""
    names = {part: f"{row}.{part}" for part in ("way", "forehand", "why", "words")}
    written = any(card.marks(name) for name in names.values()) or names["words"] in card.pictures
    waits = any(card.value(name).status == "waits" for name in names.values())
    if not written and not waits:
        return throws
    at = next(
        (
            i
            for i, throw in enumerate(throws)
            if throw.phase == worst.known and throw.execution.value == "miss"
        ),
        None,
    )
    if at is None:
        marked: Mapping[str, Value] = {name: card.value(name) for name in names.values()}
        notes.update({name: str(v.known) for name, v in marked.items() if v.known is not None})
        if names["words"] in card.pictures:
            notes.setdefault(names["words"], "see the picture")
        return throws
    way, words = card.value(names["way"]), card.value(names["words"])
    forehand = _forehand(card, names["forehand"])
    with_notes = replace(
        throws[at],
        directions=tuple(str(way.known).split()) if way.known else (),
        directions_from=None if way is NOT_ASKED else way,
        forehand=None if forehand is None or forehand.known is None else bool(forehand.known),
        forehand_from=forehand,
        cause=None if card.value(names["why"]) is NOT_ASKED else card.cause(names["why"]),
        words=_text(words),
        words_from=None if words is NOT_ASKED else words,
        words_picture=names["words"] if names["words"] in card.pictures else None,
    )
    return (*throws[:at], with_notes, *throws[at + 1 :])


def _forehand(card: _Card, field_id: str) -> Value | None:
    """Return whether the throw was the unusual one; in a row that is filled in, unmarked says it was not."""
    value = card.value(field_id)
    if value is NOT_ASKED:
        return None
    over = value.over is not None if value.source == "entered" else None
    return replace(value, value=value.value is not None, over=over)
