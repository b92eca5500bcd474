"""What fields and answers are called on the page. The cards of this project by their ids, others by label."""

from __future__ import annotations

import re
from collections.abc import Iterable

from shortpencil.forms.form import Field, Form
from shortpencil.scan.language import N_, _, first_upper, inside, told
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.composing.answers import LEFT, standing
from shortpencil.scan.records.composing.card_values import DATE_FIELDS
from shortpencil.scan.records.concluding.cards import Card

_BUBBLE = N_("Which bubble is filled?")
_DISTANCE = N_("Which distance is written?")

#: Part of a field's id after its row -> its name and what is asked. Asked is what the ink shows, never what
#: the player remembers: people check against the paper.
_NAMES = {
    "par": (N_("par"), N_("Which par is written?")),
    "score": (N_("score"), N_("Which score is written?")),
    "penalty": (N_("penalty throws"), N_("Which penalty bubble is filled?")),
    "drive": (N_("drive"), _BUBBLE),
    "approach1": (N_("first approach"), _BUBBLE),
    "approach2": (N_("second approach"), _BUBBLE),
    "putt1": (N_("first putt"), _BUBBLE),
    "putt1.distance": (N_("distance of the first putt"), _DISTANCE),
    "putt1.stance": (N_("stance of the first putt"), N_("Is the stance bubble filled?")),
    "putt2": (N_("second putt"), _BUBBLE),
    "putt2.distance": (N_("distance of the second putt"), _DISTANCE),
    "putt3": (N_("third putt"), _BUBBLE),
    "way": (N_("which way it missed"), N_("Which of these are filled?")),
    "forehand": (N_("forehand"), N_("Is the bubble filled?")),
    "why": (N_("why it missed"), N_("Which number is written?")),
    "words": (N_("in your own words"), N_("What is written?")),
    "tally.drive": (N_("missed drives, counted"), N_("Which number is written?")),
    "tally.approach": (N_("missed approaches, counted"), N_("Which number is written?")),
    "tally.putt": (N_("missed putts, counted"), N_("Which number is written?")),
    "total": (N_("total score"), N_("Which total is written?")),
    "worst": (N_("phase with most misses"), N_("Which phase is marked?")),
    "date.day": (N_("date, day"), N_("Which day is written?")),
    "date.month": (N_("date, month"), N_("Which month is written?")),
    "date.year": (N_("date, year"), N_("Which year is written, last two digits?")),
    "hand": (N_("throwing hand"), _BUBBLE),
    "wind": (N_("wind"), _BUBBLE),
    "player": (N_("player"), N_("What is written?")),
    "course": (N_("course"), N_("What is written?")),
    "layout": (N_("layout"), N_("What is written?")),
    "resolve": (N_("one thing to work on"), N_("What is written?")),
}
_ASKS = {
    "choose-one": _BUBBLE,
    "choose-many": N_("Which of these are filled?"),
    "number": N_("Which number is written?"),
    "words": N_("What is written?"),
}

#: Rules that settled a value -> said to a player.
_RULES = {
    "total": N_("the total score"),
    "tally": N_("the counted misses"),
    "throws": N_("the throws of the hole"),
    "hole": N_("the score of the hole"),
    "worst": N_("the phase with most misses"),
}


#: Options that a card shortens.
_WRITTEN_OUT = {"straddle": N_("straddle")}


def printed_name(card: Card, field_id: str) -> str | None:
    """Return the name that stands printed in a field and that nobody wrote over; None for any other field."""
    answered = any(one.field == field_id and one.how != LEFT for one in standing(card.answers))
    return card.player if field_id == "player" and not answered else None


def key_of(form: Form, field: Field) -> str:
    """Return a field's id without its row, as in ``putt1.distance``."""
    return field.id.split(".", 1)[1] if field.row is not None else field.id


def place_of(form: Form, field: Field) -> str:
    """Return where on the card a field stands: "Hole 7", "Row 3", or the card's title outside the rows."""
    if field.row is None:
        return _("Head and foot") if form.record == "round" else form.title
    if form.row_labels:
        return form.row_label(field.row)
    return row_said(form, field.row)


