"""What fields and answers are called on the page. The cards of this project by their ids, others by label."""

from __future__ import annotations

import re
from collections.abc import Iterable

from shortpencil.forms.form import Field, Form
from shortpencil.scan.reading import FieldValue
from shortpencil.scan.records.card_values import DATE_FIELDS

_BUBBLE = "Which bubble is filled?"
_DISTANCE = "Which distance is written?"

#: Part of a field's id after its row -> its name and what is asked. Asked is what the ink shows, never what
#: the player remembers: people check against the paper.
_NAMES = {
    "par": ("par", "Which par is written?"),
    "score": ("score", "Which score is written?"),
    "penalty": ("penalty throws", "Which penalty bubble is filled?"),
    "drive": ("drive", _BUBBLE),
    "approach1": ("first approach", _BUBBLE),
    "approach2": ("second approach", _BUBBLE),
    "putt1": ("first putt", _BUBBLE),
    "putt1.distance": ("distance of the first putt", _DISTANCE),
    "putt1.stance": ("stance of the first putt", "Is the stance bubble filled?"),
    "putt2": ("second putt", _BUBBLE),
    "putt2.distance": ("distance of the second putt", _DISTANCE),
    "putt3": ("third putt", _BUBBLE),
    "way": ("which way it missed", "Which of these are filled?"),
    "forehand": ("forehand", "Is the bubble filled?"),
    "why": ("why it missed", "Which number is written?"),
    "words": ("in your own words", "What is written?"),
    "tally.drive": ("missed drives, counted", "Which number is written?"),
    "tally.approach": ("missed approaches, counted", "Which number is written?"),
    "tally.putt": ("missed putts, counted", "Which number is written?"),
    "total": ("total score", "Which total is written?"),
    "worst": ("phase with most misses", "Which phase is marked?"),
    "date.day": ("date, day", "Which day is written?"),
    "date.month": ("date, month", "Which month is written?"),
    "date.year": ("date, year", "Which year is written, last two digits?"),
    "hand": ("throwing hand", _BUBBLE),
    "wind": ("wind", _BUBBLE),
    "player": ("player", "What is written?"),
    "course": ("course", "What is written?"),
    "layout": ("layout", "What is written?"),
    "resolve": ("one thing to work on", "What is written?"),
}
_ASKS = {
    "choose-one": _BUBBLE,
    "choose-many": "Which of these are filled?",
    "number": "Which number is written?",
    "words": "What is written?",
}

#: Rules that settled a value -> said to a player.
_RULES = {
    "total": "the total score",
    "tally": "the counted misses",
    "throws": "the throws of the hole",
    "hole": "the score of the hole",
    "worst": "the phase with most misses",
}


def key_of(form: Form, field: Field) -> str:
    """Return a field's id without its row, as in ``putt1.distance``."""
    return field.id.split(".", 1)[1] if field.row is not None else field.id


def place_of(form: Form, field: Field) -> str:
    """Return where on the card a field stands: "Hole 7", "Row 3", or the card's title outside the rows."""
    if field.row is None:
        return "Head and foot" if form.record == "round" else form.title
    if form.row_labels:
        return form.row_label(field.row)
    return f"{'Hole' if form.record == 'round' else 'Row'} {form.row_numbers[field.row - 1]}"


def _known(form: Form, field: Field) -> tuple[str, str] | None:
    """Return the name and question of a field of ours; of other sheets only the date's parts are."""
    key = key_of(form, field)
    return _NAMES.get(key) if form.record == "round" or key in DATE_FIELDS else None


def name_of(form: Form, field: Field) -> str:
    """Return what a field is called, without its place."""
    known = _known(form, field)
    if known is not None:
        return known[0]
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
    return name if field.row is None else f"{place_of(form, field).lower()}, {name}"


#: What an error found in what was given, to its end: shown in a terminal, not printed back by a page.
_FOUND = re.compile(r"""[,;] found (?:'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*"|[^.;]*)""")


def without_input(says: str, form: Form | None = None, given: Iterable[str] = ()) -> str:
    """Return an error as a page says it: what was expected, without what somebody sent, codes as words.

    Parameters
    ----------
    form : whose fields the error may name by their ids
    given : texts of the address, which may stand in the error
    """
    field, colon, rest = says.partition(": ")
    named = full_name(form, field) if colon else field
    if colon and named != field:
        says = f"{named}: {rest}"
    says = _FOUND.sub("", says)
    for text in given:
        if len(text) > 1:
            says = says.replace(text, "…")
    return f"{says[:1].upper()}{says[1:]}"


def asks(form: Form, field: Field) -> str:
    """Return the question about a field's ink."""
    known = _known(form, field)
    return known[1] if known is not None else _ASKS[field.type]


def said(form: Form, field: Field, value: FieldValue) -> str:
    """Return a field's value in words, with its unit or its cause."""
    if value is None or value == ():
        return blank_of(field)
    key = key_of(form, field)
    if field.type.startswith("choose"):
        chosen = value if isinstance(value, tuple) else (value,)
        labels = {option.id: label_of(field, option.id) for option in field.options}
        return " and ".join(labels.get(str(item), str(item)) for item in chosen)
    if key.endswith("distance") and form.record == "round":
        return f"{value} {form.unit}"
    if key == "why":
        cause = next((cause.label for cause in form.causes if cause.number == value), None)
        return f"{value}, {cause}" if cause else str(value)
    return str(value)


def label_of(field: Field, option_id: str) -> str:
    """Return what an option is called; labels shortened for the print are written out."""
    label = next((option.label for option in field.options if option.id == option_id), option_id)
    return option_id if label.endswith(".") else " ".join(label.replace("|", " ").split())


def blank_of(field: Field) -> str:
    """Return what an empty field is called."""
    return "nothing written" if field.type in ("number", "words") else "nothing filled"


def rule_said(rule: str) -> str:
    """Return which promise of the card settled a value."""
    return next((words for start, words in _RULES.items() if rule.startswith(start)), rule)
