"""From what a card's fields say to a round: throws in order, who holed out, units, dates, defaults.

A card says less than a round holds, and the rest follows by rule:

- **Which throws there were.** A throw is known when its column, its distance or its stance is marked; so is
  each earlier column of its phase, and the drive. Score less penalties says how many there were in all.
- **Who holed out.** The last throw of a finished hole (Official Rules of Disc Golf, 807). It is known only
  when the score accounts for exactly the throws that are known. With more throws than columns the card's
  promise is that the rest stay unmarked, so where all columns are filled none of them is the last.
- **The second pass** speaks of one phase, the worst. What stands in a row goes to the *first* missed
  throw of that phase on that hole: the card has room for one note a hole, and the first miss is the one that
  brought the others about. A note with no such throw is kept in the round's notes and becomes a finding.
- **Nothing flagged counts as known.** A flagged field gives a doubtful value with its alternatives, or one
  that waits where a person must look; a date that does not exist waits too. A throw of which it is doubtful
  whether it is marked at all stands in the hole's `maybe`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime

from msgspec.structs import replace

from shortpencil.forms.errors import InputError
from shortpencil.forms.form import USUAL_PHASES, Form
from shortpencil.forms.rules import HoleRule, rules_of
from shortpencil.forms.units import to_metres
from shortpencil.scan.asking import MATTERS
from shortpencil.scan.reading import CardReading
from shortpencil.scan.records.composing.answers import Answer
from shortpencil.scan.records.composing.card_values import NOT_ASKED, CardValues, text_of, whole_of
from shortpencil.scan.records.composing.rounds import Hole, Round, Scalar, Throw, Value

#: The phase that begins a hole where a game does not say so.
USUAL_TEE = USUAL_PHASES[0].id
DISTANCE_DECIMALS = 3  # a millimetre: far finer than a paced distance, coarse enough to print neatly


def round_from_reading(
    form: Form,
    reading: CardReading,
    *,
    recorded_at: datetime | None,
    answers: Iterable[Answer] = (),
    player: str | None = None,
    photos: Iterable[str] = (),
    how: str = MATTERS,
) -> Round:
    """Return the round that a card's reading and a person's answers make together.

    Parameters
    ----------
    form : the form the card was printed from, with its course where that is printed in
    reading : what the machine says; must not be a rejected photo
    recorded_at : when the photo was read, with a time zone; None where that is not known
    answers : entered values, oldest first
    player : alias printed on the card or given with the photo; a name answered on the card goes first
    photos : SHA-256 of the photos of this card beyond the reading's own
    how : in which of `scan.asking.WAYS_TO_ASK` the player is asked

    Raises
    ------
    InputError
        when the form calls its answers for a throw something else than "clean" and "miss"
    """
    if not form.makes_rounds or reading.status != "read":
        raise ValueError("a round is composed from a readable card of a round form")
    card = CardValues(form, reading, tuple(answers))
    rules = rules_of(form)
    worst = _worst(card, rules.worst, rules.holes, rules.phase_ids)
    notes: dict[str, str] = {}
    unit = str(card.value("unit").known or form.unit)
    holes = tuple(_hole(card, rule, worst, unit, notes) for rule in rules.holes)
    notes |= {name: text for name in card.own_words() if (text := text_of(card.value(name)))}
    extra = {name: card.value(name) for name in rules.extra}
    shas = {*photos, *([reading.photo_sha256] if reading.photo_sha256 else [])}
    return Round(
        id=reading.serial or f"photo-{(reading.photo_sha256 or 'unknown')[:16]}",
        form=reading.form or form.name,
        played_on=card.played_on(),
        player=text_of(card.value("player")) or player,
        course=(form.course.name or None) if form.course else text_of(card.value("course")),
        layout=(form.course.layout or None) if form.course else text_of(card.value("layout")),
        hand=card.value_or("hand", Value(form.hand, source="printed")),
        unit=unit,
        wind=card.value("wind"),
        worst=worst,
        tallies={rule.phase: card.value(rule.tally) for rule in rules.tallies},
        total=card.value(rules.total.total) if rules.total else NOT_ASKED,
        holes=holes,
        sources=tuple(sorted(shas)),
        recorded_at=None if recorded_at is None else recorded_at.astimezone(UTC),
        waiting=card.waiting(how),
        notes=notes,
        extra={name: v for name, v in extra.items() if v.value is not None or v.status != "known"},
        phases=rules.phases,
    )


def _worst(card: CardValues, field_id: str | None, holes: Iterable[HoleRule], phases: Sequence[str]) -> Value:
    """Return the worst phase as marked, or the one with most misses where one leads and none is marked."""
    value = card.value(field_id)
    if field_id is None or value.value is not None or value.status != "known":
        return value
    throws = [throw for hole in holes for throw in hole.throws]
    counts = {
        phase: sum(of == phase and card.value(name).known == "miss" for name, of in throws)
        for phase in phases
    }
    most = max(counts.values())
    leaders = [phase for phase, count in counts.items() if count == most]
    if most == 0 or len(leaders) > 1 or any(card.value(name).status != "known" for name, _ in throws):
        return value
    return Value(leaders[0], source="inferred", rule="most-misses")


def _hole(card: CardValues, rule: HoleRule, worst: Value, unit: str, notes: dict[str, str]) -> Hole:
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
        maybe=_maybe(card, rule, throws, unit),
    )


def _maybe(card: CardValues, rule: HoleRule, throws: Sequence[Throw], unit: str) -> tuple[Throw, ...]:
    """Return the throws that may be marked, beyond those that are known; `order` is the column."""
    found = []
    for phase in dict.fromkeys(of for _, of in rule.throws):
        columns = [name for name, of in rule.throws if of == phase]
        known = sum(throw.phase == phase for throw in throws)
        for at, name in enumerate(columns[known:], start=known + 1):
            if card.possible(name) or card.possible(f"{name}.distance"):
                found.append(replace(_throw(card, name, phase, unit), order=at))
    return tuple(found)


def _penalty(card: CardValues, field_id: str | None) -> Value:
    """Return the penalty throws as a number; an unmarked choice says that there were none."""
    value = card.value(field_id)

    def count(marked: Scalar) -> Scalar:
        return int(marked) if isinstance(marked, str) and marked.isdecimal() else marked

    over = None if value.source != "entered" else count(value.over) or 0
    others = tuple((count(other) or 0, p) for other, p in value.alternatives)
    return replace(value, value=count(value.value) or 0, over=over, alternatives=others)


def _throws(card: CardValues, rule: HoleRule, score: Value, penalty: Value, unit: str) -> tuple[Throw, ...]:
    known_score, known_penalty = whole_of(score.known), whole_of(penalty.known)
    thrown = known_score - known_penalty if known_score is not None and known_penalty is not None else None
    tee = next((phase.id for phase in card.form.phases if phase.role == "tee"), None)
    columns = _known_columns(card, rule, thrown, tee)
    throws = [_throw(card, name, phase, unit) for name, phase in columns]
    holed = who_holed([throw.phase for throw in throws], thrown, columns=len(rule.throws), tee=tee)
    return tuple(
        replace(throw, order=order, holed=is_in)
        for order, (throw, is_in) in enumerate(zip(throws, holed, strict=True), start=1)
    )


def _known_columns(
    card: CardValues, rule: HoleRule, thrown: int | None, tee: str | None
) -> list[tuple[str, str]]:
    """Return the columns of the throws that happened, in the order thrown."""
    marked = [
        any(card.marks(name) for name in (field_id, f"{field_id}.distance", f"{field_id}.stance"))
        for field_id, _ in rule.throws
    ]
    happened = any(marked) or (thrown is not None and thrown >= 1)
    known = []
    for at, (field_id, phase) in enumerate(rule.throws):
        later = any(m for m, (_, of) in zip(marked[at:], rule.throws[at:], strict=True) if of == phase)
        if later or (phase == tee and happened):
            known.append((field_id, phase))
    return known


def who_holed(
    phases: Sequence[object], thrown: int | None, *, columns: int | None = None, tee: str | None = USUAL_TEE
) -> tuple[bool | None, ...]:
    """Say of each known throw of a hole whether it holed out; None for the last where that is open.

    Parameters
    ----------
    phases : phases of the known throws in the order thrown
    thrown : throws by score and penalties, or None where these are not known
    columns : throws that the card has room for; where all are filled the throws beyond come later
    tee : the phase that begins a hole, of which a hole has one throw; None where the game has none
    """
    if not phases:
        return ()
    known = len(phases)
    last: bool | None = None
    if thrown == known:
        last = True
    elif thrown is not None and thrown > known and (phases[-1] == tee or known == columns):
        last = False
    return (False,) * (known - 1) + (last,)


def _throw(card: CardValues, field_id: str, phase: str, unit: str) -> Throw:
    execution = card.value(field_id)
    if execution.value not in ("clean", "miss", None):
        raise InputError(
            f"the form {card.form.name!r} offers {execution.value!r} for {field_id}; a round's throw is "
            "'clean' or 'miss'. Give the options these ids; their labels may say what you like."
        )
    distance = card.value(f"{field_id}.distance")
    stance = card.value(f"{field_id}.stance")
    written = whole_of(distance.known)
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
    card: CardValues, row: str, throws: tuple[Throw, ...], worst: Value, notes: dict[str, str]
) -> tuple[Throw, ...]:
    """Return the throws with the row's second pass given to the first miss of the worst phase."""
    names = {part: f"{row}.{part}" for part in ("way", "forehand", "why", "words")}
    written = any(card.marks(name) for name in names.values()) or names["words"] in card.pictures
    waits = any(card.value(name).status != "known" for name in names.values())
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
        words=text_of(words),
        words_from=words if text_of(words) else None,  # ink that nobody has typed yet is a picture
        words_picture=names["words"] if names["words"] in card.pictures else None,
    )
    return (*throws[:at], with_notes, *throws[at + 1 :])


def _forehand(card: CardValues, field_id: str) -> Value | None:
    """Return whether the throw was the unusual one; in a row that is filled in, unmarked says it was not."""
    value = card.value(field_id)
    if value is NOT_ASKED:
        return None
    over = value.over is not None if value.source == "entered" else None
    others = tuple((other is not None, p) for other, p in value.alternatives)
    return replace(value, value=value.value is not None, over=over, alternatives=others)