def row_said(form: Form, row: int) -> str:
    """Return what a row of a card is called: "Hole 7", "Row 3"."""
    number = form.row_numbers[row - 1]
    return _("Hole {n}", n=number) if form.record == "round" else _("Row {n}", n=number)


def _known(form: Form, field: Field) -> tuple[str, str] | None:
    """Return the name and question of a field of ours; of other sheets only the date's parts are."""
    key = key_of(form, field)
    return _NAMES.get(key) if form.record == "round" or key in DATE_FIELDS else None


def name_of(form: Form, field: Field) -> str:
    """Return what a field is called, without its place."""
    known = _known(form, field)
    if known is not None:
        return _(known[0])
    return " ".join(field.label.replace("|", " ").replace("{unit}", f"({form.unit})").split()) or field.id


def full_name(form: Form | None, field_id: str) -> str:
    """Return a field with its place, as in "hole 7, first putt"; its id where no form is known."""
    try:
        field = form.field(field_id) if form is not None else None
    except KeyError:
        field = None
    if form is None or field is None:
        return field_id
    name = name_of(form, field)
    return name if field.row is None else f"{inside(place_of(form, field))}, {name}"


#: What an error found in what was given, to its end: shown in a terminal, not printed back by a page.
_FOUND = re.compile(r"""[,;] (?:found|gefunden) (?:'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*"|[^.;]*)""")


def without_input(says: str, form: Form | None = None, given: Iterable[str] = ()) -> str:
    """Return an error as a page says it: what was expected, without what somebody sent, codes as words.

    Parameters
    ----------
    form : whose fields the error may name by their ids
    given : texts of the address, which may stand in the error
    """
    field, colon, rest = told(says).partition(": ")
    named = full_name(form, field) if colon else field
    says = f"{named}{colon}{rest}"
    says = _FOUND.sub("", says)
    for text in given:
        if len(text) > 1:
            says = says.replace(text, "…")
    return first_upper(says)


def asks(form: Form, field: Field) -> str:
    """Return the question about a field's ink."""
    known = _known(form, field)
    return _(known[1] if known is not None else _ASKS[field.type])


def said(form: Form, field: Field, value: FieldValue) -> str:
    """Return a field's value in words, with its unit or its cause."""
    if value is None or value == ():
        return blank_of(field)
    key = key_of(form, field)
    if field.type.startswith("choose"):
        chosen = value if isinstance(value, tuple) else (value,)
        labels = {option.id: label_of(field, option.id) for option in field.options}
        return _(" and ").join(labels.get(str(item), str(item)) for item in chosen)
    if key.endswith("distance") and form.record == "round":
        return f"{value} {form.unit}"
    if key == "why":
        cause = next((cause.label for cause in form.causes if cause.number == value), None)
        return f"{value}, {cause}" if cause else str(value)
    return str(value)


def label_of(field: Field, option_id: str) -> str:
    """Return what an option is called; labels shortened for the print are written out."""
    label = next((option.label for option in field.options if option.id == option_id), option_id)
    if label.endswith("."):
        return _(_WRITTEN_OUT.get(option_id, option_id))
    return " ".join(label.replace("|", " ").split())


def blank_of(field: Field) -> str:
    """Return what an empty field is called."""
    return _("nothing written") if field.type in ("number", "words") else _("nothing filled")


def why_said(field_id: str, flag: str | None) -> str:
    """Return why a field is asked: its flag, or what it cannot be by itself."""
    if flag is not None:
        return told(flag)
    if field_id.startswith("date."):
        return _("the date is not a day of the calendar")
    if field_id.endswith(".why"):
        return _("this number is not on the card's list of causes")
    return _("not clear")


def rule_said(rule: str) -> str:
    """Return which promise of the card settled a value."""
    return next((_(words) for start, words in _RULES.items() if rule.startswith(start)), rule)
